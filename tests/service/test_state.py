"""What a monitor, a probe and a person see of the service; what a page says when the database does not answer."""

from __future__ import annotations

import datetime as dt
import json
import logging
import os
import subprocess
import sys
from pathlib import Path

import pytest
import time_machine
from django.db import InterfaceError, OperationalError
from django.test import Client
from django.utils import timezone
from django_tasks_db.models import DBTaskResult

from diestore.access import throttle
from diestore.access.models import Tries
from diestore.service import log_lines, queue
from diestore.service import state as service_state
from maintenance import tasks
from maintenance.forecasts import store
from maintenance.models import FleetFit, PastForecasts, Run
from tests import factories

pytestmark = pytest.mark.django_db


def gone(*args, **kwargs):
    raise OperationalError("server closed the connection unexpectedly")


# --- the probe ----------------------------------------------------------------------------------------


def test_a_probe_needs_no_sign_in_and_learns_nothing_but_yes_or_no(client, monkeypatch, django_assert_num_queries):
    with django_assert_num_queries(1):
        answer = client.get("/alive/")
    assert (answer.status_code, answer.content) == (200, b"ok\n")
    monkeypatch.setattr("diestore.service.queue.database_answers", lambda: False)
    answer = client.get("/alive/")
    assert (answer.status_code, answer.content) == (503, b"no\n")
    assert client.post("/alive/").status_code == 405


def test_under_https_a_plain_probe_gets_its_answer_and_no_redirect(client, monkeypatch, settings):
    settings.SECURE_SSL_REDIRECT = True
    assert client.get("/alive/").status_code == 200
    assert client.get("/sign-in/").status_code == 301


# --- the page and the monitor -------------------------------------------------------------------------


def test_who_may_see_how_the_service_stands(client, settings, as_role):
    settings.MONITOR_KEY = ""
    assert client.get("/service.json").status_code == 403
    assert client.get("/service.json", headers={"Authorization": "Bearer "}).status_code == 403
    settings.MONITOR_KEY = "a long key of the monitor"
    assert client.get("/service.json", headers={"Authorization": "Bearer another"}).status_code == 403
    assert client.get("/service.json", headers={"Authorization": "Bearer a long key of the monitor"}).status_code == 200
    assert client.get("/service/", headers={"Authorization": "Bearer a long key of the monitor"}).status_code == 302
    assert as_role("buyer").get("/service.json").status_code == 403
    assert as_role("administrator").get("/service.json").status_code == 200
    assert client.get("/service/").status_code == 200


def test_all_is_well(as_role):
    factories.run(die := factories.die(), 1)
    factories.position(die)
    store.fit_and_forecast(die.plant)
    told = as_role("administrator").get("/service.json").json()
    assert told["can_work"] and told["all_well"] and told["worries"] == []
    assert told["database"]["answers"] and told["database"]["migrations_waiting"] == 0
    assert told["tasks"] == {"waiting": 0, "running": 0, "failed": 0, "workers_alive": 0, "oldest_waits_s": 0}
    assert told["forecasts"]["last_fit_s_ago"]["main"] < 60
    assert told["disk"]["free_bytes"] > 0 and told["version"]["diestore"]


def test_what_somebody_should_look_at(as_role, settings, monkeypatch):
    die = factories.die()
    tasks.forecast_die.enqueue(die.pk)
    DBTaskResult.objects.update(enqueued_at=timezone.now() - dt.timedelta(minutes=50))
    tasks.load_folder.enqueue("/nowhere/at/all")
    DBTaskResult.objects.filter(task_path__endswith="load_folder").update(
        status="FAILED", finished_at=timezone.now(), traceback="ValueError: a customer's name"
    )
    fit = store.fit_and_forecast(die.plant)
    FleetFit.objects.filter(pk=fit.pk).update(made_at=timezone.now() - dt.timedelta(days=4))
    settings.FORECASTS_BY_WORKERS = True
    monkeypatch.setattr("shutil.disk_usage", lambda path: type("Usage", (), {"free": 4e8, "total": 1e11}))
    client = as_role("administrator")
    told = client.get("/service.json")
    assert told.status_code == 200 and not told.json()["all_well"]
    said = " ".join(told.json()["worries"])
    for words in (
        "1 task failed within 2 days, the last: load_folder",
        "A task has waited for 50 minutes and no worker is alive",
        "Forecasts are left to workers, and none is alive",
        "The last fit of main was made 4 days ago",
        "Only 400.0 MB are free",
    ):
        assert words in said
    page = client.get("/service/").content.decode()
    assert "manage.py nightly" in page and "customer" not in page + said


def test_rows_from_the_future_are_a_worry(as_role):
    """A clock was 400 days ahead, and is right again: before, the page said that all is well."""
    die = factories.die()
    factories.position(die)
    later = timezone.now() + dt.timedelta(days=400)
    with time_machine.travel(later):
        throttle.enter((throttle.USER, "somebody"))
        factories.run(die, 1)
        store.fit_and_forecast(die.plant)
    Run.objects.update(recorded_at=later)
    told = as_role("administrator").get("/service.json").json()
    assert not told["all_well"] and told["clock"]["rows_in_the_future"] >= 4
    said = " ".join(told["worries"])
    for words in ("1 run", "1 fleet fit", "1 tries", "The last fit of main was made later than now"):
        assert words in said
    new = store.fit_and_forecast(die.plant)
    assert store.newest_fit(die.plant) == new, "before: the fit from the future was the newest for 400 days"
    Tries.objects.all().delete()
    PastForecasts.objects.create(plant=die.plant, as_of=timezone.now(), made_at=later, code_version="4")
    tasks.plan_night(die.plant)
    assert DBTaskResult.objects.filter(task_path__endswith="look_back").exists(), "before: none until it is 2028"
    assert "later than now" not in " ".join(service_state.read().worries)


def test_rows_of_the_near_past_and_plans_are_none(as_role):
    die = factories.die()
    factories.order(die, parts=1_000)
    factories.run(die, 1)
    throttle.enter((throttle.USER, "somebody"))
    assert as_role("administrator").get("/service.json").json()["clock"] == {"rows_in_the_future": 0}


def test_the_state_without_a_database_is_told_and_is_a_503(monkeypatch):
    monkeypatch.setattr("diestore.service.queue.database_answers", lambda: False)
    state = service_state.read()
    assert not state.can_work and "The database does not answer." in state.worries
    assert [part.name for part in state.parts] == ["database", "disk", "version"]


# --- when a page breaks -------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("error", "heading"),
    [
        (OperationalError("server closed the connection unexpectedly"), "The database does not answer"),
        (InterfaceError("connection already closed"), "The database does not answer"),
        (OperationalError("database is locked"), "The database is busy"),
        (OperationalError("database or disk is full"), "The disk is full"),
    ],
)
def test_trouble_of_the_database_is_a_503_with_a_sentence_and_a_number(as_role, monkeypatch, error, heading):
    def breaks(*args, **kwargs):
        raise error

    client = as_role("lead")
    client.raise_request_exception = False
    monkeypatch.setattr("maintenance.forecasts.due.listed", breaks)
    answer = client.get("/due/")
    page = answer.content.decode()
    assert answer.status_code == 503 and heading in page and "Traceback" not in page
    assert answer["Retry-After"] and answer["X-Request-Id"] in page
    monkeypatch.undo()
    assert client.get("/due/").status_code == 200


def test_another_error_is_a_500_with_a_number_and_no_details(as_role, monkeypatch):
    def breaks(*args, **kwargs):
        raise ValueError("the customer's name")

    client = as_role("lead")
    client.raise_request_exception = False
    monkeypatch.setattr("maintenance.forecasts.due.listed", breaks)
    answer = client.get("/due/")
    page = answer.content.decode()
    assert answer.status_code == 500 and "customer" not in page
    assert answer["X-Request-Id"] in page and "Nothing was half saved" in page


# --- numbers and log lines ----------------------------------------------------------------------------


def test_a_number_of_a_request_is_taken_only_from_a_proxy_of_ours(settings):
    client = Client(headers={"X-Request-Id": "from-outside-1"})
    settings.PROXIES = 0
    first, second = (client.get("/alive/")["X-Request-Id"] for _ in range(2))
    assert len({first, second, "from-outside-1"}) == 3
    settings.PROXIES = 1
    assert client.get("/alive/")["X-Request-Id"] == "from-outside-1"
    assert Client(headers={"X-Request-Id": "a\tb <script>"}).get("/alive/")["X-Request-Id"].isalnum()


@pytest.fixture
def lines():
    """What the service writes as JSON lines."""
    written: list[str] = []

    class Keeps(logging.Handler):
        def emit(self, record):
            written.append(self.format(record))

    handler = Keeps()
    handler.addFilter(log_lines.Belongs())
    handler.setFormatter(log_lines.JsonLines())
    root = logging.getLogger()
    level = root.level
    root.addHandler(handler)
    root.setLevel(logging.INFO)
    yield lambda: [json.loads(line) for line in written]
    root.removeHandler(handler)
    root.setLevel(level)


def test_each_request_is_a_line_with_its_number_and_without_what_was_typed(as_role, lines):
    client = as_role("lead")
    answer = client.get("/due/?q=a+customer")
    told = [line for line in lines() if line["from"] == "diestore.requests"][-1]
    assert told["request"] == answer["X-Request-Id"]
    assert (told["method"], told["path"], told["status"]) == ("GET", "/due/", 200)
    assert told["user"] and told["ms"] > 0
    assert "customer" not in json.dumps(lines())
    client.post("/sign-in/", {"username": "lead", "password": "not a real password"})
    assert "not a real password" not in json.dumps(lines())


def test_what_breaks_is_in_the_log_under_the_number_that_the_page_shows(as_role, monkeypatch, lines):
    def breaks(*args, **kwargs):
        raise OperationalError("connection failed: password=hunter2secret host=db")

    client = as_role("lead")
    client.raise_request_exception = False
    monkeypatch.setattr("maintenance.forecasts.due.listed", breaks)
    number = client.get("/due/")["X-Request-Id"]
    errors = [line for line in lines() if line["request"] == number and "error" in line]
    assert errors and "connection failed" in errors[0]["error"]
    assert "hunter2secret" not in json.dumps(lines())


@pytest.mark.parametrize(
    ("text", "hidden"),
    [
        ("connect to postgresql://shop:s3cr3t-word@db/shop failed", "s3cr3t-word"),
        ("Cookie: sessionid=abcdef0123456789; theme=dark", "abcdef0123456789"),
        ("{'username': 'ina', 'password': 'my dear garden'}", "my dear garden"),
        ('{"token": "tok-1234567"}', "tok-1234567"),
        ("Authorization: Bearer abc.def.ghi", "abc.def.ghi"),
        ("pin=4711, die=H-900", "4711"),
        ("csrfmiddlewaretoken=QWERTZUIOP12", "QWERTZUIOP12"),
    ],
)
def test_no_secret_reaches_a_log_line(text, hidden):
    said = log_lines.without_secrets(text)
    assert hidden not in said and "(hidden)" in said


def test_the_services_own_key_reaches_no_log_line_and_plain_words_do(settings):
    assert settings.SECRET_KEY not in log_lines.without_secrets(f"bad signature for {settings.SECRET_KEY}")
    plain = "The pin in 3-A was ground; 4 tokens of wear. Die H-900: 20,000 hits"
    assert log_lines.without_secrets(plain) == plain


def test_lines_of_a_task_carry_its_number(lines):
    die = factories.die()
    tasks.forecast_die.enqueue(die.pk)
    queue.Worker(name="a").step()
    done = [line for line in lines() if line["from"] == "diestore.service.queue"]
    assert done[-1]["request"] == f"task-{DBTaskResult.objects.get().pk}"
    assert done[-1]["says"] == f"task forecast_die({die.pk}) done"


@pytest.mark.no_database
def test_what_a_web_process_loads_at_its_start_is_never_collected_again(tmp_path):
    wanted = ("reports.today", "scipy.special", "scipy.optimize")
    code = f"import gc, sys, diestore.wsgi; print(gc.get_freeze_count(), all(name in sys.modules for name in {wanted}))"
    environment = {**os.environ, "DATABASE_URL": f"sqlite:///{tmp_path / 'empty.sqlite3'}"}
    root = Path(__file__).resolve().parents[2]
    told = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, cwd=root, env=environment)
    assert told.returncode == 0, told.stderr
    frozen, loaded = told.stdout.split()
    assert int(frozen) > 100_000 and loaded == "True"
