"""Every change on every die: the figure of the die's own page, its doubts, and what waits."""

import datetime as dt
from decimal import Decimal

import pytest
from django.http import QueryDict
from django.urls import reverse

from maintenance.models import ElementPrice
from reports.cost import sheets, two_builds, year_ahead
from reports.cost.forms import ChangeForm
from reports.costing.payback import events_to_lose, payback
from reports.format import money
from reports.gains import kept, tried
from reports.models import KeptGains
from reports.spares import kept as spares_kept
from tests import factories as make
from tests.pages import money_shop as shop
from tests.pages.as_read import as_read

pytestmark = pytest.mark.django_db


@pytest.fixture
def die():
    shop.rates()
    made = shop.worked_die("H-900", shop.spare("PP-6.0-M2", on_hand=2, grind_allowance_mm=1.5))
    shop.worked_die("H-901")
    shop.forecast()
    for element, price in (("piece another", 90), ("piece D2", 80), ("piece PM", 240), ("coat TiN", 20)):
        ElementPrice.objects.create(
            plant=made.plant, element=element, price=Decimal(price), valid_from=dt.date(2024, 1, 1)
        )
    kept.work_out(made.plant).keep()
    return made


def test_the_same_figure_to_the_cent_as_on_the_dies_own_page(die, as_role):
    rows = [row for row in kept.rows_of(die.plant).rows if row.die == die.pk]
    assert {row.gain.sort for row in rows} == {"gap", "steel", "coating"}
    ahead = spares_kept.ahead_of_die(die)
    cost = sheets.cost_per_thousand(die)
    year = year_ahead.year_ahead(cost, ahead=ahead)
    percent, _ = two_builds.interest(cost, year)
    over = two_builds.volume(cost, year, new=False)
    for row in rows[:: max(len(rows) // 12, 1)]:
        change = ChangeForm(QueryDict(row.tried.query)).change
        two = two_builds.two_builds(cost, year, change, [over.parts], ahead=ahead)
        back = two_builds.pays_back(two, over, year, percent)
        there = (back.worth, back.extra, back.saved_a_year, back.chance)
        assert there == (row.gain.worth, row.gain.extra, row.gain.saved_a_year, row.gain.chance), row.tried.query
    first = rows[0]
    text = as_read(as_role("sales").get(f"{reverse('reports:cost_die', args=[die.pk])}?{first.tried.query}"))
    assert f"it is worth {money(first.gain.worth, cents=False)} today" in text


def test_the_page_ranks_says_its_doubts_and_what_was_changed_since(die, as_role):
    client = as_role("lead")
    text = as_read(client.get(reverse("reports:gains"), {"every": "1", "per_page": "500"}))
    assert "This shop has seen no dull end of carbide: mostly by the handbook." in text
    assert "The price list does not say what such pieces cost" in text  # carbide has no price here
    assert "A coating may flake, and the edge under it chip, which is not in this figure" in text
    assert "by wear alone" in text
    assert "changed since" not in text
    make.run(die, 171, 100)
    text = as_read(client.get(reverse("reports:gains"), {"every": "1", "per_page": "500"}))
    assert "1 die was changed since the night" in text
    file = client.get(reverse("reports:gains_csv")).content.decode("utf-8-sig").splitlines()
    assert len(file) == len(kept.rows_of(die.plant).rows) + 1 > 50


def test_before_the_first_night_the_page_says_so(die, as_role):
    KeptGains.objects.all().delete()
    assert "No change was tried yet" in as_read(as_role("sales").get(reverse("reports:gains")))


def test_a_die_that_nobody_can_reckon_is_named(die, as_role):
    make.die("H-950")
    kept.work_out(die.plant).keep()
    assert "No job is open and nothing ran" in as_read(as_role("sales").get(reverse("reports:gains")))


def test_one_edge_alone_changes_less_than_its_side(die):
    by_words = {row.gain.words: row.gain for row in kept.rows_of(die.plant).rows if row.die == die.pk}
    alone = next(gain for words, gain in by_words.items() if words.startswith("PM at"))
    assert abs(alone.saved_a_year) < abs(by_words["PM on the punches"].saved_a_year)
    form = ChangeForm(QueryDict("gap=8&place=1-A"))
    assert not form.is_valid() and "at all positions together" in str(form.errors)


def test_how_many_chips_would_eat_it_up_is_the_same_sum(die):
    ahead = spares_kept.ahead_of_die(die)
    cost = sheets.cost_per_thousand(die)
    year = year_ahead.year_ahead(cost, ahead=ahead)
    coat = next(
        row.tried for row in kept.rows_of(die.plant).rows
        if row.die == die.pk and row.gain.words == "TiN on the punches" and row.gain.pays
    )  # fmt: skip
    change = ChangeForm(QueryDict(coat.query)).change
    each = Decimal("48.50") * change.piece_times  # no stop has a price here
    assert tried._chip(ahead, cost, year, change) == each
    gain = coat.gain
    a_year = events_to_lose(worth=gain.worth, extra=gain.extra, saved_a_year=gain.saved_a_year, each=each)
    # as much less saved each year leaves nothing of its worth
    percent, _ = two_builds.interest(cost, year)
    over = two_builds.volume(cost, year, new=False)
    per_part = (gain.saved_a_year - Decimal(str(a_year)) * each) / year.year.planned_parts
    left = payback(
        extra=gain.extra, saved_a_part=float(per_part), parts=over.parts,
        parts_a_year=float(year.year.planned_parts), interest=percent / 100,
    )  # fmt: skip
    assert abs(left.worth) < gain.worth / 1000
    assert any(words.endswith("would use it up.") for words in coat.doubts)


def test_a_steel_as_tough_as_todays_has_no_word_of_chips(die):
    by_words = {row.gain.words: row.tried.doubts for row in kept.rows_of(die.plant).rows if row.die == die.pk}
    assert not any("chip" in words for words in by_words["A2 on the punches"])  # tougher than D2 by any table
    assert any("This steel may chip more easily" in words for words in by_words["PM on the punches"])


def test_a_piece_under_a_tenth_of_todays_price_is_reckoned_as_a_tenth_and_said(die):
    ElementPrice.objects.filter(element="piece PM").update(price=Decimal("4"))
    kept.work_out(die.plant).keep()
    row = next(
        row for row in kept.rows_of(die.plant).rows if row.die == die.pk and row.gain.words == "PM on the punches"
    )
    assert "pieces=0.10" in row.tried.query
    assert any(words.startswith("Such a piece costs 0.05 times what it does today; a tenth is taken") for words in
               row.tried.doubts)  # fmt: skip


def test_grinding_both_sides_each_time_costs_hours_and_steel_and_lengthens_the_interval(die, as_role):
    # three more grinds of 1-A and 1-B alone: the die was apart eleven times, 2-A was ground at eight of them
    first = [die.positions.get(code=code) for code in ("1-A", "1-B")]
    for place in die.positions.all():
        place.item = first[0].item
        place.save()
    for day in (172, 174, 176):
        make.run(die, day, 3_000)
        make.sharpen(die, day + 0.5, *first, removed_mm=0.15)
    shop.forecast()
    ahead = spares_kept.ahead_of_die(die)
    cost = sheets.cost_per_thousand(die)
    year = year_ahead.year_ahead(cost, ahead=ahead)
    now = two_builds.as_it_stands(cost, year, ahead=ahead)
    shares = dict(
        zip([edge.code for edge in now.edges], two_builds.shares_ground(ahead, die.pk, now.edges), strict=True)
    )
    assert shares["1-A"] == 1.0 and shares["2-A"] == pytest.approx(9 / 12)  # one more each: never none at all
    two = two_builds.two_builds(cost, year, two_builds.Change(grinds_both=True, sides=("upper", "lower")), [10**6],
                                ahead=ahead, now=now)  # fmt: skip
    a, b = two.comparison.a, two.comparison.b
    assert two.times[0] >= 1.0 and two.times[1] > 1.0
    assert float(b.sharpening / a.sharpening) == pytest.approx(3 / sum(shares.values()), rel=1e-4)
    assert b.spares_per_sharpening > a.spares_per_sharpening
    kept.work_out(die.plant).keep()
    row = next(row for row in kept.rows_of(die.plant).rows if row.die == die.pk and row.gain.sort == "grind")
    assert ChangeForm(QueryDict(row.tried.query)).change == two_builds.Change(
        grinds_both=True, sides=("upper", "lower")
    )
    assert row.tried.doubts[0].startswith("1 of 3 edges are left at some sharpenings, 2-A most of all: ground in 75%")
    form = ChangeForm(QueryDict("ground=both&steel=PM"))
    assert not form.is_valid() and "tried by itself" in str(form.errors)


def test_where_all_edges_are_ground_each_time_there_is_nothing_to_try(die):
    assert not any(row.gain.sort == "grind" for row in kept.rows_of(die.plant).rows)
