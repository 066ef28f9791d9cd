"""Money by month for years ahead: 10,000 lives of a die of 100 edges, and counts of a thousand sharpenings.

    python -m tests.benchmarks.years

The goal: 10,000 lives within 2 s. Seconds are of the processor; beside them, timed in the same run, how many passes
they are of drawing and sorting the same number of months at random. Counts of a thousand sharpenings in 36 months are
held against one lattice of all columns with a tenth of them.
"""

from __future__ import annotations

from decimal import Decimal

import numpy as np

from reports.costing.spread import Spread
from reports.costing.years_ahead import LIVES, Allowance, ByTheStroke, GroundPiece, GroundSet, years_ahead
from reports.purchasing.laws import WeibullLaw
from reports.purchasing.removal import lasting, means_of
from reports.purchasing.renewals import RenewalCounts, mixed_at

from .engine import seconds
from .table import amount, heading, line

EDGES, MONTHS, SORTS = 100, 36, 25
STROKES = 1e6
SECONDS_AT_MOST = 2.0
WORLDS = (0.7, 0.87, 1.0, 1.15, 1.43)
MANY = 1_000


def laws_of(sharpenings: int) -> tuple[WeibullLaw, ...]:
    return tuple(WeibullLaw.with_median(STROKES / sharpenings * times, 3.0) for times in WORLDS)


def ends() -> np.ndarray:
    return np.linspace(0, STROKES, MONTHS + 1)[1:]


def die_of(sharpenings: int, rng: np.random.Generator) -> GroundSet:
    """A set of edges, each with an allowance of its own."""
    laws = laws_of(sharpenings)

    def lasts(grinds: float):
        return lambda most: lasting(grinds, spread=0.25, share=1.0, most=most)

    pieces = []
    for left in np.round(rng.uniform(0, 12, EDGES), 1):
        of = [Allowance(chance=c, left=lasts(left / mean), new=lasts(12 / mean)) for mean, c in means_of(0.1)]
        pieces.append(GroundPiece(price=Decimal(60), allowances=tuple(of)))
    return GroundSet(
        first=laws[2].lasting,
        fresh=tuple(law.lasting for law in laws),
        grind=Decimal(100),
        pieces=tuple(pieces),
        until=mixed_at(ends(), first=laws[2], fresh=laws),
    )


def main() -> None:
    rng = np.random.default_rng(1)
    heading(f"{LIVES:,} lives of a die of {EDGES} edges, {MONTHS} months ahead")
    breaks = [
        ByTheStroke(key="spares", shape=2.5, strokes=5e6, share=4, cost=Spread.of([48.0], [1.0])) for _ in range(SORTS)
    ]
    one_pass, _ = seconds(lambda: np.sort(rng.random((LIVES, MONTHS)), axis=1), 5)
    for sharpenings in (10, 30, 100):
        of_die = die_of(sharpenings, rng)
        took, _ = seconds(
            lambda of_die=of_die: years_ahead(
                strokes=np.full(MONTHS, STROKES / MONTHS), sets=[of_die], by_the_stroke=breaks
            ),
            3,
        )
        ratio = f"{took / one_pass:.0f} passes of drawing so many months"
        met = took <= SECONDS_AT_MOST
        line(f"{sharpenings} sharpenings", amount(took), ratio, goal=f"{SECONDS_AT_MOST:g} s", met=met)
    tenth = laws_of(MANY // 10)
    whole, _ = seconds(lambda: RenewalCounts.mixed(first=tenth[2], fresh=tenth, horizon_hits=STROKES), 3)
    many = laws_of(MANY)
    took, _ = seconds(lambda: mixed_at(ends(), first=many[2], fresh=many))
    line(f"counts of {MANY:,} sharpenings, {MONTHS} horizons", amount(took), f"{took / whole:.1f} lattices of a tenth")


if __name__ == "__main__":
    main()
