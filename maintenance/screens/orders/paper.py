"""An order on paper: A4, as many pages as it takes. Nothing on it hangs on the day on which it is printed: the same
order gives the same bytes.
"""

from __future__ import annotations

import datetime as dt
import io
from dataclasses import dataclass
from decimal import Decimal

from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop, ngettext, pgettext
from reportlab.lib.units import mm
from reportlab.pdfgen.canvas import Canvas

from diestore import units
from diestore.drawing import paper
from diestore.drawing.paper import BOLD, HIGH, PLAIN, WIDE
from diestore.register.models import Item
from maintenance.log.purchase_reads import CANCELLED, DRAFT, OrderRow, price_words

EDGE = 16.0
ROOM = WIDE - 2 * EDGE
FOOT = 18.0


@dataclass(frozen=True, kw_only=True)
class LineOnPaper:
    """number: of the line. what: what the spare is, in words. price, sum: None where no price is agreed."""

    number: int
    code: str
    what: str
    pieces: int
    price: Decimal | None
    promised_on: dt.date | None

    @property
    def sum(self) -> Decimal | None:
        return None if self.price is None else self.pieces * self.price


@dataclass(frozen=True, kw_only=True)
class OrderOnPaper:
    shop: str
    plant: str
    number: str
    their_number: str
    supplier: str
    day: dt.date
    mark: str  # what it is, where it is no order that stands
    currency: str
    wanted_on: dt.date | None
    note: str
    lines: tuple[LineOnPaper, ...]
    made_at: dt.datetime

    @property
    def total(self) -> Decimal | None:
        known = [line.sum for line in self.lines if line.sum is not None]
        return sum(known, Decimal(0)) if known else None

    @property
    def unpriced(self) -> int:
        return sum(line.price is None for line in self.lines)


def read(row: OrderRow, *, shop_name: str) -> OrderOnPaper:
    order = row.order
    at = order.placed_at or order.opened_at
    mark = {DRAFT: gettext_noop("draft, not ordered yet"), CANCELLED: gettext_noop("cancelled")}.get(row.state, "")
    return OrderOnPaper(
        shop=shop_name, plant=str(order.plant), number=order.number, their_number=order.their_number,
        supplier=str(order.supplier) if order.supplier else "", day=timezone.localdate(at), mark=mark,
        currency=order.currency, wanted_on=order.wanted_on, note=order.note, made_at=at,
        lines=tuple(
            LineOnPaper(
                number=n, code=str(one.line.item), what=what(one.line.item), pieces=one.line.quantity,
                price=one.line.unit_price, promised_on=one.line.promised_on,
            )
            for n, one in enumerate(row.lines, start=1)
        ),
    )  # fmt: skip


def what(item: Item) -> str:
    """What a spare is, as a supplier needs it: description, steel, coating, hardness, length in both units."""
    bits = [item.description, *(b for b in (item.tool_steel, item.coating) if b not in item.description)]
    if item.hardness_hrc:
        bits.append(f"{item.hardness_hrc:g} HRC")
    if item.length_mm:
        inch = units.show(item.length_mm, "length_mm", units.System.INCH)
        bits.append(f"length {units.show(item.length_mm, 'length_mm', units.System.METRIC)} ({inch})")
    return ", ".join(bit for bit in bits if bit)


def day_words(day: dt.date | None) -> str:
    """As the spreadsheet has it, in English."""
    return "" if day is None else f"{day.day} {day:%b %Y}"


def _day(day: dt.date | None) -> str:
    return "" if day is None else date_format(day, "j M Y")


# Heading, its left edge, and whether figures stand at its right end.
_COLUMNS = (("", 0.0, False), (gettext_noop("Spare"), 8.0, False), (gettext_noop("Pieces"), 124.0, True),
            (gettext_noop("Price of one"), 150.0, True), (gettext_noop("Sum"), ROOM, True))  # fmt: skip


class _Page(paper.Page):
    """x counts from the edge of what is written."""

    def __init__(self, canvas: Canvas, told: OrderOnPaper) -> None:
        super().__init__(canvas, edge=EDGE)
        self.told = told

    def text(self, x: float, words: str, **how) -> None:
        super().text(EDGE + x, words, **how)

    def need(self, height: float, *, with_table: bool = True) -> None:
        if self.y - height >= FOOT:
            return
        self.foot()
        self.turn()
        self.text(0, _("Order {number}, continued").format(number=self.told.number), size=11, bold=True, room=ROOM)
        self.y -= 4
        if with_table:
            table_head(self)

    def foot(self) -> None:
        self.canvas.setFont(PLAIN, 7)
        self.canvas.drawString(
            EDGE * mm, 9 * mm, paper.cut(f"{self.told.shop} · {self.told.number}", PLAIN, 7, ROOM - 30)
        )
        self.canvas.drawRightString((WIDE - EDGE) * mm, 9 * mm, _("page {page}").format(page=self.number))


def pdf(told: OrderOnPaper) -> bytes:
    paper.fonts()
    out = io.BytesIO()
    canvas = Canvas(out, pagesize=(WIDE * mm, HIGH * mm), invariant=True)
    canvas.setTitle(_("Order {number}").format(number=told.number))
    page = _Page(canvas, told)
    _head(page)
    table_head(page)
    for line in told.lines:
        _line(page, line)
    _total(page)
    _note(page)
    page.foot()
    canvas.save()
    return out.getvalue()


def _head(page: _Page) -> None:
    told = page.told
    page.y -= 6
    page.text(0, told.shop, size=13, bold=True, room=ROOM * 0.6)
    page.text(ROOM, _("Order"), size=13, right=True)
    page.y -= 5.5
    if told.plant != told.shop:
        page.text(0, told.plant, size=9, room=ROOM * 0.6)
    page.text(ROOM, told.number, size=16, bold=True, right=True)
    if told.mark:
        page.y -= 6.5
        page.text(ROOM, _(told.mark).upper(), size=10, bold=True, right=True)
    page.y -= 9
    page.text(0, pgettext("of an order", "To"), size=8)
    page.y -= 5
    page.text(0, told.supplier or _("no supplier named yet"), size=12, bold=True, room=ROOM * 0.6)
    page.y -= 8
    facts = [(_("Date"), _day(told.day)), (_("Wanted by"), _day(told.wanted_on)),
             (_("Currency"), told.currency), (_("Your number"), told.their_number)]  # fmt: skip
    x = 0.0
    for name, value in facts:
        if not value:
            continue
        page.text(x, name, size=7.5)
        page.y -= 4.4
        page.text(x, value, size=10, bold=True, room=42)
        page.y += 4.4
        x += 45
    page.y -= 10


def table_head(page: _Page) -> None:
    page.y -= 4
    for name, x, right in _COLUMNS:
        page.text(x, _(name) if name else "", size=7.5, right=right)
    page.y -= 1.6
    page.rule(width=0.8)


def _line(page: _Page, line: LineOnPaper) -> None:
    room = 98.0
    codes = paper.wrapped(line.code, 10, room, BOLD)
    words = paper.wrapped(line.what, 8, room)
    if line.promised_on is not None:
        words.append(_("promised for {day}").format(day=_day(line.promised_on)))
    page.need(3.2 + 4.6 * len(codes) + 3.8 * len(words))
    page.y -= 5.2
    page.text(0, str(line.number), size=9)
    page.text(124, f"{line.pieces:,}", size=10, bold=True, right=True)
    page.text(150, price_words(line.price) or _("to be agreed"), size=9, right=True)
    page.text(ROOM, price_words(line.sum), size=9, right=True)
    for n, code in enumerate(codes):
        page.y -= 4.6 if n else 0
        page.text(8, code, size=10, bold=True)
    for one in words:
        page.y -= 3.8
        page.text(8, one, size=8)
    page.y -= 2.2
    page.rule()


def _total(page: _Page) -> None:
    told = page.told
    if not told.lines:
        page.y -= 6
        page.text(0, _("No line yet."))
        return
    page.need(12)
    page.y -= 6.5
    n, pieces = len(told.lines), sum(line.pieces for line in told.lines)
    lines = ngettext("{n} line, {pieces:,} pieces", "{n} lines, {pieces:,} pieces", n)
    page.text(0, lines.format(n=n, pieces=pieces), size=9)
    if told.total is not None:
        page.text(ROOM, f"{price_words(told.total)} {told.currency}", size=12, bold=True, right=True)
    if told.unpriced and told.total is not None:
        page.y -= 4.4
        words = ngettext("without {n} line whose price is to be agreed",
                         "without {n} lines whose price is to be agreed", told.unpriced)  # fmt: skip
        page.text(ROOM, words.format(n=told.unpriced), size=8, right=True)
    page.y -= 3


def _note(page: _Page) -> None:
    if not page.told.note:
        return
    lines = paper.wrapped(page.told.note, 9, ROOM)
    page.need(8 + 4.4 * len(lines), with_table=False)
    page.y -= 4
    for line in lines:
        page.y -= 4.4
        page.text(0, line)
