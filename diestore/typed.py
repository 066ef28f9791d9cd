"""PURE. Whole numbers as people type them at the bench, read without guessing.

A thousands mark (comma, space, apostrophe) is taken, since a count has no fraction. Where a text could be two different
numbers it is refused with a sentence that says what to type instead. Values with a unit: `diestore.units.parse`.
"""

from __future__ import annotations

import re

from diestore.texts import gettext as _

SPACES = "\u00a0\u2007\u2009\u202f"  # the spaces that programs and phones put between groups of three
LONGEST = 40

_WHOLE = re.compile(r"[+-]?[0-9]+")
_GROUPS = re.compile(r"[+-]?[0-9]{1,3}(?:([ ,'’])[0-9]{3})(?:\1[0-9]{3})*")
_DOT_GROUPS = re.compile(r"[+-]?[0-9]{1,3}(?:\.[0-9]{3}){2,}")
_ONE_DOT_GROUP = re.compile(r"[+-]?[1-9][0-9]{0,2}\.[0-9]{3}")
_DECIMAL = re.compile(r"[+-]?(?:[0-9]+(?:[.,][0-9]*)?|[.,][0-9]+)")


class NotANumber(ValueError):
    """What was typed is no number, or could be two; the message says what to type."""


def _plain(text: str) -> str:
    text = text.strip()
    for space in SPACES:
        text = text.replace(space, " ")
    if len(text) > LONGEST:
        raise NotANumber(_("This has {length:,} characters. Type one number.").format(length=len(text)))
    return text.replace("\u2212", "-")


def whole(text: str) -> int:
    """A whole number: '30120', '30,120' and '30 120' are the same.

    '30.120' is refused: it is thirty thousand to one reader and thirty to another.
    """
    text = _plain(text)
    if _WHOLE.fullmatch(text):
        return int(text)
    if _GROUPS.fullmatch(text) or _DOT_GROUPS.fullmatch(text):
        return int(re.sub(r"[ ,'’.]", "", text))
    if _ONE_DOT_GROUP.fullmatch(text):
        together = text.replace(".", "")
        told = _("{text} could be {large:,} or {small:g}. Type {together} if you mean that.")
        raise NotANumber(told.format(text=text, large=int(together), small=float(text), together=together))
    if _DECIMAL.fullmatch(text):
        raise NotANumber(
            _("{text} is not a whole number. Type it without a fraction, such as 30120.").format(text=text)
        )
    raise NotANumber(_("“{text}” is not a number. Type digits only, such as 30120.").format(text=text))
