"""Stock day by day, against drawing it."""

import math

import numpy as np
import pytest
import scipy

from reports.purchasing.demand import BreakRate, Demand, DemandRefused, poisson
from reports.purchasing.lead import LeadTime
from reports.purchasing.projected import Arrival, projected

RATE = BreakRate(shape=4.0, strokes=80.0)  # a piece in twenty days, as well known as from four


def use(days: int) -> Demand:
    return RATE.breaks_in(float(days))


def test_the_band_is_that_of_drawn_shelves():
    """A second way to it: the rate, the breaks and the days of two orders drawn 40,000 times."""
    rng = np.random.default_rng(5)
    first = Arrival(pieces=4, days=(10, 20, 30, 60), chances=(0.25, 0.25, 0.25, 0.25))
    second = Arrival(pieces=2, days=(80,), chances=(1.0,))
    days = [0, 5, 15, 25, 45, 70, 90, 120]
    told = projected(3, use, arrivals=[first, second], days=days)
    n = 40_000
    rate = rng.gamma(RATE.shape, 1 / RATE.strokes, n)
    comes = rng.choice(first.days, n)
    used, before = np.zeros(n, int), 0
    for k, day in enumerate(days):
        used += rng.poisson(rate * (day - before))
        before = day
        stock = 3 - used + 4 * (comes <= day) + 2 * (day >= 80)
        assert told.short[k] == pytest.approx((stock < 0).mean(), abs=0.008)
        for value, chance in ((told.low[k], 0.1), (told.half[k], 0.5), (told.high[k], 0.9)):
            assert (stock <= value).mean() >= chance - 0.008 and (stock < value).mean() <= chance + 0.008


def test_by_hand():
    """From first principles: two there, one a day used for certain, three come on the fourth day."""
    told = projected(2, lambda d: Demand.of([0] * d + [1]), arrivals=[Arrival(pieces=3, days=(4,), chances=(1.0,))],
                     days=range(8))  # fmt: skip
    assert told.half.tolist() == [2, 1, 0, -1, 1, 0, -1, -2]
    assert told.low.tolist() == told.high.tolist() == told.half.tolist()
    assert told.runs_out == 3


def test_the_day_it_runs_out_is_found_between_the_days_that_are_drawn():
    coarse = projected(2, use, days=[0, 50, 100])
    fine = projected(2, use, days=range(101))
    assert coarse.runs_out == fine.runs_out == next(d for d in range(101) if 1 - use(d).at_most(2) >= 0.1)
    assert projected(40, use, days=[0, 50]).runs_out is None
    assert projected(-1, use, days=[0, 50]).runs_out == 0


def test_an_order_under_way_has_not_come_yet():
    """Given that it has not come, by drawing the law and throwing away what came before."""
    rng = np.random.default_rng(9)
    seen, waited = [33, 28, 41], 30
    told = LeadTime.still_to_come(28, seen, waited=waited)
    y = np.log(np.array(seen) / 28)
    a, mean = 4.0, y.mean()
    one = (3 * 0.15**2 + ((y - mean) ** 2).sum() / 2) / a
    w = 0.25**2 / (0.25**2 + one / 3)
    drawn = 28 * np.exp(
        w * mean + math.sqrt(one * (1 + w / 3)) * scipy.stats.t.rvs(2 * a, size=400_000, random_state=rng)
    )
    drawn = drawn[drawn > waited]
    assert min(told.days) > waited
    assert told.middle == pytest.approx(np.quantile(drawn, 0.5), abs=1)
    assert told.late == pytest.approx(np.quantile(drawn, 0.9), abs=1)
    assert sum(told.chances) == pytest.approx(1)
    fresh = LeadTime.still_to_come(28, seen, waited=0)
    assert abs(fresh.middle - LeadTime.learnt(28, seen).middle) <= 1
    assert min(LeadTime.still_to_come(28, seen, waited=4_000).days) > 4_000  # long given up, and still owed
    assert LeadTime.still_to_come(0, waited=3).days == (4,)


def test_what_cannot_be_is_refused():
    with pytest.raises(DemandRefused, match="must rise"):
        projected(1, use, days=[3, 3])
    with pytest.raises(DemandRefused, match="-1 pieces"):
        Arrival(pieces=-1, days=(1,), chances=(1.0,))
    with pytest.raises(DemandRefused, match="placed -2 days ago"):
        LeadTime.still_to_come(28, waited=-2)
    assert poisson(0).plus(Arrival(pieces=0, days=(1,), chances=(1.0,)).still_out(0)).mean == 0
