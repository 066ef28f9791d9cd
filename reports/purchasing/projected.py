"""What will lie on the shelf day by day, with what is on the way."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from .demand import Demand, DemandRefused
from .lead import LeadTime

BAND = (0.1, 0.5, 0.9)
RISK = 0.1  # of a piece missing, at which it is said to run out


@dataclass(frozen=True, kw_only=True)
class Arrival:
    """Pieces that an order brings. days, chances: whole days from today on which it may come, sum 1."""

    pieces: int
    days: tuple[int, ...]
    chances: tuple[float, ...]

    def __post_init__(self) -> None:
        if self.pieces < 0 or len(self.days) != len(self.chances) or not self.days:
            raise DemandRefused(f"{self.pieces} pieces on the way, on {len(self.days)} days with {len(self.chances)}.")

    @classmethod
    def of(cls, pieces: int, lead: LeadTime, *, waited: int) -> Arrival:
        """lead: from its placing, `waited` days ago."""
        return cls(pieces=pieces, days=tuple(max(day - waited, 0) for day in lead.days), chances=lead.chances)

    def still_out(self, day: int) -> Demand:
        """Its pieces, as far as they have not come by the end of that day."""
        late = float(sum(p for when, p in zip(self.days, self.chances, strict=True) if when > day))
        if not self.pieces or late <= 0:
            return Demand.none()
        chances = np.zeros(self.pieces + 1)
        chances[0], chances[-1] = max(1 - late, 0.0), late
        return Demand.of(chances)

    def by(self, chance: float) -> int:
        """The day by which it has come with at least that chance."""
        return int(self.days[min(int(np.searchsorted(np.cumsum(self.chances), chance - 1e-12)), len(self.days) - 1)])


@dataclass(frozen=True, kw_only=True, eq=False)
class Projected:
    """days: int[n], rising, from today. low, half, high: int[n], pieces on the shelf at the end of each, no more than
    which lie there 1 time in 10, half of the time, 9 times in 10; below nought: so many are owed. short: float[n],
    the chance that a piece is missing. runs_out: the first day on which that is RISK or more; None: not within them.
    """

    days: NDArray[np.int_]
    low: NDArray[np.int_]
    half: NDArray[np.int_]
    high: NDArray[np.int_]
    short: NDArray[np.float64]
    runs_out: int | None


def projected(
    on_hand: int,
    use_in_days: Callable[[int], Demand],
    *,
    arrivals: Iterable[Arrival] = (),
    days: Sequence[int],
) -> Projected:
    """Pieces on the shelf at the end of each day if nothing more is ordered.

    S(t) = on hand + sum of n_i - [D(t) + sum of n_i 1(T_i > t)], where D is the use until then and T_i the day on which
    order i comes, all independent: one convolution a day, and the band of S is that of the bracket turned over.
    runs_out: by bisection between the two days that it lies between, with the days' own use.
    Limits: of each day by itself; a piece that was missing and came since does not count as missing any more. Orders of
    one supplier are late together more often than independent ones.
    Raises DemandRefused where the days do not rise from nought or more.
    """
    at = np.asarray(list(days), int)
    if not len(at) or at[0] < 0 or (np.diff(at) <= 0).any():
        raise DemandRefused("the days ahead must rise, from today on.")
    coming = tuple(arrivals)
    position = on_hand + sum(arrival.pieces for arrival in coming)

    def out(day: int) -> Demand:
        return use_in_days(day).plus(Demand.total(arrival.still_out(day) for arrival in coming))

    def missing(demand: Demand) -> float:
        return max(1 - demand.at_most(position), 0.0) if position >= 0 else 1.0

    outs = [out(int(day)) for day in at]
    low, half, high = (np.array([position - d.quantile(1 - p) for d in outs], int) for p in BAND)
    short = np.array([missing(d) for d in outs])
    return Projected(days=at, low=low, half=half, high=high, short=short, runs_out=_first(at, short, out, missing))


def _first(
    at: NDArray[np.int_], short: NDArray[np.float64], out: Callable[[int], Demand], missing: Callable[[Demand], float]
) -> int | None:
    over = np.flatnonzero(short >= RISK)
    if not len(over):
        return None
    first = int(over[0])
    if first == 0:
        return int(at[0])
    before, after = int(at[first - 1]), int(at[first])
    while after - before > 1:
        middle = (before + after) // 2
        before, after = (before, middle) if missing(out(middle)) >= RISK else (middle, after)
    return after
