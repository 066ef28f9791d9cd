"""Keep a die or build it anew: what it costs each further year against what a new one costs a year."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

import numpy as np
from numpy.typing import NDArray

from .discounting import EconomicLife, economic_life, present_value, single_factor
from .money import MoneyRefused, amount, from_float

Array = NDArray[np.float64]
TIE = Decimal("0.005")  # money: differences below half a cent are those of rounding
ZERO = Decimal(0)


@dataclass(frozen=True, kw_only=True)
class Running:
    """What a die costs year by year to run. expected: money of each year; lives: float[lives, years], single ones."""

    expected: tuple[Decimal, ...]
    lives: Array

    def __post_init__(self) -> None:
        if not self.expected:
            raise MoneyRefused("no year ahead is told.")
        if self.lives.ndim != 2 or self.lives.shape[1] != len(self.expected) or not len(self.lives):
            raise MoneyRefused(f"lives of {self.lives.shape}, but {len(self.expected)} years.")
        for n, money in enumerate(self.expected, start=1):
            amount(money, f"what year {n} costs")
        if not np.isfinite(self.lives).all():
            raise MoneyRefused("what a life costs is not finite.")


@dataclass(frozen=True, kw_only=True)
class KeptYear:
    """One more year with the old die, the n-th from now.

    cost: its money, 8 in 10 lives between low and high. keeping: that and what the die loses of its worth, with
    interest on it. anew: what a new one, bought when this year begins, costs a year over `life` years. waiting: today's
    worth of keeping the old one through this year too, below nought where it costs. chance: share of lives in which
    a new one would have cost less than this year. plan: today's worth of all money within sight where the new one is
    bought when this year begins.
    """

    number: int
    cost: Decimal
    low: Decimal
    high: Decimal
    keeping: Decimal
    anew: Decimal
    life: int
    waiting: Decimal
    chance: float
    plan: Decimal

    @property
    def pays(self) -> bool:
        """Whether a new one is cheaper than this year."""
        return self.keeping - self.anew > TIE


@dataclass(frozen=True, kw_only=True)
class KeepOrBuild:
    """years: one by one. life: of a new one bought now, by the years that it is kept. low, high: 8 in 10 lives of what
    it costs a year. never: today's worth of all money within sight where the old one is kept throughout. chance: share
    of lives in which buying the new one now is cheaper than the best of the plans that wait."""

    years: tuple[KeptYear, ...]
    life: EconomicLife
    low: Decimal
    high: Decimal
    never: Decimal
    chance: float

    @property
    def best(self) -> int | None:
        """After how many more years to buy the new one: nought is now, None not within sight. Of plans alike the
        latest: what is put off can still be done."""
        plans = [year.plan for year in self.years] + [self.never]
        least = min(plans)
        after = max(n for n, plan in enumerate(plans) if plan - least <= TIE)
        return after if after < len(self.years) else None

    @property
    def first_dearer(self) -> KeptYear | None:
        """The first year that costs more than a new one would."""
        return next((year for year in self.years if year.pays), None)


def keep_or_build(
    *,
    old: Running,
    new: Running,
    price: Decimal,
    old_brings: Decimal = ZERO,
    new_brings: Decimal = ZERO,
    interest: Decimal = ZERO,
    rise: Decimal = ZERO,
    overhaul: Decimal = ZERO,
    ends: bool = False,
) -> KeepOrBuild:
    """old: by the years ahead; new: from its own first year on, as many as it may serve. The same lives, in order.

    price: of a new one today; old_brings, new_brings: what each brings whenever it goes. overhaul: money that the old
    one needs in its first year beside what it costs to run. ends: nothing is made after the years told of the old one,
    so that a new one serves no longer than until then.

    Keeping the old one through year t costs C_t + overhaul (t = 1) + i x brings, at its end. A new one bought after k
    years costs its least annual equivalent over the lives that are left to it, at prices risen by (1 + rise)^k. With
    waiting_t = (anew_t - keeping_t) / (1 + i)^t, and plans in which the new one pays its annual equivalent until the
    end of the years told.
    Sources: marginal cost of the defender against the economic life of the challenger, e.g. R. Panneerselvam,
    Engineering Economics, PHI, 2010, ch. 8 (economic life), and Park, Contemporary Engineering Economics (from memory).
    Raises MoneyRefused for lives that differ in number, negative money and rates of -100 % or less.
    """
    n, most = len(old.expected), len(new.expected)
    if len(new.lives) != len(old.lives):
        raise MoneyRefused("old and new are told in different numbers of lives.")
    price, brings = amount(price, "the price of a new one"), amount(old_brings, "what the old one brings")
    last = amount(new_brings, "what the new one brings in the end")
    first = amount(overhaul, "the overhaul")
    if interest <= -1 or rise <= -1:
        raise MoneyRefused("a rate of -100 % or less leaves nothing.")
    kept = [money + (first if t == 0 else ZERO) + interest * brings for t, money in enumerate(old.expected)]
    whole = economic_life(first_cost=price, upkeep=new.expected, resale=[last] * most, rate=interest)
    anew, lives = [], []
    for k in range(n):
        left = min(most, n - k) if ends else most
        best = min(range(left), key=lambda years: whole.by_year[years])
        anew.append(whole.by_year[best] * (1 + rise) ** k)
        lives.append(best + 1)
    alone = {years: _a_year(new.lives, years, float(price), float(last), float(interest)) for years in set(lives)}
    old_lives = old.lives + np.array([float(kept[t] - old.expected[t]) for t in range(n)])
    new_lives = np.stack([alone[lives[k]] * float((1 + rise) ** k) for k in range(n)], axis=1)
    lows, highs = np.quantile(old.lives, [0.1, 0.9], axis=0)
    plans = [_plan(kept[:k], anew[k] if k < n else ZERO, n - k, brings, interest) for k in range(n + 1)]
    years = tuple(
        KeptYear(
            number=t + 1,
            cost=kept[t] - interest * brings,
            low=from_float(float(lows[t])) + (first if t == 0 else ZERO),
            high=from_float(float(highs[t])) + (first if t == 0 else ZERO),
            keeping=kept[t],
            anew=anew[t],
            life=lives[t],
            waiting=(anew[t] - kept[t]) * single_factor(interest, t + 1),
            chance=_share_below(new_lives[:, t], old_lives[:, t]),
            plan=plans[t],
        )
        for t in range(n)
    )
    low, high = np.quantile(alone[lives[0]], [0.1, 0.9])
    return KeepOrBuild(
        years=years,
        life=whole,
        low=from_float(float(low)),
        high=from_float(float(high)),
        never=plans[n],
        chance=_chance_now(old_lives, new_lives, float(interest), waits=min(range(1, n + 1), key=lambda k: plans[k])),
    )


def _plan(kept: Sequence[Decimal], anew: Decimal, rest: int, brings: Decimal, interest: Decimal) -> Decimal:
    """Today's worth: the old one for some years, then the new one's yearly cost; what the old one brings is charged as
    interest while it is kept, and so is not paid again."""
    return present_value(interest, [ZERO, *kept, *[anew] * rest]) - brings


def _a_year(lives: Array, years: int, price: float, brings: float, interest: float) -> Array:
    """float[lives]: annual equivalent of a new one kept so many years, in each life."""
    factors = (1 + interest) ** -np.arange(1.0, years + 1)
    worth = price + lives[:, :years] @ factors - brings * factors[-1]
    return np.asarray(worth / factors.sum(), float)


def _share_below(one: Array, other: Array) -> float:
    """Ties count half."""
    close = np.abs(one - other) <= float(TIE)
    return float(np.mean(np.where(close, 0.5, one < other)))


def _chance_now(old: Array, new: Array, interest: float, waits: int) -> float:
    """Share of lives in which buying now is cheaper than buying after so many years."""
    factors = (1 + interest) ** -np.arange(1.0, old.shape[1] + 1)
    later = old[:, :waits] @ factors[:waits]
    if waits < old.shape[1]:
        later = later + new[:, waits] * factors[waits:].sum()
    return _share_below(new[:, 0] * factors.sum(), later)
