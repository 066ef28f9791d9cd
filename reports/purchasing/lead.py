"""How long an order takes: what the supplier promised, moved by what was seen, and the use until it comes."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
import scipy  # its parts are loaded when they are first named, so that a start pays for none

from .demand import Demand, DemandRefused

# Beforehand, of y = ln(taken / promised): a supplier's own middle lies about the promise by a quarter either way, and
# one order about that middle by a seventh, as well known as from six orders. Common practice, no source.
SUPPLIERS_SPREAD = 0.25
USUAL_SPREAD = 0.15
SPREAD_AS_FROM = 6.0
# Slices of the law, finer towards the late end, where a service level is decided; each taken at its middle.
SLICES = np.array([0.0, 0.3, 0.7, 0.9, 0.97, 1.0])
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
        s^2 / n) with t = 0.25. The next order: Student's t of 2 a degrees of freedom about it, scale^2 = s^2 + w s^2 /
        n; without orders about the promise, scale^2 = s^2 + t^2 / 4, since most keep it.
        Source: normal means shrunk to a common one, and a spread with an inverse gamma beforehand, Gelman et al.,
        Bayesian Data Analysis, ch. 2 and 3 (from memory).
        Nought days of promise are taken as one where orders were seen to take longer, and as certain else.
        Raises DemandRefused for days that are negative or not finite.
        """
        taken = np.asarray(list(seen_days), float)
        if promised < 0 or not np.isfinite(taken).all() or (taken < 0).any():
            raise DemandRefused(f"a lead time of {promised} days, seen {taken.tolist()}; all must be nought or more.")
        if promised == 0 and not (taken > 0).any():
            return cls(promised=0, days=(0,), chances=(1.0,), middle=0, late=0, seen=len(taken))
        base = max(promised, 1)
        y = np.log(np.maximum(taken, 0.5) / base)
        n, mean = len(y), float(y.mean()) if len(y) else 0.0
        a = (SPREAD_AS_FROM + max(n - 1, 0)) / 2
        one = (SPREAD_AS_FROM / 2 * USUAL_SPREAD**2 + float(((y - mean) ** 2).sum()) / 2) / a
        if n:
            weight = SUPPLIERS_SPREAD**2 / (SUPPLIERS_SPREAD**2 + one / n)
            middle, doubt = weight * mean, weight * one / n
        else:
            middle, doubt = 0.0, SUPPLIERS_SPREAD**2 / 4
        middles = (SLICES[1:] + SLICES[:-1]) / 2
        most = MOST_TIMES * max(base, float(taken.max(initial=0.0)))
        at = middle + math.sqrt(one + doubt) * scipy.special.stdtrit(2 * a, np.append(middles, [0.5, 0.9]))
        *whole, half, late = np.round(np.minimum(base * np.exp(np.minimum(at, 50.0)), most)).astype(int).tolist()
        days, where = np.unique(whole, return_inverse=True)
        chances = np.bincount(where, weights=np.diff(SLICES))
        return cls(
            promised=promised,
            days=tuple(map(int, days)),
            chances=tuple(map(float, chances)),
            middle=half,
            late=late,
            seen=n,
        )

    @property
    def longest(self) -> int:
        return self.days[-1]

    def use(self, use_in_days: Callable[[int], Demand], *, wait: int = 0) -> Demand:
        """Pieces used until an order placed `wait` days from now could come: the use mixed over its lead time."""
        if len(self.days) == 1:
            return use_in_days(wait + self.days[0])
        return Demand.mixed([use_in_days(wait + day) for day in self.days], self.chances)
