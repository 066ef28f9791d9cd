"""Reads of the bench that have a name: the day it is, dies on hold, works still open."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable

from django.conf import settings
from django.db.models import QuerySet
from django.utils import timezone

from diestore.register.models import Die, Plant
from maintenance.models import BenchWork, DieHold

from . import queries


def today_at(plant: Plant) -> dt.date:
    """Today by the clock; in a shop that stands still, the day on which its records end."""
    if settings.STANDS_STILL:
        newest = queries.newest_forecasts(plant).order_by("-as_of").values_list("as_of", flat=True).first()
        if newest is not None:
            return timezone.localdate(newest)
    return timezone.localdate()


def holds_of(dies: Iterable[int] | None = None) -> dict[int, DieHold]:
    """The hold that stands of each die. dies: of these only. One question."""
    rows = DieHold.objects.filter(released_at=None).select_related("held_by")
    return {row.die_id: row for row in (rows if dies is None else rows.filter(die__in=list(dies)))}


def hold_of(die: Die) -> DieHold | None:
    return DieHold.objects.filter(die=die, released_at=None).select_related("held_by").first()


def hold_shown(die: Die) -> DieHold | None:
    """The same for a page, whose panels ask the database once for it."""
    if not hasattr(die, "hold_shown"):
        die.hold_shown = hold_of(die)  # type: ignore[attr-defined]
    found: DieHold | None = die.hold_shown  # type: ignore[attr-defined]
    return found


def open_works(plant: Plant | None = None) -> QuerySet[BenchWork]:
    """What is not released or dropped yet, the oldest first."""
    rows = BenchWork.objects.filter(state__in=BenchWork.OPEN).order_by("opened_at", "pk")
    return rows if plant is None else rows.filter(die__plant=plant)


def doubt_of_hold(hold: DieHold | None, die: Die) -> str:
    """Why to think twice before a die on hold makes parts; nothing of one that is not."""
    if hold is None:
        return ""
    who = f" by {hold.held_by}" if hold.held_by else ""
    return f"{die} is on hold{who}: {hold.reason}. It makes no parts until a first piece is approved."
