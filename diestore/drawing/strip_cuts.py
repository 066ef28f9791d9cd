"""PURE. A die seen from above in millimetres: where each cut stands, and what of it the strip carries on.

x runs with the strip, y across it. At each hit the strip moves on by one pitch, so what a station has cut stands one
pitch further at the next hit, and so on to the part: nothing that was cut is whole again downstream. Where a cut stands
is the register's; of its outline the register knows the kind and the length of its edge and no more, so what is not
round is drawn in the plainest form of that length.
"""

from __future__ import annotations

import itertools
import math
import statistics
from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

from diestore.texts import gettext as _

ROUND, SLOT, NOTCH, SECTION, STUD, BEND, END = "round", "slot", "notch", "section", "stud", "bend", "end"
OUTLINES = {
    "pierce_punch": ROUND,
    "pilot_pierce_punch": ROUND,
    "die_button": ROUND,
    "semi_pierce_punch": STUD,
    "shape_punch": SLOT,
    "die_section": SLOT,
    "notch_punch": NOTCH,
    "trim_punch": SECTION,
    "cut_off_punch": END,
    "forming_punch": BEND,
    "forming_block": BEND,
}
SLOT_TIMES, SECTION_TIMES = 3.0, 4.0  # how many times as long as wide they are drawn
OF_PITCH, OF_WIDTH = 0.8, 0.8  # a slot that is longer than this of the pitch lies across the strip, where it has room
BEND_SHARE = 0.7  # of the pitch: how long a bend is drawn
END_SHARE = 0.05  # of the pitch: how wide a cut-off is drawn
APART = 1.0  # pitches: a place further from its station than this does not belong to a strip of that pitch
SAME_MM = 0.5  # a punch and the die below it stand in one place
BESIDE_MM = 8.0  # shoe left round the outermost place


class NoPlan(ValueError):
    """The places cannot be drawn to scale; the message says why."""


@dataclass(frozen=True, kw_only=True)
class Place:
    """A place of the die. station: its sequence, None where it belongs to none. idle: it does not work as the die is
    set up now, so it cuts nothing into the strip."""

    code: str
    kind: str
    side: str
    station: int | None
    x_mm: float | None
    y_mm: float | None
    length_mm: float | None = None
    idle: bool = False

    @property
    def has_figures(self) -> bool:
        return self.x_mm is not None and self.y_mm is not None

    @property
    def x(self) -> float:
        """Of a place that has figures."""
        assert self.x_mm is not None
        return self.x_mm

    @property
    def y(self) -> float:
        assert self.y_mm is not None
        return self.y_mm

    @property
    def sequence(self) -> int:
        """Of a place that belongs to a station."""
        assert self.station is not None
        return self.station


@dataclass(frozen=True, kw_only=True)
class Box:
    left: float
    right: float
    low: float
    high: float

    @property
    def width(self) -> float:
        return self.right - self.left

    @property
    def height(self) -> float:
        return self.high - self.low

    @property
    def middle_x(self) -> float:
        return (self.left + self.right) / 2

    @property
    def middle_y(self) -> float:
        return (self.low + self.high) / 2

    def wider(self, by: float) -> Box:
        return Box(left=self.left - by, right=self.right + by, low=self.low - by, high=self.high + by)


@dataclass(frozen=True, kw_only=True)
class Contour:
    """What a place leaves on the strip. x, y: its middle. w, h: along and across the strip. hits_ago: how many hits ago
    it was made where it is drawn; 0 under its own punch."""

    code: str
    outline: str
    x: float
    y: float
    w: float
    h: float
    hits_ago: int = 0
    idle: bool = False

    @property
    def box(self) -> Box:
        return Box(
            left=self.x - self.w / 2, right=self.x + self.w / 2, low=self.y - self.h / 2, high=self.y + self.h / 2
        )

    @property
    def edge_mm(self) -> float:
        """The length of edge that was cut, as drawn."""
        if self.outline in (ROUND, STUD):
            return math.pi * self.w
        if self.outline == SLOT:
            return 2 * abs(self.w - self.h) + math.pi * min(self.w, self.h)
        if self.outline == NOTCH:
            return self.w + 2 * self.h
        if self.outline == END:
            return self.h
        return 2 * (self.w + self.h) if self.outline == SECTION else max(self.w, self.h)


@dataclass(frozen=True, kw_only=True)
class StationAt:
    sequence: int
    code: str
    operation: str
    x: float  # its middle


@dataclass(frozen=True, kw_only=True)
class Strip:
    """A die from above. contours: all that is cut or bent, where it was made and one pitch further at each hit since.

    end: where the part is parted from the strip. part: what falls, one pitch long.
    """

    pitch: float
    box: Box  # of the strip, up to where it ends
    end: float
    part: Box
    contours: tuple[Contour, ...]
    stations: tuple[StationAt, ...]
    places: dict[str, tuple[float, float]]  # where each place with figures stands, the strip running to the right
    shoe: Box
    stripper: Box

    @property
    def cut_here(self) -> list[Contour]:
        return [c for c in self.contours if c.hits_ago == 0]

    def offset(self, code: str, sequence: int) -> float:
        """How far a place stands from the middle of its station, with the strip."""
        return self.places[code][0] - next(s.x for s in self.stations if s.sequence == sequence)


def lay_out(
    places: Sequence[Place],
    stations: Sequence[tuple[int, str, str]],
    *,
    pitch_mm: float | None = None,
    width_mm: float | None = None,
) -> Strip:
    """stations: (sequence, code, operation). Raises NoPlan where a place of a station has no figures, or where the
    figures belong to no strip of one pitch."""
    stations = sorted(stations)
    in_stations = [p for p in places if p.station is not None]
    if not stations or not in_stations:
        raise NoPlan(_("No place of a station is entered."))
    missing = [p.code for p in in_stations if not p.has_figures]
    if missing:
        raise NoPlan(_("x and y of {places} are not entered.").format(places=", ".join(missing[:3])))
    pitch = pitch_of(in_stations, pitch_mm)
    turned = pitch < 0  # the strip runs to smaller x: it is drawn from left to right all the same
    places = [_turned(p) for p in places] if turned else list(places)
    pitch = abs(pitch)
    at = {p.code: (p.x, p.y) for p in places if p.has_figures}
    in_stations = [p for p in places if p.station is not None]
    first = statistics.median(p.x - p.sequence * pitch for p in in_stations)
    middles = tuple(StationAt(sequence=n, code=c, operation=o, x=first + n * pitch) for n, c, o in stations)
    far = [p.code for p in in_stations if abs(p.x - first - p.sequence * pitch) > APART * pitch]
    if far:
        told = _("{places} stand more than a pitch from their stations.")
        raise NoPlan(told.format(places=", ".join(far[:3])))
    low, high = across(places, width_mm)
    width = high - low
    made = [contour for p in _makers(in_stations) if (contour := contour_of(p, pitch, low, high)) is not None]
    ends = [c for c in made if c.outline == END and not c.idle]
    end = max((c.x for c in ends), default=middles[-1].x + pitch / 2)
    carried = tuple(c for one in made for c in carried_on(one, pitch, end + pitch))
    strip = Box(left=middles[0].x - pitch / 2, right=end, low=low, high=high)
    part = Box(left=end, right=end + pitch, low=low, high=high)
    every = [*at.values(), (strip.left, low), (end, high)]
    shoe = _around(every).wider(BESIDE_MM + 0.06 * width)
    return Strip(
        pitch=pitch, box=strip, end=end, part=part, contours=carried, stations=middles, places=at, shoe=shoe,
        stripper=_stripper(places, at, strip),
    )  # fmt: skip


def pitch_of(places: Iterable[Place], entered_mm: float | None = None) -> float:
    """The pitch as entered, below nought where the strip runs to smaller x; else what lies between the stations."""
    by_station: dict[int, list[float]] = defaultdict(list)
    for p in places:
        by_station[p.sequence].append(p.x)
    middles = sorted((n, statistics.median(xs)) for n, xs in by_station.items())
    between = [(b[1] - a[1]) / (b[0] - a[0]) for a, b in itertools.pairwise(middles)]
    found = statistics.median(between) if between else 0.0
    if entered_mm:
        return -entered_mm if found < 0 else entered_mm
    if not found:
        raise NoPlan(_("The pitch is not entered, and does not show in x of the places."))
    return found


def across(places: Sequence[Place], width_mm: float | None) -> tuple[float, float]:
    """The sides of the strip: its width about the middle of its guides, else about nought, else about its places."""
    ys = [p.y for p in places if p.station is not None]
    guides = sorted(p.y for p in places if p.kind == "stock_guide" and p.has_figures)
    between = (guides[0], guides[-1]) if len(guides) > 1 and guides[-1] > guides[0] else None
    if width_mm is None and between is not None:
        return between
    width = width_mm or 1.3 * (max(ys) - min(ys)) or 10.0
    middle = sum(between) / 2 if between else 0.0
    if not between and not (min(ys) >= -width / 2 and max(ys) <= width / 2):
        middle = (min(ys) + max(ys)) / 2
    return middle - width / 2, middle + width / 2


def contour_of(p: Place, pitch: float, low: float, high: float) -> Contour | None:
    """What a place cuts or bends; None where it does neither, or where the length of its edge is not known."""
    outline, length = OUTLINES.get(p.kind), p.length_mm or 0.0
    if outline is None or (outline != BEND and not length):
        return None
    x, y = p.x, p.y
    if outline in (ROUND, STUD):
        w = h = length / math.pi
    elif outline == SLOT:
        h = length / (2 * (SLOT_TIMES - 1) + math.pi)
        w = SLOT_TIMES * h
        if w > OF_PITCH * pitch and w <= OF_WIDTH * (high - low):
            w, h = h, w
    elif outline == NOTCH:
        up = y >= (low + high) / 2
        side = high if up else low
        h = min(2 * abs(side - y), length / 3) or length / 3
        w, y = length - 2 * h, side - h / 2 if up else side + h / 2
    elif outline == SECTION:
        h = length / (2 * (SECTION_TIMES + 1))
        w = SECTION_TIMES * h
    elif outline == END:
        w, h = END_SHARE * pitch, length
    else:
        w, h = BEND_SHARE * pitch, 0.0
        if abs(y - (low + high) / 2) < 0.02 * (high - low):  # in the middle of the strip it goes across
            w, h = 0.0, OF_WIDTH * (high - low) / 2
    return Contour(code=p.code, outline=outline, x=x, y=y, w=w, h=h, idle=p.idle)


def carried_on(made: Contour, pitch: float, until: float) -> list[Contour]:
    """A contour where it was made and at each hit since, one pitch further, as far as the strip and its part reach."""
    if made.idle or made.outline == END:
        return [made]
    hits = max(math.ceil((until - made.box.left) / pitch - 1e-9) - 1, 0)  # as long as any of it lies on the part
    return [replace(made, x=made.x + n * pitch, hits_ago=n) for n in range(hits + 1)]


def _makers(places: Sequence[Place]) -> list[Place]:
    """The places that leave something on the strip: the punches, and of the die side what has no punch above it."""
    uppers = [p for p in places if p.side == "upper" and p.kind in OUTLINES]
    alone = [
        p for p in places if p.side != "upper" and p.kind in OUTLINES
        and not any(math.hypot(p.x - u.x, p.y - u.y) <= SAME_MM for u in uppers)
    ]  # fmt: skip
    return uppers + alone


def _turned(p: Place) -> Place:
    """Turned by half about the origin, as the die would be turned to look at it from the other side."""
    return replace(p, x_mm=-p.x, y_mm=-p.y) if p.has_figures else p


def _around(points: Iterable[tuple[float, float]]) -> Box:
    xs, ys = zip(*points, strict=True)
    return Box(left=min(xs), right=max(xs), low=min(ys), high=max(ys))


def _stripper(places: Sequence[Place], at: dict[str, tuple[float, float]], strip: Box) -> Box:
    """Round the strip and the springs that press the plate down."""
    springs = [at[p.code] for p in places if p.kind in ("stripper_spring", "gas_spring") and p.code in at]
    return _around([*springs, (strip.left, strip.low), (strip.right, strip.high)]).wider(4.0)
