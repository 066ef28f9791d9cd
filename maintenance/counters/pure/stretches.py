"""PURE. The steps of a counter, the dies that were in the press and what people answered -> runs and questions.

Strokes between two readings belong to the die that was in the press then. Where it was there for a part of that time
only, they are its own as long as it could make them in its part and no other die was there. What two dies could have
made, what no die can have made and what somebody typed already is a question: it stays out of the hits until it is
settled.

Neighbouring steps of one die make one stretch. A stretch ends where another die, another answer or strokes without
stock begin, where the count stood still for half an hour, and at the end of a shift, so that runs are few (six or so
a press and day) and each lies within one shift; the last one also where the counter has fallen silent.

The sums: hits + strokes without stock + strokes left to nobody + undecided = strokes of the counter.
"""

from __future__ import annotations

import bisect
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from enum import Enum

from .chain import SLACK_STROKES, Answer, Aside, CounterTotal, Doubt, Step, Verdict, chain

STANDSTILL_S = 1_800.0
KEPT_BACK = 6  # the latest steps that what comes next may still change
SHIFT_S = 8 * 3600.0
PACE_MARGIN = 1.5  # a die may run so much faster than is written of it
NEVER = float("inf")


@dataclass(frozen=True, kw_only=True, slots=True)
class InPress:
    """The die that was in the press in [since, until). until None: still. per_minute: its usual strokes."""

    since: float
    until: float | None
    die: int
    variant: int | None = None
    order: int | None = None
    per_minute: float = 0.0

    @property
    def end(self) -> float:
        return NEVER if self.until is None else self.until


@dataclass(frozen=True, kw_only=True, slots=True)
class Block:
    """A run of a die that stands in the log already, [since, until)."""

    since: float
    until: float
    die: int


class Kind(Enum):
    """What is asked."""

    NO_DIE = "no die"
    WHICH_DIE = "which die"
    TYPED = "typed"
    JUMP = "jump"
    RESET_OR_ROLL = "reset or roll-over"
    FALL = "fall"
    ODD = "odd"
    CLOCK = "clock"


@dataclass(frozen=True, kw_only=True, slots=True)
class Stretch:
    """Strokes of one die in [since, until). die None: left to nobody. ended: no later reading can lengthen it, but a
    late one may."""

    since: float
    until: float
    strokes: int
    die: int | None
    variant: int | None = None
    order: int | None = None
    stock: bool = True
    ended: bool = True


@dataclass(frozen=True, kw_only=True, slots=True)
class Question:
    """Strokes that are not decided, in [since, until). before, after: the totals around what is in doubt.

    dies: those that come into it. fell_at: of a fall, the time of the reading after it. readings: how many were set
    aside.
    """

    kind: Kind
    since: float
    until: float
    strokes: int = 0
    before: int | None = None
    after: int | None = None
    dies: tuple[int, ...] = ()
    fell_at: float | None = None
    readings: int = 0


@dataclass(frozen=True, kw_only=True, slots=True)
class Counted:
    runs: tuple[Stretch, ...] = ()
    without_stock: tuple[Stretch, ...] = ()
    to_nobody: tuple[Stretch, ...] = ()
    questions: tuple[Question, ...] = ()
    anchor: float | None = None
    last: CounterTotal | None = None

    @property
    def hits(self) -> int:
        return sum(s.strokes for s in self.runs)

    @property
    def undecided(self) -> int:
        return sum(q.strokes for q in self.questions)

    @property
    def strokes(self) -> int:
        parts = (self.runs, self.without_stock, self.to_nobody)
        return sum(s.strokes for part in parts for s in part) + self.undecided


@dataclass(frozen=True, kw_only=True, slots=True)
class _Label:
    """Whose the strokes of a step are; neighbouring steps of one label make one stretch."""

    kind: Kind | None = None
    nobody: bool = False
    die: int | None = None
    variant: int | None = None
    order: int | None = None
    stock: bool = True
    dies: tuple[int, ...] = ()
    until: float = NEVER  # when the die was taken out
    doubt: int = 0  # a doubt about one step is asked by itself


@dataclass(kw_only=True, slots=True)
class _Open:
    label: _Label
    first: Step
    last: Step
    strokes: int
    cut: float


def every_eight_hours(moment: float) -> float:
    """The end of the shift that a moment lies in, for whoever has no other: at 0, 8 and 16 o'clock UTC."""
    return (moment // SHIFT_S + 1) * SHIFT_S


def count(
    readings: Iterable[CounterTotal],
    dies: Sequence[InPress],
    *,
    blocks: Sequence[Block] = (),
    answers: Sequence[Answer] = (),
    figures: int | None = None,
    since: float = -NEVER,
    shift_end: Callable[[float], float] = every_eight_hours,
    silent: bool = False,
) -> Counted:
    """What the readings of one counter tell.

    dies: which die was in the press when, disjoint, in any order. blocks: runs of those dies that stand in the log.
    shift_end: the first end of a shift after a moment. silent: nothing was heard of the counter for so long that its
    last stretch counts as ended. Readings in any order, repeats among them. since: an anchor of an earlier count; what
    lies before it is not counted again.
    """
    chained = chain(readings, answers, figures=figures, since=since)
    labels = _Labels(dies, blocks, answers)
    done: list[_Open] = []
    for number, step in enumerate(chained.steps):
        if not step.strokes and step.doubt is not Doubt.FALL:
            continue
        label = labels.of(step, number)
        open_ = done[-1] if done else None
        if (
            open_ is not None
            and open_.label == label
            and step.since < open_.cut
            and step.since - open_.last.until < STANDSTILL_S
        ):
            open_.last, open_.strokes = step, open_.strokes + step.strokes
        else:
            done.append(_Open(label=label, first=step, last=step, strokes=step.strokes, cut=shift_end(step.since)))
    stretches = [
        (open_, _stretch(open_, silent or _has_ended(open_, k, done, chained.last))) for k, open_ in enumerate(done)
    ]
    plain = [(o.label, s) for o, s in stretches if o.label.kind is None]
    asked = [_question(o, o.label.kind) for o in done if o.label.kind is not None] + _questions_aside(chained.aside)
    return Counted(
        runs=tuple(s for label, s in plain if label.die is not None and label.stock),
        without_stock=tuple(s for label, s in plain if label.die is not None and not label.stock),
        to_nobody=tuple(s for label, s in plain if label.die is None),
        questions=tuple(sorted(asked, key=lambda q: (q.since, q.until, q.kind.value))),
        anchor=_anchor(chained.steps, done),
        last=chained.last,
    )


class _Labels:
    def __init__(self, dies: Sequence[InPress], blocks: Sequence[Block], answers: Sequence[Answer]) -> None:
        self.dies = sorted(dies, key=lambda p: p.since)
        self.starts = [p.since for p in self.dies]
        if any(a.end > b.since for a, b in zip(self.dies, self.dies[1:], strict=False)):
            raise ValueError("two dies in one press at the same time")
        self.blocks = sorted(blocks, key=lambda b: b.since)
        self.gives = [a for a in answers if a.verdict in (Verdict.TO_DIE, Verdict.WITHOUT_STOCK, Verdict.TO_NOBODY)]

    def of(self, step: Step, number: int) -> _Label:
        for answer in self.gives:
            if answer.covers(step.since, step.until):
                if answer.verdict is Verdict.TO_NOBODY:
                    return _Label(nobody=True)
                stock = answer.verdict is Verdict.TO_DIE and step.after.stock
                if stock and answer.die is not None and self._is_typed(answer.die, step):
                    return _Label(kind=Kind.TYPED, dies=(answer.die,))
                return _Label(die=answer.die, variant=answer.variant, stock=stock)
        if step.doubt is not Doubt.NONE:
            kind = {Doubt.JUMP: Kind.JUMP, Doubt.RESET_OR_ROLL: Kind.RESET_OR_ROLL, Doubt.FALL: Kind.FALL}[step.doubt]
            return _Label(kind=kind, dies=tuple(p.die for p in self._in(step)), doubt=number + 1)
        there = self._in(step)
        whole = next((p for p in there if p.since <= step.since and step.until <= p.end), None)
        able = [whole] if whole else [p for p in there if _could(p, step)]
        if len(able) != 1:
            kind = Kind.WHICH_DIE if len(there) > 1 else Kind.NO_DIE
            return _Label(kind=kind, dies=tuple(dict.fromkeys(p.die for p in there)))
        (die,) = able
        if step.after.stock and self._is_typed(die.die, step):
            return _Label(kind=Kind.TYPED, dies=(die.die,))
        return _Label(die=die.die, variant=die.variant, order=die.order, stock=step.after.stock, until=die.end)

    def _in(self, step: Step) -> list[InPress]:
        """The dies that were in the press at some moment of the step."""
        i = max(bisect.bisect_right(self.starts, step.since) - 1, 0)
        dies = []
        while i < len(self.dies) and self.dies[i].since < step.until:
            if self.dies[i].end > step.since:
                dies.append(self.dies[i])
            i += 1
        return dies

    def _is_typed(self, die: int, step: Step) -> bool:
        return any(b.die == die and b.since < step.until and b.until > step.since for b in self.blocks)


def _could(p: InPress, step: Step) -> bool:
    """Whether the die could make the strokes of the step in its part of the time."""
    minutes = (min(p.end, step.until) - max(p.since, step.since)) / 60.0
    return step.strokes <= p.per_minute * PACE_MARGIN * minutes + SLACK_STROKES


def _stretch(open_: _Open, ended: bool) -> Stretch:
    label = open_.label
    return Stretch(
        since=open_.first.since,
        until=open_.last.until,
        strokes=open_.strokes,
        die=label.die,
        variant=label.variant,
        order=label.order,
        stock=label.stock,
        ended=ended,
    )


def _has_ended(open_: _Open, k: int, done: list[_Open], last: CounterTotal | None) -> bool:
    if k + 1 < len(done) or open_.last.until >= open_.cut or open_.label.until < NEVER:
        return True
    return last is not None and last.at - open_.last.until >= STANDSTILL_S


def _question(open_: _Open, kind: Kind) -> Question:
    first, last = open_.first, open_.last
    return Question(
        kind=kind,
        since=first.since,
        until=last.until,
        strokes=open_.strokes,
        before=first.before.total,
        after=(last.fell or last.after).total,
        dies=open_.label.dies,
        fell_at=None if first.fell is None else first.fell.at,
    )


def _questions_aside(aside: Iterable[Aside]) -> list[Question]:
    """One question for the odd readings after one that is used, and one for all whose clock was wrong."""
    asked: dict[str, list[CounterTotal]] = {}
    for row in aside:
        asked.setdefault("" if row.clock or row.follows is None else row.follows.id, []).append(row.reading)
    return [
        Question(
            kind=Kind.ODD if follows else Kind.CLOCK,
            since=min(r.at for r in rows),
            until=max(r.at for r in rows),
            before=rows[0].total,
            after=rows[-1].total,
            readings=len(rows),
        )
        for follows, rows in asked.items()
    ]


def _anchor(steps: Sequence[Step], done: Sequence[_Open]) -> float | None:
    """A time from which to count again when later readings come: they change nothing before it.

    It lies at the beginning of a stretch, or where the count had stood still; enough readings back for none of those
    that follow to be doubted anew. None: from the first reading on.
    """
    for step in reversed(steps[: max(len(steps) - KEPT_BACK, 0)]):
        begun = bisect.bisect_right(done, step.since, key=lambda open_: open_.first.since)
        if begun and step.since < done[begun - 1].last.until + STANDSTILL_S:
            return next((o.first.since for o in reversed(done[:begun]) if not o.first.before.tied), None)
        if not step.before.tied:
            return step.since
    return None
