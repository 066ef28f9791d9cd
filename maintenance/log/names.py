"""The keys under which a thing is known again, however it came: typed on a page or loaded from a folder.

The first piece of a place has one name and its first entry one key, so that a die that was typed, written out and read
back is one die and not two.
"""

from __future__ import annotations

import datetime as dt
import hashlib
from collections.abc import Iterable

BEGINNING = dt.datetime(1970, 1, 1, tzinfo=dt.UTC)  # for what sat there when the records began; before every run
KEY_AT_MOST = 150  # leaves room for what tells a second entry of the same name apart
PIECE_KEY_AT_MOST = 120


def shortened(text: str, longest: int) -> str:
    """The text, or where it is too long its beginning and a digest of the whole."""
    if len(text) <= longest:
        return text
    digest = hashlib.blake2b(text.encode(), digest_size=8).hexdigest()
    return f"{text[: longest - 17]} {digest}"


def natural_key(what: str, plant: str, words: Iterable[str]) -> str:
    """The key of an entry that brings none: what it is, of which plant, of what, when."""
    parts = [word.replace("\\", "\\\\").replace("|", "\\|") for word in (what, plant, *words)]
    return shortened("|".join(parts), KEY_AT_MOST)


def piece_key(plant: str, die: str, position: str, which: str) -> str:
    return shortened(f"{plant}/{die}/{position} {which}", PIECE_KEY_AT_MOST)


def first_key(plant: str, die: str, position: str) -> str:
    """The key of the entry that says what was first in a place."""
    return natural_key("replacement", plant, [die, position, "first"])
