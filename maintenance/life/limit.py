"""Counting to a customer's burr limit that is tighter than where the shop calls an edge dull.

The shop's own readings say (readings.py): b(h) = c0 + exp(a + alpha ln t - gamma z) (h / T)^gamma, T the life to dull
of that cycle, z its own part, N(0, (cycle_sd / gamma)^2). So the burr comes to the limit at
    L = s e^z T,  s = share_at(limit, t) < 1,
and of an edge that has h hits and is not dull,
    P(L > h + x) = sum over z of w_z S_T((h + x) / (s e^z) - h),  never more than S_T(x),
S_T(x) = P(T > h + x | T > h) as forecast, five Gauss-Hermite nodes for z. Nothing in "not dull" says that the limit is
not passed already: then P(L > h) < 1, and the first hits of `remaining` are nought. A reading within the limit at h_r
hits says L > h_r, and the sum is divided by its value there; a reading beyond it says that the limit is passed. Burr
readings of the cycle under way tell of L itself, without the cycle's own part: `told_of_limits` says that in their
stead of what they say of T, S_T is then the forecast of L / s, and z is left out. Simulated shops, burrs read after
three runs in ten, limits at 0.4 and 0.7 of the life, 1,764 edges of 120 dies: the 80 % band held 0.78 and 0.82 of the
time for edges (0.90 and 0.96 where readings told of T), 0.85 and 0.78 for dies (0.03 and 0.28 to dull as before).

Chips do not come the sooner for a limit: the chance of no chip between x and the hits put in for it is given back, at
the fleet's rate. A die's edges depend on each other as before: with H = -ln S, its H is the same function of the sum
of its edges' H. That is exact where all edges have the same hits and share, and where they do not depend at all.
Valid for 0 < s < 1; edges that leave no burr on the part keep their forecast.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from .cycles import HITS_UNIT, EdgeSpec, LifeSamples
from .fleet import FleetFit
from .predict import Curve, DiePrediction, EdgePrediction, curve_of
from .readings import ReadingModel, Readings, tell

Array = NDArray[np.float64]
Z_NODES, Z_WEIGHTS = np.polynomial.hermite_e.hermegauss(5)
Z_WEIGHTS = Z_WEIGHTS / Z_WEIGHTS.sum()
LEAST_SHARE = 0.02  # below it the limit is what a fresh edge leaves, and no forecast to it means anything
PASSED = 40.0  # H of what is past its limit
SURE = 1e-12
AT_ONCE = 0.01  # strokes of the die: what is past its limit at these is past it now
SHARED_PART = 1e-3  # of a cycle's own part in its burr, where it is the same at the reading and at the limit


@dataclass(frozen=True, kw_only=True)
class Limit:
    """share: of the life to dull at which the usual burr comes to the limit. spread: sd of its logarithm between
    cycles."""

    share: float
    spread: float

    @classmethod
    def of(cls, model: ReadingModel, limit: float, thickness_mm: float) -> Limit | None:
        """None where the limit is not tighter than the usual burr of a dull edge.

        limit: in the unit of the readings. Raises ValueError where it is no more than a fresh edge leaves.
        """
        share = model.share_at(limit, thickness_mm)
        if share < LEAST_SHARE:
            raise ValueError(f"a limit of {limit:g} is no more than fresh edges leave, {model.c0:.3g}")
        return cls(share=share, spread=model.cycle_sd / model.gamma) if share < 1 else None


@dataclass(frozen=True, kw_only=True)
class Held:
    """An edge whose burr is held to a limit. stroke_share: of the die's strokes in which it cuts; chip_rate: chips in
    100,000 of those; read_at: hits on it at its latest reading, where that lay within the limit; passed: it lay beyond;
    was_read: there is one in the cycle under way."""

    limit: Limit
    stroke_share: float = 1.0
    chip_rate: float = 0.0
    read_at: float | None = None
    passed: bool = False
    was_read: bool = False


def told_of_limits(
    models: Sequence[ReadingModel], quantity: int, edges: Sequence[EdgeSpec], samples: LifeSamples, readings: Readings
) -> LifeSamples:
    """The samples with what their readings say: past cycles of the life to dull; those under way of the limit's over
    its share. quantity: number of the burr height among the readings. Hand these on without the readings."""
    of_life = tell(models, edges, samples, readings)
    sharper = [replace(m, cycle_sd=SHARED_PART) if m.quantity == quantity else m for m in models]
    of_limit = tell(sharper, edges, samples, readings)
    now = samples.under_way
    return replace(
        of_life,
        told=np.where(now, of_limit.told, of_life.told),
        told_sd=np.where(now, of_limit.told_sd, of_life.told_sd),
    )


def held(fit: FleetFit, spec: EdgeSpec, limit: Limit, burrs: Mapping[float, float], limit_value: float) -> Held:
    """burrs: hits on the edge -> reading, in the cycle under way; limit_value: in their unit."""
    last = max(burrs, default=None)
    passed = last is not None and burrs[last] > limit_value
    return Held(
        limit=limit,
        stroke_share=spec.stroke_share,
        chip_rate=fit.chip_rates.of(spec),
        read_at=None if passed else last,
        passed=passed,
        was_read=last is not None,
    )


def to_limit(told: DiePrediction, edges: Mapping[int, Held]) -> DiePrediction:
    """The die's forecast counted to the limit, for those of its edges that are held to it. remaining, usual_hits and
    share_left of these count to the limit; what it rests on stays."""
    if not any(e in told.edges for e in edges):
        return told
    die_curve = curve_of(told)
    x = np.r_[AT_ONCE, die_curve.strokes]
    before = {e: _hazard(curve_of(edge), x) for e, edge in told.edges.items()}
    after = {e: _held_hazard(told.edges[e], edges[e], x) if e in edges else h for e, h in before.items()}
    die = _through(_summed(before.values(), x), _hazard(die_curve, x), _summed(after.values(), x))
    curve = Curve(x, np.log(np.maximum(die, SURE)))
    first = _first(after, die)
    made = {
        e: _edge(edge, edges.get(e), Curve(x, np.log(np.maximum(after[e], SURE))), first[e])
        for e, edge in told.edges.items()
    }
    return replace(
        told,
        remaining={p: curve.strokes_at(p) for p in told.remaining},
        edges=made,
        limits=max(made.values(), key=lambda t: (t.first_to_go, -t.edge)).edge,
        curve=curve,
    )


def _on_it(edge: EdgePrediction, stroke_share: float) -> float:
    """Hits on the edge now; where its age is not known, by the middle of what is left."""
    if edge.hits_now is not None:
        return edge.hits_now
    left = edge.remaining[0.5] * stroke_share
    return left * (1 - edge.share_left) / max(edge.share_left, 1e-3)


def _summed(hazards: Iterable[Array], x: Array) -> Array:
    total = np.zeros(len(x))
    for hazard in hazards:
        total = total + hazard
    return total


def _held_hazard(edge: EdgePrediction, by: Held, x: Array) -> Array:
    """H of the limit at further strokes of the die, x."""
    if by.passed:
        return np.full(len(x), PASSED)
    on_it, spread = _on_it(edge, by.stroke_share), 0.0 if by.was_read else by.limit.spread
    curve, total, known = curve_of(edge), np.zeros(len(x)), 0.0
    for z, weight in zip(Z_NODES, Z_WEIGHTS, strict=True):
        share = by.limit.share * np.exp(spread * z)

        def strokes(hits: Array | float, share: float = share) -> Array:
            return np.maximum((hits / share - on_it) / by.stroke_share, 0.0)

        y = np.maximum(strokes(on_it + by.stroke_share * x), x)
        chips = by.chip_rate * by.stroke_share * (y - x) / HITS_UNIT
        total += weight * np.exp(-np.maximum(_hazard(curve, y) - chips, _hazard(curve, x)))
        if by.read_at is not None:
            known += weight * float(np.exp(-_hazard(curve, np.atleast_1d(strokes(by.read_at)))[0]))
    ratio = total / known if known else total
    return np.maximum.accumulate(np.clip(-np.log(np.clip(ratio, 1e-300, 1.0)), 0.0, PASSED))


def _hazard(curve: Curve, strokes: Array) -> Array:
    """H of a curve; straight in the logarithms, its end pieces go on; nought at nought."""
    x, y = np.log(curve.strokes), curve.ln_hazard
    with np.errstate(divide="ignore"):
        at = np.log(np.maximum(strokes, 0.0))
    i = np.clip(np.searchsorted(x, at), 1, len(x) - 1)
    with np.errstate(invalid="ignore"):
        ln = y[i - 1] + (at - x[i - 1]) * (y[i] - y[i - 1]) / (x[i] - x[i - 1])
    return np.where(strokes > 0, np.exp(np.minimum(np.nan_to_num(ln, nan=-700.0), 700.0)), 0.0)


def _through(sums: Array, die: Array, new_sums: Array) -> Array:
    """The die's H at new sums of its edges' H, by what it was at the old ones."""
    keep = np.r_[True, np.diff(np.maximum.accumulate(sums)) > 0] & (sums > SURE) & (die > SURE)
    if keep.sum() < 2:
        return new_sums
    x, y = np.log(sums[keep]), np.log(die[keep])
    at = np.log(np.maximum(new_sums, SURE))
    inside = np.interp(at, x, y)
    beyond = np.where(at < x[0], y[0] + at - x[0], np.where(at > x[-1], y[-1] + at - x[-1], inside))
    return np.maximum.accumulate(np.minimum(np.exp(beyond), new_sums))


def _first(hazards: Mapping[int, Array], die: Array) -> dict[int, float]:
    """Chance of each edge to be the first: its part of each step of the sum, by how likely the die goes there."""
    step = np.diff(np.array([np.r_[0.0, h] for h in hazards.values()]), axis=1)
    first = (step / np.maximum(step.sum(axis=0), 1e-300)) @ -np.diff(np.exp(-np.r_[0.0, die]))
    first /= max(first.sum(), 1e-300)
    return dict(zip(hazards, map(float, first), strict=True))


def _edge(edge: EdgePrediction, by: Held | None, curve: Curve, first: float) -> EdgePrediction:
    if by is None:
        return replace(edge, first_to_go=first)
    remaining = {p: curve.strokes_at(p) for p in edge.remaining}
    left, on_it = remaining[0.5] * by.stroke_share, _on_it(edge, by.stroke_share)
    share = by.limit.share
    return replace(
        edge,
        remaining=remaining,
        first_to_go=first,
        usual_hits=edge.usual_hits * share,
        usual_die_hits=edge.usual_die_hits * share,
        usual_band_hits=(edge.usual_band_hits[0] * share, edge.usual_band_hits[1] * share),
        share_left=left / (left + on_it) if left + on_it > 0 else 0.0,
        curve=curve,
    )
