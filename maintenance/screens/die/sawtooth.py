"""Why a die is due: hits since sharpened, as a sawtooth that falls to nought at each grind. Geometry only.

Everything stands on one axis, the hits of the die: what was run, left of the last entry; what is forecast, right of it.
One lane a side of the die, and one for each edge that ever went dull, with the hits that half of such
edges last as a level in it. Names stand beside the lanes and figures past their ends, so that no line strikes a word.
"""

from __future__ import annotations

import bisect
import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from django.utils.formats import date_format
from django.utils.translation import gettext as _

from diestore.drawing import letters, paths
from diestore.drawing.scales import Even, Tick, counted

from .timeline import Ring

WIDTH, LEFT, RIGHT = 1150.0, 104.0, 1004.0  # names to the left, figures to the right
LANE, TOOTH, TOP = 50.0, 34.0, 34.0  # height of a lane, of its highest tooth, and of the line of the last entry
BURR = 84.0  # height of the readings
LANES_AT_MOST = 6  # of edges; what more went dull is said
FUTURE_AT_MOST = 0.45  # share of the axis that lies ahead


@dataclass(frozen=True, kw_only=True)
class Strokes:
    """Hits of a die by the moment: flat between runs. runs: (started, ended, hits), by their start."""

    runs: Sequence[tuple[float, float, int]]
    before: list[int] = field(init=False)

    def __post_init__(self) -> None:
        total, before = 0, []
        for _started, _ended, hits in self.runs:
            before.append(total)
            total += hits
        object.__setattr__(self, "before", [*before, total])

    @property
    def total(self) -> int:
        return self.before[-1]

    def at(self, moment: float) -> float:
        i = bisect.bisect_right([run[0] for run in self.runs], moment)
        if not i:
            return 0.0
        started, ended, hits = self.runs[i - 1]
        share = 1.0 if ended <= started else min((moment - started) / (ended - started), 1.0)
        return self.before[i - 1] + hits * share


@dataclass(frozen=True, kw_only=True)
class Interval:
    """From one fresh edge to the next. end: dull, chipped, short (still sharp) or open (it runs on)."""

    started: float | None  # None: before the records begin
    ended: float
    from_hits: int
    hits: int
    end: str
    title: str = ""


@dataclass(frozen=True, kw_only=True)
class LaneOf:
    """What a lane shows. usual: the hits that half of such edges last. ahead: probability -> hits of the die left."""

    name: str
    intervals: Sequence[Interval]
    usual: float | None = None
    ahead: Mapping[float, float] | None = None
    limits: bool = False


@dataclass(frozen=True, kw_only=True)
class BurrLine:
    """Readings of one edge in one interval, joined: (moment, value in the reader's unit, title)."""

    code: str
    points: Sequence[tuple[float, float, str]]
    of_limiting: bool = False


@dataclass(frozen=True, kw_only=True)
class Peak:
    x: float
    y: float
    end: str
    title: str


@dataclass(frozen=True, kw_only=True)
class Lane:
    name: str
    base: float
    teeth: str  # all of them as one path
    peaks: list[Peak]
    level: float | None  # y of the usual hits
    words: str  # past the end: how much has run since, of how much
    rising: str  # on from the last entry, to where half are dull
    low: float | None  # the band of what is ahead, 8 in 10
    high: float | None
    half: float | None
    limits: bool

    @property
    def band(self) -> float:
        return 0.0 if self.low is None or self.high is None else self.high - self.low

    @property
    def top(self) -> float:
        return self.base - TOOTH


@dataclass(frozen=True, kw_only=True)
class BurrLane:
    base: float
    top: float
    lines: list[tuple[str, bool]]  # path, of the limiting edge
    rings: list[Ring]
    limit: float | None
    limit_words: str
    top_words: str


@dataclass(frozen=True, kw_only=True)
class Sawtooth:
    lanes: list[Lane]
    burr: BurrLane | None
    ticks: list[Tick]
    months: list[Tick]
    now: float
    now_words: str
    now_end: bool  # its words stand to the left of the line
    base: float
    order: float | None
    order_words: str
    order_runs_out: bool
    more: int  # edges that went dull and have no lane
    height: float
    words: str  # the same in words, for who does not see it
    width: float = WIDTH
    left: float = LEFT
    right: float = RIGHT


def lay_out(
    *,
    strokes: Strokes,
    since: float,
    now: float,
    now_words: str,
    lanes: Sequence[LaneOf],
    months: Sequence[tuple[float, str]] = (),
    burrs: Sequence[BurrLine] = (),
    burr_unit: str = "",
    burr_limit: float | None = None,
    order_hits: int | None = None,
    order_words: str = "",
    more: int = 0,
) -> Sawtooth:
    """since, now: moments between which the past is drawn. months: the moment each began, and its name."""
    first, last = strokes.at(since), strokes.at(now)
    past = max(last - first, 1.0)
    ahead = max([lane.ahead[0.9] for lane in lanes if lane.ahead] + [1.05 * (order_hits or 0), 0.05 * past])
    until = last + 1.02 * min(ahead, past * FUTURE_AT_MOST / (1 - FUTURE_AT_MOST))
    axis = Even(first, until, LEFT, RIGHT)
    drawn = [_lane(lane, TOP + LANE * (i + 1), axis, strokes, since, last) for i, lane in enumerate(lanes)]
    base = TOP + LANE * len(lanes)
    burr = _burr(burrs, base + 22, axis, strokes, burr_unit, burr_limit) if burrs else None
    foot = burr.base if burr else base
    at = axis.at(last)
    long = letters.width(now_words)
    return Sawtooth(
        lanes=drawn,
        burr=burr,
        ticks=axis.ticks(7),
        months=_apart([Tick(axis.at(strokes.at(moment)), words) for moment, words in months]),
        now=at,
        now_words=now_words,
        now_end=at + 8 + long > WIDTH,
        base=foot,
        order=None if not order_hits else axis.at(last + order_hits),
        order_words=order_words,
        order_runs_out=bool(order_hits and axis.beyond(last + order_hits)),
        more=more,
        height=foot + 46 + (36 if order_hits else 0),
        words=" ".join(f"{lane.name}: {one.words}." for lane, one in zip(lanes, drawn, strict=True)),
    )


def _lane(lane: LaneOf, base: float, axis: Even, strokes: Strokes, since: float, last: float) -> Lane:
    shown = [one for one in lane.intervals if one.ended >= since]
    running = next((one for one in shown if one.end == "open"), None)
    half = lane.ahead[0.5] if lane.ahead else None
    highest = max([one.hits for one in shown] + [1.1 * (lane.usual or 0), 1.0])
    up = Even(0, highest, base, base - TOOTH)
    teeth, peaks = [], []
    for one in shown:
        began = strokes.at(since if one.started is None else one.started)
        ended = strokes.at(one.ended)
        low, start = one.from_hits, began
        if began < axis.low and ended > began:  # it began before the drawing does
            low = one.from_hits + (one.hits - one.from_hits) * (axis.low - began) / (ended - began)
            start = axis.low
        end = (axis.at(ended), up.at(one.hits))
        teeth.append(f"{paths.line([(axis.at(start), up.at(low)), end])}" + ("" if one.end == "open" else f"V{base:g}"))
        if one.end != "open":
            peaks.append(Peak(x=end[0], y=end[1], end=one.end, title=one.title))
    rising = ""
    if running is not None and half is not None and lane.usual and not axis.beyond(last):
        there = min(last + half, axis.high)
        level = running.hits + (lane.usual - running.hits) * (there - last) / half if half else lane.usual
        rising = paths.line([(axis.at(last), up.at(running.hits)), (axis.at(there), up.at(max(level, 0)))])
    ran = "" if running is None else f"{running.hits:,}"
    words = ""
    if ran:
        usual = _about(lane.usual) if lane.usual else ""
        words = _("{hits} of {usual}").format(hits=ran, usual=usual) if usual else _("{hits} hits").format(hits=ran)
    return Lane(
        name=lane.name,
        base=base,
        teeth="".join(teeth),
        peaks=peaks,
        level=up.at(lane.usual) if lane.usual else None,
        words=words,
        rising=rising,
        low=axis.at(last + lane.ahead[0.1]) if lane.ahead else None,
        high=axis.at(last + lane.ahead[0.9]) if lane.ahead else None,
        half=axis.at(last + half) if half is not None and not axis.beyond(last + half) else None,
        limits=lane.limits,
    )


def _about(hits: float) -> str:
    """Two figures of it, in full."""
    return counted(float(f"{hits:.2g}"))


def _burr(lines, top: float, axis: Even, strokes: Strokes, unit: str, limit: float | None) -> BurrLane:
    highest = max([point[1] for one in lines for point in one.points] + [limit or 0.0, 1e-9]) * 1.1
    up = Even(0, highest, top + BURR - 10, top)
    drawn, rings = [], []
    for one in sorted(lines, key=lambda line: line.of_limiting):  # its own are drawn over the others
        points = [(axis.at(strokes.at(at)), up.at(value)) for at, value, _title in one.points]
        if len(points) > 1:
            drawn.append((paths.line(points), one.of_limiting))
        rings += [
            Ring(x=x, y=y, title=title, of_limiting=one.of_limiting)
            for (x, y), (_at, _value, title) in zip(points, one.points, strict=True)
        ]
    return BurrLane(
        base=top + BURR - 10,
        top=top,
        lines=drawn,
        rings=rings,
        limit=up.at(limit) if limit else None,
        limit_words=_("limit {limit}").format(limit=f"{limit:.3g} {unit}") if limit else "",
        top_words=_("burr, {unit}").format(unit=unit),
    )


def _apart(ticks: Sequence[Tick]) -> list[Tick]:
    """As many as stand clear of one another."""
    kept: list[Tick] = []
    for tick in ticks:
        if not kept or tick.at - kept[-1].at >= letters.width(kept[-1].words) / 2 + letters.width(tick.words) / 2 + 8:
            kept.append(tick)
    return kept


def months_between(since: dt.datetime, now: dt.datetime) -> list[tuple[float, str]]:
    """The first of each month, with the year where it is January or the first that is named."""
    named, year, month = [], since.year, since.month
    while True:
        year, month = (year + 1, 1) if month == 12 else (year, month + 1)
        moment = dt.datetime(year, month, 1, tzinfo=since.tzinfo)
        if moment > now:
            return named
        named.append((moment.timestamp(), date_format(moment, "M" if named and month > 1 else "M Y")))
