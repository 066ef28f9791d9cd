"""Lots that a cycle shares with others: a cycle spans several coils and orders, each wearing at a rate of its own.

Wear of edge e in a cycle that made h_g hits in lot g: X = sum over g of h_g e^{w_g}, w_g ~ N(0, sw^2) shared by all
edges that cut it; S = exp(-(X e^{-m})^k). With p_g = h_g / h the shares of a stretch, X = h e^W,
    W = ln sum over g of p_g e^{w_g}, about b + sum over g of a_g w_g,  a_g = p_g e^{v_g} / sum of the same,
v the middle of what is known of w (with half the variance that the bend of the logarithm takes). What the edges of a
stretch tell of its W is taken for a normal curve, N(nu / tau, 1 / tau) (its site); the lots of a die are then jointly
normal given all of them, with precision
    I / sw^2 + sum over stretches of tau a a' - slope (diag(a) - a a'),
the last part for the bend of W in w: without it lots by 0.45 came out at 0.75.
The cavity of a stretch, what all others tell of its W, is that without its own site; from cavity and the edges' exact
likelihood at nodes of W the site is told anew (expectation propagation; T. Minka, Uncertainty in AI 17 (2001) 362-369,
from memory). Cycles that ran in one lot only, all of a lot alike, need none of this: their cavity is N(0, sw^2).
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
USUAL_SHAPE = 2.5
STEP = 1.5  # sw that a lot moves at once, at most
FARTHEST = 0.3  # that ln sw moves at once
DOUBTFUL, SURE_FROM = 0.15, 3.0
CAVITY = 4.0  # sw from nought to the middle of a cavity, at most
LEAST, BEND_AT_MOST = 0.2, 0.5  # of the prior's precision is left of a lot's, whatever is told of it


@dataclass(frozen=True)
class Web:
    """Stretches sorted by die. die: int[stretches]; lot_die, lot_name: int[lots] die and number of each lot, sorted;
    first: int[stretches + 1] where the parts of each begin; lot, share: [parts], in order of time; pull: [stretches] by
    how much its dull ends came in its last lot: see `pull_of`."""

    die: NDArray[np.int64]
    lot_die: NDArray[np.int64]
    lot_name: NDArray[np.int64]
    first: NDArray[np.int64]
    lot: NDArray[np.int64]
    share: Array
    pull: Array

    @cached_property
    def woven(self) -> bool:
        """Whether any stretch has several lots, or a lot several stretches."""
        return bool((np.diff(self.first) > 1).any() or (np.bincount(self.lot, minlength=1) > 1).any())

    @cached_property
    def _row(self) -> NDArray[np.int64]:
        return np.repeat(np.arange(len(self.die)), np.diff(self.first))

    @cached_property
    def dies(self) -> list[tuple[slice, slice, slice]]:
        """Stretches, parts and lots of each die."""
        names = np.unique(self.die)
        ends = [np.searchsorted(self.die, names, side) for side in ("left", "right")]
        lots = [np.searchsorted(self.lot_die, names, side) for side in ("left", "right")]
        return [
            (slice(i, j), slice(self.first[i], self.first[j]), slice(g, h))
            for i, j, g, h in zip(*ends, *lots, strict=True)
        ]

    def lines(self, w: Array, v: Array) -> tuple[Array, Array]:
        """a [parts] and b [stretches] of W = b + a'w about lots with means w and variances v."""
        n, row = len(self.die), self._row
        rate = self.share * np.exp(w[self.lot])
        total = np.where(np.diff(self.first) > 0, np.bincount(row, rate, n), 1.0)  # nothing cut yet: of no lot
        a = rate / total[row]
        bend = 0.5 * (np.bincount(row, a * v[self.lot], n) - np.bincount(row, a * a * v[self.lot], n))
        return a, np.log(total) - np.bincount(row, a * w[self.lot], n) + bend


def pull_of(lower: Array, hits: Array, last: Array) -> Array:
    """How much harder a dull end pulls at the lot in which it came than at the cycle's mean rate.

    An edge found dull wore X in all and was sharp at X - s e^{w_last}, s the hits since the look before. With the whole
    cycle at its mean rate the chance of that goes as e^{kW}; so ln of it lacks psi (w_last - W), with r = lower / hits
        psi = k r^{k-1} (1 - r) / (1 - r^k),
    one where looks are close, nought where the first look finds it; taken at the usual shape, and by the part of s that
    lay in the last lot. Without it lots by 0.45 came out at 0.51, and the shape at 3.25 for 3.
    """
    r = np.minimum(lower / np.maximum(hits, 1e-12), 1 - 1e-6)
    psi = USUAL_SHAPE * r ** (USUAL_SHAPE - 1) * (1 - r) / (1 - r**USUAL_SHAPE)
    return psi * np.minimum(last / np.maximum(hits - lower, 1e-12), 1.0)


@dataclass(frozen=True)
class Sites:
    """tau, nu, slope: [stretches], the last the slope of what the edges tell of W, where it is now thought to be;
    w, v: [lots] mean and variance of the lots, about which W is a straight line."""

    tau: Array
    nu: Array
    slope: Array
    w: Array
    v: Array

    @classmethod
    def none(cls, web: Web, sw: float) -> Sites:
        n, lots = len(web.die), len(web.lot_die)
        return cls(np.zeros(n), np.zeros(n), np.zeros(n), np.zeros(lots), np.full(lots, sw**2))

    def between(self, before: Sites, part: float) -> Sites:
        """So much of these, the rest of those before."""

        def mixed(name: str) -> Array:
            return part * getattr(self, name) + (1 - part) * getattr(before, name)

        return Sites(mixed("tau"), mixed("nu"), mixed("slope"), self.w, self.v)


@dataclass(frozen=True)
class Joint:
    """mean, variance: [stretches] of W given all; w, v: [lots]; covariance: of the lots of each die of the web."""

    mean: Array
    variance: Array
    w: Array
    v: Array
    covariance: tuple[Array, ...]
    learnt: float  # trace of the square of what is known of the lots, in parts: half of Fisher's information on ln sw

    def cavity(self, sites: Sites, sw: float) -> tuple[Array, Array]:
        """Mean and variance of W of each stretch by all others.

        Where nearly all that is known of W is the stretch's own, the difference of two large numbers is left: unbounded
        it ran off to 4e8 within a few rounds, and the spread of the dies with it to ten times the true one.
        """
        precision = np.maximum(1 / self.variance - sites.tau, LEAST / sw**2)
        mean = (self.mean / self.variance - sites.nu) / precision
        return np.clip(mean, -CAVITY * sw, CAVITY * sw), 1 / precision


def solve(web: Web, sites: Sites, sw: float, *, keep: bool = False) -> Joint:
    """The lots of each die given the sites. keep: their covariances too."""
    mean, variance = np.empty(len(web.die)), np.empty(len(web.die))
    w, v = np.empty(len(web.lot_die)), np.empty(len(web.lot_die))
    kept: list[Array] = []
    learnt = 0.0
    for stretches, lots, dense, told, precision, b in _by_die(web, sites, sw):
        precision[np.diag_indices_from(precision)] += 1 / sw**2
        covariance = np.linalg.inv(precision)
        w[lots] = sites.w[lots] + np.clip(covariance @ told - sites.w[lots], -STEP * sw, STEP * sw)
        v[lots] = np.diag(covariance)
        mean[stretches] = b + dense @ w[lots]
        variance[stretches] = np.maximum(((dense @ covariance) * dense).sum(axis=1), 1e-8)
        learnt += ((np.eye(len(covariance)) - covariance / sw**2) ** 2).sum()
        if keep:
            kept.append(np.asarray(covariance, float))
    return Joint(mean, variance, w, v, tuple(kept), float(learnt))


def _by_die(web: Web, sites: Sites, sw: float) -> Iterator[tuple[slice, slice, Array, Array, Array, Array]]:
    """Of each die: its stretches, lots, a as a matrix, the right side and the precision without the prior's, b."""
    a, b = web.lines(sites.w, sites.v)
    row, n = web._row, len(web.die)
    # Where much speaks for harder lots the bend is held back, so that the precision stays above half the prior's.
    up = np.bincount(web.lot, a * np.maximum(sites.slope, 0.0)[row], len(web.lot_die))
    most = np.ones(n)
    np.minimum.at(most, row, (BEND_AT_MOST / sw**2 / np.maximum(up, 1e-300))[web.lot])
    slope = np.where(sites.slope > 0, most, 1.0) * sites.slope
    tau = sites.tau + slope
    told = sites.nu - sites.tau * b
    flat = -np.bincount(web.lot, a * slope[row], len(web.lot_die))
    pulled = np.bincount(web.lot[web.first[1:][web.pull > 0] - 1], web.pull[web.pull > 0], len(web.lot_die))
    bent = slope * np.bincount(row, a * sites.w[web.lot], n)
    for stretches, parts, lots in web.dies:
        dense = np.zeros((stretches.stop - stretches.start, lots.stop - lots.start))
        dense[web._row[parts] - stretches.start, web.lot[parts] - lots.start] = a[parts]
        precision = (dense.T * tau[stretches]) @ dense
        precision[np.diag_indices_from(precision)] += flat[lots]
        right = (told + bent - web.pull)[stretches] @ dense + flat[lots] * sites.w[lots] + pulled[lots]
        yield stretches, lots, dense, right, precision, b[stretches]


def better_sw(web: Web, sites: Sites, sw: float, half_normal: float) -> float:
    """A step of Fisher's scoring towards the spread of lots with the greatest posterior, at most by a third.

    The slope of ln of the integral over the lots in ln sw is sum of (E[w^2] / sw^2 - 1). (The integral itself, by the
    sites, holds only close to the spread at which they were told: maximised over wide ranges it ran off.) A small
    spread is taken for nought where that slope is not three of its standard errors up: on shops whose lots were alike
    it came out at 0.16 else, with 1.1 to 2.6 of them, and at 10 or more where lots differed by 20 %.
    """
    joint = solve(web, sites, sw)
    sure = np.sqrt(2 * joint.learnt)
    slope = ((joint.w**2 + joint.v) / sw**2 - 1).sum() - (sw / half_normal) ** 2
    if sw < DOUBTFUL and slope < SURE_FROM * sure:
        return 0.0
    return float(sw * np.exp(np.clip(slope / max(sure**2, 1.0), -FARTHEST, FARTHEST)))
