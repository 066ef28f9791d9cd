"""The past again under a rule of ordering: what would have lain on the shelf, what would have been short."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from .demand import DemandRefused

Wanted = Callable[[int, NDArray[np.int_]], NDArray[np.int_]]


@dataclass(frozen=True, kw_only=True, eq=False)
class Past:
    """What came of N spares over T days, whatever was ordered.

    needs: int[T, N], pieces needed on each day. on_hand: int[N], on the shelf before the first. coming: int[T, N],
    pieces that orders placed before bring in the morning of each day. lead: int[T, N], days that an order placed in the
    evening of each day takes. Raises DemandRefused where the shapes differ or what cannot be negative is.
    """

    needs: NDArray[np.int_]
    on_hand: NDArray[np.int_]
    coming: NDArray[np.int_]
    lead: NDArray[np.int_]

    def __post_init__(self) -> None:
        shape = self.needs.shape
        if len(shape) != 2 or self.coming.shape != shape or self.lead.shape != shape or self.on_hand.shape != shape[1:]:
            raise DemandRefused(
                f"needs of {shape}, coming of {self.coming.shape}, lead times of {self.lead.shape}, a shelf of "
                f"{self.on_hand.shape}: days by spares, and the shelf by spares."
            )
        if any((of < 0).any() for of in (self.needs, self.coming, self.lead)):
            raise DemandRefused("pieces needed, pieces coming and days that an order takes are nought or more.")

    @property
    def days(self) -> int:
        return self.needs.shape[0]

    @property
    def spares(self) -> int:
        return self.needs.shape[1]

    def beside(self, other: Past) -> Past:
        """The spares of both, of the same days."""
        return Past(
            needs=np.hstack([self.needs, other.needs]),
            on_hand=np.concatenate([self.on_hand, other.on_hand]),
            coming=np.hstack([self.coming, other.coming]),
            lead=np.hstack([self.lead, other.lead]),
        )


@dataclass(frozen=True, kw_only=True, eq=False)
class Replayed:
    """on_shelf, owed: int[T, N], pieces at the end of each day; one of the two is nought. short: int[T, N], pieces
    needed on each day that were not there. placed: int[T, N], pieces ordered in the evening of each day."""

    on_shelf: NDArray[np.int_]
    owed: NDArray[np.int_]
    short: NDArray[np.int_]
    placed: NDArray[np.int_]

    @property
    def stock_outs(self) -> NDArray[np.int_]:
        """int[N], pieces that somebody needed while none was there."""
        return self.short.sum(axis=0)

    @property
    def days_waited(self) -> NDArray[np.int_]:
        """int[N], days that pieces were waited for, added up over the pieces."""
        return self.owed.sum(axis=0)

    @property
    def orders(self) -> NDArray[np.int_]:
        """int[N], orders placed."""
        return (self.placed > 0).sum(axis=0)

    def tied_up(self, prices: ArrayLike) -> NDArray[np.float64]:
        """float[N], mean money on the shelf over the days. prices: of one piece."""
        return self.on_shelf.mean(axis=0) * np.asarray(prices, float)


def replay(past: Past, wanted: Wanted, *, review_days: int = 7) -> Replayed:
    """What a rule would have come to.

    Deliveries come in the morning, needs during the day; what is not there is owed and given out when it comes. In the
    evening of every `review_days`-th day, the first one among them, wanted(day, position) says how many to order of
    each: int[N] of int[N] pieces on the shelf and on the way less what is owed. An order takes the lead time of its
    day, one night at least, and never overtakes an earlier one of the same spare.
    Source: the equations of a stock with backorders, e.g. Nahmias, Production and Operations Analysis (from memory).
    Raises DemandRefused for a review less often than daily or more often, and for orders below nought.
    """
    if review_days < 1:
        raise DemandRefused(f"a look at the shelf every {review_days} days; it must be one or more.")
    days, spares = past.days, past.spares
    net, on_way = past.on_hand.astype(int).copy(), past.coming.sum(axis=0)
    arriving = np.zeros((days + 1, spares), int)
    arriving[:days] = past.coming
    last_arrival = np.zeros(spares, int)
    every = np.arange(spares)
    on_shelf, owed, short, placed = (np.zeros((days, spares), int) for _ in range(4))
    for day in range(days):
        net += arriving[day]
        on_way -= arriving[day]
        short[day] = np.maximum(past.needs[day] - np.maximum(net, 0), 0)
        net -= past.needs[day]
        on_shelf[day], owed[day] = np.maximum(net, 0), np.maximum(-net, 0)
        if day % review_days:
            continue
        order = np.asarray(wanted(day, net + on_way), int)
        if (order < 0).any():
            raise DemandRefused(f"an order of {order.min()} pieces; it must be nought or more.")
        some = order > 0
        if not some.any():
            continue
        comes = np.maximum(day + np.maximum(past.lead[day], 1), last_arrival)
        last_arrival = np.where(some, comes, last_arrival)
        arriving[np.minimum(comes, days)[some], every[some]] += order[some]
        placed[day] = order
        on_way += order
    return Replayed(on_shelf=on_shelf, owed=owed, short=short, placed=placed)


def never(day: int, position: NDArray[np.int_]) -> NDArray[np.int_]:
    """The rule of who orders nothing."""
    return np.zeros_like(position)


def fixed_minimum(minimum: ArrayLike, lot: ArrayLike) -> Wanted:
    """Whenever fewer than the minimum are on the shelf and on the way: as many lots as bring it back there.

    minimum: int[N], or int[T, N] where it is set anew from time to time; lot: int[N], one or more.
    """
    least, lots = np.asarray(minimum, int), np.asarray(lot, int)
    if (lots < 1).any():
        raise DemandRefused(f"lots of {lots.min()} pieces; one at least.")

    def wanted(day: int, position: NDArray[np.int_]) -> NDArray[np.int_]:
        now = least[day] if least.ndim == 2 else least
        return -(-np.maximum(now - position, 0) // lots) * lots

    return wanted


def usual_minimum(
    used_a_day: ArrayLike, lead_days: ArrayLike, pack: ArrayLike, *, times: ArrayLike = 1.0, least: ArrayLike = 0
) -> NDArray[np.int_]:
    """What a shop sets as the minimum: the mean use over the lead time and one pack, rounded up; `least` where nothing
    was used. times: of the mean use, to set it tighter or wider. Common practice, no source."""
    used = np.asarray(used_a_day, float)
    minimum = np.ceil(np.asarray(times, float) * used * np.asarray(lead_days, float) + np.asarray(pack, float) - 1e-9)
    return np.maximum(np.where(used > 0, minimum, 0), least).astype(int)


@dataclass(frozen=True, kw_only=True)
class Bounds:
    """A figure of what never happened: as it most likely would have been, and its least and its most."""

    low: float
    likely: float
    high: float

    @classmethod
    def of(cls, likely: float, *others: float) -> Bounds:
        return cls(low=min(likely, *others), likely=likely, high=max(likely, *others))

    @property
    def known(self) -> bool:
        return self.low == self.high


def at_money(money: Sequence[float], figures: Sequence[float], wanted: float) -> float | None:
    """A figure of rules that tie up more and more money, at the money wanted: straight between the two beside it.

    money: rising or equal; None where the money wanted lies outside of it.
    """
    have = np.asarray(money, float)
    if not len(have) or (np.diff(have) < -1e-9).any():
        raise DemandRefused("the money tied up must rise from rule to rule.")
    if not have[0] <= wanted <= have[-1]:
        return None
    return float(np.interp(wanted, have, np.asarray(figures, float)))
