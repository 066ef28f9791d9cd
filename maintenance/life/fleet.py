"""All edges of the shop together: the wear model fitted to the record, with the spread between dies, edges and lots.

theta = (b, ln k, ln tu, ln tv), found by L-BFGS on the marginal likelihood (see `posterior`) plus the priors, with
gradients from posterior means: with r = m - x'b - u,
    d/db = sum x E[r] / tv^2,            d/dln tv = sum (E[r^2] / tv^2 - 1),
    d/dln tu = sum (E[u^2] / tu^2 - 1),  d/dln k = E[dL/dln k].
The spread of lots sw is found beside it, one step a round. Around the best theta come draws from its Laplace
approximation, in mirrored pairs, each weighted by exact over approximate posterior: in a young shop they matter.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from . import posterior, prior
from .cycles import CHIPPED, DULL, HITS_UNIT, EdgeSpec, LifeSamples, SampleRefused
from .posterior import Grids, Lots, Rows, Tables

F = NDArray[np.float64]

P = len(prior.NAMES)
SW_PRIOR = 0.3  # half-normal, of the spread between lots
SW_START = 0.2
BOUNDS_LN_K = (float(np.log(0.6)), float(np.log(12.0)))
BOUNDS_LN_TU = (float(np.log(0.03)), float(np.log(2.5)))
BOUNDS_LN_TV = (float(np.log(0.08)), float(np.log(2.0)))
SAMPLE_DIES = 60
DRAWS = 24
MOST_ROUNDS = 7


@dataclass(frozen=True)
class FleetFit:
    """What the whole record says.

    theta: float64[P + 3] as in the module's words. draws: float64[n, P + 3] and weights float64[n] that sum to one; the
    best theta itself where n is nought. sw: spread between lots. chips: shape and exposure of the Gamma of the rate of
    chips a hundred thousand hits. dull, chipped, cycles: what it rests on.
    """

    theta: F
    draws: F
    weights: F
    sw: float
    chips: tuple[float, float]
    cycles: int
    dull: int
    chipped: int
    rounds: int = 0
    spread: F = field(default_factory=lambda: np.zeros(0))  # posterior sd of theta

    @property
    def k(self) -> float:
        return float(np.exp(self.theta[P]))

    @property
    def tu(self) -> float:
        return float(np.exp(self.theta[P + 1]))

    @property
    def tv(self) -> float:
        return float(np.exp(self.theta[P + 2]))

    def to_dict(self) -> dict:
        return {
            "names": list(prior.NAMES),
            "theta": self.theta.tolist(),
            "draws": self.draws.tolist(),
            "weights": self.weights.tolist(),
            "sw": self.sw,
            "chips": list(self.chips),
            "cycles": self.cycles,
            "dull": self.dull,
            "chipped": self.chipped,
            "rounds": self.rounds,
            "spread": self.spread.tolist(),
        }

    @classmethod
    def from_dict(cls, stored: dict) -> FleetFit:
        if tuple(stored.get("names", ())) != prior.NAMES:
            raise SampleRefused("the stored fit is of another wear model; fit the fleet again")
        return cls(
            np.array(stored["theta"], float),
            np.array(stored["draws"], float).reshape(-1, P + 3),
            np.array(stored["weights"], float),
            float(stored["sw"]),
            (float(stored["chips"][0]), float(stored["chips"][1])),
            int(stored["cycles"]),
            int(stored["dull"]),
            int(stored["chipped"]),
            int(stored["rounds"]),
            np.array(stored["spread"], float),
        )


@dataclass(frozen=True)
class Edges:
    """The edges of the fleet as columns: X [n, P], die [n] (sorted, 0 .. dies - 1), stroke_share [n]."""

    x: F
    die: NDArray[np.int64]
    stroke_share: F

    @classmethod
    def of(cls, specs: Sequence[EdgeSpec]) -> Edges:
        die = np.array([s.die for s in specs], np.int64)
        if len(die) and ((np.diff(die) < 0).any() or die[0] != 0 or (np.diff(die) > 1).any()):
            raise SampleRefused("edges must come die by die, the dies numbered 0, 1, 2 ... without a gap")
        return cls(prior.design(specs), die, np.array([s.stroke_share for s in specs], float))

    def __len__(self) -> int:
        return len(self.die)


def best_guess() -> F:
    """Theta before any record: the middle of the priors."""
    return np.concatenate([prior.MEAN, [prior.LN_K[0], np.log(prior.TU_HALF_NORMAL), np.log(prior.TV_HALF_NORMAL)]])


def ln_prior(theta: F) -> tuple[float, F]:
    """Log density of the priors and its gradient; half-normals with the Jacobian of the logarithm."""
    z = (theta[:P] - prior.MEAN) / prior.SD
    zk = (theta[P] - prior.LN_K[0]) / prior.LN_K[1]
    tu2 = np.exp(2 * theta[P + 1]) / prior.TU_HALF_NORMAL**2
    tv2 = np.exp(2 * theta[P + 2]) / prior.TV_HALF_NORMAL**2
    value = -0.5 * z @ z - 0.5 * zk**2 - 0.5 * tu2 + theta[P + 1] - 0.5 * tv2 + theta[P + 2]
    return float(value), np.concatenate([-z / prior.SD, [-zk / prior.LN_K[1], 1 - tu2, 1 - tv2]])


def objective(theta: F, rows: Rows, x: F, grids: Grids, tables: Tables) -> tuple[float, F]:
    """Log posterior and its gradient on fixed grids and tables."""
    likelihood, slope = tables.values(theta[P])
    mu = x @ theta[:P]
    e = posterior.expect(rows, grids, likelihood, slope, mu, theta[P + 1], theta[P + 2])
    u = grids.u
    tu2, tv2 = np.exp(2 * theta[P + 1]), np.exp(2 * theta[P + 2])
    pe, ue = e.pu[rows.die_of_edge], u[rows.die_of_edge]
    centre = mu[:, None] + ue
    er = e.moments[:, :, 0] - centre
    er2 = e.moments[:, :, 1] - 2 * centre * e.moments[:, :, 0] + centre**2
    gradient = np.empty(P + 3)
    gradient[:P] = x.T @ (pe * er).sum(1) / tv2
    gradient[P] = (pe * e.moments[:, :, 2]).sum()
    gradient[P + 1] = ((e.pu * u * u).sum(1) / tu2 - 1).sum()
    gradient[P + 2] = ((pe * er2).sum(1) / tv2 - 1).sum()
    value, slope_prior = ln_prior(theta)
    return e.ll + value, gradient + slope_prior


def chip_rate(samples: LifeSamples) -> tuple[float, float]:
    """Gamma of the rate of chips a hundred thousand hits: all hits of all cycles are exposure."""
    exposure = float((samples.hits - samples.from_hits).sum()) / HITS_UNIT
    return prior.CHIPS[0] + float((samples.ended == CHIPPED).sum()), prior.CHIPS[1] + exposure


def fit(
    edges: Edges,
    samples: LifeSamples,
    *,
    seed: int = 0,
    draws: int = DRAWS,
    lots: bool = True,
    most_dies: int = SAMPLE_DIES,
    tell: Callable[[str], None] | None = None,
) -> FleetFit:
    """Fit the fleet.

    edges: n edges, die by die. samples: their cycles, open ones included (sharp so far).
    most_dies: where the fleet is larger, theta is found on so many dies drawn with `seed`; the rest joins in prediction.
    Deterministic, and the same in any order of the samples. Raises SampleRefused where a sample names no edge.
    """
    if len(samples) and samples.edge.max() >= len(edges):
        raise SampleRefused(f"a cycle names edge {samples.edge.max()}, but there are {len(edges)} edges")
    samples = samples.in_canonical_order()
    chips = chip_rate(samples)
    told = {
        "chips": chips,
        "cycles": len(samples),
        "dull": int((samples.ended == DULL).sum()),
        "chipped": int((samples.ended == CHIPPED).sum()),
    }
    some = _with_record(edges, samples)
    dies = np.unique(edges.die[some])
    if len(dies) > most_dies:
        dies = np.sort(np.random.default_rng(seed).choice(dies, most_dies, replace=False))
    chosen = some & np.isin(edges.die, dies)
    x, rows = _block(edges, samples, np.flatnonzero(chosen))
    theta, lot_state, grids, rounds = _rounds(rows, x, lots, tell)
    tables = Tables.made(rows, lot_state, theta[P], grids.m)
    cov = _covariance(theta, rows, x, grids, tables)
    drawn, weights = _draws(theta, cov, rows, x, grids, tables, draws, seed)
    return FleetFit(
        theta, drawn, weights, lot_state.sw if lots else 0.0, rounds=rounds, spread=np.sqrt(np.diag(cov)), **told
    )


def _with_record(edges: Edges, samples: LifeSamples) -> NDArray[np.bool_]:
    some = np.zeros(len(edges), np.bool_)
    some[samples.edge[(samples.hits > samples.from_hits) & ~samples.unknown_age]] = True
    return some


def _block(edges: Edges, samples: LifeSamples, chosen: NDArray[np.int64]) -> tuple[F, Rows]:
    number = np.full(len(edges), -1)
    number[chosen] = np.arange(len(chosen))
    mine = samples.pick(number[samples.edge] >= 0) if len(samples) else samples
    renumbered = LifeSamples(
        number[mine.edge],
        mine.from_hits,
        mine.lower_hits,
        mine.hits,
        mine.ended,
        mine.under_way,
        mine.unknown_age,
        mine.lot,
        mine.sure,
    )
    _, die = np.unique(edges.die[chosen], return_inverse=True)
    return edges.x[chosen], Rows.of(renumbered, die.astype(np.int64))


def _rounds(rows: Rows, x: F, lots: bool, tell) -> tuple[F, Lots, Grids, int]:
    from scipy.optimize import minimize

    theta = best_guess()
    state = Lots.none(rows)
    if lots and rows.cells:
        state = Lots(SW_START, np.zeros(rows.cells), np.full(rows.cells, 1e-6))
        state.sd[:] = SW_START
    mu = x @ theta[:P]
    grids = posterior.start(rows, mu, theta[P + 1], theta[P + 2])
    bounds = [(None, None)] * P + [BOUNDS_LN_K, BOUNDS_LN_TU, BOUNDS_LN_TV]
    rounds = 0
    for round_ in range(MOST_ROUNDS):
        rounds = round_ + 1
        mu = x @ theta[:P]
        grids = posterior.zoom(rows, state, grids, theta[P], mu, theta[P + 1], theta[P + 2])
        if lots and round_ > 0:
            at = posterior.table(rows, state, theta[P], grids.m)
            e = posterior.expect(rows, grids, at, np.zeros_like(at), mu, theta[P + 1], theta[P + 2])
            state = posterior.lot_step(rows, state, grids, e, theta[P], sw_prior=SW_PRIOR, learn=True)
        tables = Tables.made(rows, state, theta[P], grids.m)
        low = max(theta[P] - 0.2, BOUNDS_LN_K[0])
        bounds[P] = (low, max(min(theta[P] + 0.2, BOUNDS_LN_K[1]), low + 1e-3))

        def downhill(t, rows=rows, grids=grids, tables=tables):
            value, gradient = objective(t, rows, x, grids, tables)
            return -value, -gradient

        found = minimize(downhill, theta, jac=True, method="L-BFGS-B", bounds=bounds, options={"maxiter": 60})
        moved = np.abs(found.x - theta)
        theta = found.x
        if tell:
            tell(f"round {rounds}: shape {np.exp(theta[P]):.2f}, spread of lots {state.sw:.2f}")
        settled = moved[:P].max() < 0.05 and moved[P] < 0.012 and moved[P + 1 :].max() < 0.03
        if settled and round_ >= (2 if lots else 1):
            break
    grids = posterior.zoom(rows, state, grids, theta[P], x @ theta[:P], theta[P + 1], theta[P + 2], passes=1)
    return theta, state, grids, rounds


def _covariance(theta: F, rows: Rows, x: F, grids: Grids, tables: Tables) -> F:
    """Inverse of the negative Hessian, by central differences of the gradient; eigenvalues held above the prior's."""
    n = P + 3
    scale = np.concatenate([prior.SD, [prior.LN_K[1], 0.5, 0.5]])
    hessian = np.empty((n, n))
    for i in range(n):
        step = np.zeros(n)
        step[i] = 0.02 * scale[i]
        up = objective(theta + step, rows, x, grids, tables)[1]
        down = objective(theta - step, rows, x, grids, tables)[1]
        hessian[i] = (up - down) / (2 * step[i])
    scaled = -0.5 * (hessian + hessian.T) * scale[:, None] * scale[None, :]
    values, vectors = np.linalg.eigh(scaled)
    values = np.maximum(values, 0.5)
    return scale[:, None] * ((vectors / values) @ vectors.T) * scale[None, :]


def _draws(theta, cov, rows, x, grids, tables, draws, seed) -> tuple[F, F]:
    if draws <= 0:
        return np.zeros((0, P + 3)), np.zeros(0)
    rng = np.random.default_rng(seed)
    half = (draws + 1) // 2
    z = rng.standard_normal((half, P + 3))
    z = np.concatenate([z, -z])[:draws]
    vectors = np.linalg.cholesky(cov + 1e-12 * np.eye(P + 3))
    drawn = theta + z @ vectors.T
    drawn[:, P] = np.clip(drawn[:, P], *BOUNDS_LN_K)
    drawn[:, P + 1] = np.clip(drawn[:, P + 1], *BOUNDS_LN_TU)
    drawn[:, P + 2] = np.clip(drawn[:, P + 2], *BOUNDS_LN_TV)
    best = objective(theta, rows, x, grids, tables)[0]
    exact = np.array([objective(t, rows, x, grids, tables)[0] for t in drawn]) - best
    ln_weight = np.clip(exact + 0.5 * (z * z).sum(1), -3.0, 3.0)
    weight = np.exp(ln_weight - ln_weight.max())
    weight = np.minimum(weight, 4.0 * weight.mean())
    return drawn, weight / weight.sum()
