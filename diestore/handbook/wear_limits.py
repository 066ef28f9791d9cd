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
    """at_si: the limit by itself, in SI. less_si: so much under the first reading. share: of the first reading."""

    words: str
    at_si: float | None = None
    less_si: float | None = None
    share: float | None = None
    source: str = NO_SOURCE

    def value_si(self, first_si: float) -> float:
        """The limit of a piece whose first reading was `first_si`."""
        if self.at_si is not None:
            return self.at_si
        if self.less_si is not None:
            return first_si - self.less_si
        return first_si * self.share


_GUIDE = WearLimit(words="clearance of 0.03 mm in the guide", at_si=30e-6)
_PILOT = WearLimit(words="0.02 mm under its first reading", less_si=20e-6)
_SPRING_LENGTH = WearLimit(words="3 % shorter than at its first reading", share=0.97)
_SPRING_FORCE = WearLimit(words="a tenth of the force of its first reading lost", share=0.9)
_PLATE = WearLimit(words="clearance of 0.05 mm", at_si=50e-6)
_FORM = WearLimit(words="0.05 mm worn away", at_si=50e-6)
_RAIL = WearLimit(words="0.2 mm worn away", at_si=200e-6)

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


def wear_limit(kind: str, quantity: str) -> WearLimit | None:
    """The customary limit of a quantity at a kind of component; None where there is none to name."""
    return _LIMITS.get((kind, " ".join(quantity.casefold().replace("_", " ").split())))


_FALL = {"diameter", "length", "free length", "height", "spring force"}
_RISE = {"bore clearance", "guide clearance", "gap", "wear"}


def falls(quantity: str) -> bool | None:
    """Whether a piece wears by this getting less; None for what has no name here."""
    name = " ".join(quantity.casefold().replace("_", " ").split())
    return True if name in _FALL else False if name in _RISE else None
