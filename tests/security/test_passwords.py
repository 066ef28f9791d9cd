"""Passwords and sessions: the rules, the page to change one, how long a sign-in lasts and how it ends."""

import datetime as dt
import re

import pytest
import time_machine
from django.contrib.auth.models import User
from django.contrib.sessions.models import Session
from django.test import Client

from diestore.access import throttle
from tests import factories as make

pytestmark = pytest.mark.django_db
RIGHT, NEW = "not a real password", "nine green vices 7"
NOW = dt.datetime(2025, 3, 3, 6, 0, tzinfo=dt.UTC)


def said(answer) -> str:
    return re.sub(r"\s+", " ", answer.content.decode())


def sign_in(name="annabel", password=RIGHT) -> Client:
    client = Client()
    client.post("/sign-in/", {"username": name, "password": password})
    return client


def change(client, old=RIGHT, new=NEW, again=None):
    sent = {"old_password": old, "new_password1": new, "new_password2": new if again is None else again}
    return client.post("/password/", sent)


def is_in(client) -> bool:
    return client.get("/words/").status_code == 200


@pytest.fixture
def annabel():
    return make.user("lead", "annabel")


def test_a_password_is_changed_and_other_devices_are_signed_out(annabel):
    here, there = sign_in(), sign_in()
    answer = change(here)
    assert answer.status_code == 302 and "Your password is changed" in said(here.get(answer["Location"]))
    assert is_in(here) and not is_in(there)
    assert not is_in(sign_in()) and is_in(sign_in(password=NEW))


@pytest.mark.parametrize(
    ("new", "words"),
    [
        ("short 1a", "at least 10 characters"),
        ("password123", "too common"),
        ("annabel123", "too similar"),
        ("8361940275", "entirely numeric"),
        ("demo-toolmaker", "Take another"),
    ],
)
def test_a_poor_password_is_refused_with_the_reason(annabel, new, words):
    client = sign_in()
    answer = change(client, new=new)
    assert answer.status_code == 200 and words in said(answer)
    assert User.objects.get().check_password(RIGHT)


def test_the_rules_stand_on_the_page_and_slips_are_said(annabel):
    client = sign_in()
    shown = said(client.get("/password/"))
    for words in ("at least 10 characters", "common", "numeric", "similar"):
        assert words in shown
    assert "The two new passwords differ" in said(change(client, again="another of them"))
    assert "not your password now" in said(change(client, old="wrong"))
    assert User.objects.get().check_password(RIGHT)
    assert NEW not in said(change(client, old="wrong")), "a password never comes back in a page"


def test_the_old_password_is_not_guessed_at_through_this_page(annabel):
    client = sign_in()
    with time_machine.travel(NOW, tick=False):
        client.force_login(annabel)
        for _ in range(throttle.USER.free):
            assert change(client, old="wrong").status_code == 200
        held = change(client)
        assert held.status_code == 429 and "Wait 10 seconds" in said(held)
        assert User.objects.get().check_password(RIGHT)
        assert not is_in(sign_in()), "and the sign-in of that name waits with it"


def test_a_password_is_hashed_slowly_in_a_deployment(settings):
    from django.conf import global_settings
    from django.contrib.auth.hashers import PBKDF2PasswordHasher

    assert global_settings.PASSWORD_HASHERS[0].endswith("PBKDF2PasswordHasher")
    assert (
        PBKDF2PasswordHasher.iterations >= 600_000
    )  # OWASP Password Storage Cheat Sheet, PBKDF2-HMAC-SHA256; from memory


def test_signing_in_gives_a_new_session_and_signing_out_ends_it(annabel):
    client = Client()
    client.get("/sign-in/")
    session = client.session
    session["x"] = 1
    session.save()
    client.cookies["sessionid"] = session.session_key
    before = session.session_key
    client.post("/sign-in/", {"username": "annabel", "password": RIGHT})
    after = client.cookies["sessionid"].value
    assert after != before and not Session.objects.filter(session_key=before).exists(), (
        "none that somebody else planted"
    )
    assert is_in(client)
    client.post("/sign-out/")
    thief = Client()
    thief.cookies["sessionid"] = after
    assert not is_in(thief), "the old cookie opens nothing"


def test_a_sign_in_ends_after_a_shift(annabel, settings):
    with time_machine.travel(NOW, tick=False) as clock:
        client = sign_in()
        clock.shift(settings.SESSION_COOKIE_AGE - 60)
        assert is_in(client)
        clock.shift(120)
        assert not is_in(client)


def test_an_account_that_is_closed_is_out_at_once(annabel):
    client = sign_in()
    User.objects.update(is_active=False)
    assert not is_in(client) and not is_in(sign_in())


def test_cookies_are_kept_from_scripts_and_other_sites(annabel):
    cookie = sign_in().cookies["sessionid"]
    assert cookie["httponly"] and cookie["samesite"] == "Lax"
