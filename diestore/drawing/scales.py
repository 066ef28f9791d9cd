"""PURE. From a value to its place on a drawing, and the round values that are written beside it.

Places are in the drawing's own units, one a pixel at its natural size; `start` may lie right of or below `end`, so that
a scale runs upwards where y runs down.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable
from dataclasses import dataclass

STEPS = (1.0, 2.0, 2.5, 5.0)  # times a power of ten
LEAST, MOST = 3, 8  # ticks on a scale
_SPREADS = ((1, 2, 5), (1, 3), (1,))  # of ten, on a scale of equal ratios
_HAIR = 1e-9  # of a step: what rounding may put beyond the end


@dataclass(frozen=True)
class Tick:
    """A round value beside a scale: where it stands and how it is written."""

    at: float
    words: str
    value: float = math.nan


def counted(value: float) -> str:
    """A round value in full: 0.25, 40, 25,000."""
    return f"{value:,.10g}"


def short(value: float) -> str:
    """A count where there is little room: 500, 20 k, 1.5 M."""
    for unit, word in ((1e6, " M"), (1e3, " k")):
        if value >= unit:
            return f"{value / unit:g}{word}"
    return f"{value:g}"


@dataclass(frozen=True)
class _Scale:
    """low, high: values at start and end. Beyond them a value stays at the end (`at`), and `beyond` tells."""

    low: float
    high: float
    start: float
    end: float

    def __post_init__(self) -> None:
        if not (math.isfinite(self.low) and math.isfinite(self.high) and self.low < self.high):
            raise ValueError(f"a scale from {self.low:g} to {self.high:g}: the second must be more than the first")

    def share(self, value: float) -> float:
        raise NotImplementedError

    def at(self, value: float) -> float:
        """The place of a value."""
        share = min(max(self.share(value), 0.0), 1.0)
        return self.start + (self.end - self.start) * share

    def beyond(self, value: float) -> int:
        """-1 where a value lies before the scale's beginning, 1 where it lies past its end, else 0."""
        return 1 if value > self.high else -1 if value < self.low else 0

    def marks(self, values: Iterable[float], words: Callable[[float], str] = counted) -> list[Tick]:
        """Ticks at these values, as far as they lie on the scale; their places to a tenth, as they are drawn."""
        return [Tick(round(self.at(v), 1), words(v), v) for v in values if not self.beyond(v)]


@dataclass(frozen=True)
class Even(_Scale):
    """Equal differences are equally far."""

    def share(self, value: float) -> float:
        return (value - self.low) / (self.high - self.low)

    def ticks(self, most: int = MOST, words: Callable[[float], str] = counted) -> list[Tick]:
        """Round values on the scale, nought among them where it lies there; at most so many."""
        return self.marks(even_values(self.low, self.high, most), words)


@dataclass(frozen=True)
class Ratio(_Scale):
    """Equal ratios are equally far. Values above nought only."""

    def __post_init__(self) -> None:
        super().__post_init__()
        if self.low <= 0:
            raise ValueError(f"a scale of equal ratios from {self.low:g}: it must begin above nought")

    def share(self, value: float) -> float:
        return math.log(max(value, self.low) / self.low) / math.log(self.high / self.low)

    def ticks(self, most: int = MOST, words: Callable[[float], str] = counted) -> list[Tick]:
        return self.marks(ratio_values(self.low, self.high, most), words)


def even_values(low: float, high: float, most: int = MOST) -> list[float]:
    """Multiples of 1, 2, 2.5 or 5 times a power of ten from low to high: as many as go, and never more than `most`.

    No step is more than twice the one before it, so with most >= 6 there are at least 3.
    """
    power = math.floor(math.log10((high - low) / most)) - 1
    while True:
        for step in (share * 10.0**power for share in STEPS):
            first, last = math.ceil(low / step - _HAIR), math.floor(high / step + _HAIR)
            if last - first + 1 <= most:
                return [_clean(n * step) for n in range(first, last + 1)]
        power += 1


def ratio_values(low: float, high: float, most: int = MOST) -> list[float]:
    """1, 2, 5 or 1, 3 or 1 of each power of ten, of each second, third ... power where there are many; within less than
    a power of ten, even steps."""
    first, last = math.floor(math.log10(low)), math.ceil(math.log10(high))
    for spread in _SPREADS:
        values = [_clean(n * 10.0**p) for p in range(first, last + 1) for n in spread]
        values = [v for v in values if low * (1 - _HAIR) <= v <= high * (1 + _HAIR)]
        if len(values) <= most:
            break
    if len(values) > most:
        values = values[:: -(-len(values) // most)]
    return values if len(values) >= LEAST else even_values(low, high, most)


def _clean(value: float) -> float:
    """Without the crumbs of binary fractions: 0.3 and not 0.30000000000000004."""
    return float(f"{value:.12g}")
