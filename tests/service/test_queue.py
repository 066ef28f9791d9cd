"""The queue: a task takes effect once, whoever dies; nothing waits for ever, and nothing is tried for ever."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import pytest
from django.contrib.sessions.models import Session
from django.core.management import CommandError, call_command
from django.db import OperationalError
from django.utils import timezone
from django_tasks_db.models import DBTaskResult

from diestore.service import queue
from diestore.service.models import TaskWorker
from maintenance import tasks
from maintenance.forecasts import fit, store
from maintenance.log import changes, freshness, queries, write
from maintenance.models import DieForecast, FleetFit, PastForecasts
from tests import factories

DEMO = Path(__file__).resolve().parents[2] / "fixtures" / "demo-shop"

pytestmark = pytest.mark.django_db


@pytest.fixture
def die():
    made = factories.die()
    factories.position(made)
    factories.run(made, 1, 20_000)
    return made


@pytest.fixture
def by_workers(settings):
    settings.FORECASTS_BY_WORKERS = True


def only() -> DBTaskResult:
    return DBTaskResult.objects.get()


def due_now() -> None:
    DBTaskResult.objects.update(run_after=timezone.now() - dt.timedelta(seconds=1))


def test_without_workers_an_entry_computes_its_die_at_once_and_the_queue_stays_empty(die):
    changes.tell(dies=[die.pk])
    assert queries.newest_forecast(die).die == die
    assert not DBTaskResult.objects.exists()


def test_with_workers_an_entry_leaves_the_forecast_to_them_once(die, by_workers):
    changes.tell(dies=[die.pk])
    assert queries.newest_forecast(die) is None
    changes.tell(dies=[die.pk])
    assert DBTaskResult.objects.count() == 1
    worker = queue.Worker(name="a")
    assert worker.step() and not worker.step()
    assert queries.newest_forecast(die).hits_since_sharpening == 20_000
    assert only().status == "SUCCESSFUL"
    factories.run(die, 2, 5_000)
    changes.tell(dies=[die.pk])  # the one before is done: this is another
    assert DBTaskResult.objects.count() == 2


def test_a_task_whose_worker_died_is_done_by_another(die):
    tasks.forecast_die.enqueue(die.pk)
    dead = queue.Worker(name="dead")
    dead.beat()
    assert queue.claim("dead") is not None
    assert queue.reap() == queue.Reaped()  # seen just now: not dead
    assert not queue.Worker(name="b").step()
    TaskWorker.objects.filter(name="dead").update(seen_at=timezone.now() - dt.timedelta(hours=1))
    assert queue.reap() == queue.Reaped(waiting=1)
    assert queue.Worker(name="b").step()
    assert only().status == "SUCCESSFUL" and only().worker_ids == ["dead", "b"]


def test_a_worker_that_slept_an_hour_does_not_do_the_work_a_second_time(die):
    """It holds the task still and knows of nothing; what it would write is refused."""
    tasks.forecast_die.enqueue(die.pk)
    sleeper = queue.claim("sleeper")
    queue.reap()  # never seen: dead
    assert queue.Worker(name="b").step()
    told = DieForecast.objects.get()
    queue.carry_out(sleeper)
    assert DieForecast.objects.get() == told
    assert only().status == "SUCCESSFUL" and only().worker_ids == ["sleeper", "b"]


def test_a_sleeper_that_wakes_before_the_other_has_finished_is_refused_too(die):
    tasks.forecast_die.enqueue(die.pk)
    sleeper = queue.claim("sleeper")
    queue.reap()
    other = queue.claim("b")
    queue.carry_out(sleeper)
    assert only().status == "RUNNING" and not DieForecast.objects.exists()
    queue.carry_out(other)
    assert only().status == "SUCCESSFUL" and DieForecast.objects.count() == 1


def test_a_task_that_kills_its_workers_is_given_up_after_three(die):
    tasks.forecast_die.enqueue(die.pk)
    for n in range(queue.TRIES_AT_MOST):
        assert queue.claim(f"dead-{n}") is not None
        queue.reap()
    assert queue.claim("another") is None
    assert only().status == "FAILED"
    assert queue.why_failed(only()).endswith("worker dead-2 was not seen any more")


def test_an_error_is_tried_three_times_with_a_pause_and_leaves_nothing_behind(die, monkeypatch):
    def stores_half(*args, **kwargs):
        real(*args, **kwargs)
        raise RuntimeError("no more paper")

    real = store.keep
    monkeypatch.setattr("maintenance.forecasts.store.keep", stores_half)
    tasks.forecast_die.enqueue(die.pk)
    worker = queue.Worker(name="a")
    for n in range(1, queue.TRIES_AT_MOST + 1):
        assert worker.step(), f"try {n}"
        assert len(only().worker_ids) == n
        assert not worker.step(), "it waits before it is tried again"
        assert not DieForecast.objects.exists()
        due_now()
    assert only().status == "FAILED" and queue.why_failed(only()) == "RuntimeError: no more paper"
    assert list(queue.failed()) == [only()]
    monkeypatch.setattr("maintenance.forecasts.store.keep", real)
    assert not worker.step()


def test_what_cannot_be_done_is_not_tried_again(tmp_path):
    tasks.load_folder.enqueue(str(tmp_path / "nowhere"))
    queue.Worker(name="a").step()
    assert only().status == "FAILED" and only().worker_ids == ["a"]


def test_a_task_that_the_code_knows_no_more_fails_and_stops_nobody(die):
    tasks.forecast_die.enqueue(die.pk)
    DBTaskResult.objects.update(task_path="maintenance.tasks.of_old")
    tasks.forecast_die.enqueue(die.pk)
    worker = queue.Worker(name="a")
    assert worker.step() and worker.step()
    assert DieForecast.objects.exists()


def test_the_database_gone_under_a_task_gives_it_back_when_it_answers_again(die, monkeypatch):
    def gone(*args, **kwargs):
        raise OperationalError("the connection is closed")

    monkeypatch.setattr("maintenance.forecasts.store.keep", gone)
    monkeypatch.setattr("diestore.service.queue.database_answers", lambda: False)
    tasks.forecast_die.enqueue(die.pk)
    worker = queue.Worker(name="a")
    with pytest.raises(OperationalError):
        worker.step()
    assert only().status == "RUNNING"
    monkeypatch.undo()
    assert worker.step()
    assert only().status == "SUCCESSFUL" and DieForecast.objects.count() == 1


def test_the_night_fits_every_plant_and_works_the_queue_itself(die):
    call_command("nightly", verbosity=0)
    assert FleetFit.objects.count() == 1
    assert queries.newest_forecast(die).fit == FleetFit.objects.get()
    assert not queue.unfinished().exists() and not queue.failed().exists()


def test_the_night_forgets_sessions_that_ran_out_and_no_others(die):
    for key, days in (("ran out", -1), ("goes on", 1)):
        Session.objects.create(session_key=key, session_data="", expire_date=timezone.now() + dt.timedelta(days=days))
    call_command("nightly", verbosity=0)
    assert list(Session.objects.values_list("session_key", flat=True)) == ["goes on"]


@pytest.mark.parametrize("workers", [True, False])
def test_a_loaded_folder_is_handed_to_the_workers_where_there_are_some(settings, workers, capsys):
    settings.FORECASTS_BY_WORKERS = workers
    call_command("load_history", str(DEMO), allow_future=True)
    waiting = {row.task_path.rsplit(".", 1)[-1] for row in queue.unfinished()}
    assert ("fit_fleet" in waiting) == workers
    said = capsys.readouterr().out
    assert ("left to the workers" in said) == workers and ("manage.py nightly" in said) == (not workers)
    DBTaskResult.objects.all().delete()
    call_command("load_history", str(DEMO), allow_future=True)  # again: nothing new, so nothing to compute
    assert "Nothing was added" in capsys.readouterr().out and not queue.unfinished().exists()


def test_the_night_says_what_failed(die, monkeypatch):
    def refuses(*args, **kwargs):
        raise queue.Refused("the log cannot be read")

    monkeypatch.setattr("maintenance.forecasts.fit.compute", refuses)
    with pytest.raises(CommandError, match="1 of the tasks failed"):
        call_command("nightly", verbosity=0)
    monkeypatch.undo()
    call_command("nightly", verbosity=0)  # the failure of before is not told again


def test_an_entry_made_while_the_fleet_is_fitted_is_in_the_forecast(die, monkeypatch):
    """The fit read the log before; what it stores would lack the entry until the next one."""
    compute = fit.compute

    def with_an_entry(plant):
        computed = compute(plant)
        factories.run(die, 2, 7_000)
        return computed

    monkeypatch.setattr("maintenance.forecasts.fit.compute", with_an_entry)
    call_command("nightly", verbosity=0)
    told = queries.newest_forecast(die)
    assert told.hits_since_sharpening == 27_000 and told.fit is not None


def test_what_counts_as_changed_since_a_mark(die):
    other = factories.die("H-901")
    place = factories.position(other)
    before = freshness.mark()

    def changed_since(mark):
        return freshness.since(mark).dies_in("records")

    assert changed_since(before) == set()
    run = factories.run(die, 3)
    assert changed_since(before) == {die.pk}
    after = freshness.mark()
    assert changed_since(after) == set()
    write.strike_out(by=factories.actor(), entry=run, reason="twice")
    struck = freshness.mark()
    assert changed_since(after) == {die.pk}
    factories.sharpen(other, 4, place)
    assert changed_since(struck) == {other.pk}


def test_tasks_done_long_ago_are_forgotten_and_new_ones_not(die):
    tasks.forecast_die.enqueue(die.pk)
    tasks.forecast_die.enqueue(die.pk)
    worker = queue.Worker(name="a")
    assert worker.step() and worker.step()
    old = DBTaskResult.objects.first()
    DBTaskResult.objects.filter(pk=old.pk).update(finished_at=timezone.now() - dt.timedelta(days=15))
    assert queue.prune() == 1
    assert DBTaskResult.objects.count() == 1


def test_once_a_week_the_night_looks_back(die):
    call_command("nightly", verbosity=0)
    row = PastForecasts.objects.get()
    assert "10" in row.refusal, "one die is too few, and that is kept to be told"
    call_command("nightly", verbosity=0)
    assert PastForecasts.objects.count() == 1
    PastForecasts.objects.update(made_at=timezone.now() - dt.timedelta(days=7))
    call_command("nightly", verbosity=0)
    assert PastForecasts.objects.count() == 2
