"""PURE. One cell of a history folder: text to value and value to text, each the other's inverse."""

from __future__ import annotations

import csv
import datetime as dt
import re
from collections.abc import Callable
from decimal import Decimal

from .columns import Column, Sort
from .problems import BadCell

CELL_AT_MOST = 10_000  # characters
_NUMBER = re.compile(r"[+-]?([0-9]{1,30}(\.[0-9]{0,30})?|\.[0-9]{1,30})([eE][+-]?[0-9]{1,3})?")
_WHOLE = re.compile(r"[+-]?[0-9]{1,18}(\.0{0,6})?")
_MONEY = re.compile(r"[+-]?[0-9]{1,18}(\.[0-9]{0,20})?")
_RISKY = "=+-@\t\r"  # a spreadsheet takes text that begins so for a formula
EARLIEST = dt.datetime(1950, 1, 1, tzinfo=dt.UTC)
YES, NO = {"yes", "y", "true", "1"}, {"no", "n", "false", "0"}


def shown(text: str) -> str:
    """A cell as it is quoted in a message: never at length, never with control characters."""
    short = text if len(text) <= 40 else text[:40] + "..."
    return repr(short)


class Clockwork:
    """Reads times: those without an offset in the shop's zone (and counts them), none later than `latest`."""

    def __init__(self, zone: dt.tzinfo, latest: dt.datetime | None) -> None:
        self.zone, self.latest = zone, latest
        self.without_offset = 0

    def read(self, text: str, *, past: bool) -> dt.datetime:
        try:
            moment = dt.datetime.fromisoformat(text)
            if moment.tzinfo is None:
                self.without_offset += 1
                moment = self._of_the_shop(moment, text)
            moment = moment.astimezone(dt.UTC)
        except BadCell:
            raise
        except (ValueError, OverflowError):
            raise BadCell(f"{shown(text)} is not a time. Write it like 2026-03-31T14:05:00+00:00.") from None
        if moment < EARLIEST:
            raise BadCell(f"{shown(text)} is too long ago. Check the year.")
        if past and self.latest is not None and moment > self.latest:
            raise BadCell(f"{shown(text)} is still to come. Enter when it happened.")
        return moment

    def _of_the_shop(self, moment: dt.datetime, text: str) -> dt.datetime:
        """In the shop's zone. An hour that summer time leaves out, or has twice, is no time by itself."""
        first, second = (moment.replace(tzinfo=self.zone, fold=fold) for fold in (0, 1))
        if first.utcoffset() != second.utcoffset():
            raise BadCell(f"{shown(text)}: the clocks changed in that hour. Write the offset, such as +01:00.")
        return first


def reader(column: Column, clockwork: Clockwork) -> Callable[[str], object]:
    """The function that reads a cell of this column, not empty; it raises BadCell with the reason."""
    match column.sort:
        case Sort.WHOLE:
            return lambda text: _in_range(_whole(text.strip()), column)
        case Sort.NUMBER:
            return lambda text: _in_range(_number(text.strip()), column)
        case Sort.MONEY:
            return lambda text: _in_range(_money(text.strip()), column)
        case Sort.TIME:
            return lambda text: clockwork.read(text.strip(), past=column.past)
        case Sort.DATE:
            return lambda text: _date(text.strip())
        case Sort.YES_NO:
            return lambda text: _yes_no(text.strip())
        case Sort.LIST:
            return lambda text: _list(_short(_plain(text.strip()), column))
        case Sort.WORDS:
            return lambda text: _short(_plain(text), column)
    if column.choices:
        words = {choice: choice for choice in column.choices}
        return lambda text: words.get(text) or _choice(text.strip(), column)
    return lambda text: _short(_plain(text.strip()), column)


def written(value: object) -> str:
    """A value as a cell; None is an empty one."""
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, str):
        return _guarded(value)
    if isinstance(value, float):
        text = repr(value)
        return text[:-2] if text.endswith(".0") else text
    if isinstance(value, dt.datetime):
        return value.astimezone(dt.UTC).isoformat()
    if isinstance(value, dt.date):
        return value.isoformat()
    if isinstance(value, Decimal):
        text = f"{value:f}"
        return text.rstrip("0").rstrip(".") if "." in text else text
    if isinstance(value, (tuple, list)):
        return _guarded(";".join(quoted(item, ";") for item in value))
    return str(value)


def line_of(cells: list[str]) -> str:
    """The cells as one line of CSV. Every character that could split a cell is inside quotes."""
    if cells == [""]:
        return '""\n'
    return ",".join([quoted(cell, ",") for cell in cells]) + "\n"


def quoted(text: str, mark: str) -> str:
    if text.isalnum() or not any(sign in text for sign in (mark, '"', "\n", "\r")):
        return text
    return '"' + text.replace('"', '""') + '"'


def _guarded(text: str) -> str:
    """Text that a spreadsheet would take for a formula gets a ' before it, as does text that looks so guarded."""
    first = text[:1]
    if first and first in _RISKY and not _NUMBER.fullmatch(text):
        return "'" + text
    if first == "'" and text[1:2] and text[1] in _RISKY + "'":
        return "'" + text
    return text


def _plain(text: str) -> str:
    if text[:1] == "'" and text[1:2] and text[1] in _RISKY + "'":
        return text[1:]
    return text


def _short(text: str, column: Column) -> str:
    if len(text) > column.longest:
        raise BadCell(f"{shown(text)} has {len(text):,} characters; {column.longest:,} is the most.")
    return text


def _list(text: str) -> tuple[str, ...]:
    try:
        rows = list(csv.reader([text], delimiter=";", strict=True))
    except csv.Error:
        raise BadCell(f"{shown(text)} is not a list. Put ; between its items.") from None
    return tuple(item.strip() for row in rows for item in row if item.strip())


def _choice(text: str, column: Column) -> str:
    word = " ".join(text.replace("_", " ").split()).casefold()
    if word not in column.choices:
        raise BadCell(f"{shown(text)} is not one of: {', '.join(column.choices)}.")
    return word


_GROUP = re.compile(r"[+-]?[1-9][0-9]{0,2}\.000")


def _whole(text: str) -> int:
    if _GROUP.fullmatch(text):
        thousands, one = text.replace(".", ""), text.partition(".")[0]
        raise BadCell(f"{shown(text)} could be {int(thousands):,} or {one}. Write {thousands}, or {one}.")
    if not _WHOLE.fullmatch(text):
        raise BadCell(f"{shown(text)} is not a whole number." + _hint(text))
    return int(text.partition(".")[0])


def _number(text: str) -> float:
    if not _NUMBER.fullmatch(text):
        raise BadCell(f"{shown(text)} is not a number." + _hint(text))
    value = float(text)
    if value in (float("inf"), float("-inf")):
        raise BadCell(f"{shown(text)} is too large.")
    return value


def _money(text: str) -> Decimal:
    if not _MONEY.fullmatch(text):
        raise BadCell(f"{shown(text)} is not an amount of money." + _hint(text))
    value = Decimal(text)
    if value != value.quantize(Decimal("0.0001")):
        raise BadCell(f"{shown(text)} has more than four decimals.")
    return value


def _hint(text: str) -> str:
    if text.casefold() in ("nan", "inf", "-inf", "n/a", "na", "null", "none", "-", "?"):
        return " Leave the cell empty where nothing is known."
    if re.search(r"[0-9][,'\s_][0-9]", text):
        return " Write a point before the decimals and nothing between the thousands."
    if found := re.fullmatch(r"([0-9.]+)\s*(?:-|–|to|bis)\s*([0-9.]+)", text):
        return f" Write one number: of {found[1]} to {found[2]} the middle."
    if found := re.fullmatch(r"(?:[a-zA-Z~≈%€$]+\.?\s*)?([+-]?[0-9]*\.?[0-9]+)\s*[a-zA-Z%\"'″µ²/€$]*", text[:30]):
        return f" Write {found[1]} alone: the unit stands in the column's name, and the number is in that unit."
    return ""


def _in_range(value, column: Column):
    if column.above is not None and value <= column.above:
        raise BadCell(f"{_figure(value)} cannot be: it must be more than {column.above:g}.")
    if column.at_least is not None and value < column.at_least:
        raise BadCell(f"{_figure(value)} cannot be: {column.at_least:,.15g} is the least.")
    if column.at_most is not None and value > column.at_most:
        raise BadCell(f"{_figure(value)} cannot be: {column.at_most:,.15g} is the most.")
    return value


def _figure(value) -> str:
    return f"{value:,}" if isinstance(value, int) else f"{value:.6g}"


def _date(text: str) -> dt.date:
    try:
        day = dt.date.fromisoformat(text)
    except ValueError:
        raise BadCell(f"{shown(text)} is not a date. Write it like 2026-03-31.") from None
    if not 1950 <= day.year <= 2200:
        raise BadCell(f"{shown(text)} cannot be. Check the year.")
    return day


def _yes_no(text: str) -> bool:
    word = text.casefold()
    if word in YES:
        return True
    if word in NO:
        return False
    raise BadCell(f"{shown(text)} is neither yes nor no.")
