"""What a die's edges have worn and will wear: hits times the rates of the lots, those to come included.

With h_g hits of the cycle under way in lot g, a part r of the lot under way still to come, and lots of the die's usual
size q after it, edge e will have worn at x further strokes of the die (s its share of them)
    X_e(x) = sum over g of h_g e^{w_g} + s min(x, r) e^{w_now} + s (x - r)+ e^{W(x)},
w of the lots so far as what ended in them tells it, W(x) of the mean of n = (x - r) / q new ones,
variance about ln(1 + (e^{sw^2} - 1) (floor(n) + (n - floor(n))^2) / n^2) or, below one lot, sw^2: ten coils are told
better than one. ln X is taken for normal, by its first two moments. One z carries the die's edges together:
ln X_e(x; z) = mean_e(x) + sd_e(x) z. Survival to x needs the distribution of X(x) alone and not its path, so that for
each x it is a sum over nodes of z. The nodes lie where z does given that all is sharp now, N(c, d^2), as far as z at x
and now go together (correlation rho, by their shared lots):
    z_j(x) = rho c + sqrt(1 - rho^2 (1 - d^2)) xi_j.
Without a record of lots, what is ahead is taken to be cut from the lot under way.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from . import web
from .cells import Cells
from .cycles import HITS_UNIT, LifeSamples
from .lots import Cavities

Array = NDArray[np.float64]
LEAST_HITS = 1e-9


@dataclass(frozen=True)
class LotsNow:
    """Of the edges under way, rows in the order of `now`: hits in units in the lots so far, and what is known of those.

    parts: of each die the slice of its edges, [edges, lots] hits, mean and covariance of the lots' w, number of the lot
    under way among them (-1: it is none of them), strokes left of it, usual size of a lot (inf: not known).
    """

    parts: list[tuple[slice, Array, Array, Array, int, float, float]]

    @classmethod
    def of(
        cls, past: Cells, told: Cavities | None, now: LifeSamples, ended: LifeSamples,
        die: NDArray[np.int64], names: NDArray[np.int64], sw: float, rest: Mapping[int, float],
    ) -> LotsNow:  # fmt: skip
        """now: the cycles under way, edge by edge; ended: all closed ones; die: [edges] number in the block; names:
        [dies]; rest: strokes left of the lot under way, by name of the die."""
        joint = _joint(past, told, sw)
        of_die, lots_cut = die[now.edge], now.of_lots()
        sizes = _sizes(ended, die, len(names))
        parts = []
        for d in np.unique(of_die):
            mine = np.flatnonzero(of_die == d)
            passed = lots_cut[mine]
            lots, at = np.unique(passed.lot, return_inverse=True)
            under_way = int(now.lot[mine].max())
            if under_way >= 0 and under_way not in lots:
                lots = np.append(lots, under_way)
            hits = np.zeros((len(mine), len(lots)))
            np.add.at(hits, (passed.row, at.reshape(-1)), passed.hits / HITS_UNIT)
            w, covariance = _known(joint, d, lots, sw)
            place = int(np.searchsorted(lots, under_way)) if under_way in lots else -1
            left = float(rest.get(int(names[d]), 0.0)) / HITS_UNIT if place >= 0 else 0.0
            parts.append((slice(mine[0], mine[-1] + 1), hits, w, covariance, place, left, sizes[d]))
        return cls(parts)


def _joint(past: Cells, told: Cavities | None, sw: float) -> dict[int, tuple[NDArray[np.int64], Array, Array]]:
    """Number of the die -> (names of its lots, their means, their covariance), from what has ended."""
    if told is None or past.web is None:
        return {}
    found = {}
    if told.past is None:  # each lot by itself
        if told.past_mean is None or told.past_variance is None:
            return {}
        for _, parts, lots in past.web.dies:
            stretch = past.web._row[parts]
            w, v = np.zeros(lots.stop - lots.start), np.full(lots.stop - lots.start, sw**2)
            w[past.web.lot[parts] - lots.start] = told.past_mean[stretch]
            v[past.web.lot[parts] - lots.start] = told.past_variance[stretch]
            found[int(past.web.lot_die[lots.start])] = past.web.lot_name[lots], w, np.diag(v)
        return found
    joint = web.solve(past.web, told.past, sw, keep=True)
    for (_, _, lots), covariance in zip(past.web.dies, joint.covariance, strict=True):
        if lots.stop > lots.start:
            found[int(past.web.lot_die[lots.start])] = past.web.lot_name[lots], joint.w[lots], covariance
    return found


def _known(joint: dict, die: int, lots: NDArray[np.int64], sw: float) -> tuple[Array, Array]:
    w, covariance = np.zeros(len(lots)), sw**2 * np.eye(len(lots))
    if die in joint:
        names, mean, spread = joint[die]
        place = np.minimum(np.searchsorted(names, lots), len(names) - 1)
        seen = np.flatnonzero(names[place] == lots)
        w[seen] = mean[place[seen]]
        covariance[np.ix_(seen, seen)] = spread[np.ix_(place[seen], place[seen])]
    return w, covariance


def _sizes(ended: LifeSamples, die: NDArray[np.int64], n_dies: int) -> Array:
    """Usual size of a lot in 100,000 strokes, of each die: of a hit chosen at random, by the edge that cut it most."""
    size = np.full(n_dies, np.inf)
    passed = ended.passed
    if passed is None or not len(passed.lot):
        return size
    edge = ended.edge[passed.row]
    wide = int(passed.lot.max()) + 1
    key, number = np.unique(edge * wide + passed.lot, return_inverse=True)
    hits = np.bincount(number.reshape(-1), passed.hits) / HITS_UNIT
    lot_key, lot = np.unique(die[key // wide] * wide + key % wide, return_inverse=True)
    most = np.zeros(len(lot_key))
    np.maximum.at(most, lot.reshape(-1), hits)
    of_die = lot_key // wide
    total, square = np.bincount(of_die, most, n_dies), np.bincount(of_die, most**2, n_dies)
    known = total > 0
    size[known] = square[known] / total[known]
    return size


@dataclass(frozen=True)
class Wear:
    """mean, sd: [edges, x] of ln X; rho: [edges, x] correlation with ln X now. None: 1."""

    mean: Array
    sd: Array
    rho: Array | None


def of_one_lot(hits: Array, x: Array, share: Array, w: Array, sd: Array) -> Wear:
    """All that is ahead from the lot under way. hits, share, w, sd: [edges]; x: [edges, x] strokes."""
    mean = np.log(np.maximum(hits[:, None] + x * share[:, None], LEAST_HITS)) + w[:, None]
    return Wear(mean, np.broadcast_to(sd[:, None], mean.shape), None)


def of_lots(lots: LotsNow, begun: Array, x: Array, share: Array, sw: float) -> Wear:
    """begun: [edges] hits before the record began, of no known lot."""
    mean, sd, rho = np.empty(x.shape), np.empty(x.shape), np.empty(x.shape)
    new_rate, new_spread = np.exp(sw**2 / 2), np.expm1(sw**2)
    for rows, hits, w, covariance, under_way, rest, size in lots.parts:
        rate = np.exp(w + 0.5 * np.diag(covariance))
        spread = np.expm1(covariance)
        past = hits * rate
        with_past = past @ spread
        a = (with_past * past).sum(axis=1)[:, None]
        same = share[rows, None] * np.minimum(x[rows], rest) if under_way >= 0 else np.zeros(x[rows].shape)
        fresh = share[rows, None] * np.maximum(x[rows] - rest, 0.0)
        of_now = rate[under_way] if under_way >= 0 else 0.0
        b = with_past[:, under_way][:, None] * same * of_now if under_way >= 0 else 0.0
        c = spread[under_way, under_way] * (same * of_now) ** 2 if under_way >= 0 else 0.0
        n = np.maximum(fresh / share[rows, None] / size, 1e-12)
        whole = np.floor(n)
        part = np.where(n < 1, 1.0, (whole + (n - whole) ** 2) / n**2)
        new = (fresh * new_rate) ** 2 * new_spread * part
        total = np.maximum(
            (begun[rows] * new_rate + past.sum(axis=1))[:, None] + same * of_now + fresh * new_rate, LEAST_HITS
        )
        variance = np.log1p((a + 2 * b + c + new) / total**2)
        mean[rows], sd[rows] = np.log(total) - 0.5 * variance, np.sqrt(variance)
        with_now = np.log1p((a + b) / (total * total[:, :1])) / np.maximum(sd[rows] * sd[rows][:, :1], 1e-12)
        # Of a fresh edge nothing is worn: it shares with the others what is left of the lot under way.
        rho[rows] = np.where(a > 0, np.clip(with_now, 0.0, 1.0), np.sqrt(c / np.maximum(c + new, 1e-300)))
        rho[rows, 0] = 1.0
    return Wear(mean, sd, rho)
