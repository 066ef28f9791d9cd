"""PURE (numpy, scipy). Who works on which die when: hours of people, grinders, pieces that two dies share, days away.

Days are whole numbers, 0 the first one that can be planned. A person has so many hours on each day and does one work at
a time, without leaving it for another; a work may go on over nights and days without hours. By earliest due date a plan
is there at once [1]; a search betters it by the sum of the days late, each day weighted by what it costs, and keeps the
first where it finds none that costs less. The search counts nodes and tries, never seconds: the same rows give the same
plan.

[1] J. R. Jackson, Scheduling a production line to minimize maximum tardiness, Research Report 43, University of
    California, Los Angeles, 1955: for one machine, earliest due date first makes the greatest lateness least.
[2] J. M. Moore, An n job, one machine sequencing algorithm for minimizing the number of late jobs, Management Science
    15 (1968) 102-109, with the rule of T. J. Hodgson that it gives. Both cited from memory.
"""

from __future__ import annotations

import bisect
import math
from collections.abc import Callable, Hashable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

HAIR = 1e-9  # hours: what rounding may leave
TRIES, NODES = 160, 40  # of the search: orders laid out again, and nodes of the integer program
PROGRAM_AT_MOST = 40_000  # variables of the integer program; above, the other ways alone are tried
ByDay = tuple[tuple[int, float], ...]
MOVES_BACK = (1, 2, 4, 8, 16, 32, 64)


class PlanRefused(ValueError):
    """Rows that no plan can be made from."""


@dataclass(frozen=True, kw_only=True)
class PlanWork:
    """A work to be planned.

    hours: on the bench, above nought. grinding: of those, hours at a grinder. due: the last day on which it may be
    finished without being late; None: no day. cost: what a day late counts. not_before: the first day on which it can
    begin. away: days at a supplier after the bench, when it is not finished yet and nobody works on it. person, day:
    set by hand, the plan leaves them so; day None: any day of that person. shares: things of which there is one, used
    on every day from its first hour to its last.
    """

    key: Hashable
    hours: float
    grinding: float = 0.0
    due: int | None = None
    cost: float = 1.0
    not_before: int = 0
    away: int = 0
    person: Hashable | None = None
    day: int | None = None
    shares: tuple[Hashable, ...] = ()

    def __post_init__(self) -> None:
        if not (math.isfinite(self.hours) and self.hours > 0):
            raise PlanRefused(f"A work of {self.hours:g} hours cannot be planned: say how many it takes.")
        if not 0 <= self.grinding <= self.hours + HAIR:
            raise PlanRefused(f"Of {self.hours:g} hours {self.grinding:g} cannot be at the grinder.")
        if self.day is not None and self.person is None:
            raise PlanRefused("A day that is set by hand needs a person.")
        if self.cost < 0 or self.away < 0:
            raise PlanRefused("A day late costs nothing or more, and a supplier takes no days or more.")

    @property
    def is_fixed(self) -> bool:
        return self.day is not None


@dataclass(frozen=True, kw_only=True)
class Bench:
    """Who is there. hours: of each person on each day, all of one length. grinder_hours: of all grinders together on
    each day; empty: as many as are wanted."""

    hours: Mapping[Hashable, Sequence[float]]
    grinder_hours: Sequence[float] = ()

    def __post_init__(self) -> None:
        lengths = {len(days) for days in self.hours.values()}
        if len(lengths) != 1 or 0 in lengths:
            raise PlanRefused("Nobody has hours for the bench.")
        if self.grinder_hours and len(self.grinder_hours) != next(iter(lengths)):
            raise PlanRefused("The hours of the grinders go over other days than those of the people.")
        for days in (*self.hours.values(), self.grinder_hours):
            if any(not 0 <= hours <= 24 for hours in days):
                raise PlanRefused("A day has nought to 24 hours.")

    @property
    def days(self) -> int:
        return len(next(iter(self.hours.values())))


@dataclass(frozen=True, kw_only=True)
class Slot:
    """Where a work lies. first, last: its days on the bench. ready: the day on which it is finished, back from the
    supplier too. by_day: hours on each day. start: hours of that person already gone on the first day."""

    key: Hashable
    person: Hashable
    first: int
    last: int
    ready: int
    start: float
    by_day: ByDay


@dataclass(frozen=True, kw_only=True)
class Plan:
    """slots: by work. unplaced: works that do not fit into the days, each late by all of them. cost: days late, each
    by what it counts."""

    slots: Mapping[Hashable, Slot]
    unplaced: tuple[Hashable, ...]
    cost: float

    def late(self, work: PlanWork) -> int:
        """Days late; nought where it is in time, has no day, or is not placed."""
        slot = self.slots.get(work.key)
        return 0 if slot is None or work.due is None else max(slot.ready - work.due, 0)


@dataclass(frozen=True, kw_only=True)
class Searched:
    """plan: the better of the two. first: by earliest due date. tries: how many orders were laid out."""

    plan: Plan
    first: Plan
    tries: int

    @property
    def saved(self) -> float:
        return self.first.cost - self.plan.cost


# --- by earliest due date ---------------------------------------------------------------------------------------------


def earliest_due(works: Sequence[PlanWork], bench: Bench) -> Plan:
    """What is set by hand first, then by earliest due date; each where it is finished first. Raises PlanRefused."""
    _check(works, bench)
    return _lay_out(_by_due(works), bench)


def _check(works: Sequence[PlanWork], bench: Bench) -> None:
    if len({work.key for work in works}) < len(works):
        raise PlanRefused("A work is named twice.")
    for work in works:
        if work.person is not None and work.person not in bench.hours:
            raise PlanRefused(f"{work.person} has no hours for the bench.")


def _by_due(works: Iterable[PlanWork]) -> list[PlanWork]:
    far = math.inf
    return sorted(works, key=lambda w: (far if w.due is None else w.due - w.away, -w.cost, w.hours, str(w.key)))


@dataclass
class _Days:
    """The days of one person. gone: hours until each day, so that a place in hours and a day are one to the other.
    free: stretches nobody has taken, as hours from the first day on."""

    hours: Sequence[float]
    gone: list[float] = field(default_factory=list)
    free: list[tuple[float, float]] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.gone = [0.0]
        for hours in self.hours:
            self.gone.append(self.gone[-1] + hours)
        self.free = [(0.0, self.gone[-1])]

    def day_of(self, place: float) -> int:
        """The day in which the hour that begins at a place lies."""
        return bisect.bisect_right(self.gone, place + HAIR) - 1

    def by_day(self, start: float, hours: float) -> ByDay:
        """Hours on each day of a stretch."""
        made, day, left = [], self.day_of(start), hours
        while left > HAIR:
            here = min(self.gone[day + 1] - max(start, self.gone[day]), left)
            if here > HAIR:
                made.append((day, here))
                left -= here
            day += 1
        return tuple(made)

    def starts(self, hours: float, after: float) -> Iterable[tuple[float, float]]:
        """From where to where a stretch may begin, in order."""
        for since, until in self.free:
            first = max(since, after)
            if first + hours <= until + HAIR:
                yield first, until - hours

    def take(self, start: float, hours: float) -> None:
        kept, end = [], start + hours
        for since, until in self.free:
            if until <= start + HAIR or since >= end - HAIR:
                kept.append((since, until))
                continue
            if start - since > HAIR:
                kept.append((since, start))
            if until - end > HAIR:
                kept.append((end, until))
        self.free = kept


class _Book:
    """A plan on its way."""

    def __init__(self, bench: Bench) -> None:
        self.bench = bench
        self.people = {person: _Days(hours) for person, hours in bench.hours.items()}
        self.grinders = list(bench.grinder_hours)
        self.used: dict[Hashable, list[tuple[int, int]]] = {}
        self.slots: dict[Hashable, Slot] = {}
        self.unplaced: list[Hashable] = []

    def place(self, work: PlanWork) -> None:
        found = [slot for person in self._who(work) if (slot := self._first_fit(work, person)) is not None]
        if not found:
            self.unplaced.append(work.key)
            return
        # Finished first; of several, by whoever is named first, so that equal rows give equal plans.
        slot = min(found, key=lambda s: (s.last, s.start + s.by_day[-1][1] if s.first == s.last else s.by_day[-1][1]))
        days = self.people[slot.person]
        days.take(days.gone[slot.first] + slot.start, work.hours)
        if self.grinders:
            for day, hours in slot.by_day:
                self.grinders[day] -= hours * work.grinding / work.hours
        for thing in work.shares:
            self.used.setdefault(thing, []).append((slot.first, slot.last))
        self.slots[work.key] = slot

    def _who(self, work: PlanWork) -> Iterable[Hashable]:
        return self.people if work.person is None else (work.person,)

    def _first_fit(self, work: PlanWork, person: Hashable) -> Slot | None:
        days = self.people[person]
        first = max(work.not_before, 0) if work.day is None else max(work.day, 0)
        if first >= self.bench.days:
            return None
        by_hand = work.is_fixed  # then only the person's own hours bind: what clashes with it is moved or told
        for since, until in days.starts(work.hours, days.gone[first]):
            start: float | None = since
            while start is not None and start <= until + HAIR:
                by_day = days.by_day(start, work.hours)
                again = None if by_hand else self._clash(work, by_day)
                if again is None:
                    return self._slot(work, person, days, start, by_day)
                start = max(days.gone[again], start + HAIR) if again < self.bench.days else None
        return None

    @staticmethod
    def _slot(work: PlanWork, person: Hashable, days: _Days, start: float, by_day: ByDay) -> Slot:
        first, last = by_day[0][0], by_day[-1][0]
        return Slot(
            key=work.key, person=person, first=first, last=last, ready=last + work.away,
            start=max(start - days.gone[first], 0.0), by_day=by_day,
        )  # fmt: skip

    def _clash(self, work: PlanWork, by_day: ByDay) -> int | None:
        """The day from which to try again where the grinders or a shared thing are taken; None: nothing is."""
        first, last = by_day[0][0], by_day[-1][0]
        for thing in work.shares:
            for since, until in self.used.get(thing, ()):
                if since <= last and first <= until:
                    return until + 1
        if self.grinders and work.grinding > HAIR:
            for day, hours in by_day:
                if hours * work.grinding / work.hours > self.grinders[day] + HAIR:
                    return day + 1 if day == first else first + 1
        return None


def _lay_out(order: Sequence[PlanWork], bench: Bench) -> Plan:
    """Works one after the other, each where it is finished first; those set by hand before all others."""
    book = _Book(bench)
    by_hand = sorted((w for w in order if w.is_fixed), key=lambda w: (w.day or 0, str(w.key)))
    for work in (*by_hand, *(w for w in order if not w.is_fixed)):
        book.place(work)
    slots, unplaced = book.slots, tuple(book.unplaced)
    return Plan(slots=slots, unplaced=unplaced, cost=_cost(order, slots, bench.days))


def _cost(works: Iterable[PlanWork], slots: Mapping[Hashable, Slot], days: int) -> float:
    """Days late by what each counts; what is not placed is late until after the last day."""
    total = 0.0
    for work in works:
        slot = slots.get(work.key)
        ready = days + work.away if slot is None else slot.ready
        due = days if work.due is None else work.due
        if slot is None or work.due is not None:
            total += work.cost * max(ready - due, 0) + (work.cost if slot is None and work.due is None else 0.0)
    return total


# --- better by search -------------------------------------------------------------------------------------------------


def search(works: Sequence[PlanWork], bench: Bench, *, tries: int = TRIES, nodes: int = NODES) -> Searched:
    """A plan that costs no more than the one by earliest due date, and less where that is found.

    Tried are: the works that are late anyway put last [2]; the short and dear first; the order in which an integer
    program finishes them, which sees everybody's hours together; then single late works moved forward. tries: how many
    orders are laid out at most. nodes: of the integer program, 0: without it. Raises PlanRefused.
    """
    _check(works, bench)
    order = _by_due(works)
    first = best = _lay_out(order, bench)
    best_order, made = order, 1
    if first.cost <= HAIR:
        return Searched(plan=first, first=first, tries=made)
    for trial in (_late_last(order, bench), _short_and_dear(order), _by_program(order, bench, nodes)):
        if trial is None or made >= tries:
            continue
        plan = _lay_out(trial, bench)
        made += 1
        if plan.cost < best.cost - HAIR:
            best, best_order = plan, trial
    moved = True
    while moved and made < tries:
        moved = False
        for trial in _moves(best_order, best):
            if made >= tries:
                break
            plan = _lay_out(trial, bench)
            made += 1
            if plan.cost < best.cost - HAIR:
                best, best_order, moved = plan, trial, True
                break
    return Searched(plan=best, first=first, tries=made)


def _late_last(order: Sequence[PlanWork], bench: Bench) -> list[PlanWork]:
    """Earliest due date, but what cannot be in time in all goes last, the longest for its cost first [2]."""
    share = _gone_together(bench)
    kept: list[PlanWork] = []
    last: list[PlanWork] = []
    hours = 0.0
    for work in order:
        kept.append(work)
        hours += work.hours
        if work.due is not None and hours > share(work.due - work.away) + HAIR:
            longest = max(kept, key=lambda w: (w.hours / max(w.cost, HAIR), str(w.key)))
            kept.remove(longest)
            last.append(longest)
            hours -= longest.hours
    return kept + _short_and_dear(last)


def _gone_together(bench: Bench) -> Callable[[int], float]:
    """All people's hours from the first day to the end of a day."""
    sums = [0.0]
    for day in range(bench.days):
        sums.append(sums[-1] + sum(hours[day] for hours in bench.hours.values()))
    return lambda day: sums[min(max(day + 1, 0), bench.days)]


def _short_and_dear(order: Iterable[PlanWork]) -> list[PlanWork]:
    """Few hours for a high cost first; what has no day last."""
    return sorted(order, key=lambda w: (w.due is None, w.hours / max(w.cost, HAIR), str(w.key)))


def _by_program(order: Sequence[PlanWork], bench: Bench, nodes: int) -> list[PlanWork] | None:
    """The order in which the works are finished at the least cost, were all people one.

    x[w, d] = 1: work w is finished on day d, or by its due day where d is that one. At most so many hours are finished
    by each day as all people have until then. None where the program is too large or finds nothing within the nodes.
    """
    from scipy.optimize import Bounds, LinearConstraint, milp
    from scipy.sparse import lil_matrix

    share, rows = _gone_together(bench), [work for work in order if work.due is not None and not work.is_fixed]
    days_of = [range(min(max((w.due or 0) - w.away, w.not_before, 0), bench.days - 1), bench.days + 1) for w in rows]
    if not rows or nodes < 1 or sum(map(len, days_of)) > PROGRAM_AT_MOST:
        return None
    room = np.array([share(day) - share(day - 1) for day in range(bench.days)])
    for work in order:
        if work.is_fixed:
            _take_off(room, max(work.day or 0, 0), work.hours)
    offsets = np.concatenate([[0], np.cumsum([len(days) for days in days_of])])
    n, left = int(offsets[-1]), bench.days  # after the works' columns one a day: hours left over on its evening
    costs = np.zeros(n + left)
    each, by_day = lil_matrix((len(rows), n + left)), lil_matrix((bench.days, n + left))
    for number, (work, days) in enumerate(zip(rows, days_of, strict=True)):
        for column, day in enumerate(days, start=int(offsets[number])):
            costs[column] = work.cost * max(day + work.away - (work.due or 0), 0) + 1e-6 * day
            each[number, column] = 1.0
            if day < bench.days:
                by_day[day, column] = work.hours
    for day in range(bench.days):
        by_day[day, n + day] = 1.0
        if day:
            by_day[day, n + day - 1] = -1.0
    most = np.concatenate([np.ones(n), np.full(left, np.inf)])
    found = milp(
        costs, integrality=np.concatenate([np.ones(n), np.zeros(left)]), bounds=Bounds(0, most),
        constraints=[LinearConstraint(each.tocsr(), 1, 1), LinearConstraint(by_day.tocsr(), room, room)],
        options={"node_limit": nodes, "mip_rel_gap": 1e-4},
    )  # fmt: skip
    if found.x is None:
        return None
    finished = {
        work.key: days[int(np.argmax(found.x[offsets[number] : offsets[number + 1]]))]
        for number, (work, days) in enumerate(zip(rows, days_of, strict=True))
    }
    rank = {work.key: place for place, work in enumerate(order)}
    far = bench.days + 2
    return sorted(order, key=lambda w: (finished.get(w.key, far), rank[w.key]))


def _take_off(room: np.ndarray, day: int, hours: float) -> None:
    """Hours that are gone from a day on, of all people's."""
    while hours > HAIR and day < len(room):
        here = min(room[day], hours)
        room[day] -= here
        hours -= here
        day += 1


def _moves(order: Sequence[PlanWork], plan: Plan) -> Iterable[list[PlanWork]]:
    """Orders in which one late work comes sooner: the dearest first, a little and then further."""
    places = {work.key: place for place, work in enumerate(order)}
    unplaced = set(plan.unplaced)
    late = [w for w in order if not w.is_fixed and (plan.late(w) or w.key in unplaced)]
    late.sort(key=lambda w: (-(w.cost * plan.late(w)), places[w.key]))
    for work in late:
        place = places[work.key]
        for back in MOVES_BACK:
            if back > place:
                break
            yield [*order[: place - back], work, *order[place - back : place], *order[place + 1 :]]


# --- when the presses need the dies -----------------------------------------------------------------------------------


@dataclass(frozen=True, kw_only=True)
class PressJob:
    """An order ahead on a press. due: the day on which its parts are due. days: that the press takes for it."""

    key: Hashable
    press: Hashable
    due: int
    days: float


def last_starts(jobs: Iterable[PressJob]) -> dict[Hashable, int]:
    """The last day on which each job can begin so that it and those after it on its press are in time.

    Reckoned backwards from the last one, earliest due date first, one die in a press at a time. A job of nought days or
    less is refused.
    """
    of_press: dict[Hashable, list[PressJob]] = {}
    for job in jobs:
        if not (math.isfinite(job.days) and job.days > 0):
            raise PlanRefused(f"A job of {job.days:g} days cannot be laid on a press.")
        of_press.setdefault(job.press, []).append(job)
    starts: dict[Hashable, int] = {}
    for mine in of_press.values():
        until = math.inf
        for job in sorted(mine, key=lambda j: (j.due, str(j.key)), reverse=True):
            until = min(float(job.due), until) - job.days
            starts[job.key] = math.floor(until + HAIR)
    return starts
