"""Single samples against published fits. The source stands beside each; tolerances as the digits given."""

import numpy as np
import pytest

from maintenance.life.cycles import DULL, SHARP, LifeSamples
from maintenance.life.weibull import NotEnough, fit_sample, kaplan_meier, least_scale


def sample(failures, suspended=()):
    ended = [DULL] * len(failures) + [SHARP] * len(suspended)
    return LifeSamples.of(np.zeros(len(ended), int), np.r_[failures, suspended], ended)


# Confidence limits are Wald's on the log scale throughout.
# NIST/SEMATECH e-Handbook of Statistical Methods 8.4.1.3 (printed there: 606.5280, 1.7208, mean 540.737), data 8.2.2.1
NIST_8_4_1_3 = (
    [54, 187, 216, 240, 244, 335, 361, 373, 375, 386],
    [500] * 10,
    dict(
        scale=606.52756,
        shape=1.7207972,
        ln_l=-75.134618,
        se_scale=124.9106,
        se_shape=0.50215045,
        scale_95=(405.08937, 908.13462),
        shape_95=(0.97126626, 3.048745),
        b10=164.02244,
        b10_95=(83.875127, 320.75493),
        b50=490.17378,
        b1=41.866413,
    ),
)
# Meeker and Escobar (1998), shock absorbers, chapter 8
SHOCK_ABSORBER = (
    [6700, 9120, 12200, 13150, 14300, 17520, 20100, 20900, 22700, 26510, 27490],
    [
        6950,
        7820,
        8790,
        9660,
        9820,
        11310,
        11690,
        11850,
        11880,
        12140,
        12870,
        13330,
        13470,
        14040,
        17540,
        17890,
        18450,
        18960,
        18980,
        19410,
        20100,
        20150,
        20320,
        23490,
        27410,
        27890,
        28100,
    ],
    dict(
        scale=27718.718,
        shape=3.1604704,
        ln_l=-123.99536,
        se_scale=3046.0107,
        se_shape=0.7308167,
        scale_95=(22347.79, 34380.461),
        shape_95=(2.0087353, 4.9725682),
        b10=13600.035,
        b10_95=(10221.841, 18094.681),
        b50=24683.625,
        b1=6466.1518,
    ),
)
# Meeker and Escobar (1998) p. 131, alloy T7987
ALLOY_T7987 = (
    [
        94,
        96,
        99,
        99,
        104,
        108,
        112,
        114,
        117,
        117,
        118,
        121,
        121,
        123,
        129,
        131,
        133,
        135,
        136,
        139,
        139,
        140,
        141,
        141,
        143,
        144,
        149,
        149,
        152,
        153,
        159,
        159,
        159,
        159,
        162,
        168,
        168,
        169,
        170,
        170,
        171,
        172,
        173,
        176,
        177,
        180,
        180,
        184,
        187,
        188,
        189,
        190,
        196,
        197,
        203,
        205,
        211,
        213,
        224,
        226,
        227,
        256,
        257,
        269,
        271,
        274,
        291,
    ],
    [300] * 5,
    dict(
        scale=198.07441,
        shape=3.0332585,
        ln_l=-376.09062,
        se_scale=8.2547587,
        se_shape=0.27972015,
        scale_95=(182.53852, 214.93257),
        shape_95=(2.5317077, 3.6341703),
        b10=94.324892,
        b10_95=(79.260025, 112.25312),
        b50=175.53024,
        b1=43.470069,
    ),
)
# Meeker and Escobar (1998), exercise 3.5
THREE_OF_25 = (
    [5, 21, 28],
    [30] * 22,
    dict(
        scale=132.72813,
        shape=1.3870634,
        ln_l=-19.26844,
        se_scale=126.48275,
        se_shape=0.78990142,
        scale_95=(20.502831, 859.23536),
        shape_95=(0.45431406, 4.2348346),
        b10=26.203842,
        b10_95=(11.469475, 59.866852),
        b50=101.90758,
        b1=4.8154836,
    ),
)
# Nelson (1982), locomotive controls
LOCOMOTIVE_CONTROLS = (
    [
        22.5,
        37.5,
        46,
        48.5,
        51.5,
        53,
        54.5,
        57.5,
        66.5,
        68,
        69.5,
        76.5,
        77,
        78.5,
        80,
        81.5,
        82,
        83,
        84,
        91.5,
        93.5,
        102.5,
        107,
        108.5,
        112.5,
        113.5,
        116,
        117,
        118.5,
        119,
        120,
        122.5,
        123,
        127.5,
        131,
        132.5,
        134,
    ],
    [135] * 59,
    dict(
        scale=183.3988,
        shape=2.3312532,
        ln_l=-237.38251,
        se_scale=16.487899,
        se_shape=0.36095258,
        scale_95=(153.77009, 218.73643),
        shape_95=(1.7210608, 3.1577859),
        b10=69.850646,
        b10_95=(55.50722, 87.900507),
        b50=156.71767,
        b1=25.493191,
    ),
)


@pytest.mark.parametrize(
    "case",
    [
        pytest.param(NIST_8_4_1_3, id="W01"),
        pytest.param(SHOCK_ABSORBER, id="W02"),
        pytest.param(ALLOY_T7987, id="W06"),
        pytest.param(THREE_OF_25, id="W12"),
        pytest.param(LOCOMOTIVE_CONTROLS, id="W14"),
    ],
)
def test_censored_samples_agree_with_published_fits(case):
    failures, suspended, expected = case
    fit = fit_sample(sample(failures, suspended))
    assert fit.scale_hits == pytest.approx(expected["scale"], rel=1e-4)
    assert fit.shape == pytest.approx(expected["shape"], rel=1e-4)
    assert fit.log_likelihood == pytest.approx(expected["ln_l"], abs=1e-4)
    assert fit.se_scale_hits == pytest.approx(expected["se_scale"], rel=2e-3)
    assert fit.se_shape == pytest.approx(expected["se_shape"], rel=2e-3)
    assert fit.scale_limits() == pytest.approx(expected["scale_95"], rel=2e-3)
    assert fit.shape_limits() == pytest.approx(expected["shape_95"], rel=2e-3)
    assert fit.hits_at(0.1) == pytest.approx(expected["b10"], rel=1e-4)
    assert fit.hits_limits(0.1) == pytest.approx(expected["b10_95"], rel=2e-3)
    assert fit.hits_at(0.5) == pytest.approx(expected["b50"], rel=1e-4)
    assert fit.hits_at(0.01) == pytest.approx(expected["b1"], rel=1e-4)


def test_mean_life_of_the_handbook_example():
    # [W01] NIST/SEMATECH e-Handbook 8.4.1.3 prints a mean of 540.737.
    assert fit_sample(sample(*NIST_8_4_1_3[:2])).mean_hits == pytest.approx(540.737, abs=0.0005)


def test_interval_censored_sample():
    # [W08] Nelson (1982) p. 415, cracks in turbine parts seen at inspections; SAS prints 71.6904 and 1.4854.
    rows = [
        (0, 6.12, 5),
        (6.12, 19.92, 16),
        (19.92, 29.64, 12),
        (29.64, 35.4, 18),
        (35.4, 39.72, 18),
        (39.72, 45.24, 2),
        (45.24, 52.32, 6),
        (52.32, 63.48, 17),
    ]
    parts = [LifeSamples.interval_censored([0] * n, low, high) for low, high, n in rows]
    parts.append(LifeSamples.right_censored([0] * 73, 63.48))
    fit = fit_sample(LifeSamples.together(parts))
    assert fit.scale_hits == pytest.approx(71.690406, rel=1e-4)
    assert fit.shape == pytest.approx(1.4853673, rel=1e-4)
    assert fit.log_likelihood == pytest.approx(-309.66841, abs=1e-4)
    assert fit.se_scale_hits == pytest.approx(5.3334885, rel=2e-3)
    assert fit.se_shape == pytest.approx(0.14654098, rel=2e-3)
    assert fit.scale_limits() == pytest.approx((61.963358, 82.944413), rel=2e-3)
    assert fit.shape_limits() == pytest.approx((1.2242142, 1.8022305), rel=2e-3)
    assert fit.hits_at(0.1) == pytest.approx(15.757758, rel=1e-4)
    assert fit.hits_limits(0.1) == pytest.approx((11.949069, 20.780443), rel=2e-3)
    assert fit.hits_at(0.5) == pytest.approx(56.014351, rel=1e-4)
    assert fit.hits_at(0.01) == pytest.approx(3.2393719, rel=1e-4)


# Hyde (1980), men of Channing House: ages in months at entry and at the end, and whether they died.
CHANNING = [
    (782, 909, 1),
    (1020, 1128, 1),
    (856, 969, 1),
    (915, 957, 1),
    (863, 983, 1),
    (906, 1012, 1),
    (955, 1055, 1),
    (943, 1025, 1),
    (943, 1043, 1),
    (837, 945, 1),
    (966, 1009, 1),
    (936, 971, 1),
    (919, 1033, 1),
    (852, 869, 1),
    (1073, 1139, 1),
    (925, 1036, 1),
    (967, 1085, 1),
    (806, 943, 0),
    (969, 1001, 0),
    (923, 1060, 0),
    (865, 1002, 0),
    (953, 1031, 0),
    (871, 945, 0),
    (982, 1006, 0),
    (883, 959, 0),
    (817, 843, 0),
    (875, 1012, 0),
    (821, 956, 0),
    (936, 1073, 0),
    (971, 1107, 0),
    (830, 940, 0),
    (885, 911, 0),
    (894, 1031, 0),
    (893, 996, 0),
    (866, 895, 0),
    (878, 1015, 0),
    (820, 957, 0),
    (1007, 1043, 0),
    (879, 1016, 0),
    (956, 1093, 0),
    (854, 989, 1),
    (890, 1027, 0),
    (1041, 1044, 0),
    (978, 1005, 0),
    (836, 973, 0),
    (938, 1064, 0),
    (886, 1023, 0),
    (876, 1013, 0),
    (955, 977, 0),
    (823, 960, 0),
    (960, 1047, 0),
    (843, 943, 0),
    (856, 951, 0),
    (847, 984, 0),
    (1027, 1058, 0),
    (988, 1045, 0),
    (978, 1018, 0),
    (981, 1118, 0),
    (926, 970, 0),
    (1036, 1070, 0),
    (1016, 1153, 0),
    (969, 1106, 0),
    (900, 936, 0),
    (898, 906, 0),
    (846, 866, 0),
    (964, 1029, 1),
    (984, 1053, 1),
    (1046, 1080, 1),
    (871, 872, 1),
    (847, 893, 1),
    (962, 966, 0),
    (853, 894, 1),
    (967, 985, 1),
    (1063, 1094, 1),
    (856, 927, 1),
    (865, 948, 1),
    (1051, 1059, 1),
    (1010, 1012, 1),
    (878, 911, 1),
    (1021, 1094, 1),
    (959, 972, 0),
    (921, 993, 1),
    (836, 876, 1),
    (919, 993, 1),
    (751, 777, 1),
    (906, 966, 1),
    (835, 907, 1),
    (946, 1031, 1),
    (759, 781, 1),
    (909, 914, 0),
    (962, 998, 1),
    (984, 1022, 1),
    (891, 932, 1),
    (835, 898, 1),
    (1039, 1060, 1),
    (1010, 1044, 1),
]


def test_left_truncated_sample():
    # [W11] the men of Channing House
    begun, hits, died = np.array(CHANNING).T
    ended = np.where(died > 0, DULL, SHARP)
    fit = fit_sample(LifeSamples.left_truncated(np.zeros(len(hits), int), begun, hits, ended))
    assert fit.scale_hits == pytest.approx(968.83966, rel=1e-4)
    assert fit.shape == pytest.approx(6.2801028, rel=1e-4)
    assert fit.log_likelihood == pytest.approx(-274.7509, abs=1e-4)
    assert fit.se_scale_hits == pytest.approx(59.392119, rel=2e-3)
    assert fit.se_shape == pytest.approx(2.0711385, rel=2e-3)
    # Taken as new when first seen, the same men would give another answer: the negative control.
    wrong = fit_sample(LifeSamples.of(np.zeros(len(hits), int), hits, ended))
    assert wrong.scale_hits == pytest.approx(1077.5093, rel=1e-4)
    assert wrong.shape == pytest.approx(14.218106, rel=1e-4)


def test_no_dull_end_shows_a_least_life():
    # [W15] Nelson (1985); the value by surpyval's Weibayes for shape 2, 90 %.
    assert least_scale([120, 150, 90], 2.0, 0.9) == pytest.approx(139.79718, rel=1e-6)
    # [T10-03] NIST/SEMATECH e-Handbook 8.4.5.1, a constant rate (shape 1), no failure in 300,000 hits, 90 %: the mean
    # is at least T / -ln(alpha) = 130,288
    assert least_scale([300_000], 1.0, 0.9) == pytest.approx(130_288, rel=1e-3)
    assert least_scale([100_000, 150_000, 50_000], 1.0, 0.9) == pytest.approx(130_288, rel=1e-3)


@pytest.mark.parametrize(
    ("failures", "suspended", "words"),
    [
        ([], [500.0, 700.0], "0 dull ends seen in 2 intervals; 3 are needed"),
        ([93.0], [50.0, 60.0, 70.0, 80.0], "1 dull ends seen in 5 intervals"),
        ([60.0, 60.0, 60.0], [], "all 3 dull ends came at 60 hits"),
    ],
)
def test_too_little_is_refused_with_the_numbers(failures, suspended, words):
    with pytest.raises(NotEnough, match=words):
        fit_sample(sample(failures, suspended))


def test_kaplan_meier_of_a_published_sample():
    # Freireich et al. (1963), the treated arm of the leukaemia trial (R MASS::gehan): the curve that textbooks print,
    # e.g. Collett, Modelling Survival Data in Medical Research: 0.857, 0.807, 0.753, 0.690, 0.627, 0.538, 0.448 (from
    # memory).
    died = [6, 6, 6, 7, 10, 13, 16, 22, 23]
    left = [6, 9, 10, 11, 17, 19, 20, 25, 32, 32, 34, 35]
    curve = kaplan_meier(sample(died, left))
    assert curve.hits.tolist() == [6, 7, 10, 13, 16, 22, 23]
    assert curve.sharp == pytest.approx([0.857, 0.807, 0.753, 0.690, 0.627, 0.538, 0.448], abs=5e-4)
    assert curve.at_risk.tolist() == [21, 17, 15, 12, 11, 7, 6]
    assert curve.at(5) == 1.0
    assert curve.at(10) == pytest.approx(0.753, abs=5e-4)


def test_flipped_polarity_is_noticed():
    failures, suspended, expected = LOCOMOTIVE_CONTROLS
    flipped = sample(failures, suspended)
    flipped = LifeSamples.of(flipped.edge, flipped.hits * np.linspace(0.9, 1.1, len(flipped)), DULL - flipped.ended)
    assert abs(fit_sample(flipped).shape / expected["shape"] - 1) > 0.2
