"""Strokes of a die until a day ahead."""

from __future__ import annotations

import calendar
import datetime as dt
import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass


@dataclass(frozen=True, kw_only=True)
class OrderAhead:
    """What is left of an open order, in strokes of the die, and the day it is due."""

    due: dt.date
    hits_left: float


@dataclass(frozen=True, kw_only=True)
class Programme:
    """What somebody stated of a die's years, and when nothing is wanted of it any more.

    years: (year, strokes) of whole calendar years, rising, as far as stated; after the last one it carries on. ends:
    the last day on which any of its parts is needed; None: not stated.
    """

    years: tuple[tuple[int, float], ...] = ()
    ends: dt.date | None = None

    def strokes(self, since: dt.date, until: dt.date, usual_a_day: float) -> float:
        """From one day until another: of stated years evenly over their days, of others the usual pace."""
        until = until if self.ends is None else min(until, self.ends + dt.timedelta(days=1))
        total, day = 0.0, since
        while day < until:
            following = min(dt.date(day.year + 1, 1, 1), until)
            total += (following - day).days * self._a_day(day.year, usual_a_day)
            day = following
        return total

    def _a_day(self, year: int, usual_a_day: float) -> float:
        stated = [(of, n) for of, n in self.years if of <= year]
        if not stated:
            return usual_a_day
        of, n = stated[-1]
        return n / (366 if calendar.isleap(of) else 365)


STEPS = 7  # of the slope of the usual pace
FLAT_DAYS, SLOPE_DAYS = 275, 180  # counted in full, and counted less and less: together as much as a year


def usual_pace(hits_by_step: Sequence[float], *, days_known: float) -> float:
    """Strokes a day of a die over the year before, where what falls out of the year falls out slowly.

    hits_by_step: float[STEPS + 1], strokes of the last FLAT_DAYS, then of each of STEPS equal spans before. Their
    weight falls from 1 evenly to nought: a run at the far end of a plain year would take all of itself along as soon
    as somebody enters anything on a later day. days_known: since its first run; a younger die counts from there.
    """
    weights = step_weights()
    if len(hits_by_step) != len(weights):
        raise ValueError(f"{len(hits_by_step)} spans of strokes; there are {len(weights)}.")
    span = SLOPE_DAYS / STEPS
    starts = [0.0, *(FLAT_DAYS + n * span for n in range(STEPS))]
    lengths = [FLAT_DAYS, *([span] * STEPS)]
    days = sum(
        w * min(max(days_known - start, 0.0), length) for w, start, length in zip(weights, starts, lengths, strict=True)
    )
    return sum(w * n for w, n in zip(weights, hits_by_step, strict=True)) / max(days, 30.0)


def step_weights() -> tuple[float, ...]:
    """Of the flat part and of each step of the slope: 1, then the middle of its step."""
    return (1.0, *(1 - (n + 0.5) / STEPS for n in range(STEPS)))


def hits_ahead(
    orders: Iterable[OrderAhead],
    *,
    today: dt.date,
    until: dt.date,
    usual_hits_per_day: float = 0.0,
    programme: Programme | None = None,
) -> float:
    """Strokes from today until a day: the larger of what the orders ask and what the usual pace makes.

    An order is run evenly until it is due, an overdue one at once: hits_left x min(1, (until - today) / (due - today)).
    Orders reach only a few weeks ahead and spares take longer; beyond the orders the pace of the past carries on, and
    within them it is a floor, since further orders come in. programme: what is stated of its years stands in place of
    the usual pace, and beyond its end there are only the orders.
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
    if programme is None:
        return max(ordered, usual_hits_per_day * days)
    return max(ordered, programme.strokes(today, until, usual_hits_per_day))
