"""What will be spent on spares in the twelve months ahead: for the shop, by supplier, by die. Glue."""

from __future__ import annotations

import calendar
import datetime as dt
from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from diestore.register.models import Plant
from diestore.texts import gettext_noop
from maintenance.log import purchase_reads
from maintenance.log.purchase_reads import Coming
from reports.purchasing.demand import DemandRefused
from reports.purchasing.laws import LawRefused
from reports.purchasing.spend import MONTHS, Buy, Part, Rule, Spend, buys_ahead, total

from . import advice
from .advice import SpareRow
from .remembered import Remembered
from .use import PlantAhead

NO_SUPPLIER = gettext_noop("no supplier entered")


@dataclass(frozen=True, kw_only=True)
class Month:
    """first, last: its days as far as they are ahead."""

    first: dt.date
    last: dt.date


@dataclass(frozen=True, kw_only=True, eq=False)
class OfOne:
    """The spend of a supplier or of a die. pk: of the die, 0 of a supplier."""

    name: str
    pk: int
    spend: Spend


@dataclass(frozen=True, kw_only=True, eq=False)
class MonthsAhead:
    """left_out: spares of which nothing can be said or that have no price. no_day: pieces on the way without a day, put
    into the first month."""

    today: dt.date
    records_until: dt.date
    months: tuple[Month, ...]
    shop: Spend
    suppliers: tuple[OfOne, ...]
    dies: tuple[OfOne, ...]
    left_out: int
    no_day: int

    def of(self, *, supplier: str = "", die: int | None = None) -> OfOne | None:
        """One of them by name; None: it is not among them."""
        some = [one for one in self.dies if one.pk == die] if die else []
        return next(iter(some or [one for one in self.suppliers if supplier and one.name == supplier]), None)


def months_from(today: dt.date, *, n: int = MONTHS) -> tuple[Month, ...]:
    """The rest of this month, from its last day on the next one, and those after it."""
    made: list[Month] = []
    first = today
    while len(made) < n:
        last = first.replace(day=calendar.monthrange(first.year, first.month)[1])
        if last > today:
            made.append(Month(first=first, last=last))
        first = last + dt.timedelta(days=1)
    return tuple(made)


def of_plant(plant: Plant) -> MonthsAhead:
    """Of every spare of a plant, from the log."""
    ahead = advice.whole_plant(plant)
    return of_rows(advice.all_spares(plant, ahead=ahead), ahead, purchase_reads.on_the_way(plant, today=ahead.today))


def of_rows(rows: Iterable[SpareRow], ahead: PlantAhead, coming: dict[int, list[Coming]]) -> MonthsAhead:
    """An item's money goes to its dies by their share of its use in the year; what no die uses, to none."""
    months = months_from(ahead.today)
    ends = [(month.last - ahead.today).days for month in months]
    parts: list[Part] = []
    by_supplier: dict[str, list[Part]] = defaultdict(list)
    by_die: dict[tuple[str, int], list[Part]] = defaultdict(list)
    left_out = no_day = 0
    for row in rows:
        on_the_way = coming.get(row.item.pk, [])
        no_day += sum(one.pieces for one in on_the_way if one.due_on is None)
        try:
            buys = _buys(row, ahead, ends)
        except (DemandRefused, LawRefused):
            buys = None
        left_out += buys is None
        sure = _sure(on_the_way, row, months)
        if not buys and not sure:
            continue
        part = Part(buys=tuple((buy, 1.0) for buy in buys or ()), sure=sure)
        parts.append(part)
        by_supplier[row.supplier or NO_SUPPLIER].append(part)
        for die, share in _shares(row, ahead).items():
            by_die[die].append(
                Part(buys=tuple((buy, share) for buy in buys or ()), sure={m: share * n for m, n in sure.items()})
            )
    return MonthsAhead(
        today=ahead.today,
        records_until=ahead.records_until,
        months=months,
        shop=total(parts),
        suppliers=tuple(OfOne(name=name, pk=0, spend=total(some)) for name, some in sorted(by_supplier.items())),
        dies=tuple(OfOne(name=name, pk=pk, spend=total(some)) for (name, pk), some in sorted(by_die.items())),
        left_out=left_out,
        no_day=no_day,
    )


_ordered: Remembered[tuple[Buy, ...]] = Remembered()


def _buys(row: SpareRow, ahead: PlantAhead, ends: list[int]) -> tuple[Buy, ...] | None:
    """None: nothing can be said of it, or it has no price."""
    told, price = row.advice, row.item.unit_price
    if told is None or price is None:
        return None
    last = ahead.ends(row.item.pk)
    rule = Rule(
        position=row.there + max(row.on_order, 0),
        point=told.point,
        first=max(told.quantity or told.lot, row.item.pack_size),
        lot=max(told.lot, row.item.pack_size),
        unit_price=float(price),
        ends=None if last is None else (last - ahead.today).days,
    )
    lead = ahead.lead(row.item)

    def work_out() -> tuple[Buy, ...]:
        return buys_ahead(rule, lambda days: ahead.use(row.item.pk, days), lead=lead, month_ends=ends)

    if not ahead.remembers:
        return work_out()
    return _ordered.of((rule, lead, tuple(ends), ahead.basis_of(row.item.pk)), work_out)


def _sure(coming: Iterable[Coming], row: SpareRow, months: tuple[Month, ...]) -> dict[int, float]:
    """What is ordered, in the month in which it is due, at the price agreed; what is late, in the first."""
    sure: dict[int, float] = defaultdict(float)
    for one in coming:
        price = one.unit_price if one.unit_price is not None else row.item.unit_price
        if price is None:
            continue
        month = 0 if one.due_on is None else sum(one.due_on > month.last for month in months)
        sure[month] += one.pieces * float(price)
    return dict(sure)


def _shares(row: SpareRow, ahead: PlantAhead) -> dict[tuple[str, int], float]:
    """(code, number) of a die -> its share of the use of an item in a year."""
    item = row.item.pk
    places = ahead.places.get(item, [])
    numbers = {place.row.die_code: place.row.die_id for place in places}
    if len(numbers) < 2:
        return dict.fromkeys(numbers.items(), 1.0)
    rate = ahead.rate_of(item)
    weights: dict[str, float] = defaultdict(float)
    for group in ahead.groups(item, 365):
        broken = rate.per_stroke * group.piece_strokes if rate else 0.0
        weights[group.label] += group.ground_out().mean + broken
    together = sum(weights.values())
    return {(code, numbers[code]): w / together for code, w in weights.items()} if together > 0 else {}


# --- kept with the night's figures ------------------------------------------------------------------------------------


def to_keep(found: MonthsAhead) -> dict:
    return {
        "today": found.today.isoformat(),
        "records_until": found.records_until.isoformat(),
        "shop": _spend_to_keep(found.shop),
        "suppliers": [[one.name, one.pk, _spend_to_keep(one.spend)] for one in found.suppliers],
        "dies": [[one.name, one.pk, _spend_to_keep(one.spend)] for one in found.dies],
        "left_out": found.left_out,
        "no_day": found.no_day,
    }


def from_kept(kept: dict) -> MonthsAhead:
    today = dt.date.fromisoformat(kept["today"])
    suppliers, dies = (
        tuple(OfOne(name=name, pk=pk, spend=_spend_of(spend)) for name, pk, spend in kept[which])
        for which in ("suppliers", "dies")
    )
    return MonthsAhead(
        today=today,
        records_until=dt.date.fromisoformat(kept["records_until"]),
        months=months_from(today),
        shop=_spend_of(kept["shop"]),
        suppliers=suppliers,
        dies=dies,
        left_out=kept["left_out"],
        no_day=kept["no_day"],
    )


_SERIES = ("low", "half", "high", "mean", "sure")


def _spend_to_keep(spend: Spend) -> dict:
    """To the cent."""
    rounded = {name: [round(float(n), 2) for n in getattr(spend, name)] for name in _SERIES}
    return {**rounded, "year": [round(float(n), 2) for n in spend.year]}


def _spend_of(kept: dict) -> Spend:
    low, half, high, mean, sure = (np.array(kept[name], float) for name in _SERIES)
    a, b, c, d = kept["year"]
    return Spend(low=low, half=half, high=high, mean=mean, sure=sure, year=(a, b, c, d))
