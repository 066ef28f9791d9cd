"""Clusters, a rising rate, and limits from a small count."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from reports.purchasing.breaks import Trend, mean_limits, pieces_at_once
from reports.purchasing.demand import DemandRefused, poisson


def test_limits_of_a_mean_from_a_small_count():
    # [T10-01] NIST/SEMATECH e-Handbook 8.4.5.1: 600,000 hits, two sharpenings, 90 % two-sided
    found = mean_limits(600_000, 2)
    assert found.mean == 300_000
    assert found.lower == pytest.approx(95_302, rel=1e-3) and found.upper == pytest.approx(1_688_422, rel=1e-3)
    # the factors on the mean that are computed there from the formula
    for events, lower, upper in ((1, 0.2108, 19.496), (2, 0.3177, 5.628), (3, 0.3869, 3.669), (10, 0.5895, 1.843)):
        of_mean = mean_limits(float(events), events)
        assert of_mean.lower == pytest.approx(lower, abs=6e-5) and of_mean.upper == pytest.approx(upper, abs=6e-4)
    # [T10-03] the same, no failure in 300,000 hits: only a lower bound
    none = mean_limits(300_000, 0)
    assert none.lower == pytest.approx(130_288, rel=1e-3) and none.mean is None and none.upper is None


def test_laplaces_test_against_scipy_and_by_hand():
    trend = Trend.of([([200.0, 700.0, 900.0], 1000.0), ([400.0], 500.0)])
    by_hand = ((200 - 500) + (700 - 500) + (900 - 500) + (400 - 250)) / math.sqrt((3 * 1000**2 + 500**2) / 12)
    assert trend.laplace == pytest.approx(by_hand)
    assert trend.chance_rising == pytest.approx(stats.norm.sf(by_hand))
    assert trend.logs == pytest.approx(sum(math.log(x) for x in (5, 10 / 7, 10 / 9, 1.25)))


def test_a_constant_rate_is_flagged_as_often_as_luck_says_and_a_rising_one_is_found():
    rng = np.random.default_rng(11)
    flagged = {"constant": 0, "rising": 0}
    growth = []
    for _ in range(400):
        for kind, b in (("constant", 1.0), ("rising", 2.0)):
            places = []
            for end in (1e6, 3e6, 2e6):
                n = rng.poisson(8)
                places.append((end * rng.random(n) ** (1 / b) + 1e-9, end))
            trend = Trend.of((np.minimum(times, end), end) for times, end in places)
            flagged[kind] += trend.chance_rising < 0.05
            if kind == "rising":
                growth.append(trend.growth)
    assert 0.02 < flagged["constant"] / 400 < 0.09 and flagged["rising"] / 400 > 0.85
    assert 1.5 < np.mean(growth) < 2.0  # shrunk to a constant rate


def test_new_pieces_that_tire_are_no_rise():
    """A renewal process of new pieces, 200 shops of six dies: early on nothing breaks, and the power law bends."""
    rng = np.random.default_rng(2)
    factors = []
    for _ in range(200):
        times = np.cumsum(rng.weibull(3.0, (6, 12)) * 3e5, axis=1)
        factors.append(Trend.of((row[row <= 1e6], 1e6) for row in times).factor)
    assert np.mean(np.array(factors) > 1) < 0.1


def test_no_mishaps_no_rise():
    assert Trend().growth == 1.0 and Trend().chance_rising == 0.5


def test_clusters_widen_the_count_and_leave_its_mean():
    sizes = pieces_at_once({1: 6, 3: 5})
    assert sizes.chances == pytest.approx(np.array([0, 10, 0, 5]) / 15)
    total = poisson(1.2).compounded(sizes)
    drawn = np.random.default_rng(4)
    counts = [drawn.choice(4, size=n, p=sizes.chances).sum() for n in drawn.poisson(1.2, 20_000)]
    assert total.mean == pytest.approx(1.2 * sizes.mean) == pytest.approx(np.mean(counts), abs=0.05)
    d = np.arange(len(total.chances))
    assert float(d**2 @ total.chances) - total.mean**2 == pytest.approx(np.var(counts), rel=0.06)


@given(st.lists(st.floats(1, 1000), max_size=20))
def test_the_growth_stays_within_reason(times):
    trend = Trend.of([(times, 1000.0)])
    assert 0 < trend.growth <= 3.0 and 0 <= trend.chance_rising <= 1


@pytest.mark.parametrize(
    "call",
    [
        lambda: mean_limits(0, 1),
        lambda: mean_limits(1, -1),
        lambda: mean_limits(1, 1, confidence=1.0),
        lambda: Trend.of([([0.0], 10.0)]),
        lambda: Trend.of([([11.0], 10.0)]),
        lambda: pieces_at_once({0: 3}),
    ],
)
def test_bad_input_is_refused(call):
    with pytest.raises(DemandRefused):
        call()
