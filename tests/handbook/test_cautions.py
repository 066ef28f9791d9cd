"""Cautions: every one has its rule, and the figures in them are those of the rules."""

import math

import pytest

from diestore.handbook.cautions import (
    CAUTIONS,
    FIRST,
    FOR_WORK,
    GUIDE_GAP_AT_MOST_MM,
    REST_GAP_AT_MOST_MM,
    TONGUE_GAP_AT_MOST_MM,
    CautionError,
    block_strength_lb,
    for_work,
    lead_limit_ug_m3,
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
        ("burr", ["0.003 in", "0.08 mm", "0.005 in", "0.13 mm"]),  # P. Ulintz, MetalForming, Aug 2013
    ],
)
def test_figures_are_those_of_the_rules(key, figures):
    for figure in figures:
        assert figure in CAUTIONS[key].text


def test_limits_in_mm():
    # OSHA STD 01-12-008: work rest within 1/8 in, so 0.15 in is too far; 1910.217(d)(4): 0.3 in is a hazard
    assert 0.15 * 25.4 > REST_GAP_AT_MOST_MM == pytest.approx(3.175)
    assert 0.3 * 25.4 > GUIDE_GAP_AT_MOST_MM == pytest.approx(6.35)
    assert pytest.approx(6.35) == TONGUE_GAP_AT_MOST_MM  # from memory


def test_lead_over_a_long_shift():
    # 29 CFR 1910.1025 appendix B and 1926.62(c)(2): 50 ug/m3 over 8 h; 400 / hours above: 33.33 at 12 h
    assert lead_limit_ug_m3(12) == pytest.approx(33.33, rel=1e-3)
    assert lead_limit_ug_m3(8) == 50
    assert lead_limit_ug_m3(4) == 50  # a short shift allows no more
    for bad in (0, -1, 25, math.nan, True):
        with pytest.raises(CautionError):
            lead_limit_ug_m3(bad)


@pytest.mark.parametrize(("side", "still", "allowed", "longest"), [(4, 80_000, 8_000, 44), (12, 720_000, 72_000, 132)])
def test_wooden_blocks(side, still, allowed, longest):
    # WAC 296-806-43006, table 430-2: 4 x 4 in: 80,000 / 8,000 lb, 44 in; 12 x 12 in: 720,000 / 72,000 lb, 132 in
    assert block_strength_lb(side_in=side) == (still, allowed)
    assert 11 * side == longest
