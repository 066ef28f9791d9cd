"""What is left of a die and of each of its edges, in further strokes of the die. No Monte Carlo over lives.

With h hits on edge e now and f on it when its record began, w_j the nodes of the lot under way, weights a_j:
    N_e(u, j, x) = sum over m of N(m; x'b + u, tv^2) e^{L_e(m)} exp(-((h + s x)^k - f^k) e^{k (w_j - m)}),
    S_die(x)  = sum over u, j of N(u; 0, tu^2) a_j prod_e N_e(u, j, x), over the same at x = 0,
    S_edge(x) = sum over u, j of pi(u, j) N_e(u, j, x) / N_e(u, j, 0),  pi proportional to the terms of S_die at x = 0,
where L_e holds the past cycles only, s is the edge's share of the die's strokes. The die's own effect and the lot are
shared: twenty edges are not twenty independent chances; and that the whole die is still sharp tells of both. Times the
chance of no chip; averaged over the draws of theta; turned round by interpolation. A die is computed from its own
records and the stored fit alone.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from . import chips, lots, prior
from .cells import FLOOR, LARGEST, Cells
from .cycles import CHIPPED, DULL, HITS_UNIT, EdgeSpec, LifeSamples
from .fleet import FleetFit, check
from .grids import M_NODES, Grids, Theta, edge_marginals, sum_by_die, travel
from .integrals import Told, tails
from .readings import Readings, tell

Array = NDArray[np.float64]

LEVELS = (0.001, 0.005, 0.01, 0.02, *(round(0.05 * i, 2) for i in range(1, 20)), 0.98, 0.99, 0.995, 0.999)
POINTS = 40  # of x on each die's curve
LOOKS = 2  # at the lots
W_NODES, W_WEIGHTS = np.polynomial.hermite_e.hermegauss(5)
W_WEIGHTS = W_WEIGHTS / W_WEIGHTS.sum()
AGES = np.array([0.1, 0.3, 0.5, 0.7, 0.9])  # of an edge of unknown age, in parts of 1.3 usual stops
AGE_SPAN = 1.3
BLOCK_EDGES = 120
SHAPES = np.cos((2 * np.arange(5) + 1) * np.pi / 10)  # where the past is tabulated, in parts of the draws' reach
SHAPES_REACH = 0.5
FEW_DULL_ENDS = 30


class NothingToForecast(ValueError):
    """No edge is under way; the message says of what."""


@dataclass(frozen=True, kw_only=True)
class RestsOn:
    """What a forecast rests on. prior_share: how much of what is unsure of the usual life before any record is still
    unsure, 0..1; words: the same for people."""

    cycles: int
    dull_ends: int
    chipped_ends: int
    prior_share: float
    words: str

    def to_dict(self) -> dict:
        return {
            "cycles": self.cycles,
            "dull_ends": self.dull_ends,
            "chipped_ends": self.chipped_ends,
            "prior_share": round(self.prior_share, 3),
            "words": self.words,
        }


@dataclass(frozen=True)
class Curve:
    """The chance of going at least `strokes` further: rising strokes of the die, ln of the cumulated hazard there."""

    strokes: Array
    ln_hazard: Array

    def chance_beyond(self, strokes: float) -> float:
        """Chance that it goes at least that many further strokes of the die."""
        if strokes <= 0:
            return 1.0
        return float(np.exp(-np.exp(_line(np.log(strokes), np.log(self.strokes), self.ln_hazard))))

    def strokes_at(self, probability: float) -> float:
        """Further strokes of the die before which it goes dull or chips with that probability."""
        wanted = np.log(-np.log1p(-probability))
        return float(np.exp(_line(wanted, self.ln_hazard, np.log(self.strokes))))


@dataclass(frozen=True, kw_only=True)
class EdgePrediction:
    """One edge. remaining: probability -> further strokes of the die. first_to_go: chance that it is the first of its
    die. usual_hits: half of fresh edges like this one, here, last longer, in strokes in which it cuts;
    usual_die_hits: in strokes of the die. usual_band_hits: 10 % and 90 % limits of usual_hits itself. hits_now: on it
    now (None: age not known). share_left: middle of what is left over the middle of the whole, 0..1."""

    edge: int
    remaining: dict[float, float]
    first_to_go: float
    usual_hits: float
    usual_die_hits: float
    usual_band_hits: tuple[float, float]
    hits_now: float | None
    share_left: float
    rests_on: RestsOn
    curve: Curve

    def chance_beyond(self, strokes: float) -> float:
        return self.curve.chance_beyond(strokes)


@dataclass(frozen=True, kw_only=True)
class DiePrediction:
    """The first of a die's edges to go. edges: by number of the edge as it was handed in, those with a cycle under
    way."""

    die: int
    remaining: dict[float, float]
    edges: dict[int, EdgePrediction]
    limits: int
    rests_on: RestsOn
    curve: Curve

    def chance_beyond(self, strokes: float) -> float:
        """Chance that no edge goes dull or chips within that many further strokes."""
        return self.curve.chance_beyond(strokes)


def predict_die(
    fit: FleetFit, edges: Sequence[EdgeSpec], samples: LifeSamples, *, readings: Readings | None = None
) -> DiePrediction:
    """One die on the stored fit. edges: all of the die, old builds too; samples.edge counts in that list.

    readings: in the cycles of the samples, used where the fit has learnt from the shop's own what they mean.

    Raises NothingToForecast where no edge has a cycle under way, SampleRefused where the samples cannot be.
    """
    if len({e.die for e in edges}) > 1:
        raise ValueError(f"these edges are of {len({e.die for e in edges})} dies; one is expected")
    found = predict_fleet(fit, edges, samples, readings=readings)
    if not found:
        raise NothingToForecast(
            f"none of the {len(edges)} edges has a cycle under way, so there is nothing to forecast"
        )
    return next(iter(found.values()))


def predict_fleet(
    fit: FleetFit, edges: Sequence[EdgeSpec], samples: LifeSamples, *, readings: Readings | None = None
) -> dict[int, DiePrediction]:
    """Every die with an edge under way, by number of the die: the same numbers as predict_die, block by block."""
    check(edges, samples)
    if readings is not None:
        samples = tell(fit.reading_models, edges, samples, readings)
    die = np.array([e.die for e in edges], np.int64)
    order = np.argsort(die, kind="stable")
    samples = samples.in_canonical_order()
    bounds = np.searchsorted(samples.edge, np.arange(len(edges) + 1))
    result: dict[int, DiePrediction] = {}
    for block in _blocks(die[order], BLOCK_EDGES):
        members = order[block]
        rows = np.concatenate([np.arange(bounds[e], bounds[e + 1]) for e in members] or [np.zeros(0, int)])
        number = np.full(len(edges), -1, np.int64)
        number[members] = np.arange(len(members))
        part = samples.pick(rows.astype(int))
        part = replace(part, edge=number[part.edge])
        result.update(Block([edges[e] for e in members], part, fit).predict(members))
    return result


def _blocks(die: NDArray[np.int64], size: int) -> list[slice]:
    """Whole dies, about `size` edges together."""
    ends = np.flatnonzero(np.r_[die[1:] != die[:-1], True]) + 1 if len(die) else np.zeros(0, int)
    blocks, start = [], 0
    for i, end in enumerate(ends):
        if end - start >= size or i == len(ends) - 1:
            blocks.append(slice(start, int(end)))
            start = int(end)
    return blocks


class Block:
    """Some dies together: their records, grids at the best theta, and the sums over the draws."""

    def __init__(self, specs: Sequence[EdgeSpec], samples: LifeSamples, fit: FleetFit) -> None:
        self.specs, self.samples, self.fit = specs, samples, fit
        names, self.die = np.unique([s.die for s in specs], return_inverse=True)
        self.names = names
        self.n_dies = len(names)
        self.x = prior.design(specs)
        self.share = np.array([s.stroke_share for s in specs])
        known = ~samples.unknown_age
        self.past = samples.pick(known & ~samples.under_way)
        now = samples.pick(samples.under_way)
        n = len(specs)
        self.current = np.zeros(n, bool)
        self.current[now.edge] = True
        self.h = np.zeros(n)
        self.f = np.zeros(n)
        self.unknown = np.zeros(n, bool)
        self.h[now.edge] = now.hits / HITS_UNIT
        self.f[now.edge] = now.from_hits / HITS_UNIT
        self.unknown[now.edge] = now.unknown_age
        self.told, self.told_sd = np.full(n, np.nan), np.full(n, np.nan)
        self.told[now.edge] = np.where(now.unknown_age, np.nan, now.told - np.log(HITS_UNIT))
        self.told_sd[now.edge] = np.maximum(now.told_sd, 1e-3)
        self.read = np.isfinite(self.told)
        self.now_told = Told(
            self.told[self.read],
            self.told_sd[self.read],
            np.log(np.maximum(self.h[self.read], 1e-9)),
            self.f[self.read],
        )
        self.cells = Cells.of(self.past, self.die, positions=self._positions(), lots=fit.sw > 0)
        self.counts = self._count()

    def _positions(self) -> NDArray[np.int64]:
        under_way = np.bincount(self.die[self.current], minlength=self.n_dies)
        return np.where(under_way > 0, under_way, np.bincount(self.die, minlength=self.n_dies))

    def _count(self) -> dict[str, Array]:
        known = self.samples.pick(~self.samples.unknown_age)
        n = len(self.specs)
        chip_count, exposure = chips.exposure(self.samples, n)
        return {
            "cycles": np.bincount(known.edge, minlength=n),
            "dull": np.bincount(known.edge[known.ended == DULL], minlength=n),
            "chipped": np.bincount(self.samples.edge[self.samples.ended == CHIPPED], minlength=n),
            "chips": chip_count,
            "exposure": exposure,
        }

    def _open_table(self, nodes: Array, k: float, edges) -> Array:
        """ln of the chance that the cycle under way is still sharp, the lot integrated out; only to aim the grids."""
        pick = slice(None) if edges is None else edges
        h, f = self.h[pick][:, None], self.f[pick][:, None]
        run = np.maximum(h**k - f**k, 0.0)
        sw = self.fit.sw
        e = np.exp(np.minimum(-k * nodes, LARGEST))
        log = -run[:, :, None] * np.minimum(e[:, :, None] * np.exp(k * sw * W_NODES), np.exp(LARGEST)) + np.log(
            W_WEIGHTS
        )
        which = np.arange(len(self.h))[pick]
        if self.read[which].any():
            told = self._told_log(nodes, k, which, sw * W_NODES)
            log[self.read[which]] = told + np.log(W_WEIGHTS)
        top = log.max(axis=2, keepdims=True)
        return top[:, :, 0] + np.log(np.exp(log - top).sum(axis=2))

    def _told_log(self, nodes: Array, k: float, which: NDArray[np.int64], lot: Array) -> Array:
        """ln of what readings and hits now say, for the edges with readings among `which`: [edges, m, lots]."""
        place = np.searchsorted(np.flatnonzero(self.read), which[self.read[which]])
        now = self.now_told
        some = Told(now.told[place], now.sd[place], now.ln_h[place], now.start[place])
        return some.log(nodes[self.read[which]][:, :, None] - lot, k)

    def aim(self) -> None:
        """Grids where the posterior of everything lies, at the best theta; cavities of the lots from past cycles."""
        theta = self.fit.best
        k, sw = theta.k, self.fit.sw
        mu = self.x @ theta.b
        self.grids = Grids.at_prior(mu, theta, self.n_dies)
        self.c = self.d = None
        lotted = sw > 0 and len(self.cells) > 0
        if lotted:
            self.c, self.d = np.zeros(len(self.cells)), np.full(len(self.cells), sw)

        def table(nodes: Array, edges) -> Array:
            return self.cells.table(nodes, k, self.c, self.d, edges) + self._open_table(nodes, k, edges)

        post = travel(self.grids, table, mu, self.die, theta)
        if lotted:
            for _ in range(LOOKS):
                p = edge_marginals(post, self.die)
                z = p @ M_NODES
                sd = np.sqrt(np.maximum(p @ M_NODES**2 - z**2, 1e-8)) * self.grids.m_sd
                mean = self.grids.m_mean + z * self.grids.m_sd
                seen, _ = lots.look(self.cells, mean, sd, k, sw, self.n_dies)
                self.c, self.d = seen.c, seen.d
                post = travel(self.grids, table, mu, self.die, theta)
        p = edge_marginals(post, self.die)
        z = p @ M_NODES
        sd = np.sqrt(np.maximum(p @ M_NODES**2 - z**2, 1e-8)) * self.grids.m_sd
        self.mean_now = self.grids.m_mean + z * self.grids.m_sd
        self._aim_lot(k, sd)
        self._tables()

    def _aim_lot(self, k: float, sd: Array) -> None:
        """Nodes of the lot under way, [dies, j], at what the die's edges now tell of it; ln of their weights."""
        sw = self.fit.sw
        if sw == 0:
            self.lot, self.ln_lot = np.zeros((self.n_dies, 1)), np.zeros((self.n_dies, 1))
            return
        w = lots.W_NODES * sw
        m = self.mean_now[:, None] + sd[:, None] * lots.M_NODES
        run = np.maximum(self.h**k - self.f**k, 0.0)
        own = -run[:, None, None] * np.exp(np.minimum(k * (w - m[:, :, None]), LARGEST))
        if self.read.any():
            own[self.read] = self._told_log(m, k, np.arange(len(m)), w)
        top = own.max(axis=1, keepdims=True)
        own = top[:, 0] + np.log(np.einsum("j,ejw->ew", lots.M_WEIGHTS, np.exp(own - top)))
        own[~self.current] = 0.0
        c, d = lots.moments((sum_by_die(own, self.die, self.n_dies) - 0.5 * lots.W_NODES**2).T, w)
        d = np.minimum(np.maximum(1.15 * d, 0.2 * sw), sw)
        self.lot = c[:, None] + d[:, None] * W_NODES
        self.ln_lot = np.log(W_WEIGHTS) - 0.5 * (self.lot / sw) ** 2 + 0.5 * W_NODES**2 + np.log(d / sw)[:, None]

    def _tables(self) -> None:
        """L of the past at the shapes of the draws: a polynomial in ln k through a few where they lie close."""
        ln_k = np.array([theta.ln_k for _, theta in self.fit.thetas()])
        self.table_at = {}
        if len(ln_k) > 2 * len(SHAPES) and np.ptp(ln_k) < SHAPES_REACH:
            middle, half = (ln_k.max() + ln_k.min()) / 2, max(np.ptp(ln_k) / 2, 1e-6)
            known = middle + half * SHAPES
            tables = np.stack([self.cells.table(self.grids.m, np.exp(v), self.c, self.d) for v in known])
            floor = tables.max(axis=2, keepdims=True).min(axis=0) - FLOOR
            tables = np.where((tables < floor).any(axis=0), floor, tables)
            for v in ln_k:
                parts = [
                    np.prod((v - np.delete(known, i)) / (known[i] - np.delete(known, i))) for i in range(len(known))
                ]
                self.table_at[v] = np.tensordot(np.array(parts), tables, axes=1)

    def past_table(self, theta: Theta) -> Array:
        found = self.table_at.get(theta.ln_k)
        return self.cells.table(self.grids.m, theta.k, self.c, self.d) if found is None else found

    def _strokes(self) -> Array:
        """[dies, 1 + points] further strokes of the die in units: nought, then even steps of the logarithm."""
        usual = np.exp(self.mean_now) / self.share
        low, high = np.full(self.n_dies, np.inf), np.zeros(self.n_dies)
        now = self.current
        np.minimum.at(low, self.die[now], usual[now])
        np.maximum.at(high, self.die[now], usual[now])
        none = ~np.isfinite(low)
        low[none], high[none] = 1.0, 1.0
        steps = np.linspace(0, 1, POINTS)
        grid = np.exp(np.log(low * 1e-3)[:, None] * (1 - steps) + np.log(high * 12.0)[:, None] * steps)
        return np.concatenate([np.zeros((self.n_dies, 1)), grid], axis=1)

    def predict(self, members: NDArray[np.int64]) -> dict[int, DiePrediction]:
        if not self.current.any():
            return {}
        self.aim()
        x = self._strokes()
        n = len(self.specs)
        s_die, s_edge = np.zeros_like(x), np.zeros((n, x.shape[1]))
        m1, m2, usual = np.zeros(n), np.zeros(n), np.zeros(n)
        for weight, theta in self.fit.thetas():
            die_curve, edge_curve, mean, square, _ = self._at(theta, x)
            s_die += weight * die_curve
            s_edge += weight * edge_curve
            m1 += weight * mean
            m2 += weight * square
            usual += weight * (mean + np.log(np.log(2.0)) / theta.k)
        first = self._at(self.fit.best, x, first_to_go=True)[4]
        hazard_die, hazard_edge = self._with_chips(x, s_die, s_edge)
        sd = np.sqrt(np.maximum(m2 - m1**2, 0.0))
        return self._told(members, x, hazard_die, hazard_edge, first, usual, sd)

    def _survival(self, k: float, run: Array, start: Array, e: Array) -> Array:
        """exp(-(run^k - start^k) e), e broadcast: [edges, m, j], run: [edges, x], start: [edges]."""
        power = np.maximum(run**k - (start**k)[:, None], 0.0)
        return np.exp(-e[..., None] * power[:, None, None, :])

    def _at(self, theta: Theta, x: Array, *, first_to_go: bool = False):
        """The sums over m, u and the lot at one theta."""
        k = theta.k
        grids, die = self.grids, self.die
        mu = self.x @ theta.b
        m, u = grids.m, grids.u
        past = self.past_table(theta)
        gap = (m - mu[:, None])[:, None, :] - u[die][:, :, None]
        log = past[:, None, :] - 0.5 * (gap / theta.tv) ** 2
        lot = self.lot[die]
        e = np.exp(np.minimum(k * (lot[:, None, :] - m[:, :, None]), LARGEST))  # [edges, m, j]
        run = self.h[:, None] + x[die] * self.share[:, None]
        now = np.maximum(self.h**k - self.f**k, 0.0)
        now[self.read] = 0.0
        if self.read.any():
            log_now = self._told_log(m, k, np.arange(len(m)), np.zeros(1))[:, :, 0]
            told_now = np.zeros_like(m)
            told_now[self.read] = log_now
            log_top = log + told_now[:, None, :]
        else:
            log_top = log
        top = (log_top - (now[:, None] * np.exp(np.minimum(-k * m, LARGEST)))[:, None, :]).max(axis=2, keepdims=True)
        weight = np.exp(np.clip(log - top, -LARGEST, LARGEST))
        alive = np.ones((*e.shape, x.shape[1]))
        sure = np.flatnonzero(self.current & ~self.unknown & ~self.read)
        alive[sure] = self._survival(k, run[sure], self.f[sure], e[sure])
        for i in np.flatnonzero(self.read):
            tail = tails(self.told[i], self.told_sd[i], self.h[i], run[i], m[i][:, None] - lot[i], k)
            alive[i] = tail * np.exp(np.minimum(self.f[i] ** k * e[i], LARGEST))[..., None]
        vague = np.flatnonzero(self.current & self.unknown)
        if len(vague):
            alive[vague] = 0.0
            for age in self._ages(vague).T:
                alive[vague] += self._survival(k, run[vague] + age[:, None], age, e[vague]) / len(AGES)
        shape = (len(m), len(u[0]), lot.shape[1], x.shape[1])
        n = np.log(np.maximum(weight @ alive.reshape(len(m), m.shape[1], -1), 1e-290)).reshape(shape)
        total = sum_by_die(n, die, self.n_dies)
        log_prior = sum_by_die(top[:, :, 0], die, self.n_dies) - 0.5 * (u / theta.tu) ** 2
        joint = total + log_prior[:, :, None, None] + self.ln_lot[:, None, :, None]
        peak = joint[..., 0].max(axis=(1, 2))
        pi = np.exp(joint[..., 0] - peak[:, None, None])
        norm = pi.sum(axis=(1, 2))
        pi /= norm[:, None, None]
        s_die = np.exp(joint - peak[:, None, None, None]).sum(axis=(1, 2)) / norm[:, None]
        ratio = np.exp(n - n[..., :1])
        s_edge = np.einsum("eaj,eajx->ex", pi[die], ratio)
        coef = pi[die] * np.exp(-n[..., 0])  # of weight * alive at x = 0
        p = ((coef.transpose(0, 2, 1) @ weight) * alive[..., 0].transpose(0, 2, 1)).sum(axis=1)
        p /= p.sum(axis=1, keepdims=True)
        mean, square = (p * m).sum(axis=1), (p * m * m).sum(axis=1)
        first = self._first(x, n, total, pi) if first_to_go else None
        return s_die, s_edge, mean, square, first

    def _ages(self, edges: NDArray[np.int64]) -> Array:
        """[edges, ages] hits on edges of unknown age when their record began."""
        usual = np.exp(self.x[edges] @ self.fit.best.b) * self.fit.usual_stop
        return usual[:, None] * AGE_SPAN * AGES

    def _chip_rate(self) -> Array:
        """[edges] chips in a unit of the die's strokes, of a die like any other."""
        rate = np.array([self.fit.chip_rates.of(s) for s in self.specs])
        return rate * self.share * self.current

    def _chip_die(self) -> tuple[Array, Array]:
        """Gamma(shape, rate) of each die's own part in the chips."""
        alike = self.fit.chip_rates.alike
        base = np.array([self.fit.chip_rates.of(s) for s in self.specs]) * self.counts["exposure"]
        return (
            alike + np.bincount(self.die, self.counts["chips"], self.n_dies),
            alike + np.bincount(self.die, base, self.n_dies),
        )

    def _first(self, x: Array, n: Array, total: Array, pi: Array) -> Array:
        """Chance of each edge to be the first of its die: its part of the die's hazard, step by step."""
        a, b = self._chip_die()
        rate = self._chip_rate() * (a / b)[self.die]
        all_rates = np.bincount(self.die, rate, self.n_dies)
        left = np.exp(total - total[..., :1] - all_rates[:, None, None, None] * x[:, None, None, :])
        gone = (left[..., :-1] - left[..., 1:]) * pi[..., None]
        step = np.diff(x, axis=1)
        own = np.maximum(n[..., :-1] - n[..., 1:], 0.0) + (rate[:, None] * step[self.die])[:, None, None, :]
        every = np.maximum(sum_by_die(own, self.die, self.n_dies), 1e-300)
        first = np.einsum("eajx,eajx->e", own, (gone / every)[self.die])
        sums = np.bincount(self.die, first, self.n_dies)
        return first / np.maximum(sums, 1e-12)[self.die]

    def _with_chips(self, x: Array, s_die: Array, s_edge: Array) -> tuple[Array, Array]:
        """ln of the cumulated hazard at x > 0, chips included."""
        a, b = self._chip_die()
        rate = self._chip_rate()
        all_rates = np.bincount(self.die, rate, self.n_dies)
        strokes = x[:, 1:]
        die_chips = a[:, None] * np.log1p(all_rates[:, None] * strokes / b[:, None])
        edge_chips = a[self.die][:, None] * np.log1p(rate[:, None] * strokes[self.die] / b[self.die][:, None])
        with np.errstate(divide="ignore"):
            die = np.log(np.maximum(die_chips - np.log(np.clip(s_die[:, 1:], 1e-300, 1.0)), 1e-12))
            edge = np.log(np.maximum(edge_chips - np.log(np.clip(s_edge[:, 1:], 1e-300, 1.0)), 1e-12))
        return _finer(die), _finer(edge)

    def _told(self, members, x, hazard_die, hazard_edge, first, usual, sd) -> dict[int, DiePrediction]:
        theta = self.fit.best
        before = ((self.x * prior.SD) ** 2).sum(axis=1) + theta.tu**2 + theta.tv**2
        share = np.clip(sd**2 / before, 0.0, 1.0)
        strokes = np.exp(_finer(np.log(x[:, 1:]))) * HITS_UNIT
        result = {}
        for d in range(self.n_dies):
            mine = np.flatnonzero((self.die == d) & self.current)
            if not len(mine):
                continue
            told = {}
            for e in mine:
                curve = Curve(strokes[d], hazard_edge[e])
                told[int(members[e])] = self._edge(e, int(members[e]), curve, first[e], usual[e], sd[e], share[e])
            curve = Curve(strokes[d], hazard_die[d])
            of_die = self.die == d
            result[int(self.names[d])] = DiePrediction(
                die=int(self.names[d]),
                remaining=_remaining(curve),
                edges=told,
                limits=max(told.values(), key=lambda t: (t.first_to_go, -t.edge)).edge,
                rests_on=self._rests_on(of_die, float(share[mine].mean())),
                curve=curve,
            )
        return result

    def _edge(self, e: int, number: int, curve: Curve, first, usual, sd, share) -> EdgePrediction:
        remaining = _remaining(curve)
        age = float(self._ages(np.array([e])).mean()) if self.unknown[e] else 0.0
        on_it = (self.h[e] + age) * HITS_UNIT
        left = remaining[0.5] * self.share[e]
        usual_hits = float(np.exp(usual)) * HITS_UNIT
        of_edge = np.arange(len(self.specs)) == e
        return EdgePrediction(
            edge=number,
            remaining=remaining,
            first_to_go=float(first),
            usual_hits=usual_hits,
            usual_die_hits=usual_hits / float(self.share[e]),
            usual_band_hits=(usual_hits * float(np.exp(-1.2816 * sd)), usual_hits * float(np.exp(1.2816 * sd))),
            hits_now=None if self.unknown[e] else float(self.h[e] * HITS_UNIT),
            share_left=float(left / (left + on_it)) if left + on_it > 0 else 0.0,
            rests_on=self._rests_on(of_edge, float(share)),
            curve=curve,
        )

    def _rests_on(self, pick: NDArray[np.bool_], share: float) -> RestsOn:
        cycles, dull, chipped = (int(self.counts[n][pick].sum()) for n in ("cycles", "dull", "chipped"))
        return RestsOn(
            cycles=cycles,
            dull_ends=dull,
            chipped_ends=chipped,
            prior_share=share,
            words=words(self.fit.dull_ends, dull),
        )


def words(fleet_dull_ends: int, own_dull_ends: int) -> str:
    """What a forecast rests on, for people."""
    if fleet_dull_ends == 0:
        return "handbook only"
    if fleet_dull_ends < FEW_DULL_ENDS:
        return "mostly handbook"
    if own_dull_ends == 0:
        return "this shop's record of other edges"
    return "its own record and the shop's"


def _finer(y: Array) -> Array:
    """Four points for one on an even grid, by cubics through four neighbours each, never falling: [n, 4 points - 3]."""
    for _ in range(2):
        low, high = 2 * y[:, :1] - y[:, 1:2], 2 * y[:, -1:] - y[:, -2:-1]
        wide = np.concatenate([low, y, high], axis=1)
        half = (9 * (wide[:, 1:-2] + wide[:, 2:-1]) - wide[:, :-3] - wide[:, 3:]) / 16
        out = np.empty((len(y), 2 * y.shape[1] - 1))
        out[:, ::2], out[:, 1::2] = y, half
        y = out
    return np.maximum.accumulate(y, axis=1)


def _remaining(curve: Curve) -> dict[float, float]:
    wanted = np.log(-np.log1p(-np.array(LEVELS)))
    values = np.exp(_line(wanted, curve.ln_hazard, np.log(curve.strokes)))
    return {level: float(v) for level, v in zip(LEVELS, values, strict=True)}


def _line(at, x: Array, y: Array):
    """Linear interpolation; beyond the ends the end pieces go on (with a slope where they have one)."""
    rising = np.r_[True, np.diff(x) > 1e-12]
    x, y = x[rising], y[rising]
    if len(x) < 2:
        return np.full(np.shape(at), y[0])
    i = np.clip(np.searchsorted(x, at), 1, len(x) - 1)
    return y[i - 1] + (at - x[i - 1]) * (y[i] - y[i - 1]) / (x[i] - x[i - 1])
