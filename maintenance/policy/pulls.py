"""When to pull which die in the weeks ahead, over all its jobs, with the hours that the bench has.

A die runs its jobs one after another; it is looked at as often as `looks` says, and may be pulled before a job or,
dearer by `pull`, at a look inside one. Its state is the hits since it was sharpened. Between two looks t and t + 1 it
goes dull with the chance f = 1 - exp(H(x_t) - H(x_t+1)) (a chip besides), is found so at t + 1, sharpened, and goes on:
    W(t, r) = f (dull + C + pull inside a job + W(t+1, fresh)) + (1 - f) V(t+1, r),
    V(t, r) = min(W(t, r), C + pull inside a job + W(t, fresh)),
r the look at which it was last fresh. At the end of the last job what is left of the die counts: C less what it still
saves, C + min over x of (delta F(x) - g I(x)) from where it stands, nought for a fresh one (orders.py). That is solved
exactly, backwards; in the plan stand the pulls of the way on which nothing goes dull before.

What bench hours bind: every die brings the cheapest course with its first two pulls in each pair of weeks, and without;
one course a die is chosen so that the sum is least and no week takes more hours than it has. Courses do not depend on
the hours, so that more hours are never dearer. Work after stops that nobody planned comes on top of the plan.

R. Bellman, Equipment replacement policy, J. Soc. Indust. Appl. Math. 3 (1955) 133-136 (from memory).
"""

from __future__ import annotations

from collections.abc import Hashable, Iterable, Sequence
from dataclasses import dataclass, field
from itertools import pairwise

import numpy as np
import scipy
from numpy.typing import ArrayLike, NDArray

from .costs import Costs
from .lives import Lives
from .orders import looks
from .replacement import DieInterval, Sums, interval, sums

Array = NDArray[np.float64]
Table = NDArray[np.bool_]
MOST_LOOKS = 90  # of a die over all its jobs: with more it is looked at less often in the reckoning
COURSES = 48  # of one die, the cheapest; and the one without a pull
SECONDS = 6.0  # for the choice among courses; then the best one found
CLOSE = 1e-9


class PullsRefused(ValueError):
    """Jobs or hours from which no plan follows; the message says why."""


@dataclass(frozen=True, kw_only=True)
class Job:
    """hits of the die that are left of it; start, end: weeks from now, as numbers with a part. begun: it runs already,
    so that pulling the die now breaks it off."""

    name: Hashable
    hits: float
    start: float
    end: float
    begun: bool = False


@dataclass(frozen=True)
class Replacing:
    """A course of looks with what it costs: the exact plan of one die, or of any machine that ages and is replaced.

    run: [states, T] expected cost of going on from look t, what a failure there costs included. fails: [states, T]
    chance of failing then, after which it is fresh. pull: [states, T] cost of making it fresh at look t. end: [states]
    cost that goes with the state at the end. State 0 is as it stands now; state r + 1 was made fresh at look r.
    """

    run: Array
    fails: Array
    pull: Array
    end: Array
    going: Array = field(init=False)  # W: [states, T + 1], inf where a state cannot be
    value: Array = field(init=False)  # V

    def __post_init__(self) -> None:
        states, n = self.run.shape
        going, value = np.full((states, n + 1), np.inf), np.full((states, n + 1), np.inf)
        going[:, n] = value[:, n] = self.end
        for t in range(n - 1, -1, -1):
            here = slice(0, t + 2)  # as it stands, and fresh at 0 to t
            f = self.fails[here, t]
            stopped = f * going[t + 2, t + 1] if f.any() else 0.0
            going[here, t] = self.run[here, t] + stopped + (1 - f) * value[here, t + 1]
            value[here, t] = np.minimum(going[here, t], self.pull[here, t] + going[t + 1, t])
        object.__setattr__(self, "going", going)
        object.__setattr__(self, "value", value)

    @property
    def looks(self) -> int:
        return self.run.shape[1]

    @property
    def best(self) -> float:
        return float(self.value[0, 0])

    def pulls_from(self, state: int, look: int) -> tuple[int, ...]:
        """Where the best plan pulls on the way on which nothing fails. At equal cost it goes on."""
        found = []
        for t in range(look, self.looks):
            if self.going[state, t] > self.value[state, t] + CLOSE * (1 + abs(self.value[state, t])):
                found.append(t)
                state = t + 1
        return tuple(found)

    def of_rule(self, pulls: Table) -> float:
        """What a rule costs that pulls in the states and at the looks marked, [states, T]."""
        states, n = self.run.shape
        after = self.end.copy()
        for t in range(n - 1, -1, -1):
            here = slice(0, t + 2)
            f = self.fails[here, t]
            going = self.run[here, t] + (f * after[t + 2] if f.any() else 0.0) + (1 - f) * after[here]
            before = np.full(states, np.inf)
            before[here] = np.where(pulls[here, t], self.pull[here, t] + going[t + 1], going)
            before[t + 1] = going[t + 1]  # just made fresh
            after = before
        return float(after[0])

    def until(self) -> tuple[Array, Array]:
        """[states, T + 1] expected cost from the start of a state to look t if it is not pulled before, after a failure
        the best plan followed; and the chance to come there. States start at their own look, as it stands at 0."""
        states, n = self.run.shape
        cost, reached = np.zeros((states, n + 1)), np.zeros((states, n + 1))
        reached[0, 0] = 1.0
        for t in range(n):
            reached[t + 1, t] = 1.0
            here = slice(0, t + 2)
            f = self.fails[here, t]
            stopped = f * self.going[t + 2, t + 1] if f.any() else 0.0
            cost[here, t + 1] = cost[here, t] + reached[here, t] * (self.run[here, t] + stopped)
            reached[here, t + 1] = reached[here, t] * (1 - f)
        return cost, reached


@dataclass(frozen=True, kw_only=True)
class Course:
    """One way to pull a die: weeks of its pulls (the number of weeks for later ones), the looks, what it costs over
    the best one, and bench hours in each week, [weeks]."""

    weeks: tuple[int, ...]
    looks: tuple[int, ...]
    dearer: float
    hours: Array


@dataclass(frozen=True, kw_only=True)
class DieAhead:
    """All that the plan knows of one die. at: [T] hits at each look, before_job: [T] which job comes next there,
    inside: [T] whether a pull breaks that job off. from_week, to_week: [T] when it can be pulled there. must: it is
    pulled at once, besides. euros: of the best course over its jobs, what is left of the die at the end counted against
    it. never: more, if it is never pulled early. first: [weeks + 1] how much dearer it is to pull it first in that week
    (the last: later on), infinite where it cannot be; not_at_all: with no pull planned. usual: interval and cost a hit.
    """

    name: Hashable
    replacing: Replacing
    at: Array
    before_job: NDArray[np.int64]
    inside: Table
    from_week: NDArray[np.int64]
    to_week: NDArray[np.int64]
    hours: float
    must: bool
    usual: DieInterval
    euros: float
    never: float
    first: Array
    not_at_all: float
    courses: tuple[Course, ...]

    def by_rule(self, every_hits: float, on_it_hits: float) -> float:
        """How much dearer than the best: pulled before the first job that begins with so many hits on it or more."""
        states, n = self.replacing.run.shape
        since = np.zeros((states, n))
        since[0] = on_it_hits + self.at
        for r in range(n):
            since[r + 1] = self.at - self.at[r]
        return self.replacing.of_rule((since >= every_hits) & ~self.inside) - self.euros


def of_die(
    name: Hashable,
    now: Lives,
    fresh: Lives,
    costs: Costs,
    jobs: Sequence[Job],
    *,
    weeks: int,
    hours: float | None = None,
    must: bool = False,
) -> DieAhead:
    """The courses of one die over its jobs, in the order in which they run. hours: of one pull at the bench; None: as
    the costs say. must: something is wrong with it, so that it is pulled before it runs at all, whatever that takes;
    `now` is then how it stands afterwards, and what is planned goes on from there. Raises PullsRefused without jobs or
    hits, or where jobs overlap in time."""
    jobs = list(jobs)
    if not jobs:
        raise PullsRefused(f"{name} has no job ahead.")
    if any(job.hits <= 0 for job in jobs):
        raise PullsRefused(f"a job of {name} has no hits left.")
    if any(job.end < job.start for job in jobs) or any(b.start < a.start for a, b in pairwise(jobs)):
        raise PullsRefused(f"the jobs of {name} are not in the order in which they run.")
    slots = _Slots.of(jobs, costs, weeks)
    usual_looks = float(np.mean([max(np.ceil(job.hits / costs.look_hits), 1) for job in jobs]))
    of_fresh = sums(fresh, costs.chips_a_hit, costs.look_hits)
    usual = interval(of_fresh, costs, order_looks=usual_looks)
    delta = costs.usual_dull(usual_looks)
    replacing = _replacing(now, fresh, costs, slots, usual.rate, delta, of_fresh)
    took = costs.teardown_hours + float(costs.grind_hours.sum()) if hours is None else hours
    cost, reached = replacing.until()
    n, best = replacing.looks, replacing.best
    fresh_at = replacing.going[np.arange(1, n + 1), np.arange(n)]  # W of a die fresh at each look
    first = cost[0, :n] + reached[0, :n] * (replacing.pull[0] + fresh_at) - best
    not_at_all = float(cost[0, n] + reached[0, n] * replacing.end[0] - best)
    by_week = np.array([_least(first, slots.in_week(w)) for w in range(weeks + 1)])
    return DieAhead(
        name=name,
        replacing=replacing,
        at=slots.at[:-1],
        before_job=slots.before_job,
        inside=slots.inside[:-1],
        from_week=slots.from_week,
        to_week=slots.to_week,
        hours=took,
        must=must,
        usual=usual,
        euros=best,
        never=replacing.of_rule(np.zeros(replacing.run.shape, bool)) - best,
        first=by_week,
        not_at_all=max(not_at_all, 0.0),
        courses=_courses(replacing, slots, took, cost, reached, not_at_all),
    )


def _least(values: Array, among: Table) -> float:
    return float(np.maximum(values[among].min(), 0.0)) if among.any() else np.inf


@dataclass(frozen=True)
class _Slots:
    """Looks of a die over its jobs. at: [T + 1] hits. inside: [T + 1] whether a stop there breaks a job off."""

    at: Array
    inside: Table
    before_job: NDArray[np.int64]
    from_week: NDArray[np.int64]
    to_week: NDArray[np.int64]
    weeks: int

    @classmethod
    def of(cls, jobs: Sequence[Job], costs: Costs, weeks: int) -> _Slots:
        step = max(costs.look_hits, sum(job.hits for job in jobs) / MOST_LOOKS)
        at: list[float] = [0.0]
        inside: list[bool] = [jobs[0].begun]
        before, since, until = [], [], []
        free = 0.0
        for j, job in enumerate(jobs):
            begins = at[-1]
            q = np.r_[0.0, looks(job.hits, step)]
            when = job.start + (job.end - job.start) * q / job.hits
            for i in range(len(q) - 1):
                before.append(j)
                since.append(int(free if i == 0 else max(when[i], 0.0)))
                until.append(int(max(when[i], 0.0)))
                at.append(begins + float(q[i + 1]))
                inside.append(i + 2 < len(q))
            free = max(job.end, 0.0)
        first, last = np.minimum(since, weeks), np.minimum(until, weeks)
        return cls(np.array(at), np.array(inside), np.array(before), first, np.maximum(first, last), weeks)

    def in_week(self, week: int) -> Table:
        return np.asarray((self.from_week <= week) & (week <= self.to_week))


def _replacing(
    now: Lives, fresh: Lives, costs: Costs, slots: _Slots, rate: float, delta: float, of_fresh: Sums
) -> Replacing:
    at, n = slots.at, len(slots.at) - 1
    h = np.zeros((n + 2, n + 1))
    h[0] = now.die(at)
    gone = at[None, :] - at[:, None]
    h[1:] = np.where(gone > 0, fresh.die(np.maximum(gone, 0.0).ravel()).reshape(gone.shape), 0.0)
    step = np.maximum(np.diff(h, axis=1), 0.0)
    chips = costs.chips_a_hit * np.diff(at)[None, :]
    dull = -np.expm1(-step) * np.exp(-chips / 2)
    fails = -np.expm1(-(step + chips))
    broken = costs.set + np.where(slots.inside[1:], costs.pull, 0.0)
    run = np.minimum(dull, fails) * costs.dull + fails * broken[None, :]
    pull = np.broadcast_to(costs.set + np.where(slots.inside[:-1], costs.pull, 0.0), (n + 2, n))
    of_now = sums(now, costs.chips_a_hit, costs.look_hits)
    end = np.r_[_left(of_now, costs, rate, delta, at[-1:]), _left(of_fresh, costs, rate, delta, at[-1] - at)]
    return Replacing(run, fails, np.array(pull), end)


def _left(s: Sums, costs: Costs, rate: float, delta: float, hits: Array) -> Array:
    """What goes with a die at the end of its jobs, [n] for each of so many hits since the law `s` began: nought for a
    fresh one, the whole of a sharpening for one that is due."""
    phi = delta * s.dull - rate * s.hits
    onward = np.minimum.accumulate(phi[::-1])[::-1]
    alive = np.maximum(1 - s.dull - s.chipped, 1e-12)
    left = costs.set + (onward - phi) / alive
    return np.clip(np.interp(hits, s.at, left, right=costs.set), 0.0, costs.set)


def _courses(
    replacing: Replacing, slots: _Slots, took: float, cost: Array, reached: Array, not_at_all: float
) -> tuple[Course, ...]:
    n, weeks, best = replacing.looks, slots.weeks, replacing.best
    look = np.arange(n)
    pull = replacing.pull[0]
    # From fresh at t to the next pull at a later u, and to none; then the best plan.
    onward = cost[1 : n + 1, :n] + reached[1 : n + 1, :n] * (pull + replacing.going[look + 1, look])
    ending = cost[1 : n + 1, n] + reached[1 : n + 1, n] * replacing.end[1 : n + 1]
    head, gets = cost[0, :n] + reached[0, :n] * pull - best, reached[0, :n]
    found = [Course(weeks=(), looks=(), dearer=max(not_at_all, 0.0), hours=np.zeros(weeks + 1))]
    members = [np.flatnonzero(slots.in_week(w)) for w in range(weeks + 1)]
    for w, firsts in enumerate(members):
        if not len(firsts):
            continue
        once = head[firsts] + gets[firsts] * ending[firsts]
        i = int(once.argmin())
        found.append(_course((w,), (int(firsts[i]),), float(once[i]), took, weeks))
        for v in range(w, weeks + 1):
            seconds = members[v]
            if not len(seconds):
                continue
            twice = head[firsts, None] + gets[firsts, None] * onward[np.ix_(firsts, seconds)]
            twice[seconds[None, :] <= firsts[:, None]] = np.inf
            row, column = np.unravel_index(int(twice.argmin()), twice.shape)
            if not np.isfinite(twice[row, column]):
                continue
            t, u = int(firsts[row]), int(seconds[column])
            later = replacing.pulls_from(u + 1, u + 1)
            when = (w, v, *(max(int(slots.from_week[x]), v) for x in later))
            found.append(_course(when, (t, u, *later), float(twice[row, column]), took, weeks))
    found[1:] = sorted(found[1:], key=lambda c: (round(c.dearer, 6), len(c.weeks), c.weeks))[:COURSES]
    return tuple(found)


def _course(weeks: tuple[int, ...], at: tuple[int, ...], dearer: float, took: float, count: int) -> Course:
    hours = np.bincount(np.array(weeks, int), minlength=count + 1) * took
    return Course(weeks=weeks, looks=at, dearer=max(dearer, 0.0), hours=hours.astype(float))


@dataclass(frozen=True, kw_only=True)
class Plan:
    """chosen: of each die its course, in the order given. dearer: of all, over their best courses. used: [weeks] bench
    hours planned. worth: [weeks] what as many hours more as the longest pull takes would save in that week; nought
    where the week does not bind. proven: nothing cheaper was left out by the limit of time."""

    chosen: tuple[Course, ...]
    dearer: float
    used: Array
    worth: Array
    proven: bool


def choose(dies: Sequence[DieAhead], hours: ArrayLike, *, with_worth: bool = True) -> Plan:
    """One course a die so that no week takes more bench hours than it has and the sum is least. hours: [weeks]. Raises
    PullsRefused for hours below nought or for another number of weeks than the dies were reckoned with."""
    have = np.asarray(hours, float)
    if not (np.isfinite(have).all() and (have >= 0).all()):
        raise PullsRefused("bench hours of a week have to be nought or more.")
    if any(len(die.first) != len(have) + 1 for die in dies):
        raise PullsRefused(f"hours for {len(have)} weeks, and dies reckoned for others.")
    at_once = sum(die.hours for die in dies if die.must)
    have = have.copy()
    have[:1] = np.maximum(have[:1] - at_once, 0.0)
    chosen, proven = _cheapest(dies, have)
    used = sum((course.hours[:-1] for course in chosen), np.zeros(len(have)))
    used[:1] += at_once
    dearer = sum(course.dearer for course in chosen)
    worth = np.zeros(len(have))
    if with_worth and dies:
        more = max(die.hours for die in dies)
        wanted = sum((die.courses[_cheapest_of(die)].hours[:-1] for die in dies), np.zeros(len(have)))
        planned = sum((course.hours[:-1] for course in chosen), np.zeros(len(have)))
        for week in np.flatnonzero((have - planned < more) & ((wanted > have + CLOSE) | (dearer > CLOSE))):
            freer = have.copy()
            freer[week] += more
            worth[week] = max(dearer - sum(c.dearer for c in _cheapest(dies, freer)[0]), 0.0)
    return Plan(chosen=chosen, dearer=float(dearer), used=used, worth=np.round(worth, 6), proven=proven)


def _cheapest_of(die: DieAhead) -> int:
    return min(range(len(die.courses)), key=lambda i: (round(die.courses[i].dearer, 6), len(die.courses[i].weeks), i))


def _cheapest(dies: Sequence[DieAhead], have: Array) -> tuple[tuple[Course, ...], bool]:
    free = [_cheapest_of(die) for die in dies]
    wanted = sum((die.courses[i].hours[:-1] for die, i in zip(dies, free, strict=True)), np.zeros(len(have)))
    if (wanted <= have + CLOSE).all():
        return tuple(die.courses[i] for die, i in zip(dies, free, strict=True)), True
    greedy = _greedy(dies, have)
    costs = np.array([course.dearer for die in dies for course in die.courses])
    owner = np.repeat(np.arange(len(dies)), [len(die.courses) for die in dies])
    use = np.array([course.hours[:-1] for die in dies for course in die.courses]).T
    one = scipy.sparse.csr_array((np.ones(len(owner)), (owner, np.arange(len(owner)))))
    found = scipy.optimize.milp(
        costs + 1e-7 * np.arange(len(costs)) / len(costs),  # of equal ones the first: the same records, the same plan
        integrality=np.ones(len(costs)),
        bounds=scipy.optimize.Bounds(0, 1),
        constraints=[
            scipy.optimize.LinearConstraint(one, 1, 1),
            scipy.optimize.LinearConstraint(scipy.sparse.csr_array(use), -np.inf, have + CLOSE),
        ],
        options={"time_limit": SECONDS, "mip_rel_gap": 0.0},
    )
    if found.x is None:
        return greedy, False
    every = [course for die in dies for course in die.courses]
    picked = tuple(every[i] for i in np.flatnonzero(found.x > 0.5))
    if len(picked) != len(dies) or sum(c.dearer for c in picked) > sum(c.dearer for c in greedy) + CLOSE:
        return greedy, False
    return picked, found.status == 0


def _greedy(dies: Sequence[DieAhead], have: Array) -> tuple[Course, ...]:
    """The start: the dies that lose most without a pull choose first."""
    left, chosen = have.copy(), {}
    for i in sorted(range(len(dies)), key=lambda i: (-dies[i].not_at_all, i)):
        fits = [c for c in dies[i].courses if (c.hours[:-1] <= left + CLOSE).all()]
        course = min(fits, key=lambda c: (round(c.dearer, 6), len(c.weeks), c.weeks))
        left -= course.hours[:-1]
        chosen[i] = course
    return tuple(chosen[i] for i in range(len(dies)))


def one_after_another(
    jobs: Iterable[tuple[Hashable, float, float]], *, begun: Hashable | None = None
) -> dict[Hashable, tuple[float, float]]:
    """When the jobs of one press run: each just in time for its day, none before now, the earliest due first.

    jobs: (name, weeks that it takes, week in which it is due). begun: the one that runs already. Returns start and end
    in weeks. Late ones are late: they follow each other from now on."""
    rows = sorted(jobs, key=lambda job: (job[0] != begun, job[2], str(job[0])))
    latest: list[float] = []
    before = np.inf
    for _, takes, due in reversed(rows):
        end = min(due, before)
        before = end - takes
        latest.append(before)
    made, free = {}, 0.0
    for (name, takes, _), start in zip(rows, reversed(latest), strict=True):
        begins = free if name == begun else max(start, free)
        made[name] = begins, begins + takes
        free = begins + takes
    return made
