"""The night's work: what is planned, and when a worker asks for it by itself.

A shop that has cron, or anything else that runs things at an hour, calls `manage.py nightly`. Where nobody does,
workers ask: in the small hours, or as soon as the service runs again after it was off at night.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

from django.core.management import call_command
from django.db import transaction
from django.db.models import Max
from django.dispatch import receiver
from django.utils import timezone
from django_tasks_db.models import DBTaskResult

from diestore.register import sourcing
from diestore.register.models import Plant
from diestore.service import queue
from maintenance import tasks
from maintenance.counters import settle
from maintenance.log import freshness, sent
from maintenance.models import FleetFit

SMALL_HOURS = range(1, 5)  # of the shop's clock
NIGHT_AFTER = dt.timedelta(hours=20)  # in the small hours
DAY_AFTER = dt.timedelta(hours=30)  # at any hour: the last night was missed
ASKED_AGAIN_AFTER = dt.timedelta(hours=6)  # where it was asked for and came to nothing


@dataclass(frozen=True, kw_only=True)
class Planned:
    plants: list[Plant]
    reaped: queue.Reaped
    forgotten: int


def plan() -> Planned:
    """Tidy up, and put the work of the night into the queue."""
    call_command("clearsessions", verbosity=0)  # those that ran out
    settle.settle_waiting(by_night=True)  # what counters sent last, before they fell silent
    sourcing.follow()  # price lists that begin today
    sent.forget_old()
    reaped = queue.reap()
    forgotten = queue.prune()
    freshness.forget()
    plants = list(Plant.objects.all())
    for plant in plants:
        tasks.plan_night(plant)
    return Planned(plants=plants, reaped=reaped, forgotten=forgotten)


def is_due(now: dt.datetime) -> bool:
    """Whether a plant with dies has waited for its night long enough, and nobody has asked for it lately."""
    made = dict(FleetFit.objects.order_by().values_list("plant").annotate(last=Max("made_at")))
    waiting = [pk for pk in Plant.objects.filter(dies__isnull=False).distinct().values_list("pk", flat=True)]
    if not any(_has_waited(made.get(pk), now) for pk in waiting):
        return False
    asked = DBTaskResult.objects.filter(task_path=tasks.fit_fleet.module_path)
    return not asked.filter(enqueued_at__range=(now - ASKED_AGAIN_AFTER, now + ASKED_AGAIN_AFTER)).exists()


def _has_waited(made: dt.datetime | None, now: dt.datetime) -> bool:
    if made is None or made > now + NIGHT_AFTER:  # never, or by a clock that was ahead
        return True
    age = now - made
    return age > DAY_AFTER or (age > NIGHT_AFTER and timezone.localtime(now).hour in SMALL_HOURS)


@receiver(queue.minute, dispatch_uid="maintenance.ask_for_the_night")
def ask_when_due(sender, **kwargs) -> None:
    now = timezone.now()
    if not is_due(now):
        return
    with transaction.atomic():
        list(Plant.objects.select_for_update().order_by("pk").values_list("pk", flat=True))  # one worker asks
        if is_due(now):
            plan()
