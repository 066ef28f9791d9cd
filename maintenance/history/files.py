"""The files of a history folder as rows of read cells, one at a time, and back."""

from __future__ import annotations

import csv
import difflib
import os
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path

from . import former
from .cells import CELL_AT_MOST, Clockwork, line_of, reader, shown, written
from .columns import TABLES, Table
from .problems import BadCell, Findings

LINE_AT_MOST = 1_000_000  # bytes
BOM = b"\xef\xbb\xbf"
KNOWN = {table.file for table in TABLES}
RENAMED_TOLD = 20


@dataclass(frozen=True)
class Row:
    """line: where it begins. cells: the cells that say something, read. columns: all that the file has."""

    line: int
    cells: dict[str, object]
    columns: frozenset[str]

    def get(self, name: str, default=None):
        return self.cells.get(name, default)

    def __getitem__(self, name: str):
        return self.cells[name]

    def __contains__(self, name: str) -> bool:
        return name in self.cells


class _BadFile(Exception):
    def __init__(self, line: int, reason: str) -> None:
        super().__init__(reason)
        self.line = line


class Folder:
    """A folder that is read. `tell_bytes` hears how many bytes were read."""

    def __init__(self, path: Path, findings: Findings, *, zone, latest, tell_bytes: Callable[[int], None]) -> None:
        self.path, self.findings = path, findings
        self.zone, self.latest, self.tell_bytes = zone, latest, tell_bytes
        try:
            if not path.exists():
                findings.problem(str(path), 0, "", "There is no such folder.")
            elif not path.is_dir():
                findings.problem(str(path), 0, "", "This is a file; a folder is needed.")
        except (OSError, ValueError) as error:  # a name that no folder can have
            said = getattr(error, "strerror", None) or error
            findings.problem(str(path)[:80] + "...", 0, "", f"There is no such folder: {said}.")
        findings.stop_if_wrong()
        try:
            there = sorted(entry.name for entry in path.iterdir() if entry.is_file())
        except OSError as error:
            findings.problem(str(path), 0, "", f"It cannot be read: {error.strerror}.")
            findings.stop_if_wrong()
        self.renamed: dict[str, str] = {}  # former names that were met, and what they are now
        self.names = self._names(there)  # of each table its file as the folder spells it: Dies.csv is dies.csv
        self.files = set(self.names)
        self.begun: set[str] = set()
        if not self.files:
            findings.problem(
                str(path), 0, "", "None of the files of a history folder is in it: no dies.csv, no runs.csv ..."
            )
            findings.stop_if_wrong()
        for name in there:
            if name.casefold().endswith(".csv") and name not in self.names.values():
                findings.note(f"{name} is not a file of a history folder and was left aside.")

    def _names(self, there: list[str]) -> dict[str, str]:
        names: dict[str, str] = {}
        for name in sorted(there, key=lambda n: n not in KNOWN):
            plain = name.casefold()
            file = former.FILES.get(plain, plain)
            if file not in KNOWN:
                continue
            if file in names:
                what = f"There is {names[file]} too" + (f": {plain} is called {file} now" if plain != file else "")
                self.findings.problem(name, 0, "", f"{what}. Leave one of the two in the folder.")
                continue
            names[file] = name
            if plain != file:
                self.findings.spelled[file, ""] = name
                self.renamed[plain] = file
        return names

    def tell_renamed(self) -> None:
        if self.renamed:
            told = [f"{then} is {now}" for then, now in self.renamed.items()]
            more = f" and {len(told) - RENAMED_TOLD:,} more" if len(told) > RENAMED_TOLD else ""
            self.findings.note(
                f"Names of an earlier version were read; of today's {', '.join(told[:RENAMED_TOLD])}{more}. "
                "A folder that is written now has today's."
            )

    @property
    def size(self) -> int:
        return sum(os.path.getsize(self.path / name) for name in self.names.values())

    def rows(self, table: Table) -> Iterator[Row]:
        """The sound rows of a table; what is wrong with others goes to the findings. A missing file has none."""
        if table.file not in self.files:
            return
        clockwork = Clockwork(self.zone, self.latest)
        self.begun.add(table.file)
        try:
            with (self.path / self.names[table.file]).open("rb") as file:
                yield from self._rows(table, _Lines(file, self.tell_bytes), clockwork)
        except _BadFile as error:
            self.findings.problem(table.file, error.line, "", str(error))
        except OSError as error:
            self.findings.problem(table.file, 0, "", f"It cannot be read: {error.strerror}.")
        if clockwork.without_offset:
            self.findings.note(
                f"{table.file}: {clockwork.without_offset:,} times have no offset and were taken in the time zone "
                f"{self.zone}."
            )

    def look_through_rest(self) -> None:
        """What is wrong with the cells of tables that nobody came to: a person puts all right at once."""
        for table in TABLES:
            if table.file in self.files and table.file not in self.begun:
                for _ in self.rows(table):
                    pass

    def _rows(self, table: Table, lines: _Lines, clockwork: Clockwork) -> Iterator[Row]:
        table_rows = _csv(lines)
        header = next(table_rows, None)
        if header is None:
            raise _BadFile(0, "It is empty; the first line must name the columns.")
        places = self._places(table, header[1], clockwork)
        columns = frozenset(name for _, name, _, _ in places)
        width = len(header[1])
        for line, texts in table_rows:
            if len(texts) != width and any(texts):
                self.findings.problem(
                    table.file, line, "", f"This row has {len(texts)} cells, the header row {width}. A comma too many?"
                )
                continue
            if any(_is_sum(text) for text in texts):
                self.findings.problem(
                    table.file, line, "", "This looks like a sum of other rows. Take it out: each row is one thing."
                )
                continue
            cells, sound = {}, True
            for place, name, read, must in places:
                text = texts[place] if place < len(texts) else ""
                if text and not text.isspace():
                    try:
                        if len(text) > CELL_AT_MOST:
                            raise BadCell(f"A cell of {len(text):,} characters; {CELL_AT_MOST:,} is the most.")
                        value = read(text)
                        if value != "" and value != ():
                            cells[name] = value
                            continue
                    except BadCell as error:
                        self.findings.problem(table.file, line, name, str(error))
                        sound = False
                        continue
                if must and any(texts):
                    self.findings.problem(table.file, line, name, "This cell must not be empty.")
                    sound = False
            if sound and cells:
                yield Row(line, cells, columns)

    def _columns(self, table: Table, header: list[str]) -> list[str]:
        """The headings by the names of today."""
        now = former.columns_of(table)
        for then in (name for name in header if name in now):
            if now[then] in header:
                raise _BadFile(1, f"It has {then} and {now[then]}, which {then} is called now. Leave one of the two.")
            self.findings.spelled[table.file, now[then]] = then
            self.renamed[then] = now[then]
        return [now.get(name, name) for name in header]

    def _places(self, table: Table, header: list[str], clockwork: Clockwork):
        """Where each known column stands: (place, name, reading function, must be filled)."""
        names = self._columns(table, [name.strip().casefold() for name in header])
        missing = [c.name for c in table.columns if c.needed and c.name not in names]
        if missing:
            what = f"the column {missing[0]}" if len(missing) == 1 else f"the columns {', '.join(missing)}"
            hint = " The first line must name the columns."
            if len(names) == 1 and (";" in names[0] or "\t" in names[0]):
                mark = "semicolons" if ";" in names[0] else "tabs"
                hint = (
                    f" Columns are parted by commas. These are parted by {mark}: save it anew, decimals with a point."
                )
            elif unknown := [name for name in names if name and name not in table.by_name]:
                named = ", ".join(_safe(name) for name in unknown[:6])
                hint = f" Not known: {named}." + _near(missing, unknown)
            raise _BadFile(1, f"It lacks {what}.{hint}")
        twice = sorted({name for name in names if name and names.count(name) > 1})
        if twice:
            raise _BadFile(1, f"It has the column {twice[0]} twice.")
        extra = [name for name in names if name and name not in table.by_name]
        if extra:
            unknown = ", ".join(_safe(name) for name in extra[:10])
            self.findings.note(f"{table.file}: columns that are not known were left aside: {unknown}.")
        return [(names.index(c.name), c.name, reader(c, clockwork), c.filled) for c in table.columns if c.name in names]


def bytes_of(path: Path) -> int:
    """How much there is to read in a folder; nought where it is none."""
    try:
        return sum(os.path.getsize(path / name) for name in (*KNOWN, *former.FILES) if (path / name).is_file())
    except (OSError, ValueError):
        return 0


_SUMS = {"sum", "summe", "total", "totals", "gesamt", "subtotal", "zwischensumme", "somme", "totale", "suma", "razem"}


def _is_sum(text: str) -> bool:
    return len(text) < 20 and text.strip(" :.").casefold() in _SUMS


def _safe(name: str) -> str:
    """A heading as it is quoted: short, and nothing that a terminal would do."""
    return name[:40] if name.isprintable() else shown(name)


def _near(missing: list[str], unknown: list[str]) -> str:
    pairs = [(m, near[0]) for m in missing if (near := difflib.get_close_matches(m, unknown, n=1))]
    return f" Is {_safe(pairs[0][1])} meant for {pairs[0][0]}?" if pairs else ""


class _Lines:
    """The lines of a file as text, each checked. `number` is the line last given out."""

    def __init__(self, file, tell_bytes) -> None:
        self.file, self.tell_bytes = file, tell_bytes
        self.number = 0

    def __iter__(self) -> Iterator[str]:
        while raw := self.file.readline(LINE_AT_MOST + 1):
            self.number += 1
            self.tell_bytes(len(raw))
            if len(raw) > LINE_AT_MOST:
                raise _BadFile(
                    self.number,
                    f"More than {LINE_AT_MOST:,} bytes in one line. A cell holds {CELL_AT_MOST:,} characters at most.",
                )
            if self.number == 1:
                if raw[:2] in (b"\xff\xfe", b"\xfe\xff"):
                    raise _BadFile(1, "This is UTF-16, not UTF-8. Save the file as CSV in UTF-8.")
                raw = raw.removeprefix(BOM)
            try:
                text = raw.decode("utf-8")
            except UnicodeDecodeError as error:
                raise _BadFile(
                    self.number,
                    f"This line is not UTF-8 (byte {error.object[error.start]:#04x} at place {error.start + 1}). "
                    "Save the file as CSV in UTF-8.",
                ) from None
            if "\0" in text:
                raise _BadFile(self.number, "There is a NUL byte in this line.")
            yield text


def _csv(lines: _Lines) -> Iterator[tuple[int, list[str]]]:
    """(line where the row begins, its texts); blank lines are passed over."""
    before = csv.field_size_limit(LINE_AT_MOST)
    try:
        rows = csv.reader(iter(lines), strict=True)
        while True:
            begins = lines.number + 1
            csv.field_size_limit(LINE_AT_MOST)
            try:
                texts = next(rows)
            except StopIteration:
                return
            except csv.Error as error:
                if "limit" in str(error) or "end of data" in str(error):
                    raise _BadFile(begins, "A quote is opened in this row and not closed.") from None
                raise _BadFile(begins, "The quotes or line ends in this row are wrong.") from None
            if texts:
                yield begins, texts
    finally:
        csv.field_size_limit(before)


def write_table(path: Path, columns: list[str], rows: Iterable[dict[str, object]], tell_bytes=None) -> int:
    """Write a file; returns how many rows. It appears under its name when it is whole."""
    part = path.with_name(path.name + ".part")
    count = 0
    with part.open("w", encoding="utf-8", newline="") as file:
        file.write(line_of(columns))
        for row in rows:
            file.write(line_of([written(row.get(name)) for name in columns]))
            count += 1
    os.replace(part, path)
    return count
