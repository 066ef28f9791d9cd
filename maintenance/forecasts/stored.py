"""PURE. Reading a stored forecast: further strokes by probability."""

from __future__ import annotations

import math
from bisect import bisect_right
from collections.abc import Mapping


def _points(remaining: Mapping[str, float]) -> list[tuple[float, float]]:
    return sorted((float(p), float(h)) for p, h in remaining.items())


def _between(x: float, points: list[tuple[float, float]]) -> float:
    """y at x on the straight lines between points (x, y) in rising order; beyond the ends it stays.

    A dozen points are read for each of a thousand dies at once, where arrays cost more than they save.
    """
    n = bisect_right(points, x, key=lambda point: point[0])
    if n == 0 or n == len(points):
        return points[max(n - 1, 0)][1]
    (x0, y0), (x1, y1) = points[n - 1], points[n]
    return y0 + (y1 - y0) * (x - x0) / (x1 - x0)


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
    # A list of a thousand dies asks each of them this: the neighbours are looked for without putting all in order.
    low, high = -1.0, math.inf
    below, above = -1.0, 2.0  # beyond any chance: none was seen on that side
    for key, h in remaining.items():
        if h <= hits:
            if h > low or (h == low and float(key) > below):
                low, below = h, float(key)
        elif h < high or (h == high and float(key) < above):
            high, above = h, float(key)
    if below < 0:
        return 1 - above * hits / high
    if above > 1:
        return 1 - below
    begun = math.log1p(low)
    return 1 - below - (above - below) * (math.log1p(hits) - begun) / (math.log1p(high) - begun)


def strokes_at(remaining: Mapping[str, float], probability: float) -> float:
    """The strokes before which it goes dull or chips with that probability."""
    if not remaining:
        raise ValueError("no forecast is stored")
    return math.expm1(_between(probability, [(p, math.log1p(h)) for p, h in _points(remaining)]))
