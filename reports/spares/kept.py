"""The advice on the spares of a large shop, kept a row a spare from night to night.

To tell all spares of a thousand dies takes the better part of a minute. The night tells them; after an entry the queue
tells those anew that its die takes. Until then their rows say that they wait, and one spare by itself is told from the
log at once. What the whole shop says (how often a kind breaks, what a grind takes off, the day) is that of the night.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable
from dataclasses import asdict, dataclass, replace
from decimal import Decimal
from functools import cached_property

from django.db.models import QuerySet
from django.db.models.query import ModelIterable

from diestore.register.models import Die, Item, Plant
from maintenance.log import freshness, purchase_reads
from maintenance.log.data import OlderStock
from reports.models import KeptFigures, KeptSpare, KeptSpares
from reports.purchasing.ladder import Rung
from reports.purchasing.removal import Taken
from reports.purchasing.reorder import Advice

from . import advice as spares_advice
from . import months, reads, shelf
from . import why as spares_why
from .advice import FAR_AHEAD, Asked, SpareLine, SpareRow, Spares, Summed
from .costs import ShopCosts
from .mishaps import KindMishaps
from .shop_wide import ShopWide
from .use import PlantAhead, today_at

WORTH_KEEPING = 100  # dies; a smaller shop is told from its log at once
BATCH = 500
MONTHS, SHELF = "months", "shelf"  # names of the kept sums


@dataclass(frozen=True, kw_only=True)
class Made:
    """What was worked out and is not saved yet. items: that the rows stand for; None: all of the
    plant, and then the sums over all of them too."""

    kept: KeptSpares
    rows: list[SpareRow]
    items: frozenset[int] | None = None
    months: months.MonthsAhead | None = None
    shelf: shelf.Told | None = None


def work_out(plant: Plant) -> Made:
    """All spares of a plant, where it is large enough to keep them."""
    kept = KeptSpares(plant=plant, mark=freshness.mark(), today=today_at(plant), shop={})
    if Die.objects.filter(plant=plant).count() < WORTH_KEEPING:
        return Made(kept=kept, rows=[])
    ahead = spares_advice.whole_plant(plant)
    ahead.remembers = False
    rows = spares_advice.all_spares(plant, ahead=ahead)
    kept.today, kept.shop = ahead.today, _said(ahead.shop_wide)
    return Made(
        kept=kept,
        rows=rows,
        months=months.of_rows(rows, ahead, purchase_reads.on_the_way(plant, today=ahead.today)),
        shelf=shelf.told(shelf.of_rows(rows)),
    )


def work_out_waiting(plant: Plant) -> Made | None:
    """The spares that wait; all of them on a new day. None: none is kept."""
    kept = KeptSpares.objects.filter(plant=plant).first()
    if kept is None:
        return None
    mark = freshness.mark()
    changes = freshness.since(kept.mark)
    if changes is None or today_at(plant) != kept.today:
        return work_out(plant)
    items = freshness.items_of(changes, plant)
    shop = _without(_shop(kept), _dies(changes))
    in_use = reads.items_in_use(plant).filter(pk__in=items)  # one that nothing takes any more is dropped
    ahead = PlantAhead.of_items(plant, in_use, shop=shop)
    rows = spares_advice.all_spares(plant, ahead=ahead)
    grinds = shop.die_grinds | {row.die_id: row.die_grinds for row in ahead.rows}
    kept.mark, kept.shop = mark, _said(replace(shop, die_grinds=grinds))
    return Made(kept=kept, rows=rows, items=items)


def keep(made: Made) -> None:
    """In the place of those kept before; none where the shop is too small for it."""
    if made.items is None:
        KeptSpares.objects.filter(plant=made.kept.plant).delete()
        if not made.rows:
            return
    else:
        if not KeptSpares.objects.filter(pk=made.kept.pk).exists():
            return  # the night was quicker, and has seen more
        KeptSpare.objects.filter(kept=made.kept, item__in=made.items).delete()
    made.kept.save()
    if made.months is not None:
        KeptFigures.objects.create(kept=made.kept, name=MONTHS, figures=months.to_keep(made.months))
    if made.shelf is not None:
        KeptFigures.objects.create(kept=made.kept, name=SHELF, figures=shelf.to_keep(made.shelf))
    KeptSpare.objects.bulk_create((_kept(row, made.kept) for row in made.rows), batch_size=BATCH)


@dataclass(frozen=True)
class KeptList:
    """The kept rows of a plant, and which of them wait."""

    kept: KeptSpares
    waiting: frozenset[int]
    day_of_records: dt.date | None = None  # up to which the records of the plant tell now, where that is read already

    @classmethod
    def of(cls, plant: Plant, *, records_until: dt.date | None = None) -> KeptList | None:
        """None: none is kept, tell them from the log. Where nobody knows what changed since, all of them wait."""
        kept = KeptSpares.objects.filter(plant=plant).first()
        if kept is None:
            return None
        changes = freshness.since(kept.mark)
        if changes is None:
            return cls(kept, frozenset(kept.rows.values_list("item_id", flat=True)), records_until)
        return cls(kept, freshness.items_of(changes, plant), records_until)

    @cached_property
    def today(self) -> dt.date:
        return today_at(self.kept.plant, self.day_of_records)

    @property
    def records_until(self) -> dt.date:
        return _shop(self.kept).records_until

    @property
    def told_at(self) -> dt.datetime:
        """The moment up to which entries count."""
        return dt.datetime.fromisoformat(self.kept.mark["at"])

    @property
    def rows(self) -> QuerySet:
        """The most urgent first; each read comes as a SpareRow."""
        return self._as_rows(self._ordered.select_related("item__supplier", "item__newer"))

    @property
    def _ordered(self) -> QuerySet:
        listed = KeptSpare.objects.filter(kept=self.kept)
        return listed.order_by("order_day", "unknown", "stops_rank", "-short_sorted", "code", "item_id")

    def wanted(self, asked: Asked) -> QuerySet:
        listed = self.rows
        if asked.text:
            listed = listed.filter(words__contains=asked.text)
        if asked.within_days is not None:
            listed = listed.filter(order_day__lte=self.today.toordinal() + asked.within_days)
        if asked.supplier:
            listed = listed.filter(supplier=asked.supplier)
        return listed.filter(kind=asked.kind) if asked.kind else listed

    def part(self, asked: Asked, start: int, most: int) -> tuple[int, list[SpareRow]]:
        """How many are like that, and some of them."""
        wanted = self.wanted(asked)
        return wanted.order_by().count(), list(wanted[start : start + most])

    def summed(self) -> Summed:
        columns = ("code", "order_day", "unknown", "quantity_sorted", "told__each", "supplier", "kind")
        lines = (SpareLine(*line) for line in self._ordered.values_list(*columns))
        return Summed.of(
            (line._replace(price=None if line.price is None else Decimal(line.price)) for line in lines), self.today
        )

    def _as_rows(self, rows: QuerySet) -> QuerySet:
        today, waiting = self.today, self.waiting

        class Rows(ModelIterable):
            def __iter__(self):
                for row in super().__iter__():
                    yield _read(row, today, row.item_id in waiting)

        rows._iterable_class = Rows
        return rows


def of_plant(plant: Plant, *, records_until: dt.date | None = None) -> KeptList | Spares:
    """The spares of a plant as they are shown: kept where the shop is large, else from the log. records_until: the day
    up to which its records tell, where that is read already."""
    return KeptList.of(plant, records_until=records_until) or Spares(plant, records_until=records_until)


@dataclass(frozen=True, kw_only=True)
class Shorts:
    """The spares to order, as many as were asked for, and of how many."""

    found: int
    rows: list[SpareRow]
    today: dt.date | None
    records_until: dt.date | None
    waiting: int


def to_order(
    plant: Plant, *, within_days: int = 0, start: int = 0, most: int, records_until: dt.date | None = None
) -> Shorts:
    """Those to order now, the longest overdue first. within_days: and those whose day comes so soon."""
    listed = of_plant(plant, records_until=records_until)
    found, rows = listed.part(Asked(within_days=within_days), start, most)
    return Shorts(
        found=found, rows=rows, today=listed.today, records_until=listed.records_until, waiting=len(listed.waiting)
    )


def months_of(plant: Plant) -> months.MonthsAhead:
    """What is spent month by month: of a large shop as of last night, else from the log."""
    found = KeptFigures.objects.filter(kept__plant=plant, name=MONTHS).values_list("figures", flat=True).first()
    return months.of_plant(plant) if found is None else months.from_kept(found)


def shelf_of(plant: Plant) -> tuple[shelf.Told, dict[int, SpareRow]]:
    """What the shelf costs and prevents, and the rows of the spares that it names: of a large shop as of last night,
    without reading the rest of its rows; else from the log."""
    found = KeptFigures.objects.filter(kept__plant=plant, name=SHELF).values_list("figures", flat=True).first()
    listed = of_plant(plant)
    if found is None or not isinstance(listed, KeptList):
        rows = list(listed.wanted(Asked()))
        told = shelf.told(shelf.of_rows(rows))
        return told, {row.item.pk: row for row in rows if row.item.pk in told.items}
    told = shelf.from_kept(found)
    return told, {row.item.pk: row for row in listed.rows.filter(item__in=told.items)}


def why(item, plant: Plant) -> spares_why.Why:
    """One spare from the log as it stands now, with what was kept of the rest of a large shop."""
    return spares_why.why(item, plant, ahead=ahead_of(plant, [item]))


def ahead_of(plant: Plant, items: list[Item]) -> PlantAhead:
    """What is ahead of the dies that take some spares, from the log as it stands now."""
    longest = max((item.lead_days or 0 for item in items), default=0)
    kept = KeptSpares.objects.filter(plant=plant).first()
    if kept is None:
        return PlantAhead.of(plant, longest_lead_days=longest)
    changes = freshness.since(kept.mark)
    shop = replace(_shop(kept), die_grinds={}) if changes is None else _without(_shop(kept), _dies(changes))
    horizon_days = max(shop.horizon_days, PlantAhead.days_for(longest))
    return PlantAhead.of_items(plant, items, shop=replace(shop, today=today_at(plant), horizon_days=horizon_days))


def _said(shop: ShopWide) -> dict:
    return {
        "records_until": shop.records_until.isoformat(),
        "horizon_days": shop.horizon_days,
        "removal": asdict(shop.removal),
        "breaks": {kind: list(seen) for kind, seen in shop.breaks.items()},
        "die_grinds": {str(die): n for die, n in shop.die_grinds.items()},
        "costs": shop.costs.to_keep(),
        "records_since": shop.records_since.isoformat() if shop.records_since else None,
        "mishaps": {kind: seen.to_keep() for kind, seen in shop.mishaps.items()},
    }


def ahead_of_die(die: Die) -> PlantAhead:
    """What is ahead of one die: the same as of it among others."""
    return ahead_of_dies(die.plant, [die.pk])


def ahead_of_dies(plant: Plant, dies: Iterable[int]) -> PlantAhead:
    """What is ahead of some dies, from the log as it stands now, with what was kept of the rest of a large shop."""
    kept = KeptSpares.objects.filter(plant=plant).first()
    if kept is None:
        return PlantAhead.of(plant, dies=dies)
    shop = replace(_shop(kept), die_grinds={})
    until = shop.records_until
    return PlantAhead(plant, today_at(plant, until), until, list(dies), horizon_days=shop.horizon_days, shop=shop)


def _shop(kept: KeptSpares) -> ShopWide:
    shop = kept.shop
    return ShopWide(
        today=kept.today,
        records_until=dt.date.fromisoformat(shop["records_until"]) if "records_until" in shop else kept.today,
        horizon_days=shop["horizon_days"],
        removal=Taken(**shop.get("removal", {})),
        breaks={kind: tuple(seen) for kind, seen in shop["breaks"].items()},
        die_grinds={int(die): n for die, n in shop["die_grinds"].items()},
        costs=ShopCosts.from_kept(shop.get("costs", {})),
        mishaps={kind: KindMishaps.from_kept(seen) for kind, seen in shop.get("mishaps", {}).items()},
        records_since=dt.datetime.fromisoformat(shop["records_since"]) if shop.get("records_since") else None,
    )


def _dies(changes: freshness.Changes) -> frozenset[int]:
    return changes.dies_in("records", "forecast")


def _without(shop: ShopWide, dies: Iterable[int]) -> ShopWide:
    """What was counted of dies that were touched since counts no more."""
    dies = set(dies)
    return replace(shop, die_grinds={die: n for die, n in shop.die_grinds.items() if die not in dies})


def _kept(row: SpareRow, kept: KeptSpares) -> KeptSpare:
    return KeptSpare(
        kept=kept,
        item=row.item,
        code=row.code,
        kind=row.item.kind,
        supplier=row.supplier,
        words=row.words,
        told={
            "refusal": row.refusal,
            "places": row.places,
            "dies": list(row.dies),
            "advice": _advice(row.advice),
            "each": None if row.each is None else str(row.each),
            "older": [asdict(one) for one in row.older],
        },
        **{name: getattr(row, name) for name in _SAME},
    )


_SAME = (
    "on_hand", "on_order", "unknown", "order_day", "stops_rank", "lead_sorted", "half_sorted", "nine_sorted",
    "short_sorted", "quantity_sorted",
)  # fmt: skip


# Of the advice, what no column of a kept row holds.
_MORE = (
    "expected", "enough", "chase", "days_late", "service", "by_hand", "point", "lead", "late", "lead_seen",
    "cover_days", "lot", "yearly", "least_stock",
)  # fmt: skip


def _advice(advice: Advice | None) -> dict | None:
    if advice is None:
        return None
    return {
        "runs_out": advice.runs_out.isoformat() if advice.runs_out else None,
        "missing": list(advice.missing),
        "ladder": [asdict(rung) for rung in advice.ladder],
        **{name: getattr(advice, name) for name in _MORE},
    }


def _read(row: KeptSpare, today: dt.date, waits: bool) -> SpareRow:
    figures, advice = row.told["advice"], None
    if figures is not None:
        advice = Advice(
            half=row.half_sorted,
            nine_in_ten=row.nine_sorted,
            short_by=row.short_sorted,
            quantity=row.quantity_sorted,
            order_by=None if row.order_day == FAR_AHEAD else dt.date.fromordinal(row.order_day),
            runs_out=dt.date.fromisoformat(figures["runs_out"]) if figures["runs_out"] else None,
            missing=tuple(figures.get("missing", ())),
            ladder=tuple(Rung(**rung) for rung in figures.get("ladder", ())),
            **{name: figures[name] for name in _MORE if name in figures},
        )
    return SpareRow(
        item=row.item,
        on_hand=row.on_hand,
        on_order=row.on_order,
        advice=advice,
        today=today,
        refusal=row.told["refusal"],
        places=row.told["places"],
        dies=tuple(row.told["dies"]),
        waits=waits,
        older=tuple(OlderStock(**one) for one in row.told.get("older", ())),
    )
