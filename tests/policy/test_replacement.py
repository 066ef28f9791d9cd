"""Age, block and periodic replacement against published and independently computed figures."""

import numpy as np
import pytest
import scipy

from maintenance.policy import replacement
from maintenance.policy.costs import Costs, CostsRefused
from maintenance.policy.lives import Lives
from maintenance.policy.replacement import Even, PolicyRefused, RenewalTable, Weibull


# Weibull 2.5, 1,000, planned 1 and failure 5: inputs of a published example of the optimum replacement time (ReliaWiki,
# System Analysis Reference); the documentation of the library reliability prints T 493.19 and cost 0.0035. The digits
# were computed with scipy (root of the first-order condition, and a bounded minimiser). R04: the same in hits.
@pytest.mark.parametrize(
    ("shape", "scale", "planned", "failure", "hits", "rate", "failing", "saving", "mean", "sharp"),
    [
        pytest.param(2.5, 1000, 1, 5, 493.04696, 0.0034620427, 0.0056353025, 38.565095, 470.15167, 0.8430787, id="R01"),
        pytest.param(
            3.5, 60000, 120, 900, 27104.442, 0.0062407162, 0.01667135, 62.566221, 26737.654, 0.93992037, id="R04"
        ),
    ],
)
def test_age_replacement(shape, scale, planned, failure, hits, rate, failing, saving, mean, sharp):
    life = Weibull(shape, scale)
    best = replacement.by_age(life, planned=planned, failure=failure)
    never = replacement.run_to_failure(life, failure=failure)
    assert best.hits == pytest.approx(hits, rel=1e-5)
    assert best.rate == pytest.approx(rate, rel=1e-7)
    assert never.rate == pytest.approx(failing, rel=1e-7)
    assert 100 * (1 - best.rate / never.rate) == pytest.approx(saving, rel=1e-6)
    assert best.mean_hits == pytest.approx(mean, rel=1e-6)
    assert 1 - best.failed == pytest.approx(sharp, rel=1e-6)
    assert (failure - planned) * float(life.hazard(best.hits)) == pytest.approx(best.rate, rel=1e-9)


def test_a_few_ages_to_choose_from_where_lives_are_even():
    """A. K. S. Jardine, A. H. C. Tsang, Maintenance, Replacement and Reliability, problem 2.2, published solutions:
    .0143, .01, .0093, .01, best 30,000 km. Without a choice of four: 40,000 (sqrt 3 - 1)."""
    life = Even(40_000)
    ages = [10_000, 20_000, 30_000, 40_000]
    rates = replacement.age_rate(life, ages, planned=100, failure=200)
    assert rates == pytest.approx([0.014285714, 0.01, 0.0093333333, 0.01], rel=1e-7)  # [R06]
    assert ages[int(rates.argmin())] == 30_000
    best = replacement.by_age(life, planned=100, failure=200)
    assert best.hits == pytest.approx(40_000 * (np.sqrt(3) - 1), rel=1e-7)
    assert best.rate == pytest.approx(0.009330127, rel=1e-7)


def test_overhaul_with_minimal_repair():
    """Closed form of R. E. Barlow and L. C. Hunter, Oper. Res. 8 (1960) 90-100:
    T = eta (c_p / (c_m (beta - 1)))^(1/beta), rate c_p beta / ((beta - 1) T)."""
    best = replacement.with_minimal_repair(Weibull(2.5, 1000), planned=1, repair=5)
    assert best.hits == pytest.approx(446.65839, rel=1e-9 * 20)  # [R07] as many digits as are given
    assert best.hits == pytest.approx(1000 * (1 / (5 * 1.5)) ** (1 / 2.5), rel=1e-9)
    assert best.rate == pytest.approx(2.5 / (1.5 * best.hits), rel=1e-9)
    assert best.rate == pytest.approx(0.0037314124, rel=1e-7)


@pytest.mark.parametrize("shape", [1.3, 2.0, 3.7])
def test_minimal_repair_in_closed_form_for_other_lives(shape):
    best = replacement.with_minimal_repair(Weibull(shape, 30_000), planned=200, repair=350)
    hits = 30_000 * (200 / (350 * (shape - 1))) ** (1 / shape)
    assert best.hits == pytest.approx(hits, rel=1e-9)
    assert best.failed == pytest.approx((hits / 30_000) ** shape)  # expected failures: H(T)


class TwoStages:
    """Lives of two exponential stages at the rate 1: M(t) = t / 2 - 1/4 + exp(-2 t) / 4."""

    def count(self, t):
        return np.asarray(t) / 2 - 0.25 + np.exp(-2 * np.asarray(t)) / 4

    def rate(self, t):
        return 0.5 - np.exp(-2 * np.asarray(t)) / 2


def test_block_replacement_where_the_count_is_known():
    """S. Karlin, H. M. Taylor, A First Course in Stochastic Processes, 2nd ed. 1975, ch. 5, problem 7: the optimum
    solves exp(-2 T)(1 + 2 T) = 1 - 4 c_1 / c_2."""
    best = replacement.by_block(TwoStages(), 20.0, planned=1, failure=8)
    assert best.hits == pytest.approx(0.8391735, rel=1e-7)  # [R09]
    assert best.rate == pytest.approx(3.2532708, rel=1e-7)
    assert best.failed == pytest.approx(0.21625732, rel=1e-7)
    assert np.exp(-2 * best.hits) * (1 + 2 * best.hits) == pytest.approx(1 - 4 / 8, rel=1e-9)


def test_block_replacement_of_weibull_lives():
    """Computed with a Riemann-Stieltjes solver and with convolution powers by FFT; dearer than by age for the same
    inputs (Barlow and Proschan 1965, ch. 3)."""
    life = Weibull(2.5, 1000)
    best = replacement.by_block(RenewalTable.of(life, 2000.0, steps=2000), 2000.0, planned=1, failure=5)
    assert best.hits == pytest.approx(478.5, rel=5e-3)  # [R11]
    assert best.rate == pytest.approx(0.0036435237, rel=1e-5)
    assert best.failed == pytest.approx(0.14868522, rel=2e-2)  # at 478.5; the optimum is flat
    assert best.rate > replacement.by_age(life, planned=1, failure=5).rate


def test_the_count_of_renewals_against_a_second_way():
    """Exponential lives: M(t) = t. Two stages: the closed form. Even lives on 0..1: M(t) = e^t - 1 up to 1 (W. Feller,
    An Introduction to Probability Theory, vol. 2, ch. XI; from memory)."""
    exponential = RenewalTable.of(Weibull(1.0, 1.0), 4.0, steps=1000)
    assert exponential.count([0.5, 2.0, 4.0]) == pytest.approx([0.5, 2.0, 4.0], rel=1e-5)
    even = RenewalTable.of(Even(1.0), 1.0, steps=1000)
    assert even.count([0.3, 0.6, 0.9]) == pytest.approx(np.expm1([0.3, 0.6, 0.9]), rel=1e-5)

    class Staged(Weibull):
        def sharp(self, h):
            return np.exp(-np.asarray(h)) * (1 + np.asarray(h))

    staged = RenewalTable.of(Staged(1.0, 1.0), 5.0, steps=2000)
    assert staged.count([0.84, 2.0, 5.0]) == pytest.approx(TwoStages().count([0.84, 2.0, 5.0]), rel=1e-5)


@pytest.mark.parametrize("shape", [0.8, 1.0])
def test_no_planned_change_where_nothing_wears_out(shape):
    """Barlow and Proschan 1965: there is no finite optimum unless the hazard rises."""
    best = replacement.by_age(Weibull(shape, 1000), planned=1, failure=5)
    assert not best.planned  # [R12]
    assert best.rate == pytest.approx(5 / Weibull(shape, 1000).mean)
    if shape == 1.0:
        assert best.rate == pytest.approx(0.005)
    assert not replacement.with_minimal_repair(Weibull(shape, 1000), planned=1, repair=5).planned


@pytest.mark.parametrize("failure", [0.5, 1.0])
def test_nor_where_a_failure_is_no_dearer(failure):
    assert not replacement.by_age(Weibull(2.5, 1000), planned=1, failure=failure).planned


def test_no_block_pays_where_lives_are_exponential():
    assert not replacement.by_block(RenewalTable.of(Weibull(1.0, 1.0), 6.0), 6.0, planned=1, failure=5).planned


def test_the_next_order_and_what_is_left_on_average():
    """By the definitions 1 - S(a + n) / S(a) and the upper incomplete gamma function."""
    life = Weibull(2.5, 60_000)
    assert life.chance_to_fail(45_000, 10_000) == pytest.approx(0.27193535, rel=1e-7)  # [R13]
    assert life.mean_left(45_000) == pytest.approx(22302.545, rel=1e-7)
    lives = Lives.of_weibull(2.5, [60_000], [45_000])
    assert 1 - np.exp(-lives.die([10_000.0])[0]) == pytest.approx(0.27193535, rel=5e-4)  # read off 64 points


# A die of one edge that never chips and is looked at all the time is the part of the book.
@pytest.mark.parametrize(
    ("shape", "scale", "planned", "failure", "hits", "rate"),
    [(2.5, 1000, 1, 5, 493.04696, 0.0034620427), (3.5, 60000, 120, 900, 27104.442, 0.0062407162)],
)
def test_a_die_of_one_edge_is_age_replacement(shape, scale, planned, failure, hits, rate):
    costs = Costs(teardown=planned / 2, grind=[planned / 2], dull=failure - planned, look_hits=1e-9)
    best = replacement.of_die(Lives.of_weibull(shape, [scale]), costs)
    assert best.hits == pytest.approx(hits, rel=2e-5)
    assert best.rate == pytest.approx(rate, rel=1e-7)
    assert best.rate_at(hits / 2) > best.rate < best.rate_at(2 * hits)


def naive_rate(shape, etas, chip_rates, costs, x):
    """The long-run cost a hit by drawing intervals of a whole die and adding up what they cost."""
    rng = np.random.default_rng(7)
    n = 400_000
    lives = np.array(etas) * rng.exponential(size=(n, len(etas))) ** (1 / shape)
    dull, chip = lives.min(axis=1), rng.exponential(1 / sum(chip_rates), n)
    ends_dull = (dull < chip) & (dull < x)
    run = np.minimum(np.minimum(dull, chip), x) + ends_dull * costs.look_hits / 2
    paid = costs.set + ends_dull * costs.dull
    return paid.mean() / run.mean(), paid.std() / run.mean() / np.sqrt(n)


@pytest.mark.parametrize("x", [20_000.0, 45_000.0, 80_000.0])
def test_a_die_of_many_edges_against_intervals_drawn_at_random(x):
    etas, chips = [90_000.0, 120_000.0, 150_000.0, 260_000.0], [2e-7, 2e-7, 5e-7, 1e-6]
    costs = Costs(teardown=150, grind=[12, 15, 15, 20], dull=500, chip_rate=chips, look_hits=10_000)
    best = replacement.of_die(Lives.of_weibull(2.7, etas), costs)
    naive, error = naive_rate(2.7, etas, chips, costs, x)
    assert best.rate_at(x) == pytest.approx(naive, abs=5 * error)


def test_a_die_whose_edges_do_not_wear_out_has_no_interval():
    costs = Costs(teardown=150, grind=[12, 15], dull=500, look_hits=10_000)
    best = replacement.of_die(Lives.of_weibull(1.0, [90_000.0, 120_000.0]), costs)
    assert not best.planned and best.reach == best.at[-1]
    assert replacement.of_die(Lives.of_weibull(3.0, [90_000.0, 120_000.0]), costs).planned


def test_a_part_of_which_only_the_curve_is_known():
    life = Weibull(3.5, 60000)
    best = replacement.of_parts(lambda h: life.sharp(h), 200_000.0, planned=120, failure=900)
    assert best.hits == pytest.approx(27104.442, rel=1e-2)
    assert best.rate == pytest.approx(0.0062407162, rel=1e-5)
    with pytest.raises(PolicyRefused, match="never rises"):
        replacement.of_parts(lambda h: h, 10.0, planned=1, failure=2)


def test_sharpening_time_spread_over_the_pieces_of_an_interval():
    """P. C. Sharma, A Textbook of Production Engineering, 11th ed., S. Chand 2008, ex. 4.7 (read through a
    transcription): 2 minutes a piece, a change of 10 minutes every 240 minutes: 0.083 min a piece. The cost a hit of a
    die that never goes dull before its interval is the same sum."""
    pieces = 240 / 2
    costs = Costs(teardown=5, grind=[5], dull=0, look_hits=1)
    best = replacement.of_die(Lives.of_weibull(60.0, [pieces * 50]), costs)
    assert best.rate_at(pieces) == pytest.approx(0.083, abs=5e-4)  # [T4-15]


@pytest.mark.parametrize(
    "wrong", [{"teardown": -1}, {"dull": float("nan")}, {"look_hits": 0}, {"chip_rate": [1, 2, 3]}]
)
def test_costs_below_nought_are_refused(wrong):
    given = {"teardown": 10.0, "grind": [1.0, 1.0], "dull": 5.0} | wrong
    with pytest.raises(CostsRefused):
        Costs(**given)
    with pytest.raises(CostsRefused, match="costs nothing"):
        Costs(teardown=0, grind=[0, 0], dull=5)


@pytest.mark.parametrize("planned", [0.0, -3.0, float("inf")])
def test_a_change_that_costs_nothing_is_refused(planned):
    with pytest.raises(PolicyRefused):
        replacement.by_age(Weibull(2, 100), planned=planned, failure=5)
    with pytest.raises(PolicyRefused):
        replacement.by_block(TwoStages(), 5, planned=planned, failure=5)


def test_scipy_agrees_on_the_optimum_of_a_die():
    etas = [80_000.0, 130_000.0, 200_000.0]
    costs = Costs(teardown=100, grind=[20, 20, 20], dull=800, chip_rate=3e-7, look_hits=10_000)
    lives = Lives.of_weibull(2.4, etas)

    def rate(x):
        def d(t):
            return np.exp(-sum((t / e) ** 2.4 for e in etas) - 9e-7 * t)

        def density(t):
            return d(t) * sum(2.4 / e * (t / e) ** 1.4 for e in etas)

        failed = scipy.integrate.quad(density, 0, x)[0]
        return (160 + 800 * failed) / (scipy.integrate.quad(d, 0, x)[0] + 5000 * failed)

    found = scipy.optimize.minimize_scalar(rate, bounds=(5_000, 90_000), method="bounded", options={"xatol": 1e-3})
    best = replacement.of_die(lives, costs)
    assert best.hits == pytest.approx(found.x, rel=1e-4)
    assert best.rate == pytest.approx(found.fun, rel=1e-6)
