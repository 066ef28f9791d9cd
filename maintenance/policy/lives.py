"""The chance that each edge of a die, and the first of them, lasts so many hits more. Chips are left out: see costs.py.

With H(x) the cumulated hazard of going dull within x further hits of the die, an edge is still sharp then with the
chance S(x) = exp(-H(x)), and no edge of the die is dull with D(x) = exp(-H_die(x)). Edges of a die share what is unsure
of the die and of its coil, so that H_die is less than the sum of the edges' H: that of a mixture of edges as they are
and freshly ground ones is read off the curve H_die against that sum, which the two known dies give.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]

LEAST, MOST = 1e-9, 60.0  # of H: below and above them nothing differs
LN_MOST = float(np.log(MOST))
POINTS = 64
GONE = 12.0  # H at which an edge is surely dull
NODES, WEIGHTS = np.polynomial.hermite_e.hermegauss(7)
WEIGHTS = WEIGHTS / WEIGHTS.sum()


class LivesRefused(ValueError):
    """The curves handed in are none; the message says why."""


@dataclass(frozen=True)
class Lives:
    """hits: [points] further hits of the die, more than nought and rising. ln_edges: [edges, points], ln_die: [points]
    ln of the cumulated hazard there. Between the points ln H goes in straight lines of ln hits, as a Weibull life
    does exactly; beyond them the end pieces go on."""

    hits: Array
    ln_edges: Array
    ln_die: Array

    @classmethod
    def of(cls, hits: ArrayLike, edges: ArrayLike, die: ArrayLike | None = None) -> Lives:
        """edges: [edges, points] cumulated hazards at `hits` [points]. die: [points]; None: the edges are independent,
        and their sum is taken. Raises LivesRefused for hits that do not rise from above nought, for hazards that fall
        or are no numbers, and for none at all."""
        x, h = np.asarray(hits, float), np.atleast_2d(np.asarray(edges, float))
        if x.ndim != 1 or len(x) < 2 or h.shape[1:] != x.shape or not len(h):
            raise LivesRefused(f"{h.shape[0]} edges at {x.size} hits; at least one edge and two hits are needed.")
        total = h.sum(axis=0) if die is None else np.asarray(die, float)
        if not (np.isfinite(x).all() and x[0] > 0 and (np.diff(x) > 0).all()):
            raise LivesRefused("the hits of a curve have to rise from above nought.")
        if total.shape != x.shape or not (np.isfinite(h).all() and np.isfinite(total).all()):
            raise LivesRefused("a cumulated hazard is not a number.")
        if (np.diff(h, axis=1) < -1e-9).any() or (np.diff(total) < -1e-9).any() or (h < -1e-9).any():
            raise LivesRefused("a cumulated hazard falls; an edge that is dull stays so.")
        return cls(x, _ln(h), _ln(total))

    @classmethod
    def of_levels(
        cls,
        levels: Sequence[float],
        edges: ArrayLike,
        die: ArrayLike | None,
        *,
        chip_rate: ArrayLike = 0.0,
    ) -> Lives:
        """From a forecast as it is stored: hits before which an edge goes dull or chips with given chances.

        levels: [levels] rising chances between 0 and 1. edges: [edges, levels], die: [levels] hits. chip_rate: [edges]
        chips a hit, which are taken off: H(x) = -ln(1 - p) - chip_rate x.
        """
        p, at = np.asarray(levels, float), np.maximum(np.atleast_2d(np.asarray(edges, float)), 0.5)
        if p.ndim != 1 or at.shape[1:] != p.shape or not ((p > 0) & (p < 1)).all() or (np.diff(p) <= 0).any():
            raise LivesRefused("a stored forecast holds hits at rising chances between 0 and 1.")
        rate = np.broadcast_to(np.asarray(chip_rate, float), (len(at),))
        ln_h = np.log(-np.log1p(-p))
        whole = None if die is None else np.maximum(np.asarray(die, float), 0.5)
        every = at if whole is None else np.vstack([at, whole])
        x = np.geomspace(max(every.min() / 4, 0.25), every.max() * 1.5, POINTS)
        found = np.array([_through(np.log(x), np.log(row), ln_h) for row in every])
        hazard = np.exp(np.minimum(found, LN_MOST)) - np.r_[rate, [] if whole is None else [rate.sum()]][:, None] * x
        hazard = np.maximum.accumulate(np.maximum(hazard, LEAST * x / x[-1]), axis=1)
        return cls.of(x, hazard[: len(at)], None if whole is None else hazard[-1])

    @classmethod
    def of_weibull(
        cls, shape: float, scale_hits: ArrayLike, on_it_hits: ArrayLike = 0.0, *, ln_sd: ArrayLike = 0.0
    ) -> Lives:
        """Weibull edges, H(x) = ((h + x) / eta)^k - (h / eta)^k. scale_hits: [edges] eta, on_it_hits: [edges] h.
        ln_sd: [edges] how unsure ln eta is, mixed over seven nodes of a normal curve, given that the edge is sharp now.
        """
        eta = np.atleast_1d(np.asarray(scale_hits, float))
        h = np.broadcast_to(np.asarray(on_it_hits, float), eta.shape)
        sd = np.broadcast_to(np.asarray(ln_sd, float), eta.shape)
        if not (shape > 0 and (eta > 0).all() and (h >= 0).all()):
            raise LivesRefused(f"a shape of {shape:g}, usual hits of {eta.min():g}; both have to be above nought.")
        far = float((eta * np.exp(3 * sd)).max() * GONE ** (1 / shape))
        x = np.geomspace(min(1e-4 * float(eta.min()), far / 2), far, POINTS)
        nodes, weights = (NODES, WEIGHTS) if sd.any() else (np.zeros(1), np.ones(1))
        scale = (eta * np.exp(sd * nodes[:, None]))[:, :, None]  # [nodes, edges, 1]
        ran = (h[:, None] / scale) ** shape
        more = ((h[:, None] + x) / scale) ** shape - ran
        now = weights[:, None, None] * np.exp(-ran)
        now = now / now.sum(axis=0)
        least = more.min(axis=0)
        mixed = least - np.log((now * np.exp(np.maximum(least - more, -700.0))).sum(axis=0))
        return cls.of(x, np.maximum.accumulate(np.maximum(mixed, 0.0), axis=1))

    @property
    def count(self) -> int:
        """How many edges."""
        return len(self.ln_edges)

    def edges(self, x: ArrayLike) -> Array:
        """H of each edge within x [n] hits more, [edges, n]."""
        return self._read(self.ln_edges, np.atleast_1d(np.asarray(x, float)))

    def die(self, x: ArrayLike) -> Array:
        """H of the first dull edge of the die within x [n] hits more, [n]."""
        return self._read(self.ln_die[None], np.atleast_1d(np.asarray(x, float)))[0]

    def _read(self, ln_h: Array, x: Array) -> Array:
        at = np.log(np.maximum(x, 1e-300))
        ln_x = np.log(self.hits)
        i = np.minimum(np.maximum(np.searchsorted(ln_x, at), 1), len(ln_x) - 1)
        part = (at - ln_x[i - 1]) / (ln_x[i] - ln_x[i - 1])
        before = ln_h[:, i - 1]
        found = np.exp(np.minimum(before + part * (ln_h[:, i] - before), LN_MOST))
        found[:, x <= 0] = 0.0
        return found

    def after(self, hits: float) -> Lives:
        """The same die after so many hits more in which no edge went dull: H(x + hits) - H(hits)."""
        if hits <= 0:
            return self
        x = np.geomspace(self.hits[0], max(self.hits[-1] - hits, self.hits[-1] / 4, self.hits[0] * 2), POINTS)
        at = np.r_[hits, x + hits]
        e, d = self.edges(at), self.die(at)
        return Lives.of(x, np.maximum.accumulate(e[:, 1:] - e[:, :1], axis=1), np.maximum.accumulate(d[1:] - d[0]))

    def scaled(self, by: float) -> Lives:
        """Every edge lasts `by` times as many hits."""
        return Lives(self.hits * by, self.ln_edges, self.ln_die)

    def pick(self, edge: int) -> Lives:
        """One edge as a die of its own."""
        return Lives(self.hits, self.ln_edges[edge : edge + 1], self.ln_edges[edge])

    def far(self) -> float:
        """Hits within which some edge of the die is surely dull: H_die = 12."""
        ln_x, wanted = np.log(self.hits), np.log(GONE)
        rising = np.r_[True, np.diff(np.maximum.accumulate(self.ln_die)) > 1e-12]
        return float(np.exp(min(_through(np.array([wanted]), self.ln_die[rising], ln_x[rising])[0], ln_x[-1] + 3.0)))


def mixture(now: Lives, fresh: Lives, ground: Mask) -> Lives:
    """The die once the edges in `ground` [edges] were ground and the others left as they are."""
    if now.count != fresh.count or ground.shape != (now.count,):
        raise LivesRefused(f"{now.count} edges now and {fresh.count} once ground, and {ground.size} choices.")
    if ground.all():
        return fresh
    if not ground.any():
        return now
    x = np.geomspace(min(now.hits[0], fresh.hits[0]), max(now.hits[-1], fresh.hits[-1]), 2 * POINTS)
    h_now, h_fresh = now.edges(x), fresh.edges(x)
    mixed = np.where(ground[:, None], h_fresh, h_now)
    total = mixed.sum(axis=0)
    known = (h_now, now.die(x)), (h_fresh, fresh.die(x))
    whole = [np.log(np.minimum(_map(h.sum(axis=0), die, total), total)) for h, die in known]
    of_die = np.maximum.accumulate(np.maximum(np.exp(np.mean(whole, axis=0)), mixed.max(axis=0)))
    return Lives.of(x, mixed, of_die)


def _map(sums: Array, die: Array, at: Array) -> Array:
    """H of a die at other sums of its edges' H, by what it is at these."""
    x, y = _ln(sums), _ln(die)
    keep = np.r_[True, np.diff(np.maximum.accumulate(x)) > 1e-12]
    return np.exp(np.minimum(_through(_ln(at), x[keep], np.maximum.accumulate(y[keep])), LN_MOST))


def _ln(h: Array) -> Array:
    return np.log(np.clip(h, 1e-300, 1e30))


def _through(at: Array, x: Array, y: Array) -> Array:
    """Straight lines between (x, y); the end pieces go on. Points at one x: the first of them."""
    keep = np.r_[True, np.diff(np.maximum.accumulate(x)) > 1e-12]
    x, y = x[keep], y[keep]
    if len(x) < 2:
        return np.full(len(at), y[0])
    i = np.clip(np.searchsorted(x, at), 1, len(x) - 1)
    return y[i - 1] + (at - x[i - 1]) * (y[i] - y[i - 1]) / (x[i] - x[i - 1])
