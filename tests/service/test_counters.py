"""Eight senders at once, some of the same counts: every stroke is a hit once, and nobody gets an error."""

from __future__ import annotations

import http.client
import json
import random
import threading

from .test_together import together

SENDERS, MINUTES, PACE = 8, 90, 60

SHOP = """
from django.utils import timezone
from tests import factories as make
from tests.counters import shop
from maintenance.counters import devices, presses
token = shop.device().token
for n in range(4):
    die = make.die(f"D{n}")
    make.position(die)
    shop.set_die(die, press_code=f"P{n}")
told = {"token": token}
"""
COUNT = """
from maintenance.counters import settle
settle.settle_waiting()
from maintenance.models import OpenCount, Run
hits = {}
for row in [*Run.objects.standing(), *OpenCount.objects.all()]:
    hits[row.die.code] = hits.get(row.die.code, 0) + row.hits
told = hits
"""


class Sender(threading.Thread):
    """Sends the counts of one press: out of order, some singly and some in batches, each at least once."""

    def __init__(self, number: int, web, token: str) -> None:
        super().__init__(daemon=True)
        self.web, self.token = web, token
        self.press, self.rng = f"P{number % 4}", random.Random(number)
        self.wrong: list[str] = []
        self.taken = 0

    def post(self, path: str, message: dict) -> dict:
        headers = {"Authorization": f"Bearer {self.token}", "Content-Type": "application/json"}
        connection = http.client.HTTPConnection(self.web.host, self.web.port, timeout=60)
        try:
            connection.request("POST", path, json.dumps(message), headers)
            answer = connection.getresponse()
            told = json.loads(answer.read())
            if answer.status not in (200, 201):
                self.wrong.append(f"{answer.status} {told}")
            return told
        finally:
            connection.close()

    def run(self) -> None:
        try:
            counts = [self.count(minute) for minute in range(MINUTES)]
            self.rng.shuffle(counts)
            while counts:
                n = self.rng.choice([1, 1, 1, 20])
                some, counts = counts[:n], counts[n:]
                if n == 1:
                    self.taken += self.post("/api/v1/counts", some[0])["outcome"] == "taken"
                else:
                    self.taken += self.post("/api/v1/counts/batch", {"counts": some})["taken"]
        except Exception as error:
            self.wrong.append(repr(error))

    def count(self, minute: int) -> dict:
        at = f"2026-01-05T{8 + minute // 60:02}:{minute % 60:02}:00+00:00"
        return {"id": f"{self.press}-{minute}", "press": self.press, "total": PACE * minute, "at": at}


def test_eight_senders_lose_no_stroke_and_count_none_twice(new_site):
    site = new_site(FORECASTS_BY_WORKERS="1")
    shop = site.do(SHOP)
    web = site.web()
    web.wait()
    senders = [Sender(n, web, shop["token"]) for n in range(SENDERS)]
    together(*senders)
    assert [wrong for sender in senders for wrong in sender.wrong] == [], site.said()[-4_000:]
    assert site.number("SELECT count(*) FROM maintenance_counterreading") == 4 * MINUTES
    assert sum(sender.taken for sender in senders) == 4 * MINUTES
    assert site.do(COUNT) == {f"D{n}": PACE * (MINUTES - 1) for n in range(4)}
    assert site.number("SELECT count(*) FROM maintenance_counterquestion WHERE settled_at IS NULL") == 0
    assert "Traceback" not in site.said()
