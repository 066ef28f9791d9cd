"""A discrete distribution of money."""

from decimal import Decimal

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from reports.costing.money import MoneyRefused
from reports.costing.spread import MOST_ATOMS, Spread

D = Decimal


def test_two_dice():
    die = Spread.of(range(1, 7), [1] * 6)
    both = die.plus(die)
    assert both.values.tolist() == list(range(2, 13))
    assert np.allclose(both.chances * 36, [1, 2, 3, 4, 5, 6, 5, 4, 3, 2, 1])
    assert both.expected == D(7)
    assert both.band(0.8) == (D(4), D(10))  # P(<=3) = 3/36 < 0.1 <= 6/36; P(<=9) = 30/36 < 0.9 <= 33/36


def test_counts_at_a_price():
    spread = Spread.of_counts([0.5, 0.25, 0.25], D("10.50"))
    assert spread.values.tolist() == [0, 10.5, 21]
    assert spread.expected == D("7.875")


def test_a_poisson_count_of_logarithmic_sizes_is_negative_binomial():
    # Quenouille 1949: Poisson(2) mishaps of logarithmic size, theta 0.5: P(<=8) = 0.97065981, quantiles 7 and 10
    n = np.arange(60)
    factorial = np.cumprod(np.maximum(n, 1.0))
    size = Spread.of(n[1:], 0.5 ** n[1:] / n[1:])
    total = Spread.compound(np.exp(-2.0) * 2.0**n / factorial, size)
    assert total.chances[total.values <= 8].sum() == pytest.approx(0.97065981, abs=1e-7)
    assert (total.quantile(0.95), total.quantile(0.99)) == (7, 10)


def test_worlds_are_mixed_by_weight():
    mixed = Spread.mixture([Spread.sure(D(10)), Spread.sure(D(20))], [3, 1])
    assert mixed.expected == D("12.5")
    assert mixed.quantile(0.75) == 10
    assert mixed.quantile(0.76) == 20


def test_many_atoms_are_merged_and_the_figures_hold():
    rng = np.random.default_rng(1)
    x, y = rng.gamma(2.0, 100.0, 500), rng.gamma(3.0, 80.0, 500)
    exact = np.add.outer(x, y).ravel()
    total = Spread.of(x, np.ones(500)).plus(Spread.of(y, np.ones(500)))
    assert len(total.values) <= MOST_ATOMS
    assert total.mean == pytest.approx(exact.mean(), rel=1e-12)
    for p in (0.1, 0.5, 0.9):
        assert total.quantile(p) == pytest.approx(np.quantile(exact, p), abs=np.ptp(exact) / 100)


@pytest.mark.parametrize(
    ("values", "chances"),
    [([1], [0]), ([1, 2], [1]), ([float("nan")], [1]), ([1, 2], [2, -1]), ([1], [float("inf")])],
)
def test_what_is_no_distribution_is_refused(values, chances):
    with pytest.raises(MoneyRefused):
        Spread.of(values, chances)
    with pytest.raises(MoneyRefused):
        Spread.compound([0.5, -0.5], Spread.of([1], [1]))


CHANCES = st.lists(st.floats(0.01, 1), min_size=1, max_size=30)


@settings(max_examples=50, deadline=None)
@given(CHANCES, CHANCES, st.decimals(min_value=0, max_value=1000, places=2))
def test_means_add_and_counts_order_the_quantiles(p, q, each):
    a, b = Spread.of_counts(p, each), Spread.of_counts(q, each)
    assert a.plus(b).mean == pytest.approx(a.mean + b.mean, rel=1e-9, abs=1e-9)
    assert a.quantile(0.1) <= a.quantile(0.5) <= a.quantile(0.9)
    counts = np.asarray(q) / np.sum(q)
    assert Spread.compound(counts, a).mean == pytest.approx(counts @ np.arange(len(q)) * a.mean, rel=1e-9, abs=1e-9)
