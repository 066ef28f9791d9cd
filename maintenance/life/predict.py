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

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from diestore.texts import pgettext_noop

from .block import Block, groups
from .cycles import HITS_UNIT, EdgeSpec, LifeSamples
from .edges import Edges
from .fleet import FleetFit, check
from .readings import Readings, tell
from .renewals import aged

Array = NDArray[np.float64]

LEVELS = (0.001, 0.005, 0.01, 0.02, *(round(0.05 * i, 2) for i in range(1, 20)), 0.98, 0.99, 0.995, 0.999)
LN_HAZARDS = np.log(-np.log1p(-np.array(LEVELS)))
BLOCK_EDGES = 800
LN_LONGEST = float(np.log(1e7))  # of hits in 100,000: a million million, more than any press will ever make
HALVINGS = 3  # of the steps of a curve before it is read by straight lines
FEW_DULL_ENDS = 30
Z90 = 1.2816  # normal: 9 in 10 lie below


class NothingToForecast(ValueError):
    """No edge is under way; the message says of what."""


@dataclass(frozen=True, kw_only=True)
class RestsOn:
    """What a forecast rests on. cycles: with hits in them. prior_share: variance of ln of the usual life over what it
    is by the handbook alone, 0..1, no weight of the handbook; words: what it rests on for people."""

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
    curve: Curve | None  # none where it is stored without

    def chance_beyond(self, strokes: float) -> float:
        return curve_of(self).chance_beyond(strokes)


@dataclass(frozen=True, kw_only=True)
class DiePrediction:
    """The first of a die's edges to go. edges: by number of the edge as it was handed in, those with a cycle under
    way."""

    die: int
    remaining: dict[float, float]
    edges: dict[int, EdgePrediction]
    limits: int
    rests_on: RestsOn
    curve: Curve | None  # none where it is stored without

    def chance_beyond(self, strokes: float) -> float:
        """Chance that no edge goes dull or chips within that many further strokes."""
        return curve_of(self).chance_beyond(strokes)


def curve_of(told: DiePrediction | EdgePrediction) -> Curve:
    """Raises ValueError where the forecast was stored without."""
    if told.curve is None:
        raise ValueError("this forecast is stored without its curve")
    return told.curve


def predict_die(
    fit: FleetFit,
    edges: Sequence[EdgeSpec],
    samples: LifeSamples,
    *,
    readings: Readings | None = None,
    rest: Mapping[int, float] | None = None,
) -> DiePrediction:
    """One die on the stored fit. edges: all of the die, old builds too; samples.edge counts in that list.

    readings: in the cycles of the samples, used where the fit has learnt from the shop's own what they mean. rest:
    strokes left of the lot under way, by number of the die; lots of its usual size come after it.

    Raises NothingToForecast where no edge has a cycle under way, SampleRefused where the samples cannot be.
    """
    if len({e.die for e in edges}) > 1:
        raise ValueError(f"these edges are of {len({e.die for e in edges})} dies; one is expected")
    found = predict_fleet(fit, edges, samples, readings=readings, rest=rest)
    if not found:
        raise NothingToForecast(
            f"none of the {len(edges)} edges has a cycle under way, so there is nothing to forecast"
        )
    return next(iter(found.values()))


def predict_fleet(
    fit: FleetFit,
    edges: Sequence[EdgeSpec] | Edges,
    samples: LifeSamples,
    *,
    readings: Readings | None = None,
    rest: Mapping[int, float] | None = None,
) -> dict[int, DiePrediction]:
    """Every die with an edge under way, by number of the die: the same numbers as predict_die, block by block."""
    told = forecast_fleet(fit, edges, samples, readings=readings, rest=rest)
    return {int(name): told.of_die(d) for d, name in enumerate(told.die)}


@dataclass(frozen=True, kw_only=True)
class FleetForecast:
    """The forecast of a fleet as arrays: dies with an edge under way, and those edges die by die.

    die: int[dies] their numbers. first_edge: int[dies + 1] where the edges of each begin among the edges. edge:
    int[edges] numbers as handed in. remaining, of_edge: [dies, LEVELS], [edges, LEVELS] further strokes of the die.
    limits: int[dies] the edge most likely first. ln_sd: [edges] how unsure the usual hits are. hits_now: not-a-number
    where the age is not known. counts: [dies, 3], [edges, 3] cycles, dull ends, chipped ends. prior_share as in
    RestsOn. strokes, ln_hazard, edge_ln_hazard: [dies, points], [edges, points] the curves at few points. The rest is
    as in EdgePrediction.
    """

    die: NDArray[np.int64]
    first_edge: NDArray[np.int64]
    edge: NDArray[np.int64]
    remaining: Array
    of_edge: Array
    limits: NDArray[np.int64]
    first_to_go: Array
    usual_hits: Array
    ln_sd: Array
    hits_now: Array
    share_left: Array
    stroke_share: Array
    counts: NDArray[np.int64]
    edge_counts: NDArray[np.int64]
    prior_share: Array
    edge_prior_share: Array
    strokes: Array
    ln_hazard: Array
    edge_ln_hazard: Array
    fleet_dull_ends: int

    def of_die(self, d: int) -> DiePrediction:
        """The d-th die as objects."""
        strokes = np.exp(_finer(np.log(self.strokes[d : d + 1])))[0]
        mine = slice(self.first_edge[d], self.first_edge[d + 1])
        curves = _finer(self.edge_ln_hazard[mine])
        edges = {
            int(self.edge[e]): self._edge(e, Curve(strokes, curve))
            for e, curve in zip(range(mine.start, mine.stop), curves, strict=True)
        }
        return DiePrediction(
            die=int(self.die[d]),
            remaining=dict(zip(LEVELS, self.remaining[d].tolist(), strict=True)),
            edges=edges,
            limits=int(self.limits[d]),
            rests_on=self._rests_on(self.counts[d], self.prior_share[d]),
            curve=Curve(strokes, _finer(self.ln_hazard[d : d + 1])[0]),
        )

    def _edge(self, e: int, curve: Curve) -> EdgePrediction:
        usual, wide = float(self.usual_hits[e]), float(np.exp(Z90 * self.ln_sd[e]))
        return EdgePrediction(
            edge=int(self.edge[e]),
            remaining=dict(zip(LEVELS, self.of_edge[e].tolist(), strict=True)),
            first_to_go=float(self.first_to_go[e]),
            usual_hits=usual,
            usual_die_hits=usual / float(self.stroke_share[e]),
            usual_band_hits=(usual / wide, usual * wide),
            hits_now=None if np.isnan(self.hits_now[e]) else float(self.hits_now[e]),
            share_left=float(self.share_left[e]),
            rests_on=self._rests_on(self.edge_counts[e], self.edge_prior_share[e]),
            curve=curve,
        )

    def _rests_on(self, counts: NDArray[np.int64], share: float) -> RestsOn:
        cycles, dull, chipped = counts.tolist()
        return RestsOn(
            cycles=cycles,
            dull_ends=dull,
            chipped_ends=chipped,
            prior_share=float(share),
            words=words(self.fleet_dull_ends, dull),
        )


def forecast_fleet(
    fit: FleetFit,
    edges: Sequence[EdgeSpec] | Edges,
    samples: LifeSamples,
    *,
    readings: Readings | None = None,
    rest: Mapping[int, float] | None = None,
) -> FleetForecast:
    """The same as arrays, for fleets of any size: memory grows with what is handed in and given back alone."""
    check(edges, samples)
    samples, readings = aged(samples, readings, fit.shares)
    if readings is not None:
        samples = tell(fit.reading_models, edges, samples, readings)
    edges = Edges.of(edges)
    n = len(edges)
    order = np.arange(n)
    if (edges.die[1:] < edges.die[:-1]).any():
        order = np.argsort(edges.die, kind="stable")
    row_order = None
    if (samples.edge[1:] < samples.edge[:-1]).any():
        row_order = np.argsort(samples.edge, kind="stable")
        bounds = np.searchsorted(samples.edge[row_order], np.arange(n + 1))
    else:
        bounds = np.searchsorted(samples.edge, np.arange(n + 1))
    in_order = len(order) == 0 or bool((order == np.arange(n)).all())
    parts = []
    for block in groups(edges.die[order], BLOCK_EDGES):
        if in_order and row_order is None:
            members, rows = order[block], slice(bounds[block.start], bounds[block.stop])
            part = samples.pick(rows)
            part = replace(part, edge=part.edge - block.start)
            some = edges.pick(block)
        else:
            members = order[block]
            count = bounds[members + 1] - bounds[members]
            number = np.repeat(np.arange(len(members)), count)
            at = np.arange(len(number)) + np.repeat(bounds[members] - np.r_[0, np.cumsum(count)[:-1]], count)
            part = replace(samples.pick(at if row_order is None else row_order[at]), edge=number)
            some = edges.pick(members)
        told = _block(Block(some, part, fit, rest), members)
        if told is not None:
            parts.append(told)
    return _together(parts, fit)


def _block(block: Block, members: NDArray[np.int64]) -> dict[str, NDArray[Any]] | None:
    """The arrays of FleetForecast of one block."""
    sums = block.sums()
    if sums is None:
        return None
    now = sums.now
    die_of = block.die[now]
    dies = np.unique(die_of)
    die = np.searchsorted(dies, die_of)
    ln_x = _finer(np.log(sums.x[dies, 1:]))
    of_die = _remaining(_finer(sums.die[dies]), ln_x)
    of_edge = _remaining(_finer(sums.edge), ln_x[die])
    age = np.where(block.unknown[now], block.ages(now).mean(axis=1), 0.0)
    on_it = (block.h[now] + age) * HITS_UNIT
    left = of_edge[:, LEVELS.index(0.5)] * block.share[now]
    counts = np.stack([block.counts[name] for name in ("cycles", "dull", "chipped")], axis=1).astype(np.int64)
    of_dies = np.stack([np.bincount(block.die, c, block.n_dies) for c in counts.T], axis=1).astype(np.int64)
    number = members[now]
    likely = np.lexsort((number, -sums.first, die))  # within a die the most likely first
    first_edge = np.searchsorted(die, np.arange(len(dies)))
    return {
        "die": block.names[dies],
        "size": np.bincount(die),
        "edge": number,
        "remaining": of_die,
        "of_edge": of_edge,
        "limits": number[likely[first_edge]],
        "first_to_go": sums.first,
        "usual_hits": np.exp(np.minimum(sums.usual, LN_LONGEST)) * HITS_UNIT,
        "ln_sd": sums.sd,
        "hits_now": np.where(block.unknown[now], np.nan, block.h[now] * HITS_UNIT),
        "share_left": np.where(left + on_it > 0, left / np.maximum(left + on_it, 1e-300), 0.0),
        "stroke_share": block.share[now],
        "counts": of_dies[dies],
        "edge_counts": counts[now],
        "prior_share": np.bincount(die, sums.unsure) / np.bincount(die),
        "edge_prior_share": sums.unsure,
        "strokes": sums.x[dies, 1:] * HITS_UNIT,
        "ln_hazard": sums.die[dies],
        "edge_ln_hazard": sums.edge,
    }


def _together(parts: list[dict[str, NDArray[Any]]], fit: FleetFit) -> FleetForecast:
    """One forecast of the blocks', which are given up on the way."""
    if not parts:
        none, levels = np.zeros(0, np.int64), np.zeros((0, len(LEVELS)))
        names = ("limits", "first_to_go", "usual_hits", "ln_sd", "hits_now", "share_left", "stroke_share")
        more = ("prior_share", "edge_prior_share", "strokes", "ln_hazard", "edge_ln_hazard")
        counts = np.zeros((0, 3), np.int64)
        parts = [
            {"die": none, "size": none, "edge": none, "remaining": levels, "of_edge": levels, "counts": counts}
            | {"edge_counts": counts}
            | {name: np.zeros(0) for name in (*names, *more)}
        ]
    arrays = {}
    for name in list(parts[0]):
        arrays[name] = np.concatenate([part.pop(name) for part in parts])
    first_edge = np.r_[0, np.cumsum(arrays.pop("size"))].astype(np.int64)
    return FleetForecast(first_edge=first_edge, fleet_dull_ends=fit.dull_ends, **arrays)


RECORDS_SPEAK = pgettext_noop("rests on", "this die's records and the shop's")


def words(fleet_dull_ends: int, own_dull_ends: int) -> str:
    """What a forecast rests on, for people: kept with it in English, translated where it is shown."""
    if fleet_dull_ends == 0:
        return pgettext_noop("rests on", "handbook only")
    if fleet_dull_ends < FEW_DULL_ENDS:
        return pgettext_noop("rests on", "mostly handbook")
    if own_dull_ends == 0:
        return pgettext_noop("rests on", "the shop's records of other edges")
    return RECORDS_SPEAK


def _finer(y: Array) -> Array:
    """Eight points for one on an even grid, by cubics through four neighbours, never falling: [n, 8 points - 7]."""
    for turn in range(HALVINGS):
        first = 4 * y[:, 0] - 6 * y[:, 1] + 4 * y[:, 2] - y[:, 3]  # the cubic goes on
        last = 4 * y[:, -1] - 6 * y[:, -2] + 4 * y[:, -3] - y[:, -4]
        wide = np.concatenate([first[:, None], y, last[:, None]], axis=1)
        half = (9 * (wide[:, 1:-2] + wide[:, 2:-1]) - wide[:, :-3] - wide[:, 3:]) / 16
        if turn == 0:  # the widest steps: through six
            inner = (
                150 * (y[:, 2:-3] + y[:, 3:-2]) - 25 * (y[:, 1:-4] + y[:, 4:-1]) + 3 * (y[:, :-5] + y[:, 5:])
            ) / 256
            half[:, 2:-2] = inner
        out = np.empty((len(y), 2 * y.shape[1] - 1))
        out[:, ::2], out[:, 1::2] = y, half
        y = out
    return np.maximum.accumulate(y, axis=1)


def _remaining(ln_hazard: Array, ln_x: Array) -> Array:
    """Strokes at LEVELS: ln_hazard [n, points] rising, ln_x [n, points] of units; [n, LEVELS]."""
    n, points = ln_hazard.shape
    lift = 100.0 * np.arange(n)[:, None]  # more than a curve rises: all curves one after another rise
    at = np.searchsorted((ln_hazard + lift).ravel(), (LN_HAZARDS + lift).ravel()).reshape(n, -1)
    at -= points * np.arange(n)[:, None]
    i = np.clip(at, 1, points - 1) + points * np.arange(n)[:, None]
    y, x = ln_hazard.ravel(), ln_x.ravel()
    y0, x0 = y[i - 1], x[i - 1]
    rise = y[i] - y0
    with np.errstate(divide="ignore", invalid="ignore"):
        out = x0 + (LN_HAZARDS - y0) * (x[i] - x0) / rise
    flat = np.flatnonzero((rise <= 1e-12).any(axis=1))
    for row in flat:  # a curve that does not reach so far
        out[row] = _line(LN_HAZARDS, ln_hazard[row], ln_x[row])
    return np.exp(np.minimum(out, LN_LONGEST)) * HITS_UNIT


def _line(at: Array | float, x: Array, y: Array) -> Array:
    """Linear interpolation; beyond the ends the end pieces go on (with a slope where they have one)."""
    rising = np.r_[True, np.diff(x) > 1e-12]
    x, y = x[rising], y[rising]
    if len(x) < 2:
        return np.full(np.shape(at), y[0])
    i = np.clip(np.searchsorted(x, at), 1, len(x) - 1)
    return y[i - 1] + (at - x[i - 1]) * (y[i] - y[i - 1]) / (x[i] - x[i - 1])
