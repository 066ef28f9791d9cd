"""PURE. The rows of a sheet, read by its layout; what had to be assumed is said, what is not sure is asked.

Decimal sign and order of day and month are decided for a whole column, over all its values: a value that could be two
things is read as those that could not. Everything assumed comes back as `Assumed`, with the cells that it rests on.
"""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Callable, Iterator, Mapping

from diestore import units

from . import forms
from .decided import CELLS_SHOWN, DIE_TITLE, Decisions
from .forms import POINT, Figure, Unreadable, folded, is_nothing, quoted
from .sheets import BUYING, CODES, DAYS, FIGURES, IN_UNITS, LENGTHS, MOMENTS, PIECES, WHAT, WHOLES, Column, Grid, Layout
from .understood import Gap, Option, Price, ReadRow, SheetRead
from .vocabulary import SUMS, UNIT_WORDS, best

ROWS_AT_MOST = 200_000


def read(
    grid: Grid,
    laid: Layout,
    *,
    answers: Mapping[str, str] | None = None,
    system: str = "metric",
    book: str = "",
    before: Mapping[tuple[str, str], str] | None = None,
) -> SheetRead:
    """The rows of a sheet. answers: key of what is assumed -> what a person chose. before: what was chosen for files
    before, (what, heading as `folded` makes it) -> choice."""
    return _Reader(grid, laid, answers or {}, system, book, before or {}).read()


class _Reader(Decisions):
    def read(self) -> SheetRead:
        if not self.laid.sort or self.laid.heading is None:
            return self.out
        rows = list(self._rows())
        self.values = {c.index: [(n, self.grid.cell(n, c.index)) for n in rows] for c in self.columns}
        self._signs()
        for column in self.columns:
            if column.field in DAYS | MOMENTS:
                self._days(column)
            if column.field in LENGTHS | {"gap", "tensile_mpa", "lead_days", *IN_UNITS}:
                self._units(column)
            if column.field in CODES | {"kind", "material"}:
                self._filled_down(column)
        self._die_of_sheet()
        self._readings(rows)
        self._counts()
        return self.out

    # --- rows ------------------------------------------------------------------------------------------------------

    def _rows(self) -> Iterator[int]:
        heading = [folded(str(c)) for c in self.grid.rows[self.laid.heading or 0] if not is_nothing(c)]
        hidden = [
            n for n in range(self.first, len(self.grid.rows)) if n + 1 in self.grid.hidden_rows and self._filled(n)
        ]
        take_hidden = True
        if hidden:
            take_hidden = (
                self._assume(
                    "hidden",
                    f"{len(hidden):,} hidden {'row' if len(hidden) == 1 else 'rows'}: left out, or taken too?",
                    0.5,
                    (Option("leave", "leave them out"), Option("take", "take them too")),
                    cells=tuple(f"row {n + 1}" for n in hidden[:CELLS_SHOWN]),
                )
                == "take"
            )
        if self.grid.filled:
            self._assume(
                "merged",
                f"Merged cells: each of the {self.grid.filled:,} cells below takes the value of its block.",
                0.9,
            )
        sums = self._sums()
        for n in range(self.first, len(self.grid.rows)):
            if not self._filled(n):
                continue
            if n + 1 in self.grid.hidden_rows and not take_hidden:
                self.out.skipped.append((n + 1, "hidden"))
            elif why := sums.get(n):
                self.out.skipped.append((n + 1, why))
            elif [folded(str(c)) for c in self.grid.rows[n] if not is_nothing(c)] == heading:
                self.out.skipped.append((n + 1, "the heading again"))
            elif len(self.out.problems) < 10_000 and n - self.first < ROWS_AT_MOST:
                yield n
        for row, column in sorted(self.grid.unkept)[:50]:
            if row - 1 >= self.first and any(c.index == column for c in self.columns):
                self._problem(
                    row - 1,
                    column,
                    "This is a formula, and the file holds no value of it. Open the file in the "
                    "spreadsheet program, save it and bring it again, or type the value.",
                    grave=False,
                )

    def _filled(self, n: int) -> bool:
        return any(not is_nothing(self.grid.cell(n, c.index)) for c in self.columns)

    def _sums(self) -> dict[int, str]:
        """Rows that add others up, or only carry words: never data."""
        found: dict[int, str] = {}
        day = next((c.index for c in self.columns if c.field in DAYS | MOMENTS), None)
        whole = [
            c.index for c in self.columns if c.field in ("hits", "quantity", "on_hand", "good_parts", "removed_mm")
        ]
        keys = [c.index for c in self.columns if c.field in ("die", "date", "spare", "position", "started", "kind")]
        running = dict.fromkeys(whole, 0.0)
        for n in range(self.first, len(self.grid.rows)):
            cells = self.grid.rows[n]
            texts = [folded(c) for c in cells if isinstance(c, str) and c.strip()]
            if any(t.split()[:1] and (t in SUMS or (t.split()[0] in SUMS and len(t.split()) <= 3)) for t in texts) and (
                day is None or is_nothing(self.grid.cell(n, day)) or not _day_like(self.grid.cell(n, day))
            ):
                found[n] = "a sum of other rows"
                continue
            filled = [c for c in cells if not is_nothing(c)]
            if len(filled) == 1 and isinstance(filled[0], str) and len(self.columns) >= 2:
                code = DIE_TITLE.search(filled[0])
                found[n] = "words only" if code is None or self.laid.column("die") else f"die {code['code'].strip()}"
                continue
            numbers = {
                i: float(c)
                for i in whole
                if isinstance(c := self.grid.cell(n, i), (int, float)) and not isinstance(c, bool)
            }
            bare = keys and all(is_nothing(self.grid.cell(n, i)) for i in keys)
            if bare and any(v == running[i] and v for i, v in numbers.items()) and n > self.first + 1:
                found[n] = "a sum of other rows"
                continue
            for i, v in numbers.items():
                running[i] += v
        return found

    # --- rows read -------------------------------------------------------------------------------------------------

    def _readings(self, rows: list[int]) -> None:
        cells = {c.index: dict(self.values[c.index]) for c in self.columns}
        readers = [(c, self._reader(c)) for c in self.columns]
        headed = [(n - 1, why[4:]) for n, why in self.out.skipped if why.startswith("die ")]
        at, current = 0, self.die
        tallies: dict[str, list[tuple[int, str]]] = {}
        for n in rows:
            while at < len(headed) and headed[at][0] < n:
                current, at = headed[at][1], at + 1
            values: dict[str, object] = {"die": current} if current else {}
            for column, reading in readers:
                value = cells[column.index][n]
                if is_nothing(value):
                    continue
                try:
                    made = reading(value)
                except Unreadable as error:
                    self._problem(n, column.index, str(error), field=column.field)
                    continue
                except units.UnitError as error:
                    self._problem(n, column.index, str(error), field=column.field)
                    continue
                if made is not None:
                    values[column.field] = made
                    if isinstance(value, str) and column.field in ("hardness_hrc", "gap", *LENGTHS):
                        self._note_form(tallies, column, n, value)
            if (values and set(values) != {"die"}) or (values and self.laid.column("die")):
                self.out.rows.append(ReadRow(n + 1, values))
        for key, seen in tallies.items():
            index, what = key.split(":", 1)
            column = next(c for c in self.columns if c.index == int(index))
            words = {"range": "a range is taken as its middle", "about": "“about” is left out"}[what]
            self._assume(
                f"{what}:{index}",
                f"{self._named(column)}: {words}.",
                0.85,
                column=column,
                cells=self._cells(column, seen),
            )

    def _note_form(self, tallies: dict, column: Column, n: int, text: str) -> None:
        shown = forms.figure(text, self.sign.get(column.index, POINT))
        if shown.low is not None:
            tallies.setdefault(f"{column.index}:range", []).append((n, text))
        if shown.about:
            tallies.setdefault(f"{column.index}:about", []).append((n, text))

    def _reader(self, column: Column) -> Callable[[object], object]:
        name, i = column.field, column.index
        if name in DAYS:
            return lambda v: forms.day(v, order=self.order[i], year=self.year[i])
        if name in MOMENTS:
            return lambda v: self._moment(v, i)
        if name == "time":
            return forms.clock
        if name == "gap":
            return lambda v: self._gap(v, i)
        if name == "unit_price" and self.laid.sort in BUYING:
            return lambda v: self._price(v, column)
        if name in WHOLES:
            return lambda v: self._whole(v, column)
        if name in FIGURES:
            return lambda v: self._value(v, column)
        if name in ("reason", "found", "status", "side"):
            return lambda v: _word(name, v)
        if name == "kind":
            return lambda v: _text(v)
        return lambda v: _code(v) if name in CODES else _text(v)

    def _moment(self, value: object, i: int) -> object:
        try:
            return forms.day(value, order=self.order[i], year=self.year[i])
        except Unreadable:
            return forms.clock(value)

    def _figure(self, value: object, column: Column) -> Figure:
        if isinstance(value, bool) or not isinstance(value, (int, float, str)):
            shown = value.strftime("%d %b %Y") if isinstance(value, dt.datetime) else str(value)
            raise Unreadable(f"{quoted(shown)} stands here as a date or yes/no, not as a number. Write the number.")
        if isinstance(value, str) and value.lstrip().startswith("="):
            raise Unreadable(f"{quoted(value)} is a formula. Write the number that it comes to.")
        if isinstance(value, str):
            return forms.figure(value, self.sign.get(column.index, POINT))
        return Figure(float(value))

    def _whole(self, value: object, column: Column) -> int:
        figure = self._figure(value, column)
        number = figure.value * (1_000 if column.unit == "thousand" else 1)
        if column.field in PIECES or (column.field == "quantity" and self.laid.sort in BUYING):
            self._in_pieces(value, figure, column)
        if column.field == "lead_days":
            known = UNIT_WORDS.get(folded(figure.unit), "") if figure.unit else ""
            if known not in ("", "days", "weeks", "months"):
                raise Unreadable(f"{quoted(value)} is no time. Write the days, or weeks or months behind the number.")
            unit = {"weeks": 7, "months": 30}.get(
                UNIT_WORDS.get(folded(figure.unit), self.unit.get(column.index, "days")), 1
            )
            number *= unit
        if abs(number - round(number)) > 1e-6:
            if column.field == "lead_days" or figure.low is not None or figure.about:
                return round(number)
            raise Unreadable(f"{quoted(value)} is not a whole number. Write it without a fraction.")
        return round(number)

    def _in_pieces(self, value: object, figure: Figure, column: Column) -> None:
        """Raises Unreadable where pieces are said in a unit of something else."""
        for unit in (figure.unit, column.unit):
            known = UNIT_WORDS.get(folded(unit), "") if unit else ""
            if known not in ("", "thousand") or unit in ('"', "''", "″"):
                raise Unreadable(f"{quoted(value)} is in {known or 'inches'}, not in pieces. Write how many.")

    def _price(self, value: object, column: Column) -> Price:
        figure = self._figure(value, column)
        units_said = [_currency(unit) for unit in (figure.unit, column.unit) if unit]
        if None in units_said:
            raise Unreadable(f"{quoted(value)} is no price of one. Write the price of one piece.")
        return Price(figure.value, next((unit for unit in units_said if unit), ""))

    def _value(self, value: object, column: Column) -> float:
        figure = self._figure(value, column)
        unit = _unit_of(figure.unit) or ""
        if column.field in LENGTHS:
            unit = unit or self.unit.get(column.index, "mm")
            return _converted(figure.value, unit, "mm", figure.unit)
        if column.field in IN_UNITS:
            to = IN_UNITS[column.field][0]
            return _converted(figure.value, unit or self.unit.get(column.index, to), to, figure.unit)
        if column.field == "tensile_mpa":
            return _converted(figure.value, unit or self.unit.get(column.index, "MPa"), "MPa", figure.unit)
        if column.field == "hardness_hrc":
            if unit not in ("", "HRC"):
                raise Unreadable(
                    f"{quoted(value)} is not in HRC. Write Rockwell C, or leave it empty: scales are not converted."
                )
            return figure.value
        return figure.value

    def _gap(self, value: object, i: int) -> Gap:
        figure = self._figure(value, next(c for c in self.columns if c.index == i))
        unit = _unit_of(figure.unit) or self.unit.get(i, "%")
        amount = figure.value / (2 if self.half.get(i) else 1)
        return Gap(amount, "%") if unit == "%" else Gap(_converted(amount, unit, "mm", figure.unit), "mm")


_CURRENCIES = frozenset({"EUR", "USD", "CHF", "PLN", "GBP"})
_EACH = re.compile(r"^(?:/|per|je|pro|a|each)?\s*(?:1\s*)?(?:pcs?|pieces?|each|ea|stk|st|stuck)?\.?,?-*$", re.I)


def _currency(unit: str) -> str | None:
    """A currency, '' where a price is said to be of a piece; None where it is something else."""
    plain = {"€": "EUR", "£": "GBP"}.get(unit.strip(), unit.strip())
    if plain.upper() in _CURRENCIES or UNIT_WORDS.get(folded(plain)) in _CURRENCIES:
        return UNIT_WORDS.get(folded(plain), plain.upper())
    return "" if _EACH.match(plain) else None


def _day_like(value: object) -> bool:
    return isinstance(value, (dt.datetime, int, float)) or (
        isinstance(value, str) and forms.day_marks(value) is not None
    )


def _unit_of(text: str) -> str | None:
    """A unit as written behind a figure, in the spelling of `diestore.units`; None where nothing stands there."""
    text = text.strip().strip("()[]").rstrip(".")
    if not text:
        return None
    if text in ('"', "''", "″", "”"):
        return "in"
    known = UNIT_WORDS.get(folded(text.replace("²", "2")))
    return known if known else text


def _converted(value: float, unit: str, to: str, written: str) -> float:
    if unit == to:
        return value
    try:
        return round(units.convert(value, unit, to), 9)
    except units.UnitError:
        raise Unreadable(
            f"{quoted(written)} is not a unit for this. Write {to}, or inch or mm behind the number."
        ) from None


def _text(value: object) -> str:
    if isinstance(value, float) and value == int(value):
        return str(int(value))
    return " ".join(str(value).split())


def _code(value: object) -> str:
    if isinstance(value, (dt.datetime, dt.date)):
        raise Unreadable(
            f"A date stands here ({value:%d %b %Y}): spreadsheets make one of a code such as 1-2. "
            "Write the code as text."
        )
    if isinstance(value, bool):
        raise Unreadable("Yes or no stands here, not a code.")
    return _text(value)


def _word(what: str, value: object) -> str:
    text = _text(value)
    word, sure = best(what, text)
    if sure < 0.55:
        if what == "reason":
            return f"other: {text}"
        raise Unreadable(f"{quoted(text)} is not a word for {WHAT[what]} that is known here.")
    return word
