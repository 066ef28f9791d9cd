"""How right past forecasts were: what was told then against what happened, with everything that is still open counted.

Each forecast of a die (or edge) gives F, the chance of going within x further strokes. What happened: it went in
(low, high] further strokes, or it was still sharp when the record stopped at c (ground with the set, or today). With
U = F(strokes run), U of a right forecast is uniform on 0..1: ends in an interval are spread evenly over
(F(low), F(high)] (20 imputations), those still sharp are censored at F(c). G, the Kaplan-Meier curve of U, then says
how often it went before the p mark: coverage of the 80 % band = G(0.9) - G(0.1), its standard error by resampling
dies. Counting only those that ended, or all of them, gives nonsense (0.24 to 0.68 for a right forecast).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
IMPUTATIONS = 20
RESAMPLES = 200
DIES_AT_RISK = 10  # fewer still at risk: the curve is not told
MARKS = np.round(np.linspace(0.05, 0.95, 19), 2)


class TooShort(ValueError):
    """Too few past forecasts to say how right they were; the message carries the numbers."""


@dataclass(frozen=True, kw_only=True)
class Outcome:
    """One past forecast and what came of it. gone_low, gone_high: told chance of having gone by the strokes between
    which it went; ended False: still sharp, and gone_high is the told chance of having gone by then. group: the
    die."""

    group: int
    gone_low: float
    gone_high: float
    ended: bool
    name: str = ""

    @classmethod
    def of(cls, group: int, remaining: Mapping[float, float], low: float, high: float, ended: bool, name: str = ""):
        """remaining: probability -> strokes as told; low, high: further strokes; for one still sharp both are those
        run."""
        if not 0 <= low <= high:
            raise ValueError(f"it went between {low:g} and {high:g} further strokes: that cannot be")
        return cls(group=group, gone_low=gone(remaining, low), gone_high=gone(remaining, high), ended=ended, name=name)


@dataclass(frozen=True, kw_only=True)
class TrackRecord:
    """band_80: how often the 80 % band held; se: its standard error. marks, went: the chance told, and how often it
    had gone by then (not-a-number where fewer than ten dies were still at risk). early, late: numbers of the
    outcomes farthest from what was told, the worst first."""

    band_80: float
    se: float
    marks: Array
    went: Array
    forecasts: int
    ended: int
    dies: int
    early: tuple[int, ...]
    late: tuple[int, ...]


def gone(remaining: Mapping[float, float], strokes: float) -> float:
    """Told chance of having gone within so many strokes: straight lines in ln(-ln S) over ln strokes."""
    if strokes <= 0:
        return 0.0
    pairs = sorted((float(p), float(h)) for p, h in remaining.items())
    y = np.log(-np.log1p(-np.array([p for p, _ in pairs])))
    x = np.log(np.maximum(np.maximum.accumulate([h for _, h in pairs]), 1e-9))
    keep = np.r_[True, np.diff(x) > 1e-12]
    x, y = x[keep], y[keep]
    if len(x) < 2:
        return float(pairs[-1][0] if np.log(strokes) >= x[0] else 0.0)
    i = int(np.clip(np.searchsorted(x, np.log(strokes)), 1, len(x) - 1))
    z = y[i - 1] + (np.log(strokes) - x[i - 1]) * (y[i] - y[i - 1]) / (x[i] - x[i - 1])
    return float(-np.expm1(-np.exp(min(z, 50.0))))


def first_end(low: Sequence[float], high: Sequence[float], ended: Sequence[bool]) -> tuple[float, float, bool]:
    """Of the cycles under way on a die's edges, what became of the die: the first to go, or the first renewed sharp.

    low, high: further strokes of the die between which each went; for one renewed still sharp (or still running)
    both are those run. Renewing one edge ends what was told of the die.
    """
    if not len(high):
        raise ValueError("no cycle was under way")
    order = sorted(range(len(high)), key=lambda i: (high[i], not ended[i]))
    first = order[0]
    return (float(low[first]) if ended[first] else float(high[first]), float(high[first]), bool(ended[first]))


def track_record(outcomes: Sequence[Outcome], *, seed: int = 0) -> TrackRecord:
    """How right they were. Raises TooShort below ten dies or ten ends."""
    groups = np.array([o.group for o in outcomes])
    ended = np.array([o.ended for o in outcomes], bool)
    dies = len(np.unique(groups))
    if dies < DIES_AT_RISK or ended.sum() < DIES_AT_RISK:
        raise TooShort(
            f"{len(outcomes)} past forecasts of {dies} dies, {int(ended.sum())} of them ended; "
            f"{DIES_AT_RISK} dies and {DIES_AT_RISK} ends are needed"
        )
    order = np.lexsort((ended, [o.gone_high for o in outcomes], [o.gone_low for o in outcomes], groups))
    low = np.array([o.gone_low for o in outcomes])[order]
    high = np.array([o.gone_high for o in outcomes])[order]
    groups, ended = groups[order], ended[order]
    rng = np.random.default_rng(seed)
    part = rng.random((IMPUTATIONS, len(low)))
    u = np.where(ended, low + part * (high - low), high)
    points = np.r_[MARKS, 0.1, 0.9]
    curve = np.mean([_went(row, ended, points) for row in u], axis=0)
    names, number = np.unique(groups, return_inverse=True)
    spread = []
    for r in range(RESAMPLES):
        count = np.bincount(rng.integers(0, len(names), len(names)), minlength=len(names))
        at = _went(u[r % IMPUTATIONS], ended, np.array([0.1, 0.9]), count[number].astype(float))
        spread.append(at[1] - at[0])
    at_risk = np.array([len(np.unique(groups[u.max(axis=0) >= mark])) for mark in MARKS])
    middle = (low + high) / 2
    numbers = order[np.argsort(np.where(ended, middle, 1.0), kind="stable")]
    return TrackRecord(
        band_80=float(curve[-1] - curve[-2]),
        se=float(np.std(spread)),
        marks=MARKS,
        went=np.where(at_risk >= DIES_AT_RISK, curve[:-2], np.nan),
        forecasts=len(outcomes),
        ended=int(ended.sum()),
        dies=dies,
        early=tuple(int(i) for i in numbers if outcomes[i].ended and outcomes[i].gone_high < 0.1),
        late=tuple(
            int(i)
            for i in order[np.argsort(-low, kind="stable")]
            if (outcomes[i].gone_low if outcomes[i].ended else outcomes[i].gone_high) > 0.9
        ),
    )


def _went(u: Array, ended: NDArray[np.bool_], at: Array, weight: Array | None = None) -> Array:
    """One less the Kaplan-Meier curve of u at the points."""
    weight = np.ones(len(u)) if weight is None else weight
    order = np.lexsort((~ended, u))
    u, ended, weight = u[order], ended[order], weight[order]
    at_risk = np.cumsum(weight[::-1])[::-1]
    factor = np.where(ended, 1 - weight / np.maximum(at_risk, 1e-12), 1.0)
    curve = np.r_[1.0, np.cumprod(np.maximum(factor, 0.0))]
    return 1 - curve[np.searchsorted(u, at, side="right")]
