"""Of each kind of spare: how many pieces a mishap takes, and whether mishaps come more often than they did."""

from __future__ import annotations

import datetime as dt
from collections import Counter, defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

import numpy as np

from reports.purchasing.breaks import Trend

from .reads import Mishap

SPANS = 16  # of the record, between which strokes are taken to have been even


@dataclass(frozen=True, kw_only=True)
class KindMishaps:
    """sizes: pieces -> mishaps; trend: pooled over the dies that take the kind."""

    sizes: Mapping[int, int] = field(default_factory=dict)
    trend: Trend = field(default_factory=Trend)

    @property
    def seen(self) -> int:
        return sum(self.sizes.values())

    @classmethod
    def from_kept(cls, kept: dict) -> KindMishaps:
        sizes = {int(n): times for n, times in kept["sizes"].items()}
        return cls(sizes=sizes, trend=Trend(**kept["trend"]))

    def to_keep(self) -> dict:
        return {"sizes": {str(n): times for n, times in self.sizes.items()}, "trend": self.trend.__dict__}


def by_kind(
    rows: Iterable[Mishap], strokes: Mapping[int, list[int]], bounds: list[dt.datetime]
) -> dict[str, KindMishaps]:
    """strokes: die -> strokes between each two of `bounds`, the earliest first."""
    sizes: dict[str, Counter[int]] = defaultdict(Counter)
    times: dict[tuple[str, int], list[float]] = defaultdict(list)
    moments = np.array([bound.timestamp() for bound in bounds])
    passed = {die: np.append(0.0, np.cumsum(n)) for die, n in strokes.items()}
    for row in rows:
        sizes[row.kind][row.pieces] += 1
        of_die = passed.get(row.die)
        if of_die is not None and of_die[-1] > 0:
            at = float(np.interp(row.at.timestamp(), moments, of_die))
            times[row.kind, row.die].append(min(max(at, 1.0), float(of_die[-1])))
    return {
        kind: KindMishaps(
            sizes=dict(sorted(counted.items())),
            trend=Trend.of((mine, float(passed[die][-1])) for (of, die), mine in times.items() if of == kind),
        )
        for kind, counted in sizes.items()
    }
