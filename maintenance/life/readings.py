"""What readings of burr or wear say of the cycle in which they were taken.

    ln(b - c0) = a + alpha ln t + gamma ln(h / T) + cycle noise + reading noise,
b the reading, t the stock's thickness, h the hits at the reading, T the life of that cycle. Learnt from the shop's own
cycles that ended dull; c0 is profiled on a grid with the Jacobian, the sum of -ln(b - c0). The edge radius is not
monotonic and the burr can level off in high-strength steel, so that outliers count less (Huber's weights). A reading
near c0 says little: how unsure c0 is adds (sd of c0 / (b - c0))^2 to its variance. Turned round, n readings of a cycle
say ln T ~ N(mean, sd^2), sd^2 = (cycle^2 + reading^2 / n) / gamma^2.

P. J. Huber, Robust estimation of a location parameter, Ann. Math. Stat. 35 (1964) 73-101.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from .cycles import DULL, EdgeSpec, LifeSamples, SampleRefused
from .edges import Edges

Array = NDArray[np.float64]
READINGS_NEEDED = 30
CYCLES_NEEDED = 10
LEAST_GAMMA = 0.1  # below it a reading says nothing of how far the edge is
HUBER = 1.5
C0_PARTS = np.r_[0.0, np.linspace(0.1, 0.975, 36)]  # of the smallest reading


@dataclass(frozen=True)
class Readings:
    """row: int[n] number of the cycle among the LifeSamples as handed in; hits: on the edge at the reading;
    value: > 0 in any one unit; quantity: int[n], a number for each sort of reading (burr height, wear land ...)."""

    row: NDArray[np.int64]
    hits: Array
    value: Array
    quantity: NDArray[np.int64]

    @classmethod
    def of(cls, row: ArrayLike, hits: ArrayLike, value: ArrayLike, quantity: ArrayLike = 0) -> Readings:
        rows = np.atleast_1d(np.asarray(row, np.int64))

        def column(values: ArrayLike) -> NDArray:
            return np.broadcast_to(np.asarray(values), rows.shape)

        at, read = np.array(column(hits), np.float64), np.array(column(value), np.float64)
        if not (np.isfinite(at).all() and np.isfinite(read).all()):
            raise SampleRefused("a reading is not a number")
        if (at < 0).any():
            raise SampleRefused(f"a reading was taken at {at.min():g} hits; hits are nought or more")
        keep = (at > 0) & (read > 0)  # on a fresh edge, or with nothing to measure, it says nothing
        return cls(rows[keep], at[keep], read[keep], np.array(column(quantity), np.int64)[keep])

    def __len__(self) -> int:
        return len(self.row)

    def pick(self, keep: NDArray[np.bool_] | NDArray[np.int64]) -> Readings:
        return Readings(self.row[keep], self.hits[keep], self.value[keep], self.quantity[keep])


@dataclass(frozen=True, kw_only=True)
class ReadingModel:
    """Of one quantity. cycle_sd, reading_sd: of the logarithm. readings, cycles: learnt from."""

    quantity: int
    c0: float
    c0_sd: float
    a: float
    alpha: float
    gamma: float
    cycle_sd: float
    reading_sd: float
    readings: int
    cycles: int

    def value_at(self, share: float, thickness_mm: float) -> float:
        """The usual reading when `share` of the life is run."""
        return self.c0 + float(np.exp(self.a + self.alpha * np.log(thickness_mm)) * share**self.gamma)

    def share_at(self, limit: float, thickness_mm: float) -> float:
        """Share of the life to dull at which the usual reading comes to a limit, e.g. a customer's on the burr."""
        if limit <= self.c0:
            return 0.0
        return float(((limit - self.c0) / (self.value_at(1.0, thickness_mm) - self.c0)) ** (1 / self.gamma))

    def to_dict(self) -> dict:
        return asdict(self)


def fit(edges: Sequence[EdgeSpec] | Edges, samples: LifeSamples, readings: Readings) -> tuple[ReadingModel, ...]:
    """One model for each quantity with enough readings in cycles that ended dull; none where there are too few."""
    if not len(readings):
        return ()
    if readings.row.max() >= len(samples) or readings.row.min() < 0:
        raise SampleRefused(f"a reading names cycle {readings.row.max()}, and there are {len(samples)}")
    thickness = Edges.of(edges).thickness_mm
    good = (samples.ended == DULL) & ~samples.unknown_age
    models = []
    for quantity in np.unique(readings.quantity):
        mine = readings.pick((readings.quantity == quantity) & good[readings.row])
        life = np.sqrt(np.maximum(samples.lower_hits, samples.hits / 4) * samples.hits)[mine.row]
        mine, life = mine.pick(mine.hits <= samples.hits[mine.row]), life[mine.hits <= samples.hits[mine.row]]
        if len(mine) < READINGS_NEEDED or len(np.unique(mine.row)) < CYCLES_NEEDED:
            continue
        order = np.lexsort((mine.value, mine.hits, samples.hits[mine.row], samples.edge[mine.row], mine.row))
        mine, life = mine.pick(order), life[order]
        model = _learn(int(quantity), mine, life, thickness[samples.edge[mine.row]])
        if model.gamma >= LEAST_GAMMA:
            models.append(model)
    return tuple(models)


def tell(
    models: Sequence[ReadingModel], edges: Sequence[EdgeSpec] | Edges, samples: LifeSamples, readings: Readings
) -> LifeSamples:
    """The samples with what their readings say of each cycle's whole life; several quantities by their precision."""
    if not len(readings) or not models:
        return samples
    thickness = Edges.of(edges).thickness_mm
    precision, weighted = np.zeros(len(samples)), np.zeros(len(samples))
    for model in models:
        mine = readings.pick((readings.quantity == model.quantity) & (readings.value > model.c0))
        if not len(mine):
            continue
        ln_t = np.log(thickness[samples.edge[mine.row]])
        above = mine.value - model.c0
        ln_life = np.log(mine.hits) - (np.log(above) - model.a - model.alpha * ln_t) / model.gamma
        noise = np.hypot(model.reading_sd, model.c0_sd / above)
        sd = noise / model.gamma
        first = np.full(len(samples), np.nan)
        for row in np.unique(mine.row):
            first[row] = np.median(ln_life[mine.row == row])
        off = np.abs(ln_life - first[mine.row]) / sd
        weight = np.minimum(1.0, 2 * HUBER / np.maximum(off, 1e-9)) * (model.reading_sd / noise) ** 2
        n = np.bincount(mine.row, weight, len(samples))
        mean = np.bincount(mine.row, weight * ln_life, len(samples)) / np.maximum(n, 1e-12)
        with np.errstate(divide="ignore"):
            p = np.where(n > 0, model.gamma**2 / (model.cycle_sd**2 + model.reading_sd**2 / np.maximum(n, 1e-12)), 0.0)
        precision += p
        weighted += p * mean
    has = precision > 0
    told = np.where(has, weighted / np.where(has, precision, 1.0), np.nan)
    return replace(samples, told=told, told_sd=np.where(has, 1 / np.sqrt(np.where(has, precision, 1.0)), np.nan))


def _learn(quantity: int, readings: Readings, life: Array, thickness: Array) -> ReadingModel:
    x = np.stack([np.ones(len(life)), np.log(thickness), np.log(readings.hits / life)], axis=1)
    cycle = np.unique(readings.row, return_inverse=True)[1]
    least = np.quantile(readings.value, 0.02)
    found: list[tuple[Array, Array, NDArray[np.bool_]]] = []
    at, top = 0, -np.inf  # where the score is best
    scores = []
    tried = C0_PARTS * least
    for c0 in tried:
        keep = readings.value > c0 + 1e-9 * least
        y = np.log(readings.value[keep] - c0)
        coef, weight, scale = _robust(x[keep], y)
        score = -np.log(scale) - y.mean()  # a sample's part of the likelihood, the Jacobian included
        scores.append(score * len(np.unique(cycle)))
        found.append((coef, weight, keep))
        if score > top + 1e-9:
            at, top = len(found) - 1, score
    c0, (coef, weight, keep) = tried[at], found[at]
    rest = np.log(readings.value[keep] - c0) - x[keep] @ coef
    cycle_sd, reading_sd = _two_spreads(rest, weight, cycle[keep])
    return ReadingModel(
        quantity=quantity,
        c0=float(c0),
        c0_sd=_grid_sd(tried, np.array(scores)),
        a=float(coef[0]),
        alpha=float(coef[1]),
        gamma=float(coef[2]),
        cycle_sd=cycle_sd,
        reading_sd=reading_sd,
        readings=int(keep.sum()),
        cycles=len(np.unique(cycle[keep])),
    )


def _grid_sd(values: Array, scores: Array) -> float:
    """Sd of a value on a grid whose ln likelihoods are the scores; at least half the grid's step."""
    p = np.exp(scores - scores.max()) * np.gradient(values)
    p /= p.sum()
    mean = p @ values
    return float(max(np.sqrt(max(p @ values**2 - mean**2, 0.0)), np.median(np.diff(values)) / 2))


def _robust(x: Array, y: Array) -> tuple[Array, Array, float]:
    """Least squares with Huber's weights; a slight pull of the slopes to nought where they are not settled."""
    weight = np.ones(len(y))
    pull = np.diag([0.0, 1e-3, 1e-3]) * len(y)
    coef = np.zeros(3)
    scale = 1.0
    for _ in range(25):
        coef = np.linalg.solve(x.T @ (weight[:, None] * x) + pull + 1e-9 * np.eye(3), x.T @ (weight * y))
        rest = y - x @ coef
        scale = max(float(np.median(np.abs(rest)) / 0.6745), 1e-4)
        weight = np.minimum(1.0, HUBER * scale / np.maximum(np.abs(rest), 1e-12))
    scale = float(np.sqrt((weight * (y - x @ coef) ** 2).sum() / weight.sum()))
    return coef, weight, max(scale, 1e-4)


def _two_spreads(rest: Array, weight: Array, cycle: NDArray[np.int64]) -> tuple[float, float]:
    """Spread between cycles and between readings of one cycle, by their sums of squares."""
    n = np.bincount(cycle, weight)
    mean = np.bincount(cycle, weight * rest) / np.maximum(n, 1e-12)
    within = (weight * (rest - mean[cycle]) ** 2).sum()
    free = max(float(weight.sum() - (n > 0).sum()), 0.0)
    whole = float((weight * rest**2).sum() / weight.sum())
    reading = within / free if free >= 5 else whole / 2
    return float(np.sqrt(max(whole - reading, 0.02 * whole))), float(np.sqrt(max(reading, 1e-6)))
