"""From cycles to life samples: what goes in comes out, by hand."""

from dataclasses import replace

import pytest

from maintenance.clockwork.rows import CutRow, PieceRow, PositionRow, ReadingRow, StockRow
from maintenance.forecasts import samples
from maintenance.life.cycles import CHIPPED, DULL, SHARP
from tests.clockwork.test_cycles import DAY, first, log, run, work


def test_an_edge_enters_the_wear_model_with_what_it_is_built_of():
    stock = {1: StockRow(material="stainless 304", tensile_mpa=620, thickness_mm=0.5)}
    piece = {1: PieceRow(id=1, tool_steel="PM-M4", coating="alcrn", hardness_hrc=65)}
    place = {1: PositionRow(id=1, code="1-A", kind="trim_punch", side="upper", stroke_share=0.5)}
    cut = (CutRow(upper=1, lower=None, length_mm=61, gap_mm=0.055),)
    (spec,) = samples.of_die(log(stocks=stock, pieces=piece, positions=place, cuts=cut), 20 * DAY).specs
    assert (spec.stock_family, spec.tensile_mpa, spec.thickness_mm) == ("stainless", 620, 0.5)
    assert (spec.steel, spec.coating, spec.side, spec.stroke_share) == ("PM", "AlCrN", "upper", 0.5)
    assert spec.gap_pct == pytest.approx(11.0)
    assert spec.hardness_above_usual_hrc is not None and abs(spec.hardness_above_usual_hrc) < 3


def test_another_gap_is_another_edge_and_only_the_last_is_under_way():
    cuts = (
        CutRow(upper=1, lower=None, length_mm=20, gap_mm=0.05, valid_to=5.5 * DAY),
        CutRow(upper=1, lower=None, length_mm=20, gap_mm=0.09, valid_from=5.5 * DAY),
    )
    part = samples.of_die(log(cuts=cuts, works=(work(5.5, "dull"), work(8.5))), 20 * DAY)
    assert [s.gap_pct for s in part.specs] == pytest.approx([5.0, 9.0])
    assert part.current == {1: 1}
    life = samples.Gathered([part]).life
    assert life.edge.tolist() == [0, 1, 1]
    assert life.ended.tolist() == [DULL, SHARP, SHARP]
    assert life.under_way.tolist() == [False, False, True]


def test_dies_are_numbered_through_and_one_without_edges_is_left_out():
    bare = log(die=2, cuts=())
    one, two = log(works=(work(5.5, "chipped"),)), log(die=3)
    parts = [samples.of_die(d, 20 * DAY) for d in (one, bare, two)]
    made = samples.Gathered(parts)
    assert [s.die for s in made.specs] == [0, 1]
    assert made.first == [0, 1, 1]
    assert made.life.ended.tolist() == [CHIPPED, SHARP, SHARP]


def test_a_stock_that_cannot_be_is_refused_with_its_number():
    stock = {1: StockRow(material="low-carbon steel", tensile_mpa=9_000, thickness_mm=1.0)}
    part = samples.of_die(log(stocks=stock), 20 * DAY)
    assert part.specs == [] and "9000" in part.refused[1]


def test_dull_at_the_same_round_count_again_and_again_is_a_habit():
    days, first_runs = [2, 4, 6, 8, 10, 12], [17_310, 21_875, 19_020, 22_111, 16_903, 20_702]
    parts = [(d - 1.9, hits) for d, hits in zip(days, first_runs, strict=True)]
    parts += [(d - 1.2, 30_000 - hits) for d, hits in zip(days, first_runs, strict=True)]
    runs = tuple(run(day, hits) for day, hits in sorted(parts))
    habit = log(runs=runs, works=tuple(work(d - 0.5, "dull") for d in days))
    life = samples.Gathered([samples.of_die(habit, 20 * DAY)]).life
    assert (life.ended == SHARP).all() and life.hits.tolist() == [*first_runs, 0]
    looked = replace(habit, works=tuple(work(d - 0.5, "dull", found="dull") for d in days))
    life = samples.Gathered([samples.of_die(looked, 20 * DAY)]).life
    assert (life.ended == DULL).sum() == 6


def test_dull_at_the_first_look_of_runs_that_are_round_themselves_is_none():
    days = [2, 4, 6, 8, 10, 12]
    runs = tuple(run(d - 1.2, 30_000) for d in days)
    every = log(runs=runs, works=tuple(work(d - 0.5, "dull") for d in days))
    life = samples.Gathered([samples.of_die(every, 20 * DAY)]).life
    assert (life.ended == DULL).sum() == 6


def test_a_position_that_is_no_more_is_not_forecast_but_teaches():
    gone = {1: PositionRow(id=1, code="1-A", kind="pierce_punch", side="upper", valid_to=15 * DAY)}
    part = samples.of_die(log(positions=gone, works=(work(5.5, "dull"),), replacements=(first(),)), 20 * DAY)
    assert part.current == {} and len(part.rows) == 1


def test_readings_of_wear_go_to_their_cycles_and_others_stay_away():
    burr = ReadingRow(at=3 * DAY + 8 * 3600, position=1, quantity="Burr height", value_si=30e-6)
    later = ReadingRow(at=7 * DAY + 8 * 3600, position=1, quantity="wear land", value_si=50e-6)
    other = ReadingRow(at=7 * DAY + 8 * 3600, position=1, quantity="strip force", value_si=900.0)
    one = samples.of_die(log(works=(work(5.5, "dull"),), readings=(burr, later, other)), 20 * DAY)
    two = samples.of_die(log(die=2, readings=(burr,)), 20 * DAY)
    found = samples.Gathered([one, two]).readings
    assert found.row.tolist() == [0, 1, 2]
    assert found.hits.tolist() == [3000, 2000, 3000]
    assert found.value == pytest.approx([30, 50, 30])
    assert found.quantity.tolist() == [0, 1, 0]
    assert samples.Gathered([samples.of_die(log(), 20 * DAY)]).readings is None
