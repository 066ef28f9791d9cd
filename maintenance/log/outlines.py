"""Writes of outlined tools: outlines with their cutting places, ways of building, assumptions, the price list."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal

from django.contrib.auth.base_user import AbstractBaseUser
from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from diestore.handbook.build_elements import ELEMENTS, WAYS_AT_MOST, YEARS_AT_MOST
from diestore.register.models import Plant
from maintenance.models import ElementPrice, Outline, OutlinePlace, OutlineWay, fresh_key

from .rules import EntryRefused

PARTS_AT_MOST = 1_000_000_000_000


@dataclass(frozen=True, kw_only=True)
class Place:
    """Cutting places alike. length_mm: of one."""

    kind: str
    count: int
    length_mm: float


@transaction.atomic
def put_outline(
    *, by: AbstractBaseUser, plant: Plant, values: Mapping[str, object], places: Sequence[Place],
    outline: Outline | None = None,
) -> Outline:  # fmt: skip
    """A new outline, or one that stands with other values. values: by column.

    Raises EntryRefused for what cannot be.
    """
    _check(values, places)
    made = outline or Outline(plant=plant)
    for name, value in values.items():
        setattr(made, name, value)
    _save(made, by)
    made.places.all().delete()
    OutlinePlace.objects.bulk_create(
        OutlinePlace(outline=made, sequence=n, kind=one.kind, count=one.count, length_mm=one.length_mm)
        for n, one in enumerate(places, start=1)
    )
    return made


def _check(values: Mapping[str, object], places: Sequence[Place]) -> None:
    volumes = values.get("volumes")
    if isinstance(volumes, list):
        if not 1 <= len(volumes) <= YEARS_AT_MOST:
            raise EntryRefused(
                _("Enter the parts of 1 to {most} years, one figure for each year.").format(most=YEARS_AT_MOST),
                field="volumes",
            )
        if any(not 0 <= parts <= PARTS_AT_MOST for parts in volumes) or not any(volumes):
            raise EntryRefused(
                _("Parts of a year are nought or more, and at least one year has some."), field="volumes"
            )
    if not places:
        raise EntryRefused(_("Enter at least one cutting place: without an edge nothing goes dull."), field="places")
    on, until = values.get("on"), values.get("valid_until")
    if isinstance(on, dt.date) and isinstance(until, dt.date) and until < on:
        raise EntryRefused(_("The offer would end before it begins."), field="valid_until")


def _save(outline: Outline, by: AbstractBaseUser) -> None:
    outline.user_id = by.pk
    outline.changed_at = timezone.now()
    outline.save()


@transaction.atomic
def copy_outline(*, by: AbstractBaseUser, outline: Outline) -> Outline:
    """The same outline once more, with its places, ways and assumptions, dated today."""
    places, ways = list(outline.places.all()), list(outline.ways.all())
    made = Outline.objects.get(pk=outline.pk)
    made.pk, made.key, made.put_away_at = None, fresh_key(), None
    days = (made.valid_until - made.on).days if made.valid_until else None
    made.on = timezone.localdate()
    made.valid_until = None if days is None else made.on + dt.timedelta(days=days)
    made._state.adding = True
    _save(made, by)
    for place in places:
        place.pk, place.outline = None, made
    for way in ways:
        way.pk, way.outline = None, made
    OutlinePlace.objects.bulk_create(places)
    OutlineWay.objects.bulk_create(ways)
    return made


@transaction.atomic
def put_way(
    *, by: AbstractBaseUser, outline: Outline, values: Mapping[str, object], way: OutlineWay | None = None
) -> OutlineWay:
    """A way of building it, new or changed. Raises EntryRefused where there are five already or a price is negative."""
    taken = list(outline.ways.values_list("sequence", flat=True))
    if way is None and len(taken) >= WAYS_AT_MOST:
        raise EntryRefused(_("{most} ways stand there already. Take one away first.").format(most=WAYS_AT_MOST))
    price = values.get("price")
    if isinstance(price, Decimal) and price < 0:
        raise EntryRefused(_("A tool does not cost less than nothing."), field="price")
    made = way or OutlineWay(outline=outline, sequence=max(taken, default=0) + 1)
    for name, value in values.items():
        setattr(made, name, value)
    made.save()
    _save(outline, by)
    return made


@transaction.atomic
def drop_way(*, by: AbstractBaseUser, way: OutlineWay) -> None:
    outline = way.outline
    way.delete()
    for n, row in enumerate(outline.ways.order_by("sequence"), start=1):
        if row.sequence != n:
            row.sequence = n
            row.save(update_fields=["sequence"])
    _save(outline, by)


def assume(*, by: AbstractBaseUser, outline: Outline, figures: Mapping[str, float], shop_pays: Sequence[str]) -> None:
    """figures: those that are other than usual, by name. shop_pays: elements of cost that the shop bears."""
    outline.assumed = dict(sorted(figures.items()))
    outline.shop_pays = sorted(shop_pays)
    _save(outline, by)


def put_away(*, by: AbstractBaseUser, outline: Outline, away: bool) -> None:
    outline.put_away_at = timezone.now() if away else None
    _save(outline, by)


@transaction.atomic
def put_prices(*, by: AbstractBaseUser, plant: Plant, day: dt.date, prices: Mapping[str, Decimal]) -> int:
    """Prices of elements that hold from a day on; one of the same day takes the place of the one before. How many."""
    for element, price in prices.items():
        if element not in ELEMENTS:
            raise EntryRefused(_("There is no element called {element!r}.").format(element=element))
        if price < 0:
            raise EntryRefused(
                _("{element}: a price is nought or more.").format(element=_(ELEMENTS[element].words)), field=element
            )
        told: dict[str, object] = {"price": price, "user_id": by.pk}
        ElementPrice.objects.update_or_create(plant=plant, element=element, valid_from=day, defaults=told)
    return len(prices)
