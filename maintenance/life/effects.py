"""What makes edges go dull sooner or later than their build leads to expect: many causes told apart at once.

Of each group of cycles that share all their causes: events, how often an edge went dull in it, and exposure, how often
it should have by the wear model. With a term for every cause,
    events ~ Poisson(exposure * exp(X b)),   b_j ~ N(0, sd_j^2),
which is the likelihood of proportional hazards with a known hazard: of a cycle that ends dull at h, H(h) is a unit
exponential, of one cut short it is censored there, and both have the kernel e^(xb d) exp(-H e^(xb)).
N. Breslow, Covariance analysis of censored survival data, Biometrics 30 (1974) 89-99 (from memory); P. McCullagh,
J. A. Nelder, Generalized Linear Models, 2nd ed. 1989, section 13.3 (from memory). The top of the posterior comes by
Newton's steps, its spread by the curvature there. Terms of which little is seen stay at their priors: what two causes
share is told of neither.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import scipy  # its parts are loaded when they are first named, so that a start pays for none
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]
STEPS, STILL = 60, 1e-9
LARGEST_STEP = 2.0  # of any term, on the log scale


@dataclass(frozen=True, kw_only=True)
class Effects:
    """mean: [terms] ln of how many times as often edges go dull. curvature: what the covariance is solved from."""

    mean: Array
    curvature: Any

    def covariance(self, terms: ArrayLike) -> Array:
        """[n, n] of these terms."""
        at = np.atleast_1d(np.asarray(terms, np.int64))
        right = np.zeros((len(self.mean), len(at)))
        right[at, np.arange(len(at))] = 1.0
        solved = self.curvature.solve(right)[at] if len(at) else np.zeros((0, 0))
        return 0.5 * (solved + solved.T)

    def sd(self, terms: ArrayLike, *, at_once: int = 200) -> Array:
        """[n] of these terms, some at a time."""
        at = np.atleast_1d(np.asarray(terms, np.int64))
        parts = [np.diag(self.covariance(at[i : i + at_once])) for i in range(0, len(at), at_once)]
        return np.sqrt(np.concatenate(parts)) if parts else np.zeros(0)


def estimate(design: Any, events: ArrayLike, exposure: ArrayLike, sd: ArrayLike) -> Effects:
    """design: sparse [groups, terms]. events, exposure: [groups], nought or more. sd: [terms] of the priors, above 0.

    Raises ValueError where shapes do not fit, a figure is negative or not a number, or a spread is not above nought.
    """
    x = scipy.sparse.csr_array(design)
    y, e, s = (np.asarray(v, float) for v in (events, exposure, sd))
    if y.shape != e.shape or y.shape != (x.shape[0],) or s.shape != (x.shape[1],):
        raise ValueError(f"events {y.shape}, exposure {e.shape} and spreads {s.shape} do not fit a design of {x.shape}")
    if not (np.isfinite(y).all() and np.isfinite(e).all() and (y >= 0).all() and (e >= 0).all()):
        raise ValueError("events and exposure have to be figures of nought or more")
    if not (np.isfinite(s).all() and (s > 0).all()):
        raise ValueError("the spread of a prior has to be above nought")
    prior = 1.0 / s**2
    b = np.zeros(x.shape[1])
    height = _height(x, y, e, prior, b)
    for _ in range(STEPS):
        worn = e * np.exp(x @ b)
        slope = x.T @ (y - worn) - prior * b
        step = _curvature(x, worn, prior).solve(slope)
        step *= min(1.0, LARGEST_STEP / max(float(np.abs(step).max(initial=0.0)), 1e-300))
        for _ in range(30):  # the log posterior has one top: half a step where a whole one goes past it
            further = _height(x, y, e, prior, b + step)
            if further >= height - 1e-12 * abs(height):
                break
            step = step / 2
        b, height = b + step, further
        if np.abs(step).max(initial=0.0) < STILL:
            break
    return Effects(mean=b, curvature=_curvature(x, e * np.exp(x @ b), prior))


def _height(x: Any, y: Array, e: Array, prior: Array, b: Array) -> float:
    eta = x @ b
    return float(y @ eta - e @ np.exp(eta) - 0.5 * prior @ b**2)


def _curvature(x: Any, worn: Array, prior: Array) -> Any:
    full = x.T @ (scipy.sparse.diags_array(worn) @ x) + scipy.sparse.diags_array(prior)
    return scipy.sparse.linalg.splu(scipy.sparse.csc_array(full))
