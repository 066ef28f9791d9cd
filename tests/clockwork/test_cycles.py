"""Cycles of edges from a die's log, worked out by hand."""

from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from maintenance.clockwork.cycles import History, cycles, lots, rest_of_lot
from maintenance.clockwork.rows import (
    CorrectionRow,
    CutRow,
    DieLog,
    PieceRow,
    PositionRow,
    ReadingRow,
    ReplacementRow,
    RunRow,
    StockRow,
    WorkRow,
)
from maintenance.clockwork.states import states
from maintenance.clockwork.works import OPERATIONS

H, DAY = 3600.0, 86400.0


def run(day, hits, *, order=None, variant=1, stock=1, coil=""):
    return RunRow(
        started=day * DAY, ended=day * DAY + 8 * H, hits=hits, variant=variant, stock=stock, order=order, coil=coil
    )


def work(day, why="with set", found="", position=1, n=0, *, operation="ground", **more):
    return WorkRow(
        at=day * DAY, sequence=n, key=f"w{day}-{position}-{n}", operation=operation, why=why, found=found,
        position=position, removed_mm=0.1, **more,
    )  # fmt: skip


def dressed(day, why="other", found="", **more):
    return work(day, why, found, operation="dressed in the press", **more)


def first(position=1, piece=1):
    return ReplacementRow(
        at=0, sequence=0, key=f"f{position}", position=position, piece=piece, why="first", since_start=True
    )


def log(**more):
    base = {
        "die": 1,
        "code": "A-1",
        "usual_stock": 1,
        "stocks": {1: StockRow(material="low-carbon steel", tensile_mpa=340, thickness_mm=1.0)},
        "positions": {1: PositionRow(id=1, code="1-A", kind="pierce_punch", side="upper")},
        "cuts": (CutRow(upper=1, lower=None, length_mm=20, gap_mm=0.08),),
        "pieces": {1: PieceRow(id=1, tool_steel="D2", hardness_hrc=60, grind_allowance_mm=4.0)},
        "replacements": (first(),),
        "runs": tuple(run(day, 1000) for day in range(1, 11)),
    }
    return DieLog(**(base | more))


def told(cycle):
    return cycle.from_hits, cycle.lower_hits, cycle.hits, cycle.ended_as, cycle.open


def test_dull_lies_between_the_last_look_and_the_end():
    made = cycles(log(works=(work(5.5, "dull"),)), as_of=20 * DAY)
    assert [told(c) for c in made] == [(0, 4000, 5000, "dull", False), (0, 5000, 5000, "sharp", True)]


def test_a_cycle_that_ends_with_the_last_entry_comes_before_the_one_that_begins_there():
    made = cycles(log(runs=(run(1, 9_000), run(3, 25_000)), works=(work(2, "dull"), work(5, "dull"))), 5 * DAY)
    assert [(c.hits, c.open) for c in made] == [(9_000, False), (25_000, False), (0, True)]


def test_ground_with_the_set_says_only_that_it_was_sharp_unless_found_dull():
    assert told(cycles(log(works=(work(5.5),)), 20 * DAY)[0]) == (0, 5000, 5000, "sharp", False)
    assert told(cycles(log(works=(work(5.5, found="dull"),)), 20 * DAY)[0]) == (0, 4000, 5000, "dull", False)
    assert told(cycles(log(works=(work(5.5, "dull", found="sharp"),)), 20 * DAY)[0])[3] == "sharp"
    assert told(cycles(log(works=(work(5.5, "dull", found="not looked"),)), 20 * DAY)[0])[3] == "dull"


@pytest.mark.parametrize(
    ("why", "outcome"),
    [("dull", "dull"), ("broken", "chipped"), ("chipped", "chipped"), ("ground out", "sharp"), ("other", "sharp")],
)
def test_a_replacement_ends_a_cycle_and_the_new_piece_begins_sharp(why, outcome):
    change = ReplacementRow(at=5.5 * DAY, sequence=0, key="r", position=1, piece=2, why=why)
    made = cycles(
        log(
            replacements=(first(), change),
            pieces={1: PieceRow(id=1, tool_steel="D2"), 2: PieceRow(id=2, tool_steel="M2")},
        ),
        20 * DAY,
    )
    assert [c.ended_as for c in made] == [outcome, "sharp"]
    assert [c.build.tool_steel for c in made] == ["D2", "M2"]
    assert (made[1].hits, made[1].open) == (5000, True)


@pytest.mark.parametrize(
    ("opening", "since", "begun", "unknown"),
    [("new", None, 0, False), ("counted", 700, 700, False), ("counted", None, 0, True), ("unknown", None, 0, True)],
)
def test_how_a_piece_entered_the_records(opening, since, begun, unknown):
    piece = PieceRow(id=1, opening=opening, opening_hits_since_sharpening=since)
    made = cycles(log(pieces={1: piece}, works=(work(5.5, "dull"),)), 20 * DAY)
    assert (made[0].from_hits, made[0].unknown_age) == (begun, unknown)
    assert made[0].hits == begun + 5000
    assert not made[1].unknown_age
    state = states(log(pieces={1: piece}), 20 * DAY)[1]
    assert state.hits_since_sharpening == (None if unknown else 10_000 + begun)


def test_a_look_in_mid_cycle_narrows_the_interval_but_not_the_look_that_found_it_dull():
    inside = ReadingRow(at=5 * DAY + 4 * H, position=1, quantity="burr height", value_si=30e-6)
    at_the_end = ReadingRow(at=5 * DAY + 8 * H, position=1, quantity="burr height", value_si=60e-6)
    assert told(cycles(log(works=(work(5.5, "dull"),), readings=(inside,)), 20 * DAY)[0])[:3] == (0, 4500, 5000)
    assert told(cycles(log(works=(work(5.5, "dull"),), readings=(at_the_end,)), 20 * DAY)[0])[:3] == (0, 4000, 5000)


def test_a_stone_touch_is_a_look_and_no_new_edge():
    for why, found in (("other", ""), ("other", "not looked"), ("dull", "sharp"), ("planned", "sharp")):
        made = cycles(log(works=(dressed(5.5, why, found),)), 20 * DAY)
        expected = [(0, 5000, 5000, "sharp", False), (5000, 10_000, 10_000, "sharp", True)]
        assert [told(c) for c in made] == expected, (why, found)
        assert [c.touches for c in made] == [(), (("dressed in the press", 5000),)]
    state = states(log(works=(dressed(5.5, "dull", "dull"),)), 20 * DAY)[1]
    assert (state.hits_since_sharpening, state.grinds) == (10_000, 0)
    assert state.allowance_left_mm == pytest.approx(3.9), "what the stone took is gone all the same"


def test_a_stone_touch_that_found_it_sharp_narrows_when_it_went_dull():
    late = (run(1, 1000), run(2, 1000), run(3, 1000), run(4, 5000))
    inside = dressed(4 + 4 / 24, found="sharp")
    made = cycles(log(runs=late, works=(inside, work(5.5, "dull"))), 20 * DAY)
    assert [told(c)[:4] for c in made][:2] == [(0, 5500, 5500, "sharp"), (5500, 5500, 8000, "dull")]


@pytest.mark.parametrize(
    ("why", "found", "ended"), [("dull", "dull", "dull"), ("dull", "", "dull"), ("other", "chipped", "chipped")]
)
def test_a_stone_touch_that_found_it_dull_ends_its_record_and_its_hits_run_on(why, found, ended):
    made = cycles(log(works=(dressed(5.5, why, found),)), 20 * DAY)
    assert [told(c) for c in made] == [(0, 4000, 5000, ended, False), (5000, 10_000, 10_000, "sharp", True)]
    # How long it then goes tells what the touch gave back: its hits run on, and the touch goes with it.
    made = cycles(log(works=(dressed(5.5, why, found), work(8.5, "dull"))), 20 * DAY)
    assert [told(c) for c in made] == [
        (0, 4000, 5000, ended, False), (5000, 7000, 8000, "dull", False), (0, 2000, 2000, "sharp", True),
    ]  # fmt: skip
    assert [c.touches for c in made] == [(), (("dressed in the press", 5000),), ()]
    made = cycles(log(works=(dressed(5.5, why, found), dressed(7.5), work(8.5, "chipped"))), 20 * DAY)
    assert told(made[2]) == (7000, 7000, 8000, "chipped", False)
    assert made[2].touches == (("dressed in the press", 5000), ("dressed in the press", 7000))


def test_a_new_coat_goes_on_over_its_hits_as_an_edge_of_another_build():
    coated = work(5.5, "planned", "sharp", operation="recoated", coating_after="TiCN")
    made = cycles(log(works=(coated,)), 20 * DAY)
    assert [told(c) for c in made] == [(0, 5000, 5000, "sharp", False), (5000, 10_000, 10_000, "sharp", True)]
    assert [c.build.coating for c in made] == ["", "TiCN"] and made[1].touches == (("recoated", 5000),)
    # On an edge just sharpened there is nothing to give back.
    made = cycles(log(works=(work(5.5), replace(coated, sequence=1))), 20 * DAY)
    assert [c.touches for c in made] == [(), ()] and told(made[1]) == (0, 5000, 5000, "sharp", True)


def test_of_an_edge_of_unknown_age_a_stone_touch_tells_nothing():
    unknown = {1: PieceRow(id=1, opening="unknown")}
    made = cycles(log(pieces=unknown, works=(dressed(5.5, "dull", "dull"),)), 20 * DAY)
    assert [(told(c), c.unknown_age) for c in made] == [((0, 10_000, 10_000, "sharp", True), True)]


def test_edges_count_only_strokes_that_cut():
    position = PositionRow(
        id=1, code="1-A", kind="pierce_punch", side="upper", stroke_share=0.5, variants=frozenset({7})
    )
    runs = (run(1, 1000, variant=7), run(2, 1000, variant=8), run(3, 600, variant=7))
    without = CorrectionRow(at=4 * DAY, hits=50, variant=7, with_stock=False)
    made = cycles(log(positions={1: position}, runs=runs, corrections=(without,)), 20 * DAY)
    assert told(made[0]) == (0, 800, 800, "sharp", True)


def test_guides_count_strokes_without_stock_too():
    guide = PositionRow(id=2, code="G", kind="bushing", side="upper")
    more = log(
        positions={2: guide}, cuts=(), pieces={2: PieceRow(id=2)}, replacements=(first(2, 2),), runs=(run(1, 1000),),
        corrections=(CorrectionRow(at=4 * DAY, hits=50, variant=1, with_stock=False),),
    )  # fmt: skip
    assert states(more, 20 * DAY)[2].hits_since_fitted == 1050
    assert cycles(more, 20 * DAY) == []


def test_a_lot_is_an_order_or_runs_without_a_long_pause():
    runs = (run(1, 10, order=5), run(2, 10, order=6), run(3, 10, order=5), run(4, 10), run(4.6, 10), run(8, 10))
    assert lots(runs) == [0, 1, 0, 2, 2, 3]


def test_what_is_left_of_the_grind_allowance():
    state = states(log(works=(work(5.5, "dull"), work(7.5))), 20 * DAY)[1]
    assert (state.grinds, state.hits_since_sharpening, state.life_hits) == (2, 3000, 10_000)
    assert state.allowance_left_mm == pytest.approx(3.8)


def test_a_piece_that_moves_takes_its_hits_along():
    positions = {i: PositionRow(id=i, code=f"{i}-A", kind="pierce_punch", side="upper") for i in (1, 2)}
    out = ReplacementRow(at=3.5 * DAY, sequence=0, key="o", position=1, piece=None, why="other")
    into = ReplacementRow(at=4.5 * DAY, sequence=0, key="i", position=2, piece=1, why="first")
    moved = log(
        positions=positions, replacements=(first(), out, into),
        cuts=tuple(CutRow(upper=i, lower=None, length_mm=20, gap_mm=0.08) for i in (1, 2)),
    )  # fmt: skip
    made = cycles(moved, 20 * DAY)
    assert (made[-1].from_hits, made[-1].hits, made[-1].position) == (3000, 9000, 2)
    bench = WorkRow(at=4 * DAY, sequence=0, key="b", operation="ground", why="planned", piece=1, removed_mm=0.2)
    made = cycles(replace(moved, works=(bench,)), 20 * DAY)
    assert (made[-1].from_hits, made[-1].hits) == (0, 6000)
    assert states(replace(moved, works=(bench,)), 20 * DAY)[2].hits_since_sharpening == 6000


@settings(max_examples=40, deadline=None)
@given(st.lists(st.tuples(st.integers(2, 20), st.sampled_from(["dull", "with set", "chipped"])), max_size=8), st.data())
def test_order_of_entries_and_splits_of_a_run_change_no_cycle_length(entries, data):
    works = tuple(work(day - 0.5, why, n=i) for i, (day, why) in enumerate(entries))
    whole = log(works=works, runs=tuple(run(day, 900) for day in range(1, 20)))
    k = data.draw(st.integers(0, 18))
    cut = whole.runs[k]
    middle = cut.started + 2 * H
    parts = (replace(cut, ended=middle, hits=300), replace(cut, started=middle, hits=600))
    split = replace(whole, works=works[::-1], runs=whole.runs[:k] + parts + whole.runs[k + 1 :])
    one, two = cycles(whole, 30 * DAY), cycles(split, 30 * DAY)
    assert [(c.hits, c.ended_as, c.open) for c in one] == [(c.hits, c.ended_as, c.open) for c in two]
    assert sum(c.hits - c.from_hits for c in one) == 900 * 19
    moment = data.draw(st.floats(0, 30)) * DAY  # walked through once, the cycles at any moment are those up to it
    assert History(split, 30 * DAY).at(moment) == cycles(split, moment)


def test_a_gap_is_that_of_its_time_and_where_none_is_told_that_of_the_time_next_to_it():
    def cut(gap_mm, since=None, until=None):
        return CutRow(upper=1, lower=None, length_mm=20, gap_mm=gap_mm,
                      valid_from=since and since * DAY, valid_to=until and until * DAY)  # fmt: skip

    def gaps(*cuts):
        made = cycles(log(cuts=cuts, works=(work(3.5, "dull"), work(6.5, "dull"), work(9.5, "dull"))), 20 * DAY)
        return [c.build.gap_mm for c in made]

    assert gaps(cut(0.02, None, 6.5), cut(0.03, 6.5)) == [0.02, 0.02, 0.03, 0.03]
    # Told only from the fourth day on, and otherwise from the tenth: the first cycle is as those after it.
    assert gaps(cut(0.05, 4, 9.5), cut(0.02, 9.5)) == [0.05, 0.05, 0.05, 0.02]
    # In a cycle that saw both, the gap that most hits were run with.
    assert gaps(cut(0.02, None, 4.5), cut(0.03, 4.5)) == [0.02, 0.03, 0.03, 0.03]
    assert gaps(cut(0.02, None, 5.9), cut(0.03, 5.9)) == [0.02, 0.02, 0.03, 0.03]
    # What was not known then is not known: the gap of later says nothing of it.
    assert gaps(cut(None, None, 6.5), cut(0.03, 6.5)) == [None, None, 0.03, 0.03]
    # A cut that is no more tells how it was; the tightest of several counts.
    assert gaps(cut(0.02, None, 2), cut(0.04, 2, 5)) == [0.04, 0.04, 0.04, 0.04]
    assert gaps(cut(0.02, None, 6.5), cut(0.03, 6.5), cut(0.025)) == [0.02, 0.02, 0.025, 0.025]


def test_a_named_coil_is_the_lot_else_the_order_else_a_pause():
    runs = [run(1, 9, coil="C 7", order=3), run(2, 9, order=3), run(3, 9, coil=" c  7"), run(4, 9, coil="C 8", order=3)]
    assert lots(runs) == [0, 1, 0, 2]
    assert lots([run(1, 9), run(1.4, 9), run(1.8, 9, coil="C 9"), run(2.2, 9)]) == [0, 0, 1, 2]


def test_a_cycle_says_which_lots_it_cut_and_with_how_many_hits():
    runs = (run(1, 1000, coil="A"), run(2, 600, coil="A"), run(3, 800, coil="B"), run(4, 500, coil="A"))
    position = {1: PositionRow(id=1, code="1-A", kind="pierce_punch", side="upper", stroke_share=0.5)}
    found = cycles(log(runs=runs, positions=position, works=(work(2.5), work(3.2))), 9 * DAY)
    assert [c.passed for c in found] == [((0, 800.0),), ((1, 240.0),), ((1, 160.0), (0, 250.0))]
    assert [sum(hits for _, hits in c.passed) for c in found] == [c.hits for c in found]


def test_strokes_of_another_set_of_inserts_are_of_no_lot_of_an_edge():
    position = {1: PositionRow(id=1, code="1-A", kind="pierce_punch", side="upper", variants=frozenset({2}))}
    runs = (run(1, 1000, coil="A", variant=2), run(2, 600, coil="B"), run(3, 800, coil="C", variant=2))
    (only,) = cycles(log(runs=runs, positions=position), 9 * DAY)
    assert only.passed == ((0, 1000.0), (2, 800.0)) and only.hits == 1800


def test_what_is_left_of_the_lot_under_way():
    ordered = log(runs=(run(1, 1000, order=4), run(2, 600, order=5)))
    assert rest_of_lot(ordered, 9 * DAY, order=5, hits_left=4400) == 4400
    assert rest_of_lot(ordered, 9 * DAY, order=4, hits_left=4400) == 0  # not the one that ran last
    assert rest_of_lot(ordered, 9 * DAY) == 0 and rest_of_lot(ordered, 0.5 * DAY) == 0
    coils = [run(day, hits, coil=f"C{day}") for day, hits in ((1, 900), (2, 1000), (3, 1400), (4, 300))]
    assert rest_of_lot(log(runs=tuple(coils)), 9 * DAY, order=5, hits_left=4400) == 700
    assert rest_of_lot(log(runs=tuple(coils)), 3.9 * DAY) == 0  # two have run out: no usual one
    longer = log(runs=(*coils, run(5, 1200, coil="c4")))
    assert rest_of_lot(longer, 9 * DAY) == 0


@pytest.mark.parametrize(
    ("operation", "since_sharpened", "allowance_mm", "coating"),
    [
        ("ground", 5_000, 3.9, "TiN"),
        ("turned to a fresh edge", 5_000, 4.0, "TiN"),
        ("welded and recut", 5_000, 4.0, "TiN"),
        ("dressed in the press", 10_000, 3.9, "TiN"),
        ("recoated", 10_000, 4.0, "AlCrN"),
        ("spacer", 10_000, 4.0, "TiN"),
        ("repaired", 10_000, 4.0, "TiN"),
    ],
)
def test_each_work_resets_its_own_clock_and_takes_its_own_amount(operation, since_sharpened, allowance_mm, coating):
    """The clock of the life of the piece goes on through all of them."""
    done = work(5.5, "other", operation=operation, coating_after="AlCrN" if operation == "recoated" else "")
    removed = 0.1 if OPERATIONS[operation].removes else None
    piece = {1: PieceRow(id=1, tool_steel="D2", coating="TiN", grind_allowance_mm=4.0)}
    known = log(works=(replace(done, removed_mm=removed),), pieces=piece)
    state = states(known, 20 * DAY)[1]
    assert (state.hits_since_sharpening, state.allowance_left_mm) == (since_sharpened, pytest.approx(allowance_mm))
    assert state.life_hits == 10_000 and cycles(known, 20 * DAY)[-1].build.coating == coating
    assert len(OPERATIONS) == 7, "another sort of work gets its line here"
