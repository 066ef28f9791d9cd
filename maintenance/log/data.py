"""What crosses the border of this app: small frozen rows."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass


@dataclass(frozen=True, kw_only=True)
class OrderLeft:
    """An open order and what is left of it. `hits_left` are strokes of the die."""

    order_id: int
    number: str
    due: dt.date
    die_id: int | None
    variant_id: int | None
    parts: int
    parts_left: int
    parts_per_hit: int
    hits_left: int


@dataclass(frozen=True, kw_only=True)
class OlderStock:
    """Pieces on the shelf of a spare whose place another took, and which are still usable."""

    item_id: int
    name: str
    pieces: int


@dataclass(frozen=True, kw_only=True)
class SpareStock:
    """An item of the catalogue with what is on the shelf and on the way. older: of those whose place it took, what is
    still usable: used up first."""

    item_id: int
    on_hand: int
    on_order: int
    ordered_at: dt.datetime | None = None  # the last time that any were ordered
    older: tuple[OlderStock, ...] = ()

    @property
    def usable_older(self) -> int:
        return sum(one.pieces for one in self.older)


@dataclass(frozen=True, kw_only=True)
class AllowanceLeft:
    """How far the grind allowance of the piece in a place goes: whole grinds, strokes of its die and the day by which
    it is used up as often as not. None: not known; no day: it does not run, or that is too far off to say."""

    grinds: int | None
    strokes: float | None = None
    day: dt.date | None = None
