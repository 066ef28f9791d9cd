"""PURE. The drawing of a die to scale: the strip with what is cut, and a mark for each place on a leader to its spot.

Punch side above the strip, die side below. Marks stand in two rows on each side, offset like bricks, so that the leader
of an outer one passes between two inner ones; slots are dealt out so that no two leaders of a side cross. Where a die
has more places than marks have room, the places that do not cut go first, then each station keeps the edge that has
least left, with how many it stands for; the station's own drawing shows them all. Lengths are in the drawing's own
units, one a pixel at its natural size.
"""

from __future__ import annotations

import itertools
from collections import Counter
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TypeVar

from diestore.drawing import letters
from diestore.drawing.paths import place as at_tenth
from diestore.drawing.strip_cuts import BEND, END, NOTCH, ROUND, SLOT, STUD, Box, Contour, StationAt, Strip
from diestore.drawing.strip_plan import PlanPosition

WIDTH, EDGE, TALLEST = 780.0, 14.0, 300.0  # of the drawing, its white on each side, and of the die in it
MARK, TARGET = 34.0, 48.0  # a mark over its ring, and what a finger finds: 44 px on a tablet held upright
SPACING, LONE = 26.0, 52.0  # between neighbours of two rows, and of one
LABELS, LEAD = 30.0, 18.0  # of a mark's two lines, and of the leaders' turn towards their spots
ROW = MARK + LABELS + 6.0
FOOT = 52.0  # of the stations' names, each a target of its own
HEADLINE = 24.0
PART_GAP, PART_DROP = 14.0, 9.0  # how far the part stands off the strip, and below it
HAIR = 1e-6
T = TypeVar("T")
POST, SPRING = 9.0, 6.0  # radius of what is drawn where no size of it is known
ON_THE_FRAME = {
    "guide_post": "post", "bushing": "post", "roller_cage": "post", "stripper_spring": "spring", "gas_spring": "spring",
    "stop_block": "block", "stock_guide": "rail",
}  # fmt: skip


@dataclass(frozen=True, kw_only=True)
class Drawn:
    """Contours that are drawn in one way. css: that way. path: all of them as one."""

    css: str
    path: str


@dataclass(frozen=True, kw_only=True)
class Mark:
    """A place on its leader. x, y: the middle of the mark. spot: where the place is. stands_for: of how many it shows
    the one with least left."""

    place: PlanPosition
    x: float
    y: float
    up: bool
    spot: tuple[float, float]
    turn: float  # y where the leader turns towards its spot
    room: float
    stands_for: int = 1

    @property
    def shape(self) -> str:
        return self.place.shape

    @property
    def radius(self) -> float:
        return MARK / 2 - 4

    @property
    def ring(self) -> float:
        return MARK / 2

    @property
    def left(self) -> float:
        return self.x - self.radius

    @property
    def top(self) -> float:
        return self.y - self.radius

    @property
    def side(self) -> float:
        return 2 * self.radius

    @property
    def ring_path(self) -> str:
        """Round a square mark from the middle of its top, as a clock runs."""
        half, side, n = self.ring, 2 * self.ring, at_tenth
        return f"M{n(self.x)} {n(self.y - half)}h{n(half)}v{n(side)}h{n(-side)}v{n(-side)}h{n(half)}"

    @property
    def fill_path(self) -> str:
        """The lower part of a round mark, so that its height is the share that is left."""
        share, r, n = self.place.share_left or 0.0, self.radius, at_tenth
        if share <= 0:
            return ""
        if share >= 1:
            return f"M{n(self.x - r)} {n(self.y)}a{n(r)} {n(r)} 0 1 0 {n(2 * r)} 0a{n(r)} {n(r)} 0 1 0 {n(-2 * r)} 0z"
        up = (2 * share - 1) * r  # of the level over the middle
        half, y = (r * r - up * up) ** 0.5, n(self.y - up)
        return f"M{n(self.x - half)} {y}A{n(r)} {n(r)} 0 {int(share > 0.5)} 0 {n(self.x + half)} {y}z"

    @property
    def fill_height(self) -> float:
        return self.side * (self.place.share_left or 0.0)

    @property
    def fill_top(self) -> float:
        return self.y + self.radius - self.fill_height

    @property
    def allowance(self) -> float | None:
        """Of a hundred: how much of the ring is drawn."""
        left = self.place.allowance_left
        return None if left is None else round(100 * left, 1)

    @property
    def figure(self) -> str:
        return "" if self.place.share_left is None else f"{100 * self.place.share_left:.0f}"

    @property
    def code(self) -> str:
        more = f" +{self.stands_for - 1}" if self.stands_for > 1 else ""
        return letters.fitting(f"{self.place.code}{more}", self.room)

    @property
    def figure_y(self) -> float:
        return self.y - MARK / 2 - 5 if self.up else self.y + MARK / 2 + 14

    @property
    def code_y(self) -> float:
        away = 14 if self.figure else 0
        return self.figure_y + (-away if self.up else away)

    @property
    def leader(self) -> str:
        start = self.y + (MARK / 2 if self.up else -MARK / 2)
        return f"M{self.x:.1f} {start:.1f}V{self.turn:.1f}L{self.spot[0]:.1f} {self.spot[1]:.1f}"

    # What a finger finds: the mark with its words.
    @property
    def target(self) -> Box:
        wide = max(TARGET, min(letters.width(self.code) + 4, self.room)) / 2
        low, high = self.y - MARK / 2 - 3, self.y + MARK / 2 + 3
        words = 28.0 if self.figure else 16.0
        return Box(
            left=self.x - wide, right=self.x + wide,
            low=low - (words if self.up else 0), high=high + (0 if self.up else words),
        )  # fmt: skip


@dataclass(frozen=True, kw_only=True)
class OnFrame:
    """A piece of the die set where it stands. sort: post, spring, block, rail."""

    sort: str
    codes: tuple[str, ...]
    x: float
    y: float
    half: float = 0.0  # of a rail: how far it reaches to either side
    css: str = ""

    @property
    def title(self) -> str:
        return ", ".join(self.codes)


@dataclass(frozen=True, kw_only=True)
class StationFoot:
    code: str
    operation: str
    x: float
    span: float
    worst: str = ""  # css of what is worst in it

    @property
    def left(self) -> float:
        return self.x - self.span / 2

    @property
    def words(self) -> str:
        title = f"{self.code} {self.operation}".strip()
        return title if letters.width(title) <= self.span - 4 else self.code

    @property
    def title(self) -> str:
        return f"{self.code} {self.operation}".strip()


@dataclass(frozen=True, kw_only=True)
class ScalePlan:
    width: float
    height: float
    scale: float  # units a millimetre
    shoe: Box | None  # a station that is opened has neither plate nor part round it
    stripper: Box | None
    strip_box: Box
    part: Box | None
    cuts: list[Drawn]  # what was cut upstream, on the strip
    part_cuts: list[Drawn]  # and what of it the part takes along
    made: list[Drawn]  # what is cut here
    frame: list[OnFrame]
    marks: list[Mark]
    stations: list[StationFoot]
    left_out: int  # places of stations that no mark shows by itself
    said_at: tuple[float, float, str] | None  # where the words about the limiting edge begin, and their anchor
    foot: float

    @property
    def limiting(self) -> Mark | None:
        return next((m for m in self.marks if m.place.limits), None)

    @property
    def largest(self) -> float:
        return 1.25 * self.width

    @property
    def entry(self) -> tuple[float, float]:
        """Where the arrow of the strip's way begins."""
        return self.strip_box.left + 5, self.strip_box.middle_y


def lay_out(
    strip: Strip,
    places: Sequence[PlanPosition],
    *,
    leader_words: Sequence[str] = (),
    station: int | None = None,
    only: str = "",
    width: float = WIDTH,
    tallest: float = TALLEST,
) -> ScalePlan:
    """places: those of `strip`, with how they stand. station: the sequence of the one that is opened, drawn alone and
    large. only: the code of the one place that gets a mark."""
    window = _window(strip, station, (width - 2 * EDGE) / tallest)
    scale = min((width - 2 * EDGE) / window.width, tallest / window.height)
    by_code = {p.code: p for p in places}
    opened = next((s for s in strip.stations if s.sequence == station), None)
    shown = [p for p in places if p.code in strip.places and p.station]
    if opened is not None:
        shown = [p for p in shown if p.station == opened.code]
    if only:
        shown = [p for p in shown if p.code == only]
    fits = width - 2 * EDGE
    rows = {side: _marked([p for p in shown if (p.side == "upper") == (side == "upper")], fits) for side in SIDES}
    high = {side: _rows_high(len(chosen), fits) for side, chosen in rows.items()}
    has_words = bool(leader_words) and any(p.limits for chosen in rows.values() for p, _ in chosen)
    limits_up = any(p.limits for p, _ in rows["upper"])
    top = EDGE + high["upper"] + (HEADLINE + 14 * (len(leader_words) - 1) if has_words and limits_up else 0)
    left = (width - scale * window.width) / 2

    def at(x: float, y: float) -> tuple[float, float]:
        return left + scale * (x - window.left), top + scale * (window.high - y)

    def on_part(x: float, y: float) -> tuple[float, float]:
        across, down = at(x, y)
        return across + PART_GAP, down + PART_DROP

    loose = 10.0 if opened is None else 60.0  # how much further apart than they must be the marks may stand
    below = top + scale * window.height
    marks = [
        *_marks(rows["upper"], strip, at, top - LEAD, up=True, width=width, loose=loose),
        *_marks(rows["lower"], strip, at, below + LEAD, up=False, width=width, loose=loose),
    ]
    words_below = 18 + 14 * len(leader_words) if has_words and not limits_up else 0
    foot = below + high["lower"] + words_below
    return ScalePlan(
        width=width,
        height=foot + (FOOT if not only and opened is None else 6),
        scale=scale,
        shoe=None if opened else _drawn_box(strip.shoe, at),
        stripper=None if opened else _drawn_box(strip.stripper, at),
        strip_box=_drawn_box(_clipped(strip.box, window), at),
        part=_dropped(_drawn_box(strip.part, at)) if station is None else None,
        cuts=_cuts(_carried(strip, opened), strip, window, at, scale),
        part_cuts=_cuts([c for c in strip.contours if c.box.right > strip.end], strip, strip.part, on_part, scale),
        made=_cuts(_worked_here(strip, opened), strip, window, at, scale, by_code, only),
        frame=[] if opened is not None else _frame(strip, places, at),
        marks=marks,
        stations=[] if only or opened is not None else _feet(strip, at, scale),
        left_out=sum(n - 1 for chosen in rows.values() for _, n in chosen)
        + len(shown) - sum(n for chosen in rows.values() for _, n in chosen),
        said_at=_said_at(marks, leader_words, width, foot - words_below + 12) if has_words else None,
        foot=foot,
    )  # fmt: skip


SIDES = ("upper", "lower")


def _window(strip: Strip, station: int | None, shape: float) -> Box:
    """What is drawn: the whole die with the part that drops, or one station with what of its neighbours there is room
    for. shape: how many times as wide as high the drawing may be."""
    whole = replace(strip.shoe, right=max(strip.shoe.right, strip.part.right + 0.04 * strip.shoe.width))
    one = next((s for s in strip.stations if s.sequence == station), None)
    if one is None:
        return whole
    high = 1.1 * strip.box.height
    half = max(0.85 * strip.pitch, min(high * shape, 4.0 * strip.pitch) / 2)
    middle = strip.box.middle_y
    return Box(left=one.x - half, right=one.x + half, low=middle - high / 2, high=middle + high / 2)


# --- marks ------------------------------------------------------------------------------------------------------------

_Chosen = list[tuple[PlanPosition, int]]  # a place that gets a mark, and for how many it stands


def _marked(places: Sequence[PlanPosition], room: float) -> _Chosen:
    """As many places as marks have room; see the head of this file."""
    most = int((room - LONE) // SPACING) + 1
    for kept in (places, [p for p in places if p.cuts or p.shape == "form"], [p for p in places if p.cuts]):
        if len(kept) <= most:
            return [(p, 1) for p in kept]
    worst: dict[str, PlanPosition] = {}
    of = Counter(p.station for p in places if p.cuts)
    for p in (p for p in places if p.cuts):
        held = worst.get(p.station)
        if held is None or _order(p) < _order(held):
            worst[p.station] = p
    chosen = sorted(worst.values(), key=_order)[:most]
    return [(p, of[p.station]) for p in chosen]


def _order(p: PlanPosition) -> tuple:
    return (not p.limits, 2.0 if p.share_left is None else p.share_left, p.code)


def _rows_high(n: int, room: float) -> float:
    return 0.0 if not n else LEAD + 6 + ROW * (1 if n * LONE <= room else 2)


def _marks(
    chosen: _Chosen, strip: Strip, at: _At, turn: float, *, up: bool, width: float, loose: float
) -> list[Mark]:  # fmt: skip
    """Slots along the strip as near to their spots as they fit, dealt out so that no leaders cross."""
    if not chosen:
        return []
    spots = {p.code: at(*strip.places[p.code]) for p, _ in chosen}
    chosen = sorted(chosen, key=lambda one: (spots[one[0].code][0], spots[one[0].code][1], one[0].code))
    rows = 1 if len(chosen) * LONE <= width - 2 * EDGE else 2
    apart = LONE if rows == 1 else SPACING
    room = width - 2 * EDGE - LONE - apart * (len(chosen) - 1)
    apart += max(min(room / max(len(chosen) - 1, 1), loose), 0.0)
    xs = spread([spots[p.code][0] for p, _ in chosen], apart, EDGE + LONE / 2, width - EDGE - LONE / 2)
    chosen = uncrossed(xs, [(one, spots[one[0].code]) for one in chosen], turn)
    made = []
    for i, (x, (place, stands_for)) in enumerate(zip(xs, chosen, strict=True)):
        row = i % rows
        away = MARK / 2 + 6 + row * ROW
        y = turn - away if up else turn + away
        made.append(
            Mark(place=place, x=x, y=y, up=up, spot=spots[place.code], turn=turn, room=rows * apart - 6,
                 stands_for=stands_for)
        )  # fmt: skip
    return made


def spread(wanted: Sequence[float], apart: float, low: float, high: float) -> list[float]:
    """Places in the same order, at least so far apart, between low and high, with the least sum of squared moves.

    Neighbours that press on each other move as one, to the mean of what they want.
    """
    blocks: list[list[float]] = []  # sum, count
    for i, x in enumerate(wanted):
        blocks.append([x - i * apart, 1])
        while len(blocks) > 1 and blocks[-2][0] / blocks[-2][1] > blocks[-1][0] / blocks[-1][1]:
            total, count = blocks.pop()
            blocks[-1][0] += total
            blocks[-1][1] += count
    free = [total / count for total, count in blocks for _ in range(int(count))]
    last = high - apart * (len(wanted) - 1)
    return [max(min(x, last), low) + i * apart for i, x in enumerate(free)]


def uncrossed(xs: Sequence[float], items: Sequence[tuple[T, tuple[float, float]]], turn: float) -> list[T]:
    """The items in an order of slots in which no two leaders cross. Each swap of two that cross makes them shorter
    together, so it ends."""
    items = list(items)
    changed = True
    while changed:
        changed = False
        for i, j in itertools.combinations(range(len(items)), 2):
            now = _reach(xs[i], items[i][1], turn) + _reach(xs[j], items[j][1], turn)
            then = _reach(xs[i], items[j][1], turn) + _reach(xs[j], items[i][1], turn)
            if then < now - HAIR and cross((xs[i], turn), items[i][1], (xs[j], turn), items[j][1]):
                items[i], items[j] = items[j], items[i]
                changed = True
    return [item for item, _ in items]


def _reach(x: float, spot: tuple[float, float], turn: float) -> float:
    return ((x - spot[0]) ** 2 + (turn - spot[1]) ** 2) ** 0.5


def cross(a: tuple[float, float], b: tuple[float, float], c: tuple[float, float], d: tuple[float, float]) -> bool:
    """Whether a line from a to b and one from c to d cross inside both."""

    def turns(p: tuple[float, float], q: tuple[float, float], r: tuple[float, float]) -> float:
        return (q[0] - p[0]) * (r[1] - p[1]) - (q[1] - p[1]) * (r[0] - p[0])

    return turns(a, b, c) * turns(a, b, d) < -HAIR and turns(c, d, a) * turns(c, d, b) < -HAIR


def _said_at(
    marks: Sequence[Mark], words: Sequence[str], width: float, low: float
) -> tuple[float, float, str] | None:  # fmt: skip
    """Beside the outermost mark's file, so that the words stand over no other mark."""
    mark = next((m for m in marks if m.place.limits), None)
    if mark is None:
        return None
    long = max(map(letters.width, words))
    y = EDGE + 6 if mark.up else low
    if mark.x + long <= width - EDGE:
        return (max(mark.x - 20, EDGE), y, "")
    return (min(mark.x + 20, width - EDGE), y, "end") if mark.x + 20 - long >= EDGE else (EDGE, y, "")


def _worked_here(strip: Strip, opened: StationAt | None) -> list[Contour]:
    """What is cut under its own punch; of an opened station, there and not beside it."""
    near = strip.pitch / 2 + HAIR
    return [c for c in strip.cut_here if opened is None or abs(c.x - opened.x) <= near]


def _carried(strip: Strip, opened: StationAt | None) -> list[Contour]:
    here = {(c.code, c.hits_ago) for c in _worked_here(strip, opened)}
    return [c for c in strip.contours if (c.code, c.hits_ago) not in here and c.box.left < strip.end]


# --- what is drawn in place -------------------------------------------------------------------------------------------

_At = Callable[[float, float], tuple[float, float]]


def _drawn_box(box: Box, at: _At) -> Box:
    """In the drawing's units, where y runs down: low is its top."""
    left, top = at(box.left, box.high)
    right, bottom = at(box.right, box.low)
    return Box(left=left, right=right, low=top, high=bottom)


def _dropped(box: Box) -> Box:
    return Box(left=box.left + PART_GAP, right=box.right + PART_GAP, low=box.low + PART_DROP, high=box.high + PART_DROP)


def _clipped(box: Box, window: Box) -> Box:
    return replace(box, left=max(box.left, window.left), right=min(box.right, window.right))


def _cuts(
    contours: Iterable[Contour], strip: Strip, window: Box, at: _At, scale: float,
    by_code: Mapping[str, PlanPosition] | None = None, only: str = "",
) -> list[Drawn]:  # fmt: skip
    """Those in the window, by how they are drawn; what matters most last, so that it lies over the others."""
    ways: dict[str, list[str]] = {}
    for c in contours:
        if c.box.right < window.left or c.box.left > window.right:
            continue
        css = _css(c, (by_code or {}).get(c.code), only) if by_code is not None else _css_of_past(c)
        ways.setdefault(css, []).append(outline(c, *at(c.x, c.y), scale, up=c.y >= strip.box.middle_y))
    return [Drawn(css=css, path="".join(paths)) for css, paths in sorted(ways.items(), key=lambda way: _over(way[0]))]


def _over(css: str) -> tuple:
    words = css.split()
    return ("here" in words, "limits" in words, "hurt" in words, "hole" not in words, css)


def outline(c: Contour, x: float, y: float, scale: float, *, up: bool) -> str:
    """A contour as a path about x, y in the drawing's units. up: a notch opens to the strip's upper side."""
    w, h, n = c.w * scale, c.h * scale, at_tenth
    if c.outline in (ROUND, STUD):
        r = max(w / 2, 1.0)
        return f"M{n(x - r)} {n(y)}a{n(r)} {n(r)} 0 1 0 {n(2 * r)} 0a{n(r)} {n(r)} 0 1 0 {n(-2 * r)} 0z"
    if c.outline == SLOT:
        r = min(w, h) / 2
        if w >= h:
            long = w - 2 * r
            end = f"a{n(r)} {n(r)} 0 0 1 0"
            return f"M{n(x - long / 2)} {n(y - r)}h{n(long)}{end} {n(h)}h{n(-long)}{end} {n(-h)}z"
        long = h - 2 * r
        return f"M{n(x - r)} {n(y - long / 2)}a{n(r)} {n(r)} 0 0 1 {n(w)} 0v{n(long)}a{n(r)} {n(r)} 0 0 1 {n(-w)} 0z"
    if c.outline == NOTCH:  # open to its side: filled past it, and no line there
        deep, top = (h + 1, y - h / 2 - 1) if up else (-h - 1, y + h / 2 + 1)
        return f"M{n(x - w / 2)} {n(top)}v{n(deep)}h{n(w)}v{n(-deep)}"
    if c.outline == BEND:
        return f"M{n(x - w / 2)} {n(y - h / 2)}l{n(w)} {n(h)}"
    return f"M{n(x - w / 2)} {n(y - h / 2)}h{n(w)}v{n(h)}h{n(-w)}z"


def _css_of_past(c: Contour) -> str:
    return {STUD: "stud", BEND: "bent"}.get(c.outline, "hole")


def _css(c: Contour, place: PlanPosition | None, only: str) -> str:
    """What is cut here, in its own state where that needs a hand."""
    words = ["made", {STUD: "stud", BEND: "bent", END: "parts"}.get(c.outline, "hole")]
    if c.idle:
        words.append("idle")
    if place is not None:
        words += ["limits"] * place.limits + ["hurt"] * (place.css == "short")
    if only and c.code == only:
        words.append("here")
    return " ".join(words)


def _frame(strip: Strip, places: Sequence[PlanPosition], at: _At) -> list[OnFrame]:
    """Posts, springs, stops and rails where they stand; a post and its bushing are one."""
    together: dict[tuple[str, float, float], list[PlanPosition]] = {}
    for p in places:
        sort = ON_THE_FRAME.get(p.kind)
        if sort and p.code in strip.places:
            together.setdefault((sort, *strip.places[p.code]), []).append(p)
    made = []
    for (sort, x, y), some in together.items():
        worst = "short" if any(p.css == "short" for p in some) else ""
        across, down = at(x, y)
        half = 0.0
        if sort == "rail":
            ends = at(strip.box.left, y)[0], at(strip.box.right, y)[0]
            half = max(min(across - ends[0], ends[1] - across), 12.0)
        made.append(OnFrame(sort=sort, codes=tuple(p.code for p in some), x=across, y=down, half=half, css=worst))
    return made


def _feet(strip: Strip, at: _At, scale: float) -> list[StationFoot]:
    return [
        StationFoot(code=s.code, operation=s.operation, x=at(s.x, 0)[0], span=scale * strip.pitch)
        for s in strip.stations
    ]
