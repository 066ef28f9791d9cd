"""Counts of presses without a network: files in a folder, each read once, by the same rules as messages.

A file is taken whole or refused whole. A taken one goes to `done`, a refused one to `refused` with a text beside it
that says why. Should the power go in between, the file is read again and adds nothing: each count has an id.
"""

from __future__ import annotations

import csv
import datetime as dt
import hashlib
import io
import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

from django.db import DatabaseError, transaction
from django.utils import timezone

from diestore.register.models import Plant
from maintenance.models import TOTAL_AT_MOST, CounterDevice

from . import intake, settle

BYTES_AT_MOST = 64 * 1024 * 1024
ROWS_AT_MOST = 1_000_000
CELL_AT_MOST = 100_000  # letters; more is no CSV
SAID_AT_MOST = 20  # faults told of one file
BATCH = 500
CODE_AT_MOST, ID_AT_MOST = 60, 80

COLUMNS = {
    "press": "The press whose counter it is; or",
    "die": "the die, where it carries a counter of its own. One of the two.",
    "at": "When the counter showed it: 2026-11-25T14:05:00+01:00. Without a time zone it is the shop's time.",
    "total": "What the counter showed: a whole number, never the strokes since the row before.",
    "stock": "yes or no: whether the strokes since the count before had stock. Empty: yes. May be left out.",
    "id": "The count's own name, never twice of a device. Empty or left out: made from the other columns.",
}
FORMAT = (
    "A file of counts is a CSV file, UTF-8, with a header row and a comma or a semicolon between its columns:\n"
    + "".join(f"  {name}: {says}\n" for name, says in COLUMNS.items())
    + "Write a file under another ending and rename it to .csv when it is whole."
)
YES_NO = {"": True, "yes": True, "no": False}
TIME = re.compile(
    r"(\d{4}-\d\d-\d\d)[T ](\d\d:\d\d(?::\d\d(?:\.\d{1,6})?)?)\s*(Z|[+-]\d\d:\d\d)?", re.ASCII | re.IGNORECASE
)


class FileRefused(ValueError):
    """A file that cannot be taken; `sentences` say why."""

    def __init__(self, sentences: list[str]) -> None:
        super().__init__(sentences[0])
        self.sentences = sentences


@dataclass
class Read:
    """What became of the files of a folder."""

    files: int = 0
    taken: int = 0
    known: int = 0
    refused: dict[str, list[str]] = field(default_factory=dict)


def device_for_files(plant: Plant, name: str) -> CounterDevice:
    """The device that files are taken for. It has no token: nothing can be sent in its name."""
    return CounterDevice.objects.get_or_create(plant=plant, name=name)[0]


def take_folder(folder: Path, device: CounterDevice) -> Read:
    """Take every .csv file of a folder, in the order of their names, and count what they tell."""
    result = Read()
    for path in sorted(p for p in folder.iterdir() if p.is_file() and p.suffix.lower() == ".csv"):
        result.files += 1
        try:
            taken = take_file(path, device)
        except FileRefused as why:
            result.refused[path.name] = why.sentences
            moved = _move(path, folder / "refused")
            moved.with_name(moved.name + ".txt").write_text("\n".join(why.sentences) + "\n", encoding="utf-8")
            continue
        result.taken += sum(row.what == "taken" for row in taken)
        result.known += sum(row.what == "known" for row in taken)
        _move(path, folder / "done")
    settle.settle_waiting(device.plant)
    return result


def take_file(path: Path, device: CounterDevice) -> list[intake.Taken]:
    """Take a file whole. Raises FileRefused; then nothing of it is kept."""
    messages = read(_bytes(path))
    taken: list[intake.Taken] = []
    try:
        with transaction.atomic():
            for i in range(0, len(messages), BATCH):
                taken += intake.take(device, [message for _, message in messages[i : i + BATCH]])
            wrong = [
                f"Line {line:,}: {row.sentence}"
                for (line, _), row in zip(messages, taken, strict=True)
                if row.what == "refused"
            ]
            if wrong:
                raise FileRefused(_shortened(wrong))
    except DatabaseError as error:
        raise FileRefused([f"The database refuses this file ({str(error).splitlines()[0][:200]})."]) from error
    return taken


def _bytes(path: Path) -> bytes:
    try:
        if path.stat().st_size > BYTES_AT_MOST:
            raise FileRefused([f"The file has more than {BYTES_AT_MOST // 1024**2} MB. Cut it into several."])
        return path.read_bytes()
    except OSError as error:
        raise FileRefused([f"The file cannot be read: {error.strerror}."]) from error


def read(content: bytes) -> list[tuple[int, intake.Message]]:
    """The counts of a file with their lines. Raises FileRefused with what is wrong, line by line."""
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = content[: error.start].count(b"\n") + 1
        raise FileRefused([f"Line {line:,}: this is not UTF-8 text. Save the file as UTF-8."]) from error
    if "\x00" in text:
        raise FileRefused(["The file holds bytes that are no text."])
    wrong: list[str] = []
    messages: list[tuple[int, intake.Message]] = []
    try:
        for line, cells in _rows(text):
            try:
                messages.append((line, _message(cells)))
            except ValueError as fault:
                wrong.append(f"Line {line:,}: {fault}")
                if len(wrong) > SAID_AT_MOST:
                    break
            if len(messages) > ROWS_AT_MOST:
                raise FileRefused([f"The file has more than {ROWS_AT_MOST:,} counts. Cut it into several."])
    except csv.Error as error:
        raise FileRefused([f"The file is no CSV that can be read ({error})."]) from error
    if wrong:
        raise FileRefused(_shortened(wrong))
    if not messages:
        raise FileRefused(["There is no count in the file."])
    return messages


def _rows(text: str) -> Iterator[tuple[int, dict[str, str]]]:
    head = text.split("\n", 1)[0]
    csv.field_size_limit(CELL_AT_MOST)  # of the whole process: another reader may have left its own
    rows = csv.reader(io.StringIO(text, newline=""), delimiter=";" if head.count(";") > head.count(",") else ",")
    header = [name.strip().casefold() for name in next(rows, [])]
    missing = [name for name in ("at", "total") if name not in header]
    if "press" not in header and "die" not in header:
        missing.insert(0, "press")
    if missing:
        says = {name: COLUMNS[name].removesuffix("; or").rstrip(".") for name in missing}
        raise FileRefused([f"The column {name} is missing: {what}." for name, what in says.items()])
    if len(set(header)) < len(header):
        raise FileRefused(["Two columns have the same name."])
    strange = [name for name in header if name not in COLUMNS]
    if strange:
        raise FileRefused([f"There is no column {strange[0][:40]!r}. These are: {', '.join(COLUMNS)}."])
    for cells in rows:
        if not any(cell.strip() for cell in cells):
            continue
        if len(cells) > len(header):
            raise FileRefused([f"Line {rows.line_num:,}: it has more cells than the header has columns."])
        yield rows.line_num, dict(zip(header, (cell.strip() for cell in cells), strict=False))


def _message(cells: dict[str, str]) -> intake.Message:
    press, die = cells.get("press", ""), cells.get("die", "")
    if bool(press) == bool(die):
        raise ValueError("name the press or the die, one of the two.")
    if len(press or die) > CODE_AT_MOST:
        raise ValueError(f"a press or die of more than {CODE_AT_MOST} letters cannot be.")
    if not (press + die + cells.get("id", "")).isprintable():  # a terminal would do what such signs say
        raise ValueError("a name holds signs that cannot be printed.")
    total_text = cells.get("total", "")
    if not (total_text.isascii() and total_text.isdigit() and len(total_text) <= 16):
        raise ValueError(f"the total {total_text[:20]!r} is not a whole number.")
    total = int(total_text)
    if total > TOTAL_AT_MOST:
        raise ValueError(f"the total {total:,} cannot be.")
    stock = cells.get("stock", "").casefold()
    if stock not in YES_NO:
        raise ValueError(f"stock is yes or no, not {stock[:20]!r}.")
    at = _moment(cells.get("at", ""))
    name = cells.get("id", "")
    if len(name) > ID_AT_MOST:
        raise ValueError(f"an id of more than {ID_AT_MOST} letters cannot be.")
    if not name:
        content = f"{press}|{die}|{at.isoformat()}|{total}"
        name = f"row {hashlib.sha256(content.encode()).hexdigest()[:32]}"
    raw = ",".join(cells.values())[:4_000]
    return intake.Message(id=name, press=press, die=die, total=total, at=at, with_stock=YES_NO[stock], raw=raw)


def _moment(text: str) -> dt.datetime:
    time = TIME.fullmatch(text)
    try:
        if time is None:
            raise ValueError
        day, clock, zone = time.groups()
        moment = dt.datetime.fromisoformat(f"{day}T{clock}{'+00:00' if zone in ('Z', 'z') else zone or ''}")
    except ValueError:
        raise ValueError(f"{text[:40]!r} is not a date and time, such as 2026-11-25T14:05:00+01:00.") from None
    if not 1900 <= moment.year <= 2200:
        raise ValueError(f"the year {moment.year} cannot be.")
    if moment.tzinfo is None:
        here = timezone.get_default_timezone()
        first, second = (moment.replace(tzinfo=here, fold=fold).utcoffset() for fold in (0, 1))
        if first != second:
            raise ValueError(f"the clocks changed at {text[:40]}: write the time zone behind it.")
        moment = moment.replace(tzinfo=here)
    return moment.astimezone(dt.UTC)


def _shortened(sentences: list[str]) -> list[str]:
    more = len(sentences) - SAID_AT_MOST
    return [*sentences[:SAID_AT_MOST], *([f"And {more:,} more."] if more > 0 else [])]


def _move(path: Path, to: Path) -> Path:
    """Into another folder, under a name that nothing has there."""
    to.mkdir(exist_ok=True)
    aim, n = to / path.name, 1
    while aim.exists() or aim.with_name(aim.name + ".txt").exists():
        n += 1
        aim = to / f"{path.stem} {n}{path.suffix}"
    return path.rename(aim)
