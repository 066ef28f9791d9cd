"""PURE. Chances and hits in words that are said aloud in a toolroom."""

from __future__ import annotations

import math
from dataclasses import dataclass

# The chances that people say aloud. One is taken for all that lie nearer to it than to its neighbours.
_SAID = (
    *((1, n) for n in (100, 50, 30, 20, 15, 12, 10, 9, 8, 7, 6, 5, 4)),
    *((3, 10), (1, 3), (2, 5), (1, 2), (3, 5), (2, 3), (7, 10)),
    *((n - 1, n) for n in (4, 5, 6, 7, 8, 9, 10, 12, 15, 20, 30, 50, 100)),
)


def chance(p: float) -> str:
    """A chance as people say it: "1 in 8", "2 in 3", "even". p: 0 to 1.

    The nearest by its odds, so that 19 in 20 is never told as 9 in 10; near even, the nearest as it stands,
    and even itself where two are equally near.
    """
    if p < 0.007:
        return "less than 1 in 100"
    if p > 0.993:
        return "better than 99 in 100"
    if 0.3 <= p <= 0.7:
        k, n = min(_SAID, key=lambda kn: (round(abs(kn[0] / kn[1] - p), 9), abs(kn[0] / kn[1] - 0.5)))
    else:
        odds = math.log(p / (1 - p))
        k, n = min(_SAID, key=lambda kn: abs(math.log(kn[0] / (kn[1] - kn[0])) - odds))
    return "even" if (k, n) == (1, 2) else f"{k} in {n}"


def times(p: float) -> str:
    """How often, said within a sentence: "3 times in 10", "nearly always"."""
    if p > 0.95:
        return "nearly always"
    said = chance(p)
    if said == "even":
        return "every other time"
    k, found, n = said.partition(" in ")
    return f"{k} {'time' if k == '1' else 'times'} in {n}" if found and k.isdigit() else "seldom"


def percent(p: float) -> str:
    """A chance in a table. Nothing is certain: the ends of the scale are said as such."""
    if p < 0.01:
        return "under 1 %"
    if p > 0.99:
        return "over 99 %"
    return f"{100 * p:.0f} %"


def hits(n: float | None) -> str:
    """Hits to two or three figures that count, as nobody knows them better: 8,900; 41,000; 1.25 million."""
    if n is None:
        return "not known"
    if n < 100:
        return f"{round(n)}"
    digits = 10 ** (len(str(int(n))) - 2) if n < 1e5 else 10 ** (len(str(int(n))) - 3)
    return f"{round(n / digits) * digits:,}"


def counted(n: int, one: str, many: str) -> str:
    """A count with its word: "one die", "4 dies", "no dies"."""
    return f"no {many}" if n == 0 else f"one {one}" if n == 1 else f"{n:,} {many}"


def none(n: int) -> str:
    return "none" if n == 0 else f"{n:,}"


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
