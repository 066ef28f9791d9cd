"""What is doubted about a build, held against published figures; the source stands beside each."""

from __future__ import annotations

import math

import pytest

from diestore import units
from diestore.handbook import build_doubts as doubts
from diestore.handbook.build_doubts import Build, Contour, Place, Strip
from diestore.handbook.cutting import cutting_force_n

pytestmark = pytest.mark.no_database

MILD = Strip(material="low-carbon steel", tensile_mpa=350, thickness_mm=1.5, shear_mpa=280)


def punch(code="1-A", **more):
    return Place(**({"code": code, "kind": "pierce_punch", "side": "upper"} | more))


def button(code="1-AD", **more):
    return Place(**({"code": code, "kind": "die_button", "side": "lower"} | more))


def cut(code="1-A", upper="1-A", lower="1-AD", **more):
    return Contour(**({"code": code, "upper": upper, "lower": lower, "length_mm": 20.0, "gap_mm": 0.1} | more))


def build(places=(), cuts=(), **more):
    return Build(strip=more.pop("strip", MILD), places=places, cuts=cuts, **more)


def fields(found):
    return [(one.place, one.field) for one in found]


def test_a_gap_that_is_published_for_the_stock_is_not_doubted():
    # [T2-08] low carbon 5 to 10 % a side, course notes; [T2-01] 0.060 for soft cold-rolled steel, Groover's table
    for pct in (5, 6, 8, 10):
        assert doubts.of_gap(pct / 100 * 1.5, MILD) == []


@pytest.mark.parametrize(("pct", "word"), [(3, "less"), (15, "more")])
def test_a_gap_beyond_all_that_is_published_is_doubted_with_source_and_millimetres(pct, word):
    (one,) = doubts.of_gap(pct / 100 * 1.5, MILD, place="1-A")
    assert one.place == "1-A" and word in one.text
    assert "5 to 10 %" in one.text and "0.075 mm to 0.150 mm" in one.text
    assert "Groover" in one.source and "course notes" in one.source


def test_a_gap_for_strong_sheet():
    # [T2-13] 10 to 16 % at 1 GPa and above
    strong = Strip(material="martensitic steel MS1200", tensile_mpa=1200, thickness_mm=1.0)
    assert doubts.of_gap(0.14, strong) == []
    assert doubts.of_gap(0.05, strong)


def test_where_the_handbook_holds_nothing_of_a_stock_nothing_is_doubted():
    assert doubts.of_gap(0.5, Strip(material="unobtainium", tensile_mpa=400, thickness_mm=1.0)) == []


@pytest.mark.parametrize(
    ("steel", "fine", "soft", "hard"),
    # [T5-07] M2 63 to 65, M4 63 to 66; [T5-08] D2 58 to 64, A2 57 to 62, S7 47 to 57
    [("M2", 64, 60, 67), ("M4", 65, 62, 67), ("D2", 60, 57, 65), ("A2", 59, 56, 63), ("S7", 55, 46, 58)],
)
def test_hardness_against_the_working_range_of_the_grade(steel, fine, soft, hard):
    assert doubts.of_hardness(steel, fine) == []
    assert "softer" in doubts.of_hardness(steel, soft)[0].text
    assert "harder" in doubts.of_hardness(steel, hard)[0].text


def test_carbide_is_not_rated_in_hrc_and_an_unknown_grade_is_not_judged():
    # [T4-08] carbide punches of 85 HRA
    assert "HRA" in doubts.of_hardness("WC-Co", 85)[0].text
    assert doubts.of_hardness("our own", 20) == [] and doubts.of_hardness("D2", None) == []


def test_a_punch_that_stands_proud_of_its_height_group():
    group = [punch(c, height_group="1", length_mm=60.0) for c in ("1-A", "1-B")]
    proud = punch("1-C", height_group="1", length_mm=60.5)
    shorter = punch("1-D", height_group="1", length_mm=59.0)
    found = doubts.of_groups([*group, proud, shorter, punch("2-A", height_group="2", length_mm=62.0)])
    assert fields(found) == [("1-C", "length")]
    assert "0.500 mm" in found[0].text
    assert doubts.of_groups([*group, punch("1-E", height_group="1", length_mm=60.05)]) == []


def test_a_cut_with_one_side_only():
    assert fields(doubts.of_partner(cut(lower=""), {"1-A": punch()})) == [("1-A", "partner")]
    assert "die opening" in doubts.of_partner(cut(lower=""), {"1-A": punch()})[0].text
    assert "punch above" in doubts.of_partner(cut(upper=""), {"1-AD": button()})[0].text
    assert doubts.of_partner(cut(), {}) == []


def test_the_force_of_a_hit_is_that_of_the_handbook():
    # [T1-02] Sharma, ex. 2.1: washer 50 / 24 mm, 4 mm, 360 N/mm2, outside and inside in one hit: pi 74 x 4 x 360
    washer = Strip(material="steel", tensile_mpa=450, thickness_mm=4, shear_mpa=360)
    lengths = (math.pi * 50, math.pi * 24)
    cuts = [cut(str(n), upper="", lower="1-AD", length_mm=length) for n, length in enumerate(lengths)]
    force = doubts.forces(build([button()], cuts, strip=washer))
    assert force.total_n == pytest.approx(334_765, rel=1e-4)
    assert force.strip_n == pytest.approx(force.total_n / 10)  # [T3-03] a tenth
    assert force.peak_dull_n == pytest.approx(1.3 * force.peak_n)  # [T1-25] dull edges take 15 to 30 % more


def test_groups_of_height_share_the_load():
    places = [punch("1-A", height_group="1"), punch("2-A", height_group="2")]
    cuts = [cut("1-A", lower="", length_mm=100), cut("2-A", upper="2-A", lower="", length_mm=60)]
    force = doubts.forces(build(places, cuts))
    assert force.peak_group == "1"
    assert force.peak_n == cutting_force_n(length_mm=100, thickness_mm=1.5, shear_mpa=280)


@pytest.mark.parametrize(("share", "words"), [(0.55, ""), (0.65, "C-frame"), (0.9, "any frame"), (1.2, "rated for")])
def test_the_press_against_what_is_advised(share, words):
    # [T1-29] below about 80 % on a straight side, 60 to 70 % on a C-frame
    one = cut(length_mm=100)
    dull = 1.3 * cutting_force_n(length_mm=100, thickness_mm=1.5, shear_mpa=280)
    found = doubts.of_forces(build([punch(), button()], [one], press="P2", rated_force_n=dull / share))
    assert [words in doubt.text for doubt in found] == ([True] if words else [])


def test_springs_against_the_stripping_force():
    places = [punch(), button(), *(Place(code=f"SS-{n}", kind="stripper_spring", side="upper") for n in (1, 2))]
    needs = cutting_force_n(length_mm=100, thickness_mm=1.5, shear_mpa=280) / 10
    cuts = [cut(length_mm=100)]
    weak = {"SS-1": needs / 3, "SS-2": needs / 3}
    assert fields(doubts.of_forces(build(places, cuts, spring_force_n=weak))) == [("", "springs")]
    assert doubts.of_forces(build(places, cuts, spring_force_n={"SS-1": needs, "SS-2": 1.0})) == []
    assert doubts.of_forces(build(places, cuts, spring_force_n={"SS-1": needs / 3})) == [], "the other is not known"


def test_shear_strength_is_the_stocks_own_else_the_handbooks():
    assert MILD.shear == (280, "the stock's own shear strength")
    shear, source = Strip(material="low-carbon steel", tensile_mpa=350, thickness_mm=1.5).shear
    assert 0.7 * 350 <= shear <= 0.85 * 350 and source
    unknown, source = Strip(material="unobtainium", tensile_mpa=400, thickness_mm=1.0).shear
    assert unknown == pytest.approx(320) and "course notes" in source


def test_a_sound_die_has_no_doubts_and_a_poor_one_has_all():
    sound = build(
        [punch(tool_steel="M2", hardness_hrc=64, height_group="1", length_mm=60), button(tool_steel="D2")],
        [cut(gap_mm=0.1)], press="P2", rated_force_n=800_000,
    )  # fmt: skip
    assert doubts.doubts(sound) == []
    poor = build(
        [punch(tool_steel="M2", hardness_hrc=50, height_group="1", length_mm=61),
         punch("1-B", height_group="1", length_mm=60), button()],
        [cut(gap_mm=0.4), cut("1-B", upper="1-B", lower="", length_mm=200)], press="P2", rated_force_n=60_000,
        system=units.System.INCH,
    )  # fmt: skip
    found = doubts.doubts(poor)
    assert fields(found) == [("1-A", "hardness"), ("1-A", "length"), ("1-A", "gap"), ("1-B", "partner"), ("", "press")]
    assert all(one.source and one.text.endswith(".") for one in found)
    assert "0.0591 in" in found[2].text and "US tons" in found[4].text
