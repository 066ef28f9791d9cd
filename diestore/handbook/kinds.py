"""PURE. The kinds of component in a progressive die: what each is for, and what can be done to it.

Meanings are common practice, no source. That a lower edge commonly needs grinding only a half to a third as often as
its punch: "Sharpening for a longer life", The Fabricator (trade article).
"""

from __future__ import annotations

import difflib
from dataclasses import dataclass

from diestore.texts import gettext
from diestore.texts import gettext_noop as _


class UnknownKind(LookupError):
    """No such kind; the message names near ones."""


@dataclass(frozen=True, kw_only=True)
class Kind:
    """A kind of component.

    key: as stored. english: as written in files, and `plural` of several. side: where it usually sits, upper or
    lower. cuts: it carries an edge that goes dull. is_ground: grinding renews it. measured_against_limit: it is
    replaced when a measure has passed a limit. only_inspected: looked at, and changed when broken or tired; a kind
    that cuts is never only inspected. shape: how the plan view draws it: round, section, form, pin, spring, guide,
    plate. As pages show them, in the language of whoever looks: name, meaning.
    """

    key: str
    english: str
    plural: str
    purpose: str
    side: str
    cuts: bool = False
    is_ground: bool = False
    measured_against_limit: bool = False
    only_inspected: bool = False
    shape: str = "plate"

    @property
    def name(self) -> str:
        return gettext(self.english)

    @property
    def meaning(self) -> str:
        return gettext(self.purpose)


def _key(text: str) -> str:
    return "_".join(text.strip().lower().replace("-", " ").replace("_", " ").split())


def _cutter(name: str, plural: str, purpose: str, side: str = "upper", shape: str = "section") -> Kind:
    return _kind(name, plural, purpose, side, shape, cuts=True, is_ground=True)


def _measured(name: str, plural: str, purpose: str, side: str, shape: str, *, is_ground: bool = False) -> Kind:
    return _kind(name, plural, purpose, side, shape, is_ground=is_ground, measured_against_limit=True)


def _inspected(name: str, plural: str, purpose: str, side: str, shape: str) -> Kind:
    return _kind(name, plural, purpose, side, shape, only_inspected=True)


def _kind(name: str, plural: str, purpose: str, side: str, shape: str, **treatment: bool) -> Kind:
    return Kind(key=_key(name), english=name, plural=plural, purpose=purpose, side=side, shape=shape, **treatment)


_ALL = (
    _cutter(_("pierce punch"), _("pierce punches"), _("Cuts a hole; the slug falls away."), shape="round"),
    _cutter(
        _("pilot pierce punch"),
        _("pilot pierce punches"),
        _("Cuts the hole that the pilots find."),
        shape="round",
    ),
    _cutter(_("shape punch"), _("shape punches"), _("Cuts a hole that is not round.")),
    _cutter(_("notch punch"), _("notch punches"), _("Cuts a piece out of the strip's edge.")),
    _cutter(_("trim punch"), _("trim punches"), _("Cuts the part's outline free of the strip.")),
    _cutter(_("cut-off punch"), _("cut-off punches"), _("Cuts the finished part off the strip.")),
    _cutter(
        _("semi-pierce punch"),
        _("semi-pierce punches"),
        _("Cuts only partly through and pushes a stud out."),
        shape="round",
    ),
    _cutter(
        _("die button"),
        _("die buttons"),
        _("Bushing in the die whose bore is the lower edge of a round cut."),
        "lower",
        "round",
    ),
    _cutter(_("die section"), _("die sections"), _("Block of the die that carries lower edges."), "lower"),
    _measured(
        _("forming punch"),
        _("forming punches"),
        _("Bends or draws, without cutting."),
        "upper",
        "form",
        is_ground=True,
    ),
    _measured(
        _("forming block"),
        _("forming blocks"),
        _("What the forming punch bends against."),
        "lower",
        "form",
        is_ground=True,
    ),
    _measured(_("pilot"), _("pilots"), _("Pin that finds a pierced hole and sets the strip's place."), "upper", "pin"),
    _inspected(_("knockout"), _("knockouts"), _("Pushes the part or slug out."), "upper", "pin"),
    _inspected(_("lifter"), _("lifters"), _("Lifts the strip so that it can move on."), "lower", "pin"),
    _inspected(
        _("oil breaker"),
        _("oil breakers"),
        _("Sprung pin that breaks the oil film, so that the part drops off the punch."),
        "upper",
        "pin",
    ),
    _measured(
        _("stripper plate"),
        _("stripper plates"),
        _("Holds the strip down and pulls it off the punches."),
        "upper",
        "plate",
    ),
    _measured(_("stripper spring"), _("stripper springs"), _("Gives the stripper plate its force."), "upper", "spring"),
    _measured(_("gas spring"), _("gas springs"), _("Pushes stripper or pad by gas under pressure."), "upper", "spring"),
    _measured(_("guide post"), _("guide posts"), _("Post that keeps the halves of the die in line."), "lower", "guide"),
    _measured(_("bushing"), _("bushings"), _("Sleeve that runs on the guide post."), "upper", "guide"),
    _measured(_("roller cage"), _("roller cages"), _("Balls or rollers between post and bushing."), "upper", "guide"),
    _measured(_("stock guide"), _("stock guides"), _("Rail that guides the strip sideways."), "lower", "plate"),
    _measured(
        _("stop block"),
        _("stop blocks"),
        _("Block that keeps the halves from closing too far."),
        "lower",
        "plate",
    ),
    _inspected(_("punch holder"), _("punch holders"), _("Plate that the punches sit in."), "upper", "plate"),
    _inspected(
        _("backing plate"),
        _("backing plates"),
        _("Hard plate behind the punches that takes their thrust."),
        "upper",
        "plate",
    ),
)

KINDS: dict[str, Kind] = {kind.key: kind for kind in _ALL}
SHAPES = frozenset(kind.shape for kind in _ALL)

_RUN_TOGETHER = {key.replace("_", ""): kind for key, kind in KINDS.items()}


def plural_of(key: str) -> str:
    """All pieces of a kind in a word, as pages show it: guide posts, bushings, pilot pierce punches."""
    return gettext(KINDS[key].plural)


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
    wrong = gettext("{text!r} is not a kind of component.").format(text=str(text)[:60])
    if near:
        names = gettext(" or ").join(KINDS[k].name for k in near)
        wrong += gettext(" Did you mean {names}?").format(names=names)
    raise UnknownKind(wrong)
