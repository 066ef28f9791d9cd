"""The page of a part, all in."""

import re
from decimal import Decimal

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from diestore.access.models import UserSettings
from diestore.register.models import Die
from reports.cost import sheets, two_builds, year_ahead
from reports.spares.use import PlantAhead
from tests import factories as make
from tests.pages import money_shop as shop

from .as_read import as_read

pytestmark = pytest.mark.django_db
STOCK = {
    "pitch": "40",
    "width": "60",
    "price": "1.10",
    "density": "7.85",
    "lot": "20000",
    "set_up": "2",
    "running": "80",
}


@pytest.fixture
def die():
    shop.rates()
    made = shop.worked_die("H-900", shop.spare("PP-6.0-M2", on_hand=2))
    Die.objects.filter(pk=made.pk).update(strokes_per_minute=100)
    shop.forecast()
    return made


def page(client, die, **asked):
    return as_read(client.get(reverse("reports:cost_part", args=[die.pk]), asked))


def line(text: str, name: str) -> str | None:
    found = re.search(rf'{name}</th><td class="num">([^<]*)<', text)
    return found[1] if found else None


def test_by_hand(die, as_role):
    """100 strokes a minute at 80 %: 4,800 parts an hour for 95, so 19.8 a thousand; 2 h for 20,000: 9.50.

    40 x 60 x 1.5 mm at 7.85 are 28.26 g, at 1.10 a kg 31.1 a thousand; 30 % of it scrap at 0.20: 1.70 back.
    """
    die.usual_stock.thickness_mm = 1.5
    die.usual_stock.save()
    text = page(as_role("sales"), die, **STOCK, used="70", scrap="0.20")
    assert (line(text, "Stock"), line(text, "Scrap brings back")) == ("31.09", "-1.70")
    assert (line(text, "Press"), line(text, "Set-up")) == ("19.79", "9.50")
    assert "70 % of the strip goes into the part" in text
    assert "The strip runs 4,000 mm a minute" in text  # 100 strokes of 40 mm


def test_the_tool_is_that_of_the_cost_page(die, as_role):
    cost = sheets.cost_per_thousand(die)
    ahead = PlantAhead.of(die.plant, dies=[die.pk])
    plan, _ = two_builds.as_it_is(cost, year_ahead.year_ahead(cost, ahead=ahead), ahead=ahead)
    tool = plan.running_per_thousand().expected + Decimal("7.5")  # 30,000 over 4,000,000 parts
    assert line(page(as_role("sales"), die), "Tool") == f"{tool:.2f}"


def test_what_is_not_known_is_said_and_not_counted(die, as_role):
    text = page(as_role("sales"), die)
    assert "Material is left out" in text and line(text, "Stock") is None
    assert "The hours of a set-up are not known." in text and line(text, "Set-up") is None


def test_inches_and_pounds(die, as_role):
    """The same strip in inches at a price a pound costs the same."""
    client = as_role("lead")
    metric = line(page(client, die, **STOCK), "Stock")
    UserSettings.objects.update_or_create(user_id=client.session["_auth_user_id"], defaults={"units": "inch"})
    inch = {**STOCK, "pitch": str(40 / 25.4), "width": str(60 / 25.4), "price": str(1.10 * 0.45359237)}
    text = page(client, die, **inch)
    assert line(text, "Stock") == metric
    assert "Stock costs a lb" in text and "Pitch, in" in text


@pytest.mark.parametrize(
    "asked", [{"lot": "0"}, {"running": "120"}, {"price": "-1"}, {"strokes": "x"}, {"used": "101"}]
)
def test_what_cannot_be_is_told_beside_its_field(die, as_role, asked):
    text = page(as_role("sales"), die, **{**STOCK, **asked})
    assert 'aria-invalid="true"' in text
    assert "A thousand parts cost" in text  # what the register and the record say stands


def test_few_questions(die, as_role):
    make.order(die, "26-0901")
    client = as_role("sales")
    page(client, die)
    with CaptureQueriesContext(connection) as asked:
        page(client, die, **STOCK)
    assert len(asked) <= 29, "\n".join(q["sql"][:120] for q in asked)
