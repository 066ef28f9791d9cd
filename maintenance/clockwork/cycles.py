"""PURE (numpy). From a die's log to the clocks of its positions and the cycles of its edges.

A cycle of an edge runs from one fresh edge (ground, replaced, turned) to the next, in strokes in which that edge cuts.
The edge that is followed is a position's: a block that carries several cuts is ground as a whole, so that its cuts
share their renewals and what was found. Times are seconds since the epoch.

An edge that is touched up with a stone or coated again is looked at and not renewed: it is neither fresh nor as old as
it was. A cycle ends there and another begins, on which the hits run on; what was done on the way, and at how many hits,
goes with it. What share of its life that gave back is for the engine to learn (life/renewals.py).
"""

from __future__ import annotations

import statistics
from bisect import bisect_left, bisect_right
from collections import defaultdict
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from itertools import accumulate, pairwise

import numpy as np

from .clock import Clock, ClockReading
from .fittings import Span
from .rows import CutRow, DieLog, PieceRow, PositionRow, ReplacementRow, RunRow, WorkRow
from .spans import Clocks, _on, spans_of
from .works import OPERATIONS

COILS_AT_LEAST = 3  # that have run out, before the usual one is told
LOT_GAP_S = 10 * 3600.0  # without an order named, a pause longer than this begins another lot


@dataclass(frozen=True, kw_only=True)
class Build:
    """How an edge is built and what it cuts: cycles under one build share one usual life."""

    tool_steel: str
    coating: str
    hardness_hrc: float | None
    gap_mm: float | None
    stock: int


@dataclass(frozen=True)
class Trouble:
    """A mishap on the piece, or a stop for burr of its die, as hits of the edge: it went in (lower, by]."""

    at: float
    of_piece: bool
    lower_hits: int
    by_hits: int


@dataclass(frozen=True, kw_only=True)
class Cycle:
    """One cycle of one edge, in strokes in which it cuts.

    from_hits: hits on the edge when its record began (0 where it began sharp, or where its age is unknown).
    lower_hits, hits: it went dull, or chipped, in (lower_hits, hits]; for an edge still sharp both are the hits it ran.
    """

    position: int
    piece: int
    build: Build
    started: float | None
    ended: float
    from_hits: int
    lower_hits: int
    hits: int
    ended_as: str  # sharp, dull, chipped
    open: bool
    unknown_age: bool
    looked: bool  # `found` was given at its end
    lot: int
    estimated: bool
    touches: tuple[tuple[str, int], ...] = ()  # works in between since the edge was fresh, and its hits at each
    troubles: tuple[Trouble, ...] = ()  # that came in it, in order of time
    passed: tuple[tuple[int, float], ...] = ()  # the lots it cut, in order of time, and its hits in each
    readings: tuple[tuple[int, str, float], ...] = ()


def ended_as(why: str, found: str) -> str:
    """What an end says of the edge: `found` where somebody looked, else why it was taken out. Galling is not wear."""
    if found == "dull":
        return "dull"
    if found in ("chipped", "broken"):
        return "chipped"
    if found in ("sharp", "galled"):
        return "sharp"
    return {"dull": "dull", "chipped": "chipped", "broken": "chipped"}.get(why, "sharp")


def lots(runs: Sequence[RunRow]) -> list[int]:
    """The lot of each run, runs in the order of their starts: the coil named, else the order, else runs without a long
    pause between them."""
    number: list[int] = []
    by_name: dict[str | int, int] = {}
    count = 0
    for i, run in enumerate(runs):
        name = named_lot(run)
        if name is not None and name in by_name:
            number.append(by_name[name])
            continue
        goes_on = (
            i > 0 and name is None and named_lot(runs[i - 1]) is None and run.started - runs[i - 1].ended <= LOT_GAP_S
        )
        if not goes_on:
            count += 1
        number.append(number[i - 1] if goes_on else count - 1)
        if name is not None:
            by_name[name] = number[i]
    return number


def named_lot(run: RunRow) -> str | int | None:
    """What names the lot of a run: its coil, else its order."""
    return " ".join(run.coil.casefold().split()) or run.order


def sort_of_lot(log: DieLog, as_of: float) -> str:
    """What the run before a moment is of: "coil", "order", or "" where it names neither."""
    run = max((run for run in log.runs if run.started < as_of), key=lambda run: run.started, default=None)
    if run is None:
        return ""
    return "coil" if run.coil.strip() else "order" if run.order is not None else ""


def rest_of_lot(log: DieLog, as_of: float, order: int | None = None, hits_left: int = 0) -> int:
    """Strokes of the die that are still to come from the lot under way, as far as that is known; else nought.

    Of a coil: what is left to the usual coil of this die, the middle of three or more. Of the order that ran last,
    where it is `order`: its hits left.
    """
    runs = sorted((run for run in log.runs if run.started < as_of), key=lambda run: run.started)
    if not runs:
        return 0
    if not runs[-1].coil.strip():
        return max(hits_left, 0) if order is not None and runs[-1].order == order else 0
    hits: dict[str | int | None, int] = defaultdict(int)
    for run in runs:
        if run.coil.strip():
            hits[named_lot(run)] += run.hits
    done = hits.pop(named_lot(runs[-1]))
    return max(round(statistics.median(hits.values())) - done, 0) if len(hits) >= COILS_AT_LEAST else 0


def cutting_positions(log: DieLog) -> set[int]:
    """The positions that carry an edge: named by a cut as its punch or its die."""
    return {p for cut in log.cuts for p in (cut.upper, cut.lower) if p is not None and p in log.positions}


def gap_at(log: DieLog, position: int, moment: float) -> float | None:
    """The tightest gap per side, in mm, of a position's cuts at a moment: the tightest wears first."""
    return _tightest([cut for cut in log.cuts if position in (cut.upper, cut.lower)], moment)


def _tightest(cuts: Sequence[CutRow], moment: float) -> float | None:
    return min((c.gap_mm for c in _standing(cuts, moment) if c.gap_mm is not None), default=None)


def _standing(cuts: Sequence[CutRow], moment: float) -> list[CutRow]:
    """The cuts as they were at a moment; where none was there yet, those that came first, and after the last one it."""
    now = [
        c
        for c in cuts
        if (c.valid_from is None or c.valid_from <= moment) and (c.valid_to is None or moment < c.valid_to)
    ]
    if now or not cuts:
        return now
    begins = min((c.valid_from for c in cuts if c.valid_from is not None and c.valid_from > moment), default=None)
    if begins is not None:
        return [c for c in cuts if c.valid_from == begins]
    ended = max(c.valid_to for c in cuts if c.valid_to is not None)
    return [c for c in cuts if c.valid_to == ended]


def cuts_at(log: DieLog, position: int, moment: float) -> bool:
    """Whether a position still carries an edge at a moment: a cut of its has not ended."""
    return any(c.valid_to is None or moment < c.valid_to for c in log.cuts if position in (c.upper, c.lower))


def cycles(log: DieLog, as_of: float) -> list[Cycle]:
    """Every cycle of every edge of the die up to a moment, those under way included, by position and time."""
    return _in_order(History(log, as_of).cycles)


class History:
    """The cycles of a die as they stood at any moment up to one: the walk through its log is made once."""

    def __init__(self, log: DieLog, as_of: float) -> None:
        self._walker, cutting = _Walker(log, as_of), cutting_positions(log)
        self._cutting = cutting
        self.cycles: list[Cycle] = []
        for span in sorted(self._walker.spans, key=lambda s: (s.since is not None, s.since or 0.0, s.position)):
            self.cycles += self._walker.cycles_of(span, keep=span.position in cutting)

    def at(self, moment: float) -> list[Cycle]:
        """As of `cycles` up to that moment, which is no later than the one it was made for."""
        made = [c for c in self.cycles if not c.open and c.ended <= moment]
        for begun in self._walker.walked:
            if begun.position in self._cutting and begun.is_under_way(moment):
                made.append(self._walker.under_way(begun, moment))
        return _in_order(made)


def _in_order(made: list[Cycle]) -> list[Cycle]:
    begun = -np.inf  # before the records
    return sorted(made, key=lambda c: (c.position, c.ended, begun if c.started is None else c.started, c.hits, c.open))


@dataclass(frozen=True, kw_only=True)
class _Begun:
    """Where a cycle began. at None: before the records. hits: on the edge then; unknown: nobody knows how many."""

    at: float | None
    clock_hits: int
    hits: int
    unknown: bool = False
    touches: tuple[tuple[str, int], ...] = ()

    def is_before(self, moment: float) -> bool:
        return self.at is None or self.at < moment


@dataclass(frozen=True)
class _Walked:
    """A cycle as it was walked through: what it takes to tell it up to an earlier moment. ended None: it goes on."""

    position: int
    span: Span[float]
    clock: Clock
    begun: _Begun
    ended: float | None
    coating: str

    def is_under_way(self, moment: float) -> bool:
        since = self.begun.at
        return (since is None or since <= moment) and (self.ended is None or moment < self.ended)


@dataclass(frozen=True)
class _Age:
    """hits: on the edge; unknown: nobody knows how many. touches: works in between since it was fresh."""

    hits: int = 0
    unknown: bool = False
    touches: tuple[tuple[str, int], ...] = ()


class _Walker:
    """Walks the fittings of a die in time order and carries the hits of a piece from one to the next."""

    def __init__(self, log: DieLog, as_of: float) -> None:
        self.log, self.as_of = log, as_of
        self.clocks = Clocks(log)
        self.spans = [s for s in spans_of(log) if s.since is None or s.since <= as_of]
        self.works: dict[int | None, list[WorkRow]] = defaultdict(list)
        self.bench: dict[int, list[WorkRow]] = defaultdict(list)
        for work in sorted(log.works, key=lambda w: (w.at, w.sequence, w.key)):
            if work.at <= as_of:
                (self.works[work.position] if work.piece is None else self.bench[work.piece]).append(work)
        self.readings = defaultdict(list)
        for reading in sorted(log.readings, key=lambda r: r.at):
            if reading.at <= as_of:
                self.readings[reading.position].append(reading)
        self.ends = {(r.position, r.at): r for r in log.replacements}
        self.carried: dict[int, _Age] = {}
        self.coating: dict[int, str] = {}
        self.left_at: dict[int, float] = {}
        self.walked: list[_Walked] = []
        runs = sorted(log.runs, key=lambda r: r.started)
        self.runs, self.lot_numbers = runs, lots(runs)
        self.stretches: dict[frozenset[int], tuple[list[int], list[int], list[int]]] = {}
        self.troubles = sorted((t for t in log.troubles if t.at <= as_of), key=lambda t: (t.at, t.piece or 0))
        self.run_starts, self.run_stocks = [r.started for r in runs], [r.stock for r in runs]
        self.hits_on = {  # stock -> the hits on it before each run, and at the end
            stock: [0, *accumulate(r.hits if r.stock == stock else 0 for r in runs)]
            for stock in sorted({r.stock for r in runs})
        }
        self.cuts = defaultdict(list)
        for cut in log.cuts:
            for place in {cut.upper, cut.lower}:
                self.cuts[place].append(cut)

    def cycles_of(self, span: Span[float], *, keep: bool) -> list[Cycle]:
        position, piece = self.log.positions[span.position], self.log.pieces[span.piece]
        clock = self.clocks.of(position.variants, cutting=True)
        begun = self._begun(span, piece, clock)
        made = []
        for work in self.works[span.position]:
            if not _on(work, span):
                continue
            done = OPERATIONS[work.operation]
            # Of an edge whose age is not known a find in mid-cycle tells nothing.
            if done.fresh_edge or (done.in_between and not begun.unknown):
                now = clock.at(work.at, hits_into_run=work.hits_into_run)
                cycle = self._cycle(span, clock, begun, work, now)
                made.append(cycle)
                self._keep(span, clock, begun, work.at)
                fresh = done.fresh_edge or cycle.hits == 0
                begun = _Begun(
                    at=work.at,
                    clock_hits=now.hits,
                    hits=0 if fresh else cycle.hits,
                    touches=() if fresh else (*begun.touches, (work.operation, cycle.hits)),
                )
            if work.coating_after:
                self.coating[piece.id] = work.coating_after
        end_s = self.as_of if span.until is None else min(span.until, self.as_of)
        end = None if span.until is None or span.until > self.as_of else self.ends[(span.position, span.until)]
        now = clock.at(end_s, hits_into_run=end.hits_into_run if end else None)
        cycle = self._cycle(span, clock, begun, end, now)
        made.append(cycle)
        self._keep(span, clock, begun, None if end is None else end_s)
        self.carried[piece.id] = _Age(cycle.hits, begun.unknown, begun.touches)
        self.left_at[piece.id] = end_s
        return [c for c in made if keep and (c.open or c.hits > c.from_hits or c.ended_as == "chipped")]

    def _keep(self, span: Span[float], clock: Clock, begun: _Begun, ended: float | None) -> None:
        piece = self.log.pieces[span.piece]
        coating = self.coating.get(piece.id, piece.coating)
        self.walked.append(_Walked(span.position, span, clock, begun, ended, coating))

    def under_way(self, one: _Walked, moment: float) -> Cycle:
        """A cycle as it stood at a moment in it."""
        at_end, self.as_of = self.as_of, moment
        try:
            cycle = self._cycle(one.span, one.clock, one.begun, None, one.clock.at(moment))
        finally:
            self.as_of = at_end
        return replace(cycle, build=replace(cycle.build, coating=one.coating))

    def _begun(self, span: Span[float], piece: PieceRow, clock: Clock) -> _Begun:
        """How the edge stood when this fitting began."""
        age = self._age(span, piece)
        clock_hits = 0
        if span.since is not None:
            replaced = self.ends.get((span.position, span.since))
            clock_hits = clock.at(span.since, hits_into_run=replaced.hits_into_run if replaced else None).hits
        return _Begun(at=span.since, clock_hits=clock_hits, hits=age.hits, unknown=age.unknown, touches=age.touches)

    def _age(self, span: Span[float], piece: PieceRow) -> _Age:
        """How old the edge was when this fitting began."""
        if piece.id in self.carried:
            left = self.left_at[piece.id]
            ground = [
                w
                for w in self.bench[piece.id]
                if w.at >= left and (span.since is None or w.at <= span.since) and OPERATIONS[w.operation].fresh_edge
            ]
            return _Age() if ground else self.carried[piece.id]
        if any(
            OPERATIONS[w.operation].fresh_edge and (span.since is None or w.at <= span.since)
            for w in self.bench[piece.id]
        ):
            return _Age()
        if piece.opening == "new":
            return _Age()
        if piece.opening in ("counted", "estimated") and piece.opening_hits_since_sharpening is not None:
            return _Age(piece.opening_hits_since_sharpening)
        return _Age(unknown=True)

    def _cycle(
        self, span: Span[float], clock: Clock, begun: _Begun, end: WorkRow | ReplacementRow | None, now: ClockReading
    ) -> Cycle:
        """The cycle of this fitting that began so and ended with a work or a replacement; None: it is under way."""
        position, piece = self.log.positions[span.position], self.log.pieces[span.piece]
        end_s = self.as_of if end is None else end.at

        def on_edge(clock_hits: int) -> int:
            return begun.hits + round(max(clock_hits - begun.clock_hits, 0) * position.stroke_share)

        hits = on_edge(now.hits)
        outcome = "sharp" if end is None else ended_as(end.why, end.found)
        looks, readings = [clock.last_look(end_s)], []
        for reading in self.readings[span.position]:
            if begun.is_before(reading.at) and reading.at <= end_s:
                at = clock.at(reading.at, hits_into_run=reading.hits_into_run).hits
                looks.append(at)
                readings.append((on_edge(at), reading.quantity, reading.value_si))
        for work in self.works[span.position]:
            if work.found == "sharp" and begun.is_before(work.at) and work.at < end_s:
                looks.append(clock.at(work.at, hits_into_run=work.hits_into_run).hits)
        lower = hits
        if outcome != "sharp":
            lower = max((on_edge(x) for x in looks if on_edge(x) < hits), default=begun.hits)
            lower = min(max(lower, begun.hits), hits)
        return Cycle(
            position=position.id,
            piece=piece.id,
            build=Build(
                tool_steel=piece.tool_steel,
                coating=self.coating.get(piece.id, piece.coating),
                hardness_hrc=piece.hardness_hrc,
                gap_mm=self._gap(position.id, clock, begun.at, end_s),
                stock=self._stock(begun.at, end_s, still_open=end is None),
            ),
            started=begun.at,
            ended=end_s,
            from_hits=begun.hits,
            lower_hits=lower,
            hits=hits,
            ended_as=outcome,
            open=end is None,
            unknown_age=begun.unknown,
            looked=bool(end is not None and end.found and end.found != "not looked"),
            lot=self._lot(end_s),
            estimated=now.estimated,
            touches=begun.touches,
            troubles=self._troubles(span, clock, begun, end_s, on_edge),
            passed=self._passed(position, clock, begun.clock_hits, now.hits),
            readings=tuple(readings),
        )

    def _troubles(
        self, span: Span[float], clock: Clock, begun: _Begun, end_s: float, on_edge: Callable[[int], int]
    ) -> tuple[Trouble, ...]:
        variants, made = self.log.positions[span.position].variants, []
        for one in self.troubles:
            ran = self.runs[i] if (i := bisect_left(self.run_starts, one.at) - 1) >= 0 else None
            is_at_work = ran is not None and (not variants or ran.variant in variants)
            concerns = is_at_work if one.piece is None else one.piece == span.piece
            if concerns and begun.is_before(one.at) and one.at <= end_s:
                by = on_edge(clock.at(one.at).hits)
                lower = min(max(on_edge(clock.last_look(one.at)), begun.hits), by)
                made.append(Trouble(one.at, one.piece is not None, lower, by))
        return tuple(made)

    def _passed(self, position: PositionRow, clock: Clock, base: int, end: int) -> tuple[tuple[int, float], ...]:
        """The lots in which the clock of a position went from base to end, and the hits of its edge in each."""
        share = position.stroke_share
        if position.variants not in self.stretches:
            self.stretches[position.variants] = self._stretches(position.variants, clock)
        begun, ended, lot = self.stretches[position.variants]
        i, j = bisect_right(ended, base), bisect_left(begun, end)
        return tuple((lot[n], (min(ended[n], end) - max(begun[n], base)) * share) for n in range(i, j))

    def _stretches(self, variants: frozenset[int], clock: Clock) -> tuple[list[int], list[int], list[int]]:
        """Hits of the clock at the start and end of each stretch in one lot, and its lot."""
        begun: list[int] = []
        ended: list[int] = []
        of: list[int] = []
        for run, lot in zip(self.runs, self.lot_numbers, strict=True):
            if run.hits <= 0 or (variants and run.variant not in variants):
                continue
            start, stop = clock.at(run.started).hits, clock.at(run.ended).hits
            if of and of[-1] == lot:
                ended[-1] = stop
            else:
                begun.append(start)
                ended.append(stop)
                of.append(lot)
        return begun, ended, of

    def _lot(self, moment: float) -> int:
        i = bisect_left(self.run_starts, moment) - 1
        return self.lot_numbers[i] if i >= 0 else -1

    def _gap(self, position: int, clock: Clock, start_s: float | None, end_s: float) -> float | None:
        """The gap that most hits of the cycle were run with; the later one where none was run."""
        cuts, begun = self.cuts[position], -np.inf if start_s is None else start_s
        moments = {m for c in cuts for m in (c.valid_from, c.valid_to) if m is not None and begun < m <= end_s}
        if not moments:
            return _tightest(cuts, begun)
        bounds = [begun, *sorted(moments)]
        hits = [clock.at(moment).hits for moment in (*bounds, end_s)]
        run = [after - before for before, after in pairwise(hits)]
        return _tightest(cuts, max(zip(run, bounds, strict=True))[1])

    def _stock(self, start_s: float | None, end_s: float, *, still_open: bool) -> int:
        """The stock that most hits of the cycle were run on. Where none was run, the one before, or, to come, the
        usual one."""
        i = 0 if start_s is None else bisect_left(self.run_starts, start_s)
        j = bisect_left(self.run_starts, end_s)
        if i < j:
            return max(self.hits_on, key=lambda stock: self.hits_on[stock][j] - self.hits_on[stock][i])
        return self.log.usual_stock if still_open or i == 0 else self.run_stocks[i - 1]
