"""How many intervals end in so many strokes."""

import math
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from reports.purchasing.laws import LawRefused, StoredLaw, WeibullLaw
from reports.purchasing.renewals import RenewalCounts, TooManyIntervals, mixed_at


def counts(law, horizon, first=None, **options):
    return RenewalCounts.of(first=first or law, fresh=law, horizon_hits=horizon, **options)


# Renewal function of a Weibull life with the scale 1. Computed reference by two ways that agree to 1e-6 (midpoint
# sums with extrapolation; convolution powers with extrapolation) and by drawing 200,000 paths.
SCALE_ONE = {
    1.5: {0.5: 0.3302698, 1: 0.8415781, 2: 1.945501, 3: 3.053714},
    2.0: {0.5: 0.2307939, 1: 0.7536913, 2: 1.894039, 3: 3.021745},
    3.0: {0.5: 0.1182627, 1: 0.6723291, 2: 1.801075, 3: 2.924775},
}
# The same for lives with the mean 1, on the grid of Soland 1968 (DTIC AD0675424); shape 1 is exact: M(t) = t
MEAN_ONE = {
    1.0: {0.5: 0.5, 1: 1.0, 1.5: 1.5, 2: 2.0, 3: 3.0, 4: 4.0},
    2.0: {0.5: 0.184298, 1: 0.62407, 1.5: 1.134159, 2: 1.637899, 3: 2.636492, 4: 3.636631},
    3.0: {0.5: 0.085551, 1: 0.531046, 1.5: 1.085035, 2: 1.559482, 3: 2.566502, 4: 3.56632},
}


@pytest.mark.parametrize("shape", SCALE_ONE)
def test_expected_count_scale_one(shape):
    # [N05] tolerance 1e-5 as given there
    found = counts(WeibullLaw(eta_hits=1, shape=shape), 3, cells=6144)
    for t, expected in SCALE_ONE[shape].items():
        assert found.expected(t) == pytest.approx(expected, abs=1e-5)


@pytest.mark.parametrize("shape", MEAN_ONE)
def test_expected_count_mean_one(shape):
    # [N01] tolerance 1e-5 as given there
    law = WeibullLaw(eta_hits=1 / math.gamma(1 + 1 / shape), shape=shape)
    found = counts(law, 4, cells=8192)
    for t, expected in MEAN_ONE[shape].items():
        assert found.expected(t) == pytest.approx(expected, abs=1e-5)


@pytest.mark.parametrize("shape", [1.5, 2.0, 3.0])
def test_the_usual_lattice_is_fine_enough(shape):
    found = counts(WeibullLaw(eta_hits=1, shape=shape), 3)
    for t, expected in SCALE_ONE[shape].items():
        assert found.expected(t) == pytest.approx(expected, abs=3e-4)


@dataclass(frozen=True)
class Erlang2:
    rate: float

    def ended(self, hits):
        x = self.rate * np.asarray(hits, float)
        return 1 - np.exp(-x) * (1 + x)


def test_closed_form_of_two_stages():
    # [N03] Karlin and Taylor; Cox 1962: M(t) = l t / 2 - 1/4 + exp(-2 l t) / 4, rate 2, t = 3
    assert counts(Erlang2(2.0), 3, cells=8192).expected(3) == pytest.approx(2.7500015, abs=1e-6)


@dataclass(frozen=True)
class Evenly:
    """Between two counts with the same chance everywhere: its density jumps at both."""

    low: float
    high: float

    def ended(self, hits):
        return np.clip((np.asarray(hits, float) - self.low) / (self.high - self.low), 0.0, 1.0)


def evenly_to_one(t):
    """Feller, An Introduction to Probability Theory, vol. 2, ch. XI, lives even between 0 and 1 (from memory):
    the expected count is e^t - 1 up to t = 1; beyond, sum over n of P(S_n <= t), S_n the sum of n such lives."""
    if t <= 1:
        return math.exp(t) - 1
    return sum(
        sum((-1) ** j * math.comb(n, j) * max(t - j, 0.0) ** n for j in range(n + 1)) / math.factorial(n)
        for n in range(1, 25)
    )


@pytest.mark.parametrize("t", [0.3, 0.77, 1.0, 1.5, 2.3, 3.0])
def test_the_error_falls_with_the_square_of_the_cell_also_at_a_jump_of_the_density(t):
    errors = [counts(Evenly(0.0, 1.0), 3, cells=cells).expected(t) - evenly_to_one(t) for cells in (512, 2048, 8192)]
    assert abs(errors[0]) < 5e-5
    for coarse, fine in pairwise(errors):
        assert abs(fine) < abs(coarse) / 10  # 16 by the square; 4 where it fell with the cell


def test_a_life_between_two_counts_first_and_a_constant_rate_after():
    # By hand: the first interval ends evenly between 0.3 and 1, later ones at the rate 1, so that the expected count is
    # the integral of (1 + t - x) / 0.7 over x from 0.3 to the lesser of t and 1.
    found = counts(WeibullLaw(eta_hits=1, shape=1), 3, first=Evenly(0.3, 1.0))
    for t in (0.3, 0.31, 0.6, 1.0, 1.7, 3.0):
        end = min(max(t, 0.3), 1.0)
        exact = ((1 + t) * (end - 0.3) - (end**2 - 0.3**2) / 2) / 0.7
        assert found.expected(t) == pytest.approx(exact, abs=3e-5)
        assert found.chances(t)[0] == pytest.approx(1 - (end - 0.3) / 0.7, abs=1e-12)


def test_failures_between_two_changes_of_the_whole_block():
    # [R09] Karlin and Taylor, A First Course in Stochastic Processes, 2nd ed., ch. 5, problem 7: two stages of the rate
    # 1, a planned change 1, a failure 8: best every 0.8391735, with 0.21625732 failures between and a cost rate of
    # 3.2532708
    found = counts(Erlang2(1.0), 1.5, cells=8192)
    assert found.expected(0.8391735) == pytest.approx(0.21625732, abs=1e-7)
    at = np.linspace(0.6, 1.2, 1201)
    rate = np.array([(1 + 8 * found.expected(t)) / t for t in at])
    assert rate.min() == pytest.approx(3.2532708, rel=1e-6)
    assert at[rate.argmin()] == pytest.approx(0.8391735, abs=5e-4)
    # [R11] Weibull, shape 2.5, scale 1,000, a planned change 1, a failure 5 (computed by a solver of the renewal
    # equation and by powers of convolution): every 478.5 with 0.14868522 failures, 0.0036435237 a unit
    found = counts(WeibullLaw(eta_hits=1000, shape=2.5), 1000, cells=8192)
    assert found.expected(478.5) == pytest.approx(0.14868522, rel=1e-5)
    at = np.linspace(300, 900, 1201)
    rate = np.array([(1 + 5 * found.expected(t)) / t for t in at])
    assert rate.min() == pytest.approx(0.0036435237, rel=1e-5)
    assert at[rate.argmin()] == pytest.approx(478.5, rel=5e-3)


def test_long_horizon_follows_the_asymptote():
    # [N08] Smith 1954, Cox 1962: t / mu + (var - mu^2) / (2 mu^2); mean 1, shape 3, t = 4: 3.5660467
    law = WeibullLaw(eta_hits=1 / math.gamma(1 + 1 / 3), shape=3)
    assert counts(law, 4, cells=4096).expected(4) == pytest.approx(3.5660467, abs=3e-4)


def test_chances_of_the_counts():
    # [N06] P(N <= k), shape 2.5, scale 60,000, 200,000 strokes from new: by convolution and 300,000 drawn paths
    at_most = [1.5484357e-09, 0.0033773454, 0.15560578, 0.60005922, 0.90577095, 0.98786479, 0.99904957, 0.99995083]
    found = counts(WeibullLaw(eta_hits=60_000, shape=2.5), 200_000)
    reached = np.cumsum(found.chances(200_000))
    assert reached[:8] == pytest.approx(at_most, abs=2e-4)
    assert found.expected(200_000) == pytest.approx(3.3483234, abs=2e-4)
    assert [int(np.searchsorted(reached, q)) for q in (0.9, 0.95, 0.99)] == [4, 5, 6]


def test_a_worn_first_interval_comes_sooner():
    law = WeibullLaw(eta_hits=60_000, shape=2.5)
    worn = counts(law, 200_000, first=WeibullLaw(eta_hits=60_000, shape=2.5, hits_on=50_000))
    drawn = np.random.default_rng(4)
    n = 100_000
    first = (drawn.exponential(size=n) + (50 / 60) ** 2.5) ** (1 / 2.5) * 60_000 - 50_000
    later = drawn.weibull(2.5, (n, 12)) * 60_000
    ends = np.cumsum(np.column_stack([first, later]), axis=1)
    for hits in (30_000, 200_000):
        count = (ends <= hits).sum(axis=1)
        assert worn.expected(hits) == pytest.approx(count.mean(), abs=4 * count.std() / n**0.5 + 3e-4)
        chances = worn.chances(hits)
        for k in range(3):
            assert chances[k] == pytest.approx((count == k).mean(), abs=0.007)


def test_short_intervals_get_a_finer_lattice():
    # 100 intervals: the mean count by the asymptote, mean = eta Gamma(1.4), var likewise
    law = WeibullLaw(eta_hits=1000, shape=2.5)
    mean = 1000 * math.gamma(1.4)
    var = 1000**2 * (math.gamma(1.8) - math.gamma(1.4) ** 2)
    expected = 100_000 / mean + (var - mean**2) / (2 * mean**2)
    assert counts(law, 100_000).expected(100_000) == pytest.approx(expected, abs=0.05)


def test_an_absurd_horizon_is_refused_with_its_figures():
    with pytest.raises(TooManyIntervals, match="1,000,000,000,000 strokes"):
        counts(WeibullLaw(eta_hits=50_000, shape=2.5), 1e12)
    for horizon in (-1.0, float("nan"), float("inf")):
        with pytest.raises(LawRefused):
            counts(WeibullLaw(eta_hits=1, shape=1), horizon)
    with pytest.raises(LawRefused, match="asked for"):
        counts(WeibullLaw(eta_hits=1, shape=1), 2.0).chances(3.0)


def test_nothing_ahead():
    none = counts(WeibullLaw(eta_hits=1, shape=1), 0)
    assert none.chances(0).tolist() == [1.0] and none.expected(0) == 0
    never = counts(WeibullLaw(eta_hits=1e9, shape=5), 10)
    assert never.chances(10).tolist() == [1.0]


@settings(max_examples=30, deadline=None)
@given(
    st.lists(st.integers(1, 10**6), min_size=4, max_size=4),
    st.floats(1e4, 1e6),
    st.floats(1.0, 5),
    st.floats(1e3, 3e6),
    st.floats(0, 1),
)
def test_laws_of_a_count(stored, eta, shape, horizon, part):
    first = StoredLaw.of(dict(zip(("0.1", "0.5", "0.9", "0.99"), sorted(stored), strict=True)))
    found = counts(WeibullLaw(eta_hits=eta, shape=shape), horizon, first=first)
    near, far = found.chances(part * horizon), found.chances(horizon)
    for chances in (near, far):
        assert (chances >= -1e-9).all() and chances.sum() == pytest.approx(1)
    # more strokes, no fewer ends: the count of the longer horizon is the larger in distribution
    n = max(len(near), len(far))
    below = np.cumsum(np.pad(near, (0, n - len(near)))) - np.cumsum(np.pad(far, (0, n - len(far))))
    assert (below >= -1e-9).all()


def test_several_laws_together_are_the_mean_of_each():
    """Against `of`, one law at a time; on one lattice they are the same, whatever the lattice a law would do with."""
    laws = [WeibullLaw(eta_hits=eta, shape=k) for eta, k in ((0.7, 2.0), (1.0, 3.0), (1.6, 1.4))]
    first = WeibullLaw(eta_hits=1, shape=2.5, hits_on=0.4)
    together = RenewalCounts.mixed(first=first, fresh=laws, horizon_hits=4)
    alone = [counts(law, 4, first=first) for law in laws]
    for hits in (0.0, 0.3, 1.7, 4.0):
        found = [one.chances(hits) for one in alone]
        longest = max(map(len, found))
        mean = np.mean([np.pad(p, (0, longest - len(p))) for p in found], axis=0)
        assert together.chances(hits)[:longest] == pytest.approx(mean, abs=1e-9)
    fine = RenewalCounts.mixed(first=first, fresh=[*laws, WeibullLaw(eta_hits=0.05, shape=2)], horizon_hits=4)
    assert fine.at_least.shape[1] > together.at_least.shape[1]  # the finest that one of them needs
    with pytest.raises(LawRefused, match="no law"):
        RenewalCounts.mixed(first=first, fresh=[], horizon_hits=4)
    assert RenewalCounts.mixed(first=first, fresh=laws, horizon_hits=0).chances(0).tolist() == [1.0]


@settings(deadline=None, max_examples=12)
@given(
    stored=st.booleans(),
    life=st.floats(800, 30_000),
    shape=st.floats(0.8, 6),
    ends=st.lists(st.floats(0, 60_000), min_size=1, max_size=6),
)
def test_single_horizons_are_columns_of_the_whole_lattice(stored, life, shape, ends):
    """By damped transforms, against the convolutions of `mixed` on the same lattice."""
    laws = tuple(WeibullLaw.with_median(life * times, shape) for times in (0.8, 1.0, 1.3))
    first = StoredLaw.of({f"{p}": life * (0.1 + p) for p in (0.1, 0.5, 0.9)}) if stored else laws[1]
    horizon = max(ends)
    whole = RenewalCounts.mixed(first=first, fresh=laws, horizon_hits=horizon, cells=4096)
    for hits, chances in zip(ends, mixed_at(ends, first=first, fresh=laws), strict=True):
        wanted = whole.chances(hits)
        n = max(len(wanted), len(chances))
        assert np.abs(np.pad(wanted, (0, n - len(wanted))) - np.pad(chances, (0, n - len(chances)))).max() < 1e-8
        assert chances.sum() == pytest.approx(1.0, abs=1e-9) and (chances >= -1e-12).all()


def test_freshly_sharpened_each_world_begins_with_its_own_law():
    laws = tuple(WeibullLaw.with_median(life, 3.0) for life in (7_000, 14_000))
    (found,) = mixed_at([50_000.0], first=None, fresh=laws)
    each = [RenewalCounts.of(first=law, fresh=law, horizon_hits=50_000, cells=4096).chances(50_000) for law in laws]
    wanted = sum(np.pad(one, (0, len(found) - len(one)))[: len(found)] for one in each) / 2
    assert found == pytest.approx(wanted, abs=1e-6)


def test_a_thousand_ends_are_counted_too():
    """Where the lattice of all columns would not fit; mean and spread of many ends: D. R. Cox, Renewal Theory, 1962,
    ch. 3, for a fresh start x / m + (c^2 - 1) / 2 and c^2 x / m, c the coefficient of variation."""
    law = WeibullLaw.with_median(500, 2.0)
    (found,) = mixed_at([1e6], first=None, fresh=[law])
    n = np.arange(len(found))
    varying = 4 / np.pi - 1  # of a Weibull law of shape 2
    assert n @ found == pytest.approx(1e6 / law.mean_hits + (varying - 1) / 2, abs=0.05)
    assert (n - n @ found) ** 2 @ found == pytest.approx(varying * 1e6 / law.mean_hits, rel=0.01)


@pytest.mark.parametrize(
    ("hits", "laws"),
    [([-1.0], [WeibullLaw.with_median(1, 2)]), ([np.nan], [WeibullLaw.with_median(1, 2)]), ([1.0], [])],
)
def test_single_horizons_that_cannot_be(hits, laws):
    with pytest.raises(LawRefused):
        mixed_at(hits, first=None, fresh=laws)
    assert [p.tolist() for p in mixed_at([0.0], first=None, fresh=[WeibullLaw.with_median(1, 2)])] == [[1.0]]
