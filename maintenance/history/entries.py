"""Loads tables of what happened. An entry that stands is never changed; the same entry twice is one."""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from enum import Enum
from itertools import islice

from django.db import connection, models

from maintenance.log.names import natural_key
from maintenance.log.rules import EntryRefused
from maintenance.models import Event, HitCorrection, Run

from .columns import Table
from .files import Folder, Row
from .first_lines import FirstLines
from .problems import BadRow
from .shop import Shop

BATCH = 1000  # rows looked up and saved at once
STRUCK = ("struck_at", "struck_by_id", "struck_reason")
LABELS = {"sequence": "order_within_time"}


@dataclass(kw_only=True)
class Entry:
    """A row of a file on its way to a row of the database.

    fields: what the file says, by column of the database; compared where the entry stands already. more: what follows
    from it, or where it came from. key: as told (`own_key`), else made from what happened, where and when.
    """

    row: Row
    at: dt.datetime
    label: str
    fields: dict
    more: dict
    key: str
    own_key: bool
    struck: dict
    replaced_by: str = ""
    beside: object = None  # what the loader of the table keeps with it

    @property
    def values(self) -> dict:
        return self.more | self.fields


# What an entry is about: the first of these that it names. A movement of a spare names a die at times, of
# which it tells nothing.
_NAMED = ("item_id", "die_id", "position_id", "cut_id", "piece_id", "work_id", "stop_id")


@dataclass
class Ledger:
    """What tables leave to be done at the end of a load."""

    replaced: list[tuple[type[Event], Table, int, str, str]] = field(default_factory=list)
    last: dt.datetime | None = None
    taken_off: list = field(default_factory=list)
    about: dict[str, set[int]] = field(default_factory=lambda: defaultdict(set))  # what new and struck entries name
    struck: list[Event] = field(default_factory=list)  # runs and corrections that stood
    typed_since: dict[int, dt.datetime] = field(default_factory=dict)  # of each die the first new run

    def names(self, values: dict) -> None:
        """An entry is new, or struck out now."""
        for name in _NAMED:
            if (key := values.get(name)) is not None:
                self.about[name].add(key)
                return

    def saw(self, moment: dt.datetime) -> None:
        if self.last is None or moment > self.last:
            self.last = moment


class EntryLoader:
    """Loads one table. Those below say what a row means (`convert`) and whether it can be true (`check`)."""

    table: Table
    model: type[Event]
    what: str
    same: tuple[str, ...]  # columns of the database that tell one entry from another, beside the sequence
    main: str  # the one of them that narrows a search
    labels: dict[str, str] = {}  # column of the database -> column of the file, where that is another

    def __init__(self, folder: Folder, shop: Shop, ledger: Ledger) -> None:
        self.folder, self.shop, self.ledger, self.findings = folder, shop, ledger, folder.findings
        self.first_lines = FirstLines()
        self.twice: list[int] = []
        self.stored = tuple(f.attname for f in self.model._meta.concrete_fields)
        self.some_stand = self.model.objects.exists()

    def load(self) -> None:
        rows = self.folder.rows(self.table)
        while batch := list(islice(rows, BATCH)):
            self.prepare(batch)
            self.save(self.settle(self.converted(batch)))
        self.finish()
        self._tell_twice()

    def _tell_twice(self) -> None:
        if self.twice:
            lines = ", ".join(f"{line:,}" for line in self.twice[:10]) + (" ..." if len(self.twice) > 10 else "")
            n = len(self.twice)
            self.findings.note(
                f"{self.table.file}: {n:,} {'row says' if n == 1 else 'rows say'} what a row before said "
                f"and {'was' if n == 1 else 'were'} taken once (line {lines})."
            )

    # --- said by each table -----------------------------------------------------------------------------------------

    def prepare(self, rows: list[Row]) -> None:
        """Look up for a batch of rows what cannot be kept in memory."""

    def convert(self, row: Row) -> Entry:
        raise NotImplementedError

    def check(self, entry: Entry) -> bool:
        """Whether a new, standing entry can be saved now. Raises BadRow where it cannot be true."""
        return True

    def struck_out(self, stored: dict) -> None:
        """An entry that stood was struck out by the file."""

    def saved(self, made: list[Entry]) -> None:
        """After new entries were saved."""

    def finish(self) -> None:
        """After the last batch."""

    # --- from rows to entries ---------------------------------------------------------------------------------------

    def converted(self, rows: Iterable[Row]) -> list[Entry]:
        """What a batch of rows says for the first time."""
        entries = []
        for row in rows:
            try:
                entries.append(self.convert(row))
            except EntryRefused as error:
                self._refuse(row, error)
        contents = [hash(tuple(sorted((k, v) for k, v in e.row.cells.items() if k != "entry_id"))) for e in entries]
        known = self.first_lines.first(
            (e.key, e.row.line, content) for e, content in zip(entries, contents, strict=True)
        )
        new = []
        for entry, content, (line, first) in zip(entries, contents, known, strict=True):
            if line == entry.row.line:
                self.ledger.saw(entry.at)
                new.append(entry)
            elif first == content:
                self.twice.append(entry.row.line)
            else:
                hint = "Give each an entry_id of its own." if not entry.own_key else "An entry_id is for one entry."
                reason = f"Line {line:,} tells {entry.label} otherwise. {hint}"
                self._refuse(entry.row, BadRow(reason, "entry_id" if entry.own_key else ""))
        return new

    def doubt(self, entry: Entry, column: str, said: str) -> None:
        if said:
            self.findings.doubt(self.table.file, entry.row.line, column, said)

    def _refuse(self, row: Row, error: EntryRefused) -> None:
        self.findings.problem(self.table.file, row.line, error.field, str(error))

    def entry(
        self,
        row: Row,
        *,
        at: dt.datetime,
        label: str,
        where: Iterable[str],
        fields: dict,
        more: dict | None = None,
        key_at: dt.datetime | None = None,
    ) -> Entry:
        """An entry with the columns that all entries have. where, key_at: the words and the time of its key."""
        shop, cells = self.shop, row.cells
        sequence = cells.get("order_within_time", 0)
        more = {
            "recorded_at": cells.get("recorded_at", at),
            "through": cells.get("came_by", Event.Through.IMPORT),
        } | (more or {})
        if "order_within_time" in cells:
            fields["sequence"] = sequence
        if "note" in cells:
            fields["note"] = cells["note"]
        if "person" in cells:
            fields["person_id"] = shop.person(cells["person"]).pk
        if "sign_in" in cells:
            more["user_id"] = shop.user(cells["sign_in"])
        if "device" in cells:
            more["device"] = cells["device"]
        struck = {}
        n = sum(name in cells for name in ("struck_at", "struck_by", "struck_reason"))
        if n == 3:
            struck = {
                "struck_at": cells["struck_at"],
                "struck_by_id": shop.person(cells["struck_by"]).pk,
                "struck_reason": cells["struck_reason"],
            }
        elif n or "replaced_by" in cells:
            raise BadRow(
                "A struck-out row says when, by whom and why: struck_at, struck_by, struck_reason.", "struck_at"
            )
        own = "entry_id" in cells
        key = cells["entry_id"] if own else self.natural_key(where, key_at or at, sequence, struck=bool(struck))
        return Entry(row=row, at=at, label=label, fields=fields, more=more, key=key, own_key=own, struck=struck,
                     replaced_by=cells.get("replaced_by", ""))  # fmt: skip

    def natural_key(self, where: Iterable[str], at: dt.datetime, sequence: int, *, struck: bool) -> str:
        after = [at.isoformat().replace("+00:00", "Z")] + [str(sequence)] * bool(sequence) + ["struck"] * struck
        return natural_key(self.model._meta.model_name, self.shop.plant.code, [*where, *after])

    # --- against what stands ----------------------------------------------------------------------------------------

    def settle(self, entries: Iterable[Entry]) -> list[Entry]:
        """The entries that are new. What stands already is compared, and struck out where the file says so."""
        entries = list(entries)
        if not self.some_stand or not entries:
            return entries
        by_key, by_same = self._standing(entries)
        new, to_name = [], []
        for entry in entries:
            try:
                if entry.own_key:
                    stored = by_key.get(entry.key)
                    if stored is None:
                        new.append(entry)
                    elif differs := self._differs(entry, stored):
                        raise self._refusal(entry, stored, differs)
                    else:
                        self._stands(entry, stored)
                    continue
                rows = by_same.get(self._same(entry.values), [])
                rows.sort(key=lambda r: (r["struck_at"] is None) is bool(entry.struck))
                stored = next((r for r in rows if not self._differs(entry, r)), None)
                if stored is not None:
                    self._stands(entry, stored)
                elif not entry.struck and (standing := [r for r in rows if r["struck_at"] is None]):
                    raise self._refusal(entry, standing[0], self._differs(entry, standing[0]))
                else:
                    to_name.append(entry)
            except EntryRefused as error:
                self._refuse(entry.row, error)
        self._name(to_name)
        return new + to_name

    def _standing(self, entries: list[Entry]):
        """What the database holds of these entries, by key and by what tells them apart."""
        rows = {}
        manager = self.model.objects
        for row in manager.filter(key__in=[e.key for e in entries if e.own_key]).values(*self.stored):
            rows[row["id"]] = row
        derived = [e for e in entries if not e.own_key]
        if derived:
            time = "started" if "started" in self.same else "at"
            search = {f"{time}__in": list({e.values[time] for e in derived})}
            mains = {e.values.get(self.main) for e in derived}
            if None not in mains:
                search[f"{self.main}__in"] = list(mains)
            for row in manager.filter(**search).values(*self.stored):
                rows[row["id"]] = row
        by_same = defaultdict(list)
        for row in sorted(rows.values(), key=lambda r: r["key"]):
            by_same[self._same(row)].append(row)
        return {row["key"]: row for row in rows.values()}, by_same

    def _same(self, values: dict) -> tuple:
        return (*(values.get(name) for name in self.same), values.get("sequence", 0))

    def _differs(self, entry: Entry, stored: dict) -> list[str]:
        return [name for name, value in entry.fields.items() if stored[name] != value]

    def _refusal(self, entry: Entry, stored: dict, differs: list[str]) -> BadRow:
        differences = []
        for name in differs:
            label = self._label(name)
            if name.endswith("_id"):
                differences.append(f"another {label}")
            else:
                differences.append(f"{label} {_in_words(stored[name])}, not {_in_words(entry.fields[name])}")
        where = "stands in the record" if stored["struck_at"] is None else "is struck out in the record"
        hint = "Strike it out first." if stored["struck_at"] is None else "Give the new entry another entry_id."
        said = f"{entry.label[:1].upper()}{entry.label[1:]} {where} with {'; '.join(differences)}. {hint}"
        return BadRow(said, self._label(differs[0]))

    def _label(self, name: str) -> str:
        """What the file calls a column of the database."""
        return LABELS.get(name) or self.labels.get(name, name.removesuffix("_id"))

    def _stands(self, entry: Entry, stored: dict) -> None:
        if entry.struck and stored["struck_at"] is None:
            self.model.objects.filter(pk=stored["id"]).update(**entry.struck)
            self.shop.counts.struck[self.what] += 1
            self.ledger.names(stored)
            if self.model in (Run, HitCorrection):
                self.ledger.struck.append(self.model(**stored))
            self.struck_out(stored)
            if entry.replaced_by:
                self._later(stored["key"], entry)
        else:
            self.shop.counts.stood[self.what] += 1

    def _name(self, entries: list[Entry]) -> None:
        """Give each a key that no entry has: a struck-out one keeps its own for good."""
        open_ones = entries
        n = 1
        while open_ones:
            taken = set(self.model.objects.filter(key__in=[e.key for e in open_ones]).values_list("key", flat=True))
            n += 1
            open_ones = [e for e in open_ones if e.key in taken]
            for entry in open_ones:
                entry.key = f"{entry.key.rsplit(' #', 1)[0] if n > 2 else entry.key} #{n}"

    # --- saved ------------------------------------------------------------------------------------------------------

    def save(self, entries: Iterable[Entry]) -> None:
        made = []
        for entry in entries:
            try:
                if not entry.struck and not self.check(entry):
                    continue
            except EntryRefused as error:
                self._refuse(entry.row, error)
                continue
            made.append(entry)
            if entry.replaced_by:
                self._later(entry.key, entry)
        if self.findings.problems or not made:
            return  # the rest is only looked through
        insert(self.model, [{"key": e.key} | e.values | e.struck for e in made])
        for entry in made:
            self.ledger.names(entry.values)
        self.shop.counts.added[self.what] += len(made)
        self.saved(made)

    def _later(self, key: str, entry: Entry) -> None:
        self.ledger.replaced.append((self.model, self.table, entry.row.line, key, entry.replaced_by))


def insert(model: type[Event], rows: list[dict]) -> None:
    """Save rows given by column. Three times as fast as making an object of each and saving those in bulk."""
    fields = [f for f in model._meta.concrete_fields if not f.primary_key]
    empty = {f.attname: f.get_default() for f in fields if not (f.has_default() and callable(f.default))}
    quote = connection.ops.quote_name
    table, names = quote(model._meta.db_table), ", ".join(quote(f.column) for f in fields)
    ready = [(f.attname, _prepare(f)) for f in fields]
    whole = (empty | row for row in rows)
    values = [[row[name] if prepare is None else prepare(row[name]) for name, prepare in ready] for row in whole]
    with connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            with cursor.copy(f"COPY {table} ({names}) FROM STDIN") as copy:
                for row in values:
                    copy.write_row([value.value if isinstance(value, Enum) else value for value in row])
        else:
            marks = ", ".join(["%s"] * len(fields))
            cursor.executemany(f"INSERT INTO {table} ({names}) VALUES ({marks})", values)


# Of these the checks of the columns leave what the database takes: asking the fields again takes a fifth of the time.
_AS_THEY_ARE = {
    models.CharField, models.TextField, models.FloatField, models.IntegerField, models.BigIntegerField,
    models.BooleanField, models.ForeignKey,
}  # fmt: skip


def _prepare(field: models.Field) -> Callable | None:
    """What brings a value into the form that the database takes; None: it has it."""
    if type(field) in _AS_THEY_ARE:
        return None
    if type(field) is models.DateTimeField:
        adapt = connection.ops.adapt_datetimefield_value
        return lambda value: None if value is None else adapt(value)
    return lambda value: field.get_db_prep_save(value, connection)


def tie_replaced(ledger: Ledger, findings) -> None:
    """Tie struck-out entries to those that stand in their place, once all are saved."""
    by_model = defaultdict(list)
    for model, *rest in ledger.replaced:
        by_model[model].append(rest)
    for model, ties in by_model.items():
        keys = {key for _, _, mine, other in ties for key in (mine, other)}
        ids = dict(model.objects.filter(key__in=keys).values_list("key", "pk"))
        for table, line, mine, other in ties:
            if other not in ids:
                findings.problem(table.file, line, "replaced_by", f"There is no entry called {other[:60]!r}.")
            elif other == mine:
                findings.problem(table.file, line, "replaced_by", "An entry cannot stand in its own place.")
            elif mine in ids:
                model.objects.filter(pk=ids[mine]).update(replaced_by=ids[other])


def _in_words(value: object) -> str:
    if value in (None, ""):
        return "nothing"
    if isinstance(value, dt.datetime):
        return value.isoformat()
    return f"{value:,}" if isinstance(value, int) else str(value)[:60]
