"""Forecasts as rows: the fleet's with its fit, and one die's again after an entry."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import cache, partial

import numpy as np
from django.db import transaction
from django.db.models import Count, Max
from django.utils import timezone

from diestore.register.models import Die, Plant
from diestore.service.failing import attempt
from maintenance.clockwork.rows import DieLog
from maintenance.life import fleet, predict
from maintenance.life.cycles import LifeSamples
from maintenance.life.seen import Seen
from maintenance.log import changes, queries
from maintenance.log import read as log_read
from maintenance.log.damage import Damage, open_damage
from maintenance.models import Change, DieForecast, EdgeForecast, FleetFit

from . import decisions, samples
from .fit import CODE_VERSION, Computed, compute
from .fleet_log import DIES_AT_ONCE, Tell, read_fleet
from .predict import NOTHING_CUTS, DieOutlook, tell_each
from .spool import batches


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
    return _fleet(newest_fit(plant))


def _fleet(row: FleetFit | None) -> fleet.FleetFit:
    return fleet.FleetFit.from_dict(row.parameters) if row else _handbooks()


@cache
def _handbooks() -> fleet.FleetFit:
    """The fit of no records at all: the same every time."""
    return fleet.fit([], LifeSamples.of([], [], []))


def seen_by(row: FleetFit | None) -> Seen:
    """What sorts of edges a stored fit was made from."""
    kept = row.parameters.get("seen") if row else None
    return Seen.from_dict(kept) if kept else Seen.nothing()


def refresh_die(die: Die) -> DieForecast:
    """Compute one die again after an entry, on the newest stored fit (on the handbook alone where there is none)."""
    return refresh_dies([die])[0]


def refresh_dies(dies: Iterable[Die]) -> list[DieForecast]:
    dies = list(dies)
    return keep(outlook(dies)) if dies else []


@dataclass(frozen=True, kw_only=True)
class Outlook:
    """What is left of some dies of one plant, worked out and not stored yet."""

    dies: Sequence[Die]
    fit_row: FleetFit | None
    outlooks: Sequence[DieOutlook]
    rests_on: tuple


def outlook(dies: Sequence[Die]) -> Outlook:
    """Work out some dies of one plant, holding nobody up: entries go on meanwhile."""
    rests_on = _rests_on(dies)
    row = newest_fit(dies[0].plant)
    fitted = _fleet(row)
    logs = list(log_read.of_dies(dies))
    as_of = _moment_of(logs, row)
    of_die = partial(samples.of_die, as_of=as_of.timestamp(), built_at=timezone.now().timestamp())
    parts = [attempt(partial(of_die, log), partial(samples.nothing_of, log.die), what=log.code) for log in logs]
    orders = queries.next_order_by_die(dies=dies)
    outlooks = tell_each(logs, parts, fitted, as_of, orders, queries.burr_limits_um(dies))
    return Outlook(dies=dies, fit_row=row, outlooks=list(outlooks), rests_on=rests_on)


def keep(made: Outlook) -> list[DieForecast]:
    """Store what was worked out; where a die or the fit is otherwise since, it is worked out again first."""
    with transaction.atomic():
        _hold(made.dies)
        if _rests_on(made.dies) != made.rests_on:
            made = outlook(made.dies)
        return _store_dies(made.outlooks, made.fit_row)


def _rests_on(dies: Sequence[Die]) -> tuple:
    """The last change of each die, and the newest fit: where these are as before, so is what is read of the dies.

    Numbers are given before a transaction commits, so the last change alone would miss one that commits late: the
    number of changes tells of it.
    """
    changes_of = Change.objects.filter(die__in=[die.pk for die in dies]).order_by("die").values("die")
    counted = changes_of.annotate(last=Max("pk"), number=Count("pk")).values_list("die", "last", "number")
    newest = FleetFit.objects.filter(plant=dies[0].plant).aggregate(newest=Max("pk"))["newest"]
    return tuple(counted), newest


def _moment_of(read: Sequence[DieLog], fit_row: FleetFit | None) -> dt.datetime:
    """The last thing that happened to these dies, or the moment of the fit where that is later."""
    lasts = [log_read.moment(log.last_moment) for log in read if log.last_moment is not None]
    return max(lasts + ([fit_row.as_of] if fit_row is not None else []), default=timezone.now())


def _hold(dies: Iterable[Die]) -> None:
    """One forecast of a die at a time, read after the die is held: so the last one stored has seen the last entry.

    Entries on these dies go on meanwhile. On SQLite the transaction itself holds everybody else who writes.
    """
    held = Die.objects.select_for_update(no_key=True).filter(pk__in=[die.pk for die in dies])
    list(held.order_by("pk").values_list("pk", flat=True))


def _store_dies(dies: Iterable[DieOutlook], fit_row: FleetFit | None) -> list[DieForecast]:
    rows = []
    for some in batches(dies, DIES_AT_ONCE):
        old = DieForecast.objects.filter(die__in=[outlook.die for outlook in some], is_newest=True)
        # What was said between two fits is superseded by what is said now; the last word on each fit is kept.
        if fit_row is not None:
            old.filter(fit=fit_row).delete()
        else:
            old.filter(fit__isnull=True).delete()
        old.update(is_newest=False)
        wrong = open_damage(outlook.die for outlook in some)
        told = [_as_rows(outlook, fit_row, wrong.get(outlook.die, ())) for outlook in some]
        _advise(told)
        made = DieForecast.objects.bulk_create([row for row, _ in told])
        edges = [edge for _, edges in told for edge in edges]
        EdgeForecast.objects.bulk_create(edges, batch_size=500)
        changes.tell_of(Change.What.FORECAST, [outlook.die for outlook in some])
        rows += made
    return rows


def _advise(told: Sequence[tuple[DieForecast, list[EdgeForecast]]]) -> None:
    """What sharpening is worth is worked out with each forecast: a list of a thousand dies only reads it."""
    dies = list(Die.objects.filter(pk__in=[row.die_id for row, _ in told]))
    plants = {die.pk: die.plant_id for die in dies}
    basis = decisions.bases(decisions.DieToPrice(r.die_id, plants[r.die_id], r.usual_hours) for r, _ in told)
    jobs = queries.next_order_by_die(dies=dies)
    for row, edges in told:
        job = jobs.get(row.die_id)
        advice = partial(decisions.kept_advice, row, edges, basis[row.die_id], job.hits_left if job else None)
        row.advice = attempt(advice, lambda why: {}, what=f"the advice on die {row.die_id}")


def _as_rows(
    outlook: DieOutlook, fit_row: FleetFit | None, wrong: Iterable[Damage]
) -> tuple[DieForecast, list[EdgeForecast]]:
    """The row of a die and those of its edges; of one whose figures make no row, one that says so."""

    def told() -> tuple[DieForecast, list[EdgeForecast]]:
        row = _die_row(outlook, fit_row, wrong)
        return row, _edge_rows(row, outlook)

    def untold(why: str) -> tuple[DieForecast, list[EdgeForecast]]:
        row = DieForecast(fit=fit_row, die_id=outlook.die, as_of=outlook.as_of, refusal=why[:300])
        row.damage = [one.kept() for one in wrong]
        return row, []

    return attempt(told, untold, what=f"the rows of die {outlook.code}")


def _die_row(outlook: DieOutlook, fit_row: FleetFit | None, wrong: Iterable[Damage]) -> DieForecast:
    row = DieForecast(fit=fit_row, die_id=outlook.die, as_of=outlook.as_of, usual_hours=outlook.usual_hours)
    row.damage = [one.kept() for one in wrong]
    if outlook.prediction is None:
        row.refusal = (outlook.failed or next(iter(outlook.refused.values()), NOTHING_CUTS))[:300]
        return row
    row.hits_since_sharpening = outlook.hits_since_sharpening
    row.limiting_id = outlook.limiting
    _fill(row, outlook.prediction, outlook.limit)
    if outlook.sets_as_one:
        row.rests_on["sets_as_one"] = outlook.sets_as_one
    if outlook.touched:
        row.rests_on["touched"] = outlook.touched
    if outlook.unrun:
        row.rests_on["unrun"] = True
    if outlook.lot is not None:
        row.rests_on["lot"] = outlook.lot
    if outlook.fresh is not None:
        row.fresh = {"remaining": _kept(outlook.fresh.remaining), "ln_sd": round(_not_known(outlook.fresh), 3)}
    return row


def _edge_rows(row: DieForecast, outlook: DieOutlook) -> list[EdgeForecast]:
    rows = []
    for position, edge in outlook.edges.items():
        made = EdgeForecast(
            forecast=row,
            position_id=position,
            hits_since_sharpening=outlook.on_edge[position],
            usual_hits=round(edge.usual_hits),
            share_left=edge.share_left,
            first_to_go=edge.first_to_go,
            fresh=_kept(outlook.fresh_edges[position].remaining) if position in outlook.fresh_edges else {},
            chips_per_million=outlook.chips.get(position),
            thickness_mm=outlook.thickness_mm.get(position),
        )
        _fill(made, edge, outlook.limit if position in outlook.held else None)
        rows.append(made)
    rows += [
        EdgeForecast(forecast=row, position_id=position, refusal=why[:300])
        for position, why in outlook.refused.items()
        if position not in outlook.edges
    ]
    return rows


def of_the_past(plant: Plant, moment: dt.datetime, fitted: fleet.FleetFit) -> dict[int, DieForecast]:
    """Die -> what would have been said of it at a moment, from what was recorded by then. Rows that nobody saves.

    fitted: the fleet as it was fitted then.
    """
    known = read_fleet(list(Die.objects.filter(plant=plant).order_by("code")), moment, known_at=moment)
    orders = queries.next_order_by_die(plant, as_of=moment)
    told: dict[int, DieForecast] = {}
    for logs, parts in known.in_batches():
        told |= {one.die: _die_row(one, None, ()) for one in tell_each(logs, parts, fitted, moment, orders)}
    return told


def _not_known(prediction: predict.DiePrediction) -> float:
    """How unsure the usual hits of a die's edges are, sd of the logarithm: each edge as likely as it is to go first.

    The same for all intervals to come, unlike what chance and chips do to each.
    """
    ln_sd = [np.log(e.usual_band_hits[1] / e.usual_band_hits[0]) / 2 / 1.2816 for e in prediction.edges.values()]
    return float(np.average(ln_sd, weights=[max(e.first_to_go, 1e-9) for e in prediction.edges.values()]))


def _kept(remaining: dict[float, float]) -> dict[str, int]:
    return {f"{p:g}": round(strokes) for p, strokes in remaining.items()}


def _fill(
    row: DieForecast | EdgeForecast, prediction: predict.DiePrediction | predict.EdgePrediction, limit: dict | None
) -> None:
    row.remaining = _kept(prediction.remaining)
    row.half_hits, row.nine_in_ten_hits = round(prediction.remaining[0.5]), round(prediction.remaining[0.1])
    row.rests_on = prediction.rests_on.to_dict() | ({"burr_limit": limit} if limit else {})
