"""What will be spent on spares month by month: orders placed already, and those that the rule will place."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import NamedTuple

import numpy as np
import scipy  # its parts are loaded when they are first named, so that a start pays for none
from numpy.typing import NDArray

from .demand import Demand, DemandRefused
from .lead import LeadTime

MONTHS = 12
BAND = (0.1, 0.5, 0.9)
MOST_ORDERS = 60  # of one item in the year
LEAST_CHANCE = 1e-4  # of an order within the year, below which it is left out
CELLS = 1024  # of the lattice of money
MOST_CONVOLVED = 150  # laws; above it three moments say the same
NEGLIGIBLE = 1e-9


@dataclass(frozen=True, kw_only=True, eq=False)
class Buy:
    """One order that may be placed. cost: of it; chances: float[months], that it is paid in each, sum at most 1."""

    cost: float
    chances: NDArray[np.float64]


@dataclass(frozen=True, kw_only=True)
class Rule:
    """How an item is ordered: whenever what is there and on the way, `position`, falls below `point`. first: pieces
    then, the next time; lot: each time after it. ends: days until nothing needs it any more, None: not stated."""

    position: int
    point: int
    first: int
    lot: int
    unit_price: float
    ends: int | None = None

    def __post_init__(self) -> None:
        if self.first < 1 or self.lot < 1 or not self.unit_price >= 0:
            raise DemandRefused(f"an order of {self.first}, then {self.lot} pieces at {self.unit_price:g} each.")


def buys_ahead(
    rule: Rule, use_in_days: Callable[[int], Demand], *, lead: LeadTime, month_ends: Sequence[int]
) -> tuple[Buy, ...]:
    """The orders of one item that the rule places, each with its chance of being paid in each month: when it comes.

    Order n goes out when the use D reaches a_n = position - point + 1 + what the orders before it brought, so that
    P(placed by t) = P(D(t) >= a_n), exactly, from the same use that the advice goes by. It comes T later, T by the lead
    time; between the ends of months the chance is taken as straight. Where the item ends, the point falls with what an
    order's time still uses, expected, no order is larger than what is used till then 9 times in 10, and none goes out
    after the end. Raises DemandRefused where the ends of months do not rise from above nought.
    """
    ends = np.asarray(list(month_ends), int)
    if not len(ends) or ends[0] <= 0 or (np.diff(ends) <= 0).any():
        raise DemandRefused("the ends of the months ahead must rise, from tomorrow on.")
    at = np.unique([0, ends[0] // 3, *ends])  # what is nearly due goes out early in the first month
    stop = None if rule.ends is None else max(rule.ends, 0)
    if stop is None and 1 - use_in_days(int(at[-1])).at_most(rule.position - rule.point) < LEAST_CHANCE:
        return ()  # use only grows: what the whole span does not reach, no day in it does
    uses = [use_in_days(int(day if stop is None else min(day, stop))) for day in at]
    points = np.full(len(at), rule.point)
    last = None
    if stop is not None and stop < ends[-1] + lead.longest:
        last = use_in_days(stop).quantile(0.9)
        in_lead = use_in_days(lead.middle).mean
        still = [
            use_in_days(min(int(day) + lead.middle, stop)).mean - use.mean for day, use in zip(at, uses, strict=True)
        ]
        shares = np.clip(np.array(still) / in_lead, 0, 1) if in_lead > 0 else np.zeros(len(at))
        points = np.ceil(rule.point * shares - 1e-9).astype(int)
    made: list[Buy] = []
    brought, pieces = 0, rule.first
    for _ in range(MOST_ORDERS):
        wanted = pieces if last is None else min(pieces, last - rule.position - brought)
        if wanted < 1:
            break
        reached = [
            1 - use.at_most(rule.position - int(point) + brought) for use, point in zip(uses, points, strict=True)
        ]
        placed = np.maximum.accumulate(np.clip(reached, 0, 1))
        if placed[-1] < LEAST_CHANCE:
            break
        paid = np.zeros(len(ends) + 1)
        for days, chance in zip(lead.days, lead.chances, strict=True):
            paid += chance * np.interp(np.append(0, ends) - days, at, placed, left=0.0)
        made.append(Buy(cost=wanted * rule.unit_price, chances=np.diff(paid)))
        brought, pieces = brought + wanted, rule.lot
    return tuple(made)


@dataclass(frozen=True, kw_only=True, eq=False)
class Spend:
    """low, half, high: float[months], no more than which is paid 1 time in 10, half of the time, 9 times in 10; mean.
    sure: float[months], of orders placed already. year: the same of all months together."""

    low: NDArray[np.float64]
    half: NDArray[np.float64]
    high: NDArray[np.float64]
    mean: NDArray[np.float64]
    sure: NDArray[np.float64]
    year: tuple[float, float, float, float]


@dataclass(frozen=True, kw_only=True, eq=False)
class Part:
    """What belongs into a sum: buys, each by a share of its cost, and what is sure in each month."""

    buys: tuple[tuple[Buy, float], ...] = ()
    sure: Mapping[int, float] = field(default_factory=dict)


def total(parts: Iterable[Part], *, months: int = MONTHS) -> Spend:
    """The spend of many items.

    Items are independent of each other. Up to MOST_CONVOLVED laws are convolved on a lattice of CELLS cells, each sum
    put on the two points beside it so that its mean is kept; above, a gamma law shifted so that mean, variance and
    skewness are those of the sum. In a month each buy is a law by itself; in the year the buys of an item are nested,
    since the second is placed only after the first: P(n of them) = p_n - p_(n+1).
    Limits: two orders of one item in the same month are taken as independent; and items of one die, which are ground
    and run together. A simulation of such shops says what that does to the band.
    """
    parts = list(parts)
    sure = np.zeros(months)
    by_month: list[list[_Law]] = [[] for _ in range(months)]
    of_year: list[_Law] = []
    mean = np.zeros(months)
    for part in parts:
        for month, amount in part.sure.items():
            if 0 <= month < months:
                sure[month] += amount
        costs = []
        for buy, share in part.buys:
            if len(buy.chances) != months:
                raise DemandRefused(f"chances of {len(buy.chances)} months; there are {months}.")
            cost = share * buy.cost
            if cost <= 0:
                continue
            costs.append((cost, min(float(buy.chances.sum()), 1.0)))
            mean += cost * buy.chances
            for at in np.flatnonzero(buy.chances > NEGLIGIBLE):
                p = min(float(buy.chances[at]), 1.0)
                by_month[at].append(_Law(np.array([0.0, cost]), np.array([1 - p, p])))
        if costs:
            reached = np.minimum.accumulate([1.0, *(p for _, p in costs)])
            sums = np.append(0.0, np.cumsum([cost for cost, _ in costs]))
            of_year.append(_Law(sums, reached - np.append(reached[1:], 0.0)))
    bands = np.array([_band(laws) for laws in by_month])
    year, placed = _band(of_year), float(sure.sum())
    return Spend(
        low=bands[:, 0] + sure,
        half=bands[:, 1] + sure,
        high=bands[:, 2] + sure,
        mean=mean + sure,
        sure=sure,
        year=(year[0] + placed, year[1] + placed, year[2] + placed, float(mean.sum()) + placed),
    )


class _Law(NamedTuple):
    """Of one item: sums, rising from nought, and their chances."""

    sums: NDArray[np.float64]
    chances: NDArray[np.float64]


def _band(laws: Sequence[_Law]) -> tuple[float, float, float]:
    if not laws:
        return 0.0, 0.0, 0.0
    return _convolved(laws) if len(laws) <= MOST_CONVOLVED else _by_moments(laws)


def _convolved(laws: Sequence[_Law]) -> tuple[float, float, float]:
    cell = sum(float(law.sums[-1]) for law in laws) / CELLS
    together, filled = np.zeros(CELLS + 2), 1
    together[0] = 1.0
    for law in laws:
        moved = np.zeros(CELLS + 2)
        reach = filled
        for amount, chance in zip(law.sums, law.chances, strict=True):
            if chance <= 0:
                continue
            whole, rest = divmod(amount / cell, 1.0)
            step = int(whole)
            take = min(filled, CELLS + 1 - step)
            moved[step : step + take] += chance * (1 - rest) * together[:take]
            moved[step + 1 : step + 1 + take] += chance * rest * together[:take]
            reach = max(reach, min(step + take + 1, CELLS + 1))
        together, filled = moved, reach
    cumulated = np.cumsum(together) / together.sum()
    low, half, high = (cell * int(np.searchsorted(cumulated, p - 1e-9)) for p in BAND)
    return low, half, high


def _by_moments(laws: Sequence[_Law]) -> tuple[float, float, float]:
    """Pearson's third law: mean + sd (g - a) / sqrt(a), g gamma of shape a = 4 / skewness^2. The mean, the variance and
    the third central moment of independent items add. Source: Johnson, Kotz and Balakrishnan, Continuous Univariate
    Distributions 1, ch. 17 (from memory)."""
    mean = variance = third = 0.0
    for law in laws:
        one = float(law.sums @ law.chances)
        off = law.sums - one
        mean += one
        variance += float(off**2 @ law.chances)
        third += float(off**3 @ law.chances)
    if variance <= 0:
        return mean, mean, mean
    sd, skew = variance**0.5, third / variance**1.5
    if abs(skew) < 1e-3:
        low, half, high = (mean + sd * float(scipy.special.ndtri(b)) for b in BAND)
    else:
        a, sign = 4 / skew**2, 1.0 if skew > 0 else -1.0
        at = [b if skew > 0 else 1 - b for b in BAND]
        low, half, high = (mean + sign * sd * (float(scipy.special.gammaincinv(a, b)) - a) / a**0.5 for b in at)
    return max(low, 0.0), max(half, 0.0), max(high, 0.0)
