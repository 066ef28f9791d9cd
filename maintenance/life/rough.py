"""Roughly where the posterior of edges, dies and lots lies, by normal curves: the grids of `block.py` begin there.

With the lots at their likeliest w, an edge's cycles say of E = e^{-k m} what a Gamma would: n dull ends, exposure
z = sum of h^k e^{k w}; so ln of the likelihood is -k n m - z e^{-k m}, its curvature k^2 z e^{-k m}, and likewise for w
given the m of a lot's edges. A few of Newton's steps for each in turn; a dull end counts at the middle of its look, a
cycle with readings as one that ended at what they tell. Only to aim: the grids travel on from here where this is off.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from . import lots as lots_told
from . import web
from .cells import Cells
from .grids import Theta

Array = NDArray[np.float64]
TURNS, STEPS, WEB_STEPS = 3, 3, 2
FARTHEST = 60.0  # of an exponent
LEAP_AT_MOST = 4.0  # times Newton's step without the lots; 0.9 of a chance was off where it had no end
WIDER = 1.1  # sd, for what normal curves leave out


@dataclass(frozen=True)
class Rough:
    """m, m_sd: [edges]; u, u_sd: [dies]; c, d: [cells] cavities of the lots; w, w_sd: [lots]."""

    m: Array
    m_sd: Array
    u: Array
    u_sd: Array
    c: Array
    d: Array
    w: Array
    w_sd: Array
    sites: web.Sites | None = None


def look(
    cells: Cells,
    mu: Array,
    die: NDArray[np.int64],
    n_dies: int,
    theta: Theta,
    sw: float,
) -> Rough:
    """cells: of past cycles and of those under way; mu: [edges] x'b."""
    k, tu2, tv2 = theta.k, theta.tu**2, theta.tv**2
    n_lots = len(cells.lot_die)
    ln_z, ln_d = cells.at(k)
    z = np.exp(np.minimum(ln_z, FARTHEST))
    ends = np.zeros(len(cells))
    if len(cells.dull_cell):
        z += 0.5 * np.bincount(cells.dull_cell, np.exp(np.minimum(ln_d, FARTHEST)), len(cells))
        ends += np.bincount(cells.dull_cell, minlength=len(cells))
    if len(cells.told_cell):
        worth = 1 / (1 + (k * cells.told.sd) ** 2)
        z += np.bincount(cells.told_cell, worth * np.exp(np.minimum(k * cells.told.told, FARTHEST)), len(cells))
        ends += np.bincount(cells.told_cell, worth, len(cells))
    shared = np.bincount(cells.lot, minlength=n_lots) > 1
    of_past = np.bincount(cells.lot, ~cells.under_way, n_lots) > 0  # something has ended in it
    shared &= of_past
    of_lot = np.maximum(np.bincount(cells.lot_die[shared], minlength=n_dies), 1)
    lot_ends = np.bincount(cells.lot, ends, n_lots)
    n = np.bincount(cells.edge, ends, len(mu))
    w, w_sd, spread = np.zeros(n_lots), np.full(n_lots, sw), np.zeros(n_lots)
    cells_of, cycles = np.bincount(cells.lot, minlength=n_lots), np.bincount(cells.edge, minlength=len(mu))
    m, centre = mu.copy(), np.zeros(n_dies)
    shared_by = cells.web if sw > 0 and lots_told.woven(cells) else None
    sites: web.Sites | None = None
    joint: web.Joint | None = None
    if shared_by is not None:
        sites = web.Sites.none(shared_by, sw)
        joint = web.solve(shared_by, sites, sw)
        w, spread = joint.mean, 0.5 * k**2 * joint.variance
    for turn in range(TURNS):
        from_lots = z * np.exp(k * w + spread)[cells.lot] if turn else z
        run = np.bincount(cells.edge, from_lots, len(mu))
        before = mu if turn == 0 else mu + centre[die]
        wide = tu2 + tv2 if turn == 0 else tv2
        for _ in range(STEPS if turn else 2 * STEPS):
            hazard = run * np.exp(np.clip(-k * m, -FARTHEST, FARTHEST))
            m += np.clip((k * (hazard - n) - (m - before) / wide) / (k**2 * hazard + 1 / wide), -1.0, 1.0)
        hazard = run * np.exp(np.clip(-k * m, -FARTHEST, FARTHEST))
        by_lots = 1 + (k * sw) ** 2 * hazard / np.maximum(n + 1, hazard)
        curvature = k**2 * hazard / by_lots
        leap = (hazard - n) / (k * np.maximum(hazard, 1e-300)) * np.minimum(by_lots, LEAP_AT_MOST)
        leap = np.clip(leap, -1.0, 1.0)  # what the lots leave unsure is no reason to jump further
        told = curvature * (m - mu + leap)  # curvature times where the records alone put it, from mu
        share = 1 / (1 + tv2 * curvature)
        precision = 1 / tu2 + np.bincount(die, curvature * share, n_dies)
        centre = np.bincount(die, told * share, n_dies) / precision
        m = mu + (told + centre[die] / tv2) / (curvature + 1 / tv2)
        if sw <= 0 or not n_lots:
            continue
        mine = k**2 / (curvature + 1 / tv2)
        own = np.exp(
            np.clip(-k * m + 0.5 * mine / (1 + mine / k**2 * curvature / np.maximum(cycles, 1)), -FARTHEST, FARTHEST)
        )
        worn = z * own[cells.edge]
        per_lot = np.bincount(cells.lot, worn, n_lots)
        if shared_by is not None and joint is not None:
            for _ in range(WEB_STEPS):
                hazard = per_lot * np.exp(np.clip(k * w, -FARTHEST, FARTHEST))
                tau = np.asarray(k**2 * hazard, float)
                slope = np.asarray(k * (lot_ends - hazard), float)
                nu = tau * w + slope
                sites = web.Sites(tau, nu, slope, joint.w, joint.v)
                joint = web.solve(shared_by, sites, sw)
                w = joint.mean
            hazard = per_lot * np.exp(np.clip(k * w, -FARTHEST, FARTHEST))
            spread = 0.5 * k**2 * joint.variance / (1 + k**2 * joint.variance * hazard / np.maximum(cells_of, 1))
            # The mean of a die's lots belongs to the die: climbing together the two would come down but slowly.
            of_die = np.bincount(cells.lot_die, w, n_dies) / np.maximum(np.bincount(cells.lot_die, minlength=n_dies), 1)
            w = w - of_die[cells.lot_die]
            nu = nu - tau * of_die[cells.lot_die]
            sites = web.Sites(tau, nu, slope, joint.w - of_die[shared_by.lot_die], joint.v)
            joint = web.solve(shared_by, sites, sw)
            continue
        for _ in range(STEPS):
            hazard = per_lot * np.exp(np.clip(k * w, -FARTHEST, FARTHEST))
            w += np.clip((k * (lot_ends - hazard) - w / sw**2) / (k**2 * hazard + 1 / sw**2), -sw, sw)
        lot_hazard = per_lot * np.exp(np.clip(k * w, -FARTHEST, FARTHEST))
        lot_wide = k**2 / (k**2 * lot_hazard + 1 / sw**2)
        spread = 0.5 * lot_wide / (1 + lot_wide * lot_hazard / np.maximum(cells_of, 1)) * of_past
        w[~shared] = 0.0
        die_mean = np.bincount(cells.lot_die, w, n_dies) / of_lot
        w[shared] -= die_mean[cells.lot_die[shared]]
    u_sd = WIDER / np.sqrt(precision)
    c, d = np.zeros(len(cells)), np.full(len(cells), sw)
    if sw > 0 and n_lots:
        hazard = worn * np.exp(np.clip(k * w, -FARTHEST, FARTHEST))[cells.lot]
        lot_precision = 1 / sw**2 + k**2 * np.bincount(cells.lot, hazard, n_lots)
        if joint is not None:
            lot_precision = 1 / joint.variance
        w_sd = 1 / np.sqrt(lot_precision)
        rest = np.maximum(lot_precision[cells.lot] - k**2 * hazard, 1 / sw**2)
        by_others = shared[cells.lot] | (joint is not None)
        others = w[cells.lot] - np.clip(k * (ends - hazard) / rest, -sw, sw)
        c, d = np.where(by_others, others, 0.0), np.where(by_others, 1 / np.sqrt(rest), sw)
        info = k**2 * hazard
        curvature = np.asarray(np.bincount(cells.edge, info / (1 + info * d**2), len(mu)), float)
    alone = 1 / (curvature + 1 / tv2)
    m_sd = WIDER * np.sqrt(alone + (alone / tv2) ** 2 / precision[die])
    return Rough(m, m_sd, centre, u_sd, c, d, w, w_sd, sites)
