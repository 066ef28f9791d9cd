"""PURE. How far pieces that do not cut may wear before they are changed, where the shop has set no limit of its own.

All of it is common practice, no source: a starting point that the toolroom replaces by its own figure, or by the
maker's. A limit stands by itself (a plate's clearance), against the piece's first reading (a spring's force), as nobody
writes down what it measured when new, or by the smallest gap per side that the die cuts with.

Guides and pilots are there to keep punch and die in line, so what they may lose goes by the gap and is not one figure
for all dies: out of line by a quarter of the gap on a side at most (common practice, no source; texts ask for about a
tenth of it for the whole die when it is built, from memory). A clearance in a guide is measured across, bore less post,
and half of it is what one side can shift: the limit across is twice the quarter. The same holds for the diameter of a
pilot. Where no gap is known there is no such limit.

Guides with ball or roller cages run preloaded, with less than no clearance: 0.0001 to 0.0021 in by make and size (trade
article on die-set guide components). Any clearance there is is worn out.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from . import gas_springs
from .sources import COMMON_PRACTICE

NO_SOURCE = COMMON_PRACTICE


@dataclass(frozen=True, kw_only=True)
class WearLimit:
    """at_si: the limit by itself, in SI. less_si: so much under the first reading. share: of the first reading.
    of_gap: where it is given, at_si and less_si are None here and follow from the die's gap, by `by_gap`.

    words: what it is, with {} for the amount, as each reader sees it in the own units.
    """

    words: str
    at_si: float | None = None
    less_si: float | None = None
    share: float | None = None
    of_gap: float | None = None
    falls: bool = False
    source: str = NO_SOURCE

    @property
    def amount_si(self) -> float | None:
        """What stands for {} in the words; None where they name no amount."""
        return self.less_si if self.at_si is None else self.at_si

    def by_gap(self, gap_mm: float | None) -> WearLimit | None:
        """The limit in a die whose smallest gap per side is that; None where it goes by a gap and none is known."""
        if self.of_gap is None:
            return self
        if gap_mm is None or not gap_mm > 0:
            return None
        amount_si = self.of_gap * gap_mm * 1e-3
        if self.falls:
            return replace(self, of_gap=None, less_si=amount_si)
        return replace(self, of_gap=None, at_si=amount_si)

    def value_si(self, first_si: float) -> float:
        """The limit of a piece whose first reading was `first_si`."""
        if self.at_si is not None:
            return self.at_si
        if self.less_si is not None:
            return first_si - self.less_si
        if self.share is not None:
            return first_si * self.share
        raise ValueError(f"{self.words!r} says no amount")


OUT_OF_LINE = 0.25  # of the gap, on a side
_ACROSS = 2 * OUT_OF_LINE  # of the gap, on a diameter
_GUIDE = WearLimit(words="clearance of {} across in the guide, half of the smallest gap", of_gap=_ACROSS)
_CAGE = WearLimit(words="any clearance: such a cage runs preloaded", at_si=0.0)
_PILOT = WearLimit(words="{} under its first reading, half of the smallest gap", of_gap=_ACROSS, falls=True)
_BLOCK = WearLimit(words="{} under its first reading, a quarter of the smallest gap", of_gap=OUT_OF_LINE, falls=True)
_BLOCK_WORN = WearLimit(words="{} worn away, a quarter of the smallest gap", of_gap=OUT_OF_LINE)
_SPRING_LENGTH = WearLimit(words="3 % shorter than at its first reading", share=0.97)
_SPRING_FORCE = WearLimit(words="a tenth of the force of its first reading lost", share=0.9)
_GAS = WearLimit(words="a tenth of the pressure that it was charged to lost", share=1 - gas_springs.LOST_AT_MOST)
_PLATE = WearLimit(words="clearance of {}", at_si=50e-6)
_FORM = WearLimit(words="{} worn away", at_si=50e-6)
_RAIL = WearLimit(words="{} worn away", at_si=200e-6)

_LIMITS: dict[tuple[str, str], WearLimit] = {
    **{(kind, name): _GUIDE for kind in ("bushing", "guide_post") for name in ("bore clearance", "guide clearance")},
    **{("roller_cage", name): _CAGE for name in ("bore clearance", "guide clearance")},
    ("stop_block", "height"): _BLOCK,
    ("stop_block", "length"): _BLOCK,
    ("stop_block", "wear"): _BLOCK_WORN,
    ("pilot", "diameter"): _PILOT,
    ("stripper_spring", "free length"): _SPRING_LENGTH,
    ("stripper_spring", "spring force"): _SPRING_FORCE,
    (gas_springs.KIND, gas_springs.PRESSURE): _GAS,
    (gas_springs.KIND, "spring force"): _SPRING_FORCE,
    ("stripper_plate", "bore clearance"): _PLATE,
    ("forming_punch", "wear"): _FORM,
    ("forming_block", "wear"): _FORM,
    ("stock_guide", "wear"): _RAIL,
}  # fmt: skip


# What may have a limit, the unit that the limit is kept in, and whether a piece wears by its getting less.
_MEASURED: dict[str, tuple[str, bool]] = {
    "bore clearance": ("mm", False),
    "guide clearance": ("mm", False),
    "gap": ("mm", False),
    "wear": ("mm", False),
    "diameter": ("mm", True),
    "length": ("mm", True),
    "free length": ("mm", True),
    "height": ("mm", True),
    "spring force": ("N", True),
    gas_springs.PRESSURE: ("MPa", True),
}
_IN_SI = {"mm": 1e-3, "N": 1.0, "MPa": 1e6}
_COLUMNS = {"mm": "clearance_mm", "N": "force_n", "MPa": "pressure_mpa"}
NAMES = tuple(_MEASURED)
UNKNOWN = f"Write one of: {', '.join(_MEASURED)}."


def named(quantity: str) -> str | None:
    """The name under which a limit of it is kept; None for what can have none."""
    name = " ".join(quantity.casefold().replace("_", " ").split())
    return name if name in _MEASURED else None


def limit_si(quantity: str, limit: float) -> float:
    """A limit as it is kept (lengths in mm, forces in N) in SI. Raises KeyError for what can have none."""
    unit, _ = _MEASURED[named(quantity) or quantity]
    return limit * _IN_SI[unit]


def column(quantity: str) -> str:
    """The column's name under which `units` shows and parses a limit. Raises KeyError for what can have none."""
    unit, _ = _MEASURED[named(quantity) or quantity]
    return _COLUMNS[unit]


def falls(quantity: str) -> bool | None:
    """Whether a piece wears by this getting less; None for what has no name here."""
    name = named(quantity)
    return None if name is None else _MEASURED[name][1]


def wear_limit(kind: str, quantity: str, *, gap_mm: float | None) -> WearLimit | None:
    """The customary limit of a quantity at a kind of component, in a die whose smallest gap per side is `gap_mm`.

    None where there is none to name: none is customary, or it goes by the gap and no gap is known.
    """
    name = named(quantity)
    known = None if name is None else _LIMITS.get((kind, name))
    return None if known is None else known.by_gap(gap_mm)


def goes_by_gap(kind: str, quantity: str) -> bool:
    """Whether the customary limit of it is a share of the gap."""
    known = _LIMITS.get((kind, named(quantity) or ""))
    return known is not None and known.of_gap is not None
