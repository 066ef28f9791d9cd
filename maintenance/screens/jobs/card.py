"""The card of a job: an order of a customer."""

from __future__ import annotations

from django.utils.formats import date_format
from django.utils.translation import gettext as _

from diestore.access import roles
from diestore.cards.described import Below, Card, Typed
from diestore.register.models import Die, Output
from maintenance.models import Order


def _in_service(rows):
    return rows.exclude(status=Die.Status.RETIRED)


def _run_words(run) -> str:
    day = date_format(run.at, "d M Y")
    return _("{day}, {die}: {hits:,} hits").format(day=day, die=run.die, hits=run.hits)


def doubts(job: Order) -> list[str]:
    makes = Output.objects.filter(part=job.part_id)
    if job.die_id is not None and not makes.filter(variant__die=job.die_id).exists():
        return [_("{die} does not make {part}, by the register.").format(die=job.die, part=job.part)]
    if job.die_id is None and not makes.exists():
        return [_("No die makes {part} yet, so nothing is forecast for this job.").format(part=job.part)]
    if job.part.last_needed is not None and job.due > job.part.last_needed:
        return [_("It is due after the last day on which {part} is needed.").format(part=job.part)]
    return []


JOBS = Card(
    key="jobs", app="maintenance", model=Order, one="job", many="jobs",
    intro="What customers ordered. Forecasts say whether the dies last until it is made.",
    typed=(
        Typed("number", "Job number"),
        Typed("part", "Part"),
        Typed("parts", "Parts ordered"),
        Typed("due", "Due on"),
        Typed("die", "Die", "Empty: whichever makes the part.", only=_in_service),
        Typed("plant", "Plant"),
    ),
    columns=("number", "part", "die", "parts", "due"),
    search=("number", "part__number", "part__description", "die__code", "part__customer__name"),
    see=(roles.SEE_COST,), edit=(roles.EDIT_REGISTER,), plant="plant", related=("part", "die", "plant"),
    order=("due", "number"), doubts=doubts,
    out=("Close the job", "Open it again", "{} is closed.", "{} is open again.", "closed"),
    acts=(("Split it", "maintenance:jobs_split"),),
    below=(Below("Runs for it", lambda row: row.runs.filter(struck_at=None).select_related("die").order_by("-at", "pk"),
                 _run_words),),
)  # fmt: skip
