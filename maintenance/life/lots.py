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


def look(cells: Cells, mean: Array, sd: Array, k: float, sw: float, die_count: int) -> tuple[Cavities, Array]:
    """One look at the lots. mean, sd: [edges] posterior of m. Returns cavities and gl of shared lots, [lots, w]."""
    w = W_NODES * sw
    own = cells.own(mean[:, None] + sd[:, None] * M_NODES, M_WEIGHTS, w, k)
    own -= own.max(axis=0)
    gl = np.array([np.bincount(cells.lot, row, len(cells.lot_die)) for row in own])
    prior = -0.5 * W_NODES[:, None] ** 2
    c, d = moments(prior + gl[:, cells.lot] - own, w)
    lot_mean, _ = moments(prior + gl, w)
    shared = np.bincount(cells.lot, minlength=gl.shape[1]) > 1
    count = np.bincount(cells.lot_die[shared], minlength=die_count)
    die_mean = np.bincount(cells.lot_die[shared], lot_mean[shared], die_count) / np.maximum(count, 1)
    c = np.where(shared[cells.lot], c - die_mean[cells.lot_die[cells.lot]], 0.0)
    return Cavities(c, d, lot_mean), gl[:, shared].T


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


def moments(log_weight: Array, w: Array) -> tuple[Array, Array]:
    """Mean and sd over the nodes: log_weight [w, n], w [w] or [w, n]."""
    weight = np.exp(log_weight - log_weight.max(axis=0))
    weight /= weight.sum(axis=0)
    at = w if w.ndim == 2 else w[:, None]
    mean = (weight * at).sum(axis=0)
    return mean, np.sqrt(np.maximum((weight * at**2).sum(axis=0) - mean**2, 1e-8))
