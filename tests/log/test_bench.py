"""Writes of the bench: states, who may be put where, pieces that two want, what was advised and done, dies held."""

from __future__ import annotations

import datetime as dt

import pytest
import time_machine
from django.db import IntegrityError, transaction

from diestore.register.models import Die, Party, Piece
from diestore.service import queue
from maintenance import tasks
from maintenance.log import bench, bench_plan, bench_reads, write
from maintenance.log.rules import EntryRefused
from maintenance.models import Absence, BenchHours, BenchPiece, BenchStep, BenchWork, DieHold, KeptBenchPlan
from tests import factories as make
from tests.pages.money_shop import movement

pytestmark = pytest.mark.django_db
TODAY = dt.date(2026, 11, 30)  # a Monday
State = BenchWork.State


@pytest.fixture
def die():
    made = make.die()
    make.position(made, "1-A", item=make.item())
    make.position(made, "1-B")
    make.position(made, "2-P", kind="stripper_spring", length_mm=None)
    return made


def opened(die, **more) -> BenchWork:
    return bench.open_work(by=make.actor(), die=die, what="sharpen the set", **more)


def hours(name: str = "Maud K.", **more) -> BenchHours:
    return BenchHours.objects.create(person=make.person(name), **{"hours_a_day": 6, **more})


def edge(die, code: str, mm: float | None = 0.1, advised: float | None = None) -> bench.EdgeToGrind:
    return bench.EdgeToGrind(position=die.positions.get(code=code), grind_mm=mm, advised_mm=advised)


def refused(match: str):
    return pytest.raises(EntryRefused, match=match)


# --- states -----------------------------------------------------------------------------------------------------------


def test_a_work_goes_from_reported_to_released_and_each_step_stays(die):
    work = opened(die)
    for state in (State.PLANNED, State.BENCH, State.TRY_OUT, State.RELEASED):
        work = bench.set_state(by=make.actor(), work=work, state=state)
    assert (work.state, work.ended_by, work.is_open) == (State.RELEASED, make.person(), False)
    assert [step.words for step in work.steps.all()] == [
        "opened: sharpen the set (by hand)", "planned", "on the bench", "try-out", "released by Ina T.",
    ]  # fmt: skip
    assert {step.person for step in work.steps.all()} == {make.person()}
    with refused("This work is released. Open another one"):
        bench.use_hours(by=make.actor(), work=work, hours=1)


def test_every_way_that_is_not_offered_is_refused(die):
    for state in State:
        for wanted in set(State) - set(bench.NEXT[state]) - {state}:
            ended = {"ended_at": make.moment(9), "ended_reason": "x"} if state in BenchWork.ENDED else {}
            work = BenchWork.objects.create(die=die, what="x", state=state, **ended)
            with refused("cannot be|Open another one"):
                bench.set_state(by=make.actor(), work=work, state=wanted, reason="so", supplier=None)
    assert not BenchStep.objects.exists()


def test_what_a_state_asks_for(die):
    work = opened(die)
    with refused("Say why it is dropped"):
        bench.set_state(by=make.actor(), work=work, state=State.DROPPED)
    with refused("which supplier"):
        bench.set_state(by=make.actor(), work=work, state=State.AWAY)
    supplier = Party.objects.create(code="GRINDWELL", role="supplier")
    with refused("Sun 29 Nov 2026 is past. When is it back"):
        bench.set_state(by=make.actor(), work=work, state=State.AWAY, supplier=supplier,
                        back_on=dt.date(2026, 11, 29), today=TODAY)  # fmt: skip
    away = bench.set_state(by=make.actor(), work=work, state=State.AWAY, supplier=supplier,
                           back_on=dt.date(2026, 12, 4), today=TODAY)  # fmt: skip
    assert away.steps.last().words == "away at GRINDWELL, back on Fri 4 Dec 2026"
    bench.set_state(by=make.actor(), work=work, state=State.BENCH)
    work.refresh_from_db()
    assert (work.back_on, work.steps.last().words) == (None, "back from GRINDWELL: on the bench")
    with refused("Say who releases"):
        bench.set_state(by=write.Actor(), work=work, state=State.RELEASED)


def test_what_no_work_can_be(die):
    with refused("A work of 0 hours is none"):
        opened(die, hours_foreseen=0)
    with refused("no more than 2000"):
        opened(die, hours_foreseen=2_001)
    with refused("Say what is to be done"):
        bench.open_work(by=make.actor(), die=die, what="  ")
    with refused("2-P is a stripper spring, which is not ground"):
        opened(die, edges=[edge(die, "2-P")])
    with refused("1-A is named twice"):
        opened(die, edges=[edge(die, "1-A"), edge(die, "1-A")])
    with refused("0 mm"):
        opened(die, edges=[edge(die, "1-A", 0.0)])
    Die.objects.filter(pk=die.pk).update(status=Die.Status.RETIRED)
    die.refresh_from_db()
    with refused("H-900 is retired: no work is opened for it"):
        opened(die)
    assert not BenchWork.objects.exists()
    with refused("0 hours are none"):
        bench.use_hours(by=make.actor(), work=BenchWork.objects.create(die=die, what="x"), hours=0)


def test_the_same_form_twice_opens_one_work(die):
    assert opened(die, key="k") == opened(die, key="k")
    assert BenchStep.objects.count() == 1


@pytest.mark.parametrize(
    "values",
    [
        {"what": ""}, {"hours_foreseen": 0.0}, {"hours_used": -1.0}, {"state": "released"}, {"ended_reason": "x"},
        {"state": "dropped", "ended_at": make.moment(1)}, {"day": TODAY},
    ],
)  # fmt: skip
def test_the_database_keeps_its_rules_itself(die, values):
    with pytest.raises(IntegrityError), transaction.atomic():
        BenchWork.objects.create(**{"die": die, "what": "x"} | values)


# --- who and when -----------------------------------------------------------------------------------------------------


def test_who_can_be_put_where(die):
    work, maud = opened(die), hours().person
    by = make.actor()
    Absence.objects.create(person=maud, first=dt.date(2026, 12, 2), last=dt.date(2026, 12, 4))

    def put(person, *day: int):
        return bench.move_work(by=by, work=work, person=person, day=dt.date(*day) if day else None, today=TODAY)

    with refused("Sun 29 Nov 2026 is past"):
        put(maud, 2026, 11, 29)
    with refused("Maud K. is away from Wed 2 Dec 2026 to Fri 4 Dec 2026"):
        put(maud, 2026, 12, 4)
    with refused("does not work at the bench on a Saturday"):
        put(maud, 2026, 12, 5)
    with refused("Jory T. has no hours for the bench"):
        put(make.person("Jory T."), 2026, 12, 1)
    with refused("more than a year ahead"):
        put(maud, 2028, 12, 1)
    with refused("Say who is to do it"):
        put(None, 2026, 12, 1)
    assert not work.steps.filter(words__startswith="moved").exists()
    moved = put(maud, 2026, 12, 1)
    assert (moved.state, moved.person, moved.day) == (State.PLANNED, maud, dt.date(2026, 12, 1))
    (row,) = bench_plan.plan_of(die.plant, TODAY).rows
    assert (row.person, row.first, row.by_hand) == ("Maud K.", dt.date(2026, 12, 1), True)
    back = put(None)
    assert (back.person, back.day, back.steps.last().words) == (None, None, "left to the plan again")


def test_an_absence_entered_later_is_told_where_somebody_put_a_work(die):
    work, maud = opened(die, hours_foreseen=2), hours().person
    bench.move_work(by=make.actor(), work=work, person=maud, day=dt.date(2026, 12, 1), today=TODAY)
    Absence.objects.create(person=maud, first=dt.date(2026, 12, 1), last=dt.date(2026, 12, 2))
    (row,) = bench_plan.plan_of(die.plant, TODAY).rows
    assert row.first == dt.date(2026, 12, 3)
    assert row.clash == "no hours are free on Tue 1 Dec 2026; it begins on Thu 3 Dec 2026"


def test_without_hours_the_plan_says_what_is_assumed(die):
    opened(die)
    plan = bench_plan.plan_of(die.plant, TODAY)
    (said,) = plan.assumed
    assert "assumed 8 hours a day, Monday to Friday, for one person" in said
    assert plan.rows[0].hours == 2 and plan.rows[0].hours_from == "assumed"
    hours()
    assert bench_plan.plan_of(die.plant, TODAY).assumed == ()


def test_a_die_is_needed_before_its_job_has_to_begin(die):
    """80 strokes a minute, 8 hours a day: 38,400 hits a day. 50,000 hits take 1.3 days, so a job due on day 10 begins
    on day 8 at the latest, and the die is ready on day 7."""
    make.order(die, parts=50_000, due=TODAY + dt.timedelta(days=10))
    opened(die)
    (row,) = bench_plan.plan_of(die.plant, TODAY).rows
    assert row.due == TODAY + dt.timedelta(days=7)
    assert row.due_for == "job 26-0001 has to begin the day after"
    bench.plan_work(by=make.actor(), work=row.work, needed_on=TODAY + dt.timedelta(days=2))
    (row,) = bench_plan.plan_of(die.plant, TODAY).rows
    assert row.due == TODAY + dt.timedelta(days=2)


def test_a_work_of_a_die_that_was_retired_is_not_planned_and_says_so(die):
    opened(die)
    Die.objects.filter(pk=die.pk).update(status=Die.Status.RETIRED)
    (row,) = bench_plan.plan_of(die.plant, TODAY).rows
    assert row.slot is None and not row.is_planned
    assert row.waits[0] == "H-900 is retired: drop this work, or put the die in service"


def test_a_better_plan_is_kept_until_something_changes(die):
    """Two works, both due today: the short one first is a day less late. By earliest due date the dear long one is."""
    hours(hours_a_day=4)
    other = make.die("H-901")
    long = opened(die, hours_foreseen=16, needed_on=TODAY)
    short = opened(other, hours_foreseen=4, needed_on=TODAY + dt.timedelta(days=1))
    first = bench_plan.plan_of(die.plant, TODAY)
    assert first.rows[0].work == long and first.may_search and not first.searched
    better = bench_plan.improve(die.plant, TODAY)
    assert better.cost < first.cost and better.rows[0].work == short
    kept = bench_plan.plan_of(die.plant, TODAY)
    assert kept.searched and [(r.work, r.first) for r in kept.rows] == [(r.work, r.first) for r in better.rows]
    bench.use_hours(by=make.actor(), work=long, hours=1)
    assert not bench_plan.plan_of(die.plant, TODAY).searched


def test_the_night_looks_for_a_better_plan_and_leaves_what_was_put_by_hand(die, monkeypatch):
    monkeypatch.setattr(bench_reads, "today_at", lambda plant: TODAY)
    monkeypatch.setattr(bench_reads, "EVENING", 24)
    person = hours(hours_a_day=4).person
    others = [make.die(f"H-90{n}") for n in range(1, 4)]
    opened(die, hours_foreseen=16, needed_on=TODAY)
    short = opened(others[0], hours_foreseen=4, needed_on=TODAY + dt.timedelta(days=1))
    put = opened(others[1], hours_foreseen=4, needed_on=TODAY + dt.timedelta(days=9))
    bench.move_work(by=make.actor(), work=put, person=person, day=TODAY, today=TODAY)
    first = bench_plan.plan_of(die.plant)

    def night() -> None:
        tasks.lay_out_bench.enqueue(die.plant.pk)
        queue.Worker(name="night").step()

    night()
    laid = bench_plan.plan_of(die.plant)
    assert laid.searched and laid.cost < first.cost == laid.first_cost
    days = {row.work: row.first for row in laid.rows}
    assert days[put] == TODAY and days[short] < {row.work: row.first for row in first.rows}[short]
    kept = KeptBenchPlan.objects.get()
    night()
    assert KeptBenchPlan.objects.get().made_at == kept.made_at, "for the same records there is nothing to look for"
    KeptBenchPlan.objects.all().delete()
    night()
    assert KeptBenchPlan.objects.get().places == kept.places, "the same records, the same plan"
    KeptBenchPlan.objects.all().delete()
    BenchWork.objects.update(needed_on=TODAY + dt.timedelta(days=80))
    night()
    assert not KeptBenchPlan.objects.exists(), "nothing is late"


def test_the_bench_is_laid_out_once_the_nights_forecasts_are_there(die):
    opened(die)
    tasks.fit_fleet.enqueue(die.plant.pk)
    queue.Worker(name="night").step()
    assert f"lay_out_bench({die.plant.pk})" in {queue.name_of(row) for row in queue.unfinished()}


@pytest.mark.parametrize(("hour", "day"), [(3, 17), (18, 18)])
def test_a_night_that_begins_in_the_evening_is_for_the_next_day(die, settings, hour, day):
    settings.STANDS_STILL = False
    with time_machine.travel(dt.datetime(2025, 2, 17, hour, tzinfo=dt.UTC), tick=False):
        assert bench_reads.morning_after(die.plant) == dt.date(2025, 2, day)


# --- edges, pieces, and what was done ---------------------------------------------------------------------------------


def test_what_is_done_otherwise_than_advised_is_kept_with_the_reason(die):
    edges = [edge(die, "1-A", 0.1, advised=0.1), edge(die, "1-B", 0.1, advised=0.1)]
    work = opened(die, edges=edges)
    assert bench_reads.otherwise(work, work.edges.all()) == []
    bench.set_edges(by=make.actor(), work=work, edges=[edge(die, "1-A", 0.1)], why="  sharp under\nthe glass ")
    assert told(work) == [("1-B", True, "left out", "sharp under the glass")]
    bench.set_edges(by=make.actor(), work=work, edges=[edge(die, "1-B", 0.1)], why="chipped")
    assert told(work) == [("1-A", True, "left out", "chipped")]
    made = make.sharpen(die, 10, die.positions.get(code="1-A"), removed_mm=0.2)
    bench.record(by=make.actor(), work=work, entries=made)
    work.refresh_from_db()
    assert told(work) == [("1-B", True, "not ground", "")], "what was ground after all was as advised"
    assert [(one.code, one.done, one.work) for one in bench_reads.done_otherwise(die.plant)] == [
        ("1-B", "not ground", work)
    ]
    with refused("The reason has 201 letters"):
        bench.set_edges(by=make.actor(), work=opened(die), edges=[], why="x" * 201)


def told(work) -> list[tuple]:
    return [(one.code, one.advised, one.done, one.why) for one in bench_reads.otherwise(work, work.edges.all())]


def test_an_edge_ground_without_advice_is_told_where_others_were_advised(die):
    work = opened(die, edges=[edge(die, "1-A", 0.1, advised=0.1)])
    bench.set_edges(by=make.actor(), work=work, edges=[edge(die, "1-A", 0.1), edge(die, "1-B")], why="galled")
    (one,) = bench_reads.otherwise(work, work.edges.all())
    assert (one.code, one.advised, one.done, one.why) == ("1-B", False, "to be ground", "galled")
    alone = opened(die, edges=[edge(die, "1-B")])
    assert bench_reads.otherwise(alone, alone.edges.all()) == [], "nothing was advised"
    assert [one.code for one in bench_reads.done_otherwise(die.plant)] == ["1-B"]
    bench.set_state(by=make.actor(), work=work, state=State.DROPPED, reason="sold")
    assert bench_reads.done_otherwise(die.plant) == []


def test_what_was_advised_and_what_came_off_stand_side_by_side(die):
    work = opened(die, edges=[edge(die, "1-A", 0.1, advised=0.1)])
    bench.set_edges(by=make.actor(), work=work, edges=[edge(die, "1-A", 0.15), edge(die, "1-B", None)])
    bench.set_edges(by=make.actor(), work=work, edges=[edge(die, "1-B", 0.2)])
    told = {e.position.code: (e.advised_mm, e.grind_mm, e.done_mm) for e in work.edges.select_related("position")}
    assert told == {"1-A": (0.1, None, None), "1-B": (None, 0.2, None)}  # what was advised stays
    done = make.sharpen(die, 10, *die.positions.filter(code__in=["1-A", "1-B"]), removed_mm=0.12)
    work = bench.record(by=make.actor(), work=work, entries=done)
    assert (work.state, work.hours_used, set(work.entries.all())) == (State.RELEASED, 2.0, set(done))
    told = {e.position.code: (e.advised_mm, e.grind_mm, e.done_mm) for e in work.edges.select_related("position")}
    assert told == {"1-A": (0.1, None, 0.12), "1-B": (None, 0.2, 0.12)}


def test_a_die_on_hold_goes_to_try_out_and_not_out_of_the_toolroom(die):
    work = opened(die)
    bench.hold_die(by=make.actor(), die=die, reason="burr")
    work = bench.record(by=make.actor(), work=work, entries=make.sharpen(die, 10, die.positions.get(code="1-A")))
    assert work.state == State.TRY_OUT
    with refused("H-900 is on hold .burr.. Approve a first piece"):
        bench.set_state(by=make.actor(), work=work, state=State.RELEASED)
    bench.approve_first_piece(by=make.actor(), die=die, measured="burr 12 um")
    assert bench.set_state(by=make.actor(), work=work, state=State.RELEASED).state == State.RELEASED


def test_whoever_set_a_spare_aside_first_has_it(die):
    item, other = make.item(), make.die("H-901")
    item.lead_days = 10
    item.save()
    movement(item, 2)
    hours()
    first, second = opened(die, hours_foreseen=1), opened(other, hours_foreseen=1)
    assert bench.reserve(by=make.actor(), work=first, item=item, quantity=2) == ""
    said = bench.reserve(by=make.actor(), work=second, item=item)
    assert said == "PP-6.0-M2: 2 on the shelf, 2 of them set aside for H-900."
    rows = {row.work: row for row in bench_plan.plan_of(die.plant, TODAY).rows}
    assert rows[first].waits == () and rows[first].first == TODAY
    assert rows[second].waits == ("spare PP-6.0-M2: not there and not ordered; it takes 10 days",)
    assert rows[second].first == TODAY + dt.timedelta(days=10)
    movement(item, 5, kind="ordered", place="on order", day=(TODAY - make.START.date()).days - 4)
    rows = {row.work: row for row in bench_plan.plan_of(die.plant, TODAY).rows}
    assert rows[second].waits == ("spare PP-6.0-M2: on order, expected Sun 6 Dec 2026",)
    with refused("0 pieces cannot be set aside"):
        bench.reserve(by=make.actor(), work=first, item=item, quantity=0)
    bench.give_back(by=make.actor(), work=first, row=BenchPiece.objects.get(work=first))
    assert bench_plan.plan_of(die.plant, TODAY).rows[1].waits == ()


def test_a_marked_piece_that_two_dies_share_is_in_one_of_them_at_a_time(die):
    piece = Piece.objects.create(plant=make.plant(), key="shared", mark="S1", tool_steel="D2")
    hours(), hours("Bram O.")
    works = [opened(d, hours_foreseen=6) for d in (die, make.die("H-901"))]
    bench.reserve(by=make.actor(), work=works[0], piece=piece)
    said = bench.reserve(by=make.actor(), work=works[1], piece=piece)
    assert said.startswith("The work on H-900 needs") and said.endswith("cannot be on the bench at the same time.")
    rows = bench_plan.plan_of(die.plant, TODAY).rows
    assert rows[0].last < rows[1].first
    for work, name in zip(works, ("Maud K.", "Bram O."), strict=True):
        bench.move_work(by=make.actor(), work=work, person=make.person(name), day=TODAY, today=TODAY)
    clashes = [row.clash for row in bench_plan.plan_of(die.plant, TODAY).rows]
    assert clashes[0] == "a piece that it needs is in the work on H-901 on the same days"


# --- dies on hold -----------------------------------------------------------------------------------------------------


def test_a_die_is_held_once_and_released_by_somebody_who_measured(die):
    hold = bench.hold_die(by=make.actor(), die=die, reason="burr on the left part")
    with refused("H-900 is on hold since"):
        bench.hold_die(by=make.actor(), die=die, reason="again")
    for by, measured, said in ((write.Actor(), "x", "who approves"), (make.actor(), " ", "what was measured")):
        with refused(said):
            bench.approve_first_piece(by=by, die=die, measured=measured)
    assert bench_reads.hold_of(die) == hold
    done = bench.approve_first_piece(by=make.actor(), die=die, measured="burr 12 um, hole 6.02")
    assert (done.released_by, done.measured) == (make.person(), "burr 12 um, hole 6.02")
    assert bench_reads.hold_of(die) is None
    with refused("H-900 is not on hold"):
        bench.approve_first_piece(by=make.actor(), die=die, measured="x")
    bench.hold_die(by=make.actor(), die=die, reason="again")
    with pytest.raises(IntegrityError), transaction.atomic():
        DieHold.objects.create(die=die, reason="a second one")
