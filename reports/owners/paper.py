"""The condition report on A4. Nothing on it hangs on the day of printing: the same report gives the same bytes."""

from __future__ import annotations

import io

from django.utils.translation import gettext as _
from django.utils.translation import pgettext
from reportlab.lib.units import mm
from reportlab.pdfgen.canvas import Canvas

from diestore.drawing import paper
from diestore.drawing.paper import BOLD, HIGH, WIDE
from maintenance.log.owners import ReportSaid
from reports.format import day
from reports.paper import EDGE, ROOM, ReportPage

from . import shown
from .condition import as_signed

BAR = 19.0  # mm: what the bar of a piece is long at its most


def pdf(said: ReportSaid) -> bytes:
    """As many pages as its pieces and years need."""
    paper.fonts()
    out = io.BytesIO()
    canvas = Canvas(out, pagesize=(WIDE * mm, HIGH * mm), invariant=True)
    canvas.setTitle(_("Condition of {die}").format(die=said.die))
    if said.shop:
        canvas.setAuthor(said.shop)
    state = _("signed {day}").format(day=day(said.signed_on)) if said.signer else _("draft, not signed")
    left = " · ".join(filter(None, (said.shop, _("condition of {die}").format(die=said.die), state)))
    page = ReportPage(canvas, left=left, named=_("condition {die}").format(die=said.die))
    _head(page, said)
    _next(page, said)
    _left(page, said)
    _work(page, said)
    _money(page, said)
    _ahead(page, said)
    _end(page, said)
    page.foot()
    canvas.save()
    return out.getvalue()


def _head(page: ReportPage, said: ReportSaid) -> None:
    page.y -= 7
    page.text(EDGE, said.die, size=22, bold=True, room=ROOM)
    beside = EDGE + paper.width(said.die, BOLD, 22) + 4
    if said.description and beside < EDGE + ROOM - 20:
        page.text(beside, said.description, size=12, room=EDGE + ROOM - beside)
    page.y -= 6.6
    told = _("Condition report for {owner}").format(owner=said.owner) if said.owner else _("Condition report")
    page.text(EDGE, told, size=13, bold=True, room=ROOM)
    page.y -= 5
    who = _("owner: {owner}").format(owner=said.owner) if said.owns else _("owner: the shop")
    until = _("entries up to {day}").format(day=day(said.records_until))
    where = " · ".join(dict.fromkeys(filter(None, (said.shop, said.plant))))
    page.text(EDGE, f"{where}; {who}; {until}", size=9, room=ROOM)
    page.y -= 3
    page.rule(width=0.8)
    page.y -= 7
    _mark(page, said.css)
    standing = pgettext("standing", said.standing)
    page.text(EDGE + 7, standing, size=13, bold=True, room=60)
    page.text(EDGE + 9 + paper.width(standing, BOLD, 13), said.condition, size=9.5,
              room=ROOM - 9 - paper.width(standing, BOLD, 13))  # fmt: skip
    page.y -= 1.5
    for words in said.wrong:
        page.words(words, size=9, bold=True)
    page.words(shown.until_sharpening(said), size=9)
    page.words(shown.made(said), size=9)


def _mark(page: ReportPage, css: str) -> None:
    """A square with its level: full, half, at the foot, or empty where nothing is known; the word stands beside it."""
    side, level = 4.2, {"": 0.9, "close": 0.5, "short": 0.2, "unknown": 0.0}.get(css, 0.0)
    page.canvas.setLineWidth(0.8)
    page.canvas.setFillGray(0.25)
    page.canvas.rect(EDGE * mm, (page.y - 0.4) * mm, side * mm, side * level * mm, stroke=0, fill=1)
    page.canvas.setFillGray(0)
    page.canvas.rect(EDGE * mm, (page.y - 0.4) * mm, side * mm, side * mm, stroke=1, fill=0)


def _next(page: ReportPage, said: ReportSaid) -> None:
    page.heading(_("Next decision"))
    page.words(said.decision, size=9.5, bold=True)


def _left(page: ReportPage, said: ReportSaid) -> None:
    page.heading(_("Parts left in the steel"))
    page.words(said.steel, size=9)
    told = shown.context(said)
    if said.steps:
        page.y -= 2
        rows = [
            [one["parts"], one["by"], one["spare"], one["places"], _("big") if one["is_big"] else "", one["buys"]]
            for one in told["steps"]
        ]
        _columns(page, [_("After parts"), _("About"), _("Spares"), _("Positions"), _("Spend"), _("Buys parts")], rows,
                 [22.0, 20.0, 62.0, ROOM - 142, 16.0, 22.0], right=(0, 5))  # fmt: skip
    if not said.pieces:
        return
    page.heading(_("What is left, piece by piece"), needs=30)
    most = max((one.months or 0.0 for one in said.pieces), default=0.0)
    head = [_("Position"), _("Piece"), _("Spare"), _("Grinds left"), _("Parts left"), _("Months"), _("Ground out")]
    wide = [20.0, 34.0, 36.0, 20.0, 22.0, 18.0, ROOM - 150]
    _columns(page, head, [], wide, right=(3, 4, 5))
    for one, row in zip(said.pieces, told["pieces"], strict=True):
        if page.room_for(5):
            page.y -= 2
            _columns(page, head, [], wide, right=(3, 4, 5))
        grinds = "–" if row["grinds"] is None else f"{row['grinds']}"
        cells = [row["place"], row["what"], row["spare"], grinds, row["parts"], row["months"], ""]
        _one(page, cells, wide, right=(3, 4, 5))
        x = EDGE + sum(wide[:6]) + 2
        if one.months is not None and most > 0:
            long = BAR * min(one.months / most, 1.0)
            page.canvas.setFillGray(0.45)
            page.canvas.rect(x * mm, (page.y - 0.3) * mm, max(long, 0.4) * mm, 2.4 * mm, stroke=0, fill=1)
            page.canvas.setFillGray(0)
            page.text(x + max(long, 0.4) + 1.2, row["by"], size=6.5, room=WIDE - EDGE - x - long)
        else:
            page.text(x, _("later than in ten years") if shown.is_far(one) else one.why, size=6.5)


def _columns(page: ReportPage, head: list[str], rows: list[list[str]], wide: list[float], *, right: tuple) -> None:
    _one(page, head, wide, right=right, bold=True)
    page.rule(y=page.y - 1.2, width=0.6)
    page.y -= 1.2
    for row in rows:
        if page.room_for(5):
            page.y -= 2
            _one(page, head, wide, right=right, bold=True)
        _one(page, row, wide, right=right)


def _one(page: ReportPage, cells: list[str], wide: list[float], *, right: tuple, bold: bool = False) -> None:
    page.y -= 4.2
    x = EDGE
    for number, (cell, room) in enumerate(zip(cells, wide, strict=True)):
        if number in right:
            page.text(x + room - 3, cell, size=7.2, bold=bold, right=True)
        else:
            page.text(x, cell, size=7.2, bold=bold, room=room - 1.5)
        x += room


def _work(page: ReportPage, said: ReportSaid) -> None:
    if not said.years:
        return
    page.heading(_("What it made and what was done"), needs=30)
    head = [_("Year"), _("Hits"), _("Good parts"), _("Sharpenings"), _("Ground"), _("Replaced"), _("Broken"),
            _("Repairs"), _("Other work")]  # fmt: skip
    page.table(head, shown.rows_of_years(said), [18.0, *[(ROOM - 18) / 8] * 8], left=1, last_bold=True)


def _money(page: ReportPage, said: ReportSaid) -> None:
    by_month = _("Money by month, {currency}").format(currency=said.currency)
    page.heading(by_month if said.paid else _("Money"), needs=36)
    page.words(said.who_pays, size=9)
    if said.owner and not said.paid:
        page.words(_("Nothing was asked of {owner} for this tool so far.").format(owner=said.owner), size=9)
    if said.paid:
        told = shown.context(said)
        if len(told["paid_for"]) > 1:
            each = ", ".join(f"{words.lower()} {amount}" for words, amount in told["paid_for"])
            of_all = _("Of {paid} {currency} paid by {owner}: {each}.")
            paid, owner = told["paid_together"], said.owner
            page.words(of_all.format(paid=paid, currency=said.currency, owner=owner, each=each), size=9)
        page.y -= 1
        rows = [list(row) for row in told["paid"]]
        by_whom = _("Paid by the owner") if said.owns else _("Paid by the customer")
        rows.append([_("Together"), "", shown.money(said.paid_together)])
        page.table([_("Month"), _("For"), by_whom], rows, [24.0, ROOM - 64, 40.0], left=2, last_bold=True)


def _ahead(page: ReportPage, said: ReportSaid) -> None:
    if not said.ahead:
        return
    told = shown.context(said)
    page.heading(_("The year ahead, {currency}").format(currency=said.currency), needs=40)
    page.words(
        _("What {owner} is expected to pay for this tool in the next twelve months, as agreed now, at today's prices "
          "and rates. Expected values of months and elements add up, bands do not.").format(owner=said.owner), size=9,
    )  # fmt: skip
    head = ["", _("Expected"), _("1 in 10 below"), _("Half below"), _("9 in 10 below")]
    wide = [ROOM - 120, 30.0, 30.0, 30.0, 30.0]
    for first, name in ((_("For"), "ahead"), (_("Month to"), "ahead_months")):
        page.y -= 1
        page.table([first, *head[1:]], [list(row) for row in told[name]], wide, left=1)


def _end(page: ReportPage, said: ReportSaid) -> None:
    page.heading(_("Care"), needs=30)
    page.words(_(shown.SAFETY))
    page.heading(_("How it is worked out"), needs=34)
    page.words(_(shown.METHOD))
    if said.rests_on:
        page.words(_("The forecast rests on {basis}.").format(basis=said.rests_on))
    if said.left_out:
        page.words(" ".join(said.left_out))
    page.heading(_("Signed"), needs=34)
    if said.note:
        page.words(said.note, size=9)
    page.words(as_signed(said), size=10, bold=True)
