"""Whole numbers as people type them: every usual way is read, and what could be two numbers is refused."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from diestore.typed import NotANumber, whole

WRITTEN = {
    "plain": "{:d}",
    "comma": "{:,}",
    "spaced": "  {:d} ",
    "signed": "+{:d}",
}


@settings(max_examples=200, deadline=None)
@given(st.integers(0, 10**12))
def test_every_usual_way_of_writing_a_count_is_the_same_number(n):
    for form in WRITTEN.values():
        assert whole(form.format(n)) == n
    for mark in (" ", "\u00a0", "\u2009", "\u202f", "'", "’"):
        assert whole(f"{n:,}".replace(",", mark)) == n


@settings(max_examples=200, deadline=None)
@given(st.integers(0, 10**12))
def test_dots_are_a_thousands_mark_only_where_they_can_be_nothing_else(n):
    text = f"{n:,}".replace(",", ".")
    if text.count(".") == 1:
        with pytest.raises(NotANumber, match="could be"):
            whole(text)
    else:
        assert whole(text) == n


def test_what_could_be_two_numbers_is_refused_with_both():
    with pytest.raises(NotANumber, match=r"30\.120 could be 30,120 or 30\.12\. Type 30120 if you mean that"):
        whole("30.120")


@pytest.mark.parametrize(
    "text",
    ["", " ", "x", "12k", "1e4", "nan", "inf", "0x10", "12.5", "12,5", "1,2345", "1,23,456", "1 23", "1,234 567",
     "--5", "5-", "²", "١٢", "1_000", "\x00", "9" * 41],
)  # fmt: skip
def test_anything_else_is_no_number(text):
    with pytest.raises(NotANumber):
        whole(text)


def test_a_minus_is_read_so_that_the_form_can_say_what_is_wrong_with_it():
    assert whole("-5") == whole("\u22125") == -5
