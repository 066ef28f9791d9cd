"""What it would gain to cut the log into partitions by plant and year: tried on the works of a large shop.

    DATABASE_URL=postgresql://... python -m tests.benchmarks.partitions [plants]      (after tests.benchmarks.pages)

The works are copied twice, whole and cut, each with the indexes that the pages use; its dies are dealt out to plants.
Then the same questions are asked of both. The copies are thrown away.
"""

from __future__ import annotations

import os
import sys
import time

from .table import amount, heading, line

TIMES = 7
COLUMNS = """plant_id int, position_id bigint, at timestamptz, recorded_at timestamptz, operation text, why text,
 found text, removed_mm float8, hours float8, set_key text, heads_set bool, struck_at timestamptz, key text"""
TAKEN = """SELECT p.die_id % {plants}, w.position_id, w.at, w.recorded_at, w.operation, w.why, w.found, w.removed_mm,
 w.hours, w.set_key, w.heads_set, w.struck_at, w.key
 FROM maintenance_work w JOIN diestore_position p ON p.id = w.position_id"""
INDEXES = ("(position_id, at)", "(plant_id, at) WHERE heads_set", "(set_key)", "(plant_id, key)")


def main(plants: int) -> None:
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "diestore.settings")
    import django

    django.setup()
    from django.db import connection

    if connection.vendor != "postgresql":
        raise SystemExit("DATABASE_URL names no PostgreSQL.")
    cursor = connection.cursor()

    def ask(sql: str) -> None:
        cursor.execute(sql)
        if cursor.description:
            cursor.fetchall()

    def least(sql: str, times: int = TIMES) -> float:
        found = []
        for _ in range(times):
            began = time.perf_counter()
            ask(sql)
            found.append(time.perf_counter() - began)
        return min(found)

    try:
        rows, years = _copies(cursor, plants)
        heading(f"Partitions: {rows:,} works of {plants} plants and {len(years)} years, whole and cut")
        cursor.execute("SELECT id FROM diestore_die ORDER BY id OFFSET 7 LIMIT 1")
        (die,) = cursor.fetchone()
        mine = f"position_id IN (SELECT id FROM diestore_position WHERE die_id = {die})"
        plant, ground = f"plant_id = {die % plants}", "SELECT position_id, sum(removed_mm) FROM {}"
        questions = {
            "the works of a die": f"SELECT * FROM {{}} WHERE {plant} AND {mine} ORDER BY at",
            "the works of a die, no plant named": f"SELECT * FROM {{}} WHERE {mine} ORDER BY at",
            "a plant's newest sharpenings": f"SELECT * FROM {{}} WHERE {plant} AND heads_set ORDER BY at DESC LIMIT 25",
            "what was ground off in a plant": f"{ground} WHERE {plant} GROUP BY 1",
            "the same in its last year": f"{ground} WHERE {plant} AND at >= '{years[-1]}-01-01' GROUP BY 1",
        }
        for what, sql in questions.items():
            whole, cut = (least(sql.format(table)) for table in ("trial_whole", "trial_cut"))
            line(what, amount(whole), f"cut: {amount(cut)}, {whole / cut:.2f} times as fast")
        whole = least("VACUUM ANALYZE trial_whole", 1)
        cut = least(f"VACUUM ANALYZE trial_cut_0_{years[-1]}", 1)
        line("vacuum", amount(whole), f"one plant's last year: {amount(cut)}")
        whole = least(f"DELETE FROM trial_whole WHERE plant_id = 0 AND at < '{years[0] + 1}-01-01'", 1)
        cut = least(f"DROP TABLE trial_cut_0_{years[0]}", 1)
        line("a plant's first year taken away", amount(whole), f"cut: {amount(cut)}")
    finally:
        ask("DROP TABLE IF EXISTS trial_whole, trial_cut")


def _copies(cursor, plants: int) -> tuple[int, list[int]]:
    cursor.execute("SELECT extract(year FROM min(at))::int, extract(year FROM max(at))::int FROM maintenance_work")
    first, last = cursor.fetchone()
    years = list(range(first, last + 1))
    cursor.execute("DROP TABLE IF EXISTS trial_whole, trial_cut")
    cursor.execute(f"CREATE TABLE trial_whole ({COLUMNS})")
    cursor.execute(f"CREATE TABLE trial_cut ({COLUMNS}) PARTITION BY LIST (plant_id)")
    for plant in range(plants):
        cursor.execute(
            f"CREATE TABLE trial_cut_{plant} PARTITION OF trial_cut FOR VALUES IN ({plant}) PARTITION BY RANGE (at)"
        )
        for year in years:
            cursor.execute(
                f"CREATE TABLE trial_cut_{plant}_{year} PARTITION OF trial_cut_{plant} "
                f"FOR VALUES FROM ('{year}-01-01') TO ('{year + 1}-01-01')"
            )
    for table in ("trial_whole", "trial_cut"):
        cursor.execute(f"INSERT INTO {table} {TAKEN.format(plants=plants)}")
        rows = cursor.rowcount
        for columns in INDEXES:
            cursor.execute(f"CREATE INDEX ON {table} {columns}")
        cursor.execute(f"ANALYZE {table}")
    return rows, years


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 5)
