"""Reads for the cost of dies: what each has made, and what was spent on it, by its own log."""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass, field
from decimal import Decimal

from django.db.models import Count, Max, Min, Q, Sum

from diestore.models import Die, Output, Plant, Rate

from .models import CostLine, Replacement, Run, Stop, Work
from .operations import OPERATIONS

FRESH = [key for key, operation in OPERATIONS.items() if operation.fresh_edge]


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
    """What each of these dies has made and cost, in a handful of queries for any number of them."""
    ids = list(dies)
    found = {die: Spent(die=die) for die in ids}
    _parts(found, ids)
    _works(found, ids)
    _spares(found, ids)
    _stops(found, ids)
    _bills(found, ids)
    return found


def parts_per_hit(dies: Iterable[int]) -> dict[int, int]:
    """Parts that fall at one hit with the usual set of inserts of each die, all outputs together."""
    return dict(
        Output.objects.filter(variant__die__in=list(dies), variant__is_default=True)
        .values("variant__die_id")
        .annotate(n=Sum("parts_per_hit"))
        .values_list("variant__die_id", "n")
    )


def _parts(found: dict[int, Spent], ids: list[int]) -> None:
    per_hit: dict[int, dict[int, int]] = defaultdict(dict)
    for variant, part, n in Output.objects.filter(variant__die__in=ids).values_list(
        "variant_id", "part_id", "parts_per_hit"
    ):
        per_hit[variant][part] = n
    counted = Q(good_parts__isnull=False)
    for row in (
        Run.objects.standing()
        .filter(die__in=ids)
        .order_by()
        .values("die_id", "variant_id", "order__part_id")
        .annotate(
            all_hits=Sum("hits"),
            counted_hits=Sum("hits", filter=counted),
            good=Sum("good_parts"),
            first=Min("started"),
            last=Max("at"),
        )
    ):
        spent = found[row["die_id"]]
        outputs = per_hit.get(row["variant_id"], {})
        every = sum(outputs.values()) or 1
        one = outputs.get(row["order__part_id"], every)
        hits, good = row["counted_hits"] or 0, row["good"] or 0
        # Where left and right fall at one hit, some count one side and some both.
        if good <= hits * one:
            good = good * every // one
        spent.hits += row["all_hits"]
        spent.parts += good + (row["all_hits"] - hits) * every
        spent.first = min(filter(None, (spent.first, row["first"])))
        spent.last = max(filter(None, (spent.last, row["last"])))


def _works(found: dict[int, Spent], ids: list[int]) -> None:
    for row in (
        Work.objects.standing()
        .filter(position__die__in=ids)
        .order_by("at")
        .values("position__die_id", "at", "operation", "supplier_id")
        .annotate(pieces=Count("pk"), written=Count("hours"), sum_hours=Sum("hours"))
    ):
        found[row["position__die_id"]].grinds.append(
            GrindDay(
                at=row["at"],
                sharpening=row["operation"] in FRESH and row["operation"] != "welded and recut",
                pieces=row["pieces"],
                hours=round(row["sum_hours"], 4) if row["written"] else None,
                outside=row["supplier_id"] is not None,
            )
        )


def _spares(found: dict[int, Spent], ids: list[int]) -> None:
    for die, at, fitted, usual, fitted_price, usual_price in (
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
    ):
        name, price = (fitted, fitted_price) if fitted else (usual or "a piece without a name", usual_price)
        found[die].spares.append(SpareFitted(at=at, item=name, unit_price=price))


def _stops(found: dict[int, Spent], ids: list[int]) -> None:
    for die, at, minutes, scrapped, planned, cause in (
        Stop.objects.standing()
        .filter(die__in=ids)
        .order_by("at")
        .values_list("die_id", "at", "minutes", "parts_scrapped", "planned", "cause")
    ):
        if planned or cause == Stop.Cause.SETTING:
            found[die].setting_minutes += minutes
        else:
            found[die].stops.append(StopOfDie(at=at, minutes=minutes, parts_scrapped=scrapped))


def _bills(found: dict[int, Spent], ids: list[int]) -> None:
    lines = CostLine.objects.standing().filter(
        Q(die__in=ids) | Q(die__isnull=True, work__position__die__in=ids) | Q(die__isnull=True, stop__die__in=ids)
    )
    for die, by_work, by_stop, at, kind, amount in lines.order_by("at").values_list(
        "die_id", "work__position__die_id", "stop__die_id", "at", "kind", "amount"
    ):
        found[die or by_work or by_stop].bills.append(BillOfDie(at=at, kind=kind, amount=amount))


def rates_of(plant: Plant) -> dict[str, list[tuple[dt.date, Decimal]]]:
    """What an hour costs, by kind, from which day on."""
    found: dict[str, list[tuple[dt.date, Decimal]]] = defaultdict(list)
    for kind, day, amount in Rate.objects.filter(plant=plant).values_list("kind", "valid_from", "amount"):
        found[kind].append((day, amount))
    return found


def dies_of(plant: Plant):
    """The dies that a cost is told of."""
    return Die.objects.filter(plant=plant).select_related("owner").order_by("code")
