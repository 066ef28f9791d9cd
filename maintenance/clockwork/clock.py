"""PURE (numpy). Hits of a die as a function of time, for any moment in the past.

A die's clock is piecewise linear: flat between runs, rising evenly inside a run, with a jump at each correction.
Intervals are half-open: at the moment a run ends all of its hits are on the clock, at the moment it starts none. An
event inside a run that knows how many hits of the run were done says so (`hits_into_run`); else the run is split by
time and the value is marked estimated.

Times are seconds (float64) since the epoch, hits are int64 or, inside a run, rounded down to whole hits.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import ArrayLike, NDArray


@dataclass(frozen=True)
class ClockReading:
    """A clock's value: whole hits, and whether a run had to be split by time for it."""

    hits: int
    estimated: bool


@dataclass(frozen=True)
class Clock:
    """Cumulative hits over disjoint runs and corrections.

    started, ended: float64[n] seconds, runs sorted by start, disjoint; a correction is a run of no duration.
    before: int64[n + 1] hits on the clock before run i; before[n] is the total.
    looks: float64[r] seconds, the starts of the runs as they were recorded: the die was looked at before each.
    """

    started: NDArray[np.float64]
    ended: NDArray[np.float64]
    before: NDArray[np.int64]
    looks: NDArray[np.float64]

    @classmethod
    def of(cls, started: ArrayLike, ended: ArrayLike, hits: ArrayLike) -> Clock:
        """Build a clock from runs in any order.

        started, ended: [n] seconds; hits: [n] whole hits, negative only for corrections (ended == started).
        Raises ValueError where two runs overlap or an end stands before its start.
        """
        s, e, n = np.asarray(started, float), np.asarray(ended, float), np.asarray(hits, np.int64)
        if not (s.shape == e.shape == n.shape) or s.ndim != 1:
            raise ValueError("started, ended and hits must be of one length")
        if not (np.isfinite(s).all() and np.isfinite(e).all()):
            raise ValueError("a time is missing")
        if (e < s).any():
            raise ValueError("a run ends before it starts")
        order = np.lexsort((n, s, e))
        s, e, n = s[order], e[order], n[order]
        # A correction in the middle of a run keeps its moment: the run is cut in two there.
        inside = np.flatnonzero(e == s)
        runs = np.flatnonzero(e > s)
        if (s[runs][1:] < e[runs][:-1]).any():
            raise ValueError("two runs overlap")
        looks = s[runs]
        if inside.size and runs.size:
            s, e, n = _cut_runs(s, e, n, runs, inside)
        return cls(s, e, np.concatenate(([0], np.cumsum(n))), looks)

    @property
    def total(self) -> int:
        return int(self.before[-1])

    @cached_property
    def _lists(self) -> tuple[list[float], list[float], list[int]]:
        """As plain numbers: one moment is looked up ten times as fast in a list as in an array."""
        return self.started.tolist(), self.ended.tolist(), self.before.tolist()

    @cached_property
    def _looks(self) -> tuple[list[float], list[int]]:
        """When the die was looked at, and the hits it had then."""
        return self.looks.tolist(), self.before[np.searchsorted(self.ended, self.looks, side="right")].tolist()

    def at(self, moment: float, *, hits_into_run: int | None = None) -> ClockReading:
        """Hits on the clock at a moment. `hits_into_run`: hits of the run under way done by then, where known."""
        started, ended, before = self._lists
        i = bisect_right(ended, moment)
        base = before[i]
        if i == len(started) or moment <= started[i]:
            return ClockReading(base, False)
        done = before[i + 1] - base
        if hits_into_run is not None:
            return ClockReading(base + min(max(hits_into_run, 0), done), False)
        share = (moment - started[i]) / (ended[i] - started[i])
        return ClockReading(base + int(done * share), True)

    def last_look(self, moment: float) -> int:
        """Hits when the die was last looked at before a moment, 0 where it never ran.

        A die is looked at after each run. The look at the very moment (the end of a run that ends there) is the one
        that found what is being told, so the look before is meant: the start of the last run begun before it.
        """
        moments, hits = self._looks
        i = bisect_left(moments, moment) - 1
        return hits[i] if i >= 0 else 0


def _cut_runs(
    started: NDArray[np.float64],
    ended: NDArray[np.float64],
    hits: NDArray[np.int64],
    runs: NDArray[np.intp],
    inside: NDArray[np.intp],
) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.int64]]:
    """Cut each run at the corrections that fall inside it, its hits shared by time in whole hits."""
    s: list[NDArray[np.float64]] = []
    e: list[NDArray[np.float64]] = []
    n: list[NDArray[np.int64]] = []
    moments = started[inside]
    for i in runs:
        cuts = np.unique(moments[(moments > started[i]) & (moments < ended[i])])
        ends = np.concatenate((cuts, [ended[i]]))
        starts = np.concatenate(([started[i]], cuts))
        done = np.floor(hits[i] * (ends - started[i]) / (ended[i] - started[i])).astype(np.int64)
        done[-1] = hits[i]
        s.append(starts)
        e.append(ends)
        n.append(np.diff(done, prepend=0))
    s.append(moments)
    e.append(moments)
    n.append(hits[inside])
    begins, ends, shares = np.concatenate(s), np.concatenate(e), np.concatenate(n)
    order = np.lexsort((begins, ends))
    return begins[order], ends[order], shares[order]
