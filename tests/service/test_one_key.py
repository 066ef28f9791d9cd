"""Several hosts on one database: another secret key and a wrong clock are said, and the key itself is kept nowhere."""

from __future__ import annotations

import datetime as dt
import os
import subprocess
import sys

import pytest
from django.conf import settings
from django.contrib.auth.hashers import make_password
from django.core.checks import run_checks
from django.db import connection
from django.utils import timezone

from diestore.service import hosts
from diestore.service.models import Host

pytestmark = pytest.mark.django_db


def other(**more) -> Host:
    values = {"name": "west", "key_hash": make_password("another key"), "seen_at": timezone.now()} | more
    return Host.objects.create(**values)


def test_one_host_alone_is_well_and_its_key_is_nowhere():
    hosts.leave_line()
    hosts.leave_line()
    row = Host.objects.get()
    assert row.name == hosts.here() and settings.SECRET_KEY not in row.key_hash
    assert hosts.worries(hosts.serving()) == []


def test_the_same_key_on_another_host_is_well():
    hosts.leave_line()
    other(key_hash=make_password(settings.SECRET_KEY))
    assert hosts.worries(hosts.serving()) == []


def test_another_key_is_said_on_the_page_to_the_monitor_and_by_the_check(as_role):
    other()
    client = as_role("administrator")
    assert "people are signed out when the host changes" in client.get("/service/").content.decode()
    told = client.get("/service.json").json()
    assert (told["hosts"]["serving"], told["hosts"]["with_another_key"], told["all_well"]) == (2, 1, False)
    found = [row for row in run_checks(databases=["default"]) if row.id == "diestore.W002"]
    assert len(found) == 1 and "west" in found[0].msg
    assert [row for row in run_checks() if row.id == "diestore.W002"] == [], "asks no database unless told which"


def test_a_key_changed_everywhere_is_well_again(settings):
    hosts.leave_line()
    old = Host.objects.get().key_hash
    settings.SECRET_KEY = "a new key, given to every host"
    west = other(key_hash=old)
    assert hosts.leave_line().key_hash != old
    assert hosts.with_another_key(hosts.serving()) == [west]
    Host.objects.filter(pk=west.pk).update(key_hash=make_password(settings.SECRET_KEY))
    assert hosts.worries(hosts.serving()) == []


def test_a_host_that_serves_no_more_is_forgotten():
    other(seen_at=timezone.now() - hosts.FORGOTTEN_AFTER - dt.timedelta(hours=1))
    assert hosts.worries(hosts.serving()) == []


@pytest.mark.parametrize(("off_s", "words"), [(90.0, "90 seconds ahead of"), (-90.0, "90 seconds behind")])
def test_a_wrong_clock_is_said(off_s, words):
    other(key_hash=make_password(settings.SECRET_KEY), clock_off_s=off_s)
    (sentence,) = hosts.worries(hosts.serving())
    assert words in sentence and "west" in sentence


def test_how_far_a_clock_is_off(monkeypatch):
    assert abs(hosts.clock_off_s()) < 1
    if connection.vendor == "postgresql":
        now = timezone.now
        monkeypatch.setattr(hosts.timezone, "now", lambda: now() + dt.timedelta(seconds=60))
        assert 59 < hosts.clock_off_s() < 61


@pytest.mark.walk
def test_a_web_process_with_another_key_says_so_when_it_starts(new_site):
    address = new_site().address

    def start(what: str, key: str) -> str:
        environment = os.environ | {
            "DATABASE_URL": address, "DIESTORE_SECRET_KEY": key,
            "DJANGO_SETTINGS_MODULE": "diestore.settings",
        }  # fmt: skip
        done = subprocess.run(
            [sys.executable, *what.split(" ", 1)],
            env=environment,
            cwd=settings.BASE_DIR,
            capture_output=True,
            text=True,
        )
        assert done.returncode == 0, done.stderr
        return done.stderr

    as_west = "import socket; socket.gethostname = lambda: 'west'; import diestore.wsgi"
    assert "SECRET_KEY" not in start(f"-c {as_west}", "one")
    assert "SECRET_KEY" not in start("-c import diestore.wsgi", "one")
    assert "another DIESTORE_SECRET_KEY than west" in start("-c import diestore.wsgi", "two")
