"""Clocks against a naive loop, and their laws."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from maintenance.clockwork.clock import Clock

H = 3600.0


def naive(runs, moment):
    """Hits at a moment, run by run: the plain second implementation."""
    total = 0
    for started, ended, hits in runs:
        if ended == started:
            total += hits if moment >= ended else 0
        elif moment >= ended:
            total += hits
        elif moment > started:
            total += int(hits * ((moment - started) / (ended - started)))
    return total


@st.composite
def disjoint_runs(draw):
    moments = sorted(draw(st.lists(st.integers(0, 10_000), min_size=2, max_size=24, unique=True)))
    return [
        (float(a), float(b), draw(st.integers(1, 100_000))) for a, b in zip(moments[::2], moments[1::2], strict=False)
    ]


def test_half_open_at_both_ends():
    clock = Clock.of([0, 10 * H], [5 * H, 12 * H], [1000, 400])
    assert clock.at(0).hits == 0
    assert clock.at(5 * H).hits == 1000 and not clock.at(5 * H).estimated
    assert clock.at(10 * H).hits == 1000
    assert clock.at(11 * H).hits == 1200 and clock.at(11 * H).estimated
    assert clock.at(12 * H).hits == clock.total == 1400


def test_a_count_taken_inside_a_run_wins_over_the_split_by_time():
    clock = Clock.of([0], [10 * H], [1000])
    assert clock.at(5 * H, hits_into_run=130).hits == 130
    assert not clock.at(5 * H, hits_into_run=130).estimated
    assert clock.at(5 * H, hits_into_run=5000).hits == 1000  # never more than the run had


def test_a_correction_inside_a_run_keeps_the_total_and_its_moment():
    clock = Clock.of([0, 5 * H], [10 * H, 5 * H], [1000, -100])
    assert clock.total == 900
    assert clock.at(5 * H).hits == 400
    assert clock.at(10 * H).hits == 900


def test_last_look_is_the_start_of_the_last_run_begun():
    clock = Clock.of([0, 10 * H, 20 * H], [5 * H, 12 * H, 22 * H], [1000, 400, 50])
    assert [clock.last_look(h * H) for h in (5, 6, 11, 12, 19, 30)] == [0, 0, 1000, 1000, 1000, 1400]
    assert Clock.of([], [], []).last_look(1.0) == 0


@settings(max_examples=60, deadline=None)
@given(disjoint_runs(), st.lists(st.integers(-10, 10_010), min_size=1, max_size=20))
def test_a_look_knows_the_hits_before_the_last_run_begun(runs, moments):
    clock = Clock.of(*np.array(runs, float).reshape(-1, 3).T) if runs else Clock.of([], [], [])
    for moment in moments:
        begun = [started for started, _, _ in runs if started < moment]
        assert clock.last_look(moment) == (naive(runs, max(begun)) if begun else 0)


@pytest.mark.parametrize("runs", [([0, 1], [2, 3], [1, 1]), ([0, 0], [2, 3], [1, 1])])
def test_overlap_is_refused(runs):
    with pytest.raises(ValueError, match="overlap"):
        Clock.of(*runs)


@settings(max_examples=60, deadline=None)
@given(disjoint_runs(), st.lists(st.integers(-10, 10_010), min_size=1, max_size=20))
def test_as_the_naive_loop(runs, moments):
    clock = Clock.of(*np.array(runs, float).reshape(-1, 3).T) if runs else Clock.of([], [], [])
    expected = [naive(runs, float(m)) for m in moments]
    assert [clock.at(float(m)).hits for m in moments] == expected


@settings(max_examples=60, deadline=None)
@given(disjoint_runs(), st.randoms(use_true_random=False))
def test_splitting_a_run_and_any_order_change_nothing_outside_the_run(runs, rng):
    started, ended, hits = runs[0]
    middle, done = (started + ended) / 2, hits // 3
    split = [(started, middle, done), (middle, ended, hits - done), *runs[1:]]
    rng.shuffle(split)
    one, two = Clock.of(*np.array(runs, float).T), Clock.of(*np.array(split, float).T)
    outside = [m for r in runs for m in r[:2]] + [-1.0, 20_000.0]
    assert [one.at(m).hits for m in outside] == [two.at(m).hits for m in outside]
