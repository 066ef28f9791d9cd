"""PURE. What a sharpening of a die usually takes: hours, and steel off a piece."""

from __future__ import annotations

import statistics
from collections import defaultdict

from .rows import DieLog


def usual_hours(log: DieLog, last: int = 5) -> float | None:
    """Hours that a sharpening of the set usually takes: the middle one of the last with hours logged."""
    sets: dict[tuple[float, str], float] = defaultdict(float)
    for work in log.works:
        if work.set_key and work.hours is not None:
            sets[work.at, work.set_key] += work.hours
    latest = [hours for _, hours in sorted(sets.items(), reverse=True)[:last]]
    return statistics.median_low(latest) if latest else None


def usual_grind_mm(log: DieLog, last: int = 60) -> float | None:
    """What usually comes off at a sharpening of this die: the middle of its latest grinds."""
    ground = [(w.at, w.removed_mm) for w in log.works if w.operation == "ground" and w.position and w.removed_mm]
    amounts = [mm for _, mm in sorted(ground, reverse=True)[:last]]
    return round(statistics.median(amounts), 4) if amounts else None
