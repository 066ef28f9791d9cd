"""What is short, since when to order, how many."""

import datetime as dt

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import norm

from reports.purchasing.ahead import OrderAhead, hits_ahead
from reports.purchasing.demand import Demand, DemandRefused, poisson
from reports.purchasing.ladder import Prices
from reports.purchasing.reorder import StockNow, advise, critical_ratio, expected_cost, packs, reorder_point

TODAY = dt.date(2025, 11, 3)


@pytest.mark.parametrize(
    ("mean", "service", "point", "achieved", "one_less"),
    [
        # [S08] Poisson tables (any text)
        (3, 0.95, 6, 0.9664915, 0.9160821),
        (3, 0.99, 8, 0.996197, 0.9880955),
        (1.2, 0.95, 3, 0.966231, 0.8794871),
        (8, 0.9, 12, 0.9362028, 0.888076),
    ],
)
def test_reorder_point_of_a_poisson_demand(mean, service, point, achieved, one_less):
    demand = poisson(mean)
    assert reorder_point(demand, service) == point
    assert demand.at_most(point) == pytest.approx(achieved, abs=1e-7)
    assert demand.at_most(point - 1) == pytest.approx(one_less, abs=1e-7)


@pytest.mark.parametrize(("mean", "service", "stock"), [(2, 0.95, 5), (0.5, 0.9, 1), (4, 0.99, 9), (3.2, 0.95, 6)])
def test_spare_stock_by_poisson(mean, service, stock):
    # [T10-04] the smallest stock that is enough with that chance; Poisson tables (any text)
    assert reorder_point(poisson(mean), service) == stock


def normal_demand(mean, sd, per_piece):
    """A normal demand in so many parts of a piece, each with the chance of its own half either way; what would lie
    below nought is a demand of nought."""
    edges = (np.arange(-0.5, int((mean + 9 * sd) * per_piece)) / per_piece - mean) / sd
    chances = np.diff(norm.cdf(edges))
    chances[0] += norm.cdf(edges[0])
    return Demand.of(chances)


def test_newsvendor_with_normal_demand():
    # [S01] Snyder and Shen, Fundamentals of Supply Chain Theory: h 2, p 18, mean 120, sd 10; stockpyl prints
    # 132.815515655446 and 35.09966638749737. A stock is whole pieces, here 1/20,000: it can be no nearer than one of
    # them, 4e-7 of it. The cost is flat there, and comes out to the 1e-9 asked for.
    parts = 20_000
    demand = normal_demand(120, 10, parts)
    stock = reorder_point(demand, critical_ratio(short=18, left_over=2))
    assert stock / parts == pytest.approx(132.815515655446, abs=1 / parts)
    each = {"short": 18 / parts, "left_over": 2 / parts}
    cost = expected_cost(demand, stock, **each)
    assert cost == pytest.approx(35.09966638749737, rel=1e-9)
    assert expected_cost(demand, stock + 2 * parts, **each) > cost
    assert expected_cost(demand, stock - 2 * parts, **each) > cost


def test_newsvendor_of_a_textbook():
    # [S03] Nahmias, Production and Operations Analysis (from memory: ratio 0.77, 15.24 by the table, order 15),
    # recomputed: 0.76923 and 15.220137. In 67 of 10,000 years the normal curve asks for less than nothing.
    ratio = critical_ratio(short=0.5, left_over=0.15)
    assert ratio == pytest.approx(0.76923, abs=5e-6)
    demand = normal_demand(11.73, 4.74, 100_000)
    assert demand.chances[0] == pytest.approx(0.0067, abs=5e-5)
    assert reorder_point(demand, ratio) / 100_000 == pytest.approx(15.220137, rel=1e-6)


def one_a_week(days):
    """Certain: a piece at the end of every week."""
    return Demand.of(np.eye(days // 7 + 1)[-1])


def test_enough_for_a_while():
    # 6 there, gone at day 42, enough to day 48; four weeks to come: order by day 20
    advice = advise(StockNow(on_hand=4, on_order=2, lead_days=28), one_a_week, today=TODAY, cover_days=70)
    assert (advice.half, advice.nine_in_ten, advice.expected, advice.enough) == (4, 4, 4.0, 1.0)
    assert advice.short_by == 0 and advice.days_late == 0
    assert advice.runs_out == TODAY + dt.timedelta(days=49)
    assert advice.order_by == TODAY + dt.timedelta(days=20)
    assert advice.quantity == 10  # at day 20 + 28 + 70 = 118 sixteen are used
    assert not advice.chase


def test_short_since_a_day():
    advice = advise(StockNow(on_hand=1, on_order=1, lead_days=28, pack_size=5), one_a_week, today=TODAY, cover_days=70)
    assert advice.short_by == 2
    assert advice.runs_out == TODAY + dt.timedelta(days=21)
    assert advice.order_by == TODAY - dt.timedelta(days=8) and advice.days_late == 8
    assert advice.quantity == 15  # at day 98 fourteen are used, two are there: twelve, in packs of five
    assert advice.chase  # what is on order is needed before a new order could come


def test_never_used_is_never_ordered():
    advice = advise(StockNow(on_hand=0, on_order=0, lead_days=28), lambda days: Demand.none(), today=TODAY)
    assert advice.order_by is None and advice.runs_out is None and advice.quantity == 0 and advice.enough == 1.0


def test_stock_owed_is_short_today():
    advice = advise(StockNow(on_hand=-2, on_order=0, lead_days=7), lambda days: Demand.none(), today=TODAY)
    assert advice.runs_out == TODAY and advice.short_by == 2 and advice.quantity == 2


def test_whole_packs():
    assert [packs(n, 10) for n in (-3, 0, 1, 10, 11)] == [0, 0, 10, 10, 20]


@pytest.mark.parametrize(
    "call",
    [
        lambda: StockNow(on_hand=1, on_order=0, lead_days=-1),
        lambda: StockNow(on_hand=1, on_order=-1, lead_days=1),
        lambda: StockNow(on_hand=1, on_order=0, lead_days=1, pack_size=0),
        lambda: critical_ratio(short=0, left_over=1),
        lambda: advise(StockNow(on_hand=1, on_order=0, lead_days=1), one_a_week, today=TODAY, service=1.0),
    ],
)
def test_bad_input_is_refused(call):
    with pytest.raises(DemandRefused):
        call()


@settings(max_examples=40, deadline=None)
@given(
    st.integers(-2, 30),
    st.integers(0, 10),
    st.integers(0, 200),
    st.floats(0, 0.3),
    st.sampled_from([0.5, 0.9, 0.99]),
    st.integers(1, 12),
)
def test_short_late_and_the_dates_agree(on_hand, on_order, lead, a_day, service, pack):
    stock = StockNow(on_hand=on_hand, on_order=on_order, lead_days=lead, pack_size=pack)

    def use(days):
        return poisson(a_day * days)

    advice = advise(stock, use, today=TODAY, service=service)
    assert (advice.short_by > 0) == (advice.days_late > 0)
    assert (advice.short_by > 0) == (use(lead).quantile(service) > stock.position)
    assert advice.quantity % pack == 0
    if advice.order_by is not None:
        lasts = (advice.runs_out - TODAY).days - 1
        assert lasts == -1 or use(lasts).quantile(service) <= stock.position
        assert use(lasts + 1).quantile(service) > stock.position or lasts == -1
        assert advice.quantity >= advice.short_by
    # one piece more on the shelf never makes it later or shorter
    more = advise(StockNow(on_hand=on_hand + 1, on_order=on_order, lead_days=lead), use, today=TODAY, service=service)
    assert more.short_by <= advice.short_by
    assert more.order_by is None or (advice.order_by is not None and more.order_by >= advice.order_by)


ORDERS = [
    OrderAhead(due=TODAY + dt.timedelta(days=10), hits_left=50_000),
    OrderAhead(due=TODAY + dt.timedelta(days=40), hits_left=40_000),
    OrderAhead(due=TODAY - dt.timedelta(days=3), hits_left=5_000),
]


def ahead(days, orders=ORDERS, pace=0.0):
    return hits_ahead(orders, today=TODAY, until=TODAY + dt.timedelta(days=days), usual_hits_per_day=pace)


def test_strokes_ahead_by_hand():
    assert ahead(0) == 0 and ahead(-5) == 0
    assert ahead(5) == 5_000 + 25_000 + 5_000
    assert ahead(20) == 5_000 + 50_000 + 20_000
    assert ahead(100) == 95_000
    assert ahead(100, pace=2_000) == 200_000  # beyond the orders the usual pace carries on
    assert ahead(5, orders=[], pace=100) == 500


def test_bad_strokes_ahead_are_refused():
    for bad in (float("nan"), -1.0):
        with pytest.raises(ValueError):
            ahead(5, pace=bad)
        with pytest.raises(ValueError):
            ahead(5, orders=[OrderAhead(due=TODAY, hits_left=bad)])


@given(st.integers(0, 400), st.integers(0, 400), st.floats(0, 1e5))
def test_strokes_ahead_never_fall(one, more, pace):
    assert ahead(one, pace=pace) <= ahead(one + more, pace=pace) + 1e-6


@settings(max_examples=60, deadline=None)
@given(
    st.integers(-2, 30), st.integers(1, 200), st.floats(0, 0.3), st.integers(1, 12), st.floats(1, 500),
    st.floats(0, 2_000), st.integers(1, 40),
)  # fmt: skip
def test_an_order_brings_the_shelf_no_higher_than_one_lot_above_the_point(
    on_hand, lead, a_day, pack, price, short, lot
):
    """The policy of a lot and a point: what is unsure until the next order is no reason to buy for it now."""
    stock = StockNow(on_hand=on_hand, on_order=0, lead_days=lead, pack_size=pack)
    prices = Prices(price=price, short=short + 1, left_over=0.2 * price, order_cost=40)
    advice = advise(
        stock, lambda days: poisson(a_day * max(days, 0)), today=TODAY, service=0.9, by_hand=False, prices=prices,
        lot=lot, look_ahead_days=lead + 8,
    )  # fmt: skip
    if advice.order_by is not None and advice.order_by <= TODAY:
        assert on_hand + advice.quantity <= packs(advice.point + lot - on_hand, pack) + on_hand
        assert advice.quantity >= 1
