"""From rows to forecasts and back: laws that hold whatever the numbers are."""

import json
from dataclasses import replace

import pytest
from django.core.management import call_command

from diestore import units
from diestore.register.models import Die
from maintenance.forecasts import due, fit, store
from maintenance.log import queries, write
from maintenance.models import DieForecast, EdgeForecast, FleetFit, Run
from maintenance.screens.die import state
from tests import factories as make

pytestmark = pytest.mark.django_db


@pytest.fixture
def shop():
    dies = []
    for n in range(4):
        die = make.die(f"H-90{n}")
        for code in ("1-A", "1-B", "2-A"):
            make.position(die, code, gap_mm=0.1)
        for cycle in range(6):
            for k in range(3):
                make.run(die, 10 * cycle + 2 * k + 1 + n * 0.1, 12_000 + 1000 * n)
            make.sharpen(die, 10 * cycle + 8, die.positions.get(code="1-A"), why="dull")
            make.sharpen(die, 10 * cycle + 8, *die.positions.exclude(code="1-A"), why="with set")
        make.run(die, 70, 9_000)
        dies.append(die)
    return dies


def told(plant):
    return fit.as_json(fit.compute(plant))


def test_the_command_prints_what_the_format_promises(shop, tmp_path):
    out = tmp_path / "f.json"
    call_command("forecast", format="json", output=str(out), verbosity=0)
    answer = json.loads(out.read_text())
    assert [d["die"] for d in answer["dies"]] == ["H-900", "H-901", "H-902", "H-903"]
    assert len(answer["components"]) == 12
    levels = ["0.01", *[f"{p / 100:.2f}" for p in range(5, 100, 5)], "0.99"]
    for row in answer["dies"] + answer["components"]:
        assert list(row["remaining_hits"]) == levels
        hits = list(row["remaining_hits"].values())
        assert hits == sorted(hits) and hits[0] >= 0 and hits[-1] > hits[0]
        assert row["hits_since_sharpening"] == 9000
    die = answer["dies"][0]["remaining_hits"]
    for edge in answer["components"][:3]:
        assert all(die[p] <= edge["remaining_hits"][p] for p in levels)


def test_the_same_records_in_another_order_give_the_same_numbers(shop):
    before = told(shop[0].plant)
    entries = list(Run.objects.order_by("?"))
    for run in entries[:6]:  # struck out and entered again
        write.strike_out(by=make.actor(), entry=run, reason="typed twice")
        write.log_run(by=make.actor(), die=run.die, started=run.started, ended=run.at, hits=run.hits)
    assert told(shop[0].plant) == before


def test_a_refreshed_die_says_the_same_as_the_fleet_and_only_one_word_is_the_newest(shop):
    store.fit_and_forecast(shop[0].plant)
    before = {f.die_id: f.remaining for f in queries.newest_forecasts()}
    again = store.refresh_die(shop[2])
    assert again.remaining == before[shop[2].pk]
    assert DieForecast.objects.filter(is_newest=True).count() == 4
    assert EdgeForecast.objects.count() == 12
    assert FleetFit.objects.count() == 1


def test_more_hits_leave_less_and_a_sharpening_gives_it_back(shop):
    store.fit_and_forecast(shop[0].plant)
    half = queries.newest_forecast(shop[0]).half_hits
    make.run(shop[0], 80, 15_000)
    later = store.refresh_die(shop[0])
    assert later.half_hits < half
    assert later.hits_since_sharpening == 24_000
    make.sharpen(shop[0], 90)
    fresh = store.refresh_die(shop[0])
    assert fresh.hits_since_sharpening == 0
    assert fresh.half_hits > half


def _left_on(code, told):
    return next(edge.share_left for edge in queries.edges_of(told) if edge.position.code == code)


@pytest.mark.parametrize(("why", "found"), [("dull", "dull"), ("dull", "not looked"), ("other", "sharp")])
def test_a_stone_touch_gives_a_share_back_and_the_page_says_from_where_that_is_known(shop, why, found):
    make.run(shop[0], 80, 15_000)
    store.fit_and_forecast(shop[0].plant)
    before = queries.newest_forecast(shop[0])
    of_punch = [_left_on("1-A", before)]
    punch = write.SharpenedPiece(
        position=shop[0].positions.get(code="1-A"), why=why, found=found, removed_mm=0.01,
        operation="dressed in the press",
    )  # fmt: skip
    write.log_sharpening(by=make.actor(), die=shop[0], at=make.moment(90), pieces=[punch])
    after = store.refresh_die(shop[0])
    assert after.hits_since_sharpening == before.hits_since_sharpening == 24_000, "its hits run on"
    of_punch.append(_left_on("1-A", after))
    assert of_punch[0] < of_punch[1] < 0.8, "younger than it was, and far from fresh"
    # A sharpening is another matter.
    write.log_sharpening(by=make.actor(), die=shop[0], at=make.moment(91), pieces=[replace(punch, operation="ground")])
    ground = store.refresh_die(shop[0])
    assert _left_on("1-A", ground) > 0.95
    said = state.rests_on(after)
    assert "A touch with the stone is taken to give back 30 % of what an edge has worn: mostly common practice" in said
    assert "touch with the stone" not in state.rests_on(ground)
    after.rests_on["touched"] = [{"work": "dressed in the press", "share": 0.44, "seen": 23}]
    assert "give back 44 % of what an edge has worn, as learnt from 23 touches here" in state.rests_on(after)


def test_a_die_without_a_cutting_edge_is_refused_in_words(shop):
    bare = make.die("Z-1")
    make.position(bare, "1-A", kind="pilot", length_mm=None)
    store.fit_and_forecast(bare.plant)
    row = queries.newest_forecast(bare)
    assert row.remaining == {} and "nothing to forecast" in row.refusal


def test_a_shop_without_records_is_told_the_handbook_only():
    die = make.die()
    make.position(die)
    row = store.refresh_die(die)
    assert row.rests_on["words"] == "handbook only"
    assert row.half_hits > 0
    assert Die.objects.count() == 1


def test_before_any_run_a_die_rests_on_no_cycle_and_is_as_unsure_as_by_the_handbook():
    die = make.die()
    for n in range(6):
        make.position(die, f"1-{'ABCDEF'[n]}")
    row = store.refresh_die(die)
    assert (row.rests_on["cycles"], row.rests_on["prior_share"]) == (0, 1.0)
    assert {e.rests_on["prior_share"] for e in queries.edges_of(row)} == {1.0}
    said = state.rests_on(row)
    assert "Rests on no intervals of this die." in said and "as wide as by the handbook alone" in said
    assert "%" not in said and "ended dull" not in said
    make.run(die, 1, 20_000)
    assert store.refresh_die(die).rests_on["cycles"] == 6


def test_a_die_on_which_nothing_has_run_is_not_told_to_be_sharpened_first():
    die = make.die()
    position = make.position(die)
    make.order(die, parts=90_000_000)
    row = store.refresh_die(die)
    place = position.pk
    seen = state.of_die(die, units.System.METRIC)
    (due_row,) = [r for r in due.rows() if r.pk == die.pk]
    ready = due.readiness([die.pk], queries.next_order_by_die())[die.pk]
    of_place = next(r for r in seen.rows if r.position.pk == place)
    assert row.rests_on["unrun"] is True and seen.chance < 0.5
    assert {s.standing.word for s in (seen, due_row, ready, of_place)} == {"Plan a stop"}
    make.run(die, 1, 20_000)
    row = store.refresh_die(die)
    # So long a job needs stops inside it whatever is done before; by its chance alone it would be sharpened first.
    assert "unrun" not in row.rests_on and not due.rows()[0].advice.sharpen
    assert {state.of_die(die, units.System.METRIC).standing.word, due.rows()[0].standing.word} == {"Plan a stop"}
    DieForecast.objects.filter(pk=row.pk).update(advice={})
    assert {state.of_die(die, units.System.METRIC).standing.word, due.rows()[0].standing.word} == {"Sharpen first"}


def test_where_the_whole_set_is_always_called_dull_the_page_says_that_one_edge_stands_for_it():
    die = make.die()
    for n in range(5):
        make.position(die, f"1-{'ABCDE'[n]}", gap_mm=0.1)
    for cycle in range(6):
        make.run(die, 10 * cycle + 1, 27_000 + 300 * cycle)  # all still sharp
        make.run(die, 10 * cycle + 4, 4_000 + 400 * cycle)
        make.sharpen(die, 10 * cycle + 8, *die.positions.all(), why="dull")
    make.run(die, 70, 9_000)
    store.fit_and_forecast(die.plant)
    told = queries.newest_forecast(die)
    assert told.rests_on["sets_as_one"] == 6 and told.rests_on["dull_ends"] == 6
    assert "6 times the whole set was called dull, and not which edge was" in state.rests_on(told)
    again = store.refresh_die(die)
    assert (again.remaining, again.rests_on) == (told.remaining, told.rests_on)


def test_an_earlier_moment_knows_nothing_of_what_came_later(shop):
    plant = shop[0].plant
    early = fit.as_json(fit.compute(plant, as_of=make.moment(35)))
    for run in Run.objects.filter(started__gt=make.moment(36)):
        write.strike_out(by=make.actor(), entry=run, reason="never happened")
    assert fit.as_json(fit.compute(plant, as_of=make.moment(35))) == early


@pytest.mark.parametrize(
    ("lot", "sentence"),
    [
        ({"of": "coil", "rest": 12_300, "spread": 0.45}, "The next 12,300 hits are taken from the coil under way"),
        ({"of": "order", "rest": 0, "spread": 0.45}, "what is ahead is taken from jobs like others of this die"),
        ({"of": "", "rest": 0, "spread": 0.2}, "about 20 % more or less from one lot to the next"),
    ],
)
def test_the_page_says_from_what_the_hits_ahead_are_taken(lot, sentence):
    kept = {"cycles": 9, "dull_ends": 2, "chipped_ends": 0, "prior_share": 0.2, "lot": lot}
    assert sentence in state.rests_on(DieForecast(rests_on=kept))
    assert "taken from" not in state.rests_on(DieForecast(rests_on={k: v for k, v in kept.items() if k != "lot"}))


def test_each_edge_keeps_how_it_would_go_once_ground_and_how_often_it_chips(shop):
    store.fit_and_forecast(shop[0].plant)
    die = DieForecast.objects.get(die=shop[0], is_newest=True)
    edges = list(die.edges.all())
    assert len(edges) == 3
    for edge in edges:
        assert edge.fresh.keys() == edge.remaining.keys() == die.fresh["remaining"].keys()
        assert edge.fresh["0.5"] > edge.remaining["0.5"]  # 9,000 hits are on it
        assert all(die.fresh["remaining"][p] <= edge.fresh[p] for p in edge.fresh)
        assert edge.chips_per_million > 0 and edge.thickness_mm > 0
    again = store.refresh_die(shop[0])
    assert {e.position_id: e.fresh for e in again.edges.all()} == {e.position_id: e.fresh for e in edges}
