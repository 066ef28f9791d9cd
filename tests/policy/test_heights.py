"""Heights of a ground set against figures worked by hand, and against laws."""

from __future__ import annotations

import pytest

from maintenance.policy import heights
from maintenance.policy.heights import HeightError, step_against_group


def test_a_piece_that_stands_out_of_its_group_is_named_with_its_step():
    steps = step_against_group({"1-A": 68.40, "1-B": 68.40, "1-C": 68.20, "3-A": 68.52})
    assert [(s.name, round(s.by_mm, 3)) for s in steps] == [("1-C", -0.2)]
    assert steps[0].reference_mm == 68.40


def test_a_step_of_exactly_the_limit_is_none():
    """0.15 mm between neighbours: common practice, no source."""
    assert not step_against_group({"a": 10.0, "b": 10.15})
    assert [s.name for s in step_against_group({"a": 10.0, "b": 10.16})] == ["b"]


def test_one_piece_or_none_is_never_out():
    assert step_against_group({}) == ()
    assert step_against_group({"a": 3.0}) == ()


@pytest.mark.parametrize("height", [float("nan"), float("inf"), -0.1])
def test_a_height_that_cannot_be_is_refused(height):
    with pytest.raises(HeightError, match="height of b must be 0 mm or more"):
        step_against_group({"a": 1.0, "b": height})
    with pytest.raises(HeightError, match="measure at least one"):
        heights.reference_mm({})
    with pytest.raises(HeightError, match="step must be"):
        step_against_group({"a": 1.0}, step_mm=height)
