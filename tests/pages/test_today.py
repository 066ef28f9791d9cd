"""The first page: what needs me?"""

import re

import pytest
from django.contrib.auth.models import User
from django.urls import reverse

from diestore.access.models import UserSettings
from maintenance.log import write
from maintenance.models import DieForecast, Work
from tests import factories as make

from .as_read import as_read
from .small_shop import more, shop

pytestmark = pytest.mark.django_db


def page(client) -> str:
    answer = client.get(reverse("reports:today"))
    assert answer.status_code == 200
    return as_read(answer)


def test_the_page_takes_the_same_queries_at_three_and_at_thirty(as_role, django_assert_num_queries):
    client = as_role("setter")
    shop(3)
    page(client)
    with django_assert_num_queries(200, exact=False) as few:
        page(client)
    more(3, 30)
    with django_assert_num_queries(len(few)):
        page(client)


@pytest.mark.parametrize(
    ("role", "spares", "logs"),
    [
        ("setter", False, True),
        ("toolmaker", True, True),
        ("lead", True, True),
        ("buyer", True, False),
        ("sales", False, False),
        ("administrator", True, True),
    ],
)
def test_each_role_sees_its_lists(as_role, role, spares, logs):
    client = as_role(role)
    shop(1)
    said = page(client)
    assert "Dies that may not finish their job" in said and "Latest entries" in said
    assert ("<h2>Spares to order</h2>" in said) == spares
    assert ("Log a run" in said) == logs


def test_each_line_leads_to_its_page(as_role):
    client, (die, other) = as_role("lead"), shop(2)
    die.orders.update(parts=900_000)
    other.orders.update(parts=10)
    said = page(client)
    assert "1 of 2 dies with open jobs needs a look" in said
    line = re.search(r'<li><a href="(/dies/\d+/)"><strong>H-000</strong>.*?</li>', said, re.S)
    assert line[1] == reverse("diestore:die", args=[die.pk])
    assert "Sharpen first" in line[0] and "to finish" in line[0] and "900,000 hits to go" in line[0]
    assert client.get(line[1]).status_code == 200


def test_a_die_of_which_nothing_is_known_is_listed_with_the_reason(as_role):
    client, (die,) = as_role("setter"), shop(1)
    DieForecast.objects.filter(die=die, is_newest=True).update(remaining={}, refusal="No thickness is known.")
    said = page(client)
    assert "No thickness is known." in said and "to finish</span>" not in said


def test_nothing_to_do_is_said(as_role):
    client, (die,) = as_role("setter"), shop(1)
    die.orders.update(parts=10)
    assert "every die with an open job will very likely finish it" in page(client)
    die.orders.update(closed_at=make.moment(400))
    assert "No job is open" in page(client)


def test_what_was_struck_out_lately_is_shown_though_the_entry_is_old(as_role):
    client, (die, *_) = as_role("lead"), shop(4)
    first = die.runs.order_by("at").first()
    assert "9,000 hits" in page(client)
    write.strike_out(by=make.actor("Nils R."), entry=first, reason="another die's run")
    said = page(client)
    assert "<s>Ran 9,000 hits" in said and "struck out by Nils R., " in said
    assert "another die&#x27;s run" in said


def test_entries_are_told_in_the_persons_units(as_role):
    client, (die, *_) = as_role("lead"), shop(1)
    make.sharpen(die, 30, die.positions.get(code="2-A"), removed_mm=0.127)
    assert Work.objects.latest("recorded_at").removed_mm == 0.127
    assert "0.13 mm off" in page(client)
    UserSettings.objects.create(user=User.objects.get(username="lead"), units="inch")
    assert "0.0050 in off" in page(client)  # 0.127 mm / 25.4
