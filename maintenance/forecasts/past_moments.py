"""The decisions of the past as today's records tell of them, and what came of each. Glue, no mathematics.

A job begins: the die is run as it stands or sharpened before. A die is apart: some edges are ground. What was known
then, and what the advice would have been, is replay.py's.
"""

from __future__ import annotations

import datetime as dt
from bisect import bisect_right
from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from diestore.register.models import Die, Output, Plant
from maintenance.clockwork.cycles import Cycle, cutting_positions
from maintenance.clockwork.rows import DieLog
from maintenance.clockwork.teardowns import JobRun, Teardown, jobs_run, teardowns
from maintenance.life.cycles import CHIPPED, DULL
from maintenance.log import read as log_read
from maintenance.models import Order, PastDecision
from maintenance.policy.replay import JobDone

from . import decisions
from .track_record import whole_cycles

JOB, TEARDOWN = PastDecision.Kind.JOB, PastDecision.Kind.TEARDOWN
MOST_OF_THE_SET = 0.5  # of the edges at work renewed: the die is taken for sharpened
BEFORE_S = 1.0  # a teardown is decided on just before its first entry


@dataclass(frozen=True, kw_only=True)
class Moment:
    """A decision of the past, as the records of today tell it. at: seconds. origin: whose fit is used. job_hits: of the
    job ahead, as ordered and not run by then; variant: of the set of inserts in it. job: what came of it. ground, bad,
    found_dull: positions, with the hits to when each was found dull again; ahead: hits to the next teardown."""

    die: int
    at: float
    origin: dt.datetime
    kind: str
    number: str
    job_hits: float
    variant: int | None
    job: JobDone | None = None
    ground: frozenset[int] = frozenset()
    bad: frozenset[int] = frozenset()
    found_dull: Mapping[int, float] = field(default_factory=dict)
    ahead: float = 0.0
    still_runs: bool = False


@dataclass(frozen=True)
class OrderSize:
    number: str
    parts: int
    part: int
    closed: bool


def orders_of(plant: Plant) -> dict[int, OrderSize]:
    rows = Order.objects.filter(runs__die__plant=plant).distinct().order_by()
    return {pk: OrderSize(*rest[:-1], rest[-1] is not None) for pk, *rest in rows.values_list(
        "pk", "number", "parts", "part_id", "closed_at")}  # fmt: skip


def moments_of(
    dies: Sequence[Die], orders: Mapping[int, OrderSize], origins: Sequence[dt.datetime], as_of: dt.datetime
) -> tuple[list[Moment], int, int]:
    """The decisions of some dies since the first origin; how many starts of jobs were forced; runs without a job."""
    outputs = Output.objects.filter(variant__die__in=dies).order_by()
    per_hit = {(v, p): n for v, p, n in outputs.values_list("variant_id", "part_id", "parts_per_hit")}
    moments, forced, unnamed = [], 0, 0
    for log in log_read.of_dies(dies):
        log = replace(log, restarts=())
        unnamed += sum(run.order is None and run.started >= origins[0].timestamp() for run in log.runs)
        own = _OfDie.read(log, as_of, orders, per_hit)
        starts, of_cause = own.jobs(origins)
        moments += starts + own.apart(origins)
        forced += of_cause
    return moments, forced, unnamed


@dataclass(frozen=True)
class _End:
    """How a teardown found the edges. dull, chipped: positions; since_look: hits of dull ones since the look before."""

    dull: frozenset[int]
    chipped: frozenset[int]
    since_look: float


@dataclass(frozen=True)
class _OfDie:
    log: DieLog
    runs: list[JobRun]
    torn: list[Teardown]
    ends: list[_End]
    orders: Mapping[int, OrderSize]
    per_hit: Mapping[tuple[int, int], int]
    hits_now: int
    cutting: set[int]

    @classmethod
    def read(
        cls, log: DieLog, as_of: dt.datetime, orders: Mapping[int, OrderSize], per_hit: Mapping[tuple[int, int], int]
    ) -> _OfDie:
        whole = whole_cycles(log, as_of)
        by_end: dict[tuple[int, float], list[tuple[Cycle, int]]] = defaultdict(list)
        for cycle, how in whole.values():
            if not cycle.open:
                by_end[cycle.position, cycle.ended].append((cycle, how))
        moment = as_of.timestamp()
        torn = teardowns(log, moment)
        by_position: dict[int, list[tuple[float, Cycle, int]]] = defaultdict(list)
        for (position, ended), some in by_end.items():
            by_position[position] += [(ended, cycle, how) for cycle, how in some]
        ends = []
        for one in torn:
            mine = [
                (p, cycle, how)
                for p in one.renewed
                for ended, cycle, how in by_position[p]
                if one.at <= ended <= one.until
            ]
            share = {p: log.positions[p].stroke_share for p in one.renewed}
            gaps = [(c.hits - c.lower_hits) / share[p] for p, c, how in mine if how == DULL]
            ends.append(
                _End(
                    dull=frozenset(p for p, _, how in mine if how == DULL),
                    chipped=frozenset(p for p, _, how in mine if how == CHIPPED),
                    since_look=max(min(gaps), 0.0) if gaps else 0.0,
                )
            )
        runs = jobs_run(log, moment)
        last = runs[-1].to_hits if runs else 0
        hits_now = max(last, torn[-1].hits if torn else 0)
        return cls(log, runs, torn, ends, orders, per_hit, hits_now, cutting_positions(log))

    def left_of(self, run: JobRun) -> float:
        """Hits of its order that were still to be run when it began, as ordered."""
        order = self.orders[run.order]
        parts = order.parts
        return float(-(-parts // self.per_hit.get((run.variant, order.part), 1)) - run.before)

    def jobs(self, origins: Sequence[dt.datetime]) -> tuple[list[Moment], int]:
        moments, forced = [], 0
        for n, run in enumerate(self.runs):
            is_last = n == len(self.runs) - 1
            order = self.orders.get(run.order)
            if order is None or (is_last and not order.closed) or run.hits <= 0:
                continue
            left = self.left_of(run)
            before = self._before(n)
            at = self.torn[before].at - BEFORE_S if before is not None else run.started
            origin = _origin(origins, at)
            if origin is None or left <= 0:
                continue
            if before is not None and self._was_forced(before):
                forced += 1
                continue
            moments.append(
                Moment(
                    die=self.log.die,
                    at=at,
                    origin=origin,
                    kind=JOB,
                    number=order.number,
                    job_hits=left,
                    variant=run.variant,
                    job=self._done(n, before),
                )
            )
        return moments, forced

    def _was_forced(self, torn: int) -> bool:
        """Whether the die could not have run as it stood, and everybody knew."""
        end = self.ends[torn]
        return bool(end.chipped) or (bool(end.dull) and self.torn[torn].for_cause)

    def _before(self, n: int) -> int | None:
        """The teardown just before a job, after the job before it."""
        run = self.runs[n]
        since = self.runs[n - 1].ended if n else -np.inf
        for i, one in enumerate(self.torn):
            at_start = one.hits == run.from_hits and since <= one.at <= run.started
            if at_start and (self._was_forced(i) or self._is_set(one, run.variant)):
                return i
        return None

    def _is_set(self, one: Teardown, variant: int) -> bool:
        """Whether most of the edges that work with a set of inserts were renewed; a single piece makes no fresh die."""
        places = self.log.positions
        working = {p for p in self.cutting if not places[p].variants or variant in places[p].variants}
        return len(one.renewed & working) >= MOST_OF_THE_SET * max(len(working), 1)

    def _done(self, n: int, before: int | None) -> JobDone:
        run, pulls = self.runs[n], [] if before is None else [0.0]
        at_start = before is not None and bool(self.ends[before].dull)
        next_begins = self.runs[n + 1].started if n + 1 < len(self.runs) else np.inf
        for one, end in zip(self.torn, self.ends, strict=True):
            after_it = one.hits == run.to_hits and run.ended <= one.at <= next_begins
            inside = run.from_hits < one.hits < run.to_hits
            if not (inside or after_it):
                continue
            hits = float(one.hits - run.from_hits)
            if end.dull:
                return JobDone(
                    hits=float(run.hits),
                    pulls=tuple(pulls),
                    stop=hits,
                    since_look=min(end.since_look, hits),
                    dull_at_start=at_start,
                )
            if end.chipped:
                return JobDone(hits=hits, pulls=tuple(pulls), dull_at_start=at_start, torn=True)
            if inside and self._is_set(one, run.variant):
                pulls.append(hits)
        return JobDone(hits=float(run.hits), pulls=tuple(pulls), dull_at_start=at_start)

    def apart(self, origins: Sequence[dt.datetime]) -> list[Moment]:
        moments = []
        starts = [run.started for run in self.runs]
        for n, (one, end) in enumerate(zip(self.torn, self.ends, strict=True)):
            origin = _origin(origins, one.at - BEFORE_S)
            after = bisect_right(starts, one.at)
            run = self.runs[after] if after < len(self.runs) else self.runs[-1] if self.runs else None
            if origin is None or run is None:
                continue
            is_last = n == len(self.torn) - 1
            if not one.ground:
                continue
            ahead = float((self.hits_now if is_last else self.torn[n + 1].hits) - one.hits)
            if ahead <= 0:
                continue
            found = {} if is_last else dict.fromkeys(self.ends[n + 1].dull, ahead)
            left = self.left_of(run) if run.order in self.orders and after < len(self.runs) else 0.0
            moments.append(
                Moment(
                    die=self.log.die,
                    at=one.at - BEFORE_S,
                    origin=origin,
                    kind=TEARDOWN,
                    number="",
                    job_hits=left if left > 0 else float(decisions.SOME_JOB),
                    variant=run.variant,
                    ground=one.renewed,
                    bad=end.dull | end.chipped,
                    found_dull=found,
                    ahead=max(ahead, 0.0),
                    still_runs=is_last,
                )
            )
        return moments


def _origin(origins: Sequence[dt.datetime], at: float) -> dt.datetime | None:
    """The last one before a moment."""
    i = bisect_right([o.timestamp() for o in origins], at)
    return origins[i - 1] if i else None
