"""What the counters ask, and what was answered, in sentences. Reads only."""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from collections.abc import Collection
from dataclasses import dataclass, field

from django.db.models import QuerySet
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext

from diestore.register.models import Die
from maintenance.models import Counter, CounterQuestion

from .presses import ANSWERS
from .pure import Kind, Verdict
from .questions import BEFORE_WRONG, COUNTER_HOLDS, SAYS_WHICH_DIE

SETTLED_SHOWN = 12


# --- questions ------------------------------------------------------------------------------------------------------

SAY = {
    Verdict.TO_DIE.value: (gettext_lazy("They are hits"), gettext_lazy("of the die that you name")),
    Verdict.WITHOUT_STOCK.value: (
        gettext_lazy("Strokes without stock"),
        gettext_lazy("of the die that you name; no edge cut"),
    ),
    Verdict.TO_NOBODY.value: (gettext_lazy("No die ran"), gettext_lazy("the press was tried; they count for nothing")),
    Verdict.RESET.value: (gettext_lazy("It was set to nought"), gettext_lazy("what it shows was made since")),
    Verdict.ROLLED_OVER.value: (gettext_lazy("It rolled over"), gettext_lazy("it came to its end and began at nought")),
    Verdict.SET.value: (gettext_lazy("It was set to another number"), gettext_lazy("it goes on from there")),
    Verdict.LEAVE_OUT.value: (
        gettext_lazy("Leave those readings out"),
        gettext_lazy("they are wrong; later ones carry the strokes"),
    ),
    Verdict.LEAVE_OUT_CLOCK.value: (
        gettext_lazy("Leave those readings out"),
        gettext_lazy("later ones carry the strokes"),
    ),
    Verdict.AT_ARRIVAL.value: (
        gettext_lazy("Take the time at which they came"),
        gettext_lazy("the count is right, its clock was not"),
    ),
    BEFORE_WRONG: (gettext_lazy("The high reading is wrong"), gettext_lazy("the count goes on from the one before it")),
    COUNTER_HOLDS: (gettext_lazy("The counter holds"), gettext_lazy("what was typed is struck out")),
}
TYPED_HOLDS = (gettext_lazy("What was typed holds"), gettext_lazy("the counter's strokes for that time are left out"))


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
        if self.counter.press_id:
            return _("press {press}").format(press=self.counter.press)
        return _("die {die}").format(die=self.counter.die)

    @property
    def names(self) -> str:
        return _(" and ").join(dict.fromkeys(die.code for die in self.dies.values()))

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
            made.append(AnswerOffered(verdict=verdict, text=str(text), note=str(note), needs_die=verdict in needs))
        return made


def _first(asked: Asked) -> CounterQuestion:
    return asked.questions[0]


def _figures(asked: Asked) -> dict[str, str | int]:
    first = _first(asked)
    return {"where": asked.where, "before": first.before or 0, "after": first.after or 0}


_SENTENCES = {
    Kind.NO_DIE.value: lambda a: _("{strokes:,} strokes of {where}, and no die was in it then.").format(
        strokes=a.strokes, where=a.where
    ),
    Kind.WHICH_DIE.value: lambda a: _(
        "{strokes:,} strokes of {where} while {names} changed places: whose are they?"
    ).format(strokes=a.strokes, where=a.where, names=a.names or _("two dies")),
    Kind.TYPED.value: lambda a: _(
        "The counter of {where} has {strokes:,} strokes of {names}, and a run is in the log for that "
        "time already. The run counts, the strokes do not, until this is settled."
    ).format(where=a.where, strokes=a.strokes, names=a.names),
    Kind.JUMP.value: lambda a: _(
        "The counter of {where} jumped from {before:,} to {after:,}: more than any press makes in that time."
    ).format(**_figures(a)),
    Kind.RESET_OR_ROLL.value: lambda a: _(
        "The counter of {where} fell from {before:,} to {after:,}: set to nought, or rolled over?"
    ).format(**_figures(a)),
    Kind.FALL.value: lambda a: (
        _(
            "The counter of {where} fell from {before:,} to {after:,}. The {strokes:,} strokes since then do not "
            "count until this is settled."
        )
        if a.strokes
        else _(
            "The counter of {where} fell from {before:,} to {after:,}. Strokes since then do not count until this is "
            "settled."
        )
    ).format(**_figures(a), strokes=a.strokes),
    Kind.ODD.value: lambda a: _(
        "{readings} of {where} out of line with those before and after. The later ones carry the "
        "strokes, so none is lost."
    ).format(readings=_readings(a), where=a.where),
    Kind.CLOCK.value: lambda a: _(
        "{readings} of {where} came with a time that cannot be: its clock is wrong. The strokes come "
        "with its next good count."
    ).format(readings=_readings(a), where=a.where),
}


def _readings(asked: Asked) -> str:
    n = sum(q.readings for q in asked.questions)
    return ngettext("{n:,} reading", "{n:,} readings", n).format(n=n)


def said(asked: Asked, answer: dict) -> str:
    """An answer that was just given, in words."""
    offered = next(a for a in asked.answers if a.verdict == answer["verdict"])
    die = answer.get("die") if offered.needs_die else None
    text = offered.text[:1].lower() + offered.text[1:]
    return _("{answer} of {die}").format(answer=text, die=die) if die else text


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
            Settled(
                question=row,
                sentence=one.sentence,
                answer=_("{answer} of {die}").format(answer=text, die=row.die) if row.die_id else str(text),
            )
        )
    return made
