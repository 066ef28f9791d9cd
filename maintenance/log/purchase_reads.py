"""Reads of orders to suppliers: what is open, what is late, what is on the way of a spare, how long it took."""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from decimal import ROUND_HALF_UP, Decimal
from itertools import pairwise
from statistics import median
from typing import NamedTuple

from django.db.models import Count, IntegerField, Max, OuterRef, Q, QuerySet, Subquery, Sum
from django.db.models.functions import Coalesce
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop, ngettext

from diestore.register.models import Plant
from diestore.register.sources import Source
from maintenance.models import Event, PurchaseLine, PurchaseOrder, PurchaseStep, StockMovement

from . import bench_reads
from .rules import EntryRefused

Kind, Place = StockMovement.Kind, StockMovement.Place
DRAFT, PLACED, CONFIRMED, IN_PART, CLOSED, CANCELLED = STATES = (
    gettext_noop("draft"), gettext_noop("placed"), gettext_noop("confirmed"), gettext_noop("part received"),
    gettext_noop("closed"), gettext_noop("cancelled"),
)  # fmt: skip
CENT = Decimal("0.01")
WAITED_FOR = (PLACED, CONFIRMED, IN_PART)
SEEN_DAYS_AT_MOST = 3_650  # longer ago tells nothing of today's lead time


def price_words(value: Decimal | None) -> str:
    """To the cent, finer where a piece costs a part of one; nothing where no price is known."""
    if value is None:
        return ""
    cents = value.quantize(CENT, ROUND_HALF_UP)
    return f"{cents:,}" if cents == value else f"{value.normalize():,f}"


class Mark(NamedTuple):
    """How an order stands, for the mark that all pages use."""

    css: str
    word: str


@dataclass(frozen=True, kw_only=True)
class LineRow:
    """A line and how far it came. open: pieces still to come. due_on: promised, else expected by the lead time."""

    line: PurchaseLine
    received: int
    open: int
    due_on: dt.date | None
    days_late: int

    @property
    def is_promised(self) -> bool:
        return self.line.promised_on is not None

    @property
    def value(self) -> Decimal | None:
        return None if self.line.unit_price is None else self.line.quantity * self.line.unit_price

    @property
    def price(self) -> str:
        return price_words(self.line.unit_price)


@dataclass(frozen=True, kw_only=True)
class OrderRow:
    """An order with its lines. due_on: the earliest day of what is still to come. chased: when somebody last asked."""

    order: PurchaseOrder
    lines: tuple[LineRow, ...]
    state: str
    due_on: dt.date | None
    days_late: int
    chased_at: dt.datetime | None

    @property
    def pk(self) -> int:
        return self.order.pk

    @property
    def mark(self) -> Mark:
        if self.days_late:
            late = ngettext("{n} day late", "{n} days late", self.days_late).format(n=self.days_late)
            return Mark("short", late)
        return Mark("unknown" if self.state in (DRAFT, CANCELLED) else "", _(self.state).capitalize())

    @property
    def open(self) -> int:
        return sum(row.open for row in self.lines)

    @property
    def pieces(self) -> int:
        return sum(row.line.quantity for row in self.lines)

    @property
    def is_waited_for(self) -> bool:
        return self.state in WAITED_FOR

    @property
    def is_promised(self) -> bool:
        """Whether `due_on` is the supplier's own word, and not by the lead time."""
        return any(row.is_promised for row in self.lines if row.open and row.due_on == self.due_on)

    @property
    def value(self) -> Decimal | None:
        """Of the lines with a price; None where no line has one."""
        known = [row.value for row in self.lines if row.value is not None]
        return sum(known, Decimal(0)) if known else None

    @property
    def unpriced(self) -> int:
        return sum(row.value is None for row in self.lines)


@dataclass(frozen=True, kw_only=True)
class Coming:
    """Pieces of a spare on the way by one order. is_promised: by the supplier's own word, else by the lead time.
    unit_price: as agreed."""

    order_id: int
    number: str
    pieces: int
    due_on: dt.date | None
    is_promised: bool
    days_late: int
    placed_on: dt.date | None = None
    unit_price: Decimal | None = None


@dataclass(frozen=True, kw_only=True)
class LeadSeen:
    """A line that came whole: from placing to the last receipt, in days. promised_days: what was promised of it."""

    item_id: int
    supplier: str
    supplier_id: int | None
    number: str
    placed_on: dt.date
    came_on: dt.date
    days: int
    promised_days: int | None
    pieces: int


def _sum_of(**which) -> Coalesce:
    """Pieces in the standing movements of a line."""
    rows = StockMovement.objects.standing().filter(line=OuterRef("pk"), **which).order_by().values("line")
    return Coalesce(Subquery(rows.annotate(n=Sum("quantity")).values("n")[:1], output_field=IntegerField()), 0)


def _their_lead() -> Subquery:
    """The lead time that the supplier of the order promises for the spare of a line, where he is a source of it."""
    theirs = Source.objects.filter(item=OuterRef("item"), supplier=OuterRef("order__supplier"), ended_on=None)
    return Subquery(theirs.order_by("-preferred", "pk").values("lead_days")[:1], output_field=IntegerField())


def lines_of(orders: Iterable[int]) -> QuerySet[PurchaseLine]:
    """The lines of some orders with what came of each and what is still to come."""
    rows = PurchaseLine.objects.filter(order__in=list(orders)).select_related("item__newer", "order")
    rows = rows.annotate(
        came=_sum_of(place=Place.SHELF), to_come=_sum_of(place=Place.ON_ORDER), their_lead=_their_lead()
    )
    return rows.order_by("order", "sequence", "pk")


def open_lines_of(item: int, plants: Iterable[int]) -> list[PurchaseLine]:
    """Lines of drafts, and of placed orders that are still waited for, that name a spare. One question."""
    lines = PurchaseLine.objects.filter(order__plant__in=list(plants), item=item, order__cancelled_at=None)
    lines = lines.annotate(to_come=_sum_of(place=Place.ON_ORDER)).select_related("order__supplier", "order__plant")
    open_ones = lines.filter(Q(order__placed_at=None) | Q(to_come__gt=0))
    return list(open_ones.order_by("order__opened_at", "order__number", "pk"))


def expected_on(line: PurchaseLine) -> dt.date | None:
    """The day that was promised; until then the day of placing and the lead time that this supplier promises."""
    if line.promised_on is not None:
        return line.promised_on
    theirs = getattr(line, "their_lead", None)
    placed, lead = line.order.placed_at, line.item.lead_days if theirs is None else theirs
    return None if placed is None or lead is None else timezone.localdate(placed) + dt.timedelta(days=lead)


def _line_row(line: PurchaseLine, today: dt.date) -> LineRow:
    due, still = expected_on(line), max(line.to_come, 0)
    late = (today - due).days if due is not None and still else 0
    return LineRow(line=line, received=line.came, open=still, due_on=due, days_late=max(late, 0))


def state_of(order: PurchaseOrder, lines: Iterable[LineRow]) -> str:
    lines = list(lines)
    if order.cancelled_at is not None:
        return CANCELLED
    if order.placed_at is None:
        return DRAFT
    if not any(row.open for row in lines):
        return CLOSED
    if any(row.received for row in lines):
        return IN_PART
    return CONFIRMED if all(row.is_promised for row in lines) else PLACED


def rows(orders: Iterable[PurchaseOrder], *, today: dt.date) -> list[OrderRow]:
    """Orders with their lines, in the order given. Two questions."""
    orders = list(orders)
    of_order: dict[int, list[LineRow]] = defaultdict(list)
    if orders:
        for line in lines_of(order.pk for order in orders):
            of_order[line.order_id].append(_line_row(line, today))
    asked = dict(
        PurchaseStep.objects.filter(order__in=[order.pk for order in orders], sort=PurchaseStep.Sort.CHASED)
        .order_by().values_list("order_id").annotate(last=Max("at"))
    ) if orders else {}  # fmt: skip
    made = []
    for order in orders:
        lines = tuple(of_order[order.pk])
        days = [row.due_on for row in lines if row.open and row.due_on is not None]
        made.append(
            OrderRow(
                order=order, lines=lines, state=state_of(order, lines), due_on=min(days, default=None),
                days_late=max((row.days_late for row in lines), default=0), chased_at=asked.get(order.pk),
            )
        )  # fmt: skip
    return made


def row_of(order: PurchaseOrder) -> OrderRow:
    (row,) = rows([order], today=bench_reads.today_at(order.plant))
    return row


def _to_come() -> Coalesce:
    moves = StockMovement.objects.standing().filter(line__order=OuterRef("pk"), place=Place.ON_ORDER).order_by()
    total = moves.values("line__order").annotate(n=Sum("quantity")).values("n")[:1]
    return Coalesce(Subquery(total, output_field=IntegerField()), 0)


def _of_plant(plant: Plant) -> QuerySet[PurchaseOrder]:
    return PurchaseOrder.objects.filter(plant=plant).select_related("supplier", "plant")


def drafts(plant: Plant) -> QuerySet[PurchaseOrder]:
    return _of_plant(plant).filter(placed_at=None, cancelled_at=None).order_by("opened_at", "pk")


def draft_of(pk: int, plants: Iterable[Plant]) -> PurchaseOrder | None:
    """A draft with a supplier, of one of some plants. One question."""
    rows = PurchaseOrder.objects.filter(plant__in=list(plants), placed_at=None, cancelled_at=None)
    return rows.exclude(supplier=None).select_related("supplier", "plant").filter(pk=min(pk, 2**63 - 1)).first()


def waited_for(plant: Plant) -> QuerySet[PurchaseOrder]:
    """Placed, and something of it is still to come."""
    placed = _of_plant(plant).filter(placed_at__isnull=False, cancelled_at=None)
    return placed.annotate(still=_to_come()).filter(still__gt=0).order_by("placed_at", "pk")


def placed(plant: Plant) -> QuerySet[PurchaseOrder]:
    """Every order that was sent off, whatever became of it, in the order of placing."""
    return _of_plant(plant).filter(placed_at__isnull=False).order_by("placed_at", "pk")


def over(plant: Plant) -> QuerySet[PurchaseOrder]:
    """Closed or cancelled, the latest first."""
    ended = _of_plant(plant).filter(Q(placed_at__isnull=False) | Q(cancelled_at__isnull=False))
    return ended.annotate(still=_to_come()).filter(still__lte=0).order_by("-opened_at", "-pk")


def late(plant: Plant, *, today: dt.date | None = None) -> list[OrderRow]:
    """What should be here by now, the latest first. One question, and two where anything is waited for."""
    found = [row for row in rows(waited_for(plant), today=today or bench_reads.today_at(plant)) if row.days_late]
    return sorted(found, key=lambda row: (-row.days_late, row.order.number, row.pk))


def on_the_way(
    plant: Plant, *, items: Iterable[int] | None = None, today: dt.date | None = None
) -> dict[int, list[Coming]]:
    """Of each spare what open orders bring, the earliest first. One question; a second for the day if none is given."""
    lines = _waited_for(plant).filter(order__placed_at__isnull=False, to_come__gt=0)
    if items is not None:
        lines = lines.filter(item__in=list(items))
    today = today or bench_reads.today_at(plant)
    return coming(_line_row(line, today) for line in lines)


def ordered_of(plant: Plant, item: int, *, today: dt.date) -> tuple[list[Coming], PurchaseLine | None]:
    """Of one spare what open orders bring, the earliest first, and its line in a draft. One question."""
    waits = Q(order__placed_at=None) | Q(to_come__gt=0)
    lines = list(_waited_for(plant).filter(waits, item=item))
    placed = coming(_line_row(line, today) for line in lines if line.order.placed_at is not None)
    drafts = sorted((line for line in lines if line.order.placed_at is None), key=lambda line: line.pk)
    return placed.get(item, []), drafts[0] if drafts else None


def _waited_for(plant: Plant) -> QuerySet[PurchaseLine]:
    """Lines of orders that are not cancelled, with what came of each and what is to come."""
    lines = PurchaseLine.objects.filter(order__plant=plant, order__cancelled_at=None).select_related("order", "item")
    lines = lines.annotate(
        came=_sum_of(place=Place.SHELF), to_come=_sum_of(place=Place.ON_ORDER), their_lead=_their_lead()
    )
    return lines.order_by("order__placed_at", "pk")


def coming(lines: Iterable[LineRow]) -> dict[int, list[Coming]]:
    """The same of lines that were read already."""
    made: dict[int, list[Coming]] = defaultdict(list)
    for row in lines:
        if row.open:
            made[row.line.item_id].append(
                Coming(
                    order_id=row.line.order_id, number=row.line.order.number, pieces=row.open, due_on=row.due_on,
                    is_promised=row.is_promised, days_late=row.days_late, unit_price=row.line.unit_price,
                    placed_on=row.line.order.placed_at and timezone.localdate(row.line.order.placed_at),
                )
            )  # fmt: skip
    far = dt.date.max
    return {item: sorted(some, key=lambda c: (c.due_on or far, c.number)) for item, some in made.items()}


def days_between_orders(plant: Plant, supplier: int) -> float | None:
    """As often as not so many days lie between two orders to a supplier; None with fewer than three. One question."""
    placed = PurchaseOrder.objects.filter(plant=plant, supplier=supplier, placed_at__isnull=False)
    days = sorted({timezone.localdate(at) for at in placed.values_list("placed_at", flat=True)})[-13:]
    gaps = [(after - before).days for before, after in pairwise(days)]
    return float(median(gaps)) if len(gaps) > 1 else None


def in_drafts(plant: Plant) -> dict[int, tuple[PurchaseOrder, int]]:
    """Spare -> the draft that it stands in, and how many. One question."""
    found = PurchaseLine.objects.filter(order__plant=plant, order__placed_at=None, order__cancelled_at=None)
    return {line.item_id: (line.order, line.quantity) for line in found.select_related("order").order_by("-pk")}


def lead_times_seen(
    *, plant: Plant | None = None, items: Iterable[int] | None = None, supplier: int | None = None
) -> list[LeadSeen]:
    """Of every line that came: days from placing to its last receipt, the latest last. One question.

    What came in parts counts when the last part came; what was cancelled in part, when the last of the rest came. A
    line of which something is still to come is none.
    """
    lines = PurchaseLine.objects.filter(order__placed_at__isnull=False, order__cancelled_at=None)
    if plant is not None:
        lines = lines.filter(order__plant=plant)
    if items is not None:
        lines = lines.filter(item__in=list(items))
    if supplier is not None:
        lines = lines.filter(order__supplier=supplier)
    receipt = Q(movements__place=Place.SHELF, movements__kind=Kind.DELIVERED, movements__struck_at=None)
    still = Q(movements__place=Place.ON_ORDER, movements__struck_at=None)
    lines = lines.annotate(
        came_at=Max("movements__at", filter=receipt), receipts=Count("movements", filter=receipt),
        to_come=Coalesce(Sum("movements__quantity", filter=still), 0),
    ).filter(receipts__gt=0, to_come__lte=0)  # fmt: skip
    made = []
    for line in lines.select_related("order__supplier").order_by("order__placed_at", "pk"):
        placed, came = timezone.localdate(line.order.placed_at), timezone.localdate(line.came_at)
        days = (came - placed).days
        if 0 <= days <= SEEN_DAYS_AT_MOST:
            promised = None if line.promised_on is None else (line.promised_on - placed).days
            made.append(
                LeadSeen(
                    item_id=line.item_id, supplier=str(line.order.supplier), supplier_id=line.order.supplier_id,
                    number=line.order.number,
                    placed_on=placed, came_on=came, days=days, promised_days=promised, pieces=line.quantity,
                )
            )  # fmt: skip
    return made


RECEIPT = ("shelf", "way", "rest")  # ends of the keys of what one line of a delivery moved


def moves_with(entry: Event) -> list[StockMovement]:
    """The movements that go with one of an order to a supplier: what came onto the shelf is no longer on the way."""
    if not isinstance(entry, StockMovement) or entry.line_id is None:
        return []
    if entry.kind == StockMovement.Kind.ORDERED:
        raise EntryRefused(_("This is the order itself. Cancel it on its own page."))
    if entry.line is not None and entry.line.order.cancelled_at is not None:
        raise EntryRefused(
            _("{order} is cancelled as a whole. Order anew what is to come after all.").format(order=entry.line.order)
        )
    stem, __, end = entry.key.rpartition(":")
    if end not in RECEIPT:
        return []
    others = StockMovement.objects.standing().filter(line=entry.line_id, key__in=[f"{stem}:{one}" for one in RECEIPT])
    return list(others.exclude(pk=entry.pk))
