"""PURE. How many strokes a die spring takes before it is tired, by how far it is pressed; the more, the sooner.

Catalogues of die springs print a life for a deflection: pressed by no more than what is usual for a long life it takes
one and a half to three million strokes or more, pressed by the most that is allowed one to two hundred thousand (from
memory, rounded; the classes with their shares of the free length are those of `springs.load_class`). Between the two
the logarithm of the life falls by a straight line with the share, which is an assumption. Side load, heat, a chip
between the coils or a worn hole shorten it: such figures hold for springs that sit straight and are guided. The maker's
table comes first, and the shop's own record before either.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from .sources import FROM_MEMORY, Span
from .springs import LoadClass, SpringError

_FIGURES = f"catalogues of die springs, rounded, {FROM_MEMORY}"
LONG = Span(low=1_500_000, high=3_000_000, source=_FIGURES)  # pressed by no more than for a long life
SHORT = Span(low=100_000, high=200_000, source=_FIGURES)  # pressed by the most that is allowed


def expected_strokes(load_class: LoadClass, share: float) -> Span:
    """Strokes to expect of a spring whose closed length is `share` of its free length less than that.

    Up to the class's share for a long life `LONG`, at its greatest share `SHORT`, and between
    LONG^(1 - u) SHORT^u with u from 0 to 1. Raises SpringError for a share above the greatest, or none.
    """
    if isinstance(share, bool) or not math.isfinite(share) or not 0 <= share < 1:
        raise SpringError(f"A spring pressed by a share of {share!r} is none.")
    if share > load_class.at_most + 1e-9:
        raise SpringError(
            f"It is pressed by {100 * share:.0f} % of its free length, and {100 * load_class.at_most:g} % is the most "
            "for its class: it may break at any stroke."
        )
    reach = load_class.at_most - load_class.long_life
    u = min(max((share - load_class.long_life) / reach, 0.0), 1.0)

    def between(long: float, short: float) -> float:
        return long ** (1 - u) * short**u

    return Span(low=between(LONG.low, SHORT.low), high=between(LONG.high, SHORT.high), source=_FIGURES)


@dataclass(frozen=True, kw_only=True)
class FatigueClock:
    """Strokes that a spring has made, against the life to expect of it. is_known: from when it was new."""

    strokes: int
    expected: Span
    is_known: bool = True

    def __post_init__(self) -> None:
        if self.strokes < 0:
            raise SpringError(f"{self.strokes} strokes are none.")

    @property
    def is_due(self) -> bool:
        """It has made as many as the shortest life to expect, so that it may break."""
        return self.strokes >= self.expected.low

    @property
    def is_over(self) -> bool:
        """It has made more than the longest."""
        return self.strokes >= self.expected.high

    @property
    def left(self) -> Span:
        """Strokes left until the shortest and the longest life to expect."""
        low, high = (max(end - self.strokes, 0.0) for end in (self.expected.low, self.expected.high))
        return Span(low=low, high=high, source=self.expected.source)
