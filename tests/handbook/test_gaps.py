"""A gap as it is typed: a side or in all, mm, inch or % of the thickness, all the same gap."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from diestore import units
from diestore.handbook.gaps import CuttingError, GapMeant, gap_mm, of_percent, percent_of

pytestmark = pytest.mark.no_database


@pytest.mark.parametrize(
    ("text", "meant", "thickness_mm", "mm"),
    [
        ("9", "% a side", 1.2, 0.108),
        ("18", "% in all", 1.2, 0.108),
        ("9 %", "mm a side", 1.2, 0.108),
        ("18% in all", "% a side", 1.2, 0.108),
        ("18 % total", "mm a side", 1.2, 0.108),
        ("0.108", "mm a side", 1.2, 0.108),
        ("0,108 mm", "% a side", 1.2, 0.108),
        ("0.216", "mm in all", 1.2, 0.108),
        ("0.108 mm a side", "mm in all", 1.2, 0.108),
        ("0.005", "in a side", 1.5, 0.127),
        ("5 thou", "in a side", 1.5, 0.127),
        ("0.010", "in in all", 1.5, 0.127),
        ("0.005 in", "% a side", 1.5, 0.127),
        ('0.005"', "% a side", 1.5, 0.127),
    ],
)
def test_every_way_to_say_one_gap(text, meant, thickness_mm, mm):
    assert gap_mm(text, meant, thickness_mm) == mm


@pytest.mark.parametrize(("text", "thickness_mm", "mm"), [("4.5", 3.0, 0.135), ("6", 1.5, 0.09), ("7.5", 3.2, 0.24)])
def test_shares_of_the_thickness_as_a_textbook_has_them(text, thickness_mm, mm):
    # [T2-01] Groover, Fundamentals of Modern Manufacturing: c = Ac t per side, Ac 0.045, 0.060, 0.075; [T2-03] ex.
    # 20.1: half-hard steel of 3.2 mm, c = 0.24 mm
    assert gap_mm(text, GapMeant.PERCENT_A_SIDE, thickness_mm) == mm


@pytest.mark.parametrize("text", ["", "nine", "9 x", "9 N", "1.2.3 mm", "-1", "101", "1,250", "%"])
def test_what_is_no_gap_is_refused_with_a_sentence(text):
    with pytest.raises((units.UnitError, CuttingError)) as refused:
        gap_mm(text, GapMeant.PERCENT_A_SIDE, 1.2)
    assert str(refused.value).endswith(".")


@given(
    thousandths=st.integers(1, 400),
    thickness_mm=st.sampled_from([0.25, 0.4, 0.8, 1.0, 1.5, 2.0, 3.0]),
)
def test_inch_and_metric_say_the_same_gap_to_the_last_digit(thousandths, thickness_mm):
    inch = gap_mm(f"{thousandths / 10_000:.4f}", GapMeant.INCH_A_SIDE, thickness_mm)
    metric = gap_mm(f"{thousandths * 0.00254:.5f}", GapMeant.MM_A_SIDE, thickness_mm)
    both = gap_mm(f"{thousandths / 5_000:.4f}", GapMeant.INCH_IN_ALL, thickness_mm)
    assert inch == metric == both


@given(percent=st.integers(1, 3_000).map(lambda n: n / 100), thickness_mm=st.sampled_from([0.25, 0.4, 1.2, 1.5, 2.0]))
def test_percent_there_and_back(percent, thickness_mm):
    mm = of_percent(percent, thickness_mm)
    assert percent_of(mm, thickness_mm) == pytest.approx(percent, abs=5e-4)
    assert of_percent(percent_of(mm, thickness_mm), thickness_mm) == pytest.approx(mm, abs=1e-9)
