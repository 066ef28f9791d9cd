"""What it does to a die's interval to grind every edge at each sharpening, where some are left for the next time.

An edge that is left goes on with the hits that are on it; the next interval ends sooner for it. With ages a, shape k
and scales e the interval ends at h with S(h) = exp(-sum of ((a + h)^k - a^k) / e^k): the first of Weibull lives, aged.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from .money import MoneyRefused

Array = NDArray[np.float64]

TURNS, SETTLED = 36, 12  # sharpenings walked through, and those before which nothing is counted
MOST_HAZARD = 14.0  # beyond it an interval lasts once in a million
STEPS = np.linspace(0.0, 1.0, 401)


def mean_interval(usual_hits: Sequence[float], shares: Sequence[float], *, shape: float) -> float:
    """Mean hits between sharpenings in the long run.

    usual_hits: median lives of fresh edges. shares: of the sharpenings, in which each edge is ground, spread evenly. An
    edge's age goes by mean intervals: what chance does to single ones evens out. Raises MoneyRefused.
    """
    usual, share = np.asarray(usual_hits, float), np.asarray(shares, float)
    if len(usual) != len(share) or not len(usual):
        raise MoneyRefused(f"{len(usual)} edges and {len(share)} shares; as many as there are edges.")
    if not (np.isfinite(usual).all() and (usual > 0).all()):
        raise MoneyRefused("the usual hits of an edge are not above nought.")
    if not ((share > 0) & (share <= 1)).all():
        raise MoneyRefused("an edge is ground in a share of the sharpenings that does not lie above 0 and up to 1.")
    if not (math.isfinite(shape) and 0.5 <= shape <= 50):
        raise MoneyRefused(f"a shape of {shape:g}; it must lie between 0.5 and 50.")
    unit = float(usual.min())
    scales = usual / unit / math.log(2) ** (1 / shape)
    age, seen = np.zeros(len(scales)), []
    for turn in range(TURNS):
        interval = _mean(age, scales, shape)
        seen.append(interval)
        # spread evenly, edges of one share one after the other: not all of them are left at the same time
        turns = np.arange(len(scales)) / len(scales) + turn * share
        age = np.where(np.floor(turns + share) > np.floor(turns), 0.0, age + interval)
    return unit * float(np.mean(seen[SETTLED:]))


def _mean(age: Array, scales: Array, shape: float) -> float:
    """Mean hits to the first end: the integral of S, by the trapezium rule."""
    h = float(scales.min() * MOST_HAZARD ** (1 / shape)) * STEPS
    hazard = (((age + h[:, None]) / scales) ** shape - (age / scales) ** shape).sum(axis=1)
    return float(np.trapezoid(np.exp(-hazard), h))


def times_ground_together(usual_hits: Sequence[float], shares: Sequence[float], *, shape: float) -> float:
    """How many times as long a die goes where all its edges are ground each time, against leaving some as it does."""
    if min(shares, default=0.0) == 1.0:
        return 1.0
    whole = mean_interval(usual_hits, np.ones(len(shares)).tolist(), shape=shape)
    return whole / mean_interval(usual_hits, shares, shape=shape)
