"""What the counters ask, and what was answered, in sentences. Reads only."""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from collections.abc import Collection
from dataclasses import dataclass, field

from django.db.models import QuerySet

from diestore.register.models import Die
from maintenance.models import Counter, CounterQuestion

from .presses import ANSWERS
from .pure import Kind, Verdict
from .questions import BEFORE_WRONG, COUNTER_HOLDS, SAYS_WHICH_DIE

SETTLED_SHOWN = 12


# --- questions ------------------------------------------------------------------------------------------------------

SAY = {
    Verdict.TO_DIE.value: ("They are hits", "of the die that you name"),
    Verdict.WITHOUT_STOCK.value: ("Strokes without stock", "of the die that you name; no edge cut"),
    Verdict.TO_NOBODY.value: ("No die ran", "the press was tried; they count for nothing"),
    Verdict.RESET.value: ("It was set to nought", "what it shows was made since"),
    Verdict.ROLLED_OVER.value: ("It rolled over", "it came to its end and began at nought"),
    Verdict.SET.value: ("It was set to another number", "it goes on from there"),
    Verdict.LEAVE_OUT.value: ("Leave those readings out", "they are wrong; later ones carry the strokes"),
    Verdict.LEAVE_OUT_CLOCK.value: ("Leave those readings out", "later ones carry the strokes"),
    Verdict.AT_ARRIVAL.value: ("Take the time at which they came", "the count is right, its clock was not"),
    BEFORE_WRONG: ("The high reading is wrong", "the count goes on from the one before it"),
    COUNTER_HOLDS: ("The counter holds", "what was typed is struck out"),
}
TYPED_HOLDS = ("What was typed holds", "the counter's strokes for that time are left out")


@dataclass(frozen=True, kw_only=True)
class AnswerOffered:
    verdict: str
    text: str
    note: str
    needs_die: bool


@dataclass(frozen=True, kw_only=True)
class Asked:
    """Questions of one sort about one counter: asked, and answered, together."""

    counter: Counter
    kind: str
    questions: tuple[CounterQuestion, ...]
    dies: dict[int, Die] = field(default_factory=dict)

    @property
    def pk(self) -> int:
        return self.questions[0].pk

    @property
    def strokes(self) -> int:
        return sum(q.strokes for q in self.questions)

    @property
    def since(self) -> dt.datetime:
        return min(q.since for q in self.questions)

    @property
    def until(self) -> dt.datetime:
        return max(q.until for q in self.questions)

    @property
    def where(self) -> str:
        return str(self.counter)

    @property
    def names(self) -> str:
        return " and ".join(dict.fromkeys(die.code for die in self.dies.values()))

    @property
    def sentence(self) -> str:
        return _SENTENCES[self.kind](self)

    @property
    def needs_die(self) -> bool:
        return any(answer.needs_die for answer in self.answers)

    @property
    def answers(self) -> list[AnswerOffered]:
        verdicts = [verdict.value for verdict in ANSWERS[self.kind]]
        if self.kind == Kind.FALL.value:
            verdicts.append(BEFORE_WRONG)
        if self.kind == Kind.TYPED.value:
            verdicts.append(COUNTER_HOLDS)
        needs = {verdict.value for verdict in SAYS_WHICH_DIE}
        made = []
        for verdict in verdicts:
            typed = self.kind == Kind.TYPED.value and verdict == Verdict.TO_NOBODY.value
            text, note = TYPED_HOLDS if typed else SAY[verdict]
            made.append(AnswerOffered(verdict=verdict, text=text, note=note, needs_die=verdict in needs))
        return made


def _first(asked: Asked) -> CounterQuestion:
    return asked.questions[0]


def _upper(asked: Asked) -> str:
    return asked.where[:1].upper() + asked.where[1:]


_SENTENCES = {
    Kind.NO_DIE.value: lambda a: f"{a.strokes:,} strokes of {a.where}, and no die was in it then.",
    Kind.WHICH_DIE.value: lambda a: (
        f"{a.strokes:,} strokes of {a.where} while {a.names or 'two dies'} changed places: whose are they?"
    ),
    Kind.TYPED.value: lambda a: (
        f"The counter of {a.where} has {a.strokes:,} strokes of {a.names}, and a run is in the log for that time "
        "already. The run counts, the strokes do not, until this is settled."
    ),
    Kind.JUMP.value: lambda a: (
        f"The counter of {a.where} jumped from {_first(a).before or 0:,} to {_first(a).after or 0:,}: more than any "
        "press makes in that time."
    ),
    Kind.RESET_OR_ROLL.value: lambda a: (
        f"The counter of {a.where} fell from {_first(a).before or 0:,} to {_first(a).after or 0:,}: set to nought, or "
        "rolled over?"
    ),
    Kind.FALL.value: lambda a: (
        f"The counter of {a.where} fell from {_first(a).before or 0:,} to {_first(a).after or 0:,}. "
        f"{f'The {a.strokes:,} strokes' if a.strokes else 'Strokes'} since then do not count until this is settled."
    ),
    Kind.ODD.value: lambda a: (
        f"{_readings(a)} of {a.where} out of line with those before and after. The later ones carry the strokes, so "
        "none is lost."
    ),
    Kind.CLOCK.value: lambda a: (
        f"{_readings(a)} of {a.where} came with a time that cannot be: its clock is wrong. The strokes come with its "
        "next good count."
    ),
}


def _readings(asked: Asked) -> str:
    n = sum(q.readings for q in asked.questions)
    return f"{n:,} reading{'' if n == 1 else 's'}"


def said(asked: Asked, answer: dict) -> str:
    """An answer that was just given, in words."""
    offered = next(a for a in asked.answers if a.verdict == answer["verdict"])
    die = answer.get("die") if offered.needs_die else None
    text = offered.text[:1].lower() + offered.text[1:]
    return f"{text} of {die}" if die else text


def _questions(plants: Collection[int] | None) -> QuerySet[CounterQuestion]:
    rows = CounterQuestion.objects.all()
    return rows if plants is None else rows.filter(counter__device__plant__in=sorted(plants))


def open_questions(plants: Collection[int] | None = None) -> list[Asked]:
    """What is to be settled: one for each counter and sort, the latest first. plants: of these only."""
    rows = _questions(plants).filter(settled_at__isnull=True)
    rows = rows.select_related("counter__press", "counter__die", "counter__device").order_by("since", "pk")
    return sorted(_asked(rows), key=lambda a: (-a.until.timestamp(), a.pk))


def of_question(question: CounterQuestion) -> Asked | None:
    """The open questions that are settled together with one."""
    rows = CounterQuestion.objects.filter(
        settled_at__isnull=True, counter=question.counter_id, kind=question.kind
    ).select_related("counter__press", "counter__die", "counter__device")
    return next(iter(_asked(rows.order_by("since", "pk"))), None)


def _asked(rows) -> list[Asked]:
    together: dict[tuple[int, str], list[CounterQuestion]] = defaultdict(list)
    for row in rows:
        # A fall has a pair of totals of its own: those are settled one by one.
        alone = row.kind in (Kind.JUMP.value, Kind.RESET_OR_ROLL.value, Kind.FALL.value)
        together[row.counter_id, row.kind, row.pk if alone else 0].append(row)
    dies = Die.objects.in_bulk({pk for rows in together.values() for row in rows for pk in row.dies})
    return [
        Asked(
            counter=rows[0].counter,
            kind=rows[0].kind,
            questions=tuple(rows),
            dies={pk: dies[pk] for row in rows for pk in row.dies if pk in dies},
        )
        for rows in together.values()
    ]


def number_open(plants: Collection[int] | None = None) -> int:
    """Questions that wait, counted as the page shows them."""
    rows = _questions(plants).filter(settled_at__isnull=True)
    rows = rows.values_list("counter_id", "kind", "pk")
    alone = (Kind.JUMP.value, Kind.RESET_OR_ROLL.value, Kind.FALL.value)
    return len({(counter, kind, pk if kind in alone else 0) for counter, kind, pk in rows})


@dataclass(frozen=True, kw_only=True)
class Settled:
    question: CounterQuestion
    sentence: str
    answer: str


def settled_lately(plants: Collection[int] | None = None) -> list[Settled]:
    rows = list(
        _questions(plants)
        .filter(settled_at__isnull=False, taken_back_at__isnull=True)
        .select_related("counter__press", "counter__die", "counter__device", "die", "settled_by")
        .order_by("-settled_at", "-pk")[:SETTLED_SHOWN]
    )
    dies = Die.objects.in_bulk({pk for row in rows for pk in row.dies})
    made = []
    for row in rows:
        one = Asked(counter=row.counter, kind=row.kind, questions=(row,), dies={pk: dies[pk] for pk in row.dies})
        typed = row.kind == Kind.TYPED.value
        text = TYPED_HOLDS[0] if typed else SAY[row.verdict][0]
        made.append(
            Settled(question=row, sentence=one.sentence, answer=f"{text}{f' of {row.die}' if row.die_id else ''}")
        )
    return made
