"""Sign-ins are given on a page, with their roles, by the administrator."""

import pytest
from django.contrib.auth.models import User
from django.test import Client
from django.urls import reverse

from diestore.access import actions, plants, roles
from diestore.access.models import Person, UserSettings
from diestore.register.models import Amendment, Plant
from tests import factories as make

from .as_read import as_read

pytestmark = pytest.mark.django_db
SENT = {"username": "maud", "role": "toolmaker", "person": "", "password": "a long enough one"}


@pytest.mark.parametrize("role", roles.ROLES)
def test_a_sign_in_has_its_roles_rights_and_opens(as_role, role):
    client, person = as_role("administrator"), make.person("Maud K.")
    there = reverse("diestore:sign_ins")
    answer = client.post(there, SENT | {"role": role, "person": str(person.pk)}, follow=True)
    assert f"maud signs in as {role} from now on." in as_read(answer)
    user = User.objects.get(username="maud")
    assert {code for code, _ in roles.PERMISSIONS if user.has_perm(code)} == roles.GRANTS[role]
    assert not user.is_superuser and user.is_staff == (role == "administrator")
    assert user.shop_settings.person == person
    signed_in = Client().post(reverse("diestore:sign_in"), {"username": "maud", "password": "a long enough one"})
    assert signed_in.status_code == 302


@pytest.mark.parametrize("role", [role for role in roles.ROLES if role != "administrator"])
def test_nobody_else_gives_any(as_role, role):
    client = as_role(role)
    there = reverse("diestore:sign_ins")
    assert client.get(there).status_code == client.post(there, SENT).status_code == 403
    assert not User.objects.filter(username="maud").exists()


@pytest.mark.parametrize(
    ("other", "says"),
    [
        ({"username": "Administrator"}, "already"),
        ({"username": "m aud"}, "valid username"),
        ({"role": "king"}, "Select a valid choice"),
        ({"password": "short"}, "too short"),
        ({"password": "demo-lead"}, "demo"),
        ({"shared": "on", "role": "lead"}, "gets no such rights"),
        ({"person": "99"}, "Select a valid choice"),
    ],
)
def test_what_cannot_be_is_said(as_role, other, says):
    answer = as_role("administrator").post(reverse("diestore:sign_ins"), SENT | other)
    assert answer.status_code == 422 and says in as_read(answer)
    assert User.objects.count() == 1


def test_a_tablet_and_a_plant_of_its_own(as_role):
    client, mine = as_role("administrator"), make.plant()
    assert "Sees" not in as_read(client.get(reverse("diestore:sign_ins")))
    Plant.objects.create(code="annexe")
    client.post(reverse("diestore:sign_ins"), SENT | {"shared": "on", "plant": str(mine.pk)})
    user = User.objects.get(username="maud")
    assert plants.plants_of(user) == {mine.pk}
    assert UserSettings.objects.get(user=user).shared_device


def test_the_list_asks_as_often_for_many(as_role, django_assert_num_queries):
    client, there = as_role("administrator"), reverse("diestore:sign_ins")
    for n in range(3):
        make.user("setter", f"s{n}")
    client.get(there)  # what a process asks once and keeps is no part of the count
    with django_assert_num_queries(100, exact=False) as few:
        client.get(there)
    for n in range(3, 30):
        make.user("setter", f"s{n}")
    with django_assert_num_queries(len(few)):
        client.get(there)


def test_a_name_entered_and_changed_on_the_page_of_people_leaves_its_trace_and_never_a_pin(as_role):
    client = as_role("lead")
    make.plant()
    client.post(reverse("diestore:people"), {"name": "Maud K.", "active": "on"})
    person = Person.objects.get()
    actions.set_pin(by=User.objects.get(), person=person, pin="4071")
    client.post(reverse("diestore:person", args=[person.pk]), {"name": "Maud Kerr", "active": "on"})
    client.post(reverse("diestore:person", args=[person.pk]), {"name": "Maud Kerr"})
    person.refresh_from_db()
    assert (person.name, person.active, bool(person.pin_hash)) == ("Maud Kerr", False, True)
    changes = list(Amendment.objects.order_by("pk"))
    assert [sorted(change.fields) for change in changes] == [["active", "name", "plant"], ["name"], ["active"]]
    assert "pin" not in str([change.fields for change in changes])
