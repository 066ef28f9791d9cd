"""Other systems: what they read is what the pages say, a part at a time; jobs sent in count once; the calendar."""

from __future__ import annotations

import datetime as dt
import json
import re
import urllib.error
import urllib.request

import pytest
from django.conf import settings
from django.test import Client
from django.urls import reverse
from icalendar import Calendar

from diestore.access import roles
from diestore.register.models import Amendment, Die, Part, Plant
from maintenance.counters import devices
from maintenance.forecasts import due, store
from maintenance.log import queries, write
from maintenance.models import CounterDevice, Order, Scope, SentForm
from reports.api import api
from reports.cost.sheets import cost_per_thousand
from tests import factories as make
from tests.counters import shop
from tests.counters.test_api import Caller
from tests.pages import money_shop
from tests.pages.small_shop import shop as small_shop
from tests.security.addresses import shop as two_dies

pytestmark = pytest.mark.django_db
JOB = {"id": "j1", "number": "26-0412", "part": "P-H-900", "parts": 40_000, "due": "2026-12-18"}
READS = {
    "/register/dies": (Scope.REGISTER, Scope.READ),
    "/register/dies/H-900/places": (Scope.REGISTER, Scope.READ),
    "/forecasts": (Scope.FORECASTS, Scope.READ),
    "/jobs": (Scope.FORECASTS, Scope.READ),
    "/cost": (Scope.COST,),
}


def caller(*scopes: str, name: str = "office") -> Caller:
    return Caller(shop.device(name, scopes=scopes or tuple(Scope.values)).token)


@pytest.fixture
def die():
    made = make.die()
    make.position(made)
    return made


@pytest.fixture
def call(db):
    return caller()


def everything(call: Caller, path: str, key: str, limit: int) -> list[dict]:
    rows, cursor = [], ""
    for _ in range(99):
        status, told = call.get(f"{path}?limit={limit}" + (f"&cursor={cursor}" if cursor else ""))
        assert status == 200 and len(told[key]) <= limit
        rows += told[key]
        cursor = told["next"]
        if cursor is None:
            return rows
    raise AssertionError("the parts do not end")


# --- who may --------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("path", READS)
def test_each_read_needs_one_of_its_scopes(die, path):
    others = [scope for scope in Scope.values if scope not in READS[path]]
    status, told = caller(*others, name="may not").get(path)
    assert status == 403 and told["message"].endswith(f"does not let it {READS[path][0].label}.")
    for scope in READS[path]:
        assert caller(scope, name=f"may {scope}").get(path)[0] == 200


@pytest.mark.parametrize("path", ["/jobs", "/jobs/change", "/jobs/close"])
def test_jobs_need_their_scope(die, path):
    status, told = caller(*(s for s in Scope.values if s != Scope.JOBS)).post(path, _sent(path))
    assert status == 403 and Scope.JOBS.label in told["message"] and not Order.objects.exists()


def _sent(path: str) -> dict:
    return {"/jobs": JOB, "/jobs/change": {"id": "c1", "number": "26-0412", "parts": 5}}.get(
        path, {"id": "c2", "number": "26-0412"}
    )


def test_a_token_knows_its_own_plant_and_no_other(call):
    two_dies()
    store.fit_and_forecast(make.plant())
    far = Plant.objects.create(code="far")
    token = devices.make_device(by=write.Actor(), plant=far, name="far office", scopes=Scope.values).token
    there = Caller(token)
    for path, key in (("/register/dies", "dies"), ("/forecasts", "forecasts"), ("/jobs", "jobs"), ("/cost", "dies")):
        assert call.get(path)[1][key] and there.get(path)[1][key] == []
    assert there.get("/register/dies/H-900/places")[0] == 404
    assert there.post("/jobs/close", {"id": "x", "number": "26-0001"})[0] == 404
    assert there.post("/jobs", JOB | {"die": "H-900"})[0] == 404
    assert Order.objects.get().closed_at is None
    assert there.post("/jobs", JOB)[0] == 201, "parts are the shop's"
    assert Order.objects.get(number="26-0412").plant == far


# --- what they read is what the pages say -----------------------------------------------------------------------------


def test_the_figures_are_those_of_the_pages(call):
    two_dies()
    make.order(Die.objects.get(code="H-900"), "26-0002", parts=1_000, due=make.moment(900).date())
    store.fit_and_forecast(make.plant())
    told = {job["number"]: job for job in call.get("/jobs")[1]["jobs"]}
    (row,) = due.rows(make.plant())
    first = told[row.order_number]
    assert (first["chance"], first["standing"]) == (row.chance, row.standing.word) and row.chance is not None
    assert (first["hits_left"], first["die"], first["part"]) == (row.hits_left, "H-900", "P-H-900")
    other = told["26-0002"]
    assert other["chance"] is None and other["why_unknown"] == "Another job of its die is due first."

    for one in call.get("/forecasts")[1]["forecasts"]:
        kept = queries.newest_forecast(Die.objects.get(code=one["die"]))
        assert (one["half_last_hits"], one["remaining_hits"]) == (kept.half_hits, kept.remaining)

    costs = {row.die.code: row for row in cost_per_thousand(make.plant())}
    told = call.get("/cost")[1]
    assert told["currency"] == settings.CURRENCY and {one["die"] for one in told["dies"]} == set(costs)
    for one in told["dies"]:
        figure = costs[one["die"]].per_thousand  # of a die that made nothing yet nothing is known
        assert one["per_thousand"] == (None if figure is None else f"{figure:.4f}")
        assert {e["key"] for e in one["elements"]} == {e.key for e in costs[one["die"]].sheet.elements}

    assert any(one["per_thousand"] is not None for one in told["dies"])

    places = call.get("/register/dies/H-900/places")[1]["places"]
    assert [(p["code"], p["spare"]) for p in places] == [
        ("1-A", "PP-6.0-M2"), ("1-B", "PP-6.0-M2"), ("2-A", "PP-6.0-M2"), ("3-P", None)
    ]  # fmt: skip
    dies = [(d["code"], d["places"]) for d in call.get("/register/dies")[1]["dies"]]
    assert dies == [("H-900", 4), ("H-900-own", 0), ("H-901", 4)]


@pytest.mark.parametrize("limit", [1, 3, 200])
def test_parts_of_a_list_hold_each_row_once(call, limit):
    small_shop(7)
    for path, key, name in (
        ("/register/dies", "dies", "code"), ("/forecasts", "forecasts", "die"), ("/jobs", "jobs", "die"),
        ("/cost", "dies", "die"),
    ):  # fmt: skip
        rows = [row[name] for row in everything(call, path, key, limit)]
        assert sorted(rows) == [f"H-00{n}" for n in range(7)]


def test_what_comes_in_meanwhile_shifts_no_part(call):
    for code in ("B-1", "D-1", "F-1"):
        make.die(code)
    first = call.get("/register/dies?limit=2")[1]
    make.die("A-1")
    make.die("E-1")
    rest = call.get(f"/register/dies?limit=9&cursor={first['next']}")[1]
    assert [d["code"] for d in first["dies"]] == ["B-1", "D-1"]
    assert [d["code"] for d in rest["dies"]] == ["E-1", "F-1"] and rest["next"] is None


@pytest.mark.parametrize("cursor", ["x", "====", "bnVsbA==", "W10x", "e30=", "WzEsMl0=", "W251bGxd", "é", "W1tdXQ=="])
def test_a_cursor_of_somebody_elses_is_refused_with_a_sentence(call, die, cursor):
    status, told = call.get(f"/register/dies?cursor={urllib.request.quote(cursor)}")
    assert status == 422 and told["message"]


# --- jobs -----------------------------------------------------------------------------------------------------------


def test_a_job_is_entered_changed_and_closed_and_each_message_counts_once(call, die):
    assert call.post("/jobs", JOB) == (201, {"id": "j1", "outcome": "taken", "message": ""})
    assert call.post("/jobs", JOB) == (200, {"id": "j1", "outcome": "known", "message": ""})
    row = Order.objects.get()
    assert (row.number, row.parts, row.due, row.die, str(row.part)) == (
        "26-0412", 40_000, dt.date(2026, 12, 18), None, "P-H-900"
    )  # fmt: skip
    change = {"id": "j2", "number": "26-0412", "parts": 45_000, "die": "H-900"}
    for status in (201, 200):
        assert call.post("/jobs/change", change)[0] == status
    row.refresh_from_db()
    assert (row.parts, row.die, row.due) == (45_000, die, dt.date(2026, 12, 18))
    assert [left.parts_left for left in queries.open_orders()] == [45_000]
    for status in (201, 200):
        assert call.post("/jobs/close", {"id": "j3", "number": "26-0412"})[0] == status
    row.refresh_from_db()
    assert row.closed_at is not None and queries.open_orders() == []
    assert call.get("/jobs")[1]["jobs"] == []
    sorts = [(one.sort, one.reason) for one in Amendment.objects.filter(table="maintenance.order").order_by("pk")]
    assert sorts == [(sort, "Sent by office") for sort in ("entered", "changed", "retired")]


@pytest.mark.parametrize(
    ("path", "other"),
    [
        ("/jobs", JOB | {"parts": 40_001}),
        ("/jobs", JOB | {"number": "26-0413"}),
        ("/jobs/change", {"id": "j1", "number": "26-0412", "parts": 40_000}),
        ("/jobs/close", {"id": "j1", "number": "26-0412"}),
    ],
)
def test_the_same_id_with_other_values_is_refused(call, die, path, other):
    call.post("/jobs", JOB)
    status, told = call.post(path, other)
    assert (status, told["message"]) == (409, "This message id was used before, for another job or with other values.")
    row = Order.objects.get()
    assert row.parts == 40_000 and row.closed_at is None
    assert caller(name="another office").post("/jobs", other | {"number": "26-9"})[0] in (201, 404, 422)


def test_what_was_refused_is_put_right_under_the_same_id(call, die):
    for wrong, status in ((JOB | {"part": "no such"}, 404), (JOB | {"die": "no such"}, 404), (JOB | {"parts": 0}, 422)):
        assert call.post("/jobs", wrong)[0] == status
        assert not Order.objects.exists() and not SentForm.objects.exists() and not Amendment.objects.exists()
    assert call.post("/jobs", JOB)[0] == 201


@pytest.mark.parametrize(
    ("path", "message", "status", "says"),
    [
        ("/jobs", JOB | {"id": "n"}, 409, "There is a job 26-0412 for P-H-900 already. Change that one."),
        ("/jobs/change", {"id": "n", "number": "26-0412"}, 422, "Nothing is changed: send parts, due or die."),
        ("/jobs/change", {"id": "n", "number": "26-9", "parts": 5}, 404, "There is no job 26-9 here."),
        ("/jobs/close", {"id": "n", "number": "26-0412", "part": "P-1"}, 404, "There is no job 26-0412 here."),
        ("/jobs/close", {"id": "n", "number": "25-1"}, 409, "Job 25-1 is closed."),
        ("/jobs/close", {"id": "n", "number": "26-7"}, 409, "Job 26-7 stands for 2 parts. Name the part."),
        ("/jobs", JOB | {"id": "n", "due": "18.12.2026"}, 422, "due: write a day such as 2026-12-24."),
        ("/jobs", JOB | {"id": "n", "partz": 1}, 422, "partz: Extra inputs are not permitted."),
    ],
)
def test_what_cannot_be_is_refused_with_a_sentence(call, die, path, message, status, says):
    call.post("/jobs", JOB)
    make.order(die, "25-1", closed_at=make.moment(3))
    make.order(die, "26-7")
    Order.objects.create(
        plant=die.plant, number="26-7", part=Part.objects.create(number="P-2"), parts=5, due=dt.date(2026, 1, 1)
    )
    before = list(Order.objects.values_list("pk", "parts", "closed_at"))
    got, told = call.post(path, message)
    assert (got, told["message"]) == (status, says)
    assert list(Order.objects.values_list("pk", "parts", "closed_at")) == before


# --- as HTTP has it -----------------------------------------------------------------------------------------------


@pytest.mark.django_db(transaction=True)
def test_what_is_not_otherwise_is_answered_304_over_http(live_server, transactional_db):
    from diestore.access.roles import grant_roles  # the groups went with the last test's tables

    grant_roles()
    make.die()
    token = shop.device().token

    def get(path: str, **headers) -> tuple[int, str, bytes]:
        asked = urllib.request.Request(
            f"{live_server.url}{path}", headers={"Authorization": f"Bearer {token}"} | headers
        )
        try:
            with urllib.request.urlopen(asked) as answer:
                return answer.status, answer.headers["ETag"], answer.read()
        except urllib.error.HTTPError as error:
            return error.code, error.headers["ETag"], error.read()

    for path in ("/api/v1/register/dies", "/api/v1/jobs", "/api/v1/dies", f"/calendar/{token}.ics"):
        status, tag, body = get(path)
        assert status == 200 and tag and body
        assert get(path, **{"If-None-Match": tag}) == (304, tag, b"")
    make.die("H-901")
    status, tag, _ = get("/api/v1/register/dies")
    assert get("/api/v1/register/dies", **{"If-None-Match": '"other"'})[0] == 200 == status
    assert get("/api/nothing")[0] == 404


@pytest.mark.parametrize("path", ["/api/v1/nothing", "/api/", "/api/v2/dies", "/api/v1/dies/x/y/z", "/api/%00"])
@pytest.mark.parametrize("method", ["get", "post", "delete"])
def test_an_unknown_path_is_answered_as_to_a_program(db, path, method):
    answer = getattr(Client(), method)(path)
    assert answer.status_code == 404 and answer["Content-Type"] == "application/json"
    assert answer.json() == {"message": "There is nothing at this address.", "where": ""}


def test_the_description_takes_a_token(db):
    url = reverse("api:openapi-json")
    token = shop.device(scopes=[Scope.COUNTS]).token
    answer = Client().get(url, headers={"Authorization": f"Bearer {token}"})
    assert answer.status_code == 200 and answer.json()["openapi"] == "3.1.0"
    refused = Client().get(url, headers={"Authorization": "Bearer x"})
    assert refused.status_code == 401 and refused.json()["message"] and refused["WWW-Authenticate"] == "Bearer"
    assert Client().get(url)["Location"].startswith(reverse("diestore:sign_in"))
    CounterDevice.objects.update(token_hash=None)
    assert Client().get(url, headers={"Authorization": f"Bearer {token}"}).status_code == 401


def test_each_answer_of_each_call_has_words_and_each_example_is_taken(call, die):
    shop.press()
    shop.set_die(die)
    described = api.get_openapi_schema(path_prefix="/api/v1/")
    bare = [
        (path, way, code)
        for path, ways in described["paths"].items()
        for way, one in ways.items()
        for code, answer in one["responses"].items()
        if len(answer.get("description", "")) < 5 or answer["description"] in ("OK", "Created", "Not Found", "Conflict")
    ]
    assert bare == []
    sent = 0
    for path, ways in described["paths"].items():
        if "post" in ways:
            example = ways["post"]["requestBody"]["content"]["application/json"]["example"]
            status, told = call.post(path.removeprefix("/api/v1"), example)
            assert status in (200, 201), (path, told)
            sent += 1
    assert sent == 6


# --- the calendar -------------------------------------------------------------------------------------------------


def days_of(token: str) -> dict[str, dt.date]:
    answer = Client().get(reverse("reports:calendar", args=[token]))
    assert answer.status_code == 200 and answer["Content-Type"].startswith("text/calendar")
    read = Calendar.from_ical(answer.content)
    assert read["version"] == "2.0" and len({str(event["uid"]) for event in read.walk("VEVENT")}) == len(
        read.walk("VEVENT")
    )
    return {str(event["summary"]): event.decoded("dtstart") for event in read.walk("VEVENT")}


def test_the_calendar_tells_jobs_and_spares_by_their_days(db):
    two_dies()
    item = make.item("PP-6.0-M2")
    money_shop.movement(item, -9)
    store.fit_and_forecast(make.plant())
    token = shop.device("days", scopes=[Scope.CALENDAR]).token
    (row,) = due.rows(make.plant())
    days = days_of(token)
    assert days[f"H-900: job {row.order_number} due"] == row.due
    assert any(name.startswith("Order ") and name.endswith("of PP-6.0-M2") for name in days)
    assert "H-900: a spring (Ina T.)" in days and len(days) == 3  # the works of the bench too
    Order.objects.update(due=dt.date(2026, 3, 3))
    assert days_of(token)[f"H-900: job {row.order_number} due"] == dt.date(2026, 3, 3)


def test_a_calendar_is_withdrawn_with_its_token_and_opens_nothing_else(client, db):
    made = shop.device("days", scopes=[Scope.CALENDAR])
    assert days_of(made.token) == {}
    assert Caller(made.token).get("/register/dies")[0] == 403
    other = shop.device("counts", scopes=[Scope.COUNTS]).token
    for token in (other, "x", "x" * 300):
        assert Client().get(reverse("reports:calendar", args=[token])).status_code == 404
    client.force_login(make.user(roles.LEAD))
    client.post(reverse("maintenance:counter_device_revoke", args=[made.device.pk]))
    assert Client().get(reverse("reports:calendar", args=[made.token])).status_code == 404


# --- the page for people ------------------------------------------------------------------------------------------


def test_the_page_names_calls_that_there_are_and_shows_the_calendars_address(client, die):
    client.force_login(make.user(roles.LEAD))
    html = client.get(reverse("maintenance:programs")).content.decode()
    known = set(api.get_openapi_schema(path_prefix="/api/v1/")["paths"])
    named = set(re.findall(r"/api/v1/[a-z/{}]+", html))
    assert client.get("/api/v1/openapi.json").status_code == 200  # the description itself is no call of its own
    assert len(named) >= 8 and named <= known | {"/api/v1/openapi"}
    example = json.loads(re.search(r"-d &#x27;(.*?)&#x27;|-d '(.*?)'", html)[2].replace("&quot;", '"'))
    assert caller(Scope.JOBS).post("/jobs", example | {"part": "P-H-900"})[0] == 201
    assert reverse("maintenance:programs") in client.get(reverse("maintenance:counter_devices")).content.decode()
    made = client.post(reverse("maintenance:counter_devices"), {"name": "days", "scopes": ["calendar"]})
    token = re.search(r"/calendar/([\w-]+)\.ics", made.content.decode())[1]
    assert list(days_of(token)) == ["H-900: job 26-0412 due"]


def test_no_answer_has_a_name_of_before_and_what_is_sent_keeps_its_names():
    """Of the published description: programs go by it. What boxes send was wired once and stays."""
    described = api.get_openapi_schema()["components"]["schemas"]
    sent = {"Count", "Counts", "Run", "Job", "JobChange", "JobClose"}
    answered = {name for one in described.keys() - sent for name in described[one].get("properties", {})}
    assert not answered & {"limiting", "refusal", "half_hits", "nine_in_ten_hits", "waits", "what", "sentence", "item"}
    assert {"limiting_position", "why_unknown", "half_last_hits", "outcome", "message", "spare"} <= answered
    assert {"Die", "Run", "BatchReceipt", "SpareToOrder", "SparesToOrder"} <= described.keys()
    assert set(described["Count"]["properties"]) == {"id", "press", "die", "total", "at", "stock"}
    run = {"id", "die", "started", "ended", "hits", "variant", "press", "stock", "order", "lot", "good_parts"}
    assert set(described["Run"]["properties"]) == run | {"estimated", "confirmed", "note"}
