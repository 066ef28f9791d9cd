"""Readings at the stop blocks: inch and metric twins of what the trade does, and laws of the plane through them."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from maintenance.policy import stop_blocks
from maintenance.policy.stop_blocks import BlockReading, Odd, StopBlockError, closing

MM_PER_INCH = 25.4
CORNERS = ((0, 0), (400, 0), (400, 250), (0, 250))


def reading(crushed: float, *, place: str = "A", slot: float = 0.0, stand_off: float = 0.0, at=None) -> BlockReading:
    x, y = at or (None, None)
    return BlockReading(place=place, crushed_mm=crushed, slot_mm=slot, stand_off_mm=stand_off, x_mm=x, y_mm=y)


def over(crushed, at=CORNERS) -> list[BlockReading]:
    return [reading(c, place=str(n), at=where) for n, (c, where) in enumerate(zip(crushed, at, strict=True), 1)]


def test_a_slot_of_fifty_thousandths_and_a_piece_of_seventy_five():
    """Common practice, no source: slot 0.050 in, crushed piece 0.075 in: 0.025 in to come down, 0.002 in stand-off."""
    inch = closing([reading(0.075 * MM_PER_INCH, slot=0.050 * MM_PER_INCH, stand_off=0.002 * MM_PER_INCH)])
    assert inch.to_contact_mm[0] / MM_PER_INCH == pytest.approx(0.025, abs=1e-12)
    assert inch.to_target_mm[0] / MM_PER_INCH == pytest.approx(0.023, abs=1e-12)
    # The metric twin, rounded as a shop would grind it.
    metric = closing([reading(1.905, slot=1.270, stand_off=0.051)])
    assert metric.to_contact_mm[0] == pytest.approx(0.635, abs=1e-12)
    assert metric.lower_by_mm == pytest.approx(0.584, abs=1e-12)
    assert stop_blocks.next_shut_height_mm(250.0, metric) == pytest.approx(249.416, abs=1e-12)


def test_the_stand_off_is_one_to_two_thousandths():
    assert pytest.approx((0.001 * MM_PER_INCH, 0.002 * MM_PER_INCH), abs=1e-12) == stop_blocks.STAND_OFF_MM


def test_four_pieces_of_solder_and_their_spread():
    """Crushed 2.51, 2.53, 2.50, 2.54 mm: a spread of 0.04, level within 0.05, not 0.025."""
    # Toolroom practice, from memory [T6-11]
    die = closing(over((2.51, 2.53, 2.50, 2.54)))
    assert die.spread_mm == pytest.approx(0.04, abs=1e-12)
    assert die.is_level and die.spread_mm > stop_blocks.AGREES_WITHIN_MM[0]


def test_a_slide_out_of_parallel_by_its_four_corners():
    """Corners 0, 0.01, 0.03, 0.02 mm over 1,000 mm: 0.03 out, good at 0.05 mm a metre."""
    # A servo press maker's guide to four-point measurement [T6-09]
    metre = ((0, 0), (1000, 0), (1000, 1000), (0, 1000))
    die = closing(over((0.0, 0.01, 0.03, 0.02), metre))
    assert die.spread_mm == pytest.approx(0.03, abs=1e-12)
    assert die.tilt is not None and math.hypot(die.tilt.x_mm_m, die.tilt.y_mm_m) < 0.05
    assert (die.tilt.x_mm_m, die.tilt.y_mm_m) == pytest.approx((0.01, 0.02), abs=1e-12)


points = st.lists(st.tuples(st.integers(-500, 500), st.integers(-500, 500)), min_size=3, max_size=9, unique=True)


@given(at=points, a=st.floats(0.5, 3), b=st.floats(-0.5, 0.5), c=st.floats(-0.5, 0.5))
def test_a_plane_is_read_exactly(at, a, b, c):
    """Three points lie on one plane; more of one plane give that plane and no scatter."""
    assume(np.linalg.svd(np.array(at) - np.mean(at, axis=0), compute_uv=False)[1] > 20)
    crushed = [a + b * x / 1000 + c * y / 1000 for x, y in at]
    assume(min(crushed) > 0)
    die = closing(over(crushed, at))
    assert die.tilt is not None
    assert (die.tilt.x_mm_m, die.tilt.y_mm_m) == pytest.approx((b, c), abs=1e-9)
    assert die.tilt.residuals_mm == pytest.approx([0] * len(at), abs=1e-9)
    assert (die.tilt.scatter_mm is None) == (len(at) == 3)
    assert die.odd is not Odd.NAMED


@given(e=st.floats(0.06, 0.5), corner=st.integers(0, 3), sides=st.tuples(st.integers(50, 900), st.integers(50, 900)))
def test_four_corners_share_an_error_of_any_one(e, corner, sides):
    """e / 4 at each, by turns of sign: they say that something is off, and cannot say where."""
    x, y = sides
    crushed = [1.0 + (e if n == corner else 0) for n in range(4)]
    die = closing(over(crushed, ((0, 0), (x, 0), (x, y), (0, y))))
    assert die.tilt is not None
    assert np.abs(die.tilt.residuals_mm) == pytest.approx([e / 4] * 4, rel=1e-9)
    assert die.odd is Odd.TOO_FEW and die.odd_place == ""


@given(e=st.floats(0.15, 0.6), odd=st.integers(0, 7), tilt=st.tuples(st.floats(-0.2, 0.2), st.floats(-0.2, 0.2)))
def test_eight_readings_name_the_odd_one_and_how_far_it_is_off(e, odd, tilt):
    at = [(x, y) for x in (0, 150, 300, 450) for y in (0, 250)]
    crushed = [1 + tilt[0] * x / 1000 + tilt[1] * y / 1000 + (e if n == odd else 0) for n, (x, y) in enumerate(at)]
    die = closing(over(crushed, at))
    assert die.odd is Odd.NAMED and die.odd_place == str(odd + 1)
    assert die.odd_by_mm == pytest.approx(e, rel=1e-6)


def test_a_good_set_up_before_names_the_odd_corner_of_four():
    before = over((1.02, 1.05, 1.03, 1.04))
    now = over((0.82, 0.85, 0.98, 0.84))  # 0.20 down everywhere, but at the third
    die = closing(now, last_good=before)
    assert die.odd is Odd.NAMED and die.odd_place == "3"
    assert die.odd_by_mm == pytest.approx(0.15, abs=1e-12)
    assert closing(over((0.82, 0.85, 0.83, 0.84)), last_good=before).odd is Odd.NONE


def test_among_good_readings_one_is_named_as_seldom_as_promised():
    """Noise of one reading alone, on two layouts, with and without a set-up before: at most 1 in 20, within chance."""
    rng = np.random.default_rng(20261130)
    at = [(x, y) for x in (0, 200, 400) for y in (0, 250)]
    named = {"plane": 0, "before": 0}
    tries = 400
    for _ in range(tries):
        noise = lambda n: 1 + rng.normal(0, stop_blocks.READING_SD_MM, n)  # noqa: E731
        named["plane"] += closing(over(noise(6), at)).odd is Odd.NAMED
        named["before"] += closing(over(noise(4)), last_good=over(noise(4))).odd is Odd.NAMED
    most = tries * 0.05 + 3 * math.sqrt(tries * 0.05 * 0.95)
    assert named["plane"] <= most and named["before"] <= most, named


def test_the_error_of_a_tilt_is_that_of_a_reference_library():
    """By numpy's polynomial fit along x: these readings do not change along y, so the two have the same line."""
    x = np.array([0, 0, 100, 100, 200, 200, 300, 300.0])
    y = np.array([0, 100.0] * 4)
    z = np.array([1.00, 1.00, 1.03, 1.03, 1.02, 1.02, 1.06, 1.06])
    die = closing(over(z, list(zip(x, y, strict=True))))
    slope, covariance = np.polyfit(x / 1000, z, 1, cov="unscaled")
    residual = z - np.polyval(slope, x / 1000)
    assert die.tilt is not None and die.tilt.error_x_mm_m is not None
    assert die.tilt.x_mm_m == pytest.approx(slope[0], rel=1e-9) and die.tilt.y_mm_m == pytest.approx(0, abs=1e-9)
    expected = math.sqrt(residual @ residual / (8 - 3) * covariance[0, 0])
    assert die.tilt.error_x_mm_m == pytest.approx(expected, rel=1e-9)


@pytest.mark.parametrize(
    ("readings", "words"),
    [
        ([], "Lay solder on at least one block"),
        ([reading(1.0), reading(1.1)], "two readings at A"),
    ],
)
def test_readings_that_cannot_be_are_refused_in_a_sentence(readings, words):
    with pytest.raises(StopBlockError, match=words):
        closing(readings)


@pytest.mark.parametrize(
    "wrong", [{"crushed_mm": -1.0}, {"slot_mm": -0.1}, {"stand_off_mm": math.nan}, {"slot_mm": True}]
)
def test_a_reading_that_cannot_be_is_refused_where_it_is_typed(wrong):
    with pytest.raises(StopBlockError, match="at A must be 0 mm or more"):
        BlockReading(**{"place": "A", "crushed_mm": 1.0, **wrong})


def test_readings_at_one_place_or_along_one_line_have_no_tilt():
    assert closing(over((1, 1.2, 1.4), ((0, 0), (100, 0), (200, 0)))).tilt is None
    assert closing(over((1, 1.2, 1.4), ((5, 5),) * 3)).tilt is None
    assert closing([reading(1.0, place=p) for p in "ABC"]).tilt is None


def test_a_die_is_home_at_its_stand_off_and_not_on_its_blocks():
    home = [reading(0.05, place=p, stand_off=0.0508) for p in "ABCD"]
    assert closing(home).is_home
    assert not closing([*home, reading(0.40, place="E", stand_off=0.0508)]).is_home
    pressed = [reading(1.20, place="A", slot=1.27)]
    assert not closing(pressed).is_home and closing(pressed).to_contact_mm[0] < 0
