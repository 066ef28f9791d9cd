"""The PostgreSQL server itself crashes under a web process and two workers, and comes back: recovery without a hand."""

from __future__ import annotations

import os
import tempfile
import threading
import time
from pathlib import Path

import pytest

from .own_server import OwnServer, binaries
from .running import NETWORK, Site, until
from .test_hosts import CLIENTS, FIT_OFTEN, SHOP

ENTRIES, FITS, GONE_S = 10, 4, 1.5


@pytest.fixture
def server():
    if not (os.environ.get("DATABASE_URL") or "").startswith("postgres"):
        pytest.skip("run once, where the suite runs on PostgreSQL")
    if binaries() is None:
        pytest.skip("no initdb here to start a server with")
    with tempfile.TemporaryDirectory() as name:  # pytest's own folders let no other user in
        server = OwnServer(Path(name))
        server.make()
        server.start()
        yield server
        server.crash()


class Setter(threading.Thread):
    """Logs runs one after another; where the database is said not to answer, the same form once more a little later."""

    def __init__(self, web, shop: dict, number: int) -> None:
        super().__init__(daemon=True)
        self.web, self.shop, self.number = web, shop, number
        self.hits: list[int] = []
        self.answers: list[int] = []
        self.wrong: list[str] = []

    def run(self) -> None:
        die = self.shop["dies"][self.number]
        for n in range(ENTRIES):
            hits = 15_000 + 1_000 * self.number + n
            form = {
                "key": f"{self.number}-{n}", "started": f"2026-03-{n + 1:02}T06:00", "hits": str(hits),
                "ended": f"2026-03-{n + 1:02}T10:00", "order": "", "press": "", "stock": str(self.shop["stock"]),
                "person": str(self.shop["person"]),
            }  # fmt: skip
            self.hits.append(hits)
            for _ in range(200):
                try:
                    answer = self.web.ask(f"/log/run/?die={die}", form, session=self.shop["session"])
                except NETWORK as error:
                    self.wrong.append(f"the web process did not answer: {error}")
                    return
                self.answers.append(answer.status)
                if answer.status == 302:
                    break
                if answer.status != 503 or "The database does not answer" not in answer.text:
                    self.wrong.append(f"{answer.status}: {answer.wrong}")
                    return
                time.sleep(0.1)
            else:
                self.wrong.append("never saved")
                return


def test_the_server_crashes_and_comes_back(server, tmp_path):
    site = Site(server.address, tmp_path, DIESTORE_WORKERS="1", DIESTORE_WORKER_LEASE_S="4")
    try:
        site.manage("migrate", "--verbosity=0")
        shop = site.do(SHOP)
        web, workers = site.web(), [site.worker(), site.worker()]
        web.wait()
        until(lambda: site.number("SELECT count(*) FROM diestore_taskworker") == 2, 30, "two workers have begun")
        site.do(FIT_OFTEN.format(fits=FITS, plant=shop["plant"]))
        setters = [Setter(web, shop, n) for n in range(CLIENTS)]
        for setter in setters:
            setter.start()
        runs = "SELECT count(*) FROM maintenance_run"
        until(lambda: site.number(runs) >= CLIENTS * ENTRIES // 3, 60, "a third of the entries")
        server.crash()
        until(lambda: all(503 in setter.answers for setter in setters), 30, "everybody is told that it is gone")
        time.sleep(GONE_S)
        server.start()
        for setter in setters:
            setter.join(60)
        assert [wrong for setter in setters for wrong in setter.wrong] == [], site.said()
        for setter in setters:
            die = shop["dies"][setter.number]
            found = site.sql(f"SELECT hits FROM maintenance_run WHERE die_id = {die} ORDER BY started")
            assert [hits for (hits,) in found] == setter.hits, "each form once, and none lost that was said to be saved"
        tasks = "SELECT count(*) FROM django_tasks_database_dbtaskresult WHERE status"
        until(lambda: site.number(f"{tasks} IN ('READY', 'RUNNING')") == 0, 60, "the queue is empty")
        assert site.number(f"{tasks} = 'FAILED'") == 0, site.said()
        assert site.number("SELECT count(*) FROM maintenance_fleetfit") == FITS
        assert all(worker.poll() is None for worker in workers), site.said()
        told = dict(site.sql("SELECT die_id, hits_since_sharpening FROM maintenance_dieforecast WHERE is_newest"))
        assert told == {shop["dies"][s.number]: sum(s.hits) for s in setters}
        assert web.ask("/alive/").status == 200
    finally:
        site.end()
