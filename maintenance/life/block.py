"""Some dies together, as arrays: grids over what their edges have of their own, and the sums of `predict.py` over them.

The aim (where the posterior of every m and u lies, what the lots told) is taken over all dies of the block at once; the
sums over m, u and the lot under way, [edges, u, lot, x], over a few dies at a time, so that they stay in the cache.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from . import ahead, chips, lots, prior, rough
from .cells import FLOOR, LARGEST, Cells
from .cycles import CHIPPED, DULL, HITS_UNIT, EdgeSpec, LifeSamples
from .edges import Edges
from .fleet import FleetFit
from .grids import Grids, Theta, edge_marginals, nodes_for, sum_by_die, travel
from .integrals import Told, tails

Array = NDArray[np.float64]

POINTS = 28  # of x on each die's curve
LOOKS = 2  # at the lots
W_NODES, W_WEIGHTS = np.polynomial.hermite_e.hermegauss(5)
W_WEIGHTS = W_WEIGHTS / W_WEIGHTS.sum()
_HERMITE = np.stack(
    [np.polynomial.hermite_e.hermeval(W_NODES, np.eye(5)[n]) / np.sqrt(math.factorial(n)) for n in range(5)]
)
MEHLER = (_HERMITE[:, :, None] * _HERMITE[:, None, :] * W_WEIGHTS).reshape(5, 25)  # [order, (j, j')]
AGES = np.array([0.1, 0.3, 0.5, 0.7, 0.9])  # of an edge of unknown age, in parts of 1.3 usual stops
AGE_SPAN = 1.3
SHAPES = np.cos((2 * np.arange(5) + 1) * np.pi / 10)  # where the past is tabulated, in parts of the draws' reach
SHAPES_REACH = 0.5
GROUP_EDGES = 100  # of whole dies, summed together
CHUNK_EDGES = 24
E_LN_MOST = 300.0
MANY_32, FEW_32, LEAST_32 = 1e20, 1e17, 1e-37  # within what 32 bits hold, the first two multiplied too
LEAST_HAZARD, MOST_HAZARD = 4e-4, 9.0  # of a die, of an edge: between them lie the points of x
NEWTON = 8  # steps to the first of them
DOWN, UP = 1.5, 2.5  # sd of what is unsure of an edge's life, allowed for at these


def groups(die: NDArray[np.int64], size: int) -> list[slice]:
    """Whole dies, about `size` edges together; die rises."""
    ends = np.flatnonzero(np.r_[die[1:] != die[:-1], True]) + 1 if len(die) else np.zeros(0, int)
    found, start = [], 0
    for i, end in enumerate(ends):
        if end - start >= size or i == len(ends) - 1:
            found.append(slice(start, int(end)))
            start = int(end)
    return found


@dataclass(frozen=True)
class Sums:
    """What a block says. now: numbers of its edges under way. x: [dies, 1 + points] further strokes of the die in
    100,000, the first nought; die, edge: ln of the cumulated hazard at x > 0, chips included; first: chance to be the
    first of its die; usual, sd: of ln of the usual life; unsure: its variance in parts of what it is by the handbook
    alone, 0..1."""

    now: NDArray[np.int64]
    x: Array
    die: Array
    edge: Array
    first: Array
    usual: Array
    sd: Array
    unsure: Array


class Block:
    """Some dies together: their records, grids at the best theta, and the sums over the draws. edges: die by die."""

    def __init__(
        self,
        edges: Sequence[EdgeSpec] | Edges,
        samples: LifeSamples,
        fit: FleetFit,
        rest: Mapping[int, float] | None = None,
    ) -> None:
        """rest: strokes left of the lot under way, by name of the die; only with a record of lots in the samples."""
        self.edges, self.samples, self.fit = Edges.of(edges), samples, fit
        self.names, die = np.unique(self.edges.die, return_inverse=True)
        self.die = die.reshape(-1)
        self.n_dies = len(self.names)
        self.x = prior.design(self.edges)
        self.share = self.edges.stroke_share
        past = ~samples.under_way
        if samples.unknown_age.any():
            past &= ~samples.unknown_age
        now = samples.pick(np.flatnonzero(samples.under_way))
        n = len(self.edges)
        self.current = np.zeros(n, bool)
        self.current[now.edge] = True
        self.h, self.f = np.zeros(n), np.zeros(n)
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
        ended = samples.pick(np.flatnonzero(past))
        known = samples.pick(np.flatnonzero(past | (samples.under_way & ~samples.unknown_age)))
        self.every = Cells.of(known, self.die, positions=self._positions(), lots=fit.sw > 0)
        self.closed = ~self.every.under_way
        self.cells = self.every.only(self.closed)
        self._lots = now, ended, rest or {}
        self.by_lots = fit.sw > 0 and samples.passed is not None
        self.counts = self._count()
        self.chip_rate = fit.chip_rates.of_edges(self.edges)

    def _positions(self) -> NDArray[np.int64]:
        under_way = np.bincount(self.die[self.current], minlength=self.n_dies)
        return np.where(under_way > 0, under_way, np.bincount(self.die, minlength=self.n_dies))

    def _count(self) -> dict[str, Array]:
        samples, n = self.samples, len(self.edges)
        known = samples.has_run() & ~samples.unknown_age
        chip_count, exposure = chips.exposure(samples, n)
        return {
            "cycles": np.bincount(samples.edge[known], minlength=n),
            "dull": np.bincount(samples.edge[known & (samples.ended == DULL)], minlength=n),
            "chipped": np.bincount(samples.edge[samples.ended == CHIPPED], minlength=n),
            "chips": chip_count,
            "exposure": exposure,
        }

    # Where things lie, at the best theta.

    def _open_table(self, nodes: Array, k: float, edges: NDArray[np.int64] | None) -> Array:
        """ln of the chance that the cycle under way is still sharp, its lots integrated out; only to aim the grids."""
        pick = slice(None) if edges is None else edges
        lot = self.w_now[pick][:, None] + self.w_sd[pick][:, None] * W_NODES
        run = np.maximum((self.h[pick][:, None] * np.exp(lot)) ** k - (self.f[pick] ** k)[:, None], 0.0)
        e = np.exp(np.minimum(-k * nodes, LARGEST))
        least = e * run[:, :1]
        total = np.full(e.shape, W_WEIGHTS[0])
        for j, weight in enumerate(W_WEIGHTS[1:], 1):
            total += weight * np.exp(np.maximum(least - e * run[:, j, None], -LARGEST))
        out = np.log(total) - least
        which = np.arange(len(self.h))[pick]
        if self.read[which].any():
            log = self._told_log(nodes, k, which, lot) + np.log(W_WEIGHTS)
            top = log.max(axis=2)
            out[self.read[which]] = top + np.log(np.exp(log - top[:, :, None]).sum(axis=2))
        return out

    def _told_log(self, nodes: Array, k: float, which: NDArray[np.int64], lot: Array) -> Array:
        """ln of what readings and hits now say, for the edges with readings among `which`: [edges, m, lots]; lot:
        [which, lots]."""
        read = self.read[which]
        place = np.searchsorted(np.flatnonzero(self.read), which[read])
        return self.now_told.pick(place).log(nodes[read][:, :, None] - lot[read][:, None, :], k)

    def aim(self) -> None:
        """Grids where the posterior of everything lies, at the best theta; cavities of the lots from past cycles."""
        theta = self.fit.best
        k, sw = theta.k, self.fit.sw
        mu = self.x @ theta.b
        seen = rough.look(self.every, mu, self.die, self.n_dies, theta, sw)
        self.w_now, self.w_sd = np.zeros(len(mu)), np.full(len(mu), sw)
        self.grids = Grids(seen.m, seen.m_sd, seen.u, seen.u_sd, *nodes_for(theta, predicting=True))
        self.c = self.d = None
        self.best_past = np.empty((len(mu), len(self.grids.m_nodes)))
        lotted = sw > 0 and len(self.every) > 0

        def table(nodes: Array, edges: NDArray[np.int64] | None) -> Array:
            past = self.cells.table(nodes, k, self.c, self.d, edges)
            self.best_past[slice(None) if edges is None else edges] = past
            return past + self._open_table(nodes, k, edges)

        if lotted:
            places = lots.zoomed(self.every, seen.w, seen.w_sd, sw)
        mean, sd, told, sites = seen.m, seen.m_sd, None, seen.sites
        for turn in range(LOOKS if lotted else 1):
            last = turn == LOOKS - 1 or not lotted
            if lotted:
                told, _ = lots.look(self.every, mean, sd, k, sw, places=places, sites=sites, of_past=last)
                self.c, self.d, sites = told.c[self.closed], told.d[self.closed], told.sites
            if last:
                self._lots_now(told)
            post = travel(self.grids, table, mu, self.die, theta, aimed=True)
            mean, sd = self.grids.moments(edge_marginals(post, self.die))
        self.mean_now, self.sd_now = mean, sd
        self._aim_lot(k)
        self._tables()

    def _lots_now(self, told: lots.Cavities | None) -> None:
        """What is known of the lots of the cycles under way: w_now, w_sd of ln of their mean rate, [edges]."""
        sw = self.fit.sw
        if sw == 0:
            return
        now, ended, rest = self._lots
        if self.by_lots:
            self.lots_now = ahead.LotsNow.of(self.every, told, now, ended, self.die, self.names, sw, rest)
        elif told is not None and (named := self.cells.lot_name) is not None:
            under_way = np.full(self.n_dies, -2)
            np.maximum.at(under_way, self.die[now.edge], now.lot)
            same = np.flatnonzero((named == under_way[self.cells.lot_die]) & (named >= 0))
            of_die = np.full(self.n_dies, -1)
            of_die[self.every.lot_die[same]] = same
            has = np.flatnonzero(of_die[self.die] >= 0)
            if told.past_mean is not None and told.past_variance is not None:
                self.w_now[has] = told.past_mean[of_die[self.die[has]]]
                self.w_sd[has] = np.sqrt(told.past_variance[of_die[self.die[has]]])
        if self.by_lots and len(now):
            wear = self._wear(np.zeros((self.n_dies, 1)))
            e = now.edge
            self.w_now[e] = np.where(
                self.h[e] > 0, wear.mean[:, 0] - np.log(np.maximum(self.h[e], ahead.LEAST_HITS)), 0.0
            )
            self.w_sd[e] = wear.sd[:, 0]

    def _wear(self, x: Array) -> ahead.Wear:
        """Of the edges under way at x, [dies, x] further strokes of their dies."""
        now = np.flatnonzero(self.current)
        at = x[self.die[now]]
        if self.by_lots:
            return ahead.of_lots(self.lots_now, self.f[now], at, self.share[now], self.fit.sw)
        return ahead.of_one_lot(self.h[now], at, self.share[now], self.w_now[now], self.w_sd[now])

    def _aim_lot(self, k: float) -> None:
        """Where z lies at what the die's edges now tell of their lots, [dies]: centre and sd."""
        self.z, self.z_sd = np.zeros(self.n_dies), np.ones(self.n_dies)
        if self.fit.sw == 0:
            return
        m = self.mean_now[:, None] + self.sd_now[:, None] * lots.M_NODES
        w = self.w_now[:, None] + self.w_sd[:, None] * lots.W_NODES
        run = np.maximum((self.h[:, None] * np.exp(w)) ** k - (self.f**k)[:, None], 0.0)
        own = -np.exp(np.minimum(-k * m, LARGEST))[:, :, None] * run[:, None, :]
        if self.read.any():
            own[self.read] = self._told_log(m, k, np.arange(len(m)), w)
        own[~self.current] = 0.0
        top = own.max(axis=1, keepdims=True)
        own = top[:, 0] + np.log(np.einsum("j,ejw->ew", lots.M_WEIGHTS, np.exp(own - top)))
        z, sd = lots.moments((sum_by_die(own, self.die, self.n_dies) - 0.5 * lots.W_NODES**2).T, lots.W_NODES)
        self.z, self.z_sd = z, np.minimum(np.maximum(1.15 * sd, 0.2), 1.0)

    def _lay_nodes(self, x: Array) -> None:
        """ln X of the edges under way at the nodes of z and x, [edges, j, x]; ln of their weights, [dies, j, x]."""
        wear, n_x = self._wear(x), x.shape[1]
        now, nodes = np.flatnonzero(self.current), W_NODES if self.fit.sw > 0 else np.zeros(1)
        self.rho = None
        rho = np.ones((self.n_dies, n_x))
        if wear.rho is not None:
            count = np.bincount(self.die[now], minlength=self.n_dies)
            rho = sum_by_die(wear.rho, self.die[now], self.n_dies) / np.maximum(count, 1)[:, None]
            self.rho = np.zeros((len(self.edges), n_x))
        centre = rho * self.z[:, None]
        sd = np.sqrt(np.maximum(1 - rho**2 * (1 - self.z_sd[:, None] ** 2), 1e-6))
        z = centre[:, None, :] + sd[:, None, :] * nodes[:, None]
        self.ln_lot = -0.5 * z**2 + 0.5 * (nodes**2)[:, None] + np.log(sd)[:, None, :]
        if self.fit.sw > 0:
            self.ln_lot += np.log(W_WEIGHTS)[:, None]
        else:
            self.ln_lot = np.zeros((self.n_dies, 1, n_x))
        of_die, n = self.die[now], len(self.edges)
        if self.rho is None:  # the rate is that of one lot, at every x
            self.ln_hits, self.ln_rate = np.zeros((n, n_x)), np.full((n, len(nodes)), -np.inf)
            self.ln_hits[now], self.ln_rate[now] = wear.mean, wear.sd[:, :1] * z[of_die][:, :, 0]
        else:
            self._ln_x = np.full((n, len(nodes), n_x), -np.inf)
            self._ln_x[now] = wear.mean[:, None, :] + wear.sd[:, None, :] * z[of_die]
        if (
            self.rho is not None and wear.rho is not None
        ):  # how far z at x and now go together, among those that are still sharp now
            self.rho[now] = np.clip(wear.rho * (self.z_sd[:, None] / sd)[of_die], 0.0, 1.0)
            self.rho[now, 0] = 1.0

    def _tables(self) -> None:
        """L of the past at the shapes of the draws: a polynomial in ln k through a few where they lie close."""
        ln_k = np.array([theta.ln_k for _, theta in self.fit.thetas()])
        self.table_at = {self.fit.best.ln_k: self.best_past}
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

    def _strokes(self, now: NDArray[np.int64]) -> Array:
        """[dies, 1 + points] further strokes of the die in units: nought, then even steps of the logarithm."""
        k, m = self.fit.best.k, self.mean_now[now]
        spread = np.hypot(self.sd_now[now], self.fit.sw)
        h, share, die = self.h[now], self.share[now], self.die[now]

        count = np.bincount(die, minlength=self.n_dies)
        read = self.read[now]
        told, told_sd = self.told[now][read], self.told_sd[now][read]
        # Where the longest-lived edge is surely gone.
        high = np.maximum(h, 1e-6 * np.exp(m))
        high *= np.expm1(np.logaddexp(0.0, np.log(MOST_HAZARD) + k * (m + UP * spread - np.log(high))) / k)
        high[read] = np.maximum(high[read], np.exp(told + 4 * told_sd))
        last = np.zeros(self.n_dies)
        np.maximum.at(last, die, high / share)
        # Where the die has hardly run: by Newton's method, in the logarithms.
        wear = np.exp(-k * (m - np.minimum(0.5 * k * spread**2, DOWN * spread)))
        wear[read] = 0.0
        oldest = h + self.ages(now)[:, -1] * self.unknown[now]
        begun = oldest**k
        rates = np.bincount(die, self.chip_rate[now] * share, self.n_dies)
        first = np.maximum(last, 1e-12)
        for _ in range(NEWTON):
            power = (oldest + share * first[die]) ** k
            hazard = np.bincount(die, wear * (power - begun), self.n_dies) + rates * first
            slope = np.bincount(die, wear * k * share * power / (oldest + share * first[die]), self.n_dies) + rates
            slope = np.clip(slope * first / np.maximum(hazard, 1e-300), 1.0, k + 1.0)
            first *= np.exp(np.clip(np.log(LEAST_HAZARD / np.maximum(hazard, 1e-300)) / slope, -30.0, 0.0))
        early = np.maximum(np.exp(told - 3.3 * told_sd) - h[read], 1e-3 * np.maximum(h[read], np.exp(told)))
        np.minimum.at(first, die[read], early / share[read])
        first = np.clip(first, 1e-12 * last, 0.1 * last)
        first[count == 0], last[count == 0] = 1e-3, 1.0
        steps = np.linspace(0, 1, POINTS)
        grid = np.exp(np.log(first)[:, None] * (1 - steps) + np.log(last)[:, None] * steps)
        return np.concatenate([np.zeros((self.n_dies, 1)), grid], axis=1)

    def ln_x(self, edges: NDArray[np.int64]) -> Array:
        """ln of what these edges have worn at the nodes of z and at x: [edges, j, x]."""
        if self.rho is None:
            return self.ln_hits[edges][:, None, :] + self.ln_rate[edges][:, :, None]
        return self._ln_x[edges]

    def ln_now(self, edges: slice) -> Array:
        """The same now, at the least of z: [edges]."""
        if self.rho is None:
            return self.ln_hits[edges, 0] + self.ln_rate[edges, 0]
        return self._ln_x[edges, 0, 0]

    # The sums.

    def sums(self) -> Sums | None:
        """None where no edge is under way."""
        now = np.flatnonzero(self.current)
        if not len(now):
            return None
        self.aim()
        x = self._strokes(now)
        self._lay_nodes(x)
        thetas = self.fit.thetas()
        best = self.fit.best
        alone = len(thetas) == 1 and np.array_equal(thetas[0][1].b, best.b) and thetas[0][1].ln_k == best.ln_k
        n = len(self.edges)
        s_die, s_edge = np.zeros_like(x), np.zeros((n, x.shape[1]))
        m1, m2, usual, first = np.zeros(n), np.zeros(n), np.zeros(n), np.zeros(n)
        within = np.zeros(n)
        for weight, theta in thetas:
            past = self.past_table(theta)
            for group in groups(self.die, GROUP_EDGES):
                dies = slice(self.die[group.start], self.die[group.stop - 1] + 1)
                part = _Group(self, group, dies, x)
                die_curve, edge_curve, mean, square, part_first = part.at(theta, past, first_to_go=alone)
                s_die[dies] += weight * die_curve
                s_edge[part.now] += weight * edge_curve
                m1[part.now] += weight * mean
                m2[part.now] += weight * square
                within[part.now] += weight * (square - mean**2)
                usual[part.now] += weight * (mean + np.log(np.log(2.0)) / theta.k)
                if alone:
                    first[part.now] = part_first
        if not alone:
            past = self.past_table(best)
            for group in groups(self.die, GROUP_EDGES):
                dies = slice(self.die[group.start], self.die[group.stop - 1] + 1)
                part = _Group(self, group, dies, x)
                first[part.now] = part.at(best, past, first_to_go=True)[4]
        hazard_die, hazard_edge = self._with_chips(x, s_die, s_edge, now)
        sd = np.sqrt(np.maximum(m2 - m1**2, 0.0))
        unsure = self._unsure(now, within[now], (m2 - m1**2 - within)[now])
        return Sums(now, x, hazard_die, hazard_edge, first[now], usual[now], sd[now], unsure)

    def _unsure(self, now: NDArray[np.int64], within: Array, between: Array) -> Array:
        """Variance of ln of the usual life in parts of what it is by the handbook alone, [edges].

        within: of each theta, between: of what the draws of theta say. So few draws scatter: theirs is scaled by what
        the covariance of theta says of x'b over what these draws do.
        """
        x, theta = self.x[now], self.fit.draws
        if len(theta) > 1 and self.fit.covariance is not None:
            by_draw = x @ theta[:, :-3].T
            drawn = ((by_draw - (by_draw @ self.fit.weights)[:, None]) ** 2) @ self.fit.weights
            exact = ((x @ self.fit.covariance[:-3, :-3]) * x).sum(axis=1)
            between = between * exact / np.maximum(drawn, 1e-12)
        spread = self.fit.weights @ np.exp(2 * theta[:, -2:]).sum(axis=1)
        unsure = np.clip((within + between) / (((x * prior.SD) ** 2).sum(axis=1) + spread), 0.0, 1.0)
        if not self.fit.cycles:  # the grids are laid for the best theta and cut off the widest
            cycles = np.bincount(self.die, self.counts["cycles"], self.n_dies)
            unsure[cycles[self.die[now]] == 0] = 1.0
        return unsure

    def ages(self, edges: NDArray[np.int64]) -> Array:
        """[edges, ages] hits on edges of unknown age when their record began."""
        usual = np.exp(self.x[edges] @ self.fit.best.b) * self.fit.usual_stop
        return usual[:, None] * AGE_SPAN * AGES

    def chip_die(self) -> tuple[Array, Array]:
        """Gamma(shape, rate) of each die's own part in the chips."""
        alike = self.fit.chip_rates.alike
        base = self.chip_rate * self.counts["exposure"]
        chips_seen = np.bincount(self.die, self.counts["chips"], self.n_dies)
        return np.asarray(alike + chips_seen, float), np.asarray(
            alike + np.bincount(self.die, base, self.n_dies), float
        )

    def _with_chips(self, x: Array, s_die: Array, s_edge: Array, now: NDArray[np.int64]) -> tuple[Array, Array]:
        """ln of the cumulated hazard at x > 0, chips included; of dies, and of the edges under way."""
        a, b = self.chip_die()
        die = self.die[now]
        rate = self.chip_rate[now] * self.share[now]
        all_rates = np.bincount(die, rate, self.n_dies)
        strokes = x[:, 1:]
        die_chips = a[:, None] * np.log1p(all_rates[:, None] * strokes / b[:, None])
        edge_chips = a[die][:, None] * np.log1p((rate / b[die])[:, None] * strokes[die])
        return (
            np.log(np.maximum(die_chips - np.log(np.clip(s_die[:, 1:], 1e-300, 1.0)), 1e-12)),
            np.log(np.maximum(edge_chips - np.log(np.clip(s_edge[now, 1:], 1e-300, 1.0)), 1e-12)),
        )


class _Group:
    """A few dies of a block while they are summed."""

    def __init__(self, block: Block, edges: slice, dies: slice, x: Array) -> None:
        self.block, self.edges, self.dies = block, edges, dies
        self.x = x[dies]
        self.die = block.die[edges] - dies.start
        self.n_dies = dies.stop - dies.start
        self.now = edges.start + np.flatnonzero(block.current[edges])

    def at(self, theta: Theta, past: Array, *, first_to_go: bool) -> tuple[Array, Array, Array, Array, Array | None]:
        """The sums over m, u and the lot at one theta, of the edges under way: S_die, S_edge, E m, E m^2, first.

        With N as in `predict.py`, the ratios N(x) / N(0) are worked on in 32 bits; their sums over edges are not.
        """
        block, k, n_dies = self.block, theta.k, self.n_dies
        grids, edges = block.grids, self.edges
        u = grids.u[self.dies]
        m = grids.m_mean[edges, None] + grids.m_sd[edges, None] * grids.m_nodes
        log = (m - (block.x[edges] @ theta.b)[:, None])[:, None, :] - u[self.die][:, :, None]
        log *= log
        log *= -0.5 / theta.tv**2
        e = np.exp(np.minimum(-k * m, E_LN_MOST))
        seen = past[edges] - self._run_now(k)[:, None] * e
        read = block.read[edges]
        if read.any():
            told = block._told_log(m, k, np.arange(edges.start, edges.stop), block.w_now[edges, None])[:, :, 0]
            seen[read] = past[edges][read] + told
        log += seen[:, None, :]
        top = log.max(axis=2, keepdims=True)
        log -= top
        weight = np.exp(log, out=log)
        log_u = sum_by_die(top[:, :, 0], self.die, n_dies) - 0.5 * (u / theta.tu) ** 2
        local = self.now - edges.start
        of_lot = np.repeat(block.ln_lot[self.dies, None, :, 0], u.shape[1], axis=1)
        if len(local) < len(m):  # earlier builds: they tell of the die, and go no further
            old = np.flatnonzero(~block.current[edges])
            log_u += sum_by_die(np.log(weight[old].sum(axis=2)), self.die[old], n_dies)
            weight, m, e, die = weight[local], m[local], e[local], self.die[local]
        else:
            die = self.die
        alive_now, ratio, n0 = self._alive(k, weight, m, e)
        wide = n0.shape[1] * n0.shape[2]
        joint = sum_by_die(np.log(n0), die, n_dies) + log_u[:, :, None] + of_lot
        pi = np.exp(joint - joint.max(axis=(1, 2), keepdims=True))
        pi /= pi.sum(axis=(1, 2), keepdims=True)
        of_edge = pi[die]
        coef = of_edge / n0  # of weight * alive at x = 0
        if block.rho is None:
            s_edge = (of_edge.reshape(len(die), 1, wide).astype(np.float32) @ ratio)[:, 0]
        else:
            s_edge = self._as_lots_part(coef, n0, ratio, block.rho[self.edges][local])
        p = ((coef.transpose(0, 2, 1) @ weight) * alive_now.transpose(0, 2, 1)).sum(axis=1)
        p /= p.sum(axis=1, keepdims=True)
        ln_ratio = np.log(ratio, out=ratio)
        total = sum_by_die(ln_ratio, die, n_dies)  # [dies, (u, j), x]
        pi = pi.reshape(n_dies, wide)
        if block.rho is None:
            s_die = (pi[:, None] @ np.exp(total))[:, 0]
        else:
            change = block.ln_lot[self.dies] - block.ln_lot[self.dies][:, :, :1]
            s_die = (pi[:, None] @ np.exp(total + np.tile(change, (1, u.shape[1], 1))))[:, 0]
        first = self._first(ln_ratio, total, pi, die) if first_to_go else None
        return s_die, s_edge, (p * m).sum(axis=1), (p * m * m).sum(axis=1), first

    def _as_lots_part(self, coef: Array, n0: Array, ratio: Array, rho: Array) -> Array:
        """S_edge where the lots ahead are not those of now, [edges, x]: the mean over z at x, given z now.

        coef: [edges, u, j] what all but the edge itself say; rho: [edges, x]; with Hermite's polynomials H_n,
        orthonormal over the nodes, the mean of f(z') given z is sum of rho^n H_n(z) (sum over nodes of weight H_n f),
        by Mehler.
        """
        n, n_u, n_j = n0.shape
        of_now = n0.astype(np.float32)[..., None]
        at_x = (of_now * ratio.reshape(n, n_u, n_j, -1)).reshape(n, n_u, -1)
        joined = coef.astype(np.float32).transpose(0, 2, 1) @ at_x  # [edges, j, (j', x)]
        joined = joined.reshape(n, n_j * n_j, -1)
        by_order = MEHLER.astype(np.float32) @ joined  # [edges, order, x]
        powers = rho[:, None, :] ** np.arange(n_j)[:, None]
        return np.maximum((by_order * powers).sum(axis=1), 1e-30)

    def _run_now(self, k: float) -> Array:
        """X^k - from^k of the group's edges now, at the least of z; nought for those that are told otherwise."""
        run = np.maximum(np.exp(k * self.block.ln_now(self.edges)) - self.block.f[self.edges] ** k, 0.0)
        run[(self.block.read | self.block.unknown)[self.edges]] = 0.0
        return run

    def _alive(self, k: float, weight: Array, m: Array, e: Array) -> tuple[Array, Array, Array]:
        """The chance to be sharp at x = 0, [edges, m, j]; N(x) / N(0), float32[edges, (u, j), x]; N(0), [edges, u, j].

        The first and the last but for a factor of each edge's own.
        """
        block, now = self.block, self.now
        unlike = np.flatnonzero((block.unknown | block.read)[now])
        if block.rho is None:  # five times fewer exponentials
            power = np.exp(k * block.ln_hits[now])[:, None, :] * np.exp(k * block.ln_rate[now])[:, :, None]
        else:
            power = np.exp(k * block.ln_x(now))  # [edges, j, x]
        n, n_m, n_j, n_x = len(now), m.shape[1], power.shape[1], power.shape[2]
        gone = power - power[:, :1, :1]
        np.maximum(gone, 0.0, out=gone)
        gone[unlike] = 0.0
        gone = -np.minimum(gone, FEW_32).astype(np.float32).reshape(n, 1, n_j * n_x)
        e32 = np.minimum(e, MANY_32).astype(np.float32)[:, :, None]
        weight32 = weight.astype(np.float32)
        alive_now = np.empty((n, n_m, n_j))
        out = np.empty((n, weight.shape[1], n_j * n_x), np.float32)
        room = np.empty((CHUNK_EDGES, n_m, n_j * n_x), np.float32)
        for i in range(0, n, CHUNK_EDGES):
            j = min(i + CHUNK_EDGES, n)
            alive = np.multiply(e32[i:j], gone[i:j], out=room[: j - i])
            np.exp(alive, out=alive)
            alive_now[i:j] = alive[:, :, ::n_x]
            np.matmul(weight32[i:j], alive, out=out[i:j])
        out = out.reshape(n, weight.shape[1], n_j, n_x)
        for row in unlike:
            alive = self._alive_otherwise(int(row), k, m[row], e[row])
            alive_now[row] = alive[:, :, 0]
            sums = np.tensordot(weight[row], alive, axes=1)
            out[row] = np.maximum(sums / sums[..., :1].max(), LEAST_32)
            alive_now[row] /= sums[..., 0].max()
        n0 = np.maximum(out[..., 0], LEAST_32)
        out *= (1 / n0)[..., None]
        np.maximum(out, LEAST_32, out=out)
        return alive_now, out.reshape(n, -1, n_x), n0.astype(float)

    def _alive_otherwise(self, row: int, k: float, m: Array, e: Array) -> Array:
        """The same for one edge with readings, or of unknown age, before the sum over m: [m, j, x]."""
        block, edge = self.block, self.now[row]
        ln_x = block.ln_x(np.array([edge]))[0]
        if block.read[edge]:
            w = ln_x[:, 0] - np.log(max(block.h[edge], ahead.LEAST_HITS))
            run = block.h[edge] * np.exp(ln_x - ln_x[:, :1])
            told, sd, h = block.told[edge], block.told_sd[edge], block.h[edge]
            tail = tails(told, sd, h, run, m[:, None] - w, k)
            place = np.flatnonzero(np.flatnonzero(block.read) == edge)
            v = m[:, None] - w
            base = block.now_told.pick(place).log((m - block.w_now[edge])[None], k)[0]
            begun = np.minimum(block.f[edge] ** k * np.exp(np.minimum(-k * v, LARGEST)), LARGEST)
            return tail * np.exp(np.clip(begun - (base - base.max())[:, None], -LARGEST, LARGEST))[..., None]
        ages = block.ages(self.now[row : row + 1])[0]
        x = self.x[self.die[edge - self.edges.start]] * block.share[edge] + block.h[edge]
        pace = np.exp(ln_x) / np.maximum(x, ahead.LEAST_HITS)
        power = (x + ages[:, None]) ** k - ages[:, None] ** k  # [ages, x]
        rate = np.minimum(e, np.exp(LARGEST / 2))[:, None, None] * pace**k
        return np.exp(-rate[:, :, None, :] * power).mean(axis=2)

    def _first(self, ln_ratio: Array, total: Array, pi: Array, die: NDArray[np.int64]) -> Array:
        """Chance of each edge to be the first of its die: its part of the die's hazard, step by step."""
        block, now = self.block, self.now
        a, b = block.chip_die()
        rate = block.chip_rate[now] * block.share[now] * (a / b)[self.dies][die]
        all_rates = np.bincount(die, rate, self.n_dies)
        left = np.exp(total - (all_rates[:, None] * self.x)[:, None, :])
        gone = (left[..., :-1] - left[..., 1:]) * pi[..., None]
        step = np.diff(self.x, axis=1)
        every = total[..., :-1] - total[..., 1:] + (all_rates[:, None] * step)[:, None, :]
        part = gone / np.maximum(every, 1e-30)
        # Sum over x of (ln N(x) - ln N(x + step)) part(x), the terms of ln N(x) taken together.
        by_x = np.diff(part, axis=2, prepend=0.0, append=0.0).astype(np.float32)
        chips = (part.sum(axis=1) * step).sum(axis=1)
        first = np.empty(len(die))
        flat = ln_ratio.reshape(len(die), -1)
        bounds = np.searchsorted(die, np.arange(self.n_dies + 1))
        for d, (i, j) in enumerate(pairwise(bounds)):
            first[i:j] = flat[i:j] @ by_x[d].ravel()
        first = np.maximum(first, 0.0) + rate * chips[die]
        sums = np.bincount(die, first, self.n_dies)
        return first / np.maximum(sums, 1e-12)[die]
