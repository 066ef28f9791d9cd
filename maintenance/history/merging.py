"""Laying rows of a file over what stands: new things are made, known ones changed to what the cells say."""

from __future__ import annotations

from collections.abc import Callable, Iterable

from diestore.handbook.kinds import UnknownKind
from maintenance.log.rules import EntryRefused

from .columns import Table
from .files import Folder, Row
from .problems import BadRow
from .shop import Shop


class Merger:
    """New rows of one model, and what changed in rows that stand."""

    def __init__(self, shop: Shop, model: type, what: str, *, called: dict[str, str] | None = None) -> None:
        """called: what the file calls a column of the database, where that is another."""
        self.shop, self.model, self.what, self.called = shop, model, what, called or {}
        self.lines: dict[object, int] = {}
        self.new: dict[object, object] = {}
        self.touched: dict[int, object] = {}
        self.fields: set[str] = set()

    def once(self, key: object, line: int, label: str) -> None:
        """Refuse a thing that the file has named before."""
        if key in self.lines:
            raise BadRow(f"{label} stands in line {self.lines[key]:,} already.")
        self.lines[key] = line

    def put(self, key: object, standing: object | None, label: str, values: dict, make: dict | None = None):
        """Make the thing, or change the one that stands to the values. `make`: what only a new one takes."""
        if standing is None:
            self.new[key] = made = self.model(**(make or {}), **values)
            return made
        changed = {name: value for name, value in values.items() if getattr(standing, name) != value}
        if standing.pk is None:  # new in this folder too
            for name, value in changed.items():
                setattr(standing, name, value)
        elif changed and (changed := self._taken(standing, label, changed)):
            for name, value in changed.items():
                if name.endswith("_id"):
                    self.shop.changed(f"{label}, {name[:-3].replace('_', ' ')}")
                else:
                    self.shop.changed(
                        f"{label}, {self.called.get(name, name)}: "
                        f"{_in_words(getattr(standing, name))} is now {_in_words(value)}"
                    )
                setattr(standing, name, value)
            self.touched[standing.pk] = standing
            self.fields |= {name.removesuffix("_id") for name in changed}
        else:
            self.shop.counts.stood[self.what] += 1
        return standing

    def _taken(self, standing: object, label: str, changed: dict) -> dict:
        """What of the changes is made: all, or what fills an empty cell where the register is to be left alone."""
        if not self.shop.leave:
            return changed
        taken = {name: value for name, value in changed.items() if getattr(standing, name) in (None, "")}
        for name in [n for n in changed if n not in taken]:
            here, there = getattr(standing, name), changed[name]
            words = f"{_in_words(here)} here, {_in_words(there)} in the file"
            if name.endswith("_id"):
                said = f"{name[:-3].replace('_', ' ')}: another in the file"
            else:
                said = f"{self.called.get(name, name)}: {words}"
            self.shop.left.append(f"{label}, {said}")
        return taken

    def save(self, into: dict) -> None:
        self.shop.create(self.model, list(self.new.values()), self.what)
        self.shop.update(self.model, list(self.touched.values()), self.fields, self.what)
        into.update(self.new)


def _in_words(value: object) -> str:
    return "nothing" if value in (None, "") else f"{value:,}" if isinstance(value, int) else str(value)[:60]


def given(row: Row, *names: str, **renamed: str) -> dict:
    """The cells that say something: under their own names, and `field=column` under another."""
    values = {name: row[name] for name in names if name in row}
    values |= {field: row[column] for field, column in renamed.items() if column in row}
    return values


class TableLoader:
    """Takes the rows of tables one by one; what is wrong with a row goes to the findings."""

    def __init__(self, folder: Folder, shop: Shop) -> None:
        self.folder, self.shop, self.findings = folder, shop, folder.findings

    def doubt(self, table: Table, row: Row, column: str, said: str) -> None:
        if said:
            self.findings.doubt(table.file, row.line, column, said)

    def each(self, table: Table, take: Callable[[Row], None]) -> None:
        self.take(table, self.folder.rows(table), take)

    def take(self, table: Table, rows: Iterable[Row], take: Callable[[Row], None]) -> None:
        for row in rows:
            try:
                take(row)
            except EntryRefused as error:
                self.findings.problem(table.file, row.line, error.field, str(error))
            except UnknownKind as error:
                self.findings.problem(table.file, row.line, "kind", str(error))
