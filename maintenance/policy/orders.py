"""Run an order on, or sharpen first; and where inside the order a pull pays.

An order of Q hits is looked at at q_1 < q_2 ... < q_N = Q. From a state of the die, with D(x) the chance that no edge
is dull and G(x) that none chipped within x hits more:
    f_i = chance that the first stop is a dull edge found at look i, no chip before,
    R_i = D(q_i) G(q_i),   L_i = sum over looks to i of f delta,   I_i = expected hits to the first stop or to look i.
delta is larger at every look but the order's last, since the order is broken off there, and less where a look comes
sooner than usual after the one before: it is told for looks as far apart as usual. Each way of going on ends in a
teardown, so that running on to look i instead of sharpening now costs
    A_i = L_i - g I_i + (R_i pull at a planned pull inside the order),
g the cost a hit in the long run (replacement.of_die). Sharpen first where A is above nought at every look; else run,
and pull at the look where A is least. A is what the decision is worth in money.

A fresh die that is not pulled before r looks have passed costs J_0(r) = C + min over x >= q_r of A(x), nought as long
as r lies within T*; with k pulls J_k(r) = C + min over i < r of (A_i + R_i (pull + J_k-1(r - i))). Sharpening first is
J_k(N), running as it stands and pulling k times min over i of A_i + R_i (pull + J_k-1(N - i)).

What the order costs raw, run on against sharpened, must not be compared: a fresh die hands on what is left of it.
The rule is that of one step ahead, right where the hazard rises; on simulated shops it was within 1.2 % of the same
rules on true lives (README).
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, field, replace
from typing import Protocol

import numpy as np
from numpy.typing import ArrayLike, NDArray

from .costs import Costs
from .lives import Lives, Mask, mixture
from .replacement import DieInterval, interval, least_rate, of_die, sums
from .sets import GrindChoice, worth_grinding

Array = NDArray[np.float64]

FINE = 6  # steps between two looks
PARTS = np.arange(1, FINE + 1) / FINE
MOST_LOOKS = 60  # an order with more is looked at less often in the reckoning
BEYOND = 24  # steps past the order's end
MOST_PULLS = 8
QUICK_STEPS = 240  # of the sums where a decision is asked again at other inputs
FARTHEST = 8.0  # factor at which an input is asked whether it would turn the decision
SURE_NODES, SURE_WEIGHTS = np.polynomial.hermite_e.hermegauss(7)
SURE_WEIGHTS = SURE_WEIGHTS / SURE_WEIGHTS.sum()
COSTS_ASKED = ("teardown", "grind", "dull", "pull")
AS_IT_STANDS, WORTH, SET, ONE_EDGE, SWAP = "as it stands", "what pays", "the set", "one edge", "from the shelf"


class OrderRefused(ValueError):
    """An order of no hits; the message says how many were told."""


def looks(order_hits: float, look_hits: float) -> Array:
    """[N] hits of the order at its looks, the last one its end. Raises OrderRefused without hits."""
    if not (np.isfinite(order_hits) and order_hits > 0):
        raise OrderRefused(f"an order of {order_hits:,.0f} hits; there is nothing to run.")
    step = max(look_hits, order_hits / MOST_LOOKS)
    n = max(int(np.ceil(order_hits / step - 1e-9)), 1)
    return np.r_[np.arange(1, n) * step, order_hits]


class Ahead(Protocol):
    """What a path is laid through: H of the first dull edge."""

    def die(self, x: ArrayLike) -> Array: ...


@dataclass(frozen=True)
class Path:
    """From a state along looks. at: [n + 1] hits from nought. dull, chipped, reached: [n + 1] chance that the first
    stop was a dull edge, or a chip, by then, or that none was. hits: [n + 1] I_i. loss: [n + 1] L_i."""

    at: Array
    dull: Array
    chipped: Array
    reached: Array
    hits: Array
    loss: Array

    @classmethod
    def of(cls, lives: Ahead, costs: Costs, at: Array, delta: float | Array, *, spread: bool = False) -> Path:
        """at: [n] rising hits. delta: of a dull edge found, at each. spread: looks lie as close as they do on orders
        and not at `at`, so that a dull edge runs on for half a look."""
        q = _from_nought(at)
        x = _from_nought((q[:-1, None] + (q[1:] - q[:-1])[:, None] * PARTS).ravel())
        d, g = np.exp(-lives.die(x)), np.exp(-costs.chips_a_hit * x)
        f = (d[:-1] - d[1:]) * (g[:-1] + g[1:]) / 2
        c = (g[:-1] - g[1:]) * (d[:-1] + d[1:]) / 2
        both, middle = d * g, (x[:-1] + x[1:]) / 2
        on = costs.look_hits / 2 if spread else np.repeat(at, FINE) - middle
        run = (x[1:] - x[:-1]) * (both[:-1] + both[1:]) / 2 + f * on
        every = np.cumsum(np.stack([f, c, run]).reshape(3, -1, FINE).sum(axis=2), axis=1)
        dull, chipped, hits = (_from_nought(row) for row in every)
        return cls(q, dull, chipped, both[::FINE], hits, _from_nought(np.cumsum((dull[1:] - dull[:-1]) * delta)))

    def advantage(self, rate: float) -> Array:
        """[n + 1] A_i without a pull: below nought, running on to there is cheaper than sharpening now."""
        return self.loss - rate * self.hits


def _from_nought(values: Array) -> Array:
    return np.concatenate((np.zeros(1), values))


@dataclass(frozen=True)
class _Later:
    """A die after hits in which nothing went dull."""

    lives: Lives
    hits: float

    def die(self, x: ArrayLike) -> Array:
        h = self.lives.die(np.concatenate((np.array([0.0]), np.asarray(x, float))) + self.hits)
        return np.maximum(h[1:] - h[0], 0.0)


def _deltas(costs: Costs, at: Array) -> Array:
    """Of a dull edge found at each look: parts since the look before are sorted, fewer where that was not long ago."""
    deltas = costs.dull * (at - np.concatenate((np.zeros(1), at[:-1]))) / costs.look_hits + costs.pull
    deltas[-1] -= costs.pull
    return deltas


def along(lives: Ahead, costs: Costs, at: Array) -> Path:
    """The order's own looks."""
    return Path.of(lives, costs, at, _deltas(costs, at))


@dataclass(frozen=True)
class Pull:
    """look: 0 sharpen first, N run the order whole, between them pull at that look. advantage: A there; against
    sharpening first, below nought where running is cheaper. running: A at the best look that is not the first."""

    look: int
    hits: float
    advantage: float
    running: float


def pull_at(lives: Ahead, costs: Costs, rate: float, at: Array, *, path: Path | None = None) -> Pull:
    """The cheapest look to pull at. rate: g of the die. at: as of `looks`."""
    path = path or along(lives, costs, at)
    a = path.advantage(rate)
    a[1:-1] += path.reached[1:-1] * costs.pull
    best = int(a.argmin())
    return Pull(best, float(path.at[best]), float(a[best]), float(a[1:].min()))


@dataclass(frozen=True)
class _Course:
    """What money does not enter, of one state: along the order, and past its end where nothing has stopped it. n: looks
    of the order. beyond_dull, beyond_hits: [BEYOND + 1] as of Path, from the order's end."""

    path: Path
    n: int
    beyond_dull: Array
    beyond_hits: Array

    @classmethod
    def of(cls, lives: Lives, costs: Costs, at: Array, reach: float) -> _Course:
        path, end = along(lives, costs, at), float(at[-1])
        far = np.linspace(0.0, max(1.5 * reach, end / 2), BEYOND + 1)[1:]
        if path.reached[-1] < 1e-9:
            return cls(path, len(at), np.zeros(1), np.zeros(1))
        after = Path.of(_Later(lives, end), costs, far, 0.0, spread=True)
        return cls(path, len(at), after.dull, after.hits)

    def advantages(self, costs: Costs, rate: float) -> tuple[Array, float]:
        """[n + 1] A_i without a pull, and the least of A where the order is run whole and the die goes on after it."""
        dull = self.path.dull
        a = _from_nought(np.cumsum((dull[1:] - dull[:-1]) * _deltas(costs, self.path.at[1:]))) - rate * self.path.hits
        on = costs.usual_dull(self.n) * self.beyond_dull - rate * self.beyond_hits  # nought at once
        return a, float(a[-1] + self.path.reached[-1] * on.min())


@dataclass(frozen=True)
class _Values:
    """Of every plan: A where the die runs as it stands with k pulls [K], J_k of a fresh one [K, n + 1], and the look of
    the first pull of each (0: none)."""

    running: list[tuple[float, int]]
    fresh: Array
    first: NDArray[np.int64]

    @classmethod
    def of(cls, now: _Course, fresh: _Course, costs: Costs, rate: float, most: int) -> _Values:
        n = now.n
        a, whole = fresh.advantages(costs, rate)
        j = np.full((most + 1, n + 1), np.inf)
        first = np.zeros((most + 1, n + 1), np.int64)
        onward = a.copy()
        onward[-1] = whole
        onward = np.minimum.accumulate(onward[::-1])[::-1]
        # A fresh die never costs less than g a hit: what is less comes of the order's last look, which is no pull.
        j[0] = np.maximum(costs.set + onward, 0.0)
        i, r = np.arange(n + 1)[:, None], np.arange(n + 1)
        inside = (i >= 1) & (i < r)
        for k in range(1, most + 1):
            then = j[k - 1][np.maximum(r - i, 0)]
            at = np.where(inside, a[:, None] + fresh.path.reached[:, None] * (costs.pull + then), np.inf)
            first[k] = at.argmin(axis=0)
            j[k] = np.maximum(costs.set + at.min(axis=0), 0.0)
        a, whole = now.advantages(costs, rate)
        running = [(whole, 0)]
        for k in range(1, most + 1):
            values = a[1:-1] + now.path.reached[1:-1] * (costs.pull + j[k - 1][n - np.arange(1, n)])
            best = int(values.argmin())
            running.append((float(values[best]), best + 1))
        return cls(running, j, first)

    def pulls_of_fresh(self, k: int, begin: int) -> tuple[int, ...]:
        """The looks of the order at which a die that is fresh at look `begin` is pulled k times."""
        at, n = begin, self.fresh.shape[1] - 1
        found = []
        for left in range(k, 0, -1):
            at += int(self.first[left][n - at])
            found.append(at)
        return tuple(found)

    @property
    def margin(self) -> float:
        """Running as it stands over sharpening first, each in its best way: below nought, run."""
        return min(value for value, _ in self.running) - float(self.fresh[:, -1].min())


def _most_pulls(n: int, order_hits: float, usual: DieInterval) -> int:
    """How many pulls inside the order are reckoned with: two, and more where it is many intervals long."""
    return int(min(max(2, np.ceil(order_hits / usual.reach) + 1), MOST_PULLS, n - 1))


@dataclass(frozen=True, kw_only=True)
class Option:
    """One way to run the order. start: what is done before it. ground: [edges] which are then fresh. pulls: hits of the
    order at which the set is sharpened in it, planned. allowed: False where the die may not run like that.

    chance: that the order is finished without any stop that was not planned. stops: expected ones. scrap_parts, euros,
    bench_hours, press_hours: expected within the order, what is done before it and after stops included. steel_mm:
    [edges] expected. next_chance: that another order as long is then finished without sharpening, nothing having
    stopped this one. against_best: how much dearer than the best, with all that is handed on counted; 0 for the best.
    """

    start: str
    ground: Mask
    pulls: tuple[float, ...]
    chance: float
    stops: float
    scrap_parts: float
    euros: float
    bench_hours: float
    press_hours: float
    steel_mm: Array
    next_chance: float
    advantage: float
    against_best: float = 0.0
    allowed: bool = True

    @property
    def sharpens_first(self) -> bool:
        return self.start != AS_IT_STANDS


@dataclass(frozen=True, kw_only=True)
class Turn:
    """By what factor an input has to change for another option to be best; None where not within 8 times or an
    eighth. of: a cost's name, "lives" (all hits that edges last), or "order" (its hits)."""

    of: str
    factor: float | None


@dataclass(frozen=True, kw_only=True)
class Decision:
    """options: the best first. usual: interval and cost a hit of the die. choice: what pays to grind while apart. gain:
    of the best over the next that differs in whether the die is sharpened before the order, and over the next at all.
    sure: in what share of the ways that the lives may fall out the best stays before the other. turns: what would
    turn it."""

    options: tuple[Option, ...]
    usual: DieInterval
    choice: GrindChoice
    gain: float
    gain_over_next: float
    sure: float
    turns: tuple[Turn, ...] = field(default=())

    @property
    def best(self) -> Option:
        return self.options[0]

    def named(self, start: str, pulls: int = 0) -> Option:
        """The option with that start and so many pulls; raises StopIteration where there is none."""
        return next(o for o in self.options if o.start == start and len(o.pulls) == pulls)


@dataclass(frozen=True)
class _Plan:
    start: str
    ground: Mask
    lives: Lives
    pulls: tuple[int, ...]
    advantage: float


def decide(
    now: Lives,
    fresh: Lives,
    costs: Costs,
    order_hits: float,
    *,
    bad: Iterable[int] = (),
    on_shelf: Iterable[int] = (),
    limiting: int | None = None,
    ln_sd: float = 0.0,
    with_turns: bool = True,
) -> Decision:
    """The options of an order, the best first.

    now, fresh: lives of the die's edges as they are and as they would be just ground. bad: edges known to be dull,
    chipped or cracked: the die may then not run as it stands, and they are ground whatever is. on_shelf: edges for
    which a ground piece lies on the shelf. limiting: the edge that "one edge" means; None: the likeliest to be first.
    ln_sd: how unsure the usual hits are, sd of the logarithm, for `sure`. with_turns: False leaves `turns` out.
    Raises OrderRefused for an order without hits; LivesRefused and CostsRefused where edges do not match.
    """
    at = looks(order_hits, costs.look_hits)
    usual = of_die(fresh, costs, order_looks=len(at))
    known_bad = np.zeros(now.count, bool)
    known_bad[list(bad)] = True
    choice = worth_grinding(now, fresh, costs, usual, bad=known_bad)
    most = _most_pulls(len(at), order_hits, usual)
    of_fresh = _Course.of(fresh, costs, at, usual.reach)
    values = _Values.of(_Course.of(now, costs, at, usual.reach), of_fresh, costs, usual.rate, most)
    plans = _of_running(values, now)
    plans += _of_sharpening(values, now, fresh, choice, known_bad, limiting, on_shelf)
    told = [_option(plan, of_fresh.path, costs, usual, at, fresh, runs=not known_bad.any()) for plan in plans]
    told.sort(key=lambda o: (not o.allowed, round(o.advantage, 6), len(o.pulls)))
    best = told[0]
    options = tuple(replace(o, against_best=o.advantage - best.advantage) for o in told)
    other = next((o for o in options if o.allowed and o.sharpens_first != best.sharpens_first), None)
    after = next((o for o in options[1:] if o.allowed), None)
    sure = 1.0
    turns: tuple[Turn, ...] = ()
    if other:
        sides = _Sides(now, fresh, costs, order_hits)
        sure = sides.sure(best.sharpens_first, ln_sd)
        turns = sides.turns() if with_turns else ()
    return Decision(
        options=options,
        usual=usual,
        choice=choice,
        gain=other.against_best if other else float("inf"),
        gain_over_next=after.against_best if after else float("inf"),
        sure=sure,
        turns=turns,
    )


@dataclass(frozen=True)
class Verdict:
    """margin: what running on costs over sharpening first, each in its best way; below nought, run. pulls: hits of the
    order at which it is then pulled inside it."""

    margin: float
    pulls: tuple[float, ...]


def run_or_sharpen(now: Lives, fresh: Lives, costs: Costs, order_hits: float, usual: DieInterval) -> Verdict:
    """The decision alone, as `decide` makes it. usual: of the die, as of replacement.of_die."""
    at = looks(order_hits, costs.look_hits)
    most = _most_pulls(len(at), order_hits, usual)
    as_is, ground = (_Course.of(state, costs, at, usual.reach) for state in (now, fresh))
    values = _Values.of(as_is, ground, costs, usual.rate, most)
    k = int(np.argmin([value for value, _ in values.running]))
    look = values.running[k][1]
    pulls = (look, *values.pulls_of_fresh(k - 1, look)) if k else ()
    return Verdict(values.margin, tuple(float(at[i - 1]) for i in pulls))


def _worth_telling(values: list[float]) -> list[int]:
    """How often to pull: not at all, once, twice, and what is best where that is more."""
    return sorted({*range(min(3, len(values))), int(np.argmin(values))})


def _of_running(values: _Values, now: Lives) -> list[_Plan]:
    nothing = np.zeros(now.count, bool)
    plans = []
    for k in _worth_telling([value for value, _ in values.running]):
        value, look = values.running[k]
        pulls = (look, *values.pulls_of_fresh(k - 1, look)) if k else ()
        plans.append(_Plan(AS_IT_STANDS, nothing, now, pulls, value))
    return plans


def _of_sharpening(
    values: _Values,
    now: Lives,
    fresh: Lives,
    choice: GrindChoice,
    bad: Mask,
    limiting: int | None,
    on_shelf: Iterable[int],
) -> list[_Plan]:
    """The set that pays and other sets: each edge in which they differ from it costs what grinding it is worth."""
    every = np.ones(now.count, bool)
    sets_of: list[tuple[str, Mask]] = [(WORTH, choice.grind if choice.grind.any() else every)]
    if not sets_of[0][1].all():
        sets_of.append((SET, every))
    if limiting is None:
        limiting = int(now.edges([now.far() / 4])[:, 0].argmax())
    one, shelf = bad.copy(), np.zeros(now.count, bool)
    one[limiting] = True
    shelf[list(on_shelf)] = True
    shelf &= choice.grind | one
    if now.count > 1:
        sets_of.append((ONE_EDGE, one))
    if shelf.any() and not (bad & ~shelf).any():
        sets_of.append((SWAP, shelf))
    of_fresh = values.fresh[:, -1]
    plans = []
    for start, ground in sets_of:
        missed = float(np.where(ground != sets_of[0][1], np.abs(choice.worth), 0.0).sum())
        lives = mixture(now, fresh, ground)
        for k in _worth_telling(list(of_fresh)) if start == WORTH else (0,):
            plans.append(_Plan(start, ground, lives, values.pulls_of_fresh(k, 0), float(of_fresh[k]) + missed))
    return plans


def _option(
    plan: _Plan, of_fresh: Path, costs: Costs, usual: DieInterval, at: Array, fresh: Lives, *, runs: bool
) -> Option:
    """What to expect within the order: piece by piece between planned pulls, each from its own state."""
    n = len(at)
    first = plan.start != AS_IT_STANDS
    swaps = plan.start == SWAP
    bench = (costs.swap_hours * plan.ground.sum() if swaps else costs.grind_hours[plan.ground].sum()) if first else 0.0
    hours = float(bench) + (costs.teardown_hours if first else 0.0)
    euros = costs.teardown + float(costs.grind[plan.ground].sum()) if first else 0.0
    set_hours = costs.teardown_hours + float(costs.grind_hours.sum())
    chance, stops, dull, press, torn = 1.0, 0.0, 0.0, 0.0, 0.0
    begins = (0, *plan.pulls)
    for begin, end in zip(begins, (*plan.pulls, n), strict=True):
        last = end == n
        if begin == 0:
            path = along(plan.lives, costs, at)
            here = slice(0, end + 1)
        else:
            path, here = of_fresh, slice(0, end - begin + 1)
        f, c, reached = np.diff(path.dull[here]), np.diff(path.chipped[here]), float(path.reached[here][-1])
        left = at[-1] - np.r_[0.0, at][begin + 1 : end + 1]
        ran_to = float(left @ (f + c))  # hits of the order left after the stop
        stopped = float(f.sum() + c.sum())
        broken = stopped - (float(f[-1]) if last else 0.0)
        rest = ran_to / max(usual.mean_hits, 1e-9)  # intervals of the long run in what is left
        stops += chance * (stopped + rest * (usual.dull + usual.chipped))
        dull += chance * (float(f.sum()) + rest * usual.dull)
        press += chance * (broken + rest * (usual.dull + usual.chipped))
        torn += chance * (broken + rest)
        chance *= reached
        if not last:
            press, torn = press + chance, torn + chance
    euros += torn * costs.set + dull * costs.dull + press * costs.pull
    used = np.where(plan.ground & first, costs.grind_mm, 0.0) + torn * costs.grind_mm
    if plan.pulls:
        since = np.array([at[-1] - at[plan.pulls[-1] - 1]])
        next_chance = fresh.die(since + at[-1]) - fresh.die(since)
    else:
        next_chance = plan.lives.die(2 * at[-1:]) - plan.lives.die(at[-1:])
    return Option(
        start=plan.start,
        ground=plan.ground,
        pulls=tuple(float(at[i - 1]) for i in plan.pulls),
        chance=chance,
        stops=stops,
        scrap_parts=dull * costs.scrap_parts,
        euros=euros,
        bench_hours=hours + torn * set_hours,
        press_hours=press * costs.stop_hours,
        steel_mm=used,
        next_chance=float(np.exp(-next_chance[0] - costs.chips_a_hit * at[-1])),
        advantage=plan.advantage,
        allowed=first or runs,
    )


@dataclass(frozen=True)
class _Sides:
    """Running as it stands against sharpening first, at other inputs than the ones given."""

    now: Lives
    fresh: Lives
    costs: Costs
    order_hits: float

    def margin(self, *, lives: float = 1.0, order: float = 1.0) -> Callable[[Costs], float]:
        """A of running over A of sharpening first as a function of what things cost: below nought, run."""
        order_hits = self.order_hits * order
        at = looks(order_hits, self.costs.look_hits)
        now, fresh = (self.now.scaled(lives), self.fresh.scaled(lives)) if lives != 1 else (self.now, self.fresh)
        s = sums(fresh, self.costs.chips_a_hit, self.costs.look_hits, steps=QUICK_STEPS)
        usual = interval(s, self.costs, order_looks=len(at))
        as_is, ground = (_Course.of(state, self.costs, at, usual.reach) for state in (now, fresh))
        most = _most_pulls(len(at), order_hits, usual)

        def at_costs(costs: Costs) -> float:
            rate = usual.rate if costs is self.costs else least_rate(s, costs, len(at))
            return _Values.of(as_is, ground, costs, rate, most).margin

        return at_costs

    def sure(self, sharpens: bool, ln_sd: float) -> float:
        """Share of a normal curve of ln of all lives in which the same side is better."""
        if ln_sd <= 0:
            return 1.0
        margins = np.array([self.margin(lives=float(np.exp(ln_sd * z)))(self.costs) for z in SURE_NODES])
        return min(float(SURE_WEIGHTS[(margins > 0) == sharpens].sum()), 1.0)

    def turns(self) -> tuple[Turn, ...]:
        """Where the side changes, the nearest change of each input."""
        of_costs = self.margin()
        here = of_costs(self.costs)
        told = [
            Turn(of=name, factor=_nearest(lambda by, name=name: of_costs(self.costs.times(name, by)), here))  # type: ignore[misc]
            for name in COSTS_ASKED
        ]
        told.append(Turn(of="lives", factor=_nearest(lambda by: self.margin(lives=by)(self.costs), here)))
        told.append(Turn(of="order", factor=_nearest(lambda by: self.margin(order=by)(self.costs), here)))
        return tuple(told)


def _nearest(margin: Callable[[float], float], here: float) -> float | None:
    """The factor nearest to 1, up or down, at which the sign of the margin changes: to some 2 % of itself."""
    found: list[float] = []
    for towards in (0.5, 2.0):
        low, high = 1.0, towards
        while changed := (margin(high) > 0) == (here > 0):
            if not 1 / FARTHEST < high < FARTHEST:
                break
            low, high = high, high * towards
        if changed:
            continue
        for _ in range(5):
            middle = float(np.sqrt(low * high))
            low, high = (middle, high) if (margin(middle) > 0) == (here > 0) else (low, middle)
        found.append(float(np.sqrt(low * high)))
    return min(found, key=lambda f: abs(np.log(f))) if found else None
