"""Sheets of labels as PDF: the code on the left, what it is in words beside it."""

from __future__ import annotations

import io
from collections.abc import Sequence
from dataclasses import dataclass

from reportlab.lib.units import mm
from reportlab.pdfgen.canvas import Canvas

from diestore.drawing import paper
from diestore.drawing.paper import BOLD, PLAIN

from .sheets import Sheet

EDGE_MM = 2.5  # printers shift a sheet by a millimetre or two


@dataclass(frozen=True)
class Label:
    """address: what the code opens. code: large. lines: small, below."""

    address: str
    code: str
    lines: tuple[str, ...] = ()


def sheets(labels: Sequence[Label], sheet: Sheet, *, first: int = 1, title: str = "") -> bytes:
    """The PDF. first: the place on the first sheet, counted from 1 along the rows, from which on it is unused."""
    paper.fonts()
    out = io.BytesIO()
    canvas = Canvas(out, pagesize=(sheet.paper[0] * mm, sheet.paper[1] * mm), invariant=True)
    canvas.setTitle(title)
    page = 0
    for label, (at, left, top) in zip(labels, sheet.places(len(labels), first), strict=True):
        while page < at:
            canvas.showPage()
            page += 1
        _draw(canvas, label, sheet, left, sheet.paper[1] - top)
    canvas.save()
    return out.getvalue()


def _draw(canvas: Canvas, label: Label, sheet: Sheet, left: float, top: float) -> None:
    side = min(sheet.height - 2 * EDGE_MM, sheet.width * 0.42)
    paper.code(canvas, label.address, left + EDGE_MM, top - (sheet.height + side) / 2, side)
    x = left + EDGE_MM + side + 1.5
    room = left + sheet.width - EDGE_MM - x
    size = min(_fitting(label.code, BOLD, room, 0.3 * sheet.height / 0.3528), 20)
    y = top - EDGE_MM - 0.35 * side * 0.4 - size * 0.3528
    canvas.setFont(BOLD, size)
    canvas.drawString(x * mm, y * mm, paper.cut(label.code, BOLD, size, room))
    small = max(min(0.2 * sheet.height, 9), 5)
    for line in [piece for text in label.lines for piece in paper.wrapped(text, small, room)]:
        y -= small * 0.3528 * 1.35
        if y < top - sheet.height + EDGE_MM:
            break
        canvas.setFont(PLAIN, small)
        canvas.drawString(x * mm, y * mm, line)


def _fitting(text: str, font: str, room: float, most: float) -> float:
    wide = paper.width(text, font, 1)
    return max(min(most, 0.99 * room / wide if wide else most), 6)
