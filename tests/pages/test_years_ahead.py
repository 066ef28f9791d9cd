"""The years ahead of a die: the first is the year ahead of its cost page, and page and file say the same."""

import csv
import datetime as dt
import io
from decimal import Decimal

import numpy as np
import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from diestore.register.models import Item, Part
from maintenance.models import Work
from reports.cost import sheets, year_ahead, years
from reports.costing.money import rounded
from reports.spares import kept as spares_kept
from reports.spares.use import PlantAhead
from tests import factories as make
from tests.pages import money_shop as shop

from .as_read import as_read

pytestmark = pytest.mark.django_db


@pytest.fixture
def die():
    shop.rates()
    made = shop.worked_die("H-900", shop.spare("PP-6.0-M2", on_hand=2, grind_allowance_mm=1.5))
    shop.forecast()
    return made


def told(die, **more):
    ahead = PlantAhead.of(die.plant, dies=[die.pk])
    return years.years_of(sheets.cost_per_thousand(die), ahead=ahead, **more)


def whole(made, year: int) -> str:
    return f"{rounded(made.years.together.year(year).expected, Decimal(1)):,}"


def page(client, die, **asked):
    return as_read(client.get(reverse("reports:cost_years", args=[die.pk]), asked))


def test_the_first_twelve_months_are_the_year_ahead_without_the_build(die):
    made = told(die)
    year = year_ahead.year_ahead(sheets.cost_per_thousand(die)).year
    ahead = {element.key: element.expected for element in year.elements if element.key != "build"}
    assert ahead["sharpening"] > 0 and ahead["spares"] > 0
    for key, expected in ahead.items():
        assert float(made.years.by_key[key].year(1).expected) == pytest.approx(float(expected), rel=2e-4), key
    assert made.months[11] - made.months[0] == dt.timedelta(days=365 - 30)


def test_year_years_and_the_page_of_a_spare_go_by_one_law(die):
    """Of a spare that this die takes alone, in a shop that grinds deeper elsewhere; the lattice on which sharpenings
    are counted differs, by 2 in 10,000."""
    deeper = shop.worked_die("H-903", shop.spare("PP-8.0-M2", on_hand=1, grind_allowance_mm=3.0))
    Work.objects.filter(position__die=deeper).update(removed_mm=0.31)
    shop.forecast()
    item = Item.objects.get(code="PP-6.0-M2")
    used = spares_kept.ahead_of(die.plant, [item]).use(item.pk, 365)
    assert PlantAhead.of(die.plant, dies=[die.pk]).use(item.pk, 365).chances == pytest.approx(used.chances, abs=2e-4)
    assert used.mean != pytest.approx(sum(used.chances[1:]), rel=0.01)  # the chance of two and more counts
    year = year_ahead.year_ahead(sheets.cost_per_thousand(die)).year
    spares = {element.key: element for element in year.elements}["spares"]
    money = used.mean * float(item.unit_price)
    assert float(spares.expected) == pytest.approx(money, rel=2e-4)
    path = told(die).years.by_key["spares"]
    assert float(path.year(1).expected) == pytest.approx(money, rel=2e-4)
    lives, pieces = path.lives[:, :12].sum(axis=1), np.arange(len(used.chances))
    sd = float(np.sqrt((pieces - used.mean) ** 2 @ used.chances)) * float(item.unit_price)
    assert lives.mean() == pytest.approx(money, abs=4 * sd / 100)  # of 10,000 lives
    assert lives.std() == pytest.approx(sd, rel=0.04)


def test_page_and_file_say_the_same(die, as_role):
    client = as_role("sales")
    text = page(client, die)
    first = told(die).years.together.year(1)
    assert f"is expected to take {rounded(first.expected, Decimal(1)):,} EUR; 8 in 10" in text
    assert "nobody stated a volume for the years ahead" in text
    answer = client.get(reverse("reports:cost_years_csv", args=[die.pk]))
    rows = list(csv.DictReader(io.StringIO(answer.content.decode("utf-8-sig"))))
    assert len(rows) == years.MONTHS
    assert sum(Decimal(row["together"]) for row in rows[:12]) == pytest.approx(first.expected, abs=Decimal("0.1"))


def test_prices_that_rise_change_the_later_years(die, as_role):
    calm, dear = told(die), told(die, yearly_rise=Decimal("0.1"))
    share = [float(dear.years.together.year(n).expected / calm.years.together.year(n).expected) for n in (1, 2, 3)]
    assert 1 < share[0] < 1.1
    assert share[1:] == pytest.approx([share[0] * 1.1, share[0] * 1.21], rel=0.01)
    text = page(as_role("lead"), die, rise="10")
    assert "rise by 10 % a year" in text and whole(dear, 3) in text


def test_a_rise_that_cannot_be_is_told_and_not_taken(die, as_role):
    text = page(as_role("lead"), die, rise="-100")
    assert "-50" in text.replace("−", "-") and whole(told(die), 3) in text


def test_nothing_is_spent_beyond_the_end_of_a_programme(die, as_role):
    ends = told(die).months[17]
    Part.objects.filter(outputs__variant__die=die).update(last_needed=ends)
    made = told(die)
    assert made.years.together.months[16].expected > 0
    assert {band.high for band in made.years.together.months[19:]} == {Decimal("0.00")}
    assert "until" in made.volume_from and made.volume_from in page(as_role("sales"), die)


def test_a_dear_spare_shows_where_it_comes(die):
    rows = told(die).big
    assert rows and {row.item for row in rows} == {"PP-6.0-M2"}
    assert sum(row.money for row in rows) == Decimal("48.50") * 3  # each of the three places once, sooner or later
    assert [row.until for row in rows] == sorted(row.until for row in rows)


def test_a_die_without_a_forecast_says_why(as_role):
    shop.rates()
    idle = shop.worked_die("H-902")
    client = as_role("sales")
    assert "nothing ran in the last year" in page(client, idle)
    make.order(idle, "26-0901", due=timezone.localdate())
    text = page(client, idle)
    told_in_file = client.get(reverse("reports:cost_years_csv", args=[idle.pk])).content.decode("utf-8-sig")
    assert "The years ahead are not known. Nothing is forecast" in told_in_file
    assert "The years ahead are not known." in text and "Nothing is forecast" in text


def test_few_questions(die, as_role):
    client = as_role("sales")
    page(client, die)
    with CaptureQueriesContext(connection) as asked:
        page(client, die)
    assert len(asked) <= 26, "\n".join(q["sql"][:150] for q in asked)


@pytest.mark.parametrize(("role", "status"), [("lead", 200), ("sales", 200), ("setter", 403)])
def test_who_reads_it(die, as_role, role, status):
    client = as_role(role)
    for name in ("cost_years", "cost_years_csv"):
        assert client.get(reverse(f"reports:{name}", args=[die.pk])).status_code == status
        assert client.get(reverse(f"reports:{name}", args=[die.pk + 10_000])).status_code == {200: 404}.get(
            status, status
        )
