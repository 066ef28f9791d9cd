"""The integrals of the fleet model: grids over each edge's and each die's effect, and what is expected over them.

Model, hits in units of 100,000. Life to dullness of edge e of die D in lot g:
    S(h) = exp(-h^k e^{k (w_g - m_e)}),  m_e = x_e'b + u_D + v_e,
    u ~ N(0, tu^2), v ~ N(0, tv^2), w ~ N(0, sw^2), w shared by all edges of the die that end a cycle in the lot.
The effects are integrated, not maximised: maximising the shape together with them gives shapes far too large and bands
far too narrow. For each edge the likelihood of its cycles is tabulated on nodes of m; dies are joined on nodes of u.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from .cycles import DULL, HITS_UNIT, LifeSamples

F = NDArray[np.float64]

NODES_U, WIDTH_U = 15, 4.5
NODES_M, WIDTH_M = 31, 5.5
STEP_LN_K = 0.05
ROUNDS_OF_ZOOM = 8
SQRT3 = np.sqrt(3.0)
HERMITE_X = np.array([-SQRT3, 0.0, SQRT3])  # three nodes for a standard normal
HERMITE_A = np.array([1.0, 4.0, 1.0]) / 6.0
NODES_W = np.linspace(-4.0, 4.0, 17)
LN_2PI = float(np.log(2 * np.pi))


@dataclass(frozen=True)
class Rows:
    """Cycles sorted into cells (edge, lot), edges sorted by die: what the tables are made from.

    Edges here are numbered 0 .. n in the order of the block; die_of_edge is sorted.
    """

    edges: int
    die_of_edge: NDArray[np.int64]
    dies: int
    cell_edge: NDArray[np.int64]  # [cells], sorted
    cell_group: NDArray[np.int64]  # [cells] number of the lot in the block
    group_die: NDArray[np.int64]  # [groups]
    power_cell: NDArray[np.int64]  # terms sign * value^k of each cell
    power_value: F
    power_sign: F
    dull_cell: NDArray[np.int64]  # [dull ends], sorted by cell
    dull_low: F
    dull_high: F

    @classmethod
    def of(cls, samples: LifeSamples, die_of_edge: NDArray[np.int64]) -> Rows:
        """samples: closed cycles, and open ones to be taken as sharp so far, in canonical order; edges by die."""
        keep = (samples.hits > samples.from_hits) & ~samples.unknown_age
        s = samples.pick(keep)
        groups, group = np.unique(
            np.stack([die_of_edge[s.edge], np.where(s.lot >= 0, s.lot, -1 - np.arange(len(s)))]),
            axis=1,
            return_inverse=True,
        )
        group = group.reshape(-1)
        order = np.lexsort((np.arange(len(s)), group, s.edge))
        s, group = s.pick(order), group[order]
        new = np.ones(len(s), np.bool_)
        new[1:] = (s.edge[1:] != s.edge[:-1]) | (group[1:] != group[:-1])
        cell = np.cumsum(new) - 1
        dull = s.ended == DULL
        low, high, begun = s.lower_hits / HITS_UNIT, s.hits / HITS_UNIT, s.from_hits / HITS_UNIT
        # A dull end known exactly is taken as within half a thousandth of its life: the interval form serves for all.
        low = np.where(dull & (high - low < 5e-4 * high), high * (1 - 5e-4), low)
        value = np.concatenate([np.where(dull, low, high), begun])
        sign = np.concatenate([np.ones(len(s)), -np.ones(len(s))])
        where = np.concatenate([cell, cell])
        some = value > 0
        return cls(
            edges=len(die_of_edge),
            die_of_edge=die_of_edge,
            dies=int(die_of_edge[-1]) + 1 if len(die_of_edge) else 0,
            cell_edge=s.edge[new],
            cell_group=group[new],
            group_die=groups[0].astype(np.int64),
            power_cell=where[some],
            power_value=value[some],
            power_sign=sign[some],
            dull_cell=cell[dull],
            dull_low=low[dull],
            dull_high=high[dull],
        )

    @property
    def cells(self) -> int:
        return len(self.cell_edge)

    def powers(self, k: float) -> tuple[F, F]:
        """Z of each cell and hi^k - lo^k of each dull end."""
        z = (
            np.bincount(self.power_cell, weights=self.power_sign * self.power_value**k, minlength=self.cells)
            if len(self.power_cell)
            else np.zeros(self.cells)
        )
        return z, self.dull_high**k - self.dull_low**k

    def cell_log_likelihood(self, k: float, m: F, w: F) -> F:
        """l_eg(m, w): m [cells, a] (or [cells, 1]), w [cells, b] -> [cells, b, a]."""
        z, gap = self.powers(k)
        scale = np.exp(k * w)[:, :, None] * np.exp(-k * m)[:, None, :]
        out = -z[:, None, None] * scale
        if len(self.dull_cell):
            q = gap[:, None, None] * scale[self.dull_cell]
            terms = np.log(-np.expm1(-np.maximum(q, 1e-280)))
            first = np.flatnonzero(np.r_[True, self.dull_cell[1:] != self.dull_cell[:-1]])
            out[self.dull_cell[first]] += np.add.reduceat(terms, first, axis=0)
        return out


@dataclass
class Grids:
    """Nodes: u [dies, NODES_U], m [edges, NODES_M], evenly spaced."""

    u_mid: F
    u_sd: F
    m_mid: F
    m_sd: F

    @property
    def u(self) -> F:
        return self.u_mid[:, None] + self.u_sd[:, None] * np.linspace(-WIDTH_U, WIDTH_U, NODES_U)

    @property
    def m(self) -> F:
        return self.m_mid[:, None] + self.m_sd[:, None] * np.linspace(-WIDTH_M, WIDTH_M, NODES_M)

    @property
    def ln_du(self) -> F:
        return np.log(self.u_sd * 2 * WIDTH_U / (NODES_U - 1))

    @property
    def ln_dm(self) -> F:
        return np.log(self.m_sd * 2 * WIDTH_M / (NODES_M - 1))


@dataclass
class Lots:
    """What the rest of its die says of each cell's lot: mean and sd of w; and the spread sw of lots."""

    sw: float
    mid: F
    sd: F

    @classmethod
    def none(cls, rows: Rows) -> Lots:
        return cls(0.0, np.zeros(rows.cells), np.zeros(rows.cells))


@dataclass
class Expected:
    """Posterior means at one theta over the grids."""

    ll: float
    pu: F  # [dies, u]
    pm: F  # [edges, u, m], each row sums to one
    moments: F  # [edges, u, 3]: E of m, m^2, dL/dln k given u


def table(rows: Rows, lots: Lots, ln_k: float, m: F) -> F:
    """L_e(m) on nodes m [edges, nodes]: the log-likelihood of the cycles, lots integrated over their cavities."""
    out = np.zeros(m.shape)
    if not rows.cells:
        return out
    k = float(np.exp(ln_k))
    if lots.sw > 0:
        w = lots.mid[:, None] + lots.sd[:, None] * HERMITE_X
        values = rows.cell_log_likelihood(k, m[rows.cell_edge], w) + np.log(HERMITE_A)[None, :, None]
        top = values.max(axis=1)
        per_cell = top + np.log(np.exp(values - top[:, None, :]).sum(axis=1))
    else:
        per_cell = rows.cell_log_likelihood(k, m[rows.cell_edge], np.zeros((rows.cells, 1)))[:, 0, :]
    first = np.flatnonzero(np.r_[True, rows.cell_edge[1:] != rows.cell_edge[:-1]])
    out[rows.cell_edge[first]] = np.add.reduceat(per_cell, first, axis=0)
    return out


@dataclass
class Tables:
    """L at ln k0 and ln k0 +- a step, quadratic between: moving theta costs no pass over the cycles."""

    ln_k: float
    at: F
    slope: F
    bend: F

    @classmethod
    def made(cls, rows: Rows, lots: Lots, ln_k: float, m: F) -> Tables:
        mid, low, high = (table(rows, lots, ln_k + s, m) for s in (0.0, -STEP_LN_K, STEP_LN_K))
        return cls(ln_k, mid, (high - low) / (2 * STEP_LN_K), (high - 2 * mid + low) / STEP_LN_K**2)

    def values(self, ln_k: float) -> tuple[F, F]:
        """L and dL/dln k."""
        d = ln_k - self.ln_k
        return self.at + d * self.slope + 0.5 * d * d * self.bend, self.slope + d * self.bend


def expect(rows: Rows, grids: Grids, likelihood: F, slope: F, mu: F, ln_tu: float, ln_tv: float) -> Expected:
    """Integrate edges and dies at one theta.

    likelihood, slope: L and dL/dln k on the nodes [edges, m]; mu = x'b [edges].
    ll = sum over dies of ln integral N(u; 0, tu^2) prod_e [integral N(m; mu_e + u, tv^2) e^{L_e(m)} dm] du.
    """
    u, m = grids.u, grids.m
    r = m[:, None, :] - mu[:, None, None] - u[rows.die_of_edge][:, :, None]
    r *= r
    r *= -0.5 * np.exp(-2 * ln_tv)
    r += (likelihood + (grids.ln_dm - ln_tv - 0.5 * LN_2PI)[:, None])[:, None, :]
    top = r.max(axis=2, keepdims=True)
    r -= top
    np.exp(r, out=r)
    total = r.sum(axis=2, keepdims=True)
    g = (top + np.log(total))[:, :, 0]
    r /= total
    lu = -0.5 * u**2 * np.exp(-2 * ln_tu) - ln_tu - 0.5 * LN_2PI + grids.ln_du[:, None]
    if rows.edges:
        first = np.flatnonzero(np.r_[True, rows.die_of_edge[1:] != rows.die_of_edge[:-1]])
        lu[rows.die_of_edge[first]] += np.add.reduceat(g, first, axis=0)
    top_u = lu.max(axis=1, keepdims=True)
    pu = np.exp(lu - top_u)
    total_u = pu.sum(axis=1, keepdims=True)
    ll = float((top_u + np.log(total_u)).sum())
    pu /= total_u
    moments = r @ np.stack([m, m * m, slope], axis=2)
    return Expected(ll, pu, r, moments)


def marginals(rows: Rows, grids: Grids, e: Expected) -> tuple[F, F, F, F]:
    """Mean and sd of u [dies] and of m [edges]."""
    u = grids.u
    u_mean = (e.pu * u).sum(1)
    u_sd = np.sqrt(np.maximum((e.pu * u * u).sum(1) - u_mean**2, 0))
    pe = e.pu[rows.die_of_edge]
    m_mean = (pe * e.moments[:, :, 0]).sum(1)
    m_sd = np.sqrt(np.maximum((pe * e.moments[:, :, 1]).sum(1) - m_mean**2, 0))
    return u_mean, u_sd, m_mean, m_sd


def zoom(rows: Rows, lots: Lots, grids: Grids, ln_k: float, mu: F, ln_tu: float, ln_tv: float, *, passes: int = 2):
    """Move and narrow the grids onto the posterior; a grid whose ends carry weight widens and travels.

    Each die is moved by itself, so that its numbers do not depend on which others are computed with it. Returns the
    grids and what is expected over them.
    """
    grids = Grids(grids.u_mid.copy(), grids.u_sd.copy(), grids.m_mid.copy(), grids.m_sd.copy())
    left = np.full(rows.dies, passes)
    for _ in range(ROUNDS_OF_ZOOM + passes):
        e = expect(rows, grids, table(rows, lots, ln_k, grids.m), np.zeros_like(grids.m), mu, ln_tu, ln_tv)
        u_mean, u_sd, m_mean, m_sd = marginals(rows, grids, e)
        pm = np.einsum("eu,eum->em", e.pu[rows.die_of_edge], e.pm)
        m_ends = pm[:, [0, 1, -2, -1]].sum(1) > 1e-3
        u_ends = e.pu[:, [0, 1, -2, -1]].sum(1) > 1e-3
        travels = u_ends.copy()
        np.logical_or.at(travels, rows.die_of_edge, m_ends)
        left = np.where(travels, np.maximum(left, 1), left)
        if not left.any():
            break
        u_new = np.where(u_ends, np.maximum(u_sd, grids.u_sd * WIDTH_U / 2), np.maximum(u_sd, 1e-3))
        m_new = np.where(m_ends, np.maximum(m_sd, grids.m_sd * WIDTH_M / 2), np.maximum(m_sd, 1e-3))
        moving = left > 0
        at = moving[rows.die_of_edge]
        grids.u_mid[moving], grids.u_sd[moving] = u_mean[moving], u_new[moving]
        grids.m_mid[at], grids.m_sd[at] = m_mean[at], m_new[at]
        left = left - moving
    return grids


def start(rows: Rows, mu: F, ln_tu: float, ln_tv: float) -> Grids:
    wide = np.sqrt(np.exp(2 * ln_tu) + np.exp(2 * ln_tv))
    return Grids(
        np.zeros(rows.dies),
        np.full(rows.dies, float(np.exp(ln_tu))),
        mu.astype(float).copy(),
        np.full(rows.edges, float(wide)),
    )


def lot_step(rows: Rows, lots: Lots, grids: Grids, e: Expected, ln_k: float, *, sw_prior: float, learn: bool) -> Lots:
    """One round of the lot effect: what each edge says of each lot, the spread sw, and every cell's cavity.

    own_eg(w) = ln E_m[exp l_eg(m, w)] over three nodes of the edge's posterior; gl_g = sum_e own_eg; the cavity of a
    cell is N(w; 0, sw^2) e^{gl_g - own_eg}. From its mean the die's mean of E[w_g] is taken off: that belongs to u.
    """
    if not rows.cells:
        return lots
    _, _, m_mean, m_sd = marginals(rows, grids, e)
    m = (m_mean[:, None] + m_sd[:, None] * HERMITE_X)[rows.cell_edge]
    k = float(np.exp(ln_k))
    w = lots.sw * NODES_W
    values = rows.cell_log_likelihood(k, m, np.broadcast_to(w, (rows.cells, len(w)))) + np.log(HERMITE_A)
    top = values.max(axis=2)
    own = top + np.log(np.exp(values - top[:, :, None]).sum(axis=2))  # [cells, w]
    groups = len(rows.group_die)
    gl = np.zeros((groups, len(w)))
    np.add.at(gl, rows.cell_group, own)
    sw = lots.sw
    if learn:
        trial = sw * np.geomspace(0.45, 1.35, 41)
        ln_n = -0.5 * (w[None, :] / trial[:, None]) ** 2 - np.log(trial)[:, None]
        peak = gl.max(axis=1)
        integral = np.log(np.exp(ln_n) @ np.exp(gl - peak[:, None]).T).sum(axis=1)
        integral += -0.5 * (trial / sw_prior) ** 2 + np.log(trial)
        sw = float(trial[np.argmax(integral)])
    ln_n = -0.5 * (w / sw) ** 2
    whole = _weights(gl + ln_n)
    mean_w = whole @ w
    per_die = np.bincount(rows.group_die, minlength=rows.dies)
    die_mean = np.bincount(rows.group_die, weights=mean_w, minlength=rows.dies) / np.maximum(per_die, 1)
    cavity = _weights(gl[rows.cell_group] - own + ln_n)
    mid = cavity @ w
    sd = np.sqrt(np.maximum(cavity @ (w * w) - mid**2, 1e-12))
    return Lots(sw, mid - die_mean[rows.die_of_edge[rows.cell_edge]], sd)


def _weights(ln: F) -> F:
    p = np.exp(ln - ln.max(axis=1, keepdims=True))
    return p / p.sum(axis=1, keepdims=True)
