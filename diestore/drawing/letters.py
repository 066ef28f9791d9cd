"""PURE. How much room words take on a drawing, near enough to keep them apart."""

from __future__ import annotations

LETTER = 6.8  # width of a letter of the 13 px in which drawings are lettered


def width(words: str) -> float:
    return LETTER * len(words)


def fitting(words: str, room: float) -> str:
    """Words that fit, cut short where they do not."""
    most = max(int(room / LETTER), 2)
    return words if len(words) <= most else f"{words[: most - 1]}…"
