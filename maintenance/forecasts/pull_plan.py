"""The pull planner's inputs from the records, and its plan as rows. Glue: how it is planned stands in policy/pulls.py.

Jobs run on the usual press of their die, one after another, each just in time for the day on which it is due; a die
without a usual press has one to itself. A week begins on Monday. What costs and hours nobody named are assumed, and
named as such (decisions.py).
"""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from collections.abc import Collection, Hashable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import partial

import numpy as np
from django.utils import timezone

from diestore.register.models import Die, Plant
from diestore.service.failing import attempt
from maintenance.log import queries
from maintenance.log.damage import Damage
from maintenance.log.data import OrderLeft
from maintenance.models import Absence, BenchHours, DieForecast, DieInPress, Run, Work
from maintenance.policy import pulls as policy

from . import decisions

DIES_AT_MOST = 60  # in one plan: those whose next job is due first
BENCH_HOURS = 40.0  # a week, where nobody has hours for the bench: assumed
YEARS_LOOKED_BACK = 3
SETS_AT_LEAST = 3  # sharpenings of a die between which its usual interval is told


@dataclass(frozen=True, kw_only=True)
class Terms:
    """What the plan is made under. weeks: how far it looks. bench_hours: a week, for pulls; None: those of the people
    who have hours for the bench, less the days on which they are away. press_hours: a week that a press runs."""

    weeks: int = 8
    bench_hours: float | None = None
    press_hours: float = 40.0


@dataclass(frozen=True, kw_only=True)
class JobAhead:
    """start, end: in weeks from the plan's first Monday. late: it ends after its day. begun: its die is in a press for
    it."""

    order: int
    number: str
    hits: int
    due: dt.date
    start: float
    end: float
    late: bool
    begun: bool = False


@dataclass(frozen=True, kw_only=True)
class Pull:
    """week: None for later than the plan looks. job: number of the job before or in which it is; after_hits: of that
    job, None before it."""

    week: int | None
    job: str
    after_hits: int | None


@dataclass(frozen=True, kw_only=True)
class Row:
    """A die of the plan. pulls: planned, the first one first. must: something is wrong with it, so that it is pulled
    before it runs, besides. regret: [weeks] how much more the first pull costs in each week, None where it cannot be;
    later: beyond the weeks; not_at_all: none planned. saves: against never early; saves_usual: against pulling at the
    interval of its past, usual_every hits, None where that is not known. held_up: what bench hours add."""

    pk: int
    code: str
    description: str
    press: str
    jobs: tuple[JobAhead, ...]
    pulls: tuple[Pull, ...]
    must: bool
    wrong: tuple[Damage, ...]
    hours: float
    regret: tuple[float | None, ...]
    later: float | None
    not_at_all: float
    saves: float
    saves_usual: float | None
    usual_every: float | None
    held_up: float
    interval: float | None


@dataclass(frozen=True, kw_only=True)
class PullPlan:
    """rows: the dies, the first pull first. left_out: number, code and why nothing is planned of it. more: dies past
    those that one plan takes. hours: that the bench has, by week; hours_of_people: those of its people, else typed or
    assumed. used, worth: bench hours planned by week, and what some more of them would save. assumed: names of
    decisions.ASSUMED that were taken for at least one die.
    """

    monday: dt.date
    terms: Terms
    rows: tuple[Row, ...] = ()
    left_out: tuple[tuple[int, str, str], ...] = ()
    more: int = 0
    hours: tuple[float, ...] = ()
    hours_of_people: bool = False
    used: tuple[float, ...] = ()
    worth: tuple[float, ...] = ()
    proven: bool = True
    jobs: int = 0
    assumed: tuple[str, ...] = field(default=())

    @property
    def saves(self) -> float:
        return sum(row.saves for row in self.rows)

    @property
    def saves_usual(self) -> tuple[float, int]:
        """Against the interval of the past, and of how many dies that is known."""
        known = [row.saves_usual for row in self.rows if row.saves_usual is not None]
        return sum(known), len(known)

    @property
    def held_up(self) -> float:
        return sum(row.held_up for row in self.rows)


def of_plants(
    plant: Plant | None, plants: Collection[int] | None, terms: Terms, *, now: dt.datetime | None = None
) -> PullPlan:
    """Of one plant's open jobs, or of all that are seen. A fixed number of questions."""
    today = timezone.localtime(now or timezone.now())
    monday = today.date() - dt.timedelta(days=today.weekday())
    begun = (today.weekday() + (today.hour + today.minute / 60) / 24) / 7  # weeks since Monday
    orders = [o for o in queries.open_orders(plant=plant, plants=plants) if o.die_id is not None and o.hits_left > 0]
    by_die: dict[int, list[OrderLeft]] = defaultdict(list)
    for order in orders:
        by_die[order.die_id].append(order)
    dies = {
        die.pk: die
        for die in Die.objects.filter(pk__in=by_die, status=Die.Status.IN_SERVICE).select_related("usual_press")
        if plants is None or die.plant_id in plants
    }
    first = sorted(dies, key=lambda pk: (by_die[pk][0].due, dies[pk].code))
    planned = first[:DIES_AT_MOST]
    times = _times([dies[pk] for pk in first], by_die, terms, monday, begun)
    known = decisions.of_some(planned)
    why_not = _why_not([pk for pk in planned if pk not in known])
    usual = _usual_intervals(planned)
    ahead: dict[int, policy.DieAhead] = {}
    left_out = [(pk, dies[pk].code, why) for pk, why in why_not.items()]
    for pk in [pk for pk in planned if pk in known]:
        made, why = attempt(
            partial(_ahead, dies[pk], known[pk], times[pk], terms), lambda why: (None, why), what=dies[pk].code
        )
        if made is None:
            left_out.append((pk, dies[pk].code, why))
        else:
            ahead[pk] = made
    hours, of_people = _bench_hours(plant, plants, terms, monday)
    plan = policy.choose(list(ahead.values()), hours)
    rows = [
        _row(dies[pk], known[pk], times[pk], one, course, usual.get(pk))
        for (pk, one), course in zip(ahead.items(), plan.chosen, strict=True)
    ]
    rows.sort(key=_first_pull)
    return PullPlan(
        monday=monday,
        terms=terms,
        rows=tuple(rows),
        left_out=tuple(sorted(left_out, key=lambda one: one[1])),
        more=len(first) - len(planned),
        hours=tuple(float(have) for have in hours),
        hours_of_people=of_people,
        used=tuple(float(used) for used in plan.used),
        worth=tuple(float(euros) for euros in plan.worth),
        proven=plan.proven,
        jobs=sum(len(row.jobs) for row in rows),
        assumed=tuple(dict.fromkeys(name for one in known.values() for name in one.basis.assumed)),
    )


def _first_pull(row: Row) -> tuple:
    week = next((pull.week for pull in row.pulls), None) if not row.must else -1
    return (week is None, week if week is not None else 0, -row.saves, row.code)


def _times(
    dies: Sequence[Die], by_die: Mapping[int, Sequence[OrderLeft]], terms: Terms, monday: dt.date, begun: float
) -> dict[int, list[JobAhead]]:
    """When each job of each die runs."""
    running = dict(DieInPress.objects.now().filter(die__in=dies).values_list("die_id", "order_id"))
    on_press: dict[Hashable, list[tuple[Hashable, float, float]]] = defaultdict(list)
    going: dict[Hashable, Hashable] = {}
    found: dict[int, tuple[int, OrderLeft]] = {}
    for die in dies:
        press: Hashable = ("press", die.usual_press_id) if die.usual_press_id else ("die", die.pk)
        for order in by_die[die.pk]:
            takes = order.hits_left / (die.strokes_per_minute * 60 * terms.press_hours)
            due = ((order.due - monday).days + 1) / 7 - begun
            on_press[press].append((order.order_id, takes, due))
            found[order.order_id] = die.pk, order
            if die.pk in running and running[die.pk] == order.order_id:
                going[press] = order.order_id
    times: dict[int, list[JobAhead]] = defaultdict(list)
    for press, jobs in on_press.items():
        due_in = {name: due for name, _, due in jobs}
        for name, (start, end) in policy.one_after_another(jobs, begun=going.get(press)).items():
            die, order = found[name]
            times[die].append(
                JobAhead(
                    order=order.order_id,
                    number=order.number,
                    hits=order.hits_left,
                    due=order.due,
                    start=start + begun,
                    end=end + begun,
                    late=end > due_in[name] + 1e-9,
                    begun=name == going.get(press),
                )
            )
    return {die: sorted(jobs, key=lambda job: (job.start, job.end)) for die, jobs in times.items()}


def _bench_hours(
    plant: Plant | None, plants: Collection[int] | None, terms: Terms, monday: dt.date
) -> tuple[np.ndarray, bool]:
    """By week, and whether they are those of the people. Two questions."""
    if terms.bench_hours is not None:
        return np.full(terms.weeks, terms.bench_hours), False
    ours = {"person__active": True, "retired_at": None}
    if plant is not None:
        ours["person__plant"] = plant
    elif plants is not None:
        ours["person__plant__in"] = sorted(plants)
    people = list(BenchHours.objects.filter(**ours))
    if not people:
        return np.full(terms.weeks, BENCH_HOURS), False
    end = monday + dt.timedelta(weeks=terms.weeks)
    away: dict[int, set[dt.date]] = defaultdict(set)
    absent = Absence.objects.filter(person__in=[row.person_id for row in people], retired_at=None)
    for person, first, last in absent.filter(first__lt=end, last__gte=monday).values_list("person", "first", "last"):
        first, last = max(first, monday), min(last, end)
        away[person] |= {first + dt.timedelta(days=n) for n in range((last - first).days + 1)}
    hours = np.zeros(terms.weeks)
    for row in people:
        for week in range(terms.weeks):
            days = [monday + dt.timedelta(weeks=week, days=n) for n in range(row.last_weekday + 1)]
            hours[week] += row.hours_a_day * sum(day not in away[row.person_id] for day in days)
    return hours, True


def _why_not(dies: Collection[int]) -> dict[int, str]:
    """Of dies of which nothing can be planned."""
    told = DieForecast.objects.filter(die__in=dies, is_newest=True).values_list("die_id", "refusal", "remaining")
    why = dict.fromkeys(dies, "No forecast has been computed for it yet.")
    for die, refusal, remaining in told:
        why[die] = refusal if not remaining and refusal else "How it would go once sharpened is not forecast yet."
    return why


def _usual_intervals(dies: Collection[int]) -> dict[int, float]:
    """Hits of a die from one sharpening to the next, in the middle of its last years."""
    since = timezone.now() - dt.timedelta(days=365 * YEARS_LOOKED_BACK)
    ground: dict[int, list[dt.datetime]] = defaultdict(list)
    works = Work.objects.standing().filter(position__die__in=dies, operation="ground", heads_set=True, at__gte=since)
    for die, at in works.order_by("at").values_list("position__die_id", "at"):
        if not ground[die] or ground[die][-1] != at:
            ground[die].append(at)
    ran: dict[int, list[tuple[dt.datetime, int]]] = defaultdict(list)
    runs = Run.objects.standing().filter(die__in=dies, at__gte=since).order_by("at")
    for die, at, hits in runs.values_list("die_id", "at", "hits"):
        ran[die].append((at, hits))
    usual = {}
    for die, moments in ground.items():
        at = np.array([moment.timestamp() for moment in moments])
        ends = np.array([moment.timestamp() for moment, _ in ran[die]])
        total = np.concatenate(([0], np.cumsum([hits for _, hits in ran[die]])))
        between = np.diff(total[np.searchsorted(ends, at, side="right")])
        if len(between) >= SETS_AT_LEAST and np.median(between) > 0:
            usual[die] = float(np.median(between))
    return usual


def _ahead(
    die: Die, known: decisions.DieAhead, jobs: Sequence[JobAhead], terms: Terms
) -> tuple[policy.DieAhead | None, str]:
    """What is wrong with a die is put right before it runs; where that is at an edge, by sharpening it."""
    ahead = [policy.Job(name=job.order, hits=job.hits, start=job.start, end=job.end, begun=job.begun) for job in jobs]
    made = policy.of_die(
        die.pk,
        known.fresh if known.damaged and not known.edges_are_fine else known.now,
        known.fresh,
        known.costs,
        ahead,
        weeks=terms.weeks,
        hours=known.basis["hours"],
        must=known.damaged,
    )
    return made, ""


def _row(
    die: Die,
    known: decisions.DieAhead,
    jobs: Sequence[JobAhead],
    ahead: policy.DieAhead,
    course: policy.Course,
    usual: float | None,
) -> Row:
    weeks = len(ahead.first) - 1
    sharpened = known.damaged and not known.edges_are_fine
    on_it = 0.0 if sharpened else max((edge.on_it for edge in known.edges), default=0)
    begins = np.concatenate(([0.0], np.cumsum([job.hits for job in jobs])))
    pulls = []
    for week, look in zip(course.weeks, course.looks, strict=True):
        number = int(ahead.before_job[look])
        after = float(ahead.at[look] - begins[number])
        pulls.append(
            Pull(
                week=None if week >= weeks else int(week),
                job=jobs[number].number,
                after_hits=round(after) if after > 0.5 else None,
            )
        )
    return Row(
        pk=die.pk,
        code=die.code,
        description=die.description,
        press=die.usual_press.code if die.usual_press else "",
        jobs=tuple(jobs),
        pulls=tuple(pulls),
        must=ahead.must,
        wrong=known.damage,
        hours=ahead.hours,
        regret=tuple(float(x) if np.isfinite(x) else None for x in ahead.first[:-1]),
        later=float(ahead.first[-1]) if np.isfinite(ahead.first[-1]) else None,
        not_at_all=ahead.not_at_all,
        saves=max(ahead.never - course.dearer, 0.0),
        saves_usual=None if usual is None else ahead.by_rule(usual, on_it) - course.dearer,
        usual_every=usual,
        held_up=course.dearer,
        interval=ahead.usual.hits if ahead.usual.planned else None,
    )
