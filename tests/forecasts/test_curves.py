"""What is drawn of lives and of wear, against implementations that are not ours and printed figures."""

import numpy as np
import pytest
from scipy import stats

from maintenance.forecasts import curves
from maintenance.life.cycles import DULL, SHARP, LifeSamples
from maintenance.life.trend import trend
from maintenance.life.weibull import fit_sample, kaplan_meier

# E. J. Freireich et al., Blood 21 (1963) 699-716: weeks in remission on 6-MP, as in every book on survival.
GONE = [6, 6, 6, 7, 10, 13, 16, 22, 23]
STILL = [6, 9, 10, 11, 17, 19, 20, 25, 32, 32, 34, 35]
# Share, lower and upper limit (95 %, log-log) as Stata's `sts list` prints them in D. G. Kleinbaum, M. Klein, Survival
# Analysis, Springer (figures from memory; scipy's, below, agree).
PRINTED = {
    6: (0.8571, 0.6197, 0.9516),
    7: (0.8067, 0.5631, 0.9228),
    10: (0.7529, 0.5032, 0.8894),
    13: (0.6902, 0.4316, 0.8491),
    16: (0.6275, 0.3675, 0.8049),
    22: (0.5378, 0.2678, 0.7468),
    23: (0.4482, 0.1881, 0.6801),
}


def sample(dull, sharp) -> LifeSamples:
    n = len(dull) + len(sharp)
    return LifeSamples.of(np.zeros(n, int), [*dull, *sharp], [DULL] * len(dull) + [SHARP] * len(sharp))


def test_the_steps_and_their_limits_are_those_printed():
    band = curves.steps(kaplan_meier(sample(GONE, STILL)), 35, confidence=0.95)
    assert (band.x[0], band.y[0], band.x[-1]) == (0, 1, 35)
    for x, y, low, high in zip(band.x[1:-1], band.y[1:-1], band.low[1:-1], band.high[1:-1], strict=True):
        assert (y, low, high) == pytest.approx(PRINTED[x], abs=5e-5)


@pytest.mark.parametrize("confidence", [0.5, 0.8, 0.95])
def test_the_steps_and_their_limits_against_scipy(confidence):
    rng = np.random.default_rng(3)
    lives, cut = 50_000 * rng.weibull(2.5, 40), 60_000 * rng.random(40)
    dull = lives <= cut
    seen = np.minimum(lives, cut)
    band = curves.steps(kaplan_meier(sample(seen[dull], seen[~dull])), 70_000, confidence=confidence)
    other = stats.ecdf(stats.CensoredData(uncensored=seen[dull], right=seen[~dull])).sf
    limits = other.confidence_interval(confidence_level=confidence, method="log-log")
    for x, y, low, high in zip(band.x[1:-1], band.y[1:-1], band.low[1:-1], band.high[1:-1], strict=True):
        assert y == pytest.approx(other.evaluate(x), rel=1e-9)
        if y > 0:
            assert low == pytest.approx(limits.low.evaluate(x), rel=1e-9)
            assert high == pytest.approx(limits.high.evaluate(x), rel=1e-9)


def test_when_the_last_of_all_went_dull_the_limits_are_still_shares():
    band = curves.steps(kaplan_meier(sample([10, 20, 30], [])), 30)
    assert band.y[-1] == 0
    assert ((band.low >= 0) & (band.low <= band.y) & (band.y <= band.high) & (band.high <= 1)).all()
    one = curves.steps(kaplan_meier(sample([10], [])), 10)
    assert (one.y[-1], one.low[-1], one.high[-1]) == (0, 0, 1)


def test_half_are_sharp_at_the_usual_hits_and_the_rest_is_weibull():
    hits = np.array([0, 5_000, 40_000, 90_000])
    assert curves.still_sharp([40_000], 40_000, 3.1)[0] == 0.5
    law = stats.weibull_min(3.1, scale=40_000 / np.log(2) ** (1 / 3.1))
    assert curves.still_sharp(hits, 40_000, 3.1) == pytest.approx(law.sf(hits), rel=1e-12)
    band = curves.between_usual(hits, (30_000, 40_000, 60_000), 3.1)
    assert (band.low <= band.y).all() and (band.y <= band.high).all()


def test_a_fitted_curve_goes_through_what_the_fit_says():
    fit = fit_sample(sample(GONE, STILL))
    band = curves.of_fit(fit)
    rising = band.y[::-1]
    assert np.interp(0.5, rising, band.x[::-1]) == pytest.approx(fit.hits_at(0.5), rel=2e-3)
    assert np.interp(0.5, rising, band.low[::-1]) == pytest.approx(fit.hits_limits(0.5, 0.8)[0], rel=2e-3)
    assert np.interp(0.5, rising, band.high[::-1]) == pytest.approx(fit.hits_limits(0.5, 0.8)[1], rel=2e-3)
    assert (np.diff(band.y) < 0).all() and (np.diff(band.x) > 0).all(), "fewer are sharp at more hits"


# R's data set `cars` (M. Ezekiel, Methods of Correlation Analysis, Wiley 1930): speed, stopping distance.
SPEED = [4, 4, 7, 7, 8, 9, 10, 10, 10, 11, 11, 12, 12, 12, 12, 13, 13, 13, 13, 14, 14, 14, 14, 15, 15, 15, 16, 16, 17,
         17, 17, 18, 18, 18, 18, 19, 19, 19, 20, 20, 20, 20, 20, 22, 23, 24, 24, 24, 24, 25]  # fmt: skip
DISTANCE = [2, 10, 4, 22, 16, 10, 18, 26, 34, 17, 28, 14, 20, 24, 28, 26, 34, 34, 46, 26, 36, 60, 80, 20, 26, 54, 32,
            40, 32, 40, 50, 42, 56, 76, 84, 36, 46, 68, 32, 48, 52, 56, 64, 66, 54, 70, 92, 93, 120, 85]  # fmt: skip


def test_the_band_about_a_trend_is_the_one_printed():
    """R: lm(dist ~ speed) has coefficients -17.5791 and 3.9324, residual standard error 15.38; predict(...,
    data.frame(speed = 10), interval = "prediction") prints 21.74499, -9.809601, 53.29959 (from memory)."""
    found = trend(SPEED, DISTANCE, 70, confidence=0.95)
    assert (found.intercept, found.slope) == (pytest.approx(-17.5791, abs=5e-5), pytest.approx(3.9324, abs=5e-5))
    assert found.scatter == pytest.approx(15.38, abs=5e-3)
    band = curves.along_trend(found, SPEED, [10], confidence=0.95)
    assert band.y[0] == pytest.approx(21.74499, abs=5e-6)
    assert band.low[0] == pytest.approx(-9.809601, abs=5e-6)
    assert band.high[0] == pytest.approx(53.29959, abs=5e-6)


def test_the_sides_of_the_band_cross_the_limit_where_the_trend_says():
    found = trend(SPEED, DISTANCE, 70)
    assert curves.along_trend(found, SPEED, [found.early_hits]).high[0] == pytest.approx(70)
    assert curves.along_trend(found, SPEED, [found.at_hits]).y[0] == pytest.approx(70)
    assert curves.along_trend(found, SPEED, [found.late_hits]).low[0] == pytest.approx(70)


def test_falling_readings_come_back_as_they_were_measured():
    up = curves.along_trend(trend(SPEED, DISTANCE, 70), SPEED, [5, 15])
    down = curves.along_trend(trend(SPEED, DISTANCE, 70), SPEED, [5, 15], falling=True)
    assert down.y == pytest.approx(-up.y)
    assert (down.low <= down.y).all() and down.high == pytest.approx(-up.low)
