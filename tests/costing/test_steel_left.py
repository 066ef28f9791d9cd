"""Parts left in the steel: steps by hand, a naive second way, and what must hold of any die."""

from __future__ import annotations

from decimal import Decimal
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from reports.costing.steel_left import PieceLeft, SteelRefused, buys_most, next_big, steps


def piece(
    place: str, item: str, strokes: float, *, fresh: float = 900.0, interval: float = 100.0, price="10"
) -> PieceLeft:
    money = None if price is None else Decimal(price)
    return PieceLeft(place=place, item=item, strokes=strokes, fresh=fresh, interval=interval, price=money)


def test_by_hand():
    """A at 300 and B at 350 go together (one interval is 100), B at 400 does not; the first two come again at 1,200."""
    told = steps([piece("1", "A", 300), piece("2", "B", 350), piece("3", "B", 400, price="500")], ahead=3)
    assert [(s.items, s.places, s.strokes, s.buys) for s in told] == [
        (("A", "B"), ("1", "2"), 300, 100), (("B",), ("3",), 400, 800), (("A", "B"), ("1", "2"), 1200, 100),
    ]  # fmt: skip
    assert [s.money for s in told] == [20, 500, 20] and [s.is_big for s in told] == [False, True, False]
    assert next_big(told) is told[1] and buys_most(told) is told[1]


def test_prices_that_are_not_known():
    told = steps([piece("1", "A", 300, price=None), piece("2", "B", 500)], ahead=2)
    assert [(s.items, s.money, s.is_big) for s in told] == [(("A",), None, False), (("B",), 10, True)]
    assert all(s.is_big for s in steps([piece("1", "A", 300, price=None)]))
    assert steps([]) == () and next_big(()) is None and buys_most(()) is None


@pytest.mark.parametrize(
    "wrong", [{"strokes": -1}, {"strokes": float("nan")}, {"fresh": 0}, {"interval": float("inf")}, {"price": "-1"}]
)
def test_what_cannot_be_is_refused(wrong):
    with pytest.raises(SteelRefused, match="7-A"):
        piece("7-A", "A", **({"strokes": 5} | wrong))
    with pytest.raises(SteelRefused, match="at least one"):
        steps([piece("1", "A", 5)], ahead=0)


PIECES = st.lists(
    st.builds(
        lambda n, item, strokes, fresh, interval: piece(f"{n}", item, strokes, fresh=fresh, interval=interval),
        st.integers(0, 99), st.sampled_from("ABC"), st.integers(0, 5_000), st.integers(50, 5_000), st.integers(50, 500),
    ),
    min_size=1, max_size=8, unique_by=lambda p: p.place,
)  # fmt: skip


def slowly(pieces: list[PieceLeft], ahead: int) -> list[tuple]:
    """One piece after another, as a person would go through a list."""
    ends = {p.place: p.strokes for p in pieces}
    found = []
    for _ in range(ahead):
        at = min(ends.values())
        within = min(p.interval for p in pieces if ends[p.place] == at)
        chosen = [p for p in pieces if ends[p.place] - at < within]
        for p in chosen:
            ends[p.place] = at + p.fresh
        found.append((tuple(sorted({p.item for p in chosen})), tuple(sorted(p.place for p in chosen)), at))
    return found


@settings(max_examples=30)
@given(PIECES)
def test_a_naive_second_way_says_the_same(pieces):
    assert [(s.items, s.places, s.strokes) for s in steps(pieces, ahead=5)] == slowly(pieces, 5)


@settings(max_examples=30)
@given(PIECES)
def test_what_must_hold(pieces):
    told = steps(pieces)
    assert told[0].strokes == min(p.strokes for p in pieces)
    for one, then in pairwise(told):
        assert one.strokes + one.buys == then.strokes and one.buys > 0
    dearer = [piece(p.place, p.item, p.strokes, fresh=p.fresh, interval=p.interval, price="99") for p in pieces]
    assert [s.strokes for s in steps(dearer)] == [s.strokes for s in told]  # what it costs moves no step
