"""What the shop's cycles say of presses, coils, people, set-ups and mishaps. Glue: no mathematics, no pages.

The log of every die is cut into the parts of its cycles that ran in one press and of one lot; life/causes.py tells the
causes apart. Looked for once a week, with the look back, and kept.
"""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from itertools import count

import numpy as np
from django.db import transaction

from diestore.register.models import Die, Plant, Position
from maintenance.clockwork import cycles as clockwork_cycles
from maintenance.clockwork.rows import DieLog, RunRow
from maintenance.life import causes
from maintenance.life.fleet import FleetFit
from maintenance.log import read as log_read
from maintenance.log.set_ups import tilted_at
from maintenance.models import Run, WearCause, Work

from . import samples, store
from .fleet_log import Tell, read_fleet

KEPT_CASES = causes.CASES_NEEDED
LEAST_SHARE = 0.02  # of a cycle: a shorter part of it is added to the others

Lot = tuple[int, str, int | None]  # die, coil, order


@dataclass(frozen=True, kw_only=True)
class ShopCauses:
    plant: Plant
    as_of: dt.datetime
    told: causes.Causes
    lots: dict[int, Lot]


def compute(
    plant: Plant, *, fit: FleetFit | None = None, as_of: dt.datetime | None = None, tell: Tell | None = None
) -> ShopCauses | None:
    """Tell the causes apart by all records up to a moment. Stores nothing. None where the log is empty.

    fit: the shop's wear model; default the stored one.
    """
    as_of = as_of or log_read.last_moment(plant)
    if as_of is None:
        return None
    if tell is not None:
        tell("telling apart presses, coils and hands")
    fit = fit or store.fleet_of(plant)
    known = read_fleet(Die.objects.filter(plant=plant).order_by("code"), as_of)
    numbers: defaultdict[Lot, int] = defaultdict(count().__next__)
    columns: dict[str, list] = {name: [] for name in causes.CauseRows.__dataclass_fields__}
    for logs, parts in known.in_batches():
        beside = _Beside(logs)
        for log, part in zip(logs, parts, strict=True):
            for row in _rows(log, part, beside, fit, numbers):
                for name, value in zip(columns, row, strict=True):
                    columns[name].append(value)
    theta = fit.best
    told = causes.told_apart(
        causes.CauseRows(**{name: np.array(values, _KINDS[name]) for name, values in columns.items()}),
        k=theta.k,
        between_dies=theta.tu,
        between_places=theta.tv,
        between_lots=fit.sw,
    )
    return ShopCauses(plant=plant, as_of=as_of, told=told, lots={n: lot for lot, n in numbers.items()})


_KINDS = {
    "place": np.int64, "die": np.int64, "x_mm": float, "y_mm": float, "press": np.int64, "lot": np.int64,
    "person": np.int64, "bad_set_up": bool, "mishap": bool, "share": float, "exposure": float, "dull": float,
}  # fmt: skip


class _Beside:
    """Of some dies what their logs do not carry: where places lie, presses of runs, who ground, tilted set-ups."""

    def __init__(self, logs: Iterable[DieLog]) -> None:
        ids = [log.die for log in logs]
        self.at = _from_the_middle(ids, {p for log in logs for p in clockwork_cycles.cutting_positions(log)})
        runs = Run.objects.standing().filter(die__in=ids, press__isnull=False).order_by()
        self.press = {(d, s.timestamp()): p for d, s, p in runs.values_list("die_id", "started", "press_id")}
        works = Work.objects.standing().filter(position__die__in=ids, person__isnull=False).order_by()
        self.person = {(p, at.timestamp()): by for p, at, by in works.values_list("position_id", "at", "person_id")}
        self.tilted = tilted_at(ids)


def _from_the_middle(ids: list[int], cutting: set[int]) -> dict[int, tuple[float, float]]:
    """x and y of each place that cuts, from the middle between the outermost of its die; those that have both."""
    rows = Position.objects.filter(pk__in=cutting, x_mm__isnull=False, y_mm__isnull=False).order_by("pk")
    by_die: dict[int, list[tuple[int, float, float]]] = defaultdict(list)
    for die, *place in rows.values_list("die_id", "pk", "x_mm", "y_mm"):
        by_die[die].append(tuple(place))
    middle = {}
    for places in by_die.values():
        x, y = ([place[axis] for place in places] for axis in (1, 2))
        mid = (min(x) + max(x)) / 2, (min(y) + max(y)) / 2
        middle |= {pk: (px - mid[0], py - mid[1]) for pk, px, py in places}
    return middle


def _rows(
    log: DieLog, part: samples.DieSamples, beside: _Beside, fit: FleetFit, numbers: defaultdict[Lot, int]
) -> Iterator[tuple]:
    """Of each cycle the parts that ran in one press and of one lot, in the order of the columns."""
    if not part.rows:
        return
    life = samples.Gathered([part]).life
    exposure, dull = causes.exposures(fit, part.specs, life)
    runs = _Runs(log, beside)
    tilted = beside.tilted.get(log.die, ())
    for n, (_, cycle) in enumerate(part.rows):
        if cycle.unknown_age or exposure[n] <= 0:
            continue
        where = beside.at.get(cycle.position, (np.nan, np.nan))
        begun = cycle.started if cycle.started is not None else -np.inf
        by = beside.person.get((cycle.position, cycle.started), -1)
        bad = any(begun <= since < cycle.ended for since in tilted)
        mishap = any(trouble.of_piece for trouble in cycle.troubles)
        for (press, lot), share in runs.shares(begun, cycle.ended).items():
            yield (
                cycle.position, log.die, *where, press, -1 if lot is None else numbers[lot], by, bad, mishap,
                share, share * exposure[n], share * dull[n],
            )  # fmt: skip


class _Runs:
    """The runs of a die with their press and lot; the edges of one set share their time, so shares are kept."""

    def __init__(self, log: DieLog, beside: _Beside) -> None:
        runs = sorted(log.runs, key=lambda run: run.started)
        self.started = np.array([run.started for run in runs])
        self.ended = np.array([run.ended for run in runs])
        self.hits = np.array([run.hits for run in runs], float)
        self.of = [(beside.press.get((log.die, run.started), -1), lot_of(log.die, run)) for run in runs]
        self.kept: dict[tuple[float, float], dict[tuple[int, Lot | None], float]] = {}

    def shares(self, begun: float, ended: float) -> dict[tuple[int, Lot | None], float]:
        """By press and lot the share of the hits between two moments; they sum to one."""
        if (begun, ended) not in self.kept:
            self.kept[begun, ended] = self._shares(begun, ended)
        return self.kept[begun, ended]

    def _shares(self, begun: float, ended: float) -> dict[tuple[int, Lot | None], float]:
        inside = np.minimum(self.ended, ended) - np.maximum(self.started, begun)
        hits = self.hits * np.clip(inside / np.maximum(self.ended - self.started, 1.0), 0.0, 1.0)
        total: dict[tuple[int, Lot | None], float] = defaultdict(float)
        for n in np.flatnonzero(hits > 0):
            total[self.of[n]] += hits[n]
        whole = sum(total.values())
        much = {of: h for of, h in total.items() if h >= LEAST_SHARE * whole}
        return {of: h / sum(much.values()) for of, h in much.items()} or {(-1, None): 1.0}


def lot_of(die: int, run: RunRow) -> Lot | None:
    """What names the lot of a run within a shop: the die with the coil, else with the order."""
    named = clockwork_cycles.named_lot(run)
    if named is None:
        return None
    return (die, named, None) if isinstance(named, str) else (die, "", named)


@dataclass(frozen=True, kw_only=True)
class OfCycle:
    """What one cycle had: presses and lots with the share of its hits, who ground its edge before, and what befell."""

    presses: dict[int, float]
    lots: dict[Lot, float]
    person: int | None
    tilted: bool
    mishap: bool


def of_cycle(log: DieLog, cycle: clockwork_cycles.Cycle) -> OfCycle:
    beside = _Beside([log])
    begun = cycle.started if cycle.started is not None else -np.inf
    presses: dict[int, float] = defaultdict(float)
    lots: dict[Lot, float] = defaultdict(float)
    for (press, lot), share in _Runs(log, beside).shares(begun, cycle.ended).items():
        if press >= 0:
            presses[press] += share
        if lot is not None:
            lots[lot] += share
    return OfCycle(
        presses=dict(presses),
        lots=dict(lots),
        person=beside.person.get((cycle.position, cycle.started)),
        tilted=any(begun <= since < cycle.ended for since in beside.tilted.get(log.die, ())),
        mishap=any(trouble.of_piece for trouble in cycle.troubles),
    )


def keep(shop: ShopCauses) -> int:
    """Keep what was told instead of what was told before; causes with too few cases are left out."""
    slopes = {slope.press: slope for slope in shop.told.slopes}
    rows = []
    for cause in shop.told.all:
        if cause.is_thin and cause.sort != WearCause.Sort.PRESS:
            continue
        row = WearCause(
            plant=shop.plant,
            sort=cause.sort,
            as_of=shop.as_of,
            cycles=cause.cycles,
            dull=cause.dull,
            expected=cause.expected,
            times=cause.times,
            low=cause.low,
            high=cause.high,
            chance=cause.chance,
        )
        if cause.sort == WearCause.Sort.PRESS:
            row.press_id, row.slope = cause.number, _slope(slopes[cause.number])
        elif cause.sort == WearCause.Sort.PERSON:
            row.person_id = cause.number
        elif cause.sort == WearCause.Sort.LOT:
            row.die_id, row.coil, row.order_id = shop.lots[cause.number]
        rows.append(row)
    with transaction.atomic():
        WearCause.objects.filter(plant=shop.plant).delete()
        WearCause.objects.bulk_create(rows, batch_size=1_000)
    return len(rows)


def _slope(slope: causes.PressSlope) -> dict:
    return {
        "dies": slope.dies,
        "dull": slope.dull,
        "along": list(slope.along),
        "covariance": [list(map(float, row)) for row in slope.covariance],
        "chance": slope.chance,
        "refusal": slope.refusal,
    }
