"""How fast, as ratios in one run: `make bench`. Seconds stand beside for the record; no test asserts either.

fit and forecast    against scipy's censored Weibull, edge by edge, and in passes of log and exp over the cycles
loading a history   against executemany (SQLite) or COPY (where DATABASE_URL names a PostgreSQL) of the same rows into
                    the same tables, with nothing read
one die             again after an entry, against the whole shop
counters            counts that come in, against a bare view that writes one row
"""

from __future__ import annotations

import os
import resource
import sqlite3
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np

DIES = 60


def timed(work: Callable, times: int = 1) -> tuple[float, object]:
    """The least of so many runs, and what the last one returned."""
    least, answer = np.inf, None
    for _ in range(times):
        began = time.perf_counter()
        answer = work()
        least = min(least, time.perf_counter() - began)
    return least, answer


def say(what: str, seconds: float, ratio: str) -> None:
    print(f"{what:58s}{seconds:10.3f} s   {ratio}", flush=True)


def engine() -> None:
    from scipy import stats

    from maintenance.life import fit_fleet, predict_die, predict_fleet
    from maintenance.life.cycles import DULL
    from tests.life.simulate import WORLDS, shop

    made = shop(WORLDS["usual"], 11)
    edges, samples = made.edges, made.samples
    fit_s, fit = timed(lambda: fit_fleet(edges, samples))
    tell_s, _ = timed(lambda: predict_fleet(fit, edges, samples))
    plain_s, _ = timed(lambda: predict_fleet(fit.alone(), edges, samples))
    hits = np.maximum(samples.hits, 1.0)
    pass_s, _ = timed(lambda: np.exp(np.log(hits) * 2.5), 20)

    picked = [e for e in np.unique(samples.edge[samples.ended == DULL])][:30]

    def one_by_one():
        for e in picked:
            mine = samples.pick(samples.edge == e)
            data = stats.CensoredData(
                uncensored=mine.hits[mine.ended == DULL], right=np.maximum(mine.hits[mine.ended != DULL], 1.0)
            )
            stats.weibull_min.fit(data, floc=0)

    scipy_s, _ = timed(one_by_one)
    each = scipy_s / len(picked)
    rows = np.flatnonzero(np.array([s.die for s in edges]) == edges[0].die)
    first = samples.pick(np.isin(samples.edge, rows))
    die_s, _ = timed(lambda: predict_die(fit, [edges[e] for e in rows], first), 5)
    print(f"\nEngine: {len(made.edges):,} edges, {len(samples):,} cycles")
    say("fit of the fleet, lots and draws included", fit_s, f"{each * len(edges) / fit_s:.0f} times faster than scipy")
    say("forecast of every die and edge, 24 draws", tell_s, f"{tell_s / fit_s:.2f} of the fit")
    say("forecast at the best theta alone", plain_s, f"{plain_s / pass_s:,.0f} passes of log and exp")
    say("one die at the stored fit", die_s, f"1/{tell_s / die_s:.0f} of the fleet's forecast")


def records() -> None:
    with tempfile.TemporaryDirectory() as folder:
        os.environ.setdefault("DATABASE_URL", f"sqlite:///{folder}/bench.sqlite3")  # else an empty one
        os.environ.setdefault("DJANGO_SETTINGS_MODULE", "diestore.settings")
        import django

        django.setup()
        from django.core.management import call_command
        from django.db import connection

        from diestore.models import Die
        from fixtures.made_fleet import simulate_fleet
        from maintenance import forecasts

        simulate_fleet(f"{folder}/fleet", dies=DIES, seed=1)
        call_command("migrate", verbosity=0)
        if Die.objects.exists():
            raise SystemExit("DATABASE_URL names a database with dies in it; name an empty one.")
        load_s, _ = timed(lambda: call_command("load_history", f"{folder}/fleet", allow_future=True, verbosity=0))
        if connection.vendor == "postgresql":
            way, (bare_s, rows) = "COPY", _bare_postgresql()
        else:
            way, (bare_s, rows) = "executemany", _bare_sqlite(folder)
        print(f"\nRecords: {DIES} dies, {rows:,} rows, {connection.vendor}")
        say("loading the history folder", load_s, f"{bare_s / load_s:.2f} of the rate of bare {way}")
        die = Die.objects.order_by("pk").first()
        whole_s, _ = timed(lambda: forecasts.fit_and_forecast(die.plant))
        one_s, _ = timed(lambda: forecasts.refresh_die(die), 5)
        say("fit and forecast of the whole shop, stored", whole_s, "")
        say("one die after an entry: clocks and forecast, stored", one_s, f"1/{whole_s / one_s:.0f} of the whole")


def _tables() -> list[str]:
    """Those that hold what the folder told, histories too, in an order in which they can be filled."""
    from django.apps import apps
    from django.db import connection

    models = [*apps.get_app_config("diestore").get_models(), *apps.get_app_config("maintenance").get_models()]
    through = [f.remote_field.through for model in models for f in model._meta.local_many_to_many]
    tables = [model._meta.db_table for model in [*models, *through]]
    with connection.cursor() as cursor:
        return [t for t in dict.fromkeys(tables) if cursor.execute(f"SELECT 1 FROM {t} LIMIT 1").fetchone()]


def _bare_sqlite(folder: str) -> tuple[float, int]:
    """Into the same tables of another file, with their indexes and rules; references are not checked."""
    source = sqlite3.connect(f"{folder}/bench.sqlite3")
    target = sqlite3.connect(f"{folder}/bare.sqlite3")
    target.create_function("REGEXP", 2, lambda pattern, text: True)
    taken, count = 0.0, 0
    for table in _tables():
        made = source.execute(
            "SELECT sql FROM sqlite_master WHERE tbl_name = ? AND sql NOT NULL ORDER BY rowid", [table]
        )
        for (sql,) in made.fetchall():
            target.execute(sql)
        rows = source.execute(f"SELECT * FROM {table}").fetchall()
        marks = ", ".join("?" * len(rows[0]))
        began = time.perf_counter()
        target.executemany(f"INSERT INTO {table} VALUES ({marks})", rows)
        taken += time.perf_counter() - began
        count += len(rows)
    began = time.perf_counter()
    target.commit()
    return taken + time.perf_counter() - began, count


def _bare_postgresql() -> tuple[float, int]:
    """Into the same tables, emptied, with their indexes, rules and references."""
    from django.db import connection

    tables, kept = _tables(), {}
    with connection.cursor() as cursor:
        for table in tables:
            with cursor.copy(f"COPY {table} TO STDOUT") as copy:
                kept[table] = [bytes(block) for block in copy]
        cursor.execute(f"TRUNCATE {', '.join(tables)} CASCADE")
        began = time.perf_counter()
        cursor.execute("BEGIN")
        for table in tables:
            with cursor.copy(f"COPY {table} FROM STDIN") as copy:
                for block in kept[table]:
                    copy.write(block)
        cursor.execute("COMMIT")
        taken = time.perf_counter() - began
        cursor.execute("ANALYZE")
    return taken, sum(len(blocks) for blocks in kept.values())


def main() -> None:
    engine()
    records()
    subprocess.run([sys.executable, "-m", "tests.benchmarks.counters"], check=True)  # a database of its own
    unit = 1024**2 if sys.platform != "darwin" else 1024**3
    print(f"\nMost memory: {resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / unit:.2f} GB; {os.cpu_count()} cores")


if __name__ == "__main__":
    sys.path.insert(0, str(Path(__file__).resolve().parents[2]))
    main()
