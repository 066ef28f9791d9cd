"""PURE (numpy). What is drawn of lives and of wear: shares still sharp over the hits, and the bands about them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import scipy  # its parts are loaded when they are first named, so that a start pays for none
from numpy.typing import NDArray

from maintenance.life.fleet import FleetFit
from maintenance.life.trend import Trend
from maintenance.life.weibull import Survival, WeibullFit

Array = NDArray[np.float64]
EIGHT_IN_TEN = 0.8


@dataclass(frozen=True)
class Band:
    """x: hits, rising. y: the middle; low, high: its sides. As steps (of a record) or as a line, by who made it."""

    x: Array
    y: Array
    low: Array
    high: Array


def still_sharp(hits: Sequence[float], usual_hits: float, shape: float) -> Array:
    """Share of edges still sharp at these hits, where half of them last `usual_hits`: 2^-(h / usual)^shape."""
    return np.exp2(-((np.asarray(hits, float) / usual_hits) ** shape))


def shape_of(fit: FleetFit) -> float:
    """The shape of the shop's lives, the middle over what the records leave open."""
    return float(sum(weight * theta.k for weight, theta in fit.thetas()))


def between_usual(hits: Sequence[float], usual: tuple[float, float, float], shape: float) -> Band:
    """The curve of an edge whose usual hits are not known exactly. usual: (low, middle, high) of the usual hits."""
    low, middle, high = (still_sharp(hits, one, shape) for one in usual)
    return Band(np.asarray(hits, float), middle, low, high)


def steps(survival: Survival, until: float, *, confidence: float = EIGHT_IN_TEN) -> Band:
    """A Kaplan-Meier curve from nought to `until` hits, with limits that stay between 0 and 1.

    Greenwood's se on the scale ln(-ln S): S^exp(+-z se / (S ln S)). Where none is left sharp the limits are those of
    the step before, as the formula gives none. J. D. Kalbfleisch, R. L. Prentice, The Statistical Analysis of Failure
    Time Data, Wiley 1980, section 1.3 (from memory).
    """
    s, se = survival.sharp, survival.se
    z = float(scipy.special.ndtri(0.5 + confidence / 2))
    inside = (s > 0) & (s < 1)
    low, high = s.copy(), s.copy()
    with np.errstate(divide="ignore", invalid="ignore"):
        width = np.exp(z * se / np.abs(s * np.log(s)))
    low[inside], high[inside] = s[inside] ** width[inside], s[inside] ** (1 / width[inside])
    for i in np.flatnonzero(s <= 0):
        low[i], high[i] = 0.0, high[i - 1] if i else 1.0
    end = max(until, float(survival.hits[-1]) if len(survival.hits) else 0.0)

    def over(values: Array) -> Array:
        last = values[-1] if len(values) else 1.0
        return np.concatenate(([1.0], values, [last]))

    return Band(np.concatenate(([0.0], survival.hits, [end])), over(s), over(low), over(high))


def of_fit(fit: WeibullFit, *, points: int = 60, confidence: float = EIGHT_IN_TEN) -> Band:
    """The curve fitted to one sample; low and high are *hits* here, at each share y still sharp; x is the middle."""
    shares = np.linspace(0.005, 0.995, points)
    hits = np.array([fit.hits_at(1 - share) for share in shares])
    limits = np.array([fit.hits_limits(1 - share, confidence) for share in shares])
    return Band(hits[::-1], shares[::-1], limits[::-1, 0], limits[::-1, 1])


def along_trend(
    trend: Trend, seen_hits: Sequence[float], at: Sequence[float], *, falling: bool = False, confidence: float = 0.8
) -> Band:
    """The straight line of a trend with the band in which a next reading lies: line +- t s sqrt(1 + 1/n + d^2 / Sxx).

    The same band whose sides crossing the limit are the trend's early_hits and late_hits. falling: the trend was made
    of readings with their sign turned; the band comes back as they were measured.
    """
    x, h = np.asarray(at, float), np.asarray(seen_hits, float)
    n, mean = len(h), h.mean()
    line = trend.intercept + trend.slope * x
    half = float(scipy.special.stdtrit(n - 2, 0.5 + confidence / 2)) * trend.scatter
    half = half * np.sqrt(1 + 1 / n + (x - mean) ** 2 / ((h - mean) ** 2).sum())
    if falling:
        return Band(x, -line, -line - half, -line + half)
    return Band(x, line, line - half, line + half)
