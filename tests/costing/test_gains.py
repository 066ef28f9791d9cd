"""The next euro: the order of changes, by hand and by law."""

from dataclasses import replace
from decimal import Decimal
from itertools import permutations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from reports.costing.gains import Gain, best_of_each, ranked
from reports.costing.money import MoneyRefused


def gain(
    words: str, worth: int, *, extra: int = 0, chance: float = 0.8, die: str = "A", sort: str = "gap", **more
) -> Gain:
    return Gain(
        die=die, sort=sort, words=words, extra=Decimal(extra), worth=Decimal(worth), chance=chance,
        saved_a_year=Decimal(1), **more,
    )  # fmt: skip


def test_what_costs_nothing_comes_first_and_what_does_not_pay_last():
    rows = [
        gain("free small", 10),
        gain("free large", 20),
        gain("dear large", 900, extra=5),
        gain("dear small", 30, extra=5),
        gain("not priced", 5_000, is_priced=False),
        gain("loses little", -1),
        gain("loses much", -50, extra=50),
    ]
    wanted = ["free large", "free small", "dear large", "dear small", "not priced", "loses little", "loses much"]
    for order in list(permutations(rows))[::97]:
        assert [row.words for row in ranked(order)] == wanted


def test_equal_worth_is_told_apart_by_the_odds():
    assert [row.chance for row in ranked([gain("a", 5, chance=0.6), gain("b", 5, chance=0.9)])] == [0.9, 0.6]


gains = st.builds(
    gain, st.sampled_from(["a", "b", "c"]), st.integers(-9, 9), extra=st.integers(0, 2), chance=st.floats(0, 1),
    die=st.sampled_from("AB"), sort=st.sampled_from(["gap", "steel"]), is_priced=st.booleans(),
)  # fmt: skip


@settings(max_examples=50)
@given(st.lists(gains, max_size=6))
def test_one_of_each_sort_on_each_die_and_none_better_is_left_out(rows):
    best = best_of_each(rows)
    assert sorted({(g.die, g.sort) for g in rows}) == sorted((g.die, g.sort) for g in best)
    assert best == ranked(best)
    for one in best:
        assert ranked([g for g in rows if (g.die, g.sort) == (one.die, one.sort)])[0] == one


@settings(max_examples=50)
@given(st.lists(gains, min_size=1, max_size=4))
def test_a_change_that_is_worth_more_never_ranks_lower(rows):
    first = ranked(rows)
    better = replace(first[-1], worth=first[-1].worth + 20)
    assert ranked([*first[:-1], better]).index(better) <= len(first) - 1


def test_a_chance_that_is_none_is_refused():
    with pytest.raises(MoneyRefused):
        gain("a", 5, chance=1.2)
