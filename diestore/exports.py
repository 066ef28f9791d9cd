"""Tables as CSV files, safe to open in a spreadsheet."""

from __future__ import annotations

import csv
import re
from collections.abc import Iterable, Sequence

from django.http import HttpResponse
from django.utils.http import content_disposition_header

RISKY = ("=", "+", "-", "@", "\t", "\r", "\n", "＝", "＋", "－", "＠")
# A spreadsheet that parts by semicolons or tabs cuts a cell where these stand, and may find a formula behind the cut.
_BEHIND_A_CUT = re.compile(r"([;\t\r\n][ \u00a0\ufeff]*)(?=[=+\-@＝＋－＠])")
_GUARDED_BEHIND = re.compile(_BEHIND_A_CUT.pattern.replace(")(?=", ")'(?="))


def safe_cell(value: object) -> object:
    """What a spreadsheet would take for a formula is made text by an apostrophe before it; numbers stay numbers."""
    if value is None:
        return ""
    if not isinstance(value, str):
        return value
    value = _BEHIND_A_CUT.sub(r"\1'", value)
    if value.lstrip(" \u00a0\ufeff").startswith(RISKY):
        return "'" + value
    return value


def as_typed(text: str) -> str:
    """What somebody wrote, of a cell that `safe_cell` made of it; an apostrophe of his own before a sign is lost."""
    if text.startswith("'") and text[1:].lstrip(" \u00a0\ufeff").startswith(RISKY):
        text = text[1:]
    return _GUARDED_BEHIND.sub(r"\1", text)


def csv_response(name: str, head: Sequence[str], rows: Iterable[Sequence[object]]) -> HttpResponse:
    """A file to download. UTF-8 with a mark at its start, since spreadsheets otherwise garble names."""
    response = HttpResponse(content_type="text/csv; charset=utf-8")
    response["Content-Disposition"] = content_disposition_header(True, name)
    response.write("\ufeff")
    writer = csv.writer(response)
    writer.writerow([safe_cell(cell) for cell in head])
    for row in rows:
        writer.writerow([safe_cell(cell) for cell in row])
    return response
