"""Which dies go dull more often than their own record led to expect. Glue: no mathematics, no pages.

The fleet is fitted on the records up to a date half a year back; what each die did since is held against that.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import partial

import numpy as np
from django.db import transaction

from diestore.register.models import Die, Plant
from diestore.service.failing import attempt
from maintenance.clockwork import cycles
from maintenance.clockwork.rows import DieLog
from maintenance.life import fleet
from maintenance.life.cycles import LifeSamples
from maintenance.life.drift import Drift, drift_of_die
from maintenance.log import read as log_read
from maintenance.models import DriftFlag

from . import samples
from .fleet_log import Tell, read_fleet

BACK_DAYS = 182.625  # half a year


@dataclass(frozen=True, kw_only=True)
class DieDrift:
    """A die since the date. refusal: why nothing can be said of it."""

    die: int
    code: str
    drift: Drift | None
    refusal: str = ""

    @property
    def flagged(self) -> bool:
        return self.drift is not None and self.drift.flagged


@dataclass(frozen=True, kw_only=True)
class Drifts:
    plant: Plant
    since: dt.datetime
    as_of: dt.datetime
    dies: tuple[DieDrift, ...]

    @property
    def flagged(self) -> list[DieDrift]:
        """The least likely to be luck first."""
        return sorted((d for d in self.dies if d.flagged), key=lambda d: (d.drift.chance, d.code))


def compute(
    plant: Plant, *, as_of: dt.datetime | None = None, since: dt.datetime | None = None, tell: Tell | None = None
) -> Drifts:
    """Hold every die since a date against its record before. Stores nothing. Default: the last half year of records."""
    tell = tell or (lambda words: None)
    as_of = as_of or log_read.last_moment(plant)
    if as_of is None:
        raise ValueError("the log is empty, so there is nothing to hold against a record")
    since = since or as_of - dt.timedelta(days=BACK_DAYS)
    dies = list(Die.objects.filter(plant=plant).order_by("code"))
    tell("reading the log")
    then = read_fleet(dies, since)
    tell(f"fitting the fleet as of {since:%d %b %Y}".replace(" 0", " "))
    fitted = then.fit(draws=0)
    tell("looking at what came since")
    held = [
        attempt(
            partial(_of_die, log, fitted, since.timestamp(), as_of.timestamp()),
            partial(_unknown, log),
            what=f"the drift of die {log.code}",
        )
        for log, _ in then.dies
    ]
    return Drifts(plant=plant, since=since, as_of=as_of, dies=tuple(held))


def _unknown(log: DieLog, why: str) -> DieDrift:
    return DieDrift(die=log.die, code=log.code, drift=None, refusal=why)


def _of_die(log: DieLog, fitted: fleet.FleetFit, since: float, as_of: float) -> DieDrift:
    named = {"die": log.die, "code": log.code}
    anew = max((at for at in log.restarts if at <= as_of), default=None)
    if anew is not None and anew > since:
        day = f"{log_read.moment(anew):%d %b %Y}".lstrip("0")
        return DieDrift(**named, drift=None, refusal=f"its record starts anew on {day}")
    before, after, specs = split(log, since, as_of)
    if not len(before):
        return DieDrift(**named, drift=None, refusal="it has no record from before")
    if not len(after):
        return DieDrift(**named, drift=None, refusal="it has not run since")
    return DieDrift(**named, drift=drift_of_die(fitted, specs, before, after))


def split(log: DieLog, since: float, as_of: float) -> tuple[LifeSamples, LifeSamples, Sequence]:
    """A die's cycles that had ended by a moment; what its edges ran after it, from the hits that were on them."""
    part = samples.of_die(log, as_of)
    life = samples.Gathered([part]).life
    then = {(c.position, c.piece, c.started): c.hits for c in cycles.cycles(log, since) if c.open}
    ended = np.array([not c.open and c.ended <= since for _, c in part.rows], bool)
    begun = np.array([then.get((c.position, c.piece, c.started), c.from_hits) for _, c in part.rows], float)
    after = life.pick(~ended)
    begun = np.minimum(np.maximum(begun[~ended], after.from_hits), after.hits)
    after = replace(after, from_hits=begun, lower_hits=np.maximum(after.lower_hits, begun))
    return life.pick(ended), after.pick(after.hits > after.from_hits), part.specs


def store(drifts: Drifts) -> list[DriftFlag]:
    """Keep the flags of a plant: new ones are added, those that stand keep when they were found, the others go."""
    with transaction.atomic():
        flagged = {d.die: d.drift for d in drifts.flagged}
        DriftFlag.objects.filter(die__plant=drifts.plant).exclude(die__in=flagged).delete()
        return [
            DriftFlag.objects.update_or_create(
                die_id=die,
                defaults={
                    "since": drifts.since,
                    "as_of": drifts.as_of,
                    "dull_ends": drift.dull_ends,
                    "expected": drift.expected,
                    "chance": drift.chance,
                },
            )[0]
            for die, drift in flagged.items()
        ]
