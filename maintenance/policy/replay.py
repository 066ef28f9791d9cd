"""Decisions of the past again: what was done over what was advised, in bounds where what never happened is not known.

A decision had two ways on. One was taken and what came of it is *known*: where the die was torn down, whether an edge
was found dull, and after how many hits. Of the other one it is known only that the edges were still sharp when they
were cut short; what they would have lasted is *bounded* by the best and the worst that the records leave open, and
*expected* by their law, given that they were sharp then. So every figure is three: low <= expected <= high, equal where
nothing is open. All are told as done less advised: above nought, following the advice would have saved it.

**A job of Q hits** (`of_job`). A way through it is where the die is torn down, planned: before it (0), inside it, or
not at all. Both ways are alike up to the first planned teardown in which they differ, and nothing differs where an edge
was found dull before that. From there each is followed to its first stop, or to the job's end:
    planned teardowns   C each, + pull where the job is broken off for it
    first stop at x     C + delta (parts since the look before) + pull where x < Q, and what is left is by the law:
                        g (Q - x) - C, a die just sharpened in the long run
    no stop             W, what is handed on at the job's end: min over y of delta F(y) - g I(y) of the die as it then
                        stands, between -C (just sharpened) and 0 (due anyway). Expected, never known.
The way not taken stops at one of the job's looks, or at none: its value at each is reckoned, the least and the most of
them are the bounds, and their mean by the law is what is expected. If an edge was found dull on the bench that nobody
knew of, running on would have stopped at the first look: known. A chip is a blow from outside and would have come
either way: the job is followed to there, and what was handed on is nought.

**A teardown** (`of_teardown`), once the die is apart. Of the edges that were ground and advised to be left, or the
other way round, up to the next teardown, x hits on, each way followed to its first stop:
    ground              c_e
    first dull at y     Delta = delta + C0 / 2, and by the law gamma_e (x - y) + w_e(y) for each of these edges, w_e
                        nought for one that is dull
    none found dull     w_e(x), what each hands on: min over z of Delta F_e(z) - gamma_e I_e(z) as it then stands
Whether an edge went dull that was ground (or left) is known; of the way not taken it is bounded and expected as above.
All other edges are alike in both ways.

C, delta, pull, g and gamma as in orders.py and sets.py. Both ways are followed one decision far, and what comes later
is by the law: so the differences of a die's jobs may be added up, by the identity that what one policy costs over
another is the sum of its one-step differences along what happened (S. Kakade, J. Langford, ICML 2002, lemma 6.1, from
memory). Jobs and teardowns are not added to each other: one stop may stand in both. The law is taken as it is known;
that it is itself unsure is in none of the figures.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from .costs import Costs
from .lives import Lives, Mask
from .orders import looks
from .replacement import DieInterval, sums
from .sets import TORN_SHARE, own_rates

Array = NDArray[np.float64]

QUICK_STEPS = 160
EDGE_STEPS = 160
EDGE_LOOKS = 24  # at most, between two teardowns
NEAR = 0.5  # of a look: teardowns no further apart are one


class ReplayRefused(ValueError):
    """What is told of a job or a teardown cannot have been; the message says why."""


@dataclass(frozen=True, kw_only=True)
class Bounds:
    """low <= expected <= high. variance: of what is open, by the law; nought where low is high."""

    low: float = 0.0
    expected: float = 0.0
    high: float = 0.0
    variance: float = 0.0

    @classmethod
    def of(cls, values: ArrayLike, chances: ArrayLike) -> Bounds:
        """values: [n] that it may be. chances: [n] of each by the law, summing to one."""
        v, p = np.asarray(values, float), np.asarray(chances, float)
        low, high = float(v.min()), float(v.max())
        mean = min(max(float(v @ p), low), high)
        return cls(low=low, expected=mean, high=high, variance=max(float((v - mean) ** 2 @ p), 0.0))

    @classmethod
    def at(cls, value: float) -> Bounds:
        """What is known."""
        return cls(low=value, expected=value, high=value)

    def __add__(self, other: Bounds) -> Bounds:
        """Of two that are open independently of each other."""
        return Bounds(
            low=self.low + other.low,
            expected=self.expected + other.expected,
            high=self.high + other.high,
            variance=self.variance + other.variance,
        )

    def __neg__(self) -> Bounds:
        return Bounds(low=-self.high, expected=-self.expected, high=-self.low, variance=self.variance)

    def likely(self, sds: float = 1.2816) -> tuple[float, float]:
        """8 in 10 lie between, by the law, never outside the bounds."""
        wide = sds * self.variance**0.5
        return max(self.expected - wide, self.low), min(self.expected + wide, self.high)


NOUGHT = Bounds()


@dataclass(frozen=True, kw_only=True)
class Difference:
    """What was done over what was advised. euros: in the currency of the costs. stops: unplanned ones. teardowns;
    steel_mm: ground off, over all edges. same: nothing differed, and all is nought."""

    euros: Bounds = NOUGHT
    stops: Bounds = NOUGHT
    teardowns: Bounds = NOUGHT
    steel_mm: Bounds = NOUGHT
    same: bool = False

    def __add__(self, other: Difference) -> Difference:
        return Difference(
            euros=self.euros + other.euros,
            stops=self.stops + other.stops,
            teardowns=self.teardowns + other.teardowns,
            steel_mm=self.steel_mm + other.steel_mm,
            same=self.same and other.same,
        )


ALIKE = Difference(same=True)


def total(differences: Iterable[Difference]) -> Difference:
    """Of many decisions; of none, nothing."""
    return sum(differences, ALIKE)


@dataclass(frozen=True, kw_only=True)
class JobDone:
    """What came of a job. hits: that it ran, to its end or to a chip. pulls: hits of the job at which the die was torn
    down with no edge known to be dull, rising, 0 before it. stop: hits at which an edge was found dull first, None
    where none was; since_look: hits since the look before. dull_at_start: an edge was found dull on the bench at a
    teardown before the job that nobody knew of. torn: at `hits` a chip had the die torn down, whatever was
    decided."""

    hits: float
    pulls: tuple[float, ...] = ()
    stop: float | None = None
    since_look: float = 0.0
    dull_at_start: bool = False
    torn: bool = False

    def __post_init__(self) -> None:
        if not (np.isfinite(self.hits) and self.hits > 0):
            raise ReplayRefused(f"a job that ran {self.hits:,.0f} hits; there is nothing to look back on.")
        ends = self.hits if self.stop is None else self.stop
        if not 0 <= ends <= self.hits or self.since_look < 0:
            raise ReplayRefused(f"an edge was found dull at {ends:,.0f} hits of a job of {self.hits:,.0f}.")
        if list(self.pulls) != sorted(set(self.pulls)) or any(not 0 <= p <= ends for p in self.pulls):
            raise ReplayRefused("teardowns of a job come one after the other, within it and before its first stop.")


@dataclass(frozen=True)
class _Law:
    """What the ways are priced by."""

    now: Lives
    fresh: Lives
    costs: Costs
    usual: DieInterval
    delta: float

    def handed_on(self, lives: Lives, ran: float) -> float:
        """W of a die that has run so many hits from the state of `lives` with no edge dull."""
        s = sums(lives.after(ran), self.costs.chips_a_hit, self.costs.look_hits, steps=QUICK_STEPS)
        return max(min(float((self.delta * s.dull - self.usual.rate * s.hits).min()), 0.0), -self.costs.set)

    def after_a_stop(self, left: Array, *, torn: bool) -> Array:
        """What the rest of the job costs a die just sharpened, with what it hands on."""
        if torn:  # it is torn down again at the end: nothing is handed on, and only a second stop costs
            return (self.costs.set + self.delta) * -np.expm1(-self.fresh.die(left))
        return self.usual.rate * left - self.costs.set


@dataclass(frozen=True)
class _Split:
    """Where two ways part. at: hits of the job. since: hits of the last teardown that they share, None: none. nth: how
    many they share."""

    at: float
    since: float | None
    nth: int


def _parting(advised: Sequence[float], done: JobDone, near: float) -> _Split | None:
    since = None
    for n in range(max(len(advised), len(done.pulls)) + 1):
        a = advised[n] if n < len(advised) else np.inf
        d = done.pulls[n] if n < len(done.pulls) else np.inf
        first = min(a, d)
        if first >= done.hits or (done.stop is not None and first >= done.stop):
            return None
        if abs(a - d) > near:
            return _Split(first, since, n)
        since = d
    return None


def alike(advised: Sequence[float], done: JobDone, costs: Costs) -> bool:
    """Whether a job went as it was advised, as far as it went."""
    return _parting(advised, done, NEAR * costs.look_hits) is None


def of_job(
    now: Lives,
    fresh: Lives,
    costs: Costs,
    usual: DieInterval,
    advised: Sequence[float],
    done: JobDone,
) -> Difference:
    """What was done in a job over what was advised.

    now: of the die at the moment of the decision, before any teardown, given that it was sharp; fresh: just sharpened;
    both by the law that is known today. usual: of the die, replacement.of_die. advised: hits of the job at which it was
    to be torn down, planned, rising; 0 before it; empty: not at all. Hits are strokes of the die.
    Raises ReplayRefused, OrderRefused, LivesRefused.
    """
    if list(advised) != sorted(set(advised)) or any(p < 0 for p in advised):
        raise ReplayRefused("advised teardowns come one after the other.")
    split = _parting(advised, done, NEAR * costs.look_hits)
    if split is None:
        return ALIKE
    at = looks(done.hits, costs.look_hits)
    law = _Law(now, fresh, costs, usual, costs.usual_dull(len(at)))
    known = _done(law, done, split)
    pulls = [p for p in advised[split.nth :] if split.at <= p < done.hits]
    open_ = _not_taken(law, done, split, pulls, at)
    chances = open_.chances
    torn = Bounds.of(known.teardowns - open_.teardowns, chances)
    return Difference(
        euros=Bounds.of(known.euros - open_.euros, chances),
        stops=Bounds.of(known.stops - open_.stops, chances),
        teardowns=torn,
        steel_mm=Bounds.of(float(costs.grind_mm.sum()) * (known.teardowns - open_.teardowns), chances),
    )


@dataclass(frozen=True)
class _Ways:
    """euros, stops, teardowns, chances: [n] of each way that it may have gone."""

    euros: Array
    stops: Array
    teardowns: Array
    chances: Array = field(default_factory=lambda: np.ones(1))


def _state(law: _Law, since: float | None, at: float) -> tuple[Lives, float]:
    """The curve that a die follows at `at` hits of the job, last torn down at `since`, and its hits on that curve."""
    return (law.now, at) if since is None else (law.fresh, at - since)


def _pulled(costs: Costs, at: float) -> float:
    return costs.set + (costs.pull if at > 0 else 0.0)


def _done(law: _Law, done: JobDone, split: _Split) -> _Ways:
    costs, pulls = law.costs, done.pulls[split.nth :]
    euros = sum(_pulled(costs, p) for p in pulls)
    if done.stop is not None:
        left = done.hits - done.stop
        euros += costs.set + costs.dull * done.since_look / costs.look_hits + (costs.pull if left > 0 else 0.0)
        euros += float(law.after_a_stop(np.array([left]), torn=done.torn)[0])
    elif not done.torn:
        euros += law.handed_on(*_state(law, pulls[-1] if pulls else split.since, done.hits))
    stops = float(done.stop is not None)
    return _Ways(np.array([euros]), np.array([stops]), np.array([len(pulls) + stops]))


def _not_taken(law: _Law, done: JobDone, split: _Split, pulls: Sequence[float], at: Array) -> _Ways:
    """Each look at which it may have stopped first, and last that it did not."""
    costs, end = law.costs, done.hits
    grid = np.unique(np.r_[at[at > split.at], [p for p in pulls if p > split.at]])
    before = np.r_[split.at, grid[:-1]]
    begun, hazard = split.since, np.zeros(len(grid))
    waits = list(pulls)
    if waits and waits[0] == split.at:
        begun = waits.pop(0)
    low = split.at
    for high in (*waits, end):
        mine = (grid > low) & (grid <= high)
        lives, ran = _state(law, begun, low)
        hazard[mine] = np.diff(lives.die(np.r_[ran, ran + grid[mine] - low]))
        low = begun = high
    last = pulls[-1] if pulls else split.since
    sharp = np.exp(-np.r_[0.0, np.cumsum(np.maximum(hazard, 0.0))])
    chances = np.r_[sharp[:-1] - sharp[1:], sharp[-1]]
    runs_on = not (pulls and pulls[0] == split.at)
    if done.dull_at_start and runs_on and split.at == 0:
        chances = np.r_[1.0, np.zeros(len(grid))]
    paid = np.array([_pulled(costs, p) for p in pulls])
    earlier = (np.asarray(pulls)[None, :] < grid[:, None]) if pulls else np.zeros((len(grid), 0), bool)
    dull = costs.dull * (grid - before) / costs.look_hits + np.where(grid < end, costs.pull, 0.0)
    stopped = earlier @ paid + costs.set + dull + law.after_a_stop(end - grid, torn=done.torn)
    whole = float(paid.sum()) + (0.0 if done.torn else law.handed_on(*_state(law, last, end)))
    euros = np.r_[stopped, whole]
    stops = np.r_[np.ones(len(grid)), 0.0]
    teardowns = np.r_[earlier.sum(axis=1) + 1.0, float(len(pulls))]
    if done.dull_at_start and runs_on and split.at == 0:
        euros, stops, teardowns, chances = (row[:1] for row in (euros, stops, teardowns, chances))
    return _Ways(euros, stops, teardowns, chances)


@dataclass(frozen=True, kw_only=True)
class TeardownDone:
    """What came of a teardown. ground: [edges] which were. hits: of the die to the next teardown, or to today.
    found_dull: [edges] hits at which each was found dull by then, not-a-number where it was not."""

    ground: Mask
    hits: float
    found_dull: Array

    def __post_init__(self) -> None:
        found = self.found_dull[np.isfinite(self.found_dull)]
        if self.hits < 0 or (found < 0).any() or (found > self.hits).any():
            raise ReplayRefused(f"an edge was found dull outside the {self.hits:,.0f} hits to the next teardown.")


def of_teardown(
    now: Lives, fresh: Lives, costs: Costs, advised: Mask, done: TeardownDone, *, rates: Array | None = None
) -> Difference:
    """Which edges were ground over which were advised to be.

    now: of the die's edges as they were when it was apart, given that they were sharp; fresh: just ground; both by the
    law that is known today. advised: [edges] to grind. rates: sets.own_rates, where they are at hand from before.
    Raises ReplayRefused where edges do not match.
    """
    n = now.count
    if not (fresh.count == n == len(advised) == len(done.ground) == len(done.found_dull)):
        raise ReplayRefused(f"{n} edges now, {len(advised)} advised on and {len(done.ground)} that were ground or not.")
    differ = [int(e) for e in np.flatnonzero(advised != done.ground)]
    if not differ:
        return ALIKE
    gammas = _rates(fresh, costs, differ) if rates is None else rates[differ]
    delta = costs.dull + TORN_SHARE * costs.teardown
    x, count = done.hits, int(min(max(np.ceil(done.hits / costs.look_hits), 1), EDGE_LOOKS))
    at = np.linspace(0.0, x, count + 1)
    paid, handed_on, hazard = np.zeros(2), np.zeros((2, count + 1)), np.zeros(count + 1)
    was_dull = np.isfinite(done.found_dull[differ])
    stop = float(done.found_dull[differ][was_dull].min()) if was_dull.any() else None
    moments = at if stop is None else np.r_[at[:-1], stop]  # what was done is asked only where it came to its end
    for e, gamma, is_dull in zip(differ, gammas.tolist(), was_dull, strict=True):
        grind, chip_rate = float(costs.grind[e]), float(costs.chip_rate[e])
        for way, ground in enumerate((bool(done.ground[e]), bool(advised[e]))):
            edge = (fresh if ground else now).pick(e)
            asked = moments[-1:] if way == 0 else at
            worth = np.maximum(_edge_hands_on(edge, asked, chip_rate, delta, gamma), -grind)
            paid[way] += grind * ground
            handed_on[way, -len(asked) :] += 0.0 if way == 0 and is_dull else worth
        hazard += edge.die(at)
    known = paid[0] + handed_on[0, -1]
    if stop is not None:
        known += delta + float(gammas.sum()) * (x - stop)
    sharp = np.exp(-hazard)
    stopped = paid[1] + delta + float(gammas.sum()) * (x - at[1:]) + handed_on[1, 1:]
    values, chances = np.r_[stopped, paid[1] + handed_on[1, -1]], np.r_[sharp[:-1] - sharp[1:], sharp[-1]]
    stops = np.r_[np.ones(count), 0.0]
    more = np.where(done.ground, 1.0, -1.0)[differ]
    return Difference(
        euros=Bounds.of(known - values, chances),
        stops=Bounds.of(float(stop is not None) - stops, chances),
        steel_mm=Bounds.at(float(more @ costs.grind_mm[differ])),
    )


def _rates(fresh: Lives, costs: Costs, edges: list[int]) -> Array:
    """gamma of some of the edges."""
    columns = {name: getattr(costs, name)[edges] for name in ("grind", "chip_rate", "grind_hours", "grind_mm")}
    return own_rates(Lives(fresh.hits, fresh.ln_edges[edges], fresh.ln_die), replace(costs, **columns))


def _edge_hands_on(lives: Lives, ran: Array, chip_rate: float, delta: float, gamma: float) -> Array:
    """[n] w of an edge that has run so many hits [n] from the state of `lives` and is sharp."""
    z = np.linspace(0.0, lives.far(), EDGE_STEPS + 1)
    hazard = lives.die((ran[:, None] + z).ravel()).reshape(len(ran), -1)
    s, g = np.exp(hazard[:, :1] - hazard), np.exp(-chip_rate * z)
    both = s * g
    dull = np.cumsum((s[:, :-1] - s[:, 1:]) * (g[:-1] + g[1:]) / 2, axis=1)
    run = np.cumsum((both[:, :-1] + both[:, 1:]) / 2 * z[1], axis=1)
    return np.minimum((delta * dull - gamma * run).min(axis=1), 0.0)
