"""The ledger of a die from its own log: each entry with its day, its price of that day and where it is seen."""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from decimal import Decimal

from django.urls import reverse
from django.utils import timezone

from diestore.register.models import Die
from maintenance.clockwork.works import OPERATIONS
from maintenance.log.payers import ENTRIES
from reports.costing.ledger import Ledger, LedgerEntry, Payer, Plan, bearer_of, in_cents, plan_of, used_up
from reports.costing.money import quantity, rounded

from . import reads
from .reads import BillOfDie, GrindDay, SpareFitted, Spent, StopOfDie, entry_of
from .sheets import DieCost, Rates, build_of, cost_per_thousand, scrapped_worth

SIXTY = Decimal(60)
PLANNED = frozenset({"dull", "ground out"})  # of spares: they wore down
UNPLANNED = frozenset({"chipped", "broken"})
OF_BILLS = {"build": Plan.PLANNED, "sharpening": Plan.PLANNED, "repair": Plan.UNPLANNED, "stop": Plan.UNPLANNED}


@dataclass(frozen=True, kw_only=True)
class DieLedger:
    """cost: the sheet that the ledger agrees with, element by element. links: by the key of an entry, where it is seen.

    orders: by the key of an entry, the order that a spare came by. payers: by the key, who pays by name; payer_ids: by
    its number. payables: by the key, the entry of the log of which the shop may say that somebody else pays. made: what
    was run in each month.
    """

    die: Die
    cost: DieCost
    ledger: Ledger
    links: Mapping[str, str]
    orders: Mapping[str, int]
    payers: Mapping[str, str]
    payer_ids: Mapping[str, int]
    payables: Mapping[str, tuple[str, int]]
    left_out: tuple[str, ...]
    made: Mapping[dt.date, Spent]


def ledger_of(die: Die) -> DieLedger:
    """All that its cost sheet holds, an entry each. What the sheet leaves out for want of a price is left out here."""
    cost = cost_per_thousand(die)
    spent, rates = cost.spent or Spent(die=die.pk), cost.rates or Rates(toolroom=(), press=())
    log = _Log(die, spent, rates)
    entries = in_cents(log.entries())
    made = reads.made_by_month(die)
    shares = list(_build_used(die, entries, made))
    return DieLedger(
        die=die,
        cost=cost,
        ledger=Ledger(entries=(*entries, *shares)),
        links=log.links | {entry.key: reverse("diestore:die", args=[die.pk]) for entry in shares},
        orders=log.orders,
        payers=log.payers | {entry.key: log.builder for entry in shares},
        payer_ids=log.payer_ids,
        payables=log.payables,
        made=made,
        left_out=tuple(_left_out(die, cost, dated=bool(entries))),
    )


def pays_now(spent: Spent, at: dt.datetime) -> dict[str, int | None]:
    """Of each element of which the shop said who pays: who does at a moment, by his number. None: the shop."""
    bearers = [one.bearer for one in spent.bearers if not one.bearer.entry]
    held = {e: bearer_of(bearers, element=e, at=at, entry="") for e in {one.element for one in bearers}}
    return {element: one.payer for element, one in held.items() if one is not None}


def paid_by(cost: DieCost) -> dict[int | None, Decimal]:
    """What each paid for a die so far, by his number, None: the shop; with the cents of its ledger. Asks nothing."""
    spent, rates = cost.spent or Spent(die=cost.die.pk), cost.rates or Rates(toolroom=(), press=())
    log = _Log(cost.die, spent, rates)
    sums: dict[int | None, Decimal] = defaultdict(Decimal)
    for entry in in_cents(log.entries()):
        if entry.paid is not None:
            sums[log.payer_ids.get(entry.key)] += entry.amount
    return dict(sums)


def _left_out(die: Die, cost: DieCost, *, dated: bool) -> Iterator[str]:
    yield from (words for words in cost.sheet.left_out if "spent, but no good part" not in words)
    if any("scrapped, worth not known" in words for words in cost.sheet.left_out):
        yield "It is known once the stock has a price a kilogram, and the die its pitch and strip width."
    if die.build_price is not None and not dated:
        yield "The build price has no month, since nothing is in the log yet."
    if die.build_price is not None and not die.expected_parts:
        yield "Of the build price nothing is used up here, since the parts the die is built for are not known."


def _day(at: dt.datetime) -> dt.date:
    return timezone.localdate(at)


class _Log:
    """The entries of one die, not rounded yet, and what is said of each beside its money."""

    def __init__(self, die: Die, spent: Spent, rates: Rates) -> None:
        self.die, self.spent, self.rates = die, spent, rates
        self.links: dict[str, str] = {}
        self.orders: dict[str, int] = {}
        self.payers: dict[str, str] = {}
        self.payer_ids: dict[str, int] = {}
        self.payables: dict[str, tuple[str, int]] = {}
        self.builder = str(die.owner) if die.owner_id else ""
        self.bearers = [one.bearer for one in spent.bearers]
        self.names = {one.bearer.payer: one.payer_name for one in spent.bearers if one.bearer.payer is not None}

    def entries(self) -> Iterator[LedgerEntry]:
        for grind in self.spent.grinds:
            yield from self._grind(grind)
        for spare in self.spent.spares:
            yield from self._spare(spare)
        for stop in (*self.spent.stops, *self.spent.scrap):
            yield from self._stop(stop)
        for bill in self.spent.bills:
            yield self._bill(bill)
        yield from self._build()

    def _payer(self, key: str, payer: int | None, name: str = "") -> Payer:
        """Who pays for the entry of that key, kept with his name."""
        if payer is None:
            return Payer.SHOP
        self.payers[key], self.payer_ids[key] = name or self.names.get(payer, ""), payer
        return Payer.OWNER if payer == self.die.owner_id else Payer.CUSTOMER

    def _borne(self, key: str, element: str, at: dt.datetime, sort: str, pk: int) -> Payer:
        """The same by what the shop said of the die, or of this entry. sort, pk: of the entry, as addresses name it."""
        if sort in ENTRIES:
            self.payables[key] = (sort, pk)
        bearer = bearer_of(self.bearers, element=element, at=at, entry=entry_of(sort, at if sort == "work" else pk))
        return self._payer(key, bearer.payer if bearer is not None else None)

    def _build(self) -> Iterator[LedgerEntry]:
        price, first = self.die.build_price, self._first_day()
        if price is None or first is None:
            return
        self.links["build"] = reverse("diestore:die", args=[self.die.pk])
        yield LedgerEntry(
            key="build",
            element="build",
            amount=price,
            paid=first,
            used=None,
            plan=Plan.PLANNED,
            payer=self._payer("build", self.die.owner_id, self.builder),
            words="the build",
            basis="dated by the first entry",
        )

    def _first_day(self) -> dt.date | None:
        spent = self.spent
        rows = (*spent.grinds, *spent.spares, *spent.stops, *spent.scrap, *spent.bills)
        days = [row.at for row in rows] + ([spent.first] if spent.first else [])
        return _day(min(days)) if days else None

    def _grind(self, row: GrindDay) -> Iterator[LedgerEntry]:
        day = _day(row.at)
        rate = self.rates.on("toolroom", day)
        if row.outside or row.hours is None or not row.hours or rate is None:
            return
        key, hours = f"work-{row.pk}", quantity(row.hours, "the hours")
        element = "sharpening" if row.sharpening else "repair"
        self.links[key] = reverse("maintenance:entry", args=["work", row.pk])
        yield LedgerEntry(
            key=key,
            element=element,
            payer=self._borne(key, element, row.at, "work", row.pk),
            amount=hours * rate,
            paid=day,
            used=day,
            plan=Plan.UNPLANNED if row.chipped else Plan.NOT_SAID if row.other else Plan.PLANNED,
            words=f"{OPERATIONS[row.operation].words}, {row.pieces} piece{'' if row.pieces == 1 else 's'}",
            basis=f"{hours.normalize():f} h at {rounded(rate):,}",
        )

    def _spare(self, row: SpareFitted) -> Iterator[LedgerEntry]:
        if row.price is None:
            return
        key, day = f"replacement-{row.pk}", _day(row.at)
        self.links[key] = reverse("maintenance:entry", args=["replacement", row.pk])
        if row.price.order is not None:
            self.orders[key] = row.price.order
        yield LedgerEntry(
            key=key,
            element="spares",
            payer=self._borne(key, "spares", row.at, "replacement", row.pk),
            amount=row.price.amount,
            paid=min(_day(row.price.came), day) if row.price.came else day,
            used=day,
            plan=plan_of([row.why], planned=PLANNED, unplanned=UNPLANNED),
            words=f"{row.item} into {row.place}",
            basis=row.price.told_by.value,
        )

    def _stop(self, row: StopOfDie) -> Iterator[LedgerEntry]:
        day = _day(row.at)
        rate = self.rates.on("press", day)
        minutes = quantity(row.minutes, "the minutes")
        link = reverse("maintenance:entry", args=[row.of, row.pk])
        if minutes and rate is not None:
            self.links[f"stop-{row.pk}"] = link
            yield LedgerEntry(
                key=f"stop-{row.pk}",
                element="stop",
                payer=self._borne(f"stop-{row.pk}", "stop", row.at, row.of, row.pk),
                amount=minutes * rate / SIXTY,
                paid=day,
                used=day,
                plan=Plan.UNPLANNED,
                words=f"stop: {row.cause}",
                basis=f"{minutes.normalize():f} min at {rounded(rate):,} an hour",
            )
        each, told_by = scrapped_worth(self.die, self.spent, row, self.rates) if row.parts_scrapped else (None, "")
        if each is not None:
            key = f"scrap-{row.pk}" if row.of == "stop" else f"scrap-{row.of}-{row.pk}"
            n = row.parts_scrapped
            self.links[key] = link
            yield LedgerEntry(
                key=key,
                element="stop",
                payer=self._borne(key, "stop", row.at, row.of, row.pk),
                amount=n * each,
                paid=day,
                used=day,
                plan=Plan.UNPLANNED,
                words=f"{n:,} part{'' if n == 1 else 's'} scrapped: {row.cause}",
                basis=told_by,
            )

    def _bill(self, row: BillOfDie) -> LedgerEntry:
        if row.kind == "retirement":
            return self._end(row)
        key, day = f"bill-{row.pk}", _day(row.at)
        self.links[key] = (
            reverse("maintenance:bill", args=[row.bill])
            if row.bill is not None
            else f"{reverse('maintenance:bills')}?die={self.die.pk}"
        )
        return LedgerEntry(
            key=key,
            element=row.kind,
            amount=row.amount,
            paid=day,
            used=None if row.kind == "build" else _day(row.done) if row.done else day,
            plan=OF_BILLS.get(row.kind, Plan.NOT_SAID),
            payer=self._payer(key, row.payer, row.payer_name),
            words=row.words or "a bill",
            basis="as billed",
        )

    def _end(self, row: BillOfDie) -> LedgerEntry:
        """What the end of its life cost, or brought."""
        brought = row.amount < 0
        key, day = f"retirement-{row.pk}{'-worth' if brought else ''}", _day(row.at)
        self.links[key] = reverse("maintenance:entry", args=["retirement", row.pk])
        return LedgerEntry(
            key=key,
            element="retirement",
            amount=row.amount,
            paid=day,
            used=day,
            plan=Plan.PLANNED,
            payer=self._payer(key, row.payer, row.payer_name),
            words=f"{row.words}: what it brought" if brought else row.words,
            basis="as entered",
        )


def _build_used(die: Die, entries: list[LedgerEntry], made: Mapping[dt.date, Spent]) -> Iterator[LedgerEntry]:
    """What of the build is used up month by month, as its parts are made."""
    build = build_of(die)
    paid = [entry for entry in entries if entry.used is None]
    if build is None or not paid:
        return
    parts = {month: of_month.parts for month, of_month in made.items()}
    for entry in paid:
        for month, share in used_up(entry.amount, entry.paid, parts, build.expected_parts):
            yield LedgerEntry(
                key=f"{entry.key} {month:%Y-%m}",
                element="build",
                amount=share,
                paid=None,
                used=max(month, entry.paid),
                plan=Plan.PLANNED,
                payer=entry.payer,
                words=f"{entry.words}: used up in {month:%b %Y}",
                basis=f"by parts made, of {build.expected_parts:,}",
            )
