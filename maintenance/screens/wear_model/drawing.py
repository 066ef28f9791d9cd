"""Lays out the wear model's drawings: hits on a scale of equal ratios, the same in all of them. Geometry only."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from diestore.drawing import letters, paths
from diestore.drawing.scales import Even, Ratio, Tick, short
from maintenance.forecasts.builds import BY_RATIO, Choice, QuantityCurve
from maintenance.life.handbook import Interval

WIDTH, HEIGHT = 390, 300
LEFT, RIGHT, TOP, BOTTOM = 52, 370, 22, 218
ROW, ROWS_TOP, NAME = 46, 30, 112
HANDBOOK, OWN = "handbook", "this shop's records"


def scale_of(curves: Sequence[QuantityCurve], choices: Sequence[Choice]) -> tuple[float, float]:
    """The hits that all drawings run over: every middle, and every band of the record (the handbook's without one)."""
    values: list[float] = []
    for curve in curves:
        known = curve.record or curve.handbook
        values += [*known.low_hits, *known.high_hits, *curve.handbook.usual_hits]
    for choice in choices:
        known = choice.record or choice.handbook
        values += [known.low_hits, known.high_hits, choice.handbook.usual_hits]
    low, high = min(values), max(values)
    return low / 1.15, high * 1.15


@dataclass(frozen=True, kw_only=True)
class CurveDrawing:
    """A curve drawn. record_lines: (path, heavy), heavy where the shop has run such edges."""

    title: str
    name: str
    unit: str
    handbook: str
    handbook_low: str
    handbook_high: str
    band: str
    record_lines: tuple[tuple[str, bool], ...]
    labels: tuple[tuple[float, float, str, str], ...]
    y_ticks: list[Tick]
    x_ticks: list[Tick]
    marks: tuple[float, ...]
    within: tuple[float, float] | None
    at: tuple[float, float, str] | None
    asked: tuple[float, float, str] | None

    width, height, left, right, top, bottom = WIDTH, HEIGHT, LEFT, RIGHT, TOP, BOTTOM


def draw(
    curve: QuantityCurve,
    *,
    title: str,
    name: str,
    unit: str,
    hits: tuple[float, float],
    ticks: Sequence[tuple[float, str]],
    asked: float | None = None,
) -> CurveDrawing:
    """ticks: (value in the unit of the curve, as it is written). asked: the value that a question changes it to."""
    up, across = Ratio(*hits, BOTTOM, TOP), _across(curve)
    known = curve.record or curve.handbook
    marks = [v for v in curve.seen if not across.beyond(v)]
    within = None
    if curve.within is not None:
        within = tuple(round(across.at(v), 1) for v in curve.within)
    return CurveDrawing(
        title=title,
        name=name,
        unit=unit,
        handbook=paths.line(_points(curve.x, curve.handbook.usual_hits, across, up)),
        handbook_low=paths.broken(_inside(curve.x, curve.handbook.low_hits, across, up)),
        handbook_high=paths.broken(_inside(curve.x, curve.handbook.high_hits, across, up)),
        band=_band(curve, across, up),
        record_lines=_record_lines(curve, across, up),
        labels=_labels(curve, across, up),
        y_ticks=up.ticks(8, short),
        x_ticks=[Tick(round(across.at(v), 1), words, v) for v, words in ticks if not across.beyond(v)],
        marks=tuple(sorted({round(across.at(v), 1) for v in marks})),
        within=within,
        at=_point(curve, known, curve.at, across, up, "this edge"),
        asked=_point(curve, known, asked, across, up, "asked for"),
    )


def _across(curve: QuantityCurve) -> Even | Ratio:
    return (Ratio if curve.quantity in BY_RATIO else Even)(curve.x[0], curve.x[-1], LEFT, RIGHT)


def _points(values, hits, across: Even | Ratio, up: Ratio) -> list[paths.Point]:
    return [(across.at(v), up.at(h)) for v, h in zip(values, hits, strict=True)]


def _inside(values, hits, across: Even | Ratio, up: Ratio) -> list[paths.Point | None]:
    """The points that lie on the drawing; where a line lies beyond, nothing."""
    return [
        None if up.beyond(h) else point
        for h, point in zip(hits, _points(values, hits, across, up), strict=True)
    ]  # fmt: skip


def _band(curve: QuantityCurve, across: Even | Ratio, up: Ratio) -> str:
    if curve.record is None:
        return ""
    there, back = (_points(curve.x, hits, across, up) for hits in (curve.record.high_hits, curve.record.low_hits))
    return paths.area(there, back)


def _record_lines(curve: QuantityCurve, across: Even | Ratio, up: Ratio) -> tuple[tuple[str, bool], ...]:
    """Pieces of the record's line: (path, heavy), heavy where the shop has run such edges."""
    if curve.record is None:
        return ()
    points = _points(curve.x, curve.record.usual_hits, across, up)
    heavy = [curve.speaks_at(v) for v in curve.x]
    lines, start = [], 0
    for i in range(1, len(points) + 1):
        if i == len(points) or heavy[i] != heavy[start]:
            lines.append((paths.line(points[start : i + 1]), heavy[start]))  # up to the next, so that the pieces meet
            start = i
    return tuple(lines)


def _labels(curve: QuantityCurve, across: Even | Ratio, up: Ratio) -> tuple[tuple[float, float, str, str], ...]:
    """Each line's name: x, y, words, anchor. At the right where both have room clear of the lines, else at the left."""
    lines = {HANDBOOK: _points(curve.x, curve.handbook.usual_hits, across, up)}
    if curve.record is not None:
        lines[OWN] = _points(curve.x, curve.record.usual_hits, across, up)
    sides = [(RIGHT, "end", -1), (LEFT + 4, "start", 0)]
    laid = [_beside(lines, *side) for side in sides]
    return next((names for names in laid if all(_has_room(y) for _, y, _, _ in names)), _kept(laid[0]))


def _beside(lines: dict[str, list[paths.Point]], x: float, anchor: str, end: int):
    """Names at one end of the lines: that of the upper line above whatever runs there, that of the lower below."""
    names = sorted(lines, key=lambda name: lines[name][end][1])
    room = max(map(letters.width, names))
    ys = [y for points in lines.values() for at, y in points if abs(at - x) <= room]
    above, below = round(min(ys) - 8, 1), round(max(ys) + 18, 1)
    return tuple((x, y, name, anchor) for name, y in zip(names, (above, below), strict=False))


def _has_room(y: float) -> bool:
    return TOP + 10 <= y <= BOTTOM - 4


def _kept(names):
    return tuple((x, min(max(y, TOP + 10), BOTTOM - 4), name, anchor) for x, y, name, anchor in names)


def _point(curve: QuantityCurve, known, value: float | None, across: Even | Ratio, up: Ratio, words: str):
    if value is None or across.beyond(value):
        return None
    i = max(n for n, v in enumerate(curve.x) if v <= value + 1e-12)
    hits = known.usual_hits[i]
    if i + 1 < len(curve.x):
        share = (value - curve.x[i]) / (curve.x[i + 1] - curve.x[i])
        hits = math.exp((1 - share) * math.log(known.usual_hits[i]) + share * math.log(known.usual_hits[i + 1]))
    return round(across.at(value), 1), round(up.at(hits), 1), words


@dataclass(frozen=True, kw_only=True)
class ChoiceRow:
    """One choice: two bars, the handbook's and the record's; (low, middle, high) places along the hits."""

    y: float
    name: str
    note: str
    chosen: bool
    handbook: tuple[float, float, float]
    record: tuple[float, float, float] | None


@dataclass(frozen=True, kw_only=True)
class ChoiceBars:
    title: str
    rows: list[ChoiceRow]
    ticks: list[Tick]
    height: float
    foot: float

    width, left, right, top = WIDTH, NAME, RIGHT, ROWS_TOP


def bars(choices: Sequence[Choice], *, title: str, hits: tuple[float, float]) -> ChoiceBars:
    along = Ratio(*hits, NAME, RIGHT)
    rows = [
        ChoiceRow(
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
    return ChoiceBars(title=title, rows=rows, ticks=along.ticks(6, short), height=foot + 42, foot=foot)


def _note(choice: Choice) -> str:
    if not choice.edges:
        return "none here"
    return f"{choice.edges:,} edge{'' if choice.edges == 1 else 's'} here"


def _three(interval: Interval, along: Ratio) -> tuple[float, float, float]:
    return tuple(round(along.at(h), 1) for h in (interval.low_hits, interval.usual_hits, interval.high_hits))
