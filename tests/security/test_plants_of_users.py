"""Which plants a person sees: none bound, all; the administrator, all; asked of the database once a request."""

from html.parser import HTMLParser

import pytest
from django.contrib.auth.models import AnonymousUser, User
from django.db import IntegrityError, transaction
from django.urls import reverse

from diestore.access import roles
from diestore.access.models import PlantOfUser
from diestore.access.plants import plants_of, sees, within
from diestore.access.sign_in import WithSettings
from diestore.register.models import Die, Plant
from tests import factories as make

pytestmark = pytest.mark.django_db


class Form(HTMLParser):
    """What a browser would send of the form in the middle of an administration's page."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.sent: dict[str, list[str]] = {}
        self.select = ""
        self.feed(text)

    def handle_starttag(self, tag, attrs):
        a = dict(attrs)
        if tag == "input" and a.get("name") and a.get("type") not in ("submit", "file"):
            if a.get("type") not in ("checkbox", "radio") or "checked" in a:
                self.sent.setdefault(a["name"], []).append(a.get("value", "on" if a.get("type") == "checkbox" else ""))
        elif tag == "select" and a.get("name"):
            self.select = a["name"]
        elif tag == "option" and "selected" in a:
            self.sent.setdefault(self.select, []).append(a.get("value", ""))


@pytest.fixture
def plants():
    found = [make.plant(code) for code in ("north", "south", "west")]
    for plant in found:
        die = make.die(f"H-{plant.code}")
        Die.objects.filter(pk=die.pk).update(plant=plant)
    return found


def bind(user: User, *plants: Plant) -> User:
    PlantOfUser.objects.bulk_create(PlantOfUser(user=user, plant=plant) for plant in plants)
    return user


def read(user: User) -> User:
    """As a request reads who is signed in."""
    return WithSettings().get_user(user.pk)


@pytest.mark.parametrize("role", roles.ROLES)
def test_who_is_bound_to_no_plant_sees_all(plants, role):
    user = make.user(role)
    assert plants_of(user) is None and plants_of(read(user)) is None
    assert all(sees(user, plant.pk) for plant in plants)
    assert within(Die.objects.all(), user).count() == 3


@pytest.mark.parametrize("role", [role for role in roles.ROLES if role != roles.ADMINISTRATOR])
def test_who_is_bound_sees_those_plants_and_no_other(plants, role):
    user = bind(make.user(role), plants[0], plants[2])
    for who in (user, read(user)):
        assert plants_of(who) == {plants[0].pk, plants[2].pk}
        assert [sees(who, plant.pk) for plant in plants] == [True, False, True]
        assert not sees(who, None)
        assert {die.code for die in within(Die.objects.all(), who)} == {"H-north", "H-west"}
        assert set(within(Plant.objects.all(), who, path="pk")) == {plants[0], plants[2]}


def test_the_administrator_sees_all_though_bound(plants):
    role = bind(make.user(roles.ADMINISTRATOR), plants[0])
    root = bind(User.objects.create_superuser("root"), plants[0])
    for who in (role, root, read(role), read(root)):
        assert plants_of(who) is None


def test_who_is_not_signed_in_sees_nothing(plants):
    assert plants_of(AnonymousUser()) == frozenset()
    assert not within(Die.objects.all(), AnonymousUser()).exists()


def test_the_plants_come_with_the_rights_in_one_question(plants, django_assert_num_queries):
    user = bind(make.user(roles.LEAD), plants[1])
    for first in (plants_of, lambda who: who.has_perm(roles.STRIKE_ENTRY)):
        who = read(user)
        with django_assert_num_queries(1):
            first(who)
            assert plants_of(who) == {plants[1].pk}
            assert who.has_perm(roles.STRIKE_ENTRY) and not who.has_perm("auth.view_user")
            assert roles.role_of(who) == roles.LEAD
            assert sees(who, plants[1].pk)


def test_a_plant_is_bound_once_a_user(plants):
    user = bind(make.user(roles.LEAD), plants[0])
    with pytest.raises(IntegrityError), transaction.atomic():
        bind(user, plants[0])


@pytest.mark.parametrize("by", ["role", "root"])
def test_the_administrator_binds_users_in_the_administration(client, plants, by):
    client.force_login(make.user(roles.ADMINISTRATOR) if by == "role" else User.objects.create_superuser("root"))
    User.objects.filter(username=roles.ADMINISTRATOR).update(is_staff=True)
    user = make.user(roles.LEAD)
    there = reverse("admin:auth_user_change", args=[user.pk])
    sent = Form(client.get(there).content.decode()).sent
    sent.pop("csrfmiddlewaretoken", None)
    rows = {"plants_bound-TOTAL_FORMS": "1", "plants_bound-0-user": str(user.pk), "plants_bound-0-plant": plants[1].pk}
    answer = client.post(there, {name: value for name, value in sent.items() if value != [None]} | rows)
    assert answer.status_code == 302
    assert plants_of(read(user)) == {plants[1].pk}
    again = Form(client.get(there).content.decode()).sent
    assert again["plants_bound-0-plant"] == [str(plants[1].pk)]
    assert client.get(reverse("admin:auth_user_add")).status_code == 200
