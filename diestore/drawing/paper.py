"""PDF by reportlab: letters of every alphabet, codes, words that fit. Lengths in mm from the paper's left and foot."""

from __future__ import annotations

from functools import cache
from pathlib import Path

import segno
from reportlab.lib.units import mm
from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFont
from reportlab.pdfgen.canvas import Canvas

QUIET = 4  # modules of white around a code: ISO/IEC 18004, clause on the quiet zone
WIDE, HIGH = 210.0, 297.0  # A4
PLAIN, BOLD = "label", "label-bold"
POINT_MM = 0.3528


@cache
def fonts() -> None:
    """Letters of every alphabet that a shop may name things in, from what draws the plots."""
    from matplotlib import get_data_path

    folder = Path(get_data_path()) / "fonts" / "ttf"
    pdfmetrics.registerFont(TTFont(PLAIN, folder / "DejaVuSans.ttf"))
    pdfmetrics.registerFont(TTFont(BOLD, folder / "DejaVuSans-Bold.ttf"))


def code(canvas: Canvas, address: str, left: float, bottom: float, side: float) -> None:
    """A QR code with its white around it, in a square of that side."""
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


def width(text: str, font: str, size: float) -> float:
    return pdfmetrics.stringWidth(text, font, size) / mm


def cut(text: str, font: str, size: float, room: float) -> str:
    """The text, or its beginning with an ellipsis where there is no room for all of it."""
    if width(text, font, size) <= room:
        return text
    while text and width(text + "…", font, size) > room:
        text = text[:-1]
    return text + "…"


def wrapped(text: str, size: float, room: float, font: str = PLAIN) -> list[str]:
    """Lines of whole words; a word that is longer than a line is cut."""
    lines: list[str] = []
    for word in text.split():
        longer = f"{lines[-1]} {word}" if lines else word
        if lines and width(longer, font, size) <= room:
            lines[-1] = longer
        else:
            lines.append(cut(word, font, size, room))
    return lines


class Page:
    """An A4 canvas with a place from which on nothing is written yet, downwards. edge: white on each side."""

    def __init__(self, canvas: Canvas, *, edge: float) -> None:
        self.canvas, self.edge, self.y, self.number = canvas, edge, HIGH - edge, 1

    def text(
        self, x: float, words: str, *, size: float = 9, bold: bool = False, room: float | None = None,
        right: bool = False,
    ) -> None:  # fmt: skip
        """From x on, or up to it (right); cut where there is not room for all of it."""
        font = BOLD if bold else PLAIN
        self.canvas.setFont(font, size)
        words = words if room is None else cut(words, font, size, room)
        draw = self.canvas.drawRightString if right else self.canvas.drawString
        draw(x * mm, self.y * mm, words)

    def rule(self, *, y: float | None = None, x: float | None = None, room: float | None = None,
             width: float = 0.3) -> None:  # fmt: skip
        """A line across, here and from edge to edge where nothing else is said."""
        y, x = self.y if y is None else y, self.edge if x is None else x
        room = WIDE - 2 * self.edge if room is None else room
        self.canvas.setLineWidth(width)
        self.canvas.line(x * mm, y * mm, (x + room) * mm, y * mm)

    def turn(self) -> None:
        """On to the next page."""
        self.canvas.showPage()
        self.number += 1
        self.y = HIGH - self.edge - 4
