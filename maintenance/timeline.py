"""What happened to a die and what is ahead, as a ribbon. Geometry only; the template draws.

Left of today time runs by the calendar; right of it strokes of the die run at their own scale, since nobody knows the
days. Labels of grinds that stand close give way: first to a second row, then to the mark alone (its title stays).
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

WIDTH, TODAY_X, LEFT, RIGHT = 1150.0, 720.0, 20.0, 1135.0
BASE, RUN_HEIGHT = 132.0, 52.0
READ_TOP, READ_HEIGHT = 176.0, 54.0
LETTER = 6.6  # width of a letter, near enough to keep labels apart


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
class Measured:
    at: dt.datetime
    value: float  # in the user's unit
    title: str


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
    label_y: float
    top: float
    title: str
    css: str

    @property
    def left(self) -> float:
        return self.x - 4.5


@dataclass(frozen=True, kw_only=True)
class Tick:
    x: float
    label: str


@dataclass(frozen=True, kw_only=True)
class Ring:
    x: float
    y: float
    title: str


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
    limit_y: float | None
    limit_label: str
    height: float
    has_readings: bool
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
    readings: Sequence[Measured] = (),
    reading_unit: str = "",
    limit: float | None = None,
    remaining: Mapping[float, float] | None = None,
    order_hits: int | None = None,
    order_label: str = "",
    said: Mapping[str, str] | None = None,
) -> Ribbon:
    """since, today: the calendar's part. remaining: probability -> strokes, at 0.1, 0.25, 0.5, 0.75, 0.9."""
    span = max((today - since).total_seconds(), 1.0)

    def x_of(moment: dt.datetime) -> float:
        return LEFT + (TODAY_X - LEFT) * min(max((moment - since).total_seconds() / span, 0.0), 1.0)

    most = max((r.hits for r in runs), default=1)
    bars = []
    for r in runs:
        x = x_of(r.started)
        w = max(x_of(r.ended) - x, 4.0)
        h = max(RUN_HEIGHT * r.hits / most, 3.0)
        bars.append(Box(x=x, y=BASE - h, w=w, h=h, title=r.title))
    drops: list[Drop] = []
    free = {34.0: -99.0, 52.0: -99.0}
    for e in sorted(events, key=lambda e: e.at):
        x = x_of(e.at)
        label_y, label = 0.0, ""
        for y in sorted(free):
            if x >= free[y] and x + 8 + LETTER * len(e.label) < TODAY_X - 6:
                label_y, label = y, e.label
                free[y] = x + 14 + LETTER * len(e.label)
                break
        drops.append(Drop(x=x, label=label, label_y=label_y, top=(label_y or 62) - 4, title=e.title, css=e.css))
    scale = max([m.value for m in readings] + ([limit] if limit else []), default=1.0) * 1.1 or 1.0
    rings = [Ring(x=x_of(m.at), y=READ_TOP + READ_HEIGHT * (1 - m.value / scale), title=m.title) for m in readings]
    ahead = None
    if remaining:
        ahead = _ahead(remaining, order_hits, order_label, (said or {}).get("half", ""))
    return Ribbon(
        runs=bars,
        drops=drops,
        ticks=_ticks(since, today, x_of),
        rings=rings,
        ahead=ahead,
        limit_y=None if not limit else READ_TOP + READ_HEIGHT * (1 - limit / scale),
        limit_label="" if not limit else f"limit {limit:.3g} {reading_unit}",
        height=(READ_TOP + READ_HEIGHT + 26) if readings else 206,
        has_readings=bool(readings),
    )


def _ahead(remaining, order_hits, order_label, half_label) -> Ahead:
    start = TODAY_X + 18
    most = max(remaining[0.9], min(order_hits or 0, 2.2 * remaining[0.9]), 1.0) * 1.04

    def x(strokes: float) -> float:
        return start + (RIGHT - start) * min(strokes / most, 1.0)

    return Ahead(
        low=x(remaining[0.1]),
        quarter=x(remaining[0.25]),
        half=x(remaining[0.5]),
        three_quarter=x(remaining[0.75]),
        high=x(remaining[0.9]),
        half_label=half_label,
        order=None if order_hits is None else x(order_hits),
        order_label=order_label,
        runs_out=bool(order_hits and order_hits > most),
    )


def _ticks(since: dt.datetime, today: dt.datetime, x_of) -> list[Tick]:
    ticks, year, month = [], since.year, since.month
    while True:
        month += 1
        if month > 12:
            year, month = year + 1, 1
        moment = dt.datetime(year, month, 1, tzinfo=since.tzinfo)
        if moment > today:
            break
        ticks.append(Tick(x=x_of(moment), label=moment.strftime("%b") if month > 1 else moment.strftime("%b %Y")))
    step = -(-len(ticks) // 14) if ticks else 1
    return ticks[::step]
