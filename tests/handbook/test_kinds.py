"""The kinds of component."""

import contextlib

import pytest
from hypothesis import given
from hypothesis import strategies as st

from diestore.handbook.kinds import KINDS, SHAPES, UnknownKind, kind
from tests.handbook import law

CUTTING = {
    "pierce punch", "pilot pierce punch", "shape punch", "notch punch", "trim punch", "cut-off punch",
    "semi-pierce punch", "die button", "die section",
}  # fmt: skip
LOWER = {"die button", "die section", "forming block", "lifter", "guide post", "stock guide", "stop block"}


def test_every_kind_says_what_it_is():
    assert len(KINDS) == 25
    for key, found in KINDS.items():
        assert key == found.key
        assert found.meaning.endswith(".")
        assert found.side in {"upper", "lower"}
        assert found.shape in SHAPES
        assert len(key) <= 40


def test_what_cuts_is_ground_and_never_only_inspected():
    assert {k.name for k in KINDS.values() if k.cuts} == CUTTING
    assert {k.name for k in KINDS.values() if k.side == "lower"} == LOWER
    for found in KINDS.values():
        assert found.is_ground or not found.cuts
        # each is looked after in exactly one way or two: ground, measured, or only looked at
        assert found.only_inspected != (found.is_ground or found.measured_against_limit), found.name


@pytest.mark.parametrize("found", KINDS.values(), ids=lambda k: k.key)
def test_a_kind_is_found_however_it_is_written(found):
    for text in (
        found.key,
        found.name,
        found.name.upper(),
        found.name.title(),
        f"  {found.name.replace(' ', '-')} ",
        found.name.replace("-", " ").replace(" ", "_"),
        found.name.replace("-", "").replace(" ", ""),
        found.name.replace(" ", "  "),
        found.name + ("es" if found.name.endswith("ch") else "s"),
    ):
        assert kind(text) is found, text


def test_a_slip_is_answered_with_near_names():
    with pytest.raises(UnknownKind, match="Did you mean pierce punch"):
        kind("peirce punch")
    with pytest.raises(UnknownKind, match="die button"):
        kind("die buton")


@pytest.mark.parametrize("text", ["", " ", None, 7, "wheel", "x" * 5_000_000])
def test_what_is_no_kind_is_refused_in_one_short_sentence(text):
    with pytest.raises(UnknownKind, match="not a kind of component") as error:
        kind(text)
    assert len(str(error.value)) < 200


@law
@given(st.text(max_size=60))
def test_any_other_text_is_refused_and_nothing_else_happens(text):
    with contextlib.suppress(UnknownKind):
        assert kind(text) in KINDS.values()
