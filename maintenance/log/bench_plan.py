"""The plan of the bench: rows become what `policy.bench` plans, and its answer becomes days, names and reasons.

A page asks for it and gets the plan by earliest due date at once, or the better one that a search found for the same
records. What is not known is assumed and said: hours of people, of a work, of a press.
"""

from __future__ import annotations

import datetime as dt
import hashlib
from collections import defaultdict
from collections.abc import Hashable, Mapping, Sequence
from dataclasses import dataclass, field
from decimal import Decimal
from typing import NamedTuple

from django.db.models import FilteredRelation, OuterRef, Prefetch, Q, Subquery
from django.utils import timezone
from django.utils.translation import gettext as _

from diestore.access.models import Person
from diestore.register.models import Die, Item, Plant
from maintenance.models import (
    BenchEdge,
    BenchHours,
    BenchPiece,
    BenchWork,
    DieForecast,
    DieHold,
    DieInPress,
    Grinder,
    KeptBenchPlan,
)
from maintenance.policy import bench as policy
from maintenance.policy.bench import Bench, Plan, PlanWork, PressJob, Slot

from . import bench_reads, purchase_reads, queries
from .data import OrderLeft, SpareStock
from .rules import day_of

DAYS = 84  # twelve weeks
ASSUMED_HOURS = 2.0  # of a work for which nobody said any and whose die has no sharpening with hours: common practice
ASSUMED_DAY = 8.0  # of somebody, where no hours are named at all
PRESS_DAY = 8.0  # hours a day that a press runs one job: one shift
GRINDING_SHARE = 0.5  # of a work with edges to grind, at the grinder; the rest is taking apart and together. No source
LEAST_HOURS = 0.25  # still to do of a work under way that has used up its hours
SOMEBODY = 0

State = BenchWork.State


@dataclass(frozen=True, kw_only=True)
class PlannedWork:
    """A work and where the plan has it. due: by which day it has to be ready. hours: still to do. waits: for what."""

    work: BenchWork
    hours: float
    hours_from: str  # where the hours are from, in words; nothing where somebody said them
    due: dt.date | None
    due_for: str
    waits: tuple[str, ...]
    slot: Slot | None
    person: str = ""
    first: dt.date | None = None
    last: dt.date | None = None
    ready: dt.date | None = None
    late_days: int = 0
    clash: str = ""
    is_planned: bool = True  # there is bench work left that the plan lays out
    beside: tuple[PlannedWork, ...] = ()  # all open works, where a page asks for one of them

    @property
    def late_money(self) -> Decimal | None:
        return Decimal(self.work.late_cost) * self.late_days if self.late_days and self.work.late_cost else None

    @property
    def by_hand(self) -> bool:
        return self.work.day is not None

    @property
    def does_not_fit(self) -> bool:
        return self.is_planned and self.slot is None


@dataclass(frozen=True, kw_only=True)
class PersonDays:
    """Somebody at the bench. hours: from today on. away: the days of an absence, as numbers from today."""

    key: int
    name: str
    hours: tuple[float, ...]
    away: frozenset[int] = frozenset()


@dataclass(frozen=True, kw_only=True)
class BenchPlan:
    """rows: all open works, in the order in which they come up. assumed: sentences on what is not known. searched: the
    better plan of a search is shown. may_search: some work is late and nobody looked for a better plan yet."""

    today: dt.date
    rows: list[PlannedWork]
    people: list[PersonDays]
    assumed: tuple[str, ...]
    searched: bool
    may_search: bool
    first_cost: float | None = None
    cost: float = 0.0

    @property
    def late(self) -> list[PlannedWork]:
        return [row for row in self.rows if row.late_days or row.does_not_fit]


@dataclass(kw_only=True)
class _Known:
    """What the records say, before anything is planned."""

    plant: Plant
    today: dt.date
    works: list[BenchWork]
    people: list[PersonDays] = field(default_factory=list)
    grinder_hours: tuple[float, ...] = ()
    assumed: list[str] = field(default_factory=list)
    needed: dict[int, tuple[int, str]] = field(default_factory=dict)  # die -> by when, and for which job
    usual_hours: dict[int, float] = field(default_factory=dict)
    waits: dict[int, list[str]] = field(default_factory=lambda: defaultdict(list))
    not_before: dict[int, int] = field(default_factory=dict)

    def number(self, day: dt.date | None) -> int | None:
        return None if day is None else (day - self.today).days

    def day(self, number: int) -> dt.date:
        return self.today + dt.timedelta(days=number)


def plan_of(plant: Plant, today: dt.date | None = None) -> BenchPlan:
    """The plan as it stands. The same number of questions however many works there are."""
    known = _read(plant, today or bench_reads.today_at(plant))
    works, bench = _rows(known)
    digest = _digest(known, works, bench)
    kept = KeptBenchPlan.objects.filter(plant=plant).first()
    found = _kept_plan(kept, works) if kept is not None and kept.digest == digest else None
    plan = found or policy.earliest_due(works, bench)
    first_cost = kept.places.get("first_cost") if found is not None and kept is not None else None
    return _told(known, works, plan, searched=found is not None, first_cost=first_cost)


@dataclass(frozen=True, kw_only=True)
class BetterPlan:
    """What a search found for one state of the records: no dearer than the plan by earliest due date. Works that
    somebody put to a person or on a day stay there in it."""

    plant: Plant
    digest: str
    places: dict
    plan: BenchPlan


def look_for_better(plant: Plant, today: dt.date | None = None) -> BetterPlan:
    """Search for a plan that costs less, under a limit of tries; the same for the same records. Keeps nothing."""
    known = _read(plant, today or bench_reads.today_at(plant))
    works, bench = _rows(known)
    searched = policy.search(works, bench)
    places = {
        "first_cost": searched.first.cost,
        "cost": searched.plan.cost,
        "unplaced": list(searched.plan.unplaced),
        "slots": [
            [s.key, s.person, s.first, s.last, s.ready, s.start, [list(day) for day in s.by_day]]
            for s in searched.plan.slots.values()
        ],
    }
    told = _told(known, works, searched.plan, searched=True, first_cost=searched.first.cost)
    return BetterPlan(plant=plant, digest=_digest(known, works, bench), places=places, plan=told)


def keep(found: BetterPlan) -> None:
    """For as long as the records say the same."""
    columns = {"digest": found.digest, "places": found.places, "made_at": timezone.now()}
    KeptBenchPlan.objects.update_or_create(plant=found.plant, defaults=columns)


def improve(plant: Plant, today: dt.date | None = None) -> BenchPlan:
    """Search for a plan that costs less, and keep it."""
    found = look_for_better(plant, today)
    keep(found)
    return found.plan


def _kept_plan(kept: KeptBenchPlan, works: Sequence[PlanWork]) -> Plan | None:
    slots = {
        key: Slot(key=key, person=person, first=first, last=last, ready=ready, start=start,
                  by_day=tuple((day, hours) for day, hours in by_day))
        for key, person, first, last, ready, start, by_day in kept.places.get("slots", ())
    }  # fmt: skip
    unplaced = tuple(kept.places.get("unplaced", ()))
    if slots.keys() | set(unplaced) != {work.key for work in works}:
        return None
    return Plan(slots=slots, unplaced=unplaced, cost=kept.places.get("cost", 0.0))


def _digest(known: _Known, works: Sequence[PlanWork], bench: Bench) -> str:
    told = repr((known.today, works, sorted(bench.hours.items()), tuple(bench.grinder_hours)))
    return hashlib.sha256(told.encode()).hexdigest()


# --- what the records say ---------------------------------------------------------------------------------------------


def _read(plant: Plant, today: dt.date) -> _Known:
    edges = BenchEdge.objects.select_related("position").only(*_OF_AN_EDGE)
    works = list(
        bench_reads.open_works(plant)
        .select_related("die", "person", "supplier", "position")
        .prefetch_related(
            Prefetch("edges", edges),
            Prefetch("pieces", bench_reads.still_aside(BenchPiece.objects.select_related("item", "piece"))),
        )
    )
    known = _Known(plant=plant, today=today, works=works)
    _read_people(known)
    _read_grinders(known)
    orders = queries.open_orders(plant=plant)
    dies = _dies({work.die_id for work in works} | {order.die_id for order in orders if order.die_id is not None})
    _lay_jobs(known, orders, dies)
    known.usual_hours = {pk: float(die.usual_hours) for pk, die in dies.items() if die.usual_hours is not None}
    _read_waits(known, dies)
    return known


_OF_AN_EDGE = (
    "work", "advised_mm", "grind_mm", "done_mm", "left_out", "why", "position__code",
)  # fmt: skip


class _DieNow(NamedTuple):
    """What the plan asks of a die. Nothing where it is not on hold, or not in a press."""

    usual_press: int | None
    strokes_per_minute: float
    plant: int
    usual_hours: float | None
    hold: str | None
    press: str | None


def _dies(pks: set[int]) -> dict[int, _DieNow]:
    """All in one question."""
    mine = {"die": OuterRef("pk")}
    forecast = DieForecast.objects.filter(is_newest=True, usual_hours__gt=0, **mine).order_by()
    hold = DieHold.objects.filter(released_at=None, **mine).order_by()
    press = DieInPress.objects.now().filter(**mine).order_by("-since", "-pk")
    rows = Die.objects.filter(pk__in=pks).order_by().values_list(
        "pk", "usual_press_id", "strokes_per_minute", "plant_id", Subquery(forecast.values("usual_hours")[:1]),
        Subquery(hold.values("reason")[:1]), Subquery(press.values("press__code")[:1]),
    )  # fmt: skip
    return {pk: _DieNow(*rest) for pk, *rest in rows}


def _read_people(known: _Known) -> None:
    until = known.day(DAYS - 1)
    is_near = Q(absences__retired_at=None, absences__last__gte=known.today, absences__first__lte=until)
    columns = (
        "pk", "name", "active", "bench_hours", "bench_hours__hours_a_day", "bench_hours__days",
        "bench_hours__retired_at", "near__first", "near__last",
    )  # fmt: skip
    rows: dict[int, tuple[int, str, float, int]] = {}
    away: dict[int, set[int]] = defaultdict(set)
    of_plant = Person.objects.filter(plant=known.plant).annotate(near=FilteredRelation("absences", condition=is_near))
    for person, name, active, hours, a_day, on, retired_at, first, last in of_plant.order_by(
        "name", "bench_hours"
    ).values_list(*columns):
        if hours is not None and active and retired_at is None:
            rows[person] = (person, name, a_day, BenchHours(days=on).last_weekday)
        if first is not None:  # a row for each of them
            begin, end = max((first - known.today).days, 0), min((last - known.today).days, DAYS - 1)
            away[person] |= set(range(begin, end + 1))
    named = {w.person.pk: w.person.name for w in known.works if w.person is not None}
    if rows:
        people = list(rows.values())
    else:
        some = sorted(named.items(), key=lambda one: one[1]) or [(SOMEBODY, _("Toolroom"))]
        people = [(key, name, ASSUMED_DAY, 4) for key, name in some]
        words = _("No bench hours are entered: assumed {hours:g} hours a day, Monday to Friday, for {people}.")
        who = ", ".join(name for __, name in some) if named else _("one person")
        known.assumed.append(words.format(hours=ASSUMED_DAY, people=who))
    for key, name, hours, last_day in people:
        days = tuple(0.0 if n in away[key] or known.day(n).weekday() > last_day else float(hours) for n in range(DAYS))
        known.people.append(PersonDays(key=key, name=name, hours=days, away=frozenset(away[key])))


def _read_grinders(known: _Known) -> None:
    """A grinder runs on the days of the person who has the most of them; where none is named, they bind nothing."""
    rows = Grinder.objects.filter(plant=known.plant, retired_at=None).values_list("hours_a_day", flat=True)
    hours = float(sum(rows))
    if not hours:
        return
    works_at = [any(p.hours[n] for p in known.people) for n in range(DAYS)]
    known.grinder_hours = tuple(min(hours, 24.0) if on else 0.0 for on in works_at)


def _lay_jobs(known: _Known, orders: Sequence[OrderLeft], dies: Mapping[int, _DieNow]) -> None:
    """When the press needs each die: its next job, with those on the same press before and after it."""
    jobs: list[PressJob] = []
    of_die: dict[int, OrderLeft] = {}
    for row in orders:
        if row.die_id is None or row.die_id not in dies or dies[row.die_id].plant != known.plant.pk:
            continue
        press, strokes = dies[row.die_id].usual_press, dies[row.die_id].strokes_per_minute
        days = max(row.hits_left / (max(strokes, 0.1) * 60 * PRESS_DAY), 1e-3)
        key = row.order_id
        jobs.append(
            PressJob(
                key=key,
                press=press or _("die {die_id}").format(die_id=row.die_id),
                due=(row.due - known.today).days,
                days=days,
            )
        )
        of_die.setdefault(row.die_id, row)
    starts = policy.last_starts(jobs)
    known.needed = {die: (starts[row.order_id] - 1, row.number) for die, row in of_die.items()}


def _read_waits(known: _Known, dies: Mapping[int, _DieNow]) -> None:
    for work in known.works:
        die = dies[work.die_id]
        if die.press is not None and work.state in (State.REPORTED, State.PLANNED):
            known.waits[work.pk].append(_("the die is in press {press} now").format(press=die.press))
        if work.state == State.AWAY:
            words = _("away at {supplier}, no day given").format(supplier=work.supplier)
            if work.back_on:
                words = _("away at {supplier}, back on {day}").format(supplier=work.supplier, day=day_of(work.back_on))
            known.waits[work.pk].append(words)
            known.not_before[work.pk] = max(known.number(work.back_on) or 0, 0)
            if work.back_on and work.back_on < known.today:
                known.waits[work.pk].append(_("it should be back by now"))
        if die.hold is not None:
            known.waits[work.pk].append(_("on hold: {hold}").format(hold=die.hold))
    _read_spares(known)


def _read_spares(known: _Known) -> None:
    """Who gets what lies on the shelf: whoever set it aside first. The others wait for the delivery."""
    wanted = {piece.item_id for work in known.works for piece in work.pieces.all() if piece.item_id is not None}
    stock = queries.stock_of_spares(known.plant, items=wanted)
    on_order = [item for item, there in stock.items() if there.on_order > 0]
    coming = purchase_reads.on_the_way(known.plant, items=on_order) if on_order else {}
    left = {item: stock[item].on_hand if item in stock else 0 for item in wanted}
    for work in known.works:  # the oldest first
        for piece in work.pieces.all():
            if piece.item is None or piece.item_id is None or not piece.still:  # type: ignore[attr-defined]
                continue
            left[piece.item_id] -= piece.still  # type: ignore[attr-defined]
            if left[piece.item_id] >= 0:
                continue
            words, day = _waits_for(known, piece.item, stock.get(piece.item_id), coming.get(piece.item_id))
            known.waits[work.pk].append(words)
            if day is not None:
                known.not_before[work.pk] = max(known.not_before.get(work.pk, 0), day)


def _waits_for(
    known: _Known, item: Item, stock: SpareStock | None, coming: list[purchase_reads.Coming] | None
) -> tuple[str, int | None]:
    """In words what a work waits for, and the first day on which it may be there."""
    lead = item.lead_days
    if coming and (due := coming[0].due_on) is not None:
        first = coming[0]
        day = max((due - known.today).days, 1)
        words = _("spare {item}: order {number}, expected {due}")
        if first.is_promised:
            words = _("spare {item}: order {number}, promised for {due}")
        if first.days_late:
            words += _("; it is {days} days late").format(days=first.days_late)
        return words.format(item=item, number=first.number, due=day_of(due)), day
    if stock is not None and stock.on_order > 0:
        if stock.ordered_at is None or lead is None:
            return _("spare {item}: on order, no day known").format(item=item), None
        day = max((timezone.localdate(stock.ordered_at) - known.today).days + lead, 1)
        return _("spare {item}: on order, expected {day}").format(item=item, day=day_of(known.day(day))), day
    if lead is None:
        return _("spare {item}: not there and not ordered").format(item=item), None
    return _("spare {item}: not there and not ordered; it takes {lead} days").format(item=item, lead=lead), lead


# --- from rows to what is planned -------------------------------------------------------------------------------------


def _rows(known: _Known) -> tuple[list[PlanWork], Bench]:
    bench = Bench(hours={p.key: p.hours for p in known.people}, grinder_hours=known.grinder_hours)
    there = {p.key for p in known.people}
    costs = [float(w.late_cost) for w in known.works if w.late_cost]
    unknown = min(costs, default=1.0)  # a cost that nobody said counts as the least that somebody did
    made = []
    for work in known.works:
        if not _is_planned(work):
            continue
        hours, _ = hours_left(work, known.usual_hours)
        due, _ = _due(known, work)
        person = work.person_id if work.person_id in there else None
        day = known.number(work.day)
        if work.state == State.BENCH and person is not None:
            day = 0 if day is None else min(day, 0)
        made.append(
            PlanWork(
                key=work.pk,
                hours=hours,
                grinding=hours * GRINDING_SHARE if any(e.grind_mm or e.advised_mm for e in _edges(work)) else 0.0,
                due=due,
                cost=unknown if work.late_cost is None else float(work.late_cost),
                not_before=max(known.number(work.not_before) or 0, known.not_before.get(work.pk, 0), 0),
                away=work.away_days or 0 if work.state in (State.REPORTED, State.PLANNED, State.BENCH) else 0,
                person=person,
                day=None if day is None or person is None else max(day, 0),
                shares=tuple(sorted(p.piece_id for p in work.pieces.all() if p.piece_id is not None)),
            )
        )
    return made, bench


def _is_planned(work: BenchWork) -> bool:
    return work.state != State.TRY_OUT and work.die.status != Die.Status.RETIRED


def _edges(work: BenchWork) -> list[BenchEdge]:
    return [edge for edge in work.edges.all() if not edge.left_out]


def hours_left(work: BenchWork, usual: Mapping[int, float]) -> tuple[float, str]:
    """Hours still to do, and where they are from; nothing where somebody said them."""
    said = ""
    foreseen = work.hours_foreseen
    sharpening = work.source == BenchWork.Source.DUE or bool(_edges(work))
    if foreseen is None and sharpening and work.die_id in usual:
        foreseen, said = usual[work.die_id], _("usual for a sharpening of this die")
    elif foreseen is None:
        foreseen, said = ASSUMED_HOURS, _("assumed")
    return max(foreseen - (work.hours_used or 0.0), LEAST_HOURS), said


def _due(known: _Known, work: BenchWork) -> tuple[int | None, str]:
    if work.needed_on is not None:
        return known.number(work.needed_on), _("needed then")
    if work.die_id in known.needed:
        due, job = known.needed[work.die_id]
        return due, _("job {job} has to begin the day after").format(job=job)
    return None, ""


def _told(
    known: _Known, works: Sequence[PlanWork], plan: Plan, *, searched: bool, first_cost: float | None
) -> BenchPlan:
    names: dict[Hashable, str] = {p.key: p.name for p in known.people}
    planned = {work.key: work for work in works}
    users: dict[object, list[PlanWork]] = defaultdict(list)
    for of_plan in works:
        for thing in of_plan.shares:
            users[thing].append(of_plan)
    rows = []
    for work in known.works:
        one, slot = planned.get(work.pk), plan.slots.get(work.pk)
        hours, hours_from = hours_left(work, known.usual_hours)
        due, due_for = _due(known, work)
        waits = list(known.waits.get(work.pk, ()))
        if work.die.status == Die.Status.RETIRED:
            waits.insert(0, _("{die} is retired: drop this work, or put the die in service").format(die=work.die))
        if work.person_id is not None and work.person_id not in names and work.person is not None:
            waits.append(_("{person} has no hours for the bench any more").format(person=work.person))
        rows.append(
            PlannedWork(
                work=work,
                hours=hours,
                hours_from=hours_from,
                due=None if due is None else known.day(due),
                due_for=due_for,
                waits=tuple(waits),
                slot=slot,
                person=names[slot.person] if slot else "",
                first=known.day(slot.first) if slot else None,
                last=known.day(slot.last) if slot else None,
                ready=known.day(slot.ready) if slot else None,
                late_days=plan.late(one) if one is not None else 0,
                clash=_clash(known, one, slot, plan, users) if one is not None and slot is not None else "",
                is_planned=one is not None,
            )
        )
    rows.sort(key=_order)
    late = any(row.late_days or row.does_not_fit for row in rows)
    return BenchPlan(
        today=known.today,
        rows=rows,
        people=known.people,
        assumed=tuple(known.assumed),
        searched=searched,
        may_search=late and not searched,
        first_cost=first_cost,
        cost=plan.cost,
    )


def _order(row: PlannedWork) -> tuple:
    far = dt.date.max
    return (row.first or far, row.last or far, row.due or far, row.work.die.code, row.work.pk)


def _clash(known: _Known, one: PlanWork, slot: Slot, plan: Plan, users: Mapping[object, list[PlanWork]]) -> str:
    """What is wrong with a work where somebody put it."""
    if one.day is not None and slot.first > one.day:
        return _("no hours are free on {day}; it begins on {first}").format(
            day=day_of(known.day(one.day)), first=day_of(known.day(slot.first))
        )
    for thing in one.shares:
        for other in users[thing]:
            there = plan.slots.get(other.key)
            if other.key != one.key and there and there.first <= slot.last and slot.first <= there.last:
                die = next(w.die.code for w in known.works if w.pk == other.key)
                return _("a piece that it needs is in the work on {die} on the same days").format(die=die)
    return ""


__all__ = [
    "BenchPlan", "BetterPlan", "PersonDays", "PlannedWork",
    "hours_left", "improve", "keep", "look_for_better", "plan_of",
]  # fmt: skip
