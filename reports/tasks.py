"""What the reports want done in the background once a plant's fleet has been fitted."""

from __future__ import annotations

import datetime as dt
import time

from django.conf import settings
from django.utils import timezone
from django_tasks import TaskContext, task

from diestore.register.models import Die, Plant
from diestore.service import queue
from maintenance.tasks import AFTER_ENTRY, NIGHTLY
from reports.cost import kept
from reports.models import KeptSpares
from reports.spares import kept as spares_kept

QUICK_S = 2.0
AFTER_FORECASTS = AFTER_ENTRY - 5  # the forecasts of the dies first: the spares rest on them


def plan(plant: Plant) -> None:
    """Put it into the queue, unless it waits there already."""
    queue.enqueue_once(keep_sheets, plant.pk)
    queue.enqueue_once(keep_spares, plant.pk)


def plan_after_entry(die: Die) -> None:
    """Where workers run, they tell those spares anew that the die takes; else the night does.

    Where that takes long, the queue pauses twice as long before: on a busy day a worker has other things to do too.
    """
    if not settings.FORECASTS_BY_WORKERS:
        return
    took = KeptSpares.objects.filter(plant=die.plant_id).values_list("took_s", flat=True).first()
    if took is None:
        return
    pause = dt.timedelta(seconds=2 * took) if took > QUICK_S else None
    queue.enqueue_once(tell_waiting_spares.using(run_after=pause and timezone.now() + pause), die.plant_id)


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
