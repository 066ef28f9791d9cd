"""Reads of the sources of a spare: their price lists, what each promises, and what it was seen to take."""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from decimal import Decimal
from statistics import median

from django.utils.formats import date_format
from django.utils.translation import gettext as _

from diestore.register.models import Item, Plant
from diestore.register.sources import Source, SourcePrice, SpareLevel, list_of
from maintenance.log import purchase_reads
from maintenance.log.purchase_reads import LeadSeen, price_words
from reports.purchasing.lead import LeadTrend, lead_trend
from reports.purchasing.lots import PriceFrom


@dataclass(frozen=True, kw_only=True)
class PriceList:
    """The rows of one day. begins: still to come."""

    day: dt.date
    rows: tuple[SourcePrice, ...]
    begins: bool

    @property
    def words(self) -> list[str]:
        told = _("{price} from {pieces:,}")
        return [told.format(price=price_words(row.unit_price), pieces=row.from_quantity) for row in self.rows]


@dataclass(frozen=True, kw_only=True)
class SourceRow:
    """One source as a page shows it. now: the list that holds; lists: all, the newest first. seen: lines of orders to
    this supplier that came, the latest last."""

    source: Source
    now: PriceList | None
    lists: tuple[PriceList, ...]
    seen: tuple[LeadSeen, ...]

    @property
    def coming(self) -> list[PriceList]:
        return [one for one in self.lists if one.begins]

    @property
    def days(self) -> list[int]:
        return [one.days for one in self.seen]

    @property
    def middle(self) -> float:
        return float(median(self.days))

    @property
    def least(self) -> int:
        return min(self.days)

    @property
    def most(self) -> int:
        return max(self.days)

    @property
    def promised(self) -> int:
        return sum(one.promised_days is not None for one in self.seen)

    @property
    def late(self) -> int:
        return sum(one.promised_days is not None and one.days > one.promised_days for one in self.seen)

    @property
    def trend(self) -> LeadTrend | None:
        return lead_trend(self.days)

    @property
    def each(self) -> list[tuple[int, Decimal]]:
        """By the hour: what a piece comes to at each break."""
        if self.now is None or self.source.priced_by != Source.PricedBy.HOUR:
            return []
        return [(row.from_quantity, self.source.each(row.unit_price)) for row in self.now.rows]


def of_item(
    item: Item, plant: Plant | None, today: dt.date, *, lines_seen: Callable[[], Iterable[LeadSeen]] | None = None
) -> list[SourceRow]:
    """All sources of a spare: the preferred one first, those that ended last. Three questions; two where the lines of
    orders that came are read elsewhere."""
    sources = list(Source.objects.filter(item=item).select_related("supplier").prefetch_related("prices"))
    if not sources:
        return []
    seen: dict[int | None, list[LeadSeen]] = defaultdict(list)
    lines = lines_seen() if lines_seen else purchase_reads.lead_times_seen(plant=plant, items=[item.pk])
    for one in lines:
        if one.item_id != item.pk:
            continue
        seen[one.supplier_id].append(one)
    made = [
        SourceRow(
            source=source, lists=tuple(_lists(source, today)), now=_now(source, today),
            seen=tuple(seen[source.supplier_id]) if source.supplier_id else (),
        )
        for source in sources
    ]  # fmt: skip
    return sorted(made, key=lambda row: (row.source.ended_on is not None, not row.source.preferred, row.source.pk))


def _lists(source: Source, today: dt.date) -> list[PriceList]:
    days = sorted({row.valid_from for row in source.prices.all()}, reverse=True)
    return [
        PriceList(day=day, rows=tuple(list_of(source.prices.all(), day)), begins=day > today) for day in days
    ]  # fmt: skip


def _now(source: Source, today: dt.date) -> PriceList | None:
    return next((one for one in _lists(source, today) if not one.begins), None)


@dataclass(frozen=True, kw_only=True)
class Supplied:
    """What the advice needs of a spare's preferred source, in the shop's money. price: of the fewest that can be had;
    breaks: cheaper ones from so many on."""

    supplier_id: int | None
    least_quantity: int
    price: float | None
    breaks: tuple[PriceFrom, ...] = ()
    incremental: bool = False


def supplied(items: Iterable[int] | None, *, day: dt.date, currency: str) -> dict[int, Supplied]:
    """Item -> its preferred source. One question."""
    sources = Source.objects.filter(preferred=True)
    if items is not None:
        sources = sources.filter(item__in=list(items))
    own = [field.attname for field in Source._meta.concrete_fields]
    of_price = ("valid_from", "from_quantity", "unit_price")
    found: dict[int, tuple[Source, list[SourcePrice]]] = {}
    for row in sources.order_by("pk").values_list(*own, *(f"prices__{name}" for name in of_price)):
        source = Source(**dict(zip(own, row[: len(own)], strict=True)))
        prices = found.setdefault(source.pk, (source, []))[1]
        if row[len(own)] is not None:
            prices.append(SourcePrice(source=source, **dict(zip(of_price, row[len(own) :], strict=True))))
    return supplied_by(found.values(), day=day, currency=currency)


def supplied_by(
    sources: Iterable[tuple[Source, Iterable[SourcePrice]]], *, day: dt.date, currency: str
) -> dict[int, Supplied]:
    """The same of preferred sources that are read already, each with its prices."""
    from diestore.register import sourcing

    made = {}
    for source, prices in sources:
        rows = [
            (row.from_quantity, sourcing.in_shop_money(source, source.each(row.unit_price), currency))
            for row in list_of(prices, day)
        ]
        known = [(n, price) for n, price in rows if price is not None]
        made[source.item_id] = Supplied(
            supplier_id=source.supplier_id, least_quantity=source.least_quantity, incremental=source.incremental,
            price=float(known[0][1]) if known else None,
            breaks=tuple(PriceFrom(pieces=n, unit_price=price) for n, price in known[1:]),
        )  # fmt: skip
    return made


def levels(plant: Plant, items: Iterable[int] | None = None) -> dict[int, SpareLevel]:
    """Item -> the level that somebody set by hand and that stands. One question."""
    rows = SpareLevel.objects.filter(plant=plant, back_on=None).select_related("set_by")
    if items is not None:
        rows = rows.filter(item__in=list(items))
    return {row.item_id: row for row in rows}


@dataclass(frozen=True, kw_only=True)
class Past:
    """Who changed what of the sources of a spare, the latest first."""

    at: dt.datetime
    who: str
    words: str


def past_of(item: Item, *, most: int = 30) -> list[Past]:
    """From the audit of the sources and their prices. Two questions."""
    made = []
    sources = {"+": _("{source} entered"), "~": _("{source} changed"), "-": _("{source} taken out")}
    lists = {
        "+": _("{source}: {price} from {pieces:,} since {day} entered"),
        "~": _("{source}: {price} from {pieces:,} since {day} changed"),
        "-": _("{source}: {price} from {pieces:,} since {day} taken out"),
    }
    for row in Source.history.filter(item=item).select_related("history_user", "supplier")[:most]:
        told = _("{source} ended") if row.ended_on else sources[row.history_type]
        words = told.format(source=row.instance.called)
        made.append(Past(at=row.history_date, who=str(row.history_user or ""), words=words))
    prices = SourcePrice.history.filter(source__item=item).select_related("history_user", "source__supplier")
    for row in prices[:most]:
        words = lists[row.history_type].format(
            source=row.source.called, price=price_words(row.unit_price), pieces=row.from_quantity,
            day=date_format(row.valid_from, "d M Y"),
        )  # fmt: skip
        made.append(Past(at=row.history_date, who=str(row.history_user or ""), words=words))
    return sorted(made, key=lambda one: one.at, reverse=True)[:most]
