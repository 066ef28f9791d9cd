"""Reads for what is kept of the changes tried on a plant's dies."""

from __future__ import annotations

from diestore.register.models import Plant
from reports.models import KeptGains


def kept_of(plant: Plant) -> KeptGains | None:
    return KeptGains.objects.filter(plant=plant).first()
