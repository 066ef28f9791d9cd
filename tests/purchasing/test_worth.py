"""What one too few and one too many cost, and the ladder that follows."""

from decimal import Decimal

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from reports.purchasing.demand import Demand, DemandRefused, poisson
from reports.purchasing.ladder import Prices, ladder
from reports.purchasing.lots import PriceFrom
from reports.purchasing.worth import (
    Economics,
    KeepCost,
    ShortCost,
    lot_and_point,
    newsvendor_normal,
    service_worth,
)


def test_newsvendor_of_two_books():
    # [S01] Snyder and Shen, Fundamentals of Supply Chain Theory: h 2, p 18, mean 120, sd 10, to 1e-9
    found = newsvendor_normal(mean=120, sd=10, short=18, left_over=2)
    assert found.stock == pytest.approx(132.815515655446, rel=1e-9)
    assert found.cost == pytest.approx(35.09966638749737, rel=1e-9)
    # [S03] Nahmias, Production and Operations Analysis (from memory), recomputed
    assert newsvendor_normal(mean=11.73, sd=4.74, short=0.5, left_over=0.15).stock == pytest.approx(15.220137, rel=1e-6)


def test_lot_and_point_together():
    # [S05] Nahmias, Production and Operations Analysis, (Q, R): 200 a year, 50 an order, keeping 2, 25 a piece short,
    # 100 +- 25 over the lead time (inputs from memory): (111, 143)
    found = lot_and_point(yearly_use=200, order_cost=50, keeping=2, short=25, lead_mean=100, lead_sd=25)
    assert found.lot == pytest.approx(110.77374, rel=1e-5)
    assert found.point == pytest.approx(142.5682, rel=1e-5)
    assert found.missing == pytest.approx(0.45416418, rel=1e-5)
    assert found.enough == pytest.approx(0.95569051, rel=1e-5)
    assert found.filled == pytest.approx(0.99590007, rel=1e-5)
    assert (round(found.lot), round(found.point)) == (111, 143)


def test_the_level_is_that_of_lot_and_point_where_a_missing_piece_is_dear():
    # h Q / (h Q + p D) and h Q / (p D) agree to first order
    found = lot_and_point(yearly_use=200, order_cost=50, keeping=2, short=250, lead_mean=100, lead_sd=25)
    level = service_worth(short=250, left_over=2 * found.lot / 200)
    assert level == pytest.approx(found.enough, abs=3e-5)


def test_what_a_piece_costs_that_lies():
    keep = KeepCost(capital=0.08, keeping=0.04, ageing=0.1)
    # by hand: 100 for two years: 24 of interest and room, and 1 - e^-0.2 = 18.127 % that it is never used
    assert keep.left_over(100, 2) == pytest.approx(24 + 18.12692469, rel=1e-9)
    assert keep.left_over(100, 50) == keep.left_over(100, 10)
    short = ShortCost(press_minutes=90, press_rate=100, late_job=200, hurried=50)
    assert short.total == 400
    assert service_worth(short=400, left_over=100) == pytest.approx(0.8)


def naive(position, chances, q, prices):
    cost = (prices.order_cost if q else 0.0) + prices.of(q) - q * prices.price
    for pieces, chance in enumerate(chances):
        gap = position + q - pieces
        cost += chance * (prices.left_over * gap if gap > 0 else -prices.short * gap)
    return cost


@settings(max_examples=60, deadline=None)
@given(
    st.integers(-2, 6),
    st.lists(st.floats(0.001, 1), min_size=1, max_size=12),
    st.floats(1, 500),
    st.floats(0.1, 100),
    st.integers(1, 4),
    st.lists(st.tuples(st.integers(2, 20), st.floats(1, 9)), max_size=2, unique_by=lambda row: row[0]),
    st.booleans(),
)
def test_every_rung_against_counting_it_out(position, chances, short, left_over, pack, breaks, incremental):
    demand = Demand.of(chances)
    prices = Prices(
        price=10.0, short=short, left_over=left_over, order_cost=3.0, incremental=incremental,
        breaks=tuple(PriceFrom(pieces=n, unit_price=Decimal(p)) for n, p in breaks),
    )  # fmt: skip
    rungs = ladder(position=position, in_lead=demand, until_next=demand, prices=prices, pack_size=pack)
    assert sum(rung.best for rung in rungs) == 1
    best = next(rung for rung in rungs if rung.best)
    for rung in rungs:
        assert rung.cost == pytest.approx(naive(position, demand.chances, rung.pieces, prices), rel=1e-9, abs=1e-8)
        assert rung.enough == pytest.approx(demand.at_most(position + rung.pieces), abs=1e-12)
        assert best.cost <= rung.cost + 1e-8 and rung.pieces % pack == 0
    if not breaks and pack == 1:
        ordered = [rung for rung in rungs if rung.pieces]
        if ordered and best.pieces:  # the newsvendor's own quantile
            assert position + best.pieces == max(demand.quantile(short / (short + left_over)), position + 1)


def test_incremental_prices_by_hand():
    rows = tuple(PriceFrom(pieces=n, unit_price=Decimal(p)) for n, p in ((5, 8), (10, 6)))
    all_units = Prices(price=10, short=1, left_over=1, breaks=rows)
    increments = Prices(price=10, short=1, left_over=1, breaks=rows, incremental=True)
    assert [all_units.of(n) for n in (0, 4, 5, 10)] == [0, 40, 40, 60]
    assert [increments.of(n) for n in (0, 4, 5, 9, 10, 12)] == [0, 40, 48, 80, 86, 98]


def test_a_level_by_hand_and_no_price():
    rungs = ladder(position=0, in_lead=poisson(1), until_next=poisson(3), level=0.95)
    best = next(rung for rung in rungs if rung.best)
    assert best.pieces == 6 and best.cost is None and best.tied_up is None  # Poisson tables: P(X <= 6) = 0.966
    assert (
        next(
            r for r in ladder(position=0, in_lead=poisson(1), until_next=poisson(1), level=0.5, least=3) if r.best
        ).pieces
        == 3
    )
    many = ladder(position=0, in_lead=poisson(100), until_next=poisson(200), level=0.9)
    assert len(many) <= 12 and many[0].pieces == 0 and any(rung.best for rung in many)


def test_money_tied_up_is_the_mean_of_coming_and_running_low():
    prices = Prices(price=10, short=100, left_over=5)
    rungs = ladder(position=2, in_lead=Demand.of([0, 1.0]), until_next=Demand.of([0, 0, 0, 1.0]), prices=prices)
    assert [rung.tied_up for rung in rungs[:2]] == [10 * (1 + 0) / 2, 10 * (2 + 0) / 2]


@pytest.mark.parametrize(
    "call",
    [
        lambda: KeepCost(capital=-0.1, keeping=0, ageing=0),
        lambda: ShortCost(press_minutes=float("nan"), press_rate=1, late_job=0, hurried=0),
        lambda: newsvendor_normal(mean=1, sd=0, short=1, left_over=1),
        lambda: lot_and_point(yearly_use=0, order_cost=1, keeping=1, short=1, lead_mean=1, lead_sd=1),
        lambda: lot_and_point(yearly_use=1, order_cost=50, keeping=9, short=0.1, lead_mean=1, lead_sd=1),
        lambda: ladder(position=0, in_lead=poisson(1), until_next=poisson(1)),
        lambda: ladder(position=0, in_lead=poisson(1), until_next=poisson(1), level=1.0),
        lambda: ladder(position=0, in_lead=poisson(1), until_next=poisson(1), level=0.9, pack_size=0),
    ],
)
def test_bad_input_is_refused(call):
    with pytest.raises(DemandRefused):
        call()


def test_nothing_to_lose_and_nothing_to_keep():
    assert service_worth(short=0, left_over=5) == 0.02 and service_worth(short=5, left_over=0) == 0.999
    assert np.isclose(service_worth(short=1e9, left_over=1), 0.999)


def economics(**more):
    figures = {
        "price": 48.5,
        "keep": KeepCost(capital=0.08, keeping=0.04, ageing=0.1),
        "short": ShortCost(press_minutes=120, press_rate=95, late_job=200, hurried=80),
        "order_cost": 40.0,
    }
    return Economics(**(figures | more))


def test_a_cheap_piece_is_kept_safer_than_a_dear_one():
    cheap, dear = economics(price=6.0).judged(4.0), economics(price=900.0).judged(0.3)
    assert cheap.service > 0.97 > dear.service
    assert cheap.lot > dear.lot == 1 and cheap.cover_days == 365  # nobody buys for more than a year ahead
    assert economics(price=None).judged(4.0).service == 0.9 and economics(price=None).judged(4.0).prices is None


def test_the_level_by_hand_is_taken_as_it_is():
    by_hand = economics(level=0.95).judged(2.0)
    assert by_hand.service == 0.95 and by_hand.by_hand and by_hand.prices is not None
    assert economics().judged(0.0).service > 0  # never used: it lies as long as one is reckoned to lie


def test_dearer_to_miss_is_kept_safer_and_dearer_to_keep_less():
    levels = [
        economics(short=ShortCost(press_minutes=m, press_rate=95, late_job=0, hurried=0)).judged(2.0).service
        for m in (10, 60, 600)
    ]
    assert levels == sorted(levels) and levels[0] < levels[-1]
    prices = [economics(price=price).judged(2.0).service for price in (5, 50, 500)]
    assert prices == sorted(prices, reverse=True)


def test_a_lot_is_whole_packs_and_follows_the_price_breaks():
    assert economics().judged(6.0, pack_size=5).lot % 5 == 0
    rows = (PriceFrom(pieces=20, unit_price=Decimal("20")),)
    assert economics(breaks=rows).judged(6.0).lot == 20 > economics().judged(6.0).lot


def test_a_break_that_the_lot_does_not_reach_is_shown_and_not_bought():
    """A cheaper price at fifty pieces, of a spare of which three go in a year: whoever counts pieces at the price of
    one would buy fifty and more, since each seems to earn what it is cheaper by."""
    use = Demand(chances=np.array([0.4, 0.4, 0.2]))
    said = {"price": 20.0, "short": 200.0, "left_over": 2.0, "order_cost": 30.0}
    breaks = (PriceFrom(pieces=50, unit_price=Decimal(15)),)

    def best(prices):
        rungs = ladder(position=0, in_lead=use, until_next=use, prices=prices, least=1)
        assert [rung.pieces for rung in rungs if rung.is_break] == [50]
        return next(rung.pieces for rung in rungs if rung.best)

    assert best(Prices(**said, breaks=breaks)) >= 50
    chosen = best(Prices(**said, breaks=breaks, lot=9))
    counted = {}
    for q in range(1, 10):  # one by one: no price but that of one is within the lot
        counted[q] = sum(p * (200 * max(d - q, 0) + 2 * max(q - d, 0)) for d, p in enumerate(use.chances))
    assert chosen == min(counted, key=counted.__getitem__) == 2


def test_no_rung_lies_under_the_least_quantity():
    use = Demand(chances=np.array([0.4, 0.4, 0.2]))
    rungs = ladder(position=0, in_lead=use, until_next=use, pack_size=4, level=0.9, least_lot=6)
    assert [rung.pieces for rung in rungs][:3] == [0, 8, 12] and next(r.pieces for r in rungs if r.best) == 8
