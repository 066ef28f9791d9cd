"""Eight people log on the same dies at the same time: totals exact, and nobody gets an error. On both databases."""

from __future__ import annotations

import threading

import pytest

from tests.pages.bench_browser import Filled

from .running import until
from .test_hosts import SHOP

CLIENTS, TURNS = 8, 3


class Person(threading.Thread):
    """Each turn: a run, strokes without stock, a sharpening, a correction; every second run is struck out again."""

    def __init__(self, number: int, site, web, shop: dict) -> None:
        super().__init__(daemon=True)
        self.number, self.site, self.web, self.shop = number, site, web, shop
        self.die = shop["dies"][number % 2]
        self.wrong: list[str] = []
        self.hits = self.without_stock = self.struck = self.sharpened = 0

    def send(self, path: str, form: dict) -> None:
        answer = self.web.ask(path, {**form, "person": self.shop["person"]}, session=self.shop["session"])
        if answer.status != 302:
            self.wrong.append(f"{path}: {answer.status} {answer.wrong}")

    def run(self) -> None:
        try:
            for turn in range(TURNS):
                self.turn(turn)
        except Exception as error:
            self.wrong.append(repr(error))

    def turn(self, turn: int) -> None:
        day = f"2026-03-{1 + self.number * TURNS + turn:02}"
        key = f"{self.number}-{turn}"
        die = f"?die={self.die}"
        hits = 15_000 + self.number * 100 + turn
        run = {"key": key, "started": f"{day}T06:00", "ended": f"{day}T10:00", "hits": hits}
        self.send(f"/log/run/{die}", {**run, "order": "", "press": "", "stock": self.shop["stock"]})
        count = {"key": f"{key}-set-up", "what": "without stock", "hits": 10 + turn, "reason": "", "at": f"{day}T05:30"}
        self.send(f"/log/count/{die}", count)
        self.without_stock += 10 + turn
        shown = self.web.ask(f"/log/sharpening/{die}", session=self.shop["session"])
        form = Filled(shown.text).data | {"removed": "0.1", "at": f"{day}T11:00", "rest": "sharp", "sides": "both"}
        form.pop("csrfmiddlewaretoken", None)
        form[min(name for name in form if name.startswith("found_"))] = "dull"
        self.send(f"/log/sharpening/{die}", form)
        self.sharpened += 3
        if turn % 2:
            [(pk,)] = self.site.sql(f"SELECT id FROM maintenance_run WHERE key = '{key}'")
            self.send(f"/log/entries/run/{pk}/strike/", {"reason": "entered twice"})
            self.struck += 1
        else:
            self.hits += hits
        more = {"key": f"{key}-more", "what": "more", "hits": 7, "reason": "counter read low", "at": f"{day}T12:00"}
        self.send(f"/log/count/{die}", more)
        self.hits += 7


@pytest.fixture
def open_site(new_site):
    site = new_site()
    shop = site.do(SHOP)
    web = site.web()
    web.wait()
    return site, web, shop


def together(*threads: threading.Thread) -> None:
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(120)
        assert not thread.is_alive()


def test_eight_people_at_once_lose_no_hit(open_site):
    site, web, shop = open_site
    people = [Person(n, site, web, shop) for n in range(CLIENTS)]
    together(*people)
    assert [wrong for person in people for wrong in person.wrong] == []
    for die in shop["dies"][:2]:
        mine = [person for person in people if person.die == die]
        runs = site.number(f"SELECT sum(hits) FROM maintenance_run WHERE die_id = {die} AND struck_at IS NULL")
        more = site.number(f"SELECT sum(hits) FROM maintenance_hitcorrection WHERE die_id = {die} AND with_stock")
        idle = site.number(f"SELECT sum(hits) FROM maintenance_hitcorrection WHERE die_id = {die} AND NOT with_stock")
        struck = site.number(f"SELECT count(struck_at) FROM maintenance_run WHERE die_id = {die}")
        ground = site.number(
            "SELECT count(*) FROM maintenance_work w JOIN diestore_position p ON p.id = w.position_id "
            f"WHERE p.die_id = {die}"
        )
        assert runs + more == sum(person.hits for person in mine)
        assert idle == sum(person.without_stock for person in mine)
        assert struck == sum(person.struck for person in mine)
        assert ground == sum(person.sharpened for person in mine)
        # The clock that is shown is that of the last entry: strokes since the last sharpening of the die.
        last = site.sql(f"SELECT max(w.at) FROM maintenance_work w JOIN diestore_position p ON p.id = w.position_id "
                        f"WHERE p.die_id = {die}")[0][0]  # fmt: skip
        since = site.number(
            "SELECT coalesce(sum(hits), 0) FROM maintenance_hitcorrection "
            f"WHERE die_id = {die} AND with_stock AND at > '{last}'"
        )
        told = site.sql(f"SELECT hits_since_sharpening FROM maintenance_dieforecast WHERE die_id = {die} AND is_newest")
        assert told == [(since,)] and since == 7


class Sends(threading.Thread):
    """Sends one form at the moment when the others send theirs."""

    def __init__(self, gate: threading.Barrier, web, session: str, path: str, form: dict) -> None:
        super().__init__(daemon=True)
        self.gate, self.web, self.session, self.path, self.form = gate, web, session, path, form
        self.answer = None

    def run(self) -> None:
        self.gate.wait(30)
        self.answer = self.web.ask(self.path, self.form, session=self.session)


def all_at_once(web, shop, path: str, form) -> list[Sends]:
    gate = threading.Barrier(CLIENTS)
    senders = [Sends(gate, web, shop["session"], path, {**form(n), "person": shop["person"]}) for n in range(CLIENTS)]
    together(*senders)
    return senders


def test_what_only_one_may_do_is_done_once_and_the_others_are_told(open_site):
    site, web, shop = open_site
    die = shop["dies"][0]
    run = {
        "key": "the same form", "started": "2026-03-01T06:00", "ended": "2026-03-01T10:00", "hits": 18_000,
        "order": "", "press": "", "stock": shop["stock"],
    }  # fmt: skip
    # One form sent eight times: one run, and all are told that it is saved.
    sent = all_at_once(web, shop, f"/log/run/?die={die}", lambda n: run)
    assert [s.answer.status for s in sent] == [302] * CLIENTS, [s.answer.wrong for s in sent]
    assert site.sql("SELECT hits FROM maintenance_run") == [(18_000,)]
    # Eight other runs at one time: the die made one of them.
    day = run | {"started": "2026-03-02T06:00", "ended": "2026-03-02T10:00"}
    sent = all_at_once(web, shop, f"/log/run/?die={die}", lambda n: day | {"key": f"other-{n}", "hits": 18_001 + n})
    assert sorted(s.answer.status for s in sent) == [302] + [422] * (CLIENTS - 1)
    assert all("a run" in str(s.answer.wrong) for s in sent if s.answer.status == 422)
    # 36,000 hits and some are logged: 30,000 can be taken off once.
    fewer = {"what": "fewer", "hits": 30_000, "reason": "counted twice", "at": "2026-03-05T06:00"}
    sent = all_at_once(web, shop, f"/log/count/?die={die}", lambda n: fewer | {"key": f"fewer-{n}"})
    assert sorted(s.answer.status for s in sent) == [302] + [422] * (CLIENTS - 1), [s.answer.wrong for s in sent]
    assert site.sql("SELECT hits FROM maintenance_hitcorrection") == [(-30_000,)]
    # One strikes it out.
    pk = site.number("SELECT id FROM maintenance_hitcorrection")
    sent = all_at_once(
        web, shop, f"/log/entries/count/{pk}/strike/", lambda n: {"reason": f"it was right after all, {n}"}
    )
    assert sorted(s.answer.status for s in sent) == [302] + [422] * (CLIENTS - 1), [s.answer.wrong for s in sent]
    assert site.number("SELECT count(struck_at) FROM maintenance_hitcorrection") == 1
    until(lambda: site.number("SELECT count(*) FROM maintenance_dieforecast WHERE is_newest") == 1, 5, "one is newest")
