"""How long loading and writing a history folder takes, and whether memory grows with the rows.

python -m tests.benchmarks.history
"""

from __future__ import annotations

import os
import resource
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from tests.history.folders import fleet

SIZES = ((50, 15_000 + 5_000), (200, 60_000 + 20_000))  # dies, and the rows of sharpenings and runs they make


def main() -> None:
    """Each size in a process and an SQLite file of its own."""
    print("history folder      rows    load s   again s   write s   memory MB")
    seconds = []
    for dies, rows in SIZES:
        with tempfile.TemporaryDirectory() as folder:
            fleet(
                Path(folder) / "in", dies=dies, edges=12, runs=100, grinds=25
            )  # here, so that its memory does not count
            environment = os.environ | {"DATABASE_URL": f"sqlite:///{folder}/bench.sqlite3"}
            told = subprocess.run(
                [sys.executable, "-m", "tests.benchmarks.history", folder],
                env=environment, capture_output=True, text=True, check=True,
            ).stdout.split()  # fmt: skip
        seconds.append(float(told[0]))
        print(f"{'':18}{rows:>6,}{told[0]:>10}{told[1]:>10}{told[2]:>10}{told[3]:>12}")
    print(f"four times the rows take {seconds[1] / seconds[0]:.1f} times as long to load")


def one(folder: Path) -> None:
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "diestore.settings")
    import django

    django.setup()
    from django.core.management import call_command

    from maintenance.history.load import load
    from maintenance.history.write import write

    call_command("migrate", verbosity=0)
    before = _peak_mb()
    seconds = [_seconds(lambda: load(folder / "in")) for _ in range(2)]
    memory = _peak_mb() - before
    plant = load(folder / "in").plant
    seconds.append(_seconds(lambda: write(folder / "out", plant)))
    print(*(f"{s:.1f}" for s in seconds), f"{memory:.0f}")


def _seconds(do) -> float:
    start = time.perf_counter()
    do()
    return time.perf_counter() - start


def _peak_mb() -> float:
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


if __name__ == "__main__":
    if len(sys.argv) > 1:
        one(Path(sys.argv[1]))
    else:
        main()
