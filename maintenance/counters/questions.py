"""Writes: what people answer to a counter's questions. Each counts again what it changes, in the same transaction."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence

from django.db import transaction
from django.db.models import Min
from django.utils import timezone
from django.utils.translation import gettext as _

from diestore.register.models import Die
from maintenance.log.rules import EntryRefused
from maintenance.log.write import Actor, strike_out
from maintenance.models import (
    HITS_AT_MOST,
    Counter,
    CounterQuestion,
    Run,
)

from . import settle
from .presses import ANSWERS
from .pure import Kind, Verdict

SAYS_WHICH_DIE = (Verdict.TO_DIE, Verdict.WITHOUT_STOCK)
FALLS = (Verdict.RESET, Verdict.ROLLED_OVER, Verdict.SET)
BEFORE_WRONG = "the one before is wrong"  # of a fall: the reading that it fell from is left out
COUNTER_HOLDS = "the counter holds"  # see `counter_holds`


def settle_questions(*, by: Actor, questions: Sequence[CounterQuestion], verdict: str, die: Die | None = None) -> None:
    """Answer questions of one counter alike. What was answered holds until it is taken back."""
    before_wrong = verdict == BEFORE_WRONG
    try:
        said = Verdict.LEAVE_OUT if before_wrong else Verdict(verdict)
    except ValueError:
        raise EntryRefused(_("Pick one of the answers."), field="verdict") from None
    if said in SAYS_WHICH_DIE and die is None:
        raise EntryRefused(_("Say which die ran."), field="die")
    with transaction.atomic():
        for question in questions:
            row = (
                CounterQuestion.objects.select_for_update(of=("self",))
                .select_related("counter__device")
                .get(pk=question.pk)
            )
            if row.settled_at is not None:
                raise EntryRefused(_("Somebody answered this already."))
            if said not in ANSWERS[row.kind]:
                raise EntryRefused(_("This answer does not fit the question."), field="verdict")
            if die is not None and die.plant_id != row.counter.device.plant_id:
                raise EntryRefused(_("{die} is of another plant.").format(die=die), field="die")
            if said is Verdict.TO_DIE and row.strokes > HITS_AT_MOST:
                raise EntryRefused(
                    _("{strokes:,} hits in one run cannot be. The reading is wrong.").format(strokes=row.strokes),
                    field="verdict",
                )
            row.verdict, row.die = said.value, die if said in SAYS_WHICH_DIE else None
            row.settled_at, row.settled_by, row.settled_user = timezone.now(), by.person, by.user
            if said in FALLS and row.fell_at is not None:
                row.until = row.fell_at
            reaches_back = _reaches_back(row)
            if before_wrong and row.fell_at is not None:
                row.until = row.since
            elif said is Verdict.LEAVE_OUT and row.fell_at is not None:
                row.since = row.fell_at
            row.save()
            Counter.objects.filter(pk=row.counter_id).have_wait(reaches_back)
        for pk in {question.counter_id for question in questions}:
            settle.settle(pk)


def _reaches_back(question: CounterQuestion) -> dt.datetime:
    """The earliest time of which an answer may change what is told. Wrong times may be put where they arrived."""
    if question.kind != Kind.CLOCK.value:
        return question.since
    off = question.counter.readings.filter(clock_off=True, at__gte=question.since, at__lte=question.until)
    return min(filter(None, (question.since, off.aggregate(first=Min("received_at"))["first"])))


def counter_holds(*, by: Actor, questions: Sequence[CounterQuestion], reason: str) -> None:
    """The counter is right and what was typed is not: the typed runs are struck out, and their strokes count."""
    with transaction.atomic():
        for question in questions:
            counter = question.counter
            meets = {"die__in": question.dies, "started__lt": question.until, "at__gt": question.since}
            runs = Run.objects.standing().filter(**meets).exclude(counter=counter)
            for run in runs:
                strike_out(by=by, entry=run, reason=reason)
                Counter.objects.filter(pk=counter.pk).have_wait(run.started)
            Counter.objects.filter(pk=counter.pk).have_wait(question.since)
        for pk in {question.counter_id for question in questions}:
            settle.settle(pk)


def take_back(*, by: Actor, question: CounterQuestion) -> None:
    """An answer was wrong: it holds no longer, and what it settled is asked again."""
    with transaction.atomic():
        held = CounterQuestion.objects.filter(pk=question.pk, settled_at__isnull=False, taken_back_at__isnull=True)
        if not held.update(taken_back_at=timezone.now()):
            raise EntryRefused(_("This answer was taken back already."))
        Counter.objects.filter(pk=question.counter_id).have_wait(_reaches_back(question))
        settle.settle(question.counter_id)
