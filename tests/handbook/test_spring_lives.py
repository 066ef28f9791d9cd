"""The fatigue clock of springs, forces at a length, and gas springs."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from diestore.handbook.gas_springs import GasError, GasSpring, warmer
from diestore.handbook.spring_lives import LONG, SHORT, FatigueClock, expected_strokes
from diestore.handbook.springs import FittedSpring, MeasuredForce, SpringError, load_class
from tests.handbook import law

COLOURS = ("green", "blue", "red", "yellow")


@pytest.mark.parametrize(
    ("colour", "long_mm", "most_mm"), [("red", 12.8, 19.2), ("green", 16.0, 25.6), ("yellow", 10.88, 16.0)]
)
def test_the_ends_are_those_of_the_classes(colour, long_mm, most_mm):
    # [T3-09] spring catalogues based on ISO 10243, from memory: a red spring of 64 mm 12.8 mm for a long life, 19.2 mm
    # at most; green 25 and 40 %, yellow 17 and 25 %
    made = load_class("ISO 10243", colour)
    at_long, at_most = expected_strokes(made, long_mm / 64), expected_strokes(made, most_mm / 64)
    assert (at_long.low, at_long.high) == pytest.approx((LONG.low, LONG.high))
    assert (at_most.low, at_most.high) == pytest.approx((SHORT.low, SHORT.high))
    assert "from memory" in at_long.source
    with pytest.raises(SpringError, match="may break at any stroke"):
        expected_strokes(made, most_mm / 64 + 0.001)


@law
@given(colour=st.sampled_from(COLOURS), one=st.floats(0, 0.4), other=st.floats(0, 0.4))
def test_the_further_it_is_pressed_the_fewer_strokes(colour, one, other):
    made = load_class("ISO", colour)
    low, high = (x * made.at_most / 0.4 for x in sorted((one, other)))
    assert expected_strokes(made, low).low >= expected_strokes(made, high).low * (1 - 1e-12)


def test_half_way_between_is_the_geometric_mean():
    made = load_class("ISO 10243", "red")
    half = expected_strokes(made, (made.long_life + made.at_most) / 2)
    assert half.low == pytest.approx(math.sqrt(LONG.low * SHORT.low))  # a second way to the straight line in logs
    assert half.high == pytest.approx(math.sqrt(LONG.high * SHORT.high))


@pytest.mark.parametrize("share", [-0.1, 1.0, math.nan, math.inf, True])
def test_a_share_that_is_none_is_refused(share):
    with pytest.raises(SpringError):
        expected_strokes(load_class("ISO 10243", "green"), share)


def test_the_clock_is_due_at_the_shortest_life_and_over_at_the_longest():
    life = expected_strokes(load_class("ISO 10243", "blue"), 0.2)
    fresh, due, over = (FatigueClock(strokes=n, expected=life) for n in (100_000, 1_500_000, 3_000_000))
    assert (fresh.is_due, due.is_due, over.is_due) == (False, True, True)
    assert (fresh.is_over, due.is_over, over.is_over) == (False, False, True)
    assert (fresh.left.low, fresh.left.high) == pytest.approx((1_400_000, 2_900_000))
    assert due.left.low == over.left.high == 0
    with pytest.raises(SpringError):
        FatigueClock(strokes=-1, expected=life)


def test_a_force_belongs_to_its_length():
    # rate x (free - length), within the 10 % of [T3-11], MetalForming, Feb 2017, p. 25: 70 N/mm, 64 free, 51 long
    of = {"rate_n_mm": 70, "free_mm": 64}
    fine = MeasuredForce(force_n=880, length_mm=51, **of)
    assert (fine.expected_n.low, fine.expected_n.high) == pytest.approx((819, 1001))
    assert not fine.is_weak and not fine.is_strong and fine.by == pytest.approx(880 / 910 - 1)
    assert MeasuredForce(force_n=818, length_mm=51, **of).is_weak
    assert MeasuredForce(force_n=1002, length_mm=51, **of).is_strong
    assert MeasuredForce(force_n=880, length_mm=40, **of).is_weak  # the same force, shorter: it is tired
    with pytest.raises(SpringError, match="not pressed"):
        MeasuredForce(force_n=880, length_mm=64, **of)


@law
@given(force=st.floats(1, 5000), length=st.floats(20, 60), to=st.floats(20, 60))
def test_a_force_brought_to_another_length_and_back(force, length, to):
    of = {"rate_n_mm": 70.0, "free_mm": 64.0}
    there = MeasuredForce(force_n=force, length_mm=length, **of).at_n(to)
    if there > 0:
        assert MeasuredForce(force_n=there, length_mm=to, **of).at_n(length) == pytest.approx(force, abs=1e-6)
    fitted = FittedSpring(rate_n_mm=70, free_mm=64, fitted_mm=length, travel_mm=0)
    exact = MeasuredForce(force_n=fitted.preload_n.middle, length_mm=length, **of)
    assert exact.by == pytest.approx(0, abs=1e-9)


def test_gas_goes_with_the_absolute_temperature():
    # A gas-spring maker's worked example: 2,500 N at 20 degrees are 2,330 N at nought, with 273 for absolute nought
    assert warmer(2500, from_c=20, to_c=0) == pytest.approx(2330, abs=1)
    # and "three degrees are a hundredth" of another one
    assert warmer(100, from_c=20, to_c=23) == pytest.approx(101, abs=0.05)
    with pytest.raises(GasError):
        warmer(100, from_c=20, to_c=-300)


@law
@given(pressure=st.floats(0, 15))
def test_force_and_pressure_keep_their_ratio(pressure):
    gas = GasSpring(force_n=2500, charge_mpa=15)
    assert gas.at_n(pressure) == pytest.approx(2500 / 15 * pressure)
    assert gas.lost(pressure) == pytest.approx(1 - pressure / 15)


@pytest.mark.parametrize("wrong", [{"force_n": 0}, {"charge_mpa": -1}, {"force_n": math.nan}])
def test_a_gas_spring_that_is_none(wrong):
    with pytest.raises(GasError):
        GasSpring(**({"force_n": 2500, "charge_mpa": 15} | wrong))
    with pytest.raises(GasError):
        GasSpring(force_n=2500, charge_mpa=15).at_n(-1)
