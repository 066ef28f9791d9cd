"""Sheets of labels as PDF: the code on the left, what it is in words beside it."""

from __future__ import annotations

import io
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import segno
from reportlab.lib.units import mm
from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFont
from reportlab.pdfgen.canvas import Canvas

from .sheets import Sheet

EDGE_MM = 2.5  # printers shift a sheet by a millimetre or two
QUIET = 4  # modules of white around a code: ISO/IEC 18004, clause on the quiet zone
PLAIN, BOLD = "label", "label-bold"


@dataclass(frozen=True)
class Label:
    """address: what the code opens. code: large. lines: small, below."""

    address: str
    code: str
    lines: tuple[str, ...] = ()


@cache
def _fonts() -> None:
    """Letters of every alphabet that a shop may name things in, from what draws the plots."""
    from matplotlib import get_data_path

    folder = Path(get_data_path()) / "fonts" / "ttf"
    pdfmetrics.registerFont(TTFont(PLAIN, folder / "DejaVuSans.ttf"))
    pdfmetrics.registerFont(TTFont(BOLD, folder / "DejaVuSans-Bold.ttf"))


def sheets(labels: Sequence[Label], sheet: Sheet, *, first: int = 1, title: str = "") -> bytes:
    """The PDF. first: the place on the first sheet, counted from 1 along the rows, from which on it is unused."""
    _fonts()
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
    _code(canvas, label.address, left + EDGE_MM, top - (sheet.height + side) / 2, side)
    x = left + EDGE_MM + side + 1.5
    room = left + sheet.width - EDGE_MM - x
    size = min(_fitting(label.code, BOLD, room, 0.3 * sheet.height / 0.3528), 20)
    y = top - EDGE_MM - 0.35 * side * 0.4 - size * 0.3528
    canvas.setFont(BOLD, size)
    canvas.drawString(x * mm, y * mm, _cut(label.code, BOLD, size, room))
    small = max(min(0.2 * sheet.height, 9), 5)
    for line in [piece for text in label.lines for piece in _wrapped(text, small, room)]:
        y -= small * 0.3528 * 1.35
        if y < top - sheet.height + EDGE_MM:
            break
        canvas.setFont(PLAIN, small)
        canvas.drawString(x * mm, y * mm, line)


def _code(canvas: Canvas, address: str, left: float, bottom: float, side: float) -> None:
    matrix = [bytes(row) for row in segno.make(address, error="m", micro=False).matrix]
    module = side / (len(matrix) + 2 * QUIET)
    path = canvas.beginPath()
    for row, bits in enumerate(matrix):
        for column, dark in enumerate(bits):
            if dark:
                x = left + (column + QUIET) * module
                y = bottom + (len(matrix) - 1 - row + QUIET) * module
                path.rect(x * mm, y * mm, module * mm, module * mm)
    canvas.setFillGray(0)
    canvas.drawPath(path, stroke=0, fill=1)


def _fitting(text: str, font: str, room: float, most: float) -> float:
    wide = pdfmetrics.stringWidth(text, font, 1) / mm
    return max(min(most, 0.99 * room / wide if wide else most), 6)


def _cut(text: str, font: str, size: float, room: float) -> str:
    if pdfmetrics.stringWidth(text, font, size) / mm <= room:
        return text
    while text and pdfmetrics.stringWidth(text + "…", font, size) / mm > room:
        text = text[:-1]
    return text + "…"


def _wrapped(text: str, size: float, room: float) -> list[str]:
    lines: list[str] = []
    for word in text.split():
        longer = f"{lines[-1]} {word}" if lines else word
        if lines and pdfmetrics.stringWidth(longer, PLAIN, size) / mm <= room:
            lines[-1] = longer
        else:
            lines.append(_cut(word, PLAIN, size, room))
    return lines
