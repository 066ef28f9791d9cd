"""Keys in addresses and forms: what no row can have is no key, however it is written."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from diestore.row_keys import MOST, RowKey, row_key


@given(st.integers(0, MOST))
def test_a_key_is_read_as_it_is_written(key):
    assert row_key(str(key)) == key
    assert RowKey().to_python(RowKey().to_url(key)) == key


@pytest.mark.parametrize(
    "text", [None, "", " 1", "-1", "1.0", "٣", "1_0", "x", str(MOST + 1), "9" * 5_000, "0" * 5_000]
)
def test_what_no_row_can_have_is_no_key(text):
    assert row_key(text) is None


def test_an_address_with_such_a_number_is_none_of_ours(as_role):
    assert as_role("lead").get(f"/dies/{MOST + 1}/").status_code == 404


@pytest.mark.parametrize("address", ["/log/run/", "/bench/complaint/"])
def test_a_long_number_in_a_question_is_no_die(as_role, address):
    """Python reads no more than 4,300 digits: such an address was a page that broke."""
    assert as_role("lead").get(address, {"die": "9" * 5_000}).status_code == 200
