"""Files within limits: what is too large, packed too densely, locked or of another form is refused with a sentence."""

from __future__ import annotations

import io
import tracemalloc
import zipfile

import openpyxl
import pytest

from maintenance.workbooks import read
from maintenance.workbooks.read import BookRefused, read_book

from . import books

TABLE = [["Spare", "Bestand"], ["PP-1", 4], ["Größe-2", 5]]


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "cp1252"])
@pytest.mark.parametrize("sep", [",", ";", "\t"])
def test_csv_in_any_encoding_and_with_any_separator(encoding, sep):
    (grid,) = read_book("a.csv", books.comma_separated(TABLE, sep=sep, encoding=encoding)).grids
    assert grid.rows == [["Spare", "Bestand"], ["PP-1", "4"], ["Größe-2", "5"]]


def test_decimal_commas_do_not_part_columns():
    (grid,) = read_book("a.csv", b"Spare;Price\nPP-1;12,50\nPP-2;3,75\n").grids
    assert grid.rows[1] == ["PP-1", "12,50"]


def test_hidden_rows_merged_cells_percents_and_formulas():
    rows = [
        ["Die", "Pos", "Gap", "Length"],
        ["K-1", "1-A", 0.06, "=1+1"],
        [None, "1-B", 0.07, 30],
        ["K-2", "1-A", 0.06, 30],
    ]
    data = books.xlsx({"Parts": rows}, hidden=(4,), merged=("A2:A3",), formats={"C2": "0%", "C3": "0.0%"})
    (grid,) = read_book("a.xlsx", data).grids
    assert grid.hidden_rows == {4} and grid.rows[2][0] == "K-1" and grid.filled == 1
    assert (grid.rows[1][2], grid.rows[2][2], grid.rows[3][2]) == ("6 %", "7 %", 0.06)
    assert grid.unkept == {(2, 3)}, "a formula without a kept value is told, and never run"


def bomb(size: int) -> bytes:
    made = io.BytesIO()
    with zipfile.ZipFile(made, "w", zipfile.ZIP_DEFLATED) as packed:
        packed.writestr("[Content_Types].xml", "<Types/>")
        packed.writestr("xl/worksheets/sheet1.xml", b"0" * size)
    return made.getvalue()


def test_a_bomb_is_not_unpacked():
    data = bomb(300_000_000)
    tracemalloc.start()
    with pytest.raises(BookRefused, match="more densely"):
        read_book("a.xlsx", data)
    assert tracemalloc.get_traced_memory()[1] < 5_000_000
    tracemalloc.stop()


def test_entities_that_grow_are_not_expanded():
    (rows,) = [[["Spare", "Bestand"], ["PP-1", 4]]]
    data = books.xlsx({"Stock": rows})
    made = io.BytesIO()
    grow = b'<?xml version="1.0"?><!DOCTYPE x [<!ENTITY a "aaaaaaaaaa"><!ENTITY b "&a;&a;&a;&a;">]>'
    with zipfile.ZipFile(io.BytesIO(data)) as old, zipfile.ZipFile(made, "w") as new:
        for name in old.namelist():
            text = old.read(name)
            if name == "xl/worksheets/sheet1.xml":
                text = grow + text.partition(b"?>")[2] if text.startswith(b"<?xml") else grow + text
            new.writestr(name, text)
    with pytest.raises(BookRefused, match="cannot be read"):
        read_book("a.xlsx", made.getvalue())


def test_openpyxl_reads_with_defusedxml():
    assert openpyxl.DEFUSEDXML is True


def test_limits_are_told(monkeypatch):
    with pytest.raises(BookRefused, match="8 MB is the most"):
        read_book("a.csv", b"x" * 8_000_001)
    monkeypatch.setattr(read, "CELLS_AT_MOST", 50)
    with pytest.raises(BookRefused, match="more than 50 filled cells"):
        read_book("a.xlsx", books.xlsx({"Stock": [["a", "b"]] * 30}))
    monkeypatch.setattr(read, "ENTRIES_AT_MOST", 3)
    with pytest.raises(BookRefused, match="3 is the most for a spreadsheet"):
        read_book("a.xlsx", books.xlsx({"Stock": TABLE}))
    monkeypatch.setattr(read, "ROWS_AT_MOST", 10)
    book = read_book("a.csv", b"a,b\n" * 20)
    assert len(book.grids[0].rows) == 10 and "only the first 10 rows" in book.notes[0].casefold()


def packed(**files: bytes) -> bytes:
    made = io.BytesIO()
    with zipfile.ZipFile(made, "w") as out:
        for name, data in files.items():
            out.writestr(name, data)
    return made.getvalue()


@pytest.mark.parametrize(
    ("data", "sentence"),
    [
        (b"", "empty"),
        (b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + bytes(600), "old .xls file, or one with a password"),
        (packed(mimetype=b"application/vnd.oasis.opendocument.spreadsheet"), "This is an .ods file"),
        (packed(**{"xl/workbook.bin": b"x"}), "This is an .xlsb file"),
        (packed(**{"word/document.xml": b"x"}), "This is no spreadsheet"),
        (b"PK\x03\x04" + bytes(40), "damaged"),
        (b"<html><table></table></html>", "web page or XML"),
    ],
)
def test_other_files_are_refused_with_what_to_do(data, sentence):
    with pytest.raises(BookRefused, match=sentence):
        read_book("a", data)


def test_how_long_a_cell_may_be_elsewhere_stays_as_it_was():
    import csv

    before = csv.field_size_limit()
    read_book("list.csv", b"Die,Date\nE-01,2026-01-01\n")
    assert csv.field_size_limit() == before
