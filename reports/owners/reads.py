"""Reads for what a customer sees: whose tools are whose, what is ground in them, the reports that were signed."""

from __future__ import annotations

import datetime as dt

from django.db.models import QuerySet

from diestore.register.models import Die, Party, Position
from maintenance.models import SignedReport

FURTHEST_DAYS = 3_650  # beyond ten years no day is told


def customers_of(die: Die) -> list[Party]:
    """Whose parts fall out of it, by name."""
    rows = Party.objects.filter(part__outputs__variant__die=die).distinct()
    return sorted(rows, key=lambda party: (str(party), party.pk))


def positions_of(die: Die) -> list[Position]:
    """With the spare of each, by code."""
    return list(Position.objects.filter(die=die).select_related("item").order_by("code"))


def day_at(strokes: float, pace: float, today: dt.date) -> dt.date | None:
    """The day on which so many strokes are made at so many a day; None: it does not run, or that is too far off."""
    days = strokes / pace if pace > 0 else FURTHEST_DAYS + 1
    return today + dt.timedelta(days=days) if days <= FURTHEST_DAYS else None


def signed_reports() -> QuerySet[SignedReport]:
    """With what their pages name."""
    return SignedReport.objects.select_related("die__plant", "customer", "signer", "struck_by")
