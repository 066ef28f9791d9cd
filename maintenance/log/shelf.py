"""The shelf of spares: what should lie in each place, and counts of it. A count takes `by` and is one transaction."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass

from django.db.models import Max, Q, QuerySet
from django.utils import timezone
from django.utils.translation import gettext as _

from diestore.register.models import Item, Plant
from maintenance.models import StockMovement, fresh_key
from maintenance.models.purchasing import PIECES_AT_MOST

from . import changes, queries
from .rules import EntryRefused, check_moment, check_text, saving
from .write import Actor

Kind, Place = StockMovement.Kind, StockMovement.Place
NO_PLACE = "no place"


@dataclass(frozen=True, kw_only=True)
class Lies:
    """What should lie there of a spare by the record, and when it was counted last."""

    item: Item
    should: int
    counted_at: dt.datetime | None

    @property
    def rack(self) -> str:
        return rack_of(self.item.shelf_place)


def rack_of(place: str) -> str:
    """The part of a place that one counts in one go: 'E' of 'E-17'; a place that names no part stands by itself."""
    return place.partition("-")[0].strip() or NO_PLACE


def _kept(plant: Plant) -> QuerySet[Item]:
    """Spares that ever moved here, or have a place and are still offered."""
    here = StockMovement.objects.standing().filter(plant=plant).order_by().values("item")
    return Item.objects.filter(Q(pk__in=here) | (~Q(shelf_place="") & Q(retired_at=None)))


def racks(plant: Plant) -> dict[str, int]:
    """Rack -> spares in it, by name; those without a place last. One question."""
    count: dict[str, int] = {}
    for place in _kept(plant).values_list("shelf_place", flat=True):
        count[rack_of(place)] = count.get(rack_of(place), 0) + 1
    return dict(sorted(count.items(), key=lambda pair: (pair[0] == NO_PLACE, pair[0])))


def lies_in(plant: Plant, rack: str) -> list[Lies]:
    """What should lie in a rack, by place; without one on the whole shelf. Three questions."""
    rows = (
        _kept(plant).filter(shelf_place="") if rack == NO_PLACE else _kept(plant).filter(shelf_place__startswith=rack)
    )
    items = [item for item in rows if rack in ("", rack_of(item.shelf_place))]
    ids = [item.pk for item in items]
    stock = queries.stock_of_spares(plant, items=ids)
    counted = StockMovement.objects.standing().filter(plant=plant, item__in=ids, place=Place.SHELF, kind=Kind.COUNT)
    last = dict(counted.order_by().values_list("item").annotate(last=Max("at")))
    made = [Lies(item=i, should=stock[i.pk].on_hand if i.pk in stock else 0, counted_at=last.get(i.pk)) for i in items]
    return sorted(made, key=lambda row: (_in_order(row.item.shelf_place), row.item.code, row.item.pk))


def _in_order(place: str) -> tuple:
    """E-9 before E-10."""
    return tuple((0, int(bit), "") if bit.isascii() and bit.isdigit() else (1, 0, bit) for bit in place.split("-"))


@dataclass(frozen=True, kw_only=True)
class Counted:
    """found: pieces that lie there. shown: what the sheet said should lie there. reason: of a difference."""

    found: int
    shown: int
    reason: str = ""


def count(
    *, by: Actor, plant: Plant, counted: Mapping[int, Counted], at: dt.datetime | None = None, key: str | None = None
) -> list[StockMovement]:
    """Spares that somebody counted: each is set to what lies there, all or none. A difference says why it is there.

    A spare of which something came or went since the sheet was opened is not set: it is counted again. The same `key`
    again counts nothing twice.
    """
    at = at or timezone.now()
    check_moment(at)
    if not counted:
        raise EntryRefused(_("Enter what lies there of at least one spare."))
    key = key or fresh_key()
    with saving():
        Plant.objects.select_for_update(no_key=True).get(pk=plant.pk)  # two sheets of one rack come one after the other
        if known := list(StockMovement.objects.filter(plant=plant, key__startswith=f"{key}:")):
            return known
        items = {item.pk: item for item in Item.objects.filter(pk__in=counted)}
        stock = queries.stock_of_spares(plant, items=items)
        made = []
        for pk, one in counted.items():
            item = items.get(pk)
            if item is None:
                raise EntryRefused(_("One of these spares is no longer there. Open the sheet again."))
            now = stock[pk].on_hand if pk in stock else 0
            made.append(_counted(by, plant, item, one, now, at, key))
        StockMovement.objects.bulk_create(made)
        changes.tell(items=[move.item_id for move in made if move.quantity])
        return made


def difference(item: Item, one: Counted, now: int) -> int:
    """How many more lie there than should. Raises EntryRefused where it cannot be or says no reason."""
    if not 0 <= one.found <= PIECES_AT_MOST:
        raise EntryRefused(
            _("{found:,} of {item} cannot lie there. Enter 0 to {most:,}.").format(
                found=one.found, item=item, most=PIECES_AT_MOST
            ),
            field=f"found-{item.pk}",
        )
    reason = " ".join(one.reason.split())
    check_text(reason, field=f"reason-{item.pk}", what=_("The reason"), at_most=300)
    if now != one.shown:
        raise EntryRefused(
            _(
                "{item}: something came or went since this sheet was opened, and {now:,} should lie there "
                "now. Count it again."
            ).format(item=item, now=now),
            field=f"found-{item.pk}",
        )
    differs = one.found - now
    if differs and not reason:
        words = _("{item}: {n:,} fewer than should lie there. Say why.")
        if differs > 0:
            words = _("{item}: {n:,} more than should lie there. Say why.")
        raise EntryRefused(words.format(item=item, n=abs(differs)), field=f"reason-{item.pk}")
    return differs


def _counted(by: Actor, plant: Plant, item: Item, one: Counted, now: int, at: dt.datetime, key: str) -> StockMovement:
    differs, reason = difference(item, one, now), " ".join(one.reason.split())
    return StockMovement(
        plant=plant, item=item, quantity=differs, kind=Kind.COUNT, place=Place.SHELF, at=at, note=reason,
        key=f"{key}:{item.pk}", **by.columns(),
    )  # fmt: skip
