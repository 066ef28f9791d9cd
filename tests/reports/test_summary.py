"""The summary in the terminal says what the pages say, and has a sentence where there is nothing to list."""

from decimal import Decimal

import pytest

from maintenance.forecasts import due, store
from reports import summary
from reports.cost import sheets
from tests import factories as make

pytestmark = pytest.mark.django_db


def test_an_empty_shop_has_a_sentence_for_each_list():
    plant = make.plant()
    make.run(make.die(), 1)
    text = "\n".join(summary.lines(plant))
    assert "No die is due" in text
    assert "No spare is short." in text


def test_a_die_due_stands_there_with_what_the_page_says():
    die = make.die("H-901")
    position = make.position(die, "3-A", length_mm=40.0)
    for day in range(1, 9):
        make.run(die, day, hits=40_000, hours=9)
        if day % 2 == 0:
            make.sharpen(die, day + 0.5, position, why="dull")
    make.run(die, 20, hits=40_000, hours=9)
    make.order(die, "26-0007", parts=400_000)
    store.fit_and_forecast(die.plant)
    row = due.rows(die.plant)[0]
    line = next(line for line in summary.due_lines(die.plant) if "H-901" in line)
    assert row.chance < 0.5
    for word in (f"{round(100 * row.chance)} %", "26-0007", "400,000", "3-A", row.standing.word):
        assert word in line


def test_a_die_without_a_forecast_is_listed_as_not_known():
    die = make.die("H-902")
    make.run(die, 1)
    make.order(die, "26-0008")
    assert any("H-902" in line and "not known" in line for line in summary.due_lines(die.plant))


def test_cost_is_the_figure_of_the_cost_page():
    die = make.die("H-903", build_price=Decimal(20_000), expected_parts=1_000_000)
    make.position(die, "1-A")
    make.run(die, 1, hits=50_000, hours=9)
    sheet = sheets.cost_per_thousand(die)
    assert sheet.per_thousand is not None
    assert any("H-903" in line and f"{sheet.per_thousand:,.2f}" in line for line in summary.cost_lines(die.plant))
