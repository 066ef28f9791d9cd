"""Usual intervals where no record of the edge speaks: by the handbook alone, by the shop's fit, and with another build.

The usual interval is the median life of a fresh edge to dullness, eta (ln 2)^(1/k), in strokes in which the edge
cuts. Its band says where the usual interval of such an edge lies 8 times in 10; a single cycle varies more than that.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from . import prior
from .cycles import HITS_UNIT, EdgeSpec
from .fleet import FleetFit
from .predict import EdgePrediction

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
    x = prior.design_row(spec)
    mean = square = 0.0
    for weight, theta in fit.thetas():
        ln = x @ theta.b + np.log(np.log(2.0)) / theta.k
        mean += weight * ln
        square += weight * (ln**2 + theta.tu**2 + theta.tv**2)
    return _interval(mean, np.sqrt(max(square - mean**2, 0.0)))


def what_if(fit: FleetFit, before: EdgeSpec, after: EdgeSpec, known: EdgePrediction | None = None) -> WhatIf:
    """The usual interval with another steel, hardness, coating, gap or stock.

    known: the edge's own forecast, where it has one: what is its and its die's own is kept. Without, a new edge of a
    new die. The change itself is what the wear model says after this shop's record.
    """
    step = prior.design_row(replace(after, die=before.die)) - prior.design_row(before)
    changes = np.array([step @ theta.b for _, theta in fit.thetas()])
    weights = np.array([weight for weight, _ in fit.thetas()])
    mean = float(weights @ changes)
    sd = float(np.sqrt(max(weights @ changes**2 - mean**2, 0.0)))
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
