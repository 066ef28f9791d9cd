"""From the cycles in a die's log to the life samples that the engine takes. Glue without database or mathematics."""

from __future__ import annotations

from array import array
from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import Any

import numpy as np

from diestore.handbook import materials, tool_steels
from diestore.handbook.limits import STROKE_SHARE
from maintenance.clockwork import cycles
from maintenance.clockwork.rows import DieLog, PositionRow
from maintenance.life import habits, renewals
from maintenance.life.cycles import CHIPPED, DULL, SHARP, EdgeSpec, LifeSamples, Passed, SampleRefused, Touches
from maintenance.life.readings import Readings

from . import troubles

ENDED = {"sharp": SHARP, "dull": DULL, "chipped": CHIPPED}


@dataclass(frozen=True, kw_only=True)
class DieSamples:
    """One die's edges and cycles, with what leads back to its positions.

    specs: an edge for each build of each position. current: position -> number of its edge under way. rest: strokes
    of the die still to come from the lot under way.
    refused: position -> why nothing can be said of it.
    """

    die: int
    specs: list[EdgeSpec]
    rows: list[tuple[int, cycles.Cycle]]
    current: dict[int, int]
    rest: float = 0.0
    refused: dict[int, str] = field(default_factory=dict)
    failed: str = ""  # why nothing could be made of its log


def nothing_of(die: int, why: str) -> DieSamples:
    """Of a die whose log cannot be worked out."""
    return DieSamples(die=die, specs=[], rows=[], current={}, failed=why)


def spec_of(log: DieLog, position: PositionRow, build: cycles.Build, *, die: int = 0) -> EdgeSpec:
    """How an edge enters the wear model. Raises SampleRefused where its share of the strokes is none."""
    if not STROKE_SHARE.holds(position.stroke_share):
        raise SampleRefused(f"as its share of the strokes, {STROKE_SHARE.sentence(position.stroke_share)[:-1]}")
    stock = log.stocks[build.stock]
    grade = tool_steels.grade(build.tool_steel)
    above = None
    if build.hardness_hrc is not None and grade is not None and grade.usual_hrc is not None:
        above = build.hardness_hrc - grade.usual_hrc
    return EdgeSpec(
        die=die,
        thickness_mm=stock.thickness_mm,
        tensile_mpa=stock.tensile_mpa,
        stock_family=materials.family_of(stock.material),
        steel=grade.group if grade else None,
        hardness_above_usual_hrc=above,
        coating=tool_steels.coating(build.coating),
        gap_pct=None if build.gap_mm is None else 100.0 * build.gap_mm / stock.thickness_mm,
        side=position.side,
        kind=position.kind,
        stroke_share=position.stroke_share,
    )


def of_die(
    log: DieLog, as_of: float, *, built_at: float | None = None, made: list[cycles.Cycle] | None = None
) -> DieSamples:
    """The edges of one die and their cycles up to a moment. made: those cycles, where they are at hand.

    built_at: the edges that go on are those of the die as it is built then, which may be after the last entry: a gap
    opened while the die lay on the bench, a place that is no longer there.
    """
    if built_at is not None and (log.last_moment is None or log.last_moment <= as_of):
        as_of = max(as_of, built_at)
    specs: list[EdgeSpec] = []
    rows: list[tuple[int, cycles.Cycle]] = []
    number: dict[tuple, int] = {}
    current: dict[int, int] = {}
    refused: dict[int, str] = {}
    for cycle in _that_count(log, as_of, made):
        position = log.positions[cycle.position]
        key = (cycle.position, cycle.build)
        if key not in number:
            try:
                specs.append(spec_of(log, position, cycle.build))
            except SampleRefused as reason:
                refused[cycle.position] = f"Not enough is known of {position.code}: {reason}."
                continue
            number[key] = len(specs) - 1
        gone = position.valid_to is not None and position.valid_to <= as_of
        gone = gone or not cycles.cuts_at(log, cycle.position, as_of)
        if cycle.open and not gone:
            current[cycle.position] = number[key]
        if not cycle.open or not gone:
            rows.append((number[key], cycle))
    rows = troubles.resolved(specs, rows)
    return DieSamples(die=log.die, specs=specs, rows=rows, current=current, refused=refused)


def _that_count(log: DieLog, as_of: float, made: list[cycles.Cycle] | None = None) -> list[cycles.Cycle]:
    """The cycles up to a moment that tell of how the die wears now: all, or those since its record was started anew.

    A cycle that was under way then is taken as one whose record began with the hits that were on its edge: that it
    lasted so long before tells nothing.
    """
    made = cycles.cycles(log, as_of) if made is None else made
    anew = max((at for at in log.restarts if at <= as_of), default=None)
    if anew is None:
        return made
    then = {(c.position, c.piece, c.started): c.hits for c in cycles.cycles(log, anew) if c.open}
    kept = []
    for cycle in made:
        if cycle.ended <= anew and not cycle.open:
            continue
        begun = cycle.from_hits
        if not cycle.unknown_age and (hits := then.get((cycle.position, cycle.piece, cycle.started))) is not None:
            begun = min(max(begun, hits), cycle.hits)
        if cycle.hits <= begun and not cycle.open and cycle.ended_as != "chipped":
            continue
        kept.append(replace(cycle, from_hits=begun, lower_hits=max(cycle.lower_hits, begun)))
    return kept


QUANTITIES = ("burr height", "wear land", "edge radius")  # what tells of an edge's wear, by the engine's number


class Gathered:
    """Edges and cycles of dies, numbered through as they come, in some sixty bytes a cycle.

    specs: of all edges. first: of each die the number of its first edge. Dies without an edge are left out of the
    numbering of dies. life, readings, sets_as_one: once all are there.
    """

    def __init__(self, dies: Iterable[DieSamples] = ()) -> None:
        self.specs: list[EdgeSpec] = []
        self.first: list[int] = []
        self._dies = 0
        # numbers as C keeps them, of whole numbers or not: no type says "of either"
        self._whole: dict[str, array[Any]] = {name: array(code) for name, code in _COLUMNS.items()}
        self._measured: list[array[Any]] = [array(code) for code in "qddq"]
        self._passed: list[array[Any]] = [array(code) for code in "qqd"]  # lots a cycle cut; each lot, the hits in it
        self._touched: list[array[Any]] = [array(code) for code in "qqd"]  # works in between, the sort and hits of each
        self.rest: dict[int, float] = {}  # of each die, where anything is still to come from the lot under way
        for die in dies:
            self.add(die)

    def add(self, die: DieSamples) -> None:
        """Whole, or where it cannot be, nothing of it."""
        columns = [*self._whole.values(), *self._measured, *self._passed, *self._touched]
        lengths, edges, dies = [len(column) for column in columns], len(self.specs), self._dies
        try:
            self._add(die)
        except Exception:
            for column, length in zip(columns, lengths, strict=True):
                del column[length:]
            del self.specs[edges:], self.first[-1:]
            self.rest.pop(dies, None)
            self._dies = dies
            raise

    def _add(self, die: DieSamples) -> None:
        first, columns = len(self.specs), self._whole
        self.first.append(first)
        self.specs += [replace(spec, die=self._dies) for spec in die.specs]
        if die.rest:
            self.rest[self._dies] = die.rest
        self._dies += bool(die.specs)
        for number, cycle in die.rows:
            for at, name, value_si in cycle.readings:
                plain = name.strip().lower()
                if plain in QUANTITIES and value_si > 0 and 0 < at <= cycle.hits:
                    row = len(columns["edge"]), at, value_si * 1e6, QUANTITIES.index(plain)
                    for column, value in zip(self._measured, row, strict=True):
                        column.append(value)
            count, lot, hits = self._passed
            count.append(len(cycle.passed))
            for of, in_it in cycle.passed:
                lot.append(of)
                hits.append(in_it)
            count, sort, hits = self._touched
            count.append(len(cycle.touches))
            for operation, at in cycle.touches:
                sort.append(renewals.SORTS.index(operation))
                hits.append(at)
            columns["edge"].append(first + number)
            columns["hits"].append(cycle.hits)
            columns["ended"].append(ENDED[cycle.ended_as])
            columns["lower_hits"].append(cycle.lower_hits)
            columns["from_hits"].append(cycle.from_hits)
            columns["under_way"].append(cycle.open)
            columns["unknown_age"].append(cycle.unknown_age)
            columns["lot"].append(cycle.lot)
            columns["sure"].append(cycle.looked)
            columns["moment"].append(cycle.ended)

    @cached_property
    def _life(self) -> tuple[LifeSamples, np.ndarray]:
        columns = {name: np.array(column) for name, column in self._whole.items()}
        moment = columns.pop("moment")
        count, lot, hits = (np.array(column) for column in self._passed)
        passed = Passed(np.r_[0, np.cumsum(count)].astype(np.int64), lot.astype(np.int64), hits.astype(float))
        works, sort, at = (np.array(column) for column in self._touched)
        touched = Touches(np.r_[0, np.cumsum(works)].astype(np.int64), sort.astype(np.int64), at.astype(float))
        made = LifeSamples.of(
            columns.pop("edge"), columns.pop("hits"), columns.pop("ended"), passed=passed,
            touched=touched if len(touched.lot) else None, **columns,
        )  # fmt: skip
        taken, _ = habits.planned(self.specs, made, moment)
        return habits.one_for_the_set(self.specs, taken, moment)

    @property
    def life(self) -> LifeSamples:
        """The cycles, without what is written down by habit."""
        return self._life[0]

    @property
    def sets_as_one(self) -> np.ndarray:
        """int[dies] How many sets of each die were written down as dull as a whole, by habit."""
        return self._life[1]

    @cached_property
    def readings(self) -> Readings | None:
        """What was measured on the edges, in micrometres, by row of the cycles."""
        return Readings.of(*(np.array(column) for column in self._measured)) if self._measured[0] else None


_COLUMNS = {
    "edge": "q", "hits": "d", "ended": "b", "lower_hits": "d", "from_hits": "d", "under_way": "b", "unknown_age": "b",
    "lot": "q", "sure": "b", "moment": "d",
}  # fmt: skip


def burrs_um(cycle: cycles.Cycle) -> dict[float, float]:
    """Burr readings of a cycle in micrometres, by hits on the edge; of several at once the highest."""
    found: dict[float, float] = {}
    for at, name, value_si in cycle.readings:
        if name.strip().lower() == QUANTITIES[0] and value_si > 0 and 0 < at <= cycle.hits:
            found[at] = max(value_si * 1e6, found.get(at, 0.0))
    return found


def sharpened_now(samples: LifeSamples) -> LifeSamples:
    """The same records as if every edge under way were sharpened now: what ran so far is kept as still sharp."""
    now = samples.under_way
    before = LifeSamples.of(
        samples.edge,
        samples.hits,
        samples.ended,
        lower_hits=samples.lower_hits,
        from_hits=samples.from_hits,
        unknown_age=samples.unknown_age,
        lot=samples.lot,
        sure=samples.sure,
        passed=samples.passed,
        touched=samples.touched,
    )
    kept = before.pick(~now | (before.hits > before.from_hits))
    return LifeSamples.together(
        [kept, LifeSamples.of(samples.edge[now], 0, SHARP, under_way=True, lot=samples.lot[now])]
    )
