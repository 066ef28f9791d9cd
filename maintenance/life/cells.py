"""The likelihood of edges as tables over m, the logarithm of an edge's usual life.

A cell holds the cycles of one edge that ended in one lot. Life to dullness of edge e in lot g:
S(h) = exp(-h^k E), E = exp(k (w_g - m_e)), h in units of 100,000 hits. With l the logarithm of a cell's likelihood,
    l(m, w) = -Z E + sum over dull ends ln(1 - exp(-D E)),
    Z = sum over cycles of (still sharp: h^k; dull: lower^k) - from^k,   D = h^k - lower^k.
A dull end known exactly is an interval of relative width 1e-6: the density but for a constant.
The cell's own w is N(c, d^2) given what the other edges of the die say of the lot (see lots.py); three Gauss-Hermite
nodes x_j with weights a_j integrate it: L_e(m) = sum over cells ln sum_j a_j exp l(m, c + x_j d).
A cycle with readings that did not end dull has, instead of -h^k E, its integral from `integrals.py`.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from .cycles import DULL, HITS_UNIT, LifeSamples
from .integrals import Told

Array = NDArray[np.float64]
EXACT_WIDTH = 1e-6
ROOT3 = np.sqrt(3.0)
LARGEST = 500.0  # of an exponent: beyond it a likelihood is nought for every purpose
FLOOR = 2000.0  # a table is cut off this far below its largest value
ENOUGH = 0.75  # of a die's edges ended a cycle in a lot, for the lot to be compared by
PARTIAL_AT_MOST = 0.25  # of a die's dull ends lie where only a few edges were renewed
BLOCK = 400_000  # table entries worked on at once, to stay in the cache


@dataclass(frozen=True)
class Cells:
    """Cycles sorted by edge and lot.

    edge: int[c] edge of each cell, rising. lot: int[c] number of the lot, from 0, unique over the fleet.
    first_row: int[c] where the cell's cycles begin among the rows. stop, start: [r] ln of the hits at which a cycle was
    last known sharp and of those at which its record began (-inf: nought). dull_cell: int[q] cell of each dull end,
    rising; dull_lower, dull_hits: [q] ln hits.
    """

    n_edges: int
    edge: NDArray[np.int64]
    lot: NDArray[np.int64]
    first_row: NDArray[np.int64]
    stop: Array
    start: Array
    dull_cell: NDArray[np.int64]
    dull_lower: Array
    dull_hits: Array
    lot_die: NDArray[np.int64]
    told_cell: NDArray[np.int64]
    told: Told

    @classmethod
    def of(
        cls,
        samples: LifeSamples,
        die: NDArray[np.int64],
        *,
        positions: NDArray[np.int64] | None = None,
        lots: bool = True,
    ) -> Cells:
        """samples: without cycles of unknown age. die: int[edges]. positions: int[dies] edges at work."""
        n_edges = len(die)
        lot = shared_lots(samples, die, positions) if lots else np.full(len(samples), -1, np.int64)
        order = np.lexsort((samples.hits, samples.lower_hits, samples.from_hits, samples.ended, lot, samples.edge))
        edge, lot = samples.edge[order], lot[order]
        dull = samples.ended[order] == DULL
        hits = np.where(dull, np.maximum(samples.hits[order], 1.0), samples.hits[order]) / HITS_UNIT
        lower = np.minimum(samples.lower_hits[order] / HITS_UNIT, hits * (1 - EXACT_WIDTH))
        start = np.minimum(samples.from_hits[order] / HITS_UNIT, np.where(dull, lower, hits))
        told = ~dull & np.isfinite(samples.told[order])
        lone = np.where(lot < 0, np.arange(len(lot)) if lots else 0, -1)  # a lot nobody named stands for itself
        new = np.ones(len(edge), bool)
        new[1:] = (edge[1:] != edge[:-1]) | (lot[1:] != lot[:-1]) | (lone[1:] != lone[:-1])
        first = np.flatnonzero(new)
        cell_of_row = np.cumsum(new) - 1
        cell_edge, cell_lot = edge[first], lot[first]
        key = np.stack([die[cell_edge], np.where(cell_lot >= 0, cell_lot, -2 - np.arange(len(first)))])
        unique, number = np.unique(key, axis=1, return_inverse=True)
        with np.errstate(divide="ignore"):
            return cls(
                n_edges=n_edges,
                edge=cell_edge,
                lot=number.reshape(-1),
                first_row=first,
                stop=np.log(np.where(dull, lower, np.where(told, 0.0, hits))),
                start=np.log(np.where(told, 0.0, start)),
                dull_cell=cell_of_row[dull],
                dull_lower=np.log(lower[dull]),
                dull_hits=np.log(hits[dull]),
                lot_die=unique[0],
                told_cell=cell_of_row[told],
                told=Told.of(samples.told[order][told], samples.told_sd[order][told], hits[told], start[told]),
            )

    def __len__(self) -> int:
        return len(self.edge)

    def at(self, k: float) -> tuple[Array, Array]:
        """ln Z of each cell and ln D of each dull end, for shape k."""
        if not len(self.edge):
            return np.zeros(0), np.zeros(0)
        run = np.exp(k * self.stop) - np.exp(k * self.start)
        with np.errstate(divide="ignore"):
            ln_z = np.log(np.maximum(np.add.reduceat(run, self.first_row), 0.0))
            ln_d = k * self.dull_hits + np.log(-np.expm1(k * (self.dull_lower - self.dull_hits)))
        return ln_z, ln_d

    def table(self, nodes: Array, k: float, c: Array | None = None, d: Array | None = None) -> Array:
        """L_e at the nodes of m of every edge: float64[edges, nodes]; c, d: [cells] of the lots, None without."""
        out = np.zeros(nodes.shape)
        ln_z, ln_d = self.at(k)
        width = nodes.shape[1]
        step = max(BLOCK // width, 1)
        told = None
        if len(self.told_cell):
            edge = self.edge[self.told_cell]
            around = 0.0 if c is None else c[self.told_cell]
            reach = 0.0 if c is None else ROOT3 * d[self.told_cell]
            low, high = nodes[edge, 0] - around - reach, nodes[edge, -1] - around + reach
            told = self.told.lines(low, high, k)
        i = 0
        while i < len(self.edge):
            j = min(i + step, len(self.edge))
            if j < len(self.edge):  # whole edges only
                j = max(int(np.searchsorted(self.edge, self.edge[j], "left")), i)
                if j <= i:
                    j = int(np.searchsorted(self.edge, self.edge[i], "right"))
            part = self._log_cells(slice(i, j), nodes[self.edge[i:j]], k, ln_z, ln_d, c, d, told)
            edges, first = np.unique(self.edge[i:j], return_index=True)
            out[edges] = np.add.reduceat(part, first, axis=0)
            i = j
        return out

    def _log_cells(self, part: slice, m: Array, k: float, ln_z: Array, ln_d: Array, c, d, told) -> Array:
        """ln of each cell's likelihood at its own nodes m, [cells, nodes], the lot integrated out."""
        low, high = np.searchsorted(self.dull_cell, [part.start, part.stop])
        dull = self.dull_cell[low:high] - part.start
        away = -k * m if c is None else k * (c[part, None] - m)
        e0 = np.exp(np.minimum(away + ln_z[part, None], LARGEST))
        y0 = np.exp(np.minimum(away[dull] + ln_d[low:high, None], LARGEST))
        first, last = np.searchsorted(self.told_cell, [part.start, part.stop])
        with_told = self.told_cell[first:last] - part.start
        if c is None:
            out = -e0 + self._dull_part(dull, y0, e0.shape)
            if last > first:
                np.add.at(out, with_told, told.at(slice(first, last), m[with_told]))
            return out
        r = np.exp(k * ROOT3 * d[part])[:, None]
        centre = -e0
        if len(dull):
            centre = centre + self._dull_part(dull, y0, e0.shape)
        up, down = e0 * (1 - r), e0 * (1 - 1 / r)
        if len(dull):
            rd = r[dull]
            base = self._dull_part(dull, y0, e0.shape)
            up = up + self._dull_part(dull, y0 * rd, e0.shape) - base
            down = down + self._dull_part(dull, y0 / rd, e0.shape) - base
        if last > first:
            v = m[with_told] - c[part][with_told][:, None]
            reach = ROOT3 * d[part][with_told][:, None]
            rows = slice(first, last)
            base = told.at(rows, v)
            np.add.at(centre, with_told, base)
            np.add.at(up, with_told, told.at(rows, v - reach) - base)
            np.add.at(down, with_told, told.at(rows, v + reach) - base)
        top = np.maximum(np.maximum(up, down), 0.0)
        return centre + top + np.log(2 / 3 * np.exp(-top) + (np.exp(up - top) + np.exp(down - top)) / 6)

    @staticmethod
    def _dull_part(dull: NDArray[np.int64], y: Array, shape: tuple[int, int]) -> Array:
        out = np.zeros(shape)
        if len(dull):
            term = np.log(-np.expm1(-np.maximum(y, 1e-300)))
            if (np.diff(dull) > 0).all():
                out[dull] = term
            else:
                np.add.at(out, dull, term)
        return out

    def log_at(self, m: Array, w: Array, k: float) -> Array:
        """l(m, w) of each cell at its own pairs: m, w broadcast to [cells, ...]."""
        ln_z, ln_d = self.at(k)
        extra = (slice(None),) + (None,) * (np.ndim(m) - 1)
        away = k * (w - m)
        out = -np.exp(np.minimum(away + ln_z[extra], LARGEST))
        if len(self.dull_cell):
            y = np.exp(np.minimum(away[self.dull_cell] + ln_d[extra], LARGEST))
            np.add.at(out, self.dull_cell, np.log(-np.expm1(-np.maximum(y, 1e-300))))
        if len(self.told_cell):
            np.add.at(out, self.told_cell, self.told.log((m - w)[self.told_cell], k))
        return out


def shared_lots(samples: LifeSamples, die: NDArray[np.int64], positions: NDArray[np.int64] | None) -> NDArray[np.int64]:
    """The lot of each cycle where most edges of the die ended a cycle in it; else -1: the cycle stands for itself.

    Where only the edges that went dull were renewed, the others, still sharp, went on into the next lot and are missing
    in this one: compared within it, such a lot would always look like a hard one, and the lots in which the set was
    ground like easy ones. So a die's lots are not compared at all where more than a quarter of its dull ends lie in
    such lots (simulated shops with lots all alike: chance of finishing an order wrong by 0.045 before, 0.032 after).
    """
    lot = np.where(samples.lot >= 0, samples.lot, -1)
    if positions is None or not len(lot):
        return lot
    mine = die[samples.edge]
    pairs = np.unique(np.stack([mine, lot, samples.edge]), axis=1)
    first = np.flatnonzero(np.r_[True, (np.diff(pairs[:2], axis=1) != 0).any(axis=0)])
    count = np.diff(np.r_[first, pairs.shape[1]])
    partial = count < ENOUGH * positions[pairs[0, first]]
    wide = int(lot.max()) + 2
    gone = (pairs[0, first] * wide + pairs[1, first])[partial]
    alone = np.isin(mine * wide + lot, gone)
    dull = samples.ended == DULL
    ends = np.bincount(mine[dull], minlength=len(positions))
    mixed = np.bincount(mine[dull & alone & (lot >= 0)], minlength=len(positions)) > PARTIAL_AT_MOST * ends
    return np.where(alone | mixed[mine], -1, lot)
