"""The whole shop's edges together: what they have in common is learnt, what each has of its own is integrated out.

theta = (b, ln k, ln tu, ln tv), and sw of the lots, are fitted by their marginal posterior; about 24 draws around the
best carry what is left uncertain into every forecast. Maximising the shape together with the edges' and dies' own
effects, instead of integrating those out, gave k = 4.0 for 3.1 and bands that held 62 % instead of 80 %.
Gradients come from posterior means: with r = m - x'b - u,
    b: sum x E[r] / tv^2;  ln tv: sum (E[r^2] / tv^2 - 1);  ln tu: sum (E[u^2] / tu^2 - 1);  ln k: sum E[dL/dln k],
plus the priors: b ~ N of the wear model, ln k ~ N(ln 2.5, 0.4), tu half-normal(0.5), tv half-normal(0.4), the last
two with the Jacobian of the log scale.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Sequence
from dataclasses import asdict, dataclass, field, replace
from typing import Any

import numpy as np
import scipy  # its parts are loaded when they are first named, so that a start pays for none
from numpy.typing import NDArray

from . import chips, lots, prior
from .cells import FLOOR, Cells
from .cycles import CHIPPED, DULL, EdgeSpec, LifeSamples, SampleRefused
from .edges import Edges
from .grids import Grids, Theta, edge_marginals, nodes_for, posterior, travel
from .readings import ReadingModel, Readings, tell
from .readings import fit as learn_readings
from .renewals import Renewal, aged, learn, seen, shares_of

Array = NDArray[np.float64]

FIT_DIES = 60
LN_K_STEP = 0.05
LN_K_REACH = 0.2  # of one round: the quadratic between the tables holds so far
ROUNDS = 10
RENEWAL_ROUNDS, SHARE_STILL = 3, 0.03
START_WOVEN = 0.1
SURE_OF_LOTS = 4.0  # standard errors by which edges go dull together, for their lots to be told apart
NO_LOTS = 0.03  # a spread of lots so small changes no forecast
LN_K_BOUNDS = (np.log(0.6), np.log(12.0))
LN_TU_BOUNDS = (np.log(0.05), np.log(3.0))
LN_TV_BOUNDS = (np.log(0.1), np.log(3.0))


@dataclass(frozen=True, kw_only=True)
class FleetFit:
    """What the shop's record says of all its edges, and how sure that is. Plain numbers: to_dict and from_dict.

    best: theta at the top of its posterior. draws: [draws, p + 3] thetas around it, weights: [draws] summing to one.
    sw: spread of the lots (0: not looked for). cycles, dull_ends, chipped_ends: what it rests on. usual_stop: the
    hits at which cycles end here, over the usual life; for the age of edges of which nothing is known.
    """

    best: Theta
    draws: Array
    weights: Array
    sw: float
    chip_rates: chips.ChipRates
    cycles: int
    dull_ends: int
    chipped_ends: int
    dies: int
    edges: int
    usual_stop: float
    rounds: int
    reading_models: tuple[ReadingModel, ...] = ()
    covariance: Array | None = None
    renewals: tuple[Renewal, ...] = ()  # what works in between give back; what is not in it goes by memory

    @property
    def shares(self) -> Array:
        """[sorts] of an edge's wear that works in between give back."""
        return shares_of(self.renewals)

    def spread(self) -> Array:
        """Covariance of theta, [p + 3, p + 3]: by the curvature at the top; of a fit that kept none by its draws."""
        if self.covariance is not None:
            return self.covariance
        off = self.draws - self.weights @ self.draws
        return (self.weights[:, None] * off).T @ off

    def many(self, count: int, seed: int = 0) -> tuple[Array, Array]:
        """b [count, p] and k [count] of so many draws by the covariance alone; the same ones for the same fit."""
        values, vectors = np.linalg.eigh(self.spread())
        half = np.random.default_rng(seed).standard_normal((-(-count // 2), len(values)))
        normal = np.concatenate([half, -half])[:count]
        best = np.r_[self.best.b, self.best.ln_k, self.best.ln_tu, self.best.ln_tv]
        rows = best + (normal * np.sqrt(np.maximum(values, 0.0))) @ vectors.T
        return rows[:, :-3], np.exp(np.clip(rows[:, -3], *LN_K_BOUNDS))

    def thetas(self) -> list[tuple[float, Theta]]:
        """(weight, theta) of each draw."""
        return [
            (float(w), Theta(b=row[:-3], ln_k=row[-3], ln_tu=row[-2], ln_tv=row[-1]))
            for w, row in zip(self.weights, self.draws, strict=True)
        ]

    def to_dict(self) -> dict:
        """Plain lists and numbers, fit for JSON."""
        best = self.best
        return {
            "names": list(prior.NAMES),
            "best": [*map(float, best.b), best.ln_k, best.ln_tu, best.ln_tv],
            "draws": self.draws.tolist(),
            "weights": self.weights.tolist(),
            "sw": self.sw,
            "chips": self.chip_rates.to_dict(),
            "covariance": None
            if self.covariance is None
            else [[float(f"{v:.5g}") for v in r] for r in self.covariance],
            "readings": [model.to_dict() for model in self.reading_models],
            "renewals": [asdict(one) for one in self.renewals],
            **{n: getattr(self, n) for n in _COUNTS},
        }

    @classmethod
    def from_dict(cls, data: dict) -> FleetFit:
        """Raises ValueError where the fit was made with other columns of the wear model."""
        if tuple(data["names"]) != prior.NAMES:
            raise ValueError("this fit was made with another wear model: fit the fleet again")
        best = np.array(data["best"], float)
        return cls(
            best=Theta(b=best[:-3], ln_k=float(best[-3]), ln_tu=float(best[-2]), ln_tv=float(best[-1])),
            draws=np.array(data["draws"], float),
            weights=np.array(data["weights"], float),
            sw=float(data["sw"]),
            chip_rates=chips.ChipRates.from_dict(data["chips"]),
            covariance=None if data.get("covariance") is None else np.array(data["covariance"], float),
            reading_models=tuple(ReadingModel(**model) for model in data.get("readings", ())),
            renewals=tuple(Renewal(**one) for one in data.get("renewals", ())),
            **{n: data[n] for n in _COUNTS},
        )

    def alone(self) -> FleetFit:
        """The same with the best theta only."""
        best = self.best
        row = np.r_[best.b, best.ln_k, best.ln_tu, best.ln_tv]
        return replace(self, draws=row[None], weights=np.ones(1))


_COUNTS = ("cycles", "dull_ends", "chipped_ends", "dies", "edges", "usual_stop", "rounds")


def check(edges: Sequence[EdgeSpec] | Edges, samples: LifeSamples) -> None:
    """Refuses samples that belong to no edge, and an edge with two cycles under way."""
    if len(samples) and samples.edge.max() >= len(edges):
        raise SampleRefused(f"a cycle names edge {samples.edge.max()}, and there are {len(edges)} edges")
    under_way = samples.edge[samples.under_way]
    names, count = np.unique(under_way, return_counts=True)
    if (count > 1).any():
        raise SampleRefused(f"edge {names[count > 1][0]} has {count.max()} cycles under way; one is possible")


def fit(
    edges: Sequence[EdgeSpec] | Edges,
    samples: LifeSamples,
    *,
    seed: int = 0,
    draws: int = 24,
    with_lots: bool = True,
    fit_dies: int = FIT_DIES,
    readings: Readings | None = None,
) -> FleetFit:
    """Fits what the fleet has in common.

    edges: as numbered by samples.edge. The answer depends neither on the order of dies, edges or cycles nor, with more
    dies than fit_dies, on anything but the records and the seed: those dies are used whose records, hashed, come first.
    readings: burr and wear readings in the cycles; what they mean is learnt from the cycles that ended dull.
    Raises SampleRefused for samples that cannot be.
    """
    check(edges, samples)
    edges = Edges.of(edges)
    renewals: tuple[Renewal, ...] = ()
    if samples.touched is not None and seen(samples).any():
        options: dict[str, Any] = {"seed": seed, "with_lots": with_lots, "fit_dies": fit_dies}
        renewals = _learn_renewals(edges, samples, readings, options)
    samples, readings = aged(samples, readings, shares_of(renewals))
    models: tuple[ReadingModel, ...] = ()
    if readings is not None:
        models = learn_readings(edges, samples, readings)
        samples = tell(models, edges, samples, readings)
    problem = _Problem.of(edges, samples, seed=seed, fit_dies=fit_dies, with_lots=with_lots)
    best, sw, rounds = problem.climb()
    rows, weights, covariance = problem.draw(best, draws, seed)
    known = ~samples.unknown_age
    return FleetFit(
        best=best,
        draws=rows,
        weights=weights,
        sw=sw,
        chip_rates=chips.fit(edges, samples),
        cycles=int(samples.has_run().sum()),
        dull_ends=int(((samples.ended == DULL) & known).sum()),
        chipped_ends=int((samples.ended == CHIPPED).sum()),
        dies=len(np.unique(edges.die)),
        edges=len(edges),
        usual_stop=problem.usual_stop(),
        rounds=rounds,
        reading_models=models,
        covariance=covariance,
        renewals=renewals,
    )


def _learn_renewals(
    edges: Edges, samples: LifeSamples, readings: Readings | None, options: dict[str, Any]
) -> tuple[Renewal, ...]:
    """Theta at what is thought of the shares, the shares at that theta, until they stand still."""
    learnt: tuple[Renewal, ...] = ()
    order, part = _some(edges, samples.pick(~samples.unknown_age), options["seed"], options["fit_dies"])
    for _ in range(RENEWAL_ROUNDS):
        shares = shares_of(learnt)
        theta = fit(edges, *aged(samples, None, shares)[:1], draws=1, readings=None, **options).best
        learnt = learn(edges.pick(order), part, theta, shares)
        if np.abs(shares_of(learnt) - shares).max() < SHARE_STILL:
            break
    return learnt


def canonical(edges: Edges, samples: LifeSamples) -> tuple[list[int], list[bytes]]:
    """Edges in an order that depends on what they are and not on how they are numbered, die by die; each die's hash."""
    samples = samples.in_canonical_order()
    bounds = np.searchsorted(samples.edge, np.arange(len(edges) + 1))
    names = ("from_hits", "lower_hits", "hits", "ended", "under_way", "lot", "told", "told_sd")
    columns = [getattr(samples, name) for name in names]
    by_die: dict[int, list[tuple[bytes, int]]] = {}
    described = edges.as_rows()
    for e, die in enumerate(edges.die.tolist()):
        digest = hashlib.sha256(described[e].tobytes())
        for column in columns:
            digest.update(column[bounds[e] : bounds[e + 1]].tobytes())
        by_die.setdefault(die, []).append((digest.digest(), e))
    dies = []
    for members in by_die.values():
        members.sort()
        dies.append((hashlib.sha256(b"".join(d for d, _ in members)).digest(), [e for _, e in members]))
    dies.sort()
    return [e for _, members in dies for e in members], [d for d, members in dies for _ in members]


def _some(edges: Edges, samples: LifeSamples, seed: int, fit_dies: int) -> tuple[NDArray[np.int64], LifeSamples]:
    """The edges with a cycle, of at most fit_dies dies, in canonical order; their cycles, numbered so."""
    has = np.zeros(len(edges), bool)
    has[samples.edge] = True
    keep = [(e, h) for e, h in zip(*canonical(edges, samples), strict=True) if has[e]]
    by_chance = sorted({h for _, h in keep}, key=lambda h: hashlib.sha256(str(seed).encode() + h).digest())
    chosen = set(by_chance[:fit_dies])
    order = np.array([e for e, h in keep if h in chosen], np.int64)
    new_number = np.full(len(edges), -1, np.int64)
    new_number[order] = np.arange(len(order))
    samples = samples.pick(new_number[samples.edge] >= 0).in_canonical_order()
    return order, replace(samples, edge=new_number[samples.edge])


@dataclass
class _Problem:
    """The records that theta is fitted on: edges with a known cycle, in canonical order."""

    x: Array
    die: NDArray[np.int64]
    n_dies: int
    cells: Cells
    with_lots: bool
    stops: tuple[NDArray[np.int64], Array]
    grids: Grids = field(init=False)  # these two are laid by `climb`, where there is a die
    tables: tuple[Array, Array, Array] = field(init=False)
    cavities: lots.Cavities | None = None
    centre: float = 0.0

    @classmethod
    def of(cls, edges: Edges, samples: LifeSamples, *, seed: int, fit_dies: int, with_lots: bool) -> _Problem:
        order, samples = _some(edges, samples.pick(~samples.unknown_age), seed, fit_dies)
        die_names = edges.die[order].tolist()
        numbers: dict[int, int] = {}
        die = np.array([numbers.setdefault(d, len(numbers)) for d in die_names], np.int64)
        under_way = np.bincount(die[samples.edge[samples.under_way]], minlength=len(numbers))
        positions = np.where(under_way > 0, under_way, np.bincount(die, minlength=len(numbers)))
        cells = Cells.of(samples, die, positions=positions, lots=with_lots)
        ended = samples.ended == 0
        return cls(
            x=prior.design(edges.pick(order)),
            die=die,
            n_dies=len(numbers),
            cells=cells,
            with_lots=with_lots and len(cells) > 0,
            stops=(samples.edge[ended & ~samples.under_way], samples.hits[ended & ~samples.under_way]),
        )

    def climb(self) -> tuple[Theta, float, int]:
        """Zoom, look at the lots, tables, climb; until theta stands still."""
        theta = Theta(b=prior.MEAN.copy(), ln_k=prior.LN_K[0], ln_tu=np.log(0.4), ln_tv=np.log(0.3))
        woven = self.with_lots and lots.woven(self.cells)
        sw = (START_WOVEN if woven else 0.2) if self.with_lots else 0.0
        if not len(self.die):
            return replace(theta, ln_tu=np.log(0.5), ln_tv=np.log(0.4)), 0.3 if self.with_lots else 0.0, 0
        self.grids = Grids.at_prior(self.x @ theta.b, theta, self.n_dies)
        rounds = 0
        for rounds in range(1, ROUNDS + 1):
            before = sw
            mu = self.x @ theta.b
            self.grids.m_nodes, self.grids.u_nodes = nodes_for(theta)
            post = travel(self.grids, self._table_at(theta.k), mu, self.die, theta)
            if self.with_lots and rounds > 1 and not (woven and sw <= lots.SW_LEAST):
                mean, sd = self.grids.moments(edge_marginals(post, self.die))
                if woven and rounds == 2 and lots.shared_sign(self.cells, mean, theta.k) < SURE_OF_LOTS:
                    sw = lots.SW_LEAST
                    self.cavities = lots.start(self.cells, sw)
                for _ in range(2 if sw > lots.SW_LEAST or not woven else 0):
                    sites = None if self.cavities is None else self.cavities.sites
                    self.cavities, gl = lots.look(self.cells, mean, sd, theta.k, sw, sites=sites)
                    sw = lots.best_sw(gl, sw, self.cells, self.cavities.sites)
            elif self.with_lots:
                self.cavities = lots.start(self.cells, sw)
            self._tabulate(theta.ln_k)
            new = self._maximise(theta)
            still = (
                np.abs(new.b - theta.b).max() < 0.05
                and abs(new.ln_k - theta.ln_k) < 0.012
                and abs(new.ln_tu - theta.ln_tu) < 0.03
                and abs(new.ln_tv - theta.ln_tv) < 0.03
                and (not woven or abs(sw - before) < max(0.04 * sw, NO_LOTS / 2))
            )
            theta = new
            if still and rounds > 2:
                break
        return theta, 0.0 if sw < NO_LOTS else sw, rounds

    def _table_at(self, k: float) -> Callable[[Array, NDArray[np.int64] | None], Array]:
        c = d = None
        if self.cavities is not None:
            c, d = self.cavities.c, self.cavities.d

        def table(nodes: Array, edges: NDArray[np.int64] | None) -> Array:
            return self.cells.table(nodes, k, c, d, edges)

        return table

    def _tabulate(self, ln_k: float) -> None:
        """L at ln k and a step to either side: value, first and second difference, cut off far below the top."""
        c, d = (self.cavities.c, self.cavities.d) if self.cavities is not None else (None, None)
        low, mid, high = (self.cells.table(self.grids.m, np.exp(ln_k + s), c, d) for s in (-LN_K_STEP, 0.0, LN_K_STEP))
        floor = mid.max(axis=1, keepdims=True) - FLOOR
        lost = (low < floor) | (mid < floor) | (high < floor)
        floor = np.broadcast_to(floor, mid.shape)
        low, mid, high = (np.where(lost, floor, t) for t in (low, mid, high))
        self.tables = (mid, (high - low) / 2, (high + low) / 2 - mid)
        self.centre = ln_k

    def _pack(self, theta: Theta) -> Array:
        return np.r_[(theta.b - prior.MEAN) / prior.SD, theta.ln_k, theta.ln_tu, theta.ln_tv]

    def _unpack(self, z: Array) -> Theta:
        b = prior.MEAN + prior.SD * z[:-3]
        return Theta(b=b, ln_k=float(z[-3]), ln_tu=float(z[-2]), ln_tv=float(z[-1]))

    def log_prior(self, z: Array) -> tuple[float, Array]:
        value = -0.5 * (z[:-3] ** 2).sum()
        grad = np.r_[-z[:-3], 0.0, 0.0, 0.0]
        mean, sd = prior.LN_K
        value -= 0.5 * ((z[-3] - mean) / sd) ** 2
        grad[-3] = -(z[-3] - mean) / sd**2
        for i, scale in ((-2, prior.TU_HALF_NORMAL), (-1, prior.TV_HALF_NORMAL)):
            t = np.exp(z[i])
            value += z[i] - 0.5 * (t / scale) ** 2
            grad[i] = 1 - (t / scale) ** 2
        return value, grad

    def objective(self, z: Array) -> tuple[float, Array]:
        """Minus ln posterior of theta and its gradient, on the tables."""
        theta = self._unpack(z)
        s = (theta.ln_k - self.centre) / LN_K_STEP
        mid, first, second = self.tables
        table = mid + s * first + s * s * second
        mu = self.x @ theta.b
        post = posterior(self.grids, table, mu, self.die, theta)
        m = self.grids.m_nodes * self.grids.m_sd[:, None]  # from the grid's centre
        slope = (first + 2 * s * second) / LN_K_STEP
        parts = post.given_u @ np.stack([m, m * m, slope], axis=2)
        q = post.of_u[self.die]
        shift = (self.grids.m_mean - mu)[:, None] - self.grids.u[self.die]
        r1 = parts[:, :, 0] + shift
        r2 = parts[:, :, 1] + 2 * shift * parts[:, :, 0] + shift**2
        e_r, e_r2 = (q * r1).sum(axis=1), (q * r2).sum(axis=1)
        value, grad = self.log_prior(z)
        grad[:-3] += prior.SD * (self.x.T @ e_r) / theta.tv**2
        grad[-3] += (q * parts[:, :, 2]).sum()
        grad[-2] += ((post.of_u * self.grids.u**2).sum(axis=1) / theta.tu**2 - 1).sum()
        grad[-1] += (e_r2 / theta.tv**2 - 1).sum()
        return -(value + post.ll.sum()), -grad

    def _maximise(self, theta: Theta) -> Theta:
        z = self._pack(theta)
        reach = (max(z[-3] - LN_K_REACH, LN_K_BOUNDS[0]), min(z[-3] + LN_K_REACH, LN_K_BOUNDS[1]))
        bounds = [(-8.0, 8.0)] * (len(z) - 3) + [reach, LN_TU_BOUNDS, LN_TV_BOUNDS]
        found = scipy.optimize.minimize(
            self.objective, z, jac=True, method="L-BFGS-B", bounds=bounds, options={"maxiter": 60}
        )
        return self._unpack(found.x)

    def draw(self, best: Theta, count: int, seed: int) -> tuple[Array, Array, Array]:
        """Antithetic draws around the best theta by the curvature there, weighted exact over approximate, clipped; and
        the covariance that the curvature tells."""
        z = self._pack(best)
        n = len(z)
        if len(self.die):
            hessian = np.zeros((n, n))
            for i in range(n):
                e = np.zeros(n)
                e[i] = 0.02
                hessian[i] = (self.objective(z + e)[1] - self.objective(z - e)[1]) / 0.04
            hessian = (hessian + hessian.T) / 2
            values, vectors = np.linalg.eigh(hessian)
            sd = 1 / np.sqrt(np.maximum(values, 0.5))
        else:
            vectors, sd = np.eye(n), np.ones(n)
            sd[-3:] = prior.LN_K[1], 0.5, 0.5
        scale = np.r_[prior.SD, 1.0, 1.0, 1.0]
        root = scale[:, None] * vectors * sd
        covariance = root @ root.T
        if count < 2:
            return np.r_[best.b, z[-3:]][None], np.ones(1), covariance
        rng = np.random.default_rng(seed)
        half = rng.standard_normal((count // 2, n))
        normal = np.concatenate([half, -half])
        rows = z + (normal * sd) @ vectors.T
        rows[:, -3:] = np.clip(rows[:, -3:], *np.array([LN_K_BOUNDS, LN_TU_BOUNDS, LN_TV_BOUNDS]).T)
        log_weight = np.zeros(len(rows))
        if len(self.die):
            for i, row in enumerate(rows):
                log_weight[i] = -self.objective(row)[0] + 0.5 * (normal[i] ** 2).sum()
            log_weight -= np.median(log_weight)
            log_weight = np.clip(log_weight, -1.5, 1.5)
        weight = np.exp(log_weight)
        thetas = np.concatenate([prior.MEAN + prior.SD * rows[:, :-3], rows[:, -3:]], axis=1)
        return thetas, weight / weight.sum(), covariance

    def usual_stop(self) -> float:
        """Median of the hits at which cycles end still sharp over the edge's usual life; 0.5 where nothing is seen."""
        edge, hits = self.stops
        if len(edge) < 10:  # and so there is a die, with its grids
            return 0.5
        return float(np.clip(np.median(hits / 1e5 / np.exp(self.grids.m_mean[edge])), 0.1, 1.0))


def expected_usual(theta: Theta, x: Array) -> Array:
    """Median life of a fresh edge in units of 100,000 hits, [edges], at the wear model's value."""
    return np.exp(x @ theta.b + np.log(np.log(2.0)) / theta.k)
