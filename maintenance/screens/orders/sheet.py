"""An order as a spreadsheet. Text is text and figures are figures: no cell holds a formula."""

from __future__ import annotations

import io

import xlsxwriter
from django.utils import timezone

from maintenance.workbooks.out import OPTIONS

from .paper import OrderOnPaper, day_words

HEAD = ("Line", "Spare", "What it is", "Pieces", "Price of one", "Sum", "Currency", "Promised")
WIDTHS = (6, 24, 52, 9, 13, 13, 10, 14)


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
        for line in told.lines:
            row += 1
            page.write_number(row, 0, line.number)
            page.write_string(row, 1, line.code)
            page.write_string(row, 2, line.what)
            page.write_number(row, 3, line.pieces)
            if line.price is not None and line.sum is not None:
                page.write_number(row, 4, float(line.price))
                page.write_number(row, 5, float(line.sum))
            page.write_string(row, 6, told.currency)
            if line.promised_on is not None:
                page.write_datetime(row, 7, line.promised_on, day)
        if told.total is not None:
            page.write_string(row + 1, 4, "Together")
            page.write_number(row + 1, 5, float(told.total))
            page.write_string(row + 1, 6, told.currency)
    return out.getvalue()
