"""An order as a spreadsheet. Text is text and figures are figures: no cell holds a formula."""

from __future__ import annotations

import datetime as dt
import io
from decimal import Decimal

import xlsxwriter
from django.utils import timezone

from maintenance.workbooks.out import OPTIONS

from .paper import OrderOnPaper, day_words

HEAD = ("Line", "Spare", "What it is", "Pieces", "Price of one", "Sum", "Currency", "Promised")
WIDTHS = (6, 24, 52, 9, 13, 13, 10, 14)


def rows(told: OrderOnPaper) -> list[tuple[object, ...]]:
    """A row for each line, under `HEAD`."""
    return [
        (one.number, one.code, one.what, one.pieces, one.price, one.sum, told.currency, one.promised_on)
        for one in told.lines
    ]


def xlsx(told: OrderOnPaper) -> bytes:
    out = io.BytesIO()
    with xlsxwriter.Workbook(out, OPTIONS | {"in_memory": True, "constant_memory": False}) as book:
        at = timezone.localtime(told.made_at).replace(tzinfo=None)
        book.set_properties({"title": f"Order {told.number}", "created": at})
        bold, day = book.add_format({"bold": True, "bottom": 2}), book.add_format({"num_format": "yyyy-mm-dd"})
        page = book.add_worksheet("Order")
        facts = [
            ("Order", told.number), ("What it is", told.mark), ("From", f"{told.shop}, {told.plant}"),
            ("To", told.supplier), ("Date", day_words(told.day)), ("Wanted by", day_words(told.wanted_on)),
            ("Your number", told.their_number), ("Note", told.note),
        ]  # fmt: skip
        row = 0
        for name, value in facts:
            if value:
                page.write_string(row, 0, name)
                page.write_string(row, 1, value)
                row += 1
        row += 1
        for column, (name, wide) in enumerate(zip(HEAD, WIDTHS, strict=True)):
            page.set_column(column, column, wide)
            page.write_string(row, column, name, bold)
        for cells in rows(told):
            row += 1
            for column, value in enumerate(cells):
                if isinstance(value, dt.date):
                    page.write_datetime(row, column, value, day)
                elif isinstance(value, (int, Decimal)):
                    page.write_number(row, column, float(value))
                elif value:
                    page.write_string(row, column, str(value))
        if told.total is not None:
            page.write_string(row + 1, 4, "Together")
            page.write_number(row + 1, 5, float(told.total))
            page.write_string(row + 1, 6, told.currency)
    return out.getvalue()
