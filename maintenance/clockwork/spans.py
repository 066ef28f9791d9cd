"""PURE (numpy). Which piece sat where in a die's log, and the clocks of its positions."""

from __future__ import annotations

from collections import defaultdict

import numpy as np

from .clock import Clock
from .fittings import Change, Span, derive
from .rows import DieLog, WorkRow


class Clocks:
    """The clocks of a die, one for each set of variants, made when first asked for."""

    def __init__(self, log: DieLog, until: float | None = None) -> None:
        self._log = log
        self._until = np.inf if until is None else until
        self._made: dict[tuple[frozenset[int], bool], Clock] = {}

    def of(self, variants: frozenset[int], *, cutting: bool = True) -> Clock:
        """cutting: only strokes with stock count, as they do for edges; guides and springs work at every stroke."""
        key = (variants, cutting)
        if key not in self._made:
            runs = [r for r in self._log.runs if not variants or r.variant in variants]
            jumps = [
                c
                for c in self._log.corrections
                if (not variants or c.variant in variants) and (c.with_stock or not cutting)
            ]
            self._made[key] = Clock.of(
                [r.started for r in runs] + [c.at for c in jumps],
                [r.ended for r in runs] + [c.at for c in jumps],
                [r.hits for r in runs] + [c.hits for c in jumps],
            )
        return self._made[key]


def spans_of(log: DieLog) -> list[Span[float]]:
    """All fittings of the die, position by position, with times in seconds."""
    by_position: dict[int, list[Change[float]]] = defaultdict(list)
    for row in log.replacements:
        by_position[row.position].append(
            Change(
                at=row.at,
                sequence=row.sequence,
                key=row.key,
                piece=row.piece,
                why=row.why,
                since_start=row.since_start,
                position=row.position,
            )
        )
    return [span for changes in by_position.values() for span in derive(changes)]


def _on(work: WorkRow, span: Span[float]) -> bool:
    """Whether a work was done on the piece of this fitting: in its place and time, or on the bench by name.

    A work at the very moment of a replacement belongs to the piece that came out.
    """
    if work.piece is not None:
        return work.piece == span.piece
    return (
        work.position == span.position
        and (span.since is None or span.since < work.at)
        and (span.until is None or work.at <= span.until)
    )
