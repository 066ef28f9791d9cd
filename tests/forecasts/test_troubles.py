"""What mishaps and stops for burr tell of a die's edges: worked out by hand, and on simulated dies of known lives."""

from dataclasses import replace

import numpy as np
import pytest

from maintenance.clockwork.rows import CutRow, PieceRow, PositionRow, ReadingRow, ReplacementRow, RunRow, TroubleRow
from maintenance.forecasts import samples
from maintenance.life import fleet, predict
from tests.clockwork.test_cycles import DAY, H, log, work

STOP, HIT = TroubleRow(at=5.4 * DAY), TroubleRow(at=5.4 * DAY, piece=2)
BY, LOWER = 5_000, 4_000  # hits at 5.4 days, and at the look before: runs of 1,000 from day 1 on, eight hours each


def two_edges(*, lengths=(20, 20), openings=("new", "new"), **more):
    """A punch at position 1 and one at 2, of carbide: the wear model expects the first to go first."""
    places = {n: PositionRow(id=n, code=f"{n}-A", kind="pierce_punch", side="upper") for n in (1, 2)}
    pieces = {1: PieceRow(id=1, tool_steel="D2", opening=openings[0])}
    pieces[2] = PieceRow(id=2, tool_steel="carbide", opening=openings[1])
    fitted = tuple(
        ReplacementRow(at=0.0, sequence=0, key=f"f{n}", position=n, piece=n, why="first", since_start=True)
        for n in places
    )
    cuts = tuple(CutRow(upper=n, lower=None, length_mm=20, gap_mm=0.1) for n in places)
    return log(positions=places, pieces=pieces, replacements=fitted, cuts=cuts, **more)


def told(die_log, as_of=20 * DAY):
    """(position, from, lower, hits, how it ended, under way) of every cycle."""
    return [
        (c.position, c.from_hits, c.lower_hits, c.hits, c.ended_as, c.open)
        for _, c in samples.of_die(die_log, as_of).rows
    ]


def set_ground(day=7.5, **found):
    return tuple(work(day, position=n, n=n, found=found.get(f"at{n}", "")) for n in (1, 2))


def test_an_edge_that_a_mishap_damaged_was_chipped_by_then_and_goes_on_in_the_die_untold():
    rows = told(two_edges(troubles=(HIT,)))
    assert rows == [
        (1, 0, 10_000, 10_000, "sharp", True),
        (2, 0, LOWER, BY, "chipped", False),
        (2, 10_000, 10_000, 10_000, "sharp", True),
    ]
    assert told(two_edges()) == [(n, 0, 10_000, 10_000, "sharp", True) for n in (1, 2)]


@pytest.mark.parametrize(
    ("found", "of_two"),
    [
        ("", (LOWER, BY, "chipped")),
        ("chipped", (LOWER, BY, "chipped")),
        ("sharp", (7_000, 7_000, "sharp")),
        ("dull", (6_000, 7_000, "dull")),
    ],
)
def test_what_was_found_at_the_grinding_wins_over_the_mishap(found, of_two):
    rows = told(two_edges(troubles=(HIT,), works=set_ground(at2=found)))
    assert next(row[2:5] for row in rows if row[0] == 2) == of_two
    assert next(row[2:5] for row in rows if row[0] == 1) == (7_000, 7_000, "sharp")


def test_a_stop_for_burr_puts_the_one_edge_found_dull_before_it():
    rows = told(two_edges(troubles=(STOP,), works=set_ground(at2="dull")))
    assert next(row[2:5] for row in rows[:4] if row[0] == 2) == (LOWER, BY, "dull")
    assert next(row[2:5] for row in rows[:4] if row[0] == 1) == (7_000, 7_000, "sharp")


def test_of_several_found_dull_each_went_at_some_time_since_the_look_before_the_stop():
    rows = told(two_edges(troubles=(STOP,), works=set_ground(at1="dull", at2="dull")))
    assert {row[2:5] for row in rows if not row[5]} == {(LOWER, 7_000, "dull")}


@pytest.mark.parametrize("works", [(), set_ground()])
def test_where_nobody_looked_the_edge_expected_first_stands_for_the_stop(works):
    rows = told(two_edges(troubles=(STOP,), works=works))
    assert [row for row in rows if row[4] == "dull"] == [(1, 0, LOWER, BY, "dull", False)]
    far_run = {1: PieceRow(id=1, tool_steel="D2"), 2: PieceRow(id=2, tool_steel="A2")}
    rows = told(replace(two_edges(troubles=(STOP,), works=works), pieces=far_run))
    assert [row[0] for row in rows if row[4] == "dull"] == [2]


def test_a_stop_is_not_believed_where_all_were_found_sharp_and_says_nothing_of_an_unknown_age():
    assert all(
        row[4] == "sharp" for row in told(two_edges(troubles=(STOP,), works=set_ground(at1="sharp", at2="sharp")))
    )
    assert all(row[4] == "sharp" for row in told(two_edges(troubles=(STOP,), openings=("new", "unknown"))))


def test_two_stops_for_one_dull_edge_are_one_and_one_before_any_hit_tells_nothing():
    again = TroubleRow(at=6.4 * DAY)
    rows = told(two_edges(troubles=(STOP, again)))
    assert [row for row in rows if row[4] == "dull"] == [(1, 0, LOWER, BY, "dull", False)]
    assert all(row[4] == "sharp" for row in told(two_edges(troubles=(TroubleRow(at=0.5 * DAY),))))


def test_a_mishap_and_the_stop_that_it_made_are_one():
    rows = told(two_edges(troubles=(HIT, replace(STOP, at=5.45 * DAY))))
    assert [row[4] for row in rows] == ["sharp", "chipped", "sharp"]


def test_readings_stay_with_the_edge_that_goes_on():
    burr = ReadingRow(at=4.5 * DAY, position=1, quantity="burr height", value_si=30e-6)
    part = samples.of_die(two_edges(troubles=(STOP,), readings=(burr,)), 20 * DAY)
    assert [len(c.readings) for _, c in part.rows if c.position == 1] == [0, 1]
    assert samples.Gathered([part]).life.under_way.sum() == 2


def a_shop(*, stops: bool, dies=10, sets=9, seed=5):
    """Dies of three like edges that are pulled at the look at which the press stops for burr, the whole set ground with
    nobody looking. Lives are Weibull of shape 2.5; returns the logs and each die's true middle life."""
    rng = np.random.default_rng(seed)
    logs, usual = [], []
    for die in range(1, dies + 1):
        scale = 60_000 * np.exp(0.3 * rng.standard_normal())
        places = {n: PositionRow(id=n, code=f"{n}-A", kind="pierce_punch", side="upper") for n in (1, 2, 3)}
        runs, works, troubles, day = [], [], [], 1.0
        for number in range(sets):
            first = (scale * rng.weibull(2.5, 3)).min()
            for _ in range(max(int(np.ceil(first / 6_000)), 1)):
                runs.append(RunRow(started=day * DAY, ended=day * DAY + 8 * H, hits=6_000, variant=1, stock=1))
                day += 1
            troubles.append(TroubleRow(at=runs[-1].ended + 60))
            works += [work(day - 0.5, position=n, n=10 * number + n) for n in places]
        logs.append(
            log(
                die=die, positions=places, pieces={n: PieceRow(id=n, tool_steel="D2") for n in places},
                replacements=tuple(
                    ReplacementRow(at=0.0, sequence=0, key=f"{n}", position=n, piece=n, why="first", since_start=True)
                    for n in places
                ),
                cuts=tuple(CutRow(upper=n, lower=None, length_mm=20, gap_mm=0.1) for n in places),
                runs=tuple(runs), works=tuple(works), troubles=tuple(troubles) if stops else (),
            )
        )  # fmt: skip
        usual.append(scale * (np.log(2) / 3) ** (1 / 2.5))  # at which half of such dies have one dull edge
    return logs, np.array(usual)


def middle_lives(logs) -> np.ndarray:
    """Half of the dies, once sharpened, have a dull or chipped edge by then."""
    made = samples.Gathered([samples.of_die(one, one.last_moment) for one in logs])
    fit = fleet.fit(made.specs, made.life)
    fresh = predict.predict_fleet(fit, made.specs, samples.sharpened_now(made.life))
    return np.array([fresh[die].remaining[0.5] for die in sorted(fresh)])


def test_dies_that_are_stopped_for_burr_are_known_by_it():
    """Without the stops such records hold no dull end at all, and the lives come out of the handbook."""
    logs, usual = a_shop(stops=True)
    with_stops = np.log(middle_lives(logs) / usual)
    without = np.log(middle_lives(a_shop(stops=False)[0]) / usual)
    assert abs(with_stops.mean()) < 0.15 and np.abs(with_stops).mean() < 0.25
    assert np.abs(without).mean() > 2 * np.abs(with_stops).mean()
