"""Where everything stands on the drawing on which a die is typed. Geometry only; the template draws.

Stations stand side by side along the strip, punch side above, die side below, and what belongs to no station at the
end. A place whose x and y are known stands to scale, one scale for both; the others are spaced evenly behind it, away
from the strip. Every side of every station has a spot that adds a place. Lengths are in the drawing's own units, one a
pixel at its natural size; x_mm runs along the strip, y_mm across it from its middle.
"""

from __future__ import annotations

import statistics
from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise

from django.utils.translation import gettext as _

from diestore.drawing import letters

LEFT, RIGHT, TOP = 26.0, 8.0, 6.0
WHOLE = 1160.0  # what fits the page
BAND = 52.0  # the strip, with the stations' names on it
SPOT = 44.0  # what a finger needs
NARROWEST, WIDEST = 64.0, 190.0  # of a station
SCALE_HALF = 84.0  # at most, from the middle of the strip to its edge
MARK, SMALL_MARK, LEAST_MARK = 32.0, 24.0, 20.0
WORDS = 15.0  # a line under a mark
SIDES = ("upper", "lower")


@dataclass(frozen=True, kw_only=True)
class StripPlace:
    """A place as the drawing needs it. station: the key of its station, None for the die set."""

    key: int
    code: str
    shape: str
    side: str
    station: int | None
    cuts: bool = False
    x_mm: float | None = None
    y_mm: float | None = None
    title: str = ""
    css: str = ""

    @property
    def to_scale(self) -> bool:
        return self.station is not None and self.x_mm is not None and self.y_mm is not None


@dataclass(frozen=True, kw_only=True)
class StripMark:
    """x, y: the middle; size: across; room: for its name."""

    place: StripPlace
    x: float
    y: float
    size: float
    room: float

    @property
    def left(self) -> float:
        return self.x - self.size / 2

    @property
    def top(self) -> float:
        return self.y - self.size / 2

    @property
    def right(self) -> float:
        return self.x + self.size / 2

    @property
    def bottom(self) -> float:
        return self.y + self.size / 2

    @property
    def radius(self) -> float:
        return self.size / 2

    @property
    def quarter(self) -> float:
        return self.size / 4

    @property
    def code(self) -> str:
        return letters.fitting(self.place.code, self.room)

    @property
    def code_y(self) -> float:
        return self.bottom + 12

    @property
    def arch(self) -> str:
        """What is bent, as a path."""
        return (
            f"M{self.left + 4:.1f} {self.bottom - 5:.1f}"
            f"Q{self.x:.1f} {self.top:.1f} {self.right - 4:.1f} {self.bottom - 5:.1f}"
        )

    @property
    def coil(self) -> str:
        """A spring, as a path."""
        turns = "".join(f"l{sign}{self.size:.1f} -{self.quarter:.1f}" for sign in ("", "-", "", "-"))
        return f"M{self.left:.1f} {self.bottom:.1f}{turns}"

    @property
    def hit(self) -> float:
        """Left of what a finger may touch."""
        return self.x - max(self.size, 40) / 2


@dataclass(frozen=True, kw_only=True)
class Spot:
    """Where a place can be added: a side of a station, or of the die set (key None)."""

    station: int | None
    side: str
    left: float
    top: float
    width: float
    height: float
    x: float
    y: float


@dataclass(frozen=True, kw_only=True)
class Column:
    """A station. words: what fits on the strip of its name and operation."""

    key: int | None
    code: str
    operation: str
    left: float
    width: float

    @property
    def x(self) -> float:
        return self.left + self.width / 2

    @property
    def words(self) -> str:
        return letters.fitting(self.code, self.width - 8)

    @property
    def small_words(self) -> str:
        return letters.fitting(self.operation, self.width - 6) if self.operation else ""


@dataclass(frozen=True, kw_only=True)
class Drawing:
    width: float
    height: float
    strip_top: float
    columns: list[Column]
    die_set: Column
    marks: list[StripMark]
    spots: list[Spot]
    mm_to_scale: float | None  # drawing units to a mm, None where nothing is to scale

    @property
    def strip_bottom(self) -> float:
        return self.strip_top + BAND

    @property
    def strip_right(self) -> float:
        return self.columns[-1].left + self.columns[-1].width if self.columns else LEFT

    @property
    def strip_middle(self) -> float:
        return self.strip_top + BAND / 2

    @property
    def upper_middle(self) -> float:
        return (TOP + self.strip_top) / 2

    @property
    def lower_middle(self) -> float:
        return (self.strip_bottom + self.height - TOP) / 2

    @property
    def smallest(self) -> float:
        return 0.78 * self.width


_Groups = Mapping[tuple[int | None, str], list[StripPlace]]


def lay_out(places: Sequence[StripPlace], stations: Sequence[tuple[int, str, str]]) -> Drawing:
    """stations: (key, code, operation) in the order in which the strip meets them."""
    groups: dict[tuple[int | None, str], list[StripPlace]] = defaultdict(list)
    known = {key for key, *__ in stations}
    for place in places:
        groups[(place.station if place.station in known else None, place.side)].append(place)
    set_width = _set_width(groups)
    room = WHOLE - LEFT - RIGHT - set_width
    width = min(max(room / max(len(stations), 1), NARROWEST), WIDEST)
    scale = _scale(groups, stations, width)
    mark = _mark_size(groups, scale, width)
    heights = {side: _height(groups, stations, side, width, mark, scale) for side in SIDES}
    strip_top = TOP + heights["upper"]
    total = TOP + heights["upper"] + BAND + heights["lower"] + TOP
    columns, marks, spots = [], [], []
    x = LEFT
    for i, (key, code, operation) in enumerate(stations):
        columns.append(Column(key=key, code=code, operation=operation, left=x, width=width))
        for side in SIDES:
            top = TOP if side == "upper" else strip_top + BAND
            spots.append(_spot(key, side, x, top, width, heights[side]))
            marks += _of_station(groups[(key, side)], i, x, width, top, heights[side], side, mark, scale)
        x += width
    die_set = Column(key=None, code=_("die set"), operation="", left=x + 10, width=set_width - 10)
    for side in SIDES:
        top = TOP if side == "upper" else strip_top + BAND
        spots.append(_spot(None, side, die_set.left, top, die_set.width, heights[side]))
        marks += _even(groups[(None, side)], die_set.left, die_set.width, top, heights[side], side, SMALL_MARK)
    return Drawing(
        width=x + set_width + RIGHT,
        height=total,
        strip_top=strip_top,
        columns=columns,
        die_set=die_set,
        marks=marks,
        spots=spots,
        mm_to_scale=None if scale is None else scale.unit,
    )


# --- to scale ---------------------------------------------------------------------------------------------------------


@dataclass(frozen=True, kw_only=True)
class _Scale:
    """unit: drawing units to a mm. pitch_mm, start_mm: where the stations begin. half: of the strip, in units."""

    unit: float
    pitch_mm: float
    start_mm: float
    half: float

    def across(self, x_mm: float, number: int) -> float:
        """From the middle of a station."""
        return (x_mm - self.start_mm - (number + 0.5) * self.pitch_mm) * self.unit


def _scale(groups: _Groups, stations: Sequence[tuple[int, str, str]], width: float) -> _Scale | None:
    """The pitch by the middles of what is known in each station; one scale along and across the strip."""
    middles: dict[int, float] = {}
    most_y, most_half = 0.0, 0.0
    for i, (key, *__) in enumerate(stations):
        mine = [p for side in SIDES for p in groups[(key, side)] if p.to_scale]
        xs = [p.x_mm for p in mine if p.x_mm is not None]
        if not xs:
            continue
        middles[i] = (min(xs) + max(xs)) / 2
        most_half = max(most_half, (max(xs) - min(xs)) / 2)
        most_y = max([most_y, *(abs(p.y_mm) for p in mine if p.y_mm is not None)])
    if not middles:
        return None
    numbers = sorted(middles)
    steps = [(middles[b] - middles[a]) / (b - a) for a, b in pairwise(numbers)]
    pitch = statistics.median(steps) if steps else 0.0
    if pitch <= 0:
        pitch = max(2.6 * most_half, 2.0 * most_y, 10.0)
    start = statistics.median(middles[i] - (i + 0.5) * pitch for i in numbers)
    reach = max(most_y, 1e-6)
    unit = min(width / pitch, (SCALE_HALF - MARK / 2) / reach)
    return _Scale(unit=unit, pitch_mm=pitch, start_mm=start, half=max(reach * unit + MARK / 2 + 4, 40.0))


def _mark_size(groups: _Groups, scale: _Scale | None, width: float) -> float:
    """Marks as large as fits between the nearest two."""
    size = MARK if width > 96 else SMALL_MARK
    if scale is None:
        return size
    nearest = 1e9
    for mine in groups.values():
        points = [(p.x_mm, p.y_mm) for p in mine if p.to_scale]
        for i, (x, y) in enumerate(points):
            for other_x, other_y in points[i + 1 :]:
                if None in (x, y, other_x, other_y):
                    continue
                apart = max(abs(x - other_x), abs(y - other_y)) * scale.unit
                if apart >= LEAST_MARK:  # nearer ones are moved aside
                    nearest = min(nearest, apart)
    return max(min(size, nearest - 2), LEAST_MARK)


# --- evenly spaced ----------------------------------------------------------------------------------------------------


def _cell(mark: float) -> tuple[float, float]:
    return max(mark + 10, 30.0), mark + WORDS + 4


def _files(width: float, mark: float) -> int:
    return max(int((width - 6) // _cell(mark)[0]), 1)


def _loose(group: Sequence[StripPlace], scale: _Scale | None) -> list[StripPlace]:
    return [p for p in group if scale is None or not p.to_scale]


def _lane(count: int, width: float, mark: float) -> float:
    """Height of so many places spaced evenly."""
    return -(-count // _files(width, mark)) * _cell(mark)[1] if count else 0.0


def _set_width(groups: _Groups) -> float:
    most = max(len(groups[(None, side)]) for side in SIDES)
    files = min(max(-(-most // 4), 2), 8)
    return 10 + files * 46.0 + 6


def _height(groups, stations, side: str, width: float, mark: float, scale: _Scale | None) -> float:
    """Of one side: the spot that adds, what is spaced evenly, and the part to scale next to the strip."""
    lanes = [_lane(len(_loose(groups[(key, side)], scale)), width, mark) for key, *__ in stations]
    scaled = 0.0
    if scale is not None and any(p.to_scale for key, *__ in stations for p in groups[(key, side)]):
        scaled = 2 * scale.half + WORDS
    rows = max([0.0, *lanes])
    least = _lane(len(groups[(None, side)]), _set_width(groups) - 10, SMALL_MARK)
    return max(rows + scaled, least, 24.0) + SPOT + 8


def _spot(key: int | None, side: str, left: float, top: float, width: float, height: float) -> Spot:
    """The spot's mark stands at the outer end, away from the strip."""
    y = top + SPOT / 2 if side == "upper" else top + height - SPOT / 2
    return Spot(station=key, side=side, left=left + 2, top=top, width=width - 4, height=height, x=left + width / 2, y=y)


def _of_station(group, number: int, left: float, width: float, top: float, height: float, side: str, mark: float,
                scale: _Scale | None) -> list[StripMark]:  # fmt: skip
    made: list[StripMark] = []
    for place in sorted(group, key=lambda p: (not p.cuts, p.code)):
        if scale is None or not place.to_scale:
            continue
        middle = top + height - scale.half - WORDS if side == "upper" else top + scale.half
        box = (
            left + mark / 2 + 2,
            left + width - mark / 2 - 2,
            middle - scale.half + mark / 2,
            middle + scale.half - mark / 2,
        )
        x = left + width / 2 + scale.across(place.x_mm, number)
        y = middle - place.y_mm * scale.unit
        x, y = _beside(x, y, made, box, mark)
        made.append(StripMark(place=place, x=x, y=y, size=mark, room=max(mark + 14, 34.0)))
    loose = _loose(group, scale)
    used = (2 * scale.half + WORDS) if scale is not None and made else 0.0
    inner = height - used
    lane_top = top if side == "upper" else top + used
    return made + _even(loose, left, width, lane_top, inner, side, mark)


def _beside(x: float, y: float, made: Sequence[StripMark], box: tuple[float, float, float, float], mark: float):
    """The nearest point where nothing stands yet, beside it first. box: least and most of x, least and most of y."""
    least, most, top, bottom = box
    step = mark + 4
    tries = [(0.0, 0.0), (step, 0.0), (-step, 0.0), (2 * step, 0.0), (-2 * step, 0.0), (0.0, step), (0.0, -step)]
    at = [(max(min(x + dx, most), least), max(min(y + dy, bottom), top)) for dx, dy in tries]
    free = [(a, b) for a, b in at if all(abs(a - m.x) >= mark + 2 or abs(b - m.y) >= mark + 2 for m in made)]
    return free[0] if free else at[0]


def _even(group, left: float, width: float, top: float, height: float, side: str, mark: float) -> list[StripMark]:
    """In rows from the strip outwards, those that cut first."""
    cell, row_height = _cell(mark)
    files = _files(width, mark)
    made = []
    ordered = sorted(group, key=lambda p: (not p.cuts, p.code))
    for i, place in enumerate(ordered):
        row, file = divmod(i, files)
        in_row = min(files, len(ordered) - row * files)
        step = width / in_row if in_row * cell < width else cell
        x = left + width / 2 + (file - (in_row - 1) / 2) * min(step, 1.6 * cell)
        away = row_height * row + mark / 2 + (WORDS + 4 if side == "upper" else 6)
        y = top + height - away if side == "upper" else top + away
        made.append(StripMark(place=place, x=x, y=y, size=mark, room=min(step, 1.6 * cell) - 2))
    return made
