"""PURE. A gap as the toolroom types it: in mm, in inches or in % of the thickness, a side or in all.

What is kept is the gap per side in mm. A drawing, a punch maker's chart and a toolmaker each mean something else by
"9", so the unit that is meant is always said; where the text brings its own unit, that one counts.
"""

from __future__ import annotations

import re
from enum import StrEnum

from diestore import units

from .cutting import CuttingError, PerSide, Total

EXACT = 9  # decimals of a mm kept of a share of the thickness: 9 % of 1.2 mm is 0.108, not 0.10799999999999998


class GapMeant(StrEnum):
    """What a bare number is."""

    PERCENT_A_SIDE = "% a side"
    PERCENT_IN_ALL = "% in all"
    MM_A_SIDE = "mm a side"
    MM_IN_ALL = "mm in all"
    INCH_A_SIDE = "in a side"
    INCH_IN_ALL = "in in all"

    @property
    def unit(self) -> str:
        return self.value.partition(" ")[0]

    @property
    def in_all(self) -> bool:
        return self.value.endswith("in all")


_BOTH = re.compile(r"\s*\b(?:in all|total|both sides|on the diameter|on dia\.?)\s*$", re.IGNORECASE)
_ONE = re.compile(r"\s*(?:/|\bper\b|\ba\b|\beach\b)\s*side\s*$", re.IGNORECASE)


def gap_mm(text: str, meant: GapMeant | str, thickness_mm: float) -> float:
    """A typed gap as mm per side.

    text: "9", "9 %", "0.108 mm", "0,108", "0.0043 in", "4.3 thou", "18 % in all". meant: what a bare number is, and
    whether it is a side or in all where the text does not say. thickness_mm: of the stock, for %.

    Raises units.UnitError or CuttingError, with a sentence.
    """
    meant = GapMeant(meant)
    in_all = meant.in_all
    if _BOTH.search(text):
        text, in_all = _BOTH.sub("", text), True
    elif _ONE.search(text):
        text, in_all = _ONE.sub("", text), False
    bare = text.strip()
    if bare.endswith("%"):
        return of_percent(units.number(bare[:-1]), thickness_mm, in_all=in_all)
    if meant.unit == "%" and bare and not bare[-1].isalpha() and bare[-1] not in "\"'″′":
        return of_percent(units.number(bare), thickness_mm, in_all=in_all)
    system = units.System.INCH if meant.unit == "in" else units.System.METRIC
    if meant.unit == "in" and bare and bare[-1].isdigit():
        bare = f"{bare} in"  # a bare number is inches here, and not thousandths
    value = units.parse(bare, "length_mm", system).value
    side = Total(value).per_side() if in_all else PerSide(value)
    return side.mm


def of_percent(percent: float, thickness_mm: float, *, in_all: bool = False) -> float:
    """% of the thickness, a side or in all, as mm per side. Raises CuttingError beyond 0 to 100."""
    side = Total.of_percent(percent, thickness_mm).per_side() if in_all else PerSide.of_percent(percent, thickness_mm)
    return round(side.mm, EXACT)


def percent_of(gap: float, thickness_mm: float) -> float:
    """mm per side as % of the thickness, per side, to a thousandth of a per cent."""
    return round(PerSide(gap).percent_of(thickness_mm), 3)


__all__ = ["CuttingError", "GapMeant", "gap_mm", "of_percent", "percent_of"]
