"""Breaks that come in clusters, and a rate that rises: what a count of mishaps says."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

import scipy  # its parts are loaded when they are first named, so that a start pays for none

from .demand import Demand, DemandRefused

# Beforehand: the rate is constant, as well known as from five mishaps; one mishap takes one piece, as from four. Common
# practice, no source.
TREND_AS_FROM = 5.0
SINGLE_AS_FROM = 4.0
MOST_GROWTH = 3.0
SELDOM = 0.05  # so likely a rise as large comes by luck alone


@dataclass(frozen=True, kw_only=True)
class MeanLimits:
    """Strokes from one event to the next. lower, upper: two-sided limits; upper None without an event."""

    mean: float | None
    lower: float
    upper: float | None


def mean_limits(strokes: float, events: int, *, confidence: float = 0.9) -> MeanLimits:
    """Mean strokes between events at a constant rate, from a count of them, also a small one.

    Limits 2 T / chi^2(1 - a/2; 2 r + 2) and 2 T / chi^2(a/2; 2 r), a = 1 - confidence, where the record ends at a time
    and not at an event; without an event only T / -ln a, from one side.
    Source: NIST/SEMATECH e-Handbook of Statistical Methods, 8.4.5.1.
    """
    if not (math.isfinite(strokes) and strokes > 0 and events >= 0 and 0 < confidence < 1):
        raise DemandRefused(f"{events} events in {strokes:g} strokes at {confidence:g}; that cannot be.")
    a = 1 - confidence
    if events == 0:
        return MeanLimits(mean=None, lower=strokes / -math.log(a), upper=None)
    return MeanLimits(
        mean=strokes / events,
        lower=2 * strokes / float(scipy.special.chdtri(2 * events + 2, a / 2)),
        upper=2 * strokes / float(scipy.special.chdtri(2 * events, 1 - a / 2)),
    )


@dataclass(frozen=True, kw_only=True)
class Trend:
    """Mishaps of several like places, pooled, each place watched from nought to its own end.

    events: how many; logs: sum of ln(T / t) over them; middle, spread: sum of (t - T / 2) and of T^2 / 12.
    """

    events: int = 0
    logs: float = 0.0
    middle: float = 0.0
    spread: float = 0.0

    @classmethod
    def of(cls, places: Iterable[tuple[Iterable[float], float]]) -> Trend:
        """places: (strokes at each mishap, strokes watched). What lies at nought or beyond its end is refused."""
        n, logs, middle, spread = 0, 0.0, 0.0, 0.0
        for times, end in places:
            for t in times:
                if not 0 < t <= end:
                    raise DemandRefused(f"a mishap at {t:g} of {end:g} strokes; it must lie within them.")
                n += 1
                logs += math.log(end / t)
                middle += t - end / 2
                spread += end**2 / 12
        return cls(events=n, logs=logs, middle=middle, spread=spread)

    @property
    def laplace(self) -> float:
        """U = sum (t - T / 2) / sqrt(sum T^2 / 12): standard normal at a constant rate, above nought where it rises.

        Source: Laplace's test, Cox and Lewis 1966 (from memory).
        """
        return self.middle / math.sqrt(self.spread) if self.spread > 0 else 0.0

    @property
    def chance_rising(self) -> float:
        """How likely as much of a rise is by luck alone, by Laplace's test, one-sided."""
        return float(scipy.special.ndtr(-self.laplace))

    @property
    def growth(self) -> float:
        """The rate now over the mean rate so far: the exponent b of a rate that goes with t^(b - 1).

        b is gamma of (a + n) / (a + sum ln(T / t)) after mishaps, a = 5 beforehand: no rise until mishaps show one.
        Source: Crow's power law process (AMSAA), 1974, with a conjugate prior (from memory).
        """
        return min((TREND_AS_FROM + self.events) / (TREND_AS_FROM + self.logs), MOST_GROWTH)

    @property
    def factor(self) -> float:
        """What the mean rate is taken times: `growth` where it lies above 1 and Laplace's test says that luck alone
        would seldom do as much, else 1. Pieces that were all new when the records began, and tire rather than break,
        bend the power law without any rise; the test hardly minds them."""
        return max(self.growth, 1.0) if self.chance_rising < SELDOM else 1.0


def pieces_at_once(seen: Mapping[int, int]) -> Demand:
    """How many pieces one mishap takes: as seen, with four mishaps of one piece beforehand. seen: pieces -> mishaps."""
    if any(n < 1 or times < 0 for n, times in seen.items()):
        raise DemandRefused(f"mishaps of {dict(seen)} pieces; each takes one at least.")
    most = max([1, *seen])
    counts = [0.0, SINGLE_AS_FROM, *([0.0] * (most - 1))]
    for n, times in seen.items():
        counts[n] += times
    return Demand.of(counts)
