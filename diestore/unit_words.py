"""PURE. Sentences about units, for somebody who typed one that cannot be taken."""

from __future__ import annotations

from collections.abc import Iterable

from diestore.texts import gettext as _
from diestore.texts import gettext_noop

TWO_MEANINGS = {
    "ton": gettext_noop(
        "a ton can be a US ton (2,000 lbf), a long ton (2,240 lbf) or a tonne-force (9.807 kN); write which"
    ),
    "mil": gettext_noop("a mil is a thousandth of an inch to some and a millimetre to others; write thou or mm"),
}
TWO_MEANINGS |= {word + "s": sentence for word, sentence in TWO_MEANINGS.items()}
A_POUND = gettext_noop("a pound can be a weight or a force; write lbf for a force, lbm for a weight")


def unclear(text: str, why: str) -> str:
    return _("{text!r} is not clear: {why}.").format(text=text.strip(), why=_(why))


def listed(words: Iterable[str]) -> str:
    words = list(words)
    return _(" or ").join(", ".join(words).rsplit(", ", 1))


def not_alone(text: str, rest: str) -> str:
    return _("{text!r} is not a number alone: {rest!r} stands behind it.").format(text=text.strip(), rest=rest)
