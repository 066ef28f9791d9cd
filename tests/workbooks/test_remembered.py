"""What was chosen for a heading's unit, decimal sign and order of dates holds for the next file.

What a file shows itself holds before that.
"""

from __future__ import annotations

import pytest

from maintenance.models import KnownHeading
from maintenance.workbooks import take
from maintenance.workbooks.pure.readings import read
from maintenance.workbooks.pure.sheets import Grid, layout
from tests import factories as make

ORDER, UNIT, SIGN = ("order", "ground on"), ("unit", "taken off"), ("sign", "taken off")
ROWS = [["K-1", "03/04/2025", "0.015"], ["K-1", "05/06/2025", "0.012"], ["K-1", "07/08/2025", "0.018"]]


def book(rows) -> Grid:
    return Grid(name="Grinding", rows=[["Tool", "Ground on", "Taken off", "Hits"], *([*r, 40_000] for r in rows)])


def read_with(rows, before):
    grid = book(rows)
    columns = {0: "die", 1: "date", 2: "removed_mm", 3: "hits"}
    return read(grid, layout(grid, sort="sharpenings", columns=columns), before=before)


def said(sheet, key):
    return next(one for one in sheet.assumed if one.key == key)


def test_what_was_chosen_before_is_taken_said_and_can_be_chosen_otherwise():
    plain = read_with(ROWS, {})
    assert said(plain, "order:1").is_open and said(plain, "unit:2").is_open
    again = read_with(ROWS, {ORDER: "month first", UNIT: "in"})
    order, unit = said(again, "order:1"), said(again, "unit:2")
    assert not order.asks and order.chosen == "month first" and len(order.options) == 2
    assert order.text.endswith("as for the file before.") and "4 Mar" in order.text
    assert not unit.asks and unit.text.endswith(", as for the file before.")
    assert again.rows[0].values["date"].moment.month == 3
    assert again.rows[0].values["removed_mm"] == pytest.approx(0.015 * 25.4)


def test_an_answer_for_this_file_holds_before_what_was_chosen_for_another():
    grid = book(ROWS)
    laid = layout(grid, sort="sharpenings", columns={0: "die", 1: "date", 2: "removed_mm", 3: "hits"})
    sheet = read(grid, laid, answers={"unit:2": "mm"}, before={UNIT: "in", ORDER: "day first"})
    assert sheet.rows[0].values["removed_mm"] == 0.015 and said(sheet, "unit:2").sure == 1.0


@pytest.mark.parametrize(
    ("rows", "key", "before", "holds"),
    [
        ([["K-1", "25/04/2025", "0.15"], *ROWS], "order:1", {ORDER: "month first"}, "day first"),
        ([["K-1", "03/04/2025", "1.234,5"], ["K-1", "05/04/2025", "0,125"]], "sign:2", {SIGN: "."}, ","),
    ],
)
def test_what_the_file_shows_itself_is_not_overruled(rows, key, before, holds):
    assert said(read_with(rows, before), key).chosen == holds


def test_figures_that_speak_against_what_was_chosen_are_asked_about():
    thick = [[die, day, "0.15"] for die, day, _ in ROWS]
    assert not said(read_with(thick, {}), "unit:2").asks
    unit = said(read_with(thick, {UNIT: "in"}), "unit:2")
    assert unit.chosen == "in" and unit.asks and not unit.is_open


@pytest.mark.django_db
def test_answers_are_kept_by_plant_and_sort_and_heading():
    plant, other = make.plant(), make.plant("P2")
    columns = {"0": "die", "1": "date", "2": "removed_mm", "3": "hits"}
    chosen = {"sort": "sharpenings", "columns": columns, "answers": {"unit:2": "in", "order:1": "month first"}}
    choices = {"sheets": {"0": chosen}}
    take.remember(plant, take.look([book(ROWS)], choices, plant), choices)
    kept = dict(KnownHeading.objects.filter(plant=plant, sort__contains=":").values_list("sort", "field"))
    assert kept == {"sharpenings:unit": "in", "sharpenings:order": "month first"}
    (again,) = take.look([book(ROWS)], {"sheets": {"0": {"sort": "sharpenings"}}}, plant).reads
    assert [said(again, key).chosen for key in ("unit:2", "order:1")] == ["in", "month first"]
    assert not any(one.is_open for one in again.assumed if one.key in ("unit:2", "order:1"))
    (elsewhere,) = take.look([book(ROWS)], choices | {"sheets": {"0": chosen | {"answers": {}}}}, other).reads
    assert said(elsewhere, "unit:2").is_open
    choices["sheets"]["0"]["answers"]["unit:2"] = "mm"
    take.remember(plant, take.look([book(ROWS)], choices, plant), choices)
    assert KnownHeading.objects.get(plant=plant, sort="sharpenings:unit").field == "mm"
