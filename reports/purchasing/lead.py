"""How long an order takes: what the supplier promised, moved by what was seen, and the use until it comes."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
import scipy  # its parts are loaded when they are first named, so that a start pays for none
from numpy.typing import NDArray

from .demand import Demand, DemandRefused

# Beforehand, of y = ln(taken / promised): a supplier's own middle lies about the promise by a quarter either way, and
# one order about that middle by a seventh, as well known as from six orders. Common practice, no source.
SUPPLIERS_SPREAD = 0.25
FURTHEST = (
    3.0  # a middle further off than so many of these spreads: the promise then says less, and its spread is wider
)
USUAL_SPREAD = 0.15
SPREAD_AS_FROM = 6.0
# Slices of the law, finer towards the late end, where a service level is decided; each taken at its middle.
SLICES = np.array([0.0, 0.3, 0.7, 0.9, 0.97, 1.0])
ARRIVAL_SLICES = 20  # of an order under way
MOST_TIMES = 5.0  # no order is reckoned to take longer than so many times the promise or the longest seen


@dataclass(frozen=True, kw_only=True)
class LeadTime:
    """days: int[n], rising, whole days an order placed today may take; chances: float[n] of them, sum 1.

    promised: days by the supplier; seen: orders it was learnt from. middle, late: as often as not, and nine times in
    ten, it takes no longer.
    """

    promised: int
    days: tuple[int, ...]
    chances: tuple[float, ...]
    middle: int
    late: int
    seen: int = 0

    @classmethod
    def certain(cls, days: int) -> LeadTime:
        if days < 0:
            raise DemandRefused(f"a lead time of {days} days; it must be nought or more.")
        return cls(promised=days, days=(days,), chances=(1.0,), middle=days, late=days)

    @classmethod
    def learnt(cls, promised: int, seen_days: Sequence[float] = ()) -> LeadTime:
        """The promise as the shop has known it to be kept.

        y = ln(taken / promised) of n orders. The spread of one order: a = a0 + (n - 1) / 2, b = b0 + sum (y - mean)^2 /
        2 with a0 = 3, b0 = a0 0.15^2, s^2 = b / a. The middle is shrunk to the promise: w mean y, w = t^2 / (t^2 +
        s^2 / n) with t = 0.25, or |mean y| / 3 where that is more: a supplier who takes five times what is promised is
        not taken back to the promise by one odd order. The next order: Student's t of 2 a degrees of freedom about it,
        scale^2 = s^2 + w s^2 / n; without orders about the promise, scale^2 = s^2 + t^2 / 4, since most keep it.
        Source: normal means shrunk to a common one, and a spread with an inverse gamma beforehand, Gelman et al.,
        Bayesian Data Analysis, ch. 2 and 3 (from memory).
        Nought days of promise are taken as one where orders were seen to take longer, and as certain else.
        Raises DemandRefused for days that are negative or not finite.
        """
        law = _Law.of(promised, seen_days)
        return cls.certain(0) if law is None else cls._cut(law, SLICES)

    @classmethod
    def still_to_come(cls, promised: int, seen_days: Sequence[float] = (), *, waited: int) -> LeadTime:
        """The same of an order that was placed `waited` days ago and has not come: days from its placing, all above
        those waited; in twenty slices, since one late order may be all there is to wait for.

        T given T > waited: the quantiles of the law at F + u (1 - F), F its chance of having come by now, u the middles
        of the slices. Raises DemandRefused as `learnt` does, and for a wait below nought.
        """
        if waited < 0:
            raise DemandRefused(f"an order placed {waited} days ago; it must be nought or more.")
        law = _Law.of(promised, seen_days) or _Law(promised=0, base=1, middle=0.0, scale=0.01, freedom=6.0, most=2, n=0)
        return cls._cut(law, np.linspace(0, 1, ARRIVAL_SLICES + 1), waited=waited)

    @classmethod
    def _cut(cls, law: _Law, slices: NDArray[np.float64], *, waited: int | None = None) -> LeadTime:
        """The law in slices of these chances, each taken at its middle."""
        wanted = np.append((slices[1:] + slices[:-1]) / 2, [0.5, 0.9])
        *whole, half, late = law.days_at(wanted, waited=waited).tolist()
        days, where = np.unique(whole, return_inverse=True)
        chances = np.bincount(where, weights=np.diff(slices))
        return cls(
            promised=law.promised,
            days=tuple(map(int, days)),
            chances=tuple(map(float, chances)),
            middle=half,
            late=late,
            seen=law.n,
        )

    @property
    def longest(self) -> int:
        return self.days[-1]

    def use(self, use_in_days: Callable[[int], Demand], *, wait: int = 0) -> Demand:
        """Pieces used until an order placed `wait` days from now could come: the use mixed over its lead time."""
        if len(self.days) == 1:
            return use_in_days(wait + self.days[0])
        return Demand.mixed([use_in_days(wait + day) for day in self.days], self.chances)


@dataclass(frozen=True, kw_only=True)
class _Law:
    """y = ln(days / base) is Student's t of so much freedom about middle. most: days that none is reckoned beyond."""

    promised: int
    base: int
    middle: float
    scale: float
    freedom: float
    most: float
    n: int

    @classmethod
    def of(cls, promised: int, seen_days: Sequence[float]) -> _Law | None:
        """As `LeadTime.learnt` says; None: it comes at once."""
        taken = np.asarray(list(seen_days), float)
        if promised < 0 or not np.isfinite(taken).all() or (taken < 0).any():
            raise DemandRefused(f"a lead time of {promised} days, seen {taken.tolist()}; all must be nought or more.")
        if promised == 0 and not (taken > 0).any():
            return None
        base = max(promised, 1)
        y = np.log(np.maximum(taken, 0.5) / base)
        n, mean = len(y), float(y.mean()) if len(y) else 0.0
        a = (SPREAD_AS_FROM + max(n - 1, 0)) / 2
        one = (SPREAD_AS_FROM / 2 * USUAL_SPREAD**2 + float(((y - mean) ** 2).sum()) / 2) / a
        if n:
            own = max(SUPPLIERS_SPREAD, abs(mean) / FURTHEST) ** 2
            weight = own / (own + one / n)
            middle, doubt = weight * mean, weight * one / n
        else:
            middle, doubt = 0.0, SUPPLIERS_SPREAD**2 / 4
        return cls(
            promised=promised,
            base=base,
            middle=middle,
            scale=math.sqrt(one + doubt),
            freedom=2 * a,
            most=MOST_TIMES * max(base, float(taken.max(initial=0.0))),
            n=n,
        )

    def days_at(self, chances: NDArray[np.float64], *, waited: int | None = None) -> NDArray[np.int_]:
        """Whole days by which it has come with these chances; waited: given that it has not come until then."""
        if waited:
            come = float(scipy.special.stdtr(self.freedom, (math.log(waited / self.base) - self.middle) / self.scale))
            chances = -np.expm1(np.log1p(-chances) + np.log1p(-min(come, 1 - 1e-12)))
        at = self.middle + self.scale * scipy.special.stdtrit(self.freedom, chances)
        days = np.round(np.minimum(self.base * np.exp(np.minimum(at, 50.0)), self.most)).astype(int)
        return days if waited is None else np.maximum(days, waited + 1)


LEAST_FOR_TREND = 5  # orders


@dataclass(frozen=True, kw_only=True)
class LeadTrend:
    """Whether the days that orders took rise or fall. earlier, later: the middle of the first and of the second half;
    chance: by luck alone so clear a row, either way."""

    orders: int
    earlier: float
    later: float
    chance: float

    @property
    def longer(self) -> bool:
        return self.later > self.earlier

    @property
    def is_clear(self) -> bool:
        return self.chance <= 0.1


def lead_trend(days: Sequence[float]) -> LeadTrend | None:
    """Kendall's test of days taken, in the order in which they were ordered: S is the number of pairs that rise less
    those that fall, its chance exact where no two are alike, by the normal law else. None: fewer than five orders, or
    all alike.
    Source: M. G. Kendall, Rank Correlation Methods (from memory).
    """
    n = len(days)
    if n < LEAST_FOR_TREND or len(set(days)) < 2:
        return None
    chance = float(scipy.stats.kendalltau(np.arange(n), np.asarray(days, float)).pvalue)
    half = n // 2
    return LeadTrend(
        orders=n, earlier=float(np.median(days[:half])), later=float(np.median(days[-half:])), chance=chance
    )
