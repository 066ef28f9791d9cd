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
