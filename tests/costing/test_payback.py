"""When extra money comes back: by hand, against a textbook's figures, and laws."""

from decimal import Decimal

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from reports.costing.money import MoneyRefused
from reports.costing.payback import events_to_lose, payback

D = Decimal


def test_by_hand():
    """2,000 more, 0.002 saved a part, 500,000 a year, 1,250,000 to make: 1,000 a year, back in 2, 500 in the last."""
    made = payback(extra=D(2000), saved_a_part=[0.002], parts=1_250_000, parts_a_year=500_000)
    assert made.flows == (D(-2000), D(1000), D(1000), D(500))
    assert (made.years, made.worth, made.life_years, made.chance) == (2.0, D(500), 2.5, 1.0)
    assert made.saved_a_year == D(1000) and made.with_interest == 2.0
    # at 10 % two payments of 1,000 are worth 1,735.54 and 500 at the end of the last half year 375.66: 2,111.20
    dear = payback(extra=D(2000), saved_a_part=[0.002], parts=1_250_000, parts_a_year=500_000, interest=D("0.1"))
    assert float(dear.worth) == pytest.approx(111.195, abs=1e-3) and 2 < dear.with_interest <= 2.5
    assert (
        payback(
            extra=D(2200), saved_a_part=[0.002], parts=1_250_000, parts_a_year=500_000, interest=D("0.1")
        ).with_interest
        is None
    )


def test_worth_and_return_of_a_printed_example():
    # [M04] the uniform present value factor of 3 % over 20 years, 14.877475 (NIST Handbook 135 / ASTM E917)
    made = payback(extra=D(1000), saved_a_part=[0.1], parts=20_000, parts_a_year=1000, interest=D("0.03"))
    assert float(made.worth) == pytest.approx(100 * 14.877475 - 1000, abs=1e-3)
    assert float(made.rate.rate) == pytest.approx(0.0775, abs=5e-4)  # 10 = (1 - (1 + i)^-20) / i


def test_some_worlds_pay_and_some_do_not():
    made = payback(extra=D(1000), saved_a_part=np.linspace(0.0, 0.01, 101), parts=400_000, parts_a_year=100_000)
    assert made.chance == pytest.approx(1 - 0.25, abs=0.02)  # it pays from 0.0025 a part
    assert made.years == pytest.approx(2.0) and made.low == pytest.approx(1000 / 0.009 / 1e5, rel=0.02)
    assert made.high is None


def test_what_costs_nothing_more_is_back_at_once():
    made = payback(extra=D(-500), saved_a_part=[0.001], parts=1000, parts_a_year=1000)
    assert made.years == 0.0 and made.chance == 1.0 and made.rate.rate is None


def test_what_saves_nothing_never_comes_back():
    made = payback(extra=D(500), saved_a_part=[-0.001, 0.0], parts=1000, parts_a_year=1000)
    assert made.years is None and made.low is None and made.chance == 0.0 and made.worth < -500


@given(
    extra=st.integers(0, 10**5),
    saved=st.floats(1e-6, 1),
    interest=st.decimals(0, 1, places=3),
    parts=st.integers(1, 10**6),
)
def test_paying_later_is_never_dearer_and_nought_is_the_plain_sum(extra, saved, interest, parts):
    def worth(rate):
        return payback(extra=D(extra), saved_a_part=[saved], parts=parts, parts_a_year=10_000, interest=rate).worth

    assert worth(interest) <= worth(D(0)) + D("0.01")
    assert float(worth(D(0))) == pytest.approx(saved * parts - extra, rel=1e-4, abs=0.05)


@given(saved=st.lists(st.floats(-1, 1), min_size=1, max_size=9), price=st.integers(0, 1000))
def test_a_dearer_way_never_pays_better(saved, price):
    one, other = (
        payback(extra=D(p), saved_a_part=saved, parts=100_000, parts_a_year=30_000) for p in (price, price + 1)
    )
    assert other.worth < one.worth and other.chance <= one.chance


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"parts": 0}, "0 parts are still"),
        ({"parts_a_year": 0.0}, "0 parts a year"),
        ({"parts_a_year": float("nan")}, "parts a year"),
        ({"parts": 10**9, "parts_a_year": 1.0}, "too long"),
        ({"saved_a_part": [np.inf]}, "not finite"),
        ({"saved_a_part": []}, "not finite"),
        ({"interest": D(-1)}, "above -1"),
    ],
)
def test_bad_input_is_refused(changes, words):
    with pytest.raises(MoneyRefused, match=words):
        payback(**{"extra": D(1), "saved_a_part": [0.1], "parts": 10, "parts_a_year": 5.0, **changes})


def test_how_many_events_a_year_eat_it_up():
    # 400 a year for 10 years without interest less 1,000: 3,000; ten times 300 a year eat that, at 150 each two
    more = {"worth": Decimal(3_000), "extra": Decimal(1_000), "saved_a_year": Decimal(400)}
    assert events_to_lose(**more, each=Decimal(150)) == pytest.approx(2.0)
    assert events_to_lose(**more, each=Decimal(0)) is None
    assert events_to_lose(**more | {"worth": Decimal(-5)}, each=Decimal(150)) is None
