"""The interval of a die that nobody has built yet."""

import math
from dataclasses import replace

import numpy as np
import pytest

from maintenance.life import fleet, prior, unbuilt
from maintenance.life.cycles import EdgeSpec, LifeSamples, SampleRefused
from maintenance.life.grids import Theta

PUNCH = EdgeSpec(die=0, thickness_mm=1.0, tensile_mpa=400.0, steel="D2", coating="none", gap_pct=10.0)
HANDBOOK = fleet.fit([], LifeSamples.of([], [], []))
p = len(prior.NAMES)


def sure(*, k=2.5, eta=1.5):
    """A fit that is sure of everything, its dies and edges all alike."""
    b = np.r_[math.log(eta), np.zeros(p - 1)]
    best = Theta(b=b, ln_k=math.log(k), ln_tu=-20.0, ln_tv=-20.0)
    return replace(HANDBOOK, best=best, covariance=np.zeros((p + 3, p + 3)))


def test_the_first_of_edges_alike():
    # W. Weibull 1951 (from memory): the least of n lives of scale eta and shape k has the scale eta n^(-1/k); its mean
    # is that times Gamma(1 + 1/k): Gamma(1.4) = 0.88726 (tables of the gamma function, from memory)
    for n in (1, 4, 40):
        made = unbuilt.mean_intervals(sure(), [[(PUNCH, n)]], worlds=8)
        assert made == pytest.approx(150_000 * n ** (-0.4) * 0.88726, rel=1e-4)


def test_ways_alike_are_alike_and_groups_are_what_they_hold():
    made = unbuilt.mean_intervals(HANDBOOK, [[(PUNCH, 3)], [(PUNCH, 3)], [(PUNCH, 1), (PUNCH, 2)]])
    assert np.array_equal(made[0], made[1])
    assert np.median(made[2]) == pytest.approx(np.median(made[0]), rel=0.15)


def test_a_harder_wearing_steel_lasts_as_much_longer_as_the_wear_model_says():
    carbide = replace(PUNCH, steel="carbide")
    made = unbuilt.mean_intervals(HANDBOOK, [[(PUNCH, 6)], [(carbide, 6)]], worlds=4000)
    assert np.median(made[1] / made[0]) == pytest.approx(math.exp(1.8), rel=0.05)
    assert (made[1] / made[0] < 1).mean() < 0.01  # 1.8 is three of its spreads of 0.6


def test_no_edges_or_too_many_are_refused():
    for ways in ([], [[]]):
        with pytest.raises(SampleRefused, match="no cutting place"):
            unbuilt.mean_intervals(HANDBOOK, ways)
    with pytest.raises(SampleRefused, match="up to 2,000"):
        unbuilt.mean_intervals(HANDBOOK, [[(PUNCH, 2001)]])
