"""The page of a promise: free below so many hits."""

import re

import pytest
from django.urls import reverse

from reports.costing.promise import promise
from reports.spares.use import PlantAhead
from tests.pages import money_shop as shop

from .as_read import as_read

pytestmark = pytest.mark.django_db


@pytest.fixture
def die():
    shop.rates()
    made = shop.worked_die("H-900", shop.spare("PP-6.0-M2", on_hand=2))
    shop.forecast()
    return made


def page(client, die, **asked):
    return as_read(client.get(reverse("reports:cost_promise", args=[die.pk]), asked))


def test_as_typed_and_as_reckoned(die, as_role):
    text = page(as_role("sales"), die, hits="90000", price="300", strokes="2000000")
    laws = PlantAhead.of(die.plant, dies=[die.pk]).worlds(die.pk).laws
    (one,) = promise([90_000], laws=laws, strokes_a_year=2e6, sharpening=300, parts_per_hit=1)
    assert f"Free below 90,000 hits costs {round(one.money):,} EUR a year" in text
    assert f"{one.free:.1f} free sharpenings a year" in text and text.count("as asked") >= 1


def test_it_starts_with_what_nine_in_ten_outlast_and_what_a_sharpening_costs(die, as_role):
    client = as_role("sales")
    html = client.get(reverse("reports:cost_promise", args=[die.pk])).content.decode()
    typed = {name: re.search(rf'name="{name}"[^>]*value="([^"]+)"', html) for name in ("hits", "price", "strokes")}
    assert all(typed.values()), html
    link = reverse("reports:cost_promise", args=[die.pk])
    assert f'href="{link}"' in client.get(reverse("reports:cost_die", args=[die.pk])).content.decode()


def test_what_cannot_be_is_said(die, as_role):
    client = as_role("lead")
    assert 'class="wrong"' not in page(client, die, hits="90000")
    for asked in ({"hits": "-1"}, {"hits": "x"}, {"price": "1e12"}, {"strokes": "nan"}):
        assert 'class="wrong"' in page(client, die, **asked), asked
    assert "costs 0 EUR a year" in page(client, die, hits="0", price="300", strokes="1000")
