"""The logs of a fleet up to a moment, read once, and what the engine takes of them.

Forecasts, drift and the look back begin alike: read each die's log as far as it was known, make samples of it, fit.
The logs of a thousand dies would fill the memory; they lie on the disk, so that a second look sees the same records.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from functools import partial

from diestore.register.models import Die
from diestore.service.failing import NOT_OF_A_ROW, attempt
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
        try:
            return _fit(self.gathered, options)
        except NOT_OF_A_ROW:
            raise
        except Exception:
            fitting = samples.Gathered(part for log, part in self.dies if not part.specs or _fits(log, part, options))
            if len(fitting.specs) == len(self.gathered.specs):
                raise  # it is no die's by itself
            return _fit(fitting, options)

    def in_batches(self) -> Iterator[tuple[list[DieLog], list[samples.DieSamples]]]:
        """Some dies at a time: their logs, and their samples."""
        for some in batches(self.dies, DIES_AT_ONCE):
            yield [log for log, _ in some], [part for _, part in some]


def _part(log: DieLog, at: dt.datetime, built_at: dt.datetime | None, gathered: samples.Gathered) -> samples.DieSamples:
    part = samples.of_die(log, at.timestamp(), built_at=None if built_at is None else built_at.timestamp())
    gathered.add(part)
    return part


def _fit(gathered: samples.Gathered, options: dict) -> fleet.FleetFit:
    return fleet.fit(gathered.specs, gathered.life, readings=gathered.readings, **options)


def _fits(log: DieLog, part: samples.DieSamples, options: dict) -> bool:
    """Whether a die by itself can be fitted: one that cannot is left out of what the fleet has in common."""
    return attempt(
        lambda: _fit(samples.Gathered([part]), options) is not None,
        lambda why: False,
        what=f"the fit with die {log.code}",
    )


def read_fleet(
    dies: Iterable[Die],
    at: dt.datetime,
    *,
    known_at: dt.datetime | None = None,
    built_at: dt.datetime | None = None,
) -> FleetLog:
    """Read the logs of some dies. known_at: only what was recorded by then. built_at: as of `samples.of_die`."""
    on_disk: OnDisk[tuple[DieLog, samples.DieSamples]] = OnDisk()
    gathered, has_run = samples.Gathered(), False
    for log in read.of_dies(dies, known_at=known_at):
        part = attempt(
            partial(_part, log, at, built_at, gathered), partial(samples.nothing_of, log.die), what=f"die {log.code}"
        )
        if part.failed:
            gathered.add(part)
        on_disk.append((log, part))
        has_run |= any(run.started < at.timestamp() for run in log.runs)
    return FleetLog(at=at, dies=on_disk, gathered=gathered, has_run=has_run)
