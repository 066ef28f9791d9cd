"""Every address, every role, read and sent: who gets in, who is refused, and that nothing breaks."""

from __future__ import annotations

import re

import pytest
from django.contrib.auth.models import User
from django.test import Client
from django.urls import reverse

from diestore.access import roles
from tests import factories as make
from tests.test_architecture import all_urls
from tests.wording.refused import refused

from .addresses import ADMINISTRATION, NOT_WALKED, TABLE, address, names, parts_of, shop

pytestmark = [pytest.mark.django_db, pytest.mark.walk]
REFUSED_ANYWAY = (400, 405, 409, 422)  # what was sent is wrong: the role was let in
NOBODY_HAS = (999_999_999, 2**31, 2**63, 10**30)
STANDS_FOR = 987_654_321  # for a number that no address of ours is made with
GARBAGE = ("", "0", "-1", "9" * 40, "1e9", "\x00", "'\"><b>", "é漢\u202e", "a" * 5_000, "%")
QUERY = ("die", "q", "page", "per_page", "sort", "order", "position", "instead", "struck", "person", "press", "family",
         "status", "stock", "plant", "next", "within", "edge", "from", "to", "state")  # fmt: skip


def of_ours() -> list[str]:
    return [name for name in names() if not name.startswith(ADMINISTRATION) and name not in NOT_WALKED]


@pytest.fixture(scope="module")
def numbers(of_the_module):
    return shop()


@pytest.fixture(scope="module")
def users(of_the_module):
    return {role: make.user(role) for role in roles.ROLES} | {"": User.objects.create_user("none")}


class SignedIn(dict):
    """A client of each user, signed in once: signing in takes longer than most pages."""

    def __missing__(self, user) -> Client:
        self[user] = signed_in(user)
        return self[user]

    def send(self, user, method: str, url: str):
        answer = getattr(self[user], method)(url)
        if answer.status_code == 302:  # a form was taken: it may have signed out, or left a word for the next page
            del self[user]
        return answer


def signed_in(user, **options) -> Client:
    client = Client(**options)
    client.force_login(user)
    return client


@pytest.fixture
def clients() -> SignedIn:
    return SignedIn()


def test_every_address_stands_in_the_table_and_nothing_else():
    found = set(of_ours())
    assert not found - set(TABLE), "a new address: say in tests/security/addresses.py who may open it"
    assert not set(TABLE) - found, "addresses that are no more"


def test_who_is_not_signed_in_is_sent_to_the_sign_in(numbers):
    wrong = []
    for name, row in TABLE.items():
        url = address(name, numbers)
        for method in ("get", "post", "put", "patch", "delete"):
            answer = getattr(Client(), method)(url)
            if row.by_token:
                fits = answer.status_code in (401, 405)
            elif row.signed_out:
                fits = answer.status_code in (200, 302, 403, 405, 422)  # an empty form is told what is wrong with it
            else:
                fits = answer.status_code == 302 and answer["Location"].startswith(f"{reverse('diestore:sign_in')}?")
            if not fits:
                wrong.append((name, method, answer.status_code))
    assert wrong == []


def test_each_role_reads_what_it_may_and_nothing_else(numbers, users, clients):
    wrong, given_up = [], []
    for name, row in TABLE.items():
        for role, user in users.items():
            answer = clients.send(user, "get", address(name, numbers))
            if role == "administrator" and answer.get("Content-Type", "").startswith("text/html"):
                said = re.split(r"<[^>]+>", answer.content.decode())
                given_up += [] if name.startswith("admin:") else [(name, words) for words in refused(said)]
            # Somebody without a role sees the pages that everybody sees, except those that ask for a permission.
            let_in = role in row.get if role else answer.status_code in (200, 302) and row.get == frozenset(roles.ROLES)
            expected = (200, 302) if let_in else (401, 403, 405) if row.by_token else (403, 405)
            if answer.status_code not in expected:
                wrong.append((name, role, answer.status_code))
    assert wrong == []
    assert given_up == [], "words that pages say no more"


def test_each_role_sends_what_it_may_and_nothing_else(numbers, users, clients):
    """An empty form: whoever is let in is told what is wrong with it, and the others are refused before."""
    wrong = []
    for name, row in TABLE.items():
        for role, user in users.items():
            answer = clients.send(user, "post", address(name, numbers))
            expected = (
                (200, 302, *REFUSED_ANYWAY) if role in row.post else (401, 403, 405) if row.by_token else (403, 405)
            )
            if role == "" and row.post == frozenset(roles.ROLES):
                expected = (200, 302, 403, *REFUSED_ANYWAY)
            if answer.status_code not in expected:
                wrong.append((name, role, answer.status_code))
    assert wrong == []


def test_other_methods_change_nothing(numbers, users, clients):
    wrong = []
    for name, row in TABLE.items():
        if row.signed_out:
            continue
        for method in ("put", "patch", "delete"):
            answer = clients.send(users["administrator"], method, address(name, numbers))
            if answer.status_code not in (401, 403, 405):
                wrong.append((name, method, answer.status_code))
    assert wrong == []


def test_nothing_is_sent_without_the_pages_own_token(numbers, users):
    wrong = []
    for name, row in TABLE.items():
        if not row.post:
            continue
        role = next(role for role in roles.ROLES if role in row.post)
        answer = signed_in(users[role], enforce_csrf_checks=True).post(
            address(name, numbers), {"csrfmiddlewaretoken": "x" * 64}
        )
        if answer.status_code != 403 or "page was open too long" not in answer.content.decode():
            wrong.append((name, answer.status_code))
    assert wrong == []


def test_a_thing_that_is_not_there_is_not_found(numbers, users, clients):
    wrong = []
    tried = 0
    for name, row in TABLE.items():
        mine = parts_of(row, numbers)
        for part in [part for part, value in mine.items() if isinstance(value, int)]:
            for number in NOBODY_HAS:
                url = reverse(name, kwargs=mine | {part: STANDS_FOR}).replace(str(STANDS_FOR), str(number))
                for method in [name for name, who in (("get", row.get), ("post", row.post)) if who]:
                    tried += 1
                    if (status := clients.send(users["administrator"], method, url).status_code) != 404:
                        wrong.append((name, part, number, method, status))
    assert wrong == [] and tried > 20


def test_nothing_in_an_address_breaks_a_page(numbers, users):
    """Each page is tried with every other of them, and the next page with the others."""
    wrong = []
    client = signed_in(users["administrator"])
    for n, (name, row) in enumerate(TABLE.items()):
        if "administrator" not in row.get:
            continue
        url = reverse(name, kwargs=parts_of(row, numbers))
        for garbage in GARBAGE[n % 2 :: 2]:
            asked = dict.fromkeys(QUERY, garbage) | {key: numbers[key] for key in row.query.split()}
            answer = client.get(url, asked)
            if answer.status_code >= 500:
                wrong.append((name, garbage, answer.status_code))
    assert wrong == []


def test_the_administration_is_for_staff(numbers, users):
    addresses = [url for name, url in all_urls() if name.startswith(ADMINISTRATION)]
    open_to_all = {"/admin/login/", "/admin/logout/", "/admin/jsi18n/"}
    assert len(addresses) > 40
    wrong = []
    for user in users.values():
        client = signed_in(user)
        for url in sorted(set(addresses) - open_to_all):
            for method in ("get", "post"):
                answer = getattr(client, method)(url)
                if answer.status_code != 302 or not answer["Location"].startswith("/admin/login/"):
                    wrong.append((url, method, answer.status_code))
        assert client.get("/admin/login/").status_code == 403
    assert wrong == []
    root = signed_in(User.objects.create_superuser("root"))
    assert [url for url in addresses if root.get(url).status_code >= 500] == []


def test_the_administrator_finds_something_in_the_administration_and_makes_nobody_a_superuser(numbers):
    """Before, whoever had the role and was staff found it empty."""
    root = User.objects.create_superuser("root")
    ann = make.user(roles.ADMINISTRATOR, "ann")
    User.objects.filter(pk=ann.pk).update(is_staff=True)
    client = signed_in(ann)
    page = client.get("/admin/").content.decode()
    for name in ("diestore/usersettings", "auth/user"):
        assert f'href="/admin/{name}/"' in page
        assert client.get(f"/admin/{name}/").status_code == 200 and client.get(f"/admin/{name}/add/").status_code == 200
    for name in ("diestore/die", "diestore/plant", "maintenance/order", "maintenance/run"):
        assert client.get(f"/admin/{name}/").status_code == 200, "what has pages of its own is only read there"
        assert f'href="/admin/{name}/"' in page and client.get(f"/admin/{name}/add/").status_code == 403
    assert client.get("/admin/auth/group/add/").status_code == 403, "roles are the code's"
    form = client.get(f"/admin/auth/user/{ann.pk}/change/").content.decode()
    assert 'name="groups"' in form and 'name="is_superuser"' not in form and 'name="user_permissions"' not in form
    sent = {"username": "ann", "is_active": "on", "is_staff": "on", "is_superuser": "on", "date_joined_0": "2025-01-01",
            "date_joined_1": "06:00", "groups": [group.pk for group in ann.groups.all()],
            "plants_bound-TOTAL_FORMS": "0", "plants_bound-INITIAL_FORMS": "0"}  # fmt: skip
    assert client.post(f"/admin/auth/user/{ann.pk}/change/", sent).status_code == 302
    ann.refresh_from_db()
    assert ann.is_staff and not ann.is_superuser
    for what in ("change", "delete", "password"):
        assert client.get(f"/admin/auth/user/{root.pk}/{what}/").status_code in (302, 403, 404)
    client.post("/admin/auth/user/", {"action": "delete_selected", "_selected_action": root.pk, "post": "yes"})
    assert User.objects.filter(pk=root.pk).exists()
    assert signed_in(root).get(f"/admin/auth/user/{ann.pk}/change/").content.count(b'name="is_superuser"') == 1


def test_calls_of_programs_open_to_a_token_and_not_to_whoever_is_signed_in(numbers, users):
    """Nothing of the interface goes by the session, so another site's form can send nothing in a person's name."""
    calls = [address(name, numbers) for name, row in TABLE.items() if row.by_token]
    assert len(calls) >= 7
    for url in calls:
        for client in (signed_in(users["administrator"]), Client()):
            for token in ("", "Bearer", "Bearer x", "Basic eDp4", "Bearer " + "x" * 5_000, "Bearer \x00"):
                for method in ("get", "post"):
                    answer = getattr(client, method)(url, headers={"Authorization": token})
                    assert answer.status_code in (401, 405), (url, token, method)
