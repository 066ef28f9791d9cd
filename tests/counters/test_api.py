"""The interface: what each scope may do, single counts and batches, repeats, runs, reads, and refusals as sentences."""

from __future__ import annotations

import datetime as dt
import html
import json
import re

import pytest
import time_machine
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from diestore.register.models import Die, Plant
from maintenance.counters import devices, settle
from maintenance.forecasts import store
from maintenance.log import write
from maintenance.models import Counter, CounterDevice, CounterReading, OpenCount, Run, Scope
from tests import factories as make
from tests.counters import shop

pytestmark = pytest.mark.django_db
BASE = "/api/v1"


@pytest.fixture(autouse=True)
def at_midday():
    with time_machine.travel(shop.at(240), tick=False):
        yield


@pytest.fixture
def made(db):
    shop.press()
    return shop.device()


class Caller:
    """A program with a token. Checks that CSRF is no matter: it has no cookie."""

    def __init__(self, token: str | None) -> None:
        self.client = Client(enforce_csrf_checks=True)
        self.headers = {} if token is None else {"Authorization": f"Bearer {token}"}

    def post(self, path: str, message) -> tuple[int, dict]:
        body = message if isinstance(message, str | bytes) else json.dumps(message)
        answer = self.client.post(BASE + path, body, content_type="application/json", headers=self.headers)
        return answer.status_code, answer.json()

    def get(self, path: str) -> tuple[int, dict]:
        answer = self.client.get(BASE + path, headers=self.headers)
        return answer.status_code, answer.json()


@pytest.fixture
def call(made):
    return Caller(made.token)


def count(minute=0, total=100, **more):
    return {"id": f"m{minute}", "press": "P1", "total": total, "at": shop.at(minute).isoformat()} | more


def test_a_count_is_taken_once(call):
    assert call.post("/counts", count()) == (201, {"id": "m0", "outcome": "taken", "message": ""})
    assert call.post("/counts", count()) == (200, {"id": "m0", "outcome": "known", "message": ""})
    status, told = call.post("/counts", count(total=101))
    assert (status, told["message"]) == (
        409,
        "This message id was used before, with another total, time or press.",
    )
    (kept,) = CounterReading.objects.all()
    assert (kept.total, kept.at, json.loads(kept.raw)) == (100, shop.at(0), count())


def test_counts_are_on_the_clocks_by_the_message_five_minutes_later(call):
    die = make.die()
    make.position(die)
    shop.set_die(die)
    with time_machine.travel(shop.at(0), tick=False) as clock:
        for minute in range(8):
            clock.move_to(shop.at(minute))
            assert call.post("/counts", count(minute, 100 + 60 * minute))[0] == 201
    assert OpenCount.objects.get().hits == 5 * 60
    assert die.forecasts.get(is_newest=True).hits_since_sharpening == 5 * 60


def test_a_clock_that_was_ahead_keeps_no_count_back_once_it_is_right(call):
    """400 days ahead for a while: before, no message had its counter counted until the year after next."""
    die = make.die()
    make.position(die)
    shop.set_die(die)
    with time_machine.travel(shop.at(400 * 1_440), tick=False):
        call.post("/counts", count(-1, 100, id="ahead"))
    assert Counter.objects.get().counted_at > shop.at(240)
    with time_machine.travel(shop.at(0), tick=False) as clock:
        for minute in range(8):
            clock.move_to(shop.at(minute))
            assert call.post("/counts", count(minute, 100 + 60 * minute))[0] == 201
        assert die.forecasts.get(is_newest=True).hits_since_sharpening == 5 * 60
        assert Counter.objects.get().counted_at == shop.at(5)
        assert CounterDevice.objects.get().last_used_at == shop.at(7)
        for minute in (9, 15):  # in batches too
            clock.move_to(shop.at(minute))
            Counter.objects.update(counted_at=shop.at(400 * 1_440))
            call.post("/counts/batch", {"counts": [count(minute, 100 + 60 * minute)]})
            assert Counter.objects.get().counted_at == shop.at(minute)


def test_a_batch_says_of_each_what_became_of_it(call):
    call.post("/counts", count(0))
    batch = [count(0), count(1, 160), count(1, 170), count(2, 5, press="nowhere"), count(3, 220, die="also")]
    status, told = call.post("/counts/batch", {"counts": batch})
    assert status == 200
    assert [row["outcome"] for row in told["counts"]] == ["known", "taken", "refused", "refused", "refused"]
    assert (told["taken"], told["known"], told["refused"]) == (1, 1, 3)
    assert told["counts"][3]["message"] == "There is no press nowhere in this plant."
    assert told["counts"][4]["message"].startswith("Name the press or the die")
    assert CounterReading.objects.count() == 2


def test_a_batch_has_500_counts_at_most(call):
    batch = [count(k / 100, 100 + k, id=str(k)) for k in range(501)]
    status, told = call.post("/counts/batch", {"counts": batch})
    assert (status, told["where"]) == (422, "counts")
    status, told = call.post("/counts/batch", {"counts": batch[:500]})
    assert (status, told["taken"]) == (200, 500)
    assert call.post("/counts/batch", {"counts": batch[:500]})[1]["known"] == 500
    assert call.post("/counts/batch", {"counts": []})[0] == 422


def test_batches_and_single_counts_come_to_the_same(call):
    shop.set_die(make.die(), until=200)
    for minute in range(20):
        call.post("/counts", count(minute, 40 * minute))
    call.post("/counts/batch", {"counts": [count(m, 40 * m) for m in range(10, 60)]})
    settle.settle_waiting()
    assert shop.runs() == [("H-900", 59 * 40, 0, 59)]


@pytest.mark.parametrize(
    ("wrong", "where"),
    [
        ({"total": True}, "total"),
        ({"total": "12"}, "total"),
        ({"total": 1.5}, "total"),
        ({"total": -1}, "total"),
        ({"total": 10**16}, "total"),
        ({"total": None}, "total"),
        ({"at": 0}, "at"),
        ({"at": 1767600000}, "at"),
        ({"at": "1767600000"}, "at"),
        ({"at": "2026-01-05T08:00:00"}, "at"),
        ({"at": "2026-01-05"}, "at"),
        ({"at": "0001-01-01T00:00:00+14:00"}, "at"),
        ({"at": "9999-12-31T23:59:59-14:00"}, "at"),
        ({"at": "2026-02-30T08:00:00Z"}, "at"),
        ({"stock": "yes"}, "stock"),
        ({"stock": 1}, "stock"),
        ({"id": ""}, "id"),
        ({"id": "a\x00b"}, "id"),
        ({"id": "x" * 81}, "id"),
        ({"press": "a\nb"}, "press"),
        ({"press": ["P1"]}, "press"),
        ({"totall": 5}, "totall"),
    ],
)
def test_what_is_not_written_as_it_should_be_is_refused_in_a_sentence(call, wrong, where):
    status, told = call.post("/counts", count() | wrong)
    assert (status, told["where"]) == (422, where)
    assert told["message"].endswith(".")
    assert not CounterReading.objects.exists()


@pytest.mark.parametrize("body", ["", "{", "[]", "null", "1", b"\xff\xfe", '{"id": "\\ud800"}', '"text"'])
def test_bodies_that_are_no_message(call, body):
    status, told = call.post("/counts", body)
    assert status in (400, 422)
    assert told["message"]


def test_a_message_that_is_too_long(call, settings):
    settings.DATA_UPLOAD_MAX_MEMORY_SIZE = 1_000
    status, told = call.post("/counts/batch", {"counts": [count(k) for k in range(50)]})
    assert (status, told["message"]) == (413, "The message is too long. Send fewer counts at once.")


def test_what_goes_wrong_in_counting_loses_no_message(call, monkeypatch):
    def breaks(*args):
        raise RuntimeError("on purpose")

    monkeypatch.setattr(settle, "count", breaks)
    assert call.post("/counts", count())[0] == 201
    assert call.post("/counts/batch", {"counts": [count(1, 160)]})[0] == 200
    assert CounterReading.objects.count() == 2
    monkeypatch.undo()
    shop.set_die(make.die())
    call.post("/counts", count(2, 220))
    settle.settle_waiting()
    assert OpenCount.objects.get().hits == 120


def test_a_time_that_cannot_be_is_taken_and_asked(call):
    assert call.post("/counts", count(9_999, 100))[0] == 201
    assert call.post("/counts", count(0, 100, at="1970-01-01T00:00:07+00:00"))[0] == 201
    assert CounterReading.objects.filter(clock_off=True).count() == 2


# --- who may --------------------------------------------------------------------------------------------------------

CALLS = {
    ("post", "/counts"): Scope.COUNTS,
    ("post", "/counts/batch"): Scope.COUNTS,
    ("post", "/runs"): Scope.RUNS,
    ("get", "/dies"): Scope.READ,
    ("get", "/dies/H-900/forecast"): Scope.READ,
    ("get", "/due"): Scope.READ,
    ("get", "/spares/short"): Scope.SPARES,
    ("get", "/spares/advice"): Scope.PURCHASING,
    ("get", "/spares/orders"): Scope.PURCHASING,
}


def message_for(path):
    run = {"id": "r1", "die": "H-900", "started": shop.at(0).isoformat(), "ended": shop.at(9).isoformat(), "hits": 9}
    return {"/counts": count(), "/counts/batch": {"counts": [count()]}, "/runs": run}.get(path)


def reach(call, method, path):
    return call.get(path) if method == "get" else call.post(path, message_for(path))


@pytest.mark.parametrize(("method", "path"), list(CALLS))
def test_each_call_needs_its_scope(db, method, path):
    make.die()
    shop.press()
    wanted = CALLS[method, path]
    others = [scope for scope in Scope.values if scope != wanted]
    status, told = reach(Caller(shop.device("may not", scopes=others).token), method, path)
    assert status == 403
    assert told["message"] == f"The token of may not does not let it {wanted.label}."
    assert reach(Caller(shop.device("may", scopes=[wanted]).token), method, path)[0] in (200, 201)


@pytest.mark.parametrize(("method", "path"), list(CALLS))
@pytest.mark.parametrize("token", [None, "", "nonsense", "x" * 5_000, "\xff", "a b"])
def test_without_a_good_token_there_is_nothing(made, method, path, token):
    status, told = reach(Caller(token), method, path)
    assert status == 401
    assert "Bearer TOKEN" in told["message"]


def test_a_revoked_token_opens_nothing_from_that_moment(made, call):
    assert call.get("/dies")[0] == 200
    devices.revoke_device(by=write.Actor(user=shop.user()), device=made.device)
    assert call.get("/dies")[0] == 401
    made.device.refresh_from_db()
    assert made.device.token_hash is None
    assert made.device.revoked_by.username == "lead"


def test_a_sign_in_is_no_token(client, db):
    client.force_login(shop.user("administrator"))
    assert client.get(f"{BASE}/dies").status_code == 401


def test_only_the_hash_of_a_token_is_kept(made):
    row = CounterDevice.objects.filter(pk=made.device.pk).values().get()
    assert made.token not in json.dumps(row, default=str)
    assert row["token_hash"] == devices.hash_of(made.token)
    assert len(made.token) >= 43  # 32 random bytes


def test_the_last_use_is_written_once_a_minute(made, call):
    with time_machine.travel(shop.at(0), tick=False) as clock:
        for second, written in ((0, 0), (59, 0), (61, 61), (100, 61), (121, 121)):
            clock.move_to(shop.at(second / 60))
            call.get("/dies")
            made.device.refresh_from_db()
            assert made.device.last_used_at == shop.at(written / 60)


def test_a_device_speaks_for_its_own_presses_and_dies_only(db):
    own, other = shop.press("P1"), shop.press("P2")
    mine, foreign = make.die("A"), make.die("B")
    call = Caller(shop.device("box", presses=[own], dies=[mine]).token)
    assert call.post("/counts", count())[0] == 201
    status, told = call.post("/counts", count(1, press=other.code))
    assert (status, told["message"]) == (403, "box may not speak for press P2.")
    assert call.post("/counts", count(2, press=None, die="A"))[0] == 201
    assert call.post("/counts", count(3, press=None, die="B"))[0] == 403
    run = message_for("/runs")
    assert call.post("/runs", run | {"die": "B"})[0] == 403
    assert call.post("/runs", run | {"die": "A"})[0] == 201
    assert foreign.runs.count() == 0


def test_another_plant_is_out_of_reach(made, call):
    far = Plant.objects.create(code="far")
    Die.objects.create(plant=far, code="FAR", usual_stock=make.stock(), strokes_per_minute=50)
    assert call.get("/dies/FAR/forecast")[0] == 404
    assert call.get("/dies")[1]["found"] == 0
    assert call.post("/runs", message_for("/runs") | {"die": "FAR"})[0] == 404
    assert call.post("/counts", count(press=None, die="FAR"))[0] == 404


# --- runs and reads -------------------------------------------------------------------------------------------------


def test_a_run_is_taken_once(call):
    die = make.die()
    assert call.post("/runs", message_for("/runs"))[0] == 201
    assert call.post("/runs", message_for("/runs")) == (200, {"id": "r1", "outcome": "known", "message": ""})
    assert call.post("/runs", message_for("/runs") | {"hits": 10})[0] == 409
    run = Run.objects.get()
    assert (run.die, run.hits, run.through, run.device) == (die, 9, "interface", "counter box")


@pytest.mark.parametrize(
    ("wrong", "status"),
    [
        ({"ended": shop.at(0).isoformat()}, 409),
        ({"ended": shop.at(9_999).isoformat()}, 409),
        ({"id": "r2"}, 409),  # at the time of the first
        ({"id": "r2", "die": "no such"}, 404),
        ({"id": "r3", "order": "no such"}, 404),
        ({"id": "r4", "press": "no such"}, 404),
        ({"id": "r5", "variant": "no such"}, 404),
        ({"id": "r6", "stock": "no such"}, 404),
        ({"id": "r7", "hits": 0}, 422),
        ({"id": "r8", "hits": True}, 422),
        ({"id": "r9", "good_parts": -1}, 422),
    ],
)
def test_runs_that_cannot_be_are_refused_in_a_sentence(call, wrong, status):
    make.die()
    call.post("/runs", message_for("/runs"))
    answered, told = call.post("/runs", message_for("/runs") | wrong)
    assert answered == status
    assert told["message"].endswith(".")
    assert Run.objects.count() == 1


def test_two_dies_in_one_press_at_one_time_are_refused_until_confirmed(call):
    make.die()
    other = make.die("B")
    message = message_for("/runs") | {"press": "P1"}
    there = {"started": shop.at(-60), "ended": dt.datetime.fromisoformat(message["ended"])}
    write.log_run(by=make.actor(), die=other, press=shop.press(), hits=900, **there)
    status, told = call.post("/runs", message)
    assert (status, told["where"]) == (409, "press") and "B ran in press P1 from" in told["message"]
    assert call.post("/runs", message | {"confirmed": True})[0] == 201
    assert call.post("/runs", message)[1]["outcome"] == "known"
    assert Run.objects.count() == 2


def test_reads(call):
    die = make.die(parts_per_hit=2)
    make.position(die)
    make.order(die, parts=10_000, due=dt.date(2026, 2, 1))
    shop.set_die(die)
    assert call.get("/dies")[1]["dies"] == [
        {"code": "H-900", "description": "", "status": "in service", "strokes_per_minute": 80.0, "press": "P1"}
    ]
    status, told = call.get("/dies/H-900/forecast")
    assert (status, told["why_unknown"]) == (200, "No forecast has been computed for it yet.")
    store.refresh_die(die)
    told = call.get("/dies/H-900/forecast")[1]
    row = die.forecasts.get()
    assert (told["half_last_hits"], told["nine_in_ten_last_hits"], told["limiting_position"]) == (
        row.half_hits,
        row.nine_in_ten_hits,
        "1-A",
    )
    assert told["remaining_hits"]["0.5"] == row.half_hits
    assert [edge["position"] for edge in told["edges"]] == ["1-A"]
    (line,) = call.get("/due")[1]["dies"]
    assert (line["die"], line["hits_left"], line["due"]) == ("H-900", 5_000, "2026-02-01")
    assert call.get("/spares/short")[1] == {"found": 0, "as_of": None, "spares": []}
    assert call.get("/dies?limit=0")[0] == 422
    assert call.get("/dies?limit=true")[0] == 422
    assert call.get("/dies?limt=5") == (
        422,
        {"message": "There is nothing called 'limt' to ask for here.", "where": ""},
    )
    assert call.get("/due?a=b")[0] == 422
    assert call.get("/dies/no%00such/forecast")[0] == 404
    assert call.get("/dies?offset=5")[1] == {"found": 1, "dies": []}


def test_the_description_is_for_people_who_are_signed_in(client, db):
    assert client.get(reverse("api:openapi-json")).status_code == 302
    client.force_login(shop.user("administrator"))
    described = client.get(reverse("api:openapi-json")).json()
    assert described["openapi"] == "3.1.0"
    assert set(described["paths"]) == {
        "/api/v1/counts", "/api/v1/counts/batch", "/api/v1/runs", "/api/v1/dies", "/api/v1/dies/{code}/forecast",
        "/api/v1/due", "/api/v1/spares/short", "/api/v1/register/dies", "/api/v1/register/dies/{code}/places",
        "/api/v1/forecasts", "/api/v1/jobs", "/api/v1/jobs/change", "/api/v1/jobs/close", "/api/v1/cost",
        "/api/v1/spares/advice", "/api/v1/spares/orders",
    }  # fmt: skip
    total = described["components"]["schemas"]["Count"]["properties"]["total"]
    assert (total["type"], total["minimum"], total["maximum"]) == ("integer", 0, 10**15)
    assert timezone.now() == shop.at(240)


def test_the_page_for_whoever_wires_a_box_shows_a_message_that_is_taken_and_every_field(client, db):
    shop.press()
    token = shop.device(scopes=[Scope.COUNTS]).token
    client.force_login(shop.user("setter"))
    page = client.get(reverse("maintenance:wiring")).content.decode()
    message, answer = (json.loads(html.unescape(found)) for found in re.findall(r"^(?:<.*>)?({.*})</pre>", page, re.M))
    head = {"Authorization": f"Bearer {token}"}
    message["at"] = shop.at(200).isoformat()
    sent = client.post(reverse("api:post_count"), message, content_type="application/json", headers=head)
    assert (sent.status_code, sent.json()) == (201, answer)
    schemas = client.get(reverse("api:openapi-json")).json()["components"]["schemas"]
    fields = page[page.index("<h2>The fields") :]
    told = dict(re.findall(r"<tr><th scope=.row.><code>(\w+)</code></th><td>.*?</td><td>(.*?)</td>", fields, re.S))
    assert told.keys() == schemas["Count"]["properties"].keys()
    assert {name for name, needed in told.items() if needed == "yes"} == set(schemas["Count"]["required"])
