"""The interval of a die that nobody has built yet, from what the wear model says after the shop's record."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import scipy  # its parts are loaded when they are first named, so that a start pays for none
from numpy.typing import NDArray

from . import prior
from .cycles import HITS_UNIT, EdgeSpec, SampleRefused
from .fleet import FleetFit

Array = NDArray[np.float64]
WORLDS = 400
SEED = 20_262  # the same answer to the same question
MOST_EDGES = 2_000

Group = tuple[EdgeSpec, int]  # edges alike, and how many


def mean_intervals(fit: FleetFit, ways: Sequence[Sequence[Group]], *, worlds: int = WORLDS) -> Array:
    """float[ways, worlds]: mean strokes from a sharpening of the whole die to its first dull edge, of a new die.

    ways: of each way its groups of edges; group n of one way is group n of the other, built otherwise. In world w the
    wear model has constants b_w and shape k_w (`FleetFit.many`), the die its own part u_w ~ N(0, tu^2), and copy c of
    group g its own part v_gcw ~ N(0, tv^2); all of them are the same for every way, so that ways differ by what they
    are built of and by nothing else, and ways alike have the same intervals.
        ln eta = x'b + u + v;  first of all edges: scale = (sum of eta^-k)^(-1/k), mean = scale x Gamma(1 + 1/k).
    Limits: edges of one die are independent given u; strokes until dull, chips left aside; all ground together.
    Source: the least of Weibull lives of one shape is a Weibull life (W. Weibull 1951; from memory).
    Raises SampleRefused for no edge or too many.
    """
    if not ways or not all(ways):
        raise SampleRefused("A way of building has no cutting place.")
    counts = [sum(count for _, count in groups) for groups in ways]
    if max(counts) > MOST_EDGES:
        raise SampleRefused(f"{max(counts):,} edges in one die; up to {MOST_EDGES:,} can be reckoned.")
    b, k = fit.many(worlds)
    best = fit.best
    rng = np.random.default_rng(SEED)
    die = best.tu * rng.standard_normal(worlds)
    own: dict[tuple[int, int], Array] = {}
    rows = [(g, c) for g in range(max(map(len, ways))) for c in range(_most(ways, g))]
    for at in rows:
        own[at] = best.tv * rng.standard_normal(worlds)
    made = np.empty((len(ways), worlds))
    for n, groups in enumerate(ways):
        ln = prior.design([spec for spec, _ in groups]) @ b.T + die  # [groups, worlds]
        each = [ln[g] + own[g, c] for g, (_, count) in enumerate(groups) for c in range(count)]
        first = -np.logaddexp.reduce(-k * np.array(each), axis=0) / k
        made[n] = HITS_UNIT * np.exp(first + scipy.special.gammaln(1 + 1 / k))
    return made


def _most(ways: Sequence[Sequence[Group]], group: int) -> int:
    return max(groups[group][1] for groups in ways if group < len(groups))
