"""The summary in the terminal says what the pages say, and has a sentence where there is nothing to list."""

from decimal import Decimal

import pytest
from django.core.management import call_command

from maintenance.forecasts import due, store
from maintenance.models import DieForecast
from maintenance.wording import numbers, odds
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
    for word in (odds.percent(row.chance), "26-0007", "400,000", "3-A", row.standing.word):
        assert word in line


def two_edges(code: str = "H-904"):
    """A die whose finer edge is likely to go first and was ground later than the other."""
    die = make.die(code)
    fine = make.position(die, "1-A", gap_mm=0.03)
    make.position(die, "2-A", gap_mm=0.12)
    for day in range(1, 9):
        make.run(die, day, hits=20_000, hours=9)
        if day % 2 == 0:
            make.sharpen(die, day + 0.5, fine, why="dull", found="dull")
    make.run(die, 20, hits=11_250, hours=9)
    make.order(die, f"26-{code}", parts=14_501)
    store.fit_and_forecast(die.plant)
    return die


def test_what_is_known_is_printed_as_it_is_and_what_is_ahead_as_on_the_page():
    die = two_edges()
    make.order(make.die("H-905"), "26-0010", parts=100)  # nothing is known of it
    row = next(r for r in due.rows(die.plant) if r.code == "H-904")
    assert (row.limiting, row.since_sharpened, row.hits_left) == ("1-A", 11_250, 14_501)
    at_risk = {"0.1": 1, "0.5": 9_876, "0.9": 20_000}  # whatever the engine says
    DieForecast.objects.filter(die=die, is_newest=True).update(remaining=at_risk)
    lines = summary.due_lines(die.plant)
    line = next(line for line in lines if "H-904" in line)
    assert "14,501" in line and line.rstrip().endswith("11,250") and numbers.hits(row.half) in line
    assert lines[-1].startswith("  The other 0 with")
    DieForecast.objects.filter(die=die, is_newest=True).update(remaining={"0.1": 9e5, "0.5": 1e6, "0.9": 2e6})
    assert summary.due_lines(die.plant)[-1].startswith("  The other 1 with")


def test_the_command_prints_the_hits_of_the_edge_it_names_and_rounds_what_is_ahead(capsys):
    die = two_edges()
    row = next(r for r in due.rows(die.plant) if r.code == "H-904")
    call_command("forecast", verbosity=0)
    line = next(line for line in capsys.readouterr().out.splitlines() if line.startswith("H-904"))
    assert line.split() == [
        "H-904", f"{row.since_sharpened:,}", numbers.hits(row.nine_in_ten), numbers.hits(row.half), row.limiting,
    ]  # fmt: skip
    assert row.since_sharpened == 11_250, "the other edge has 171,250"


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
