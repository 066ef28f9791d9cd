"""What came of a change that was made: lives before and after at the same places, and whether a promise was kept.

Lives to dullness are Weibull of a shape that is known (the shop's), so that (hits)^shape is exponential. Within a place
the scale before, m, is integrated out under a flat law of its logarithm; what is left tells of d = ln (scale after /
scale before). Of lives all seen to their end that is Fisher's F with twice the dull ends of either side as its degrees
of freedom. Where a side has lives that were not seen to their end, its own far limit counts one dull end more.

B. Epstein, M. Sobel, Life testing, J. Am. Stat. Assoc. 48 (1953) 486-502; IEC 61124 and MIL-HDBK-189 for the limits of
a test that ends at a time, 2 r + 2 degrees of freedom (all from memory).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray

from maintenance.life.cycles import DULL, LifeSamples

from .money import MoneyRefused, amount, from_float

Array = NDArray[np.float64]

FEW_ENDS = 3  # dull ends: with fewer a side says little
TAIL = 0.1  # 8 in 10 lie between the limits
MOST_TIMES = 100.0  # a change told as more times as long, or as short, is told as that
USUAL_DRIFT = 0.15  # of ln life: what lies between two spells of a place where nothing was changed; from memory
NO_DRIFT = 1e-3  # less changes no figure that is shown
STEP, FINE = 0.02, 0.2  # of the grid, in ln life; as a share of what one place can tell
LOG_FLOOR = -700.0


class ChangeRefused(ValueError):
    """A change that cannot be followed; the message says why, with the numbers."""


class Verdict(StrEnum):
    KEPT = "kept"
    SHORT = "fell short"
    EARLY = "too early to say"
    UNKNOWN = "the record cannot say"


@dataclass(frozen=True, kw_only=True)
class Spells:
    """The intervals of one place before a change and after it."""

    before: LifeSamples
    after: LifeSamples

    @property
    def swapped(self) -> Spells:
        return Spells(before=self.after, after=self.before)


@dataclass(frozen=True, kw_only=True)
class Came:
    """How many times as long the edges last since a change.

    times: the middle; None where one side has no dull end. low, high: 1 in 10 lies below, above; None: no limit is
    known. dull_before, dull_after: ends that tell.
    """

    times: float | None
    low: float | None
    high: float | None
    dull_before: int
    dull_after: int

    @property
    def known(self) -> bool:
        return self.times is not None


def compared(
    changed: Sequence[Spells], others: Sequence[Spells] = (), *, shape: float, drift: float = USUAL_DRIFT
) -> Came:
    """The lives at the changed places, after over before, all places together.

    others: places of the same die at which nothing was changed. drift: sd of ln life by which a die's edges differ
    between two spells of themselves; the others tell what it was this time, and it is taken out. shape: of the lives.
    Raises ChangeRefused.
    """
    if not (math.isfinite(shape) and 0.1 <= shape <= 50):
        raise ChangeRefused(f"a shape of {shape:g}; it must lie between 0.1 and 50.")
    if not (math.isfinite(drift) and 0 <= drift <= 2):
        raise ChangeRefused(f"a drift of {drift:g}; it must lie between 0 and 2.")
    pairs = [_told(spells) for spells in changed]
    before, after = (sum(_dull_ends(side) for side in sides) for sides in _sides(pairs))
    telling = [pair for pair in pairs if _dull_ends(pair.before) + _dull_ends(pair.after)]
    if not telling:
        return Came(times=None, low=None, high=None, dull_before=before, dull_after=after)
    control = [pair for pair in map(_told, others) if _dull_ends(pair.before) and _dull_ends(pair.after)]
    most = max(max(_dull_ends(pair.before), _dull_ends(pair.after)) for pair in (*telling, *control))
    grid = _Grid.of(shape, most)
    by_drift = _by_drift(control, grid, drift)
    # the near side of a limit: one dull end more where lives were not seen to their end, shared by the places
    share = 1 / len(telling)
    ends_open = [any(_is_open(side) for side in sides) for sides in _sides(telling)]
    more_before, more_after = (share if is_open else 0.0 for is_open in ends_open)
    middle = _law(telling, grid, by_drift)
    return Came(
        times=_quantile(middle, grid, 0.5) if before and after else None,
        low=_quantile(_law(telling, grid, by_drift, after=more_after), grid, TAIL) if before else None,
        high=_quantile(_law(telling, grid, by_drift, before=more_before), grid, 1 - TAIL) if after else None,
        dull_before=before,
        dull_after=after,
    )


@dataclass(frozen=True)
class _Grid:
    """ln life about the middle of a place, and ln of the ratio, at one step. reach: points of the ratio either way."""

    shape: float
    ln_life: Array
    ln_ratio: Array
    reach: int

    @classmethod
    def of(cls, shape: float, most_ends: int) -> _Grid:
        step = min(STEP, FINE / (shape * math.sqrt(max(most_ends, 1))))
        half = math.ceil((math.log(MOST_TIMES) + 10 / shape) / step)
        reach = math.ceil(math.log(MOST_TIMES) / step)
        ln_life, ln_ratio = (step * np.arange(-points, points + 1) for points in (half, reach))
        return cls(shape, np.asarray(ln_life, np.float64), np.asarray(ln_ratio, np.float64), reach)

    def across(self, after: Array, before: Array) -> Array:
        """sum over x of before(x) after(x + d), at each d."""
        middle = len(after) - 1
        return np.correlate(after, before, "full")[middle - self.reach : middle + self.reach + 1]


def _sides(pairs: Sequence[Spells]) -> tuple[list[LifeSamples], list[LifeSamples]]:
    return [pair.before for pair in pairs], [pair.after for pair in pairs]


def _told(spells: Spells) -> Spells:
    """Without what tells nothing: edges of an age that nobody knows."""
    return Spells(
        before=spells.before.pick(~spells.before.unknown_age), after=spells.after.pick(~spells.after.unknown_age)
    )


def _dull_ends(samples: LifeSamples) -> int:
    return int((samples.ended == DULL).sum())


def _is_open(samples: LifeSamples) -> bool:
    return bool(((samples.ended != DULL) & (samples.hits > samples.from_hits)).any())


def _by_drift(others: Sequence[Spells], grid: _Grid, drift: float) -> Array | None:
    """How likely the die's other places are with each drift, times its prior; None: there is none."""
    if drift < NO_DRIFT:
        return None
    ln = -0.5 * (grid.ln_ratio / drift) ** 2
    for spells in others:
        ln = ln + _of_place(spells, grid)
    return np.exp(ln - ln.max())


def _law(
    changed: Sequence[Spells], grid: _Grid, by_drift: Array | None, *, before: float = 0.0, after: float = 0.0
) -> Array:
    """How likely each ratio is, summing to one. before, after: dull ends more that each place is given."""
    ln = np.zeros(len(grid.ln_ratio))
    for spells in changed:
        ln = ln + _of_place(spells, grid, before=before, after=after)
    law = np.exp(ln - ln.max())
    if by_drift is not None:
        law = np.correlate(law, by_drift, "same")  # what was seen is the change and the drift together
    return law / law.sum()


def _of_place(spells: Spells, grid: _Grid, *, before: float = 0.0, after: float = 0.0) -> Array:
    """ln of how likely the intervals of a place are with each ratio, its own life integrated out."""
    middle = np.mean(
        [np.log(side.hits[side.ended == DULL]).mean() for side in (spells.before, spells.after) if _dull_ends(side)]
    )
    since, then = (
        _table(side, grid, float(middle), more) for side, more in ((spells.after, after), (spells.before, before))
    )
    with np.errstate(divide="ignore"):
        return np.maximum(np.log(grid.across(since, then)), LOG_FLOOR)


def _table(samples: LifeSamples, grid: _Grid, middle: float, more: float) -> Array:
    """How likely these intervals are with each ln scale; the greatest is one."""
    begun, lower, hits = (
        np.exp(grid.shape * (np.log(np.maximum(column, 1e-9)) - middle)) * (column > 0)
        for column in (samples.from_hits, samples.lower_hits, samples.hits)
    )
    rate = np.exp(-grid.shape * grid.ln_life)
    dull = samples.ended == DULL
    exact = dull & (samples.lower_hits == samples.hits)
    between = dull & ~exact
    survived = (np.where(between, lower, hits) - begun).sum()
    ln = -survived * rate - (exact.sum() + more) * grid.shape * grid.ln_life
    if between.any():
        inside = np.maximum((hits - lower)[between, None] * rate, 1e-300)
        ln = ln + np.log(-np.expm1(-inside)).sum(axis=0)
    return np.exp(np.maximum(ln - ln.max(), LOG_FLOOR))


def _quantile(law: Array, grid: _Grid, share: float) -> float:
    below = np.cumsum(law) - law / 2
    return float(np.exp(np.interp(share, below, grid.ln_ratio)))


# --- the promise --------------------------------------------------------------------------------------------------


@dataclass(frozen=True, kw_only=True)
class Promise:
    """How many times as long the edges were told to last when a change was made, 8 in 10 between low and high."""

    times: float
    low: float
    high: float

    def __post_init__(self) -> None:
        if not (math.isfinite(self.high) and 0 < self.low <= self.times <= self.high):
            raise ChangeRefused(
                f"a promise of {self.times:g} times as long, between {self.low:g} and {self.high:g}, is none."
            )

    @property
    def at_least(self) -> float:
        """What it has to come to: its low end, and where it was told to last longer, no less than before."""
        return max(self.low, 1.0) if self.times > 1 else self.low


def verdict(promise: Promise, came: Came) -> Verdict:
    """Kept: 9 in 10 that it came to what it had to. Fell short: 9 in 10 that it did not. Else it is too early.

    With few dull ends before the change nothing can ever be said; with few since, only that it was kept.
    """
    if came.dull_before < FEW_ENDS:
        return Verdict.UNKNOWN
    if came.low is not None and came.low >= promise.at_least:
        return Verdict.KEPT
    if came.high is not None and came.high < promise.at_least and came.dull_after >= FEW_ENDS:
        return Verdict.SHORT
    return Verdict.EARLY


# --- what it is to the die ----------------------------------------------------------------------------------------


def times_of_die(usual_hits: Sequence[float], times: Sequence[float], *, shape: float) -> float:
    """How many times as long the die goes between sharpenings, where each edge lasts so many times as long.

    (sum of usual^-k / sum of (usual x times)^-k)^(1/k): the first of Weibull lives of one shape.
    """
    usual, factor = np.asarray(usual_hits, float), np.asarray(times, float)
    if len(usual) != len(factor) or not len(usual):
        raise ChangeRefused(f"{len(usual)} edges and {len(factor)} times as long; as many as there are edges.")
    if not (np.isfinite(usual).all() and (usual > 0).all() and np.isfinite(factor).all() and (factor > 0).all()):
        raise ChangeRefused("the usual hits of an edge, or how many times as long it lasts, are not above nought.")
    usual = usual / usual.min()
    return float(((usual**-shape).sum() / ((usual * factor) ** -shape).sum()) ** (1 / shape))


def saved_a_year(*, hits_a_year: float, interval_hits: float, sharpening: Decimal, times: float) -> Decimal:
    """Money a year by sharpening less often: hits / interval x (1 - 1 / times) x what one costs; negative where dearer.

    Raises MoneyRefused.
    """
    sharpening = amount(sharpening, "what a sharpening costs")
    for name, value in (("hits a year", hits_a_year), ("hits between sharpenings", interval_hits), ("times", times)):
        if not math.isfinite(value) or value < 0 or (value == 0 and name != "hits a year"):
            raise MoneyRefused(f"{value:g} {name}; more than nought are needed.")
    return from_float(hits_a_year / interval_hits * (1 - 1 / times) * float(sharpening))
