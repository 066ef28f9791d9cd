"""Reads a spreadsheet file into cells: XLSX and CSV, within limits that are looked at before anything is unpacked.

Formulas are never run: of each the value is taken that the file keeps.
"""

from __future__ import annotations

import csv
import datetime as dt
import io
import re
import warnings
import zipfile
from collections.abc import Iterator
from dataclasses import dataclass, field

from .pure.sheets import COLUMNS_AT_MOST, Grid

BYTES_AT_MOST = 8_000_000  # of the file
UNPACKED_AT_MOST = 250_000_000  # bytes of all that is packed in it
RATIO_AT_MOST = 250  # of one packed file: text of a sheet packs to a tenth or twentieth, a bomb to a thousandth
ENTRIES_AT_MOST = 2_000
SHEETS_AT_MOST = 60
ROWS_AT_MOST = 200_000
CELLS_AT_MOST = 3_000_000  # that hold something
TEXT_AT_MOST = 10_000  # characters of a cell; more is cut off
EMPTY_ROWS_END = 5_000  # so many empty rows end a sheet
FILLED_AT_MOST = 200_000  # cells that merged ones fill
CHUNK = 1 << 16


class BookRefused(ValueError):
    """The file cannot be taken; the message says why and what to do."""


@dataclass
class Book:
    name: str
    grids: list[Grid]
    notes: list[str] = field(default_factory=list)


def read_book(name: str, data: bytes) -> Book:
    """The sheets of a file. Raises BookRefused."""
    if not data:
        raise BookRefused("The file is empty.")
    if len(data) > BYTES_AT_MOST:
        raise BookRefused(
            f"The file has {len(data) / 1e6:,.1f} MB; {BYTES_AT_MOST / 1e6:g} MB is the most. Bring "
            "it in parts, or save it without pictures."
        )
    head = data[:8]
    if head.startswith(b"\xd0\xcf\x11\xe0"):
        raise BookRefused(
            "This is an old .xls file, or one with a password. Open it in the spreadsheet program, "
            "take the password off, "
            "and save it as .xlsx or CSV."
        )
    if head.startswith(b"PK"):
        return _read_packed(name, data)
    if head.startswith(b"%PDF") or head.startswith(
        (b"\x89PNG", b"\xff\xd8\xff", b"GIF8", b"\x1f\x8b", b"7z\xbc\xaf", b"Rar!")
    ):
        raise BookRefused("This is no spreadsheet. Save the list as .xlsx or CSV and bring that.")
    return _read_csv(name, data)


# --- XLSX ---------------------------------------------------------------------------------------------------------


def _read_packed(name: str, data: bytes) -> Book:
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as packed:
            _check_packed(packed)
            _check_sort(packed)
            return _read_xlsx(name, data, packed)
    except BookRefused:
        raise
    except (zipfile.BadZipFile, zipfile.LargeZipFile, NotImplementedError, OSError, EOFError) as error:
        raise BookRefused("The file is damaged: it cannot be unpacked. Save it anew and bring it again.") from error
    except Exception as error:  # whatever openpyxl trips over in a file that is not as it should be
        raise BookRefused(
            f"The file cannot be read ({type(error).__name__}). Open it in the spreadsheet program, "
            "save it as .xlsx anew, or as CSV."
        ) from error


def _check_packed(packed: zipfile.ZipFile) -> None:
    entries = packed.infolist()
    if len(entries) > ENTRIES_AT_MOST:
        raise BookRefused(f"The file holds {len(entries):,} files; {ENTRIES_AT_MOST:,} is the most for a spreadsheet.")
    total = 0
    for entry in entries:
        total += entry.file_size
        if entry.flag_bits & 1:
            raise BookRefused("The file has a password. Take it off in the spreadsheet program and save it anew.")
        if entry.file_size > 1_000_000 and entry.file_size > RATIO_AT_MOST * max(entry.compress_size, 1):
            raise BookRefused("The file is packed far more densely than a spreadsheet can be. It was not opened.")
    if total > UNPACKED_AT_MOST:
        raise BookRefused(
            f"Unpacked the file has {total / 1e6:,.0f} MB; {UNPACKED_AT_MOST / 1e6:,.0f} MB is the "
            "most. Bring it in parts."
        )


def _check_sort(packed: zipfile.ZipFile) -> None:
    names = set(packed.namelist())
    if "mimetype" in names and b"opendocument" in packed.open("mimetype").read(200):
        raise BookRefused("This is an .ods file. Open it in the spreadsheet program and save it as .xlsx or CSV.")
    if "EncryptedPackage" in names:
        raise BookRefused("The file has a password. Take it off in the spreadsheet program and save it anew.")
    if any(n.endswith("workbook.bin") for n in names):
        raise BookRefused("This is an .xlsb file. Open it in the spreadsheet program and save it as .xlsx or CSV.")
    if "[Content_Types].xml" not in names or not any(n.startswith("xl/") for n in names):
        raise BookRefused("This is no spreadsheet. Save the list as .xlsx or CSV and bring that.")


class _Bounded(io.RawIOBase):
    """Reads a packed file and stops where it turns out larger than it said it was."""

    def __init__(self, file, at_most: int) -> None:
        self.file, self.left = file, at_most

    def read(self, size: int = -1) -> bytes:
        block = self.file.read(size if size >= 0 else CHUNK)
        self.left -= len(block)
        if self.left < 0:
            raise BookRefused("The file is larger inside than it says. It was not read.")
        return block


def _read_xlsx(name: str, data: bytes, packed: zipfile.ZipFile) -> Book:
    import openpyxl

    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # of styles and validations that are not taken
        book = openpyxl.load_workbook(io.BytesIO(data), read_only=True, data_only=True, keep_links=False)
        out = Book(name=name, grids=[])
        cells = 0
        if len(book.sheetnames) > SHEETS_AT_MOST:
            out.notes.append(f"The file has {len(book.sheetnames):,} sheets; the first {SHEETS_AT_MOST} are taken.")
        try:
            for sheet in book.worksheets[:SHEETS_AT_MOST]:
                looks = _Looks.of(packed, sheet._worksheet_path)
                rows, n = _rows_of(sheet, out, CELLS_AT_MOST - cells)
                cells += n
                filled = _fill(rows, looks.merged)
                unkept = frozenset((r, c) for r, c in looks.formulas if _is_bare(rows, r, c))
                out.grids.append(
                    Grid(
                        name=str(sheet.title)[:80],
                        rows=rows,
                        hidden=sheet.sheet_state != "visible",
                        hidden_rows=frozenset(looks.hidden),
                        unkept=unkept,
                        filled=filled,
                    )
                )
        finally:
            book.close()
    return out


def _rows_of(sheet, out: Book, cells_left: int) -> tuple[list[list[object]], int]:
    rows: list[list[object]] = []
    count = empty = 0
    sheet.reset_dimensions()
    for cells in sheet.iter_rows(max_col=COLUMNS_AT_MOST):
        row = [_value(cell) for cell in cells]
        while row and row[-1] is None:
            row.pop()
        empty = 0 if row else empty + 1
        if empty > EMPTY_ROWS_END:
            break
        if len(rows) >= ROWS_AT_MOST:
            out.notes.append(
                f"{sheet.title}: only the first {ROWS_AT_MOST:,} rows are taken. Bring the rest in a file of its own."
            )
            break
        count += sum(v is not None for v in row)
        if count > cells_left:
            raise BookRefused(f"The file has more than {CELLS_AT_MOST:,} filled cells. Bring it in parts.")
        rows.append(row)
    while rows and not rows[-1]:
        rows.pop()
    return rows, count


def _value(cell) -> object:
    from openpyxl.utils.escape import unescape

    value = cell.value
    if value is None or isinstance(value, bool):
        return value
    if isinstance(value, str):
        text = unescape(value) if "_x" in value else value  # signs that XML cannot hold stand as _x0007_
        text = text[:TEXT_AT_MOST].replace("\x00", "")
        return None if not text or text.isspace() or cell.data_type == "e" else text
    if isinstance(value, (int, float)):
        if isinstance(value, float) and value != value:
            return None
        shown = cell.number_format or ""
        return f"{round(value * 100, 9):g} %" if "%" in shown else value
    if isinstance(value, dt.timedelta):
        return f"{int(value.total_seconds()) // 3600}:{int(value.total_seconds()) // 60 % 60:02d}"
    if isinstance(value, dt.datetime):
        return value.replace(tzinfo=None, microsecond=0)
    if isinstance(value, dt.date):
        return dt.datetime(value.year, value.month, value.day)
    if isinstance(value, dt.time):
        return f"{value:%H:%M}"
    return str(value)[:TEXT_AT_MOST]


_ROW = re.compile(rb"<(?:\w+:)?row\b([^>]*)>")
_NUMBER = re.compile(rb'\br="(\d{1,7})"')
_HIDDEN = re.compile(rb'\bhidden="(?:1|true)"')
_MERGED = re.compile(rb'<(?:\w+:)?mergeCell\b[^>]*\bref="([A-Z]{1,3})(\d{1,7}):([A-Z]{1,3})(\d{1,7})"')
_FORMULA = re.compile(rb'<(?:\w+:)?c\b[^>]*\br="([A-Z]{1,3})(\d{1,7})"[^>]*>\s*<(?:\w+:)?f\b')


@dataclass
class _Looks:
    """What the reader row by row does not tell: hidden rows, merged cells, cells with a formula."""

    hidden: set[int] = field(default_factory=set)
    merged: list[tuple[int, int, int, int]] = field(default_factory=list)
    formulas: set[tuple[int, int]] = field(default_factory=set)

    @classmethod
    def of(cls, packed: zipfile.ZipFile, path: str) -> _Looks:
        made = cls()
        info = packed.getinfo(path.lstrip("/"))
        with packed.open(info) as raw:
            file, tail = _Bounded(raw, info.file_size + CHUNK), b""
            while block := file.read(CHUNK):
                text = tail + block
                made._take(text)
                cut = text.rfind(b"<", max(0, len(text) - 600))
                tail = text[max(0, len(text) - 600 if cut < 0 else cut - 400) :]
        return made

    def _take(self, text: bytes) -> None:
        """Parts are looked through twice where blocks meet; what is found twice is the same."""
        for found in _ROW.finditer(text):
            if _HIDDEN.search(found[1]) and (number := _NUMBER.search(found[1])):
                self.hidden.add(int(number[1]))
        for found in _MERGED.finditer(text):
            place = (int(found[2]), _column(found[1]), int(found[4]), _column(found[3]))
            if len(self.merged) < 50_000 and place not in self.merged[-20:]:
                self.merged.append(place)
        if len(self.formulas) < 500_000:
            self.formulas |= {(int(f[2]), _column(f[1])) for f in _FORMULA.finditer(text)}


def _column(letters: bytes) -> int:
    index = 0
    for c in letters:
        index = index * 26 + c - 64
    return index - 1


def _is_bare(rows: list[list[object]], r: int, c: int) -> bool:
    return r - 1 < len(rows) and (c >= len(rows[r - 1]) or rows[r - 1][c] is None)


def _fill(rows: list[list[object]], merged: list[tuple[int, int, int, int]]) -> int:
    """Cells merged downwards all take the value of the first. Returns how many."""
    count = 0
    for top, left, bottom, right in merged:
        if bottom <= top or top - 1 >= len(rows) or left >= COLUMNS_AT_MOST or right != left:
            continue
        value = rows[top - 1][left] if left < len(rows[top - 1]) else None
        if value is None:
            continue
        for row in rows[top : min(bottom, len(rows))]:
            if count >= FILLED_AT_MOST:
                return count
            row += [None] * (left + 1 - len(row))
            if row[left] is None:
                row[left] = value
                count += 1
    return count


# --- CSV ----------------------------------------------------------------------------------------------------------


def _read_csv(name: str, data: bytes) -> Book:
    text, notes = _decoded(data)
    if text.count("\x00") > 0 or _strange(text) > 0.1:
        raise BookRefused("This is no spreadsheet that can be read here. Save the list as .xlsx or CSV and bring that.")
    if "<html" in text[:2000].casefold() or text.lstrip()[:5] == "<?xml":
        raise BookRefused(
            "This is a web page or XML, whatever its name. Open it in the spreadsheet program and save it as .xlsx."
        )
    sep = _separator(text)
    rows: list[list[object]] = []
    count = 0
    before = csv.field_size_limit(1_000_000)  # of the whole process: put back below
    try:
        for cells in csv.reader(_lines(text), delimiter=sep):
            row: list[object] = [None if not c or c.isspace() else c[:TEXT_AT_MOST] for c in cells[:COLUMNS_AT_MOST]]
            while row and row[-1] is None:
                row.pop()
            count += sum(v is not None for v in row)
            if count > CELLS_AT_MOST:
                raise BookRefused(f"The file has more than {CELLS_AT_MOST:,} filled cells. Bring it in parts.")
            if len(rows) >= ROWS_AT_MOST:
                notes.append(f"Only the first {ROWS_AT_MOST:,} rows are taken. Bring the rest in a file of its own.")
                break
            rows.append(row)
    except csv.Error as error:
        raise BookRefused(
            f"A quote is opened in row {len(rows) + 1:,} and not closed, or a cell is far too long."
        ) from error
    finally:
        csv.field_size_limit(before)
    while rows and not rows[-1]:
        rows.pop()
    words = {",": "commas", ";": "semicolons", "\t": "tabs", "|": "bars"}
    notes.append(f"Columns are parted by {words[sep]}.")
    return Book(
        name=name, grids=[Grid(name=re.sub(r"\.(csv|txt|tsv)$", "", name, flags=re.I)[:80], rows=rows)], notes=notes
    )


def _lines(text: str) -> Iterator[str]:
    return iter(io.StringIO(text.replace("\r\n", "\n").replace("\r", "\n"), newline=""))


def _decoded(data: bytes) -> tuple[str, list[str]]:
    for mark, encoding in ((b"\xef\xbb\xbf", "utf-8-sig"), (b"\xff\xfe", "utf-16"), (b"\xfe\xff", "utf-16")):
        if data.startswith(mark):
            return data.decode(encoding, errors="replace"), [
                f"Letters are read as {encoding.removesuffix('-sig').upper()}."
            ]
    head = data[:4000]
    for encoding, of in (("utf-16-le", head[1::2]), ("utf-16-be", head[0::2])):
        if len(head) > 20 and of.count(0) > 0.4 * len(of):
            return data.decode(encoding, errors="replace"), ["Letters are read as UTF-16."]
    try:
        return data.decode("utf-8"), []
    except UnicodeDecodeError:
        return data.decode("cp1252", errors="replace"), ["Letters are read as Windows-1252, since they are not UTF-8."]


def _strange(text: str) -> float:
    part = text[:20_000]
    return sum(c == "\ufffd" or (ord(c) < 32 and c not in "\t\r\n\x0b\x0c") for c in part) / max(len(part), 1)


def _separator(text: str) -> str:
    """What parts the columns: what stands as often in each of the first lines; `sep=;` in the first line says it."""
    lines = [line for line in text[:60_000].splitlines() if line.strip()][:60]
    if lines and (said := re.fullmatch(r"sep=(.)", lines[0].strip('"'))) and said[1] in ",;\t|":
        return said[1]
    scores = {}
    for sep in (";", "\t", ",", "|"):
        counts = [
            len(next(csv.reader([line], delimiter=sep), []))
            for line in lines
            if '"' not in line or line.count('"') % 2 == 0
        ]
        usual = max(set(counts), key=counts.count, default=1)
        scores[sep] = 0.0 if usual < 2 else counts.count(usual) / max(len(counts), 1) + 0.02 * min(usual, 12)
        if sep == "," and scores[";"] > 0.3:
            scores[sep] -= 0.3  # then a comma is a decimal sign
    best = max(scores, key=lambda s: scores[s])
    return best if scores[best] > 0 else ","
