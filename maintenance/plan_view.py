"""Where everything stands on the drawing of a die along the strip. Geometry only; the template draws.

The die is seen open: punch side above the strip, die side below, stations from left to right in the way the strip runs.
Twenty stations get narrower columns and smaller marks, with the figure under the mark instead of beside it.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, field

MARGIN, STRIP_HEIGHT, TOP = 8.0, 76.0, 66.0
CELL_W, CELL_H, LOOSE = 50.0, 46.0, 22.0


@dataclass(frozen=True, kw_only=True)
class Place:
    """A position as the drawing needs it. share_left, allowance_left: 0 to 1, None where there is none."""

    code: str
    kind: str
    shape: str
    side: str
    station: str
    sequence: int
    cuts: bool
    share_left: float | None = None
    allowance_left: float | None = None
    css: str = ""
    limits: bool = False
    title: str = ""


@dataclass(frozen=True, kw_only=True)
class Mark:
    place: Place
    x: float  # middle
    y: float
    w: float
    h: float
    label_below: bool

    @property
    def left(self) -> float:
        return self.x - self.w / 2

    @property
    def top(self) -> float:
        return self.y - self.h / 2

    @property
    def right(self) -> float:
        return self.x + self.w / 2

    @property
    def bottom(self) -> float:
        return self.y + self.h / 2

    @property
    def fill_height(self) -> float:
        return self.h * (self.place.share_left or 0.0)

    @property
    def fill_top(self) -> float:
        return self.bottom - self.fill_height

    @property
    def bar_x(self) -> float:
        return self.right + 4

    @property
    def bar_height(self) -> float:
        return self.h * (self.place.allowance_left or 0.0)

    @property
    def bar_top(self) -> float:
        return self.bottom - self.bar_height

    @property
    def figure(self) -> str:
        return "" if self.place.share_left is None else f"{100 * self.place.share_left:.0f}"

    @property
    def radius(self) -> float:
        return self.w / 2

    @property
    def small(self) -> float:
        return min(self.w, self.h) / 4


@dataclass(frozen=True, kw_only=True)
class Column:
    code: str
    words: str
    x: float
    left: float
    holes: bool
    slots: bool
    bends: bool


@dataclass(frozen=True, kw_only=True)
class Plan:
    width: float
    height: float
    strip_top: float
    strip_bottom: float
    strip_right: float
    columns: list[Column]
    beside: list[Column]  # what belongs to no station
    marks: list[Mark]
    limiting: Mark | None
    dense: bool
    foot: float
    leader: str = ""
    leader_x: float = 0.0
    leader_end: bool = False
    pitch_holes: list[float] = field(default_factory=list)

    @property
    def strip_middle(self) -> float:
        return (self.strip_top + self.strip_bottom) / 2

    @property
    def part_height(self) -> float:
        return STRIP_HEIGHT - 28

    @property
    def min_width(self) -> float:
        return self.width if self.dense else 0


def lay_out(places: Sequence[Place], stations: Sequence[tuple[int, str, str]]) -> Plan:
    """stations: (sequence, code, operation) in the order of the strip. Places of no such station stand at the end."""
    known = {code for _, code, _ in stations}
    columns_wanted = [(code, f"{code} {words}".strip()) for _, code, words in sorted(stations)]
    loose = [p for p in places if p.station not in known]
    dense = len(columns_wanted) > 9 or len(places) - len(loose) > 45
    pitch = 66.0 if dense else max(104.0, min(132.0, 860.0 / max(len(columns_wanted), 1)))
    by_place: dict[tuple[str, str], list[Place]] = defaultdict(list)
    for p in places:
        by_place[(p.station if p.station in known else "", p.side)].append(p)
    for group in by_place.values():
        group.sort(key=lambda p: (not p.cuts, p.code))
    rows = {
        side: max((_rows(len(g), dense) for (at, s), g in by_place.items() if s == side and at), default=1)
        for side in ("upper", "lower")
    }
    if not columns_wanted:
        rows = {side: max(r, 2) for side, r in rows.items()}
    size = 30.0 if dense else 48.0
    row_height = size + (34.0 if dense else 26.0)
    strip_top = TOP + rows["upper"] * row_height + 8
    strip_bottom = strip_top + STRIP_HEIGHT
    height = strip_bottom + rows["lower"] * row_height + 74
    marks, columns = [], []
    x = MARGIN
    bent = slotted = pierced = False
    for code, words in columns_wanted:
        kinds = {p.kind for p in by_place[(code, "upper")]} | {p.kind for p in by_place[(code, "lower")]}
        pierced |= any("pierce" in k for k in kinds)
        slotted |= any(k in ("shape_punch", "notch_punch", "trim_punch") for k in kinds)
        bent |= any(k.startswith("forming") for k in kinds)
        columns.append(
            Column(code=code, words=words, x=x + pitch / 2, left=x, holes=pierced, slots=slotted, bends=bent)
        )
        for side in ("upper", "lower"):
            marks += _column(by_place[(code, side)], x, pitch, size, row_height, side, strip_top, strip_bottom, dense)
        x += pitch
    strip_right = x + 4
    beside = []
    x = strip_right + (52 if columns_wanted else 0)
    if loose:
        wide = max(
            _loose(by_place[("", side)], x, side, rows[side] * row_height, strip_top, strip_bottom, marks)
            for side in ("upper", "lower")
        )
        beside.append(Column(code="", words="die set", x=x + wide / 2, left=x, holes=False, slots=False, bends=False))
        x += wide
    width = max(x + MARGIN, 560.0)
    limiting = next((m for m in marks if m.place.limits), None)
    leader, leader_x, ends = "", 0.0, False
    if limiting is not None:
        # Along the left of the column, so that the line crosses no other mark.
        leader_x = next((c.left + 5 for c in columns if c.code == limiting.place.station), limiting.left - 4)
        ends = leader_x > width * 0.55
        end = 44 if limiting.place.side == "upper" else height - 40
        leader = f"M{limiting.left + 2:.1f} {limiting.top + 2:.1f}H{leader_x:.1f}V{end:.0f}"
    return Plan(
        width=width,
        height=height,
        strip_top=strip_top,
        strip_bottom=strip_bottom,
        strip_right=strip_right,
        columns=columns,
        beside=beside,
        marks=marks,
        limiting=limiting,
        dense=dense,
        foot=height - 12,
        leader=leader,
        leader_x=leader_x,
        leader_end=ends,
        pitch_holes=[c.left for c in columns[1:]],
    )


def _rows(n: int, dense: bool) -> int:
    return -(-n // (2 if n > 3 and not dense else 1)) if not dense else -(-n // (2 if n > 4 else 1))


def _loose(group, left, side, room, strip_top, strip_bottom, marks: list[Mark]) -> float:
    """What belongs to no station (guides, springs, plates), in a grid as high as the stations are; its width."""
    down = max(int(room // CELL_H), 1)
    across = -(-len(group) // down)
    for i, place in enumerate(group):
        column, row = divmod(i, down)
        offset = 14 + CELL_H * (row + 0.5)
        y = strip_top - offset if side == "upper" else strip_bottom + offset
        x = left + CELL_W * (column + 0.5)
        marks.append(Mark(place=place, x=x, y=y - 6, w=LOOSE, h=LOOSE, label_below=True))
    return across * CELL_W


def _column(group, left, pitch, size, row_height, side, strip_top, strip_bottom, dense) -> list[Mark]:
    """The marks of one station on one side, the cutting ones nearest to the strip, in one row of columns or two."""
    two = len(group) > (4 if dense else 3)
    across = 2 if two else 1
    scale = 0.72 if two else 1.0
    made = []
    for i, place in enumerate(group):
        row, col = divmod(i, across)
        x = left + pitch * (2 * col + 1) / (2 * across) + (0 if dense or two else 6)
        y = (
            strip_top - 14 - row_height * (row + 0.5)
            if side == "upper"
            else strip_bottom + 14 + row_height * (row + 0.5)
        )
        s = size * scale * (1.0 if place.cuts else 0.62)
        w = s * 1.3 if place.cuts and side == "lower" and not dense and not two else s
        below = dense or two or not place.cuts
        made.append(Mark(place=place, x=x, y=y - (6 if below else 0), w=w, h=s, label_below=below))
    return made
