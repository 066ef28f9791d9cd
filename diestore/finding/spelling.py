"""PURE. What was typed, as it is looked for: a code is the same with or without its dashes and spaces."""

from __future__ import annotations

from dataclasses import dataclass
from urllib.parse import urlsplit

BETWEEN = (" ", "-", "/", ".", "_", ":", "–")  # what people put between the parts of a code, or leave out
LETTERS_AT_MOST, WORDS_AT_MOST = 120, 6


def squeezed(text: str) -> str:
    """Codes as they are compared: 'k-123 / 5-a' and 'K123 5A' are one."""
    for sign in BETWEEN:
        text = text.replace(sign, "")
    return text.upper()


@dataclass(frozen=True)
class Asked:
    """text: for people. code: all of it as one code. words: each for itself."""

    text: str
    code: str
    words: tuple[str, ...]

    def __bool__(self) -> bool:
        return bool(self.code)


def asked(typed: str) -> Asked:
    """What somebody typed or scanned; of very much the beginning. Letters that no database holds are left out."""
    clean = "".join(" " if sign.isspace() else sign for sign in typed if sign.isprintable() or sign.isspace())
    text = " ".join(clean[:LETTERS_AT_MOST].split())
    return Asked(text=text, code=squeezed(text), words=tuple(text.split()[:WORDS_AT_MOST]))


def path_of(text: str) -> str:
    """The path that a label's code leads to, under whatever name of the service it was printed; "" where it is none."""
    try:
        parts = urlsplit(text)
    except ValueError:
        return ""
    return parts.path if parts.scheme.lower() in ("http", "https") and parts.netloc else ""
