"""PURE. The kinds of component in a progressive die: what each is for, and what can be done to it."""

from __future__ import annotations

import difflib
from dataclasses import dataclass


class UnknownKind(LookupError):
    """No such kind; the message names near ones."""


@dataclass(frozen=True, kw_only=True)
class Kind:
    key: str
    name: str
    meaning: str
    side: str  # where it usually sits: upper or lower
    cuts: bool = False
    is_ground: bool = False
    measured_against_limit: bool = False
    only_inspected: bool = False
    shape: str = "plate"


def _cutter(name: str, meaning: str, side: str = "upper", shape: str = "section") -> Kind:
    return Kind(key=_key(name), name=name, meaning=meaning, side=side, cuts=True, is_ground=True, shape=shape)


def _key(text: str) -> str:
    return "_".join(text.strip().lower().replace("-", " ").replace("_", " ").split())


_ALL = (
    _cutter("pierce punch", "Cuts a hole; the slug falls away.", shape="round"),
    _cutter("pilot pierce punch", "Cuts the hole that the pilots find.", shape="round"),
    _cutter("shape punch", "Cuts a hole that is not round."),
    _cutter("notch punch", "Cuts a piece out of the strip's edge."),
    _cutter("trim punch", "Cuts the part's outline free of the strip."),
    _cutter("cut-off punch", "Cuts the finished part off the strip."),
    _cutter("semi-pierce punch", "Cuts partly through and pushes a stud out.", shape="round"),
    _cutter("die button", "Bushing in the die whose bore is the lower edge of a round cut.", "lower", "round"),
    _cutter("die section", "Block of the die that carries lower edges.", "lower"),
    Kind(key="forming_punch", name="forming punch", meaning="Bends or draws, without cutting.", side="upper",
         is_ground=True, measured_against_limit=True, shape="form"),
    Kind(key="forming_block", name="forming block", meaning="What the forming punch bends against.", side="lower",
         is_ground=True, measured_against_limit=True, shape="form"),
    Kind(key="pilot", name="pilot", meaning="Pin that finds a pierced hole and sets the strip's place.", side="upper",
         measured_against_limit=True, shape="pin"),
    Kind(key="knockout", name="knockout", meaning="Pushes the part or slug out.", side="upper", only_inspected=True,
         shape="pin"),
    Kind(key="lifter", name="lifter", meaning="Lifts the strip so that it can move on.", side="lower",
         only_inspected=True, shape="pin"),
    Kind(key="oil_breaker", name="oil breaker",
         meaning="Sprung pin that breaks the oil film, so that the part drops off the punch.", side="upper",
         only_inspected=True, shape="pin"),
    Kind(key="stripper_plate", name="stripper plate", meaning="Holds the strip down and pulls it off the punches.",
         side="upper", measured_against_limit=True),
    Kind(key="stripper_spring", name="stripper spring", meaning="Gives the stripper plate its force.", side="upper",
         measured_against_limit=True, shape="spring"),
    Kind(key="guide_post", name="guide post", meaning="Post that keeps the halves of the die in line.", side="lower",
         measured_against_limit=True, shape="guide"),
    Kind(key="bushing", name="bushing", meaning="Sleeve that runs on the guide post.", side="upper",
         measured_against_limit=True, shape="guide"),
    Kind(key="roller_cage", name="roller cage", meaning="Balls or rollers between post and bushing.", side="upper",
         measured_against_limit=True, shape="guide"),
    Kind(key="stock_guide", name="stock guide", meaning="Rail that guides the strip sideways.", side="lower",
         measured_against_limit=True),
    Kind(key="stop_block", name="stop block", meaning="Block that keeps the halves from closing too far.",
         side="lower", only_inspected=True),
    Kind(key="punch_holder", name="punch holder", meaning="Plate that the punches sit in.", side="upper",
         only_inspected=True),
    Kind(key="backing_plate", name="backing plate", meaning="Hard plate behind the punches that takes their thrust.",
         side="upper", only_inspected=True),
)  # fmt: skip

KINDS: dict[str, Kind] = {kind.key: kind for kind in _ALL}


def kind(text: str) -> Kind:
    """The kind of that key or name; case, spaces, hyphens and underscores do not matter."""
    key = _key(text)
    if key in KINDS:
        return KINDS[key]
    by_plain = {_key(k.name): k for k in _ALL}
    if key in by_plain:
        return by_plain[key]
    near = difflib.get_close_matches(key, KINDS, n=3)
    hint = f" Did you mean {' or '.join(KINDS[k].name for k in near)}?" if near else ""
    raise UnknownKind(f"{text!r} is not a kind of component.{hint}")
