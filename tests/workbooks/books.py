"""Spreadsheets made for tests, by libraries that are not the code under test."""

from __future__ import annotations

import csv
import io

import openpyxl


def xlsx(sheets: dict[str, list[list[object]]], *, hidden=(), merged=(), formats=None) -> bytes:
    """sheets: name -> rows. hidden: rows of the first sheet. merged: ranges of it. formats: cell -> format."""
    book = openpyxl.Workbook()
    book.remove(book.active)
    for name, rows in sheets.items():
        sheet = book.create_sheet(name)
        for r, row in enumerate(rows, start=1):
            for c, value in enumerate(row, start=1):
                if value is not None:
                    sheet.cell(r, c, value)
    first = book.worksheets[0]
    for number in hidden:
        first.row_dimensions[number].hidden = True
    for place in merged:
        first.merge_cells(place)
    for cell, form in (formats or {}).items():
        first[cell].number_format = form
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def comma_separated(rows: list[list[object]], *, sep: str = ",", encoding: str = "utf-8") -> bytes:
    out = io.StringIO()
    writer = csv.writer(out, delimiter=sep)
    writer.writerows([["" if v is None else v for v in row] for row in rows])
    return out.getvalue().encode(encoding)


GERMAN_BOOK = [
    ["Schleifbuch Stanzerei 2025"],
    [],
    ["Wkz-Nr.", "Datum", "Hübe seit Schliff", "Abtrag [mm]", "Grund", "Bearbeiter"],
    ["K-1", "03.04.25", "41.200", "0,15", "stumpf", "Ina T."],
    ["K-1", "15.05.25", "38.000", "0,2", "stumpf", "Ina T."],
    ["K-1", "30.06.25", "44.500", "0,15", "Grat", "Jo K."],
    ["K-2", "10.04.25", "61.000", "0,1", "Ausbruch", "Ina T."],
    ["K-2", "28.06.25", "~58k", "0,1", None, "Jo K."],
    ["Summe", None, "184.700", None, None, None],
]
COMPONENTS = [
    ["Tool K-9 component list"],
    ["Station", "Pos", "Component", "Steel", "Hardness", "Gap", "Length", "Cut length"],
    ["1", "1-A", "pierce punch", "D2", "HRC 60", "6 %", "2.80 in", "18.8"],
    ["1", "1-B", "die button", "D2", "60-62", "6 %", "30", "18.8"],
    ["2", "2-A", "Führungssäule", None, None, None, "120", None],
]
ANSWERS = {
    "default:material": "low-carbon steel", "default:thickness_mm": "1.2", "default:strokes_per_minute": "60",
    "default:parts_per_hit": "1",
}  # fmt: skip
