"""Which of the given published figures a test holds the project to, and which wait for a formula that is not there yet.

A list of 162 entries goes with the project: 50 figures of statistics (letter and two digits) and 112 of the trade (T,
topic and number), each with its source. A test that holds an entry bears its number in brackets in a comment, or as the
id of a case, within the test; the source and the figures stand there. The list itself is not read: a copy of the
project does not have it.
"""

import ast
import io
import re
import tokenize
from pathlib import Path

import pytest

TESTS = Path(__file__).parent
MARK = re.compile(r"\[((?:[A-Z]\d{2})|(?:T\d{1,2}-\d{2}))\]")


def _numbers(text: str) -> set[str]:
    return set(text.split())


WITH_A_FIGURE = _numbers(
    """
    W01 W02 W06 W08 W11 W12 W14 W15 A01 A03 A05 A08 A09 A10 F01 F03 F05 F06 R01 R04 R06 R07 R09 R11 R12 R13 N01 N03 N05
    N06 N08 D01 D03 D05 S01 S03 S05 S08 S09 M01 M02 M04 M06 M07 E01 E03 E04 E06 E07 E10
    T1-01 T1-02 T1-03 T1-05 T1-07 T1-08 T1-09 T1-10 T1-12 T1-13 T1-14 T1-19 T1-20 T1-21 T1-22 T1-25 T1-26 T1-27 T1-28
    T1-29 T2-01 T2-02 T2-03 T2-04 T2-07 T2-08 T2-09 T2-10 T2-11 T2-13 T2-19 T2-20 T3-01 T3-03 T3-05 T3-09 T3-14 T3-15
    T3-16 T4-01 T4-05 T4-07 T4-12 T4-14 T4-15 T5-01 T5-03 T5-04 T5-05 T5-06 T5-07 T5-08 T6-05 T6-08 T6-09 T6-11 T7-01
    T7-03 T7-05 T7-08 T7-09 T7-12 T8-01 T8-02 T8-04 T8-06 T8-07 T8-08 T8-09 T8-11 T8-12 T8-14 T8-15 T8-16 T8-18 T9-01
    T9-02 T9-03 T10-01 T10-03 T10-04
    """
)
# Ranges, statements and rules without a figure to come out: nothing to compute. A test may bear their number too.
WITHOUT = _numbers(
    """
    T1-24 T2-12 T2-14 T2-16 T2-17 T2-18 T3-07 T3-11 T4-02 T4-03 T4-08 T4-09 T4-10 T4-11 T4-13 T4-17 T5-09 T5-10 T6-03
    T6-04 T6-06 T6-07 T6-10 T6-12 T7-02 T7-04 T7-07 T7-11 T7-13 T7-14 T8-19
    """
)

# Held by tests that bear no number of their own.
BY_NAME = {
    "A01": "life/test_fleet_regression.py::test_superalloy_over_ln_of_stress",
    "A03": "life/test_fleet_regression.py::test_two_columns_and_many_still_running",
    "A05": "life/test_fleet_regression.py::test_motorettes_and_what_they_say_far_outside",
    "A09": "life/test_fleet_regression.py::test_two_groups_one_of_them_hardly_failing",
    "A10": "life/test_fleet_regression.py::test_tool_wear_seen_at_intervals",
    "D01": "life/test_trend.py::test_straight_lines_cross_where_the_book_says",
    "D05": "life/test_trend.py::test_wear_that_slows_down",
}

WAITING = {
    "D03": "one line of wear over cycles and load for several units at once: readings are fitted unit by unit",
    "E03": "the score of a band of a forecast",
    "E06": "a test of how often a band held, with its chance",
    "E10": "the score of a single quantile of a forecast",
    "T1-19": "work from energy a square millimetre of cut, and the power of a drive",
    "T2-19": "a gap from the strain and stress at which the stock breaks: no record of stock holds them",
    "T4-12": "worn volume in cubic millimetres: the wear model holds ratios of lives only",
    "T8-15": "what a die is worth in the books after some years",
}
# Held in part; the rest waits.
PARTLY = {
    "W01": "the sd of a life and Akaike's figure are not told",
    "W02": "limits by the profile of the likelihood: those told are Wald's",
    "F01": "the rates beside the frailty are held as published: chips are learnt by steel, not by a regression",
    "E04": "estimators for samples: a forecast here is a curve",
    "E07": "exact limits of a share: those told are by the score",
    "T3-15": "the free length of a spring",
    "T4-01": "a limit of 10 % of the thickness for thin low-carbon steel: no limit is made up where none was typed",
    "T6-05": "the diameter of a pilot by the class of work: that it leads the punches is held",
    "T9-01": "edge, bridge, pitch and the number of blanks of a strip: its use is held",
}


def marks_in(source: str) -> tuple[dict[str, set[str]], set[str]]:
    """(number -> names of the tests that bear it and check something, numbers that stand elsewhere)."""
    tree = ast.parse(source)
    tests = [node for node in ast.walk(tree) if isinstance(node, ast.FunctionDef) and node.name.startswith("test_")]
    borne: dict[str, set[str]] = {}
    astray: set[str] = set()

    def found(number: str, line: int) -> None:
        for test in tests:
            first = min([test.lineno, *(d.lineno for d in test.decorator_list)])
            if first <= line <= test.end_lineno and checks_something(test):
                borne.setdefault(number, set()).add(test.name)
                return
        astray.add(number)

    for token in tokenize.generate_tokens(io.StringIO(source).readline):
        if token.type == tokenize.COMMENT:
            for number in MARK.findall(token.string):
                found(number, token.start[0])
    for node in ast.walk(tree):
        is_id = isinstance(node, ast.keyword) and node.arg == "id" and isinstance(node.value, ast.Constant)
        if is_id and MARK.fullmatch(f"[{node.value.value}]"):
            found(node.value.value, node.value.lineno)
    return borne, astray


def checks_something(test: ast.FunctionDef) -> bool:
    def is_check(node: ast.AST) -> bool:
        is_raises = isinstance(node, ast.Attribute) and node.attr == "raises"
        return isinstance(node, ast.Assert) or is_raises or (isinstance(node, ast.Name) and node.id == "agree")

    return any(is_check(node) for node in ast.walk(test))


@pytest.fixture(scope="module")
def borne():
    numbers: dict[str, set[str]] = {}
    for path in sorted(TESTS.rglob("test_*.py")):
        if path.name == Path(__file__).name:
            continue
        source = path.read_text(encoding="utf-8")
        here, astray = marks_in(source)
        assert not astray, f"{path.name}: {sorted(astray)} stand outside a test, or in one that checks nothing"
        for number, tests in here.items():
            numbers.setdefault(number, set()).update(f"{path.name}::{test}" for test in tests)
    for number, where in BY_NAME.items():
        file, name = where.split("::")
        tree = ast.parse((TESTS / file).read_text(encoding="utf-8"))
        (test,) = [node for node in tree.body if isinstance(node, ast.FunctionDef) and node.name == name]
        assert checks_something(test), where
        numbers.setdefault(number, set()).add(where)
    return numbers


def test_the_list_is_whole():
    assert (len(WITH_A_FIGURE), len(WITHOUT)) == (131, 31)
    assert not WITH_A_FIGURE & WITHOUT


def test_every_published_figure_is_held_by_a_test_or_waits_for_something_named(borne):
    assert not set(borne) - WITH_A_FIGURE - WITHOUT, "numbers that the list does not hold"
    held = set(borne) & WITH_A_FIGURE
    assert not WITH_A_FIGURE - held - set(WAITING), "neither held nor waiting"
    assert not held & set(WAITING), "held by now: take them off the list of what waits"
    assert set(PARTLY) <= held, "held in part, but by no test"
    assert set(WAITING) <= WITH_A_FIGURE
    assert all(len(reason) > 10 for reason in [*WAITING.values(), *PARTLY.values()])


def test_a_number_counts_only_where_something_is_checked():
    source = """
# [T1-01] outside
def test_nothing():
    # [T1-02] no check
    print(1)

@pytest.mark.parametrize("case", [pytest.param(1, id="W01"), 2])  # [T1-03]
def test_something(case):
    assert case  # [T10-04]

def helper():
    assert True  # [M01]
"""
    borne, astray = marks_in(source)
    assert borne == {"W01": {"test_something"}, "T1-03": {"test_something"}, "T10-04": {"test_something"}}
    assert astray == {"T1-01", "T1-02", "M01"}
