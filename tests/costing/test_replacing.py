"""Keep a die or build it anew: by hand, against the books and a plain sum of every plan, and laws."""

from decimal import Decimal

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from reports.costing.money import MoneyRefused
from reports.costing.replacing import Running, keep_or_build

D = Decimal


def sure(*money) -> Running:
    """Every life costs what is expected."""
    return Running(expected=tuple(D(m) for m in money), lives=np.tile([float(m) for m in money], (4, 1)))


def test_by_hand_without_interest():
    """A new one of 1,000 that costs 100 a year for four years comes to 350 a year. The old one costs 200, 300, 400 and
    500: it is cheaper for two years, and two years of 350 after them make 1,200."""
    told = keep_or_build(old=sure(200, 300, 400, 500), new=sure(100, 100, 100, 100), price=D(1000))
    assert told.life.years == 4 and [year.anew for year in told.years] == [D(350)] * 4
    assert [year.waiting for year in told.years] == [150, 50, -50, -150]
    assert [year.plan for year in told.years] == [1400, 1250, 1200, 1250] and told.never == 1400
    assert told.best == 2 and told.first_dearer.number == 3
    assert [year.chance for year in told.years] == [0, 0, 1, 1] and told.chance == 0


def test_what_the_old_one_brings_is_lost_interest_only():
    """At 10 % a scrap value of 500 that does not fall costs 50 for each year more."""
    told = keep_or_build(old=sure(200, 200), new=sure(0, 0), price=D(0), old_brings=D(500), interest=D("0.1"))
    assert [year.keeping for year in told.years] == [250, 250] and [year.cost for year in told.years] == [200, 200]
    assert float(told.years[0].plan) == -500
    assert float(told.never) == pytest.approx(200 / 1.1 + 200 / 1.21 - 500 / 1.21)


def test_a_new_one_has_its_economic_life():
    # [T8-12] R. Panneerselvam, Engineering Economics, PHI, 2010, ex. 8.1 (i = 0), p. 103: 4,000; upkeep 0, 200, 400 ...
    upkeep = [200 * n for n in range(10)]
    told = keep_or_build(old=sure(1100, 1166, 1167, 1200), new=sure(*upkeep), price=D(4000))
    assert told.life.years == 6 and not told.life.still_falling
    assert float(told.years[0].anew) == pytest.approx(1166.67, abs=0.01)
    assert told.first_dearer.number == 3 and told.best == 2


def test_keep_or_replace_of_the_book():
    # [T8-14] R. Panneerselvam, Engineering Economics, PHI, 2010, ex. 8.4, p. 109, 12 %, six years: the old one taken at
    # 120,000, bringing 25,000 in the end, costs 51,106.44 a year, a new one 48,019.34; tolerance 0.01 %
    old, new = (
        keep_or_build(
            old=sure(*[0] * 6), new=sure(*[yearly] * 6), price=D(price), new_brings=D(brings), interest=D("0.12"),
            ends=True,
        ).years[0]
        for price, brings, yearly in ((120_000, 25_000, 25_000), (150_000, 20_000, 14_000))
    )  # fmt: skip
    assert float(old.anew) == pytest.approx(51106.44, rel=1e-4) and old.life == 6
    assert float(new.anew) == pytest.approx(48019.34, rel=1e-4)


def test_where_nothing_is_made_afterwards_a_late_new_one_has_few_years():
    told = keep_or_build(old=sure(500, 500, 500), new=sure(100, 100, 100), price=D(900), ends=True)
    assert [(year.life, year.anew) for year in told.years] == [(3, 400), (2, 550), (1, 1000)]
    assert told.best == 0
    longer = keep_or_build(old=sure(500, 500, 500), new=sure(100, 100, 100), price=D(900))
    assert [year.anew for year in longer.years] == [400] * 3


def test_an_overhaul_counts_in_the_first_year_alone():
    told = keep_or_build(old=sure(100, 100), new=sure(0, 0), price=D(300), overhaul=D(250))
    assert [year.cost for year in told.years] == [350, 100] and told.years[0].low == 350
    assert told.best == 0 and [year.pays for year in told.years] == [True, False]


def test_the_odds_are_shares_of_lives():
    old = Running(expected=(D(250),), lives=np.array([[100.0], [200.0], [300.0], [400.0]]))
    new = Running(expected=(D(0),), lives=np.zeros((4, 1)))
    told = keep_or_build(old=old, new=new, price=D(200))
    assert told.years[0].chance == told.chance == pytest.approx(0.625)  # one life is a tie
    assert (told.years[0].low, told.years[0].high) == (D("130"), D("370"))


money = st.integers(0, 5_000)
years = st.lists(money, min_size=1, max_size=6)
RATE = st.decimals("0", "0.5", places=3)


@settings(deadline=None, max_examples=60)
@given(years, years, money, money, RATE, RATE)
def test_a_plan_is_worth_what_a_plain_sum_of_its_payments_says(old, new, price, brings, interest, rise):
    told = keep_or_build(
        old=sure(*old), new=sure(*new), price=D(price), old_brings=D(brings), interest=interest, rise=rise
    )
    i, n = float(interest), len(old)
    whole = sorted(
        sum((price * (t == 0) + (new[t - 1] if t else 0)) / (1 + i) ** t for t in range(life + 1))
        / sum((1 + i) ** -t for t in range(1, life + 1))
        for life in range(1, len(new) + 1)
    )
    for k, plan in enumerate([*(year.plan for year in told.years), told.never]):
        cash = sum(old[t - 1] / (1 + i) ** t for t in range(1, k + 1)) - brings / (1 + i) ** k
        cash += sum(whole[0] * (1 + float(rise)) ** k / (1 + i) ** t for t in range(k + 1, n + 1))
        assert float(plan) == pytest.approx(cash, rel=1e-9, abs=1e-6)
    for year, after in zip(told.years, [*told.years[1:], None], strict=True):
        if rise == 0:  # a year of waiting is the step from one plan to the next
            later = told.never if after is None else after.plan
            assert float(year.plan - later) == pytest.approx(float(year.waiting), rel=1e-9, abs=1e-6)


@settings(deadline=None, max_examples=40)
@given(years, years, money, RATE)
def test_a_dearer_new_one_never_makes_replacing_better(old, new, price, interest):
    def told(more):
        return keep_or_build(old=sure(*old), new=sure(*new), price=D(price + more), interest=interest)

    calm, dear = told(0), told(100)
    assert all(a.anew < b.anew for a, b in zip(calm.years, dear.years, strict=True))
    assert calm.chance >= dear.chance and (dear.best is None or calm.best is not None)


@settings(deadline=None, max_examples=40)
@given(money, st.integers(1, 6), RATE)
def test_a_new_one_that_costs_what_the_old_one_does_is_a_tie(yearly, n, interest):
    told = keep_or_build(old=sure(*[yearly] * n), new=sure(*[yearly] * n), price=D(0), interest=interest)
    assert not any(year.pays for year in told.years) and told.best is None
    assert told.chance == 0.5 and all(abs(year.waiting) < D("1e-9") for year in told.years)


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"price": D(-1)}, "nought or more"),
        ({"old_brings": D(-1)}, "nought or more"),
        ({"overhaul": D(-5)}, "nought or more"),
        ({"interest": D(-1)}, "leaves nothing"),
        ({"new": Running(expected=(D(1),), lives=np.ones((2, 1)))}, "different numbers of lives"),
    ],
)
def test_bad_input_is_refused(changes, words):
    with pytest.raises(MoneyRefused, match=words):
        keep_or_build(**{"old": sure(1, 1), "new": sure(1), "price": D(1), **changes})


@pytest.mark.parametrize(
    ("expected", "lives", "words"),
    [
        ((), np.zeros((2, 0)), "no year"),
        ((D(1),), np.zeros((2, 2)), "lives of"),
        ((D(1),), np.array([[np.nan]]), "not finite"),
        ((D(-1),), np.ones((1, 1)), "nought or more"),
    ],
)
def test_years_that_cannot_be_are_refused(expected, lives, words):
    with pytest.raises(MoneyRefused, match=words):
        Running(expected=expected, lives=lives)
