"""PURE. What the price of a new tool is made of, so that a shop can keep prices of its own by element.

The elements are common practice, no source. No price stands here: each shop has its own.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from diestore.texts import gettext
from diestore.texts import gettext_noop as _  # translated where it is shown

from .tool_steels import COATINGS, coating, grade

STEELS = ("A2", "D2", "M2", "PM", "carbide")
ANOTHER = "another"
WAYS_AT_MOST, YEARS_AT_MOST = 5, 20  # of a tool that is outlined
GUIDES = {"plain": _("plain guides"), "roller": _("roller guides")}
STRIPPERS = {"fixed": _("fixed stripper"), "spring": _("spring stripper")}
DIE_SIDES = {"solid": _("solid die plate"), "inserts": _("die side of inserts")}
PIECES = {
    "A2": _("punch or die piece, A2"),
    "D2": _("punch or die piece, D2"),
    "M2": _("punch or die piece, M2"),
    "PM": _("punch or die piece, powder steel"),
    "carbide": _("punch or die piece, carbide"),
    ANOTHER: _("punch or die piece, another"),
}
COATED = {
    "TiN": _("coating TiN on a punch"),
    "TiCN": _("coating TiCN on a punch"),
    "AlCrN": _("coating AlCrN on a punch"),
    ANOTHER: _("coating another on a punch"),
}


@dataclass(frozen=True, kw_only=True)
class Element:
    """unit: what it is priced by: tool, cutting place, mm of cut, or piece (each place has two: punch and die side)."""

    key: str
    words: str
    unit: str


ELEMENTS: dict[str, Element] = {
    one.key: one
    for one in (
        Element(key="design", words=_("design and try-out"), unit=_("tool")),
        Element(key="die set", words=_("die set and plates"), unit="tool"),
        *(Element(key=words, words=words, unit="tool") for words in (*GUIDES.values(), *STRIPPERS.values())),
        Element(key="place", words=_("cutting place, machined and fitted"), unit=_("cutting place")),
        Element(
            key="insert", words=_("insert in the die side, more than in a solid plate"), unit="cutting place"
        ),
        Element(key="cut", words=_("contour that cuts, both sides"), unit=_("mm of cut")),
        *(
            Element(key=f"piece {name}", words=PIECES[name], unit=_("piece"))
            for name in (*STEELS, ANOTHER)
        ),
        *(
            Element(key=f"coat {name}", words=COATED[name], unit="piece")
            for name in (*(name for name in COATINGS if name != "none"), ANOTHER)
        ),
    )
}  # fmt: skip


class NoPrice(LookupError):
    """Elements that the price list says nothing of; the message names them."""

    def __init__(self, keys: list[str]) -> None:
        self.keys = keys
        told = gettext("The price list has no price of: {elements}.")
        super().__init__(told.format(elements=", ".join(gettext(ELEMENTS[key].words) for key in keys)))


@dataclass(frozen=True, kw_only=True)
class Build:
    """What of a way of building counts for its price. places: cutting places; cut_mm: their contours together."""

    places: int
    cut_mm: float
    steel: str
    steel_below: str
    coating: str
    guides: str
    stripper: str
    die_side: str


def steel_key(name: str) -> str:
    known = grade(name)
    group = known.group if known else ANOTHER
    return f"piece {group if group in STEELS else ANOTHER}"


def coat_key(name: str) -> str:
    """Empty: bare."""
    known = coating(name)
    return "" if known == "none" else f"coat {known if known in COATINGS else ANOTHER}"


def counted(build: Build) -> dict[str, float]:
    """How much of each element is in the tool: tools, places, mm, pieces."""
    made: dict[str, float] = {"design": 1, "die set": 1, GUIDES[build.guides]: 1, STRIPPERS[build.stripper]: 1}
    made["place"] = build.places
    if build.die_side == "inserts":
        made["insert"] = build.places
    if build.cut_mm:
        made["cut"] = build.cut_mm
    for key in (steel_key(build.steel), steel_key(build.steel_below), coat_key(build.coating)):
        if key:
            made[key] = made.get(key, 0) + build.places
    return made


def piece_key_and_coat(steel: str, coat: str) -> list[str]:
    """Elements that a piece of the die is made of, and a spare for it."""
    return [key for key in (steel_key(steel), coat_key(coat)) if key]


def missing(needed: Mapping[str, float], prices: Mapping[str, object]) -> list[str]:
    return [key for key in ELEMENTS if needed.get(key) and key not in prices]
