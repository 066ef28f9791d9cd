"""A document on A4 as the reports write them: headings, words, tables that go on over the page, a foot."""

from __future__ import annotations

from collections.abc import Sequence

from django.utils.translation import gettext as _
from reportlab.lib.units import mm
from reportlab.pdfgen.canvas import Canvas

from diestore.drawing import paper
from diestore.drawing.paper import BOLD, PLAIN, WIDE

EDGE, FOOT = 12.0, 16.0  # mm
ROOM = WIDE - 2 * EDGE
CODE_SIDE = 25.0


class ReportPage(paper.Page):
    """left: the words at the left of each foot, named: those before the number of the page."""

    def __init__(self, canvas: Canvas, *, left: str, named: str) -> None:
        super().__init__(canvas, edge=EDGE)
        self.left, self.named = left, named

    def room_for(self, high: float) -> bool:
        """Turned to the next page where this one has no room; whether it was."""
        if self.y - high >= FOOT:
            return False
        self.foot()
        self.turn()
        return True

    def foot(self) -> None:
        self.canvas.setFont(PLAIN, 6.5)
        self.canvas.drawString(EDGE * mm, 7 * mm, paper.cut(self.left, PLAIN, 6.5, ROOM - 40))
        self.canvas.drawRightString(
            (WIDE - EDGE) * mm, 7 * mm, _("{named}, page {number}").format(named=self.named, number=self.number)
        )

    def words(self, text: str, *, size: float = 8, bold: bool = False) -> None:
        step = size * paper.POINT_MM * 1.3
        for line in paper.wrapped(text, size, ROOM, BOLD if bold else PLAIN):
            self.room_for(step)
            self.y -= step
            self.text(EDGE, line, size=size, bold=bold)

    def heading(self, text: str, *, needs: float = 22) -> None:
        """needs: so much room, in mm, that what follows begins on the same page."""
        self.room_for(needs)
        self.y -= 8.5
        self.text(EDGE, text, size=11, bold=True)
        self.y -= 1.5

    def table(self, head: Sequence[str], rows: Sequence[Sequence[str]], wide: Sequence[float], *, left: int,
              last_bold: bool = False, size: float = 7.2) -> None:  # fmt: skip
        """Columns of that width in mm; the first `left` stand from their left, the others up to their right."""
        self._row(head, wide, left, bold=True, size=size)
        self.rule(y=self.y - 1.2, width=0.6)
        self.y -= 1.2
        for number, row in enumerate(rows):
            if self.room_for(10 if last_bold and number == len(rows) - 2 else 5):
                self.y -= 2
                self._row(head, wide, left, bold=True, size=size)
                self.rule(y=self.y - 1.2, width=0.6)
                self.y -= 1.2
            is_last = last_bold and number == len(rows) - 1
            if is_last:
                self.rule(y=self.y - 0.9, width=0.6)
                self.y -= 0.9
            self._row(row, wide, left, bold=is_last, size=size)

    def _row(self, cells: Sequence[str], wide: Sequence[float], left: int, *, bold: bool, size: float) -> None:
        self.y -= 4.2
        x = EDGE
        for number, (cell, room) in enumerate(zip(cells, wide, strict=True)):
            if number < left:
                self.text(x, cell, size=size, bold=bold, room=room - 1.5)
            else:
                self.text(
                    x + room, paper.cut(cell, BOLD if bold else PLAIN, size, room - 1), size=size, bold=bold, right=True
                )
            x += room
