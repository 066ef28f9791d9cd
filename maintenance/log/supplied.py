"""What the sources of spares say of the lines of an order: the price of so many, and whether so many can be had."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable
from decimal import Decimal

from django.utils import timezone
from django.utils.translation import gettext as _

from diestore.register import sources
from diestore.register.models import Item
from diestore.register.sources import Source


def by_supplier(items: Iterable[int], supplier: int | None) -> dict[int, Source]:
    """Item -> its standing source at a supplier, the preferred one first. Two questions, none without a supplier."""
    if supplier is None:
        return {}
    rows = Source.objects.filter(item__in=list(items), supplier=supplier, ended_on=None)
    return _first(rows.select_related("supplier").prefetch_related("prices"))


def preferred(items: Iterable[int]) -> dict[int, Source]:
    """Item -> its preferred source. Two questions."""
    rows = Source.objects.filter(item__in=list(items), preferred=True)
    return _first(rows.select_related("supplier").prefetch_related("prices"))


def _first(rows) -> dict[int, Source]:
    made: dict[int, Source] = {}
    for source in rows.order_by("-preferred", "entered_at", "pk"):
        made.setdefault(source.item_id, source)
    return made


def price_of(source: Source | None, quantity: int, currency: str, day: dt.date | None = None) -> Decimal | None:
    """Of one piece when so many are ordered on a day, today if none is said. None: no price, or another currency."""
    if source is None or source.currency != currency:
        return None
    told = sources.priced(source, source.prices.all(), quantity, day or timezone.localdate())
    return None if told is None else told.each


def odd_lot(source: Source | None, item: Item, quantity: int) -> str:
    """Why a supplier does not sell just so many, and what he does sell; empty where he does."""
    if source is None:
        return ""
    least, pack = source.least_quantity, source.pack_size
    up = max(-(-quantity // pack) * pack, -(-least // pack) * pack)
    if quantity < least:
        return _(
            "{item}: {quantity:,}, but {source} sells {least:,} at least. Take {up:,}, or order it all the same."
        ).format(item=item, quantity=quantity, source=source, least=least, up=up)
    if quantity % pack:
        down = quantity // pack * pack
        other = _("{down:,} or {up:,}").format(down=down, up=up) if down >= max(least, 1) else f"{up:,}"
        return _(
            "{item}: {quantity:,}, but {source} sells packs of {pack:,}. Take {other}, or order it all the same."
        ).format(item=item, quantity=quantity, source=source, pack=pack, other=other)
    return ""
