"""From the log to forecasts and back to rows. Glue: no mathematics, no pages.

The fleet is fitted by command and the fit is stored; after an entry only that die's part is computed again, on the
newest stored fit. The `forecast` command refits from the records and depends on nothing stored.
"""

from __future__ import annotations

import datetime as dt
import hashlib
from collections.abc import Callable, Iterable, Sequence
from dataclasses import asdict, dataclass, replace

import numpy as np
from django.db import transaction
from django.utils import timezone

from diestore import together
from diestore.handbook import tool_steels
from diestore.models import Die, Plant

from . import burr_limits, edge_log, logs, queries, samples
from .data import OrderLeft
from .life import fleet, predict, prior
from .life.cycles import EdgeSpec, LifeSamples
from .life.seen import Seen
from .models import DieForecast, EdgeForecast, FleetFit
from .on_disk import OnDisk, batches

CODE_VERSION = "6"  # counts up when the same records would give other numbers
SHOWN = (0.01, *(round(0.05 * i, 2) for i in range(1, 20)), 0.99)
DIES_AT_ONCE = 20
TIMES_DRAWN = 2_000  # thetas from which the times of another build are told
NOTHING_CUTS = "No piece with a cutting edge sits in this die, so there is nothing to forecast."

Tell = Callable[[str], None]


@dataclass(frozen=True, kw_only=True)
class Told:
    """A die's forecast before it is stored. edges: position -> prediction. refused: position -> why there is none."""

    die: int
    code: str
    as_of: dt.datetime
    prediction: predict.DiePrediction | None
    limiting: int | None
    edges: dict[int, predict.EdgePrediction]
    states: dict[int, edge_log.PositionState]
    positions: dict[int, edge_log.PositionRow]
    refused: dict[int, str]
    on_edge: dict[int, int]  # position -> hits on the edge, counted from where the records know it
    fresh: predict.DiePrediction | None = None  # once every edge of it has been sharpened
    limit: dict | None = None  # of the burr, that it counts to, or why it does not: see burr_limits.said
    held: frozenset[int] = frozenset()  # positions that count to it
    usual_hours: float | None = None  # of a sharpening

    sets_as_one: int = 0  # written down as dull as a whole, by habit: one edge stands for them

    @property
    def hits_since_sharpening(self) -> int:
        return max(self.on_edge.values(), default=0)

    def without_curves(self) -> Told:
        """As it is stored: the curves take three quarters of the room."""
        edges = {position: replace(edge, curve=None) for position, edge in self.edges.items()}
        bare = {
            name: one and replace(one, curve=None, edges={e: replace(p, curve=None) for e, p in one.edges.items()})
            for name, one in (("prediction", self.prediction), ("fresh", self.fresh))
        }
        return replace(self, edges=edges, **bare)


@dataclass(frozen=True, kw_only=True)
class Computed:
    plant: Plant
    as_of: dt.datetime
    known_at: dt.datetime | None
    fit: fleet.FleetFit
    records_hash: str
    dies: OnDisk[Told]  # without the curves
    seen: Seen


def compute(
    plant: Plant,
    *,
    as_of: dt.datetime | None = None,
    known_at: dt.datetime | None = None,
    tell: Tell | None = None,
) -> Computed:
    """Fit the fleet from the records up to a moment and say what is left of every die. Stores nothing.

    Default moment: the last one in the records. The same records give the same numbers, in any order of loading.
    """
    as_of = as_of or logs.last_moment(plant) or timezone.now()
    dies = list(Die.objects.filter(plant=plant).order_by("code"))
    tell = tell or (lambda words: None)
    tell("reading the log")
    # The logs of a thousand dies would fill the memory: they are read once, into a file, so that both looks at them see
    # the same records.
    read: OnDisk[tuple[edge_log.DieLog, samples.DieSamples]] = OnDisk()
    gathered = samples.Gathered()
    for log in logs.of_dies(dies, known_at=known_at):
        part = samples.of_die(log, as_of.timestamp())
        gathered.add(part)
        read.append((log, part))
    specs, life = gathered.specs, gathered.life
    tell(f"fitting the fleet: {len(specs):,} edges, {len(life):,} cycles")
    fitted = fleet.fit(specs, life, readings=gathered.readings)
    tell("computing what is left")
    variants, limits_um = _variants_to_come(plant), queries.burr_limits_um(dies)
    told: OnDisk[Told] = OnDisk()
    for some in batches(read, DIES_AT_ONCE):
        every = tell_dies([log for log, _ in some], [part for _, part in some], fitted, as_of, variants, limits_um)
        told.extend(one.without_curves() for one in every)
    return Computed(
        plant=plant,
        as_of=as_of,
        known_at=known_at,
        fit=fitted,
        records_hash=hash_of(gathered),
        dies=told,
        seen=Seen.of(specs, life),
    )


def _variants_to_come(plant: Plant | None = None, dies: list[Die] | None = None) -> dict[int, int | None]:
    return {die: order.variant_id for die, order in queries.next_order_by_die(plant, dies=dies).items()}


def tell_dies(
    read: Sequence[edge_log.DieLog],
    parts: Sequence[samples.DieSamples],
    fitted: fleet.FleetFit,
    as_of: dt.datetime,
    variants: dict[int, int | None],
    limits_um: dict[int, dict[int, float]] | None = None,
    *,
    left_only: bool = False,
) -> list[Told]:
    """limits_um: burr limits by die and variant; without, every forecast is of going dull.

    left_only: what is left, and nothing of how the die would stand once sharpened.
    """
    gathered = samples.Gathered(parts)
    specs, first = gathered.specs, gathered.first
    told_by_die, fresh_by_die = _left_and_fresh(fitted, gathered, left_only=left_only)
    told = []
    for log, part, start in zip(read, parts, first, strict=True):
        number = specs[start].die if part.specs else -1
        prediction, fresh = told_by_die.get(number), fresh_by_die.get(number)
        edges = {p: prediction.edges[start + e] for p, e in part.current.items()} if prediction else {}
        limiting = _position_of(prediction.limits - start, part) if prediction else None
        working = fitted_positions(log, variants.get(log.die), as_of.timestamp())
        if prediction and working is not None and not working >= set(edges):
            # Inserts that lie on the shelf do not end the die's run: the die is told from those that work.
            some = replace(part, rows=[r for r in part.rows if not r[1].open or r[1].position in working])
            left, sharpened = _left_and_fresh(fitted, samples.Gathered([some]), left_only=left_only)
            prediction, fresh = left.get(0), sharpened.get(0)
            limiting = _position_of(prediction.limits, part) if prediction else None
        counted = burr_limits.Counted()
        known = (limits_um or {}).get(log.die, {})
        limit_um = burr_limits.of_variant(known, _variant_at(log, variants.get(log.die), as_of.timestamp()))
        if prediction and limit_um is not None:
            counted = burr_limits.count(fitted, part, limit_um, working, limiting)
            if counted.told is not None:
                prediction, fresh, edges = counted.told, counted.fresh, counted.edges
                limiting = _position_of(prediction.limits, part)
        told.append(
            Told(
                die=log.die,
                code=log.code,
                as_of=as_of,
                prediction=prediction,
                limiting=limiting,
                edges=edges,
                states={} if left_only else edge_log.states(log, as_of.timestamp()),
                positions=log.positions,
                refused=part.refused,
                on_edge={c.position: c.hits for _, c in part.rows if c.open and c.position in edges},
                fresh=fresh,
                limit=counted.said,
                held=counted.held,
                usual_hours=edge_log.usual_hours(log),
                sets_as_one=int(gathered.sets_as_one[number]) if part.specs else 0,
            )
        )
    return told


def _left_and_fresh(
    fitted: fleet.FleetFit, gathered: samples.Gathered, *, left_only: bool
) -> tuple[dict[int, predict.DiePrediction], dict[int, predict.DiePrediction]]:
    """What is left of each die, and how it would stand sharpened now: predicted at once, as dies beside the dies.

    One die takes little longer twice than once.
    """
    specs, life, readings = gathered.specs, gathered.life, gathered.readings
    if left_only or not specs:
        return predict.predict_fleet(fitted, specs, life, readings=readings), {}
    dies, edges = max(spec.die for spec in specs) + 1, len(specs)
    beside = [replace(spec, die=spec.die + dies) for spec in specs]
    sharpened = samples.sharpened_now(life)
    both = LifeSamples.together([life, replace(sharpened, edge=sharpened.edge + edges)])
    told = predict.predict_fleet(fitted, [*specs, *beside], both, readings=readings)
    left = {die: one for die, one in told.items() if die < dies}
    fresh = {die - dies: _counted_from(edges, one) for die, one in told.items() if die >= dies}
    return left, fresh


def _counted_from(first: int, told: predict.DiePrediction) -> predict.DiePrediction:
    edges = {number - first: replace(edge, edge=number - first) for number, edge in told.edges.items()}
    return replace(told, edges=edges, limits=told.limits - first)


def _position_of(edge: int, part: samples.DieSamples) -> int | None:
    return next((position for position, number in part.current.items() if number == edge), None)


def fitted_positions(log: edge_log.DieLog, variant: int | None, as_of: float) -> set[int] | None:
    """The positions at work in the set of inserts that runs next: the open order's, else the last run's."""
    variant = _variant_at(log, variant, as_of)
    if variant is None:
        return None
    fitted = {p.id for p in log.positions.values() if not p.variants or variant in p.variants}
    return fitted or None


def _variant_at(log: edge_log.DieLog, variant: int | None, as_of: float) -> int | None:
    """The set of inserts that runs next: the open order's, else the last run's."""
    if variant is not None:
        return variant
    before = [run for run in log.runs if run.started < as_of]
    return max(before, key=lambda run: run.started).variant if before else None


def hash_of(gathered: samples.Gathered) -> str:
    digest = hashlib.sha256()
    for spec in gathered.specs:
        digest.update(repr(sorted(asdict(spec).items())).encode())
    ordered, readings = gathered.life.in_canonical_order(), gathered.readings
    for column in ("edge", "from_hits", "lower_hits", "hits", "ended", "under_way", "unknown_age", "lot", "sure"):
        digest.update(np.ascontiguousarray(getattr(ordered, column)).tobytes())
    if readings is not None:
        for column in (readings.row, readings.hits, readings.value, readings.quantity):
            digest.update(np.ascontiguousarray(column).tobytes())
    return digest.hexdigest()


def as_json(computed: Computed) -> dict:
    """The forecast as the command prints it: further strokes of the die at the probabilities shown."""
    dies, components = [], []
    for told in computed.dies:
        if told.prediction is None:
            continue
        dies.append(
            {
                "die": told.code,
                "hits_since_sharpening": told.hits_since_sharpening,
                "remaining_hits": _shown(told.prediction.remaining),
            }
        )
        components += [
            {
                "die": told.code,
                "position": told.positions[p].code,
                "hits_since_sharpening": told.on_edge[p],
                "remaining_hits": _shown(told.edges[p].remaining),
            }
            for p in sorted(told.edges, key=lambda p: told.positions[p].code)
        ]
    return {"as_of": computed.as_of.isoformat(), "dies": dies, "components": components}


def _shown(remaining: dict[float, float]) -> dict[str, int]:
    return {f"{p:.2f}": round(remaining[p]) for p in SHOWN}


def store(computed: Computed) -> FleetFit:
    """Keep the fit and what it says of every die. A new fit is a new row; nothing stored before is changed."""
    with transaction.atomic():
        _hold(Die.objects.filter(plant=computed.plant))
        row = FleetFit.objects.create(
            plant=computed.plant,
            as_of=computed.as_of,
            known_at=computed.known_at or timezone.now(),
            records_hash=computed.records_hash,
            code_version=CODE_VERSION,
            parameters=computed.fit.to_dict() | {"seen": computed.seen.to_dict()},
            cycles=computed.fit.cycles,
            dull_ends=computed.fit.dull_ends,
        )
        _store_dies(computed.dies, row)
    return row


def fit_and_forecast(
    plant: Plant, *, as_of: dt.datetime | None = None, known_at: dt.datetime | None = None, tell: Tell | None = None
) -> FleetFit:
    """Fit the fleet, forecast every die, store both."""
    return store(compute(plant, as_of=as_of, known_at=known_at, tell=tell))


def newest_fit(plant: Plant) -> FleetFit | None:
    return FleetFit.objects.filter(plant=plant, code_version=CODE_VERSION).first()


def fleet_of(plant: Plant) -> fleet.FleetFit:
    """The newest stored fit of the plant, the handbook's where there is none."""
    row = newest_fit(plant)
    return fleet.FleetFit.from_dict(row.parameters) if row else fleet.fit([], LifeSamples.of([], [], []))


def seen_by(row: FleetFit | None) -> Seen:
    """What sorts of edges a stored fit was made from."""
    kept = row.parameters.get("seen") if row else None
    return Seen.from_dict(kept) if kept else Seen.nothing()


@dataclass(frozen=True, kw_only=True)
class EdgeNow:
    """An edge as it is built now. usual_hits: its forecast of a fresh edge, in strokes of the die."""

    position: int
    code: str
    spec: EdgeSpec
    usual_hits: float
    tool_steel: str
    coating: str
    hardness_hrc: float | None


def edges_now(die: Die, *, orders: Iterable[OrderLeft] | None = None) -> list[EdgeNow]:
    """The edges that work in a die, as built now, with the stored forecast of each.

    orders: the open orders of the die, the earliest due first, where they are read.
    """
    read = together.read(
        told=DieForecast.objects.filter(die=die, is_newest=True),
        usual=EdgeForecast.objects.filter(forecast__die=die, forecast__is_newest=True, usual_hits__gt=0).values_list(
            "position_id", "usual_hits"
        ),
    )
    told, usual = next(iter(read["told"]), None), dict(read["usual"])
    if told is None or not told.fresh:
        return []
    log = logs.of_die(die)
    part = samples.of_die(log, told.as_of.timestamp())
    orders = queries.open_orders(dies=[die]) if orders is None else orders
    variant = next((order.variant_id for order in orders), None)
    working = fitted_positions(log, variant, told.as_of.timestamp())
    found = []
    for number, cycle in part.rows:
        place = log.positions[cycle.position]
        if not cycle.open or place.id not in usual or (working is not None and place.id not in working):
            continue
        found.append(
            EdgeNow(
                position=place.id,
                code=place.code,
                spec=part.specs[number],
                usual_hits=usual[place.id] / place.stroke_share,
                tool_steel=cycle.build.tool_steel,
                coating=cycle.build.coating,
                hardness_hrc=cycle.build.hardness_hrc,
            )
        )
    return sorted(found, key=lambda edge: edge.code)


def times_with(plant: Plant, edges: Sequence[EdgeNow], changed: Sequence[EdgeSpec], *, draws: int = 24) -> np.ndarray:
    """How many times as long a die goes between sharpenings with its edges built otherwise: equally likely values,
    rising.

    [sum over edges of (usual hits x times)^-k / sum of usual hits^-k]^(-1/k): the first of Weibull lives of one shape.
    times of an edge: what the wear model says of the change after this shop's record; the edge's own part is kept.
    """
    if len(edges) != len(changed) or not edges:
        raise ValueError(f"{len(edges)} edges and {len(changed)} ways to build them; as many as there are edges")
    fit = fleet_of(plant)
    usual = np.log([edge.usual_hits for edge in edges])
    steps = prior.design(list(changed)) - prior.design([edge.spec for edge in edges])
    b, k = fit.many(TIMES_DRAWN)
    before = -k[:, None] * (usual - usual.min())
    after = before - k[:, None] * (b @ steps.T)
    times = np.exp((np.logaddexp.reduce(before, axis=1) - np.logaddexp.reduce(after, axis=1)) / k)
    return np.quantile(times, (np.arange(draws) + 0.5) / draws)


def built_otherwise(
    spec: EdgeSpec,
    *,
    tool_steel: str = "",
    coating: str = "",
    hardness_hrc: float | None = None,
    gap_pct: float | None = None,
) -> EdgeSpec:
    """The same edge with another steel (then of its usual hardness), coating, hardness or gap; empty: as it is.

    Raises SampleRefused for a gap that cannot be.
    """
    made = spec
    if tool_steel and (named := tool_steels.grade(tool_steel)) is not None:
        made = replace(made, steel=named.group, hardness_above_usual_hrc=None)
        if hardness_hrc is not None and named.usual_hrc is not None:
            made = replace(made, hardness_above_usual_hrc=hardness_hrc - named.usual_hrc)
    elif hardness_hrc is not None and (named := tool_steels.grade(spec.steel)) is not None and named.usual_hrc:
        made = replace(made, hardness_above_usual_hrc=hardness_hrc - named.usual_hrc)
    if coating:
        made = replace(made, coating=tool_steels.coating(coating))
    return made if gap_pct is None else replace(made, gap_pct=gap_pct)


def refresh_die(die: Die) -> DieForecast:
    """Compute one die again after an entry, on the newest stored fit (on the handbook alone where there is none)."""
    return refresh_dies([die])[0]


def refresh_dies(dies: Iterable[Die]) -> list[DieForecast]:
    dies = list(dies)
    if not dies:
        return []
    plant = dies[0].plant
    with transaction.atomic():
        _hold(dies)
        row = newest_fit(plant)
        fitted = fleet_of(plant)
        read = list(logs.of_dies(dies))
        as_of = _moment_of(read, row)
        parts = [samples.of_die(log, as_of.timestamp()) for log in read]
        told = tell_dies(read, parts, fitted, as_of, _variants_to_come(dies=dies), queries.burr_limits_um(dies))
        return _store_dies(told, row)


def _moment_of(read: Sequence[edge_log.DieLog], fit_row: FleetFit | None) -> dt.datetime:
    """The last thing that happened to these dies, or the moment of the fit where that is later."""
    lasts = [logs.moment(log.last_moment) for log in read if log.last_moment is not None]
    return max(lasts + ([fit_row.as_of] if fit_row is not None else []), default=timezone.now())


def _hold(dies: Iterable[Die]) -> None:
    """One forecast of a die at a time, read after the die is held: so the last one stored has seen the last entry.

    Entries on these dies go on meanwhile. On SQLite the transaction itself holds everybody else who writes.
    """
    held = Die.objects.select_for_update(no_key=True).filter(pk__in=[die.pk for die in dies])
    list(held.order_by("pk").values_list("pk", flat=True))


def _store_dies(dies: Iterable[Told], fit_row: FleetFit | None) -> list[DieForecast]:
    rows = []
    for some in batches(dies, DIES_AT_ONCE):
        old = DieForecast.objects.filter(die__in=[told.die for told in some], is_newest=True)
        # What was said between two fits is superseded by what is said now; the last word on each fit is kept.
        if fit_row is not None:
            old.filter(fit=fit_row).delete()
        else:
            old.filter(fit__isnull=True).delete()
        old.update(is_newest=False)
        made = DieForecast.objects.bulk_create([_die_row(told, fit_row) for told in some])
        edges = [edge for row, told in zip(made, some, strict=True) for edge in _edge_rows(row, told)]
        EdgeForecast.objects.bulk_create(edges, batch_size=500)
        rows += made
    return rows


def _die_row(told: Told, fit_row: FleetFit | None) -> DieForecast:
    row = DieForecast(fit=fit_row, die_id=told.die, as_of=told.as_of, usual_hours=told.usual_hours)
    if told.prediction is None:
        row.refusal = next(iter(told.refused.values()), NOTHING_CUTS)[:300]
        return row
    row.hits_since_sharpening = told.hits_since_sharpening
    row.limiting_id = told.limiting
    _fill(row, told.prediction, told.limit)
    if told.sets_as_one:
        row.rests_on["sets_as_one"] = told.sets_as_one
    if told.fresh is not None:
        row.fresh = {"remaining": _kept(told.fresh.remaining), "ln_sd": round(_not_known(told.fresh), 3)}
    return row


def _edge_rows(row: DieForecast, told: Told) -> list[EdgeForecast]:
    rows = []
    for position, edge in told.edges.items():
        made = EdgeForecast(
            forecast=row,
            position_id=position,
            hits_since_sharpening=told.on_edge[position],
            usual_hits=round(edge.usual_hits),
            share_left=edge.share_left,
            first_to_go=edge.first_to_go,
        )
        _fill(made, edge, told.limit if position in told.held else None)
        rows.append(made)
    rows += [
        EdgeForecast(forecast=row, position_id=position, refusal=why[:300])
        for position, why in told.refused.items()
        if position not in told.edges
    ]
    return rows


def _not_known(told: predict.DiePrediction) -> float:
    """How unsure the usual hits of a die's edges are, sd of the logarithm: each edge as likely as it is to go first.

    The same for all intervals to come, unlike what chance and chips do to each.
    """
    ln_sd = [np.log(e.usual_band_hits[1] / e.usual_band_hits[0]) / 2 / 1.2816 for e in told.edges.values()]
    return float(np.average(ln_sd, weights=[max(e.first_to_go, 1e-9) for e in told.edges.values()]))


def _kept(remaining: dict[float, float]) -> dict[str, int]:
    return {f"{p:g}": round(strokes) for p, strokes in remaining.items()}


def _fill(
    row: DieForecast | EdgeForecast, told: predict.DiePrediction | predict.EdgePrediction, limit: dict | None
) -> None:
    row.remaining = _kept(told.remaining)
    row.half_hits, row.nine_in_ten_hits = round(told.remaining[0.5]), round(told.remaining[0.1])
    row.rests_on = told.rests_on.to_dict() | ({"burr_limit": limit} if limit else {})
