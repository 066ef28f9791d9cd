"""Integrals over what an edge and its die have of their own, on grids that travel to where the posterior lies.

ln eta of edge e in die D: m_e = x_e'b + u_D + v_e, u ~ N(0, tu^2), v ~ N(0, tv^2).
    g_e(u) = integral N(m; x'b + u, tv^2) e^{L_e(m)} dm,   ll = sum over dies ln integral N(u; 0, tu^2) prod_e g_e(u)
du, by the trapezoid rule: 15 nodes of u over +-4.5 sd, 31 of m over +-5.5 sd of each edge's posterior.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

U_NODES = np.linspace(-4.5, 4.5, 15)
M_NODES = np.linspace(-5.5, 5.5, 31)
END_MASS = 1e-3  # of the posterior on the last two nodes of a grid's end: the grid must travel
ZOOMS = 8
LN_2PI = float(np.log(2 * np.pi))


@dataclass(frozen=True, kw_only=True)
class Theta:
    """What is common to the fleet. b: [p] of the wear model; k shape; tu, tv spread between dies and between edges."""

    b: Array
    ln_k: float
    ln_tu: float
    ln_tv: float

    @property
    def k(self) -> float:
        return float(np.exp(self.ln_k))

    @property
    def tu(self) -> float:
        return float(np.exp(self.ln_tu))

    @property
    def tv(self) -> float:
        return float(np.exp(self.ln_tv))


@dataclass
class Grids:
    """Centre and sd of the grids: m of every edge, u of every die."""

    m_mean: Array
    m_sd: Array
    u_mean: Array
    u_sd: Array

    @classmethod
    def at_prior(cls, mu: Array, theta: Theta, n_dies: int) -> Grids:
        wide = float(np.hypot(theta.tu, theta.tv))
        return cls(mu.copy(), np.full(len(mu), wide), np.zeros(n_dies), np.full(n_dies, theta.tu))

    @property
    def m(self) -> Array:
        return self.m_mean[:, None] + self.m_sd[:, None] * M_NODES

    @property
    def u(self) -> Array:
        return self.u_mean[:, None] + self.u_sd[:, None] * U_NODES


@dataclass(frozen=True)
class Posterior:
    """given_u: [edges, u, m] P(m | u, records of the edge), summing to one over m; of_u: [dies, u] P(u | records);
    ll: [dies] ln of the likelihood of each die's records."""

    given_u: Array
    of_u: Array
    ll: Array


def posterior(grids: Grids, table: Array, mu: Array, die: NDArray[np.int64], theta: Theta) -> Posterior:
    """table: [edges, m] L_e at grids.m. mu: [edges] x'b."""
    m, u = grids.m, grids.u
    gap = m - mu[:, None]
    log = table[:, None, :] - 0.5 * ((gap[:, None, :] - u[die][:, :, None]) / theta.tv) ** 2
    top = log.max(axis=2, keepdims=True)
    np.subtract(log, top, out=log)
    weight = np.exp(log, out=log)
    total = weight.sum(axis=2)
    step = grids.m_sd * (M_NODES[1] - M_NODES[0])
    ln_g = top[:, :, 0] + np.log(total) + (np.log(step) - theta.ln_tv - 0.5 * LN_2PI)[:, None]
    weight /= total[:, :, None]
    h = sum_by_die(ln_g, die, len(u)) - 0.5 * (u / theta.tu) ** 2
    h += (np.log(grids.u_sd * (U_NODES[1] - U_NODES[0])) - theta.ln_tu - 0.5 * LN_2PI)[:, None]
    top_u = h.max(axis=1, keepdims=True)
    q = np.exp(h - top_u)
    sum_q = q.sum(axis=1, keepdims=True)
    return Posterior(weight, q / sum_q, top_u[:, 0] + np.log(sum_q[:, 0]))


def sum_by_die(values: Array, die: NDArray[np.int64], n_dies: int) -> Array:
    """values: [edges, ...], die rising."""
    out = np.zeros((n_dies, *values.shape[1:]))
    if len(die):
        first = np.flatnonzero(np.r_[True, die[1:] != die[:-1]])
        out[die[first]] = np.add.reduceat(values, first, axis=0)
    return out


def edge_marginals(post: Posterior, die: NDArray[np.int64]) -> Array:
    """P(m | all records of the die), [edges, m]."""
    return np.einsum("ea,eam->em", post.of_u[die], post.given_u)


def travel(grids: Grids, table_at, mu: Array, die: NDArray[np.int64], theta: Theta, *, zooms: int = ZOOMS) -> Posterior:
    """Moves the grids, in place, to where the posterior lies, each die by itself; returns the posterior there.

    table_at: function of (nodes of m [n, m], edges [n] or None for all) that gives their table L. A grid is moved again
    where its first or last two nodes carry more than 1e-3 of the posterior (then its sd becomes at least a quarter of
    the grid's width), or where it is too coarse for what it found; the others keep theirs, so that a die's numbers do
    not depend on which other dies are computed with it.
    """
    n_dies = len(grids.u_mean)
    todo = np.ones(n_dies, bool)
    table = np.zeros((len(mu), len(M_NODES)))
    found: Posterior | None = None
    for turn in range(zooms + 1):
        edges = np.flatnonzero(todo[die])
        dies = np.flatnonzero(todo)
        if not len(dies):
            break
        local = np.searchsorted(dies, die[edges])
        part = Grids(grids.m_mean[edges], grids.m_sd[edges], grids.u_mean[dies], grids.u_sd[dies])
        table[edges] = table_at(part.m, None if len(edges) == len(mu) else edges)
        post = posterior(part, table[edges], mu[edges], local, theta)
        if found is None:
            found = post
        else:
            found.given_u[edges], found.of_u[dies], found.ll[dies] = post.given_u, post.of_u, post.ll
        if turn == zooms:
            break
        p = edge_marginals(post, local)
        m_mean, m_sd, m_flag = _aim(p, part.m_mean, part.m_sd, M_NODES)
        u_mean, u_sd, u_flag = _aim(post.of_u, part.u_mean, part.u_sd, U_NODES)
        again = u_flag.copy()
        np.logical_or.at(again, local, m_flag)
        if turn == 0:
            again[:] = True  # the first look is only for aiming
        move_e, move_d = again[local], again
        grids.m_mean[edges[move_e]], grids.m_sd[edges[move_e]] = m_mean[move_e], m_sd[move_e]
        grids.u_mean[dies[move_d]], grids.u_sd[dies[move_d]] = u_mean[move_d], u_sd[move_d]
        todo = np.zeros(n_dies, bool)
        todo[dies[again]] = True
    return found


def _aim(p: Array, centre: Array, sd: Array, nodes: Array) -> tuple[Array, Array, NDArray[np.bool_]]:
    """Mean and sd to put the grid at, and whether it must move again. p: [n, nodes]."""
    z = p @ nodes
    spread = np.sqrt(np.maximum(p @ nodes**2 - z**2, 0.0))
    step, width = nodes[1] - nodes[0], nodes[-1] - nodes[0]
    ends = np.maximum(p[:, :2].sum(axis=1), p[:, -2:].sum(axis=1)) > END_MASS
    coarse = spread < 0.7 * step
    new = np.maximum(spread, 0.5 * step)
    new = np.where(ends, np.maximum(new, width / 4), new)
    return centre + z * sd, new * sd, ends | coarse
