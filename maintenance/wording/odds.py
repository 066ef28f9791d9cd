"""PURE. Chances in words that are said aloud in a toolroom."""

from __future__ import annotations

import math

from diestore.texts import gettext as _

# The chances that people say aloud. One is taken for all that lie nearer to it than to its neighbours.
_SAID = (
    *((1, n) for n in (100, 50, 30, 20, 15, 12, 10, 9, 8, 7, 6, 5, 4)),
    *((3, 10), (1, 3), (2, 5), (1, 2), (3, 5), (2, 3), (7, 10)),
    *((n - 1, n) for n in (4, 5, 6, 7, 8, 9, 10, 12, 15, 20, 30, 50, 100)),
)
LEAST, MOST = 0.007, 0.993  # under and over these no two figures are said


def chance(p: float) -> str:
    """A chance as people say it: "1 in 8", "2 in 3", "even". p: 0 to 1.

    The nearest by its odds, so that 19 in 20 is never told as 9 in 10; near even, the nearest as it stands,
    and even itself where two are equally near.
    """
    if p < LEAST:
        return _("less than 1 in 100")
    if p > MOST:
        return _("better than 99 in 100")
    k, n = _nearest(p)
    return _("even") if (k, n) == (1, 2) else _("{k} in {n}").format(k=k, n=n)


def _nearest(p: float) -> tuple[int, int]:
    if 0.3 <= p <= 0.7:
        return min(_SAID, key=lambda kn: (round(abs(kn[0] / kn[1] - p), 9), abs(kn[0] / kn[1] - 0.5)))
    odds = math.log(p / (1 - p))
    return min(_SAID, key=lambda kn: abs(math.log(kn[0] / (kn[1] - kn[0])) - odds))


def times(p: float) -> str:
    """How often, said within a sentence: "3 times in 10", "nearly always"."""
    if p > 0.95:
        return _("nearly always")
    if p < LEAST:
        return _("seldom")
    k, n = _nearest(p)
    if (k, n) == (1, 2):
        return _("every other time")
    return _("1 time in {n}").format(n=n) if k == 1 else _("{k} times in {n}").format(k=k, n=n)


def percent(p: float) -> str:
    """A chance in a table. Nothing is certain: the ends of the scale are said as such."""
    if p < 0.01:
        return _("under 1 %")
    if p > 0.99:
        return _("over 99 %")
    return f"{100 * p:.0f} %"
