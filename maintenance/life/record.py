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
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
IMPUTATIONS = 20
NINE_IN_TEN = 1.645  # standard errors either way
RESAMPLES = 200
DIES_AT_LEAST = ENDS_AT_LEAST = 10
MOST_SE = 0.1  # known no better than that: not told
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
    def of(
        cls, group: int, remaining: Mapping[float, float], low: float, high: float, ended: bool, name: str = ""
    ) -> Outcome:
        """remaining: probability -> strokes as told; low, high: further strokes; for one still sharp both are those
        run."""
        if not 0 <= low <= high:
            raise ValueError(f"it went between {low:g} and {high:g} further strokes: that cannot be")
        return cls(group=group, gone_low=gone(remaining, low), gone_high=gone(remaining, high), ended=ended, name=name)

    @property
    def surely(self) -> str:
        """Whether it came outside the band of 8 in 10, wherever in its interval: "early", "late" or ""."""
        if self.ended and self.gone_high < 0.1:
            return "early"
        return "late" if (self.gone_low if self.ended else self.gone_high) > 0.9 else ""

    @property
    def parts(self) -> tuple[float, float, float]:
        """How much of it came early, within the band of 8 in 10, and late; nothing of one still sharp in its band."""
        if not self.ended:
            return (0.0, 0.0, float(self.gone_high > 0.9))
        inside = within(self.gone_low, self.gone_high)
        early = within(self.gone_low, self.gone_high, -1.0, 0.1)
        return early, inside, max(1.0 - early - inside, 0.0)


@dataclass(frozen=True, kw_only=True)
class TrackRecord:
    """band_80: how often the 80 % band held; se: its standard error. marks, went: the chance told, and how often it
    had gone by then, with its standard error (not-a-number where that is above 0.1: too much was stopped before; asking
    for ten dies still at risk, as one must of edges by themselves, would leave the high marks of a right forecast of
    few dies untold, since by then most have gone). early, late: numbers of the
    outcomes farthest from what was told, the worst first."""

    band_80: float
    se: float
    marks: Array
    went: Array
    went_se: Array
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
    first = which_ended_first(high, ended)
    return (float(low[first]) if ended[first] else float(high[first]), float(high[first]), bool(ended[first]))


def which_ended_first(high: Sequence[float], ended: Sequence[bool]) -> int:
    """The number of the cycle that ended what was told of the die: of equal strokes one that went."""
    if not len(high):
        raise ValueError("no cycle was under way")
    return min(range(len(high)), key=lambda i: (high[i], not ended[i], i))


@dataclass(frozen=True, kw_only=True)
class Finishing:
    """A statement of the chance of finishing an order, and what came. share_low, share_high: the shares of the order's
    strokes between which the die went; for one still sharp when its record stopped, both are the share run by then."""

    group: int
    chance: float
    share_low: float
    share_high: float
    ended: bool


@dataclass(frozen=True, kw_only=True)
class ChanceHeld:
    """Orders of like chance. said: the mean chance told; held: how many in one finished, with those that stopped for
    another reason counted as far as they ran (not-a-number where nobody was left to see); held_low, held_high: where
    chance leaves it, 9 times in 10.
    finished, not_finished, stopped: how many came to what; one that went while the order ended counts half to each."""

    low: float
    high: float
    statements: int
    said: float
    held: float
    held_low: float
    held_high: float
    finished: float
    not_finished: float
    stopped: int


CHANCES = (0.0, 0.1, 0.3, 0.5, 0.7, 0.9, 1.0)


def chances_held(told: Sequence[Finishing], bounds: Sequence[float] = CHANCES) -> list[ChanceHeld]:
    """Chance told against orders finished, by the chance told; classes in which nothing was told are left out.

    Within a class one less the Kaplan-Meier curve over the share of the order run, at one whole order: an order that
    was stopped half way by a planned sharpening counts for the half that it ran. Ends lie evenly over their interval
    (20 imputations). Limits by score [1], those that were stopped counting half: never of no width, as Greenwood's are
    where all or none finished.

    [1] E. B. Wilson, Probable inference, the law of succession, and statistical inference, J. Am. Stat. Assoc. 22
        (1927) 209-212.
    """
    rows = []
    for low, high in pairwise(bounds):
        mine = [t for t in told if low <= t.chance < high or (high == bounds[-1] and t.chance == high)]
        if not mine:
            continue
        a = np.array([t.share_low for t in mine])
        b = np.array([t.share_high for t in mine])
        ended = np.array([t.ended for t in mine], bool)
        within = np.clip((1 - a) / np.maximum(b - a, 1e-12), 0, 1)  # how much of an end's interval lies in the order
        in_order = np.where(ended, np.where(b <= 1, 1.0, np.where(a >= 1, 0.0, within)), 0.0)
        stopped = ~ended & (b < 1)
        curves = [_sharp_at(a + (b - a) * part, ended, 1.0) for part in (np.arange(IMPUTATIONS) + 0.5) / IMPUTATIONS]
        held = float(np.mean(curves))
        held_low, held_high = score_limits(held, len(mine) - stopped.sum() / 2)
        rows.append(
            ChanceHeld(
                low=low,
                high=high,
                statements=len(mine),
                said=float(np.mean([t.chance for t in mine])),
                held=held,
                held_low=held_low,
                held_high=held_high,
                finished=float(len(mine) - stopped.sum() - in_order.sum()),
                not_finished=float(in_order.sum()),
                stopped=int(stopped.sum()),
            )
        )
    return rows


def score_limits(share: float, n: float, z: float = NINE_IN_TEN) -> tuple[float, float]:
    """Where a share seen in n may truly lie: (share + z^2 / 2n -+ z sqrt(share (1 - share) / n + z^2 / 4n^2)) over
    (1 + z^2 / n) [1 of `chances_held`]."""
    if not n > 0 or np.isnan(share):
        return np.nan, np.nan
    middle, wide = share + z**2 / (2 * n), z * np.sqrt(share * (1 - share) / n + z**2 / (4 * n**2))
    return max(float((middle - wide) / (1 + z**2 / n)), 0.0), min(float((middle + wide) / (1 + z**2 / n)), 1.0)


def within(gone_low: float, gone_high: float, low: float = 0.1, high: float = 0.9) -> float:
    """Which part of an end, spread evenly over (gone_low, gone_high], lies between two marks."""
    if gone_high <= gone_low:
        return float(low < gone_high <= high)
    return max(min(gone_high, high) - max(gone_low, low), 0.0) / (gone_high - gone_low)


def _sharp_at(x: Array, ended: NDArray[np.bool_], at: float) -> float:
    """The Kaplan-Meier curve at a point; not-a-number where nobody was seen so far."""
    order = np.lexsort((~ended, x))
    x, ended = x[order], ended[order]
    at_risk = np.arange(len(x), 0, -1)
    went = ended & (x <= at)
    s = float(np.prod(np.where(went, 1 - 1 / at_risk, 1.0)))
    return np.nan if x[-1] < at and s > 0 else s


def track_record(outcomes: Sequence[Outcome], *, seed: int = 0) -> TrackRecord:
    """How right they were. Raises TooShort below ten dies or ten ends."""
    groups = np.array([o.group for o in outcomes])
    ended = np.array([o.ended for o in outcomes], bool)
    dies = len(np.unique(groups))
    if dies < DIES_AT_LEAST or ended.sum() < ENDS_AT_LEAST:
        raise TooShort(
            f"{len(outcomes)} past forecasts of {dies} dies, {int(ended.sum())} of them ended; "
            f"{DIES_AT_LEAST} dies and {ENDS_AT_LEAST} ends are needed"
        )
    low, high = np.array([o.gone_low for o in outcomes]), np.array([o.gone_high for o in outcomes])
    order = np.lexsort((ended, high, low, groups))
    low, high, groups, ended = low[order], high[order], groups[order], ended[order]
    rng = np.random.default_rng(seed)
    part = rng.random((IMPUTATIONS, len(low)))
    u = np.where(ended, low + part * (high - low), high)
    points = np.r_[MARKS, 0.1, 0.9]
    curve = np.mean([_went(row, ended, points) for row in u], axis=0)
    names, number = np.unique(groups, return_inverse=True)
    resampled = []
    for r in range(RESAMPLES):
        count = np.bincount(rng.integers(0, len(names), len(names)), minlength=len(names))
        resampled.append(_went(u[r % IMPUTATIONS], ended, points, count[number].astype(float)))
    spread = np.array(resampled)
    went_se = spread[:, :-2].std(axis=0)
    first = order[np.argsort(high, kind="stable")]
    last = order[np.argsort(-np.where(ended, low, high), kind="stable")]
    return TrackRecord(
        band_80=float(curve[-1] - curve[-2]),
        se=float(np.std(spread[:, -1] - spread[:, -2])),
        marks=MARKS,
        went=np.where(went_se <= MOST_SE, curve[:-2], np.nan),
        went_se=went_se,
        forecasts=len(outcomes),
        ended=int(ended.sum()),
        dies=dies,
        early=tuple(int(i) for i in first if outcomes[i].surely == "early"),
        late=tuple(int(i) for i in last if outcomes[i].surely == "late"),
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
