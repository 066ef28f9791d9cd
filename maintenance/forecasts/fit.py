"""The fleet's fit: from the log of a plant to the fitted fleet and what it says of every die."""

from __future__ import annotations

import datetime as dt
import hashlib
from collections.abc import Callable
from dataclasses import asdict, dataclass

import numpy as np
from django.utils import timezone

from diestore.register.models import Die, Plant
from maintenance.clockwork.rows import DieLog
from maintenance.life import fleet
from maintenance.life.seen import Seen
from maintenance.log import queries
from maintenance.log import read as log_read

from . import samples
from .predict import DIES_AT_ONCE, Told, _variants_to_come, tell_dies
from .spool import OnDisk, batches

Tell = Callable[[str], None]
CODE_VERSION = "7"  # counts up when the same records would give other numbers
SHOWN = (0.01, *(round(0.05 * i, 2) for i in range(1, 20)), 0.99)


@dataclass(frozen=True, kw_only=True)
class Computed:
    plant: Plant
    as_of: dt.datetime
    known_at: dt.datetime | None
    fit: fleet.FleetFit
    records_hash: str
    dies: OnDisk[Told]  # without the curves
    seen: Seen


def compute(
    plant: Plant,
    *,
    as_of: dt.datetime | None = None,
    known_at: dt.datetime | None = None,
    tell: Tell | None = None,
) -> Computed:
    """Fit the fleet from the records up to a moment and say what is left of every die. Stores nothing.

    Default moment: the last one in the records. The same records give the same numbers, in any order of loading.
    """
    as_of = as_of or log_read.last_moment(plant) or timezone.now()
    dies = list(Die.objects.filter(plant=plant).order_by("code"))
    tell = tell or (lambda words: None)
    tell("reading the log")
    # The logs of a thousand dies would fill the memory: they are read once, into a file, so that both looks at them see
    # the same records.
    read: OnDisk[tuple[DieLog, samples.DieSamples]] = OnDisk()
    gathered = samples.Gathered()
    for log in log_read.of_dies(dies, known_at=known_at):
        part = samples.of_die(log, as_of.timestamp())
        gathered.add(part)
        read.append((log, part))
    specs, life = gathered.specs, gathered.life
    tell(f"fitting the fleet: {len(specs):,} edges, {len(life):,} cycles")
    fitted = fleet.fit(specs, life, readings=gathered.readings)
    tell("computing what is left")
    variants, limits_um = _variants_to_come(plant), queries.burr_limits_um(dies)
    told: OnDisk[Told] = OnDisk()
    for some in batches(read, DIES_AT_ONCE):
        every = tell_dies([log for log, _ in some], [part for _, part in some], fitted, as_of, variants, limits_um)
        told.extend(one.without_curves() for one in every)
    return Computed(
        plant=plant,
        as_of=as_of,
        known_at=known_at,
        fit=fitted,
        records_hash=hash_of(gathered),
        dies=told,
        seen=Seen.of(specs, life),
    )


def hash_of(gathered: samples.Gathered) -> str:
    digest = hashlib.sha256()
    for spec in gathered.specs:
        digest.update(repr(sorted(asdict(spec).items())).encode())
    ordered, readings = gathered.life.in_canonical_order(), gathered.readings
    for column in ("edge", "from_hits", "lower_hits", "hits", "ended", "under_way", "unknown_age", "lot", "sure"):
        digest.update(np.ascontiguousarray(getattr(ordered, column)).tobytes())
    if readings is not None:
        for column in (readings.row, readings.hits, readings.value, readings.quantity):
            digest.update(np.ascontiguousarray(column).tobytes())
    return digest.hexdigest()


def as_json(computed: Computed) -> dict:
    """The forecast as the command prints it: further strokes of the die at the probabilities shown."""
    dies, components = [], []
    for told in computed.dies:
        if told.prediction is None:
            continue
        dies.append(
            {
                "die": told.code,
                "hits_since_sharpening": told.hits_since_sharpening,
                "remaining_hits": _shown(told.prediction.remaining),
            }
        )
        components += [
            {
                "die": told.code,
                "position": told.positions[p].code,
                "hits_since_sharpening": told.on_edge[p],
                "remaining_hits": _shown(told.edges[p].remaining),
            }
            for p in sorted(told.edges, key=lambda p: told.positions[p].code)
        ]
    return {"as_of": computed.as_of.isoformat(), "dies": dies, "components": components}


def _shown(remaining: dict[float, float]) -> dict[str, int]:
    return {f"{p:.2f}": round(remaining[p]) for p in SHOWN}
