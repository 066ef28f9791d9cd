"""What was typed, read as a code: laws, and spellings as people use them. The spellings: common practice, no source."""

from urllib.parse import urlsplit

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from diestore.finding import spelling

CODE = st.text("abkz059ÄßÉ", min_size=1, max_size=6)
BETWEEN = st.text("".join(spelling.BETWEEN), max_size=3)


@pytest.mark.parametrize("typed", ["k123 5a", "K-123/5-A", "K123-5A", "k 123 . 5 a", "K_123: 5–A", "K1235A"])
def test_a_place_of_a_die_in_any_spelling_is_one_code(typed):
    assert spelling.asked(typed).code == "K1235A"


@given(st.lists(st.tuples(CODE, BETWEEN), min_size=1, max_size=6))
def test_what_stands_between_the_parts_and_capitals_do_not_matter(parts):
    bare = "".join(code for code, _ in parts)
    spelled = "".join(code + between for code, between in parts)
    assert spelling.squeezed(spelled) == spelling.squeezed(spelled.lower()) == bare.upper()


@given(st.text(max_size=400))
@example("\0" * 300)
@example("%_" * 4_000)
@example("\ud800")
def test_whatever_is_typed_is_bounded_and_can_be_asked_of_a_database(typed):
    asked = spelling.asked(typed)
    assert len(asked.text) <= 120 and len(asked.words) <= 6
    assert "\0" not in asked.text and asked.text == " ".join(asked.text.split())
    asked.text.encode()  # no database takes half a letter
    assert bool(asked) == bool(asked.code)


@given(st.text(max_size=80))
def test_a_path_is_taken_from_addresses_alone(text):
    path = spelling.path_of(text)
    assert path == "" or (text.lower().lstrip().startswith("http") and path == urlsplit(text).path)


def test_a_label_leads_to_its_path_under_whatever_name_it_was_printed():
    assert spelling.path_of("https://old-name.example:8443/d/K-123/") == "/d/K-123/"
    assert (
        spelling.path_of("K-123/5-A") == "" == spelling.path_of("http://[") == spelling.path_of("javascript:alert(1)")
    )
