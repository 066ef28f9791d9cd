"""Strokes of a die until a day ahead."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Iterable
from dataclasses import dataclass


@dataclass(frozen=True, kw_only=True)
class OrderAhead:
    """What is left of an open order, in strokes of the die, and the day it is due."""

    due: dt.date
    hits_left: float


def hits_ahead(
    orders: Iterable[OrderAhead], *, today: dt.date, until: dt.date, usual_hits_per_day: float = 0.0
) -> float:
    """Strokes from today until a day: the larger of what the orders ask and what the usual pace makes.

    An order is run evenly until it is due, an overdue one at once: hits_left x min(1, (until - today) / (due - today)).
    Orders reach only a few weeks ahead and spares take longer; beyond the orders the pace of the past carries on, and
    within them it is a floor, since further orders come in.
    Raises ValueError for negative or not finite hits.
    """
    if not (math.isfinite(usual_hits_per_day) and usual_hits_per_day >= 0):
        raise ValueError(f"a usual pace of {usual_hits_per_day:g} hits a day; it must be nought or more.")
    days = (until - today).days
    if days <= 0:
        return 0.0
    ordered = 0.0
    for order in orders:
        if not (math.isfinite(order.hits_left) and order.hits_left >= 0):
            raise ValueError(f"{order.hits_left:g} hits are left of an order; it must be nought or more.")
        span = (order.due - today).days
        ordered += order.hits_left if span <= 0 else order.hits_left * min(1.0, days / span)
    return max(ordered, usual_hits_per_day * days)
