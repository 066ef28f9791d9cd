"""PURE. Chances and hits in words that are said aloud in a toolroom."""

from __future__ import annotations

from dataclasses import dataclass

_OF_TEN = {
    1: "1 in 10",
    2: "1 in 5",
    3: "3 in 10",
    4: "2 in 5",
    5: "even",
    6: "3 in 5",
    7: "7 in 10",
    8: "4 in 5",
    9: "9 in 10",
}


def chance(p: float) -> str:
    """A chance as people say it: "1 in 8", "9 in 10", "even"."""
    if p >= 0.995:
        return "better than 199 in 200"
    if p >= 0.965:
        return f"{round(1 / (1 - p)) - 1} in {round(1 / (1 - p))}"
    if p <= 0.005:
        return "less than 1 in 200"
    if p < 0.155:
        return f"1 in {round(1 / p)}"
    if 0.23 <= p < 0.27:
        return "1 in 4"
    if 0.73 <= p < 0.77:
        return "3 in 4"
    return _OF_TEN[min(max(round(p * 10), 1), 9)]


def hits(n: float | None) -> str:
    """Hits to two or three figures that count, as nobody knows them better: 8,900; 41,000; 1.25 million."""
    if n is None:
        return "not known"
    if n < 100:
        return f"{round(n)}"
    digits = 10 ** (len(str(int(n))) - 2) if n < 1e5 else 10 ** (len(str(int(n))) - 3)
    return f"{round(n / digits) * digits:,}"


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
