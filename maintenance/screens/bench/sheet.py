"""The bench sheet: one A4 page that goes to the bench with a die. What is to be done, drawn and measured, with room to
write. Nothing on it hangs on the day on which it is printed: the same work gives the same bytes.
"""

from __future__ import annotations

import io
from collections.abc import Sequence
from dataclasses import dataclass, field

from reportlab.lib.units import mm
from reportlab.pdfgen.canvas import Canvas

from diestore import units
from diestore.drawing import paper, strip_plan
from diestore.drawing.paper import BOLD, HIGH, PLAIN, WIDE
from diestore.drawing.strip_plan import PlanPosition
from diestore.handbook.cautions import first, for_work
from diestore.register.models import Position
from maintenance.log import bench_reads, expected
from maintenance.log.rules import day_of
from maintenance.models import BenchWork
from maintenance.policy.height_targets import Target, target
from maintenance.policy.heights import LEVEL_MM

from .forms import heights_now
from .page import reasons

EDGE = 12.0
ROOM = WIDE - 2 * EDGE
FOOT = 15.0  # above the paper's end: the address and the page
ONE_COLUMN = 16  # edges up to which the table has one column; then two, half as wide
CODE_SIDE = 27.0
HEADING, TABLE_HEAD, ROW, LOW_ROW, SPARE, NOTE, SIGN_OFF = 7.5, 5.1, 5.6, 4.5, 4.8, 5.0, 25.0
CHECK, CAUTION = 4.6, 3.4
LEAST_PLAN, MOST_PLAN, PLAN_OF_TWO_PAGES = 33.0, 96.0, 80.0

CHECKS = (  # common practice, no source
    "Edges sharp under the glass, no burn, feather edge off, demagnetised",
    "Cutting heights even, shims flat and clean under the whole piece",
    "Shut height and stop blocks put right for what came off",
    "Stripper, pilots and springs move freely; screws tight, dowels in",
    "Slug holes clear; nothing left in the die",
)


@dataclass(frozen=True, kw_only=True)
class EdgeLine:
    """Lengths as they are read. off: to come off. now, after: how long it is and should be. shim: what goes under it
    then, so that it stands as it did. Nothing where that is not known."""

    code: str
    kind: str
    side: str
    off: str
    now: str
    after: str
    shim: str = ""


@dataclass(frozen=True, kw_only=True)
class SheetData:
    number: int
    die: str
    description: str
    what: str
    facts: list[tuple[str, str]]
    edges: list[EdgeLine]
    places: list[PlanPosition]
    stations: list[tuple[int, str, str]]
    spares: list[tuple[str, str, str]]
    cautions: list[str]
    address: str
    unit: str
    hold: str = ""
    heights_address: str = ""
    notes: list[str] = field(default_factory=list)


def read(work: BenchWork, *, system: units.System, address: str, heights_address: str = "") -> SheetData:
    """What stands on the sheet. address: what its code opens. heights_address: of the page with the die's heights."""
    die = work.die
    in_use = expected.places_now(die)
    places = in_use.places
    edges = {edge.position_id: edge for edge in work.edges.filter(left_out=False)}
    wanted = [p for p in places if p.position.pk in edges]
    ledger = heights_now(die, in_use.positions) if wanted else None

    def shown(value: float | None, name: str) -> str:
        return "" if value is None else units.show(value, name, system, with_unit=False)

    lines = []
    for place in wanted:
        edge, code = edges[place.position.pk], place.position.code
        row = ledger.row(code) if ledger is not None else None
        aim = target(ledger, code, edge.grind_mm or None) if ledger is not None else None
        lines.append(
            EdgeLine(
                code=code, kind=place.kind.name,
                side="punch side" if place.position.side == "upper" else "die side",
                off=shown(edge.grind_mm, "removed_mm") or "as it takes",
                now=shown(row.standing.length_mm if row else None, "removed_mm"),
                after=shown(aim.length_mm if aim else None, "removed_mm"), shim=_shim(aim, system),
            )
        )  # fmt: skip
    carbide = "sharpening carbide" if expected.any_carbide(wanted) else "sharpening"
    kind = carbide if wanted else "replacement"
    pieces = work.pieces.select_related("item", "piece")
    return SheetData(
        number=work.pk, die=die.code, description=die.description, what=work.what, facts=_facts(work), edges=lines,
        places=[_place(p, edges) for p in places],
        stations=[(s.sequence, s.code, s.operation) for s in die.stations.all()],
        spares=[_spare(piece) for piece in pieces],
        cautions=[*(c.reminder for c in for_work(kind)), first()], address=address,
        unit=units.column("removed_mm").unit(system), hold=bench_reads.why_held(work) or "",
        heights_address=heights_address if any(line.shim for line in lines) else "",
    )  # fmt: skip


def _shim(aim: Target | None, system: units.System) -> str:
    """Of a piece that stands too high even then, what is too much."""
    if aim is None or aim.shim_mm is None:
        return ""
    if abs(aim.shim_mm) <= LEVEL_MM:
        return "none"
    words = units.show(abs(aim.shim_mm), "raised_mm", system, with_unit=False)
    return words if aim.shim_mm > 0 else f"{words} out"


def _facts(work: BenchWork) -> list[tuple[str, str]]:
    made = [("Why", "; ".join(one["words"] for one in reasons(work)) or work.get_source_display())]
    if work.position is not None:
        made.append(("Where", str(work.position.code)))
    made.append(("Opened", f"{work.opened_at:%d %b %Y}".lstrip("0")))
    if work.needed_on:
        made.append(("Die needed", day_of(work.needed_on)))
    if work.hours_foreseen:
        made.append(("Hours planned", f"{work.hours_foreseen:g}"))
    if work.person is not None:
        made.append(("For", f"{work.person}" + (f", {day_of(work.day)}" if work.day else "")))
    if work.supplier is not None:
        made.append(("Supplier", str(work.supplier)))
    return made


def _place(place: expected.PlaceNow, edges: dict) -> PlanPosition:
    position: Position = place.position
    return PlanPosition(
        code=position.code, kind=position.kind, shape=place.kind.shape, side=position.side,
        station=position.station.code if position.station else "", cuts=place.kind.cuts,
        limits=position.pk in edges,
    )  # fmt: skip


def _spare(piece) -> tuple[str, str, str]:
    """What it is, in words, and where it lies."""
    if piece.piece is not None:
        return f"piece marked {piece.piece.mark}", "", ""
    return f"{piece.quantity} × {piece.item}", piece.item.description, piece.item.shelf_place


# --- drawn ------------------------------------------------------------------------------------------------------------


class _Page(paper.Page):
    def __init__(self, canvas: Canvas, told: SheetData) -> None:
        super().__init__(canvas, edge=EDGE)
        self.told = told

    def heading(self, words: str) -> None:
        self.y -= 6.2
        self.text(EDGE, words, size=9.5, bold=True)
        self.rule(y=self.y - 1.3)
        self.y -= 1.3

    def need(self, height: float) -> None:
        """Room for so much, on another page where this one is full."""
        if self.y - height < FOOT:
            self.turn()

    def turn(self) -> None:
        self.foot()
        super().turn()
        self.text(EDGE, f"{self.told.die}: {self.told.what}, continued", size=11, bold=True, room=ROOM)
        self.y -= 3

    def foot(self) -> None:
        self.canvas.setFont(PLAIN, 6.5)
        self.canvas.drawString(EDGE * mm, 7 * mm, paper.cut(self.told.address, PLAIN, 6.5, ROOM - 30))
        self.canvas.drawRightString((WIDE - EDGE) * mm, 7 * mm, f"bench sheet {self.told.number}, page {self.number}")


def pdf(told: SheetData) -> bytes:
    """The sheet: one page, or two where there are more edges than go on one."""
    paper.fonts()
    out = io.BytesIO()
    canvas = Canvas(out, pagesize=(WIDE * mm, HIGH * mm), invariant=True)
    canvas.setTitle(f"Bench sheet: {told.die}")
    page = _Page(canvas, told)
    _head(page)
    _plan(page)
    _edges(page)
    _spares(page)
    _checks(page)
    _cautions(page)
    _sign_off(page)
    page.foot()
    canvas.save()
    return out.getvalue()


def _head(page: _Page) -> None:
    told = page.told
    paper.code(page.canvas, told.address, WIDE - EDGE - CODE_SIDE + 2, HIGH - EDGE - CODE_SIDE + 3, CODE_SIDE)
    room = ROOM - CODE_SIDE - 4
    page.y -= 7
    page.text(EDGE, told.die, size=22, bold=True, room=room)
    beside = EDGE + paper.width(told.die, BOLD, 22) + 4
    if told.description and beside < EDGE + room - 20:
        page.text(beside, told.description, size=12, room=EDGE + room - beside)
    for line in paper.wrapped(told.what, 13, room, BOLD)[:2]:
        page.y -= 6.4
        page.text(EDGE, line, size=13, bold=True)
    page.y -= 1.6
    x, first = EDGE, True
    for name, value in told.facts:
        words = f"{name}: {value}"
        wide = paper.width(words, PLAIN, 9) + 6
        if first or x + wide > EDGE + room:
            page.y -= 4.6
            x, first = EDGE, False
        page.text(x, words, room=EDGE + room - x)
        x += wide
    if told.hold:
        page.y -= 5
        page.text(EDGE, f"ON HOLD: {told.hold}", size=10, bold=True, room=room)
    page.y = min(page.y, HIGH - EDGE - CODE_SIDE + 2)
    page.rule(y=page.y - 2.2, width=0.8)
    page.y -= 2.2


def _plan(page: _Page) -> None:
    """The die along its strip; what is to be ground is black."""
    told = page.told
    if not told.places:
        return
    plan = strip_plan.lay_out([_without_words(p) for p in told.places], told.stations)
    high = _room_for_plan(page)
    scale = min(ROOM / plan.width, high / plan.height)
    left, top = EDGE + (ROOM - plan.width * scale) / 2, page.y - 1

    def at(x: float, y: float) -> tuple[float, float]:
        return (left + x * scale) * mm, (top - y * scale) * mm

    canvas = page.canvas
    canvas.setLineWidth(0.4)
    canvas.setFillGray(0.9)
    if plan.columns:
        x, y = at(strip_plan.LEFT, plan.strip_bottom)
        canvas.rect(x, y, (plan.strip_right - strip_plan.LEFT) * scale * mm, strip_plan.STRIP * scale * mm, fill=1)
        canvas.setFillGray(0)
        canvas.setFont(PLAIN, 6.5)
        canvas.drawCentredString(*at((strip_plan.LEFT + plan.strip_right) / 2, plan.strip_middle + 5), "strip runs  →")
    codes = {line.code for line in told.edges}
    size = max(min(15 * scale * mm / 0.9, 8.5), 4.2)
    for mark in plan.marks:
        ground = mark.place.code in codes
        canvas.setFillGray(0.15 if ground else 1)
        canvas.setStrokeGray(0 if mark.place.cuts or ground else 0.55)
        if mark.round or not mark.place.cuts:
            canvas.circle(*at(mark.x, mark.y), mark.radius * scale * mm, fill=1)
        else:
            x, y = at(mark.left, mark.bottom)
            canvas.rect(x, y, mark.w * scale * mm, mark.h * scale * mm, fill=1)
        canvas.setFillGray(0)
        if not (ground or mark.place.station):
            continue  # guides and springs of the die set stand there without their names
        canvas.setFont(BOLD if ground else PLAIN, size)
        if mark.label_below:
            canvas.drawCentredString(*at(mark.x, mark.bottom + 13), mark.code)
        else:
            canvas.drawRightString(*at(mark.left - 4, mark.y + 5), mark.code)
    canvas.setStrokeGray(0)
    canvas.setFont(PLAIN, 6.5)
    for column in plan.columns:
        canvas.drawCentredString(*at(column.x, plan.foot), paper.cut(column.words, PLAIN, 6.5, column.span * scale))
    canvas.drawString(EDGE * mm, (top - 4) * mm, "punch side")
    canvas.drawString(EDGE * mm, (top - plan.rows_end * scale) * mm, "die side")
    page.y = top - plan.height * scale


def _room_for_plan(page: _Page) -> float:
    """What the rest of the sheet leaves, so that it stays one page as long as the drawing can be read."""
    told = page.told
    down = len(told.edges) if len(told.edges) <= ONE_COLUMN else -(-len(told.edges) // 2)
    table = HEADING + (TABLE_HEAD + down * (ROW if len(told.edges) <= ONE_COLUMN else LOW_ROW) if told.edges else 0)
    spares = HEADING + SPARE * len(told.spares) if told.spares else 0.0
    table += NOTE if told.heights_address else 0.0
    rest = table + spares + _checks_high() + _cautions_high(told) + SIGN_OFF
    left = page.y - 1 - FOOT - rest
    return min(max(left, LEAST_PLAN), MOST_PLAN) if left >= LEAST_PLAN else PLAN_OF_TWO_PAGES


def _without_words(place: PlanPosition) -> PlanPosition:
    """No leader to the edge that limits: the sheet says it in its table."""
    from dataclasses import replace

    return replace(place, limits=False)


# Columns of the table: heading, its share of the width, and whether it is written in by hand.
_WIDE_TABLE = (("Place", 0.08), ("Kind", 0.17), ("Side", 0.1), ("Off", 0.1), ("Length now", 0.11), ("After", 0.11),
               ("Shim for height", 0.11), ("Came off", 0.11), ("Shim set", 0.11))  # fmt: skip
_HALF_TABLE = (("Place", 0.17), ("Off", 0.15), ("After", 0.17), ("Shim", 0.15), ("Came off", 0.18), ("Shim set", 0.18))
_SHIMS = ("Shim", "Shim for height")


def _edges(page: _Page) -> None:
    told = page.told
    if not told.edges:
        page.heading("Nothing is to be ground")
        return
    page.heading(f"To grind, in {told.unit}: {len(told.edges)} {'piece' if len(told.edges) == 1 else 'pieces'}")
    if len(told.edges) <= ONE_COLUMN:
        _table(page, told.edges, _WIDE_TABLE, [EDGE], ROOM, ROW, 8.5)
    else:
        gap = 6.0
        wide = (ROOM - gap) / 2
        _table(page, told.edges, _HALF_TABLE, [EDGE, EDGE + wide + gap], wide, LOW_ROW, 7.5)
    if told.heights_address:
        page.y -= NOTE
        words = f"Shim: so that it stands as at the last good set-up. All heights: {told.heights_address}"
        page.text(EDGE, words, size=7, room=ROOM)


def _table(
    page: _Page, edges: Sequence[EdgeLine], columns, lefts: Sequence[float], wide: float, high: float, size: float
) -> None:
    """Rows in as many columns of tables as there are places for, each read downwards."""
    rest = list(edges)
    while rest:
        page.need(3 * high)
        down = min(-(-len(rest) // len(lefts)), int((page.y - FOOT) / high) - 1)
        top, here = page.y, rest[: down * len(lefts)]
        rest = rest[down * len(lefts) :]
        for number, left in enumerate(lefts):
            mine = here[number * down : (number + 1) * down]
            if not mine:
                continue
            page.y = top - 4.2
            x = left
            for name, share in columns:
                page.text(x, name, size=size - 1.5, room=share * wide - 1)
                x += share * wide
            page.y -= 0.9
            for line in mine:
                page.y -= high
                _row(page, line, columns, left, wide, size)
        page.y = top - 5.1 - down * high


def _row(page: _Page, line: EdgeLine, columns, left: float, wide: float, size: float) -> None:
    cells = {"Place": line.code, "Kind": line.kind, "Side": line.side, "Off": line.off, "Length now": line.now,
             "After": line.after, **dict.fromkeys(_SHIMS, line.shim)}  # fmt: skip
    x = left
    for name, share in columns:
        room = share * wide - 2
        if cells.get(name):
            page.text(x, cells[name], size=size, bold=name in ("Place", "Off", *_SHIMS), room=room)
        else:
            page.rule(y=page.y - 0.8, x=x, room=room)  # to be written in
        x += share * wide


def _spares(page: _Page) -> None:
    if not page.told.spares:
        return
    page.need(HEADING + SPARE * len(page.told.spares))
    page.heading("Draw from the shelf")
    for spare, description, place in page.told.spares:
        page.y -= SPARE
        page.text(EDGE, spare, bold=True, room=52)
        page.text(EDGE + 54, description, room=62)
        page.text(EDGE + 118, "its place on the shelf", size=7)
        if place:
            page.text(EDGE + 146, place, bold=True, room=ROOM - 146)
        else:  # nobody has entered it: room to write
            page.rule(y=page.y - 0.6, x=EDGE + 146, room=ROOM - 146)


def _checks_high() -> float:
    return HEADING + CHECK * len(CHECKS)


def _checks(page: _Page) -> None:
    page.need(_checks_high())
    page.heading("Looked at before it goes back")
    for check in CHECKS:
        page.y -= CHECK
        page.canvas.setLineWidth(0.4)
        page.canvas.rect(EDGE * mm, (page.y - 0.4) * mm, 2.8 * mm, 2.8 * mm)
        page.text(EDGE + 4.5, check, size=8.5, room=ROOM - 5)


def _caution_lines(told: SheetData) -> list[str]:
    return [line for caution in told.cautions for line in paper.wrapped(f"• {caution}", 7.2, ROOM)]


def _cautions_high(told: SheetData) -> float:
    return HEADING + 0.6 + CAUTION * len(_caution_lines(told))


def _cautions(page: _Page) -> None:
    page.need(_cautions_high(page.told))
    page.heading("Safe work")
    page.y -= 0.6
    for line in _caution_lines(page.told):
        page.y -= CAUTION
        page.text(EDGE, line, size=7.2, bold=line.endswith(first()))


def _sign_off(page: _Page) -> None:
    page.need(SIGN_OFF)
    page.heading("Signed")
    page.y -= 2
    third = ROOM / 3
    for row in (("Done by", "Hours", "Date"), ("Die released by", "First piece measured by", "Date")):
        page.y -= 7.6
        for n, words in enumerate(row):
            x = EDGE + n * third
            page.text(x, words, size=7.5)
            wide = paper.width(words, PLAIN, 7.5) + 2
            page.rule(y=page.y - 0.6, x=x + wide, room=third - wide - 4)
