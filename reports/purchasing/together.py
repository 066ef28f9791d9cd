"""What else to put on an order that goes to a supplier anyway: the ordering cost is paid once for all of it."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from .demand import DemandRefused


@dataclass(frozen=True, kw_only=True)
class Candidate:
    """A spare of the supplier that is not due yet. days_left: until it has to be ordered; pieces: that are ordered
    then; price: of one then; keep_a_year: share of its price that a piece costs in a year on the shelf; each_now: price
    of one when so many are ordered now."""

    key: int
    days_left: int
    pieces: int
    price: float
    keep_a_year: float
    each_now: float | None = None

    def __post_init__(self) -> None:
        figures = (self.price, self.keep_a_year, self.each_now or 0.0)
        if not all(math.isfinite(x) and x >= 0 for x in figures) or self.pieces < 1 or self.days_left < 0:
            raise DemandRefused(
                f"{self.pieces} pieces of {self.price:g} in {self.days_left} days, keeping {self.keep_a_year:g}: "
                "at least one piece, the others nought or more."
            )


@dataclass(frozen=True, kw_only=True)
class Addition:
    """saved: ordering cost that is not paid again; keeping: of its pieces until they would have come; worth: saved less
    keeping and what they cost more, of that alone."""

    key: int
    pieces: int
    saved: float
    keeping: float

    @property
    def worth(self) -> float:
        return self.saved - self.keeping


def additions(
    candidates: Sequence[Candidate], *, order_cost: float, within_days: int, line_cost: float = 0.0
) -> tuple[Addition, ...]:
    """Those worth adding, the most worth first.

    A spare that comes to its order point within the next interval would call for an order of its own: ordered now it
    saves the ordering cost A less what its line costs, and its pieces lie T = days_left / 365 longer:
        worth = A - a - Q P h T - Q (P_now - P),
    added where that lies above nought. This is the can-order rule with the level set where the gain is nought; that
    each would else be ordered by itself is its assumption: two that would have gone together save A once, so that the
    sum of several is the most that they can save (`orders_saved`).
    Source: the can-order policy, Balintfy 1964, and joint replenishment, Silver, Pyke and Peterson (from memory).
    """
    if not (math.isfinite(order_cost) and order_cost >= 0 and line_cost >= 0):
        raise DemandRefused(f"an order costs {order_cost:g}, a line {line_cost:g}; both are nought or more.")
    made = []
    for one in candidates:
        if one.days_left > within_days:
            continue
        keeping = one.pieces * one.price * one.keep_a_year * one.days_left / 365
        dearer = 0.0 if one.each_now is None else one.pieces * (one.each_now - one.price)
        found = Addition(key=one.key, pieces=one.pieces, saved=order_cost - line_cost, keeping=keeping + dearer)
        if found.worth > 0:
            made.append(found)
    return tuple(sorted(made, key=lambda a: (-a.worth, a.key)))


def orders_saved(days: Sequence[int], *, together_days: int) -> int:
    """How many orders those would have been: spares whose days lie within so many days go on one order.

    Greedy from the first day on, which is the fewest (intervals of one length on a line).
    """
    n, until = 0, -math.inf
    for day in sorted(days):
        if day > until:
            n, until = n + 1, day + together_days
    return n
