"""A die's page: what it says first, the plan, the components, the ribbon, the log."""

import datetime as dt
import re

import pytest
from django.contrib.auth.models import User
from django.urls import reverse

from diestore import units
from diestore.access.models import UserSettings
from diestore.register import panels
from diestore.register.models import Cut, Die, Output, Part, Variant
from maintenance.forecasts import store
from maintenance.log import write
from maintenance.models import DieForecast, EdgeForecast, Order
from maintenance.screens.die import state as die_state
from tests import factories as make

from .as_read import as_read
from .small_shop import shop

pytestmark = pytest.mark.django_db


def page(client, die, **asked) -> str:
    answer = client.get(reverse("diestore:die", args=[die.pk]), asked)
    assert answer.status_code == 200
    return as_read(answer)


def spoken(html: str) -> str:
    """The page's words without its marks."""
    return " ".join(re.sub(r"<[^>]+>", " ", html).split())


def row_of(html: str, code: str) -> str:
    return re.search(rf'<tr id="c-{code}".*?</tr>', html, re.S)[0]


def say(die: Die, **told) -> DieForecast:
    """Put words into the stored forecast's mouth: what the page must repeat."""
    forecast = DieForecast.objects.get(die=die, is_newest=True)
    for name, value in told.items():
        setattr(forecast, name, value)
    forecast.save()
    return forecast


@pytest.mark.parametrize("role", ["setter", "toolmaker", "lead", "buyer", "sales", "administrator"])
def test_everybody_who_is_signed_in_sees_how_a_die_stands(as_role, role):
    client, (die, *_) = as_role(role), shop(2)
    said = page(client, die)
    assert "H-000" in said and "What is left" in said and "9 in 10 last longer" in said
    assert "Rests on" in said and "26-0000" in said
    assert ("Log a run" in said) == (role in ("setter", "toolmaker", "lead", "administrator"))
    assert ("strike out" in said) == (role in ("lead", "administrator"))


def test_the_page_takes_the_same_queries_whatever_the_die_has(as_role, django_assert_num_queries):
    client = as_role("lead")
    die, big = shop(2)
    client.get(reverse("diestore:die", args=[die.pk]))
    with django_assert_num_queries(300, exact=False) as few:
        page(client, die)
    for n in range(3, 30):
        make.position(big, f"{n}-A")
    for day in range(40):
        make.run(big, 30 + day, 5_000)
        make.sharpen(big, 30.5 + day, *big.positions.filter(kind="pierce_punch"))
    make.order(big, "26-9999")
    store.fit_and_forecast(big.plant)
    with django_assert_num_queries(len(few)):
        page(client, big)


LADDER = {f"{p / 100:g}": 100 * p for p in range(1, 100)}  # the chance of going h hits is 1 - h / 10,000


@pytest.mark.parametrize(
    ("hits_left", "verdict", "chance"),
    [
        (300, "It will very likely finish job 26-0000", "29 in 30"),
        (2_500, "It will probably finish job 26-0000", "3 in 4"),
        (4_500, "Touch and go for job 26-0000", "even"),
        (6_000, "It may not finish job 26-0000", "2 in 5"),
        (8_750, "It will probably not finish job 26-0000", "1 in 8"),
    ],
)
def test_the_page_says_first_whether_the_order_will_be_finished(as_role, hits_left, verdict, chance):
    client, (die, *_) = as_role("setter"), shop(1)
    say(die, remaining=LADDER, half_hits=5_000, nine_in_ten_hits=1_000, limiting=die.positions.get(code="2-A"))
    die.orders.update(parts=hits_left)
    said = spoken(page(client, die))
    assert f"{verdict} : {hits_left:,} hits are left to run" in said
    assert f"dull or chipped edge is {chance} . Edge 2-A" in said


def test_what_is_left_is_said_as_it_was_stored(as_role):
    client, (die, *_) = as_role("setter"), shop(1)
    say(
        die,
        remaining=LADDER,
        half_hits=5_000,
        nine_in_ten_hits=1_000,
        rests_on={
            "cycles": 41,
            "dull_ends": 9,
            "chipped_ends": 0,
            "prior_share": 0.06,
            "words": "this die's records and the shop's",
        },
    )
    said = spoken(page(client, die))
    assert "5,000 hits as likely more as less 9 in 10 last longer than 1,000 , 1 in 10" in said
    assert "longer than 9,000" in said
    assert "Rests on 41 intervals of this die, of which 9 ended dull and none chipped, and on" in said
    assert (
        "The range of the usual hits is 24 % as wide as by the handbook alone." in said
    )  # the root of a ratio of variances


def test_a_figure_on_the_dies_page_never_stands_without_what_it_rests_on(as_role):
    client, (die, *_) = as_role("lead"), shop(1)
    said = page(client, die)
    for code in ("1-A", "2-A"):
        row = row_of(said, code)
        figures = re.findall(r'<td class="num(?: div)?">([\d,]+)<small>([^<]*)</small>', row)
        assert len(figures) == 2, "half last, 9 in 10 last"
        assert "interval" in figures[0][1] and "handbook" in figures[1][1]


def test_an_edge_with_nothing_to_say_says_why_and_shows_no_figure(as_role):
    client, (die, *_) = as_role("lead"), shop(1)
    edge = EdgeForecast.objects.get(forecast__die=die, position__code="1-A", forecast__is_newest=True)
    edge.remaining, edge.refusal = {}, "Nothing can be said of 1-A: no thickness."
    edge.save()
    row = row_of(page(client, die), "1-A")
    assert "no thickness" in row and "handbook" not in row and "Not known" in row


def test_without_a_forecast_the_page_says_so_and_shows_no_figure(as_role):
    client, die = as_role("lead"), make.die()
    make.position(die)
    said = page(client, die)
    assert "No forecast has been computed yet" in said
    assert "9 in 10 last longer" not in said and "as likely more as less" not in said


def test_a_refused_die_says_why(as_role):
    client, (die, *_) = as_role("lead"), shop(1)
    say(die, remaining={}, refusal="Nothing can be said of 1-A: 0 dull ends seen.")
    said = page(client, die)
    assert "0 dull ends seen" in said and "Nothing is forecast for this die" in said
    assert "9 in 10 last longer" not in said


def test_an_empty_die_says_that_nothing_is_entered(as_role):
    client, die = as_role("lead"), make.die()
    store.fit_and_forecast(die.plant)
    said = page(client, die)
    assert "No position is entered" in said and "No piece with a cutting edge" in said
    assert "<thead><tr><th scope" not in said, "no empty tables"


def test_units_follow_the_person(as_role):
    client, (die, *_) = as_role("lead"), shop(1)
    assert "0.100 mm" in row_of(page(client, die), "1-A")
    UserSettings.objects.create(user=User.objects.get(username="lead"), units="inch")
    said = page(client, die)
    assert "0.0039 in" in row_of(said, "1-A")  # 0.100 mm / 25.4
    assert "49.3 ksi" in said  # 340 MPa / 6.894757 MPa: NIST SP 811 (2008), appendix B
    assert " mm" not in re.sub(r"<svg.*?</svg>", "", said, flags=re.S)


def test_the_gap_is_told_per_side_and_as_share_of_the_stock(as_role):
    client, die = as_role("lead"), make.die(of=make.stock(thickness_mm=1.2))
    make.position(die, gap_mm=0.09)
    assert "<small>7.5 %</small>" in row_of(page(client, die), "1-A")  # 0.09 / 1.2


def test_grinds_left_are_counted_only_from_grinds_that_were_measured(as_role):
    client, die = as_role("lead"), make.die()
    position = make.position(die, allowance_mm=4.0)
    make.run(die, 1)
    row = row_of(page(client, die), "1-A")
    assert "4.00 mm" in row and "grind" not in row.replace("Grind", "")
    make.sharpen(die, 2, position, removed_mm=0.25)
    row = row_of(page(client, die), "1-A")
    assert "3.75 mm" in row and "15 grinds" in row  # (4.00 - 0.25) / 0.25


def test_inserts_that_the_order_does_not_need_do_not_count(as_role):
    client, die = as_role("lead"), make.die()
    short, long = make.position(die, "1-S"), make.position(die, "1-L")
    standard = die.variants.get()
    other = Variant.objects.create(die=die, code="long")
    part = Part.objects.create(number="P-long")
    Output.objects.create(variant=other, part=part)
    short.variants.add(standard), long.variants.add(other)
    make.run(die, 1, 20_000, variant=standard)
    Order.objects.create(
        plant=die.plant, number="26-L", part=part, die=die, parts=5_000, due=dt.date(2026, 1, 1), placed_at=make.START
    )
    store.fit_and_forecast(die.plant)
    said = page(client, die)
    assert "Not in this job" in row_of(said, "1-S")
    assert "Not in this job" not in row_of(said, "1-L")


def test_a_gap_out_of_line_is_named_as_what_is_known_of_the_limiting_edge():
    die = make.die()
    tight = make.position(die, "1-A", gap_mm=0.04)
    for code in ("2-A", "3-A", "4-A"):
        make.position(die, code, gap_mm=0.10)
    make.run(die, 1, 20_000)
    store.fit_and_forecast(die.plant)
    state = die_state.of_die(die, units.System.METRIC)
    assert state.limiting.position == tight, "the tightest gap goes dull first by the handbook"
    assert "its gap is the tightest in the die" in die_state.headline(state)["why"]
    Cut.objects.filter(die=die).update(gap_mm=0.10)
    again = die_state.headline(die_state.of_die(die, units.System.METRIC))
    assert "gap" not in again["why"]


def test_a_struck_entry_stays_visible_with_its_reason_and_by_whom(as_role):
    client, (die, *_) = as_role("lead"), shop(1)
    run = die.runs.order_by("-at").first()
    write.strike_out(by=make.actor("Nils R."), entry=run, reason="typed twice")
    store.refresh_die(die)
    said = page(client, die)
    row = re.search(r'<tr class="struck">.*?</tr>', said, re.S)[0]
    assert "20,000 hits" in row and "Struck out by Nils R." in row and "typed twice" in row
    assert "strike out</a>" not in row, "it cannot be struck out again"


def test_the_log_is_paged(as_role):
    client, (die, *_) = as_role("setter"), shop(1)
    for n in range(12):
        make.run(die, 40 + n, 4_001 + n)
    first, second = page(client, die), page(client, die, entries=2)
    assert "Ran 4,012 hits" in first and "Ran 4,012 hits" not in second and "Ran 9,000 hits" in second
    assert page(client, die, entries="nonsense").count("Ran 4,012 hits") == 1


def test_every_mark_of_the_plan_leads_to_its_row_and_carries_its_figures(as_role):
    client, (die, *_) = as_role("lead"), shop(1)
    said = page(client, die)
    plan = re.search(r'<svg class="plan".*?</svg>', said, re.S)[0]
    for there in re.findall(r'<a href="#([^"]+)">', plan):
        assert f'id="{there}"' in said
    assert len(re.findall(r'<a href="#', plan)) == die.positions.count()
    assert "of its usual hits are left" in plan and "limits the die" in plan


def test_twenty_stations_and_sixty_positions_are_drawn(as_role):
    client, die = as_role("lead"), make.die()
    for n in range(1, 21):
        for letter in "ABC":
            make.position(die, f"{n}-{letter}", side="lower" if letter == "C" else "upper",
                          kind="die_section" if letter == "C" else "pierce_punch")  # fmt: skip
    said = page(client, die)
    assert said.count('href="#c-') >= 60 and 'class="beside whole"' in said


def test_the_ribbon_names_what_ended_a_cycle(as_role):
    client, (die, *_) = as_role("lead"), shop(1)
    make.run(die, 20, 8_000)
    make.sharpen(die, 21, die.positions.get(code="2-A"), why="with set", found="chipped")
    store.refresh_die(die)
    ribbon = re.search(r'<svg[^>]*class="ribbon".*?</svg>', page(client, die), re.S)[0]
    assert ">1-A dull</text>" in ribbon and ">2-A chipped</text>" in ribbon
    assert "job 26-0000" in ribbon and "even chance by" in ribbon


def note(request, die) -> str:
    return f"<p>note on {die}</p>"


def test_a_panel_is_shown_to_those_who_may_see_it(as_role, monkeypatch):
    named = panels.Panel(f"{__name__}.note", "diestore.see_cost")
    monkeypatch.setattr(panels, "PANELS", (named, *panels.PANELS))
    (die, *_) = shop(1)
    assert "note on H-000" in page(as_role("sales"), die)
    assert "note on H-000" not in page(as_role("setter"), die)


def test_an_edge_that_shares_the_end_with_many_is_not_said_to_decide(as_role):
    client, (die, *_) = as_role("setter"), shop(1)
    limiting = DieForecast.objects.get(die=die, is_newest=True).limiting
    for first, told in ((0.1, "No one edge limits it: 2-A is the likeliest to stop it (1 time in 10)"),
                        (0.8, "Edge 2-A limits it (dull or chipped first 4 times in 5)")):  # fmt: skip
        EdgeForecast.objects.filter(position=limiting, forecast__is_newest=True).update(first_to_go=first)
        said = re.sub(r"\s+", " ", re.sub(r"<[^>]+>", "", page(client, die)))
        assert told.replace("2-A", limiting.code) in said


def placed(die) -> None:
    """So far apart, so that the plan is to scale."""
    die.feed_pitch_mm, die.strip_width_mm = 30, 50
    die.save()
    for n, place in enumerate(die.positions.order_by("code")):
        place.x_mm, place.y_mm = 30 * place.station.sequence, 5 * n
        place.save()


def test_with_its_coordinates_a_die_is_drawn_to_scale_and_its_stations_open(as_role):
    client, (die, *_) = as_role("setter"), shop(1)
    placed(die)
    said = page(client, die)
    plan = re.search(r'<svg class="plan to-scale".*?</svg>', said, re.S)[0]
    for there in re.findall(r'<a href="#([^"]+)">', plan):
        assert f'id="{there}"' in said
    assert len(re.findall(r'<a href="#', plan)) == die.positions.count()
    assert "of its usual hits are left" in plan and "limits the die" in plan
    address = reverse("maintenance:die_station", args=[die.pk, "2"])
    assert f'href="{address}"' in plan
    opened = as_read(client.get(address))
    assert (
        'id="c-2-A"' in opened and "2-P" in opened and 'id="c-1-A"' not in opened and 'class="plan to-scale"' in opened
    )
    asked = as_read(client.get(address, {"complain": "1"}))
    assert "place=2-A" in asked and "Tap the position that the press complains of" in asked
    assert client.get(reverse("maintenance:die_station", args=[die.pk, "9"])).status_code == 404


def test_a_place_without_figures_leaves_the_plan_along_the_strip(as_role):
    client, (die, *_) = as_role("setter"), shop(1)
    placed(die)
    die.positions.filter(code="2-P").update(x_mm=None)
    said = page(client, die)
    assert '<svg class="plan"' in said and "to-scale" not in said
    assert 'id="c-2-A"' in as_read(client.get(reverse("maintenance:die_station", args=[die.pk, "2"])))


def test_the_time_line_has_a_lane_a_side_and_one_for_each_edge_that_went_dull(as_role):
    client, (die, *_) = as_role("lead"), shop(1, fit=False)
    with make.one_forecast(die):
        make.sharpen(die, 9.5, die.positions.get(code="2-A"), found="dull")
        make.run(die, 10, 4_000)
    store.fit_and_forecast(die.plant)
    drawn = re.search(r'<svg[^>]*aria-labelledby="teeth-title.*?</svg>', page(client, die), re.S)[0]
    assert "Punch side" in drawn and ">2-A</text>" in drawn and "last entry, " in drawn
    assert re.search(r"<desc[^>]*>[^<]*2-A: 4,000 of [\d,]+\.", drawn), "the same in words"
