"""Reading a stored forecast."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from maintenance.forecasts.stored import chance_of_going, strokes_at

STORED = {"0.1": 1000, "0.5": 10_000, "0.9": 50_000}


def test_the_stored_points_come_back():
    for p, hits in STORED.items():
        assert chance_of_going(STORED, hits) == pytest.approx(1 - float(p))
        assert strokes_at(STORED, float(p)) == pytest.approx(hits)


def test_below_the_first_and_beyond_the_last_point():
    assert chance_of_going(STORED, 0) == 1
    assert chance_of_going(STORED, 500) == pytest.approx(0.95)
    assert chance_of_going(STORED, 1e9) == pytest.approx(0.1)


def test_nothing_stored_is_refused():
    with pytest.raises(ValueError, match="no forecast"):
        chance_of_going({}, 1)


@given(st.floats(0, 1e7), st.floats(0, 1e7))
def test_more_strokes_are_never_more_likely(a, b):
    low, high = sorted((a, b))
    assert chance_of_going(STORED, low) >= chance_of_going(STORED, high)


@given(st.permutations([*STORED, "0.95"]), st.floats(1, 1e6))
def test_the_order_in_which_a_database_keeps_them_does_not_matter(names, hits):
    stored = STORED | {"0.95": 50_000}  # two at the same strokes: gone with the greater of the two by then
    mixed = {name: stored[name] for name in names}
    assert chance_of_going(mixed, hits) == chance_of_going(stored, hits)
    assert chance_of_going(mixed, 50_000) == pytest.approx(0.05)


@given(st.floats(0.1, 0.9))
def test_strokes_and_chance_turn_each_other_round(probability):
    assert chance_of_going(STORED, strokes_at(STORED, probability)) == pytest.approx(1 - probability)
