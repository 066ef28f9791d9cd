"""How long people wait for a save: eight at once on the forms and three press counters, through real HTTP, on SQLite
and on a PostgreSQL of its own, both thrown away.

    python -m tests.benchmarks.saves      (PostgreSQL needs initdb and pg_ctl; without them SQLite alone is measured)

First one person after another, then all at once. A save is answered with the way to the next page.
"""

from __future__ import annotations

import datetime as dt
import http.client
import json
import random
import shutil
import tempfile
import threading
import time
from pathlib import Path

import numpy as np

from tests.service.own_server import OwnServer
from tests.service.running import Site, until

from .table import amount, heading, line

PEOPLE, COUNTERS, SECONDS, ALONE, DIES = 8, 3, 40, 40, 60
P95_S, LONGEST_S = 1.0, 5.0

SHOP = f"""
from importlib import import_module
from django.conf import settings
from django.contrib.auth import BACKEND_SESSION_KEY, HASH_SESSION_KEY, SESSION_KEY
from django.core.management import call_command
from diestore.models import Die, Plant
from fixtures.made_fleet import simulate_fleet
from django.db.models import Max
from django.utils import timezone
from diestore.models import Press
from maintenance.counters import devices, presses
from maintenance.forecasts import store
from maintenance.log import write
from maintenance.models import Run, Scope
from tests import factories
import tempfile
folder = tempfile.mkdtemp()
simulate_fleet(__import__("pathlib").Path(folder) / "fleet", dies={DIES}, seed=1)
call_command("load_history", folder + "/fleet", allow_future=True, verbosity=0)
plant = Plant.objects.get()
store.fit_and_forecast(plant)
sessions, people = [], []
for n in range({PEOPLE}):
    user = factories.user("lead", name=f"lead-{{n}}")
    session = import_module(settings.SESSION_ENGINE).SessionStore()
    session[SESSION_KEY] = str(user.pk)
    session[BACKEND_SESSION_KEY] = settings.AUTHENTICATION_BACKENDS[-1]
    session[HASH_SESSION_KEY] = user.get_session_auth_hash()
    session.save()
    sessions.append(session.session_key)
lasts = dict(Run.objects.order_by().values_list("die").annotate(last=Max("at")))
free = list(Die.objects.order_by("pk"))
by = write.Actor(person=factories.person())
boxes = []
for n in range({COUNTERS}):
    press = Press.objects.get_or_create(plant=plant, code=f"B{{n}}")[0]
    presses.set_in_press(by=by, press=press, die=free.pop(), at=timezone.now() - timezone.timedelta(minutes=5))
    made = devices.make_device(by=write.Actor(), plant=plant, name=f"box {{n}}", scopes=tuple(Scope.values))
    boxes.append({{"token": made.token, "press": press.code}})
told = {{
    "sessions": sessions, "person": by.person.pk, "boxes": boxes,
    "dies": [{{"pk": die.pk, "stock": die.usual_stock_id, "last": lasts[die.pk].timestamp(),
         "hits": int(50 * die.strokes_per_minute)}} for die in free],
}}
"""


class Person(threading.Thread):
    """Logs short runs on dies of its own until told to stop; how long each save took."""

    def __init__(self, web, shop: dict, number: int, *, saves: int = 10**9) -> None:
        super().__init__(daemon=True)
        self.web, self.shop, self.number, self.saves = web, shop, number, saves
        self.dies = shop["dies"][number::PEOPLE]
        self.took: list[float] = []
        self.wrong: list[str] = []
        self.ending = threading.Event()

    def run(self) -> None:
        for n in range(self.saves):
            if self.ending.is_set():
                return
            die = self.dies[n % len(self.dies)]
            begun = dt.datetime.fromtimestamp(die["last"], dt.UTC).replace(second=0, microsecond=0)
            begun += dt.timedelta(minutes=1)
            die["last"] = (begun + dt.timedelta(minutes=60)).timestamp()
            form = {
                "key": f"{self.number}-{n}-{begun:%j%H%M}", "die": die["pk"], "hits": die["hits"], "order": "",
                "started": f"{begun:%Y-%m-%dT%H:%M}", "ended": f"{begun + dt.timedelta(minutes=59):%Y-%m-%dT%H:%M}",
                "stock": die["stock"], "person": self.shop["person"], "press": "",
            }  # fmt: skip
            before = time.perf_counter()
            try:
                session = self.shop["sessions"][self.number]
                answer = self.web.ask(f"/log/run/?die={die['pk']}", form, session=session)
                if answer.status != 302:
                    self.wrong.append(f"{answer.status} {answer.wrong}"[:200])
            except (OSError, http.client.HTTPException) as error:
                self.wrong.append(repr(error))
            self.took.append(time.perf_counter() - before)
            if self.saves > ALONE:
                time.sleep(random.uniform(0, 0.4))  # one reads before one types on


class Box(threading.Thread):
    """A press counter that sends its total twice a second."""

    def __init__(self, web, box: dict) -> None:
        super().__init__(daemon=True)
        self.web, self.box, self.ending = web, box, threading.Event()
        self.took: list[float] = []
        self.wrong: list[str] = []

    def run(self) -> None:
        total = 1_000
        while not self.ending.wait(0.5):
            total += 1
            body = {"id": f"m{total}", "press": self.box["press"], "total": total}
            body["at"] = dt.datetime.now(dt.UTC).isoformat()
            headers = {"Authorization": f"Bearer {self.box['token']}", "Content-Type": "application/json"}
            before = time.perf_counter()
            try:
                connection = http.client.HTTPConnection(self.web.host, self.web.port, timeout=40)
                connection.request("POST", "/api/v1/counts", json.dumps(body), headers)
                answer = connection.getresponse()
                if answer.status not in (200, 201):
                    self.wrong.append(f"{answer.status} {answer.read()[:200]!r}")
                connection.close()
            except (OSError, http.client.HTTPException) as error:
                self.wrong.append(repr(error))
            self.took.append(time.perf_counter() - before)


def main() -> None:
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        _saves("SQLite", f"sqlite:///{folder}/saves.sqlite3", folder)
    if shutil.which("pg_ctl") is None and not list(Path("/usr/lib/postgresql").glob("*/bin/pg_ctl")):
        print("  no PostgreSQL here: not measured on it")
        return
    with tempfile.TemporaryDirectory() as name:
        server = OwnServer(Path(name))
        server.make()
        server.start()
        try:
            _saves("PostgreSQL", server.address, Path(name))
        finally:
            server.crash()


def _saves(engine: str, address: str, folder: Path) -> None:
    site = Site(address, folder)
    try:
        site.manage("migrate", "--verbosity=0")
        shop = site.do(SHOP)
        web = site.web("127.0.0.1", "--workers=1")
        web.wait()
        until(lambda: site.number("SELECT count(*) FROM diestore_taskworker") == 1, 30, "the worker does not report")
        heading(f"Saves, {engine}: {DIES} dies, forms and counters over HTTP, a worker beside them")
        alone = Person(web, shop, 0, saves=ALONE)
        alone.run()
        _lines("one person", [alone], goal=P95_S)
        everybody = [Person(web, shop, n) for n in range(PEOPLE)] + [Box(web, box) for box in shop["boxes"]]
        for one in everybody:
            one.start()
        time.sleep(SECONDS)
        for one in everybody:
            one.ending.set()
        for one in everybody:
            one.join(60)
        _lines(f"{PEOPLE} people and {COUNTERS} counters: a form", everybody[:PEOPLE], goal=P95_S)
        _lines("at the same time: a count", everybody[PEOPLE:])
        waits = "SELECT count(*) FROM django_tasks_database_dbtaskresult WHERE status IN ('READY', 'RUNNING')"
        begun = time.perf_counter()
        until(lambda: site.number(waits) == 0, 120, "the forecasts do not come to an end", every=0.2)
        line("until all forecasts had followed", amount(time.perf_counter() - begun))
    finally:
        site.end()


def _lines(what: str, asked: list, *, goal: float | None = None) -> None:
    took = np.array([second for one in asked for second in one.took])
    wrong = [words for one in asked for words in one.wrong]
    p95, longest = np.percentile(took, 95), took.max()
    met = None if goal is None else bool(p95 <= goal and longest <= LONGEST_S and not wrong)
    wanted = "" if goal is None else f"95th {goal:g} s, longest {LONGEST_S:g} s"
    ratio = f"95th {amount(p95)}, longest {amount(longest)}, of {len(took)}; wrong {len(wrong)}"
    line(what, amount(float(np.median(took))), ratio, goal=wanted, met=met)
    for words in wrong[:3]:
        print(f"    {words}")


if __name__ == "__main__":
    main()
