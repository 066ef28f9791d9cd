"""PURE. What came of reading a sheet: its rows, what had to be assumed, what is wrong."""

from __future__ import annotations

from dataclasses import dataclass, field

from .sheets import SURE, Layout, letter

UNSURE = 0.6  # less sure than this is not taken before somebody has answered


@dataclass(frozen=True)
class Option:
    value: str
    label: str


@dataclass(frozen=True)
class Assumed:
    """What was taken for granted. key: by which a person answers otherwise. column: from 0, None: of the whole sheet.
    cells: what it rests on, as "B5: 1.234". options: what else it could be; none: there is nothing to choose."""

    key: str
    text: str
    sure: float
    chosen: str = ""
    options: tuple[Option, ...] = ()
    column: int | None = None
    cells: tuple[str, ...] = ()
    free: bool = False  # answered by a text, not by an option

    @property
    def asks(self) -> bool:
        return self.sure < SURE

    @property
    def is_open(self) -> bool:
        """Whether nothing goes on before a person has answered."""
        return self.sure < UNSURE or (self.free and not self.chosen)


@dataclass(frozen=True)
class Problem:
    """Of one cell, or of a row (column None). grave: the row cannot be taken as it is."""

    row: int  # from 1, as the spreadsheet numbers them
    column: int | None
    text: str
    grave: bool = True
    field: str = ""

    @property
    def cell(self) -> str:
        return f"{letter(self.column)}{self.row}" if self.column is not None else f"row {self.row}"


@dataclass(frozen=True)
class Gap:
    """A gap per side: in % of the thickness, or in mm."""

    value: float
    unit: str


@dataclass(frozen=True)
class Price:
    """A price in a list of the buyer. currency: as written beside it or in the heading, '' where none stands."""

    value: float
    currency: str = ""


@dataclass
class ReadRow:
    """number: from 1. values: field -> text, number, Day, time, Gap or Figure-like value in the stored unit."""

    number: int
    values: dict[str, object]


@dataclass
class SheetRead:
    name: str
    layout: Layout
    rows: list[ReadRow] = field(default_factory=list)
    assumed: list[Assumed] = field(default_factory=list)
    problems: list[Problem] = field(default_factory=list)
    skipped: list[tuple[int, str]] = field(default_factory=list)

    @property
    def sort(self) -> str:
        return self.layout.sort

    @property
    def questions(self) -> list[Assumed]:
        return [a for a in self.assumed if a.asks]
