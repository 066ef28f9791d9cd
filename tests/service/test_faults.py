"""Killed, stopped, full, gone: no half-written record, no wrong total, a sentence, and recovery without a hand."""

from __future__ import annotations

import signal
import time
from urllib.parse import quote

import pytest

from .running import ROOT, kill, until
from .test_hosts import SHOP

DEMO = ROOT / "fixtures" / "demo-shop"
EVERYTHING = ("diestore_plant", "diestore_die", "diestore_piece", "maintenance_run", "maintenance_work")


def counted(site) -> dict[str, int]:
    return {table: site.number(f"SELECT count(*) FROM {table}") for table in EVERYTHING}


def sound(site) -> None:
    """The database's own word that its file is whole."""
    if not site.is_postgresql:
        assert site.sql("PRAGMA integrity_check") == [("ok",)] and site.sql("PRAGMA foreign_key_check") == []


# --- killed -------------------------------------------------------------------------------------------


def is_writing(site, child) -> bool:
    """Whether the process has begun to write, as far as others can see."""
    assert child.poll() is None, f"it had ended before it was killed\n{site.said()}"
    if site.is_postgresql:
        return bool(
            site.number(
                "SELECT count(*) FROM pg_stat_activity WHERE datname = current_database() "
                "AND pid <> pg_backend_pid() AND backend_xid IS NOT NULL"
            )
        )
    log = site.database_file.with_name(site.database_file.name + "-wal")
    return log.exists() and log.stat().st_size > 0


def test_a_load_that_is_killed_leaves_nothing_and_goes_in_whole_the_next_time(site):
    before = counted(site)
    for wait_s in (0.0, 0.15):
        load = site.start("manage.py", "load_history", str(DEMO), "--allow-future", "--verbosity=0")
        until(lambda load=load: is_writing(site, load), 60, "the load writes", every=0.005)
        time.sleep(wait_s)
        kill(load)
        assert counted(site) == before
    sound(site)
    site.manage("load_history", str(DEMO), "--allow-future", "--verbosity=0")
    after = counted(site)
    rows = len((DEMO / "runs.csv").read_text().strip().splitlines()) - 1
    assert after["maintenance_run"] == rows and after["diestore_plant"] == 1
    assert "Nothing was added" in site.manage("load_history", str(DEMO), "--allow-future")
    assert counted(site) == after


# A sharpening is three rows in one transaction; a replacement is an entry, a movement of the shelf and new fittings.
WRITER = """
import django
django.setup()
import itertools
from diestore.models import Die
from tests import factories
from maintenance.forecasts import store
from maintenance.log import write
die = Die.objects.first()
places = list(die.positions.all())
first = int(die.runs.count())
for n in itertools.count(first + 1):
    factories.run(die, n, 20_000)
    factories.sharpen(die, n + 0.3, *places, removed_mm=0.001)
    write.log_replacement(
        by=factories.actor(), position=places[0], at=factories.moment(n + 0.4), why="dull", found="dull",
        from_shelf=True,
    )
    store.refresh_die(die)
"""
SPARE = """
from diestore.models import Position
from tests import factories
Position.objects.update(item=factories.item())
"""


def test_a_save_that_is_killed_is_there_whole_or_not_at_all(site):
    site.do(SHOP)
    site.do(SPARE)
    runs = "SELECT count(*) FROM maintenance_run"
    for wait_s in (0.2, 0.33, 0.47):
        before = site.number(runs)
        writer = site.start("-c", WRITER)
        until(lambda before=before: site.number(runs) >= before + 2, 60, "entries come in")
        time.sleep(wait_s)
        kill(writer)
        sets = site.sql("SELECT count(*) FROM maintenance_work GROUP BY set_key")
        assert {n for (n,) in sets} == {3}, "a set is three pieces"
        replaced = site.number("SELECT count(*) FROM maintenance_replacement WHERE NOT since_start")
        assert replaced == site.number("SELECT count(*) FROM maintenance_stockmovement WHERE kind = 'fitted'")
        fitted = site.number("SELECT count(*) FROM maintenance_fitting WHERE position_id = 1")
        assert fitted == 1 + replaced, "as many pieces have sat there as were put in"
        assert site.number("SELECT count(*) FROM maintenance_dieforecast WHERE is_newest AND die_id = 1") <= 1
        sound(site)


def test_a_fit_that_is_killed_stores_nothing_and_the_next_night_makes_it(new_site):
    site = new_site(DIESTORE_WORKER_LEASE_S="1")
    site.do(SHOP + "for die in Die.objects.all(): factories.run(die, 1, 20_000)\n")
    fits, told = "SELECT count(*) FROM maintenance_fleetfit", "SELECT count(*) FROM maintenance_dieforecast"
    running = "SELECT count(*) FROM django_tasks_database_dbtaskresult WHERE status = 'RUNNING'"
    night = site.start("manage.py", "nightly", "--verbosity=0")
    until(lambda: site.number(running), 60, "the fit has begun", every=0.005)
    kill(night)
    assert (site.number(fits), site.number(told)) in ((0, 0), (1, 4)), "a fit with all its forecasts, or nothing"
    begun = site.number(fits)
    time.sleep(1.1)  # the lease
    site.manage("nightly", "--verbosity=0")
    assert site.number(fits) in (1, begun + 1)
    assert site.number(f"{told} WHERE is_newest AND fit_id IS NOT NULL") == 4
    assert not site.number(f"{running} OR status = 'READY'") and not site.number(running.replace("RUNNING", "FAILED"))
    store = site.start("manage.py", "forecast", "--store", "--verbosity=0")
    until(lambda: store.poll() is not None or is_writing(site, store), 60, "it stores", every=0.001)
    kill(store)
    for fit, dies in site.sql("SELECT fit_id, count(*) FROM maintenance_dieforecast GROUP BY fit_id"):
        assert dies == 4, f"fit {fit}"
    assert site.number(f"{told} WHERE is_newest") == 4
    sound(site)


# --- full ---------------------------------------------------------------------------------------------

# On SQLite the file may grow no further, for this connection; on PostgreSQL the server says what it says then.
FULL = """
from django.db import connection, transaction
from django.test import Client
from django.contrib.auth.models import User
from diestore.models import Die
from maintenance.log import write
from maintenance.models import Run
from tests import factories
die = Die.objects.first()
client = Client(raise_request_exception=False, headers={"Host": "127.0.0.1"})
client.force_login(User.objects.get())
cursor = connection.cursor()
if connection.vendor == "sqlite":
    cursor.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    pages = cursor.execute("PRAGMA page_count").fetchone()[0]
    cursor.execute(f"PRAGMA max_page_count = {pages + 2}")
else:
    cursor.execute('''
        CREATE FUNCTION full_disk() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN
          IF (SELECT count(*) FROM maintenance_run) >= 5 THEN
            RAISE EXCEPTION 'could not extend file "base/1/2": No space left on device' USING ERRCODE = 'disk_full';
          END IF; RETURN NEW; END $$''')
    cursor.execute("CREATE TRIGGER full_disk BEFORE INSERT ON maintenance_run FOR EACH ROW "
                   "EXECUTE FUNCTION full_disk()")

def send(n):
    day = f"2026-03-{1 + n // 20:02}"
    return client.post(f"/log/run/?die={die.pk}", {
        "key": f"run-{n}", "started": f"{day}T{n % 20:02}:00", "ended": f"{day}T{n % 20:02}:50", "hits": 4000,
        "order": "", "press": "", "stock": die.usual_stock_id, "person": factories.person().pk, "note": "x" * 900,
    })

taken = 0
while (answer := send(taken)).status_code == 302:
    taken += 1
    assert taken < 400, "it never became full"
there = Run.objects.count()
if connection.vendor == "sqlite":
    cursor.execute("PRAGMA max_page_count = 1000000")
else:
    cursor.execute("DROP TRIGGER full_disk ON maintenance_run")
again = send(taken)
told = {
    "taken": taken, "there": there, "status": answer.status_code, "page": answer.content.decode(),
    "again": again.status_code, "in the end": Run.objects.count(),
}
"""


def test_a_full_disk_is_said_and_costs_nothing_but_the_entry(site):
    site.do(SHOP)
    told = site.do(FULL)
    assert told["status"] == 503 and "The disk is full" in told["page"] and "Traceback" not in told["page"]
    assert told["taken"] > 0 and told["there"] in (told["taken"], told["taken"] + 1)
    assert told["again"] == 302 and told["in the end"] == told["taken"] + 1, "the same form, once there is room"
    sound(site)


def test_a_disk_that_is_full_under_a_backup_leaves_no_file(site, tmp_path):
    """A file that may grow no further stands for the disk."""
    site.do(SHOP)
    code = (
        "import resource, django; django.setup()\n"
        "from django.core.management import call_command; from diestore.models import Die; Die.objects.count()\n"
        "resource.setrlimit(resource.RLIMIT_FSIZE, (4096, 4096))\n"
        f"call_command('backup', {str(tmp_path / 'shop.zip')!r})"
    )
    child = site.start("-c", code)
    assert child.wait(60) != 0
    assert "cannot be written" in site.said() and list(tmp_path.glob("shop.zip*")) == []


# --- gone and back ------------------------------------------------------------------------------------


def cut_off(site) -> None:
    """The server takes nobody in, and those who were in are thrown out: to them it is gone."""
    site.server(f'ALTER DATABASE "{site.name}" WITH ALLOW_CONNECTIONS false')
    site.server(f"SELECT pg_terminate_backend(pid) FROM pg_stat_activity WHERE datname = '{site.name}'")


def let_in(site) -> None:
    site.server(f'ALTER DATABASE "{site.name}" WITH ALLOW_CONNECTIONS true')


def test_the_database_gone_and_back(new_site):
    site = new_site(DIESTORE_WORKERS="1", DIESTORE_WORKER_LEASE_S="5")
    if not site.is_postgresql:
        pytest.skip("an SQLite file does not go away")
    shop = site.do(SHOP)
    die = shop["dies"][0]
    web, worker = site.web(), site.worker()
    web.wait()
    run = {
        "key": "a run", "started": "2026-03-01T06:00", "ended": "2026-03-01T10:00", "hits": "18000", "order": "",
        "press": "", "stock": shop["stock"], "person": shop["person"],
    }  # fmt: skip
    for _ in range(8):  # every thread of the server has its connection
        assert web.ask("/due/", session=shop["session"]).status == 200
    until(lambda: site.number("SELECT count(*) FROM diestore_taskworker") == 1, 30, "the worker has begun")
    cut_off(site)
    try:
        for _ in range(8):
            answer = web.ask(f"/log/run/?die={die}", run, session=shop["session"])
            assert answer.status == 503 and "The database does not answer" in answer.text
            assert "Traceback" not in answer.text and answer.headers["X-Request-Id"] in answer.text
        assert (web.ask("/alive/").status, web.ask("/alive/").text) == (503, "no\n")
        time.sleep(2)
    finally:
        let_in(site)
    assert web.ask("/alive/").status == 200
    assert web.ask(f"/log/run/?die={die}", run, session=shop["session"]).status == 302, "the same form once more"
    assert worker.poll() is None, site.said()
    told = f"SELECT hits_since_sharpening FROM maintenance_dieforecast WHERE die_id = {die} AND is_newest"
    until(lambda: site.sql(told) == [(18_000,)], 60, "the worker has found the database again")
    assert site.number("SELECT count(*) FROM maintenance_run") == 1


def test_under_https_a_plain_probe_is_told_that_the_database_is_gone(new_site):
    """`curl -f` is content with a redirect. On SQLite the file is a folder that is not there."""
    site = new_site(DIESTORE_HTTPS="1")
    gone = site.address.replace(site.name, f"{site.name}/not/there" if not site.is_postgresql else f"{site.name}_gone")
    alive, lost = site.web(), site.web(DATABASE_URL=gone)
    for web, told in ((alive, (200, "ok\n")), (lost, (503, "no\n"))):
        web.wait()
        answer = web.ask("/alive/")
        assert (answer.status, answer.text) == told
        assert web.ask("/sign-in/").status == 301


BROKEN_SESSIONS = {
    True: """
        CREATE FUNCTION no_session() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN
          RAISE EXCEPTION 'the connection was lost' USING ERRCODE = '08006'; END $$;
        CREATE TRIGGER no_session BEFORE UPDATE ON django_session FOR EACH ROW EXECUTE FUNCTION no_session()""",
    False: """
        CREATE TRIGGER no_session BEFORE UPDATE ON django_session BEGIN SELECT RAISE(IGNORE); END""",
}


def run_sql(site, *commands: str) -> None:
    site.do(f"from django.db import connection\nfor sql in {commands!r}: connection.cursor().execute(sql)")


def test_an_entry_whose_session_is_lost_is_never_told_as_not_saved(site):
    """Who did as the page said, sent it once more and had it twice: two stops of one."""
    shop = site.do(SHOP)
    web = site.web()
    web.wait()
    stop = {"key": "a stop", "cause": "slug", "minutes": "7", "parts_scrapped": "", "press": "", "note": "",
            "at": "2026-03-01T10:00", "person": shop["person"]}  # fmt: skip
    path = f"/log/stop/?die={shop['dies'][0]}"
    run_sql(site, BROKEN_SESSIONS[site.is_postgresql])
    answer = web.ask(path, stop, session=shop["session"])
    assert site.number("SELECT count(*) FROM maintenance_stop") == 1, "it is saved"
    assert answer.status == 503 and "Send the same form again" in answer.text
    assert "Nothing was saved" not in answer.text
    run_sql(site, "DROP TRIGGER no_session" + (" ON django_session" if site.is_postgresql else ""))
    assert web.ask(path, stop, session=shop["session"]).status == 302
    assert site.number("SELECT count(*) FROM maintenance_stop") == 1


# --- stopped ------------------------------------------------------------------------------------------


def test_a_worker_stopped_for_an_hour_holds_nobody_up_and_does_nothing_twice(new_site, migrated):
    """Stopped wherever it was, in the middle of a transaction too; its hour is two seconds of the server's patience."""
    site = new_site(DIESTORE_WORKER_LEASE_S="2")
    if not site.is_postgresql:
        pytest.skip("on one machine with SQLite nobody shares the queue")
    patience = quote("-c lock_timeout=20000 -c idle_in_transaction_session_timeout=2000")
    site.address += ("&" if "?" in site.address else "?") + f"options={patience}"
    shop = site.do(SHOP + "for die in Die.objects.all(): factories.run(die, 1, 20_000)\n")
    fits = 8
    site.do(f"from maintenance import tasks\nfor n in range({fits}): tasks.fit_fleet.enqueue({shop['plant']})")
    sleeper = site.worker()
    running = "SELECT count(*) FROM django_tasks_database_dbtaskresult WHERE status = 'RUNNING'"
    until(lambda: site.number(running), 30, "it has a task in hand", every=0.002)
    sleeper.send_signal(signal.SIGSTOP)
    site.worker()
    waiting = "SELECT count(*) FROM django_tasks_database_dbtaskresult WHERE status IN ('READY', 'RUNNING')"
    until(lambda: site.number(waiting) == 0, 60, "the other has done it all")
    made = site.number("SELECT count(*) FROM maintenance_fleetfit")
    assert made == fits
    sleeper.send_signal(signal.SIGCONT)
    time.sleep(2)
    assert sleeper.poll() is None, site.said()
    assert site.number("SELECT count(*) FROM maintenance_fleetfit") == made, "what it had in hand is dropped"
    assert site.number(running.replace("RUNNING", "SUCCESSFUL") + " AND task_path LIKE '%fit_fleet'") == fits
