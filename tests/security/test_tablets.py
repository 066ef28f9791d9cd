"""Shared tablets: a name with its PIN, for how long it stays, and who sets PINs."""

import datetime as dt
import re

import pytest
import time_machine
from django.contrib.auth.models import User
from django.test import Client
from django.urls import reverse
from hypothesis import given
from hypothesis import strategies as st

from diestore.access import actions, roles, tablet, throttle
from diestore.access.models import Person, UserSettings
from diestore.register.models import Plant
from tests import factories as make

from .conftest import ina, jory

pytestmark = pytest.mark.django_db
NOW = dt.datetime(2025, 3, 3, 6, 0, tzinfo=dt.UTC)
WHO = "/who/"


def minutes(n: float) -> dt.timedelta:
    return dt.timedelta(minutes=n)


def said(answer) -> str:
    return re.sub(r"\s+", " ", answer.content.decode())


def pick(client, person, pin="", **more):
    return client.post(WHO, {"person": person.pk, "pin": pin} | more)


def at_the_head(client) -> str:
    """What the head of a page says of who logs."""
    found = re.search(r"Logged by <strong>([^<]+)</strong>|Who are you\?", said(client.get("/words/")))
    return found[1] or "" if found else "no tablet"


# --- PINs ---------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "pin", ["", "123", "1234567", "12a4", "１２３４", "0000", "777777", "1234", "890123", "4321", "10987", "4071 "]
)
def test_a_pin_that_anybody_would_try_is_not_taken(pin):
    with pytest.raises(tablet.PinRefused):
        tablet.check_new_pin(pin)


def test_a_pin_is_hashed(bench, settings):
    settings.PASSWORD_HASHERS = ["django.contrib.auth.hashers.PBKDF2PasswordHasher"]
    actions.set_pin(by=User.objects.get(username="root"), person=ina(), pin="4071")
    kept = ina().pin_hash
    assert kept.startswith("pbkdf2_sha256$") and "4071" not in kept.split("$")[-1]
    assert tablet.pin_is_right(ina(), "4071", device="bench 2") and not tablet.pin_is_right(ina(), "4072", device="x")


@given(st.text(max_size=8))
def test_only_its_own_pin_opens_a_name(pin):
    Person.objects.get_or_create(plant=make.plant(), name="Ina T.", defaults={"pin_hash": tablet.hash_of("4071")})
    throttle.forget(throttle.PIN, str(ina().pk))
    throttle.forget(throttle.PIN_DEVICE, "a bench")
    assert tablet.pin_is_right(ina(), pin, device="a bench") == (pin == "4071")


def test_wrong_pins_are_held_for_that_name_on_every_tablet(bench):
    with time_machine.travel(NOW, tick=False) as clock:
        for _ in range(throttle.PIN.free):
            answer = pick(bench, ina(), "0815")
            assert answer.status_code == 422 and "does not fit that name" in said(answer)
        held = pick(bench, ina(), "4071")
        assert held.status_code == 429 and "Wait 30 seconds" in said(held) and held["Retry-After"] == "30"
        other = Client()
        user = make.user(roles.SETTER, "press 3")
        UserSettings.objects.create(user=user, shared_device=True)
        other.force_login(user)
        assert pick(other, ina(), "4071").status_code == 429
        assert pick(other, jory(), "880215").status_code == 302, "nobody else is held"
        clock.shift(30)
        assert pick(bench, ina(), "4071").status_code == 302


def test_wrong_pins_are_held_for_a_tablet_over_many_names(bench):
    names = [make.person(f"Person {n}") for n in range(4)]
    Person.objects.filter(pk__in=[p.pk for p in names]).update(pin_hash=tablet.hash_of("4071"))
    with time_machine.travel(NOW, tick=False):
        for n in range(throttle.PIN_DEVICE.free):
            assert pick(bench, names[n % 4], "0815").status_code == 422
        assert pick(bench, jory(), "880215").status_code == 429


# --- who is picked, and for how long ------------------------------------------------------------------


def test_a_name_and_its_pin_stand_at_the_head_of_every_page(bench):
    assert at_the_head(bench) == ""
    shown = said(bench.get(WHO))
    assert "Ina T." in shown and "Jory T." in shown and "Odd B." not in shown, "a name without a PIN is not offered"
    answer = pick(bench, ina(), "4071", next="/words/")
    assert answer.status_code == 302 and answer["Location"] == "/words/"
    assert at_the_head(bench) == "Ina T."
    assert pick(bench, jory(), "880215").status_code == 302
    assert at_the_head(bench) == "Jory T."


def test_it_leads_nowhere_outside(bench):
    assert pick(bench, ina(), "4071", next="https://elsewhere.invalid/")["Location"] == reverse("diestore:dies")


def test_the_name_stays_some_minutes_then_comes_back_by_a_tap_then_needs_the_pin(bench, settings):
    settings.WHO_MINUTES, settings.WHO_AGAIN_MINUTES = 10, 60
    with time_machine.travel(NOW, tick=False) as clock:
        pick(bench, ina(), "4071")
        clock.shift(minutes(10))
        assert at_the_head(bench) == "Ina T."
        clock.shift(minutes(1))
        assert at_the_head(bench) == "" and "needs no PIN now" in said(bench.get(WHO))
        assert pick(bench, jory()).status_code == 422, "only the name that was there"
        assert pick(bench, ina()).status_code == 302 and at_the_head(bench) == "Ina T."
        clock.shift(minutes(61))
        assert at_the_head(bench) == "" and "needs no PIN now" not in said(bench.get(WHO))
        answer = pick(bench, ina())
        assert answer.status_code == 422 and "Tap your PIN." in said(answer)


def test_who_is_done_needs_the_pin_again(bench):
    pick(bench, ina(), "4071")
    assert "Nobody is picked" in said(bench.post(WHO, {"nobody": "1"}, follow=True))
    assert at_the_head(bench) == "" and pick(bench, ina()).status_code == 422


def test_the_next_person_ends_the_one_before(bench):
    pick(bench, ina(), "4071")
    pick(bench, jory(), "880215")
    assert pick(bench, ina()).status_code == 422


def test_a_new_pin_or_an_end_at_the_shop_unpicks_the_name(bench):
    root = User.objects.get(username="root")
    pick(bench, ina(), "4071")
    actions.set_pin(by=root, person=ina(), pin="5920")
    assert at_the_head(bench) == "" and pick(bench, ina()).status_code == 422
    pick(bench, ina(), "5920")
    Person.objects.filter(name="Ina T.").update(active=False)
    assert at_the_head(bench) == ""
    assert pick(bench, ina(), "5920").status_code == 422


def test_a_tablet_offers_the_people_of_its_plant(bench):
    annexe = Plant.objects.create(code="annexe")
    other = Person.objects.create(plant=annexe, name="Una V.", pin_hash=tablet.hash_of("4071"))
    assert "Una V." not in said(bench.get(WHO))
    assert pick(bench, other, "4071").status_code == 422 and at_the_head(bench) == ""


def test_a_tablet_stays_signed_in_and_a_person_for_a_shift(client, settings):
    for shared, seconds in ((True, settings.TABLET_SESSION_AGE), (False, settings.SESSION_COOKIE_AGE)):
        user = make.user(roles.SETTER, f"shared {shared}")
        UserSettings.objects.create(user=user, shared_device=shared)
        client.post("/sign-in/", {"username": user.username, "password": "not a real password"})
        assert client.session.get_expiry_age() == seconds
        client.logout()
    assert settings.SESSION_COOKIE_AGE == 12 * 3_600 and settings.TABLET_SESSION_AGE == 90 * 86_400


def test_nobody_at_a_tablet_locks_the_others_out(bench):
    assert bench.get("/password/").status_code == 403
    assert "sign out" not in said(bench.get("/words/")), "not under a thumb at the head of each page"
    assert "Sign this tablet out" in said(bench.get(WHO))


def test_who_signs_in_with_a_name_of_their_own_needs_no_pin(as_role):
    client = as_role("lead")
    assert client.get(WHO)["Location"] == "/settings/"
    assert at_the_head(client) == "no tablet"


# --- people -------------------------------------------------------------------------------------------


def test_people_are_entered_changed_and_given_pins(as_role):
    client = as_role("lead")
    make.plant()
    answer = client.post("/people/", {"name": "Una V.", "active": "on"})
    una = Person.objects.get(name="Una V.")
    assert answer["Location"] == f"/people/{una.pk}/"
    assert "Somebody of that name" in said(client.post("/people/", {"name": "Una V.", "active": "on"}))
    there = f"/people/{una.pk}/"
    for sent, words in (
        ({"pin": "4071", "again": "4072"}, "The two PINs differ"),
        ({"pin": "1234", "again": "1234"}, "not a row of digits"),
        ({"pin": "12", "again": "12"}, "4 to 6 digits"),
        ({"pin": "4071"}, "Tap it a second time"),
    ):
        answer = client.post(there, sent)
        assert answer.status_code == 422 and words in said(answer)
        assert not re.search(r'value="\d{2,}"', said(answer).split("A PIN")[1]), "no PIN comes back in a page"
    assert Person.objects.get(pk=una.pk).pin_hash == ""
    client.post(there, {"pin": "4071", "again": "4071"})
    assert tablet.pin_is_right(Person.objects.get(pk=una.pk), "4071", device="x")
    client.post(there, {"remove": "1"})
    assert Person.objects.get(pk=una.pk).pin_hash == ""
    client.post(there, {"name": "Una W."})
    una = Person.objects.get(pk=una.pk)
    assert una.name == "Una W." and not una.active


def test_a_new_pin_opens_a_held_name(bench):
    with time_machine.travel(NOW, tick=False):
        for _ in range(throttle.PIN.free):
            pick(bench, ina(), "0815")
        actions.set_pin(by=User.objects.get(username="root"), person=ina(), pin="5920")
        assert pick(bench, ina(), "5920").status_code == 302


def test_the_list_of_people_takes_the_same_queries_at_three_and_at_thirty(as_role, django_assert_num_queries):
    client = as_role("lead")

    def more(first: int, last: int) -> None:
        for n in range(first, last):
            make.person(f"Person {n}")
            user = make.user(roles.SETTER, f"press {n}")
            UserSettings.objects.create(user=user, shared_device=True)

    more(0, 3)
    client.get("/people/")  # what a process asks once and keeps is no part of the count
    with django_assert_num_queries(100, exact=False) as few:
        client.get("/people/")
    more(3, 30)
    with django_assert_num_queries(len(few)):
        client.get("/people/")
