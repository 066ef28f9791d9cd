"""What the cycles of a whole shop say of their causes: presses, coils and jobs, who ground, set-ups, mishaps.

Every cycle has an exposure, how often an edge built like it should have gone dull in its hits by the shop's wear model,
    e = (h^k - from^k) exp(-k x b),  h and from in 100,000 hits,
and ended dull or not. All causes are estimated at once (effects.py), each with a prior about "it does nothing": places
and dies differ as the shop's fit says they do; presses, coils, people, set-ups and mishaps by the spreads below, from
memory and narrow. An effect b on how often means exp(-b / k) times the life.

A press may also be read from the dies in it: were its ram tilted or off its middle, the edges of *all* its dies would
go dull sooner towards one side. So each press has a slope along x and y from the middle of each die, against each die's
own slope, which is what keeps one die's bad corner from being taken for the press. x runs along the strip; every die
is taken to stand in the press the same way.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import scipy  # its parts are loaded when they are first named, so that a start pays for none
from numpy.typing import NDArray

from .cycles import DULL, HITS_UNIT, LifeSamples
from .effects import Effects, estimate
from .fleet import FleetFit
from .prior import design as wear_model
from .renewals import aged

Array = NDArray[np.float64]
Whole = NDArray[np.int64]

# Spread of ln life that a cause may bring: from memory, no source. Slopes by 100 mm from the middle of the die.
SPREAD = {"press": 0.10, "lot": 0.10, "person": 0.10, "set-up": 0.15, "mishap": 0.25}
OWN_SLOPE, PRESS_SLOPE, SLOPE_MM = 0.04, 0.15, 100.0
SLOPING = 0.1  # chance of a press to have a slope, before anything is seen: from memory, no source
SHORTER = 0.10  # of the life: what a suspect is asked about
DULL_ENDS_NEEDED, DIES_NEEDED, REACH_NEEDED_MM = 20, 2, 30.0
CASES_NEEDED = 3.0  # cycles with a cause, by their shares, before anything is said of it
EIGHT_IN_TEN = 1.2815515655446004  # standard deviations to either side


@dataclass(frozen=True, kw_only=True)
class CauseRows:
    """Cycles of a shop, or their parts in one press and lot each, [n]. A number below 0: not known.

    place, die: of the edge. x_mm, y_mm: of the place from the middle of its die, not-a-number where not known. press,
    lot, person: in which and of which it ran, and who had ground the edge; numbered through the shop. bad_set_up,
    mishap: yes or no. share: of its cycle, by hits. exposure: dull ends that the wear model leads to expect of this
    share. dull: this share where the cycle ended dull, else nought: what wears an edge is all that it cut.
    """

    place: Whole
    die: Whole
    x_mm: Array
    y_mm: Array
    press: Whole
    lot: Whole
    person: Whole
    bad_set_up: NDArray[np.bool_]
    mishap: NDArray[np.bool_]
    share: Array
    exposure: Array
    dull: Array

    def __len__(self) -> int:
        return len(self.place)


@dataclass(frozen=True, kw_only=True)
class Cause:
    """One press, lot, person ... sort and number say which.

    cycles, dull: that had it, and went dull in it, by their shares. expected: dull ends to expect of them were it not
    there, all else as it is. times, low, high: how many times the life, the middle and where it lies 8 times in 10.
    chance: that it shortens life by a tenth or more. is_thin: too few cases to say anything.
    """

    sort: str
    number: int
    cycles: float
    dull: float
    expected: float
    times: float
    low: float
    high: float
    chance: float

    @property
    def is_thin(self) -> bool:
        return self.cycles < CASES_NEEDED

    @property
    def odds(self) -> float:
        """To one."""
        return self.chance / max(1 - self.chance, 1e-9)


@dataclass(frozen=True, kw_only=True)
class PressSlope:
    """How life falls across a press. along: (x, y) ln life by 100 mm, where it does. covariance: [2, 2] of it. chance:
    that it has a slope at all: one in ten before anything is seen, then by the ratio of the densities at no slope
    (J. M. Dickey, Annals of Mathematical Statistics 42 (1971) 204-223, from memory). refusal: why nothing is said."""

    press: int
    dies: int
    dull: float
    along: tuple[float, float]
    covariance: tuple[tuple[float, float], tuple[float, float]]
    chance: float
    refusal: str = ""

    @property
    def steepest(self) -> float:
        """By what share life is shorter 100 mm further to the side where edges go dull first."""
        return 1 - float(np.exp(-np.hypot(*self.along)))

    @property
    def towards(self) -> tuple[float, float]:
        """(x, y) of length one: the side where edges go dull first."""
        length = float(np.hypot(*self.along))
        return (0.0, 0.0) if length == 0 else (-self.along[0] / length, -self.along[1] / length)


@dataclass(frozen=True, kw_only=True)
class Causes:
    all: tuple[Cause, ...]
    slopes: tuple[PressSlope, ...]

    def of(self, sort: str) -> dict[int, Cause]:
        return {cause.number: cause for cause in self.all if cause.sort == sort}


def exposures(fit: FleetFit, edges: Sequence, samples: LifeSamples) -> tuple[Array, NDArray[np.bool_]]:
    """[cycles] dull ends to expect by the wear model, and whether each ended dull. An end known to lie between two
    looks counts at the middle. What works in between gave back is taken off the hits first."""
    samples, _ = aged(samples, None, fit.shares)
    theta = fit.best
    ln_life = wear_model(edges) @ theta.b
    dull = samples.ended == DULL
    end = np.where(dull, (samples.lower_hits + samples.hits) / 2, samples.hits) / HITS_UNIT
    begun = samples.from_hits / HITS_UNIT
    run = np.maximum(end, begun) ** theta.k - begun**theta.k
    return run * np.exp(np.minimum(-theta.k * ln_life[samples.edge], 200.0)), dull


def told_apart(rows: CauseRows, *, k: float, between_dies: float, between_places: float, between_lots: float) -> Causes:
    """k: shape of lives. between_...: spread of ln life that the shop's fit has; of lots 0 where it told none apart."""
    if not len(rows):
        return Causes(all=(), slopes=())
    terms = _Terms(rows)
    spread = np.empty(terms.count)
    widths = SPREAD | {"place": between_places, "die": between_dies, "lot": max(between_lots, SPREAD["lot"])}
    for sort, (first, values) in terms.levels.items():
        spread[first : first + len(values)] = max(widths[sort], 0.01)
    for (first, count), width in ((terms.own_slopes, OWN_SLOPE), (terms.press_slopes, PRESS_SLOPE)):
        spread[first : first + count] = width
    told = estimate(terms.design(), rows.dull, rows.exposure, k * spread)
    return Causes(all=tuple(_causes(rows, terms, told, k)), slopes=tuple(_slopes(rows, terms, told, k)))


def chance_before(sort: str) -> float:
    """That one of this sort shortens life by a tenth or more, before anything is seen of it."""
    return float(scipy.special.ndtr(np.log1p(-SHORTER) / SPREAD[sort]))


class _Terms:
    """Where each cause stands among the terms."""

    def __init__(self, rows: CauseRows) -> None:
        self.rows, self.count = rows, 0
        self.levels: dict[str, tuple[int, Whole]] = {}
        yes_no = {"set-up": rows.bad_set_up, "mishap": rows.mishap}
        for sort in ("place", "die", "press", "lot", "person", *yes_no):
            number = np.where(yes_no[sort], 0, -1) if sort in yes_no else getattr(rows, sort)
            values = np.unique(number[number >= 0])
            self.levels[sort] = (self.count, values)
            self.count += len(values)
        self.number = {s: np.where(yes_no[s], 0, -1) if s in yes_no else getattr(rows, s) for s in self.levels}
        self.own_slopes = (self.count, 2 * len(self.levels["die"][1]))
        self.count += self.own_slopes[1]
        self.press_slopes = (self.count, 2 * len(self.levels["press"][1]))
        self.count += self.press_slopes[1]

    def term(self, sort: str) -> tuple[Whole, Whole]:
        """The rows that have one, and the term of each."""
        first, values = self.levels[sort]
        has = np.flatnonzero(self.number[sort] >= 0)
        return has, first + np.searchsorted(values, self.number[sort][has])

    def design(self) -> Any:
        at, term, value = [], [], []
        for sort in self.levels:
            has, terms = self.term(sort)
            at.append(has)
            term.append(terms)
            value.append(np.ones(len(has)))
        where = np.c_[self.rows.x_mm, self.rows.y_mm] / SLOPE_MM
        stands = np.isfinite(where).all(axis=1)
        for sort, (first, _) in (("die", self.own_slopes), ("press", self.press_slopes)):
            has, terms = self.term(sort)
            keep = stands[has]
            for axis in (0, 1):
                at.append(has[keep])
                term.append(first + 2 * (terms[keep] - self.levels[sort][0]) + axis)
                value.append(where[has[keep], axis])
        joined = (np.concatenate(at), np.concatenate(term))
        return scipy.sparse.csr_array((np.concatenate(value), joined), shape=(len(self.rows), self.count))


def _causes(rows: CauseRows, terms: _Terms, told: Effects, k: float) -> Iterator[Cause]:
    worn = rows.exposure * np.exp(terms.design() @ told.mean)
    for sort in SPREAD:
        first, values = terms.levels[sort]
        has, at = terms.term(sort)
        sd = told.sd(first + np.arange(len(values)))
        cycles = np.bincount(at - first, weights=rows.share[has], minlength=len(values))
        dull = np.bincount(at - first, weights=rows.dull[has], minlength=len(values))
        expected = np.bincount(at - first, weights=worn[has], minlength=len(values)) * np.exp(
            -told.mean[first : first + len(values)]
        )
        for i, number in enumerate(values):
            middle, wide = -told.mean[first + i] / k, sd[i] / k
            yield Cause(
                sort=sort,
                number=int(number),
                cycles=float(cycles[i]),
                dull=float(dull[i]),
                expected=float(expected[i]),
                times=float(np.exp(middle)),
                low=float(np.exp(middle - EIGHT_IN_TEN * wide)),
                high=float(np.exp(middle + EIGHT_IN_TEN * wide)),
                chance=float(scipy.special.ndtr((np.log1p(-SHORTER) - middle) / wide)),
            )


def _slopes(rows: CauseRows, terms: _Terms, told: Effects, k: float) -> Iterator[PressSlope]:
    presses = terms.levels["press"][1]
    stands = np.isfinite(rows.x_mm) & np.isfinite(rows.y_mm)
    for i, press in enumerate(presses):
        at = terms.press_slopes[0] + 2 * i + np.arange(2)
        mean, spread = -told.mean[at] / k, told.covariance(at) / k**2
        ln_for = 0.5 * mean @ np.linalg.solve(spread, mean) + 0.5 * np.linalg.slogdet(spread / PRESS_SLOPE**2)[1]
        here = (rows.press == press) & stands
        yield PressSlope(
            press=int(press),
            dies=len(np.unique(rows.die[here])),
            dull=float(rows.dull[here].sum()),
            along=(float(mean[0]), float(mean[1])),
            covariance=((spread[0, 0], spread[0, 1]), (spread[1, 0], spread[1, 1])),
            chance=float(scipy.special.expit(scipy.special.logit(SLOPING) + ln_for)),
            refusal=_refusal(rows, rows.press == press, here),
        )


def _refusal(rows: CauseRows, ran: NDArray[np.bool_], here: NDArray[np.bool_]) -> str:
    dull, dies = rows.dull[here].sum(), len(np.unique(rows.die[here]))
    if not here.any():
        return "no place of the dies that ran in it has its x and y" if ran.any() else "no die has run in it"
    if dies < DIES_NEEDED:
        return "only one die has worn in it, and what wears there may be the die's own"
    if dull < DULL_ENDS_NEEDED:
        return f"{dull:.0f} dull ends seen in it, {DULL_ENDS_NEEDED} needed"
    reach = max(np.ptp(rows.x_mm[here]), np.ptp(rows.y_mm[here]))
    if reach < REACH_NEEDED_MM:
        return f"its dies' edges lie within {reach:.0f} mm, {REACH_NEEDED_MM:.0f} mm needed"
    return ""
