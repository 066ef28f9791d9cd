"""Sheets in the exact form of the history folder: a sheet's name is its file's, its heading the names of the columns.

A workbook that the service wrote is in it, by the names of today or of an earlier version. Such a sheet is taken as it
stands, and nothing is assumed.
"""

from __future__ import annotations

import datetime as dt
import re

from maintenance.history import former
from maintenance.history.cells import written
from maintenance.history.columns import TABLES
from maintenance.history.described import Table

from .pure.sheets import Grid

BY_FILE = {table.file: table for table in TABLES}
_PART = re.compile(r" \([0-9]{1,4}\)$")


def table_of(grid: Grid) -> Table | None:
    """The table that a sheet is; None for one of the shop's own."""
    file = _PART.sub("", grid.name).strip().casefold() + ".csv"
    table = BY_FILE.get(former.FILES.get(file, file))
    if table is None or not grid.rows:
        return None
    names = [name for name in _names(grid, table) if name is not None]
    known = all(isinstance(name, str) and name in table.by_name for name in names)
    if not known or len(set(names)) != len(names) or {c.name for c in table.columns if c.needed} - set(names):
        return None
    return table


def rows_of(grid: Grid, table: Table) -> list[tuple[int, dict[str, str]]]:
    """(row of the sheet, cells as a history folder has them)."""
    names = _names(grid, table)
    made = []
    for number, cells in enumerate(grid.rows[1:], start=2):
        row = {
            str(name): _as_cell(value)
            for name, value in zip(names, cells, strict=False)
            if name is not None and value is not None
        }
        if any(row.values()):
            made.append((number, row))
    return made


def _names(grid: Grid, table: Table) -> list[object]:
    """The headings by the names of today."""
    now = former.columns_of(table)
    return [now.get(name, name) if isinstance(name, str) else name for name in grid.rows[0]]


def _as_cell(value: object) -> str:
    if isinstance(value, str):
        return value
    if isinstance(value, dt.datetime):
        return value.date().isoformat() if value.time() == dt.time() else value.isoformat()
    return written(value)
