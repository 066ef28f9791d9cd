"""Counters through a history folder: the same hits on the other side, and whatever is wrong is said."""

from __future__ import annotations

import datetime as dt

import pytest
from django.contrib.auth.models import User
from django.core.management import call_command
from hypothesis import given, settings
from hypothesis import strategies as st

from diestore.register.models import Plant
from diestore.service import queue
from maintenance import tasks
from maintenance.counters import questions, settle
from maintenance.history.columns import COUNTER_ANSWERS, COUNTER_BOXES, COUNTS, DIE_IN_PRESS
from maintenance.history.load import load
from maintenance.history.problems import HistoryRefused
from maintenance.history.write import write
from maintenance.models import (
    Counter,
    CounterQuestion,
    CounterReading,
    DieInPress,
    HitCorrection,
    OpenCount,
    Run,
)
from tests import factories as make
from tests.counters import shop
from tests.history.folders import sound
from tests.history.shop import as_written, empty_the_database, files, scratch
from tests.history.test_laws import GARBAGE

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def not_silent(monkeypatch):
    """The morning of these tests lies months back, and no counter of theirs has fallen silent."""
    monkeypatch.setattr(settle, "SILENT", dt.timedelta(days=10_000))


def told():
    runs = Run.objects.values_list("key", "die__code", "started", "at", "hits", "struck_at", "order__number")
    going_on = OpenCount.objects.values_list("die__code", "started", "at", "hits")
    asked = CounterQuestion.objects.values_list("kind", "since", "until", "strokes", "verdict", "settled_at")
    return sorted(runs, key=str), sorted(going_on), sorted(asked, key=str)


def test_the_same_hits_on_the_other_side(tmp_path):
    a, b = make.die("A"), make.die("B")
    make.position(a)
    order = make.order(a)
    box = shop.device(figures=6).device
    shop.press()
    shop.set_die(a, until=60, order=order)
    shop.send(box, {m: 999_000 + 60 * m if m < 16 else 60 * (m - 16) for m in range(90)})
    settle.settle_waiting()
    asked = CounterQuestion.objects.get(kind="no die")
    questions.settle_questions(by=make.actor(), questions=[asked], verdict="to die", die=b)
    shop.send(box, {30.5: 870 + 30 - 30}, prefix="late")
    settle.settle_waiting()
    before = told()
    assert before[0] and before[1]
    write(tmp_path / "out", Plant.objects.get())
    written = files(tmp_path / "out")
    empty_the_database()
    User.objects.all().delete()
    load(tmp_path / "out", allow_future=True)
    settle.settle_waiting()
    assert told() == before
    assert as_written() == written
    again = load(tmp_path / "out", allow_future=True)
    assert not any(again.counts.added.values())
    settle.settle_waiting()
    assert told() == before


def count(minute: float, total: int, **more) -> dict[str, str]:
    at = (dt.datetime(2020, 3, 2, 6, tzinfo=dt.UTC) + dt.timedelta(minutes=minute)).isoformat()
    return {"device": "box", "press": "P1", "at": at, "total": str(total), "id": f"m{minute:g}"} | more


IN = {"die": "H-201", "press": "P1", "since": "2020-03-02T05:00:00+00:00", "until": "2020-03-02T09:00:00+00:00"}
ANSWER = {"device": "box", "press": "P1", "kind": "no die", "since": IN["since"], "until": IN["until"],
          "verdict": "to die", "ran": "H-201", "settled": "2020-03-03T06:00:00+00:00"}  # fmt: skip
DEVICE = {"device": "box", "may": "counts;read", "digits": "6", "presses": "P1"}


def folder(path, **tables):
    full = {"die_in_press": [IN], "counts": [count(m, 60 * m) for m in range(4)], "counter_answers": [ANSWER],
            "counter_boxes": [DEVICE]}  # fmt: skip
    return sound(path, **{name: rows for name, rows in (full | tables).items() if rows})


def test_written_by_hand(tmp_path):
    load(folder(tmp_path / "a", counter_answers=[ANSWER | {"until": "2020-03-02T05:30:00+00:00"}]))
    settle.settle_waiting()
    assert [(run.die.code, run.hits) for run in Run.objects.all()] == [("H-201", 180)]
    assert CounterReading.objects.count() == 4
    assert Counter.objects.get().device.scopes == ["counts", "read"]


@pytest.mark.parametrize("way", ["command", "task"])
def test_counts_in_a_folder_become_hits_whichever_way_it_is_loaded(tmp_path, way):
    path = str(folder(tmp_path / "a", counter_answers=[]))
    if way == "command":
        call_command("load_history", path, verbosity=0)
    else:
        tasks.load_folder.enqueue(path)
        assert queue.Worker(name="one").step()
        assert not queue.failed().exists()
        left = set(queue.unfinished().values_list("task_path", flat=True))  # a worker is alive: the night is its
        assert left == {tasks.fit_fleet.module_path, tasks.look_back.module_path}
    assert [(row.die.code, row.hits) for row in Run.objects.all()] == [("H-201", 180)]
    assert Counter.objects.get().waiting_since is None


def test_a_run_in_a_folder_is_set_against_what_a_counter_counted_then(tmp_path):
    """Rows put in and struck out by the thousand are seen as those typed at a form are."""
    load(folder(tmp_path / "a", die_in_press=[IN | {"until": ""}], counter_answers=[]))
    settle.settle_waiting()
    assert OpenCount.objects.get().hits == 180
    run = {"die": "H-201", "started": "2020-03-02T06:00:00+00:00", "ended": "2020-03-02T06:03:00+00:00", "hits": "170",
           "entry_id": "typed"}  # fmt: skip
    load(sound(tmp_path / "b", runs=[run]))
    settle.settle_waiting()
    (asked,) = CounterQuestion.objects.all()
    assert (asked.kind, asked.strokes) == ("typed", 180) and not OpenCount.objects.exists()
    questions.settle_questions(by=make.actor(), questions=[asked], verdict="to nobody")
    out = run | {"struck_at": "2020-03-04T06:00:00+00:00", "struck_by": "Ina T.", "struck_reason": "another die"}
    load(sound(tmp_path / "c", runs=[out]))
    settle.settle_waiting()
    assert OpenCount.objects.get().hits == 180


COUNTED = {"die": "H-201", "started": "2020-03-02T06:00:00+00:00", "ended": "2020-03-02T06:03:00+00:00",
           "hits": "180", "device": "box", "came_by": "counter",
           "entry_id": "count|main|box|press P1|2020-03-02T06:00:00+00:00"}  # fmt: skip


@pytest.mark.parametrize("more", [{"counter_press": "P1"}, {}], ids=["named", "by its key, as the version before"])
def test_a_run_that_names_its_counter_is_that_counters(tmp_path, more):
    """Counted anew it stands as it is, and no question is asked of it."""
    counts = [count(m, 60 * m) for m in range(4)] + [count(60, 180), count(61, 180)]
    load(folder(tmp_path / "a", runs=[COUNTED | {"press": "P1"} | more], counts=counts, counter_answers=[]))
    settle.settle_waiting()
    run = Run.objects.get()
    assert run.counter == Counter.objects.get() and not run.is_struck
    assert not CounterQuestion.objects.exists() and not OpenCount.objects.exists()


def test_strokes_without_stock_say_from_when_on(tmp_path):
    row = {"die": "H-201", "at": "2020-03-02T06:03:00+00:00", "hits": "180", "with_stock": "no", "reason": "set-up"}
    row |= {name: COUNTED[name] for name in ("device", "came_by", "entry_id")}
    load(folder(tmp_path / "a", corrections=[row], counts=[], counter_answers=[]))
    made = HitCorrection.objects.get()
    assert (made.counter, made.counted_from) == (Counter.objects.get(), dt.datetime(2020, 3, 2, 6, tzinfo=dt.UTC))


@pytest.mark.parametrize(
    ("tables", "says"),
    [
        ({"counts": [count(0, 5), count(0, 6)]}, "stands in line 2 with another count"),
        ({"counts": [count(0, 5, die="H-201")]}, "one of the two"),
        ({"counts": [count(0, 5, press="", die="H-999")]}, "no die 'H-999'"),
        ({"counts": [count(0, -5)]}, "total"),
        ({"die_in_press": [IN, IN | {"press": "P2", "since": "2020-03-02T08:00:00+00:00"}]}, "Die H-201 is taken from"),
        ({"die_in_press": [IN, IN]}, "stands in line 2 already"),
        ({"die_in_press": [IN | {"until": IN["since"]}]}, "before it was set"),
        ({"die_in_press": [IN | {"struck_by": "Ina T."}]}, "when, by whom and why"),
        ({"die_in_press": [IN | {"order": "none"}]}, "no order 'none'"),
        ({"counter_answers": [ANSWER | {"ran": ""}]}, "names the die that ran"),
        ({"counter_answers": [ANSWER | {"verdict": "perhaps"}]}, "perhaps"),
        ({"counter_answers": [ANSWER | {"until": "2020-03-01T00:00:00+00:00"}]}, "ends before it begins"),
        ({"runs": [COUNTED | {"counter_press": "P1", "came_by": ""}]}, "came through counter"),
        ({"runs": [COUNTED | {"counter_press": "P1", "device": ""}]}, "names the device"),
        ({"runs": [COUNTED | {"counter_press": "P1", "counter_die": "H-201"}]}, "one of the two"),
        ({"runs": [COUNTED | {"counter_die": "H-999"}]}, "no die 'H-999'"),
        ({"counter_boxes": [DEVICE | {"may": "all"}]}, "cannot be let do 'all'"),
        ({"counter_boxes": [DEVICE | {"digits": "99"}]}, "digits"),
    ],
)  # fmt: skip
def test_what_is_wrong_is_said_and_nothing_is_saved(tmp_path, tables, says):
    with pytest.raises(HistoryRefused) as refused:
        load(folder(tmp_path / "a", **tables))
    assert says in str(refused.value)
    assert not CounterReading.objects.exists() and not DieInPress.objects.exists()


def test_what_was_changed_meanwhile_is_said(tmp_path):
    load(folder(tmp_path / "a"))
    with pytest.raises(HistoryRefused, match="another count"):
        load(folder(tmp_path / "b", counts=[count(0, 7)]))
    with pytest.raises(HistoryRefused, match="another die, press or time"):
        load(folder(tmp_path / "c", die_in_press=[IN | {"until": "2020-03-02T10:00:00+00:00"}]))
    struck = {"struck_at": "2020-03-04T06:00:00+00:00", "struck_by": "Ina T.", "struck_reason": "never so"}
    load(folder(tmp_path / "d", die_in_press=[IN | struck]))
    assert DieInPress.objects.get().struck_by.name == "Ina T."


TABLES = {
    "die_in_press": DIE_IN_PRESS,
    "counts": COUNTS,
    "counter_answers": COUNTER_ANSWERS,
    "counter_boxes": COUNTER_BOXES,
}


@pytest.mark.walk
@settings(max_examples=250)
@given(garbage=GARBAGE, data=st.data())
def test_garbage_in_a_cell_is_taken_or_refused_and_nothing_else(garbage, data, tmp_path_factory):
    name = data.draw(st.sampled_from(sorted(TABLES)))
    column = data.draw(st.sampled_from([c.name for c in TABLES[name].columns]))
    rows = {"die_in_press": IN, "counts": count(0, 5), "counter_answers": ANSWER, "counter_boxes": DEVICE}
    with scratch():
        path = tmp_path_factory.mktemp("garbage")
        try:
            load(folder(path, **{name: [rows[name] | {column: garbage}]}))
        except HistoryRefused as refused:
            assert refused.problems
            assert not DieInPress.objects.exists()
        else:
            settle.settle_waiting()
