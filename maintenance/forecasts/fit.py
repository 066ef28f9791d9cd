"""The fleet's fit: from the log of a plant to the fitted fleet and what it says of every die."""

from __future__ import annotations

import datetime as dt
import hashlib
from dataclasses import asdict, dataclass

import numpy as np
from django.utils import timezone

from diestore.register.models import Die, Plant
from maintenance.life import fleet
from maintenance.life.seen import Seen
from maintenance.log import queries
from maintenance.log import read as log_read

from . import samples
from .fleet_log import Tell, read_fleet
from .predict import DieOutlook, tell_each
from .spool import OnDisk

CODE_VERSION = "11"  # counts up when the same records would give other numbers
SHOWN = (0.01, *(round(0.05 * i, 2) for i in range(1, 20)), 0.99)


@dataclass(frozen=True, kw_only=True)
class Computed:
    plant: Plant
    as_of: dt.datetime
    known_at: dt.datetime | None
    fit: fleet.FleetFit
    records_hash: str
    dies: OnDisk[DieOutlook]  # without the curves
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
    built_at = timezone.now() if as_of is None else None
    as_of = as_of or log_read.last_moment(plant) or timezone.now()
    dies = list(Die.objects.filter(plant=plant).order_by("code"))
    tell = tell or (lambda words: None)
    tell("reading the log")
    known = read_fleet(dies, as_of, known_at=known_at, built_at=built_at)
    specs, life = known.gathered.specs, known.gathered.life
    tell(f"fitting the fleet: {len(specs):,} edges, {len(life):,} intervals")
    fitted = known.fit()
    tell("computing what is left")
    orders, limits_um = queries.next_order_by_die(plant), queries.burr_limits_um(dies)
    outlooks: OnDisk[DieOutlook] = OnDisk()
    for logs, parts in known.in_batches():
        every = tell_each(logs, parts, fitted, as_of, orders, limits_um)
        outlooks.extend(one.without_curves() for one in every)
    return Computed(
        plant=plant,
        as_of=as_of,
        known_at=known_at,
        fit=fitted,
        records_hash=hash_of(known.gathered),
        dies=outlooks,
        seen=Seen.of(specs, life),
    )


def hash_of(gathered: samples.Gathered) -> str:
    digest = hashlib.sha256()
    for spec in gathered.specs:
        digest.update(repr(sorted(asdict(spec).items())).encode())
    ordered, readings = gathered.life.in_canonical_order(), gathered.readings
    for column in ("edge", "from_hits", "lower_hits", "hits", "ended", "under_way", "unknown_age", "lot", "sure"):
        digest.update(np.ascontiguousarray(getattr(ordered, column)).tobytes())
    if ordered.passed is not None:
        for column in (ordered.passed.first, ordered.passed.lot, ordered.passed.hits):
            digest.update(np.ascontiguousarray(column).tobytes())
    if ordered.touched is not None:
        for column in (ordered.touched.first, ordered.touched.lot, ordered.touched.hits):
            digest.update(np.ascontiguousarray(column).tobytes())
    if readings is not None:
        for column in (readings.row, readings.hits, readings.value, readings.quantity):
            digest.update(np.ascontiguousarray(column).tobytes())
    return digest.hexdigest()


def as_json(computed: Computed) -> dict:
    """The forecast as the command prints it: further strokes of the die at the probabilities shown."""
    dies, components = [], []
    for outlook in computed.dies:
        if outlook.prediction is None:
            continue
        dies.append(
            {
                "die": outlook.code,
                "hits_since_sharpening": outlook.hits_since_sharpening,
                "remaining_hits": _shown(outlook.prediction.remaining),
            }
        )
        components += [
            {
                "die": outlook.code,
                "position": outlook.positions[p].code,
                "hits_since_sharpening": outlook.on_edge[p],
                "remaining_hits": _shown(outlook.edges[p].remaining),
            }
            for p in sorted(outlook.edges, key=lambda p: outlook.positions[p].code)
        ]
    return {"as_of": computed.as_of.isoformat(), "dies": dies, "components": components}


def _shown(remaining: dict[float, float]) -> dict[str, int]:
    return {f"{p:.2f}": round(remaining[p]) for p in SHOWN}
