"""The lot effect: what all edges of a die share in one order (coil, oil, set-up).

w_g ~ N(0, sw^2), the same for every edge of the die in the cycles that ended in lot g. For each cell
    own(w) = ln E_m[exp l(m, w)]  over the edge's posterior of m (three Gauss-Hermite nodes),
    gl_g(w) = sum of own over the edges of the lot;
where more than one edge ended a cycle in it (an edge by itself cannot tell a hard lot from a short life);
the cavity of a cell is N(w; 0, sw^2) exp(gl_g - own): what the die's other edges say of the lot. Its mean less the
die's mean of E[w_g], which belongs to the die, and its sd go into the edge's table. sw maximises
    sum_g ln integral N(w; 0, sw^2) exp(gl_g) dw + ln prior,  sw half-normal(0.3),
at its top in sw itself: on the log scale lots that are all alike came out at 0.1 to 0.2 where little was seen of them.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from .cells import ROOT3, Cells

Array = NDArray[np.float64]
SW_HALF_NORMAL = 0.3
SW_LEAST, SW_MOST = 0.02, 1.5
LOTS_NEEDED = 10  # shared by the edges of a die
W_NODES = np.linspace(-4.0, 4.0, 17)
PART = 1_500  # cells worked on at once
LEAST_SPREAD = 1e-7  # of a lot's w, squared, in the nodes' unit
ZOOM_NODES, ZOOM_WIDER = np.linspace(-4.2, 4.2, 11), 1.2
M_NODES, M_WEIGHTS = np.array([-ROOT3, 0.0, ROOT3]), np.array([1.0, 4.0, 1.0]) / 6


@dataclass(frozen=True)
class Cavities:
    """c, d: [cells] mean and sd of the lot's effect as the other edges tell it; own_mean: [lots] E[w_g]."""

    c: Array
    d: Array
    lot_mean: Array


def start(cells: Cells, sw: float) -> Cavities:
    """Before anything is known of the lots."""
    return Cavities(np.zeros(len(cells)), np.full(len(cells), sw), np.zeros(len(cells.lot_die)))


@dataclass(frozen=True)
class Places:
    """Nodes at which each lot is looked at: centre + nodes * wide; centre, wide: [lots]."""

    nodes: Array
    centre: Array
    wide: Array

    @classmethod
    def at_prior(cls, cells: Cells, sw: float) -> Places:
        n = len(cells.lot_die)
        return cls(W_NODES, np.zeros(n), np.full(n, sw))

    @property
    def w(self) -> Array:
        """[nodes, lots]."""
        return self.centre + self.nodes[:, None] * self.wide


def look(
    cells: Cells, mean: Array, sd: Array, k: float, sw: float, die_count: int, places: Places | None = None
) -> tuple[Cavities, Array]:
    """One look at the lots. mean, sd: [edges] posterior of m. Returns cavities and gl of shared lots, [lots, w].

    places: where each lot is looked at, where that is roughly known; else 17 nodes over +-4 sw.
    """
    places = Places.at_prior(cells, sw) if places is None else places
    own = cells.own(mean, sd, M_NODES, M_WEIGHTS, places.w, k)
    n_lots = len(cells.lot_die)
    gl = np.array([np.bincount(cells.lot, row, n_lots) for row in own])
    gl -= gl.max(axis=0, initial=-np.inf)
    all_told = gl - 0.5 * (places.w / sw) ** 2
    c, d = np.empty(len(cells)), np.empty(len(cells))
    for i in range(0, len(cells), PART):
        part = slice(i, i + PART)
        lot = cells.lot[part]
        z, spread = moments(np.take(all_told, lot, axis=1) - own[:, part], places.nodes)
        c[part], d[part] = places.centre[lot] + z * places.wide[lot], spread * places.wide[lot]
    z, _ = moments(all_told, places.nodes)
    lot_mean = places.centre + z * places.wide
    shared = np.bincount(cells.lot, minlength=n_lots) > 1
    c = np.where(shared[cells.lot], c, 0.0)
    return Cavities(c, d, lot_mean), gl[:, shared].T


def zoomed(cells: Cells, w: Array, w_sd: Array, sw: float) -> Places:
    """Nodes around w with sd w_sd, [lots]: wide enough for what one edge less would say."""
    count = np.maximum(np.bincount(cells.lot, minlength=len(w)), 1)
    wide = np.minimum(ZOOM_WIDER * w_sd * np.sqrt(count / np.maximum(count - 1, 0.5)), sw)
    return Places(ZOOM_NODES, w, wide)


def best_sw(gl: Array, sw: float) -> float:
    """The sw of 41 around the present one that the lots favour. gl: [lots, nodes of w at sw]."""
    if len(gl) < LOTS_NEEDED:
        return SW_LEAST
    candidates = np.clip(sw * np.exp(np.linspace(-0.9, 0.6, 41)), SW_LEAST, SW_MOST)
    w = W_NODES * sw
    score = np.empty(len(candidates))
    top = gl.max(axis=1, keepdims=True)
    like = np.exp(gl - top)
    for i, s in enumerate(candidates):
        density = np.exp(-0.5 * (w / s) ** 2)
        score[i] = np.log(like @ (density / density.sum())).sum() - 0.5 * (s / SW_HALF_NORMAL) ** 2
    return float(candidates[np.argmax(score)])


def moments(log_weight: Array, nodes: Array) -> tuple[Array, Array]:
    """Mean and sd over the nodes, in their unit; log_weight: [nodes, n], used up."""
    log_weight -= log_weight.max(axis=0, initial=-np.inf)
    np.exp(log_weight, out=log_weight)
    total, first, second = np.stack([np.ones_like(nodes), nodes, nodes**2]) @ log_weight
    mean = first / total
    return mean, np.sqrt(np.maximum(second / total - mean**2, LEAST_SPREAD))
