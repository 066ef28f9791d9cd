"""Which movement made a spare due."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable
from dataclasses import dataclass


@dataclass(frozen=True, kw_only=True)
class Moved:
    """A change of what is on the shelf and on the way together, at one moment. kind: as it was entered."""

    at: dt.datetime
    kind: str
    pieces: int


def together(moves: Iterable[Moved]) -> list[Moved]:
    """What was entered for the same moment as one change, the newest first; those that change nothing are left out: a
    delivery leaves the way and lies on the shelf."""
    sums: dict[dt.datetime, tuple[str, int]] = {}
    for move in moves:
        kind, pieces = sums.get(move.at, (move.kind, 0))
        sums[move.at] = (move.kind if abs(move.pieces) > abs(pieces) else kind, pieces + move.pieces)
    return [Moved(at=at, kind=kind, pieces=n) for at, (kind, n) in sorted(sums.items(), reverse=True) if n]


def cause_of(moves: Iterable[Moved], *, position: int, point: int) -> Moved | None:
    """The last change that took the position from enough to too few for the present order point.

    position: on the shelf and on the way now; point: the least that is enough. None where it is enough, or where none
    of the changes did it: then the use ahead has grown.
    """
    if position >= point:
        return None
    after = position
    for move in together(moves):
        before = after - move.pieces
        if before >= point > after:
            return move
        after = before
    return None
