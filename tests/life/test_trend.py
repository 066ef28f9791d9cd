"""Measured wear against a limit, with published crossings."""

import numpy as np
import pytest

from maintenance.life.trend import NoTrend, trend

# Meeker and Escobar (1998), section 13.8, GaAs lasers: per cent of current above the start, every 250 h to 4,000 h.
LASERS = [
    [
        0.0,
        0.4741,
        0.9255,
        2.1147,
        2.7168,
        3.511,
        4.3415,
        4.9076,
        5.4782,
        5.9925,
        6.7224,
        7.1303,
        8.0006,
        8.9193,
        9.494,
        9.8675,
        10.9446,
    ],
    [
        0.0,
        0.7078,
        1.2175,
        1.8955,
        2.2954,
        2.865,
        3.7454,
        4.4192,
        4.9894,
        5.5148,
        6.0668,
        6.6385,
        7.1615,
        7.7778,
        8.4242,
        8.9092,
        9.2834,
    ],
    [
        0.0,
        0.7074,
        1.1651,
        1.7253,
        1.9888,
        2.5325,
        2.9695,
        3.2977,
        3.9354,
        4.1613,
        4.4459,
        4.889,
        5.2696,
        5.6913,
        6.0216,
        6.4485,
        6.8849,
    ],
    [
        0.0,
        0.3634,
        0.6161,
        1.3597,
        1.9525,
        2.2995,
        2.9468,
        3.3871,
        3.7863,
        4.1116,
        4.5013,
        4.7209,
        4.9766,
        5.2812,
        5.615,
        5.9503,
        6.1438,
    ],
    [
        0.0,
        0.2707,
        0.6144,
        1.1093,
        1.773,
        2.0625,
        2.5835,
        2.9863,
        3.3765,
        4.0491,
        4.626,
        5.237,
        5.6191,
        6.0449,
        6.3167,
        7.0952,
        7.5941,
    ],
    [
        0.0,
        0.3584,
        1.3922,
        1.9541,
        2.8617,
        3.4552,
        3.8117,
        4.533,
        5.3541,
        5.9217,
        6.7078,
        7.7027,
        8.6053,
        9.1477,
        9.951,
        10.4857,
        11.0096,
    ],
    [
        0.0,
        0.3637,
        0.9237,
        1.2098,
        1.4591,
        1.9323,
        2.3862,
        2.6799,
        2.9397,
        3.4183,
        4.0857,
        4.5843,
        4.8402,
        5.1145,
        5.5691,
        6.114,
        7.1723,
    ],
    [
        0.0,
        0.458,
        1.0678,
        1.4163,
        1.7659,
        2.1061,
        2.3969,
        2.78,
        3.0187,
        3.289,
        3.7542,
        4.1595,
        4.7575,
        5.1597,
        5.4591,
        5.8085,
        6.245,
    ],
    [
        0.0,
        0.5098,
        0.9308,
        1.5713,
        1.9576,
        2.5871,
        3.2892,
        3.6075,
        4.1148,
        4.5964,
        4.913,
        5.3408,
        5.8418,
        6.3961,
        6.8441,
        7.2037,
        7.8848,
    ],
    [
        0.0,
        0.4136,
        1.488,
        2.381,
        2.995,
        3.835,
        4.501,
        5.251,
        6.256,
        7.051,
        7.803,
        8.321,
        8.93,
        9.554,
        10.45,
        11.28,
        12.21,
    ],
    [
        0.0,
        0.4435,
        0.9978,
        1.5738,
        1.9584,
        2.5093,
        2.8436,
        3.4682,
        4.007,
        4.5124,
        4.8018,
        5.2042,
        5.6556,
        6.1951,
        6.5405,
        6.9626,
        7.4238,
    ],
    [
        0.0,
        0.3864,
        0.7988,
        1.3521,
        1.741,
        2.979,
        3.5871,
        4.0315,
        4.4393,
        4.7906,
        5.2205,
        5.4848,
        5.9639,
        6.2276,
        6.9877,
        7.3671,
        7.8841,
    ],
    [
        0.0,
        0.3034,
        0.7448,
        1.5225,
        1.8548,
        2.3897,
        2.9473,
        3.5104,
        3.9207,
        5.0316,
        5.4708,
        5.8362,
        6.4962,
        6.9372,
        7.3883,
        7.8472,
        8.087,
    ],
    [
        0.0,
        0.438,
        0.6979,
        1.0515,
        1.3526,
        1.7998,
        2.5514,
        2.8274,
        3.3908,
        3.7159,
        4.0906,
        4.8296,
        5.4145,
        5.759,
        6.1419,
        6.5086,
        6.8823,
    ],
    [
        0.0,
        0.5056,
        0.8349,
        1.2864,
        1.5191,
        1.9148,
        2.2697,
        2.7763,
        3.4153,
        3.7814,
        4.1053,
        4.3754,
        4.6295,
        5.3831,
        5.8391,
        6.1618,
        6.6247,
    ],
]
PSEUDO_HOURS = [
    3702.0353,
    4194.4248,
    5846.7544,
    6172.0706,
    5300.9787,
    3592.3586,
    6050.7864,
    6538.475,
    5110.0626,
    3306.484,
    5326.3471,
    4994.5538,
    4720.5234,
    5688.9357,
    6101.8381,
]

# Meeker and Escobar (1998), sliding metal wear, the 100 g units: microns after these cycles.
CYCLES = [2, 5, 10, 20, 50, 100, 200, 500]
WEAR = [
    [12.53, 15.38, 17.21, 20.48, 24.1, 26.97, 29.44, 37.87],
    [10.96, 13.87, 16.07, 18.56, 22.22, 27.82, 31.04, 36.63],
    [13.05, 15.12, 18.58, 20.18, 23.9, 29.71, 31.47, 39.65],
    [11.66, 13.68, 16.71, 17.52, 22.3, 25.28, 31.99, 38.16],
]
PSEUDO_CYCLES = [2398.3342, 1791.0654, 1696.4939, 1925.7452]
SLOPES = [0.19280253, 0.22020986, 0.20057144, 0.21606819]


@pytest.mark.parametrize(("readings", "hours"), list(zip(LASERS, PSEUDO_HOURS, strict=True)))
def test_straight_lines_cross_where_the_book_says(readings, hours):
    found = trend(np.arange(17) * 250.0, readings, 10.0)
    assert found.at_hits == pytest.approx(hours, abs=0.5)
    assert found.early_hits < found.at_hits < found.late_hits


@pytest.mark.parametrize(("readings", "cycles", "slope"), list(zip(WEAR, PSEUDO_CYCLES, SLOPES, strict=True)))
def test_wear_that_slows_down(readings, cycles, slope):
    found = trend(CYCLES, readings, 50.0, slowing=True, reach=5.0)
    assert found.at_hits == pytest.approx(cycles, rel=1e-5)
    assert found.slope == pytest.approx(slope, rel=1e-5)


def test_a_light_load_is_not_carried_ten_thousandfold():
    # The 10 g unit 101 of the same source: 50 microns lie at millions of cycles, from 500 that were seen.
    with pytest.raises(NoTrend, match="times the 500 measured"):
        trend(CYCLES, [3.168, 4.063, 4.453, 4.744, 5.838, 6.786, 7.737, 9.593], 50.0, slowing=True)


@pytest.mark.parametrize(
    ("hits", "values", "words"),
    [
        ([1e5, 2e5], [0.1, 0.2], "2 readings at 2 counts seen; 3"),
        ([1e5, 1e5, 1e5], [0.1, 0.2, 0.3], "3 readings at 1 counts seen"),
        ([1e5, 2e5, 3e5], [0.3, 0.2, 0.1], "no wear is seen"),
        ([1e5, 2e5, 3e5], [0.1, 0.1001, 0.1002], "more than 3 times the 300,000"),
        ([1e5, 2e5, np.nan], [0.1, 0.2, 0.3], "not a number"),
    ],
)
def test_what_the_readings_do_not_carry_is_refused(hits, values, words):
    with pytest.raises(NoTrend, match=words):
        trend(hits, values, 1.0)


def test_eight_in_ten_lie_between():
    # The next reading of a line with normal scatter: how often the limit is really crossed between early and late.
    rng = np.random.default_rng(3)
    hits = np.linspace(0, 6e5, 8)
    held = 0
    for _ in range(2000):
        found = trend(hits, 0.01 + 1e-7 * hits + rng.normal(0, 0.004, 8), 0.08)
        at = (0.08 - 0.01 - rng.normal(0, 0.004)) / 1e-7
        held += found.early_hits <= at <= found.late_hits
    assert held / 2000 == pytest.approx(0.8, abs=0.03)


def test_points_on_a_line_leave_no_doubt():
    found = trend([0.0, 1e5, 2e5], [0.0, 0.1, 0.2], 0.3)
    assert found.at_hits == pytest.approx(3e5) and found.late_hits - found.early_hits < 1.0
