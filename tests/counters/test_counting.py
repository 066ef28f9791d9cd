"""Counting in the database: runs, the open count, questions and answers, in any batches and any order."""

from __future__ import annotations

import datetime as dt
import importlib
import random

import pytest
from django.apps import apps
from django.db import IntegrityError, transaction
from django.utils import timezone

from diestore.register.models import Press
from maintenance.clockwork import states as clockwork_states
from maintenance.counters import intake, presses, questions, settle
from maintenance.log import queries, read, write
from maintenance.models import (
    Counter,
    CounterDevice,
    CounterQuestion,
    CounterReading,
    DieInPress,
    HitCorrection,
    OpenCount,
    Run,
)
from tests import factories as make
from tests.counters import shop
from tests.counters.press import press as made_press

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("no_forecasts")]


@pytest.fixture(autouse=True)
def not_silent(monkeypatch):
    """The morning of these tests lies months back, and no counter of theirs has fallen silent."""
    monkeypatch.setattr(settle, "SILENT", dt.timedelta(days=10_000))


@pytest.fixture
def box(db):
    shop.press()
    return shop.device().device


def counted(box, totals, **more):
    shop.send(box, totals, **more)
    return settle.settle_waiting()


def test_what_goes_on_still_is_on_the_clocks_and_no_run_yet(box):
    die = make.die()
    make.position(die)
    shop.set_die(die)
    assert counted(box, {0: 100, 1: 160, 2: 220}) == {die}
    assert shop.runs() == []
    assert OpenCount.objects.get().hits == 120
    states = clockwork_states.states(read.of_die(die), shop.at(2).timestamp())
    assert [state.hits_since_sharpening for state in states.values()] == [120]
    assert read.last_moment(die.plant) == shop.at(2)


def test_what_goes_on_still_is_off_the_order_too(box):
    die = make.die(parts_per_hit=2)
    order = make.order(die, parts=10_000)
    shop.set_die(die, order=order)
    counted(box, {0: 100, 1: 160, 2: 220})
    (row,) = queries.open_orders()
    assert (row.parts_left, row.hits_left) == (10_000 - 2 * 120, 5_000 - 120)
    presses.take_out(by=make.actor(), row=DieInPress.objects.get(), at=shop.at(3))
    assert queries.open_orders() == [row]


def test_taken_out_ends_the_run(box):
    die = make.die()
    row = shop.set_die(die)
    counted(box, {0: 100, 1: 160, 2: 220})
    presses.take_out(by=make.actor(), row=row, at=shop.at(3))
    assert shop.runs() == [("H-900", 120, 0, 2)]
    assert not OpenCount.objects.exists()
    run = Run.objects.get()
    assert (run.press.code, run.basis, run.device, run.variant) == ("P1", "counted", "counter box", die.variants.get())


def test_what_a_silent_counter_counted_last_becomes_a_run_and_grows_when_it_speaks_again(box, monkeypatch):
    die = make.die()
    shop.set_die(die)
    counted(box, {0: 100, 1: 160, 2: 220})
    assert shop.runs() == [] and OpenCount.objects.get().hits == 120
    heard = CounterReading.objects.latest("at").received_at
    monkeypatch.setattr(settle, "SILENT", timezone.now() - heard + dt.timedelta(minutes=1))
    assert settle.settle_waiting() == set()  # not yet so long
    monkeypatch.setattr(settle, "SILENT", dt.timedelta(hours=12))
    assert settle.settle_waiting() == {die}
    assert shop.runs() == [("H-900", 120, 0, 2)] and not OpenCount.objects.exists()
    before = list(Run.objects.values())
    assert settle.settle_waiting() == set()  # once
    assert list(Run.objects.values()) == before
    # Its cable is put back: what it counted meanwhile is one stretch with what came before, and each hit counts once.
    monkeypatch.setattr(settle, "SILENT", dt.timedelta(days=10_000))
    counted(box, {60: 3_000, 61: 3_060})
    assert shop.runs() == []
    (open_,) = OpenCount.objects.all()
    assert (open_.hits, open_.started, open_.at) == (3_060 - 100, shop.at(0), shop.at(61))
    states = clockwork_states.states(read.of_die(die), shop.at(61).timestamp())
    assert all(state.hits_since_sharpening == 2_960 for state in states.values())


def test_counting_again_adds_nothing(box):
    shop.set_die(make.die(), until=30)
    totals = {m: 100 + 60 * m for m in range(20)}
    counted(box, totals)
    before = list(Run.objects.values())
    assert shop.send(box, totals) == ["known"] * 20
    Counter.objects.all().have_wait(shop.at(0))
    settle.settle_waiting()
    assert list(Run.objects.values()) == before
    assert shop.runs() == [("H-900", 19 * 60, 0, 19)]


def test_a_message_id_with_another_total_is_refused(box):
    shop.send(box, {0: 100})
    (told,) = intake.take(box, shop.messages({0: 101}), now=shop.at(1))
    assert told.what == "refused" and "used before" in told.sentence
    assert CounterReading.objects.get().total == 100


def test_a_late_message_that_tells_nothing_new_changes_nothing(box):
    """The press stood from 2 to 40; then a message of minute 20 comes, an hour late."""
    die = make.die()
    shop.set_die(die)
    counted(box, {0: 0, 1: 60, 2: 120, 40: 120, 41: 180, 80: 180})
    assert shop.runs() == [("H-900", 120, 0, 2), ("H-900", 60, 40, 41)]
    counted(box, {20: 120}, prefix="late")
    assert shop.runs() == [("H-900", 120, 0, 2), ("H-900", 60, 40, 41)]


def test_a_die_set_late_with_an_earlier_time_takes_what_was_asked(box):
    die = make.die()
    counted(box, {m: 60 * m for m in range(10)})
    (asked,) = CounterQuestion.objects.all()
    assert (asked.kind, asked.strokes) == ("no die", 540)
    shop.set_die(die, minute=-5)
    assert not CounterQuestion.objects.exists()
    assert OpenCount.objects.get().hits == 540


def test_another_die_from_an_earlier_time_takes_over_the_run(box):
    one, two = make.die("A"), make.die("B")
    row = shop.set_die(one, until=20)
    counted(box, {m: 60 * m for m in range(15)})
    assert shop.runs() == [("A", 840, 0, 14)]
    presses.strike_in_press(by=make.actor(), row=row, reason="It was the other one.")
    assert shop.runs() == []
    shop.set_die(two, until=20)
    assert shop.runs() == [("B", 840, 0, 14)]
    old = Run.objects.get(die=one)
    assert (old.struck_by.name, old.struck_reason) == (settle.STRIKER, settle.COUNTED_ANEW)


def test_what_was_changed_says_what_stands_in_its_place(box):
    """For all that was known the press ran from 0 to 101; late messages tell that it stood from 3 to 60."""
    shop.set_die(make.die(), until=200)
    counted(box, {0: 0, 1: 60, 2: 120, 100: 180, 101: 240})
    assert [run[1:] for run in shop.runs()] == [(240, 0, 101)]
    counted(box, {3: 150, 60: 150}, prefix="late")
    assert [run[1:] for run in shop.runs()] == [(150, 0, 3), (90, 60, 101)]
    old = Run.objects.get(struck_at__isnull=False)
    assert (old.hits, old.replaced_by.hits) == (240, 90)


def test_answers_settle_and_can_be_taken_back(box):
    die = make.die()
    counted(box, {m: 60 * m for m in range(10)})
    asked = CounterQuestion.objects.get()
    by = make.actor()
    questions.settle_questions(by=by, questions=[asked], verdict="to die", die=die)
    assert OpenCount.objects.get().hits == 540
    asked.refresh_from_db()
    assert (asked.settled_by, asked.die) == (by.person, die)
    with pytest.raises(write.EntryRefused, match="already"):
        questions.settle_questions(by=by, questions=[asked], verdict="to die", die=die)
    questions.take_back(by=by, question=asked)
    assert not OpenCount.objects.exists()
    again = CounterQuestion.objects.get(settled_at__isnull=True)
    questions.settle_questions(by=by, questions=[again], verdict="without stock", die=die)
    counted(box, {60: 540, 61: 540})
    assert HitCorrection.objects.get().hits == 540
    assert not HitCorrection.objects.get().with_stock


@pytest.mark.parametrize("verdict", ["no such", "reset", ""])
def test_answers_that_do_not_fit_are_refused(box, verdict):
    counted(box, {m: 60 * m for m in range(10)})
    with pytest.raises(write.EntryRefused):
        questions.settle_questions(
            by=make.actor(), questions=[CounterQuestion.objects.get()], verdict=verdict, die=make.die()
        )
    with pytest.raises(write.EntryRefused, match="which die"):
        questions.settle_questions(
            by=make.actor(), questions=[CounterQuestion.objects.get()], verdict="to die"
        )  # fmt: skip


def test_a_typed_run_and_a_counted_one_are_asked_and_never_both(box):
    die = make.die()
    shop.set_die(die)
    typed = write.log_run(by=make.actor(), die=die, started=shop.at(0), ended=shop.at(8), hits=500)
    counted(box, {m: 60 * m for m in range(10)})
    asked = CounterQuestion.objects.get()
    assert (asked.kind, asked.strokes, asked.dies) == ("typed", 480, [die.pk])
    assert OpenCount.objects.get().hits == 60
    questions.counter_holds(by=make.actor(), questions=[asked], reason="The counter is right.")
    typed.refresh_from_db()
    assert typed.is_struck
    assert OpenCount.objects.get().hits == 540
    assert not CounterQuestion.objects.exists()


def test_a_run_typed_over_a_count_that_goes_on(box):
    die = make.die()
    make.position(die)
    shop.set_die(die)
    counted(box, {m: 60 * m for m in range(10)})
    typed = write.log_run(by=make.actor(), die=die, started=shop.at(0), ended=shop.at(12), hits=500)
    assert [run.hits for run in read.of_die(die).runs] == [500]
    settle.settle_waiting()
    assert CounterQuestion.objects.get().kind == "typed"
    write.strike_out(by=make.actor(), entry=typed, reason="twice")
    settle.settle_waiting()
    assert not CounterQuestion.objects.exists()
    assert OpenCount.objects.get().hits == 540


def test_what_was_typed_held_until_it_was_struck_out(box):
    die = make.die()
    shop.set_die(die)
    typed = write.log_run(by=make.actor(), die=die, started=shop.at(0), ended=shop.at(12), hits=500)
    counted(box, {m: 60 * m for m in range(10)})
    questions.settle_questions(by=make.actor(), questions=[CounterQuestion.objects.get()], verdict="to nobody")
    assert not OpenCount.objects.exists()
    write.strike_out(by=make.actor(), entry=typed, reason="another die")
    settle.settle_waiting()
    assert OpenCount.objects.get().hits == 540


def test_what_somebody_struck_out_is_not_counted_again(box):
    die = make.die()
    shop.set_die(die, until=30)
    counted(box, {m: 60 * m for m in range(10)})
    write.strike_out(by=make.actor(), entry=Run.objects.get(), reason="The counter was tested.")
    Counter.objects.all().have_wait(shop.at(0))
    settle.settle_waiting()
    assert shop.runs() == []
    counted(box, {10: 600, 11: 660, 12: 720})
    assert shop.runs() == [("H-900", 180, 9, 12)]


def test_what_a_counter_made_stays_its_own_under_other_names(box):
    """The device and the press are renamed: what was counted stays, and what follows is one run with it."""
    shop.set_die(make.die(), until=30)
    counted(box, {m: 60 * m for m in range(10)})
    assert Run.objects.get().counter == shop.the_counter()
    CounterDevice.objects.update(name="box 2")
    Press.objects.update(code="P1 left")
    Counter.objects.all().have_wait(shop.at(0))
    assert settle.settle_waiting() == set()
    counted(box, {10: 600, 11: 660}, press="P1 left", prefix="later")
    assert shop.runs() == [("H-900", 660, 0, 11)]
    assert not CounterQuestion.objects.exists()


def test_entries_of_the_version_before_get_their_counters_from_their_keys(box):
    name_counters = importlib.import_module("maintenance.migrations.0011_counters_from_keys").name_counters
    shop.set_die(make.die("A"), until=30)
    counted(box, {m: 60 * m for m in range(10)})
    counted(box, {m: 600 + 60 * (m - 10) for m in range(10, 15)}, with_stock=False, prefix="tried")
    make.die("OWN")
    counted(box, {0: 5, 1: 65, 60: 65}, die="OWN", prefix="own")
    typed = make.run(make.die("B"), 1)
    strike = HitCorrection.objects.get()
    write.strike_out(by=make.actor(), entry=strike, reason="never tried")
    settle.settle_waiting()
    before = [list(model.objects.order_by("pk").values()) for model in (Run, HitCorrection)]
    assert {run["counter_id"] for run in before[0]} == {None, *Counter.objects.values_list("pk", flat=True)}
    Run.objects.update(counter=None)
    HitCorrection.objects.update(counter=None, counted_from=None)
    name_counters(apps, None)
    assert [list(model.objects.order_by("pk").values()) for model in (Run, HitCorrection)] == before
    typed.refresh_from_db()
    assert typed.counter is None


def test_a_wrong_clock_is_kept_asked_and_put_where_it_arrived(box):
    shop.set_die(make.die())
    counted(box, {m: 60 * m for m in range(10)})
    told = intake.take(box, shop.messages({5_000: 660}), now=shop.at(11))
    assert [row.what for row in told] == ["taken"]
    settle.settle_waiting()
    asked = CounterQuestion.objects.get()
    assert (asked.kind, asked.readings, OpenCount.objects.get().hits) == ("clock", 1, 540)
    questions.settle_questions(by=make.actor(), questions=[asked], verdict="at arrival")
    assert OpenCount.objects.get().hits == 660
    assert not CounterQuestion.objects.filter(settled_at__isnull=True).exists()


def test_a_fall_is_answered(box):
    shop.set_die(make.die())
    counted(box, {0: 80_000, 1: 80_060, 2: 50_000, 3: 50_060, 4: 50_120})
    asked = CounterQuestion.objects.get()
    assert (asked.kind, asked.strokes, asked.before, asked.after) == ("fall", 120, 80_060, 50_000)
    questions.settle_questions(by=make.actor(), questions=[asked], verdict="set")
    assert OpenCount.objects.get().hits == 180
    assert not CounterQuestion.objects.filter(settled_at__isnull=True).exists()
    counted(box, {5: 50_180})
    assert OpenCount.objects.get().hits == 240


def test_a_die_with_its_own_counter_needs_no_press(box):
    die = make.die("OWN")
    counted(box, {0: 5, 1: 65, 60: 65}, die="OWN")
    assert shop.runs() == [("OWN", 60, 0, 1)]
    assert Run.objects.get().press is None
    assert Counter.objects.get().die == die


def test_two_counters_of_one_die_count_it_once(box):
    die = make.die("A")
    shop.set_die(die)
    shop.send(box, {m: 60 * m for m in range(10)})
    shop.send(box, {m: 7 + 60 * m for m in range(10)}, die="A", prefix="d")
    settle.settle_waiting()
    assert sum(row.hits for row in OpenCount.objects.all()) == 540
    assert CounterQuestion.objects.get().kind == "typed"


@pytest.mark.parametrize("seed", range(6))
def test_any_batches_in_any_order_leave_the_same_log(box, seed):
    """Counted in bits as they come, a tenth of them late, as against all at once: the same runs and questions."""
    rng = random.Random(seed)
    made = made_press(seed, hours=10, figures=5, resets=0.003, dropped=0.1)
    dies = {n: make.die(f"D{n}", strokes_per_minute=400) for n in (1, 2, 3)}
    for row in made.dies:
        presses.set_in_press(
            by=make.actor(), press=shop.press(), die=dies[row.die],
            at=read.moment(row.since), until=read.moment(row.until),
        )  # fmt: skip
    rows = [intake.Message(id=r.id, press="P1", total=r.total, at=read.moment(r.at)) for r in made.readings]
    late = rng.sample(rows, len(rows) // 10)
    order = [r for r in rows if r not in late]
    for row in late:
        order.insert(rng.randrange(len(order)), row)
    i = 0
    now = shop.at(24 * 60)
    while i < len(order):
        n = rng.choice([1, 7, 60])
        intake.take(box, order[i : i + n], now=now)
        settle.settle_waiting()
        i += n
    in_bits = (shop.runs(), list(OpenCount.objects.values_list("hits", "started", "at")), _asked())
    Counter.objects.all().have_wait(shop.at(-600))
    Counter.objects.update(anchor=None)
    settle.settle_waiting()
    assert (shop.runs(), list(OpenCount.objects.values_list("hits", "started", "at")), _asked()) == in_bits
    hits = {f"D{n}": strokes for n, strokes in made.truth.items()}
    told = {code: sum(r[1] for r in shop.runs(die)) for code, die in ((d.code, d) for d in dies.values())}
    for row in OpenCount.objects.all():
        told[row.die.code] += row.hits
    assert {code: n for code, n in told.items() if n} == hits


def _asked():
    return list(CounterQuestion.objects.values_list("kind", "since", "until", "strokes"))


# --- rules of the database -------------------------------------------------------------------------------------------


def bare(press, die, since, until):
    return DieInPress(
        press=press, die=die, since=shop.at(since), until=None if until is None else shop.at(until)
    )  # fmt: skip


@pytest.mark.parametrize(("since", "until"), [(5, 15), (15, 25), (12, 13), (0, 30), (0, None), (15, None)])
def test_one_die_a_press_and_one_press_a_die(since, until):
    one, two = shop.press("P1"), shop.press("P2")
    a, b = make.die("A"), make.die("B")
    bare(one, a, 10, 20).save()
    for press, die, rule in ((one, b, "of_press"), (two, a, "of_die")):
        with pytest.raises(IntegrityError, match=f"in_press_no_overlap_{rule}"), transaction.atomic():
            bare(press, die, since, until).save()
    bare(one, b, 20, None).save()
    bare(two, a, 0, 10).save()
    with pytest.raises(IntegrityError), transaction.atomic():
        DieInPress.objects.filter(die=b).update(since=shop.at(19))


def test_set_in_press_ends_what_was_there():
    one, two = make.die("A"), make.die("B")
    shop.set_die(one, 0)
    shop.set_die(two, 10)
    shop.set_die(two, 20, press_code="P2")
    rows = [(r.die.code, r.press.code, r.since, r.until) for r in DieInPress.objects.order_by("since")]
    assert rows == [
        ("A", "P1", shop.at(0), shop.at(10)),
        ("B", "P1", shop.at(10), shop.at(20)),
        ("B", "P2", shop.at(20), None),
    ]
    with pytest.raises(write.EntryRefused, match="already"):
        shop.set_die(two, 30, press_code="P2")
    with pytest.raises(write.EntryRefused, match="was in press"):
        shop.set_die(one, 5, press_code="P3", until=7)
    with pytest.raises(write.EntryRefused, match="since"):
        shop.set_die(one, 15, press_code="P2")


def test_readings_are_never_deleted(box):
    shop.send(box, {0: 1})
    with pytest.raises(TypeError, match="never deleted"):
        CounterReading.objects.all().delete()
    with pytest.raises(TypeError, match="never deleted"):
        CounterReading.objects.get().delete()


def test_check_constraints_hold(box):
    shop.send(box, {0: 1})
    counter = shop.the_counter()
    typed = make.run(make.die(), 1)
    tried = HitCorrection.objects.create(
        die=typed.die, variant=typed.variant, at=shop.at(0), hits=4, with_stock=False, reason="tried", through="counter"
    )
    wrong = [
        lambda: CounterReading.objects.create(device=box, counter=counter, message_id="x", total=-1, at=shop.at(0)),
        lambda: CounterReading.objects.create(device=box, counter=counter, message_id="m0", total=1, at=shop.at(0)),
        lambda: Run.objects.filter(pk=typed.pk).update(counter=counter),
        lambda: HitCorrection.objects.filter(pk=tried.pk).update(counter=counter),
        lambda: Counter.objects.create(device=box),
        lambda: Counter.objects.create(device=box, press=counter.press),
        lambda: bare(shop.press(), make.die("Z"), 5, 5).save(),
        lambda: CounterQuestion.objects.create(
            counter=counter, kind="fall", since=shop.at(0), until=shop.at(1), verdict="set"
        ),
    ]
    for save in wrong:
        with pytest.raises(IntegrityError), transaction.atomic():
            save()
