"""The demo's passwords are public: they open the demo and nothing else."""

import pytest
from django.contrib.auth import authenticate
from django.contrib.auth.models import User
from django.contrib.auth.password_validation import validate_password
from django.core.exceptions import ValidationError

from diestore.access import demo_users, roles
from diestore.access.models import Person, UserSettings
from tests import factories

pytestmark = pytest.mark.django_db


def test_one_user_a_role():
    assert [user.role for user in demo_users.USERS if not user.shared] == list(roles.ROLES)


def test_the_demo_lets_its_users_in(settings):
    settings.DEMO = True
    person = Person.objects.create(plant=factories.plant(), name="Edda L.")
    demo_users.create_users(factories.plant())
    demo_users.create_users(factories.plant())
    assert User.objects.count() == len(demo_users.USERS)
    for demo in demo_users.USERS:
        user = authenticate(username=demo.name, password=demo.password)
        assert user is not None
        assert roles.role_of(user) == demo.role
        assert user.is_staff == (demo.role == roles.ADMINISTRATOR)
    assert UserSettings.objects.get(user__username="lead").person == person


def test_on_the_shared_tablet_those_with_a_pin_are_picked(settings, client):
    settings.DEMO = True
    plant = factories.plant()
    for name in (*demo_users.PINS, "Edda L."):
        Person.objects.create(plant=plant, name=name)
    demo_users.create_users(plant)
    client.force_login(User.objects.get(username="tablet"))
    page = client.get("/who/").content.decode()
    assert all(name in page for name in demo_users.PINS) and "Edda L." not in page
    name, pin = next(iter(demo_users.PINS.items()))
    person = Person.objects.get(name=name)
    assert client.post("/who/", {"person": person.pk, "pin": "9999", "next": "/log/"}).status_code == 422
    assert client.post("/who/", {"person": person.pk, "pin": pin, "next": "/log/"}).status_code == 302
    before = person.pin_hash
    demo_users.create_users(plant)
    person.refresh_from_db()
    assert person.pin_hash == before, "a PIN that was changed in the demo stays changed"


def test_outside_the_demo_they_are_refused_even_where_the_account_exists(settings):
    settings.DEMO = True
    demo_users.create_users(factories.plant())
    settings.DEMO = False
    for demo in demo_users.USERS:
        assert authenticate(username=demo.name, password=demo.password) is None
    User.objects.create_user("ina", password="demo-lead")
    assert authenticate(username="ina", password="demo-lead") is None


def test_other_passwords_go_on_as_before():
    User.objects.create_user("ina", password="a good long one 7")
    assert authenticate(username="ina", password="a good long one 7") is not None
    assert authenticate(username="ina", password="another") is None


def test_demo_users_are_not_made_elsewhere():
    with pytest.raises(RuntimeError, match="demo's own database"):
        demo_users.create_users(factories.plant())
    assert not User.objects.exists()


def test_nobody_takes_a_demo_password_for_a_real_account():
    with pytest.raises(ValidationError, match="Take another"):
        validate_password("demo-toolmaker")
