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

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from . import web
from .cells import LARGEST, ROOT3, Cells

Array = NDArray[np.float64]
SW_HALF_NORMAL = 0.3
SW_LEAST, SW_MOST = 0.02, 1.5
LOTS_NEEDED = 10  # shared by the edges of a die
W_NODES = np.linspace(-4.0, 4.0, 17)
DAMPED = 0.6  # of a new site, where there was one before: all at once they may swing
PART = 1_500  # cells worked on at once
LEAST_SPREAD = 1e-7  # of a lot's w, squared, in the nodes' unit
ZOOM_NODES, ZOOM_WIDER = np.linspace(-4.2, 4.2, 11), 1.2
M_NODES, M_WEIGHTS = np.array([-ROOT3, 0.0, ROOT3]), np.array([1.0, 4.0, 1.0]) / 6


@dataclass(frozen=True)
class Cavities:
    """c, d: [cells] mean and sd of the lot's effect as the other edges tell it."""

    c: Array
    d: Array
    mean: Array  # [stretches] of W, by all that is known
    variance: Array
    sites: web.Sites | None = None
    past: web.Sites | None = None  # the same of what has ended alone
    past_mean: Array | None = None  # and of each lot, where they stand for themselves
    past_variance: Array | None = None


def start(cells: Cells, sw: float) -> Cavities:
    """Before anything is known of the lots."""
    n = len(cells.lot_die)
    if cells.web is None or not cells.web.woven:
        return Cavities(np.zeros(len(cells)), np.full(len(cells), sw), np.zeros(n), np.full(n, sw**2))
    sites = web.Sites.none(cells.web, sw)
    joint = web.solve(replace(cells.web, pull=np.zeros(n)), sites, sw)
    return Cavities(joint.mean[cells.lot], np.sqrt(joint.variance)[cells.lot], joint.mean, joint.variance, sites)


def woven(cells: Cells) -> bool:
    return cells.web is not None and cells.web.woven


@dataclass(frozen=True)
class Places:
    """Nodes at which each lot is looked at: centre + nodes * wide; centre, wide: [lots]."""

    nodes: Array
    centre: Array
    wide: Array

    @property
    def w(self) -> Array:
        """[nodes, lots]."""
        return self.centre + self.nodes[:, None] * self.wide


def look(
    cells: Cells,
    mean: Array,
    sd: Array,
    k: float,
    sw: float,
    *,
    places: Places | None = None,
    sites: web.Sites | None = None,
    of_past: bool = False,
) -> tuple[Cavities, Array]:
    """One look at the lots. mean, sd: [edges] posterior of m. Returns cavities and gl of shared lots, [lots, w].

    places: where each lot is looked at, where that is roughly known; else 17 nodes over +-4 sd of its cavity. sites:
    of the look before, where stretches share lots. of_past: also what has ended alone says.
    """
    n_lots = len(cells.lot_die)
    prior, prior_v, joint = np.zeros(n_lots), np.full(n_lots, sw**2), None
    if cells.web is not None and cells.web.woven:
        sites = web.Sites.none(cells.web, sw) if sites is None else sites
        joint = web.solve(cells.web, sites, sw)
        prior, prior_v = joint.cavity(sites, sw)
    places = Places(W_NODES, prior, np.sqrt(prior_v)) if places is None else places
    own = cells.own(mean, sd, M_NODES, M_WEIGHTS, places.w, k)
    gl = np.array([np.bincount(cells.lot, row, n_lots) for row in own])
    gl -= gl.max(axis=0, initial=-np.inf)
    all_told = gl - 0.5 * (places.w - prior) ** 2 / prior_v
    c, d = np.empty(len(cells)), np.empty(len(cells))
    for i in range(0, len(cells), PART):
        part = slice(i, i + PART)
        lot = cells.lot[part]
        z, spread = moments(np.take(all_told, lot, axis=1) - own[:, part], places.nodes)
        c[part], d[part] = places.centre[lot] + z * places.wide[lot], spread * places.wide[lot]
    shared = np.bincount(cells.lot, minlength=n_lots) > 1
    past, past_v, sites_past = None, None, None
    if of_past:
        now = np.flatnonzero(cells.under_way)
        without = all_told - np.array([np.bincount(cells.lot[now], row[now], n_lots) for row in own])
        past, past_v, sites_past = _told(without, places, prior, prior_v, joint)
    told, told_v, sites_now = _told(all_told, places, prior, prior_v, joint)
    if sites is not None and sites_now is not None and sites.tau.any():
        sites_now = sites_now.between(sites, DAMPED)
    if not woven(cells):
        c = np.where(shared[cells.lot], c, 0.0)
    return Cavities(c, d, told, told_v, sites_now, sites_past, past, past_v), gl[:, shared].T


def _told(
    ln: Array, places: Places, prior: Array, prior_v: Array, joint: web.Joint | None
) -> tuple[Array, Array, web.Sites | None]:
    """Mean and variance of W of each stretch, and its site. ln: [nodes, stretches], used up."""
    z, spread = moments(ln, places.nodes)
    mean, variance = places.centre + z * places.wide, (spread * places.wide) ** 2
    if joint is None:
        return mean, variance, None
    tau = np.maximum(1 / variance - 1 / prior_v, 0.0)
    nu = mean * (1 / prior_v + tau) - prior / prior_v
    return mean, variance, web.Sites(tau, nu, (mean - prior) / prior_v, joint.w, joint.v)


def zoomed(cells: Cells, w: Array, w_sd: Array, sw: float) -> Places | None:
    """Nodes around w with sd w_sd, [lots]: wide enough for what one edge less would say."""
    if woven(cells):
        return None  # around what the other stretches say
    count = np.maximum(np.bincount(cells.lot, minlength=len(w)), 1)
    wide = np.minimum(ZOOM_WIDER * w_sd * np.sqrt(count / np.maximum(count - 1, 0.5)), sw)
    # Of the lots of what is under way it is also asked what has ended in them alone.
    now = np.unique(cells.lot[cells.under_way])
    w, wide = w.copy(), wide.copy()
    w[now], wide[now] = 0.0, sw
    return Places(ZOOM_NODES, w, wide)


def shared_sign(cells: Cells, m: Array, k: float) -> float:
    """By how many standard errors the edges of a die go dull together in its lots: a score test of sw = 0.

    With n dull ends of an edge that came in a lot, H the hazard of its hits there, S = n - H over the edge's cells in
    the lot; the statistic is the sum over lots of products S_e S_f of different edges. That an edge's own lives scatter
    is left out, since a shape less steep explains it as well: with it two edges a die, lots alike, shape 2.5 came out
    as lots by 0.97 and shape 4.7. An end counts where it came and hits as they wear: with both spread evenly over the
    cycle its length, which all edges of a set share, leaned on their scores alike, and lots that were alike came out at
    3 to 9 standard errors.
    """
    if cells.web is None:
        raise ValueError("no record of the lots that the cycles cut")
    ln_z, ln_d = cells.at(k)
    hazard, ends = np.exp(np.minimum(ln_z, LARGEST)), np.zeros(len(cells))
    if len(cells.dull_cell):
        hazard += 0.5 * np.bincount(cells.dull_cell, np.exp(np.minimum(ln_d, LARGEST)), len(cells))
        ends += np.bincount(cells.dull_cell, minlength=len(cells))
    hazard *= np.exp(np.minimum(-k * m[cells.edge], LARGEST))
    first = cells.web.first
    count = np.diff(first)[cells.lot]
    cell = np.repeat(np.arange(len(cells)), count)
    at = np.arange(len(cell)) + np.repeat(first[cells.lot] - np.r_[0, np.cumsum(count)[:-1]], count)
    lot = cells.web.lot[at]
    row = np.repeat(np.arange(len(first) - 1), np.diff(first))
    run = np.cumsum(cells.web.share)
    before = np.r_[0.0, run][first[:-1]][row]
    worn = np.clip(run - before, 0.0, 1.0) ** k - np.clip(run - cells.web.share - before, 0.0, 1.0) ** k
    last = np.zeros(len(row))
    last[first[1:][np.diff(first) > 0] - 1] = 1.0
    worn, last = worn[at], last[at]
    wide = len(cells.web.lot_die)
    key, number = np.unique(cells.edge[cell] * wide + lot, return_inverse=True)
    number = number.reshape(-1)
    score = np.bincount(number, last * ends[cell] - worn * hazard[cell])
    variance = np.bincount(number, worn * hazard[cell])
    of_lot = key % wide
    together = (np.bincount(of_lot, score, wide) ** 2).sum() - (score**2).sum()
    spread = 2 * ((np.bincount(of_lot, variance, wide) ** 2).sum() - (variance**2).sum())
    return float(together / np.sqrt(max(spread, 1e-12)))


def best_sw(gl: Array, sw: float, cells: Cells, sites: web.Sites | None) -> float:
    """The sw of 41 around the present one that the lots favour. gl: [lots, nodes of w at sw]."""
    if len(gl) < LOTS_NEEDED:
        return SW_LEAST
    if cells.web is not None and sites is not None and cells.web.woven:
        return float(np.clip(web.better_sw(cells.web, sites, sw, SW_HALF_NORMAL), SW_LEAST, SW_MOST))
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
