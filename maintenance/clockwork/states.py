"""PURE (numpy). How each position stands at a moment: hits since its edge was fresh, steel ground off."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass

from .clock import Clock
from .cycles import cutting_positions
from .fittings import Span
from .rows import DieLog, PieceRow, PositionRow, WorkRow
from .spans import Clocks, _on, spans_of
from .works import OPERATIONS


@dataclass(frozen=True, kw_only=True)
class PositionState:
    """How a position stands at a moment. Hits are strokes in which it worked."""

    position: int
    piece: int | None
    hits_since_sharpening: int | None  # None: not known, since the age when the records began is not
    hits_since_fitted: int
    life_hits: int | None
    removed_mm: float
    grinds: int
    allowance_left_mm: float | None
    estimated: bool


def states(log: DieLog, as_of: float) -> dict[int, PositionState]:
    """How every position of the die stands at a moment, cutting or not."""
    reader = _Reader(log, as_of)
    return {position.id: reader.state(position) for position in log.positions.values()}


class _Reader:
    """The log of a die up to a moment, laid out by position and by piece."""

    def __init__(self, log: DieLog, as_of: float) -> None:
        self.log, self.as_of = log, as_of
        self.clocks = Clocks(log)
        self.cutting = cutting_positions(log)
        self.spans = [span for span in spans_of(log) if span.since is None or span.since <= as_of]
        self.now = {span.position: span for span in self.spans if span.until is None or as_of < span.until}
        self.works: dict[tuple[int | None, int | None], list[WorkRow]] = defaultdict(list)
        for work in log.works:  # by position, or on the bench by piece
            if work.at <= as_of:
                self.works[work.position, work.piece].append(work)

    def state(self, position: PositionRow) -> PositionState:
        span = self.now.get(position.id)
        if span is None:
            return PositionState(
                position=position.id,
                piece=None,
                hits_since_sharpening=None,
                hits_since_fitted=0,
                life_hits=None,
                removed_mm=0.0,
                grinds=0,
                allowance_left_mm=None,
                estimated=False,
            )
        piece = self.log.pieces[span.piece]
        mine = [one for one in self.spans if one.piece == span.piece]
        works = self._works_on(piece, mine)
        fresh = [work for work in works if OPERATIONS[work.operation].fresh_edge]
        run = sum(self._hits_in(one) for one in mine)
        known = piece.opening == "new" or piece.opening_life_hits is not None
        removed = sum(work.removed_mm or 0.0 for work in works if OPERATIONS[work.operation].removes)
        allowance = piece.grind_allowance_mm
        return PositionState(
            position=position.id,
            piece=span.piece,
            hits_since_sharpening=self._hits_since_fresh(piece, mine, fresh, run),
            hits_since_fitted=self._hits_in(span),
            life_hits=run + (piece.opening_life_hits or 0) if known else None,
            removed_mm=removed,
            grinds=len(fresh),
            allowance_left_mm=None if allowance is None else max(allowance - removed, 0.0),
            estimated=self._clock(position).at(self.as_of).estimated,
        )

    def _works_on(self, piece: PieceRow, mine: list[Span[float]]) -> list[WorkRow]:
        """What was done on a piece, wherever it sat and on the bench."""
        places = {one.position for one in mine}
        near = self.works[None, piece.id] + [work for place in places for work in self.works[place, None]]
        return [work for work in near if any(_on(work, one) for one in mine)]

    def _hits_since_fresh(self, piece: PieceRow, mine: list[Span[float]], fresh: list[WorkRow], run: int) -> int | None:
        """run: the hits of the piece over all its fittings. None: how old its edge was at the start is not known."""
        last = max(fresh, key=lambda work: (work.at, work.sequence, work.key), default=None)
        if last is not None:
            return sum(self._hits_in(one, last) for one in mine)
        if piece.opening == "new":
            return run
        before = piece.opening_hits_since_sharpening
        return None if before is None else run + before

    def _hits_in(self, one: Span[float], after: WorkRow | None = None) -> int:
        """The strokes of a fitting in which it worked; after: only those after that work."""
        place = self.log.positions[one.position]
        clock = self._clock(place)
        end = clock.at(self.as_of if one.until is None else min(one.until, self.as_of)).hits
        start = 0 if one.since is None else clock.at(one.since).hits
        if after is not None and (one.since is None or one.since < after.at):
            start = clock.at(after.at, hits_into_run=after.hits_into_run).hits
        return max(round((end - start) * place.stroke_share), 0)

    def _clock(self, position: PositionRow) -> Clock:
        return self.clocks.of(position.variants, cutting=position.id in self.cutting)
