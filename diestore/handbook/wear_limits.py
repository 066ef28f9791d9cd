"""PURE. How far pieces that do not cut may wear before they are changed, where the shop has set no limit of its own.

All of it is common practice, no source: a starting point that the toolroom replaces by its own figure, or by the
maker's. A limit stands either by itself (a clearance) or against the piece's first reading (a pilot's diameter, a
spring's force), as nobody writes down what it measured when new.
"""

from __future__ import annotations

from dataclasses import dataclass

NO_SOURCE = "common practice, no source"


@dataclass(frozen=True, kw_only=True)
class WearLimit:
    """at_si: the limit by itself, in SI. less_si: so much under the first reading. share: of the first reading.

    words: what it is, with {} for the amount, as each reader sees it in the own units.
    """

    words: str
    at_si: float | None = None
    less_si: float | None = None
    share: float | None = None
    source: str = NO_SOURCE

    @property
    def amount_si(self) -> float | None:
        """What stands for {} in the words; None where they name no amount."""
        return self.less_si if self.at_si is None else self.at_si

    def value_si(self, first_si: float) -> float:
        """The limit of a piece whose first reading was `first_si`."""
        if self.at_si is not None:
            return self.at_si
        if self.less_si is not None:
            return first_si - self.less_si
        if self.share is not None:
            return first_si * self.share
        raise ValueError(f"{self.words!r} says no amount")


_GUIDE = WearLimit(words="clearance of {} in the guide", at_si=30e-6)
_PILOT = WearLimit(words="{} under its first reading", less_si=20e-6)
_SPRING_LENGTH = WearLimit(words="3 % shorter than at its first reading", share=0.97)
_SPRING_FORCE = WearLimit(words="a tenth of the force of its first reading lost", share=0.9)
_PLATE = WearLimit(words="clearance of {}", at_si=50e-6)
_FORM = WearLimit(words="{} worn away", at_si=50e-6)
_RAIL = WearLimit(words="{} worn away", at_si=200e-6)

_LIMITS: dict[tuple[str, str], WearLimit] = {
    **{(kind, name): _GUIDE for kind in ("bushing", "guide_post", "roller_cage")
       for name in ("bore clearance", "guide clearance")},
    ("pilot", "diameter"): _PILOT,
    ("stripper_spring", "free length"): _SPRING_LENGTH,
    ("stripper_spring", "spring force"): _SPRING_FORCE,
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
}
_IN_SI = {"mm": 1e-3, "N": 1.0}
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
    return "clearance_mm" if unit == "mm" else "force_n"


def falls(quantity: str) -> bool | None:
    """Whether a piece wears by this getting less; None for what has no name here."""
    name = named(quantity)
    return None if name is None else _MEASURED[name][1]


def wear_limit(kind: str, quantity: str) -> WearLimit | None:
    """The customary limit of a quantity at a kind of component; None where there is none to name."""
    name = named(quantity)
    return None if name is None else _LIMITS.get((kind, name))
