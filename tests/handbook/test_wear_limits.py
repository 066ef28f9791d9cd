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
        assert [limit.at_si, limit.less_si, limit.share].count(None) == 2, "one way to say it"


def test_a_limit_names_its_amount_and_leaves_the_unit_to_the_reader():
    for limit in wear_limits._LIMITS.values():
        assert ("{}" in limit.words) == (limit.amount_si is not None)
        assert not any(f" {unit}" in limit.words for unit in ("mm", "µm", "N"))


def test_a_limit_lies_on_the_side_to_which_the_piece_wears():
    for (_, quantity), limit in wear_limits._LIMITS.items():
        first = 0.006 if limit.at_si is None else limit.at_si / 2
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
    assert wear_limits.wear_limit("pilot", "colour") is None
    assert wear_limits.wear_limit("pierce_punch", "diameter") is None
    assert wear_limits.falls("burr height") is None
    with pytest.raises(KeyError):
        wear_limits.limit_si("burr height", 1)
