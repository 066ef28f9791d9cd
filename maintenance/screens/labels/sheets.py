"""PURE. Sheets of labels by their sizes: what is sold everywhere. Common practice, no source; sizes from memory, to be
held against the sheet before a stack of them is printed."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from diestore import units
from diestore.texts import gettext as _

A4 = (210.0, 297.0)
LETTER = (215.9, 279.4)


@dataclass(frozen=True, kw_only=True)
class Sheet:
    """All in mm. left, top: from the paper's edges to the first label. across, down: from one label to the next."""

    key: str
    paper: tuple[float, float]
    width: float
    height: float
    columns: int
    rows: int
    left: float
    top: float
    across: float
    down: float

    @property
    def labels(self) -> int:
        return self.columns * self.rows

    def name_in(self, system: str) -> str:
        """How it is picked, its labels' size in the units of the person."""
        wide, high = (units.show(size, "length_mm", system) for size in (self.width, self.height))
        said = _("{n} on A4, {wide} × {high}") if self.paper == A4 else _("{n} on letter paper, {wide} × {high}")
        return said.format(n=self.labels, wide=wide, high=high)

    def places(self, n: int, first: int = 1) -> Iterator[tuple[int, float, float]]:
        """For so many labels from a place on the first sheet on: the sheet, and mm from the paper's left and top."""
        for i in range(first - 1, first - 1 + n):
            sheet, place = divmod(i, self.labels)
            row, column = divmod(place, self.columns)
            yield sheet, self.left + column * self.across, self.top + row * self.down


def _a4(width: float, height: float, columns: int, rows: int, across: float) -> Sheet:
    """Centred on A4, rows without a space between them."""
    return Sheet(
        key=f"a4-{columns * rows}", paper=A4, width=width, height=height, columns=columns, rows=rows,
        left=(A4[0] - (columns - 1) * across - width) / 2, top=(A4[1] - rows * height) / 2, across=across, down=height,
    )  # fmt: skip


def _letter(width: float, height: float, columns: int, rows: int, across: float) -> Sheet:
    return Sheet(
        key=f"letter-{columns * rows}", paper=LETTER, width=width, height=height, columns=columns, rows=rows,
        left=(LETTER[0] - (columns - 1) * across - width) / 2, top=(LETTER[1] - rows * height) / 2,
        across=across, down=height,
    )  # fmt: skip


SHEETS = {
    sheet.key: sheet
    for sheet in (
        _a4(99.1, 67.7, 2, 4, 101.6),
        _a4(99.1, 38.1, 2, 7, 101.6),
        _a4(63.5, 38.1, 3, 7, 66.0),
        _a4(70.0, 37.0, 3, 8, 70.0),
        _a4(38.1, 21.2, 5, 13, 40.6),
        _letter(101.6, 50.8, 2, 5, 106.7),
        _letter(66.7, 25.4, 3, 10, 69.85),
    )
}
