"""The first start: the first sign-in is made on a page, by whoever has the server's code, once."""

import re

import pytest
from django.contrib.auth.models import User
from django.urls import reverse

from diestore.access import first_start, roles, shop
from diestore.access.models import Person, Shop, UserSettings
from diestore.register.models import Plant
from tests import factories as make
from tests.cards.test_cards import sent

from .as_read import as_read

pytestmark = pytest.mark.django_db
START = "/first-start/"


def told(**other) -> dict[str, str]:
    return {
        "name": "Rill Stamping", "currency": "CHF", "time_zone": "Europe/Zurich", "units": "inch",
        "person": "Ina T.", "username": "ina", "password": "a long enough one", "code": first_start.code(),
    } | other  # fmt: skip


def test_an_empty_service_leads_to_the_first_start_and_opens_there(client):
    assert client.get("/")["Location"].startswith("/sign-in/")
    assert client.get("/sign-in/")["Location"] == START
    page = as_read(client.get(START, {"code": first_start.code()}))
    assert f'value="{first_start.code()}"' in page and "createsuperuser" not in page
    answer = client.post(START, told(), follow=True)
    said = as_read(answer)
    assert answer.status_code == 200 and "Rill Stamping is open" in said
    assert f'href="{reverse("diestore:register")}"' in said and "manage.py" not in said
    user = User.objects.get()
    assert user.is_staff and not user.is_superuser
    assert all(user.has_perm(code) for code, _ in roles.PERMISSIONS)
    assert (Plant.objects.get().name, Person.objects.get().name) == ("Rill Stamping", "Ina T.")
    assert UserSettings.objects.get().units == "inch"


def test_it_is_there_once(client):
    client.post(START, told())
    client.logout()
    assert client.get(START)["Location"] == "/sign-in/"
    assert client.post(START, told(username="olaf")).status_code == 403
    assert client.get("/sign-in/").status_code == 200
    assert User.objects.count() == 1


def test_of_two_at_once_one_is_first(client):
    form = first_start.FirstUserForm(told(), instance=Shop())
    assert form.is_valid()
    make.user("lead", "faster")
    assert first_start.make_first(form) is None
    assert User.objects.count() == 1 and not Person.objects.exists()


@pytest.mark.parametrize("code", ["", "AAAA-AAAA-AAAA", "ß", "x" * 40])
def test_without_the_servers_code_nothing_is_made(client, code):
    answer = client.post(START, told(code=code))
    assert answer.status_code == 422 and not User.objects.exists() and not Shop.objects.exists()
    assert "code" in as_read(answer)
    assert "a long enough one" not in as_read(answer), "the password is not sent back"


def test_guessing_the_code_is_held(client):
    answers = [client.post(START, told(code="guess")).status_code for _ in range(60)]
    assert answers[0] == 422 and 429 in answers
    assert client.post(START, told()).status_code == 429, "the right one too, while it is held"


@pytest.mark.parametrize(
    ("other", "says"),
    [
        ({"password": "short"}, "too short"),
        ({"password": "demo-lead"}, "demo"),
        ({"username": "i n a"}, "valid username"),
        ({"time_zone": "Mars/Olympus"}, "Select a valid choice"),
        ({"units": "cubits"}, "Select a valid choice"),
        ({"name": ""}, "required"),
    ],
)
def test_what_cannot_be_is_said_at_its_field(client, other, says):
    answer = client.post(START, told(**other))
    assert answer.status_code == 422 and says in as_read(answer)
    assert not User.objects.exists()


def test_the_code_is_the_same_after_a_restart_and_another_with_another_key(settings):
    first = first_start.code()
    assert first == first_start.code() and re.fullmatch(r"([A-Z2-7]{4}-){2}[A-Z2-7]{4}", first)
    settings.SECRET_KEY = "another"
    assert first_start.code() != first


def test_the_shops_settings_are_kept_and_go_before_the_environment(as_role, settings):
    settings.SHOP_NAME, settings.CURRENCY = "of the environment", "EUR"
    client = as_role("lead")
    assert "of the environment" in as_read(client.get(reverse("diestore:words")))
    sent = {"name": "Rill Stamping", "currency": "CHF", "time_zone": "Asia/Tokyo", "units": "metric"}
    assert client.post(reverse("diestore:shop"), sent).status_code == 302
    said = as_read(client.get(reverse("diestore:words")))
    assert "Rill Stamping" in said and "of the environment" not in said
    assert shop.current() == shop.Told("Rill Stamping", "CHF", "Asia/Tokyo", "metric")
    assert client.post(reverse("diestore:shop"), sent | {"time_zone": "x"}).status_code == 422
    assert as_role("setter").get(reverse("diestore:shop")).status_code == 403


def test_times_are_shown_and_typed_by_the_shops_clock(as_role):
    Shop.objects.create(name="Rill Stamping", currency="CHF", time_zone="Asia/Tokyo")
    client, item = as_role("lead"), make.item(lead_days=3)
    there = reverse("diestore:spares_card", args=[item.pk])
    form = sent(as_read(client.get(there))) | {"reason": "x", "at": "2026-03-02T08:00", "lead_days": "9"}
    assert client.post(there, form).status_code == 302
    made = item._meta.apps.get_model("diestore.Amendment").objects.order_by("pk").last()
    assert made is not None and f"{made.at:%H:%M %z}" == "23:00 +0000", "nine hours before"
    assert "2 Mar 2026, 08:00" in as_read(client.get(there))


def test_the_shop_costs_a_page_no_question_more(as_role, django_assert_num_queries):
    client = as_role("lead")
    client.get(reverse("diestore:words"))
    with django_assert_num_queries(100, exact=False) as before:
        client.get(reverse("diestore:words"))
    Shop.objects.create(name="Rill Stamping")
    with django_assert_num_queries(len(before)):
        client.get(reverse("diestore:words"))
