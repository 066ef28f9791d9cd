"""PURE. How an edge or a die stands, in a word and a mark."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Standing:
    """How an edge or a die stands: a word, and the class that its mark carries."""

    word: str
    css: str


SHARPEN, CLOSE, RUNS, UNKNOWN = (
    Standing("Sharpen first", "short"),
    Standing("Close", "close"),
    Standing("Runs", ""),
    Standing("Not known", "unknown"),
)


def standing(*, chance_of_order: float | None, share_left: float | None) -> Standing:
    """With an open order its chance decides: under even, sharpen first; under 4 in 5, close. Else what is left."""
    if chance_of_order is not None:
        return SHARPEN if chance_of_order < 0.5 else CLOSE if chance_of_order < 0.8 else RUNS
    if share_left is None:
        return UNKNOWN
    return SHARPEN if share_left < 0.12 else CLOSE if share_left < 0.3 else RUNS
