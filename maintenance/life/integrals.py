"""Cycles with readings: the readings say ln T ~ N(y; told, sd^2) of the whole life T; the cycle was still sharp at h.

With v = m - w and f(y | v) = k exp(k (y - v) - e^{k (y - v)}) the density of ln T for a Weibull life, the likelihood is
    integral from ln h of f(y | v) N(y; told, sd^2) dy  over  S(from),
and the chance of going x further is the ratio of two such integrals.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from .cycles import HITS_UNIT

Array = NDArray[np.float64]
PARTS, WEIGHTS = np.polynomial.legendre.leggauss(12)
PARTS, WEIGHTS = (PARTS + 1) / 2, WEIGHTS / 2
REACH = 5.0  # sd of what the readings say, to either side
LINE_POINTS = 48
TAIL_POINTS = 64
FARTHEST = 30.0  # sd by which the readings may say that it should have gone dull long ago


@dataclass(frozen=True)
class Lines:
    """The integral of each row on an even grid of v, to be read by straight lines."""

    low: Array
    step: Array
    values: Array

    def at(self, rows: slice, v: Array) -> Array:
        place = np.clip((v - self.low[rows, None]) / self.step[rows, None], 0.0, LINE_POINTS - 1.000001)
        i = place.astype(np.int64)
        values = self.values[rows]
        number = np.arange(len(values))[:, None]
        left = values[number, i]
        return left + (place - i) * (values[number, i + 1] - left)


@dataclass(frozen=True)
class Told:
    """told, sd: [rows] of ln life in 100,000 hits; ln_h: ln of the hits it had; start: hits when its record began."""

    told: Array
    sd: Array
    ln_h: Array
    start: Array

    @classmethod
    def of(cls, told: Array, sd: Array, hits: Array, start: Array) -> Told:
        """told: of ln life in hits, as in LifeSamples; hits, start in 100,000."""
        return cls(told - np.log(HITS_UNIT), np.maximum(sd, 1e-3), np.log(np.maximum(hits, 1e-9)), start)

    def __len__(self) -> int:
        return len(self.told)

    def pick(self, rows: NDArray[np.int64] | NDArray[np.bool_]) -> Told:
        return Told(self.told[rows], self.sd[rows], self.ln_h[rows], self.start[rows])

    def log(self, v: Array, k: float) -> Array:
        """ln of the integral, less what does not depend on v; v: [rows, ...]."""
        low = np.maximum(self.ln_h, self.told - REACH * self.sd)
        high = np.maximum(self.told + REACH * self.sd, low + np.minimum(1.0, REACH * self.sd))
        y = low[:, None] + (high - low)[:, None] * PARTS
        ln_weight = np.log((high - low)[:, None] * WEIGHTS) - 0.5 * ((y - self.told[:, None]) / self.sd[:, None]) ** 2
        extra = (slice(None),) + (None,) * (np.ndim(v) - 1)
        top = np.full(np.shape(v), -np.inf)
        total = np.zeros(np.shape(v))
        for q in range(len(WEIGHTS)):
            s = k * (y[:, q][extra] - v)
            log = s - np.exp(np.minimum(s, 500.0)) + ln_weight[:, q][extra]
            new = np.maximum(top, log)
            total = total * np.exp(top - new) + np.exp(log - new)
            top = new
        return top + np.log(total) + np.log(k) + self.start[extra] ** k * np.exp(np.minimum(-k * v, 500.0))

    def lines(self, low: Array, high: Array, k: float) -> Lines:
        step = np.maximum((high - low) / (LINE_POINTS - 1), 1e-9)
        return Lines(low, step, self.log(low[:, None] + step[:, None] * np.arange(LINE_POINTS), k))


def tails(told: float, sd: float, hits: float, run: Array, v: Array, k: float) -> Array:
    """Integral from ln run of f N dy for one cycle, but for a factor.

    run: [..., x] hits in 100,000, rising from `hits`; v: [...], of which the last axes are those of run. Returns
    [..., x]. Trapezoid on an even grid of y over where the product lives.
    """
    ln_h = np.log(max(hits, 1e-9))
    centre = max(told, ln_h)
    y = np.linspace(ln_h, max(centre + 6 * sd, ln_h + 1.0), TAIL_POINTS)
    s = k * (y - v[..., None])
    log = s - np.exp(np.minimum(s, 500.0)) - 0.5 * ((y - told) / sd) ** 2
    log -= max(float(log.max()), -1e300)
    value = np.exp(log)
    piece = (value[..., 1:] + value[..., :-1]) / 2 * (y[1] - y[0])
    tail = np.concatenate([np.cumsum(piece[..., ::-1], axis=-1)[..., ::-1], np.zeros((*v.shape, 1))], axis=-1)
    place = np.clip((np.log(np.maximum(run, 1e-9)) - ln_h) / (y[1] - y[0]), 0.0, TAIL_POINTS - 1.000001)
    i = place.astype(int)
    part = place - i
    i = np.broadcast_to(i, (*v.shape, i.shape[-1]))
    left = np.take_along_axis(tail, i, axis=-1)
    return left + part * (np.take_along_axis(tail, i + 1, axis=-1) - left)
