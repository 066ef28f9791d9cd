"""Reads of the register that have a name."""

from __future__ import annotations

from django.db.models import Count, Prefetch

from . import units
from .models import Die, Output, UserSettings


def dies_for_list():
    """The dies with all that the list shows, in a constant number of queries."""
    return (
        Die.objects.select_related("usual_stock", "usual_press", "plant", "owner")
        .annotate(positions_count=Count("positions", distinct=True), stations_count=Count("stations", distinct=True))
        .prefetch_related(
            Prefetch("variants__outputs", queryset=Output.objects.select_related("part").order_by("part__number"))
        )
        .order_by("code")
    )


def system_of(user) -> units.System:
    """The units that this person sees."""
    choice = UserSettings.objects.filter(user=user).values_list("units", flat=True).first()
    return units.System.INCH if choice == UserSettings.Units.INCH else units.System.METRIC
