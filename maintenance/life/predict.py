"""What is left: of each edge and of the die, in strokes of the die. No Monte Carlo over lives.

With h hits on the edge now, past cycles integrated as in `posterior`, and the lot under way on five nodes w_j with
weights a_j of N(0, sw^2):
    N_e(u, j, x) = sum_m p(m | u, past) exp(-((h + x)^k - begun^k) e^{k (w_j - m)})
    S_die(x) = sum_{u,j} p(u) a_j prod_e N_e(u, j, x), over the same at x = 0
    S_edge(x) = sum_{u,j} pi(u, j) N_e(u, j, x) / N_e(u, j, 0),  pi proportional to p(u) a_j prod_e' N_e'(u, j, 0)
The die's effect and the lot are shared: twenty edges of a die are not twenty independent chances, and that the whole die
is still sharp tells of the lot. Times the chance of no chip, the rate of chips integrated over its Gamma:
    (1 + x / exposure)^-shape. All of it averaged over the draws of theta.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from . import posterior, prior
from .cycles import CHIPPED, DULL, HITS_UNIT, EdgeSpec, LifeSamples
from .fleet import Edges, FleetFit, P
from .posterior import Grids, Lots, Rows, Tables

F = NDArray[np.float64]

LEVELS = np.array(
    [0.001, 0.005, 0.01, 0.02, *np.round(np.arange(0.05, 0.96, 0.05), 2).tolist(), 0.98, 0.99, 0.995, 0.999]
)
STROKES = np.geomspace(2e-4, 40.0, 48)  # of the die's usual life: where survival is computed; between, interpolated
LOT_X, LOT_A = np.polynomial.hermite_e.hermegauss(5)
LOT_A = LOT_A / LOT_A.sum()
AGES = np.array([0.08, 0.24, 0.40, 0.56, 0.72])  # of an edge whose age is not known, in its own scale
BLOCK_EDGES = 600
FEW_DULL = 30


@dataclass(frozen=True)
class EdgePrediction:
    """What is left of one edge, in strokes of the die.

    remaining: strokes at LEVELS, before which it goes dull or chips with that probability. hits: on the edge now, in
    strokes in which it cuts. usual_hits: half of fresh edges here last longer. share_left: of the usual hits, 0 to 1.
    first_to_go: chance that it is the one that ends the die's run. cycles, dull, chipped: of this edge.
    prior_share: share of what is said that the handbook carries, 0 to 1.
    """

    remaining: F
    hits: float
    usual_hits: float
    share_left: float
    first_to_go: float
    cycles: int
    dull: int
    chipped: int
    prior_share: float
    usual_low_hits: float  # 8 in 10 of what the usual hits may be lie between these two
    usual_high_hits: float


@dataclass(frozen=True)
class DiePrediction:
    """What is left of a die: the first of its edges. remaining: strokes at LEVELS."""

    remaining: F
    edges: tuple[EdgePrediction, ...]
    cycles: int
    dull: int
    chipped: int
    fleet_dull: int
    prior_share: float

    def chance_beyond(self, strokes: float) -> float:
        """The chance that no edge goes dull or chips within so many further strokes."""
        if strokes <= 0:
            return 1.0
        if strokes <= self.remaining[0]:
            return float(1 - LEVELS[0] * strokes / self.remaining[0])
        return float(1 - np.interp(np.log(strokes), np.log(self.remaining), LEVELS))


def rests_on_words(*, fleet_dull: int) -> str:
    """How much of a statement is the shop's own record, in words; nothing to add where it is most."""
    if fleet_dull == 0:
        return "handbook only"
    return "mostly handbook" if fleet_dull < FEW_DULL else ""


def predict(
    fit: FleetFit, edges: Edges, samples: LifeSamples, *, counts: NDArray[np.bool_] | None = None
) -> list[DiePrediction]:
    """What is left of each die of a block.

    edges: die by die, numbered 0, 1 ... as in Edges. samples: their cycles; the one under way gives the hits now (an edge
    without one is taken as fresh). counts: bool[edges], which of them limit the die (False for inserts not fitted).
    Each die's numbers do not depend on the others in the block.
    """
    counts = np.ones(len(edges), np.bool_) if counts is None else np.asarray(counts, np.bool_)
    samples = samples.in_canonical_order()
    result: list[DiePrediction] = []
    for low, high in _blocks(edges.die):
        mine = (samples.edge >= low) & (samples.edge < high)
        part = samples.pick(mine)
        block = Edges(edges.x[low:high], edges.die[low:high] - edges.die[low], edges.stroke_share[low:high])
        result += _Block(fit, block, replace(part, edge=part.edge - low)).told(counts[low:high])
    return result


def predict_die(fit: FleetFit, specs: Sequence[EdgeSpec], samples: LifeSamples, **more) -> DiePrediction:
    """What is left of one die: the same numbers as in the whole fleet's prediction."""
    return predict(fit, Edges.of([replace(s, die=0) for s in specs]), samples, **more)[0]


def _blocks(die: NDArray[np.int64]):
    low = 0
    while low < len(die):
        high = min(low + BLOCK_EDGES, len(die))
        if high < len(die):
            start = int(np.searchsorted(die, die[high]))
            high = start if start > low else int(np.searchsorted(die, die[high], side="right"))
        yield low, high
        low = high


class _Block:
    """The computation for some dies at once."""

    def __init__(self, fit: FleetFit, edges: Edges, samples: LifeSamples) -> None:
        self.fit, self.edges, self.samples = fit, edges, samples
        n = len(edges)
        now = samples.under_way
        self.h, self.begun = np.zeros(n), np.zeros(n)
        self.unknown = np.zeros(n, np.bool_)
        self.h[samples.edge[now]] = samples.hits[now] / HITS_UNIT
        self.begun[samples.edge[now]] = samples.from_hits[now] / HITS_UNIT
        self.unknown[samples.edge[now]] = samples.unknown_age[now]
        self.rows = Rows.of(samples.pick(~now), edges.die)
        self.first = np.flatnonzero(np.r_[True, edges.die[1:] != edges.die[:-1]])
        self.thetas = fit.draws if len(fit.draws) else fit.theta[None, :]
        self.weights = fit.weights if len(fit.draws) else np.ones(1)
        self._place_grids()

    def _place_grids(self) -> None:
        fit, rows = self.fit, self.rows
        theta = fit.theta
        mu = self.edges.x @ theta[:P]
        lots = Lots.none(rows)
        if fit.sw > 0:
            lots = Lots(fit.sw, np.zeros(rows.cells), np.full(rows.cells, fit.sw))
        grids = posterior.start(rows, mu, theta[P + 1], theta[P + 2])
        for round_ in range(3 if fit.sw > 0 else 1):
            grids = posterior.zoom(rows, lots, grids, theta[P], mu, theta[P + 1], theta[P + 2])
            if fit.sw > 0 and round_ < 2:
                at = posterior.table(rows, lots, theta[P], grids.m)
                e = posterior.expect(rows, grids, at, np.zeros_like(at), mu, theta[P + 1], theta[P + 2])
                lots = posterior.lot_step(rows, lots, grids, e, theta[P], sw_prior=1.0, learn=False)
        # The draws move an edge without a record by all of x'b, one with a long record hardly at all.
        moves = self.edges.x @ (self.thetas[:, :P] - theta[:P]).T
        spread = np.sqrt(np.maximum((self.weights * moves**2).sum(1), 0))
        free = np.minimum(grids.m_sd**2 / (np.exp(2 * theta[P + 1]) + np.exp(2 * theta[P + 2])), 1.0)
        self.grids = Grids(grids.u_mid, grids.u_sd * 1.1, grids.m_mid, np.hypot(grids.m_sd, free * spread) * 1.05)
        self.tables = Tables.made(rows, lots, theta[P], self.grids.m)
        self.scale = np.exp(np.add.reduceat(grids.m_mid, self.first) / np.diff(np.r_[self.first, len(mu)]))

    def told(self, counts: NDArray[np.bool_]) -> list[DiePrediction]:
        fit, edges, rows = self.fit, self.edges, self.rows
        strokes = self.scale[:, None] * STROKES  # [dies, x], hundred thousands of strokes
        x = np.concatenate([np.zeros((rows.dies, 1)), strokes], axis=1)[edges.die] * edges.stroke_share[:, None]
        alive_edge = np.zeros((rows.edges, len(STROKES)))
        alive_die = np.zeros((rows.dies, len(STROKES)))
        m_mean = np.zeros((len(self.thetas), rows.edges))
        m_var = np.zeros_like(m_mean)
        for d, (theta, weight) in enumerate(zip(self.thetas, self.weights, strict=True)):
            edge, die, m_mean[d], m_var[d] = self._at(theta, x, counts)
            alive_edge += weight * edge
            alive_die += weight * die
        shape, exposure = fit.chips
        chipping = np.where(counts, edges.stroke_share, 0.0)
        alive_edge *= (1 + x[:, 1:] / exposure) ** -shape
        alive_die *= (1 + strokes * np.add.reduceat(chipping, self.first)[:, None] / exposure) ** -shape
        first = self._first_to_go(alive_edge, alive_die, counts)
        remaining_edge = _invert(alive_edge, strokes[edges.die]) * HITS_UNIT
        remaining_die = _invert(alive_die, strokes) * HITS_UNIT
        return self._words(remaining_edge, remaining_die, first, m_mean, m_var)

    def _at(self, theta: F, x: F, counts: NDArray[np.bool_]) -> tuple[F, F, F, F]:
        """Survival of edges [edges, x] and dies [dies, x] at one theta, without chips."""
        rows, grids = self.rows, self.grids
        k = float(np.exp(theta[P]))
        likelihood, _ = self.tables.values(theta[P])
        mu = self.edges.x @ theta[:P]
        e = posterior.expect(rows, grids, likelihood, np.zeros_like(likelihood), mu, theta[P + 1], theta[P + 2])
        m = grids.m
        lot_w = self.fit.sw * LOT_X if self.fit.sw > 0 else np.zeros(1)
        lot_a = LOT_A if self.fit.sw > 0 else np.ones(1)
        rate = np.exp(k * (lot_w[None, None, :] - m[:, :, None]))  # [e, m, j]
        used = (self.h[:, None] + x) ** k - self.begun[:, None] ** k
        lives = np.exp(-rate[:, :, :, None] * used[:, None, None, :])  # [e, m, j, x]
        for i in np.flatnonzero(self.unknown):
            ages = AGES * np.exp(grids.m_mid[i])
            later = (ages[:, None] + self.h[i] + x[i]) ** k
            top = np.exp(-rate[i][None, :, :, None] * later[:, None, None, :]).sum(0)
            lives[i] = top / np.exp(-rate[i][None] * (ages**k)[:, None, None]).sum(0)[:, :, None]
        shape = lives.shape
        n = (e.pm @ lives.reshape(shape[0], shape[1], -1)).reshape(shape[0], -1, shape[2], shape[3])  # [e, u, j, x]
        n = np.maximum(n, 1e-290)
        ln = np.log(n)
        limits = np.where(counts[:, None, None, None], ln, 0.0)
        together = np.add.reduceat(limits, self.first, axis=0)  # [d, u, j, x]
        ln_p = np.log(np.maximum(e.pu, 1e-290))[:, :, None] + np.log(lot_a)[None, None, :]
        joint = together + ln_p[:, :, :, None]
        top = joint[:, :, :, :1].max(axis=(1, 2), keepdims=True)
        die = np.exp(joint - top).sum(axis=(1, 2))
        pi = np.exp(joint[:, :, :, 0] - top[:, :, :, 0])
        pi /= pi.sum(axis=(1, 2), keepdims=True)
        edge = np.einsum("euj,eujx->ex", pi[self.edges.die], n[:, :, :, 1:] / n[:, :, :, :1])
        pe = e.pu[self.edges.die]
        mean = (pe * e.moments[:, :, 0]).sum(1)
        var = np.maximum((pe * e.moments[:, :, 1]).sum(1) - mean**2, 0)
        return edge, die[:, 1:] / die[:, :1], mean, var

    def _first_to_go(self, edge: F, die: F, counts: NDArray[np.bool_]) -> F:
        """Chance of each edge to end the die's run: its part of the hazard, over when the die's run ends."""
        hazard = np.diff(-np.log(np.maximum(edge, 1e-300)), axis=1, prepend=0.0)
        hazard = np.where(counts[:, None], np.maximum(hazard, 0) + 1e-300, 0.0)
        whole = np.add.reduceat(hazard, self.first, axis=0)
        ends = np.maximum(-np.diff(die, axis=1, prepend=1.0), 0)
        ends /= np.maximum(ends.sum(axis=1, keepdims=True), 1e-300)
        parts = np.divide(hazard, whole[self.edges.die], out=np.zeros_like(hazard), where=whole[self.edges.die] > 0)
        return (parts * ends[self.edges.die]).sum(axis=1)

    def _words(self, remaining_edge, remaining_die, first, m_mean, m_var) -> list[DiePrediction]:
        fit, edges, s = self.fit, self.edges, self.samples
        n = len(edges)
        ks = np.exp(self.thetas[:, P])
        mean = self.weights @ m_mean
        variance = self.weights @ (m_var + (m_mean - mean) ** 2)
        before = (edges.x * prior.SD) ** 2
        before = before.sum(1) + prior.TU_HALF_NORMAL**2 + prior.TV_HALF_NORMAL**2
        prior_share = np.clip(variance / before, 0.0, 1.0)
        ln_median = self.weights @ (np.log(np.log(2)) / ks)
        usual = np.exp(mean + ln_median) * HITS_UNIT
        sd = np.sqrt(variance)
        closed = ~s.under_way
        cycles = np.bincount(s.edge[closed], minlength=n)
        dull = np.bincount(s.edge[closed & (s.ended == DULL)], minlength=n)
        chipped = np.bincount(s.edge[closed & (s.ended == CHIPPED)], minlength=n)
        hits = self.h * HITS_UNIT
        made = [
            EdgePrediction(
                remaining_edge[i],
                float(hits[i]),
                float(usual[i]),
                float(np.clip(1 - hits[i] / usual[i], 0.0, 1.0)),
                float(first[i]),
                int(cycles[i]),
                int(dull[i]),
                int(chipped[i]),
                float(prior_share[i]),
                float(usual[i] * np.exp(-1.2816 * sd[i])),
                float(usual[i] * np.exp(1.2816 * sd[i])),
            )
            for i in range(n)
        ]
        ends = np.r_[self.first[1:], n]
        return [
            DiePrediction(
                remaining_die[d],
                tuple(made[a:b]),
                int(cycles[a:b].sum()),
                int(dull[a:b].sum()),
                int(chipped[a:b].sum()),
                fit.dull,
                float((prior_share[a:b] * first[a:b]).sum() / max(first[a:b].sum(), 1e-300)),
            )
            for d, (a, b) in enumerate(zip(self.first, ends, strict=True))
        ]


def _invert(alive: F, strokes: F) -> F:
    """Strokes at LEVELS from survival [n, x] at strokes [n, x]: straight lines in ln(-ln S) over ln strokes."""
    wear = np.log(-np.log(np.clip(alive, 1e-12, 1 - 1e-9)))
    wear = np.maximum.accumulate(wear, axis=1) + 1e-12 * np.arange(wear.shape[1])
    wanted = np.log(-np.log1p(-LEVELS))
    ln_x = np.log(strokes)
    out = np.empty((len(alive), len(LEVELS)))
    for i in range(len(alive)):
        a, b = wear[i], ln_x[i]
        out[i] = np.interp(wanted, a, b)
        low, high = wanted < a[0], wanted > a[-1]
        if low.any():  # below the first point a straight line through the first two
            out[i, low] = b[0] + (wanted[low] - a[0]) * min((b[1] - b[0]) / max(a[1] - a[0], 1e-9), 4.0)
        if high.any():
            out[i, high] = b[-1]
    return np.exp(out)
