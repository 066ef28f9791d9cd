"""What is short, since when to order, and how many."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from .demand import Demand, DemandRefused

LOOK_AHEAD_DAYS = 730
COVER_DAYS = 90


def reorder_point(use_in_lead_time: Demand, service: float) -> int:
    """The least stock (on hand and on order) that is enough for the lead time with at least that chance."""
    return use_in_lead_time.quantile(service)


def critical_ratio(*, short: float, left_over: float) -> float:
    """The service worth paying for: short / (short + left_over), the cost of one too few and of one too many.

    Source: the newsvendor's rule, e.g. Nahmias, Production and Operations Analysis.
    """
    if not (math.isfinite(short) and math.isfinite(left_over) and short > 0 and left_over > 0):
        raise DemandRefused(f"one short costs {short:g}, one left over {left_over:g}; both must lie above nought.")
    return short / (short + left_over)


def expected_cost(demand: Demand, stock: int, *, short: float, left_over: float) -> float:
    """left_over E[(stock - D)+] + short E[(D - stock)+]."""
    spare = stock - np.arange(len(demand.chances))
    return float(demand.chances @ np.where(spare > 0, left_over * spare, -short * spare))


@dataclass(frozen=True, kw_only=True)
class StockNow:
    """What is there of a spare. on_hand may be negative where the records say so: it is then owed."""

    on_hand: int
    on_order: int
    lead_days: int
    pack_size: int = 1

    def __post_init__(self) -> None:
        if self.lead_days < 0 or self.pack_size < 1 or self.on_order < 0:
            raise DemandRefused(
                f"a lead time of {self.lead_days} days, packs of {self.pack_size}, {self.on_order} on order: "
                "a lead time and an order are nought or more, a pack holds at least one."
            )

    @property
    def position(self) -> int:
        return self.on_hand + self.on_order


@dataclass(frozen=True, kw_only=True)
class Advice:
    """half, nine_in_ten, expected: use until an order placed today could arrive.

    enough: the chance that stock and what is on order last until then. short_by: pieces missing for the asked service.
    runs_out: the first day on which they no longer suffice with that chance. order_by: the last day to order, lead
    time before it; in the past: since then. Both None: not within the days looked ahead.
    quantity: to order on the day it is due, whole packs. chase: what is on order is needed sooner than an order takes.
    """

    half: int
    nine_in_ten: int
    expected: float
    enough: float
    short_by: int
    runs_out: dt.date | None
    order_by: dt.date | None
    days_late: int
    quantity: int
    chase: bool


def packs(pieces: int, pack_size: int) -> int:
    """Pieces rounded up to whole packs."""
    return -(-max(pieces, 0) // pack_size) * pack_size


def advise(
    stock: StockNow,
    use_in_days: Callable[[int], Demand],
    *,
    today: dt.date,
    service: float = 0.9,
    cover_days: int = COVER_DAYS,
    look_ahead_days: int = LOOK_AHEAD_DAYS,
) -> Advice:
    """The buyer's line for one spare.

    use_in_days(n): the use in the next n days, which never falls with n. service: the chance with which there shall
    be enough. What is on order counts as there by the time an order of today would arrive. quantity: brings stock and
    order up to the use until `cover_days` after the arrival of an order placed today, or on `order_by` if later.
    Raises DemandRefused for a service outside 0 to 1.
    """
    if not 0 < service < 1:
        raise DemandRefused(f"a service of {service:g}; it must lie between 0 and 1.")
    in_lead = use_in_days(stock.lead_days)
    lasts = _days_it_lasts(stock.position, use_in_days, service, max(look_ahead_days, stock.lead_days))
    runs_out = order_by = None
    wait = 0
    if lasts is not None:
        runs_out = today + dt.timedelta(days=lasts + 1)
        order_by = runs_out - dt.timedelta(days=stock.lead_days + 1)
        wait = max((order_by - today).days, 0)
        until = use_in_days(wait + stock.lead_days + cover_days)
        quantity = packs(until.quantile(service) - stock.position, stock.pack_size)
    else:
        quantity = 0
    return Advice(
        half=in_lead.quantile(0.5),
        nine_in_ten=in_lead.quantile(0.9),
        expected=in_lead.mean,
        enough=in_lead.at_most(stock.position),
        short_by=max(in_lead.quantile(service) - stock.position, 0),
        runs_out=runs_out,
        order_by=order_by,
        days_late=max((today - order_by).days, 0) if order_by else 0,
        quantity=quantity,
        chase=stock.on_order > 0 and in_lead.quantile(service) > stock.on_hand,
    )


def _days_it_lasts(position: int, use_in_days: Callable[[int], Demand], service: float, most: int) -> int | None:
    """The last day n on which `position` is enough with the service; -1 where it is not today; None beyond `most`."""
    if use_in_days(0).quantile(service) > position:
        return -1
    if use_in_days(most).quantile(service) <= position:
        return None
    low, high = 0, most  # enough at low, not at high
    while high - low > 1:
        middle = (low + high) // 2
        if use_in_days(middle).quantile(service) <= position:
            low = middle
        else:
            high = middle
    return low
