"""Where a typed or struck-out entry touches a time that a counter counted, that is looked at with the next count."""

from __future__ import annotations

import datetime as dt

from django.db.models import Q
from django.utils import timezone

from maintenance.models import Counter, CounterQuestion, Event, HitCorrection, Run

TYPED = CounterQuestion.Kind.TYPED


def typed(die: int, since: dt.datetime) -> None:
    """A run of a die was typed, or a typed one struck out."""
    of_die = Q(open_count__die=die) | Q(questions__kind=TYPED, questions__settled_at__isnull=True)
    pks = list(Counter.objects.filter(of_die).order_by().values_list("pk", flat=True).distinct())
    if pks:
        Counter.objects.filter(pk__in=pks).have_wait(since)


def struck(entry: Event) -> None:
    """An entry was struck out by hand."""
    if not isinstance(entry, (Run, HitCorrection)):
        return
    if entry.counter_id is not None:
        Counter.objects.filter(pk=entry.counter_id).have_wait(entry.counted_from)
    elif isinstance(entry, Run):
        typed(entry.die_id, entry.started)
        typed_holds_no_longer(entry.die_id, entry.started, entry.at)


def typed_holds_no_longer(die: int, started: dt.datetime, ended: dt.datetime) -> None:
    """Where it was answered that what was typed holds, and that is struck out now, the strokes are asked about anew."""
    answers = CounterQuestion.objects.filter(
        kind=TYPED, settled_at__isnull=False, taken_back_at__isnull=True, since__lt=ended, until__gt=started
    )
    for answer in answers:
        if die in answer.dies:
            CounterQuestion.objects.filter(pk=answer.pk).update(taken_back_at=timezone.now())
            Counter.objects.filter(pk=answer.counter_id).have_wait(answer.since)
