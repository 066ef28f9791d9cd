"""Which dies and spares an entry of the log, or a row of the register, is about."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from django.db.models import Model

from diestore.register.models import (
    Cut,
    Die,
    Item,
    Output,
    Part,
    Party,
    Piece,
    Position,
    Rate,
    Station,
    Stock,
    Variant,
    Volume,
)
from diestore.register.sources import Source, SourcePrice, SpareLevel
from maintenance.models import CostBearer, CostLine, Event, Inspection, Order, Reading, StockMovement, Work

AT_ONCE = 5_000  # keys in one question


@dataclass(kw_only=True)
class Touched:
    """dies, items: of which the record or the register tells otherwise now. priced: dies whose cost alone does."""

    dies: set[int]
    items: set[int]
    priced: set[int]

    @classmethod
    def nothing(cls) -> Touched:
        return cls(dies=set(), items=set(), priced=set())

    def __ior__(self, other: Touched) -> Touched:
        self.dies |= other.dies
        self.items |= other.items
        self.priced |= other.priced
        return self


def of_entries(entries: Iterable[Event]) -> Touched:
    """The dies and spares that entries are about."""
    about = Touched.nothing()
    for entry in entries:
        if isinstance(entry, (Inspection, CostBearer)):
            about.priced |= _priced(entry)  # no clock and no forecast follows from it
        elif isinstance(entry, StockMovement):
            about.items.add(entry.item_id)
        elif isinstance(entry, CostLine):
            if entry.die_id is not None:
                about.dies.add(entry.die_id)
            elif entry.stop_id is not None:
                about.dies.add(entry.stop.die_id)
            elif entry.work_id is not None:
                about |= of_entries([entry.work])
        elif getattr(entry, "die_id", None) is not None:
            about.dies.add(entry.die_id)
        elif entry.position_id is not None:
            about.dies.add(entry.position.die_id)
        elif isinstance(entry, Reading) and entry.cut_id is not None:
            about.dies.add(entry.cut.die_id)
        elif isinstance(entry, (Work, Reading)):
            about.dies |= dies_of_pieces([entry.piece_id])
    return about


def _priced(entry: Inspection | CostBearer) -> set[int]:
    """The die whose cost alone is told otherwise."""
    return set() if isinstance(entry, Inspection) and not entry.parts_scrapped else {entry.die_id}


def dies_of_pieces(pieces: Iterable[int]) -> set[int]:
    """The dies in which pieces ever sat."""
    return _dies("positions__fittings__piece__in", pieces)


def of_register(rows: Iterable[Model]) -> Touched:
    """The dies and spares that rows of the register, and orders, are about. Of a place also what it took before."""
    about = Touched.nothing()
    by_model: dict[type, list] = {}
    for row in rows:
        by_model.setdefault(type(row), []).append(row)
    for model, some in by_model.items():
        if model in _ABOUT:
            about |= _ABOUT[model](some)
    return about


def _dies(way: str, keys: Iterable[int]) -> set[int]:
    keys, about = sorted(set(keys)), set()
    for i in range(0, len(keys), AT_ONCE):
        rows = Die.objects.filter(**{way: keys[i : i + AT_ONCE]}).order_by()
        about |= set(rows.values_list("pk", flat=True))
    return about


def _of_dies(dies: Iterable[int]) -> Touched:
    return Touched(dies=set(dies), items=set(), priced=set())


def _positions(rows: list[Position]) -> Touched:
    items, keys = {row.item_id for row in rows}, [row.pk for row in rows if row.pk is not None]
    for i in range(0, len(keys), AT_ONCE):
        items |= set(Position.history.filter(id__in=keys[i : i + AT_ONCE]).values_list("item_id", flat=True))
    return Touched(dies={row.die_id for row in rows}, items=items - {None}, priced=set())


def _items(rows: list[Item]) -> Touched:
    """A spare's price is in the cost of every die that took one."""
    keys = [row.pk for row in rows]
    priced = _dies("positions__item__in", keys) | _dies("positions__fittings__piece__item__in", keys)
    return Touched(dies=set(), items=set(keys), priced=priced)


def _stocks(rows: list[Stock]) -> Touched:
    keys = [row.pk for row in rows]
    return _of_dies(_dies("usual_stock__in", keys) | _dies("runs__stock__in", keys))


def _orders(rows: list[Order]) -> Touched:
    named = {row.die_id for row in rows if row.die_id is not None}
    return _of_dies(named | _dies("variants__outputs__part__in", [row.part_id for row in rows if row.die_id is None]))


def _rates(rows: list[Rate]) -> Touched:
    return Touched(dies=set(), items=set(), priced=_dies("plant__in", [row.plant_id for row in rows]))


def _parties(rows: list[Party]) -> Touched:
    """A supplier's name stands beside what is bought of him."""
    items = Item.objects.filter(supplier__in=[row.pk for row in rows]).values_list("pk", flat=True)
    return Touched(dies=set(), items=set(items), priced=set())


def _of_items(items: Iterable[int]) -> Touched:
    return Touched(dies=set(), items=set(items), priced=set())


_ABOUT = {
    Source: lambda rows: _of_items(row.item_id for row in rows),
    SourcePrice: lambda rows: _of_items(row.source.item_id for row in rows),
    SpareLevel: lambda rows: _of_items(row.item_id for row in rows),
    Die: lambda rows: _of_dies(row.pk for row in rows),
    Variant: lambda rows: _of_dies(row.die_id for row in rows),
    Station: lambda rows: _of_dies(row.die_id for row in rows),
    Cut: lambda rows: _of_dies(row.die_id for row in rows),
    Output: lambda rows: _of_dies(_dies("variants__in", [row.variant_id for row in rows])),
    Part: lambda rows: _of_dies(_dies("variants__outputs__part__in", [row.pk for row in rows])),
    Volume: lambda rows: _of_dies(_dies("variants__outputs__part__in", [row.part_id for row in rows])),
    Piece: lambda rows: _of_dies(dies_of_pieces(row.pk for row in rows)),
    Position: _positions,
    Item: _items,
    Stock: _stocks,
    Order: _orders,
    Rate: _rates,
    Party: _parties,
}
