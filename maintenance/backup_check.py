"""What is compared after a backup was restored: hits and clocks of every die."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator

from diestore.models import Die

from . import edge_log, logs

NEVER = 4_102_444_800.0  # seconds since the epoch, in 2100: all that is in the record


def clocks() -> Iterator[tuple[str, list]]:
    """Of each die: runs, hits of all kinds, and a digest of what every position's clock says."""
    for log in logs.of_dies(Die.objects.order_by("pk")):
        digest = hashlib.sha256()
        for position, state in sorted(edge_log.states(log, NEVER).items()):
            told = (
                position,
                state.piece,
                state.hits_since_sharpening,
                state.hits_since_fitted,
                state.life_hits,
                state.grinds,
                round(state.removed_mm, 6),
            )
            digest.update(repr(told).encode())
        hits = sum(run.hits for run in log.runs) + sum(row.hits for row in log.corrections)
        yield log.code, [len(log.runs), hits, digest.hexdigest()[:16]]
