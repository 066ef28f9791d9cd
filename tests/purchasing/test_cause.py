"""Which movement made a spare due."""

import datetime as dt

from hypothesis import given
from hypothesis import strategies as st

from reports.purchasing.cause import Moved, cause_of, together


def moved(day, kind, pieces):
    return Moved(at=dt.datetime(2026, 11, day, 9, tzinfo=dt.UTC), kind=kind, pieces=pieces)


def test_the_count_that_found_fewer():
    moves = [moved(1, "count", 5), moved(10, "fitted", -1), moved(16, "count", -2), moved(20, "fitted", -1)]
    # 5, 4, 2, 1: the point of 3 was crossed by the count
    assert cause_of(moves, position=1, point=3) == moved(16, "count", -2)
    assert cause_of(moves, position=1, point=2) == moved(20, "fitted", -1)
    assert cause_of(moves, position=1, point=1) is None
    assert cause_of(moves, position=1, point=9) is None  # never were so many there: the use has grown


def test_a_delivery_changes_nothing_and_a_cancelled_order_does():
    moves = [moved(1, "count", 1), moved(2, "ordered", 4), moved(5, "delivered", -2), moved(5, "delivered", 2)]
    assert together(moves) == [moved(2, "ordered", 4), moved(1, "count", 1)]
    assert cause_of([*moves, moved(9, "ordered", -2)], position=3, point=4) == moved(9, "ordered", -2)


@given(st.lists(st.tuples(st.integers(1, 28), st.integers(-3, 3)), max_size=12), st.integers(0, 6))
def test_what_is_named_did_it(rows, point):
    moves = [moved(day, "count", n) for day, n in rows]
    position = sum(n for _, n in rows)
    found = cause_of(moves, position=position, point=point)
    if found is not None:
        later = sum(n.pieces for n in moves if n.at > found.at)
        assert position - later < point <= position - later - found.pieces
