"""Where the records stood that the spares rest on, and which dies and spares something was entered on since.

Entries are never edited or deleted, so what was entered has a higher number, and what was struck out was struck since.
Register changes leave a line in their histories, and a forecast told again is a row of its own.
"""

from __future__ import annotations

import datetime as dt
from functools import reduce

from django.db.models import Q
from django.utils import timezone

from diestore.register.models import Die, Item, Plant, Position
from maintenance.models import DieForecast, Event, Order, Replacement, Run, StockMovement, Work

from .freshness import IN_FLIGHT, last_number

_ENTRIES: dict[type[Event], str] = {
    Run: "die",
    Work: "position__die",
    Replacement: "position__die",
    StockMovement: "item",
}
_OTHERS = (DieForecast, Order, Position, Die.history.model, Item.history.model, Position.history.model)
A_WHILE = dt.timedelta(minutes=2)  # the longest that an entry takes to be written, and that clocks are apart


def now(plant: Plant) -> dict:
    """The mark: plain numbers and one moment."""
    last = {_name(model): last_number(model) for model in (*_ENTRIES, *_OTHERS)}
    row = Plant.objects.filter(pk=plant.pk).values(**last).get()
    return {"last": row, "at": timezone.now().isoformat()}


def _name(model) -> str:
    return model.__name__.lower() + "_number"


def dies_touched(mark: dict, *, widely: bool = False) -> set[int]:
    """The dies on which something was entered, struck out, ordered or foretold since, of all plants.

    widely: and those of entries that may have been under way when the mark was made; for telling anew, where one too
    many costs nothing but time.
    """
    at = dt.datetime.fromisoformat(mark["at"])
    since = at - A_WHILE if widely else at
    parts = [
        _ids(rows, way)
        for model, way in _ENTRIES.items()
        if way != "item"
        for rows in _changed(model, mark, since, widely)
    ]
    parts += [_ids(DieForecast.objects.filter(_new(DieForecast, mark)), "die")]
    orders = Order.objects.filter(_new(Order, mark) | Q(closed_at__gte=since))
    parts += [_ids(orders, "die"), _ids(orders.filter(die=None), "part__outputs__variant__die")]
    parts += [_ids(Die.history.model.objects.filter(_new(Die.history.model, mark)), "id")]
    return _together(parts)


def items_touched(mark: dict, plant: Plant, *, dies: set[int], widely: bool = False) -> set[int]:
    """The spares of a plant that such dies take, that moved, or whose own entry in the register changed since."""
    at = dt.datetime.fromisoformat(mark["at"])
    since = at - A_WHILE if widely else at
    moved = [rows.filter(plant=plant) for rows in _changed(StockMovement, mark, since, widely)]
    past, places = Position.history.model.objects, Position.objects.filter(die__plant=plant)
    parts = [_ids(rows, "item") for rows in moved]
    parts += [
        _ids(Item.history.model.objects.filter(_new(Item.history.model, mark)), "id"),
        # what a place takes now, and what it took before
        _ids(past.filter(id__in=past.filter(_new(Position.history.model, mark)).values("id")), "item"),
        _ids(places.filter(_new(Position, mark)), "item"),
        _ids(places.filter(die__in=dies), "item"),
    ]
    return _together(parts)


def _new(model, mark: dict, back: int = 0) -> Q:
    return Q(pk__gt=(mark["last"].get(_name(model)) or 0) - back)


def _changed(model, mark: dict, since: dt.datetime, widely: bool):
    new = _new(model, mark)
    if widely:
        new |= _new(model, mark, IN_FLIGHT) & Q(recorded_at__gte=since)
    return model.objects.filter(new), model.objects.filter(struck_at__gte=since)


def _ids(rows, way: str):
    return rows.order_by().values_list(way)


def _together(parts) -> set[int]:
    return {pk for (pk,) in reduce(lambda a, b: a.union(b), parts) if pk is not None}
