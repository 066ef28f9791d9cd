"""PURE (numpy). How each position stands at a moment: hits since its edge was fresh, steel ground off."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass

from .cycles import cutting_positions
from .fittings import Span
from .rows import DieLog, WorkRow
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
    clocks = Clocks(log)
    cutting = cutting_positions(log)
    spans = spans_of(log)
    by_position = defaultdict(list)
    for span in spans:
        by_position[span.position].append(span)
    works = defaultdict(list)  # by position, or on the bench by piece
    for work in log.works:
        works[work.position, work.piece].append(work)
    result = {}
    for position in log.positions.values():
        span = next(
            (
                s
                for s in by_position[position.id]
                if (s.since is None or s.since <= as_of) and (s.until is None or as_of < s.until)
            ),
            None,
        )
        if span is None:
            result[position.id] = PositionState(
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
            continue
        result[position.id] = _state(log, position, span, spans, works, clocks, as_of, cutting)
    return result


def _state(log, position, span, spans, works, clocks, as_of, cutting) -> PositionState:
    piece = log.pieces[span.piece]
    mine = [s for s in spans if s.piece == span.piece and (s.since is None or s.since <= as_of)]
    near = works[None, span.piece] + [w for place in {s.position for s in mine} for w in works[place, None]]
    works = [w for w in near if w.at <= as_of and any(_on(w, s) for s in mine)]
    fresh = [w for w in works if OPERATIONS[w.operation].fresh_edge]
    last = max(fresh, key=lambda w: (w.at, w.sequence, w.key), default=None)

    def hits_in(one: Span, after: WorkRow | None = None) -> int:
        place = log.positions[one.position]
        clock = clocks.of(place.variants, cutting=one.position in cutting)
        end = clock.at(as_of if one.until is None else min(one.until, as_of)).hits
        start = 0 if one.since is None else clock.at(one.since).hits
        if after is not None and (one.since is None or one.since < after.at):
            start = clock.at(after.at, hits_into_run=after.hits_into_run).hits
        return max(round((end - start) * place.stroke_share), 0)

    run = sum(hits_in(one) for one in mine)
    if last is not None:
        since = sum(hits_in(one, last) for one in mine)
    elif piece.opening == "new":
        since = run
    elif piece.opening_hits_since_sharpening is not None:
        since = run + piece.opening_hits_since_sharpening
    else:
        since = None
    known = piece.opening == "new" or piece.opening_life_hits is not None
    removed = sum(w.removed_mm or 0.0 for w in works if OPERATIONS[w.operation].removes)
    return PositionState(
        position=position.id,
        piece=span.piece,
        hits_since_sharpening=since,
        hits_since_fitted=hits_in(span),
        life_hits=run + (piece.opening_life_hits or 0) if known else None,
        removed_mm=removed,
        grinds=len(fresh),
        allowance_left_mm=None if piece.grind_allowance_mm is None else max(piece.grind_allowance_mm - removed, 0.0),
        estimated=clocks.of(position.variants, cutting=position.id in cutting).at(as_of).estimated,
    )
