"""The logs of a fleet up to a moment, read once, and what the engine takes of them.

Forecasts, drift and the look back begin alike: read each die's log as far as it was known, make samples of it, fit.
The logs of a thousand dies would fill the memory; they lie on the disk, so that a second look sees the same records.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass

from diestore.register.models import Die
from maintenance.clockwork.rows import DieLog
from maintenance.life import fleet
from maintenance.log import read

from . import samples
from .spool import OnDisk, batches

DIES_AT_ONCE = 20
Tell = Callable[[str], None]


@dataclass(frozen=True, kw_only=True)
class FleetLog:
    """at: up to when cycles are cut. dies: each log with its samples. gathered: of all dies, numbered through."""

    at: dt.datetime
    dies: OnDisk[tuple[DieLog, samples.DieSamples]]
    gathered: samples.Gathered
    has_run: bool

    def fit(self, **options) -> fleet.FleetFit:
        """What the fleet has in common; options as of `life.fleet.fit`."""
        return fleet.fit(self.gathered.specs, self.gathered.life, readings=self.gathered.readings, **options)

    def in_batches(self) -> Iterator[tuple[list[DieLog], list[samples.DieSamples]]]:
        """Some dies at a time: their logs, and their samples."""
        for some in batches(self.dies, DIES_AT_ONCE):
            yield [log for log, _ in some], [part for _, part in some]


def read_fleet(dies: Iterable[Die], at: dt.datetime, *, known_at: dt.datetime | None = None) -> FleetLog:
    """Read the logs of some dies. known_at: only what was recorded by then."""
    on_disk: OnDisk[tuple[DieLog, samples.DieSamples]] = OnDisk()
    gathered, has_run = samples.Gathered(), False
    for log in read.of_dies(dies, known_at=known_at):
        part = samples.of_die(log, at.timestamp())
        gathered.add(part)
        on_disk.append((log, part))
        has_run |= any(run.started < at.timestamp() for run in log.runs)
    return FleetLog(at=at, dies=on_disk, gathered=gathered, has_run=has_run)
