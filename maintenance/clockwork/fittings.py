"""PURE. Which piece sat where and when, derived from the replacements of one position."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import Generic, TypeVar

Moment = TypeVar("Moment", dt.datetime, float)  # as the tables keep it, or in seconds since the epoch as a log has it


@dataclass(frozen=True, kw_only=True)
class Change(Generic[Moment]):
    """A replacement as far as fittings need it. `piece` None: nothing was put in."""

    at: Moment
    sequence: int
    key: str
    piece: int | None
    why: str
    since_start: bool = False
    position: int = 0


@dataclass(frozen=True, kw_only=True)
class Span(Generic[Moment]):
    """A piece in a position, half-open [since, until); since None: before the records began."""

    piece: int
    since: Moment | None
    until: Moment | None
    fate: str
    position: int = 0


def derive(changes: Iterable[Change[Moment]]) -> list[Span[Moment]]:
    """The spans of one position, in time order. A piece in and out at one moment never ran and leaves none."""
    spans: list[Span[Moment]] = []
    sits = False
    for change in sorted(changes, key=lambda c: (not c.since_start, c.at, c.sequence, c.key)):
        if sits:
            last = spans.pop()
            if last.since is None or last.since < change.at:
                spans.append(replace(last, until=change.at, fate=change.why))
        sits = change.piece is not None
        if change.piece is not None:
            spans.append(
                Span(
                    piece=change.piece,
                    since=None if change.since_start else change.at,
                    until=None,
                    fate="",
                    position=change.position,
                )
            )
    return spans
