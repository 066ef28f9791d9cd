"""Life samples: what each cycle of each edge says of its life, validated once, in its own type.

A cycle runs from one fresh edge to the next, in strokes in which the edge cuts. It ends dull, chipped, or still sharp.
One polarity everywhere: `DULL` is the event, `SHARP` and `CHIPPED` leave the time to dullness censored.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, fields
from typing import Any, Self

import numpy as np
from numpy.typing import ArrayLike, NDArray

SHARP, DULL, CHIPPED = 0, 1, 2
Rows = NDArray[np.int64] | NDArray[np.bool_] | slice  # which of the rows
HITS_UNIT = 1e5  # the engine counts in hundred thousands of hits

FAMILIES = ("carbon steel", "stainless", "high-strength steel", "aluminium", "copper alloy", "other")


class SampleRefused(ValueError):
    """A life sample that cannot be; the message carries the numbers."""


@dataclass(frozen=True, kw_only=True)
class EdgeSpec:
    """What is known of an edge before it has run.

    die: number of its die, 0 .. dies - 1. thickness_mm, tensile_mpa: of the stock that is really run.
    steel: "D2", "A2", "M2", "PM", "carbide" or any other word; None where not known.
    hardness_above_usual_hrc: HRC less the usual of its grade; None where not known.
    coating: "none", "TiN", "TiCN", "AlCrN" or any other word; None where not known.
    gap_pct: clearance per side in % of thickness; None where not known.
    side: "upper" (punch) or "lower" (die section). stroke_share: share of the die's strokes in which it cuts.
    """

    die: int
    thickness_mm: float
    tensile_mpa: float
    stock_family: str = "other"
    steel: str | None = None
    hardness_above_usual_hrc: float | None = None
    coating: str | None = None
    gap_pct: float | None = None
    side: str = "upper"
    kind: str = ""
    stroke_share: float = 1.0

    def __post_init__(self) -> None:
        for name, low, high in (("thickness_mm", 0.005, 50.0), ("tensile_mpa", 10.0, 5000.0)):
            value = getattr(self, name)
            if value is None:
                raise SampleRefused(f"{name} is not known")
            if not np.isfinite(value) or not low <= value <= high:
                raise SampleRefused(f"{name} is {value:g}; it must lie between {low:g} and {high:g}")
        if not 0 < self.stroke_share <= 1:
            raise SampleRefused(f"the share of strokes is {self.stroke_share:g}; it must lie above 0 and up to 1")
        if self.side not in ("upper", "lower"):
            raise SampleRefused(f"the side is {self.side!r}; it must be upper or lower")
        if self.gap_pct is not None and not (np.isfinite(self.gap_pct) and self.gap_pct >= 0):
            raise SampleRefused(f"the gap is {self.gap_pct:g} % of thickness; it must be nought or more")
        hardness = self.hardness_above_usual_hrc
        if hardness is not None and not np.isfinite(hardness):
            raise SampleRefused("the hardness is not a number")


@dataclass(frozen=True)
class Passed:
    """The lots (coils, orders) that each cycle cut, in order of time, with the hits in each, since its record began.

    first: int[n + 1] where each cycle's parts begin; lot: int[parts] number within its die; hits: [parts].
    """

    first: NDArray[np.int64]
    lot: NDArray[np.int64]
    hits: NDArray[np.float64]

    def __len__(self) -> int:
        return len(self.first) - 1

    @classmethod
    def of(cls, parts: Iterable[Iterable[tuple[int, float]]]) -> Self:
        """parts: of each cycle its (lot, hits)."""
        cycles = [list(one) for one in parts]
        first = np.r_[0, np.cumsum([len(one) for one in cycles])].astype(np.int64)
        flat = [part for one in cycles for part in one]
        return cls(first, np.array([p[0] for p in flat], np.int64), np.array([p[1] for p in flat], float))

    @classmethod
    def whole(cls, lot: NDArray[np.int64], hits: NDArray[np.float64]) -> Passed:
        """Each cycle in one lot."""
        return cls(np.arange(len(lot) + 1), np.asarray(lot, np.int64), np.asarray(hits, float))

    def __getitem__(self, rows: Rows) -> Self:
        number = np.arange(len(self))[rows]
        count = np.diff(self.first)[number]
        first = np.r_[0, np.cumsum(count)]
        at = np.arange(first[-1]) + np.repeat(self.first[:-1][number] - first[:-1], count)
        return type(self)(first, self.lot[at], self.hits[at])

    @property
    def row(self) -> NDArray[np.int64]:
        """int[parts] the cycle of each part."""
        return np.repeat(np.arange(len(self)), np.diff(self.first))

    @classmethod
    def together(cls, several: Iterable[Self]) -> Self:
        several = list(several)
        count = np.concatenate([np.diff(one.first) for one in several])
        return cls(
            np.r_[0, np.cumsum(count)],
            np.concatenate([one.lot for one in several]),
            np.concatenate([one.hits for one in several]),
        )


class Touches(Passed):
    """The works in between on each cycle's edge since it was fresh: lot the sort of work, its number in
    `renewals.SORTS`, hits those on the edge at it. A cycle that such a work began has from_hits there at least."""

    @classmethod
    def none(cls, count: int) -> Self:
        return cls(np.zeros(count + 1, np.int64), np.zeros(0, np.int64), np.zeros(0))


@dataclass(frozen=True)
class LifeSamples:
    """Cycles of many edges, one row each.

    edge: int[n] number of the edge. from_hits: hits on the edge when its record began (left truncation), 0 where it
    began sharp. lower_hits < life <= hits for an edge that ended dull (lower == hits: known exactly); for the others
    both are the hits it had when it ended. ended: SHARP, DULL or CHIPPED. under_way: the cycle still runs.
    unknown_age: its hits when the record began are not known, and count from there. lot: int[n] number of the lot it
    ended in within its die, -1 where not known. passed: the lots that it cut, where they are known; else the whole
    cycle is taken for its last lot's. sure: somebody looked at the edge when it ended. told, told_sd: what
    readings in the cycle say of ln of its whole life in hits, N(told, told_sd^2); not-a-number where there are none.
    touched: works in between since the edge was fresh; its hits run on over them, see renewals.py.
    """

    edge: NDArray[np.int64]
    from_hits: NDArray[np.float64]
    lower_hits: NDArray[np.float64]
    hits: NDArray[np.float64]
    ended: NDArray[np.int8]
    under_way: NDArray[np.bool_]
    unknown_age: NDArray[np.bool_]
    lot: NDArray[np.int64]
    sure: NDArray[np.bool_]
    told: NDArray[np.float64]
    told_sd: NDArray[np.float64]
    passed: Passed | None = None
    touched: Touches | None = None

    def __post_init__(self) -> None:
        n = len(self.edge)
        if any(np.shape(getattr(self, name)) != (n,) for name in _COLUMNS):
            raise SampleRefused("the columns of the life samples are not of one length")
        for name in ("from_hits", "lower_hits", "hits"):
            values = getattr(self, name)
            if not np.isfinite(values).all():
                raise SampleRefused(f"{name} of a cycle is not a number of hits")
            if (values < 0).any():
                raise SampleRefused(f"{name} of a cycle is {values.min():g}; hits are nought or more")
        for first, then in (("from_hits", "lower_hits"), ("lower_hits", "hits")):
            wrong = np.flatnonzero(getattr(self, first) > getattr(self, then))
            if wrong.size:
                i = wrong[0]
                raise SampleRefused(
                    f"a cycle has {first} {getattr(self, first)[i]:g} above {then} {getattr(self, then)[i]:g}"
                )
        if n and (self.edge.min() < 0):
            raise SampleRefused("an edge has a negative number")
        if self.passed is not None and (
            len(self.passed) != n or (self.passed.hits < 0).any() or (self.passed.lot < 0).any()
        ):
            raise SampleRefused("the lots that the cycles cut do not fit the cycles")
        if self.touched is not None and len(self.touched) != n:
            raise SampleRefused("the works in between do not fit the cycles")
        if (self.ended[self.under_way] != SHARP).any():
            raise SampleRefused("a cycle that still runs has an end")

    def __len__(self) -> int:
        return len(self.edge)

    @classmethod
    def of(
        cls,
        edge: ArrayLike,
        hits: ArrayLike,
        ended: ArrayLike,
        *,
        lower_hits: ArrayLike | None = None,
        from_hits: ArrayLike = 0.0,
        under_way: ArrayLike = False,
        unknown_age: ArrayLike = False,
        lot: ArrayLike = -1,
        sure: ArrayLike = False,
        told: ArrayLike = np.nan,
        told_sd: ArrayLike = np.nan,
        passed: Passed | None = None,
        touched: Touches | None = None,
    ) -> LifeSamples:
        """From columns; scalars are spread over all rows. Without lower_hits a dull end is taken as exact."""
        edges = np.atleast_1d(np.asarray(edge, np.int64))
        n = len(edges)

        def column(values: ArrayLike, kind: type) -> NDArray[Any]:
            given = np.asarray(values)
            if given.ndim == 0:
                return np.broadcast_to(given.astype(kind), (n,))  # takes no room
            return np.array(np.broadcast_to(given, (n,)), kind)

        all_hits = column(hits, np.float64)
        ends = column(ended, np.int8)
        lower = all_hits if lower_hits is None else np.where(ends == DULL, column(lower_hits, np.float64), all_hits)
        return cls(
            edges,
            column(from_hits, np.float64),
            lower,
            all_hits,
            ends,
            column(under_way, np.bool_),
            column(unknown_age, np.bool_),
            column(lot, np.int64),
            column(sure, np.bool_),
            column(told, np.float64),
            column(told_sd, np.float64),
            passed,
            touched,
        )

    @classmethod
    def exact(cls, edge: ArrayLike, hits: ArrayLike, **more: Any) -> LifeSamples:
        """Edges seen to go dull at exactly these hits."""
        return cls.of(edge, hits, DULL, **more)

    @classmethod
    def interval_censored(cls, edge: ArrayLike, lower_hits: ArrayLike, hits: ArrayLike, **more: Any) -> LifeSamples:
        """Edges found dull at `hits` that were sharp at the look before, at `lower_hits`."""
        return cls.of(edge, hits, DULL, lower_hits=lower_hits, **more)

    @classmethod
    def right_censored(cls, edge: ArrayLike, hits: ArrayLike, **more: Any) -> LifeSamples:
        """Edges still sharp at `hits`: ground with the set, used up, or still running."""
        return cls.of(edge, hits, SHARP, **more)

    @classmethod
    def left_truncated(
        cls, edge: ArrayLike, from_hits: ArrayLike, hits: ArrayLike, ended: ArrayLike, **more: Any
    ) -> LifeSamples:
        """Edges whose record began when they had `from_hits` on them already and were sharp."""
        return cls.of(edge, hits, ended, from_hits=from_hits, **more)

    @classmethod
    def chipped(cls, edge: ArrayLike, hits: ArrayLike, **more: Any) -> LifeSamples:
        """Edges that chipped or broke at `hits`: until then not dull."""
        return cls.of(edge, hits, CHIPPED, **more)

    @classmethod
    def together(cls, parts: Iterable[LifeSamples]) -> LifeSamples:
        parts = list(parts)
        if not parts:
            return cls.of([], [], [])
        passed = None
        if any(p.passed is not None for p in parts):
            passed = Passed.together(p.of_lots() for p in parts)
        touched = None
        if any(p.touched is not None for p in parts):
            touched = Touches.together(Touches.none(len(p)) if p.touched is None else p.touched for p in parts)
        columns: dict[str, Any] = {name: np.concatenate([getattr(p, name) for p in parts]) for name in _COLUMNS}
        return cls(**columns, passed=passed, touched=touched)

    def has_run(self) -> NDArray[np.bool_]:
        """Which rows are cycles at all: one under way on which nothing has run yet is none."""
        return ~(self.under_way & (self.hits <= self.from_hits))

    def of_lots(self) -> Passed:
        """The lots that each cycle cut; without a record of them its last one (those of no lot: none)."""
        if self.passed is not None:
            return self.passed
        has = self.lot >= 0
        first = np.r_[0, np.cumsum(has)].astype(np.int64)
        return Passed(first, self.lot[has], (self.hits - self.from_hits)[has])

    def pick(self, rows: Rows) -> LifeSamples:
        columns: dict[str, Any] = {name: getattr(self, name)[rows] for name in _COLUMNS}
        return LifeSamples(
            **columns,
            passed=None if self.passed is None else self.passed[rows],
            touched=None if self.touched is None else self.touched[rows],
        )

    def in_canonical_order(self) -> LifeSamples:
        """Sorted by everything they hold, so that sums come out the same to the last digit in any order of loading."""
        return self.pick(
            np.lexsort(
                (
                    self.told_sd,
                    self.told,
                    self.sure,
                    self.lot,
                    self.unknown_age,
                    self.under_way,
                    self.ended,
                    self.from_hits,
                    self.lower_hits,
                    self.hits,
                    self.edge,
                )
            )
        )


_COLUMNS = tuple(f.name for f in fields(LifeSamples) if f.name not in ("passed", "touched"))
