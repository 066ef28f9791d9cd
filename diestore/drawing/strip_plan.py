"""Where everything stands on the drawing of a die along the strip. Geometry only; the template draws.

The die is seen open: punch side above the strip, die side below, stations from left to right in the way the strip runs.
A die of many stations takes the page's whole width; one of very many gets narrow columns and small marks, with the
figure under the mark instead of beside it. Lengths are in the drawing's own units, one a pixel at its natural size.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from diestore.drawing import letters
from diestore.texts import gettext as _

LEFT, MARGIN, STRIP, HEAD = 26.0, 8.0, 76.0, 50.0  # "Punch side" and "Die side" stand upright in the left edge
PART = 48.0  # room for the part that falls off at the end
BESIDE_WIDTH, WHOLE_WIDTH = 930.0, 1160.0  # what fits beside the figures, and what fits the page
NARROWEST_PLAN, LINE = 420.0, 16  # the narrowest drawing, and a line of the words about the limiting edge
SIDES = ("upper", "lower")
LOOSE_MARK, LOOSE_WIDTH, LOOSE_HEIGHT = 20.0, 42.0, 42.0


@dataclass(frozen=True, kw_only=True)
class PlanPosition:
    """A position as the drawing needs it. share_left, allowance_left: 0 to 1, None where there is none."""

    code: str
    kind: str
    shape: str
    side: str
    station: str
    cuts: bool
    share_left: float | None = None
    allowance_left: float | None = None
    css: str = ""
    limits: bool = False
    title: str = ""
    url: str = ""  # where a tap on it leads


@dataclass(frozen=True, kw_only=True)
class Size:
    """How large the marks are. down: marks above one another before a station gets a second file of them."""

    pitch: float
    mark: float
    row: float
    down: int
    label_below: bool


NORMAL = Size(pitch=106, mark=46, row=74, down=5, label_below=False)
DENSE = Size(pitch=66, mark=27, row=63, down=5, label_below=True)
NARROWEST, WIDEST = 46.0, 86.0  # pitch of a station with small marks


@dataclass(frozen=True, kw_only=True)
class _Grid:
    """How the marks are spread. rows: of marks on each side. dense: small marks. wide: takes the page's whole width."""

    size: Size
    rows: dict[str, int]
    wide: bool
    dense: bool

    @property
    def strip_top(self) -> float:
        return HEAD + self.rows["upper"] * self.size.row + 10

    @property
    def rows_end(self) -> float:
        return self.strip_top + STRIP + 10 + self.rows["lower"] * self.size.row

    def away(self, side: str, distance: float) -> float:
        """So far from the strip on that side."""
        return self.strip_top - distance if side == "upper" else self.strip_top + STRIP + distance


@dataclass(frozen=True, kw_only=True)
class PositionMark:
    """x, y: the middle. room: width there is for its code."""

    place: PlanPosition
    x: float
    y: float
    w: float
    h: float
    label_below: bool
    room: float

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
    def round(self) -> bool:
        return self.place.shape == "round"

    @property
    def radius(self) -> float:
        return self.h / 2

    @property
    def quarter(self) -> float:
        return self.h / 4

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
    def code(self) -> str:
        return letters.fitting(self.place.code, self.room)

    # Where the figure and the code stand: to the left of a large cutting mark, else below.
    @property
    def label_x(self) -> float:
        return self.x if self.label_below else self.left - 5

    @property
    def figure_y(self) -> float:
        return self.bottom + 14 if self.label_below else self.y - 1

    @property
    def code_y(self) -> float:
        if not self.label_below:
            return self.y + 14
        return self.bottom + (27 if self.figure else 14)


@dataclass(frozen=True, kw_only=True)
class StationColumn:
    """A station. holes, slots, bends: what the strip shows there, made by the stations up to it."""

    code: str
    words: str
    title: str
    left: float
    span: float
    holes: bool = False
    slots: bool = False
    bends: bool = False

    @property
    def x(self) -> float:
        """Its middle."""
        return self.left + self.span / 2


@dataclass(frozen=True, kw_only=True)
class Leader:
    """The line from the limiting edge to the words about it."""

    path: str
    x: float
    y: float
    anchor: str
    css: str


@dataclass(frozen=True, kw_only=True)
class Plan:
    width: float
    height: float
    strip_top: float
    strip_right: float
    columns: list[StationColumn]
    die_set: StationColumn | None  # what belongs to no station
    marks: list[PositionMark]
    leader: Leader | None
    dense: bool
    wide: bool  # takes the page's whole width
    rows_end: float

    @property
    def strip_bottom(self) -> float:
        return self.strip_top + STRIP

    @property
    def strip_middle(self) -> float:
        return self.strip_top + STRIP / 2

    @property
    def upper_middle(self) -> float:
        return (HEAD + self.strip_top) / 2

    @property
    def lower_middle(self) -> float:
        return (self.strip_bottom + self.rows_end) / 2

    @property
    def foot(self) -> float:
        return self.height - 6

    @property
    def limiting(self) -> PositionMark | None:
        return next((m for m in self.marks if m.place.limits), None)

    @property
    def largest(self) -> float:
        """The widest that it is drawn: a small die is not blown up."""
        return 1.15 * self.width

    @property
    def smallest(self) -> float:
        """The narrowest at which its words can still be read."""
        return 0.8 * self.width if self.wide else 0.7 * self.width

    @property
    def pilot_holes(self) -> list[float]:
        return [c.left for c in self.columns[1:]]


def lay_out(
    positions: Sequence[PlanPosition], stations: Sequence[tuple[int, str, str]], *, leader_words: Sequence[str] = ()
) -> Plan:
    """stations: (sequence, code, operation). Positions of no such station stand at the end, as the die set.

    leader_words: the lines about the limiting edge, so that there is room for them.
    """
    stations = sorted(stations)
    groups = _grouped(positions, {code for _, code, _ in stations})
    grid = _grid(groups, stations)
    columns, marks = _along_the_strip(groups, stations, grid)
    strip_right = LEFT + sum(column.span for column in columns)
    part_right = strip_right + (PART if columns else 0)
    die_set, loose = _die_set(groups, part_right, grid)
    marks += loose
    right = part_right + (die_set.span if die_set else 0) + MARGIN
    limiting = next((m for m in marks if m.place.limits), None)
    leader, needs = None, 0.0
    if limiting is not None:
        length = max(map(letters.width, leader_words), default=0.0)
        leader, needs = _leader(limiting, marks, columns, right, grid.rows_end, length)
    leads_down = limiting is not None and limiting.place.side == "lower"
    return Plan(
        width=max(right, NARROWEST_PLAN, needs),
        height=grid.rows_end + (LINE * len(leader_words) if leads_down else 0) + 30,
        strip_top=grid.strip_top,
        strip_right=strip_right,
        columns=columns,
        die_set=die_set,
        marks=marks,
        leader=leader,
        dense=grid.dense,
        wide=grid.wide,
        rows_end=grid.rows_end,
    )


_Groups = Mapping[tuple[str, str], list[PlanPosition]]
_Stations = Sequence[tuple[int, str, str]]


def _grouped(positions: Sequence[PlanPosition], known: set[str]) -> _Groups:
    """By station ("" for none) and side, the cutting ones first, as they stand nearest to the strip."""
    groups: dict[tuple[str, str], list[PlanPosition]] = defaultdict(list)
    for p in positions:
        groups[(p.station if p.station in known else "", p.side)].append(p)
    for group in groups.values():
        group.sort(key=lambda p: (not p.cuts, p.code))
    return groups


def _grid(groups: _Groups, stations: _Stations) -> _Grid:
    """As large as fits: beside the figures, else over the whole width, else with small marks."""
    size, width = NORMAL, _width(groups, stations, NORMAL)
    wide, dense = width > BESIDE_WIDTH, width > WHOLE_WIDTH
    if dense:
        size = _dense(groups, stations)
    return _Grid(
        size=size,
        wide=wide,
        dense=dense,
        rows={side: _rows(groups, stations, side, size) for side in SIDES},
    )


def _along_the_strip(
    groups: _Groups, stations: _Stations, grid: _Grid
) -> tuple[list[StationColumn], list[PositionMark]]:
    columns: list[StationColumn] = []
    marks: list[PositionMark] = []
    x = LEFT
    pierced = slotted = bent = False
    for __, code, operation in stations:
        span = grid.size.pitch * _files(groups, code, grid.size)
        kinds = {p.kind for side in SIDES for p in groups[(code, side)]}
        pierced |= any("pierce" in k for k in kinds)
        slotted |= bool(kinds & {"shape_punch", "notch_punch", "trim_punch"})
        bent |= any(k.startswith("forming") for k in kinds)
        title = f"{code} {operation}".strip()
        columns.append(
            StationColumn(
                code=code,
                words=letters.fitting(code if grid.dense else title, span),
                title=title,
                left=x,
                span=span,
                holes=pierced,
                slots=slotted,
                bends=bent,
            )
        )
        for side in SIDES:
            marks += _station(groups[(code, side)], x, span, grid, side)
        x += span
    return columns, marks


def _die_set(groups: _Groups, left: float, grid: _Grid) -> tuple[StationColumn | None, list[PositionMark]]:
    """What belongs to no station (guides, springs, plates), in a grid as high as the stations are."""
    files = _loose_files(groups, grid.rows, grid.size)
    if not files:
        return None, []
    marks = []
    for side in SIDES:
        down = max(int(grid.rows[side] * grid.size.row // LOOSE_HEIGHT), 1)
        for i, place in enumerate(groups[("", side)]):
            file, row = divmod(i, down)
            x, y = left + LOOSE_WIDTH * (file + 0.5), grid.away(side, 10 + LOOSE_HEIGHT * (row + 0.5))
            marks.append(
                PositionMark(
                    place=place, x=x, y=y - 7, w=LOOSE_MARK, h=LOOSE_MARK, label_below=True, room=LOOSE_WIDTH - 2
                )
            )
    return StationColumn(code="", words=_("die set"), title=_("die set"), left=left, span=LOOSE_WIDTH * files), marks


def _files(groups: _Groups, code: str, size: Size) -> int:
    """Marks side by side in a station."""
    most = max(len(groups[(code, "upper")]), len(groups[(code, "lower")]))
    return max(-(-most // size.down), 1)


def _rows(groups: _Groups, stations: _Stations, side: str, size: Size) -> int:
    rows = [-(-len(groups[(code, side)]) // _files(groups, code, size)) for _, code, _ in stations]
    least = 1 if stations else 3  # with no station at all the die set has the height of three rows
    return max([*rows, least])


def _loose_files(groups: _Groups, rows: dict[str, int], size: Size) -> int:
    """Files of the grid in which what belongs to no station stands."""
    return max(-(-len(groups[("", side)]) // max(int(rows[side] * size.row // LOOSE_HEIGHT), 1)) for side in SIDES)


def _width(groups: _Groups, stations: _Stations, size: Size) -> float:
    rows = {side: _rows(groups, stations, side, size) for side in SIDES}
    files = sum(_files(groups, code, size) for _, code, _ in stations)
    return (
        LEFT + MARGIN + size.pitch * files + (PART if stations else 0) + LOOSE_WIDTH * _loose_files(groups, rows, size)
    )


def _dense(groups: _Groups, stations: _Stations) -> Size:
    """Columns as narrow as the page's width asks for, down to where codes can no longer be read."""
    files = sum(_files(groups, code, DENSE) for _, code, _ in stations)
    room = WHOLE_WIDTH - _width(groups, stations, DENSE)
    pitch = min(max(DENSE.pitch + room / max(files, 1), NARROWEST), WIDEST)
    return Size(pitch=pitch, mark=DENSE.mark, row=DENSE.row, down=DENSE.down, label_below=True)


def _station(group: Sequence[PlanPosition], left: float, span: float, grid: _Grid, side: str) -> list[PositionMark]:
    """The marks of one station on one side, row by row away from the strip."""
    size = grid.size
    files = max(round(span / size.pitch), 1)
    made = []
    for i, place in enumerate(group):
        row, file = divmod(i, files)
        below = size.label_below or not place.cuts
        x = left + size.pitch * (file + 0.5) + (0 if below else 11)
        y = grid.away(side, 10 + size.row * (row + 0.5))
        mark = size.mark * (1.0 if place.cuts else 0.65)
        lift = 0.0 if not below else 14 if size.label_below else 8  # the words under a mark belong to its row
        wide = mark * (1.1 if place.cuts and place.shape != "round" and not size.label_below else 1.0)
        room = size.pitch - 2 if below else size.pitch / 2 - 8
        made.append(PositionMark(place=place, x=x, y=y - lift, w=wide, h=mark, label_below=below, room=room))
    return made


def _leader(
    mark: PositionMark,
    marks: Sequence[PositionMark],
    columns: Sequence[StationColumn],
    width: float,
    rows_end: float,
    length: float,
) -> tuple[Leader, float]:
    """Straight out where nothing stands in the way, else along the left of its column, so that it crosses no mark.

    With it the width that its words need.
    """
    up = mark.place.side == "upper"
    y = 20.0 if up else rows_end + 16
    sign = -1 if up else 1
    edge = mark.top if up else mark.bottom
    start_x = mark.x if up or not mark.label_below else mark.left + 3
    in_the_way = [m for m in marks if abs(m.x - start_x) < m.w and (m.y - mark.y) * sign > 1 and m is not mark]
    if in_the_way or (not up and mark.label_below):
        column = next((c for c in columns if c.code == mark.place.station), None)
        file = mark.left - 6 if column is None else column.left + 2
        gap = edge + sign * (32 if not up and mark.label_below else 5)
        path = f"M{start_x:.1f} {edge:.1f}V{gap:.1f}H{file:.1f}V{y - 4:.1f}"
    else:
        file = start_x
        path = f"M{file:.1f} {edge:.1f}V{y - 4:.1f}"
    words_left = file + 10 + length + MARGIN > width and file - 10 - length >= LEFT
    x = file - 10 if words_left else file + 10
    path += f"H{x + 3 if words_left else x - 3:.1f}"
    leader = Leader(path=path, x=x, y=y, anchor="end" if words_left else "start", css=mark.place.css)
    return leader, 0.0 if words_left else x + length + MARGIN
