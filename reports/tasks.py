"""What the reports want done in the background once a plant's fleet has been fitted."""

from __future__ import annotations

import datetime as dt
import time
from collections.abc import Callable, Mapping
from functools import partial

from django.db.models import QuerySet
from django.dispatch import receiver
from django.utils import timezone
from django_tasks import TaskContext, task

from diestore.register.models import Die, Plant
from diestore.service import queue
from maintenance import tasks
from maintenance.life.fleet import FleetFit
from maintenance.log import changes
from maintenance.tasks import AFTER_ENTRY, NIGHTLY
from reports.changes import kept as changes_made
from reports.cost import kept
from reports.gains import kept as gains
from reports.models import KeptSpares
from reports.record import work as record
from reports.spares import kept as spares_kept

QUICK_S = 2.0
AFTER_FORECASTS = AFTER_ENTRY - 5  # the forecasts of the dies first: the spares rest on them


@receiver(tasks.fleet_fitted, dispatch_uid="reports.plan")
def plan(sender, *, plant: Plant, **kwargs) -> None:
    """Put it into the queue, unless it waits there already."""
    queue.enqueue_once(keep_sheets, plant.pk)
    queue.enqueue_once(keep_spares, plant.pk)


@receiver(tasks.looked_back, dispatch_uid="reports.look_back_on_purchasing")
def look_back_on_purchasing(
    sender, *, plant: Plant, fits: Mapping[dt.datetime, FleetFit], **kwargs
) -> Callable[[], None]:
    """The record for purchasing, from the same fits."""
    return partial(record.keep, record.work_out(plant, fits))


@receiver(tasks.die_foretold, dispatch_uid="reports.plan_spares_of_die")
def plan_spares_of_die(sender, *, die: Die, **kwargs) -> None:
    """Where workers run, they tell those spares anew that a die takes which was foretold again; else the night does."""
    if queue.is_worked():
        _plan_spares(KeptSpares.objects.filter(plant=die.plant_id))


@receiver(changes.dies_changed, dispatch_uid="reports.plan_spares")
def plan_spares(sender, *, items: frozenset[int], **kwargs) -> None:
    """And those that moved, or whose entry in the catalogue was changed."""
    if queue.is_worked() and items:
        _plan_spares(KeptSpares.objects.all())


def _plan_spares(kept: QuerySet[KeptSpares]) -> None:
    """Where that takes long, the queue pauses twice as long before: workers have other things to do on a busy day."""
    for plant, took in kept.values_list("plant_id", "took_s"):
        pause = dt.timedelta(seconds=2 * took) if took > QUICK_S else None
        queue.enqueue_once(tell_waiting_spares.using(run_after=pause and timezone.now() + pause), plant)


@task(takes_context=True, priority=NIGHTLY)
def keep_sheets(context: TaskContext, plant: int) -> None:
    """The cost sheets of a large shop's dies."""
    made = kept.work_out(Plant.objects.get(pk=plant))
    with queue.closing(context) as says:
        kept.keep(made)
        says["sheets"] = len(made.sheets)


@task(takes_context=True, priority=NIGHTLY)
def keep_spares(context: TaskContext, plant: int) -> None:
    """The advice on all spares of a large shop."""
    made = spares_kept.work_out(Plant.objects.get(pk=plant))
    with queue.closing(context) as says:
        spares_kept.keep(made)
        says["spares"] = len(made.rows)
        queue.enqueue_once(keep_gains, plant)  # after the spares: the cost of a die rests on what is kept of them


@task(takes_context=True, priority=NIGHTLY)
def keep_gains(context: TaskContext, plant: int) -> None:
    """What every change on every die is worth."""
    made = gains.work_out(Plant.objects.get(pk=plant))
    with queue.closing(context) as says:
        made.keep()
        says["dies"] = len(made.dies)
        queue.enqueue_once(keep_changes, plant)


@task(takes_context=True, priority=NIGHTLY)
def keep_changes(context: TaskContext, plant: int) -> None:
    """What came of every change that was made."""
    made = changes_made.work_out(Plant.objects.get(pk=plant))
    with queue.closing(context) as says:
        made.keep()
        says["dies"] = len(made.dies)


@task(takes_context=True, priority=AFTER_FORECASTS)
def tell_waiting_spares(context: TaskContext, plant: int) -> None:
    """Anew those spares of a large shop on whose dies something was entered."""
    began = time.monotonic()
    made = spares_kept.work_out_waiting(Plant.objects.get(pk=plant))
    with queue.closing(context) as says:
        if made is not None:
            made.kept.took_s = time.monotonic() - began
            spares_kept.keep(made)
            says["spares"] = len(made.rows)
