"""Lays out the wear model's drawings: hits on a scale of equal ratios, the same in all of them. Geometry only."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from maintenance.forecasts.builds import BY_RATIO, Choice, Curve
from maintenance.life.handbook import Interval, Intervals

WIDTH, HEIGHT = 390, 300
LEFT, RIGHT, TOP, BOTTOM = 52, 370, 22, 218
ROW, ROWS_TOP, NAME = 46, 30, 112
NEAR = 18  # labels closer than this are set apart
ROUND = (1, 2, 5)


@dataclass(frozen=True)
class Tick:
    at: float
    words: str


@dataclass(frozen=True)
class Scale:
    """Hits to a place on a drawing, equal ratios equally far."""

    low: float
    high: float
    start: float
    end: float

    def at(self, hits: float) -> float:
        share = math.log(hits / self.low) / math.log(self.high / self.low)
        return round(self.start + (self.end - self.start) * min(max(share, 0.0), 1.0), 1)

    def ticks(self, most: int) -> list[Tick]:
        for steps in (ROUND, (1, 3), (1,)):
            found = [
                step * 10.0**power
                for power in range(math.floor(math.log10(self.low)), math.ceil(math.log10(self.high)) + 1)
                for step in steps
                if self.low <= step * 10.0**power <= self.high
            ]
            if len(found) <= most:
                break
        return [Tick(self.at(h), short(h)) for h in found]


def short(hits: float) -> str:
    """A count on a scale: 500, 20 k, 1.5 M."""
    for unit, word in ((1e6, " M"), (1e3, " k")):
        if hits >= unit:
            return f"{hits / unit:g}{word}"
    return f"{hits:g}"


def scale_of(curves: Sequence[Curve], choices: Sequence[Choice]) -> tuple[float, float]:
    """The hits that all drawings run over: every middle, and every band of the record (the handbook's without one)."""
    values: list[float] = []
    for curve in curves:
        told = curve.record or curve.handbook
        values += [*told.low_hits, *told.high_hits, *curve.handbook.usual_hits]
    for choice in choices:
        told = choice.record or choice.handbook
        values += [told.low_hits, told.high_hits, choice.handbook.usual_hits]
    low, high = min(values), max(values)
    return low / 1.15, high * 1.15


@dataclass(frozen=True, kw_only=True)
class Drawing:
    """A curve drawn. record_lines: (path, heavy), heavy where the shop has run such edges."""

    title: str
    name: str
    unit: str
    handbook: str
    handbook_low: str
    handbook_high: str
    band: str
    record_lines: tuple[tuple[str, bool], ...]
    labels: tuple[tuple[float, float, str], ...]
    y_ticks: list[Tick]
    x_ticks: list[Tick]
    marks: tuple[float, ...]
    within: tuple[float, float] | None
    at: tuple[float, float, str] | None
    asked: tuple[float, float, str] | None

    width, height, left, right, top, bottom = WIDTH, HEIGHT, LEFT, RIGHT, TOP, BOTTOM


def draw(
    curve: Curve,
    *,
    title: str,
    name: str,
    unit: str,
    hits: tuple[float, float],
    ticks: Sequence[tuple[float, str]],
    asked: float | None = None,
) -> Drawing:
    """ticks: (value in the unit of the curve, as it is written). asked: the value that a question changes it to."""
    y = Scale(*hits, BOTTOM, TOP)
    x = _across(curve)
    places = [x(v) for v in curve.x]

    def path(values: Sequence[float]) -> str:
        return "M" + " L".join(f"{p:g} {y.at(v):g}" for p, v in zip(places, values, strict=True))

    told = curve.record or curve.handbook
    band, lines = "", ()
    if curve.record is not None:
        band = _band(places, curve.record, y)
        lines = _record_lines(curve, places, y)
    return Drawing(
        title=title,
        name=name,
        unit=unit,
        handbook=path(curve.handbook.usual_hits),
        handbook_low=_inside(places, curve.handbook.low_hits, y),
        handbook_high=_inside(places, curve.handbook.high_hits, y),
        band=band,
        record_lines=lines,
        labels=_labels(curve, y),
        y_ticks=y.ticks(8),
        x_ticks=[Tick(x(v), words) for v, words in ticks if curve.x[0] <= v <= curve.x[-1]],
        marks=tuple(sorted({x(v) for v in curve.seen if curve.x[0] <= v <= curve.x[-1]})),
        within=None if curve.within is None else tuple(x(min(max(v, curve.x[0]), curve.x[-1])) for v in curve.within),
        at=_point(curve, told, curve.at, x, y, "this edge"),
        asked=_point(curve, told, asked, x, y, "asked for"),
    )


def _across(curve: Curve) -> Callable[[float], float]:
    of = math.log if curve.quantity in BY_RATIO else float
    low, high = of(curve.x[0]), of(curve.x[-1])
    return lambda v: round(LEFT + (RIGHT - LEFT) * (of(v) - low) / (high - low), 1)


def _band(places: Sequence[float], told: Intervals, y: Scale) -> str:
    there = [f"{p:g} {y.at(v):g}" for p, v in zip(places, told.high_hits, strict=True)]
    back = [f"{p:g} {y.at(v):g}" for p, v in zip(places, told.low_hits, strict=True)]
    return "M" + " L".join([*there, *reversed(back)]) + "Z"


def _inside(places: Sequence[float], values: Sequence[float], y: Scale) -> str:
    """A line where it lies on the drawing; where it lies beyond, nothing."""
    pieces, open_ = [], False
    for place, value in zip(places, values, strict=True):
        if y.low <= value <= y.high:
            pieces.append(f"{'L' if open_ else 'M'}{place:g} {y.at(value):g}")
            open_ = True
        else:
            open_ = False
    return " ".join(pieces)


def _record_lines(curve: Curve, places: Sequence[float], y: Scale) -> tuple[tuple[str, bool], ...]:
    values = curve.record.usual_hits
    heavy = [curve.speaks_at(v) for v in curve.x]
    lines, start = [], 0
    for i in range(1, len(places) + 1):
        if i == len(places) or heavy[i] != heavy[start]:
            last = min(i, len(places) - 1)  # up to the next point, so that the pieces meet
            points = " L".join(f"{places[n]:g} {y.at(values[n]):g}" for n in range(start, last + 1))
            lines.append((f"M{points}", heavy[start]))
            start = i
    return tuple(lines)


def _labels(curve: Curve, y: Scale) -> tuple[tuple[float, float, str], ...]:
    """Each line's name at its right end, clear of the other's."""
    by_book = y.at(curve.handbook.usual_hits[-1])
    if curve.record is None:
        return ((RIGHT, by_book - 8, "handbook"),)
    own = y.at(curve.record.usual_hits[-1])
    below, above = 18, -8
    book_up = by_book <= own
    book_at, own_at = (by_book + above, own + below) if book_up else (by_book + below, own + above)
    return ((RIGHT, _kept(book_at), "handbook"), (RIGHT, _kept(own_at), "this shop's record"))


def _kept(place: float) -> float:
    return round(min(max(place, TOP + 10), BOTTOM - 4), 1)


def _point(curve: Curve, told: Intervals, value: float | None, x, y: Scale, words: str):
    if value is None or not curve.x[0] <= value <= curve.x[-1]:
        return None
    i = max(n for n, v in enumerate(curve.x) if v <= value + 1e-12)
    hits = told.usual_hits[i]
    if i + 1 < len(curve.x):
        share = (value - curve.x[i]) / (curve.x[i + 1] - curve.x[i])
        hits = math.exp((1 - share) * math.log(told.usual_hits[i]) + share * math.log(told.usual_hits[i + 1]))
    return x(value), y.at(hits), words


@dataclass(frozen=True, kw_only=True)
class RowMark:
    """One choice: two bars, the handbook's and the record's; (low, middle, high) places along the hits."""

    y: float
    name: str
    note: str
    chosen: bool
    handbook: tuple[float, float, float]
    record: tuple[float, float, float] | None


@dataclass(frozen=True, kw_only=True)
class Bars:
    title: str
    rows: list[RowMark]
    ticks: list[Tick]
    height: float
    foot: float

    width, left, right, top = WIDTH, NAME, RIGHT, ROWS_TOP


def bars(choices: Sequence[Choice], *, title: str, hits: tuple[float, float]) -> Bars:
    along = Scale(*hits, NAME, RIGHT)
    rows = [
        RowMark(
            y=ROWS_TOP + ROW * (n + 0.5),
            name=choice.words,
            note=_note(choice),
            chosen=choice.chosen,
            handbook=_three(choice.handbook, along),
            record=None if choice.record is None else _three(choice.record, along),
        )
        for n, choice in enumerate(choices)
    ]
    foot = ROWS_TOP + ROW * len(rows)
    return Bars(title=title, rows=rows, ticks=along.ticks(6), height=foot + 42, foot=foot)


def _note(choice: Choice) -> str:
    if not choice.edges:
        return "none here"
    return f"{choice.edges:,} edge{'' if choice.edges == 1 else 's'} here"


def _three(interval: Interval, along: Scale) -> tuple[float, float, float]:
    return along.at(interval.low_hits), along.at(interval.usual_hits), along.at(interval.high_hits)
