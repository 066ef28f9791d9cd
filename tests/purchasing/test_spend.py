"""Spend by month, against shops played through day by day."""

import numpy as np
import pytest

from reports.purchasing.demand import BreakRate, Demand, DemandRefused
from reports.purchasing.lead import LeadTime
from reports.purchasing.spend import Buy, Part, Rule, buys_ahead, total

ENDS = [30 * n for n in range(1, 13)]


def played(rng, rule: Rule, rate: BreakRate, lead: LeadTime, n: int, *, ends: int = 360) -> np.ndarray:
    """float[n, 12]: the same rule over days, the rate, the breaks and each order's time drawn."""
    paid = np.zeros((n, 12))
    a_day = rng.gamma(rate.shape, 1 / rate.strokes, n)
    position, orders = np.full(n, rule.position), np.zeros(n, int)
    for day in range(361):
        if 0 < day <= ends:
            position = position - rng.poisson(a_day)
        while True:
            due = (position < rule.point) & (day <= ends)
            if not due.any():
                break
            pieces = np.where(orders == 0, rule.first, rule.lot)
            comes = day + rng.choice(lead.days, n, p=lead.chances)
            month = np.maximum(-(-comes // 30) - 1, 0)
            for k in np.flatnonzero(due & (month < 12)):
                paid[k, month[k]] += pieces[k] * rule.unit_price
            position = np.where(due, position + pieces, position)
            orders = orders + due
    return paid


LEAD = LeadTime(promised=20, days=(15, 20, 35), chances=(0.3, 0.5, 0.2), middle=20, late=35)


@pytest.mark.parametrize(
    ("rule", "rate"),
    [
        (Rule(position=3, point=3, first=4, lot=3, unit_price=50.0), BreakRate(shape=5.0, strokes=100.0)),
        (Rule(position=1, point=3, first=2, lot=2, unit_price=80.0), BreakRate(shape=2.0, strokes=200.0)),
        (Rule(position=6, point=2, first=1, lot=1, unit_price=10.0), BreakRate(shape=20.0, strokes=900.0)),
    ],
)
def test_one_item_is_paid_when_the_rule_says(rule, rate):
    told = buys_ahead(rule, lambda d: rate.breaks_in(float(d)), lead=LEAD, month_ends=ENDS)
    paid = played(np.random.default_rng(3), rule, rate, LEAD, 4_000)
    mean = sum(buy.cost * buy.chances for buy in told)
    assert mean == pytest.approx(paid.mean(axis=0), abs=0.08 * max(mean) + 4 * paid.std() / 4_000**0.5)
    assert mean.sum() == pytest.approx(paid.sum(axis=1).mean(), rel=0.06)


def test_the_band_of_a_shop_holds_what_is_played():
    """Thirty items together, months and year: 8 in 10 within, and the middle in the middle."""
    rng = np.random.default_rng(11)
    parts, paid = [], np.zeros((600, 12))
    for _ in range(30):
        rate = BreakRate(shape=float(rng.uniform(1, 6)), strokes=float(rng.uniform(100, 500)))
        rule = Rule(position=int(rng.integers(1, 5)), point=2, first=int(rng.integers(1, 4)), lot=2,
                    unit_price=float(rng.uniform(20, 400)))  # fmt: skip
        parts.append(Part(buys=tuple(
            (buy, 1.0) for buy in buys_ahead(rule, lambda d, r=rate: r.breaks_in(float(d)), lead=LEAD, month_ends=ENDS)
        )))  # fmt: skip
        paid += played(rng, rule, rate, LEAD, 600)
    told = total(parts)
    within = ((paid >= told.low - 1) & (paid <= told.high + 1)).mean(axis=0)
    assert within.mean() == pytest.approx(0.80, abs=0.035) and within.min() > 0.72
    assert (paid <= told.half).mean() == pytest.approx(0.5, abs=0.05)
    year = paid.sum(axis=1)
    low, half, high, mean = told.year
    assert ((year >= low) & (year <= high)).mean() == pytest.approx(0.80, abs=0.06)
    assert mean == pytest.approx(year.mean(), rel=0.03) and half == pytest.approx(np.median(year), rel=0.03)


def test_a_sum_on_the_lattice_and_by_moments_are_those_of_drawn_buys():
    rng = np.random.default_rng(2)
    for n in (3, 140, 151, 600):
        costs, chances = rng.uniform(10, 500, n), rng.uniform(0.01, 0.4, n)
        of = np.zeros((n, 12))
        of[:, 4] = chances
        told = total([Part(buys=tuple((Buy(cost=c, chances=p), 1.0) for c, p in zip(costs, of, strict=True)))])
        drawn = (rng.random((20_000, n)) < chances) @ costs
        for value, chance in ((told.low[4], 0.1), (told.half[4], 0.5), (told.high[4], 0.9)):
            assert (drawn <= value + 1).mean() >= chance - 0.015 and (drawn < value - 1).mean() <= chance + 0.015
        assert told.high[3] == 0 and told.mean[4] == pytest.approx(costs @ chances)


def test_what_is_placed_already_falls_in_its_month():
    told = total([Part(sure={0: 120.0, 5: 30.0}), Part(sure={5: 12.0, 14: 99.0})])
    assert told.low.tolist() == told.high.tolist() == told.sure.tolist()
    assert told.sure[[0, 5]].tolist() == [120.0, 42.0] and told.year == (162.0, 162.0, 162.0, 162.0)


def test_nothing_is_bought_beyond_the_end_of_a_programme():
    """By first principles: one a day for certain until the hundredth day, none after."""

    def use(days: int) -> Demand:
        return Demand.of([0] * days + [1])

    rule = Rule(position=20, point=11, first=30, lot=30, unit_price=1.0, ends=100)
    told = buys_ahead(rule, use, lead=LeadTime.certain(10), month_ends=ENDS)
    assert sum(buy.cost for buy in told) == 100 - 20  # what is used till then, and no piece more
    assert sum(buy.chances[4:].sum() for buy in told) == 0  # paid until the day 110 at the latest
    over = Rule(position=0, point=3, first=2, lot=2, unit_price=1.0, ends=-5)
    assert buys_ahead(over, lambda d: use(0), lead=LeadTime.certain(10), month_ends=ENDS) == ()
    on = buys_ahead(Rule(position=20, point=11, first=30, lot=30, unit_price=1.0), use, lead=LeadTime.certain(10),
                    month_ends=ENDS)  # fmt: skip
    assert sum(float(buy.cost * buy.chances.sum()) for buy in on) > 300


def test_what_cannot_be_is_refused():
    with pytest.raises(DemandRefused, match="must rise"):
        buys_ahead(Rule(position=1, point=1, first=1, lot=1, unit_price=1.0), lambda d: Demand.none(),
                   lead=LeadTime.certain(1), month_ends=[30, 30])  # fmt: skip
    with pytest.raises(DemandRefused, match="an order of 0"):
        Rule(position=1, point=1, first=0, lot=1, unit_price=1.0)
    with pytest.raises(DemandRefused, match="of 3 months"):
        total([Part(buys=((Buy(cost=1.0, chances=np.zeros(3)), 1.0),))])


def test_what_the_whole_span_does_not_reach_is_asked_of_no_other_day():
    """Use only grows: where the last day brings no order, the days before it are not worked out."""
    asked = []

    def use(days: int) -> Demand:
        asked.append(days)
        return BreakRate(shape=3, strokes=1e9).breaks_in(1_000 * days)

    rule = Rule(position=40, point=2, first=4, lot=4, unit_price=10)
    assert buys_ahead(rule, use, lead=LeadTime.certain(30), month_ends=[30, 61, 91]) == ()
    assert asked == [91]
