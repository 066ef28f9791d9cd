"""Counts of sharpenings ahead, remembered: they depend on nothing but laws and strokes."""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from reports.purchasing.demand import Demand
from reports.purchasing.laws import IntervalLaw, WeibullLaw
from reports.purchasing.renewals import RenewalCounts, mixed_at


def rounded_up(hits: float) -> float:
    """To the next of steps an eighth apart, so that computed counts are used again as orders come and go."""
    return 0.0 if hits <= 0 else float(2.0 ** (np.ceil(np.log2(hits) * 8) / 8))


@lru_cache(maxsize=1024)
def counts(first: IntervalLaw, fresh: WeibullLaw, horizon: float) -> RenewalCounts:
    """Depends on nothing but its arguments, which are all frozen."""
    return RenewalCounts.of(first=first, fresh=fresh, horizon_hits=horizon)


@lru_cache(maxsize=4096)  # 100 kB each at most: a shop of 1,000 dies takes 100 MB while the night counts it
def mixed_counts(first: IntervalLaw, fresh: tuple[WeibullLaw, ...], horizon: float) -> RenewalCounts:
    return RenewalCounts.mixed(first=first, fresh=fresh, horizon_hits=horizon)


@lru_cache(maxsize=256)
def chances_at(
    first: IntervalLaw | None, fresh: tuple[WeibullLaw, ...], hits: tuple[float, ...]
) -> tuple[NDArray[np.float64], ...]:
    """Of 0, 1, 2 ... ends in each of these strokes, the laws mixed."""
    return tuple(Demand.of(chances).chances for chances in mixed_at(hits, first=first, fresh=fresh))
