"""Every edge ground at each sharpening against some left: by formula, by law, and by rolling dice."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from reports.costing.money import MoneyRefused
from reports.costing.regrind import mean_interval, times_ground_together


def test_all_ground_each_time_is_the_first_of_weibull_lives():
    # mean = e Gamma(1 + 1/k), e the scale of the first: (sum of e^-k)^(-1/k). From memory: any text on the Weibull law
    usual, shape = [40e3, 60e3, 90e3], 3.0
    scales = np.array(usual) / math.log(2) ** (1 / shape)
    first = (scales**-shape).sum() ** (-1 / shape)
    assert mean_interval(usual, [1, 1, 1], shape=shape) == pytest.approx(first * math.gamma(1 + 1 / shape), rel=5e-3)


def test_without_memory_it_does_not_matter_what_is_ground():
    assert times_ground_together([40e3, 90e3], [1, 0.4], shape=1.0) == pytest.approx(1.0, rel=1e-6)


@pytest.mark.parametrize(("shape", "share"), [(2.5, 0.5), (3.0, 0.5), (4.0, 0.25)])
def test_against_dice(shape, share):
    """An edge left every other time (or three times in four), its age followed hit by hit."""
    rng, usual = np.random.default_rng(5), np.array([50e3, 50e3, 120e3, 120e3])
    shares = [1.0, 1.0, share, share]
    scales, every = usual / math.log(2) ** (1 / shape), round(1 / share)
    age, total, count = np.zeros(4), 0.0, 4_000
    for turn in range(count):
        life = scales * ((age / scales) ** shape + rng.exponential(size=4)) ** (1 / shape) - age
        interval = life.min()
        total += interval
        age += interval
        age[:2] = 0.0
        age[2:][(turn + np.arange(2) * every // 2) % every == 0] = 0.0
    assert mean_interval(usual.tolist(), shares, shape=shape) == pytest.approx(total / count, rel=0.025)


edges = st.lists(st.tuples(st.floats(1e4, 5e5), st.floats(0.1, 1)), min_size=1, max_size=4)


@settings(max_examples=8)
@given(edges, st.floats(1.2, 5))
def test_grinding_all_never_shortens_the_interval_of_edges_that_wear(some, shape):
    assert times_ground_together(*zip(*some, strict=True), shape=shape) >= 1 - 1e-6


@settings(max_examples=5)
@given(edges, st.floats(1.2, 5), st.floats(0.01, 100))
def test_hits_have_no_unit(some, shape, times):
    usual, shares = zip(*some, strict=True)
    there = mean_interval(usual, shares, shape=shape)
    assert mean_interval([u * times for u in usual], shares, shape=shape) == pytest.approx(there * times, rel=1e-6)


@pytest.mark.parametrize(
    ("usual", "shares", "shape"),
    [([], [], 3.0), ([4e4], [0.0], 3.0), ([4e4], [1.1], 3.0), ([0.0], [1.0], 3.0), ([4e4], [1.0, 1.0], 3.0),
     ([4e4], [1.0], math.nan)],
)  # fmt: skip
def test_what_cannot_be_is_refused(usual, shares, shape):
    with pytest.raises(MoneyRefused):
        mean_interval(usual, shares, shape=shape)
