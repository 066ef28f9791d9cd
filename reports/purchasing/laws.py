"""Laws of an interval: how likely it has ended after x further strokes of the die."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import ArrayLike, NDArray


class LawRefused(ValueError):
    """An interval that cannot be; the message carries the numbers."""


class IntervalLaw(Protocol):
    def ended(self, hits: ArrayLike) -> NDArray[np.float64]:
        """The chance that it has ended after that many strokes: 0 at 0, never falling, at most 1."""
        ...


@dataclass(frozen=True, kw_only=True)
class WeibullLaw:
    """S(h) = exp(-(h / eta)^k), from an edge that has already gone `hits_on` strokes and is still sharp:

    ended(x) = 1 - exp(-(((h + x) / eta)^k - (h / eta)^k)).
    """

    eta_hits: float
    shape: float
    hits_on: float = 0.0

    def __post_init__(self) -> None:
        for name in ("eta_hits", "shape"):
            value = getattr(self, name)
            if not (np.isfinite(value) and value > 0):
                raise LawRefused(f"{name} of a life is {value:g}; it must lie above nought.")
        if not (np.isfinite(self.hits_on) and self.hits_on >= 0):
            raise LawRefused(f"the edge has {self.hits_on:g} hits on it; it must be nought or more.")

    @classmethod
    def with_median(cls, median_hits: float, shape: float, *, hits_on: float = 0.0) -> WeibullLaw:
        """eta = median / (ln 2)^(1/k)."""
        if not shape > 0:
            raise LawRefused(f"the shape of a life is {shape:g}; it must lie above nought.")
        return cls(eta_hits=median_hits / np.log(2) ** (1 / shape), shape=shape, hits_on=hits_on)

    def ended(self, hits: ArrayLike) -> NDArray[np.float64]:
        x = np.maximum(np.asarray(hits, float), 0.0)
        with np.errstate(over="ignore"):
            gone = ((self.hits_on + x) / self.eta_hits) ** self.shape - (self.hits_on / self.eta_hits) ** self.shape
        return -np.expm1(-np.maximum(gone, 0.0))  # rounding may leave the difference a hair below nought

    def lasting(self, chance: ArrayLike) -> NDArray[np.float64]:
        """The strokes before which it has ended with that chance, 0 to below 1: `ended`, turned round."""
        gone = (self.hits_on / self.eta_hits) ** self.shape - np.log1p(-np.asarray(chance, float))
        return self.eta_hits * gone ** (1 / self.shape) - self.hits_on

    @property
    def mean_hits(self) -> float:
        """Of a fresh interval: eta times gamma(1 + 1 / k)."""
        return self.eta_hits * math.gamma(1 + 1 / self.shape)


@dataclass(frozen=True)
class StoredLaw:
    """From a stored forecast: chances, and the strokes before which it ends with them, both ascending.

    Between the stored points the logarithm of (1 + strokes) is interpolated, as everywhere a stored forecast is read;
    below the first one the chance falls in proportion to the strokes, beyond the last one it stays.
    """

    chances: tuple[float, ...]
    hits: tuple[float, ...]

    @classmethod
    def of(cls, remaining: Mapping[str, float]) -> StoredLaw:
        """remaining: chance -> strokes. Raises LawRefused where nothing is stored or it is not a law."""
        pairs = sorted((float(p), float(h)) for p, h in remaining.items())
        if not pairs:
            raise LawRefused("no forecast is stored.")
        p, h = np.array([p for p, _ in pairs]), np.array([h for _, h in pairs])
        if not (np.isfinite(p).all() and np.isfinite(h).all()):
            raise LawRefused("a stored forecast holds what is not a number.")
        if p[0] <= 0 or p[-1] >= 1 or h[0] < 0 or (np.diff(p) <= 0).any() or (np.diff(h) < 0).any():
            raise LawRefused("a stored forecast must have chances between 0 and 1 and strokes that never fall.")
        return cls(tuple(p.tolist()), tuple(h.tolist()))

    def ended(self, hits: ArrayLike) -> NDArray[np.float64]:
        x = np.maximum(np.asarray(hits, float), 0.0)
        first_p, first_h = self.chances[0], self.hits[0]
        inside = np.interp(np.log1p(x), np.log1p(self.hits), self.chances)
        before = first_p * x / first_h if first_h > 0 else np.zeros_like(x)
        # where several chances share one count of strokes the highest holds from there on
        inside = np.where(x >= self.hits[-1], self.chances[-1], inside)
        return np.where((x < first_h) | (x <= 0), before, inside)

    def lasting(self, chance: ArrayLike) -> NDArray[np.float64]:
        """The strokes before which it has ended with that chance; beyond the last chance stored: inf, not in sight."""
        p = np.asarray(chance, float)
        first_p, first_h = self.chances[0], self.hits[0]
        inside = np.expm1(np.interp(p, self.chances, np.log1p(self.hits)))
        return np.where(p > self.chances[-1], np.inf, np.where(p < first_p, p / first_p * first_h, inside))


def gone_on(remaining: Mapping[str, float], strokes: float) -> dict[str, float]:
    """A stored forecast so many strokes later, where it has not ended: at p what lay at F + p (1 - F), less the
    strokes, F the chance of having ended by now. Chances that lie beyond the last one stored are left out; where none
    is left, it ends at once. Raises LawRefused as `StoredLaw.of` does."""
    law = StoredLaw.of(remaining)
    ended = float(law.ended(strokes))
    chances = [p for p in law.chances if ended + p * (1 - ended) <= law.chances[-1]]
    if not chances:
        return {f"{law.chances[-1]:g}": 0.0}
    at = law.lasting([ended + p * (1 - ended) for p in chances])
    left = np.maximum.accumulate(np.maximum(at - strokes, 0.0))
    return {f"{p:g}": float(hits) for p, hits in zip(chances, left, strict=True)}


@dataclass(frozen=True)
class _First:
    laws: tuple[IntervalLaw, ...]

    def ended(self, hits: ArrayLike) -> NDArray[np.float64]:
        lasting = np.ones_like(np.asarray(hits, float))
        for law in self.laws:
            lasting = lasting * (1 - law.ended(hits))
        return 1 - lasting


@dataclass(frozen=True)
class _Mixed:
    laws: tuple[IntervalLaw, ...]
    weights: tuple[float, ...]

    def ended(self, hits: ArrayLike) -> NDArray[np.float64]:
        ended = np.zeros_like(np.asarray(hits, float))
        for w, law in zip(self.weights, self.laws, strict=True):
            ended = ended + w * law.ended(hits)
        return ended


def first_of(laws: Sequence[IntervalLaw]) -> IntervalLaw:
    """The first of several independent ones: 1 - prod (1 - ended).

    Limits: only for laws within one world; the edges of a die share what nobody knows of the die, so that multiplying
    their forecasts makes the first end come too soon.
    """
    if not laws:
        raise LawRefused("there is nothing that could end.")
    return _First(tuple(laws))


def mixed(laws: Sequence[IntervalLaw], weights: Sequence[float]) -> IntervalLaw:
    """One of several, with these weights (any unit)."""
    w = np.asarray(weights, float)
    if len(laws) != len(w) or not len(w) or not np.isfinite(w).all() or (w < 0).any() or w.sum() <= 0:
        raise LawRefused(f"{len(laws)} laws with the weights {w.tolist()}.")
    return _Mixed(tuple(laws), tuple((w / w.sum()).tolist()))


def middle_of(law: IntervalLaw, *, furthest: float = 1e10) -> float:
    """The strokes by which it has ended as often as not; `furthest` where it has not even then. By halving."""
    low, high = 0.0, furthest
    if float(law.ended(furthest)) < 0.5:
        return furthest
    for _ in range(80):
        half = (low + high) / 2
        low, high = (low, half) if float(law.ended(half)) >= 0.5 else (half, high)
    return high
