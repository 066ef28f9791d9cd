"""Present value, payments, unequal lives, economic life, rate of return."""

from decimal import Decimal

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from reports.costing.discounting import (
    annual_equivalent,
    economic_life,
    payment,
    periods_to_pay,
    present_value,
    rate_of_return,
    return_on_the_dearer,
    return_reinvested,
    series_factor,
    single_factor,
)
from reports.costing.money import MoneyRefused

D = Decimal


def d(*values):
    return [D(str(v)) for v in values]


def test_present_value_payment_and_return():
    # [M01] figures printed in the documentation of numpy-financial (npv, pmt, irr)
    assert float(present_value(D("0.08"), d(-40000, 5000, 8000, 12000, 30000))) == pytest.approx(3065.22267, rel=1e-8)
    assert float(payment(D("0.00625"), 180, D(200000))) == pytest.approx(1854.0247200054619, rel=1e-9)
    found = rate_of_return(d(-100, 39, 59, 55, 20))
    assert found.rate == pytest.approx(0.28094842, abs=1e-8)
    assert found.is_plain


def test_several_returns_are_told():
    # [M07] numpy-financial, irr of [-5, 10.5, 1, -8, 1] printed as 0.0886: three changes of sign
    found = rate_of_return(d(-5, 10.5, 1, -8, 1))
    assert found.rate == pytest.approx(0.088598339, abs=1e-6)
    assert not found.is_plain and len(found.others) >= 1


@pytest.mark.parametrize("flows", [d(1, 2, 3), d(-1), d(0, 0), d(-1, -2)])
def test_no_return_where_money_goes_one_way_only(flows):
    assert rate_of_return(flows).rate is None


def test_unequal_lives():
    # [M02] Brealey and Myers, Principles of Corporate Finance, machines A and B at 6 % (figures from memory:
    # 28.37 and 21.00, a year 10.61 and 11.45), confirmed in closed form
    a, b = d(15, 5, 5, 5), d(10, 6, 6)
    assert float(present_value(D("0.06"), a)) == pytest.approx(28.36506, abs=1e-5)
    assert float(present_value(D("0.06"), b)) == pytest.approx(21.000356, abs=1e-5)
    assert float(annual_equivalent(D("0.06"), a)) == pytest.approx(10.611647, abs=1e-5)
    assert float(annual_equivalent(D("0.06"), b)) == pytest.approx(11.454369, abs=1e-5)


def test_discount_factors():
    # [M04] NIST Handbook 135 / ASTM E917 (14.88 from memory), 3 %, 20 years
    assert float(series_factor(D("0.03"), 20)) == pytest.approx(14.877475, abs=1e-5)
    assert float(single_factor(D("0.03"), 20)) == pytest.approx(0.553676, abs=1e-5)


def test_how_many_payments_pay_off():
    # [M01] nper(0.07/12, -150, 8000) printed in the documentation of numpy-financial: 64.07335
    assert periods_to_pay(D("0.005833333333"), D(150), D(8000)) == pytest.approx(64.073349, rel=1e-8)
    assert periods_to_pay(D(0), D(150), D(8000)) == pytest.approx(8000 / 150)
    assert periods_to_pay(D("0.1"), D(10), D(100)) is None and periods_to_pay(D(0), D(0), D(1)) is None
    assert periods_to_pay(D("0.1"), D(10), D(0)) == 0.0


def test_the_return_where_what_comes_back_is_put_out_again():
    # [M01] mirr([-100, 39, 59, -55, 20], 0.10, 0.12) of numpy-financial, computed with it
    found = return_reinvested(d(-100, 39, 59, -55, 20), borrowed=D("0.1"), lent=D("0.12"))
    assert found == pytest.approx(0.012976465, rel=1e-7)
    # by hand: 100 now, 121 in two years; nothing to put out meanwhile
    assert return_reinvested(d(-100, 0, 121), borrowed=D("0.5"), lent=D("0.5")) == pytest.approx(0.1)
    assert return_reinvested(d(100, 20), borrowed=D("0.1"), lent=D("0.1")) is None


def test_keep_or_replace():
    # [T8-14] R. Panneerselvam, Engineering Economics, PHI, 2010, ex. 8.4, p. 109; tolerance 0.01 %
    kept, new = (
        economic_life(
            first_cost=D(price), upkeep=[D(yearly)] * 6, resale=[D(0)] * 5 + [D(brings)], rate=D("0.12")
        ).by_year[5]
        for price, brings, yearly in ((120000, 25000, 25000), (150000, 20000, 14000))
    )
    assert float(kept) == pytest.approx(51106.44, rel=1e-4)
    assert float(new) == pytest.approx(48019.34, rel=1e-4)


def test_economic_life_without_interest():
    # [T8-12] R. Panneerselvam, Engineering Economics, PHI, 2010, ex. 8.1 (i = 0), p. 103: 4,000; upkeep 0, 200, 400 ...
    found = economic_life(first_cost=D(4000), upkeep=[D(200) * n for n in range(10)])
    assert found.years == 6
    assert float(found.yearly_cost) == pytest.approx(1166.67, abs=0.01)
    assert not found.still_falling
    assert economic_life(first_cost=D(4000), upkeep=[D(200) * n for n in range(4)]).still_falling


def test_resale_shortens_or_lengthens_the_life():
    # by hand: 1,000; upkeep 100 then 500; resale 800 then 0: one year costs 300, two years (1600) / 2 = 800
    found = economic_life(first_cost=D(1000), upkeep=d(100, 500), resale=d(800, 0))
    assert found.years == 1 and found.by_year == (D(300), D(800))
    with pytest.raises(MoneyRefused, match="2 years, but resale of 1"):
        economic_life(first_cost=D(1), upkeep=d(1, 1), resale=d(1))


def test_the_extra_money_for_the_dearer_build():
    # by hand: 1,000 more now saves 600 a year for two years: x^2 - 0.6 x - 0.6 = 0, x = 0.3 + sqrt(0.69)
    found = return_on_the_dearer(d(3000, 100, 100), d(2000, 700, 700))
    assert found.rate == pytest.approx(0.3 + 0.69**0.5 - 1, abs=1e-12)
    shorter = return_on_the_dearer(d(3000, 0, 0), d(2000, 1100))
    assert shorter.rate == pytest.approx(0.1, abs=1e-9)


@pytest.mark.parametrize(
    "call",
    [
        lambda: present_value(D("-1"), d(1)),
        lambda: present_value(D("0.1"), []),
        lambda: present_value(0.1, d(1)),
        lambda: payment(D("0.1"), 0, D(1)),
        lambda: single_factor(D("0.1"), 2.5),
        lambda: annual_equivalent(D("0.1"), d(1)),
        lambda: economic_life(first_cost=D(1), upkeep=[]),
    ],
)
def test_bad_input_is_refused(call):
    with pytest.raises(MoneyRefused):
        call()


RATE = st.decimals(min_value="0.0001", max_value="0.5", places=4)


@settings(max_examples=50, deadline=None)
@given(RATE, st.integers(1, 40), st.decimals(min_value=1, max_value=10**6, places=2))
def test_payments_are_worth_what_they_pay_off(rate, periods, present):
    each = payment(rate, periods, present)
    assert abs(present_value(rate, [D(0), *[each] * periods]) - present) < D("1e-15") * present


@settings(max_examples=50, deadline=None)
@given(
    st.floats(0.01, 0.5),
    st.lists(st.decimals(min_value=1, max_value=1000, places=2), min_size=1, max_size=8),
)
def test_the_return_is_where_the_present_value_is_nought(rate, incomes):
    # one payment out, then only income: one return, and it is the rate that the price was made from
    price = sum(float(income) / (1 + rate) ** (t + 1) for t, income in enumerate(incomes))
    assume(price > 0.01)
    found = rate_of_return([-D(repr(price)), *incomes])
    assert found.is_plain
    assert np.isclose(found.rate, rate, rtol=1e-6)


@settings(max_examples=50, deadline=None)
@given(RATE, st.integers(1, 40), st.decimals(min_value=1, max_value=10**6, places=2))
def test_the_number_of_payments_turns_the_payment_round(rate, periods, present):
    assert periods_to_pay(rate, payment(rate, periods, present), present) == pytest.approx(periods, rel=1e-9)


@settings(max_examples=50, deadline=None)
@given(st.floats(0.01, 0.5), st.lists(st.decimals(min_value=1, max_value=1000, places=2), min_size=1, max_size=8))
def test_put_out_at_its_own_rate_a_return_stays_what_it_is(rate, incomes):
    price = sum(float(income) / (1 + rate) ** (t + 1) for t, income in enumerate(incomes))
    own = D(repr(rate))
    assert return_reinvested([-D(repr(price)), *incomes], borrowed=own, lent=own) == pytest.approx(rate, rel=1e-9)
