"""The fleet's marginal likelihood reduced to other models: spreads of nought, columns of one's own, no prior. Published
regressions and frailty models must come out of the very tables and integrals that fit a shop."""

from __future__ import annotations

import numpy as np
from scipy.optimize import minimize

from maintenance.life.cells import EXACT_WIDTH, Cells
from maintenance.life.cycles import DULL, HITS_UNIT
from maintenance.life.grids import Grids, Theta, travel

NO_SPREAD = np.log(3e-4)


def at(theta, x, die, samples):
    """Posterior on travelled grids, and the tables."""
    cells = Cells.of(samples, die, lots=False)
    mu = x @ theta.b
    grids = Grids.at_prior(mu, theta, die.max() + 1)

    def table(nodes, edges):
        if edges is None:
            return cells.table(nodes, theta.k)
        full = grids.m
        full[edges] = nodes
        return cells.table(full, theta.k)[edges]

    found = travel(grids, table, mu, die, theta)
    return grids, found, cells


def log_likelihood(theta, x, die, samples):
    """In the unit of the published value: an exact life counts as a density a unit of time."""
    _, found, _ = at(theta, x, die, samples)
    known = (samples.ended == DULL) & (samples.lower_hits == samples.hits)
    return found.ll.sum() - np.log(samples.hits[known] * EXACT_WIDTH).sum()


def slopes(theta, x, die, samples):
    """Central differences of the log likelihood in b, ln k and ln tv."""
    start = np.r_[theta.b, theta.ln_k, theta.ln_tv]
    out = []
    for i in range(len(start)):
        values = []
        for sign in (1, -1):
            z = start.copy()
            z[i] += sign * 1e-3
            moved = Theta(b=z[:-2], ln_k=z[-2], ln_tu=theta.ln_tu, ln_tv=z[-1])
            values.append(log_likelihood(moved, x, die, samples))
        out.append((values[0] - values[1]) / 2e-3)
    return np.array(out)


def fit_by_likelihood(x, samples, start, *, spread=None):
    """Where the likelihood is largest: (coefficients in the unit of the times, ln shape[, ln spread]), standard errors
    by its curvature there, ln L. Each row of x is an edge; spread: begin here, between edges; None: none."""
    x = np.asarray(x, float)
    die = np.arange(len(x))
    scale = np.r_[np.maximum(np.abs(x).max(axis=0), 1e-9), 1.0, 1.0]  # of the columns
    free = x.shape[1] + (1 if spread is None else 2)

    def ln_l(z):
        z = np.r_[z, NO_SPREAD][: x.shape[1] + 2] / scale
        b = z[:-2].copy()
        b[0] -= np.log(HITS_UNIT)
        ln_tv = NO_SPREAD if spread is None else z[-1]
        return log_likelihood(Theta(b=b, ln_k=z[-2], ln_tu=NO_SPREAD, ln_tv=ln_tv), x, die, samples)

    def slope(z):
        e = np.eye(free) * 1e-4
        return np.array([(ln_l(z + d) - ln_l(z - d)) / 2e-4 for d in e])

    z = np.r_[start, [] if spread is None else np.log(spread)] * scale[:free]
    found = minimize(lambda z: -ln_l(z), z, jac=lambda z: -slope(z), method="BFGS", options={"gtol": 1e-5})
    curve = np.array([(slope(found.x + d) - slope(found.x - d)) / 2e-3 for d in np.eye(free) * 1e-3])
    se = np.sqrt(np.diag(np.linalg.inv(-(curve + curve.T) / 2)))
    return found.x / scale[:free], se / scale[:free], -found.fun
