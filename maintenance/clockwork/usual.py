"""PURE. What a sharpening of a die usually takes: hours, and steel off a piece."""

from __future__ import annotations

import math
import statistics
from collections import defaultdict
from collections.abc import Iterable

from .rows import DieLog
from .works import OPERATIONS

GRINDS_THAT_TELL = 5  # of one place, from which its own amount is taken


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
    ground = ((w.at, w.removed_mm) for w in log.works if w.operation == "ground" and w.position and w.removed_mm)
    return middle_mm(ground, last)


def middle_mm(ground: Iterable[tuple[float, float]], last: int = 60) -> float | None:
    """The middle of the latest amounts. ground: moments and what came off, in any order."""
    amounts = [mm for _, mm in sorted(ground, reverse=True)[:last]]
    return round(statistics.median(amounts), 4) if amounts else None


def of_place_mm(works: Iterable[tuple[float, str, float | None]]) -> float | None:
    """What a grind takes off in one place: all that came off there by the times that it was ground, dressing and all.

    works: moment, operation and what came off. None under so few grinds that they say little.
    """
    mine = [(at, operation, mm) for at, operation, mm in works if OPERATIONS[operation].removes]
    grinds = len({at for at, operation, _ in mine if operation == "ground"})
    removed = math.fsum(mm or 0.0 for *_, mm in mine)
    return removed / grinds if grinds >= GRINDS_THAT_TELL and removed > 0 else None


def grinds_in(allowance_mm: float, each_mm: float) -> int:
    """Whole grinds that an allowance still gives."""
    return max(0, math.floor(allowance_mm / each_mm + 1e-3))
