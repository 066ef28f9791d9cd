"""Pages of the counters: two taps for a die in a press, questions answered, devices and their tokens."""

from __future__ import annotations

import re

import pytest
import time_machine
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from diestore.register.models import Press
from maintenance.counters import intake, settle
from maintenance.forecasts import store
from maintenance.log import queries
from maintenance.models import CounterDevice, CounterQuestion, DieForecast, DieInPress, EdgeForecast, OpenCount
from tests import factories as make
from tests.counters import shop
from tests.pages.as_read import as_read

pytestmark = pytest.mark.django_db
COUNTERS, COUNT_NOW = "/counters/", "/counters/count/"


@pytest.fixture(autouse=True)
def at_midday():
    with time_machine.travel(shop.at(240), tick=False):
        yield


@pytest.fixture
def box(db):
    shop.press()
    return shop.device().device


def here(press):
    return f"{reverse('maintenance:in_press')}?press={press.pk}"


def test_two_taps_set_a_die_in_a_press(as_role):
    client = as_role("setter")
    person = make.person()
    press = shop.press()
    die = make.die(usual_press=press)
    make.order(die)
    page = client.get(COUNTERS)
    assert here(press) in as_read(page)
    page = client.get(here(press))
    assert f'name="die" value="{die.pk}"' in as_read(page)
    assert "job 26-0001" in as_read(page)
    answer = client.post(here(press), {"die": die.pk, "person": person.pk}, follow=True)
    assert "put in press P1" in as_read(answer)
    row = DieInPress.objects.get()
    assert (row.die, row.press, row.set_by, row.since, row.set_user.username) == (
        die, press, person, shop.at(240), "setter",
    )  # fmt: skip
    assert row.order.number == "26-0001"


def test_other_values_under_a_known_key_are_asked_about(as_role):
    """Before, the second die was told as set in the press while the first was there."""
    client = as_role("setter")
    person, press = make.person(), shop.press()
    first, second = make.die("H-1"), make.die("H-2")
    sent = {"key": "one form", "die": first.pk, "person": person.pk}
    assert client.post(here(press), sent).status_code == 302
    answer = client.post(here(press), sent | {"die": second.pk})
    assert answer.status_code == 409 and "sent before, with other values" in as_read(answer)
    assert [row.die for row in DieInPress.objects.all()] == [first]
    assert client.post(here(press), sent).status_code == 302, "the same again is told as done"
    assert DieInPress.objects.count() == 1


def worn_die(client, *, parts: int = 900_000):
    """A die that cannot be expected to finish its order, and how often it would, as its own page says."""
    die = make.die(usual_press=shop.press())
    make.position(die)
    make.run(die, 0.01, 9_000, hours=2)
    if parts:
        make.order(die, parts=parts)
    store.refresh_die(die)
    # So long a job is not sharpened for by what it costs, only by its chance where no costs are weighed.
    DieForecast.objects.update(advice={})
    if not parts:
        EdgeForecast.objects.update(share_left=0.05)
    html = as_read(client.get(reverse("diestore:die", args=[die.pk])))
    assert "Sharpen first" in html
    return die, html


@pytest.mark.parametrize("from_the_press", [True, False])
def test_a_die_that_is_due_is_asked_about_before_it_goes_in(as_role, from_the_press):
    client, person, press = as_role("setter"), make.person(), shop.press()
    die, html = worn_die(client)
    address = here(press) if from_the_press else f"{reverse('maintenance:in_press')}?die={die.pk}"
    tap = {"die": die.pk} if from_the_press else {"press": press.pk}
    if from_the_press:
        assert "sharpen first; job 26-0001" in as_read(client.get(address))
    answer = client.post(address, tap | {"person": person.pk})
    assert (answer.status_code, DieInPress.objects.count()) == (422, 0)
    form = answer.context["form"]
    assert form.doubt.startswith("H-900 should be sharpened first. Its chance of finishing job 26-0001 (900,000 hits")
    chance = re.search(r"chip[^<]*edge is <strong[^>]*>([^<]+)</strong>", html)[1]
    assert form.doubt.endswith(f"edge is {chance}."), "the chance that its own page says"
    (name, value) = next(iter(tap.items()))
    shown = as_read(answer)
    assert shown.index(f'type="hidden" name="{name}" value="{value}"') < shown.index("Put it in all the same")
    answer = client.post(address, tap | {"person": person.pk, "confirm": form.doubt_mark})
    assert answer.status_code == 302 and DieInPress.objects.get().die == die


def test_the_answer_to_one_doubt_is_none_to_another(as_role):
    client, person, press = as_role("setter"), make.person(), shop.press()
    die, _ = worn_die(client)
    mark = client.post(here(press), {"die": die.pk, "person": person.pk}).context["form"].doubt_mark
    die.orders.update(parts=800_000)
    answer = client.post(here(press), {"die": die.pk, "person": person.pk, "confirm": mark})
    assert answer.status_code == 422 and "800,000" in answer.context["form"].doubt


def test_without_an_order_a_worn_die_is_asked_about_by_what_is_left(as_role):
    client, person, press = as_role("setter"), make.person(), shop.press()
    die, _ = worn_die(client, parts=0)
    answer = client.post(here(press), {"die": die.pk, "person": person.pk})
    assert answer.context["form"].doubt == (
        "H-900 should be sharpened first. Of the usual hits to dull 5 % are left on 1-A."
    )


def test_a_die_that_will_finish_its_order_goes_in_unasked(as_role):
    client, person, press = as_role("setter"), make.person(), shop.press()
    die = make.die(usual_press=press)
    make.position(die)
    make.order(die, parts=10)
    store.refresh_die(die)
    assert client.post(here(press), {"die": die.pk, "person": person.pk}).status_code == 302
    assert DieInPress.objects.get().die == die


def test_a_name_that_is_known_needs_no_tap(as_role):
    client = as_role("setter")
    person = make.person()
    press, die = shop.press(), make.die(usual_press=shop.press())
    client.post(here(press), {"die": die.pk, "person": person.pk})
    with time_machine.travel(shop.at(300), tick=False):
        page = client.get(here(press))
        assert as_read(page).count("checked") == 1  # the name, folded away
        client.post(here(press), {"act": "out", "person": person.pk})
    row = DieInPress.objects.get()
    assert (row.until, row.removed_by) == (shop.at(300), person)


def test_from_the_page_of_the_die(as_role):
    client = as_role("setter")
    person = make.person()
    press, die = shop.press(), make.die()
    assert "Set in / take out" in as_read(client.get(reverse("diestore:die", args=[die.pk])))
    address = f"{reverse('maintenance:in_press')}?die={die.pk}"
    assert f'name="press" value="{press.pk}"' in as_read(client.get(address))
    answer = client.post(address, {"press": press.pk, "person": person.pk, "at": "2026-01-05T09:00"})
    assert answer.status_code == 302
    assert DieInPress.objects.get().since == shop.at(60)
    answer = client.post(address, {"act": "out", "person": person.pk, "at": "2026-01-05T08:30"})
    assert answer.status_code == 422
    assert "Enter a later time" in as_read(answer)


def test_a_wrong_tap_is_struck_out_by_whoever_may(as_role, box):
    client = as_role("setter")
    press, die, person = shop.press(), make.die(), make.person()
    shop.set_die(die, until=None)
    shop.send(box, {m: 60 * m for m in range(10)})
    sent = {"act": "never", "person": person.pk, "reason": "the one beside it"}
    assert "it was never in P1" not in as_read(client.get(here(press)))
    assert client.post(here(press), sent).status_code == 422
    client.force_login(shop.user("lead"))
    assert "it was never in P1" in as_read(client.get(here(press)))
    assert client.post(here(press), sent | {"reason": " "}).status_code == 422
    assert "was never in press P1" in as_read(client.post(here(press), sent, follow=True))
    assert DieInPress.objects.get().struck_reason == "the one beside it"
    assert CounterQuestion.objects.get().kind == "no die"


def test_the_same_tap_twice_is_one(as_role):
    client = as_role("setter")
    press, die, person = shop.press(), make.die(), make.person()
    for _ in range(2):
        client.post(here(press), {"die": die.pk, "person": person.pk, "key": "k"})
    assert DieInPress.objects.count() == 1


@pytest.mark.parametrize("wrong", [{}, {"die": "x"}, {"die": 10**30}, {"die": ""}, {"at": "soon"}, {"act": "fly"}])
def test_a_form_that_makes_no_sense_is_refused_with_a_sentence(as_role, wrong):
    client = as_role("setter")
    press, person = shop.press(), make.person()
    answer = client.post(here(press), {"person": person.pk} | wrong)
    assert answer.status_code == 422
    assert not DieInPress.objects.exists()


@pytest.mark.parametrize("query", ["", "?press=9999999", "?die=x", f"?press={10**40}", "?die=-1"])
def test_without_a_press_or_die_the_page_of_all_is_shown(as_role, query):
    answer = as_role("setter").get(reverse("maintenance:in_press") + query)
    assert answer.status_code == 302
    assert answer.url == COUNTERS


def test_another_die_is_found_by_its_label(as_role):
    client = as_role("setter")
    press = shop.press()
    die = make.die("Z-77")
    assert f'value="{die.pk}"' in as_read(client.get(here(press) + "&q=z-7"))
    assert "No die has" in as_read(client.get(here(press) + "&q=%00nothing"))


def test_questions_are_told_and_answered(as_role, box):
    client = as_role("setter")
    die, person = make.die(), make.person()
    shop.send(box, {m: 60 * m for m in range(10)})
    page = as_read(client.post(COUNT_NOW, follow=True))
    assert "540 strokes of press P1, and no die was in it then." in page
    assert "1 press count to settle" in as_read(client.get(reverse("reports:today")))
    asked = CounterQuestion.objects.get()
    address = reverse("maintenance:counter_question", args=[asked.pk])
    assert "They are hits" in as_read(client.get(address))
    answer = client.post(address, {"verdict": "to die", "person": person.pk})
    assert answer.status_code == 422
    assert "Say which die ran." in as_read(answer)
    answer = client.post(address, {"verdict": "to die", "die": die.pk, "person": person.pk}, follow=True)
    assert "Settled for press P1: they are hits of H-900." in as_read(answer)
    assert OpenCount.objects.get().hits == 540
    assert client.get(address).status_code == 302
    assert client.post(address, {"verdict": "to die", "die": die.pk}).status_code == 302
    again = reverse("maintenance:counter_question_again", args=[asked.pk])
    assert client.post(again).status_code == 403  # not a setter's


def test_a_look_at_the_page_writes_nothing_and_says_what_waits(as_role, box):
    client = as_role("setter")
    die = make.die()
    make.position(die)
    shop.set_die(die)
    client.get(COUNTERS)
    assert "not in yet" not in client.get(COUNTERS).content.decode()
    shop.send(box, {m: 60 * m for m in range(10)})
    with CaptureQueriesContext(connection) as seen:
        page = client.get(COUNTERS).content.decode()
    assert not [query["sql"] for query in seen if not query["sql"].lstrip("(").startswith("SELECT")]
    assert "1 counter sent counts that are not in yet" in page
    assert not OpenCount.objects.exists() and queries.newest_forecast(die) is None
    page = client.post(COUNT_NOW, follow=True).content.decode()
    assert "All that the presses sent is counted." in page and "not in yet" not in page
    assert OpenCount.objects.get().hits == 540
    assert queries.newest_forecast(die).hits_since_sharpening == 540


def test_counting_at_the_page_is_said_where_a_forecast_fails(as_role, box, monkeypatch):
    monkeypatch.setattr("maintenance.forecasts.store.refresh_die", lambda die: 1 / 0)
    shop.set_die(make.die())
    shop.send(box, {m: 60 * m for m in range(10)})
    page = as_role("setter").post(COUNT_NOW, follow=True).content.decode()
    assert "a forecast could not be made anew" in page
    assert OpenCount.objects.get().hits == 540


def test_one_counter_that_cannot_be_counted_keeps_no_other_from_it(as_role, box, monkeypatch):
    shop.set_die(make.die())
    shop.press("P2")
    shop.send(box, {0: 0, 1: 60})
    shop.send(box, {0: 0, 1: 60}, press="P2", prefix="other")
    told = settle.count

    def breaks(readings, *rest, **more):
        if any(row.id.startswith("other") for row in readings):
            raise ValueError("on purpose")
        return told(readings, *rest, **more)

    monkeypatch.setattr(settle, "count", breaks)
    page = as_read(as_role("setter").post(COUNT_NOW, follow=True))
    assert "Some counts could not be counted yet. They are kept." in page
    assert OpenCount.objects.get().hits == 60


def test_a_lead_takes_an_answer_back(as_role, box):
    client = as_role("lead")
    shop.send(box, {m: 60 * m for m in range(10)})
    settle.settle_waiting()
    asked = CounterQuestion.objects.get()
    address = reverse("maintenance:counter_question", args=[asked.pk])
    client.post(address, {"verdict": "to nobody", "person": make.person().pk})
    assert "No die ran" in as_read(client.get(COUNTERS))
    again = reverse("maintenance:counter_question_again", args=[asked.pk])
    assert client.get(again).status_code == 405
    client.post(again)
    assert CounterQuestion.objects.filter(settled_at__isnull=True).count() == 1


def test_only_who_may_strike_out_has_the_counter_hold(as_role, box):
    client = as_role("setter")
    die = make.die()
    shop.set_die(die)
    typed = make.write.log_run(by=make.actor(), die=die, started=shop.at(0), ended=shop.at(8), hits=500)
    shop.send(box, {m: 60 * m for m in range(10)})
    settle.settle_waiting()
    address = reverse("maintenance:counter_question", args=[CounterQuestion.objects.get().pk])
    assert "The counter holds" not in as_read(client.get(address))
    sent = {"verdict": "the counter holds", "person": make.person().pk}
    assert client.post(address, sent).status_code == 422
    client.force_login(shop.user("lead"))
    assert client.post(address, sent).status_code == 302
    typed.refresh_from_db()
    assert typed.is_struck


def test_every_sort_of_question_has_its_sentence_and_answers(as_role, box):
    client = as_role("lead")
    die, other = make.die(), make.die("B")
    shop.set_die(die, until=30)
    shop.set_die(other, 30.5)
    totals = {0: 80_000, 1: 80_060, 2: 9_999_000, 3: 9_999_060, 25: 9_999_200, 31: 9_999_260, 32: 9_999_320}
    totals |= {33: 9_999_380, 34: 5, 35: 9_999_500, 36: 9_700_000, 37: 9_700_060}
    shop.send(box, totals)
    intake.take(box, shop.messages({9_000: 5}), now=shop.at(40))
    settle.settle_waiting()
    assert set(CounterQuestion.objects.values_list("kind", flat=True)) >= {"jump", "which die", "odd", "fall", "clock"}
    page = client.get(COUNTERS)
    assert page.status_code == 200
    for question in CounterQuestion.objects.all():
        answer = client.get(reverse("maintenance:counter_question", args=[question.pk]))
        assert answer.status_code == 200
        assert "Pick" not in as_read(answer).split("<form")[0]


# --- devices ----------------------------------------------------------------------------------------------------------


def test_a_device_is_made_its_token_shown_once_and_revoked(as_role):
    client = as_role("lead")
    press = shop.press()
    address = reverse("maintenance:counter_devices")
    answer = client.post(address, {"name": "hall 2", "scopes": ["counts", "read"], "presses": [press.pk], "figures": 6})
    assert "no-store" in answer.headers["Cache-Control"]
    device = CounterDevice.objects.get()
    assert (device.scopes, device.figures, list(device.presses.all())) == (["counts", "read"], 6, [press])
    token = as_read(answer).split("<code>")[1].split("</code>")[0]
    assert client.get("/api/v1/dies", headers={"Authorization": f"Bearer {token}"}).status_code == 200
    page = as_read(client.get(address))
    assert token not in page
    assert "send counts; read dies, forecasts and what is due" in page
    assert "5 Jan 2026, 12:00" in page
    client.post(reverse("maintenance:counter_device_revoke", args=[device.pk]))
    assert client.get("/api/v1/dies", headers={"Authorization": f"Bearer {token}"}).status_code == 401
    assert "withdrawn 5 Jan 2026 by lead" in as_read(client.get(address))


@pytest.mark.parametrize(
    "wrong", [{"name": ""}, {"scopes": []}, {"scopes": ["all"]}, {"figures": 99}, {"presses": [999]}, {"name": "Box"}]
)
def test_a_device_that_makes_no_sense_is_refused(as_role, wrong):
    shop.device("box")
    answer = as_role("lead").post(
        reverse("maintenance:counter_devices"), {"name": "new", "scopes": ["counts"]} | wrong
    )  # fmt: skip
    assert answer.status_code == 422
    assert CounterDevice.objects.count() == 1


@pytest.mark.parametrize("role", ["setter", "toolmaker", "buyer", "sales"])
def test_devices_are_the_leads(as_role, role):
    client = as_role(role)
    device = shop.device().device
    assert client.get(reverse("maintenance:counter_devices")).status_code == 403
    assert client.post(reverse("maintenance:counter_device_revoke", args=[device.pk])).status_code == 403


@pytest.mark.parametrize("role", ["buyer", "sales"])
def test_counters_are_for_the_press_side(as_role, role, box):
    client = as_role(role)
    shop.send(box, {m: 60 * m for m in range(10)})
    settle.settle_waiting()
    for address in (
        COUNTERS,
        reverse("maintenance:in_press"),
        reverse("maintenance:counter_question", args=[CounterQuestion.objects.get().pk]),
    ):
        assert client.get(address).status_code == 403


def test_as_many_questions_to_the_database_for_thirty_presses_as_for_three(as_role, box):
    client = as_role("lead")

    def fill(number):
        for n in range(number):
            press = Press.objects.get_or_create(plant=make.plant(), code=f"N{n}")[0]
            if press.dies_in.exists():
                continue
            shop.set_die(make.die(f"D{n}"), press_code=press.code)
            shop.send(box, {m: 60 * m for m in range(5)}, press=press.code, prefix=f"{press.code}-")
            shop.send(box, {-60: 5, 60: 3}, press=press.code, prefix=f"{press.code}-")
        settle.settle_waiting()

    def asked():
        with CaptureQueriesContext(
            connection,
        ) as seen:
            assert client.get(COUNTERS).status_code == 200
        return len(seen)

    fill(3)
    asked()
    three = asked()
    fill(30)
    assert asked() == three
