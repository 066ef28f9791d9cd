"""Demand over a lead time that is itself uncertain."""

import itertools
import math

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from reports.purchasing.demand import Demand, DemandRefused, poisson
from reports.purchasing.lead import LeadTime, lead_trend


def test_what_is_certain_stays_certain():
    assert LeadTime.certain(28).use(lambda days: poisson(0.1 * days)).chances == pytest.approx(poisson(2.8).chances)
    assert LeadTime.learnt(0).days == (0,)


def test_without_orders_seen_the_promise_is_the_middle():
    lead = LeadTime.learnt(60)
    assert lead.middle == 60 and lead.seen == 0 and lead.promised == 60
    assert 66 <= lead.late <= 85 and lead.days[0] < 55
    assert sum(lead.chances) == pytest.approx(1)


def test_what_is_seen_moves_it_by_its_weight():
    # by hand: three orders of 90 days against 60 promised: a = 4, s^2 = 3 x 0.0225 / 4, weight t^2 / (t^2 + s^2 / 3)
    weight = 0.0625 / (0.0625 + 0.016875 / 3)
    assert LeadTime.learnt(60, [90, 90, 90]).middle == pytest.approx(60 * 1.5**weight, abs=1)
    assert LeadTime.learnt(60, [90]).middle < LeadTime.learnt(60, [90, 90]).middle < 90
    assert LeadTime.learnt(60, [90] * 60).middle == pytest.approx(90, abs=3)
    assert LeadTime.learnt(60, [60] * 60).late < LeadTime.learnt(60).late


def test_the_law_against_drawing_it():
    """The predictive law by drawing mean and variance from their posterior, a second way to the same spread."""
    rng = np.random.default_rng(3)
    y = np.log(np.array([35, 28, 41, 30]) / 28)
    a = 3 + (len(y) - 1) / 2
    b = 3 * 0.15**2 + ((y - y.mean()) ** 2).sum() / 2
    variance = 1 / rng.gamma(a, 1 / b, 200_000)
    weight = 0.25**2 / (0.25**2 + b / a / len(y))
    location = rng.normal(weight * y.mean(), np.sqrt(weight * variance / len(y)))
    drawn = 28 * np.exp(rng.normal(location, np.sqrt(variance)))
    lead = LeadTime.learnt(28, [35, 28, 41, 30])
    assert lead.middle == pytest.approx(np.quantile(drawn, 0.5), abs=1)
    assert (drawn <= lead.late).mean() == pytest.approx(0.9, abs=0.05)
    assert float(np.dot(lead.days, lead.chances)) == pytest.approx(drawn.mean(), rel=0.02)


def test_a_poisson_use_over_a_gamma_lead_time():
    # Poisson at a rate over a gamma time is negative binomial (as for the breaks): its mean and variance by the law
    # of total variance, E[D] = r E[L], Var[D] = r E[L] + r^2 Var[L]
    lead = LeadTime.learnt(40, [30, 55, 70, 38])
    rate, days, chances = 0.07, np.array(lead.days), np.array(lead.chances)
    mean = float(days @ chances)
    spread = float(((days - mean) ** 2) @ chances)
    use = lead.use(lambda n: poisson(rate * n))
    assert use.mean == pytest.approx(rate * mean, rel=1e-9)
    d = np.arange(len(use.chances))
    assert float(d**2 @ use.chances) - use.mean**2 == pytest.approx(rate * mean + rate**2 * spread, rel=1e-7)


@settings(max_examples=40, deadline=None)
@given(st.integers(1, 400), st.lists(st.floats(0, 900), max_size=8), st.floats(0, 0.2), st.integers(0, 200))
def test_laws(promised, seen, rate, wait):
    lead = LeadTime.learnt(promised, seen)
    assert sum(lead.chances) == pytest.approx(1) and list(lead.days) == sorted(set(lead.days)) and lead.days[0] >= 0
    assert lead.longest <= 5 * max([promised, *seen]) + 1
    use = lambda days: poisson(rate * days)  # noqa: E731
    assert lead.use(use, wait=wait).mean == pytest.approx(
        rate * (wait + np.dot(lead.days, lead.chances)), rel=1e-6, abs=1e-9
    )


@settings(max_examples=200, deadline=None)
@given(st.integers(1, 400), st.lists(st.floats(0, 900), max_size=8), st.floats(1, 5))
@example(20, [900.0] * 3, 5.0)  # before, one order of 4,500 days took the late figure from 657 days to 362
def test_one_order_later_than_all_before_makes_none_sooner_than_the_middle_was(promised, seen, times):
    lead, later = LeadTime.learnt(promised, seen), LeadTime.learnt(promised, [*seen, times * max([promised, *seen])])
    assert later.late >= lead.middle


@pytest.mark.parametrize(
    "call",
    [
        lambda: LeadTime.learnt(-1),
        lambda: LeadTime.learnt(10, [math.nan]),
        lambda: LeadTime.learnt(10, [-3]),
        lambda: LeadTime.certain(-1),
        lambda: LeadTime.certain(3).use(lambda days: Demand.of([])),
    ],
)
def test_bad_input_is_refused(call):
    with pytest.raises(DemandRefused):
        call()


def test_a_trend_of_lead_times_by_counting_all_orders():
    """Five that rise: S = 10 of 10 pairs, and of the 120 orders of five one rises and one falls so: 2 / 120."""
    assert lead_trend([14, 15, 15.5, 18, 24]).chance == pytest.approx(2 / 120, rel=1e-9)
    days = [20, 14, 22, 25, 19, 30]
    score = sum(np.sign(b - a) for a, b in itertools.combinations(days, 2))
    every = [sum(np.sign(b - a) for a, b in itertools.combinations(p, 2)) for p in itertools.permutations(days)]
    told = lead_trend(days)
    assert told.chance == pytest.approx(np.mean(np.abs(every) >= abs(score)), rel=1e-9)
    assert (told.earlier, told.later, told.longer) == (20, 25, True)
    assert lead_trend([14, 15, 16, 18]) is None and lead_trend([14] * 9) is None
