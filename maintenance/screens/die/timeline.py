"""What happened to a die and what is ahead, as a ribbon. Geometry only; the template draws.

Left of today time runs by the calendar; right of it strokes of the die run at their own scale, since nobody knows the
days. Labels of grinds that stand close give way: first to a second row, then to the mark alone (its title stays).
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from django.utils.formats import date_format
from django.utils.translation import gettext as _

from diestore.drawing import letters
from diestore.drawing.scales import Even, Tick

WIDTH, TODAY_X, LEFT, RIGHT = 1150.0, 720.0, 74.0, 1135.0
BASE, RUN_HEIGHT = 138.0, 52.0
READ_TOP, READ_HEIGHT = 184.0, 56.0
LABEL_ROWS = (20.0, 38.0, 56.0)
ONE_CAMPAIGN = dt.timedelta(hours=36)  # a longer pause than this begins another block


@dataclass(frozen=True, kw_only=True)
class RunBar:
    started: dt.datetime
    ended: dt.datetime
    hits: int
    title: str


@dataclass(frozen=True, kw_only=True)
class Event:
    at: dt.datetime
    label: str
    title: str
    css: str = ""


@dataclass(frozen=True, kw_only=True)
class BurrMark:
    at: dt.datetime
    value: float  # in the user's unit
    title: str
    of_limiting: bool = False  # on the edge that limits the die


@dataclass(frozen=True, kw_only=True)
class Box:
    x: float
    y: float
    w: float
    h: float
    title: str


@dataclass(frozen=True, kw_only=True)
class Drop:
    x: float
    label: str
    label_x: float
    label_y: float
    top: float
    title: str
    css: str
    anchor: str = "start"

    @property
    def left(self) -> float:
        return self.x - 4.5


@dataclass(frozen=True, kw_only=True)
class Ring:
    x: float
    y: float
    title: str
    of_limiting: bool


@dataclass(frozen=True, kw_only=True)
class Ahead:
    """The forecast band in strokes of the die, and the open order as a measure under it."""

    low: float
    quarter: float
    half: float
    three_quarter: float
    high: float
    half_label: str
    order: float | None
    order_label: str
    runs_out: bool  # the order is longer than the drawing

    @property
    def band(self) -> float:
        return self.high - self.low

    @property
    def inner(self) -> float:
        return self.three_quarter - self.quarter


@dataclass(frozen=True, kw_only=True)
class Ribbon:
    runs: list[Box]
    drops: list[Drop]
    ticks: list[Tick]
    rings: list[Ring]
    ahead: Ahead | None
    most_hits: int  # of the tallest block
    limit_y: float | None
    limit_label: str
    height: float
    has_readings: bool
    run_top: float = BASE - RUN_HEIGHT
    left: float = LEFT
    read_top: float = READ_TOP
    read_bottom: float = READ_TOP + READ_HEIGHT
    base: float = BASE
    today_x: float = TODAY_X
    width: float = WIDTH


def lay_out(
    *,
    today: dt.datetime,
    since: dt.datetime,
    runs: Sequence[RunBar],
    events: Sequence[Event],
    readings: Sequence[BurrMark] = (),
    reading_unit: str = "",
    limit: float | None = None,
    remaining: Mapping[float, float] | None = None,
    order_hits: int | None = None,
    order_label: str = "",
    words: Mapping[str, str] | None = None,
) -> Ribbon:
    """since, today: the calendar's part. remaining: probability -> strokes, at 0.1, 0.25, 0.5, 0.75, 0.9."""
    begun = since.timestamp()
    calendar = Even(begun, max(today.timestamp(), begun + 1.0), LEFT, TODAY_X)

    def x_of(moment: dt.datetime) -> float:
        return calendar.at(moment.timestamp())

    blocks = campaigns(runs)
    most = max((r.hits for r in blocks), default=0)
    heights = Even(0, max(most, 1), 0, RUN_HEIGHT)
    bars = []
    for r in blocks:
        x = x_of(r.started)
        w = max(x_of(r.ended) - x, 5.0)
        h = max(heights.at(r.hits), 3.0)
        bars.append(Box(x=x, y=BASE - h, w=w, h=h, title=r.title))
    drops = _drops([(x_of(e.at), e) for e in sorted(events, key=lambda e: e.at)])
    highest = max([m.value for m in readings] + ([limit] if limit else []), default=1.0) * 1.1 or 1.0
    burrs = Even(0, highest, READ_TOP + READ_HEIGHT, READ_TOP)
    rings = [
        Ring(
            x=x_of(m.at),
            y=burrs.at(m.value),
            title=m.title,
            of_limiting=m.of_limiting,
        )
        for m in sorted(readings, key=lambda m: m.of_limiting)  # its own are drawn over the others
    ]
    ahead = None
    if remaining:
        ahead = _ahead(remaining, order_hits, order_label, (words or {}).get("half", ""))
    return Ribbon(
        runs=bars,
        drops=drops,
        ticks=_months(since, today, calendar),
        rings=rings,
        ahead=ahead,
        most_hits=most,
        limit_y=None if not limit else burrs.at(limit),
        limit_label="" if not limit else f"{limit:.3g} {reading_unit}",
        height=(READ_TOP + READ_HEIGHT + 12) if readings else 206,
        has_readings=bool(readings),
    )


def campaigns(runs: Sequence[RunBar]) -> list[RunBar]:
    """Runs with no long pause between them as one block, with the hits of all."""
    blocks: list[list[RunBar]] = []
    for run in sorted(runs, key=lambda r: r.started):
        if blocks and run.started - blocks[-1][-1].ended <= ONE_CAMPAIGN:
            blocks[-1].append(run)
        else:
            blocks.append([run])
    made = []
    for block in blocks:
        hits, first = sum(r.hits for r in block), block[0]
        title = first.title
        if len(block) > 1:
            title = _("{hits:,} hits in {runs} runs; the first: {first}").format(
                hits=hits, runs=len(block), first=first.title
            )
        made.append(RunBar(started=first.started, ended=block[-1].ended, hits=hits, title=title))
    return made


def _drops(events: Sequence[tuple[float, Event]]) -> list[Drop]:
    """Labels that stand close give way: to the left of their mark, to the next row, at last to the mark alone."""
    free = dict.fromkeys(LABEL_ROWS, LEFT)  # where each row is free from
    drops = []
    for x, e in events:
        length = letters.width(e.label)
        placed = ("", 0.0, 0.0, "start")
        for y in LABEL_ROWS:
            if not e.label or free[y] > x:
                continue
            if x + 8 + length < TODAY_X - 4:
                placed, free[y] = (e.label, x + 8, y, "start"), x + 16 + length
            elif x - 8 - length >= free[y]:
                placed, free[y] = (e.label, x - 8, y, "end"), x + 10
            else:
                continue
            break
        label, label_x, label_y, anchor = placed
        top = (label_y or LABEL_ROWS[-1] + 10) - 5
        drops.append(
            Drop(x=x, label=label, label_x=label_x, label_y=label_y, top=top, title=e.title, css=e.css, anchor=anchor)
        )
    return drops


def _ahead(remaining, order_hits, order_label, half_label) -> Ahead:
    start = TODAY_X + 18
    most = max(remaining[0.9], min(order_hits or 0, 2.2 * remaining[0.9]), 1.0) * 1.04
    strokes = Even(0, most, start, RIGHT)
    return Ahead(
        low=strokes.at(remaining[0.1]),
        quarter=strokes.at(remaining[0.25]),
        half=strokes.at(remaining[0.5]),
        three_quarter=strokes.at(remaining[0.75]),
        high=strokes.at(remaining[0.9]),
        half_label=half_label,
        order=None if order_hits is None else strokes.at(order_hits),
        order_label=order_label,
        runs_out=bool(order_hits and strokes.beyond(order_hits)),
    )


def _months(since: dt.datetime, today: dt.datetime, calendar: Even) -> list[Tick]:
    """The first of each month, of each second or third where there are many."""
    ticks, year, month = [], since.year, since.month
    while True:
        month += 1
        if month > 12:
            year, month = year + 1, 1
        moment = dt.datetime(year, month, 1, tzinfo=since.tzinfo)
        if moment > today:
            break
        ticks.append(Tick(calendar.at(moment.timestamp()), date_format(moment, "M" if month > 1 else "M Y")))
    step = -(-len(ticks) // 14) if ticks else 1
    return ticks[::step]
