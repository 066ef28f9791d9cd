"""What more workers and a replica gain: on a PostgreSQL of its own, started here and thrown away.

    python -m tests.benchmarks.hosts      (needs initdb and pg_ctl; as root it runs them as the user postgres)

Workers: forecasts after entries on 60 dies, told by one worker and by two. Replica: a second server that follows the
first; how long after a commit the row is to be seen there.
"""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np

from tests.service.own_server import OwnServer

from .table import amount, heading, line

DIES, ROUNDS, COMMITS = 60, 3, 300


def main() -> None:
    with tempfile.TemporaryDirectory() as name:
        first, second = OwnServer(Path(name)), OwnServer(Path(name), "second", 5433)
        first.make()
        first.start()
        try:
            _workers(first)
            _replica(first, second)
        finally:
            first.crash()


def _workers(server: OwnServer) -> None:
    os.environ |= {"DATABASE_URL": server.address, "DJANGO_SETTINGS_MODULE": "diestore.settings"}
    import django

    django.setup()
    from django.core.management import call_command

    from diestore.register.models import Die
    from diestore.service import queue
    from fixtures.made_fleet import simulate_fleet
    from maintenance import tasks
    from maintenance.forecasts import store

    call_command("migrate", verbosity=0)
    simulate_fleet(server.folder / "fleet", dies=DIES, seed=1)
    call_command("load_history", str(server.folder / "fleet"), allow_future=True, verbosity=0)
    dies = list(Die.objects.order_by("pk"))
    store.fit_and_forecast(dies[0].plant)
    queue.DBTaskResult.objects.all().delete()
    heading(f"Hosts: PostgreSQL, {DIES} dies, {os.cpu_count()} cores for the server and all workers")
    took = {}
    for workers in (1, 2, 1, 2):
        seconds = []
        for _ in range(ROUNDS):
            for die in dies:
                queue.enqueue_once(tasks.forecast_die, die.pk)
            seconds.append(_worked_off(queue, workers))
        took[workers] = min(took.get(workers, np.inf), *seconds)
    line("a die told anew by one worker", amount(took[1] / DIES), f"{DIES / took[1]:.0f} a second")
    gain = f"{DIES / took[2]:.0f} a second, {took[1] / took[2]:.2f} times as many"
    line("by two workers", amount(took[2] / DIES), gain)


def _worked_off(queue, workers: int) -> float:
    """Seconds from the first task done to the last, so that starting the workers does not count."""
    started = [
        subprocess.Popen([sys.executable, "manage.py", "work", "--until-empty", "-v", "0"]) for _ in range(workers)
    ]
    for one in started:
        assert one.wait(timeout=300) == 0
    done = queue.DBTaskResult.objects.successful()
    moments = sorted(done.values_list("finished_at", flat=True))
    assert len(moments) == DIES and not queue.unfinished().exists()
    queue.DBTaskResult.objects.all().delete()
    return (moments[-1] - moments[0]).total_seconds() * DIES / (DIES - 1)


def _replica(server: OwnServer, follower: OwnServer) -> None:
    import psycopg

    began = time.perf_counter()
    server.run(
        "pg_basebackup", "-D", str(follower.data), "-h", str(server.folder), "-p", str(server.port), "-U", "tester",
        "-R", "-c", "fast",
    )  # fmt: skip
    follower.start()
    line("a replica made of the whole", amount(time.perf_counter() - began))
    with (
        psycopg.connect(server.address, autocommit=True) as first,
        psycopg.connect(follower.address, autocommit=True) as second,
    ):
        first.execute("CREATE TABLE seen (n int)")
        while not second.execute("SELECT to_regclass('seen')").fetchone()[0]:
            time.sleep(0.01)
        commits, lags = [], []
        for n in range(COMMITS):
            began = time.perf_counter()
            first.execute("INSERT INTO seen VALUES (%s)", [n])
            told = time.perf_counter()
            while not second.execute("SELECT 1 FROM seen WHERE n = %s", [n]).fetchone():
                pass
            commits.append(told - began), lags.append(time.perf_counter() - told)
    middle, most = np.median(lags), np.percentile(lags, 95)
    line("a commit", amount(float(np.median(commits))))
    line("seen on the replica after", amount(float(middle)), f"{1000 * most:.1f} ms at the 95th percentile")
    follower.crash()


if __name__ == "__main__":
    main()
