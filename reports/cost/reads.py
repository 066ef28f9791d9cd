"""Reads for the cost of dies: what each has made, and what was spent on it, by its own log."""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass, field
from decimal import Decimal
from operator import itemgetter

from django.db.models import BigIntegerField, BooleanField, Case, Count, Max, Min, Q, QuerySet, Sum, Value, When

from diestore.register.models import Die, Output, Plant, Rate
from maintenance.clockwork.works import OPERATIONS
from maintenance.models import CostLine, OpenCount, Order, Replacement, Run, Stop, Work

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
    """The log of one die, as its cost needs it. parts: good parts, all outputs; setting_minutes: planned stops,
    set_ups of them."""

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
    set_ups: int = 0


def spent_on(dies: Iterable[int]) -> dict[int, Spent]:
    """What each of these dies has made and cost: a question a sort of entry, for any number of dies."""
    return spent_and_rates(dies, None)[0]


def spent_and_rates(
    dies: Iterable[int], plant: Plant | None, *, outputs: Iterable[Output] | None = None
) -> tuple[dict[int, Spent], DatedRates]:
    """The same, and what an hour costs there, by kind, from which day on. outputs: of the dies, where they are read."""
    ids = list(dies)
    spent_of = {die: Spent(die=die) for die in ids}
    rates: DatedRates = defaultdict(list)
    if plant is not None:
        for kind, day, amount in Rate.objects.filter(plant=plant).values_list("kind", "valid_from", "amount"):
            rates[kind].append((day, amount))
    if outputs is None:
        falls = list(Output.objects.filter(variant__die__in=ids).values_list("variant_id", "part_id", "parts_per_hit"))
    else:
        falls = [(output.variant_id, output.part_id, output.parts_per_hit) for output in outputs]
    _add_parts(spent_of, falls, _runs(ids))
    for is_work, die, at, word, apart, number, written, amount in _works_and_stops(ids):
        if not is_work and (apart or word == Stop.Cause.SETTING):
            spent_of[die].setting_minutes += amount
            spent_of[die].set_ups += 1
            continue
        if not is_work:
            spent_of[die].stops.append(StopOfDie(at=at, minutes=amount, parts_scrapped=number))
            continue
        spent_of[die].grinds.append(
            GrindDay(
                at=at,
                sharpening=word in ON_THE_EDGE and word != "welded and recut",
                pieces=number,
                hours=round(amount, 4) if written else None,
                outside=bool(apart),
            )
        )
    for die, at, fitted, usual, fitted_price, usual_price in _spares(ids):
        name, price = (fitted, fitted_price) if fitted else (usual or "a piece without a name", usual_price)
        spent_of[die].spares.append(SpareFitted(at=at, item=name, unit_price=price))
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
    """What was run, and what counters count just now: nobody has counted good parts of that yet."""
    of = ("die_id", "variant_id", "order__part_id")
    uncounted = Value(None, BigIntegerField())
    runs = (
        Run.objects.standing()
        .filter(die__in=ids)
        .order_by()
        .values(*of)
        .annotate(
            all_hits=Sum("hits"),
            counted_hits=Sum("hits", filter=Q(good_parts__isnull=False)),
            good=Sum("good_parts"),
            first=Min("started"),
            last=Max("at"),
        )
        .values_list(*of, "all_hits", "counted_hits", "good", "first", "last")
    )
    counting = OpenCount.objects.as_hits().filter(die__in=ids).order_by()
    return runs.union(counting.values_list(*of, "hits", uncounted, uncounted, "started", "at"), all=True)


def _works_and_stops(ids: list[int]) -> list[tuple]:
    """All works on a die at one moment together, and its stops, in their order.

    Of works: the operation, whether a supplier did it, pieces, how many with hours, those hours. Of a stop: its cause,
    whether it was planned, parts scrapped, nothing, its minutes.
    """
    works = (
        Work.objects.standing()
        .filter(position__die__in=ids)
        .order_by()
        .values("position__die_id", "at", "operation", "supplier_id")
        .annotate(
            is_work=Value(True, BooleanField()),
            outside=Case(When(supplier__isnull=False, then=True), default=False, output_field=BooleanField()),
            pieces=Count("pk"),
            written=Count("hours"),
            sum_hours=Sum("hours"),
        )
        .values_list(
            "is_work", "position__die_id", "at", "operation", "outside", "pieces", "written", "sum_hours", "supplier_id"
        )
    )
    none = Value(None, BigIntegerField())
    stops = Stop.objects.standing().filter(die__in=ids).order_by().values_list(
        Value(False, BooleanField()), "die_id", "at", "cause", "planned", "parts_scrapped", none, "minutes", none
    )  # fmt: skip
    return sorted((row[:8] for row in works.union(stops, all=True)), key=itemgetter(2))


def stop_minutes(plant: Plant) -> list[float]:
    """How long each stop on account of a die took, of all dies of a plant."""
    stops = Stop.objects.standing().filter(die__plant=plant).exclude(Q(planned=True) | Q(cause=Stop.Cause.SETTING))
    return list(stops.order_by("at", "pk").values_list("minutes", flat=True))


def usual_lot(die: Die) -> int | None:
    """Parts of a job of this die, the mean of its latest twelve."""
    parts = list(Order.objects.filter(die=die).order_by("-due", "-pk").values_list("parts", flat=True)[:12])
    return round(sum(parts) / len(parts)) if parts else None


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
