"""Integrals over what an edge and its die have of their own, on grids that travel to where the posterior lies.

ln eta of edge e in die D: m_e = x_e'b + u_D + v_e, u ~ N(0, tu^2), v ~ N(0, tv^2).
    g_e(u) = integral N(m; x'b + u, tv^2) e^{L_e(m)} dm,   ll = sum over dies ln integral N(u; 0, tu^2) prod_e g_e(u)
du, by the trapezoid rule, over +-4.5 sd of u and +-5.5 sd of each edge's m. Its error is about 2 exp(-2 pi^2 sd^2 /
step^2) for a normal curve of that sd: 11 nodes of u and 17 of m do, except where dies differ by much more than the
edges of one, so that m given u is much narrower than m: there 15 and 31.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

U_NODES = np.linspace(-4.5, 4.5, 11)
M_NODES = np.linspace(-5.5, 5.5, 17)
FEWER_U, FEWER_M = np.linspace(-4.2, 4.2, 9), np.linspace(-5.0, 5.0, 15)  # for a forecast
MANY_U, MANY_M = np.linspace(-4.5, 4.5, 15), np.linspace(-5.5, 5.5, 31)
FARTHEST, WIDEST = 12.0, 3.0  # ln of a life in units of 100,000 hits, and its spread: no edge lasts 16 thousand million
STEP_AT_MOST = 1.25  # of m, in tv, where nothing is known of an edge and its die
END_MASS = 1e-3  # of the posterior on the last nodes of a grid's end: the grid must travel
NARROW = 1.35  # times a grid's sd that is found
END_PART = 0.85  # of a grid's half: beyond it lie its last nodes
ZOOMS = 8
MANY_EDGES = 12  # of a die: summed die by die
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
    m_nodes: Array
    u_nodes: Array

    @classmethod
    def at_prior(cls, mu: Array, theta: Theta, n_dies: int, *, predicting: bool = False) -> Grids:
        wide = float(np.hypot(theta.tu, theta.tv))
        sd, u_sd = np.full(len(mu), wide), np.full(n_dies, theta.tu)
        return cls(mu.copy(), sd, np.zeros(n_dies), u_sd, *nodes_for(theta, predicting=predicting))

    def pick(self, edges: NDArray[np.int64], dies: NDArray[np.int64]) -> Grids:
        return Grids(
            self.m_mean[edges], self.m_sd[edges], self.u_mean[dies], self.u_sd[dies], self.m_nodes, self.u_nodes
        )

    @property
    def m(self) -> Array:
        return self.m_mean[:, None] + self.m_sd[:, None] * self.m_nodes

    @property
    def u(self) -> Array:
        return self.u_mean[:, None] + self.u_sd[:, None] * self.u_nodes

    def moments(self, p: Array) -> tuple[Array, Array]:
        """Mean and sd of m of every edge; p: [edges, m]."""
        z = p @ self.m_nodes
        sd = np.sqrt(np.maximum(p @ self.m_nodes**2 - z**2, 1e-8))
        return self.m_mean + z * self.m_sd, sd * self.m_sd


def nodes_for(theta: Theta, *, predicting: bool = False) -> tuple[Array, Array]:
    """Nodes of m and u, in sd: as many as the narrowest curve at this theta needs."""
    m, u = (FEWER_M, FEWER_U) if predicting else (M_NODES, U_NODES)
    step = (m[1] - m[0]) * np.hypot(theta.tu, theta.tv)
    return (m, u) if step <= STEP_AT_MOST * theta.tv else (MANY_M, MANY_U)


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
    step = grids.m_sd * (grids.m_nodes[1] - grids.m_nodes[0])
    ln_g = top[:, :, 0] + np.log(total) + (np.log(step) - theta.ln_tv - 0.5 * LN_2PI)[:, None]
    weight /= total[:, :, None]
    h = sum_by_die(ln_g, die, len(u)) - 0.5 * (u / theta.tu) ** 2
    h += (np.log(grids.u_sd * (grids.u_nodes[1] - grids.u_nodes[0])) - theta.ln_tu - 0.5 * LN_2PI)[:, None]
    top_u = h.max(axis=1, keepdims=True)
    q = np.exp(h - top_u)
    sum_q = q.sum(axis=1, keepdims=True)
    return Posterior(weight, q / sum_q, top_u[:, 0] + np.log(sum_q[:, 0]))


def sum_by_die(values: Array, die: NDArray[np.int64], n_dies: int) -> Array:
    """values: [edges, ...], die rising."""
    out = np.zeros((n_dies, *values.shape[1:]))
    if len(die):
        first = np.flatnonzero(np.r_[True, die[1:] != die[:-1]])
        if len(die) > MANY_EDGES * len(first):
            for i, j in zip(first, [*first[1:], len(die)], strict=True):
                out[die[i]] = values[i:j].sum(axis=0, dtype=float)
            return out
        out[die[first]] = np.add.reduceat(values, first, axis=0, dtype=float)
    return out


def edge_marginals(post: Posterior, die: NDArray[np.int64]) -> Array:
    """P(m | all records of the die), [edges, m]."""
    return np.einsum("ea,eam->em", post.of_u[die], post.given_u)


def travel(
    grids: Grids,
    table_at: Callable[[Array, NDArray[np.int64] | None], Array],
    mu: Array,
    die: NDArray[np.int64],
    theta: Theta,
    *,
    aimed: bool = False,
) -> Posterior:
    """Moves the grids, in place, to where the posterior lies, each die by itself; returns the posterior there.

    table_at: function of (nodes of m [n, m], edges [n] or None for all) that gives their table L. A grid is moved again
    where the nodes at one of its ends carry more than 1e-3 of the posterior (then its sd becomes at least a quarter of
    the grid's width), or where it is too coarse for what it found; the others keep theirs, so that a die's numbers do
    not depend on which other dies are computed with it. aimed: they stand where the posterior is thought to lie, and
    stay there unless it is seen not to.
    """
    n_dies = len(grids.u_mean)
    moved = np.ones(len(mu), bool)
    todo = np.ones(n_dies, bool)
    table = np.zeros((len(mu), len(grids.m_nodes)))
    found: Posterior | None = None
    for turn in range(ZOOMS + 1):
        dies = np.flatnonzero(todo)
        if not len(dies):
            break
        if moved.all():
            table = table_at(grids.m, None)
        elif moved.any():
            new = np.flatnonzero(moved)
            table[new] = table_at(grids.m_mean[new, None] + grids.m_sd[new, None] * grids.m_nodes, new)
        edges = np.flatnonzero(todo[die])
        local = np.searchsorted(dies, die[edges])
        part = grids.pick(edges, dies)
        post = posterior(part, table[edges], mu[edges], local, theta)
        if found is None:
            found = post
        else:
            found.given_u[edges], found.of_u[dies], found.ll[dies] = post.given_u, post.of_u, post.ll
        if turn == ZOOMS:
            break
        p = edge_marginals(post, local)
        m_mean, m_sd, m_flag = _aim(p, part.m_mean, part.m_sd, grids.m_nodes)
        # Records that no life explains (whole sets dull at once, again and again) send the aim off.
        m_mean, m_sd = np.clip(m_mean, -FARTHEST, FARTHEST), np.minimum(m_sd, WIDEST)
        u_mean, u_sd, u_flag = _aim(post.of_u, part.u_mean, part.u_sd, grids.u_nodes)
        if turn == 0 and not aimed:  # the first look is only for aiming
            m_flag[:] = True
            u_flag[:] = True
        moved[:] = False
        moved[edges[m_flag]] = True
        grids.m_mean[edges[m_flag]], grids.m_sd[edges[m_flag]] = m_mean[m_flag], m_sd[m_flag]
        grids.u_mean[dies[u_flag]], grids.u_sd[dies[u_flag]] = u_mean[u_flag], u_sd[u_flag]
        todo[:] = False
        todo[dies[u_flag]] = True
        todo[die[edges[m_flag]]] = True
    if found is None:
        raise ValueError("no die to look at")
    return found


def _aim(p: Array, centre: Array, sd: Array, nodes: Array) -> tuple[Array, Array, NDArray[np.bool_]]:
    """Mean and sd to put the grid at, and whether it must move again. p: [n, nodes]."""
    z = p @ nodes
    spread = np.sqrt(np.maximum(p @ nodes**2 - z**2, 0.0))
    step, width = nodes[1] - nodes[0], nodes[-1] - nodes[0]
    last = np.abs(nodes) > END_PART * nodes[-1]
    at_end = np.maximum(p @ (last & (nodes < 0)), p @ (last & (nodes > 0)))
    off = (at_end > END_MASS) | (spread < 0.7 * step) | (spread > NARROW)
    new = np.maximum(spread, 0.5 * step)
    new = np.where(at_end > 20 * END_MASS, np.maximum(new, width / 4), np.where(at_end > END_MASS, 1.2 * new, new))
    return centre + z * sd, new * sd, off
