"""Keep a die or build it anew: the page says what the pure room does with the forecast of the die."""

import csv
import io
from decimal import Decimal

import numpy as np
import pytest
from django.urls import reverse

from diestore.register.models import Die, Part
from maintenance.models import CostLine, fresh_key
from reports.cost import replace, sheets, years
from reports.costing.money import rounded
from reports.purchasing.renewals import RenewalCounts
from reports.spares.use import PlantAhead
from tests import factories as make
from tests.pages import money_shop as shop

from .as_read import as_read

pytestmark = pytest.mark.django_db
D = Decimal


@pytest.fixture(scope="module")
def die(of_the_module):
    shop.rates()
    made = shop.worked_die("H-900", shop.spare("PP-6.0-M2", on_hand=2, grind_allowance_mm=1.5))
    shop.forecast()
    return made


def told(die, **asked):
    ahead = PlantAhead.of(die.plant, dies=[die.pk])
    given = {"price": D(20_000), "interest": D("0.08")} | asked
    return replace.replacing(sheets.cost_per_thousand(die), replace.Asked(**given), ahead=ahead)


def page(client, die, **asked):
    return as_read(client.get(reverse("reports:cost_replace", args=[die.pk]), asked))


def whole(amount) -> str:
    return f"{rounded(amount, D(1)):,}"


def test_its_years_are_those_of_the_years_page(die):
    made = told(die)
    ahead = PlantAhead.of(die.plant, dies=[die.pk])
    three = years.years_of(sheets.cost_per_thousand(die), ahead=ahead)
    for n in range(3):
        expected = three.years.together.year(n + 1).expected
        assert float(made.told.years[n].cost) == pytest.approx(float(expected), rel=2e-4), n
    assert made.until[2] == three.months[-1]


def test_a_new_one_begins_with_new_pieces_and_fresh_edges(die):
    """Sharpenings of a renewal process that begins at the first stroke, counted here the plain way."""
    cost, ahead = sheets.cost_per_thousand(die), PlantAhead.of(die.plant, dies=[die.pk])
    year = years.year_ahead(cost, ahead=ahead)
    days = years.month_days(36)
    new = years.drawn_ahead(cost, year, ahead=ahead, days=days, lives=500, new=True)
    strokes, laws = ahead.strokes(die.pk, days[-1]), ahead.worlds(die.pk).laws
    counts = [RenewalCounts.of(first=law, fresh=law, horizon_hits=strokes).expected(strokes) for law in laws]
    sharpened = new.by_key["sharpening"]
    price = float(year.prices.sharpening)
    assert float(sharpened.of(slice(0, 36)).expected) == pytest.approx(np.mean(counts) * price, rel=2e-3)
    lives = sharpened.lives.sum(axis=1)
    assert lives.mean() == pytest.approx(np.mean(counts) * price, abs=4 * lives.std() / np.sqrt(500))


def test_page_and_file_say_the_same(die, as_role):
    client = as_role("sales")
    asked = {"price": "20000", "interest": "8", "repairs": "0"}
    text, made = page(client, die, **asked), told(die).told
    first = made.years[0]
    assert f"The next year with it costs {whole(first.keeping)} EUR" in text
    assert f"costs {whole(first.anew)} a year" in text and "Keep it: within the 10 years shown" in text
    assert "Next twelve months, cash" in text and "A year in the long run" in text
    answer = client.get(reverse("reports:cost_replace_csv", args=[die.pk]), asked)
    rows = list(csv.DictReader(io.StringIO(answer.content.decode("utf-8-sig"))))
    assert len(rows) == 11 and rows[-1]["year until"] == "kept throughout"
    assert [D(row["this one together"]) for row in rows[:10]] == [year.cost for year in made.years]
    for row in rows[:10]:
        parts = sum(D(row[name]) for name in ("sharpening", "spares", "stops and scrap", "repair"))
        assert parts == D(row["this one together"])
    assert D(rows[0]["waiting through the year is worth"]) == rounded(first.waiting) and first.waiting > 0


def test_repairs_that_grow_and_a_cheap_new_one_make_building_pay(die, as_role):
    text = page(as_role("sales"), die, price="2000", repairs="1500", aging="30", interest="5")
    made = told(die, price=D(2000), repairs=D(1500), aging=D("0.3"), interest=D("0.05")).told
    assert made.best is not None and made.first_dearer is not None
    wanted = "Build a new one now" if made.best == 0 else f"Keep it {made.best} more year"
    assert wanted in text and "Repairs and stops grow with age as typed" in text
    dear = told(die, price=D(2000), repairs=D(1500), interest=D("0.05")).told
    assert made.years[9].cost > dear.years[9].cost and made.years[0].cost == dear.years[0].cost


def test_repairs_begin_as_the_record_has_them(die, as_role):
    client = as_role("sales")
    CostLine.objects.create(die=die, kind="repair", amount=D("900"), at=make.moment(60), key=fresh_key())
    cost, ahead = sheets.cost_per_thousand(die), PlantAhead.of(die.plant, dies=[die.pk])
    a_year = replace.start_of(cost, ahead.strokes(die.pk, 365)).repairs
    assert float(a_year) == pytest.approx(900 / cost.spent.hits * ahead.strokes(die.pk, 365), rel=1e-6)
    html = client.get(reverse("reports:cost_replace", args=[die.pk])).content.decode()
    assert f'name="repairs" value="{rounded(a_year, D(1))}"' in html.replace("\n", " ")


def test_a_volume_that_is_tried_moves_this_answer_and_nothing_else(die, as_role):
    client = as_role("sales")
    planned = years.years_of(sheets.cost_per_thousand(die), ahead=PlantAhead.of(die.plant, dies=[die.pk]))
    twice = 2 * planned.parts[0]
    text = as_read(client.get(reverse("reports:cost_years", args=[die.pk]), {"parts": str(twice)}))
    assert f"{twice:,} parts a year, as typed to try it" in text and "nothing is kept" in text
    tried = years.years_of(
        sheets.cost_per_thousand(die), ahead=PlantAhead.of(die.plant, dies=[die.pk]), tried=float(twice)
    )
    assert tried.parts[0] == pytest.approx(twice, abs=2)
    assert (
        tried.years.by_key["sharpening"].of(slice(0, 36)).expected
        > D("1.8") * planned.years.by_key["sharpening"].of(slice(0, 36)).expected
    )
    assert whole(tried.years.together.year(1).expected) in text
    again = as_read(client.get(reverse("reports:cost_years", args=[die.pk])))
    assert whole(planned.years.together.year(1).expected) in again and "as typed" not in again
    assert f"Tried: {twice:,} parts a year" in page(client, die, parts=str(twice), price="20000")


@pytest.mark.parametrize("name", ["cost_years", "cost_replace"])
def test_a_volume_that_cannot_be_is_told(die, as_role, name):
    client = as_role("lead")
    for typed in ("0", "-5", "0.2"):
        text = as_read(client.get(reverse(f"reports:{name}", args=[die.pk]), {"parts": typed}))
        assert 'class="wrong"' in text, typed
    assert "as typed to try it" not in text and "Tried:" not in text


def test_a_new_one_that_lasts_less_than_a_year_is_refused_in_words(die, as_role):
    Die.objects.filter(pk=die.pk).update(expected_parts=1_000)
    text = page(as_role("sales"), die, price="20000")
    assert "built for 1,000 parts and would last less than a year" in text


def test_beyond_the_parts_it_is_built_for_it_says_so(die, as_role):
    made = told(die)
    assert made.beyond is None or made.parts_made + sum(made.parts[: made.beyond]) > die.expected_parts
    Die.objects.filter(pk=die.pk).update(expected_parts=made.parts_made + made.parts[0] + 1)
    text = page(as_role("sales"), die, price="20000")
    assert "From year 2 on it runs beyond them" in text and text.count("beyond its parts") == 9


def test_without_a_price_the_page_asks_for_one(die, as_role):
    Die.objects.filter(pk=die.pk).update(build_price=None)
    client = as_role("sales")
    assert "What a new one costs is not known: enter it." in page(client, die)
    answer = client.get(reverse("reports:cost_replace_csv", args=[die.pk])).content.decode("utf-8-sig")
    assert "What a new one costs is not known" in answer
    assert "Not known." not in page(client, die, price="9000")


def test_a_new_one_serves_no_longer_than_its_parts_are_needed(die, as_role):
    ends = told(die).until[2]
    Part.objects.filter(outputs__variant__die=die).update(last_needed=ends)
    made = told(die)
    assert len(made.told.years) == 3 and [year.life for year in made.told.years] == [3, 2, 1]
    assert "Nothing is made after" in page(as_role("sales"), die, price="20000")


def test_a_die_without_a_forecast_says_why(die, as_role):
    idle = shop.worked_die("H-902")
    assert "Not known." in page(as_role("sales"), idle)


@pytest.mark.parametrize(("role", "status"), [("lead", 200), ("setter", 403)])
def test_who_reads_it(die, as_role, role, status):
    client = as_role(role)
    for name in ("cost_replace", "cost_replace_csv"):
        assert client.get(reverse(f"reports:{name}", args=[die.pk])).status_code == status
        assert client.get(reverse(f"reports:{name}", args=[die.pk + 10_000])).status_code == {200: 404}.get(
            status, status
        )
