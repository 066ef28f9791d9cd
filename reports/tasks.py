"""What the reports want done in the background once a plant's fleet has been fitted."""

from __future__ import annotations

from django_tasks import TaskContext, task

from diestore import work
from diestore.models import Plant
from maintenance.tasks import NIGHTLY

from . import kept


def plan(plant: Plant) -> bool:
    """Put it into the queue, unless it waits there already."""
    return work.enqueue_once(keep_sheets, plant.pk)


@task(takes_context=True, priority=NIGHTLY)
def keep_sheets(context: TaskContext, plant: int) -> None:
    """The cost sheets of a large shop's dies."""
    made = kept.work_out(Plant.objects.get(pk=plant))
    with work.closing(context) as says:
        kept.keep(made)
        says["sheets"] = len(made.sheets)
