"""An edge's page: how long it lasts, its cycles, its record against such an edge, other builds, measured wear."""

import re
import xml.etree.ElementTree as ET

import pytest
from django.contrib.auth.models import User
from django.urls import reverse

from diestore.access.models import UserSettings
from diestore.register.models import Output, Part
from maintenance.forecasts import builds, store
from maintenance.life import SampleRefused, handbook
from maintenance.log import write
from maintenance.models import EdgeForecast, Work
from maintenance.screens.edge import page as edge_page
from maintenance.wording import numbers
from tests import factories as make

from .as_read import as_read
from .small_shop import shop

pytestmark = pytest.mark.django_db


def get(client, position, **asked):
    return client.get(reverse("maintenance:edge", args=[position.pk]), asked)


def page(client, position, **asked) -> str:
    answer = get(client, position, **asked)
    assert answer.status_code == 200
    return as_read(answer)


def spoken(html: str) -> str:
    """The page's words without its drawings and marks."""
    html = re.sub(r"<svg.*?</svg>", " ", html, flags=re.S)
    return " ".join(re.sub(r"<[^>]+>", " ", html).replace("&#x27;", "'").split())


def bars(html: str) -> ET.Element:
    return ET.fromstring(re.search(r'<svg [^>]*class="ribbon".*?</svg>', html, re.S)[0])


def told(position, system="metric"):
    return edge_page.of_position(position, system)


LIVES = (20_000, 26_000, 31_000, 18_000, 23_000, 35_000, 16_000, 28_000)


def worked(cycles: int = 6, *, code: str = "H-500", gap_mm: float = 0.1, kind: str = "shape_punch"):
    """A die whose one edge goes dull every 25,000 hits or so, found at the next look."""
    die = make.die(code)
    edge = make.position(die, "3-A", kind=kind, gap_mm=gap_mm)
    for n in range(cycles):
        make.run(die, 10 * n + 1, LIVES[n % len(LIVES)])
        make.run(die, 10 * n + 2, 2_000)
        make.sharpen(die, 10 * n + 3, edge, why="dull", found="dull")
    make.run(die, 10 * cycles + 1, 5_000)
    return die, edge


@pytest.mark.parametrize("role", ["setter", "toolmaker", "lead", "buyer", "sales", "administrator"])
def test_everybody_who_is_signed_in_sees_it(as_role, role):
    (die, *_) = shop(1)
    said = spoken(page(as_role(role), die.positions.get(code="1-A")))
    assert "half of the edges like this last over" in said and "9 in 10 over" in said
    assert "How sure:" in said and "Rests on" in said and "as wide as by the handbook alone" in said


def test_who_is_not_signed_in_does_not(client):
    (die, *_) = shop(1)
    assert get(client, die.positions.first()).status_code == 302


def test_an_edge_that_is_not_there_is_not_found(as_role):
    assert as_role("lead").get(reverse("maintenance:edge", args=[999])).status_code == 404


def test_the_page_takes_the_same_queries_whatever_the_edge_has(as_role, django_assert_num_queries):
    client = as_role("lead")
    (_, few), (_, many) = worked(2, code="H-501"), worked(45, code="H-502")
    for n in range(3, 12):
        make.position(many.die, f"{n}-B")
    for position in (few, many):
        reading(position, 1.9, "wear land", 60e-6)
    for day in range(30):
        reading(many, 10 * day + 1.9, "burr height", 20e-6)
    store.fit_and_forecast(few.die.plant)
    page(client, few)
    with django_assert_num_queries(100, exact=False) as asked:
        page(client, few)
    with django_assert_num_queries(len(asked)):
        html = page(client, many)
    assert "7 to 46 of 46" not in html and "1 to 40 of 46" in html


@make.nothing_follows()
def reading(position, day: float, quantity: str, value_si: float, unit: str = "um"):
    return write.log_reading(
        by=make.actor(), at=make.moment(day), quantity=quantity, value_si=value_si, typed_value=f"{value_si:g}",
        typed_unit=unit, position=position,
    )  # fmt: skip


def test_what_is_said_first_is_what_the_engine_says_of_it_sharpened(as_role):
    die, edge = worked()
    store.fit_and_forecast(die.plant)
    fresh, said = told(edge).fresh, spoken(page(as_role("setter"), edge))
    half, nine = (numbers.hits(fresh.remaining[p]) for p in (0.5, 0.1))
    assert f"half of the edges like this last over {half} hits, 9 in 10 over {nine}" in said
    low, high = fresh.usual_band_hits
    assert (
        f"usual hits to dull {numbers.hits(fresh.usual_hits)}, 8 in 10 between "
        f"{numbers.hits(low)} and {numbers.hits(high)}"
    ) in said
    stored = EdgeForecast.objects.get(position=edge, forecast__is_newest=True)
    assert stored.usual_hits == pytest.approx(fresh.usual_hits, rel=1e-4), "the same edge, the same figure"
    left = f"{numbers.hits(stored.half_hits)}, 9 in 10 another {numbers.hits(stored.nine_in_ten_hits)}"
    assert f"half last another {left}" in said


def test_hits_of_an_edge_that_works_at_some_strokes_are_its_own(as_role):
    die, edge = worked()
    edge.stroke_share = 0.25
    edge.save()
    store.fit_and_forecast(die.plant)
    fresh, said = told(edge).fresh, spoken(page(as_role("setter"), edge))
    assert f"half of the edges like this last over {numbers.hits(fresh.remaining[0.5] / 4)} hits" in said
    assert "Hits here are strokes in which it works: 0.250 of the die's." in said


# --- cycles


def test_every_cycle_is_a_bar_in_order_of_time_that_leads_to_its_entry(as_role):
    client = as_role("lead")
    die, edge = worked(2)
    make.run(die, 40, 9_000)
    make.sharpen(die, 41, edge, why="with set", found="")
    make.run(die, 42, 4_000)
    make.sharpen(die, 43, edge, why="chipped", found="broken")
    make.run(die, 44, 3_000)
    store.fit_and_forecast(die.plant)
    html = page(client, edge)
    drawn = bars(html)
    labels = [t.text for t in drawn.iter("text") if "over" in (t.get("class") or "")]
    assert labels == ["dull", "dull", "broken", "now"], "one that is cut short is an open mark without a word"
    links = [a.get("href") for a in drawn.iter("a")]
    ends = Work.objects.order_by("at").values_list("pk", flat=True)
    assert links == [reverse("maintenance:entry", args=["work", pk]) for pk in ends]
    for link in links:
        assert client.get(link).status_code == 200
    titles = [t.text for t in drawn.iter("title")][1:]
    assert titles[0].startswith("22,000 hits, dull") and titles[3].startswith("4,000 hits, broken")


@pytest.mark.parametrize("hits", [900, 4_000, 9_100, 52_000, 72_000, 98_000, 990_000])
def test_the_bars_keep_their_ticks_whatever_the_longest(as_role, hits):
    """A single tick is too few to read a height by."""
    die = make.die()
    edge = make.position(die, "1-A")
    for n in range(3):
        make.run(die, 2 * n + 1, hits - n, hours=12)
        make.sharpen(die, 2 * n + 2, edge, why="planned")
    ticks = bars(page(as_role("lead"), edge)).findall("path[@class='rule']")
    assert 3 <= len(ticks) <= 6


def test_bars_differ_by_their_shape_and_not_by_colour_alone(as_role):
    die, edge = worked(1)
    make.run(die, 40, 9_000)
    make.sharpen(die, 41, edge, why="with set")
    make.run(die, 42, 4_000)
    make.sharpen(die, 43, edge, why="chipped")
    store.fit_and_forecast(die.plant)
    groups = [g for g in bars(page(as_role("lead"), edge)).iter() if g.tag in ("a", "g")]
    drawings = {tuple((e.tag, e.get("class"), e.get("fill")) for e in g if e.tag in ("rect", "path")) for g in groups}
    assert len(groups) == len(drawings) == 4


def test_a_cycle_is_told_with_its_order_coil_and_what_was_taken_off(as_role):
    die = make.die()
    edge = make.position(die, "1-A")
    order = make.order(die, "26-0042")
    make.run(die, 1, 12_345, order=order, lot="C777")
    make.sharpen(die, 2, edge, why="with set", found="sharp", removed_mm=0.12)
    make.run(die, 3, 5_000)
    store.fit_and_forecast(die.plant)
    row = re.search(r'<tr><th scope="row">8 Jan 2025</th>.*?</tr>', page(as_role("lead"), edge), re.S)[0]
    for words_ in ("12,345", "26-0042", "C777", "0.12 mm", "still sharp, ground with the set", ">sharp<"):
        assert words_ in row, words_


def test_dull_again_and_again_at_one_round_count_is_told_as_a_habit(as_role):
    die = make.die()
    edge = make.position(die, "1-A")
    for n in range(6):  # looked at again and again before, at counts that are not round
        for part, hits in enumerate((12_345, 11_987, 13_021, 12_702, 9_945)):
            make.run(die, 2 * n + 1 + part / 10, hits, hours=2)
        make.sharpen(die, 2 * n + 2, edge, why="dull")
    store.fit_and_forecast(die.plant)
    assert page(as_role("lead"), edge).count("counted as planned") == 6


def test_a_struck_sharpening_ends_no_cycle(as_role):
    die, edge = worked(3)
    store.fit_and_forecast(die.plant)
    wrong = Work.objects.order_by("at")[1]
    write.strike_out(by=make.actor(), entry=wrong, reason="the other die")
    store.refresh_die(die)
    drawn = bars(page(as_role("lead"), edge))
    assert len(list(drawn.iter("a"))) == 2
    assert reverse("maintenance:entry", args=["work", wrong.pk]) not in [a.get("href") for a in drawn.iter("a")]


def test_older_cycles_are_a_page_further(as_role):
    client = as_role("lead")
    die, edge = worked(45)
    store.fit_and_forecast(die.plant)
    first, second = page(client, edge), page(client, edge, cycles=2, gap="9")
    assert len(list(bars(first).iter("a"))) == 39 and len(list(bars(second).iter("a"))) == 6
    assert "gap=9&amp;cycles=1" in second, "what was asked is kept"
    assert page(client, edge, cycles="nonsense").count("1 to 40 of 46") == first.count("1 to 40 of 46")


def test_a_record_started_anew_is_told_and_cycles_before_it_count_for_nothing(as_role):
    client = as_role("lead")
    die, edge = worked(4)
    store.fit_and_forecast(die.plant)
    assert "started anew" not in page(client, edge)
    write.restart_record(by=make.actor(), die=die, at=make.moment(15), reason="another strip since")
    store.refresh_die(die)
    html = page(client, edge)
    assert "started anew on 21 Jan 2025" in html
    assert len(list(bars(html).iter("a"))) == 2, "ends on the 24th and the 34th day"


def test_what_counts_to_a_burr_limit_is_said_to(as_role):
    client = as_role("lead")
    die, edge = worked(4)
    store.fit_and_forecast(die.plant)
    assert "burr limit" not in spoken(page(client, edge))
    row = EdgeForecast.objects.get(position=edge, forecast__is_newest=True)
    row.rests_on |= {"burr_limit": {"um": 30, "share": 0.6}}
    row.save()
    said = spoken(page(client, edge))
    assert f"9 in 10 another {numbers.hits(row.nine_in_ten_hits)}, to the burr limit." in said
    assert "counts to the burr limit of 30 µm, reached at 0.6 of the life to dull." in said
    assert "All else here counts to dull." in said


# --- its own record


def test_its_own_record_is_fitted_where_it_carries_a_fit(as_role):
    die, edge = worked(8)
    store.fit_and_forecast(die.plant)
    record, said = edge_page.own_record(told(edge)), spoken(page(as_role("lead"), edge))
    low, high = record.fit.hits_limits(0.5, 0.8)
    assert (record.dull, record.cycles) == (8, 8)
    assert f"By its own intervals alone, half last longer than {numbers.hits(record.fit.hits_at(0.5))} hits" in said
    assert f"(8 in 10: {numbers.hits(low)} to {numbers.hits(high)})" in said and "8 dull in 8 ended intervals" in said


def test_where_its_record_carries_no_fit_the_page_says_why_with_numbers(as_role):
    die, edge = worked(2)
    store.fit_and_forecast(die.plant)
    said = spoken(page(as_role("lead"), edge))
    assert "Its own intervals alone say too little: 2 dull ends seen in 3 intervals; 3 are needed." in said
    assert "Weibull" not in said


def test_with_no_dull_end_the_hits_run_still_show_something(as_role):
    """With shape k, n cycles of h hits and none dull: scale at least (n h^k / -ln(1 - 0.9))^(1/k); half by ln 2."""
    die = make.die()
    edge = make.position(die, "1-A")
    for n in range(4):
        make.run(die, 2 * n + 1, 50_000)
        make.sharpen(die, 2 * n + 2, edge, why="with set")
    store.fit_and_forecast(die.plant)
    shown = told(edge)
    k = shown.shape
    least = 50_000 * (4 / 2.302585) ** (1 / k) * 0.693147 ** (1 / k)
    assert edge_page.own_record(shown).least_hits == pytest.approx(least, rel=1e-5)
    assert f"half of such edges last at least {numbers.hits(least)} hits" in spoken(page(as_role("lead"), edge))


def test_several_edges_are_looked_at_together(as_role):
    client = as_role("lead")
    die, edge = worked(2)
    twin = make.position(die, "3-B", kind="shape_punch")
    for n in range(3):
        make.run(die, 60 + 2 * n, 26_000 + 500 * n)
        make.sharpen(die, 61 + 2 * n, twin, why="dull", found="dull")
    store.fit_and_forecast(die.plant)
    alone, both = edge_page.own_record(told(edge)), edge_page.own_record(told(edge), [twin.pk])
    assert (alone.dull, both.dull, both.codes) == (2, 5, ["3-A", "3-B"])
    said = spoken(page(client, edge, also=str(twin.pk)))
    assert "the intervals of 3-A, 3-B taken together" in said.lower().replace("3-a, 3-b", "3-A, 3-B")
    assert "5 dull in" in said


def test_edges_of_other_dies_are_not_taken_together(as_role):
    die, edge = worked(3)
    _, foreign = worked(3, code="H-999")
    store.fit_and_forecast(die.plant)
    said = spoken(page(as_role("lead"), edge, also=str(foreign.pk)))
    assert f"No edge of this die has the number {foreign.pk}." in said
    assert "3 dull in 3 ended intervals" in said


# --- build, and other builds


def test_what_the_edge_was_made_of_before_stays_told(as_role):
    die, edge = worked(3)
    piece = edge.fittings.get(until=None).piece
    made = type(piece).objects.create(
        plant=die.plant, key="better", tool_steel="PM-M4", hardness_hrc=63, grind_allowance_mm=4, opening="new"
    )
    write.log_replacement(by=make.actor(), position=edge, at=make.moment(35), why="other", piece=made)
    make.run(die, 36, 7_000)
    store.fit_and_forecast(die.plant)
    html = page(as_role("lead"), edge)
    section = html[html.index("How it is built, now and before") :]
    now, before = section.index("PM-M4"), section.index("D2")
    assert now < before and "as it is now" in section[:before]
    assert "PM-M4 63" in "".join(t.text or "" for t in bars(html).iter("text")), "the bars show from when on"


def test_another_build_is_answered_as_the_wear_model_does(as_role):
    die, edge = worked()
    store.fit_and_forecast(die.plant)
    shown = told(edge)
    after = builds.built_otherwise(shown.spec, tool_steel="M2", gap_pct=12.0)
    expected = handbook.what_if(shown.fit, shown.spec, after, known=shown.fresh)
    said = spoken(page(as_role("lead"), edge, gap="12", steel="M2"))
    assert f"With M2, gap 12 %, half last longer than about {numbers.hits(expected.after.usual_hits)} hits" in said
    assert f"(8 in 10: {numbers.hits(expected.after.low_hits)} to {numbers.hits(expected.after.high_hits)})" in said
    assert f"instead of {numbers.hits(shown.fresh.usual_hits)}" in said


def test_alternatives_are_other_than_what_is_there_and_lead_to_their_own_answer(as_role):
    client = as_role("lead")
    die, edge = worked(gap_mm=0.12)  # 10 % of 1.2 mm
    store.fit_and_forecast(die.plant)
    others = edge_page.alternatives(told(edge))
    said = [a.words for a in others]
    assert "gap 10 %" not in said and {"gap 8 %", "gap 12 %", "M2", "TiN coating"} <= set(said)
    assert "D2" not in said and "A2" not in said
    html = page(client, edge)
    for other in others:
        asked = dict(other.asked)
        assert f"half last longer than about {numbers.hits(other.what_if.after.usual_hits)}" in spoken(
            page(client, edge, **asked)
        )
    assert 'href="?gap=8#otherwise"' in html


def test_a_gap_far_too_tight_is_named_as_the_cause():
    die, edge = worked(gap_mm=0.03)  # 2.5 % of 1.2 mm
    store.fit_and_forecast(die.plant)
    shown = told(edge)
    said = edge_page.reasons(shown, edge_page.alternatives(shown))
    assert any(line.startswith("Its gap of 2.5 % costs life: at ") for line in said)
    die, edge = worked(code="H-600", gap_mm=0.12)
    store.fit_and_forecast(die.plant)
    shown = told(edge)
    assert not any("costs life" in line for line in edge_page.reasons(shown, edge_page.alternatives(shown)))


def test_an_edge_that_keeps_chipping_is_told_so():
    die = make.die()
    edge = make.position(die, "1-A")
    for n in range(5):
        make.run(die, 2 * n + 1, 10_000)
        make.sharpen(die, 2 * n + 2, edge, why="chipped", found="chipped")
    store.fit_and_forecast(die.plant)
    shown = told(edge)
    reasons = edge_page.reasons(shown, edge_page.alternatives(shown))
    assert any("5 of its 5 intervals ended chipped" in s for s in reasons)


@pytest.mark.parametrize(
    ("asked", "words_"),
    [
        ({"gap": "wide"}, "does not begin with a number"),
        ({"gap": "-3"}, "enter 0.5 to 40 %"),
        ({"gap": "1e999"}, "is too large a number"),
        ({"gap": "nan"}, "does not begin with a number"),
        ({"hardness": "7"}, "enter 40 to 72 HRC"),
        ({"steel": "cheese"}, "cheese is not one of the available choices"),
        ({"coating": "butter"}, "butter is not one of the available choices"),
        ({"also": "x"}, "No edge of this die has the number x."),
        ({"also": "99999999999999999999"}, "No edge of this die has the number"),
    ],
)
def test_what_cannot_be_is_answered_by_a_sentence(as_role, asked, words_):
    die, edge = worked(3)
    store.fit_and_forecast(die.plant)
    said = spoken(page(as_role("lead"), edge, **asked))
    assert words_ in said and "half last longer than about" not in said


def test_what_the_wear_model_refuses_is_told(as_role, monkeypatch):
    die, edge = worked(3)
    store.fit_and_forecast(die.plant)
    client = as_role("lead")

    def refuse(*args, **asked):
        raise SampleRefused("the gap is odd")

    monkeypatch.setattr(builds, "built_otherwise", refuse)
    assert "Not enough is known: the gap is odd." in spoken(page(client, edge, gap="9"))


# --- an edge of which little is known


def test_an_edge_that_nobody_has_run_is_forecast_by_what_such_edges_do(as_role):
    die, _ = worked(5)
    new = make.position(make.die("H-700"), "1-A")
    store.fit_and_forecast(die.plant)
    said = spoken(page(as_role("lead"), new))
    assert "half of the edges like this last over" in said and "Rests on no intervals of this edge, and on" in said
    assert "0 dull ends seen in 1 cycles" in said or "0 dull ends" in said


def test_without_any_forecast_the_handbook_speaks(as_role):
    edge = make.position(make.die(), "1-A")
    said = spoken(page(as_role("lead"), edge))
    assert "half of the edges like this last over" in said and "handbook only" in said


def test_an_empty_place_says_so(as_role):
    die, edge = worked(3)
    write.log_replacement(by=make.actor(), position=edge, at=make.moment(50), why="other", take_out_only=True)
    store.fit_and_forecast(die.plant)
    said = spoken(page(as_role("lead"), edge))
    assert "Nothing is forecast of this edge." in said and "What another gap or steel would do" not in said
    assert "All 4 as a table" in said, "what happened there stays"


# --- readings


def test_readings_are_drawn_against_hits_with_the_tightest_limit(as_role):
    die, edge = worked(3)
    Part.objects.filter(outputs__variant__die=die).update(burr_limit_um=60)
    second = Part.objects.create(number="P-2", burr_limit_um=40)
    Output.objects.create(variant=die.variants.get(), part=second)
    reading(edge, 1.9, "burr height", 20e-6)
    reading(edge, 31.9, "burr height", 12e-6)
    store.fit_and_forecast(die.plant)
    html = page(as_role("lead"), edge)
    assert "Burr height against hits" in html and "limit 40 µm" in html
    assert edge_page.edge_readings(told(edge))["burr height"][0].hits == [20_000]


def test_units_follow_the_person(as_role):
    client = as_role("lead")
    die, edge = worked(2)
    Part.objects.filter(outputs__variant__die=die).update(burr_limit_um=60)
    reading(edge, 1.9, "burr height", 20e-6)
    store.fit_and_forecast(die.plant)
    UserSettings.objects.create(user=User.objects.get(username="lead"), units="inch")
    html = page(client, edge)
    assert "limit 2.4 thou" in html  # 60 um / 25.4
    assert "0.0039 in" in html and "49.3 ksi" in html  # 0.100 mm, 340 MPa / 6.894757
    assert " mm" not in re.sub(r"<svg.*?</svg>", "", html, flags=re.S)


# --- measured wear


def bushing(die, *, limit: float | None = None, quantity: str = "bore clearance", a_day: float = 1e-6):
    """10 um of clearance and 1 um more with every run of 100,000 hits. Half of the die's smallest gap is 30 um."""
    make.position(die, "1-A", gap_mm=0.06)
    more = {"wear_of": "bore clearance", "wear_limit": limit} if limit else {}
    made = make.position(die, "GB-1", kind="bushing", length_mm=None, tool_steel="", hardness_hrc=None, **more)
    for day in range(1, 11):
        make.run(die, day, 100_000)
        if day in (2, 4, 6, 8):
            reading(made, day + 0.5, quantity, 10e-6 + a_day * day, "mm")
    return made


def test_a_piece_without_an_edge_shows_its_wear_and_nothing_of_edges(as_role):
    die = make.die()
    made = bushing(die)
    said = spoken(page(as_role("buyer"), made))
    assert "GB-1 does not cut" in said and "1,000,000 strokes since it was fitted" in said
    assert "It reaches its limit in about 1,000,000 hits" in said  # 30 um at 2,000,000
    assert "Last reading 0.018 mm, limit 0.030 mm" in said and "common practice, no source" in said
    for words_ in ("half of the edges like this", "Its intervals", "What another gap or steel would do"):
        assert words_ not in said


def test_a_piece_at_its_limit_is_said_to_be_with_what_to_mind_when_it_is_changed(as_role):
    client = as_role("lead")
    made = bushing(make.die(), limit=0.015)
    html = page(client, made)
    assert "It is at its limit now." in html and 'class="panel first short"' in html
    assert "Before it is changed" in html and "Lock the press off" in html
    assert "Before it is changed" not in page(client, made, of="bore clearance", limit="30 um")


def test_the_shops_own_limit_and_another_one_asked_for(as_role):
    client = as_role("lead")
    made = bushing(make.die(), limit=0.025)
    said = spoken(page(client, made))
    assert "in about 500,000 hits" in said and "as the shop has set it" in said
    said = spoken(page(client, made, of="bore clearance", limit="24 um"))
    assert "in about 400,000 hits" in said and "asked for here" in said


@pytest.mark.parametrize("limit", ["", "wide", "3 kg", "nan", "1 mm 2", "9" * 400])
def test_a_limit_that_cannot_be_is_answered_by_a_sentence(as_role, limit):
    made = bushing(make.die())
    html = page(as_role("lead"), made, of="bore clearance", limit=limit)
    assert re.search(r'<p class="wrong">[^<]+</p>', html) and "in about 1,000,000 hits" in spoken(html)


def test_a_limit_for_what_was_not_measured_changes_nothing(as_role):
    made = bushing(make.die())
    assert "in about 1,000,000 hits" in spoken(page(as_role("lead"), made, of="the sky", limit="3"))


def test_what_the_readings_do_not_carry_is_said(as_role):
    said = spoken(page(as_role("lead"), bushing(make.die(), a_day=-1e-6)))
    assert "Not enough readings to say when it comes to its limit. No wear is seen: over 600,000 hits" in said


def test_a_pilot_that_nobody_measured_has_its_page(as_role):
    (die, *_) = shop(1)
    said = spoken(page(as_role("lead"), die.positions.get(code="2-P")))
    assert "2-P does not cut" in said and "limit" not in said


def test_the_dies_page_lists_measured_wear_and_leads_to_it(as_role, django_assert_num_queries):
    client = as_role("lead")
    (die, *_) = shop(1)
    address = reverse("diestore:die", args=[die.pk])
    assert "Measured wear" not in as_read(client.get(address))
    with django_assert_num_queries(100, exact=False) as before:
        client.get(address)
    made = make.position(die, "GB-1", kind="bushing", length_mm=None)
    for day in range(20, 28):
        make.run(die, day, 100_000)
        reading(made, day + 0.5, "bore clearance", 10e-6 + 2e-6 * day, "mm")
    store.refresh_die(die)
    with django_assert_num_queries(len(before), exact=False):
        html = as_read(client.get(address))
    panel = html[html.index("Measured wear") :]
    assert reverse("maintenance:edge", args=[made.pk]) in panel and "at its limit now" in panel


# --- the way there, and the entry


def test_rows_plan_and_list_lead_to_the_edge(as_role):
    client, (die, *_) = as_role("lead"), shop(1)
    html = as_read(client.get(reverse("diestore:die", args=[die.pk])))
    for position in die.positions.all():
        assert (
            f'<th scope="row"><a href="{reverse("maintenance:edge", args=[position.pk])}">{position.code}</a>' in html
        )
    limiting = EdgeForecast.objects.filter(forecast__is_newest=True).first().forecast.limiting
    plan = re.search(r'<svg class="plan".*?</svg>', html, re.S)[0]
    there = f'href="{reverse("maintenance:edge", args=[limiting.pk])}"'
    assert there in plan and f"Why {limiting.code} goes dull" in html
    assert there in as_read(client.get(reverse("maintenance:due")))


def test_an_entry_shows_every_piece_of_a_set_and_who_entered_it(as_role):
    client, (die, *_) = as_role("buyer"), shop(1)
    make.run(die, 20, 5_000)
    make.sharpen(die, 21, *die.positions.filter(kind="pierce_punch"), why="with set", removed_mm=0.15)
    work = Work.objects.latest("at")
    said = as_read(client.get(reverse("maintenance:entry", args=["work", work.pk])))
    assert "Ina T." in said and said.count("0.15 mm") >= 2 and "Strike out" not in said
    for code in ("1-A", "2-A"):
        assert f">{code}</a>" in said


def test_a_struck_entry_is_shown_as_such(as_role):
    client, (die, *_) = as_role("lead"), shop(1)
    run = die.runs.first()
    address = reverse("maintenance:entry", args=["run", run.pk])
    assert "Strike out" in as_read(client.get(address))
    write.strike_out(by=make.actor("Nils R."), entry=run, reason="typed twice")
    said = as_read(client.get(address))
    assert "typed twice" in said and "Nils R." in said and "Strike out" not in said


@pytest.mark.parametrize("address", ["run/99999", "nothing/1", "cost/1", "shelf-move/1"])
def test_an_entry_that_is_not_there_is_not_found(as_role, address):
    assert as_role("lead").get(f"/log/entries/{address}/").status_code == 404


def test_an_edge_shows_where_it_sits_in_its_die(as_role):
    client, (die, edge) = as_role("lead"), worked(1)
    other = make.position(die, "4-A")
    html = page(client, edge)
    assert "to-scale" not in html, "nobody said where its places are"
    for n, place in enumerate((edge, other)):
        place.x_mm, place.y_mm = 30.0 * (3 + n), 5.0
        place.save()
    die.feed_pitch_mm = 30
    die.save()
    plan = re.search(r'<svg class="plan to-scale".*?</svg>', page(client, edge), re.S)[0]
    assert ">3-A</text>" in plan and ">4-A</text>" not in plan and 'class="made hole here"' in plan


def test_intervals_stand_on_the_axis_of_the_plot_below_them(as_role):
    """0, 50,000 ... stand at the same share of the width in both drawings, of equal width."""
    _, edge = worked(4)
    store.fit_and_forecast(edge.die.plant)
    html = page(as_role("lead"), edge)
    own = {t.text: float(t.get("x")) for t in bars(html).iter("text") if t.get("class") == "t2 mid"}
    plot = re.search(r'<svg class="plot".*?</svg>', html[html.index('id="record"') :], re.S)[0]
    below = {words_: float(x) for x, words_ in re.findall(r'<text[^>]*x="([\d.]+)"[^>]*>([\d,]+)</text>', plot)}
    shared = sorted(set(own) & set(below))
    assert len(shared) >= 2 and all(own[one] == pytest.approx(below[one], abs=1) for one in shared)


def test_what_another_build_would_do_stands_on_one_scale_with_as_long_as_now_in_its_middle():
    from types import SimpleNamespace as Told

    from maintenance.screens.edge.views import MARK_WIDTH, range_marks

    changes = [(0.5, 0.8, 1.25), (1.0, 1.0, 1.0), (1.5, 2.0, 4.0)]
    told_ = [Told(what_if=Told(times_low=low, times=half, times_high=high)) for low, half, high in changes]
    first, same, last = range_marks(told_)
    assert same.half == pytest.approx(MARK_WIDTH / 2) == same.now and same.band == 2.0
    assert first.half - same.half == pytest.approx(
        same.half - range_marks([*told_, Told(what_if=Told(times_low=1.25, times=1.25, times_high=1.25))])[3].half
    ), "a fifth less is as far as a quarter more"
    assert 0 < first.low < last.low < last.half < last.high < MARK_WIDTH
    assert range_marks([]) == []
