"""Reads for the cost of dies: what each has made, and what was spent on it, by its own log."""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass, field
from decimal import Decimal

from django.db.models import Count, Max, Min, Q, QuerySet, Sum

from diestore.register.models import Die, Output, Plant, Rate
from maintenance.clockwork.works import OPERATIONS
from maintenance.models import CostLine, OpenCount, Replacement, Run, Stop, Work

ON_THE_EDGE = [key for key, operation in OPERATIONS.items() if operation.on_the_edge]


DatedRates = dict[str, list[tuple[dt.date, Decimal]]]


@dataclass(frozen=True, kw_only=True)
class GrindDay:
    """All works on a die at one moment. hours None: nobody wrote them down. outside: done by a supplier."""

    at: dt.datetime
    sharpening: bool
    pieces: int
    hours: float | None
    outside: bool


@dataclass(frozen=True, kw_only=True)
class SpareFitted:
    at: dt.datetime
    item: str
    unit_price: Decimal | None


@dataclass(frozen=True, kw_only=True)
class StopOfDie:
    at: dt.datetime
    minutes: float
    parts_scrapped: int


@dataclass(frozen=True, kw_only=True)
class BillOfDie:
    at: dt.datetime
    kind: str
    amount: Decimal


@dataclass(kw_only=True)
class Spent:
    """The log of one die, as its cost needs it. parts: good parts, all outputs; setting_minutes: planned stops."""

    die: int
    hits: int = 0
    parts: int = 0
    first: dt.datetime | None = None
    last: dt.datetime | None = None
    grinds: list[GrindDay] = field(default_factory=list)
    spares: list[SpareFitted] = field(default_factory=list)
    stops: list[StopOfDie] = field(default_factory=list)
    bills: list[BillOfDie] = field(default_factory=list)
    setting_minutes: float = 0.0


def spent_on(dies: Iterable[int]) -> dict[int, Spent]:
    """What each of these dies has made and cost: a question a sort of entry, for any number of dies."""
    return spent_and_rates(dies, None)[0]


def spent_and_rates(dies: Iterable[int], plant: Plant | None) -> tuple[dict[int, Spent], DatedRates]:
    """The same, and what an hour costs there, by kind, from which day on."""
    ids = list(dies)
    spent_of = {die: Spent(die=die) for die in ids}
    rates: DatedRates = defaultdict(list)
    if plant is not None:
        for kind, day, amount in Rate.objects.filter(plant=plant).values_list("kind", "valid_from", "amount"):
            rates[kind].append((day, amount))
    outputs = Output.objects.filter(variant__die__in=ids).values_list("variant_id", "part_id", "parts_per_hit")
    counting = [(*row[:4], None, None, *row[4:]) for row in _counting(ids)]  # nobody has counted good parts of it yet
    _add_parts(spent_of, outputs, [*_runs(ids), *counting])
    for die, at, operation, supplier, pieces, written, hours in _works(ids):
        spent_of[die].grinds.append(
            GrindDay(
                at=at,
                sharpening=operation in ON_THE_EDGE and operation != "welded and recut",
                pieces=pieces,
                hours=round(hours, 4) if written else None,
                outside=supplier is not None,
            )
        )
    for die, at, fitted, usual, fitted_price, usual_price in _spares(ids):
        name, price = (fitted, fitted_price) if fitted else (usual or "a piece without a name", usual_price)
        spent_of[die].spares.append(SpareFitted(at=at, item=name, unit_price=price))
    for die, at, minutes, scrapped, planned, cause in _stops(ids):
        if planned or cause == Stop.Cause.SETTING:
            spent_of[die].setting_minutes += minutes
        else:
            spent_of[die].stops.append(StopOfDie(at=at, minutes=minutes, parts_scrapped=scrapped))
    for die, by_work, by_stop, at, kind, amount in _bills(ids):
        spent_of[die or by_work or by_stop].bills.append(BillOfDie(at=at, kind=kind, amount=amount))
    return spent_of, rates


def parts_per_hit(dies: Iterable[int]) -> dict[int, int]:
    """Parts that fall at one hit with the usual set of inserts of each die, all outputs together."""
    return dict(
        Output.objects.filter(variant__die__in=list(dies), variant__is_default=True)
        .values("variant__die_id")
        .annotate(n=Sum("parts_per_hit"))
        .values_list("variant__die_id", "n")
    )


def _add_parts(spent_of: dict[int, Spent], outputs: Iterable[tuple], runs: Iterable[tuple]) -> None:
    per_hit: dict[int, dict[int, int]] = defaultdict(dict)
    for variant, part, n in outputs:
        per_hit[variant][part] = n
    for die, variant, part, all_hits, counted_hits, good, first, last in runs:
        spent = spent_of[die]
        made = per_hit.get(variant, {})
        every = sum(made.values()) or 1
        one = made.get(part, every)
        hits, good = counted_hits or 0, good or 0
        # Where left and right fall at one hit, some count one side and some both.
        if good <= hits * one:
            good = good * every // one
        spent.hits += all_hits
        spent.parts += good + (all_hits - hits) * every
        spent.first = min(filter(None, (spent.first, first)))
        spent.last = max(filter(None, (spent.last, last)))


def _runs(ids: list[int]) -> QuerySet:
    return (
        Run.objects.standing()
        .filter(die__in=ids)
        .order_by()
        .values("die_id", "variant_id", "order__part_id")
        .annotate(
            all_hits=Sum("hits"),
            counted_hits=Sum("hits", filter=Q(good_parts__isnull=False)),
            good=Sum("good_parts"),
            first=Min("started"),
            last=Max("at"),
        )
        .values_list("die_id", "variant_id", "order__part_id", "all_hits", "counted_hits", "good", "first", "last")
    )


def _counting(ids: list[int]) -> QuerySet:
    """What counters count just now."""
    rows = OpenCount.objects.as_hits().filter(die__in=ids)
    return rows.values_list("die_id", "variant_id", "order__part_id", "hits", "started", "at")


def _works(ids: list[int]) -> QuerySet:
    """All works on a die at one moment together."""
    return (
        Work.objects.standing()
        .filter(position__die__in=ids)
        .order_by("at")
        .values("position__die_id", "at", "operation", "supplier_id")
        .annotate(pieces=Count("pk"), written=Count("hours"), sum_hours=Sum("hours"))
        .values_list("position__die_id", "at", "operation", "supplier_id", "pieces", "written", "sum_hours")
    )


def _spares(ids: list[int]) -> QuerySet:
    return (
        Replacement.objects.standing()
        .filter(position__die__in=ids, since_start=False, piece_in__isnull=False)
        .exclude(why=Replacement.Why.FIRST)
        .order_by("at")
        .values_list(
            "position__die_id",
            "at",
            "piece_in__item__code",
            "position__item__code",
            "piece_in__item__unit_price",
            "position__item__unit_price",
        )
    )


def _stops(ids: list[int]) -> QuerySet:
    stops = Stop.objects.standing().filter(die__in=ids).order_by("at")
    return stops.values_list("die_id", "at", "minutes", "parts_scrapped", "planned", "cause")


def _bills(ids: list[int]) -> QuerySet:
    lines = CostLine.objects.standing().filter(
        Q(die__in=ids) | Q(die__isnull=True, work__position__die__in=ids) | Q(die__isnull=True, stop__die__in=ids)
    )
    return lines.order_by("at").values_list("die_id", "work__position__die_id", "stop__die_id", "at", "kind", "amount")


def with_plant():
    """The dies of every plant, each with the plant by whose rates its cost is told."""
    return Die.objects.select_related("owner", "plant")


def dies_of(plant: Plant):
    """The dies that a cost is told of."""
    return Die.objects.filter(plant=plant).select_related("owner").order_by("code")
