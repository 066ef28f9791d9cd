"""Reads of the register that have a name."""

from __future__ import annotations

from django.db.models import Count, Exists, OuterRef, Prefetch, Subquery
from django.db.models.functions import Coalesce

from .models import Die, Output, Plant, Position, Station


def dies_for_list():
    """The dies with all that the list shows, in a constant number of queries."""
    return (
        Die.objects.select_related("usual_stock", "usual_press", "plant", "owner")
        .annotate(
            positions_count=_count_of(Position),
            stations_count=_count_of(Station),
            is_of_several=Exists(Plant.objects.exclude(pk=OuterRef("plant"))),  # plants
        )
        .prefetch_related(
            Prefetch("variants__outputs", queryset=Output.objects.select_related("part").order_by("part__number"))
        )
        .order_by("code")
    )


def _count_of(model):
    """How many of them the die has, counted for the dies that are shown and not over a join of all."""
    counted = model.objects.filter(die=OuterRef("pk")).order_by().values("die").annotate(n=Count("pk")).values("n")
    return Coalesce(Subquery(counted), 0)


def outputs_of(die: Die) -> list[Output]:
    """What falls out of a die at a hit, by the part's number, each with its part and its way of running. One question;
    kept at the die for whoever asks on the same page."""
    kept = vars(die)
    if "outputs_read" not in kept:
        found = Output.objects.filter(variant__die=die).select_related("variant", "part")
        kept["outputs_read"] = list(found.order_by("part__number", "pk"))
    return kept["outputs_read"]
