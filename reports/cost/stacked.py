"""PURE. What a thousand parts cost, as one bar a die: its elements one behind the other, all bars on one scale."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

from diestore.texts import gettext, gettext_noop

ELEMENTS = (
    ("build", gettext_noop("building")),
    ("sharpening", gettext_noop("sharpening")),
    ("spares", gettext_noop("spares")),
    ("stop", gettext_noop("stops")),
    ("rest", gettext_noop("rest")),
)
WIDE = 180.0


@dataclass(frozen=True)
class Piece:
    css: str
    x: float
    width: float
    words: str


def pieces(amounts: Sequence[Decimal], most: Decimal) -> list[Piece]:
    """amounts: of each element, in their order; below nought where it is not known.
    most: of the dearest die whose cost is known; a bar ends there."""
    made, at = [], 0.0
    for (css, name), amount in zip(ELEMENTS, amounts, strict=True):
        width = WIDE * float(max(amount, Decimal(0)) / most) if most > 0 else 0.0
        width = min(width, WIDE - at)
        if width > 0:
            made.append(Piece(css, round(at, 1), round(width, 1), f"{gettext(name)} {amount:,.2f}"))
        at += width
    return made
