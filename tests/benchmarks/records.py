"""Loading a history against executemany (SQLite) or COPY (where DATABASE_URL names an empty PostgreSQL) of the same
rows into the same tables, with nothing read; and one die told again after an entry.

    python -m tests.benchmarks.records
"""

from __future__ import annotations

import os
import resource
import sqlite3
import tempfile
import time
from collections.abc import Callable

from .table import amount, heading, line

DIES = 60


def timed(work: Callable, times: int = 1) -> tuple[float, object]:
    """The least of so many runs, and what the last one returned."""
    least, answer = float("inf"), None
    for _ in range(times):
        began = time.perf_counter()
        answer = work()
        least = min(least, time.perf_counter() - began)
    return least, answer


def main() -> None:
    with tempfile.TemporaryDirectory() as folder:
        os.environ.setdefault("DATABASE_URL", f"sqlite:///{folder}/bench.sqlite3")  # else an empty one
        os.environ.setdefault("DJANGO_SETTINGS_MODULE", "diestore.settings")
        import django

        django.setup()
        from django.core.management import call_command
        from django.db import connection

        from diestore.register.models import Die
        from fixtures.made_fleet import simulate_fleet
        from maintenance.forecasts import store

        simulate_fleet(f"{folder}/fleet", dies=DIES, seed=1)
        call_command("migrate", verbosity=0)
        if Die.objects.exists():
            raise SystemExit("DATABASE_URL names a database with dies in it; name an empty one.")
        load_s, _ = timed(lambda: call_command("load_history", f"{folder}/fleet", allow_future=True, verbosity=0))
        if connection.vendor == "postgresql":
            way, (bare_s, rows) = "COPY", _bare_postgresql()
        else:
            way, (bare_s, rows) = "executemany", _bare_sqlite(folder)
        heading(f"Records: {DIES} dies, {rows:,} rows, {connection.vendor}")
        share = bare_s / load_s
        line("loading the history folder", amount(load_s), f"{share:.2f} of the rate of bare {way}",
             goal="at least 0.2", met=share >= 0.2)  # fmt: skip
        die = Die.objects.order_by("pk").first()
        whole_s, _ = timed(lambda: store.fit_and_forecast(die.plant))
        one_s, _ = timed(lambda: store.refresh_die(die), 10)
        line("fit and forecast of the whole shop, stored", amount(whole_s))
        share_of = f"1/{whole_s / one_s:.0f} of the whole"
        line("one die after an entry: clocks and forecast, stored", amount(one_s), share_of,
             goal="50 ms", met=one_s <= 0.05)  # fmt: skip
        line("most memory", f"{resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024**2:.2f} GB")


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


if __name__ == "__main__":
    main()
