"""Two web processes and two workers at addresses of their own on one PostgreSQL; one of each is killed meanwhile."""

from __future__ import annotations

import threading

import pytest

from .running import NETWORK, Web, kill, until

CLIENTS, ENTRIES, FITS = 4, 12, 6
LEASE_S = "4"

SHOP = f"""
from importlib import import_module
from django.conf import settings
from tests import factories
from diestore.models import Die
dies = []
for n in range({CLIENTS}):
    die = factories.die(f"H-90{{n}}")
    for code in ("1-A", "2-A", "3-A"):
        factories.position(die, code)
    dies.append(die.pk)
user = factories.user("lead")
session = import_module(settings.SESSION_ENGINE).SessionStore()
from django.contrib.auth import BACKEND_SESSION_KEY, HASH_SESSION_KEY, SESSION_KEY
session[SESSION_KEY] = str(user.pk)
session[BACKEND_SESSION_KEY] = settings.AUTHENTICATION_BACKENDS[-1]
session[HASH_SESSION_KEY] = user.get_session_auth_hash()
session.save()
told = {{
    "dies": dies, "person": factories.person().pk, "stock": factories.stock().pk,
    "session": session.session_key, "plant": factories.plant().pk,
}}
"""

FIT_OFTEN = """
from maintenance import tasks
for n in range({fits}):
    tasks.fit_fleet.enqueue({plant})
"""


class Client(threading.Thread):
    """Logs runs on one die, at one host and the other in turn. Where nobody answers, the same form goes to the next."""

    def __init__(self, webs: list[Web], shop: dict, die: int, number: int) -> None:
        super().__init__(daemon=True)
        self.webs, self.shop, self.die, self.number = webs, shop, die, number
        self.hits: list[int] = []
        self.wrong: list[str] = []
        self.resent = 0

    def run(self) -> None:
        for n in range(ENTRIES):
            hits = 15_000 + 1_000 * self.number + n  # as many as four hours give
            form = {
                "key": f"{self.number}-{n}",
                "started": f"2026-03-{n + 1:02}T06:00",
                "ended": f"2026-03-{n + 1:02}T10:00",
                "hits": str(hits),
                "order": "",
                "press": "",
                "stock": str(self.shop["stock"]),
                "person": str(self.shop["person"]),
            }
            self.hits.append(hits)
            for attempt in range(40):
                web = self.webs[(n + self.number + attempt) % 2]
                try:
                    answer = web.ask(f"/log/run/?die={self.die}", form, session=self.shop["session"])
                except NETWORK:
                    self.resent += 1
                    continue
                if answer.status != 302:
                    self.wrong.append(f"{answer.status}: {answer.wrong}")
                break
            else:
                self.wrong.append("no host answered")


def wrong_of(clients: list[Client]) -> list[str]:
    return [wrong for client in clients for wrong in client.wrong]


def test_one_of_two_hosts_and_one_of_two_workers_are_killed_and_nothing_is_lost_or_done_twice(new_site):
    site = new_site(DIESTORE_WORKERS="1", DIESTORE_WORKER_LEASE_S=LEASE_S)
    if not site.is_postgresql:
        pytest.skip("several hosts need PostgreSQL")
    shop = site.do(SHOP)
    webs = [site.web("127.0.0.2"), site.web("127.0.0.3")]
    workers = [site.worker(), site.worker()]
    for web in webs:
        web.wait()
    until(lambda: site.number("SELECT count(*) FROM diestore_taskworker") == 2, 30, "two workers have begun")
    site.do(FIT_OFTEN.format(fits=FITS, plant=shop["plant"]))
    clients = [Client(webs, shop, die, n) for n, die in enumerate(shop["dies"])]
    for client in clients:
        client.start()

    runs = "SELECT count(*) FROM maintenance_run"
    until(lambda: site.number(runs) >= CLIENTS * ENTRIES // 4 or wrong_of(clients), 30, "a quarter of the entries")
    assert wrong_of(clients) == []
    kill(webs[0].child)
    # The worker is killed with a task in its hands.
    held = (
        "SELECT count(*) FROM django_tasks_database_dbtaskresult "
        f"WHERE status = 'RUNNING' AND worker_ids::text LIKE '%-{workers[0].pid}-%'"
    )
    until(lambda: site.number(held), 30, "the worker has a task in hand", every=0.002)
    kill(workers[0])
    for client in clients:
        client.join(60)
    assert not any(client.is_alive() for client in clients)
    assert wrong_of(clients) == []
    assert sum(client.resent for client in clients) > 0, "the killed host was never asked"

    waiting = "SELECT count(*) FROM django_tasks_database_dbtaskresult WHERE status IN ('READY', 'RUNNING')"
    until(lambda: site.number(waiting) == 0, 40, "the queue is empty")

    # Nothing lost, nothing twice: each form once, and the hits to the last one.
    assert site.number(runs) == CLIENTS * ENTRIES
    for client in clients:
        found = site.sql(f"SELECT hits FROM maintenance_run WHERE die_id = {client.die} ORDER BY started")
        assert [hits for (hits,) in found] == client.hits
    # Every task took effect once: as many fits as were asked for, each told by the task that made it.
    told = site.sql("SELECT status, count(*) FROM django_tasks_database_dbtaskresult GROUP BY status")
    assert [status for status, _ in told] == ["SUCCESSFUL"], site.said()
    fits = site.sql(
        "SELECT return_value ->> 'fit' FROM django_tasks_database_dbtaskresult WHERE task_path LIKE '%fit_fleet'"
    )
    assert len(fits) == len(set(fits)) == site.number("SELECT count(*) FROM maintenance_fleetfit")
    assert len(fits) in (FITS, FITS + 1)  # a worker may have found that the night is due
    tried_again = site.number(
        "SELECT count(*) FROM django_tasks_database_dbtaskresult WHERE jsonb_array_length(worker_ids) > 1"
    )
    assert tried_again >= 1, "the killed worker's task was done by the other"
    # What is told of each die has seen its last entry, and there is one that is the newest.
    newest = dict(
        site.sql("SELECT die_id, hits_since_sharpening FROM maintenance_dieforecast WHERE is_newest ORDER BY die_id")
    )
    assert newest == {client.die: sum(client.hits) for client in clients}
