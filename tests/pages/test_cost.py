"""The cost pages: figures by hand, what changes them and what does not, two builds against the engine."""

import datetime as dt
import re
import xml.etree.ElementTree as ET
from dataclasses import replace
from decimal import Decimal

import numpy as np
import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from diestore.register.models import Die, Output, Part, Rate
from maintenance.forecasts import builds as edge_builds
from maintenance.forecasts import other_builds, store
from maintenance.life import what_if
from maintenance.log import queries, write
from maintenance.models import CostLine, Stop, fresh_key
from reports.cost import plot, sheets, stacked, two_builds, year_ahead
from reports.format import cents, money
from tests import factories as make
from tests.pages import money_shop as shop

from .as_read import as_read

pytestmark = pytest.mark.django_db
PARTS = 25 * 12_000  # 8 cycles of 3 runs and one more


@pytest.fixture
def die():
    shop.rates()
    return shop.worked_die("H-900", shop.spare("PP-6.0-M2", on_hand=2))


@pytest.fixture
def told(die):
    shop.worked_die("H-901")
    shop.forecast()
    return die


def bill(die, amount: str, kind: str = "sharpening", day: float = 30):
    return CostLine.objects.create(die=die, kind=kind, amount=Decimal(amount), at=make.moment(day), key=fresh_key())


def stop(die, minutes: float, day: float = 30, **more):
    return Stop.objects.create(die=die, cause="burr", minutes=minutes, at=make.moment(day), key=fresh_key(), **more)


def sheet(die):
    return sheets.cost_per_thousand(die).sheet


def test_the_sheet_by_hand(die):
    """Build 30,000 / 4,000,000; 8 sharpenings of 4 h at 60 over 300,000 parts; per thousand 7.5 + 6.4."""
    assert sheet(die).parts_made == PARTS
    assert [(e.key, e.per_thousand) for e in sheet(die).elements] == [
        ("build", Decimal("7.5")),
        ("sharpening", Decimal("6.4")),
    ]
    assert sheets.cost_per_thousand(die).per_thousand == Decimal("13.9")
    assert sheets.cost_per_thousand(die).running == Decimal("6.4")


def test_bills_stops_and_spares_add_what_they_cost(die):
    before = sheet(die).per_thousand
    bill(die, "150.00")
    assert sheet(die).per_thousand - before == Decimal("0.5")
    stop(die, 36, parts_scrapped=4)  # 36 min at 95 an hour = 57
    assert sheet(die).per_thousand - before == Decimal("0.5") + Decimal("0.19")
    assert "4 scrapped parts (no part value entered)." in sheet(die).left_out
    assert sheet(die).element("spares") is None
    write.log_replacement(by=make.actor(), position=die.positions.get(code="1-A"), at=make.moment(165), why="chipped")
    assert sheet(die).element("spares").amount == Decimal("48.50")


def test_what_is_struck_out_costs_nothing(die):
    before = sheet(die)
    wrong = bill(die, "9999.00")
    halt = stop(die, 600)
    assert sheet(die) != before
    for entry in (wrong, halt):
        write.strike_out(by=make.actor(), entry=entry, reason="typed twice")
    assert sheet(die) == before


def test_setting_up_goes_with_the_job(die):
    before = sheet(die)
    stop(die, 45, planned=True)
    assert sheet(die) == before
    assert any("Setting up" in note for note in sheets.cost_per_thousand(die).notes)


def test_a_grinder_outside_is_paid_by_bill_not_by_the_hour(die):
    from maintenance.models import Work

    before = sheet(die).element("sharpening").amount
    last = Work.objects.filter(position__die=die).latest("at").at
    Work.objects.filter(position__die=die, at=last).update(supplier=shop.supplier())
    assert before - sheet(die).element("sharpening").amount == Decimal("240")
    assert any("ground outside" in note for note in sheets.cost_per_thousand(die).notes)
    bill(die, "313.00", day=160)
    assert sheet(die).element("sharpening").amount == before - 240 + 313


@pytest.mark.parametrize("good, expected", [(None, 24_000), (11_500, 23_000), (23_000, 23_000)])
def test_left_and_right_from_one_hit(good, expected):
    """Good parts are counted of the side that the order names, or of both."""
    die = make.die("H-300")
    order = make.order(die)
    Output.objects.create(variant=die.variants.get(), part=Part.objects.create(number="P-right"))
    make.run(die, 1, 12_000, order=order, good_parts=good)
    assert sheets.cost_per_thousand(die).spent.parts == expected


def test_no_rate_is_said(die):
    die.plant.rates.all().delete()
    assert sheet(die).element("sharpening") is None
    assert any("No toolroom rate" in words for words in sheet(die).left_out)


def test_nothing_known_is_unknown_not_nought():
    die = make.die("H-950")
    assert sheets.cost_per_thousand(die).per_thousand is None


def test_the_year_ahead_adds_up(told):
    row = sheets.cost_per_thousand(told)
    ahead = year_ahead.year_ahead(row)
    year = ahead.year
    assert year.planned_parts == int(ahead.strokes)  # one part a hit
    by_key = {e.key: e for e in year.elements}
    assert by_key["sharpening"].expected == pytest.approx(
        Decimal(240) * Decimal(ahead.sharpenings), rel=Decimal("0.001")
    )
    assert by_key["build"].per_thousand == Decimal("7.5")
    low, high = year.per_thousand_band
    assert low < year.per_thousand < high
    # the pace of the record goes on: as many sharpenings a stroke as its intervals of 36,000 hits give
    assert ahead.sharpenings == pytest.approx(ahead.strokes / 36_000, rel=0.25)


def test_no_forecast_no_year(told):
    queries.newest_forecasts().update(remaining={}, fresh={}, refusal="No edge cuts here.")
    ahead = year_ahead.year_ahead(sheets.cost_per_thousand(told))
    assert ahead.year is None and "No edge cuts here" in ahead.refusal


def builds(die, **change):
    row = sheets.cost_per_thousand(die)
    return two_builds.two_builds(
        row, year_ahead.year_ahead(row), two_builds.Change(**change), [10_000, 100_000, 1_000_000, 10_000_000]
    )


def test_the_same_build_costs_the_same(told):
    two = builds(told, tool_steel="D2", hardness_hrc=60, sides=("upper", "lower"))
    assert two.times == pytest.approx((1, 1, 1))
    assert two.comparison.curves[0].expected == two.comparison.curves[1].expected


def test_a_better_steel_pays_in_the_end_and_only_then(told):
    two = builds(told, tool_steel="PM-M4", price=Decimal(2000), piece_times=Decimal(1))
    a, b = two.comparison.curves
    assert two.times[0] > 1
    assert a.expected[0] < b.expected[0] and a.expected[-1] > b.expected[-1]
    crossing = two.comparison.crossing.parts
    low, high = two.comparison.crossing_band
    assert low <= crossing <= high
    # at the crossing both have cost the same: build + running x parts
    run = [plan.running_per_part().mean() for plan in (two.comparison.a, two.comparison.b)]
    assert float(crossing) * (run[0] - run[1]) == pytest.approx(2000, rel=1e-6)


def test_dearer_pieces_move_the_crossing_out(told):
    cheap = builds(told, tool_steel="PM-M4", price=Decimal(2000)).comparison.crossing.parts
    dear = builds(told, tool_steel="PM-M4", price=Decimal(2000), piece_times=Decimal(3)).comparison.crossing.parts
    assert dear > cheap


def test_a_change_now_is_compared_over_the_parts_still_to_be_made(as_role, told):
    client = as_role("sales")
    now = as_read(page(client, told, "?when=now&steel=PM&price=2000"))
    new = as_read(page(client, told, "?when=new&steel=PM&price=2000"))
    assert f"Over the {4_000_000 - PARTS:,} parts still to be made" in now
    assert "Over the 4,000,000 parts the die is built for" in new
    Die.objects.filter(pk=told.pk).update(expected_parts=100_000)
    assert "parts of three years at this pace" in as_read(page(client, told, "?steel=PM&price=2000"))


def test_what_the_die_has_cost_is_spent_either_way(told):
    now, new = (
        builds(told, tool_steel="PM-M4", price=Decimal(2000)),
        builds(told, tool_steel="PM-M4", price=Decimal(2000), new=True),
    )
    assert (now.comparison.a.price, now.comparison.b.price) == (0, 2000)
    assert (new.comparison.a.price, new.comparison.b.price) == (30_000, 32_000)
    assert now.comparison.crossing.parts == new.comparison.crossing.parts


def test_a_gap_is_that_of_the_pair(told):
    two = builds(told, gap_pct=9.0, sides=("upper",))
    assert {edge.after for edge in two.edges} == {"gap 9 % a side"} and all(edge.changed for edge in two.edges)
    steel = builds(told, gap_pct=9.0, tool_steel="M2", sides=("upper",))
    assert {edge.after for edge in steel.edges} <= {"M2, gap 9 % a side", "gap 9 % a side"}


def test_a_dearer_spare_is_dearer_when_it_breaks_too(told):
    same = builds(told, tool_steel="PM-M4", sides=("upper", "lower")).comparison
    dear = builds(told, tool_steel="PM-M4", sides=("upper", "lower"), piece_times=Decimal(3)).comparison
    assert dear.a.per_million_hits == same.a.per_million_hits == same.b.per_million_hits
    assert dear.b.per_million_hits > same.b.per_million_hits


def test_a_hardness_that_the_steel_is_not_worked_at_is_doubted(as_role, told):
    text = as_read(page(as_role("sales"), told, "?steel=carbide&hardness=58&sides=both"))
    assert "carbide is rated in HRA" in text


def test_a_price_alone_builds_nothing_otherwise(as_role, told):
    text = as_read(page(as_role("sales"), told, "?price=2000"))
    assert "A price alone changes nothing in the build" in text


def test_a_price_below_nothing_is_said(as_role, told):
    text = as_read(page(as_role("sales"), told, "?when=new&steel=PM&price=-40000"))
    assert "would cost less than nothing; nought is taken" in text


def test_the_same_build_is_a_tie_everywhere(as_role, told):
    text = as_read(page(as_role("sales"), told, "?steel=D2&hardness=60&sides=both"))
    assert "It costs the same at every volume." in text
    assert "The chance that it is the cheaper one: even" in text and "a year it is worth" not in text


def test_when_the_extra_money_is_back(as_role, told):
    row = sheets.cost_per_thousand(told)
    year = year_ahead.year_ahead(row)
    two = two_builds.two_builds(row, year, two_builds.Change(tool_steel="PM", price=Decimal(500)), [1000])
    back = two_builds.pays_back(two, two_builds.volume(row, year, new=False), year, Decimal(6))
    client = as_role("sales")
    text = as_read(page(client, told, "?steel=PM&price=500"))
    assert f"it is worth {money(back.worth, cents=False)} today" in text and "6 % is assumed" in text
    Rate.objects.create(plant=told.plant, kind="capital percent", valid_from=dt.date(2025, 1, 1), amount=Decimal(9))
    text = as_read(page(client, told, "?steel=PM&price=500"))
    assert "at 9 % a year it is worth" in text and "is assumed" not in text


def test_times_of_one_edge_are_those_of_the_engine(told):
    """With one edge alone the die's interval changes as the engine says of that edge."""
    plant = told.plant
    edge = other_builds.edges_now(told)[0]
    after = edge_builds.built_otherwise(edge.spec, tool_steel="M2", coating="TiCN", gap_pct=6.0)
    times = other_builds.times_with(store.fleet_of(plant), [edge], [after], draws=2000)
    engine = what_if(store.fleet_of(plant), edge.spec, after)
    assert np.exp(np.log(times).mean()) == pytest.approx(engine.times, rel=0.01)
    low, high = np.quantile(times, [0.1, 0.9])
    assert (low, high) == pytest.approx((engine.times_low, engine.times_high), rel=0.04)


def test_times_lie_between_those_of_the_edges(told):
    edges = other_builds.edges_now(told)
    changed = [edge_builds.built_otherwise(e.spec, tool_steel="M2") if n else e.spec for n, e in enumerate(edges)]
    every = [edge_builds.built_otherwise(e.spec, tool_steel="M2") for e in edges]
    some, all_of_them = (other_builds.times_with(store.fleet_of(told.plant), edges, c) for c in (changed, every))
    low, high = np.minimum(1, all_of_them), np.maximum(1, all_of_them)
    assert ((some >= low - 1e-12) & (some <= high + 1e-12)).all()


# Pages


def page(client, die, query: str = ""):
    return client.get(reverse("reports:cost_die", args=[die.pk]) + query)


def test_the_page_says_the_figure_and_its_band(as_role, told):
    text = as_read(page(as_role("sales"), told))
    year = year_ahead.year_ahead(sheets.cost_per_thousand(told)).year
    low, high = year.per_thousand_band
    assert f"about {cents(year.per_thousand)} EUR" in text
    assert f"(8 in 10: {cents(low)} to {cents(high)})" in text
    assert "So far 13.90: 7.50 to build, 6.40 to keep running" in text


def test_a_comparison_can_be_kept_as_a_bookmark(as_role, told):
    query = "?sides=upper&steel=PM&hardness=&coating=&gap=&price=2000&pieces=1.5"
    text = as_read(page(as_role("sales"), told, query))
    assert "With PM on the punches" in text and "times as long between sharpenings" in text and "<svg" in text


@pytest.mark.parametrize(
    "query",
    [
        "?steel=nonsense",
        "?hardness=9999&gap=-1",
        "?gap=nan&price=1e400",
        "?steel=<script>alert(1)</script>",
        "?price=-99999999&steel=M2",
        "?coating=%00",
        "?sort=nonsense",
    ],
)
def test_what_cannot_be_is_shown_not_crashed_on(as_role, told, query):
    answer = page(as_role("sales"), told, query)
    assert answer.status_code == 200 and b"<script>alert" not in answer.content


@pytest.mark.parametrize("role, may", [("sales", True), ("lead", True), ("buyer", False), ("setter", False)])
def test_who_may_see_the_cost(as_role, told, role, may):
    client = as_role(role)
    assert page(client, told).status_code == (200 if may else 403)
    assert client.get(reverse("reports:cost")).status_code == (200 if may else 403)


def test_a_die_without_anything_says_so(as_role):
    bare = make.die("H-950")
    text = as_read(page(as_role("sales"), bare))
    assert "The year ahead is not known." in text and "What it has cost so far is not known." in text


def test_the_list_sorts_both_ways(as_role, told):
    client = as_role("sales")
    for column in ("die", "parts", "total", "build", "sharpening", "spares", "stop", "rest"):
        up, down = (
            [
                r.record.die.code
                for r in client.get(reverse("reports:cost") + f"?sort={s}{column}").context["table"].rows
            ]
            for s in ("", "-")
        )
        assert sorted(up) == sorted(down) == ["H-900", "H-901"]
        if column == "die":
            assert up == down[::-1]


def test_an_empty_shop_says_what_to_do_first(as_role):
    assert "No die is in the register yet" in as_read(as_role("sales").get(reverse("reports:cost")))


def test_the_number_of_queries_does_not_grow_with_the_dies(as_role, told):
    client = as_role("sales")
    url = reverse("reports:cost")
    client.get(url)
    with CaptureQueriesContext(connection) as few:
        client.get(url)
    for n in range(30):
        make.run(make.die(f"M-{n:03}", build_price=Decimal(5000), expected_parts=100_000), 1, 1000)
    with CaptureQueriesContext(connection) as many:
        client.get(url)
    assert len(many) <= len(few)


@pytest.mark.no_database
def test_a_plot_keeps_its_text_and_is_drawn_as_the_page_is():
    line = plot.CostCurve(name="a", x=[1e3, 1e4, 1e5], y=[30, 5, 2], low=[28, 4, 1.5], high=[32, 6, 3])
    drawn = plot.against_volume(
        [line, replace(line, dashed=True)],
        x_label="parts",
        y_label="EUR <b>",
        title='cost & "more"',
        named=[plot.Volume(x=2e4, word="built for")],
    )
    root = ET.fromstring(drawn)
    texts = {t.text for t in root.iter("{http://www.w3.org/2000/svg}text")}
    assert {"parts", "EUR <b>", "built for", "10,000"} <= texts
    drawn_as = {element.get("class") for element in root.iter()}
    assert {"line1", "band1", "line2", "band2", "now dots", "rule", "t2 mid", "plot"} <= drawn_as
    assert root.get("aria-label") == 'cost & "more"'


def test_the_die_page_tells_its_cost_to_those_who_may_see_it(as_role, told):
    for role, may in (("sales", True), ("setter", False)):
        text = as_read(as_role(role).get(reverse("diestore:die", args=[told.pk])))
        assert (reverse("reports:cost_die", args=[told.pk]) in text) is may
        assert (
            "The die has cost 13.90 EUR per thousand parts so far: building the die 7.50, sharpening 6.40" in text
        ) is may


@pytest.mark.no_database
@pytest.mark.parametrize(
    "value, said",
    [
        ("0", "0.00"), ("0.00049", "under 0.01"), ("0.0389", "0.04"), ("0.09", "0.09"), ("0.4567", "0.46"),
        ("7", "7.00"),
        ("9.625", "9.63"), ("9.6249", "9.62"), ("12.34", "12.34"), ("1234.5", "1,234.50"), ("99.996", "100.00"),
    ],
)  # fmt: skip
def test_money_has_two_decimals(value, said):
    assert cents(Decimal(value)) == said


def test_the_bar_of_the_dearest_die_is_as_long_as_the_scale(client, die):
    """Through the page: what pages the table has names of its own, and the scale must not be one of them."""
    client.force_login(make.user("sales"))
    bars = re.findall(r'<svg class="costs".*?</svg>', as_read(client.get(reverse("reports:cost"))), re.S)
    ends = [sum(float(width) for width in re.findall(r' width="([\d.]+)" height="14"', bar)) for bar in bars]
    assert max(ends) == pytest.approx(stacked.WIDE, abs=1)
