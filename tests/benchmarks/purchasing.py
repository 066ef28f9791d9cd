"""The use of a whole shop's spares twelve months ahead: 20,000 items in 500,000 places. Goals: 60 s and 3 GB.

    python -m tests.benchmarks.purchasing [items [places of an item]]

The pure part alone, one process: made-up dies with a forecast each, in every die some places of an item, most ground
with the set, each with an allowance and a removal of its own, the rest breaking or wearing out by their age. Seconds
are of the processor; beside them, timed in the same run, how many naive years of one item they are: a year drawn
stroke by stroke a thousand times (`tests/purchasing/drawn.py`), since that is what the suite checks the figures with.
"""

from __future__ import annotations

import resource
import sys

import numpy as np

from reports.purchasing.demand import BreakRate, Demand, GrindGroup, PieceUse, item_demand
from reports.purchasing.laws import WeibullLaw
from reports.purchasing.renewals import RenewalCounts
from reports.purchasing.wear import Worn, WornItem
from tests.purchasing.drawn import ground_out_drawn

from .engine import seconds
from .table import amount, heading, line

ITEMS, PLACES = 20_000, 25
DIES, PLACES_IN_A_DIE = 5_000, 5  # of one item
ROUGHLY = 20  # steps of a grind, of an age: as `reports/spares/places.py` rounds them
SECONDS_AT_MOST, GB_AT_MOST = 60, 3
DRAWN = 1_000


def dies_ahead(rng: np.random.Generator) -> list[tuple[float, np.ndarray]]:
    """Strokes of each die in a year, and its chances of so many sharpenings."""
    made = []
    for strokes, life in zip(rng.uniform(1e5, 3e6, DIES), rng.uniform(4e4, 2.5e5, DIES), strict=True):
        laws = [WeibullLaw.with_median(life * m, 3.0) for m in (0.7, 0.87, 1.0, 1.15, 1.43)]
        counts = RenewalCounts.mixed(first=laws[2], fresh=laws, horizon_hits=float(strokes))
        made.append((float(strokes), Demand.of(counts.chances(float(strokes))).chances))
    return made


def use_of(rng: np.random.Generator, dies: list[tuple[float, np.ndarray]], places: int) -> Demand:
    """Of one item, whatever its kind: two of three are ground, the rest break, or wear out, half and half."""
    of = rng.integers(0, len(dies), max(places // PLACES_IN_A_DIE, 1))
    each = places // len(of)
    sort = rng.random()
    breaks = BreakRate(shape=0.5 + rng.integers(0, 6), strokes=float(rng.uniform(1e6, 3e7)))
    if sort > 5 / 6:
        worn = WornItem(shape=2.5, scale=2e6, events=4.5, exposure=4.0)
        ages = np.round(rng.uniform(0, 2e6, (len(of), each)) / 1e5) * 1e5
        return worn.replaced(
            Worn(strokes=dies[die][0], age=float(age)) for die, row in zip(of, ages, strict=True) for age in row
        )
    groups = []
    for die in of:
        left = np.round(rng.uniform(0, 12, each) * ROUGHLY) / ROUGHLY
        pieces = tuple(
            PieceUse(label="", grinds_left=float(g), grinds_new=12.0, spread=0.25, doubt=0.1)
            if sort < 2 / 3
            else PieceUse(label="", grinds_left=None, grinds_new=None)
            for g in left
        )
        groups.append(GrindGroup(label="", strokes=dies[die][0], sharpenings=dies[die][1], pieces=pieces))
    return item_demand(groups, breaks=breaks)


def main() -> None:
    items = int(sys.argv[1]) if len(sys.argv) > 1 else ITEMS
    places = int(sys.argv[2]) if len(sys.argv) > 2 else PLACES
    rng = np.random.default_rng(1)
    heading(f"use of {items:,} spares in {items * places:,} places, twelve months ahead")
    laws, dies = seconds(lambda: dies_ahead(rng))
    line(f"sharpenings of {DIES:,} dies in five worlds", amount(laws))
    took, uses = seconds(lambda: [use_of(rng, dies, places) for _ in range(items)])
    naive, _ = seconds(
        lambda: ground_out_drawn(rng, np.full(DRAWN, 12), [(3.0, 12.0)] * places, spread=0.25, doubt=0.1), 3
    )
    total = laws + took
    ratio = f"{took / items / naive:.2f} of {DRAWN:,} drawn years an item"
    line("all of it", amount(total), ratio, goal=f"{SECONDS_AT_MOST} s", met=total <= SECONDS_AT_MOST)
    gb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e6
    line("memory at most", f"{gb:.2f} GB", goal=f"{GB_AT_MOST} GB", met=gb <= GB_AT_MOST)
    line("expected in all", f"{sum(use.mean for use in uses):,.0f}", "pieces")


if __name__ == "__main__":
    main()
