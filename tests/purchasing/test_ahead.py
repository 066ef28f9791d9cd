"""Strokes ahead: the pace of the past, what somebody stated of a year, and the end of a programme."""

import datetime as dt

import pytest
from hypothesis import given
from hypothesis import strategies as st

from reports.purchasing.ahead import FLAT_DAYS, SLOPE_DAYS, STEPS, OrderAhead, Programme, hits_ahead, usual_pace

DAY = dt.date


def naive(programme, since, until, usual):
    """Day by day."""
    total = 0.0
    for n in range((until - since).days):
        day = since + dt.timedelta(days=n)
        if programme.ends is not None and day > programme.ends:
            continue
        stated = [(y, hits) for y, hits in programme.years if y <= day.year]
        if not stated:
            total += usual
        else:
            year, hits = stated[-1]
            total += hits / (DAY(year + 1, 1, 1) - DAY(year, 1, 1)).days
    return total


@given(
    st.integers(0, 900), st.integers(0, 900), st.integers(0, 1500), st.floats(0, 5_000),
    st.lists(st.tuples(st.integers(2024, 2029), st.floats(0, 1e6)), max_size=3, unique_by=lambda row: row[0]),
    st.booleans(),
)  # fmt: skip
def test_against_counting_day_by_day(start, days, ends, usual, years, has_end):
    since = DAY(2025, 3, 1) + dt.timedelta(days=start)
    programme = Programme(
        years=tuple(sorted(years)), ends=DAY(2025, 3, 1) + dt.timedelta(days=ends) if has_end else None
    )
    until = since + dt.timedelta(days=days)
    assert programme.strokes(since, until, usual) == pytest.approx(naive(programme, since, until, usual), rel=1e-9)


def test_a_stated_year_by_hand_and_nothing_beyond_the_end():
    programme = Programme(years=((2027, 365_000),), ends=DAY(2027, 6, 30))
    ahead = lambda until: hits_ahead(  # noqa: E731
        [], today=DAY(2026, 12, 1), until=until, usual_hits_per_day=100, programme=programme
    )
    assert ahead(DAY(2027, 1, 1)) == 3_100
    assert ahead(DAY(2027, 7, 1)) == ahead(DAY(2029, 1, 1)) == 3_100 + 181_000
    late = OrderAhead(due=DAY(2027, 9, 1), hits_left=400_000)  # an order that is there is made, whatever was stated
    assert hits_ahead([late], today=DAY(2027, 7, 2), until=DAY(2027, 9, 1), programme=programme) == 400_000


def test_the_pace_of_an_even_die_is_its_pace():
    span = SLOPE_DAYS / STEPS
    even = [100.0 * FLAT_DAYS, *([100.0 * span] * STEPS)]
    assert usual_pace(even, days_known=10_000) == pytest.approx(100)
    assert usual_pace([100.0 * 90, *([0.0] * STEPS)], days_known=90) == pytest.approx(100)
    assert FLAT_DAYS + SLOPE_DAYS / 2 == 365


def test_a_run_that_moves_on_by_a_step_takes_a_small_part_along():
    before = [330.0, 0, 0, 0, 0, 0, 0, 36.0]
    after = [330.0, 0, 0, 0, 0, 0, 0, 0.0]
    assert usual_pace(after, days_known=9e9) / usual_pace(before, days_known=9e9) > 0.99


def test_spans_that_do_not_fit_are_refused():
    with pytest.raises(ValueError, match="3 spans"):
        usual_pace([1, 2, 3], days_known=10)
