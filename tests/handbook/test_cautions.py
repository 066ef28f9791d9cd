"""Cautions: every one has its rule, and the figures in them are those of the rules."""

import math
import re
from fractions import Fraction

import pytest

from diestore.handbook.cautions import (
    CAUTIONS,
    FIRST,
    FOR_WORK,
    CautionError,
    for_work,
    lead_limit_ug_m3,
    wooden_block,
)


@pytest.mark.parametrize("caution", CAUTIONS.values(), ids=lambda c: c.key)
def test_every_caution_rests_on_a_named_rule(caution):
    assert caution.title
    assert caution.short.endswith(".")
    assert len(caution.short) <= 120
    assert caution.text.endswith(".")
    assert any(word in caution.rule for word in ("CFR", "OSHA", "CCR", "practice", "MetalForming"))


def test_local_codes_makers_and_qualified_people_come_first():
    for word in ("Local codes", "maker", "qualified people", "first"):
        assert word in FIRST


def test_every_sort_of_work_has_its_cautions():
    assert {key for keys in FOR_WORK.values() for key in keys} <= set(CAUTIONS)
    assert [c.key for c in for_work("replacement")] == ["lockout", "blocks", "springs", "lifting"]
    assert "carbide" in {c.key for c in for_work("sharpening carbide")}
    with pytest.raises(KeyError):
        for_work("singing")


@pytest.mark.parametrize(
    ("key", "figures"),
    [
        ("press", ["quarter of an inch"]),  # 29 CFR 1910.217(d)(4): guide post from bushing by more than 1/4 in
        ("blocks", []),
        ("lockout", ["once a year"]),  # 29 CFR 1910.147(c)(6): each procedure at least annually
        ("grinding", ["1/8 in", "1/4 in"]),  # 29 CFR 1910.215(a)(4); (b)(9) from memory
        ("carbide", ["0.1 mg/m3", "0.05", "0.02", "0.005"]),  # OSHA chemical sampling page, cobalt
        ("lead", ["50 ug/m3", "30", "400"]),  # 29 CFR 1910.1025: limit, action level; 1926.62(c)(2)
        ("inspection", ["weekly"]),  # 29 CFR 1910.217, 78 FR 69543
        # [T4-01] P. Ulintz, Defining acceptable burr height, MetalForming, Aug 2013
        ("burr", ["0.003 in", "0.08 mm", "0.005 in", "0.13 mm"]),
    ],
)
def test_figures_are_those_of_the_rules(key, figures):
    for figure in figures:
        assert figure in CAUTIONS[key].text


@pytest.mark.parametrize(
    ("key", "written", "too_far_in"),
    [
        # [T7-12] 29 CFR 1910.215(a)(4), OSHA STD 01-12-008: a work rest 0.15 in from the wheel is too far
        ("grinding", r"the rest stands within (1/8) in \((\d) mm\)", 0.15),
        # 29 CFR 1910.215(b)(9), from memory: the tongue guard within 1/4 in
        ("grinding", r"tongue guard within (1/4) in \((\d) mm\)", 0.3),
        # [T7-03] 29 CFR 1910.217(d)(4): a guide post 0.3 in out of its bushing near the operator is a hazard
        ("press", r"by more than a (quarter) of an inch \((\d) mm\)", 0.3),
    ],
)
def test_who_keeps_the_millimetres_of_a_caution_keeps_the_rule(key, written, too_far_in):
    inches, mm = re.search(written, CAUTIONS[key].text).groups()
    limit_in = Fraction("1/4" if inches == "quarter" else inches)
    assert too_far_in > limit_in
    assert int(mm) <= limit_in * Fraction("25.4") < int(mm) + 1  # rounded down, never up


def test_lead_over_a_long_shift():
    # [T7-09] 29 CFR 1910.1025 appendix B and 1926.62(c)(2): 50 ug/m3 over 8 h; 400 / hours above: 33.33 at 12 h
    assert lead_limit_ug_m3(12) == pytest.approx(33.33, rel=1e-3)
    assert lead_limit_ug_m3(8) == 50
    assert lead_limit_ug_m3(4) == 50  # a short shift allows no more
    for bad in (0, -1, 25, math.nan, True):
        with pytest.raises(CautionError):
            lead_limit_ug_m3(bad)


@pytest.mark.parametrize(("side", "still", "allowed", "longest"), [(4, 80_000, 8_000, 44), (12, 720_000, 72_000, 132)])
def test_wooden_blocks(side, still, allowed, longest):
    # [T7-05] WAC 296-806-43006, table 430-2: 4 x 4 in: 80,000 / 8,000 lb, 44 in; 12 x 12 in: 720,000 / 72,000 lb, 132
    # in
    block = wooden_block(side_in=side)
    assert (block.still_lb, block.allowed_lb, block.longest_in) == (still, allowed, longest)
    for bad in ({"side_in": 0}, {"side_in": side, "psi": -1}, {"side_in": side, "safety": 0.5}):
        with pytest.raises(CautionError):
            wooden_block(**bad)


def test_before_and_while_a_wheel_runs_up():
    # 29 CFR 1910.215(d)(1): ring test immediately before mounting, and (d)(1)(i): wheels of organic bond do not ring as
    # vitrified ones do. A minute's run with nobody in line: ANSI B7.1, from memory.
    grinding = CAUTIONS["grinding"]
    assert "stand aside while it runs up" in grinding.short
    assert "before you mount it" in grinding.text
    assert "Ring-test a vitrified wheel" in grinding.text
    assert "Resin-bonded diamond and CBN wheels do not ring" in grinding.text
    assert "for a minute before it touches the work" in grinding.text


def test_whoever_reaches_into_a_die_has_locked_the_press_off():
    # 29 CFR 1910.147(d): stopped is not locked; no reminder may ask for less than the lock-off beside it
    assert "stopped and locked off" in CAUTIONS["press"].short
    for caution in CAUTIONS.values():
        assert "keep it stopped" not in caution.short + caution.text
