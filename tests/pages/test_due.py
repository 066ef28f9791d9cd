"""Dies due: which die to pull next, and why."""

import datetime as dt
import re

import pytest
from django.urls import reverse

from diestore.register.models import Die
from maintenance.forecasts import due, store
from maintenance.forecasts.stored import chance_of_going
from maintenance.log import bench
from maintenance.log.data import OrderLeft
from maintenance.models import DieForecast, EdgeForecast
from maintenance.screens.due import table
from maintenance.wording.standing import standing
from tests import factories as make

from .as_read import as_read
from .small_shop import more, shop

pytestmark = pytest.mark.django_db
LADDER = {f"{p / 100:g}": 100 * p for p in range(1, 100)}  # the chance of going h hits is 1 - h / 10,000


def page(client, **asked) -> str:
    answer = client.get(reverse("maintenance:due"), asked)
    assert answer.status_code == 200
    return as_read(answer)


def codes(html: str) -> list[str]:
    return re.findall(r'<th scope="row"[^>]*><a href="/dies/\d+/"><strong>([^<]+)</strong>', html)


def test_the_list_takes_the_same_queries_at_three_and_at_thirty(as_role, django_assert_num_queries):
    client = as_role("lead")
    shop(3)
    page(client)  # what a process asks once and keeps is no part of the count
    with django_assert_num_queries(200, exact=False) as few:
        page(client)
    more(3, 30)
    with django_assert_num_queries(len(few)):
        page(client, per_page=50)


@pytest.mark.parametrize("role", ["setter", "toolmaker", "lead", "buyer", "sales", "administrator"])
def test_everybody_who_is_signed_in_sees_it(as_role, role):
    client = as_role(role)
    shop(1)
    assert codes(page(client)) == ["H-000"]


def test_dies_stand_by_the_chance_of_not_finishing_what_is_left(as_role):
    client, dies = as_role("lead"), shop(3)
    for die, parts in zip(dies, (20_000, 400_000, 90_000), strict=True):
        die.orders.update(parts=parts)
    assert codes(page(client)) == ["H-001", "H-002", "H-000"]
    for row in due.rows():
        forecast = DieForecast.objects.get(die=row.pk, is_newest=True)
        assert row.chance == pytest.approx(chance_of_going(forecast.remaining, row.hits_left))
        assert row.half == forecast.half_hits and row.limiting == forecast.limiting.code


def test_what_was_run_for_the_order_is_off_it(as_role):
    client, (die,) = as_role("lead"), shop(1)
    before = due.rows()[0]
    assert (before.hits_left, "30,000 hits to go" in page(client)) == (30_000, True)
    make.run(die, 20, 12_000, order=die.orders.get())
    assert due.rows()[0].hits_left == 18_000


@pytest.mark.parametrize(
    ("column", "rising"),
    [
        ("code", ["H-000", "H-001", "H-002"]),
        ("order_number", ["H-002", "H-001", "H-000"]),
        ("chance", ["H-000", "H-002", "H-001"]),
        ("limiting", ["H-001", "H-000", "H-002"]),
        ("since_sharpened", ["H-002", "H-000", "H-001"]),
        ("half", ["H-002", "H-001", "H-000"]),
        ("due", ["H-001", "H-002", "H-000"]),
        ("hours", ["H-001", "H-000", "H-002"]),
    ],
)
def test_it_sorts_both_ways(as_role, monkeypatch, column, rising):
    def row(n, number, chance, limiting, since, half, day, hours):
        order = OrderLeft(
            order_id=n, number=number, due=dt.date(2026, 12, day), die_id=n, variant_id=None,
            parts=9, parts_left=9, parts_per_hit=1, hits_left=9,
        )  # fmt: skip
        return due.DueRow(
            pk=n + 1, code=f"H-00{n}", description="", order=order, chance=chance, limiting=limiting, limiting_kind="",
            since_sharpened=since, half=half, nine_in_ten=1, hours=hours,
            remaining={"0.1": 1_000, "0.5": half or 3_000, "0.9": 9_000},
            rests_on="", refusal="",
        )  # fmt: skip

    made = [
        row(0, "26-3", 0.9, "2-A", 200, 900, 9, 2.0),
        row(1, "26-2", 0.1, "1-A", 300, 500, 1, 1.0),
        row(2, "26-1", 0.5, "3-A", 100, 100, 5, 3.0),
    ]
    monkeypatch.setattr(due, "listed", lambda plant=None, plants=None: due.Listed(rows=list(made), retired=[]))
    client = as_role("lead")
    assert codes(page(client, sort=column)) == rising
    assert codes(page(client, sort=f"-{column}")) == rising[::-1]


def test_missing_values_do_not_break_the_sorting(as_role):
    client = as_role("lead")
    shop(2)
    bare = make.die("Z-1")
    make.order(bare, "26-9")
    for column in ("chance", "limiting", "since_sharpened", "half", "hours", "due"):
        for sign in ("", "-"):
            assert set(codes(page(client, sort=sign + column))) == {"H-000", "H-001", "Z-1"}


def test_a_die_without_forecast_says_why_and_shows_no_figure(as_role):
    client = as_role("lead")
    shop(1)
    bare = make.die("Z-1")
    make.order(bare, "26-9")
    said = page(client, q="Z-1")
    assert codes(said) == ["Z-1"]
    assert "No forecast has been computed for it yet" in said and "not known" in said
    row = re.search(r"<tbody>.*?</tbody>", said, re.S)[0]
    assert " %" not in row and "9 in 10" not in row
    DieForecast.objects.create(die=bare, as_of=make.START, refusal="No piece with a cutting edge sits in this die.")
    assert "No piece with a cutting edge" in page(client, show="unknown")
    assert "1 without enough records" in page(client)


def test_a_chance_stands_with_its_bar_and_what_it_rests_on(as_role):
    client, (die,) = as_role("lead"), shop(1)
    forecast = DieForecast.objects.get(die=die, is_newest=True)
    forecast.remaining, forecast.half_hits, forecast.nine_in_ten_hits = LADDER, 5_000, 1_000
    forecast.advice = {}
    forecast.rests_on["words"] = "mostly handbook"
    forecast.save()
    die.orders.update(parts=8_750)
    said = page(client)
    assert "12 %" in said or "13 %" in said
    assert "mostly handbook" in said
    assert re.search(r'class="fill short"[^>]*width="8\.0"', said)  # 0.125 of 64
    assert ">5,000</text>" in said and "Half last longer than 5,000; 8 in 10 between 1,000" in said
    assert "One die should be sharpened before its job" in said


def test_it_is_filtered_by_what_stands_and_by_words(as_role):
    client, dies = as_role("lead"), shop(3)
    for die, parts in zip(dies, (100, 5_500, 9_500), strict=True):
        DieForecast.objects.filter(die=die, is_newest=True).update(remaining=LADDER, half_hits=5_000, advice={})
        die.orders.update(parts=parts)
    assert codes(page(client, show="short")) == ["H-002", "H-001"]
    assert codes(page(client, show="close")) == []
    dies[1].orders.update(parts=3_000)
    assert codes(page(client, show="short")) == ["H-002"]
    assert codes(page(client, show="close")) == ["H-001"]
    assert codes(page(client, show="runs")) == ["H-000"]
    taps = re.findall(
        r'<a href="([^"]*)"(?: aria-current="(true)")?>([^<]+?) <b>(\d+)</b>', page(client, q="H-00", show="close")
    )
    assert [(words, int(count)) for _, _, words, count in taps] == [
        ("All", 3), ("See to first", 1), ("Borderline", 1), ("Can run", 1), ("Not known", 0)
    ]  # fmt: skip
    assert [words for _, is_on, words, _ in taps if is_on] == ["Borderline"]
    assert [address for address, *_ in taps][:2] == ["?q=H-00", "?q=H-00&amp;show=short"], "the search stays"
    assert codes(page(client, q="26-0000")) == ["H-000"]
    assert codes(page(client, q="\x00", show="nonsense")) == ["H-002", "H-001", "H-000"], "what cannot be asked is left"


def test_sharpen_first_is_said_where_it_pays_and_says_what_it_buys(as_role):
    """Whatever the chance: where failures are cheap a die runs on, where they are dear it is pulled early."""
    client, (die,) = as_role("lead"), shop(1)
    die.orders.update(parts=2_000)
    rows = DieForecast.objects.filter(die=die, is_newest=True)

    def advise(margin):
        advice = {"hits": [1_000, 100_000], "margin": [margin, margin], "pull": [0, 0], "sharpened": [0.99, 0.9]}
        rows.update(remaining=LADDER, advice=advice)
        return page(client), due.rows()[0]

    html, row = advise(35.0)
    assert (row.standing.word, row.chance) == ("Sharpen first", pytest.approx(0.8))
    assert 0.96 < row.advice.sharpened < 0.98  # between the jobs of which it is kept
    assert row.advice.gain == pytest.approx(35) and "sharpened: 98 %" in html
    assert "One die should be sharpened before its job" in html
    die.orders.update(parts=9_000)
    html, row = advise(-20.0)
    assert row.chance == pytest.approx(0.1) and row.standing.word == "Plan a stop"
    assert "sharpened: " not in html and "No die has to be pulled before its job" in html


def test_the_advice_lies_beside_each_forecast():
    (die,) = shop(1)
    kept = DieForecast.objects.get(die=die, is_newest=True).advice
    assert len(kept["hits"]) == len(kept["margin"]) == len(kept["pull"])
    assert set(kept["assumed"]) >= {"toolroom_rate", "press_rate", "part_worth"}  # no rate is named in this shop
    assert due.rows()[0].advice is not None


def test_hours_are_the_middle_of_the_last_five_sharpenings():
    die = make.die()
    position = make.position(die)
    for day, hours in enumerate((9.0, 1.0, 2.0, 3.0, 4.0, 5.0)):
        make.write.log_sharpening(
            by=make.actor(),
            die=die,
            at=make.moment(day),
            pieces=[make.write.SharpenedPiece(position=position, why="dull")],
            hours=hours,
        )
    store.refresh_die(die)
    told = DieForecast.objects.get(die=die, is_newest=True)
    assert told.usual_hours == 3.0  # of 1, 2, 3, 4, 5: the nine hours are too long ago


def test_the_sentence_says_how_many_and_how_long(as_role):
    client, dies = as_role("lead"), shop(2)
    for die in dies:
        DieForecast.objects.filter(die=die, is_newest=True).update(remaining=LADDER, half_hits=5_000, advice={})
        die.orders.update(parts=9_000)
    said = " ".join(re.sub(r"<[^>]+>", "", page(client)).split())
    assert "2 dies should be sharpened before their job: H-000, H-001, together about 4 hours on the bench." in said


def test_the_common_scale_keeps_every_mark_inside():
    at = table.SCALE.at
    assert at(1) == at(table.LOW) == 10
    assert at(1e12) == at(table.HIGH) == 170
    places = [at(h) for h in (2_000, 20_000, 200_000)]
    assert places[1] - places[0] == pytest.approx(places[2] - places[1], abs=0.1), "ten times as many hits: a step"


@pytest.mark.parametrize(
    ("low", "high", "order", "arrows", "of_order", "words"),
    [
        (1_500, 40_000, 9_000, 0, 0, "8 in 10 between 1,500 and 40,000; the job needs 9,000"),
        (300, 40_000, 9_000, 1, 0, "between 300 (the scale begins at 1,000) and 40,000;"),
        (300, 5_000_000, 9_000, 2, 0, "and 5,000,000 (the scale ends at 2,000,000);"),
        (3_000_000, 5_000_000, 2_500_000, 1, 1, "the job needs 2,500,000 (the scale ends at 2,000,000)"),
        (100, 900, 40, 1, 1, "the job needs 40 (the scale begins at 1,000)"),
    ],
)
def test_what_lies_beyond_the_scale_has_an_arrow_and_says_so(as_role, low, high, order, arrows, of_order, words):
    client, (die,) = as_role("lead"), shop(1)
    half = round((low * high) ** 0.5)
    DieForecast.objects.filter(die=die, is_newest=True).update(
        remaining={"0.1": low, "0.5": half, "0.9": high}, half_hits=half
    )
    die.orders.update(parts=order)
    drawn = re.search(r'<svg viewBox="0 0 180 41".*?</svg>', page(client), re.S)[0]
    assert words in drawn
    band, mark = re.search(r'class="w1" d="([^"]*)"', drawn)[1], re.search(r'class="solid" d="([^"]*)"', drawn)[1]
    assert band.count("v14z") == arrows
    assert ("v8z" in mark) == bool(of_order), "the order's mark turns to the side"
    places = [float(x) for x in re.findall(r"M([\d.]+) ", band + mark)]
    assert all(0 <= x <= 180 for x in places)
    assert ('d=""' in re.search(r'<path class="now"[^>]*>', drawn)[0]) == (half > 2_000_000 or half < 1_000)


def test_how_a_die_stands_follows_its_chance():
    said = [standing(chance_of_order=p, share_left=None).word for p in (0.49, 0.5, 0.79, 0.8)]
    assert said == ["Sharpen first", "Borderline", "Borderline", "Runs"]


def test_what_has_not_run_since_it_was_sharpened_is_not_told_to_be_sharpened():
    said = [standing(chance_of_order=p, share_left=None, unrun=True).word for p in (0.1, 0.5, 0.8)]
    assert said == ["Plan a stop", "Borderline", "Runs"]
    assert standing(chance_of_order=None, share_left=0.05, unrun=True).word == "Plan a stop"


def test_an_order_whose_die_stands_in_another_plant_is_listed_with_it():
    (die, *_) = shop(2)
    here = die.plant
    die.plant = make.plant("far")
    die.save()
    told = {row.code: row for row in due.rows(here)}
    assert set(told) == {"H-000", "H-001"}
    assert told["H-000"].half == DieForecast.objects.get(die=die, is_newest=True).half_hits


def test_a_retired_die_is_taken_off_and_its_order_is_named(as_role):
    first, second, _ = shop(3)
    Die.objects.filter(pk=first.pk).update(status=Die.Status.RETIRED)
    Die.objects.filter(pk=second.pk).update(status=Die.Status.IN_REPAIR)
    client = as_role("lead")
    html = page(client)
    assert codes(html) == [code for code in codes(html) if code != first.code] and len(codes(html)) == 2
    text = re.sub(r"<[^>]+>", "", html)
    number = first.orders.get().number
    assert "1 retired die has an open job and is not listed: " in text
    assert f"{first.code} (job {number})" in text
    assert re.search(rf">{second.code}</strong>.*?in repair", html, re.S) and "in service" not in html
    first.orders.update(closed_at=make.moment(9))
    assert "retired" not in page(client)


def test_a_die_of_which_nothing_is_forecast_is_listed_and_held_too():
    known, unknown = shop(2)
    unknown.forecasts.all().delete()
    bench.hold_die(by=make.actor(), die=unknown, reason="burr")
    rows = {row.pk: row for row in due.rows(make.plant())}
    assert rows.keys() == {known.pk, unknown.pk}
    assert rows[unknown.pk].held == "burr" and rows[unknown.pk].refusal and rows[unknown.pk].since_sharpened is None
    edge = EdgeForecast.objects.get(forecast__die=known, position__code=rows[known.pk].limiting)
    assert rows[known.pk].held == "" and rows[known.pk].since_sharpened == edge.hits_since_sharpening > 0
    bench.hold_die(by=make.actor(), die=known, reason="cracked")
    assert {row.pk: row.held for row in due.rows(make.plant())} == {known.pk: "cracked", unknown.pk: "burr"}
