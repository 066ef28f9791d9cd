"""Spreadsheets out: a template for each list, and a whole shop as one workbook that can be brought back.

Text is never taken for a formula (XlsxWriter, strings_to_formulas off), rows go to the file as they come.
"""

from __future__ import annotations

import csv
import datetime as dt
import io
import re
import tempfile
from collections.abc import Iterable, Iterator, Sequence, Set
from contextlib import contextmanager
from decimal import Decimal
from pathlib import Path

import xlsxwriter

from diestore.register.models import Plant
from maintenance.history.bill_columns import BILLS
from maintenance.history.columns import TABLES
from maintenance.history.described import Sort
from maintenance.history.owner_columns import SIGNED_REPORTS
from maintenance.history.photo_columns import PHOTOS
from maintenance.history.write import write

from .pure.sheets import COMPONENTS, DIES, PRICES, RUNS, SHARPENINGS, SORTS, STOCK

ROWS_A_SHEET = 190_000  # so many are read back
OPTIONS = {
    "strings_to_formulas": False,
    "strings_to_urls": False,
    "strings_to_numbers": False,
    "constant_memory": True,
    "nan_inf_to_errors": True,
}

# Headings, an example, and what each column is.
_TEMPLATES: dict[str, tuple[tuple[str, tuple[object, ...], str], ...]] = {
    DIES: (
        ("Die", ("K-101", "K-102"), "The number that stands on the die. It must be there."),
        ("Description", ("hinge leaf", "contact spring"), "What it makes."),
        ("Strip material", ("low-carbon steel", "1.4301"), "Name or number of the strip's material."),
        ("Tensile strength of the strip [MPa]", (340, 620), "From the certificate. Empty: by the handbook."),
        ("Strip thickness [mm]", (1.2, 0.3), "Or in inches: write [in] in the heading."),
        ("Strokes per minute", (80, 240), "As it usually runs."),
        ("Parts per hit", (1, 4), "Parts that fall at one hit."),
        ("Press", ("P1", "P3"), "The press that it usually runs in. May be empty."),
        ("Shut height [mm]", (285.5, 240), "Of the closed die. This and what follows may be empty."),
        ("Passline [mm]", (120, 105), "Strip above the bed of the press."),
        ("Feed pitch [mm]", (58, 12.7), "Feed at a stroke."),
        ("Strip width [mm]", (80, 22), "Of the strip."),
        ("Die weight [kg]", (158, 46), "The whole die."),
        ("Weight of upper half [kg]", (66, 19), "What hangs on the slide."),
        ("Oil", ("stamping oil", ""), "On the strip."),
    ),
    COMPONENTS: (
        ("Die", ("K-101", "K-101", "K-101"), "The die's number."),
        ("Station", ("1", "1", "3"), "The station on the strip. Empty for guides and plates."),
        ("Position", ("1-A", "1-B", "3-A"), "The position in the die, not used twice in it."),
        ("Kind", ("pierce punch", "die button", "trim punch"), "What it is: punch, die button, pilot, spring ..."),
        ("Tool steel", ("D2", "D2", "M2"), "Its grade."),
        ("Hardness [HRC]", (60, 61, 62), "Rockwell C."),
        ("Gap per side [%]", (6, 6, 7), "In % of the strip's thickness, or in mm: write [mm]."),
        ("Cut length [mm]", (18.8, 18.8, 64), "How long the contour is that it cuts."),
        ("Length [mm]", (71, 30, 71), "Of the piece when new."),
        ("Grind allowance [mm]", (4, 4, 5), "What may be ground away in all."),
        ("Height group", ("1", "", "2"), "Punches that enter together. May be empty."),
        ("Seat [mm]", (4, "", 4), "How far its seat lies from the plate towards the strip. May be empty."),
        ("Spare", ("PP-6.0", "", "TP-101"), "Number of the spare that fits. May be empty."),
    ),
    SHARPENINGS: (
        ("Die", ("K-101", "K-101"), "The die's number."),
        ("Position", ("", "1-A"), "The place that was ground. Empty: the whole die."),
        ("Date sharpened", ("2025-04-03", "2025-05-15"), "The day."),
        ("Hits since the sharpening before", (41200, 38000), "Or the total on the counter: head it Counter."),
        ("Ground off [mm]", (0.15, 0.2), "May be empty."),
        ("Reason", ("dull", "chipped"), "dull, chipped, planned, with set, other."),
        ("Done by", ("Ina T.", "Ina T."), "May be empty."),
        ("Note", ("", ""), "Anything else."),
    ),
    RUNS: (
        ("Die", ("K-101", "K-101"), "The die's number."),
        ("Date", ("2025-04-03", "2025-04-04"), "The day. Start and end may stand in columns of their own."),
        ("Hits", (14200, 15800), "Hits of that row. A total on the counter: head it Counter."),
        ("Press", ("P1", "P1"), "May be empty."),
        ("Good parts", ("", ""), "May be empty."),
        ("Note", ("", ""), "Anything else."),
    ),
    STOCK: (
        ("Spare", ("PP-6.0", "TP-101"), "Its number. It must be there."),
        ("Description", ("pierce punch 6.0", "trim punch K-101"), "What it is."),
        ("On the shelf", (4, 1), "Pieces."),
        ("On order", (0, 2), "Pieces on order."),
        ("Lead time [days]", (21, 42), "From order to delivery. Or in weeks: write [weeks]."),
        ("Price of one", (18.5, 240), "In the shop's currency."),
        ("Pack size", (1, 1), "Sold in packs of so many."),
        ("Place on the shelf", ("C-14", "C-2"), "Rack and bin."),
        ("Spring rate [N/mm]", ("", ""), "Of a coil spring, as its maker prints it."),
        ("Spring standard and colour", ("", ""), "Both, as ISO 10243 red: colours differ by standard."),
        ("Supplier", ("Punchwell", "Punchwell"), "Who sells it."),
    ),
    PRICES: (
        ("Spare", ("PP-6.0", "TP-101"), "Its number. It must be there."),
        ("Price of one", (18.5, 240), "In the shop's currency."),
        ("Lead time [days]", (21, 42), "From order to delivery."),
        ("Pack size", (1, 1), "Sold in packs of so many."),
        ("Supplier", ("Punchwell", "Punchwell"), "Who sells it."),
    ),
}


def template(sort: str) -> bytes:
    """A list of that sort with an example, and a sheet that says what each column is. Raises KeyError."""
    columns = _TEMPLATES[sort]
    name = SORTS[sort]
    out = io.BytesIO()
    with xlsxwriter.Workbook(out, OPTIONS | {"in_memory": True, "constant_memory": False}) as book:
        bold = book.add_format({"bold": True, "bottom": 2, "text_wrap": True, "valign": "bottom"})
        wrap = book.add_format({"text_wrap": True, "valign": "top"})
        head = book.add_format({"bold": True})
        sheet = book.add_worksheet(name.capitalize())
        sheet.freeze_panes(1, 0)
        for c, (heading, examples, _) in enumerate(columns):
            sheet.write_string(0, c, heading, bold)
            sheet.set_column(c, c, max(12, min(24, len(heading) * 0.8)))
            for r, value in enumerate(examples, start=1):
                if value != "":
                    sheet.write(r, c, value)
        about = book.add_worksheet("How to fill it in")
        about.set_column(0, 0, 34, wrap)
        about.set_column(1, 1, 80, wrap)
        lines = [
            (f"The {name}", "The rows below the heading are an example: write yours in their place, one row each."),
            ("Columns", "Their order does not matter, columns may be missing, and more are left aside."),
            ("Units", "In the heading, as [mm] or [in], or behind a figure."),
            ("Dates", "As 2025-04-03, or as your spreadsheet writes them."),
            (
                "Before anything is saved",
                "the service shows row by row what it understood, and asks where it is unsure.",
            ),
            ("", ""),
        ]
        for r, (left, right) in enumerate([*lines, *((h, t) for h, _, t in columns)]):
            about.write_string(r, 0, left, head)
            about.write_string(r, 1, right, wrap)
    return out.getvalue()


def list_of_rows(
    title: str,
    head: Sequence[str],
    rows: Iterable[Sequence[object]],
    *,
    about: str = "",
    to_fill: Set[str] = frozenset(),
) -> bytes:
    """A list as a spreadsheet that can be brought back: a title, what to do with it, the heading, the rows. to_fill:
    headings of columns that are typed in."""
    out = io.BytesIO()
    with xlsxwriter.Workbook(out, OPTIONS | {"in_memory": True, "constant_memory": False}) as book:
        bold = book.add_format({"bold": True, "bottom": 2, "text_wrap": True, "valign": "bottom"})
        plain = book.add_format({"bold": True})
        day, box = book.add_format({"num_format": "yyyy-mm-dd"}), book.add_format({"border": 1})
        sheet = book.add_worksheet("List")
        sheet.write_string(0, 0, title, plain)
        sheet.write_string(1, 0, about)
        sheet.freeze_panes(4, 0)
        widths = [len(name) * 0.9 for name in head]
        for c, name in enumerate(head):
            sheet.write_string(3, c, name, bold)
        for r, row in enumerate(rows, start=4):
            for c, value in enumerate(row):
                if isinstance(value, dt.date):
                    sheet.write_datetime(r, c, dt.datetime(value.year, value.month, value.day), day)
                elif isinstance(value, (int, float, Decimal)):
                    sheet.write_number(r, c, float(value))
                elif value not in (None, ""):
                    sheet.write_string(r, c, str(value))
                elif head[c] in to_fill:
                    sheet.write_blank(r, c, None, box)
                widths[c] = max(widths[c], len(str(value or "")) * 1.1)
        for c, wide in enumerate(widths):
            sheet.set_column(c, c, max(9, min(40, wide)))
    return out.getvalue()


@contextmanager
def whole_shop(plant: Plant) -> Iterator[Path]:
    """All records of a plant as one workbook, a sheet for each table of the history folder; gone when the block ends.
    Photos, signed reports and papers of bills stay behind: a workbook holds no files, and what names them would lead
    nowhere.

    Numbers stand as numbers where they come back the same, all else as text: times with their offset.
    """
    with tempfile.TemporaryDirectory(prefix="shop-") as folder:
        write(Path(folder) / "tables", plant)
        path = Path(folder) / "shop.xlsx"
        with xlsxwriter.Workbook(str(path), OPTIONS | {"tmpdir": folder}) as book:
            bold = book.add_format({"bold": True, "bottom": 2})
            for table in TABLES:
                file = Path(folder) / "tables" / table.file
                if file.exists() and table not in (PHOTOS, SIGNED_REPORTS):
                    _put(book, table, file, bold, left_empty={"paper"} if table is BILLS else frozenset())
        yield path


def _put(book: xlsxwriter.Workbook, table, file: Path, bold, left_empty: Set[str]) -> None:
    name = table.file.removesuffix(".csv")
    figures = {c.name for c in table.columns if c.sort in (Sort.WHOLE, Sort.NUMBER, Sort.MONEY)}
    with file.open(encoding="utf-8", newline="") as text:
        rows = csv.reader(text)
        columns = next(rows)
        sheet, at, part = None, 0, 0
        for row in rows:
            if sheet is None or at >= ROWS_A_SHEET:
                part += 1
                sheet, at = book.add_worksheet(name if part == 1 else f"{name} ({part})"), 0
                for c, column in enumerate(columns):
                    sheet.write_string(0, c, column, bold)
            at += 1
            for c, value in enumerate(row):
                if value == "" or columns[c] in left_empty:
                    continue
                if columns[c] in figures and _comes_back(value):
                    sheet.write_number(at, c, float(value))
                else:
                    sheet.write_string(at, c, value)


def _comes_back(text: str) -> bool:
    """Whether a figure read back from a cell that holds a double is written the same."""
    if len(text) > 15 or not re.fullmatch(r"-?(0|[1-9][0-9]*)(\.[0-9]*[1-9])?", text):
        return False
    return repr(float(text)).removesuffix(".0") == text
