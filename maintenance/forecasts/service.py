"""What the upkeep of the service asks of the records: clocks to compare after a restore, the age of the last fit."""

from __future__ import annotations

import datetime as dt
import hashlib
from collections.abc import Iterator

from django.utils import timezone

from diestore.register.models import Die, Plant
from diestore.service.state import AHEAD, Part
from maintenance.clockwork import states
from maintenance.log import read
from maintenance.models import FleetFit

NEVER = 4_102_444_800.0  # seconds since the epoch, in 2100: all that is in the record


def clocks() -> Iterator[tuple[str, list]]:
    """Of each die: runs, hits of all kinds, and a digest of what every position's clock says."""
    for log in read.of_dies(Die.objects.order_by("pk")):
        digest = hashlib.sha256()
        for position, state in sorted(states.states(log, NEVER).items()):
            clock = (
                position,
                state.piece,
                state.hits_since_sharpening,
                state.hits_since_fitted,
                state.life_hits,
                state.grinds,
                round(state.removed_mm, 6),
            )
            digest.update(repr(clock).encode())
        hits = sum(run.hits for run in log.runs) + sum(row.hits for row in log.corrections)
        yield log.code, [len(log.runs), hits, digest.hexdigest()[:16]]


FIT_TOO_OLD = dt.timedelta(days=2)


def fits() -> Part:
    """When each plant with dies was fitted last."""
    made = dict(FleetFit.objects.order_by("id").values_list("plant", "made_at"))  # the last one stands
    with_dies = Plant.objects.filter(dies__isnull=False).distinct()
    figures, says, worries = {}, [], []
    for plant in with_dies:
        age = timezone.now() - made[plant.pk] if plant.pk in made else None
        figures[plant.code] = None if age is None else round(age.total_seconds())
        says.append(f"{plant}: {'never fitted' if age is None else f'fitted {_ago(age)}'}")
        if age is None or not -AHEAD <= age <= FIT_TOO_OLD:
            if age is not None and age < -AHEAD:
                worries.append(f"The last fit of {plant} was made later than now, by a clock that was ahead.")
                continue
            since = f"{plant} has no fit yet" if age is None else f"The last fit of {plant} was made {_ago(age)}"
            worries.append(f"{since}: does manage.py nightly run every night?")
    ages = "; ".join(says) or "no dies yet"
    return Part(name="forecasts", says=f"{ages}.", figures={"last_fit_s_ago": figures}, worries=worries)


def _ago(age: dt.timedelta) -> str:
    hours = age.total_seconds() / 3600
    return "within the hour" if hours < 1 else f"{hours:.0f} hours ago" if hours < 48 else f"{hours / 24:.0f} days ago"
