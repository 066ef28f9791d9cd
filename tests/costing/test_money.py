"""The Decimal border."""

import datetime as dt
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from reports.costing.money import STEP, DatedRate, MoneyRefused, NoRate, amount, from_float, quantity, rate_on, rounded

D = Decimal


@pytest.mark.parametrize("value", [0.1, True, "ten", "NaN", "Infinity", "-1", D("1e15"), None, D("sNaN")])
def test_what_is_no_amount_is_refused_with_its_value(value):
    with pytest.raises(MoneyRefused, match="the price"):
        amount(value, "the price")


def test_a_credit_may_be_negative_where_asked_for():
    assert amount("-3.50", may_be_negative=True) == D("-3.50")


@pytest.mark.parametrize("value", [float("nan"), float("inf"), -0.5, "x", False, 1e300])
def test_what_is_no_quantity_is_refused(value):
    with pytest.raises(MoneyRefused, match="the hours"):
        quantity(value, "the hours")


def test_a_float_quantity_counts_as_what_it_prints_as():
    assert quantity(0.1) * 3 == D("0.3")


@given(st.integers(-(10**11), 10**11))
def test_money_survives_the_way_through_a_float(steps):
    value = steps * STEP
    assert from_float(float(value)) == value


def test_a_computed_amount_that_is_not_finite_is_refused():
    with pytest.raises(MoneyRefused):
        from_float(float("nan"))


def test_shown_amounts_round_halves_up():
    assert rounded(D("0.125")) == D("0.13")
    assert rounded(D("2.5"), D("1")) == D("3")


RATES = [
    DatedRate(valid_from=dt.date(2024, 1, 1), amount=D("62")),
    DatedRate(valid_from=dt.date(2025, 7, 1), amount=D("66.50")),
]


@pytest.mark.parametrize(
    ("day", "expected"),
    [(dt.date(2024, 1, 1), "62"), (dt.date(2025, 6, 30), "62"), (dt.date(2025, 7, 1), "66.50")],
)
def test_the_rate_of_the_day(day, expected):
    assert rate_on(RATES, day) == D(expected)
    assert rate_on(reversed(RATES), day) == D(expected)


def test_a_later_rate_is_not_carried_back():
    with pytest.raises(NoRate, match="2024-01-01"):
        rate_on(RATES, dt.date(2023, 12, 31))
    with pytest.raises(NoRate, match="none is entered"):
        rate_on([], dt.date(2024, 1, 1))
