"""Rules of the trade that the wear model starts from, as published."""

from dataclasses import replace

import pytest

from maintenance.life.cycles import EdgeSpec
from maintenance.life.handbook import times_by_handbook
from maintenance.life.trend import trend


def test_the_lower_edge_is_sharpened_a_half_to_a_third_as_often():
    # [T4-07] "Sharpening for a longer life", The Fabricator: the die needs it a half to a third as often as the punch,
    # so that 12 sharpenings of the punch are 4 to 6 of the die.
    punch = EdgeSpec(die=0, thickness_mm=1.0, tensile_mpa=400.0)
    times = times_by_handbook(punch, [replace(punch, side="lower")])
    assert 4 <= 12 / times.times[0] <= 6
    assert times.low[0] < 2 and times.high[0] > 3  # a rule of thumb, and held as one: the shop's record moves it


@pytest.mark.parametrize("changes", [{"thickness_mm": 2.0}, {"tensile_mpa": 800.0}])
def test_twice_as_thick_or_as_strong_wears_twice_as_fast_before_any_record(changes):
    # Archard, J. Appl. Phys. 24 (1953) 981-988 (form of the law, from memory): volume worn goes with load times way
    edge = EdgeSpec(die=0, thickness_mm=1.0, tensile_mpa=400.0)
    assert times_by_handbook(edge, [replace(edge, **changes)]).times[0] == pytest.approx(0.5, rel=1e-9)


def test_wear_that_slows_down_as_a_published_power_of_the_cycles():
    # [T4-14] Humpf et al., Archard-Bayer law, lubricated carbide on steel: wear goes with the cycles to the power of
    # 0.41 (+- 0.17), which is 2.57 times as much in ten times the cycles.
    cycles = [1e3, 1e4, 1e5, 1e6]
    found = trend(cycles, [10.0 * 2.57**n for n in range(4)], 10.0 * 2.57**3 * 1.5, slowing=True)
    assert found.slope == pytest.approx(0.41, rel=0.01)
    assert found.at_hits == pytest.approx(1e6 * 1.5 ** (1 / 0.41), rel=0.01)
