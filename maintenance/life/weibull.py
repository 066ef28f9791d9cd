"""One sample by itself: censored Weibull fit with limits, and the Kaplan-Meier curve. For people who look at one edge.

S(h) = exp(-(h / scale)^shape). The likelihood takes lives known exactly, to an interval, censored on the right, and
records that began in mid-life (left truncation): ln L = sum of ln f, ln (S(lower) - S(hits)), ln S, less ln S(from).
Limits are Wald's on the log scale. One sample with few dull ends gives shapes that are far too large: three dull ends
of five give a median of 4.2 where 2.5 is true; so the fleet's fit is what forecasts stand on.

W. Q. Meeker, L. A. Escobar, Statistical Methods for Reliability Data, Wiley 1998, chapters 3, 7, 8 and 11.
E. L. Kaplan, P. Meier, J. Am. Stat. Assoc. 53 (1958) 457-481.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import scipy  # its parts are loaded when they are first named, so that a start pays for none
from numpy.typing import NDArray

from .cycles import DULL, LifeSamples

Array = NDArray[np.float64]
Likelihood = Callable[[Array], tuple[float, Array]]  # minus its logarithm, and the slope of that
DULL_ENDS_NEEDED = 3
UNSETTLED = (
    10.0  # a standard error of a logarithm beyond this is a factor of 22,000 either way: the sample says nothing
)


class NotEnough(ValueError):
    """Too little for a fit by itself; the message carries the numbers."""


@dataclass(frozen=True, kw_only=True)
class WeibullFit:
    """scale_hits, shape: the estimate. covariance: of (ln scale, ln shape). log_likelihood in hits, constants
    included."""

    scale_hits: float
    shape: float
    covariance: Array
    log_likelihood: float
    dull_ends: int
    cycles: int

    @property
    def se_scale_hits(self) -> float:
        return self.scale_hits * float(np.sqrt(self.covariance[0, 0]))

    @property
    def se_shape(self) -> float:
        return self.shape * float(np.sqrt(self.covariance[1, 1]))

    @property
    def mean_hits(self) -> float:
        """scale Gamma(1 + 1 / shape)."""
        return self.scale_hits * float(scipy.special.gamma(1 + 1 / self.shape))

    def scale_limits(self, confidence: float = 0.95) -> tuple[float, float]:
        return _limits(self.scale_hits, np.sqrt(self.covariance[0, 0]), confidence)

    def shape_limits(self, confidence: float = 0.95) -> tuple[float, float]:
        return _limits(self.shape, np.sqrt(self.covariance[1, 1]), confidence)

    def hits_at(self, probability: float) -> float:
        """Hits before which an edge goes dull with that probability: scale (-ln(1 - p))^(1 / shape)."""
        return self.scale_hits * float(-np.log1p(-probability)) ** (1 / self.shape)

    def hits_limits(self, probability: float, confidence: float = 0.95) -> tuple[float, float]:
        """Wald's limits of hits_at on the log scale (delta method)."""
        slope = np.array([1.0, -np.log(-np.log1p(-probability)) / self.shape])
        return _limits(self.hits_at(probability), np.sqrt(slope @ self.covariance @ slope), confidence)


def fit_sample(samples: LifeSamples, *, dull_ends_needed: int = DULL_ENDS_NEEDED) -> WeibullFit:
    """Maximum likelihood over all rows as one sample, whichever edge they name.

    Raises NotEnough below dull_ends_needed dull ends, or where the likelihood has no top (all lives equal).
    """
    s = samples.pick(~samples.unknown_age)
    dull = s.ended == DULL
    if dull.sum() < dull_ends_needed:
        raise NotEnough(f"{dull.sum()} dull ends seen in {len(s)} intervals; {dull_ends_needed} are needed")
    unit = float(np.exp(np.mean(np.log(np.maximum(s.hits[dull], 1e-12)))))
    hits, lower, begun = s.hits / unit, s.lower_hits / unit, s.from_hits / unit
    exact = dull & (lower == hits)
    between = dull & ~exact
    if between.sum() == 0 and np.ptp(hits[dull]) < 1e-9 * hits[dull].max() and not (hits > hits[dull].max()).any():
        raise NotEnough(f"all {dull.sum()} dull ends came at {s.hits[dull][0]:g} hits: no spread to fit")
    with np.errstate(divide="ignore"):
        ln_hits, ln_lower, ln_begun = np.log(np.maximum(hits, 1e-300)), np.log(lower), np.log(begun)

    def minus_log_likelihood(z: Array) -> tuple[float, Array]:
        ln_scale, k = z[0], np.exp(z[1])
        if not -5 < z[1] < 7 or k * (ln_hits.max() - ln_scale) > 600.0:
            return 1e200, np.zeros(2)  # no scale so small can be meant
        e, low, start = (np.exp(k * (v - ln_scale)) for v in (ln_hits, ln_lower, ln_begun))
        value = start.sum() - e[~between].sum() - low[between].sum()
        value += (z[1] + (k - 1) * (ln_hits - ln_scale) - ln_scale)[exact].sum()
        value += np.log(-np.expm1(-np.maximum(e - low, 1e-300)[between])).sum()
        d_scale, d_shape = k * e, -e * k * (ln_hits - ln_scale)
        grad = np.zeros(2)
        grad[0] = d_scale[~between].sum() - exact.sum() * k
        grad[1] = d_shape[~between].sum() + (1 + k * (ln_hits - ln_scale))[exact].sum()
        grad[0] -= (k * start).sum()
        grad[1] += np.where(start > 0, start * k * (np.where(start > 0, ln_begun, 0) - ln_scale), 0).sum()
        if between.any():
            gap = np.maximum(e - low, 1e-300)[between]
            share = 1 / np.expm1(np.minimum(gap, 600.0))
            for v, ln_v, sign in ((e, ln_hits, 1.0), (low, ln_lower, -1.0)):
                dv_scale = -k * v[between]
                dv_shape = np.where(v[between] > 0, v[between] * k * (np.where(v > 0, ln_v, 0)[between] - ln_scale), 0)
                grad[0] += (sign * share * dv_scale).sum() - (dv_scale.sum() if sign < 0 else 0)
                grad[1] += (sign * share * dv_shape).sum() - (dv_shape.sum() if sign < 0 else 0)
        return -value, -grad

    z, hessian = _top(minus_log_likelihood)
    is_settled = -4 < z[1] < 6 and abs(z[0]) <= 30 and np.linalg.eigvalsh(hessian)[0] > 0
    covariance = np.full((2, 2), np.inf)
    if is_settled:
        covariance = np.asarray(np.linalg.inv(hessian), float)
    if not np.sqrt(np.diag(covariance)).max() <= UNSETTLED:
        raise NotEnough(f"{dull.sum()} dull ends in {len(s)} intervals do not settle a scale and a shape")
    return WeibullFit(
        scale_hits=float(np.exp(z[0]) * unit),
        shape=float(np.exp(z[1])),
        covariance=covariance,
        log_likelihood=float(-minus_log_likelihood(z)[0] - exact.sum() * np.log(unit)),
        dull_ends=int(dull.sum()),
        cycles=len(s),
    )


def _top(function: Likelihood) -> tuple[Array, Array]:
    """Where the likelihood is greatest: by its gradient, and where that loses its way, without it from three shapes."""
    found = scipy.optimize.minimize(
        function, [0.0, np.log(1.8)], jac=True, method="L-BFGS-B", bounds=[(-9, 9), (-4, 6)]
    )
    z, hessian = _settle(function, found.x)
    if np.linalg.eigvalsh(hessian)[0] > 0 and np.abs(function(z)[1]).max() < 1e-4:
        return z, hessian
    tries = [
        scipy.optimize.minimize(
            lambda z: function(z)[0], [0.0, np.log(shape)], method="Nelder-Mead",
            options={"xatol": 1e-6, "fatol": 1e-9, "maxiter": 600},
        )
        for shape in (1.5, 0.8, 4.0)
    ]  # fmt: skip
    return _settle(function, min(tries, key=lambda found: found.fun).x)


def _settle(function: Likelihood, z: Array) -> tuple[Array, Array]:
    """A few of Newton's steps on the gradient from where the optimiser stopped; the curvature there."""
    for _ in range(30):
        hessian = np.array([function(z + 1e-5 * e)[1] - function(z - 1e-5 * e)[1] for e in np.eye(2)]) / 2e-5
        hessian = (hessian + hessian.T) / 2
        value, gradient = function(z)
        if np.linalg.eigvalsh(hessian)[0] <= 0:
            break
        step = np.linalg.solve(hessian, gradient)
        size = 1.0
        while size > 1e-4 and not function(z - size * step)[0] <= value:
            size /= 2
        if size <= 1e-4 or np.abs(size * step).max() < 1e-9:
            break
        z = z - size * step
    return z, hessian


def least_scale(hits: Array, shape: float, confidence: float = 0.95) -> float:
    """With no dull end: the scale that the hits run show at least, for a shape taken as known.

    (sum h^k / -ln(1 - confidence))^(1 / k). W. Nelson, J. Quality Technology 17 (1985) 140-146 (from memory).
    """
    hits = np.asarray(hits, float)
    if not len(hits) or hits.max() <= 0:
        raise NotEnough("no hits run: nothing is shown")
    return float((np.sum(hits**shape) / -np.log(1 - confidence)) ** (1 / shape))


@dataclass(frozen=True)
class Survival:
    """Kaplan-Meier: hits at which edges went dull, rising; share still sharp after each; edges at risk; Greenwood's
    se."""

    hits: Array
    sharp: Array
    at_risk: NDArray[np.int64]
    se: Array

    def at(self, hits: float) -> float:
        i = int(np.searchsorted(self.hits, hits, side="right"))
        return 1.0 if i == 0 else float(self.sharp[i - 1])


def kaplan_meier(samples: LifeSamples) -> Survival:
    """Share still sharp by hits. Dull ends are taken at the look that found them; late entries join when seen."""
    s = samples.pick(~samples.unknown_age)
    dull = s.ended == DULL
    times = np.unique(s.hits[dull])
    at_risk = ((s.from_hits[None] < times[:, None]) & (s.hits[None] >= times[:, None])).sum(axis=1)
    gone = (s.hits[dull][None] == times[:, None]).sum(axis=1)
    sharp = np.cumprod(1 - gone / np.maximum(at_risk, 1))
    left = np.maximum(at_risk - gone, 0)
    with np.errstate(divide="ignore", invalid="ignore"):
        greenwood = np.cumsum(np.where(left > 0, gone / (at_risk * left), 0.0))
    return Survival(times, sharp, at_risk, sharp * np.sqrt(greenwood))


def _limits(value: float, se_log: float, confidence: float) -> tuple[float, float]:
    z = float(scipy.special.ndtri(0.5 + confidence / 2))
    return value * float(np.exp(-z * se_log)), value * float(np.exp(z * se_log))
