"""PURE. When a die was torn down, and the jobs it ran in between, from its log.

A die is torn down where an edge of it is renewed: ground, turned, welded and recut, or its piece changed. Whatever is
renewed between two runs is one teardown. Hits are of the die, in strokes with stock; times seconds since the epoch.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from .rows import DieLog, ReplacementRow, WorkRow
from .spans import Clocks
from .works import OPERATIONS

KNOWN_BAD = ("dull", "chipped", "broken")


@dataclass(frozen=True, kw_only=True)
class Teardown:
    """at, until: its first and its last entry. hits: on the die then. renewed: positions. ground: whether any of them
    was ground or recut, so that the die was apart, and not only a piece changed. for_cause: one of its entries gives
    dull, chipped or broken as the reason, so that it was no free choice."""

    at: float
    until: float
    hits: int
    renewed: frozenset[int]
    ground: bool
    for_cause: bool


@dataclass(frozen=True, kw_only=True)
class JobRun:
    """Runs of one order, one after the other. from_hits, to_hits: of the die. before: hits that it ran of that order
    earlier."""

    order: int
    started: float
    ended: float
    from_hits: int
    to_hits: int
    before: int
    variant: int

    @property
    def hits(self) -> int:
        return self.to_hits - self.from_hits


def teardowns(log: DieLog, as_of: float) -> list[Teardown]:
    """In order of time, up to a moment."""
    clock = Clocks(log).of(frozenset())
    made: list[Teardown] = []
    for row in _renewals(log, as_of):
        hits = clock.at(row.at, hits_into_run=row.hits_into_run).hits
        one = Teardown(
            at=row.at,
            until=row.at,
            hits=hits,
            renewed=frozenset({row.position} if row.position is not None else ()),
            ground=isinstance(row, WorkRow),
            for_cause=row.why in KNOWN_BAD,
        )
        if made and made[-1].hits == hits:
            last = made.pop()
            one = Teardown(
                at=last.at,
                until=row.at,
                hits=hits,
                renewed=last.renewed | one.renewed,
                ground=last.ground or one.ground,
                for_cause=last.for_cause or one.for_cause,
            )
        made.append(one)
    return made


def _renewals(log: DieLog, as_of: float) -> Iterator[WorkRow | ReplacementRow]:
    works = [w for w in log.works if w.position is not None and OPERATIONS[w.operation].fresh_edge]
    changes = [r for r in log.replacements if not r.since_start and r.why != "first"]
    both: list[WorkRow | ReplacementRow] = [*works, *changes]
    yield from sorted((row for row in both if row.at <= as_of), key=lambda row: (row.at, row.sequence, row.key))


def jobs_run(log: DieLog, as_of: float) -> list[JobRun]:
    """The stretches of runs that name one order, in order of time; runs that name none lie between them."""
    clock, going = Clocks(log).of(frozenset()), False
    made: list[JobRun] = []
    ran: dict[int, int] = {}
    for run in sorted((r for r in log.runs if r.ended <= as_of), key=lambda r: r.started):
        if run.order is None:
            going = False
            continue
        to = clock.at(run.ended).hits
        if going and made[-1].order == run.order:
            last = made[-1]
            made[-1] = JobRun(
                order=run.order,
                started=last.started,
                ended=run.ended,
                from_hits=last.from_hits,
                to_hits=to,
                before=last.before,
                variant=last.variant,
            )
        else:
            made.append(
                JobRun(
                    order=run.order,
                    started=run.started,
                    ended=run.ended,
                    from_hits=clock.at(run.started).hits,
                    to_hits=to,
                    before=ran.get(run.order, 0),
                    variant=run.variant,
                )
            )
        ran[run.order] = made[-1].before + made[-1].hits
        going = True
    return made
