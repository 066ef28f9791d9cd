"""The naive second implementation of a spare's use: one year after another drawn stroke by stroke, grind by grind."""

from __future__ import annotations

import numpy as np


def grinds_drawn(rng: np.random.Generator, years: int, most: int, *, spread: float, doubt: float) -> np.ndarray:
    """float[years, most]: what each grind takes off, in mean removals; the mean itself differs from year to year."""
    mean = rng.gamma(1 / doubt**2, doubt**2, (years, 1)) if doubt else np.ones((years, 1))
    one = rng.gamma(1 / spread**2, spread**2, (years, most)) if spread else np.ones((years, most))
    return mean * one


def ground_out_drawn(
    rng: np.random.Generator,
    sharpenings: np.ndarray,
    pieces: list[tuple[float, float]],
    *,
    spread: float = 0.0,
    doubt: float = 0.0,
    ground_share: float = 1.0,
) -> np.ndarray:
    """int[years]: pieces used up in so many sharpenings of one set, whose grinds take the same off all its pieces.

    pieces: (grinds left, grinds in a new one), in mean removals. Grind by grind: what its allowance does not hold goes,
    and a new piece is fitted in its place, ground to match.
    """
    years, most = len(sharpenings), int(sharpenings.max(initial=0))
    taken = grinds_drawn(rng, years, most, spread=spread, doubt=doubt)
    used = np.zeros(years, int)
    for left, new in pieces:
        allowance = np.full(years, float(left))
        for k in range(most):
            ground = (k < sharpenings) & (rng.random(years) < ground_share)
            room = allowance - taken[:, k] >= -1e-9
            used += ground & ~room
            allowance = np.where(ground & room, allowance - taken[:, k], np.where(ground, float(new), allowance))
    return used


def worn_out_drawn(
    rng: np.random.Generator, strokes: float, *, eta: np.ndarray, shape: float, age: float | None, years: int
) -> np.ndarray:
    """int[years]: replacements of one place in so many strokes. eta: float[years], scale of its life in each year; age:
    of the piece in it now; None: it has been fitted anew again and again for so long that nobody knows."""
    used = np.zeros(years, int)
    start = np.full(years, -(age or 0.0))
    if age is None:
        start = -30 * eta * rng.random(years) - 30 * eta  # as many lives ago
    at = start.copy()
    if age is not None:  # it has lasted so long already
        at = start + eta * (rng.exponential(size=years) + (age / eta) ** shape) ** (1 / shape)
    while True:
        came = (at > 0) & (at <= strokes)
        used += came
        if (at > strokes).all():
            return used
        at = np.where(at <= strokes, at + eta * rng.weibull(shape, years), at)
