"""What the page of a book shows: sheets, columns, questions, rows as understood, and what would come of it."""

from __future__ import annotations

import datetime as dt
import re
from dataclasses import dataclass, field

from django.utils.formats import date_format
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop, ngettext

from maintenance.history.columns import TABLES
from maintenance.workbooks import exact
from maintenance.workbooks.pure.forms import Day
from maintenance.workbooks.pure.sheets import FIELDS, LENGTHS, SORTS, SURE, WHAT, Column, Layout
from maintenance.workbooks.pure.understood import Assumed, Gap, SheetRead
from maintenance.workbooks.take import EXACT, Looked, Outcome

ROWS_SHOWN = 12
PROBLEMS_SHOWN = 13
LINES_SHOWN = 25
_UNITS = {"hardness_hrc": "HRC", "tensile_mpa": "MPa", "hours": "h", "lead_days": "days"} | dict.fromkeys(LENGTHS, "mm")


@dataclass(frozen=True)
class Choice:
    value: str
    label: str
    picked: bool = False


@dataclass(frozen=True)
class Asked:
    """Something assumed, as a question with its answers. name: of the field that answers it."""

    name: str
    text: str
    choices: tuple[Choice, ...]
    cells: tuple[str, ...]
    open: bool
    asks: bool
    free: bool = False
    typed: str = ""

    @property
    def as_list(self) -> bool:
        return len(self.choices) > 4


@dataclass(frozen=True)
class Cell:
    text: str
    written: str = ""
    wrong: str = ""


@dataclass(frozen=True)
class Line:
    number: int
    cells: list[Cell]
    wrong: list[str]


@dataclass(frozen=True)
class ShownColumn:
    letter: str
    index: int
    heading: str
    samples: str
    choices: tuple[Choice, ...]
    unsure: bool
    taken: bool


@dataclass
class ShownSheet:
    number: int
    name: str
    sort: str
    sort_name: str
    unsure: bool
    sorts: tuple[Choice, ...]
    heading: int
    columns: list[ShownColumn] = field(default_factory=list)
    asked: list[Asked] = field(default_factory=list)
    assumed: list[Asked] = field(default_factory=list)
    heads: list[str] = field(default_factory=list)
    lines: list[Line] = field(default_factory=list)
    rows: int = 0
    problems: int = 0
    skipped: str = ""
    missing: str = ""
    hidden: bool = False
    exact: bool = False

    @property
    def open(self) -> int:
        return sum(a.open for a in self.asked) + bool(self.missing)


def tabs(looked: Looked, outcome: Outcome, may_all: bool) -> list[ShownSheet]:
    """The sheets in short, for the row of tabs."""
    return [_sheet(looked, n, outcome, may_all, whole=False) for n in range(len(looked.grids))]


def sheet(looked: Looked, number: int, outcome: Outcome, *, may_all: bool) -> ShownSheet:
    return _sheet(looked, number, outcome, may_all, whole=True)


def asked(said: Assumed, prefix: str) -> Asked:
    choices = tuple(Choice(o.value, o.label, o.value == said.chosen and not said.is_open) for o in said.options)
    typed = said.chosen if said.free else ""
    return Asked(f"{prefix}{said.key}", said.text, choices, said.cells, said.is_open, said.asks, said.free, typed)


def _sheet(looked: Looked, number: int, outcome: Outcome, may_all: bool, *, whole: bool) -> ShownSheet:
    grid, laid, rows = looked.grids[number], looked.layouts[number], looked.reads[number]
    table = exact.table_of(grid)
    is_exact = number in looked.exact
    sorts = [Choice("", _("nothing that is taken"), not laid.sort and not is_exact)]
    if table is not None and (may_all or table.file == "spares.csv"):
        sorts.append(
            Choice(
                EXACT,
                _("the service's own form: {table}").format(table=table.file.removesuffix(".csv")),
                is_exact,
            )
        )
    sorts += [Choice(k, _(v), k == laid.sort) for k, v in SORTS.items() if may_all or k in ("stock", "prices")]
    made = ShownSheet(
        number=number,
        name=grid.name,
        sort=laid.sort,
        sort_name=_("as the service wrote it") if is_exact else _(SORTS.get(laid.sort, gettext_noop("not taken"))),
        unsure=bool(laid.sort) and laid.sure < SURE,
        sorts=tuple(sorts),
        heading=(laid.heading or 0) + 1,
        rows=max(len(grid.rows) - 1, 0) if is_exact else len(rows.rows),
        problems=sum(p.sheet == number for p in outcome.problems),
        hidden=grid.hidden,
        exact=is_exact,
    )
    if laid.sort:
        made.missing = "; ".join(_(" or ").join(_(WHAT[f]) for f in group) for group in laid.missing)
    if laid.sort or whole:
        made.asked = [asked(a, "answer-") for a in rows.assumed if a.asks]
    if not whole or is_exact:
        return made
    made.assumed = [asked(a, "answer-") for a in rows.assumed if not a.asks]
    made.columns = columns_of(grid, laid)
    made.skipped = skipped_words(rows)
    _preview(made, grid, laid.columns, rows, outcome, number)
    return made


def columns_of(grid, laid: Layout) -> list[ShownColumn]:
    """What each column is taken for, with the first things that stand in it and all that it could be."""
    made = []
    first = (laid.heading or 0) + 1 + laid.units_row
    for column in laid.columns:
        values = [
            str(_short(row[column.index]))
            for row in grid.rows[first : first + 60]
            if column.index < len(row) and row[column.index] is not None
        ]
        if not column.heading and not values:
            continue
        fields = FIELDS.get(laid.sort, ())
        choices = (
            Choice("", _("not taken"), not column.field),
            *(Choice(f, _(WHAT[f]), f == column.field) for f in fields),
        )
        made.append(
            ShownColumn(
                column.letter,
                column.index,
                column.heading,
                " · ".join(dict.fromkeys(values[:3])),
                choices,
                bool(column.field) and column.sure < 0.7,
                bool(column.field),
            )
        )
    return made


def _preview(
    made: ShownSheet, grid, columns: tuple[Column, ...], rows: SheetRead, outcome: Outcome, number: int
) -> None:
    taken = [c for c in columns if c.field]
    has_die = any(c.field == "die" for c in taken)
    made.heads = ([] if has_die or not any("die" in r.values for r in rows.rows[:1]) else [_(WHAT["die"])]) + [
        _(WHAT[c.field]) for c in taken
    ]
    wrong: dict[int, list] = {}
    for placed in [*outcome.problems, *outcome.doubts]:
        if placed.sheet == number:
            wrong.setdefault(placed.row, []).append(placed)
    by_number = {r.number: r for r in rows.rows}
    shown = [r.number for r in rows.rows[:ROWS_SHOWN]]
    shown += [n for n in sorted(wrong) if n not in set(shown)][:PROBLEMS_SHOWN]
    fields = {c.field for c in taken}
    for n in sorted(shown):
        said = by_number.get(n)
        cells = [] if len(made.heads) == len(taken) else [Cell(str(said.values.get("die", "")) if said else "")]
        for column in taken:
            value = said.values.get(column.field) if said else None
            written = grid.cell(n - 1, column.index) if n - 1 < len(grid.rows) else None
            text = shown_value(column.field, value)
            at_cell = " ".join(p.text for p in wrong.get(n, ()) if p.field == column.field)
            plain = str(_short(written)) if written is not None else ""
            cells.append(Cell(text, plain if plain != text and not _alike(plain, text) else "", at_cell))
        made.lines.append(Line(n, cells, [p.text for p in wrong.get(n, ()) if p.field not in fields]))


def _alike(written: str, text: str) -> bool:
    return written.strip() == text or text in (f"{written} mm", f"{written} HRC", f"{written} %", f"{written} MPa")


def shown_value(name: str, value: object) -> str:
    if value is None:
        return ""
    if isinstance(value, Day):
        m = value.moment
        return date_format(m, "j M Y, H:i" if value.timed else "j M Y")
    if isinstance(value, dt.time):
        return f"{value:%H:%M}"
    if isinstance(value, Gap):
        return f"{value.value:g} {value.unit}"
    if isinstance(value, int):
        return _("{n:,} days").format(n=value) if name == "lead_days" else f"{value:,}"
    if isinstance(value, float):
        return f"{value:,.6g} {_UNITS.get(name, '')}".strip()
    return str(value)


def _short(value: object) -> object:
    if isinstance(value, dt.datetime):
        return f"{value:%Y-%m-%d}" if value.time() == dt.time() else f"{value:%Y-%m-%d %H:%M}"
    return str(value)[:40]


def skipped_words(rows: SheetRead) -> str:
    """The rows that are not taken, by why: '3 rows left out: a sum of other rows (9, 21), hidden (14)'."""
    by_why: dict[str, list[int]] = {}
    for n, why in rows.skipped:
        by_why.setdefault(_("a die's name for the rows below") if why.startswith("die ") else _(why), []).append(n)
    if not by_why:
        return ""
    parts = []
    for why, numbers in by_why.items():
        some = ", ".join(map(str, numbers[:5])) + (" ..." if len(numbers) > 5 else "")
        parts.append(_("{why} (row {some})").format(why=why, some=some))
    n = len(rows.skipped)
    return ngettext("{n:,} row is not data: {parts}.", "{n:,} rows are not data: {parts}.", n).format(
        n=n, parts="; ".join(parts)
    )


WORDS = {
    "replacements": gettext_noop("first pieces"),
    "movements of spares": gettext_noop("shelf moves"),
    "sets of inserts": gettext_noop("sets of inserts"),
    "parts of dies": gettext_noop("parts a hit"),
    "stocks": gettext_noop("strip stocks"),
    "positions": gettext_noop("places"),
}
TABLE_NAMES = [table.file.removesuffix(".csv") for table in TABLES]


_CALLED = re.compile(r", ([a-z_]+)(?=$|: )")
_OF_REGISTER = WHAT | {"usual_stock": "strip stock", "usual_press": "press", "gap_mm": "gap, mm", "item": "spare"}


def worded(said: str) -> str:
    """A change of the register with its column in words: 'PP-6, price of one: 10 here, 12.5 in the file'."""
    return _CALLED.sub(lambda m: f", {_OF_REGISTER.get(m[1], m[1].replace('_', ' '))}", said, count=1)


def counted(counts: dict[str, int]) -> list[tuple[str, int]]:
    """What would be added or stood already, in words, the most telling first."""
    order = ["dies", "positions", "pieces", "spares", "runs", "sharpenings", "movements of spares"]
    names = sorted(counts, key=lambda w: (order.index(w) if w in order else len(order), w))
    return [(WORDS.get(name, name), counts[name]) for name in names]
