"""How many intervals end in so many strokes: the chances of 0, 1, 2 ... sharpenings or replacements."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from .laws import IntervalLaw, LawRefused

CELLS = 512
CELLS_IN_AN_INTERVAL = 24  # below it the lattice, not the law, would decide
MOST_CELLS = 32_768
NEGLIGIBLE = 1e-10
MOST_CELLS_AT = 524_288  # where only some columns of the lattice are computed
WHOLE = 16  # a transform back costs less than single columns where more than one in so many powers count
DAMPING = 1e-12  # how far a sum that runs round the transform has fallen when it comes back


class TooManyIntervals(LawRefused):
    """The horizon holds so many intervals that a count of them says nothing."""


@dataclass(frozen=True, eq=False)
class RenewalCounts:
    """Counts for every horizon up to `horizon_hits`, computed once.

    at_least: float[K, cells + 1], row k - 1 the chance of at least k ends in 0, d, 2 d ... horizon_hits strokes.
    first: the law of the interval under way. Its own chance of having ended is asked of it and not read off the
    lattice: a law that begins or ends at once (a stored forecast, a life between two counts) has a jump in its density,
    and beside it half a cell's chance is off by as much as the cell is wide. Sums of two and more have none.
    """

    horizon_hits: float
    at_least: NDArray[np.float64]
    first: IntervalLaw | None = None

    @classmethod
    def of(cls, *, first: IntervalLaw, fresh: IntervalLaw, horizon_hits: float, cells: int = CELLS) -> RenewalCounts:
        """P(N(x) >= k) = G * F^{*(k-1)}(x): G the law of the interval under way, F that of every later one.

        Laws are put on a lattice, each point taking the chance of the half cells beside it, and convolved by FFT; the
        error falls with the square of the cell, also where a density jumps. Cells are made smaller where intervals are
        short.
        Source: renewal theory, D. R. Cox, Renewal Theory, 1962, ch. 3; lattice after Xie (1989).
        Limits: laws that end at one count with a chance of their own are put to the nearest point of the lattice.
        Intervals independent of each other given the laws; what is unknown but the same for all intervals of a
        die belongs into several worlds, mixed afterwards.
        Raises LawRefused for a horizon that is not finite and nought or more, TooManyIntervals where the horizon
        holds more intervals than the finest lattice can tell apart.
        """
        if not (np.isfinite(horizon_hits) and horizon_hits >= 0):
            raise LawRefused(f"a horizon of {horizon_hits:g} strokes; it must be nought or more.")
        if horizon_hits == 0:
            return cls(0.0, np.zeros((0, 2)))
        cells = _cells_for(first, fresh, horizon_hits, cells)
        edges = (np.arange(cells + 1) + 0.5) * (horizon_hits / cells)
        current = np.diff(first.ended(edges), prepend=0.0)
        step = np.diff(fresh.ended(edges), prepend=0.0)
        size = 1 << int(np.ceil(np.log2(2 * cells + 2)))
        step_f = np.fft.rfft(step, size)
        rows = []
        while True:
            # half of a lattice point's chance lies before the point itself
            reached = np.cumsum(current) - current / 2
            reached[0] = 0.0
            if reached[-1] < NEGLIGIBLE:
                break
            rows.append(np.minimum(reached, 1.0))
            current = np.maximum(np.fft.irfft(np.fft.rfft(current, size) * step_f, size)[: cells + 1], 0.0)
        at_least = np.array(rows) if rows else np.zeros((0, cells + 1))
        # rounding of the FFT must not make a higher count likelier than a lower one
        return cls(float(horizon_hits), np.minimum.accumulate(at_least, axis=0) if rows else at_least, first)

    @classmethod
    def mixed(
        cls, *, first: IntervalLaw, fresh: Sequence[IntervalLaw], horizon_hits: float, cells: int = CELLS
    ) -> RenewalCounts:
        """The counts where one of several laws of a later interval holds, nobody knows which: each equally likely.

        The mean of what `of` gives for each, on the finest lattice that one of them needs, computed together.
        Raises as `of` does, and LawRefused without any law.
        """
        if not len(fresh):
            raise LawRefused("there is no law of a fresh interval.")
        if not (np.isfinite(horizon_hits) and horizon_hits >= 0):
            raise LawRefused(f"a horizon of {horizon_hits:g} strokes; it must be nought or more.")
        if horizon_hits == 0:
            return cls(0.0, np.zeros((0, 2)))
        cells = max(_cells_for(first, law, horizon_hits, cells) for law in fresh)
        edges = (np.arange(cells + 1) + 0.5) * (horizon_hits / cells)
        size = 1 << int(np.ceil(np.log2(2 * cells)))  # of a convolution only its very last point wraps, onto the first
        step = np.array([np.diff(law.ended(edges), prepend=0.0) for law in fresh])
        step_f = np.fft.rfft(step, size)
        current = np.diff(first.ended(edges), prepend=0.0)[None]
        rows = []
        while True:
            reached = np.cumsum(current, axis=1) - current / 2
            reached[:, 0] = 0.0
            if reached[:, -1].max() < NEGLIGIBLE:
                break
            rows.append(np.minimum(reached, 1.0).mean(axis=0))
            start = current[:, 0] * step[:, 0]
            current = np.maximum(np.fft.irfft(np.fft.rfft(current, size) * step_f, size)[:, : cells + 1], 0.0)
            current[:, 0] = start
        at_least = np.array(rows) if rows else np.zeros((0, cells + 1))
        return cls(float(horizon_hits), np.minimum.accumulate(at_least, axis=0) if rows else at_least, first)

    def chances(self, hits: float) -> NDArray[np.float64]:
        """chances[n]: of n ends in `hits` strokes. Raises LawRefused beyond the horizon."""
        beyond = self._at_least(hits)
        return np.append(1.0, beyond) - np.append(beyond, 0.0)

    def expected(self, hits: float) -> float:
        """The expected count: the sum over k of P(N >= k)."""
        return float(self._at_least(hits).sum())

    def _at_least(self, hits: float) -> NDArray[np.float64]:
        if not 0 <= hits <= self.horizon_hits * (1 + 1e-12):
            raise LawRefused(f"{hits:g} strokes asked for; computed were 0 to {self.horizon_hits:g}.")
        if self.horizon_hits == 0 or not len(self.at_least):
            return np.zeros(0)
        cells = self.at_least.shape[1] - 1
        where = min(hits / self.horizon_hits, 1.0) * cells
        low = min(int(where), cells - 1)
        share = where - low
        at_least = (1 - share) * self.at_least[:, low] + share * self.at_least[:, low + 1]
        if self.first is not None:
            at_least[0] = float(np.asarray(self.first.ended(np.array([hits])))[0])
        return np.minimum.accumulate(at_least)


def mixed_at(
    hits: Sequence[float], *, first: IntervalLaw | None, fresh: Sequence[IntervalLaw], cells: int = 8 * CELLS
) -> list[NDArray[np.float64]]:
    """For each of these strokes what `RenewalCounts.mixed` and then `chances` give: of 0, 1, 2 ... ends. first None:
    the interval under way has just begun.

    The same lattice and the same sums; only the columns asked for are computed, so that a thousand ends cost what ten
    do. With X(z) the damped transform of a law on the lattice, z = r exp(-i w), and H(z) = 1/2 + z / (1 - z) that adds
    up, the chance of k ends at point j is r^-j times the mean over w of G(z) F(z)^(k-1) H(z) exp(i w j). Powers of F
    die out but for small w, so that later counts need ever fewer of them.
    Source: transforms of renewal counts, e.g. Abate and Whitt, Numerical inversion of probability generating functions,
    1992 (from memory).
    Raises as `RenewalCounts.mixed` does, the latter only beyond 16 times as many intervals.
    """
    at = np.asarray(list(hits), float)
    if not len(fresh):
        raise LawRefused("there is no law of a fresh interval.")
    if not (np.isfinite(at).all() and (at >= 0).all()):
        raise LawRefused(f"{at.tolist()} strokes; each must be nought or more.")
    horizon = float(at.max(initial=0.0))
    if horizon == 0:
        return [np.ones(1) for _ in at]
    cells = max(_cells_for(first or law, law, horizon, cells, most=MOST_CELLS_AT) for law in fresh)
    where = at / horizon * cells
    low = np.minimum(where.astype(int), cells - 1)
    points = np.stack([low, low + 1])
    grid = _Lattice.of(cells, horizon)
    laws = [grid.transform(law) for law in fresh]
    under_way = None if first is None else grid.transform(first)
    worlds = [grid.at_least(law if under_way is None else under_way, law, points) for law in laws]
    most = max(len(rows) for rows in worlds)
    reached = np.mean([np.pad(rows, ((0, most - len(rows)), (0, 0), (0, 0))) for rows in worlds], axis=0)
    share = where - low
    beyond = (1 - share) * reached[:, 0] + share * reached[:, 1]
    once = np.mean([law.ended(at) for law in ([first] if first is not None else fresh)], axis=0)
    beyond = np.minimum.accumulate(np.vstack([once[None], beyond]), axis=0)
    found = []
    for column in beyond.T:
        seen = column[: int(np.count_nonzero(column >= NEGLIGIBLE))]
        found.append(np.append(1.0, seen) - np.append(seen, 0.0))
    return found


@dataclass(frozen=True, kw_only=True, eq=False)
class _Lattice:
    """The lattice of `mixed_at` and the points z of its transform, as many as are not mirrored."""

    cells: int
    size: int
    edges: NDArray[np.float64]
    damped: NDArray[np.float64]  # r^j
    weight: NDArray[np.float64]  # 2 for a point with its mirror, else 1
    adding: NDArray[np.complex128]  # H(z)

    @classmethod
    def of(cls, cells: int, horizon: float) -> _Lattice:
        size = 1 << int(np.ceil(np.log2(2 * cells + 2)))
        damped = DAMPING ** (np.arange(cells + 1) / size)
        z = DAMPING ** (1 / size) * np.exp(-2j * np.pi * np.arange(size // 2 + 1) / size)
        weight = np.full(len(z), 2.0 / size)
        weight[[0, -1]] = 1.0 / size
        edges = np.asarray((np.arange(cells + 1) + 0.5) * (horizon / cells), np.float64)
        adding = (0.5 + z / (1 - z)) * weight
        return cls(cells=cells, size=size, edges=edges, damped=damped, weight=weight * size, adding=adding)

    def transform(self, law: IntervalLaw) -> NDArray[np.complex128]:
        return np.fft.rfft(np.diff(law.ended(self.edges), prepend=0.0) * self.damped, self.size)

    def at_least(
        self, first: NDArray[np.complex128], fresh: NDArray[np.complex128], points: NDArray[np.int_]
    ) -> NDArray[np.float64]:
        """float[K, 2, columns]: of at least 2, 3 ... ends at these points of the lattice."""
        flat = points.ravel()
        undamped = 1 / self.damped[flat]
        roots = np.exp(2j * np.pi * np.arange(self.size) / self.size)
        start = first * self.adding * fresh  # of two ends
        rows, done, block = [], 0, 16
        while True:
            small = NEGLIGIBLE / 10 / (len(start) * undamped.max())
            kept = int(np.flatnonzero(np.abs(start) > small).max(initial=0)) + 1
            if kept > len(self.adding) // WHOLE:
                made = np.fft.irfft(start / self.weight * self.size, self.size)[None, flat] * undamped
                start = start * fresh
            else:
                start, fresh = start[:kept], fresh[:kept]
                powers = np.empty((block, kept), complex)
                for n in range(block):
                    powers[n] = start
                    start = start * fresh
                turns = roots[np.outer(np.arange(kept), flat) % self.size]
                made = (powers @ turns).real * undamped
                block = min(2 * block, 256)
            rows.append(np.clip(made, 0.0, 1.0))
            done += len(made)
            if made[-1].max() < NEGLIGIBLE or done > MOST_CELLS_AT:
                break
        return np.concatenate(rows).reshape(-1, *points.shape)


def _cells_for(first: IntervalLaw, fresh: IntervalLaw, horizon_hits: float, cells: int, most: int = MOST_CELLS) -> int:
    """Doubled until a fresh interval seldom ends within a few cells."""
    while True:
        width = horizon_hits / cells * CELLS_IN_AN_INTERVAL
        if float(fresh.ended(np.array([width]))[0]) < 0.5:
            return cells
        if cells >= most:
            intervals = most / CELLS_IN_AN_INTERVAL
            raise TooManyIntervals(
                f"{horizon_hits:,.0f} strokes hold more than {intervals:,.0f} intervals between sharpenings: "
                "either the strokes ahead or the forecast cannot be right."
            )
        cells *= 2
