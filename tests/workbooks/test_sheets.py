"""Which list a sheet is and what its columns are, in six languages; what is asked and what is said."""

from __future__ import annotations

import datetime as dt

import pytest
from hypothesis import given
from hypothesis import strategies as st

from maintenance.workbooks import out
from maintenance.workbooks.pure.readings import read
from maintenance.workbooks.pure.sheets import SORTS, Grid, layout
from maintenance.workbooks.read import read_book

from .headings import COMPONENTS, KINDS, SHARPENINGS, STOCK

DAY = dt.datetime(2025, 4, 3)


def laid(rows, name="Sheet1"):
    return layout(Grid(name, rows))


def understood(rows, name="Sheet1", answers=None, **more):
    grid = Grid(name, rows, **more)
    return read(grid, layout(grid), answers=answers)


@pytest.mark.parametrize("language", SHARPENINGS)
def test_a_sharpening_book_in_six_languages(language):
    found = laid([SHARPENINGS[language], ["K-1", DAY, 41_200, 0.15, "x", "Ina"], ["K-1", DAY, 38_000, 0.2, "x", "Ina"]])
    assert found.sort == "sharpenings"
    assert [c.field for c in found.columns] == ["die", "date", "hits", "removed_mm", "reason", "person"]


@pytest.mark.parametrize("language", COMPONENTS)
def test_a_component_list_in_six_languages(language):
    kind = KINDS[language]
    found = laid(
        [COMPONENTS[language], ["K-1", 1, "1-A", kind, "D2", 60, 6, 71], ["K-1", 1, "1-B", kind, "D2", 60, 6, 71]]
    )
    assert found.sort == "components"
    fields = ["die", "station", "position", "kind", "tool_steel", "hardness_hrc", "gap", "length_mm"]
    assert [c.field for c in found.columns] == fields


@pytest.mark.parametrize("language", STOCK)
def test_a_stock_list_in_six_languages(language):
    found = laid([STOCK[language], ["PP-1", "a punch", 4, 0, 6, 12.5], ["PP-2", "a die", 1, 2, 6, 240]])
    assert found.sort == "stock"
    fields = ["spare", "description", "on_hand", "on_order", "lead_days", "unit_price"]
    assert [c.field for c in found.columns] == fields
    assert found.columns[4].unit == "weeks"


SET_UPS = {
    "English": ["Die", "Strip thickness", "Strokes/min", "Shut height", "Pass line", "Pitch", "Strip width",
                "Die weight"],
    "German": ["Werkzeug", "Banddicke", "Hübe/min", "Schließhöhe", "Bandlaufhöhe", "Vorschub", "Bandbreite", "Gewicht"],
    "French": ["Outil", "Épaisseur", "Coups/min", "Hauteur fermée", "Hauteur de passage", "Pas d'avance",
               "Largeur bande", "Poids"],
    "Italian": ["Stampo", "Spessore", "Colpi/min", "Altezza chiusa", "Linea di passaggio", "Passo di avanzamento",
                "Larghezza nastro", "Peso stampo"],
}  # fmt: skip


@pytest.mark.parametrize("language", SET_UPS)
def test_what_a_set_up_needs_is_known_by_the_words_of_shops(language):
    row = [1.2, 80, 285.5, 120, 58, 80, 158]
    found = laid([SET_UPS[language], ["K-1", *row], ["K-2", *row]])
    assert found.sort == "dies"
    assert [c.field for c in found.columns] == [
        "die", "thickness_mm", "strokes_per_minute", "shut_height_mm", "passline_mm", "feed_pitch_mm", "strip_width_mm",
        "weight_kg",
    ]  # fmt: skip


def test_seats_and_springs_with_their_units():
    """1 lbf/in = 0.175127 N/mm and 1 in = 25.4 mm, exact by definition; 400 lbf/in are 70.05 N/mm."""
    places = understood([["Die", "Position", "Kind", "Height group", "Seat [in]", "Tool steel"],
                         ["K-1", "1-A", "pierce punch", "1", 0.25, "D2"],
                         ["K-1", "1-B", "pierce punch", "1", 0, "D2"]])  # fmt: skip
    assert [row.values.get("seat_mm") for row in places.rows] == [pytest.approx(6.35), 0]
    spares = understood([["Spare", "Description", "On the shelf", "Spring rate [lbf/in]", "Spring colour"],
                         ["SP-1", "spring", 4, 400, "ISO 10243 red"],
                         ["SP-2", "spring", 4, "70 N/mm", ""]])  # fmt: skip
    assert [row.values["spring_rate_n_mm"] for row in spares.rows] == [pytest.approx(70.0507, abs=1e-4), 70]
    assert spares.rows[0].values["spring_class"] == "ISO 10243 red"
    wrong = understood([["Spare", "Description", "On the shelf", "Spring rate"], ["SP-1", "a", 4, "70 kg"]])
    assert any("not a unit for this" in problem.text for problem in wrong.problems)


@pytest.mark.parametrize("sort", SORTS)
def test_a_template_is_understood_without_a_question(sort):
    (grid, *_) = read_book("template.xlsx", out.template(sort)).grids
    found = layout(grid)
    assert found.sort == sort and all(c.field for c in found.columns), [(c.heading, c.field) for c in found.columns]
    rows = read(grid, found)
    assert not rows.questions and not rows.problems and len(rows.rows) >= 2


def test_the_heading_stands_under_title_rows_and_sums_are_no_data():
    rows = understood(
        [
            ["Schleifbuch 2025"],
            [],
            ["Stand: 1.7."],
            ["Wkz", "Datum", "Hübe"],
            ["K-1", "03.04.", "41.200"],
            [],
            ["K-1", "15.05.", "38.000"],
            ["Summe", None, "79.200"],
            ["gez. Ina"],
        ]
    )
    assert rows.layout.heading == 3 and [r.values["hits"] for r in rows.rows] == [41_200, 38_000]
    assert dict(rows.skipped) == {8: "a sum of other rows", 9: "words only"}
    assert rows.rows[0].values["date"].moment == dt.datetime(2025, 4, 3), "the year stands in the title"


def test_one_figure_decides_for_its_column():
    rows = understood(
        [["Tool", "Date", "Strokes", "Ground off [mm]"], ["K-1", DAY, "26.000", "0,15"], ["K-1", DAY, "1.234", "1.234"]]
    )
    assert [r.values["hits"] for r in rows.rows] == [26_000, 1_234]
    assert rows.rows[1].values["removed_mm"] == 1234, "0,15 in the column says that a comma parts the decimals"


def test_where_nothing_decides_it_is_asked():
    rows = understood(
        [["Tool", "Sharpened", "Ground off"], ["K-1", "03/04/2025", "1.234"], ["K-1", "05/06/2025", "2.345"]]
    )
    asked = {a.key: a for a in rows.questions}
    assert asked["order:1"].is_open and asked["sign:2"].is_open
    assert asked["sign:2"].cells == ("C2: 1.234", "C3: 2.345")
    answered = understood(
        [["Tool", "Sharpened", "Ground off"], ["K-1", "03/04/2025", "1.234"], ["K-1", "05/06/2025", "2.345"]],
        answers={"order:1": "month first", "sign:2": "."},
    )
    assert answered.rows[0].values["date"].moment == dt.datetime(2025, 3, 4)
    assert answered.rows[0].values["removed_mm"] == 1.234 and not any(a.is_open for a in answered.assumed)


def test_a_day_above_twelve_decides_the_order():
    rows = understood([["Tool", "Sharpened"], ["K-1", "03/04/2025"], ["K-1", "05/16/2025"]])
    assert rows.rows[0].values["date"].moment == dt.datetime(2025, 3, 4) and not rows.questions


def test_hidden_rows_are_asked_about_and_left_out():
    table = [["Spare", "On the shelf"], ["PP-1", 4], ["PP-2", 5], ["PP-3", 6]]
    rows = understood(table, hidden_rows=frozenset({3}))
    assert [r.values["spare"] for r in rows.rows] == ["PP-1", "PP-3"] and [a.key for a in rows.questions] == ["hidden"]
    rows = understood(table, hidden_rows=frozenset({3}), answers={"hidden": "take"})
    assert len(rows.rows) == 3


def test_units_come_from_the_cell_then_the_heading_then_the_row_below():
    rows = understood(
        [
            ["Pos", "Component", "Length [in]", "Gap"],
            [None, None, None, "%"],
            ["1-A", "punch", "2.80", "6"],
            ["1-B", "punch", "71 mm", "0.06 mm"],
            ["1-C", "punch", '1/16"', "7 %"],
        ],
        name="K-9",
    )
    lengths = [r.values["length_mm"] for r in rows.rows]
    assert lengths == [pytest.approx(71.12), 71, pytest.approx(1.5875)]  # 1 in = 25.4 mm: NIST SP 811, appendix B
    gaps = [(r.values["gap"].value, r.values["gap"].unit) for r in rows.rows]
    assert gaps == [(6, "%"), (0.06, "mm"), (7, "%")]


def test_a_gap_of_nine_hundredths_of_a_per_cent_is_asked_about():
    rows = understood([["Pos", "Component", "Gap %"], ["1-A", "punch", 0.09], ["1-B", "punch", 0.08]], name="K-9")
    (asked,) = [a for a in rows.assumed if a.key == "unit:2"]
    assert asked.is_open and asked.chosen == "mm"


def test_a_code_that_became_a_date_is_told():
    rows = understood([["Pos", "Component"], [dt.datetime(2026, 2, 1), "punch"], ["1-3", "punch"]], name="K-9")
    assert "spreadsheets make one of a code such as 1-2" in rows.problems[0].text and rows.problems[0].cell == "A2"


def test_the_die_of_a_sheet_is_taken_from_its_title_or_asked():
    rows = [["Pos", "Component"], ["1", "punch"], ["2", "punch"]]
    assert understood([["Stückliste Werkzeug K-123"], *rows]).rows[0].values["die"] == "K-123"
    (asked,) = [a for a in understood(rows).questions if a.key == "die"]
    assert asked.is_open and asked.free
    assert understood(rows, answers={"die": "K-7"}).rows[0].values["die"] == "K-7"


def test_a_die_above_its_rows_holds_for_them():
    rows = understood([["Pos", "Bauteil"], ["Werkzeug K-1"], ["1", "Lochstempel"], ["Werkzeug K-2"], ["1", "Matrize"]])
    assert [(r.values["die"], r.values["position"]) for r in rows.rows] == [("K-1", "1"), ("K-2", "1")]


def test_hits_are_a_total_where_they_only_rise():
    table = [["Tool", "Sharpened", "Hits"], *(["K-1", DAY + dt.timedelta(30 * i), 40_000 * (i + 1)] for i in range(6))]
    (said,) = [a for a in understood(table).assumed if a.key == "hits"]
    assert said.chosen == "total" and said.asks


CELLS = st.one_of(
    st.none(),
    st.text(max_size=20),
    st.integers(-(10**12), 10**12),
    st.floats(),
    st.booleans(),
    st.datetimes(dt.datetime(1900, 1, 1), dt.datetime(2100, 1, 1)),
    st.sampled_from(["Die", "Datum", "Hits", "Spare", "Bestand", "1.234", "03/04/05", "60-62", "Summe", "1/0"]),
)


@given(rows=st.lists(st.lists(CELLS, max_size=8), max_size=12), hidden=st.frozensets(st.integers(1, 12), max_size=3))
def test_no_sheet_breaks_the_reading(rows, hidden):
    grid = Grid("any", rows, hidden_rows=hidden)
    for sort in (None, *SORTS):
        found = read(grid, layout(grid, sort=sort))
        assert all(1 <= p.row <= len(rows) for p in found.problems)
