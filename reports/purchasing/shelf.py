"""The price of an empty shelf: money tied up in spares against press stops a year, over a whole shop."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from .demand import DemandRefused


@dataclass(frozen=True, kw_only=True)
class ShelfItem:
    """One spare. missing: float[n], pieces expected to be missing in one cycle of orders when 0, 1, 2 ... are there as
    it begins; never rising, convex. cycles: orders a year; price: of a piece; there: pieces on the shelf and on the
    way; stops: what a missing piece does, 1: it stops the press, 0: nothing waits."""

    name: str
    price: float
    cycles: float
    missing: tuple[float, ...]
    there: int
    stops: float = 1.0


@dataclass(frozen=True, kw_only=True, eq=False)
class ShelfCurve:
    """money: float[n], rising, tied up; stops: float[n], falling, press stops a year, where each euro is spent where it
    prevents most. order: int[n - 1], the item that each step adds a piece of. now_money, now_stops: the shelf as it is.
    """

    money: NDArray[np.float64]
    stops: NDArray[np.float64]
    order: NDArray[np.int_]
    now_money: float
    now_stops: float

    def stops_at(self, money: float) -> float:
        """The fewest stops a year for so much."""
        return float(np.interp(money, self.money, self.stops))

    def money_at(self, stops: float) -> float:
        """The least that is tied up for so few stops a year."""
        return float(np.interp(-stops, -self.stops, self.money))


def shelf_curve(items: Sequence[ShelfItem]) -> ShelfCurve:
    """Steps of one piece, the one that prevents most stops for its price first.

    A step from s to s + 1 pieces costs price and prevents cycles x stops x (missing(s) - missing(s + 1)). Since missing
    is convex in s the steps of an item come in order by themselves, and the sums are the best that can be had for that
    money but for its last piece.
    Source: marginal allocation, Fox 1966; Sherbrooke, Optimal Inventory Modeling of Systems (from memory).
    Raises DemandRefused without items, or where a price does not lie above nought.
    """
    if not items:
        raise DemandRefused("there is no spare with a price.")
    if bad := [item.name for item in items if not (item.price > 0 and len(item.missing))]:
        raise DemandRefused(f"{bad[0]} has no price or no use to go by.")
    steps, costs, saves = [], [], []
    base = now_money = now_stops = 0.0
    for number, item in enumerate(items):
        weight = item.cycles * item.stops
        missing = np.asarray(item.missing, float)
        gain = weight * np.maximum(-np.diff(missing), 0.0)
        gain = np.minimum.accumulate(gain) if len(gain) else gain  # rounding must not turn two steps about
        steps.append(np.full(len(gain), number))
        costs.append(np.full(len(gain), item.price))
        saves.append(gain)
        base += weight * float(missing[0])
        now_money += item.price * max(item.there, 0)
        below = max(-item.there, 0)  # owed: each is missing besides
        now_stops += weight * (float(missing[min(max(item.there, 0), len(missing) - 1)]) + below)
    of_item, cost, save = (np.concatenate(rows) for rows in (steps, costs, saves))
    best = np.argsort(-save / cost, kind="stable")
    return ShelfCurve(
        money=np.append(0.0, np.cumsum(cost[best])),
        stops=np.maximum(base - np.append(0.0, np.cumsum(save[best])), 0.0),
        order=of_item[best],
        now_money=now_money,
        now_stops=now_stops,
    )
