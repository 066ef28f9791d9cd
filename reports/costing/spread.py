"""A discrete distribution of an amount: what a count of sharpenings, spares or stops may come to in money.

The only place in this package where floats carry money; `low`, `expected` and `high` bring it back as Decimal.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from .money import MoneyRefused, amount, from_float

MOST_ATOMS = 240  # beyond it neighbours are merged, which keeps the mean and blurs a quantile by 1/240 of the range
MOST_SORTED = 3_000  # beyond it amounts are merged without looking for equal ones first: sorting would take the time
NEGLIGIBLE = 1e-10  # all amounts that are dropped for being too unlikely have less chance than this together


@dataclass(frozen=True)
class Spread:
    """values: float[n], ascending and distinct, in money; chances: float[n], positive, with the sum 1."""

    values: NDArray[np.float64]
    chances: NDArray[np.float64]

    @classmethod
    def of(cls, values: ArrayLike, chances: ArrayLike) -> Spread:
        """From any values and weights: sorted, equal ones joined, weights of nought dropped, the sum made 1.

        Raises MoneyRefused for unequal lengths, for what is not finite, negative weights, or no weight at all.
        """
        v, w = np.atleast_1d(np.asarray(values, float)), np.atleast_1d(np.asarray(chances, float))
        if v.shape != w.shape or v.ndim != 1:
            raise MoneyRefused(f"{v.size} amounts with {w.size} chances.")
        if not (np.isfinite(v).all() and np.isfinite(w).all()) or (w < 0).any() or w.sum() <= 0:
            raise MoneyRefused("the chances of an amount are not finite, negative, or all nought.")
        w = w / w.sum()
        kept = w > NEGLIGIBLE / w.size
        v, w = v[kept], w[kept]
        if v.size <= MOST_SORTED:
            v, where = np.unique(v, return_inverse=True)
            w = np.bincount(where, weights=w, minlength=len(v)).astype(float, copy=False)
        if v.size > MOST_ATOMS:
            v, w = _merged(v, w)
        return cls(v, w / w.sum())

    @classmethod
    def sure(cls, value: Decimal) -> Spread:
        return cls.of([float(amount(value, may_be_negative=True))], [1.0])

    @classmethod
    def of_counts(cls, count_chances: ArrayLike, each: Decimal) -> Spread:
        """count_chances[n]: the chance of n pieces, sharpenings ... at `each` money."""
        chances = np.asarray(count_chances, float)
        return cls.of(np.arange(len(chances)) * float(amount(each, "the cost of one")), chances)

    @classmethod
    def compound(cls, count_chances: ArrayLike, one: Spread) -> Spread:
        """The sum of a random count of independent amounts that are each spread like `one`."""
        total = cls.of([0.0], [1.0])
        chances = np.asarray(count_chances, float)
        if chances.ndim != 1 or not np.isfinite(chances).all() or (chances < 0).any() or chances.sum() <= 0:
            raise MoneyRefused("the chances of a count are empty, not finite, negative, or all nought.")
        at_least = np.cumsum(chances[::-1])[::-1] / chances.sum()
        chances = chances[at_least > NEGLIGIBLE]
        values, weights = [], []
        for n, chance in enumerate(chances):
            if n:
                total = total.plus(one)
            values.append(total.values)
            weights.append(total.chances * chance)
        return cls.of(np.concatenate(values), np.concatenate(weights))

    @classmethod
    def mixture(cls, spreads: Sequence[Spread], weights: ArrayLike) -> Spread:
        """One of several, each with its weight: in different worlds the same die costs differently."""
        w = np.asarray(weights, float)
        if len(spreads) != len(w):
            raise MoneyRefused(f"{len(spreads)} spreads with {len(w)} weights.")
        return cls.of(
            np.concatenate([s.values for s in spreads]),
            np.concatenate([s.chances * x for s, x in zip(spreads, w, strict=True)]),
        )

    def plus(self, other: Spread) -> Spread:
        """The sum of two independent amounts."""
        return Spread.of(
            np.add.outer(self.values, other.values).ravel(), np.multiply.outer(self.chances, other.chances).ravel()
        )

    @property
    def mean(self) -> float:
        return float(self.values @ self.chances)

    def quantile(self, chance: float) -> float:
        """The least amount that is not exceeded with at least that chance."""
        if not 0 < chance < 1:
            raise MoneyRefused(f"a chance of {chance:g}; it must lie between 0 and 1.")
        reached = np.cumsum(self.chances)
        return float(self.values[min(int(np.searchsorted(reached, chance - 1e-12)), len(reached) - 1)])

    @property
    def expected(self) -> Decimal:
        return from_float(self.mean)

    def band(self, share: float = 0.8) -> tuple[Decimal, Decimal]:
        """The middle `share`: as much chance below its lower end as above its upper end."""
        tail = (1 - share) / 2
        return from_float(self.quantile(tail)), from_float(self.quantile(1 - tail))


def _merged(
    values: NDArray[np.float64], chances: NDArray[np.float64]
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """MOST_ATOMS cells of equal width, each with its chance at its own centre of gravity."""
    low, span = values.min(), np.ptp(values)
    cell = np.minimum(((values - low) / span * MOST_ATOMS).astype(int), MOST_ATOMS - 1)
    summed = np.bincount(cell, weights=chances, minlength=MOST_ATOMS).astype(float, copy=False)
    moments = np.bincount(cell, weights=chances * values, minlength=MOST_ATOMS).astype(float, copy=False)
    kept = summed > 0
    return moments[kept] / summed[kept], summed[kept]
