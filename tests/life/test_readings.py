"""Readings: the model recovers what the shop was made with, the integral is the integral, and forecasts get better."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.stats import norm, weibull_min

from maintenance.life import LifeSamples, SampleRefused, fit_fleet, predict_fleet
from maintenance.life.cycles import HITS_UNIT
from maintenance.life.integrals import Told, tails
from maintenance.life.readings import ReadingModel, Readings, fit, tell
from tests.life.scoring import against_outcomes
from tests.life.simulate import WORLDS, shop

MEASURED = replace(WORLDS["usual"], dies=9, years=4.0, readings=0.15)


@pytest.fixture(scope="module")
def made():
    return shop(MEASURED, 5)


def test_the_integral_against_quadrature():
    # Plain adaptive quadrature of the density of ln T times the normal, straight from the formula.
    told, sd, hits, k = np.log(90_000), 0.25, 60_000, 2.8
    row = Told.of(np.array([told]), np.array([sd]), np.array([hits / HITS_UNIT]), np.zeros(1))
    v = np.linspace(-0.8, 0.6, 9)

    def integral(x, at):
        def product(y):
            life = weibull_min.pdf(np.exp(y), k, scale=np.exp(at) * HITS_UNIT) * np.exp(y)
            return life * norm.pdf(y, told, sd)

        return quad(product, np.log(x), np.log(x) + 4, limit=200)[0]

    ours = row.log(v[None], k)[0]
    plain = np.log([integral(hits, at) for at in v])
    assert ours - ours[4] == pytest.approx(plain - plain[4], abs=5e-3)
    run = np.array([60_000.0, 75_000.0, 100_000.0, 140_000.0])
    ratio = tails(told - np.log(HITS_UNIT), sd, hits / HITS_UNIT, run / HITS_UNIT, v, k)
    expected = np.array([[integral(x, at) for x in run] for at in v])
    assert ratio / ratio[:, :1] == pytest.approx(expected / expected[:, :1], abs=4e-3)


def test_the_model_recovers_what_the_shop_was_made_with(made):
    (model,) = fit(made.edges, made.samples, made.readings)
    assert model.gamma == pytest.approx(MEASURED.reading_gamma, abs=0.12)
    assert model.alpha == pytest.approx(0.3, abs=0.08)
    assert np.hypot(model.cycle_sd, model.reading_sd) == pytest.approx(
        np.hypot(MEASURED.reading_cycle_sd, MEASURED.reading_sd), rel=0.2
    )


def test_a_cycle_with_readings_is_told_without_bias(made):
    models = fit(made.edges, made.samples, made.readings)
    told = tell(models, made.edges, made.samples, made.readings)
    dull = np.flatnonzero((told.ended == 1) & np.isfinite(told.told))
    z = (np.log((told.hits + told.lower_hits)[dull] / 2) - told.told[dull]) / told.told_sd[dull]
    assert abs(z.mean()) < 0.2 and 0.7 < z.std() < 1.4


def test_readings_make_the_forecast_better(made):
    without = predict_fleet(fit_fleet(made.edges, made.samples), made.edges, made.samples)
    fitted = fit_fleet(made.edges, made.samples, readings=made.readings)
    with_them = predict_fleet(fitted, made.edges, made.samples, readings=made.readings)
    (_, before), (held, after) = (
        against_outcomes(made, {e: p.remaining for die in told.values() for e, p in die.edges.items()})
        for told in (without, with_them)
    )
    assert after < 0.93 * before
    assert 0.72 < held < 0.88


def test_an_outlier_moves_little(made):
    (model,) = fit(made.edges, made.samples, made.readings)
    value = made.readings.value.copy()
    value[::50] *= 20
    (moved,) = fit(made.edges, made.samples, replace(made.readings, value=value))
    assert moved.gamma == pytest.approx(model.gamma, rel=0.15)


def test_too_few_readings_are_not_used(made):
    few = made.readings.pick(np.arange(40))
    assert fit(made.edges, made.samples, few) == ()
    fitted = fit_fleet(made.edges, made.samples, readings=few)
    assert fitted.to_dict() == fit_fleet(made.edges, made.samples).to_dict()


def test_a_tighter_limit_comes_earlier():
    noise = {"c0_sd": 0.0, "cycle_sd": 0.1, "reading_sd": 0.1, "readings": 99, "cycles": 50}
    model = ReadingModel(quantity=0, c0=0.005, a=np.log(0.05), alpha=0.3, gamma=0.9, **noise)
    limit = model.value_at(0.6, 1.2)
    assert model.share_at(limit, 1.2) == pytest.approx(0.6)
    assert model.share_at(0.004, 1.2) == 0.0


def test_what_is_not_a_reading_is_refused(made):
    with pytest.raises(SampleRefused, match="a reading is not a number"):
        Readings.of([0], [10_000], [np.nan])
    with pytest.raises(SampleRefused, match="a reading was taken at -5 hits"):
        Readings.of([0], [-5], [0.1])
    with pytest.raises(SampleRefused, match="a reading names cycle 7, and there are 1"):
        fit(made.edges, LifeSamples.exact([0], 5_000), Readings.of([7], [100], [0.1]))


def test_a_reading_that_says_dull_long_ago_does_not_crash_it(made):
    (model,) = fit(made.edges, made.samples, made.readings)
    now = np.flatnonzero(made.samples.under_way)[0]
    usual = made.readings
    both = Readings.of(np.r_[usual.row, now, now], np.r_[usual.hits, 1_000.0, 2_000.0], np.r_[usual.value, 1e6, 1e-6])
    fitted = fit_fleet(made.edges, made.samples, readings=both)
    told = predict_fleet(fitted, made.edges, made.samples, readings=both)
    assert all(np.isfinite(list(p.remaining.values())).all() for p in told.values())
    assert model.cycles >= 10
