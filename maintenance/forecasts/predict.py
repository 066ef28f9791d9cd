"""What a fit says of each die and edge, from their logs."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import partial

from diestore.service.failing import attempt
from maintenance.clockwork import cycles, usual
from maintenance.clockwork import states as clockwork_states
from maintenance.clockwork.rows import DieLog, PositionRow
from maintenance.life import fleet, predict, renewals
from maintenance.life.cycles import HITS_UNIT, LifeSamples
from maintenance.log.data import OrderLeft

from . import burr_limits, samples

NOTHING_CUTS = "No piece with a cutting edge sits in this die, so there is nothing to forecast."


@dataclass(frozen=True, kw_only=True)
class DieOutlook:
    """A die's forecast before it is stored. edges: position -> prediction. refused: position -> why there is none."""

    die: int
    code: str
    as_of: dt.datetime
    prediction: predict.DiePrediction | None
    limiting: int | None
    edges: dict[int, predict.EdgePrediction]
    states: dict[int, clockwork_states.PositionState]
    positions: dict[int, PositionRow]
    refused: dict[int, str]
    on_edge: dict[int, int]  # position -> hits on the edge, counted from where the records know it
    failed: str = ""  # why it could not be worked out
    fresh: predict.DiePrediction | None = None  # once every edge of it has been sharpened
    fresh_edges: dict[int, predict.EdgePrediction] = field(default_factory=dict)  # by position, those that work
    chips: dict[int, float] = field(default_factory=dict)  # position -> in a million strokes of the die
    thickness_mm: dict[int, float] = field(default_factory=dict)  # position -> of what its edge cuts
    limit: dict | None = None  # of the burr, that it counts to, or why it does not: see burr_limits.sentence
    held: frozenset[int] = frozenset()  # positions that count to it
    usual_hours: float | None = None  # of a sharpening

    lot: dict | None = None  # what is taken for a lot, the strokes left of the one under way, and how lots differ

    touched: list[dict] | None = None  # works in between on the edges it has, and what they are taken to give back

    sets_as_one: int = 0  # written down as dull as a whole, by habit: one edge stands for them

    @property
    def hits_since_sharpening(self) -> int:
        return max(self.on_edge.values(), default=0)

    @property
    def unrun(self) -> bool:
        """Nothing has run on any of its edges since they were sharpened, as far as their age is known."""
        return bool(self.on_edge) and all(self.states[p].hits_since_sharpening == 0 for p in self.on_edge)

    def without_curves(self) -> DieOutlook:
        """As it is stored: the curves take three quarters of the room."""
        edges = {position: replace(edge, curve=None) for position, edge in self.edges.items()}
        fresh_edges = {position: replace(edge, curve=None) for position, edge in self.fresh_edges.items()}
        bare = {
            name: one and replace(one, curve=None, edges={e: replace(p, curve=None) for e, p in one.edges.items()})
            for name, one in (("prediction", self.prediction), ("fresh", self.fresh))
        }
        return replace(self, edges=edges, fresh_edges=fresh_edges, **bare)


def tell_each(
    read: Sequence[DieLog],
    parts: Sequence[samples.DieSamples],
    fitted: fleet.FleetFit,
    as_of: dt.datetime,
    orders: Mapping[int, OrderLeft],
    limits_um: dict[int, dict[int, float]] | None = None,
    *,
    left_only: bool = False,
) -> list[DieOutlook]:
    """As `tell_dies`; a die that cannot be told is told as that, and the others as they are without it."""

    def told(logs: Sequence[DieLog], some: Sequence[samples.DieSamples]) -> list[DieOutlook]:
        return tell_dies(logs, some, fitted, as_of, orders, limits_um, left_only=left_only)

    def one_by_one(why: str = "") -> list[DieOutlook]:
        outlooks = []
        for log, part in zip(read, parts, strict=True):
            failed = partial(_untold, log, as_of)
            alone = partial(told, [log], [part])
            outlooks += failed(part.failed) if part.failed else attempt(alone, failed, what=f"die {log.code}")
        return outlooks

    if any(part.failed for part in parts):
        return one_by_one()
    return attempt(partial(told, read, parts), one_by_one, what="a forecast of some dies at once")


def _untold(log: DieLog, as_of: dt.datetime, why: str) -> list[DieOutlook]:
    return [
        DieOutlook(
            die=log.die,
            code=log.code,
            as_of=as_of,
            prediction=None,
            limiting=None,
            edges={},
            states={},
            positions=log.positions,
            refused={},
            on_edge={},
            failed=why,
        )
    ]


def tell_dies(
    read: Sequence[DieLog],
    parts: Sequence[samples.DieSamples],
    fitted: fleet.FleetFit,
    as_of: dt.datetime,
    orders: Mapping[int, OrderLeft],
    limits_um: dict[int, dict[int, float]] | None = None,
    *,
    left_only: bool = False,
) -> list[DieOutlook]:
    """orders: the open order of each die that is due first. limits_um: burr limits by die and variant; without, every
    forecast is of going dull.

    left_only: what is left, and nothing of how the die would stand once sharpened.
    """
    variants = {die: order.variant_id for die, order in orders.items()}
    parts = [replace(part, rest=_rest(log, orders.get(log.die), as_of)) for log, part in zip(read, parts, strict=True)]
    gathered = samples.Gathered(parts)
    specs, first = gathered.specs, gathered.first
    told_by_die, fresh_by_die = left_and_fresh(fitted, gathered, left_only=left_only)
    outlooks = []
    for log, part, start in zip(read, parts, first, strict=True):
        number = specs[start].die if part.specs else -1
        prediction, fresh = told_by_die.get(number), fresh_by_die.get(number)
        edges = {p: prediction.edges[start + e] for p, e in part.current.items()} if prediction else {}
        counted_from = start
        limiting = _position_of(prediction.limits - start, part) if prediction else None
        working = fitted_positions(log, variants.get(log.die), as_of.timestamp())
        if prediction and working is not None and not working >= set(edges):
            # Inserts that lie on the shelf do not end the die's run: the die is told from those that work.
            some = replace(part, rows=[r for r in part.rows if not r[1].open or r[1].position in working])
            left, sharpened = left_and_fresh(fitted, samples.Gathered([some]), left_only=left_only)
            prediction, fresh, counted_from = left.get(0), sharpened.get(0), 0
            limiting = _position_of(prediction.limits, part) if prediction else None
        counted = burr_limits.Counted()
        known = (limits_um or {}).get(log.die, {})
        limit_um = burr_limits.of_variant(known, _variant_at(log, variants.get(log.die), as_of.timestamp()))
        if prediction and limit_um is not None:
            counted = burr_limits.count(fitted, part, limit_um, working, limiting)
            if counted.prediction is not None:
                prediction, fresh, edges, counted_from = counted.prediction, counted.fresh, counted.edges, 0
                limiting = _position_of(prediction.limits, part)
        outlooks.append(
            DieOutlook(
                die=log.die,
                code=log.code,
                as_of=as_of,
                prediction=prediction,
                limiting=limiting,
                edges=edges,
                states={} if left_only else clockwork_states.states(log, as_of.timestamp()),
                positions=log.positions,
                refused=part.refused,
                on_edge={c.position: c.hits for _, c in part.rows if c.open and c.position in edges},
                fresh=fresh,
                fresh_edges={
                    p: fresh.edges[n] for p, e in part.current.items() if (n := counted_from + e) in fresh.edges
                }
                if fresh
                else {},
                chips=chips_of(fitted, part),
                thickness_mm={p: part.specs[e].thickness_mm for p, e in part.current.items()},
                limit=counted.stored,
                held=counted.held,
                usual_hours=usual.usual_hours(log),
                lot=_lot(fitted, log, part, as_of) if prediction else None,
                touched=_touched(fitted, part) if prediction else None,
                sets_as_one=int(gathered.sets_as_one[number]) if part.specs else 0,
            )
        )
    return outlooks


def chips_of(fitted: fleet.FleetFit, part: samples.DieSamples) -> dict[int, float]:
    """position -> chips in a million strokes of the die."""
    rate = fitted.chip_rates.of
    return {p: rate(part.specs[e]) * part.specs[e].stroke_share * (1e6 / HITS_UNIT) for p, e in part.current.items()}


def _rest(log: DieLog, order: OrderLeft | None, as_of: dt.datetime) -> int:
    if order is None:
        return cycles.rest_of_lot(log, as_of.timestamp())
    return cycles.rest_of_lot(log, as_of.timestamp(), order.order_id, order.hits_left)


def _lot(fitted: fleet.FleetFit, log: DieLog, part: samples.DieSamples, as_of: dt.datetime) -> dict | None:
    """For a shop whose lots wear edges differently."""
    if not fitted.sw:
        return None
    return {
        "of": cycles.sort_of_lot(log, as_of.timestamp()),
        "rest": round(part.rest),
        "spread": round(fitted.sw, 2),
    }


def _touched(fitted: fleet.FleetFit, part: samples.DieSamples) -> list[dict] | None:
    """Of each sort of work in between that an edge under way has had: its name, share, and those learnt from."""
    sorts = {operation for _, cycle in part.rows if cycle.open for operation, _ in cycle.touches}
    seen = {one.sort: one.seen for one in fitted.renewals}
    return [
        {"work": name, "share": round(float(fitted.shares[i]), 2), "seen": seen.get(i, 0)}
        for i, name in enumerate(renewals.SORTS)
        if name in sorts
    ] or None


def left_and_fresh(
    fitted: fleet.FleetFit, gathered: samples.Gathered, *, left_only: bool = False
) -> tuple[dict[int, predict.DiePrediction], dict[int, predict.DiePrediction]]:
    """What is left of each die, and how it would stand sharpened now: predicted at once, as dies beside the dies.

    One die takes little longer twice than once.
    """
    specs, life, readings, rest = gathered.specs, gathered.life, gathered.readings, gathered.rest
    if left_only or not specs:
        return predict.predict_fleet(fitted, specs, life, readings=readings, rest=rest), {}
    dies, edges = max(spec.die for spec in specs) + 1, len(specs)
    beside = [replace(spec, die=spec.die + dies) for spec in specs]
    sharpened = samples.sharpened_now(life)
    both = LifeSamples.together([life, replace(sharpened, edge=sharpened.edge + edges)])
    rest = rest | {die + dies: strokes for die, strokes in rest.items()}
    predicted = predict.predict_fleet(fitted, [*specs, *beside], both, readings=readings, rest=rest)
    left = {die: one for die, one in predicted.items() if die < dies}
    fresh = {die - dies: _counted_from(edges, one) for die, one in predicted.items() if die >= dies}
    return left, fresh


def _counted_from(first: int, prediction: predict.DiePrediction) -> predict.DiePrediction:
    edges = {number - first: replace(edge, edge=number - first) for number, edge in prediction.edges.items()}
    return replace(prediction, edges=edges, limits=prediction.limits - first)


def _position_of(edge: int, part: samples.DieSamples) -> int | None:
    return next((position for position, number in part.current.items() if number == edge), None)


def fitted_positions(log: DieLog, variant: int | None, as_of: float) -> set[int] | None:
    """The positions at work in the set of inserts that runs next: the open order's, else the last run's."""
    variant = _variant_at(log, variant, as_of)
    if variant is None:
        return None
    fitted = {p.id for p in log.positions.values() if not p.variants or variant in p.variants}
    return fitted or None


def _variant_at(log: DieLog, variant: int | None, as_of: float) -> int | None:
    """The set of inserts that runs next: the open order's, else the last run's."""
    if variant is not None:
        return variant
    before = [run for run in log.runs if run.started < as_of]
    return max(before, key=lambda run: run.started).variant if before else None
