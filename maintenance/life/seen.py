"""What sorts of edges a shop has run: where it speaks from experience and where from the handbook alone.

Made from what a fit was made from and kept beside it: no page has to read the logs again for it.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import asdict, dataclass

import numpy as np

from .cycles import DULL, EdgeSpec, LifeSamples

QUANTITIES = ("gap_pct", "tensile_mpa", "thickness_mm", "hardness_above_usual_hrc")
SORTS = ("stock_family", "steel", "coating", "side", "kind")
MARKS = 60  # values kept of each quantity, spread evenly over the edges
UNKNOWN = "not known"
USUAL = ("stock_family", "steel", "coating", "side")  # what makes edges of one sort


@dataclass(frozen=True, kw_only=True)
class Seen:
    """edges, dull_ends: in all. values: of each quantity, rising, those of some of the edges (all where they are few);
    counts: of each sort, name -> (edges, dull ends); usual: the build that most edges have, with the middle
    quantities of those, as keywords of EdgeSpec; empty where no edge has run."""

    edges: int
    dull_ends: int
    values: dict[str, tuple[float, ...]]
    counts: dict[str, dict[str, tuple[int, int]]]
    usual: dict

    @classmethod
    def of(cls, edges: Sequence[EdgeSpec], samples: LifeSamples) -> Seen:
        """Edges that have run; a build of a position that nobody ran tells nothing."""
        hits = np.bincount(samples.edge, samples.hits - samples.from_hits, len(edges))
        ends = np.bincount(samples.edge[(samples.ended == DULL) & ~samples.unknown_age], minlength=len(edges))
        run = [(spec, int(n)) for spec, h, n in zip(edges, hits, ends, strict=True) if h > 0]
        counts: dict[str, dict[str, tuple[int, int]]] = {}
        for sort in SORTS:
            names = Counter(_name(spec, sort) for spec, _ in run)
            dull: Counter[str] = Counter()
            for spec, n in run:
                dull[_name(spec, sort)] += n
            counts[sort] = {name: (count, dull[name]) for name, count in sorted(names.items())}
        return cls(
            edges=len(run),
            dull_ends=sum(n for _, n in run),
            values={name: _marks([getattr(spec, name) for spec, _ in run]) for name in QUANTITIES},
            counts=counts,
            usual=_usual([spec for spec, _ in run]),
        )

    @classmethod
    def nothing(cls) -> Seen:
        return cls.of([], LifeSamples.of([], [], []))

    def range_of(self, quantity: str) -> tuple[float, float] | None:
        values = self.values[quantity]
        return (values[0], values[-1]) if values else None

    def edges_with(self, sort: str, name: str) -> int:
        return self.counts[sort].get(name, (0, 0))[0]

    def dull_with(self, sort: str, name: str) -> int:
        return self.counts[sort].get(name, (0, 0))[1]

    def to_dict(self) -> dict:
        return asdict(self)

    @classmethod
    def from_dict(cls, data: dict) -> Seen:
        return cls(
            edges=data["edges"],
            dull_ends=data["dull_ends"],
            values={name: tuple(data["values"][name]) for name in QUANTITIES},
            counts={sort: {n: tuple(c) for n, c in data["counts"][sort].items()} for sort in SORTS},
            usual=dict(data["usual"]),
        )


def _name(spec: EdgeSpec, sort: str) -> str:
    return getattr(spec, sort) or UNKNOWN


def _marks(values: Sequence[float | None]) -> tuple[float, ...]:
    known = np.sort([v for v in values if v is not None])
    if len(known) > MARKS:
        known = known[np.round(np.linspace(0, len(known) - 1, MARKS)).astype(int)]
    return tuple(float(f"{v:.4g}") for v in known)


def _usual(specs: Sequence[EdgeSpec]) -> dict:
    """The commonest of punches by stock, steel and coating (of die edges where no punch has run)."""
    some = [s for s in specs if s.side == "upper"] or list(specs)
    if not some:
        return {}
    ways = Counter(tuple(getattr(s, sort) for sort in USUAL) for s in some)
    way = min(ways, key=lambda w: (-ways[w], str(w)))
    mine = [s for s in some if tuple(getattr(s, sort) for sort in USUAL) == way]
    usual = dict(zip(USUAL, way, strict=True))
    for name in QUANTITIES:
        known = [v for s in mine if (v := getattr(s, name)) is not None]
        usual[name] = float(f"{np.median(known):.4g}") if known else None
    return usual
