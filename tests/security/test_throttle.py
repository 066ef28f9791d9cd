"""Guessing is held: by name, by address, over all processes, and the wait grows."""

import contextlib
import datetime as dt
import re
import threading
import time

import pytest
import time_machine
from django.core import signing
from django.db import OperationalError, connection
from django.test import Client
from django.urls import reverse
from hypothesis import given
from hypothesis import strategies as st

from diestore.access import tablet, throttle
from diestore.access.models import Person, Tries, UserSettings
from tests import factories as make

pytestmark = pytest.mark.django_db
NOW = dt.datetime(2025, 3, 3, 6, 0, tzinfo=dt.UTC)
RIGHT = "not a real password"


def sign_in(client, name="ann", password="wrong", **meta):
    return client.post(reverse("diestore:sign_in"), {"username": name, "password": password}, **meta)


def said(answer) -> str:
    return re.sub(r"\s+", " ", answer.content.decode())


@pytest.fixture
def ann():
    return make.user("lead", "ann")


def test_a_few_slips_cost_nothing_then_the_wait_doubles(client, ann):
    waits = []
    with time_machine.travel(NOW, tick=False) as clock:
        for _ in range(throttle.USER.free):
            assert "correct username and password" in said(sign_in(client))
        for _ in range(9):
            held = sign_in(client)
            assert held.status_code == 429
            waits.append(int(held["Retry-After"]))
            assert f"Wait {throttle.said_wait(waits[-1])}, then try again." in said(held)
            clock.shift(waits[-1])
            assert sign_in(client).status_code == 200, "looked at again after the wait"
    assert waits == [10, 20, 40, 80, 160, 320, 320, 320, 320], "as many tries are forgotten as are added then"


def test_while_it_is_held_even_the_right_password_is_not_looked_at(client, ann):
    with time_machine.travel(NOW, tick=False) as clock:
        for _ in range(throttle.USER.free):
            sign_in(client)
        assert sign_in(client, password=RIGHT).status_code == 429
        clock.shift(9)
        held = sign_in(client, password=RIGHT)
        assert held.status_code == 429 and "Wait 1 second," in said(held)
        clock.shift(1)
        assert sign_in(client, password=RIGHT).status_code == 302


def test_a_right_password_clears_the_count(client, ann):
    with time_machine.travel(NOW, tick=False):
        for _ in range(3):
            for _ in range(throttle.USER.free - 1):
                assert sign_in(client).status_code == 200
            assert sign_in(client, password=RIGHT).status_code == 302
            client.logout()
    assert not Tries.objects.exclude(door="address", count=0).exists()


def test_spellings_of_one_name_are_one_name(client, ann):
    names = ["ann", "ANN", "Ann", " ann", "ａｎｎ"]
    with time_machine.travel(NOW, tick=False):
        for name in names:
            assert sign_in(client, name=name).status_code == 200
        assert sign_in(client).status_code == 429


def test_a_name_that_nobody_has_is_held_alike(client, ann):
    """Otherwise the answer would tell which names exist."""
    answers = {"ann": [], "nobody": []}
    with time_machine.travel(NOW, tick=False):
        for name, told in answers.items():
            for _ in range(throttle.USER.free + 1):
                answer = sign_in(client, name=name)
                told.append((answer.status_code, re.sub(r'value="[^"]*"', "", said(answer))))
    assert answers["ann"] == answers["nobody"]


def test_an_address_is_held_over_many_names_and_others_are_not(client, ann):
    with time_machine.travel(NOW, tick=False):
        for n in range(throttle.ADDRESS.free):
            assert sign_in(client, name=f"name {n}").status_code == 200
        assert sign_in(client, name="ann", password=RIGHT).status_code == 429
        assert sign_in(client, name="ann", password=RIGHT, REMOTE_ADDR="10.0.0.9").status_code == 302


def test_one_right_password_does_not_clear_an_address_of_its_other_guesses(client, ann):
    with time_machine.travel(NOW, tick=False):
        for n in range(throttle.ADDRESS.free - 1):
            sign_in(client, name=f"name {n}")
        assert sign_in(client, password=RIGHT).status_code == 302
        client.logout()
        assert sign_in(client, name="another").status_code == 200
        assert sign_in(client, name="and another").status_code == 429


def test_a_change_of_shift_behind_one_router_signs_in_without_waiting(client, ann):
    """After forty wrong tries there, right ones neither wait nor hold the next."""
    people = [make.user("setter", f"setter {n}").get_username() for n in range(12)]
    with time_machine.travel(NOW, tick=False) as clock:
        for n in range(throttle.ADDRESS.free):
            sign_in(client, name=f"name {n}")
        clock.shift(throttle.ADDRESS.first_s)
        for name in people:
            assert sign_in(Client(), name=name, password=RIGHT).status_code == 302


def test_a_wrong_try_while_a_right_one_is_looked_at_still_holds():
    with time_machine.travel(NOW, tick=False):
        for n in range(throttle.ADDRESS.free - 1):
            throttle.enter((throttle.USER, f"name {n}"), (throttle.ADDRESS, "10.0.0.1"))
        doors = (throttle.KNOWN, "ann/mark"), (throttle.ADDRESS, "10.0.0.1")
        at = throttle.enter((throttle.USER, "ann"), (throttle.ADDRESS, "10.0.0.1"), now=NOW - dt.timedelta(seconds=1))
    Tries.objects.filter(door="address").update(last=NOW, count=throttle.ADDRESS.free + 1)  # another's wrong one
    throttle.was_right((throttle.USER, "ann"), doors[1], at=at)
    assert Tries.objects.get(door="address").held_until is not None


@pytest.mark.parametrize("every_s", [900, 600])
def test_one_try_now_and_then_holds_no_name(client, ann, every_s):
    """Before, one wrong try in fifteen minutes kept a name held for good."""
    with time_machine.travel(NOW, tick=False) as clock:
        for _ in range(12):  # it began with a row of them
            sign_in(client, REMOTE_ADDR="10.0.0.66")
            clock.shift(400)
        for _ in range(48):
            sign_in(client, REMOTE_ADDR="10.0.0.66")
            clock.shift(every_s)
        sign_in(client, REMOTE_ADDR="10.0.0.66")
        clock.shift(1)
        assert sign_in(client, password=RIGHT, REMOTE_ADDR="10.0.0.9").status_code == 302


def test_a_browser_that_knows_the_name_is_not_held_by_who_guesses_elsewhere(client, ann):
    own, outsider = Client(), Client()
    with time_machine.travel(NOW, tick=False):
        assert sign_in(own, password=RIGHT).status_code == 302
        own.post("/sign-out/")
        for _ in range(throttle.USER.free):
            sign_in(outsider, REMOTE_ADDR="10.0.0.66")
        assert sign_in(outsider, password=RIGHT, REMOTE_ADDR="10.0.0.66").status_code == 429
        assert sign_in(Client(), password=RIGHT).status_code == 429, "a browser that does not know it"
        for _ in range(throttle.KNOWN.free - 1):
            assert sign_in(own).status_code == 200
        assert sign_in(own, password=RIGHT).status_code == 302, "its own door"
        own.post("/sign-out/")
        for _ in range(throttle.KNOWN.free):
            sign_in(own)
        assert sign_in(own, password=RIGHT).status_code == 429, "and that is held like any"


def test_a_mark_of_anothers_making_or_of_another_name_is_worth_nothing(client, ann):
    make.user("lead", "bob")
    own = Client()
    with time_machine.travel(NOW, tick=False):
        assert sign_in(own, name="bob", password=RIGHT).status_code == 302
        own.post("/sign-out/")
        made_up = Client()
        made_up.cookies["known"] = "eyJhIjoiYiJ9:1abcde:xxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxx"
        for _ in range(throttle.USER.free):
            sign_in(made_up)
        assert sign_in(made_up).status_code == 429
        assert sign_in(own).status_code == 429, "it knows bob, not ann"


def test_the_mark_says_no_name_and_goes_nowhere_but_to_the_sign_in(client, ann):
    mark = sign_in(client, password=RIGHT).cookies["known"]
    assert mark["httponly"] and mark["path"] == "/sign-in/" and "ann" not in str(signing.loads(
        mark.value, salt="diestore.access.known_browser"
    ))  # fmt: skip


def test_a_lead_lets_them_try_again(client, ann, caplog):
    """Names, PINs, tablets and addresses; before, only SQL did."""
    person = make.person("Ina T.")
    Person.objects.filter(pk=person.pk).update(pin_hash=tablet.hash_of("4071"))
    person.refresh_from_db()
    bench = make.user("setter", "bench 2")
    UserSettings.objects.create(user=bench, shared_device=True)
    lead = Client()
    lead.force_login(make.user("lead", "lea"))
    with time_machine.travel(NOW, tick=False):
        own = Client()
        sign_in(own, password=RIGHT)
        own.post("/sign-out/")
        for _ in range(throttle.USER.free):
            sign_in(client)
            sign_in(own)
        for _ in range(throttle.PIN_DEVICE.free):
            with contextlib.suppress(throttle.Held):
                throttle.enter((throttle.PIN, str(person.pk)), now=NOW)
            throttle.enter((throttle.PIN_DEVICE, "bench 2"))
        for n in range(throttle.ADDRESS.free):
            sign_in(client, name=f"name {n}", REMOTE_ADDR="10.0.0.66")
        page = said(lead.get("/people/"))
        codes = set(re.findall(r'name="again" value="([^"]*)"', page))
        assert codes == {f"user {ann.pk}", f"tablet {bench.pk}", f"pin {person.pk}", "addresses"}
        assert throttle.key_of(throttle.USER, "ann")[:12] in page, "as the log names it"
        for code in codes:
            assert "may be tried again" in said(lead.post("/people/", {"again": code}, follow=True))
        assert "That is no longer held." in said(lead.post("/people/", {"again": "user 1"}, follow=True))
        assert "Held after wrong tries" not in said(lead.get("/people/"))
        assert sign_in(own, password=RIGHT).status_code == 302
        assert sign_in(client, password=RIGHT).status_code == 302
        assert sign_in(Client(), name="nobody", REMOTE_ADDR="10.0.0.66").status_code == 200
        assert tablet.pin_is_right(person, "4071", device="bench 2")


def test_the_log_says_which_name_by_its_key_and_from_where(client, ann, caplog):
    with time_machine.travel(NOW, tick=False):
        for _ in range(throttle.USER.free):
            sign_in(client, REMOTE_ADDR="10.0.0.66")
    (line,) = [row.getMessage() for row in caplog.records if "held for" in row.getMessage()]
    assert throttle.key_of(throttle.USER, "ann")[:12] in line and "from 10.0.0.66" in line and "ann" not in line


@pytest.mark.parametrize("days", [400, 0.1])
def test_a_clock_that_was_ahead_holds_nobody_once_it_is_right(client, ann, days):
    with time_machine.travel(NOW + dt.timedelta(days=days), tick=False):
        for _ in range(throttle.USER.free + 1):
            sign_in(client)
    with time_machine.travel(NOW, tick=False):
        for _ in range(throttle.USER.free):
            assert sign_in(client).status_code == 200, "and its tries count as nought"
        assert sign_in(client, password=RIGHT).status_code == 429
        assert throttle.held_rows().keys() == {("user", throttle.key_of(throttle.USER, "ann"))}


def test_hosts_a_second_apart_hold_alike():
    for n in range(throttle.USER.free):
        throttle.enter((throttle.USER, "ann"), now=NOW + dt.timedelta(seconds=n % 2))
    with pytest.raises(throttle.Held):
        throttle.enter((throttle.USER, "ann"), now=NOW)


def test_a_quiet_hour_is_forgotten(client, ann):
    with time_machine.travel(NOW, tick=False) as clock:
        for _ in range(throttle.USER.free - 1):
            sign_in(client)
        clock.shift(throttle.USER.forgets_s + 1)
        for _ in range(throttle.USER.free):
            assert sign_in(client).status_code == 200
        assert sign_in(client).status_code == 429


def test_rows_of_long_ago_are_swept_out():
    Tries.objects.create(door="user", who="old", last=NOW - dt.timedelta(days=2))
    Tries.objects.create(door="user", who="young", last=NOW - dt.timedelta(hours=2))
    throttle.enter((throttle.USER, "ann"), now=NOW)
    assert set(Tries.objects.values_list("who", flat=True)) == {"young", throttle.key_of(throttle.USER, "ann")}


def test_no_name_stands_in_the_table(client, ann):
    """A password typed into the box for the name would stand there to be read."""
    sign_in(client, name="my password, by a slip")
    for row in Tries.objects.all():
        assert re.fullmatch(r"[0-9a-f]{64}", row.who)


def test_the_forwarded_address_counts_only_behind_a_proxy_of_ours(rf, settings):
    request = rf.get("/", REMOTE_ADDR="10.0.0.1", HTTP_X_FORWARDED_FOR="6.6.6.6, 192.0.2.7, 10.0.0.2")
    assert throttle.address_of(request) == "10.0.0.1"
    settings.PROXIES = 1
    assert throttle.address_of(request) == "10.0.0.2"
    settings.PROXIES = 2
    assert throttle.address_of(request) == "192.0.2.7"
    settings.PROXIES = 4
    assert throttle.address_of(request) == "10.0.0.1", "fewer hops than there are proxies: the header is not ours"


def test_the_administration_has_no_door_of_its_own(client, ann):
    assert client.get("/admin/login/?next=/admin/")["Location"] == "/sign-in/?next=%2Fadmin%2F"
    assert client.post("/admin/login/", {"username": "ann", "password": RIGHT}).status_code == 405
    client.force_login(ann)
    assert client.get("/admin/", follow=True).status_code == 403


@pytest.mark.no_database
@given(st.integers(0, 10_000))
def test_a_wait_never_shrinks_and_has_an_end(count):
    for door in (throttle.USER, throttle.KNOWN, throttle.ADDRESS, throttle.PIN, throttle.PIN_DEVICE):
        assert 0 <= door.wait_s(count) <= door.wait_s(count + 1) <= door.longest_s
    assert throttle.USER.wait_s(count) == 0 or count >= throttle.USER.free


@pytest.mark.django_db(transaction=True)
def test_guesses_sent_at_once_are_held_like_guesses_sent_one_by_one():
    """Twenty threads, each with its own connection as processes have, at one name: five get through."""
    through, gate = [], threading.Barrier(20)

    def guess():
        gate.wait()
        while True:
            try:
                throttle.enter((throttle.USER, "ann"), (throttle.ADDRESS, "10.0.0.1"))
                through.append(1)
            except throttle.Held:
                pass
            except OperationalError:  # SQLite in memory, shared by threads, does not wait for its lock as a file does
                time.sleep(0.01)
                continue
            break
        connection.close()

    threads = [threading.Thread(target=guess) for _ in range(20)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert len(through) == throttle.USER.free
    assert Tries.objects.get(door="address").count == throttle.USER.free
