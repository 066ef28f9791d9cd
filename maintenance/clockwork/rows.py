"""PURE. A die's log as plain rows, with nothing worked out."""

from __future__ import annotations

from dataclasses import dataclass, field


@dataclass(frozen=True, kw_only=True)
class RunRow:
    started: float
    ended: float
    hits: int
    variant: int
    stock: int
    order: int | None = None
    coil: str = ""  # its name, where the run names one


@dataclass(frozen=True, kw_only=True)
class CorrectionRow:
    at: float
    hits: int
    variant: int
    with_stock: bool


@dataclass(frozen=True, kw_only=True)
class StockRow:
    material: str
    tensile_mpa: float
    thickness_mm: float


@dataclass(frozen=True, kw_only=True)
class PositionRow:
    id: int
    code: str
    kind: str
    side: str
    stroke_share: float = 1.0
    variants: frozenset[int] = frozenset()  # empty: it works in all of them
    valid_from: float | None = None
    valid_to: float | None = None


@dataclass(frozen=True, kw_only=True)
class CutRow:
    upper: int | None
    lower: int | None
    length_mm: float
    gap_mm: float | None
    valid_from: float | None = None
    valid_to: float | None = None


@dataclass(frozen=True, kw_only=True)
class PieceRow:
    id: int
    tool_steel: str = ""
    coating: str = ""
    hardness_hrc: float | None = None
    grind_allowance_mm: float | None = None
    opening: str = "new"
    opening_life_hits: int | None = None
    opening_hits_since_sharpening: int | None = None


@dataclass(frozen=True, kw_only=True)
class WorkRow:
    at: float
    sequence: int
    key: str
    operation: str
    why: str
    found: str = ""
    position: int | None = None
    piece: int | None = None
    removed_mm: float | None = None
    coating_after: str = ""
    set_key: str = ""
    hours: float | None = None
    hits_into_run: int | None = None


@dataclass(frozen=True, kw_only=True)
class ReplacementRow:
    at: float
    sequence: int
    key: str
    position: int
    piece: int | None
    why: str
    found: str = ""
    since_start: bool = False
    hits_into_run: int | None = None


@dataclass(frozen=True, kw_only=True)
class ReadingRow:
    at: float
    position: int
    quantity: str
    value_si: float
    hits_into_run: int | None = None
    at_length_mm: float | None = None  # of a spring's force
    charged_to_mpa: float | None = None  # of a gas spring's pressure, after it was read


@dataclass(frozen=True, kw_only=True)
class TroubleRow:
    """A mishap that damaged a piece; without a piece, a stop for burr: some edge of the die was dull by then."""

    at: float
    piece: int | None = None


@dataclass(frozen=True, kw_only=True)
class DieLog:
    """Everything that the clocks and cycles of one die need, as it was known at some moment."""

    die: int
    code: str
    usual_stock: int
    stocks: dict[int, StockRow]
    positions: dict[int, PositionRow]
    cuts: tuple[CutRow, ...] = ()
    pieces: dict[int, PieceRow] = field(default_factory=dict)
    runs: tuple[RunRow, ...] = ()
    corrections: tuple[CorrectionRow, ...] = ()
    works: tuple[WorkRow, ...] = ()
    replacements: tuple[ReplacementRow, ...] = ()
    readings: tuple[ReadingRow, ...] = ()
    troubles: tuple[TroubleRow, ...] = ()
    restarts: tuple[float, ...] = ()  # moments from which its record counts anew

    @property
    def last_moment(self) -> float | None:
        """When the last thing of its record happened; what sat in it when the record began is no happening."""
        moments = [run.ended for run in self.runs] + list(self.restarts)
        moments += [row.at for rows in (self.corrections, self.works, self.readings, self.troubles) for row in rows]
        moments += [row.at for row in self.replacements if not row.since_start]
        return max(moments, default=None)
