"""Reads of what moved by hand: drawn for dies and not fitted yet, out to be repaired, back, below nought."""

from __future__ import annotations

import datetime as dt
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from django.db.models import Q, QuerySet, Sum
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from diestore import units
from diestore.register.models import Die, Item, Plant
from maintenance.models import BenchWork, Event, StockMovement

from .rules import EntryRefused

Kind, Place = StockMovement.Kind, StockMovement.Place
# What leaves the shelf by hand and may come back is in one of these places meanwhile: a movement in each place, told as
# one. The ends of their keys say which is which.
TWO_PLACES = (Kind.DRAWN, Kind.RETURNED, Kind.SENT_OUT, Kind.BACK)
BESIDE = (Place.DRAWN, Place.REPAIR)
MOST_BACK = 6  # pieces that came back are told
ENDS = ("shelf", "beside", "leaves", "arrives")


def pair_of(entry: Event) -> list[StockMovement]:
    """The other half of a movement between two places, or two plants. Refuses to part what a later one rests on."""
    if not isinstance(entry, StockMovement) or entry.kind not in (*TWO_PLACES, Kind.MOVED):
        return []
    stem, __, end = entry.key.rpartition(":")
    others: list[StockMovement] = []
    if end.partition(" ")[0] in ENDS:
        named = Q(key__in=[f"{stem}:{one}" for one in ENDS]) | Q(key__startswith=f"{stem}:beside ")
        rows = StockMovement.objects.standing().filter(named, kind=entry.kind)
        others = list(rows.exclude(pk=entry.pk))
    for row in (entry, *others):
        if row.place in BESIDE and row.quantity > 0 and _there(row) < row.quantity:
            words = _("{item}: some of these are back already. Strike that out first.")
            if row.place == Place.DRAWN:
                words = _("{item}: some of these are fitted or returned already. Strike that out first.")
            raise EntryRefused(words.format(item=row.item))
    return others


def _there(row: StockMovement) -> int:
    """What is still in the place that a movement went into."""
    alike = StockMovement.objects.standing().filter(plant=row.plant_id, item=row.item_id, place=row.place)
    if row.place == Place.DRAWN:
        alike = alike.filter(die=row.die_id, bench_work=row.bench_work_id)
    else:
        alike = alike.filter(supplier=row.supplier_id)
    return sum_of(alike)


def sum_of(rows: QuerySet[StockMovement]) -> int:
    total: int | None = rows.aggregate(n=Sum("quantity"))["n"]
    return total or 0


@dataclass(frozen=True, kw_only=True)
class Drawn:
    """So many of a spare that were drawn for a die and neither fitted nor returned yet."""

    item: Item
    die: Die
    work: BenchWork | None
    pieces: int


def drawn(plant: int, *, item: int | None = None, die: int | None = None, work: int | None = None) -> list[Drawn]:
    """What is drawn and not fitted yet, by spare and die. One question."""
    rows = StockMovement.objects.standing().filter(plant=plant, place=Place.DRAWN)
    for name, value in (("item", item), ("die", die), ("bench_work", work)):
        if value is not None:
            rows = rows.filter(**{name: value})
    return drawn_of(rows.select_related("item", "die", "bench_work"))


def drawn_of(movements: Iterable[StockMovement]) -> list[Drawn]:
    """The same of movements that are read already, with their spares, dies and works."""
    sums: Counter[tuple[int, int, int | None]] = Counter()
    first: dict[tuple[int, int, int | None], StockMovement] = {}
    for row in movements:
        if row.place == Place.DRAWN and row.die_id is not None:
            key = (row.item_id, row.die_id, row.bench_work_id)
            sums[key] += row.quantity
            first.setdefault(key, row)
    made = [
        Drawn(item=first[key].item, die=first[key].die, work=first[key].bench_work, pieces=n)  # type: ignore[arg-type]
        for key, n in sums.items()
        if n
    ]
    return sorted(made, key=lambda one: (one.item.code, one.die.code, one.work.pk if one.work else 0))


def drawn_for(die: int, items: Iterable[int]) -> dict[int, int]:
    """Spare -> pieces drawn for a die and not fitted yet, whatever the work. One question."""
    rows = StockMovement.objects.standing().filter(die=die, place=Place.DRAWN, item__in=items)
    return {item: n for item, n in rows.order_by().values_list("item").annotate(n=Sum("quantity")) if n}


def where_from(*, plant: int, item: Item, die: int) -> dict:
    """Where a piece that is fitted into a die comes from, as columns of its movement: what was drawn for the die first,
    else the shelf; of what the spare took the place of first, while that is usable and lasts. The plant is held until
    the end of the transaction: of two at once only one takes a drawn piece."""
    list(Plant.objects.select_for_update(no_key=True).filter(pk=plant))
    usable = Item.objects.filter(newer=item, old_stock=Item.OldStock.USABLE, retired_at=None)
    older = list(usable.order_by("code", "revision", "pk"))
    rows = StockMovement.objects.standing().filter(plant=plant)
    for one in (*older, item):
        for row in drawn(plant, item=one.pk, die=die):
            if row.pieces > 0:
                return {"item": one, "place": Place.DRAWN, "die_id": die, "bench_work": row.work}
    lies = (one for one in older if sum_of(rows.filter(item=one, place=Place.SHELF)) > 0)
    return {"item": next(lies, item), "place": Place.SHELF, "die_id": die}


@dataclass(frozen=True, kw_only=True)
class Away:
    """So many of a spare that are out to be repaired, and at whom."""

    supplier: str
    supplier_id: int | None
    pieces: int


def away(plant: int, item: int) -> list[Away]:
    """Where pieces of a spare are to be repaired. One question."""
    rows = StockMovement.objects.standing().filter(plant=plant, item=item, place=Place.REPAIR)
    return away_of(rows.select_related("supplier"))


def away_of(movements: Iterable[StockMovement]) -> list[Away]:
    """The same of movements that are read already, with their suppliers."""
    sums: Counter[tuple[str, int | None]] = Counter()
    for row in movements:
        if row.place == Place.REPAIR:
            who = row.supplier
            sums[(who.name or who.code if who else ""), row.supplier_id] += row.quantity
    return [Away(supplier=name, supplier_id=pk, pieces=n) for (name, pk), n in sorted(sums.items(), key=_by_name) if n]


def _by_name(one: tuple[tuple[str, int | None], int]) -> tuple[str, int]:
    (name, pk), _ = one
    return name, pk or 0


def back_of(movements: Sequence[StockMovement]) -> list[StockMovement]:
    """The latest pieces of a spare that came back used or repaired, with what they are now."""
    said = [
        row
        for row in movements
        if row.place == Place.SHELF and row.kind in (Kind.BACK, Kind.RETURNED)
        and (row.length_mm is not None or row.grinds_left is not None or row.worth is not None)
    ]  # fmt: skip
    return sorted(said, key=lambda row: (row.at, row.pk), reverse=True)[:MOST_BACK]


def as_it_is(row: StockMovement, system: units.System, *, currency: str) -> str:
    """What a piece is that came back: its length, the grinds left in it, what it is worth."""
    said = []
    if row.length_mm is not None:
        said.append(_("{length} long").format(length=units.show(row.length_mm, "length_mm", system)))
    if row.grinds_left is not None:
        said.append(ngettext("{n} grind left", "{n} grinds left", row.grinds_left).format(n=row.grinds_left))
    if row.worth is not None:
        said.append(_("worth {worth:,.2f} {currency}").format(worth=row.worth, currency=currency))
    return ", ".join(said)


@dataclass(frozen=True, kw_only=True)
class Below:
    """A spare of which more went out than ever came: a question to settle by a count."""

    item: Item
    on_hand: int
    since: dt.datetime


BELOW_SHOWN = 12


def below_nought(plant: Plant, *, most: int = BELOW_SHOWN) -> list[Below]:
    """Spares that stand below nought, the lowest first. Two questions, one where there is none."""
    rows = StockMovement.objects.standing().filter(plant=plant, place=Place.SHELF).order_by()
    sums = dict(rows.values_list("item").annotate(n=Sum("quantity")).filter(n__lt=0).order_by("n", "item")[:most])
    if not sums:
        return []
    last: dict[int, StockMovement] = {}
    for row in rows.filter(item__in=sums).select_related("item").order_by("at", "pk"):
        last[row.item_id] = row
    return [Below(item=last[pk].item, on_hand=n, since=last[pk].at) for pk, n in sums.items()]
