"""What is short, since when to order, and how many."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from .demand import Demand, DemandRefused
from .ladder import Prices, Rung, ladder, missing_by_stock
from .lead import LeadTime

SERVICE = 0.9  # where nothing says what a missing piece costs; common practice, no source
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
    least_quantity: int = 1

    def __post_init__(self) -> None:
        if self.lead_days < 0 or min(self.pack_size, self.least_quantity) < 1 or self.on_order < 0:
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

    enough: the chance that stock and what is on order last until then. short_by: pieces missing for the service.
    runs_out: the first day on which they no longer suffice with that chance. order_by: the last day on which ordering
    keeps the level; in the past: since then. Both None: not within the days looked ahead. Neither moves as days pass
    and nothing is entered.
    quantity: to order on the day it is due, whole packs: the best rung of the ladder. chase: what is on order is needed
    sooner than an order takes. service: the level kept, by_hand: set by somebody. lead, late: days an order takes as
    often as not, and nine times in ten; cover_days: that an order lasts until the next one is placed; lot: the
    economic one. yearly: pieces used a year; missing[s]: expected to be missing over one lead time with s there.
    least_stock: pieces that somebody wants on the shelf and on the way in any case.
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
    service: float = SERVICE
    by_hand: bool = True
    point: int = 0
    lead: int = 0
    late: int = 0
    lead_seen: int = 0
    cover_days: int = COVER_DAYS
    lot: int = 1
    ladder: tuple[Rung, ...] = ()
    yearly: float = 0.0
    missing: tuple[float, ...] = ()
    least_stock: int = 0


def packs(pieces: int, pack_size: int) -> int:
    """Pieces rounded up to whole packs."""
    return -(-max(pieces, 0) // pack_size) * pack_size


def advise(
    stock: StockNow,
    use_in_days: Callable[[int], Demand],
    *,
    today: dt.date,
    service: float = SERVICE,
    by_hand: bool = True,
    lead: LeadTime | None = None,
    prices: Prices | None = None,
    lot: int = 1,
    cover_days: int = COVER_DAYS,
    look_ahead_days: int = LOOK_AHEAD_DAYS,
    known_days: int = 0,
    yearly: float = 0.0,
    least_stock: int = 0,
) -> Advice:
    """The buyer's line for one spare.

    use_in_days(n): the use in the next n days, which never falls with n; days below nought too, where the use since
    the records is reckoned as if it were ahead: they begin known_days before today. service: the chance with which
    there shall be enough; by_hand: it is a level to keep, else the ladder goes by cost alone. lead: how long an order
    takes, None: the days promised, for certain. What is on order counts as there by the time an order of today would
    arrive. quantity: the best rung for the use until `cover_days` after the order placed today, or on `order_by` if
    later, could be followed by the next one. least_stock: by hand, so many pieces on the shelf and on the way in any
    case: with fewer it is to be ordered now, and the order brings them back up to it at least.
    Raises DemandRefused for a service outside 0 to 1.
    """
    if not 0 < service < 1:
        raise DemandRefused(f"a service of {service:g}; it must lie between 0 and 1.")
    lead = lead or LeadTime.certain(stock.lead_days)
    use = _Remembered(use_in_days, since=-known_days)
    in_lead = lead.use(use)
    most = max(look_ahead_days, stock.lead_days)

    def keeps(day: int) -> bool:
        return stock.position >= least_stock and use(day).quantile(service) <= stock.position

    def keeps_if_ordered(wait: int) -> bool:
        if stock.position < least_stock:
            return wait < 0
        if keeps(wait + lead.longest):
            return True
        return keeps(wait + lead.days[0]) and lead.use(use, wait=wait).quantile(service) <= stock.position

    last_wait = _last(keeps_if_ordered, -known_days - lead.middle - 1, most - stock.lead_days)
    runs_out = order_by = None
    wait = quantity = 0
    if last_wait is not None:
        lasts = _last(keeps, -known_days - 1, most + lead.longest)
        runs_out = None if lasts is None else today + dt.timedelta(days=lasts + 1)
        order_by = today + dt.timedelta(days=last_wait)
        wait = max(last_wait, 0)
    in_lead_then = in_lead if not wait else lead.use(use, wait=wait)
    rungs = ladder(
        position=stock.position,
        in_lead=in_lead_then,
        until_next=lead.use(use, wait=wait + cover_days),
        pack_size=stock.pack_size,
        prices=prices,
        level=service if by_hand or prices is None else None,
        least=0 if last_wait is None else max(1, least_stock - stock.position),
        least_lot=stock.least_quantity,
        most=None if prices is None else max(in_lead_then.quantile(service) + lot - stock.position, 0),
    )
    if last_wait is not None:
        quantity = next(rung.pieces for rung in rungs if rung.best)
    point = max(in_lead.quantile(service), least_stock)
    return Advice(
        half=in_lead.quantile(0.5),
        nine_in_ten=in_lead.quantile(0.9),
        expected=in_lead.mean,
        enough=in_lead.at_most(stock.position),
        short_by=max(point - stock.position, 0),
        runs_out=runs_out,
        order_by=order_by,
        days_late=max((today - order_by).days, 0) if order_by else 0,
        quantity=quantity,
        chase=stock.on_order > 0 and point > stock.on_hand,
        service=service,
        by_hand=by_hand,
        point=point,
        lead=lead.middle,
        late=lead.late,
        lead_seen=lead.seen,
        cover_days=cover_days,
        lot=lot,
        ladder=rungs,
        yearly=yearly,
        missing=missing_by_stock(in_lead),
        least_stock=least_stock,
    )


class _Remembered:
    """The use in so many days, each asked for once. Before the day `since` nothing of it was ahead."""

    def __init__(self, use_in_days: Callable[[int], Demand], *, since: int) -> None:
        self.use_in_days, self.since, self.known = use_in_days, since, dict[int, Demand]()

    def __call__(self, days: int) -> Demand:
        if days not in self.known:
            self.known[days] = self.use_in_days(days) if days >= self.since else Demand.none()
        return self.known[days]


def _last(holds: Callable[[int], bool], least: int, most: int) -> int | None:
    """The last whole number up to `most` at which it holds, where it stops holding once; `least` where it does not even
    there, None where it still does at `most`."""
    if most <= least or holds(most):
        return None if most > least or holds(least) else least
    if not holds(least):
        return least
    low, high = least, most  # holds at low, not at high
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (middle, high) if holds(middle) else (low, middle)
    return low
