"""Usual intervals where no record of the edge speaks: by the handbook alone, by the shop's fit, and with another build.

The usual interval is the median life of a fresh edge to dullness, eta (ln 2)^(1/k), in strokes in which the edge
cuts. Its band says where the usual interval of such an edge lies 8 times in 10; a single cycle varies more than that.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from . import prior
from .cycles import HITS_UNIT, EdgeSpec
from .fleet import FleetFit
from .predict import EdgePrediction

Array = NDArray[np.float64]
Z80 = 1.2816  # normal: 8 in 10 lie within


@dataclass(frozen=True, kw_only=True)
class Interval:
    """usual_hits: median life; low_hits, high_hits: 8 in 10 such edges have their usual interval between."""

    usual_hits: float
    low_hits: float
    high_hits: float


@dataclass(frozen=True, kw_only=True)
class WhatIf:
    """before, after: usual intervals. times: after over before, with its own band."""

    before: Interval
    after: Interval
    times: float
    times_low: float
    times_high: float


def handbook_interval(spec: EdgeSpec) -> Interval:
    """By the wear model alone, before any record."""
    x = prior.design_row(spec)
    mean, k_sd = prior.LN_K
    k = np.exp(mean)
    ln = x @ prior.MEAN + np.log(np.log(2.0)) / k
    spread = prior.TU_HALF_NORMAL**2 + prior.TV_HALF_NORMAL**2 + (np.log(np.log(2.0)) / k * k_sd) ** 2
    return _interval(ln, np.sqrt(((x * prior.SD) ** 2).sum() + spread))


def expected_interval(fit: FleetFit, spec: EdgeSpec) -> Interval:
    """By the shop's fit, for an edge of a new die that nobody has run yet."""
    told = expected_intervals(fit, [spec])
    return Interval(
        usual_hits=float(told.usual_hits[0]), low_hits=float(told.low_hits[0]), high_hits=float(told.high_hits[0])
    )


def what_if(fit: FleetFit, before: EdgeSpec, after: EdgeSpec, known: EdgePrediction | None = None) -> WhatIf:
    """The usual interval with another steel, hardness, coating, gap or stock.

    known: the edge's own forecast, where it has one: what is its and its die's own is kept. Without, a new edge of a
    new die. The change itself is what the wear model says after this shop's record.
    """
    step = prior.design_row(replace(after, die=before.die)) - prior.design_row(before)
    mean, sd = (float(value[0]) for value in _of_b(fit, step[None]))
    if known is None:
        start, finish = expected_interval(fit, before), expected_interval(fit, after)
    else:
        ln = np.log(known.usual_hits)
        start_sd = (np.log(known.usual_band_hits[1]) - ln) / Z80
        start = _interval(ln - np.log(HITS_UNIT), start_sd)
        finish = _interval(ln - np.log(HITS_UNIT) + mean, np.hypot(start_sd, sd))
    return WhatIf(
        before=start,
        after=finish,
        times=float(np.exp(mean)),
        times_low=float(np.exp(mean - Z80 * sd)),
        times_high=float(np.exp(mean + Z80 * sd)),
    )


def _interval(ln: float, sd: float) -> Interval:
    return Interval(
        usual_hits=float(np.exp(ln)) * HITS_UNIT,
        low_hits=float(np.exp(ln - Z80 * sd)) * HITS_UNIT,
        high_hits=float(np.exp(ln + Z80 * sd)) * HITS_UNIT,
    )


@dataclass(frozen=True)
class Intervals:
    """Of many edges at once, [edges]: median life; 8 in 10 such edges have their usual interval between."""

    usual_hits: Array
    low_hits: Array
    high_hits: Array


@dataclass(frozen=True)
class Times:
    """How many times as long, [edges]: the middle, and between which values 8 times in 10."""

    times: Array
    low: Array
    high: Array


def handbook_intervals(specs: Sequence[EdgeSpec]) -> Intervals:
    """`handbook_interval` of each."""
    x = prior.design(specs)
    mean, k_sd = prior.LN_K
    half = np.log(np.log(2.0)) / np.exp(mean)
    spread = prior.TU_HALF_NORMAL**2 + prior.TV_HALF_NORMAL**2 + (half * k_sd) ** 2
    return _intervals(x @ prior.MEAN + half, np.sqrt(((x * prior.SD) ** 2).sum(axis=1) + spread))


def expected_intervals(fit: FleetFit, specs: Sequence[EdgeSpec]) -> Intervals:
    """`expected_interval` of each."""
    x = prior.design(specs)
    best = fit.best
    half = np.log(np.log(2.0)) / best.k  # its slope in ln k is itself, with the other sign
    slope = np.column_stack([x, np.full(len(x), -half)])
    several = len(prior.NAMES) + 1
    square = np.einsum("ei,ij,ej->e", slope, fit.spread()[:several, :several], slope)
    return _intervals(x @ best.b + half, np.sqrt(np.maximum(square, 0.0) + best.tu**2 + best.tv**2))


def times_by_handbook(before: EdgeSpec, after: Sequence[EdgeSpec]) -> Times:
    """How many times as long each goes as `before`, by the wear model alone: exp(s'b), b of its prior."""
    steps = prior.design(after) - prior.design_row(before)
    return _times(steps @ prior.MEAN, np.sqrt(((steps * prior.SD) ** 2).sum(axis=1)))


def times_expected(fit: FleetFit, before: EdgeSpec, after: Sequence[EdgeSpec]) -> Times:
    """The same after this shop's record: `what_if` of each."""
    steps = prior.design(after) - prior.design_row(before)
    return _times(*_of_b(fit, steps))


def _of_b(fit: FleetFit, c: Array) -> tuple[Array, Array]:
    """Mean and sd of c'b after the shop's record; c: [n, p]. By the curvature at the top of the posterior: 24 draws
    would tell the sd with an error of a fifth."""
    several = len(prior.NAMES)
    square = np.einsum("ni,ij,nj->n", c, fit.spread()[:several, :several], c)
    return c @ fit.best.b, np.sqrt(np.maximum(square, 0.0))


def _intervals(ln: Array, sd: Array) -> Intervals:
    return Intervals(*(HITS_UNIT * np.exp(ln + side * Z80 * sd) for side in (0, -1, 1)))


def _times(ln: Array, sd: Array) -> Times:
    return Times(*(np.exp(ln + side * Z80 * sd) for side in (0, -1, 1)))


@dataclass(frozen=True, kw_only=True)
class Said:
    """One thing that the wear model says, as a logarithm, before and after this shop's record: mean and sd of each."""

    prior_mean: float
    prior_sd: float
    mean: float
    sd: float

    @property
    def narrowed(self) -> float:
        """What is left of the spread: 1 nothing was learnt, 0 all is known."""
        return self.sd / self.prior_sd

    @property
    def moved(self) -> float:
        """How far the middle went, in spreads of the prior."""
        return abs(self.mean - self.prior_mean) / self.prior_sd


def said(fit: FleetFit | None, of: Mapping[str, float]) -> Said:
    """What is said of c'b. of: column of the wear model -> c, all other columns nought. Without a fit: as before."""
    c = np.zeros(len(prior.NAMES))
    for name, value in of.items():
        c[prior.NAMES.index(name)] = value
    prior_mean, prior_sd = float(c @ prior.MEAN), float(np.sqrt(((c * prior.SD) ** 2).sum()))
    if fit is None:
        return Said(prior_mean=prior_mean, prior_sd=prior_sd, mean=prior_mean, sd=prior_sd)
    mean, sd = (float(value[0]) for value in _of_b(fit, c[None]))
    return Said(prior_mean=prior_mean, prior_sd=prior_sd, mean=mean, sd=sd)
