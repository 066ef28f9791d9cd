"""The scores by which forecasts are judged, against closed forms."""

import numpy as np
import pytest
from scipy.stats import norm

from maintenance.life import LEVELS
from tests.life.scoring import crps_of_outcome, crps_pair, told_alive


# Gneiting and Raftery, J. Amer. Stat. Assoc. 102 (2007) 359-378: CRPS of a normal forecast, (sqrt 2 - 1) / sqrt(pi) at
# its middle: what came, mean, sd, score.
@pytest.mark.parametrize(("came", "mean", "sd", "score"), [(0, 0, 1, 0.23369498), (1.5, 1, 2, 0.51699963)])
def test_crps_of_a_normal_forecast(came, mean, sd, score):
    # [E01] with the curve itself, to the 1e-9 asked for as far as digits are given
    x = np.r_[np.linspace(mean - 10 * sd, came, 200_001), np.linspace(came, mean + 10 * sd, 200_001)]
    gone = np.r_[np.ones(200_001), np.zeros(200_001)]  # what came is known: sharp before, not after
    told, oracle = crps_pair(norm.sf(x, mean, sd), gone, x)
    assert oracle == 0
    assert told == pytest.approx(score, abs=5e-9)
    if came == mean:
        assert told == pytest.approx((np.sqrt(2) - 1) / np.sqrt(np.pi), rel=1e-9)
    # And from what is kept of a forecast, its hits at 27 chances with straight lines between: half a thousandth off.
    shift = 1_000.0  # hits are above nought; the score does not mind
    remaining = {p: shift + norm.ppf(p, mean, sd) for p in LEVELS}
    x = shift + np.linspace(-12, 14, 20_001)
    assert crps_of_outcome(remaining, shift + came, x) == pytest.approx(score, rel=1e-3)


def test_crps_of_a_forecast_by_single_values():
    # [E04] 3 came, told were 1, 2, 4 and 7, each as likely: 0.75, E|X - y| - E|X - X'| / 2 (Zamo and Naveau, Math.
    # Geosci. 50 (2018) 209-234; scoringrules: nrg, qd, int). Estimators that allow for how few values there are (fair
    # and pwm 1/3, akr 1/2) are for samples; here a forecast is a whole curve, and the score is the integral.
    at = np.array([1.0, 2.0, 3.0, 4.0, 7.0])
    x = np.sort(np.r_[0.0, at, at, 8.0])  # both sides of every step
    left = np.r_[1.0, np.repeat([1.0, 0.75, 0.5, 0.5, 0.25], 2)[1:], 0.0, 0.0]
    came = np.where(np.arange(len(x)) <= 5, 1.0, 0.0)
    told, oracle = crps_pair(left, came, x)
    assert oracle == 0
    assert told == pytest.approx(0.75, abs=1e-9)


def test_expected_crps_of_the_truth_and_of_another():
    # Two normals: the truth's own 1 / sqrt(pi) (Gneiting and Raftery, equation 21, from memory); of a forecast as wide
    # but a unit off, by E|X - Y| - E|X - X'| / 2 with E|N(1, 2)| = 2 phi(1 / sqrt 2) sqrt 2 + 2 Phi(1 / sqrt 2) - 1.
    x = np.linspace(-12, 13, 40_001)
    told, truth = crps_pair(norm.sf(x, 1, 1), norm.sf(x), x)
    assert truth == pytest.approx(1 / np.sqrt(np.pi), rel=1e-6)
    far = 2 * np.sqrt(2) * norm.pdf(np.sqrt(0.5)) + 2 * norm.cdf(np.sqrt(0.5)) - 1
    assert told == pytest.approx(far - 1 / np.sqrt(np.pi), rel=1e-6)


def test_a_forecast_is_read_back_at_its_levels():
    remaining = {p: 50_000 * (-np.log1p(-p)) ** (1 / 2.5) for p in LEVELS}  # Weibull: straight in these axes
    at = np.array([1_000.0, 30_000.0, 71_000.0])
    assert told_alive(remaining, at) == pytest.approx(np.exp(-((at / 50_000) ** 2.5)), rel=1e-9)
