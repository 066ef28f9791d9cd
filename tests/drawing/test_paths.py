"""Paths and letters."""

import pytest

from diestore.drawing import letters, paths

pytestmark = pytest.mark.no_database


def test_lines_and_what_lies_between_them():
    there, back = [(0, 1.04), (10, 2)], [(0, 5), (10.26, 6)]
    assert paths.line(there) == "M0 1 L10 2"
    assert paths.area(there, back) == "M0 1 L10 2 L10.3 6 L0 5Z"
    assert paths.line([]) == paths.area([], []) == ""


def test_a_broken_line_is_lifted_where_there_is_no_point():
    assert paths.broken([None, (0, 1), (1, 1), None, None, (3, 2), (4, 2)]) == "M0 1 L1 1 M3 2 L4 2"
    assert paths.broken([None]) == ""


def test_marks_point_at_their_place():
    assert paths.pointer(170, 13, width=9, height=14) == "M170 13l-9 -7v14z"
    assert paths.pointer(10, 13, width=-9, height=14) == "M10 13l9 -7v14z"
    assert paths.notch(50, 7) == "M50 7l-5 -7h10z"


def test_words_are_cut_to_their_room():
    assert letters.fitting("pierce", 100) == "pierce"
    assert letters.fitting("pierce and pilot", 50) == "pierce…"
    assert letters.width("pierce…") <= 50
