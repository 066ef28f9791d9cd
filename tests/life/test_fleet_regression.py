"""Accelerated-life regressions from books: the fleet's likelihood, its spreads put aside, must give them to the digits
printed.

Columns of x stand for the wear model's, each test piece for an edge. Coefficients to 1e-4 (relative above 10),
standard errors to 1e-3, ln L to 1e-4. The values are R's survreg's, the same by lifelines and by plain
likelihood.
"""

import numpy as np
import pytest

from maintenance.life.cycles import LifeSamples
from tests.life.reduced import fit_by_likelihood

# Nelson, Accelerated Testing (1990), p. 272, superalloy at low-cycle fatigue; Meeker and Escobar (1998), p. 439:
# thousand cycles, failed, pseudo-stress.
SUPERALLOY = [
    (5.733, 1, 145.9),
    (13.949, 1, 85.2),
    (15.616, 1, 116.4),
    (56.723, 1, 87.2),
    (12.076, 1, 100.1),
    (152.68, 1, 85.8),
    (43.331, 1, 99.8),
    (18.067, 1, 113.0),
    (9.75, 1, 120.4),
    (156.725, 1, 86.4),
    (112.968, 0, 85.6),
    (138.114, 0, 86.7),
    (122.372, 0, 89.7),
    (21.3, 1, 114.8),
    (6.705, 1, 144.5),
    (112.002, 1, 91.3),
    (11.865, 1, 142.5),
    (13.181, 1, 100.5),
    (8.489, 1, 118.4),
    (12.434, 1, 118.6),
    (13.03, 1, 118.0),
    (57.923, 0, 80.8),
    (121.075, 1, 87.3),
    (200.027, 1, 80.6),
    (211.629, 1, 80.3),
    (155.0, 1, 84.3),
]
# Edmunson et al. (1979), ovarian cancer, R survival::ovarian: days, died, performance status, treatment.
OVARIAN = [
    (59, 1, 1, 1),
    (115, 1, 1, 1),
    (156, 1, 2, 1),
    (421, 0, 1, 2),
    (431, 1, 1, 1),
    (448, 0, 2, 1),
    (464, 1, 2, 2),
    (475, 1, 2, 2),
    (477, 0, 1, 1),
    (563, 1, 2, 2),
    (638, 1, 2, 1),
    (744, 0, 1, 2),
    (769, 0, 2, 2),
    (770, 0, 1, 2),
    (803, 0, 1, 1),
    (855, 0, 2, 1),
    (1040, 0, 2, 1),
    (1106, 0, 1, 1),
    (1129, 0, 1, 2),
    (1206, 0, 1, 2),
    (1227, 0, 2, 2),
    (268, 1, 2, 1),
    (329, 1, 1, 1),
    (353, 1, 2, 2),
    (365, 1, 1, 2),
    (377, 0, 1, 2),
]
# Nelson and Hahn (1972), motorettes, R MASS::motors; Venables and Ripley, MASS, chapter 13: hours, failed, degrees C.
MOTORETTES = [
    (8064, 0, 150),
    (8064, 0, 150),
    (8064, 0, 150),
    (8064, 0, 150),
    (8064, 0, 150),
    (8064, 0, 150),
    (8064, 0, 150),
    (8064, 0, 150),
    (8064, 0, 150),
    (8064, 0, 150),
    (1764, 1, 170),
    (2772, 1, 170),
    (3444, 1, 170),
    (3542, 1, 170),
    (3780, 1, 170),
    (4860, 1, 170),
    (5196, 1, 170),
    (5448, 0, 170),
    (5448, 0, 170),
    (5448, 0, 170),
    (408, 1, 190),
    (408, 1, 190),
    (1344, 1, 190),
    (1344, 1, 190),
    (1440, 1, 190),
    (1680, 0, 190),
    (1680, 0, 190),
    (1680, 0, 190),
    (1680, 0, 190),
    (1680, 0, 190),
    (408, 1, 220),
    (408, 1, 220),
    (504, 1, 220),
    (504, 1, 220),
    (504, 1, 220),
    (528, 0, 220),
    (528, 0, 220),
    (528, 0, 220),
    (528, 0, 220),
    (528, 0, 220),
]
# Freireich et al. (1963), R MASS::gehan; Venables and Ripley, MASS, chapter 13: weeks, relapsed, control.
LEUKAEMIA = [
    (1, 1, 1),
    (10, 1, 0),
    (22, 1, 1),
    (7, 1, 0),
    (3, 1, 1),
    (32, 0, 0),
    (12, 1, 1),
    (23, 1, 0),
    (8, 1, 1),
    (22, 1, 0),
    (17, 1, 1),
    (6, 1, 0),
    (2, 1, 1),
    (16, 1, 0),
    (11, 1, 1),
    (34, 0, 0),
    (8, 1, 1),
    (32, 0, 0),
    (12, 1, 1),
    (25, 0, 0),
    (2, 1, 1),
    (11, 0, 0),
    (5, 1, 1),
    (20, 0, 0),
    (4, 1, 1),
    (19, 0, 0),
    (15, 1, 1),
    (6, 1, 0),
    (8, 1, 1),
    (17, 0, 0),
    (23, 1, 1),
    (35, 0, 0),
    (5, 1, 1),
    (6, 1, 0),
    (11, 1, 1),
    (13, 1, 0),
    (4, 1, 1),
    (9, 0, 0),
    (1, 1, 1),
    (6, 0, 0),
    (8, 1, 1),
    (10, 0, 0),
]
# Agogino and Goebel, milling data, NASA Ames and UC Berkeley (2007): case, steel, deep cut, fast feed, minutes at which
# the flank wear was last seen below 0.45 mm and first seen above.
MILLING = [
    (1, 0, 1, 1, 38, 41),
    (2, 0, 0, 1, 59, 66),
    (3, 0, 0, 0, 75, 81),
    (4, 0, 1, 0, 34, 39),
    (5, 1, 1, 1, 9, 12),
    (7, 1, 0, 0, 15, 19),
    (8, 1, 0, 1, 9, 12),
    (9, 0, 1, 1, 28, 34),
    (10, 0, 1, 0, 33, 39),
    (11, 0, 0, 0, 72, 80),
    (12, 0, 0, 1, 49, 55),
    (13, 1, 0, 0, 19, 22),
    (14, 1, 0, 1, 12, 18),
    (15, 1, 1, 0, 9, 13),
    (16, 1, 1, 1, 6, 9),
]


def agree(found, coef, se, ln_shape, se_ln_shape, ln_l):
    z, errors, likelihood = found
    expected = np.array([*coef, ln_shape])
    assert np.abs((z - expected) / np.maximum(np.abs(expected) / 10, 1.0)).max() < 1e-4 * 1.01
    assert errors == pytest.approx([*se, se_ln_shape], rel=1e-3)
    assert likelihood == pytest.approx(ln_l, abs=1e-4)


def test_superalloy_over_ln_of_stress():
    hits, failed, stress = np.array(SUPERALLOY).T
    x = np.stack([np.ones(len(hits)), np.log(stress)], axis=1)
    found = fit_by_likelihood(x, LifeSamples.of(np.arange(len(hits)), hits, failed), [30.0, -5.6, 0.7])
    agree(found, [31.432043, -5.9600237], [2.0082644, 0.43290027], 0.79321119, 0.17617282, -97.154756)


def test_two_columns_and_many_still_running():
    days, died, status, treatment = np.array(OVARIAN).T
    x = np.stack([np.ones(len(days)), status, treatment], axis=1)
    found = fit_by_likelihood(x, LifeSamples.of(np.arange(len(days)), days, died), [6.0, 0.0, 0.0, 0.1])
    coef, se = [6.8966932, -0.38504257, 0.52864548], [1.1775471, 0.52700174, 0.52920186]
    agree(found, coef, se, 0.12344183, 0.25221305, -97.084493)


def test_motorettes_and_what_they_say_far_outside():
    hours, failed, degrees = np.array(MOTORETTES).T
    x = np.stack([np.ones(len(hours)), degrees], axis=1)
    found = fit_by_likelihood(x, LifeSamples.of(np.arange(len(hours)), hours, failed), [15.0, -0.04, 1.0])
    agree(found, [16.318519, -0.045307053], [0.62296354, 0.0031858202], 1.0956409, 0.2147963, -147.36506)
    scale, shape = np.exp(found[0][:2] @ [1.0, 130.0]), np.exp(found[0][2])  # at 130 degrees, where none was run
    assert scale * np.log(2.0) ** (1 / shape) == pytest.approx(29913.58185, rel=2e-4)
    assert scale * (-np.log(0.9)) ** (1 / shape) == pytest.approx(15934.59424, rel=2e-4)


def test_two_groups_one_of_them_hardly_failing():
    weeks, relapsed, control = np.array(LEUKAEMIA).T
    x = np.stack([np.ones(len(weeks)), control], axis=1)
    found = fit_by_likelihood(x, LifeSamples.of(np.arange(len(weeks)), weeks, relapsed), [3.0, 0.0, 0.3])
    agree(found, [3.5156869, -1.2673346], [0.25178101, 0.31063993], 0.31170921, 0.14729188, -106.57949)


def test_tool_wear_seen_at_intervals():
    # Weibull regression on the milling data by survreg (interval2). Steel's life is 0.2551 of cast iron's.
    _, steel, deep, fast, low, high = np.array(MILLING).T
    x = np.stack([np.ones(len(low)), steel, deep, fast], axis=1)
    samples = LifeSamples.interval_censored(np.arange(len(low)), low, high)
    found = fit_by_likelihood(x, samples, [4.0, -1.0, -0.5, 0.0, 2.0])
    coef = [4.3037476, -1.366119, -0.54241123, -0.19321284]
    se = [0.05272558, 0.065741666, 0.075910564, 0.075917037]
    agree(found, coef, se, 2.2895675, 0.24828618, -17.131944)
    assert np.exp(found[0][1:4]) == pytest.approx([0.25509506, 0.5813448, 0.82430651], rel=1e-4)
