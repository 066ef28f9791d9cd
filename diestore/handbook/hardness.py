"""PURE. Hardness and tensile strength of steel, by published tables with straight lines between.

Tables: HRB, and HRC from 40 on: ASTM A370-03a, tables 2 and 3, as reproduced in a one-page conversion sheet (2015); the
copy marks some HRB values as outside the standard's own table. HRC 20 to 39: SAE J417 (1983), from memory; it meets the
other at 40, and printed charts lie within 3 % of it.

Limits: carbon and alloy steel, even through the section. Not for austenitic stainless, cold-worked or case-hardened
steel, nor for other metals; not for tool steel at working hardness above 59 HRC. ISO 18265:2013 calls tensile strength
its least reliable converted value: charts differ by 2 to 3 ksi (14 to 21 MPa). A conversion is no certificate.
"""

from __future__ import annotations

import math
import numbers
import re
from bisect import bisect_left
from collections.abc import Mapping
from dataclasses import dataclass

from .sources import Span

# fmt: off
HRC_TO_MPA: Mapping[int, int] = {
    20: 760, 21: 770, 22: 785, 23: 805, 24: 825, 25: 840, 26: 860, 27: 880, 28: 910, 29: 930, 30: 950, 31: 980,
    32: 1000, 33: 1025, 34: 1055, 35: 1080, 36: 1115, 37: 1160, 38: 1180, 39: 1215,
    40: 1250, 41: 1300, 42: 1340, 43: 1390, 44: 1430, 45: 1480, 46: 1520, 47: 1580, 48: 1640, 49: 1700, 50: 1760,
    51: 1820, 52: 1880, 53: 1950, 54: 2010, 55: 2070, 56: 2160, 57: 2240, 58: 2330, 59: 2420,
}
HRB_TO_MPA: Mapping[int, int] = {
    72: 435, 73: 440, 74: 450, 75: 455, 76: 460, 77: 470, 78: 475, 79: 485, 80: 495, 81: 505, 82: 530, 83: 550, 84: 560,
    85: 565, 86: 570, 87: 580, 88: 590, 89: 605, 90: 615, 91: 620, 92: 635, 93: 650, 94: 675, 95: 690, 96: 705,
    97: 715, 98: 750, 99: 785, 100: 800,
}
# fmt: on
_TABLES = {"HRC": HRC_TO_MPA, "HRB": HRB_TO_MPA}


class HardnessOutside(ValueError):
    """A value beyond the table, or no number. The message names the table's ends; nothing is drawn out beyond them."""

    def __init__(self, what: str, value: object, low: float, high: float):
        super().__init__(f"{what} {value!r} lies outside the table, which goes from {low:g} to {high:g}.")
        self.value, self.low, self.high = value, low, high


def _between(what: str, value: float, xs: list[int], ys: list[int]) -> float:
    if (
        isinstance(value, bool)
        or not isinstance(value, numbers.Real)
        or not math.isfinite(value)
        or not xs[0] <= value <= xs[-1]
    ):
        raise HardnessOutside(what, value, xs[0], xs[-1])
    at = bisect_left(xs, value)
    if xs[at] == value:
        return float(ys[at])
    x0, x1, y0, y1 = xs[at - 1], xs[at], ys[at - 1], ys[at]
    return y0 + (y1 - y0) * (value - x0) / (x1 - x0)


def tensile_mpa(scale: str, hardness: float) -> float:
    """Tensile strength in MPa of steel of that hardness on scale "HRC" (20 to 59) or "HRB" (72 to 100).

    Raises HardnessOutside beyond the table, KeyError for another scale.
    """
    table = _TABLES[scale]
    return _between(scale, hardness, list(table), list(table.values()))


def hardness(scale: str, tensile: float) -> float:
    """Hardness on scale "HRC" or "HRB" of steel of that tensile strength in MPa; the reverse of `tensile_mpa`."""
    table = _TABLES[scale]
    return _between("A tensile strength in MPa of", tensile, list(table.values()), list(table))


# --- as people write it -----------------------------------------------------------------------------------------------

CHARTS_DIFFER_MPA = 21.0  # 3 ksi, by which printed charts differ
BRINELL_RULE = Span(low=0.96, high=1.04, source="half the Brinell number in ksi, within 4 %")
BRINELL = (100.0, 450.0)  # where the rule is taken for steel: common practice, no source
CAUTION = (
    "ISO 18265 calls tensile strength the least reliable value that it converts to, and it is for carbon and alloy "
    "steel alone. A certificate comes first."
)
_WRITTEN = re.compile(
    r"\s*(?:(?P<before>HRC|HRB|HBW?)\s*)?(?P<value>\d{1,3}(?:[.,]\d{1,2})?)\s*(?P<after>HRC|HRB|HBW?)?\s*", re.I
)
_KSI_MPA = 6.894757293168361  # NIST SP 811


@dataclass(frozen=True, kw_only=True)
class Estimate:
    """The tensile strength that a hardness stands for, with how far charts differ."""

    scale: str
    value: float
    tensile_mpa: Span

    @property
    def middle_mpa(self) -> float:
        return self.tensile_mpa.middle


def estimate(text: str) -> Estimate | None:
    """From a hardness as it is written, "82 HRB", "HRC 32", "229 HB"; None where it is on no scale held here.

    Raises HardnessOutside beyond the tables.
    """
    found = _WRITTEN.fullmatch(text[:40])
    if found is None or bool(found["before"]) == bool(found["after"]):
        return None
    scale = (found["before"] or found["after"]).upper().removesuffix("W")
    value = float(found["value"].replace(",", "."))
    if scale == "HB":
        if not BRINELL[0] <= value <= BRINELL[1]:
            raise HardnessOutside(scale, value, *BRINELL)
        middle = value / 2 * _KSI_MPA
        span = Span(low=middle * BRINELL_RULE.low, high=middle * BRINELL_RULE.high, source=BRINELL_RULE.source)
    else:
        middle = tensile_mpa(scale, value)
        low, high = middle - CHARTS_DIFFER_MPA, middle + CHARTS_DIFFER_MPA
        span = Span(low=low, high=high, source="ASTM A370-03a, tables 2 and 3; HRC below 40: SAE J417, from memory")
    return Estimate(scale=scale, value=value, tensile_mpa=span)
