"""Stock of one spare: what lay on the shelf, and what will lie there with its band: glue, and a drawing."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import gettext as _

from diestore.drawing import paths
from diestore.drawing.scales import Even, Tick
from maintenance.log.purchase_reads import Coming, LeadSeen
from reports.format import day
from reports.purchasing.demand import DemandRefused
from reports.purchasing.laws import LawRefused
from reports.purchasing.lead import LeadTime
from reports.purchasing.projected import Arrival, Projected, projected

from .supply import OfASpare
from .use import PlantAhead
from .why import Why

POINTS = 40  # days at which the band is worked out
MOST_PAST_DAYS = 365
LEAST_DAYS = 60
WIDTH, HEIGHT, LEFT, RIGHT, TOP, FOOT = 1000, 330, 60, 20, 58, 34
SHOWN = 8  # rows of the table
MONTH_LABELS = 12


@dataclass(frozen=True, kw_only=True)
class OrderAhead:
    """An order on the way: when it may come."""

    number: str
    order_id: int
    pieces: int
    due_on: dt.date | None
    is_promised: bool
    arrival: Arrival


@dataclass(frozen=True, kw_only=True)
class Projection:
    """past: (moment, pieces on the shelf from then on), the earliest first. left_out: pieces on the way by the record,
    behind which no order stands."""

    today: dt.date
    past: tuple[tuple[dt.date, int], ...]
    ahead: Projected
    point: int
    lead: int
    cover: int
    orders: tuple[OrderAhead, ...]
    left_out: int

    @property
    def runs_out_on(self) -> dt.date | None:
        return None if self.ahead.runs_out is None else self.today + dt.timedelta(days=self.ahead.runs_out)


def of_a_spare(why: Why, ahead: PlantAhead, ordered: OfASpare) -> Projection | None:
    """None where nothing can be said of the spare."""
    row, advice = why.row, why.row.advice
    if advice is None:
        return None
    seen = ordered.leads.seen if ordered.leads else ()
    lead = ahead.lead(row.item)
    orders = tuple(_order(one, why, seen, row.today) for one in ordered.coming)
    until = min(max(lead.longest + advice.cover_days, LEAST_DAYS), ahead.horizon_days)
    try:
        stock = projected(
            row.there,
            lambda days: ahead.use(row.item.pk, days),
            arrivals=[order.arrival for order in orders],
            days=_days(until, orders),
        )
    except (DemandRefused, LawRefused):
        return None
    moved = [(timezone.localdate(m.at), m.stock + row.usable_older) for m in why.moves if m.place == "shelf"][::-1]
    return Projection(
        today=row.today,
        past=_since(moved, row.today - dt.timedelta(days=min(until, MOST_PAST_DAYS)), row.today, row.there),
        ahead=stock,
        point=advice.point,
        lead=advice.lead,
        cover=advice.cover_days,
        orders=orders,
        left_out=ordered.without,
    )


def _order(one: Coming, why: Why, seen: Sequence[LeadSeen], today: dt.date) -> OrderAhead:
    """When it may come: by how this supplier kept its promised days where it gave one, else by its lead times."""
    placed = one.placed_on or today
    waited = max((today - placed).days, 0)
    if one.is_promised and one.due_on is not None:
        promise = max((one.due_on - placed).days, 1)
        kept = [promise * s.days / s.promised_days for s in seen if s.promised_days]
        lead = LeadTime.still_to_come(promise, kept, waited=waited)
    else:
        lead = LeadTime.still_to_come(why.row.lead_days or 0, why.lead_seen, waited=waited)
    return OrderAhead(
        number=one.number,
        order_id=one.order_id,
        pieces=one.pieces,
        due_on=one.due_on,
        is_promised=one.is_promised,
        arrival=Arrival.of(one.pieces, lead, waited=waited),
    )


def _days(until: int, orders: Iterable[OrderAhead]) -> list[int]:
    """Even steps, and the day before and the day on which an order comes as often as not."""
    even = {round(until * n / POINTS) for n in range(POINTS + 1)}
    middles = {order.arrival.by(0.5) for order in orders}
    return sorted({*even, *(d for m in middles for d in (m - 1, m) if 0 <= d <= until)})


def _since(
    moved: Sequence[tuple[dt.date, int]], start: dt.date, today: dt.date, on_hand: int
) -> tuple[tuple[dt.date, int], ...]:
    """Steps from a day on; those of one day are its last. Before the first movement nobody knows what lay there."""
    of_day = dict(moved)
    before = [stock for when, stock in of_day.items() if when < start]
    steps = [(when, stock) for when, stock in of_day.items() if start <= when <= today]
    if before:
        steps.insert(0, (start, before[-1]))
    return (*steps, (today, on_hand)) if steps else ()


# --- the drawing ------------------------------------------------------------------------------------------------------


@dataclass(frozen=True, kw_only=True)
class Mark:
    """An order on the way: x of the day it comes as often as not, and of its 1 in 10 and 9 in 10."""

    x: float
    low: float
    high: float
    y: float
    words: str
    anchor: str
    words_x: float


@dataclass(frozen=True, kw_only=True)
class DrawnStock:
    width: int
    height: int
    left: int
    right: float
    base: float
    zero: float
    past: str
    band: str
    half: str
    today_x: float
    today: str
    point_y: float
    point: int
    up: list[Tick]
    across: list[Tick]
    marks: list[Mark]
    out_x: float | None
    out: str
    out_anchor: str
    title: str
    rows: list[tuple[str, int, int, int, str]]
    orders: list[tuple[OrderAhead, str, str, str]]
    headline: str
    left_out: int
    until: str


def drawn(found: Projection) -> DrawnStock:
    """Where everything stands, and the same in words."""
    ahead, today = found.ahead, found.today
    first = min([when for when, _ in found.past], default=today)
    last = today + dt.timedelta(days=int(ahead.days[-1]))
    low = min(0, int(ahead.low.min()), *(stock for _, stock in found.past), 0)
    high = max(int(ahead.high.max()), found.point, *(stock for _, stock in found.past), 1)
    base = HEIGHT - FOOT
    x = Even(first.toordinal(), max(last.toordinal(), first.toordinal() + 1), LEFT, WIDTH - RIGHT)
    y = Even(low - 0.15 * (high - low) if low < 0 else 0, high * 1.05 + 0.2, base, TOP)
    t0 = today.toordinal()
    there = [(x.at(t0 + int(d)), y.at(int(n))) for d, n in zip(ahead.days, ahead.high, strict=True)]
    back = [(x.at(t0 + int(d)), y.at(int(n))) for d, n in zip(ahead.days, ahead.low, strict=True)]
    half = [(x.at(t0 + int(d)), y.at(int(n))) for d, n in zip(ahead.days, ahead.half, strict=True)]
    out = found.runs_out_on
    out_x = None if out is None else round(x.at(out.toordinal()), 1)
    return DrawnStock(
        width=WIDTH,
        height=HEIGHT,
        left=LEFT,
        right=WIDTH - RIGHT,
        base=base,
        zero=round(y.at(0), 1),
        past=paths.line(_steps([(x.at(when.toordinal()), y.at(n)) for when, n in found.past])),
        band=paths.area(_steps(there), _steps(back)),
        half=paths.line(_steps(half)),
        today_x=round(x.at(t0), 1),
        today=day(today),
        point_y=round(y.at(found.point), 1),
        point=found.point,
        up=[tick for tick in y.ticks(6) if tick.value == int(tick.value)],
        across=_months(x, first, last),
        marks=_marks(found, x),
        out_x=out_x,
        out=_("out at 1 in 10: {day}").format(day=day(out)) if out else "",
        out_anchor="end" if out_x is not None and out_x > WIDTH - 230 else "",
        title=_title(found, out),
        rows=_rows(found),
        orders=[(o, *(day(today + dt.timedelta(days=o.arrival.by(p))) for p in (0.1, 0.5, 0.9))) for o in found.orders],
        headline=_headline(found, out),
        left_out=found.left_out,
        until=day(last),
    )


def _steps(points: Sequence[tuple[float, float]]) -> list[tuple[float, float]]:
    """Pieces go one by one: level until the next point, then straight to it."""
    made: list[tuple[float, float]] = []
    for x, y in points:
        if made and y != made[-1][1]:
            made.append((x, made[-1][1]))
        made.append((x, y))
    return made


def _marks(found: Projection, x: Even) -> list[Mark]:
    made = []
    t0 = found.today.toordinal()
    for n, order in enumerate(found.orders):
        low, middle, high = (x.at(t0 + order.arrival.by(p)) for p in (0.1, 0.5, 0.9))
        end = middle > WIDTH - 200
        made.append(
            Mark(
                x=round(middle, 1),
                low=round(low, 1),
                high=round(high, 1),
                y=14 + 15 * (n % 3),
                words=_("{number}: {pieces:,} more").format(number=order.number, pieces=order.pieces),
                anchor="end" if end else "",
                words_x=round(low - 8 if end else high + 8, 1),
            )
        )
    return made


def _months(x: Even, first: dt.date, last: dt.date) -> list[Tick]:
    starts, at = [], first.replace(day=1)
    while at <= last:
        if at >= first:
            starts.append(at)
        at = (at + dt.timedelta(days=32)).replace(day=1)
    every = -(-len(starts) // MONTH_LABELS)
    return [Tick(round(x.at(d.toordinal()), 1), date_format(d, "M" if d.month > 1 else "M Y")) for d in starts[::every]]


def _rows(found: Projection) -> list[tuple[str, int, int, int, str]]:
    """So many days of those worked out: day, 1 in 10, half, 9 in 10, chance of a piece missing."""
    ahead, last = found.ahead, len(found.ahead.days) - 1
    shown = sorted({round(last * n / (SHOWN - 1)) for n in range(SHOWN)})
    return [
        (
            day(found.today + dt.timedelta(days=int(ahead.days[n]))),
            int(ahead.low[n]),
            int(ahead.half[n]),
            int(ahead.high[n]),
            f"{100 * float(ahead.short[n]):.0f} %",
        )
        for n in shown
    ]


def _headline(found: Projection, out: dt.date | None) -> str:
    if out is None:
        until = day(found.today + dt.timedelta(days=int(found.ahead.days[-1])))
        return _("If nothing more is ordered, a piece is missing in fewer than 1 case in 10 up to {day}.").format(
            day=until
        )
    if out <= found.today:
        return _("A piece may be missing already, with a chance of 1 in 10 or more.")
    return _("If nothing more is ordered, a piece is missing by {day} in 1 case of 10.").format(day=day(out))


def _title(found: Projection, out: dt.date | None) -> str:
    ahead = found.ahead
    last = found.today + dt.timedelta(days=int(ahead.days[-1]))
    words = _(
        "Pieces on the shelf, so far and ahead. {headline} On {day}: 1 in 10 of at most {low}, even chance of at most "
        "{half}, 9 in 10 of at most {high}. Order point {point}."
    ).format(
        headline=_headline(found, out),
        day=day(last),
        low=ahead.low[-1],
        half=ahead.half[-1],
        high=ahead.high[-1],
        point=found.point,
    )
    for order in found.orders:
        comes = found.today + dt.timedelta(days=order.arrival.by(0.5))
        brings = _("Order {number} brings {pieces}, even chance by {day}.")
        words += " " + brings.format(number=order.number, pieces=order.pieces, day=day(comes))
    return words
