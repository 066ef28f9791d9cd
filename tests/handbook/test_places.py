"""Names of places, and what is asked of a kind."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from diestore.handbook import places
from diestore.handbook.kinds import KINDS

pytestmark = pytest.mark.no_database


def test_places_are_called_as_in_the_demo_shop():
    taken: list[str] = []
    for kind, station, code in (
        ("pilot_pierce_punch", "1", "1-A"),
        ("pierce_punch", "1", "1-B"),
        ("pierce_punch", "1", "1-C"),
        ("pilot", "2", "2-P"),
        ("pilot", "2", "2-P2"),
        ("lifter", "2", "2-L"),
        ("oil_breaker", "6", "6-O"),
        ("guide_post", "", "GP-1"),
        ("guide_post", "", "GP-2"),
        ("stripper_spring", "", "SS-1"),
        ("stripper_plate", "", "SP"),
        ("stripper_plate", "", "SP-1"),
    ):
        assert places.next_code(kind, station, taken) == code
        taken.append(code)
    assert places.partner_code("1-A") == "1-AD" and places.partner_code("GP-2") == "GB-2"


def test_a_letter_whose_die_side_is_taken_is_passed_over():
    assert places.next_code("pierce_punch", "1", ["1-AD"]) == "1-B"


@given(st.lists(st.sampled_from(sorted(KINDS)), max_size=120), st.sampled_from(["1", "12", ""]))
def test_a_new_name_is_never_one_that_is_taken(kinds, station):
    taken: list[str] = []
    for kind in kinds:
        code = places.next_code(kind, station, taken)
        assert code.casefold() not in {one.casefold() for one in taken}
        assert len(code) <= 40
        taken.append(code)


def test_stations_are_numbered_on():
    assert places.next_station([]) == "1"
    assert places.next_station(["1", "2", "10"]) == "11"
    assert places.next_station(["idle"]) == "1"


def test_partners_are_kinds_of_the_other_side_and_both_cut_or_neither():
    for kind, partner in places.PARTNER.items():
        one, other = KINDS[kind], KINDS[partner]
        assert one.side != other.side
        assert one.cuts == other.cuts


def test_a_kind_that_cuts_is_asked_for_its_cut_and_no_other():
    for kind in KINDS.values():
        assert ("cut_length" in places.asked(kind)) == kind.cuts
        assert ("allowance" in places.asked(kind)) == kind.is_ground
