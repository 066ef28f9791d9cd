"""Where the log stands, and which dies something was entered on since: two questions, however long the log is.

Entries are never edited or deleted, so what was entered has a higher number, and what was struck out was struck since.
Prices and the register's dies leave a line in their histories.
"""

from __future__ import annotations

import datetime as dt
from functools import reduce

from django.db.models import Count, Q, Subquery, Value
from django.utils import timezone

from diestore import together
from diestore.register.models import Die, Item, Plant, Rate
from maintenance.models import CostLine, Event, OpenCount, Replacement, Run, Stop, Work

_WAYS: dict[type[Event], tuple[str, ...]] = {
    Run: ("die",),
    Work: ("position__die",),
    Replacement: ("position__die",),
    Stop: ("die",),
    CostLine: ("die", "work__position__die", "stop__die"),
}
_PRICES = (Rate.history.model, Item.history.model, Die.history.model)
IN_FLIGHT = 1_000  # numbers of entries that were given and not yet written when the mark was made
CLOCKS_APART = dt.timedelta(days=1)


def now(plant: Plant) -> dict:
    """The mark: plain numbers and one moment. there: how many of the last numbers given were written then."""
    numbers = {model.__name__: last_number(model) for model in (*_WAYS, *_PRICES)}
    last = Plant.objects.filter(pk=plant.pk).values(**numbers).get()
    told = together.read(**{name: rows.values_list("n") for name, rows in _in_flight(last).items()})
    there = {name: sum(n for (n,) in rows) for name, rows in told.items()}
    return {"last": last, "there": there, "at": timezone.now().isoformat()}


def _in_flight(last: dict) -> dict:
    """Of each sort how many entries stand under the last numbers up to that mark."""
    return {
        model.__name__: model.objects.filter(
            pk__gt=(last[model.__name__] or 0) - IN_FLIGHT, pk__lte=last[model.__name__] or 0
        )
        .order_by()
        .values(told=Value(1))
        .annotate(n=Count("pk"))
        for model in _WAYS
    }


def last_number(model):
    """The highest number given: one step down the index on it."""
    key = model._meta.pk.name
    return Subquery(model.objects.order_by(f"-{key}").values(key)[:1])


def dies_touched_since(mark: dict, plant: Plant) -> set[int] | None:
    """The dies on which something was entered or struck out since, and those that counters count just now.

    None: prices changed, so all of them.
    """
    last, there = mark["last"], mark.get("there", {})
    asked = {name: rows.values_list("n") for name, rows in _in_flight(last).items()}
    for model in _PRICES:
        asked[model.__name__] = model.objects.order_by("-pk").values_list("pk")[:1]
    told = {name: sum(n for (n,) in rows) for name, rows in together.read(**asked).items()}
    if any(told[model.__name__] != (last.get(model.__name__) or 0) for model in _PRICES):
        return None
    since = dt.datetime.fromisoformat(mark["at"]) - CLOCKS_APART
    parts = []
    for model, ways in _WAYS.items():
        # Entries are never deleted: as many as then, and none of those numbers was written since.
        name = model.__name__
        begins = (last.get(name) or 0) - (0 if told[name] == there.get(name) else IN_FLIGHT)
        new = Q(pk__gt=begins)
        for way in ways:
            for rows in (model.objects.filter(new), model.objects.filter(struck_at__gte=since)):
                parts.append(rows.order_by().values_list(way))  # of all plants: then only the new rows are looked at
    touched = {die for (die,) in reduce(lambda a, b: a.union(b), parts) if die is not None}
    return touched | counting_now(plant)


def counting_now(plant: Plant) -> set[int]:
    """The dies that counters count just now: their hits grow with no entry made."""
    return set(OpenCount.objects.filter(die__plant=plant).values_list("die_id", flat=True))
