"""How fast, as ratios in one run: `make bench`, or `python -m tests.benchmarks NAME ...` for some of it.

engine     fit and forecast of a large fleet, against passes of log and exp over the cycles and against scipy
records    loading a history against bare executemany or COPY; one die again after an entry
counters   counts that come in, against a bare view that writes one row
pulls      the pull planner for 60 dies, against a bare loop and trying all
bench_plan the plan of the bench, 500 works over twelve weeks
purchasing the use of 20,000 spares in 500,000 places, twelve months ahead
years      10,000 lives of a die of 100 edges, three years ahead
shards     what the fit climbs, in several processes
pages      every list and die page of a shop of 1,000 dies, 60,000 positions and 1,000,000 works (some minutes)

replay     decisions of the past again: bounds against the truth of a simulated shop, and what the advice saves
decisions  what decisions are worth in a simulated shop, and how fast one is made (some ten minutes)

By themselves, as they need a PostgreSQL: tests.benchmarks.hosts (workers, a replica), tests.benchmarks.partitions,
tests.benchmarks.saves (how long people and counters wait when all send at once), tests.benchmarks.books (a
spreadsheet of 100,000 rows through the page, on SQLite).

Each is a process of its own. records and pages use the empty PostgreSQL database that DATABASE_URL names, else SQLite.
"""

from __future__ import annotations

import os
import platform
import subprocess
import sys

NAMES = (
    "engine", "records", "counters", "pulls", "bench_plan", "purchasing", "years", "shards", "pages", "replay",
    "decisions",
)  # fmt: skip


def main() -> None:
    names = sys.argv[1:] or NAMES
    unknown = [name for name in names if name not in NAMES]
    if unknown:
        raise SystemExit(f"There is no bench named {unknown[0]}; there are {', '.join(NAMES)}.")
    print(f"{os.cpu_count()} cores, Python {platform.python_version()}, load {os.getloadavg()[0]:.1f} at the start")
    for name in names:
        subprocess.run([sys.executable, "-m", f"tests.benchmarks.{name}"], check=True)


if __name__ == "__main__":
    main()
