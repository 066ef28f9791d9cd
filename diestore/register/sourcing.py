"""Writes of who supplies a spare: entered, changed, ended, priced, preferred; and of a level set by hand.

The item's own supplier, lead time, pack and price are those of its preferred source: `follow` keeps them so after
every write here and each night, since a price list may begin on a day of its own.
"""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Mapping, Sequence
from decimal import Decimal

from django.core.exceptions import ValidationError
from django.db import IntegrityError, transaction
from django.utils import timezone

from diestore.access import shop
from diestore.handbook import limits

from . import changes
from .models import Item, Plant
from .sources import BREAKS_AT_MOST, PRICE_AT_MOST, Source, SourcePrice, SpareLevel, list_of, priced
from .writing import ChangeRefused, user_of

Prices = Sequence[tuple[int, Decimal]]  # from so many pieces on, a price
FOLLOWS = ("supplier_id", "lead_days", "pack_size", "unit_price")  # of the item, told by its preferred source
COLUMNS = (
    "sort", "service", "supplier", "part_number", "least_quantity", "pack_size", "lead_days", "on_their_shelf",
    "currency", "shop_money", "priced_by", "minutes_each", "incremental", "preferred", "why_preferred",
)  # fmt: skip
YEARS_AHEAD = 10


def enter(
    *, by, item: Item, values: Mapping[str, object], prices: Prices = (), prices_from: dt.date | None = None,
    in_its_place: bool = False,
) -> Source:  # fmt: skip
    """One more source. values: by column of `COLUMNS`. prices: of a list that holds from a day on.

    in_its_place: where another source is preferred, it is so no longer. Raises ChangeRefused.
    """
    with transaction.atomic():
        item = _held(item)
        source = Source(item=item, **values)
        _keep(by, source, in_its_place)
        if prices:
            _put_prices(by, source, prices, prices_from)
        follow([item], by=by)
    return source


def change(
    *, by, source: Source, values: Mapping[str, object], prices: Prices | None = None,
    prices_from: dt.date | None = None, in_its_place: bool = False, seen: int | None = None,
) -> Source:  # fmt: skip
    """A source as it was typed. prices None: they stay. A list of a day that has one takes its place; of another day
    it holds from there on. seen: the change that it was typed over."""
    with transaction.atomic():
        item = _held(source.item)
        source = Source.objects.select_for_update(of=("self",)).get(pk=source.pk)
        if not source.stands:
            raise ChangeRefused(f"{source} ended on {source.ended_on:%d %b %Y}. Enter it as another source.")
        if seen is not None and seen != source.changes:
            raise ChangeRefused("Somebody changed this source since you opened it. Open it again and look at it; "
                                "nothing of what you typed is saved.")  # fmt: skip
        for name, value in values.items():
            setattr(source, name, value)
        source.changes += 1
        _keep(by, source, in_its_place)
        if prices is not None:
            _put_prices(by, source, prices, prices_from)
        else:
            check_prices(source, [(r.from_quantity, r.unit_price) for r in _now(source)])
        follow([item], by=by)
    return source


def end(*, by, source: Source, day: dt.date, reason: str) -> Source:
    """Nothing comes from there any more. Orders that are placed stay."""
    reason = " ".join(reason.split())
    if not reason:
        raise ChangeRefused("Say why it ends.", field="reason")
    today = timezone.localdate()
    if day > today:
        raise ChangeRefused("This day is still to come. End it once it is so.", field="day")
    if day < today - dt.timedelta(days=366 * YEARS_AHEAD):
        raise ChangeRefused(f"{day.isoformat()} cannot be. Check the year.", field="day")
    with transaction.atomic():
        item = _held(source.item, retired=True)
        source = Source.objects.select_for_update(of=("self",)).get(pk=source.pk)
        if not source.stands:
            raise ChangeRefused(f"{source} ended on {source.ended_on:%d %b %Y} already.")
        source.ended_on, source.ended_reason, source.preferred = day, reason[:300], False
        source.changes += 1
        _save(by, source)
        follow([item], by=by)
    return source


def _held(item: Item, *, retired: bool = False) -> Item:
    """One writer of an item's sources at a time. retired: it may be."""
    item = Item.objects.select_for_update(of=("self",)).get(pk=item.pk)
    if item.retired_at is not None and not retired:
        since = timezone.localtime(item.retired_at)
        raise ChangeRefused(f"{item} is no longer offered (since {since:%d %b %Y}). Enter the source at the spare "
                            "that took its place.", field="item")  # fmt: skip
    return item


def _keep(by, source: Source, in_its_place: bool) -> None:
    check(source)
    others = Source.objects.filter(item=source.item_id, ended_on=None).exclude(pk=source.pk)
    if source.preferred and (other := others.filter(preferred=True).first()) is not None:
        if not in_its_place:
            raise ChangeRefused(
                f"{other} is preferred, and only one source can be. Tick that this one takes its place, or leave that "
                "one.", field="preferred",
            )  # fmt: skip
        other.preferred, other.why_preferred = False, ""
        other.changes += 1
        _save(by, other)
    try:
        source.full_clean(validate_constraints=False)
    except ValidationError as error:
        errors = {name: " ".join(messages) for name, messages in error.message_dict.items()}
        first = next(iter(errors))
        raise ChangeRefused(errors[first], field="" if first == "__all__" else first, errors=errors) from error
    _save(by, source)


def _save(by, row) -> None:
    row._history_user = user_of(by)
    try:
        with transaction.atomic():
            row.save()
    except IntegrityError as error:
        raise ChangeRefused("This source contradicts another one or itself. Open it again and look at it.") from error


def check(source: Source) -> None:
    """Whether a source can be so. Raises ChangeRefused with a sentence that says what to do."""
    S = Source.Sort
    if source.sort == S.IN_HOUSE and source.supplier_id:
        raise ChangeRefused("What is made in house has no supplier. Leave him out, or say how it is bought.",
                            field="supplier")  # fmt: skip
    if source.sort != S.IN_HOUSE and not source.supplier_id:
        raise ChangeRefused("Name the supplier, or say that it is made in house.", field="supplier")
    if source.supplier_id and source.supplier.retired_at is not None and (source.preferred or source.pk is None):
        raise ChangeRefused(f"{source.supplier} is no longer dealt with. Pick another supplier.", field="supplier")
    if source.sort == S.SERVICE and not source.service:
        raise ChangeRefused("Say which service: grinding, wire cutting, coating or welding.", field="service")
    if source.sort != S.SERVICE and source.service:
        raise ChangeRefused("Only an outside service is named so. Leave the service out.", field="service")
    _check_figures(source)


def _check_figures(source: Source) -> None:
    for name, what in (("lead_days", "Lead time"), ("least_quantity", "Least quantity"), ("pack_size", "Pack")):
        value, limit = getattr(source, name), limits.OF["source", name]
        if value is None:
            raise ChangeRefused(f"{what}: enter a number.", field=name)
        if not limit.holds(value):
            raise ChangeRefused(f"{what}: {limit.sentence(value)}", field=name)
    if source.lead_days == 0 and not source.on_their_shelf:
        raise ChangeRefused(
            "A lead time of nought days: is it on the shelf of the supplier? Tick that it is, or enter the days.",
            field="lead_days",
        )
    if not re.fullmatch(r"[A-Z]{3}", source.currency):
        raise ChangeRefused("The currency is three capital letters, such as EUR or USD (ISO 4217).", field="currency")
    if source.priced_by == Source.PricedBy.HOUR and not source.minutes_each:
        raise ChangeRefused("By the hour: say how many minutes a piece takes.", field="minutes_each")
    if source.priced_by != Source.PricedBy.HOUR and source.minutes_each:
        raise ChangeRefused("Minutes a piece are for what is priced by the hour. Leave them out.", field="minutes_each")
    if source.preferred and not source.why_preferred.strip():
        raise ChangeRefused("Say why it is preferred: price, time, quality, or that there is no other.",
                            field="why_preferred")  # fmt: skip
    if not source.preferred:
        source.why_preferred = ""


# --- prices -----------------------------------------------------------------------------------------------------------


def check_prices(source: Source, prices: Prices) -> None:
    """Whether a price list can be. Raises ChangeRefused."""

    def wrong(sentence: str) -> ChangeRefused:
        return ChangeRefused(sentence, field="prices")

    if len(prices) > BREAKS_AT_MOST:
        raise wrong(f"{len(prices)} price breaks; {BREAKS_AT_MOST} are the most.")
    before: tuple[int, Decimal] | None = None
    for pieces, price in sorted(prices):
        if not limits.OF["sourceprice", "from_quantity"].holds(pieces):
            raise wrong(f"From {pieces:,} pieces: {limits.OF['sourceprice', 'from_quantity'].sentence(pieces)}")
        if not price.is_finite() or price < 0:
            raise wrong(f"A price of {price:,.2f} is below nought. Enter what is paid.")
        if price > PRICE_AT_MOST:
            raise wrong(f"A price of {price:,.2f} cannot be. Enter 0 to {PRICE_AT_MOST:,}.")
        if before is not None and pieces == before[0]:
            raise wrong(f"From {pieces:,} pieces there are two prices. Leave one.")
        if before is not None and price > before[1]:
            raise wrong(
                f"The price rises with the quantity: {before[1].normalize():f} from {before[0]:,} pieces, "
                f"{price.normalize():f} from {pieces:,}. Look at the two again."
            )
        if before is not None and pieces < source.pack_size:
            raise wrong(
                f"A price from {pieces:,} pieces can never be had: it is sold in packs of {source.pack_size:,}. "
                "Put the pack or the break right."
            )
        before = pieces, price


def _put_prices(by, source: Source, prices: Prices, day: dt.date | None) -> None:
    check_prices(source, prices)
    day, today = day or timezone.localdate(), timezone.localdate()
    if not -366 * YEARS_AHEAD <= (day - today).days <= 366 * YEARS_AHEAD:
        raise ChangeRefused(f"{day.isoformat()} cannot be. Check the year.", field="prices_from")
    there = {row.from_quantity: row for row in source.prices.filter(valid_from=day)}
    for pieces, price in prices:
        row = there.pop(pieces, None)
        if row is None:
            row = SourcePrice(source=source, valid_from=day, from_quantity=pieces, unit_price=price)
        elif row.unit_price == price:
            continue
        row.unit_price = price  # type: ignore[assignment]
        _save(by, row)
    for row in there.values():
        row._history_user = user_of(by)
        row.delete()


def put_prices(*, by, source: Source, prices: Prices, day: dt.date) -> None:
    """A price list that holds from a day on, in place of one of the same day."""
    with transaction.atomic():
        item = _held(source.item)
        source = Source.objects.select_for_update(of=("self",)).get(pk=source.pk)
        if not source.stands:
            raise ChangeRefused(f"{source} ended on {source.ended_on:%d %b %Y}.")
        _put_prices(by, source, prices, day)
        source.changes += 1
        _save(by, source)
        follow([item], by=by)


def _now(source: Source) -> list[SourcePrice]:
    return list_of(source.prices.all(), timezone.localdate())


# --- the item follows -------------------------------------------------------------------------------------------------


def in_shop_money(source: Source, amount: Decimal, currency: str) -> Decimal | None:
    """An amount of the source in the shop's money. None: it is another currency, and nobody said what one is worth."""
    if source.currency == currency:
        return amount
    return None if source.shop_money is None else (amount * Decimal(str(source.shop_money))).quantize(Decimal("0.0001"))


def figures_of(source: Source, day: dt.date, currency: str) -> dict[str, object]:
    """What the item says by its preferred source. The price is that of the fewest pieces that can be bought; where no
    list holds yet it is left out, and the item keeps its own."""
    made: dict[str, object] = {
        "supplier_id": source.supplier_id, "lead_days": source.lead_days, "pack_size": source.pack_size,
    }  # fmt: skip
    told = priced(source, source.prices.all(), 1, day)
    if told is not None:
        made["unit_price"] = in_shop_money(source, told.each, currency)
    return made


def follow(items: Sequence[Item] | None = None, *, by=None) -> int:
    """Items say what their preferred source says. items None: all that have one. Returns how many were otherwise."""
    with_one = Source.objects.filter(preferred=True).select_related("item").prefetch_related("prices")
    if items is not None:
        with_one = with_one.filter(item__in=[item.pk for item in items])
    day, currency, n = timezone.localdate(), shop.current().currency, 0
    told = set()
    for source in with_one:
        item, now = source.item, figures_of(source, day, currency)
        if any(getattr(item, name) != value for name, value in now.items()):
            item._history_user, item._change_reason = user_of(by), "As its preferred source says"
            changes.save(item, **now)
            told.add(item.pk)
            n += 1
    for item in items or ():
        if item.pk not in told:
            changes.tell(item)  # its price breaks may be others
    return n


# --- a level by hand --------------------------------------------------------------------------------------------------


def set_level(
    *, by, plant: Plant, item: Item, chance_percent: float | None = None, least_pieces: int | None = None, reason: str
) -> SpareLevel:
    """From today on so much of a spare is kept, whatever is reckoned. One that stood is taken back."""
    reason = " ".join(reason.split())
    if (chance_percent is None) == (least_pieces is None):
        raise ChangeRefused("Enter how often it shall be enough, or how many pieces at least: one of the two.",
                            field="chance_percent")  # fmt: skip
    for name, value in (("chance_percent", chance_percent), ("least_pieces", least_pieces)):
        if value is not None and not limits.OF["sparelevel", name].holds(value):
            raise ChangeRefused(limits.OF["sparelevel", name].sentence(value), field=name)
    if not reason:
        raise ChangeRefused("Say why it is set by hand.", field="reason")
    with transaction.atomic():
        item = _held(item)
        today = timezone.localdate()
        SpareLevel.objects.filter(plant=plant, item=item, back_on=None).update(back_on=today, back_by=user_of(by))
        made = SpareLevel.objects.create(
            plant=plant, item=item, chance_percent=chance_percent, least_pieces=least_pieces, reason=reason[:300],
            set_on=today, set_by=user_of(by),
        )  # fmt: skip
        changes.tell(item)
    return made


def take_level_back(*, by, plant: Plant, item: Item) -> None:
    """What is reckoned counts again."""
    with transaction.atomic():
        item = _held(item, retired=True)
        level = SpareLevel.objects.filter(plant=plant, item=item, back_on=None)
        if not level.update(back_on=timezone.localdate(), back_by=user_of(by)):
            raise ChangeRefused(f"No level of {item} is set by hand.")
        changes.tell(item)
