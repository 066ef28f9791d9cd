"""Customary limits of wear: common practice, no source, and said to be."""

import pytest

from diestore import units
from diestore.handbook import wear_limits
from diestore.handbook.kinds import KINDS


def test_every_limit_is_of_a_kind_that_is_measured_and_owns_up_to_having_no_source():
    assert wear_limits._LIMITS
    for (kind, quantity), limit in wear_limits._LIMITS.items():
        assert KINDS[kind].measured_against_limit, kind
        assert wear_limits.named(quantity) == quantity
        assert limit.source == wear_limits.NO_SOURCE and limit.words
        ways = [limit.at_si, limit.less_si, limit.share, limit.of_gap]
        assert ways.count(None) == 3, "one way to say it"


def test_a_limit_names_its_amount_and_leaves_the_unit_to_the_reader():
    for limit in (one.by_gap(0.05) for one in wear_limits._LIMITS.values()):
        assert ("{}" in limit.words) == (limit.amount_si is not None and limit.amount_si > 0)
        assert not any(f" {unit}" in limit.words for unit in ("mm", "µm", "N"))


def test_a_limit_lies_on_the_side_to_which_the_piece_wears():
    for (_, quantity), known in wear_limits._LIMITS.items():
        limit = known.by_gap(0.05)
        first = 0.006 if limit.at_si is None else limit.at_si / 2 or -1e-6
        assert (limit.value_si(first) < first) == wear_limits.falls(quantity)


def test_what_may_have_a_limit_is_a_reading_known_by_name():
    for name, (unit, _) in wear_limits._MEASURED.items():
        assert units.quantity(name).stored == unit, "a limit is kept in the unit in which the reading is"
        assert name in wear_limits.UNKNOWN


@pytest.mark.parametrize(
    ("quantity", "limit", "si"), [("bore clearance", 0.03, 30e-6), ("Spring_Force", 850, 850), ("diameter", 6, 6e-3)]
)
def test_a_limit_in_si(quantity, limit, si):
    assert wear_limits.limit_si(quantity, limit) == pytest.approx(si)


def test_what_has_no_name_here_has_no_limit():
    assert wear_limits.wear_limit("pilot", "colour", gap_mm=0.05) is None
    assert wear_limits.wear_limit("pierce_punch", "diameter", gap_mm=0.05) is None
    assert wear_limits.falls("burr height") is None
    with pytest.raises(KeyError):
        wear_limits.limit_si("burr height", 1)


def limit_mm(kind: str, quantity: str, gap_mm: float | None, first_mm: float = 0.0) -> float | None:
    known = wear_limits.wear_limit(kind, quantity, gap_mm=gap_mm)
    return None if known is None else 1e3 * known.value_si(first_mm / 1e3)


def test_a_guide_may_wear_by_a_share_of_the_gap():
    """A quarter of the gap on a side, so half of it across: 0.0175 mm a side leaves 0.00875, not 0.030 (common
    practice, no source)."""
    assert limit_mm("bushing", "bore clearance", 0.0175) == pytest.approx(0.00875)
    assert limit_mm("guide_post", "guide clearance", 0.07) == pytest.approx(0.035)
    # [T6-12] punch to die holds to about a tenth of the gap on a side, from memory: a worn guide is allowed more than
    # that, and less than the whole gap on either side
    for gap in (0.0175, 0.07, 0.2):
        across = limit_mm("bushing", "bore clearance", gap)
        assert 0.10 * gap < across / 2 < gap
    assert limit_mm("bushing", "bore clearance", None) is None and limit_mm("bushing", "bore clearance", 0.0) is None


def test_a_pilot_and_a_stop_block_by_a_share_of_the_gap():
    assert limit_mm("pilot", "diameter", 0.07, first_mm=5.97) == pytest.approx(5.935)
    assert limit_mm("stop_block", "height", 0.08, first_mm=40) == pytest.approx(39.98)


def test_a_cage_that_runs_preloaded_has_no_clearance_to_lose():
    # [T6-03] trade article on die-set guide components: ball-cage guides run 0.0001 to 0.0021 in tighter than nothing
    for preload_in in (0.0001, 0.0021):
        assert -25.4 * preload_in < limit_mm("roller_cage", "bore clearance", 0.05) == 0.0
    assert limit_mm("roller_cage", "guide clearance", None) == 0.0  # whatever the gap


def test_a_limit_grows_with_the_gap():
    for (kind, quantity), known in wear_limits._LIMITS.items():
        if known.of_gap is not None:
            one, two = (wear_limits.wear_limit(kind, quantity, gap_mm=gap).amount_si for gap in (0.03, 0.06))
            assert two == pytest.approx(2 * one) and wear_limits.goes_by_gap(kind, quantity)
