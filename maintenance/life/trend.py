"""Measured wear against a limit: bushings, pilots, springs. When will it be used up, and how sure is that?

A straight line of the reading over hits (or of ln reading over ln hits, for wear that slows down) by least squares,
with its prediction band; what is left is where the line, and the band's sides, cross the limit. It refuses what the
readings do not carry: too few, no wear seen, or a crossing far beyond the hits that were measured.

W. Q. Meeker, L. A. Escobar, Statistical Methods for Reliability Data, Wiley 1998, chapter 13 (approximate degradation
analysis: crossings of fitted paths).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import scipy  # its parts are loaded when they are first named, so that a start pays for none

READINGS_NEEDED = 3
REACH = 3.0  # times the hits at the last reading: so far ahead a line may be drawn


class NoTrend(ValueError):
    """The readings do not carry a forecast; the message says why, with the numbers."""


class Steady(NoTrend):
    """The readings do not come nearer to the limit."""


class FarOff(NoTrend):
    """The line comes to the limit too far ahead of what was measured.

    at_hits: where it would; measured: hits so far.
    """

    def __init__(self, at_hits: float, measured: float, reach: float) -> None:
        super().__init__(
            f"the limit would come at {at_hits:,.0f} hits, more than {reach:g} times the {measured:,.0f} measured"
        )
        self.at_hits, self.measured, self.reach = at_hits, measured, reach


@dataclass(frozen=True, kw_only=True)
class Trend:
    """at_hits: where the line crosses the limit; early_hits, late_hits: between these 8 times in 10 (late: infinite
    where the band never crosses). slope, intercept: of the line, in its own axes. scatter: of readings about it."""

    at_hits: float
    early_hits: float
    late_hits: float
    slope: float
    intercept: float
    scatter: float
    readings: int


def trend(
    hits: Sequence[float],
    values: Sequence[float],
    limit: float,
    *,
    slowing: bool = False,
    reach: float = REACH,
    confidence: float = 0.8,
) -> Trend:
    """hits: life hits at the readings; values: readings that rise to the limit (turn the sign of falling ones first).

    slowing: power law, ln value over ln hits. Raises NoTrend.
    """
    h, v = np.asarray(hits, float), np.asarray(values, float)
    if not (np.isfinite(h).all() and np.isfinite(v).all() and np.isfinite(limit)):
        raise NoTrend("a reading is not a number")
    if len(h) < READINGS_NEEDED or len(np.unique(h)) < 2:
        raise NoTrend(
            f"{len(h)} readings at {len(np.unique(h))} counts seen; {READINGS_NEEDED} at two or more are needed"
        )
    if slowing:
        if (h <= 0).any() or (v <= 0).any() or limit <= 0:
            raise NoTrend("for wear that slows down, hits, readings and limit must lie above nought")
        x, y, target = np.log(h), np.log(v), np.log(limit)
    else:
        x, y, target = h, v, float(limit)
    n = len(x)
    mean_x = x.mean()
    sxx = ((x - mean_x) ** 2).sum()
    slope = ((x - mean_x) * (y - y.mean())).sum() / sxx
    intercept = y.mean() - slope * mean_x
    if slope <= 0:
        raise Steady(f"no wear is seen: over {h.max() - h.min():,.0f} hits the readings do not rise")
    scatter = float(np.sqrt(max(((y - intercept - slope * x) ** 2).sum() / (n - 2), 0.0)))
    at = (target - intercept) / slope
    if (np.exp(at) if slowing else at) > reach * h.max():
        ahead = np.exp(at) if slowing else at
        raise FarOff(float(ahead), float(h.max()), reach)
    quantile = float(scipy.special.stdtrit(n - 2, 0.5 + confidence / 2)) * scatter
    early, late = _crossings(target, intercept, slope, mean_x, sxx, n, quantile)
    if slowing:
        at, early, late = np.exp(at), np.exp(early), np.exp(min(late, 700.0)) if np.isfinite(late) else np.inf
    return Trend(
        at_hits=float(at),
        early_hits=float(max(early, 0.0)),
        late_hits=float(late),
        slope=float(slope),
        intercept=float(intercept),
        scatter=scatter,
        readings=n,
    )


def _crossings(
    target: float, intercept: float, slope: float, mean_x: float, sxx: float, n: int, quantile: float
) -> tuple[float, float]:
    """Where the sides of the prediction band, line +- quantile sqrt(1 + 1/n + (x - mean)^2 / sxx), cross the
    target."""
    # (slope z + c)^2 = q^2 (1 + 1/n + z^2 / sxx), z = x - mean, c = intercept + slope mean - target
    c = intercept + slope * mean_x - target
    a = slope**2 - quantile**2 / sxx
    b, d = 2 * slope * c, c**2 - quantile**2 * (1 + 1 / n)
    root = b**2 - 4 * a * d
    if quantile == 0.0:
        at = mean_x - c / slope
        return at, at
    if a <= 0:  # the slope is not settled: the band may never cross
        roots = [mean_x + (-b + s * np.sqrt(max(root, 0.0))) / (2 * a) for s in (1, -1)] if a < 0 else [mean_x - d / b]
        below = [r for r in roots if r <= mean_x - c / slope]
        return (max(below) if below else -np.inf), np.inf
    low, high = ((-b - s * np.sqrt(max(root, 0.0))) / (2 * a) for s in (1, -1))
    return mean_x + low, mean_x + high
