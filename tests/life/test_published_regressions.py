"""Further figures of published regressions that the fleet's likelihood must give; the others are in
test_fleet_regression.py, whose data and ways are used here.
"""

from pathlib import Path

import numpy as np
import pytest

from maintenance.life.cycles import HITS_UNIT, LifeSamples
from maintenance.life.grids import Theta
from tests.life.reduced import NO_SPREAD, fit_by_likelihood, log_likelihood
from tests.life.test_fleet_regression import MOTORETTES

# Rossi, Berk and Lenihan, Money, Work, and Crime (1980): week of the first arrest after release, whether arrested
# within the year, financial aid, age, race, work experience, married, parole, convictions before. 432 men; R
# carData::Rossi, lifelines.datasets.load_rossi.
RECIDIVISM = Path(__file__).with_name("recidivism.csv")


def test_seven_columns_and_three_quarters_still_running():
    # [A08] lifelines' documentation of its Weibull regression; the same by R's survreg
    week, arrested, *columns = np.genfromtxt(RECIDIVISM, delimiter=",", skip_header=1).T
    assert (len(week), arrested.sum()) == (432, 114)
    x = np.stack([np.ones(len(week)), *columns], axis=1)
    samples = LifeSamples.of(np.arange(len(week)), week, arrested.astype(int))
    found = fit_by_likelihood(x, samples, [4.0, 0.3, 0.04, -0.2, 0.1, 0.3, 0.1, -0.1, 0.3])
    coef = [3.9901349, 0.27216338, 0.040713797, -0.22480244, 0.10655655, 0.31127331, 0.058827227, -0.06581691]
    se = [0.41909517, 0.13796191, 0.01600355, 0.22015887, 0.15154096, 0.27330223, 0.13963824, 0.020940574]
    z, errors, ln_l = found
    assert z == pytest.approx([*coef, 0.33910825], abs=1e-4)
    assert errors == pytest.approx([*se, 0.089026664], rel=1e-3)
    # ln L is asked for to 1e-4; here it is the sum of 432 integrals over nodes, each right to some 4e-7
    assert ln_l == pytest.approx(-679.91656, abs=2e-4)


def test_how_sure_the_motorettes_are_far_outside():
    # [A05] Nelson and Hahn (1972), at 130 degrees, where none was run: half fail by 29913.58 h (se 6387.289), one in
    # ten by 15934.59 (se 3508.938), by the delta method on the curvature of the likelihood
    hours, failed, degrees = np.array(MOTORETTES).T
    x = np.stack([np.ones(len(hours)), degrees - 130.0], axis=1)  # the constant is ln scale at 130 degrees
    samples = LifeSamples.of(np.arange(len(hours)), hours, failed)
    (constant, slope, ln_k), _, _ = fit_by_likelihood(x, samples, [10.4, -0.04, 1.0])
    top, unit = np.array([constant, slope, ln_k]), np.array([1.0, 0.01, 1.0])

    def ln_l(z):
        b = z[:2] - [np.log(HITS_UNIT), 0.0]
        return log_likelihood(
            Theta(b=b, ln_k=z[2], ln_tu=NO_SPREAD, ln_tv=NO_SPREAD), x, np.arange(len(hours)), samples
        )

    steps = np.diag(unit) * 2e-2
    curve = np.array(
        [[ln_l(top + a + b) - ln_l(top + a - b) - ln_l(top - a + b) + ln_l(top - a - b) for b in steps] for a in steps]
    )
    covariance = np.linalg.inv(-curve / (4 * np.outer(unit, unit) * 2e-2**2))
    for chance, hits, se in ((0.5, 29913.58185, 6387.289206), (0.1, 15934.59424, 3508.938085)):
        y = np.log(-np.log1p(-chance))
        at = np.exp(top[0] + y / np.exp(top[2]))
        by = np.array([1.0, 0.0, -y / np.exp(top[2])])
        assert at == pytest.approx(hits, rel=1e-4)
        assert at * np.sqrt(by @ covariance @ by) == pytest.approx(se, rel=2e-3)
