"""PURE (standard library). What a piece should be after a grind, and what is left to grind off it. Lengths in mm.

[2] That a shim under the ground member restores what came off: from memory.
"""

from __future__ import annotations

from dataclasses import dataclass

from .height_ledger import Ledger, Row


@dataclass(frozen=True, kw_only=True)
class Target:
    """A piece once it is ground. shim_mm: to go under it then, so that it stands as it did when the die was right; None
    where that is not known."""

    length_mm: float | None
    shim_mm: float | None


def target(made: Ledger, code: str, off_mm: float | None) -> Target:
    """How long a piece should be after off_mm came off, and the shim that holds its height [2]."""
    row = made.row(code)
    if row is None or off_mm is None:
        return Target(length_mm=None, shim_mm=None)
    length = row.standing.length_mm
    group = next((one for one in made.groups if code in one.codes), None)
    shim = None
    if group is not None and group.then_mm is not None and row.height_mm is not None:
        shim = group.then_mm - row.height_mm + off_mm
    return Target(length_mm=None if length is None else length - off_mm, shim_mm=shim)


@dataclass(frozen=True, kw_only=True)
class Left:
    """What a piece may still be ground. own_mm: of its own allowance. unshimmed_mm: before something strikes that has
    little room, unless a shim goes under what was ground; stops: that place."""

    code: str
    own_mm: float | None
    unshimmed_mm: float | None
    stops: str = ""


def left(row: Row, made: Ledger) -> Left:
    """What is left to grind off one piece."""
    own, limit = row.seat.allowance_mm, made.limit
    if limit is None or (own is not None and own <= limit.mm):
        return Left(code=row.seat.code, own_mm=own, unshimmed_mm=own)
    return Left(code=row.seat.code, own_mm=own, unshimmed_mm=max(limit.mm, 0.0), stops=limit.code)
