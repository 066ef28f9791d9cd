"""Of each kind of spare: how many pieces a mishap takes, whether mishaps come more often, and whether it wears out."""

from __future__ import annotations

import datetime as dt
from collections import Counter, defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import asdict, dataclass, field

import numpy as np

from diestore.handbook.kinds import KINDS
from reports.purchasing.breaks import Trend
from reports.purchasing.wear import Lives, WearLaw

from .reads import Mishap

SPANS = 16  # of the record, between which strokes are taken to have been even


@dataclass(frozen=True, kw_only=True)
class KindMishaps:
    """sizes: pieces -> mishaps; trend: pooled over the dies that take the kind. wear: how its pieces wear out, where
    the record shows that they do."""

    sizes: Mapping[int, int] = field(default_factory=dict)
    trend: Trend = field(default_factory=Trend)
    wear: WearLaw = field(default_factory=WearLaw)

    @property
    def seen(self) -> int:
        return sum(self.sizes.values())

    @classmethod
    def from_kept(cls, kept: dict) -> KindMishaps:
        sizes = {int(n): times for n, times in kept["sizes"].items()}
        return cls(sizes=sizes, trend=Trend(**kept["trend"]), wear=WearLaw(**kept.get("wear", {})))

    def to_keep(self) -> dict:
        sizes = {str(n): times for n, times in self.sizes.items()}
        return {"sizes": sizes, "trend": asdict(self.trend), "wear": asdict(self.wear)}


class Passed:
    """Strokes of dies by a moment: strokes between each two of some bounds, the earliest first, even within them."""

    def __init__(self, strokes: Mapping[int, list[int]], bounds: list[dt.datetime]) -> None:
        self._moments = np.array([bound.timestamp() for bound in bounds])
        self._passed = {die: np.append(0.0, np.cumsum(n)) for die, n in strokes.items()}

    def by(self, die: int, at: dt.datetime) -> float | None:
        """At least one; None of a die without strokes."""
        end = self.end(die)
        if not end:
            return None
        return min(max(float(np.interp(at.timestamp(), self._moments, self._passed[die])), 1.0), end)

    def end(self, die: int) -> float:
        return float(self._passed[die][-1]) if die in self._passed else 0.0


def by_kind(
    rows: Iterable[Mishap], passed: Passed, strokes: Mapping[str, float] | None = None
) -> dict[str, KindMishaps]:
    """strokes: kind -> of all its places together, without which nothing is said of wearing out."""
    rows = list(rows)
    sizes: dict[str, Counter[int]] = defaultdict(Counter)
    times: dict[tuple[str, int], list[float]] = defaultdict(list)
    for row in rows:
        sizes[row.kind][row.pieces] += 1
        at = passed.by(row.die, row.at)
        if at is not None:
            times[row.kind, row.die].append(at)
    lives = _lives_by_kind(rows, passed, strokes or {})
    return {
        kind: KindMishaps(
            sizes=dict(sorted(counted.items())),
            trend=Trend.of((mine, passed.end(die)) for (of, die), mine in times.items() if of == kind),
            wear=WearLaw.learnt(lives.get(kind, ())),
        )
        for kind, counted in sizes.items()
    }


def _lives_by_kind(rows: Iterable[Mishap], passed: Passed, strokes: Mapping[str, float]) -> dict[str, list[Lives]]:
    """Of kinds that carry no edge: those of each die, and what was never replaced."""
    found: dict[str, list[Lives]] = defaultdict(list)
    of_dies: dict[tuple[str, int], list[Mishap]] = defaultdict(list)
    for row in rows:
        if row.kind in strokes and row.kind in KINDS and not KINDS[row.kind].cuts:
            of_dies[row.kind, row.die].append(row)
    left = dict(strokes)
    for (kind, die), mine in of_dies.items():
        shares = {place: share for row in mine for place, share in row.places.items()}
        found[kind].append(lives_of(mine, passed, shares))
        left[kind] -= passed.end(die) * sum(shares.values())
    for kind, of_kind in found.items():
        of_kind.append(Lives(unknown_strokes=max(left[kind], 0.0)))
    return found


def lives_of(rows: Iterable[Mishap], passed: Passed, shares: Mapping[int, float]) -> Lives:
    """Of some places of one or several dies: position -> share of the die's strokes. rows: all that was replaced there.
    Places where nothing was replaced are left out."""
    times: dict[int, list[float]] = defaultdict(list)
    ends: dict[int, float] = {}
    for row in rows:
        at = passed.by(row.die, row.at)
        for place in row.places:
            if place in shares and at is not None:
                times[place].append(at)
                ends[place] = passed.end(row.die)
    ended, running, unknown = [], [], 0.0
    for place, at in times.items():
        at.sort()
        share = shares[place]
        unknown += share * at[0]
        ended += [share * n for n in np.diff(at) if n > 0]
        running.append(share * (ends[place] - at[-1]))
    return Lives(ended=tuple(ended), running=tuple(running), unknown_ends=len(times), unknown_strokes=unknown)
