"""The likelihood of edges as tables over m, the logarithm of an edge's usual life.

A cell holds the cycles of one edge that ran in one stretch: in one lot, or in the same lots by the same shares. Life to
dullness of edge e in stretch g: S(h) = exp(-h^k E), E = exp(k (w_g - m_e)), h in units of 100,000 hits, where e^{w_g}
is the mean of e^w over the lots of the stretch, each by its share of the hits (see web.py). With l the logarithm of a
cell's likelihood,
    l(m, w) = -Z E + sum over dull ends ln(1 - exp(-D E)),
    Z = sum over cycles of (still sharp: h^k; dull: lower^k) - from^k,   D = h^k - lower^k.
A dull end known exactly is an interval of relative width 1e-6: the density but for a constant.
The cell's own w is N(c, d^2) given what the other edges of the die say of the lot (see lots.py); three Gauss-Hermite
nodes x_j with weights a_j integrate it: L_e(m) = sum over cells ln sum_j a_j exp l(m, c + x_j d).
A cycle with readings that did not end dull has, instead of -h^k E, its integral from `integrals.py`.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from .cycles import DULL, HITS_UNIT, LifeSamples, Passed
from .integrals import Told
from .web import Web, pull_of

Array = NDArray[np.float64]
Floats = NDArray[np.floating[Any]]  # of 32 bits or 64
EXACT_WIDTH = 1e-6
ROOT3 = np.sqrt(3.0)
LARGEST = 500.0  # of an exponent: beyond it a likelihood is nought for every purpose
FLOOR = 2000.0  # a table is cut off this far below its largest value
ENOUGH = 0.75  # of a die's edges ended a cycle in a lot, for the lot to be compared by
PARTIAL_AT_MOST = 0.25  # of a die's dull ends lie where only a few edges were renewed
BLOCK = 24_000  # table entries worked on at once, to stay in the cache
E_MOST = 300.0  # ln of the largest factor of E
E_MOST_32, LEAST_LN_32 = 27.0, 60.0  # the same where three are multiplied in 32 bits
LEAST_32, FARTHEST_32 = 1e-37, 1e6


@dataclass(frozen=True)
class Cells:
    """Cycles sorted by edge and stretch.

    edge: int[c] edge of each cell, rising. lot: int[c] number of the stretch, from 0, unique over the fleet; lot_die:
    the die of each. web: how stretches hang together by the lots they share, where they do.
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
    under_way: NDArray[np.bool_]  # [cells] cycles under way have cells of their own
    web: Web | None = None
    lot_name: NDArray[np.int64] | None = None  # without a web: number of each lot within its die, -1 of one by itself

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
        edge, web = samples.edge, None
        if lots and samples.passed is not None and len(samples):
            lot, web = _stretches(samples, samples.passed, die[edge])
        else:
            lot = shared_lots(samples, die, positions) if lots else np.full(len(samples), -1, np.int64)
        key = 2 * (edge * (int(lot.max(initial=-1)) + 2) + lot + 1) + samples.under_way
        if len(key) and (key[1:] < key[:-1]).any():
            order = np.argsort(key, kind="stable")
            samples, edge, lot, key = samples.pick(order), edge[order], lot[order], key[order]
        dull = samples.ended == DULL
        hits = np.where(dull, np.maximum(samples.hits, 1.0), samples.hits) / HITS_UNIT
        lower = np.minimum(samples.lower_hits / HITS_UNIT, hits * (1 - EXACT_WIDTH))
        start = np.minimum(samples.from_hits / HITS_UNIT, np.where(dull, lower, hits))
        told = ~dull & np.isfinite(samples.told)
        new = np.ones(len(edge), bool)
        new[1:] = key[1:] != key[:-1]
        if lots:
            new |= lot < 0  # a lot nobody named stands for itself
        first = np.flatnonzero(new)
        cell_of_row = np.cumsum(new) - 1
        if web is None:
            number, lot_die, names = _number(die[edge[first]], lot[first])
        else:
            number, lot_die, names = lot[first], web.die, None
        with np.errstate(divide="ignore"):
            return cls(
                n_edges=len(die),
                edge=edge[first],
                lot=number,
                first_row=first,
                stop=np.log(np.where(dull, lower, np.where(told, 0.0, hits))),
                start=np.log(np.where(told, 0.0, start)),
                dull_cell=cell_of_row[dull],
                dull_lower=np.log(lower[dull]),
                dull_hits=np.log(hits[dull]),
                lot_die=lot_die,
                told_cell=cell_of_row[told],
                told=Told.of(samples.told[told], samples.told_sd[told], hits[told], start[told]),
                under_way=samples.under_way[first],
                web=web,
                lot_name=names,
            )

    def __len__(self) -> int:
        return len(self.edge)

    def only(self, keep: NDArray[np.bool_]) -> Cells:
        """Some of the cells; stretches keep their numbers."""
        of_row = np.repeat(np.arange(len(self)), np.diff(np.r_[self.first_row, len(self.stop)]))
        rows, dull, told = keep[of_row], keep[self.dull_cell], keep[self.told_cell]
        new = np.cumsum(keep) - 1
        return replace(
            self,
            edge=self.edge[keep],
            lot=self.lot[keep],
            first_row=np.flatnonzero(np.diff(of_row[rows], prepend=-1)),
            stop=self.stop[rows],
            start=self.start[rows],
            dull_cell=new[self.dull_cell[dull]],
            dull_lower=self.dull_lower[dull],
            dull_hits=self.dull_hits[dull],
            told_cell=new[self.told_cell[told]],
            told=self.told.pick(told),
            under_way=self.under_way[keep],
        )

    @cached_property
    def kinds(self) -> tuple[NDArray[np.int64], NDArray[np.int64], NDArray[np.int64], NDArray[np.int64]]:
        """Cells without a dull end; those with one, and its number; those with more, or with readings."""
        ends = np.bincount(self.dull_cell, minlength=len(self))
        other = ends > 1
        other[self.told_cell] = True
        one = (ends == 1) & ~other
        end = np.flatnonzero(one[self.dull_cell])
        return np.flatnonzero((ends == 0) & ~other), np.flatnonzero(one), end, np.flatnonzero(other)

    @cached_property
    def _at(self) -> dict[float, tuple[Array, Array]]:
        return {}

    def at(self, k: float) -> tuple[Array, Array]:
        """ln Z of each cell and ln D of each dull end, for shape k."""
        if not len(self.edge):
            return np.zeros(0), np.zeros(0)
        if k not in self._at:
            run = np.exp(k * self.stop)
            began = np.flatnonzero(np.isfinite(self.start))
            run[began] -= np.exp(k * self.start[began])
            with np.errstate(divide="ignore"):
                ln_z = np.log(np.maximum(np.add.reduceat(run, self.first_row), 0.0))
                ln_d = k * self.dull_hits + np.log(-np.expm1(k * (self.dull_lower - self.dull_hits)))
            self._at.clear()  # one shape at a time is worked with
            self._at[k] = ln_z, ln_d
        return self._at[k]

    def table(
        self,
        nodes: Array,
        k: float,
        c: Array | None = None,
        d: Array | None = None,
        edges: NDArray[np.int64] | None = None,
    ) -> Array:
        """L_e at the nodes of m of every edge: float64[edges, nodes]; c, d: [cells] of the lots, None without.

        edges: rising numbers of the edges to which the rows of nodes belong, where they are not all.
        """
        place = None
        if edges is not None and len(edges) < self.n_edges:
            place = np.full(self.n_edges, -1, np.int64)
            place[edges] = np.arange(len(edges))
        out = np.zeros(nodes.T.shape)  # [m, edges]
        ln_z, ln_d = self.at(k)
        plain, one, end, other = self.kinds
        if c is None or d is None:
            self._without_lots(np.exp(np.minimum(-k * nodes.T, E_MOST)), out, ln_z, ln_d, place)
            other = np.unique(self.told_cell)
        else:
            middle = k * nodes[:, nodes.shape[1] // 2]
            e = np.exp(np.clip(middle - k * nodes.T, -E_MOST_32, E_MOST_32)).astype(np.float32)
            ln_z = ln_z + k * c
            r = np.exp(np.minimum(k * ROOT3 * d, E_MOST_32)).astype(np.float32)
            for cells, row in self._some(plain, len(e), place):
                some = np.take(e, row, axis=1)
                some *= _factor_32(ln_z[cells] - middle[row])
                self._add(out, row, _sharp(some, r[cells]))
            for cells, row, ln_y in self._some(one, len(e), place, ln_d[end] + k * c[one]):
                some = np.take(e, row, axis=1)
                y = some * _factor_32(ln_y - middle[row])
                some *= _factor_32(ln_z[cells] - middle[row])
                self._add(out, row, _dull_once(some, y, r[cells]))
            ln_z = self.at(k)[0]
        for cells, row in self._some(other, len(out), place):
            log = self._log_cells(cells, nodes[row], k, ln_z, ln_d, c, d)
            self._add(out, row, log.T)
        return np.ascontiguousarray(out.T)

    def _some(
        self, cells: NDArray[np.int64], width: int, place: NDArray[np.int64] | None, *more: Array
    ) -> Iterator[tuple[NDArray[Any], ...]]:
        """Parts of these cells that stay in the cache, with the row of each cell's edge in the table."""
        row = self.edge[cells]
        if place is not None:
            keep = place[row] >= 0
            cells, row, more = cells[keep], place[row[keep]], tuple(v[keep] for v in more)
        step = max(BLOCK // width, 1)
        for i in range(0, len(cells), step):
            yield cells[i : i + step], row[i : i + step], *(v[i : i + step] for v in more)

    @staticmethod
    def _add(out: Array, row: NDArray[np.int64], log: Floats) -> None:
        """Adds log, [m, cells], to the columns of their edges; row rises."""
        first = np.flatnonzero(np.r_[True, row[1:] != row[:-1]])
        out[:, row[first]] += np.add.reduceat(log, first, axis=1, dtype=float)

    def _without_lots(self, e: Array, out: Array, ln_z: Array, ln_d: Array, place: NDArray[np.int64] | None) -> None:
        z = np.bincount(self.edge, np.exp(ln_z), self.n_edges) if len(self.edge) else np.zeros(self.n_edges)
        out -= np.minimum(e * (z if place is None else z[place >= 0]), np.exp(LARGEST))
        for _, row, y in self._some(self.dull_cell, len(e), place, np.exp(np.minimum(ln_d, E_MOST))):
            self._add(out, row, np.log(-np.expm1(-np.maximum(e[:, row] * y, 1e-300))))

    def _log_cells(
        self, cells: NDArray[np.int64], m: Array, k: float, ln_z: Array, ln_d: Array, c: Array | None, d: Array | None
    ) -> Array:
        """ln of each cell's likelihood at its own nodes m, [cells, nodes]: any number of dull ends, and readings."""
        around = np.zeros(len(cells)) if c is None else c[cells]
        reach = np.zeros(len(cells)) if d is None else ROOT3 * d[cells]
        owner, end = _members(self.dull_cell, cells)
        reader, read = _members(self.told_cell, cells)
        lines = None
        if len(read):
            v = m[reader] - around[reader, None]
            lines = self.told.pick(read).lines(v.min(axis=1) - reach[reader], v.max(axis=1) + reach[reader], k)

        def at(w: Array) -> Array:
            away = k * (around + w)[:, None] - k * m
            log = np.zeros(m.shape)
            if c is not None:
                log -= np.exp(np.minimum(away + ln_z[cells, None], LARGEST))
                y = np.exp(np.minimum(away[owner] + ln_d[end, None], LARGEST))
                np.add.at(log, owner, np.log(-np.expm1(-np.maximum(y, 1e-300))))
            if lines is not None:
                np.add.at(log, reader, lines.at(slice(None), m[reader] - (around + w)[reader, None]))
            return log

        if c is None:
            return at(reach)
        logs = np.stack([at(0 * reach) + np.log(2 / 3), at(reach) - np.log(6), at(-reach) - np.log(6)])
        top = logs.max(axis=0)
        return top + np.log(np.exp(logs - top).sum(axis=0))

    def own(self, mean: Array, sd: Array, nodes: Array, weights: Array, w: Array, k: float) -> NDArray[np.float32]:
        """ln of sum_j weights_j exp l(m_j, w) of each cell, its largest nought: float32[w, cells].

        mean, sd: [edges] of m; nodes, weights: [3], rising. w: [w, lots].
        """
        out = np.empty((len(w), len(self)), np.float32)
        if not len(self):
            return out
        ln_z, ln_d = self.at(k)
        beside = np.exp(np.clip(-k * sd * nodes[:, None], -E_MOST_32, E_MOST_32)).astype(np.float32)  # [3, edges]
        factor = np.exp(np.clip(k * w, -E_MOST_32, E_MOST_32)).astype(np.float32)
        plain, one, end, other = self.kinds
        for cells, row in self._some(plain, len(w), None):
            f = np.take(factor, self.lot[cells], axis=1)
            far, mid, near = np.take(beside, row, axis=1) * _factor_32(ln_z[cells] - k * mean[row])
            total = np.exp(f * (near - far))
            total *= weights[0]
            middle = f * (near - mid)
            np.exp(middle, out=middle)
            middle *= weights[1]
            total += middle
            total += weights[2]
            np.log(total, out=total)
            f *= near
            total -= f
            out[:, cells] = total
        for cells, row, ln_y in self._some(one, len(w), None, ln_d[end]):
            f = np.take(factor, self.lot[cells], axis=1)
            some = np.take(beside, row, axis=1)
            far, mid, near = some * _factor_32(ln_z[cells] - k * mean[row])
            y = -np.maximum(some * _factor_32(ln_y - k * mean[row]), LEAST_32)
            total = np.float32(-weights[2]) * np.expm1(f * y[2])
            total -= np.float32(weights[1]) * np.expm1(f * y[1]) * np.exp(f * (near - mid))
            total -= np.float32(weights[0]) * np.expm1(f * y[0]) * np.exp(f * (near - far))
            np.log(np.maximum(total, LEAST_32, out=total), out=total)
            f *= near
            total -= f
            out[:, cells] = total
        if len(other):
            m = mean[self.edge[other], None] + sd[self.edge[other], None] * nodes
            logs = self._log_at(other, m, w.T[self.lot[other]], k, ln_z, ln_d) + np.log(weights)[:, None]
            top = logs.max(axis=1, keepdims=True)
            logs = top[:, 0] + np.log(np.exp(logs - top).sum(axis=1))
            out[:, other] = np.maximum(logs - logs.max(axis=1, keepdims=True), -FARTHEST_32).T
        out -= out.max(axis=0)
        return out

    def _log_at(self, cells: NDArray[np.int64], m: Array, w: Array, k: float, ln_z: Array, ln_d: Array) -> Array:
        """l(m, w) of some cells: m [cells, 3], w [cells, w]; [cells, 3, w]."""
        away = k * (w[:, None, :] - m[:, :, None])
        out = -np.exp(np.minimum(away + ln_z[cells, None, None], LARGEST))
        place = np.full(len(self), -1, np.int64)
        place[cells] = np.arange(len(cells))
        end = np.flatnonzero(place[self.dull_cell] >= 0)
        owner = place[self.dull_cell[end]]
        y = np.exp(np.minimum(away[owner] + ln_d[end, None, None], LARGEST))
        np.add.at(out, owner, np.log(-np.expm1(-np.maximum(y, 1e-300))))
        read = np.flatnonzero(place[self.told_cell] >= 0)
        if len(read):
            owner = place[self.told_cell[read]]
            np.add.at(out, owner, self.told.pick(read).log(-away[owner] / k, k))
        return out


def _members(owner: NDArray[np.int64], cells: NDArray[np.int64]) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Which rows belong to these cells: place of each row's cell among them, and the row. owner rises."""
    low, high = np.searchsorted(owner, cells, "left"), np.searchsorted(owner, cells, "right")
    count = high - low
    place = np.repeat(np.arange(len(cells)), count)
    return place, np.arange(len(place)) + np.repeat(low - np.r_[0, np.cumsum(count)[:-1]], count)


def _factor_32(ln: Array) -> NDArray[np.float32]:
    return np.exp(np.clip(ln, -LEAST_LN_32, E_MOST_32)).astype(np.float32)


def _sharp(e: Floats, r: Floats) -> Floats:
    """ln of 1/6 exp(-e r) + 2/3 exp(-e) + 1/6 exp(-e / r); the last is the largest. e is used up."""
    low = e * (1 / r)
    total = low - e
    np.exp(total, out=total)
    total *= 4.0
    e *= r
    np.subtract(low, e, out=e)
    total += np.exp(e, out=e)
    total += 1.0
    total *= 1 / 6
    np.log(total, out=total)
    total -= low
    return total


def _dull_once(e: Floats, y: Floats, r: Floats) -> Floats:
    """The same with each part times its 1 - exp(-y), y going with e. Both are used up."""
    np.maximum(y, LEAST_32, out=y)
    np.negative(y, out=y)
    low = e * (1 / r)
    total = low - e
    np.exp(total, out=total)
    total *= np.expm1(y)
    total *= 4.0
    e *= r
    np.subtract(low, e, out=e)
    np.exp(e, out=e)
    far = y * r
    e *= np.expm1(far, out=far)
    total += e
    y *= 1 / r
    total += np.expm1(y, out=y)
    total *= -1 / 6
    np.log(total, out=total)
    total -= low
    return total


def _number(die: NDArray[np.int64], lot: NDArray[np.int64]) -> tuple[NDArray[np.int64], ...]:
    """A number for each lot of each die, from 0, a cell of no lot having its own; the die of each number; its lot."""
    shared = lot >= 0
    number = np.empty(len(lot), np.int64)
    wide = int(lot.max(initial=0)) + 1
    key = die[shared] * wide + lot[shared]
    unique, place = _unique(key)
    number[shared] = place
    number[~shared] = len(unique) + np.arange((~shared).sum())
    alone = die[~shared]
    return number, np.concatenate([unique // wide, alone]), np.concatenate([unique % wide, np.full(len(alone), -1)])


def _unique(key: NDArray[np.int64]) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Unique keys, and which of them each is; by counting where the keys lie close."""
    most = int(key.max(initial=0)) + 1
    if most > 8 * len(key) + 1000:
        unique, place = np.unique(key, return_inverse=True)
        return unique, place.reshape(-1)
    unique = np.flatnonzero(np.bincount(key, minlength=most))
    where = np.zeros(most, np.int64)
    where[unique] = np.arange(len(unique))
    return unique, where[key]


def _stretches(samples: LifeSamples, passed: Passed, die: NDArray[np.int64]) -> tuple[NDArray[np.int64], Web]:
    """The stretch of each cycle, numbered die by die; passed: the lots that the samples cut; die: [cycles]."""
    row = passed.row
    wide = int(passed.lot.max(initial=0)) + 1
    names, lot = _unique(die[row] * wide + passed.lot)
    total = np.bincount(row, passed.hits, len(die))
    share = np.where(total[row] > 0, passed.hits / np.maximum(total[row], 1e-300), 1.0)
    # Cycles are of one stretch where their shares of each lot are: told by a sum with weights of chance.
    sums = np.bincount(row, share * np.random.default_rng(0).random(len(names))[lot], len(die))
    key = die * 2**32 + np.round(sums * 2**24).astype(np.int64)
    _, first, number = np.unique(key, return_index=True, return_inverse=True)
    number = number.reshape(-1)
    kept = passed[first]
    at = np.arange(kept.first[-1]) + np.repeat(passed.first[first] - kept.first[:-1], np.diff(kept.first))
    dull = np.flatnonzero((samples.ended == DULL) & (np.diff(passed.first) > 1))
    last = passed.hits[passed.first[dull + 1] - 1]
    pull = np.bincount(number[dull], pull_of(samples.lower_hits[dull], samples.hits[dull], last), len(first))
    name, of_die = names % wide, names // wide
    return number, Web(die[first], of_die, name, kept.first, lot[at], share[at], np.asarray(pull, float))


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
    wide = int(lot.max()) + 2
    pairs, _ = _unique(samples.edge * wide + lot + 1)  # an edge in a lot
    of_pair = die[pairs // wide] * wide + pairs % wide
    groups, group = _unique(of_pair)  # a lot of a die
    partial = np.bincount(group) < ENOUGH * positions[groups // wide]
    mine = die[samples.edge]
    where = np.searchsorted(groups, mine * wide + lot + 1)
    alone = partial[where]
    dull = samples.ended == DULL
    ends = np.bincount(mine[dull], minlength=len(positions))
    mixed = np.bincount(mine[dull & alone & (lot >= 0)], minlength=len(positions)) > PARTIAL_AT_MOST * ends
    return np.where(alone | mixed[mine], -1, lot)
