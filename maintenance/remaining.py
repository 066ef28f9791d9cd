"""PURE (numpy). Reading a stored forecast: further strokes by probability."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np


def _points(remaining: Mapping[str, float]) -> tuple[np.ndarray, np.ndarray]:
    pairs = sorted((float(p), float(h)) for p, h in remaining.items())
    return np.array([p for p, _ in pairs]), np.array([h for _, h in pairs])


def chance_of_going(remaining: Mapping[str, float], hits: float) -> float:
    """The chance that it goes at least `hits` further strokes.

    remaining: probability -> strokes before which it goes dull or chips with that probability, as stored.
    Between the stored probabilities the logarithm of the strokes is interpolated; below the first one the probability
    falls in proportion to the strokes; beyond the last one it stays.
    Raises ValueError where nothing is stored.
    """
    if not remaining:
        raise ValueError("no forecast is stored")
    if hits <= 0:
        return 1.0
    p, h = _points(remaining)
    if hits <= h[0]:
        return float(1 - p[0] * hits / h[0])
    return float(1 - np.interp(np.log1p(hits), np.log1p(h), p))


def strokes_at(remaining: Mapping[str, float], probability: float) -> float:
    """The strokes before which it goes dull or chips with that probability."""
    if not remaining:
        raise ValueError("no forecast is stored")
    p, h = _points(remaining)
    return float(np.expm1(np.interp(probability, p, np.log1p(h))))
