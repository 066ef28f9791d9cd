"""Tables as CSV files, safe to open in a spreadsheet."""

from __future__ import annotations

import csv
from collections.abc import Iterable, Sequence

from django.http import HttpResponse

RISKY = ("=", "+", "-", "@", "\t", "\r", "\n", "＝", "＋", "－", "＠")


def safe_cell(value: object) -> object:
    """What a spreadsheet would take for a formula is made text by an apostrophe before it; numbers stay numbers."""
    if value is None:
        return ""
    if isinstance(value, str) and value.lstrip(" \u00a0\ufeff").startswith(RISKY):
        return "'" + value
    return value


def csv_response(name: str, head: Sequence[str], rows: Iterable[Sequence[object]]) -> HttpResponse:
    """A file to download. UTF-8 with a mark at its start, since spreadsheets otherwise garble names."""
    response = HttpResponse(content_type="text/csv; charset=utf-8")
    response["Content-Disposition"] = f'attachment; filename="{name}"'
    response.write("\ufeff")
    writer = csv.writer(response)
    writer.writerow([safe_cell(cell) for cell in head])
    for row in rows:
        writer.writerow([safe_cell(cell) for cell in row])
    return response
