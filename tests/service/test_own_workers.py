"""The workers that a web process starts for itself, on both databases: through real processes and real HTTP."""

from __future__ import annotations

import datetime as dt
import os
import signal

import pytest
from django.utils import timezone

from diestore.service import queue
from maintenance import night, tasks
from maintenance.log import changes
from tests import factories
from tests.service.running import kill, until
from tests.service.test_hosts import SHOP

pytestmark = pytest.mark.django_db


def test_with_workers_of_its_own_a_process_leaves_forecasts_to_them(monkeypatch):
    monkeypatch.setattr(queue, "_own_workers", False)
    assert not queue.is_worked()
    queue.has_own_workers()
    assert queue.is_worked()
    die = factories.die()
    changes.tell(dies=[die.pk])
    assert tasks.being_worked_out() == {die.pk}
    assert queue.Worker().step()
    assert tasks.being_worked_out() == set()


SMALL_HOUR = dt.datetime(2026, 3, 11, 2, 30, tzinfo=dt.UTC)
NOON = dt.datetime(2026, 3, 11, 12, 0, tzinfo=dt.UTC)


@pytest.mark.parametrize(
    ("now", "hours_ago", "due"),
    [
        (SMALL_HOUR, None, True),
        (NOON, None, True),
        (SMALL_HOUR, 10, False),
        (SMALL_HOUR, 24, True),
        (NOON, 24, False),  # it waits for the small hours
        (NOON, 40, True),  # the service was off at night
        (NOON, -400 * 24, True),  # a clock was ahead
    ],
)
def test_a_night_is_due_in_the_small_hours_or_as_soon_as_one_was_missed(now, hours_ago, due, settings):
    settings.TIME_ZONE = "UTC"
    die = factories.die()
    if hours_ago is not None:
        made = tasks.store.fit_and_forecast(die.plant)
        type(made).objects.filter(pk=made.pk).update(made_at=now - dt.timedelta(hours=hours_ago))
    with timezone.override(dt.UTC):
        assert night.is_due(now) == due


def test_no_night_is_asked_for_without_dies_or_where_one_was_asked_for():
    assert not night.is_due(timezone.now())
    factories.die()
    night.ask_when_due(None)
    asked = queue.unfinished().count()
    assert asked
    queue.unfinished().filter(task_path=tasks.fit_fleet.module_path).update(status="FAILED")
    night.ask_when_due(None)
    assert queue.unfinished().count() == asked - 1  # not again for some hours, though it came to nothing
    assert night.is_due(timezone.now() + night.ASKED_AGAIN_AFTER + dt.timedelta(hours=1))


def test_a_worker_that_looks_out_asks_once_a_minute_and_outlasts_what_goes_wrong(monkeypatch):
    asked = []

    def look(sender, **kwargs):
        asked.append(1)
        raise ValueError("whatever it is")

    queue.minute.connect(look)
    try:
        worker = queue.Worker(looks_out=True)
        worker.step(), worker.step()
        assert len(asked) == 1
        worker._looked_at -= queue.MINUTE_S
        worker.step()
        assert len(asked) == 2
        queue.Worker().step()  # the nightly command's own does not
        assert len(asked) == 2
    finally:
        queue.minute.disconnect(look)


def _pids(site) -> list[int]:
    """Process ids of the workers that report: their names hold them."""
    return [int(name.rsplit("-", 2)[1]) for (name,) in site.sql("SELECT name FROM diestore_taskworker ORDER BY 1")]


def _runs(pid: int) -> bool:
    try:
        os.kill(pid, 0)
    except ProcessLookupError:
        return False
    with open(f"/proc/{pid}/stat") as stat:  # a dead one that nobody has waited for yet does not count
        return stat.read().rsplit(")", 1)[1].split()[0] != "Z"


@pytest.mark.walk
def test_serve_starts_a_worker_begins_it_anew_and_takes_it_along(site):
    web = site.web("127.0.0.1", "--workers=1")
    web.wait()
    first = until(lambda: _pids(site), 30, "the worker does not report")[0]
    os.kill(first, signal.SIGKILL)
    second = until(lambda: [pid for pid in _pids(site) if pid != first], 30, "no other began")[0]
    kill(web.child)  # even then nothing is left behind
    until(lambda: not _runs(second), 30, "the worker outlives its web process")


def test_an_entry_is_answered_first_and_its_die_is_worked_out_by_the_worker(site):
    told = site.do(SHOP)
    web = site.web("127.0.0.1", "--workers=1")
    web.wait()
    until(lambda: _pids(site), 30, "the worker does not report")
    form = {
        "key": "a", "started": "2026-03-01T06:00", "ended": "2026-03-01T10:00", "hits": "15000", "die": told["dies"][0],
        "stock": told["stock"], "person": told["person"],
    }  # fmt: skip
    answer = web.ask(f"/log/run/?die={told['dies'][0]}", form, session=told["session"])
    assert answer.status == 302, answer.wrong
    asked = "SELECT count(*) FROM maintenance_dieforecast WHERE is_newest AND hits_since_sharpening = 15000"
    until(lambda: site.number(asked) == 1, 30, "the forecast does not follow")

    def is_told() -> bool:
        page = web.ask(f"/dies/{told['dies'][0]}/", session=told["session"])
        return page.status == 200 and "data-again" not in page.text

    until(is_told, 30, "the page still says that it is being worked out")
