"""How chances, hits and counts are said."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from diestore.texts import counted
from maintenance.wording import numbers
from maintenance.wording import odds as wording_odds
from maintenance.wording.standing import standing

from .refused import refused

pytestmark = pytest.mark.no_database


def worth(said: str) -> float:
    """What a listener makes of it."""
    if said == "even":
        return 0.5
    k, n = said.split(" in ")
    return int(k) / int(n)


@pytest.mark.parametrize(
    ("p", "said"),
    [
        (0.125, "1 in 8"),
        (0.16, "1 in 6"),
        (0.25, "1 in 4"),
        (0.35, "1 in 3"),
        (0.5, "even"),
        (0.75, "3 in 4"),
        (0.9, "9 in 10"),
        (0.95, "19 in 20"),
        (0.0, "less than 1 in 100"),
        (1.0, "better than 99 in 100"),
    ],
)
def test_a_chance_is_said_as_people_say_it(p, said):
    assert wording_odds.chance(p) == said


@given(st.floats(0.0072, 0.9928))
def test_what_is_said_is_near_what_is_meant(p):
    told = worth(wording_odds.chance(p))
    odds = math.log(p / (1 - p)) - math.log(told / (1 - told))
    assert abs(odds) < 0.37, "never off by half as much again in odds"
    assert abs(told - p) < 0.05 + 1e-9  # half the widest step, from 2 in 5 to even


@given(st.floats(0, 1), st.floats(0, 1))
def test_a_better_chance_is_never_said_as_a_worse_one(p, q):
    ends = {"less than 1 in 100": 0.0, "better than 99 in 100": 1.0}
    low, high = (wording_odds.chance(x) for x in sorted((p, q)))
    assert ends.get(low, None if low in ends else worth(low)) <= ends.get(high, None if high in ends else worth(high))


@given(st.floats(0, 1))
def test_nothing_is_certain_in_a_table(p):
    assert wording_odds.percent(p) not in ("0 %", "100 %")


@pytest.mark.parametrize(
    ("n", "said"),
    [(0, "0"), (37, "37"), (103, "100"), (8_949, "8,900"), (99_960, "100,000"), (1_234_567, "1,230,000")],
)
def test_hits_are_said_to_the_figures_that_count(n, said):
    assert numbers.hits(n) == said


@given(st.integers(100, 10**9))
def test_rounding_of_hits_hides_less_than_five_in_a_hundred(n):
    assert abs(int(numbers.hits(n).replace(",", "")) - n) <= 0.05 * n


@pytest.mark.parametrize(
    ("p", "said"),
    [(0.8, "4 times in 5"), (0.5, "every other time"), (0.1, "1 time in 10"), (0.99, "nearly always"), (0.0, "seldom")],
)
def test_how_often_is_said_within_a_sentence(p, said):
    assert wording_odds.times(p) == said


def test_counts_carry_their_word():
    assert [counted(n, "die", "dies") for n in (0, 1, 2, 1_200)] == [
        "no dies",
        "one die",
        "2 dies",
        "1,200 dies",
    ]


def test_what_pays_decides_and_not_the_chance():
    def word(chance, **more):
        return standing(chance_of_order=chance, share_left=None, **more).word

    assert [word(c) for c in (0.4, 0.6, 0.9)] == ["Sharpen first", "Borderline", "Runs"]  # where nobody knows
    assert [word(c, pays=True) for c in (0.4, 0.6, 0.9)] == ["Sharpen first"] * 3
    assert [word(c, pays=False) for c in (0.4, 0.6, 0.9)] == ["Plan a stop", "Borderline", "Runs"]
    assert word(0.9, pays=False, stop_inside=True) == "Plan a stop"
    assert word(0.9, pays=True, unrun=True) == "Plan a stop"  # sharpened again it would be as it is


@pytest.mark.parametrize(
    "text",
    ["Close", "Half go this many more", "Rests on 244 cycles of the shop", "4 dies with open orders", "order 26-0121",
     "Tell me", "as often more as less", "46 um", "4 on the way", "No die with an open order is like that."],
)  # fmt: skip
def test_words_that_were_given_up_are_found_on_a_page(text):
    assert refused([f"  {text}\n"]) == [" ".join(text.split())]


@pytest.mark.parametrize(
    "text", ["Close the job", "when the press closes", "Open orders, by how long they took", "PO-12"]
)
def test_the_same_letters_in_another_sense_may_stand(text):
    assert refused([text]) == []
