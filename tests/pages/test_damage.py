"""A die with something wrong never reads Runs: on its page, on Today, on Dies due, and before it goes into a press."""

import datetime as dt
import re

import pytest
from django.urls import reverse
from django.utils import timezone

from diestore.register.models import Part, Press
from maintenance.counters import devices, presses
from maintenance.forecasts import due, store
from maintenance.log import bench
from maintenance.models import Scope
from maintenance.screens.counters import page as press_page
from maintenance.screens.die import state
from tests import factories as make
from tests.pages.bench_browser import address, at, page, said, send, sent

pytestmark = pytest.mark.django_db


@pytest.fixture
def order(die):
    """Its order is small: it would run through it."""
    for n in range(4):
        make.run(die, 3 * n + 1, 20_000)
        make.sharpen(die, 3 * n + 2, at("1-A", die), at("3-A", die), at("3-D", die), why="dull", found="dull")
    Part.objects.update(burr_limit_um=20)
    made = make.order(die, "26-0001", parts=500)
    store.fit_and_forecast(die.plant)
    assert state.of_die(die, "metric").standing.word == "Runs"
    return made


def mishap(client, die, ina, *codes):
    url = address("log_mishap", die)
    data = sent(client.get(url), sort="misfeed", person=ina.pk) | {"damaged": [at(c, die).pk for c in codes]}
    return client.post(url, data, follow=True)


def burr(client, die, ina, value, code="3-A"):
    values = {"quantity": "burr height", "position": at(code, die).pk, "value": value, "person": ina.pk}
    return send(client, "log_reading", die, follow=True, **values)


def shown(client, name, *args) -> str:
    return page(client.get(reverse(name, args=args)))


def words(html: str) -> str:
    return " ".join(re.sub(r"<[^>]+>", " ", re.sub(r"<svg.*?</svg>", " ", html, flags=re.S)).split())


def everywhere(client, die) -> dict[str, str]:
    return {
        "die": words(shown(client, "diestore:die", die.pk)).split("What is left")[0],
        "today": words(shown(client, "reports:today")).split("Latest entries")[0],
        "due": words(shown(client, "maintenance:due")).split("Bands of")[0],
    }


def test_a_damaged_edge_is_said_on_every_page_until_it_is_ground(lead, die, ina, order):
    mishap(lead, die, ina, "3-A", "2-P")
    for name, text in everywhere(lead, die).items():
        assert "3-A" in text and "damaged" in text.lower() and "Runs" not in text, name
    html = shown(lead, "diestore:die", die.pk)
    assert (
        "2-P and 3-A were damaged in a mishap (misfeed," in html and "With its edges as they were before that:" in html
    )
    for code, word in (("3-A", "Damaged"), ("2-P", "Damaged"), ("1-A", "Runs")):
        assert word in re.search(rf'<tr id="c-{code}".*?</tr>', html).group(), code
    assert "One die has to be seen to before it runs:" in shown(lead, "maintenance:due")
    (row,) = due.rows(die.plant)
    assert row.standing.word == "Damaged" and row.risk > 1
    ready = due.readiness([die.pk], {})[die.pk]
    assert press_page.doubt_of(die, ready) == "H-900 has to be seen to first: 2-P and 3-A damaged."
    left_out = {f"found_{p.pk}": "out" for p in die.positions.all()} | {f"found_{at('3-A', die).pk}": "chipped"}
    send(lead, "log_sharpening", die, sides="upper", removed="0.3", person=ina.pk, **left_out)
    send(lead, "log_replacement", die, position=at("2-P", die).pk, why="broken", from_shelf="no", person=ina.pk)
    for name, text in everywhere(lead, die).items():
        assert "damaged" not in text.lower(), name
    assert state.of_die(die, "metric").standing.word == "Runs"


def test_a_stop_for_burr_is_said_at_once_and_stands(lead, die, ina, order):
    answer = send(lead, "log_stop", die, follow=True, cause="burr", minutes="20", person=ina.pk)
    assert "Stopped for burr. Hold back what was made since the last sharpening" in said(answer)
    for name, text in everywhere(lead, die).items():
        assert "stopped for burr" in text and "Runs" not in text.split("Components")[0], name
    assert state.of_die(die, "metric").standing.word == "Burr too high"
    answer = send(lead, "log_stop", die, follow=True, cause="slug", minutes="20", person=ina.pk)
    assert "Hold back" not in said(answer)
    burr(lead, die, ina, "15")
    assert state.of_die(die, "metric").standing.word == "Runs"


def test_burr_over_the_limit_is_said_at_once_and_stands_at_its_place(lead, die, ina, order):
    assert "limit" not in said(burr(lead, die, ina, "15"))
    told = said(burr(lead, die, ina, "45"))
    assert "The burr on 3-A is 45 µm, over the limit of 20 µm." in told
    assert "Hold back what was made since the last good reading" in told
    assert "45 µm" in everywhere(lead, die)["die"] and "the limit is 20 µm" in everywhere(lead, die)["today"]
    html = shown(lead, "diestore:die", die.pk)
    assert "Burr too high" in re.search(r'<tr id="c-3-A".*?</tr>', html).group()
    assert "Runs" in re.search(r'<tr id="c-1-A".*?</tr>', html).group()
    burr(lead, die, ina, "18")
    assert state.of_die(die, "metric").standing.word == "Runs"


def test_the_edges_page_says_job_by_job_what_to_hold_back(lead, die, ina, order):
    make.run(die, 13, 7_000, order=order, lot="C-21")
    make.run(die, 14, 3_000, good_parts=2_990)
    burr(lead, die, ina, "45")
    html = words(shown(lead, "maintenance:edge", at("3-A", die).pk))
    assert "The burr on 3-A was 45 µm" in html and "Hold back about 9,990 parts (job 26-0001; coil C-21)" in html
    assert "26-0001 about 7,000 7,000 C-21" in html and "no job named 2,990 3,000 none named" in html
    assert "Hold back" not in words(shown(lead, "maintenance:edge", at("1-A", die).pk))
    assert "Hold back about 9,990 parts" in everywhere(lead, die)["die"]


def test_a_die_that_is_wrong_is_said_where_its_runs_are_entered(lead, die, ina, order):
    assert "has to be seen to" not in page(lead.get(address("log_run", die)))
    make.run(die, 13, 7_000)
    mishap(lead, die, ina, "3-A")
    bars = words(shown(lead, "maintenance:edge", at("3-A", die).pk))
    assert "chipped" in bars and "under way" in bars, "the mishap ended its interval; the edge is in the die still"
    first = "H-900 has to be seen to before it runs: 3-A damaged."
    assert first in page(lead.get(address("log_run", die)))
    assert first not in page(lead.get(address("log_stop", die)))
    when = {"started": "2025-02-03T06:00", "ended": "2025-02-03T07:00"}
    assert first in said(send(lead, "log_run", die, follow=True, hits="4,000", person=ina.pk, **when))
    device = devices.make_device(by=make.actor(), plant=die.plant, name="line 4", scopes=[Scope.RUNS])
    at_once = {"id": "r-1", "die": die.code, "started": "2025-02-01T06:00Z", "ended": "2025-02-01T10:00Z", "hits": 900}
    answer = lead.post(
        "/api/v1/runs", at_once | {"estimated": True}, content_type="application/json",
        headers={"Authorization": f"Bearer {device.token}"},
    )  # fmt: skip
    assert answer.status_code == 201 and answer.json()["message"] == first


def test_a_die_that_is_wrong_is_said_where_presses_are_counted(lead, die, ina, order):
    press = Press.objects.create(plant=die.plant, code="P1")
    made = {"by": make.actor(), "plant": die.plant}
    device = devices.make_device(**made, name="line 4", scopes=[Scope.COUNTS], presses=[press])
    office = devices.make_device(**made, name="office", scopes=[Scope.RUNS])

    def call(path: str, device=device, **message) -> str:
        answer = lead.post(
            f"/api/v1/{path}", message, content_type="application/json",
            headers={"Authorization": f"Bearer {device.token}"},
        )  # fmt: skip
        assert answer.status_code < 300, answer.content
        told = answer.json()
        return " ".join(row["message"] for row in told.get("counts", [told]))

    def counts(number: int) -> dict:
        at = (timezone.now() + dt.timedelta(minutes=number - 30)).isoformat()
        return {"id": f"c-{number}", "press": "P1", "total": 100 * number, "at": at}

    since = timezone.now() - dt.timedelta(hours=1)
    presses.set_in_press(by=make.actor(), press=press, die=die, at=since)
    assert call("counts", **counts(1)) == "" and "seen to" not in shown(lead, "maintenance:counters")
    mishap(lead, die, ina, "3-A")
    first = "H-900 has to be seen to before it runs: 3-A damaged."
    assert first in shown(lead, "maintenance:counters")
    assert call("counts", **counts(2)) == first and call("counts/batch", counts=[counts(3)]) == first
    bench.hold_die(by=make.actor(), die=die, reason="burr at the customer's")
    last = counts(4)
    both = call("counts", **last)
    assert "H-900 is on hold" in both and "burr at the customer's" in both and first in both
    run = {"die": "H-900", "started": "2025-02-01T06:00Z", "ended": "2025-02-01T10:00Z", "hits": 900}
    assert call("runs", office, id="r-2", estimated=True, **run) == both
    assert call("counts", **last) == "", "what is known already was said before"
    assert "burr at the customer" in shown(lead, "maintenance:counters")


def test_a_piece_past_its_measured_limit_is_said_everywhere(lead, die, ina, order):
    for day, value in enumerate(("6.000", "5.900"), 1):
        values = {"quantity": "diameter", "position": at("2-P", die).pk, "value": f"{value} mm", "person": ina.pk}
        send(lead, "log_reading", die, follow=True, at=f"2025-02-0{day}T06:00", **values)
    for name, text in everywhere(lead, die).items():
        assert "2-P" in text and "limit" in text and "Runs" not in text.split("Components")[0], name
    (row,) = due.rows(die.plant)
    assert row.standing.word == "Past its limit" and row.risk > 1
    assert "The diameter of 2-P was 5.900 mm" in words(shown(lead, "maintenance:edge", at("2-P", die).pk))
    assert state.of_die(die, "metric").standing.word == "Past its limit"


def test_where_nothing_can_be_forecast_damage_is_said_all_the_same(lead, ina):
    bare = make.die("Z-1")
    make.position(bare, "2-P", kind="pilot", length_mm=None)
    make.order(bare, "26-9")
    store.fit_and_forecast(bare.plant)
    mishap(lead, bare, ina, "2-P")
    for name, text in everywhere(lead, bare).items():
        assert "2-P" in text and "damaged" in text.lower(), name
    assert "No die has to be pulled" not in shown(lead, "maintenance:due")
