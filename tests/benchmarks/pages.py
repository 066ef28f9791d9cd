"""Every list and die page of a large shop: number of queries and time of the server, at the 95th percentile.

    python -m tests.benchmarks.pages [dies [busy] [page ...]]      (default 1,000: 60,000 positions, 1,000,000 works)

busy: after a day on which 150 dies ran and 60 of them were sharpened, before the night that counts it.

Goal: at most 25 queries, about 40 where a page gathers (GATHER), and 150 ms. Time is the processor's on SQLite, where
the database works in the same process, and the clock's on PostgreSQL. DATABASE_URL names an empty database; without it
an SQLite file is made and thrown away.
"""

from __future__ import annotations

import os
import sys
import tempfile
import time

import numpy as np

DIES = 1_000
LOOKS = 12
BUSY = "busy"
QUERIES_AT_MOST, MS_AT_MOST = 25, 150
GATHER = {"Die": 40, "Cost of a die": 42}


def pages(dies: list[int], items: list[int], edges: list[int]) -> dict[str, list[str]]:
    """Name -> addresses to look at, each as different as a person would ask for."""
    last = max(len(dies) // 25, 1)
    return {
        "Today": ["/"],
        "Dies due": ["/due/", "/due/?sort=due", "/due/?sort=-half", "/due/?page=3"],
        "Dies": ["/dies/", f"/dies/?page={last}", "/dies/?sort=-code", "/dies/?q=0001", "/dies/?sort=half&page=2"],
        "Die": [f"/dies/{pk}/" for pk in dies[:: max(len(dies) // 10, 1)]],
        "Run or sharpen": [f"/dies/{pk}/run-or-sharpen/?job_hits=60000" for pk in dies[:: max(len(dies) // 10, 1)]],
        "What to measure next": ["/measure-next/"],
        "Log": [
            "/log/",
            f"/log/run/?die={dies[0]}",
            f"/log/sharpening/?die={dies[-1]}",
            f"/log/reading/?die={dies[0]}",
            f"/log/replacement/?die={dies[0]}",
            f"/log/stop/?die={dies[0]}",
            f"/log/mishap/?die={dies[-1]}",
            f"/counters/in-press/?die={dies[0]}",
        ],
        "Entries": [
            "/log/entries/",
            "/log/entries/?page=200",
            f"/log/entries/?die={dies[3]}",
            "/log/entries/?order=at",
        ],
        "Spares": [
            "/spares/",
            "/spares/?short=all&page=30",
            "/spares/?short=all&sort=-use",
            "/spares/?short=all&sort=code&page=20",
            "/spares/?q=d-00012",
            "/spares/?short=1&page=2",
            "/spares/?kind=pierce_punch&sort=-lead_days",
        ],
        "Spare": [f"/spares/{pk}/" for pk in items[:: max(len(items) // 20, 1)]],
        "Cost": ["/cost/", "/cost/?page=5", "/cost/?sort=-sharpening", "/cost/?q=0001"],
        "Cost of a die": [f"/cost/{pk}/" for pk in dies[:3]],
        "Edge": [f"/edges/{pk}/" for pk in edges],
        "Record": ["/record/"],
        "Looking back": ["/record/replay/"],
        "Gap and steel": ["/wear-model/"],
        "Counters": ["/counters/"],
        "People": ["/people/"],
    }


def main(dies: int) -> None:
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "diestore.settings")
    import django

    django.setup()
    from django.core.management import call_command
    from django.db import connection
    from django.test import Client
    from django.test.utils import CaptureQueriesContext, override_settings

    from diestore.register.models import Die, Item, Plant, Position
    from maintenance.models import Run, Work
    from reports.cost import kept
    from reports.spares import kept as spares_kept

    from .large_shop import build, busy_day

    clock = time.process_time if connection.vendor == "sqlite" else time.perf_counter
    call_command("migrate", verbosity=0)
    if not Die.objects.exists():
        began = time.perf_counter()
        build(dies)
        if connection.vendor == "postgresql":
            connection.cursor().execute("ANALYZE")
        print(f"made in {time.perf_counter() - began:.0f} s", flush=True)
    plant = Plant.objects.get()
    for what in (kept, spares_kept):  # as every night
        began = time.perf_counter()
        what.keep(what.work_out(plant))
        print(f"{what.__name__}: {time.perf_counter() - began:.0f} s", flush=True)
    wanted = sys.argv[2:]
    if BUSY in wanted:
        wanted.remove(BUSY)
        busy_day(dies=150)
    from django.contrib.auth.models import User

    ids, items = list(Die.objects.values_list("pk", flat=True)), list(Item.objects.values_list("pk", flat=True))
    print(f"{len(ids):,} dies, {Work.objects.count():,} works, {Run.objects.count():,} runs, {connection.vendor}")
    edges = list(
        Position.objects.filter(die__in=ids[:: max(len(ids) // 5, 1)], code="1-A").values_list("pk", flat=True)[:6]
    )
    client = Client()
    client.force_login(User.objects.get(username="bench"))
    print(f"{'page':16}{'queries':>9}{'middle ms':>11}{'95 % ms':>9}")
    import diestore.wsgi  # noqa: F401 - with what a web process does once it has loaded everything

    with override_settings(ALLOWED_HOSTS=["*"]):
        for name, addresses in pages(ids, items, edges).items():
            if wanted and name not in wanted:
                continue
            took, counts = [], []
            for look in range(max(LOOKS, len(addresses))):
                address = addresses[look % len(addresses)]
                if look < len(addresses):
                    with CaptureQueriesContext(connection) as queries:
                        answer = client.get(address)
                    assert answer.status_code == 200, (address, answer.status_code)
                    counts.append(len(queries))
                    if "-v" in os.environ.get("BENCH", ""):
                        for q in sorted(queries, key=lambda q: -float(q["time"]))[:3]:
                            print("   ", address, q["time"], q["sql"][:600])
                began = clock()
                client.get(address)
                took.append(1000 * (clock() - began))
                if sum(took) > 30_000:
                    break
            over = (
                " *" if max(counts) > GATHER.get(name, QUERIES_AT_MOST) or np.percentile(took, 95) > MS_AT_MOST else ""
            )
            print(f"{name:16}{max(counts):>9}{np.median(took):>11.0f}{np.percentile(took, 95):>9.0f}{over}", flush=True)


if __name__ == "__main__":
    wanted = int(sys.argv[1]) if len(sys.argv) > 1 else DIES
    if "DATABASE_URL" in os.environ:
        main(wanted)
    else:
        with tempfile.TemporaryDirectory() as folder:
            os.environ["DATABASE_URL"] = f"sqlite:///{folder}/large.sqlite3"
            main(wanted)
