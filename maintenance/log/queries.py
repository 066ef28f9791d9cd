"""Reads of the log that have a name."""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from collections.abc import Collection, Iterable

from django.db.models import Case, F, IntegerField, Max, Q, QuerySet, Sum, Value, When

from diestore.register.models import Die, Item, Output, Plant
from maintenance.models import (
    DieForecast,
    DriftFlag,
    EdgeForecast,
    OpenCount,
    Order,
    PastDecisions,
    PastForecasts,
    Run,
    StockMovement,
)

from .data import OlderStock, OrderLeft, SpareStock


def open_orders(
    *,
    plant: Plant | None = None,
    dies: Iterable[Die] | None = None,
    as_of: dt.datetime | None = None,
    plants: Collection[int] | None = None,
) -> list[OrderLeft]:
    """The open orders with what is left of each, the earliest due first. as_of: those open then, as far as known then.

    Parts run are counted from the runs that name the order: good parts where counted, else hits times parts per hit.
    An order that names no die is laid on the first die in service that makes the part, in the order's own plant where
    one does. Of a plant, or of some, are the orders that came there and those that a die there makes.
    """
    orders = Order.objects.filter(closed_at__isnull=True)
    runs, counting = Run.objects.standing(), OpenCount.objects.as_hits()
    if as_of is not None:
        still_open = Q(closed_at__isnull=True) | Q(closed_at__gt=as_of)
        orders = Order.objects.filter(still_open, placed_at__lte=as_of)
        runs, counting = Run.objects.known_at(as_of).filter(at__lte=as_of), counting.none()
    if plant is not None:
        plants = {plant.pk}
    if plants is not None:
        ours = sorted(plants)
        made_here = Output.objects.filter(variant__die__plant__in=ours).values("part")
        unnamed = Q(die__isnull=True, part__in=made_here)
        orders = orders.filter(Q(plant__in=ours) | Q(die__plant__in=ours) | unnamed)
    wanted = None
    if dies is not None:
        wanted = {die.pk for die in dies}
        parts = Output.objects.filter(variant__die__in=wanted).values("part")
        orders = orders.filter(Q(die__in=wanted) | Q(die__isnull=True, part__in=parts))
    listed, makes = _with_makers(orders)
    if not listed:
        return []
    per_hit = {(v, part): n for part, ways in makes.items() for _, v, n, _ in ways}
    done: dict[int, int] = defaultdict(int)
    of_orders = ("order_id", "order__part_id", "variant_id")
    runs = runs.filter(order__in=orders.values("pk")).order_by().values(*of_orders)
    runs = runs.annotate(n=Sum("hits", filter=Q(good_parts__isnull=True)), good=Sum("good_parts"))
    counting = counting.filter(order__in=orders.values("pk")).order_by()  # what counters count just now
    nobody_counted = Value(None, IntegerField())
    for order, part, variant, hits, good in runs.values_list(*of_orders, "n", "good").union(
        counting.values_list(*of_orders, "hits", nobody_counted), all=True
    ):
        done[order] += (good or 0) + (hits or 0) * per_hit.get((variant, part), 1)
    result = []
    for pk, number, due, named, parts, part, ordered_in in listed:
        ways = makes.get(part, [])
        if named is not None:
            ways = [w for w in ways if w[0] == named] or [(named, None, 1, None)]
        else:
            ways = [w for w in ways if w[3] == ordered_in] or ways
        die, variant, n, made_in = ways[0] if ways else (None, None, 1, None)
        if plants is not None and named is None and ordered_in not in plants and made_in not in plants:
            continue
        left = max(parts - done[pk], 0)
        result.append(
            OrderLeft(
                order_id=pk,
                number=number,
                due=due,
                die_id=die,
                variant_id=variant,
                parts=parts,
                parts_left=left,
                parts_per_hit=n,
                hits_left=-(-left // n),
            )
        )
    return [row for row in result if row.parts_left > 0 and (wanted is None or row.die_id in wanted)]


_Way = tuple[int, int | None, int, int | None]  # die, variant, parts at one hit, plant


def _with_makers(orders: QuerySet[Order]) -> tuple[list[tuple], dict[int, list[_Way]]]:
    """Some orders, the earliest due first, and of each part of theirs the ways in which dies in service make it, the
    first one first. One question: an order comes once for each set of inserts that makes its part."""
    made_by = "part__outputs__variant"
    columns = ("pk", "number", "due", "die_id", "parts", "part_id", "plant_id")
    way = (f"{made_by}__die_id", made_by, "part__outputs__parts_per_hit", f"{made_by}__die__plant_id")
    in_order = ("due", "number", "pk", f"{made_by}__die__code", f"-{made_by}__is_default", f"{made_by}__code")
    listed: dict[int, tuple] = {}
    makes: dict[int, dict[int | None, _Way]] = defaultdict(dict)
    for status, *row in orders.order_by(*in_order).values_list(f"{made_by}__die__status", *columns, *way):
        order, (die, variant, per_hit, plant) = tuple(row[: len(columns)]), row[len(columns) :]
        listed[order[0]] = order
        if status == Die.Status.IN_SERVICE:
            makes[order[5]][variant] = die, variant, per_hit, plant
    return list(listed.values()), {part: list(ways.values()) for part, ways in makes.items()}


def next_order_by_die(
    plant: Plant | None = None,
    *,
    dies: Iterable[Die] | None = None,
    as_of: dt.datetime | None = None,
    plants: Collection[int] | None = None,
) -> dict[int, OrderLeft]:
    """The open order of each die that is due first."""
    first: dict[int, OrderLeft] = {}
    for row in open_orders(plant=plant, dies=dies, as_of=as_of, plants=plants):
        if row.die_id is not None:
            first.setdefault(row.die_id, row)
    return first


def burr_limits_um(dies: Iterable[Die]) -> dict[int, dict[int, float]]:
    """The tightest burr limit among the parts of each variant: die -> variant -> micrometres."""
    limits: dict[int, dict[int, float]] = defaultdict(dict)
    rows = Output.objects.filter(variant__die__in=[die.pk for die in dies], part__burr_limit_um__gt=0)
    for die, variant, limit in rows.values_list("variant__die_id", "variant_id", "part__burr_limit_um"):
        limits[die][variant] = min(limit, limits[die].get(variant, limit))
    return dict(limits)


def newest_forecasts(plant: Plant | None = None):
    """The forecast shown of each die, with its limiting edge. The fit's own numbers are read when asked for."""
    rows = DieForecast.objects.filter(is_newest=True).select_related("die", "limiting", "fit").defer("fit__parameters")
    return rows if plant is None else rows.filter(die__plant=plant)


def newest_forecast(die: Die) -> DieForecast | None:
    return newest_forecasts().filter(die=die).first()


def drift_flags(plant: Plant | None = None):
    """The dies that go dull more often than their record said, the least likely by luck first."""
    rows = DriftFlag.objects.select_related("die")
    return rows if plant is None else rows.filter(die__plant=plant)


def drift_flag(die: Die) -> DriftFlag | None:
    return DriftFlag.objects.filter(die=die).first()


def newest_record(plant: Plant) -> PastForecasts | None:
    """How right past forecasts were, as last looked back on."""
    return PastForecasts.objects.filter(plant=plant).first()


def newest_past_decisions(plant: Plant) -> PastDecisions | None:
    """What the advice would have said in the past, as last looked back on."""
    return PastDecisions.objects.filter(plant=plant).first()


def record_in_short(plant: Plant, die: Die | None = None) -> dict | None:
    """Of the last look back only what is said beside a forecast: its figures, and what came of one die's statements."""
    mine = f"by_die__{key_of_die(die.pk)}" if die else "by_die"
    names = ("as_of", "refusal", "scores__band_80", "scores__forecasts", *([mine] if die else []))
    row = PastForecasts.objects.filter(plant=plant).values(*names).first()
    return row and {
        "as_of": row["as_of"],
        "refusal": row["refusal"],
        "band_80": row["scores__band_80"],
        "forecasts": row["scores__forecasts"],
        "of_die": row.get(mine),
    }


def key_of_die(pk: int) -> str:
    """A die in a stored look back; a bare number would be taken for a place in a list."""
    return f"die{pk}"


def edges_of(forecast: DieForecast) -> list[EdgeForecast]:
    return list(forecast.edges.select_related("position", "position__station", "position__item"))


# Of the pieces of a movement: another spare took the place of theirs, and they are still used.
USABLE = Q(item__old_stock=Item.OldStock.USABLE, item__retired_at=None)


def stock_of_spares(plant: Plant | int | None = None, *, items: Iterable[int] | None = None) -> dict[int, SpareStock]:
    """What is on the shelf and on the way of each item, and what is still usable of those whose place it took. items:
    of these only. One question."""
    rows = StockMovement.objects.standing()
    if plant is not None:
        rows = rows.filter(plant=plant)
    asked = None if items is None else set(items)
    if asked is not None:
        rows = rows.filter(Q(item__in=asked) | USABLE & Q(item__newer__in=asked))
    sums: dict[int, dict[str, int]] = defaultdict(lambda: defaultdict(int))
    ordered: dict[int, dt.datetime | None] = {}
    older: dict[int, list[OlderStock]] = defaultdict(list)
    came = Max("at", filter=Q(quantity__gt=0))
    newer = Case(When(USABLE, then=F("item__newer_id")))
    columns = ("item_id", "place", "newer", "item__code", "item__revision")
    for item, place, newer_id, code, revision, quantity, last in (
        rows.order_by()
        .annotate(newer=newer)
        .values(*columns)
        .annotate(n=Sum("quantity"), came=came)
        .values_list(*columns, "n", "came")
    ):
        if place == StockMovement.Place.SHELF and newer_id is not None and quantity > 0:
            older[newer_id].append(OlderStock(item_id=item, name=f"{code} {revision}".strip(), pieces=quantity))
        if asked is not None and item not in asked:
            continue
        sums[item][place] = quantity
        if place == StockMovement.Place.ON_ORDER:
            ordered[item] = last
    return {
        item: SpareStock(
            item_id=item, on_hand=sums[item]["shelf"], on_order=sums[item]["on order"], ordered_at=ordered.get(item),
            older=tuple(sorted(older.get(item, ()), key=lambda one: (one.name, one.item_id))),
        )
        for item in [*sums, *(one for one in older if one not in sums)]
    }  # fmt: skip


def on_the_shelf(plant: int, items: Iterable[int]) -> dict[int, int]:
    """Of some spares what lies on the shelf of that plant and can be fitted: with what is still usable of those whose
    place they took. One question."""
    stock = stock_of_spares(plant, items=items)
    return {item: there.on_hand + there.usable_older for item, there in stock.items()}
