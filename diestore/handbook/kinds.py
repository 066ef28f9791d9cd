"""PURE. The kinds of component in a progressive die: what each is for, and what can be done to it.

Meanings are common practice, no source. That a lower edge commonly needs grinding only a half to a third as often as
its punch: "Sharpening for a longer life", The Fabricator (trade article).
"""

from __future__ import annotations

import difflib
from dataclasses import dataclass


class UnknownKind(LookupError):
    """No such kind; the message names near ones."""


@dataclass(frozen=True, kw_only=True)
class Kind:
    """A kind of component.

    key: as stored. name: as written in files and on pages. side: where it usually sits, upper or lower. cuts: it
    carries an edge that goes dull. is_ground: grinding renews it. measured_against_limit: it is replaced when a
    measure has passed a limit. only_inspected: looked at, and changed when broken or tired; a kind that cuts is never
    only inspected. shape: how the plan view draws it: round, section, form, pin, spring, guide, plate.
    """

    key: str
    name: str
    meaning: str
    side: str
    cuts: bool = False
    is_ground: bool = False
    measured_against_limit: bool = False
    only_inspected: bool = False
    shape: str = "plate"


def _key(text: str) -> str:
    return "_".join(text.strip().lower().replace("-", " ").replace("_", " ").split())


def _cutter(name: str, meaning: str, side: str = "upper", shape: str = "section") -> Kind:
    return Kind(key=_key(name), name=name, meaning=meaning, side=side, cuts=True, is_ground=True, shape=shape)


def _measured(name: str, meaning: str, side: str, shape: str, *, is_ground: bool = False) -> Kind:
    return Kind(
        key=_key(name),
        name=name,
        meaning=meaning,
        side=side,
        is_ground=is_ground,
        measured_against_limit=True,
        shape=shape,
    )


def _inspected(name: str, meaning: str, side: str, shape: str) -> Kind:
    return Kind(key=_key(name), name=name, meaning=meaning, side=side, only_inspected=True, shape=shape)


_ALL = (
    _cutter("pierce punch", "Cuts a hole; the slug falls away.", shape="round"),
    _cutter("pilot pierce punch", "Cuts the hole that the pilots find.", shape="round"),
    _cutter("shape punch", "Cuts a hole that is not round."),
    _cutter("notch punch", "Cuts a piece out of the strip's edge."),
    _cutter("trim punch", "Cuts the part's outline free of the strip."),
    _cutter("cut-off punch", "Cuts the finished part off the strip."),
    _cutter("semi-pierce punch", "Cuts only partly through and pushes a stud out.", shape="round"),
    _cutter("die button", "Bushing in the die whose bore is the lower edge of a round cut.", "lower", "round"),
    _cutter("die section", "Block of the die that carries lower edges.", "lower"),
    _measured("forming punch", "Bends or draws, without cutting.", "upper", "form", is_ground=True),
    _measured("forming block", "What the forming punch bends against.", "lower", "form", is_ground=True),
    _measured("pilot", "Pin that finds a pierced hole and sets the strip's place.", "upper", "pin"),
    _inspected("knockout", "Pushes the part or slug out.", "upper", "pin"),
    _inspected("lifter", "Lifts the strip so that it can move on.", "lower", "pin"),
    _inspected(
        "oil breaker", "Sprung pin that breaks the oil film, so that the part drops off the punch.", "upper", "pin"
    ),
    _measured("stripper plate", "Holds the strip down and pulls it off the punches.", "upper", "plate"),
    _measured("stripper spring", "Gives the stripper plate its force.", "upper", "spring"),
    _measured("gas spring", "Pushes stripper or pad by gas under pressure.", "upper", "spring"),
    _measured("guide post", "Post that keeps the halves of the die in line.", "lower", "guide"),
    _measured("bushing", "Sleeve that runs on the guide post.", "upper", "guide"),
    _measured("roller cage", "Balls or rollers between post and bushing.", "upper", "guide"),
    _measured("stock guide", "Rail that guides the strip sideways.", "lower", "plate"),
    _measured("stop block", "Block that keeps the halves from closing too far.", "lower", "plate"),
    _inspected("punch holder", "Plate that the punches sit in.", "upper", "plate"),
    _inspected("backing plate", "Hard plate behind the punches that takes their thrust.", "upper", "plate"),
)

KINDS: dict[str, Kind] = {kind.key: kind for kind in _ALL}
SHAPES = frozenset(kind.shape for kind in _ALL)

_RUN_TOGETHER = {key.replace("_", ""): kind for key, kind in KINDS.items()}


def plural_of(key: str) -> str:
    """All pieces of a kind in a word: guide posts, bushings, pilot pierce punches."""
    name = KINDS[key].name
    return f"{name}es" if name.endswith(("ch", "sh", "s")) else f"{name}s"


def kind(text: str) -> Kind:
    """The kind of that key or name. Case, spaces, hyphens, underscores and a plural s do not matter.

    Raises UnknownKind, which names near ones.
    """
    key = _key(text) if isinstance(text, str) else ""
    run_together = key.replace("_", "")
    for word in (run_together, run_together.removesuffix("s"), run_together.removesuffix("es")):
        if word in _RUN_TOGETHER:
            return _RUN_TOGETHER[word]
    near = difflib.get_close_matches(key[:60], KINDS, n=3)
    hint = f" Did you mean {' or '.join(KINDS[k].name for k in near)}?" if near else ""
    raise UnknownKind(f"{str(text)[:60]!r} is not a kind of component.{hint}")
