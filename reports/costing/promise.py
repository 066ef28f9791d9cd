"""A promise of how long a die lasts between sharpenings: what those cost that come sooner and are done free."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Protocol

import numpy as np
from numpy.typing import ArrayLike, NDArray

from .money import MoneyRefused, amount, from_float


class IntervalLaw(Protocol):
    """How long a fresh interval lasts, in strokes. ended: chances of having ended by then; lasting: turned round."""

    @property
    def mean_hits(self) -> float: ...
    def ended(self, hits: ArrayLike) -> NDArray[np.float64]: ...
    def lasting(self, chance: ArrayLike) -> NDArray[np.float64]: ...


@dataclass(frozen=True, kw_only=True)
class Kept:
    """What a promise comes to. chance: that an interval ends before it; free: sharpenings a year that come too soon;
    money: of these a year; per_thousand: of a thousand parts, None where none are made. low, high: of the money, the
    least and the most over the worlds."""

    hits: float
    chance: float
    free: float
    money: Decimal
    low: Decimal
    high: Decimal
    per_thousand: Decimal | None


def promise(
    hits: Sequence[float],
    *,
    laws: Sequence[IntervalLaw],
    strokes_a_year: float,
    sharpening: Decimal,
    parts_per_hit: float,
) -> tuple[Kept, ...]:
    """Each of several promises in the long run. hits: strokes promised between two sharpenings, nought or more.

    laws: of a fresh interval, one for each of several equally likely worlds. sharpening: money for one, as the customer
    would pay it.

    In a world of law F with mean m an interval ends 1 / m times a stroke, and a share F(hits) of these too soon:
        free = strokes a year x F(hits) / m.
    Source: the renewal reward theorem, e.g. Ross, Introduction to Probability Models (from memory).
    Limits: the long run; the interval under way counts like any other.
    Raises MoneyRefused for figures below nought or not finite, and without a law.
    """
    asked = np.asarray(list(hits), float)
    if not len(laws):
        raise MoneyRefused("a promise needs a forecast of the intervals.")
    for name, values in (("hits promised", asked), ("strokes a year", np.array([strokes_a_year])),
                         ("parts a hit", np.array([parts_per_hit]))):  # fmt: skip
        if not np.isfinite(values).all() or (values < 0).any():
            raise MoneyRefused(f"{name} must be nought or more, got {values.tolist()}.")
    price = float(amount(sharpening, "the price of a sharpening"))
    sooner: NDArray[np.float64] = np.array([law.ended(asked) for law in laws])  # worlds by promises
    free = strokes_a_year * sooner / np.array([[law.mean_hits] for law in laws])
    parts = strokes_a_year * parts_per_hit
    made = []
    for n, promised in enumerate(asked.tolist()):
        mean = float(free[:, n].mean())
        made.append(
            Kept(
                hits=promised,
                chance=float(sooner[:, n].mean()),
                free=mean,
                money=from_float(mean * price),
                low=from_float(float(free[:, n].min()) * price),
                high=from_float(float(free[:, n].max()) * price),
                per_thousand=from_float(mean * price / parts * 1000) if parts > 0 else None,
            )
        )
    return tuple(made)


def usual_promise(laws: Sequence[IntervalLaw]) -> int:
    """Strokes that nine intervals in ten outlast, in two figures: the mean over the worlds, rounded down."""
    hits = float(np.mean([law.lasting(0.1) for law in laws]))
    step = 10 ** max(math.floor(math.log10(max(hits, 1.0))) - 1, 0)
    return max(int(hits // step * step), 1)
