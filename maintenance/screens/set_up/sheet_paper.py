"""The set-up sheet on one A4 page. Nothing on it hangs on the day on which it is printed: the same die gives the same
bytes."""

from __future__ import annotations

import io

from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop
from reportlab.lib.units import mm
from reportlab.pdfgen.canvas import Canvas

from diestore.drawing import paper
from diestore.drawing.paper import BOLD, HIGH, PLAIN, WIDE

from .sheet_words import ESTIMATES, Line, Words

EDGE = 12.0
ROOM = WIDE - 2 * EDGE
NAME, VALUE = 40.0, 54.0  # columns of a line; what is left says from what the figure is
CODE_SIDE = 27.0
CAUTIONS_AT_FOOT = 48.0
SIGN_OFF = (
    (gettext_noop("Set in on"), gettext_noop("Press")),
    (gettext_noop("By"), gettext_noop("Shut height dialled in")),
)


class _Page(paper.Page):
    """small: how much the lines are shrunk."""

    def __init__(self, canvas: Canvas, small: float) -> None:
        super().__init__(canvas, edge=EDGE)
        self.small = small

    def lines(self, x: float, words: str, *, size: float, room: float, bold: bool = False, most: int = 4) -> float:
        """Words over several lines from here down; how far down the last one is."""
        wrapped = paper.wrapped(words, size, room, BOLD if bold else PLAIN)[:most]
        top, step = self.y, size * paper.POINT_MM * 1.22
        for number, one in enumerate(wrapped):
            self.y = top - number * step
            self.text(x, one, size=size, bold=bold, room=room)
        self.y = top
        return max(len(wrapped) - 1, 0) * step


def pdf(told: Words, *, address: str) -> bytes:
    """One page; where there is much to say it is written smaller."""
    paper.fonts()
    for small in (1.0, 0.92, 0.84, 0.76, 0.68):
        out = io.BytesIO()
        canvas = Canvas(out, pagesize=(WIDE * mm, HIGH * mm), invariant=True)
        canvas.setTitle(_("Set-up sheet: {die}").format(die=told.die))
        page = _Page(canvas, small)
        _head(page, told, address)
        _verdict(page, told)
        for heading, lines in told.sections:
            _section(page, heading, lines)
        if page.y > CAUTIONS_AT_FOOT + 18:
            break
    _foot(page, told, address)
    canvas.save()
    return out.getvalue()


def _head(page: _Page, told: Words, address: str) -> None:
    paper.code(page.canvas, address, WIDE - EDGE - CODE_SIDE + 2, HIGH - EDGE - CODE_SIDE + 3, CODE_SIDE)
    room = ROOM - CODE_SIDE - 4
    page.y -= 7
    page.text(EDGE, told.die, size=22, bold=True, room=room)
    beside = EDGE + paper.width(told.die, BOLD, 22) + 4
    if told.description and beside < EDGE + room - 20:
        page.text(beside, told.description, size=12, room=EDGE + room - beside)
    page.y -= 7
    where = [_("Set-up sheet")]
    if told.press:
        where.append(_("press {press}").format(press=told.press))
    if told.inserts:
        where.append(_("inserts {inserts}").format(inserts=told.inserts))
    page.text(EDGE, ", ".join(where), size=13, bold=True, room=room)
    page.y = HIGH - EDGE - CODE_SIDE + 2
    page.rule(width=0.8)


def _verdict(page: _Page, told: Words) -> None:
    page.y -= 5.4
    page.y -= page.lines(EDGE, told.verdict, size=11 * page.small, bold=True, room=ROOM)
    for one in told.misfits:
        page.y -= 4.6 * page.small
        page.y -= page.lines(EDGE, one, size=9 * page.small, bold=True, room=ROOM)
    for one in told.doubts:
        page.y -= 4.6 * page.small
        page.y -= page.lines(EDGE, one, size=9 * page.small, room=ROOM)


def _section(page: _Page, heading: str, lines: list[Line]) -> None:
    page.y -= 7.2 * page.small
    page.text(EDGE, heading, size=10 * page.small, bold=True)
    page.y -= 1.4
    page.rule()
    for line in lines:
        page.y -= 4.6 * page.small
        size = 8.5 * page.small
        mark = "!  " if line.is_short else ""
        down = [
            page.lines(EDGE, mark + line.name, size=size, room=NAME - 2, bold=line.is_short),
            page.lines(EDGE + NAME, line.shown, size=size, bold=line.is_known, room=VALUE - 2),
            page.lines(EDGE + NAME + VALUE, line.why, size=6.8 * page.small, room=ROOM - NAME - VALUE, most=6),
        ]
        page.y -= max(down)


def _foot(page: _Page, told: Words, address: str) -> None:
    page.y = CAUTIONS_AT_FOOT + 14
    for row in SIGN_OFF:
        for number, name in enumerate(_(one) for one in row):
            x = EDGE + number * ROOM / 2
            page.text(x, name, size=8)
            wide = paper.width(name, PLAIN, 8) + 2
            page.canvas.line((x + wide) * mm, (page.y - 0.8) * mm, (x + ROOM / 2 - 6) * mm, (page.y - 0.8) * mm)
        page.y -= 7
    page.y = CAUTIONS_AT_FOOT - 2
    page.rule()
    page.y -= 4
    page.text(EDGE, _("Safe work"), size=8, bold=True)
    for one in (*told.cautions, _(ESTIMATES)):
        page.y -= 3.5
        page.y -= page.lines(EDGE, one, size=7, room=ROOM, most=2)
    page.canvas.setFont(PLAIN, 6.5)
    page.canvas.drawString(EDGE * mm, 7 * mm, paper.cut(address, PLAIN, 6.5, ROOM - 30))
    page.canvas.drawRightString((WIDE - EDGE) * mm, 7 * mm, _("set-up sheet"))
