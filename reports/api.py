"""What the reports add to the interface: the spares to order, the advice on all, orders to
suppliers, the cost per thousand. Its addresses are put together
here, since the reports stand above all rooms."""

from __future__ import annotations

import datetime as dt

from django.conf import settings
from django.http import HttpRequest
from django.utils import timezone
from ninja import Field, Query, Router, Schema

from diestore.access import shop
from maintenance.api import jobs
from maintenance.api.auth import Scope, device_of
from maintenance.api.parts import Part, cut
from maintenance.api.routes import READS, addresses, api
from maintenance.api.schema import Page
from maintenance.log import bench_reads, purchase_reads
from reports.cost.kept import costs_of
from reports.format import plain_money
from reports.spares.advice import Asked, SpareRow
from reports.spares.kept import of_plant, to_order
from reports.spares.said import headline_of

router = Router()


class SpareToOrder(Schema):
    """A spare to order. usable_older: pieces of what it took the place of, still used; they count as stock. order_by:
    the day it has to be ordered. entries_not_counted_yet: something was entered since it was worked out."""

    spare: str
    kind: str
    on_hand: int
    usable_older: int
    on_order: int
    short_by: int
    order_by: dt.date
    quantity: int
    supplier: str
    entries_not_counted_yet: bool


class SparesToOrder(Schema):
    """as_of: the day up to which the records count; null where no spare is in use."""

    found: int
    as_of: dt.date | None
    spares: list[SpareToOrder]


@router.get("/spares/short", response={200: SparesToOrder, **READS}, summary="Spares to order now", tags=["spares"])
def get_short(request: HttpRequest, part: Query[Page]):
    device = device_of(request, "spares", part=part)
    short = to_order(device.plant, start=part.offset, most=part.limit)
    return {
        "found": short.found,
        "as_of": short.records_until,
        "spares": [
            {
                "spare": row.code,
                "kind": row.kind,
                "on_hand": row.on_hand,
                "usable_older": row.usable_older,
                "on_order": row.on_order,
                "short_by": row.short_by,
                "order_by": row.order_by,
                "quantity": row.quantity,
                "supplier": row.supplier,
                "entries_not_counted_yet": row.waits,
            }
            for row in short.rows
        ],
    }


class SpareAdvice(Schema):
    """What is advised on one spare. usable_older: pieces of what it took the place of, still used; they count as stock.
    order_point: below it an order goes out; pieces, by: how many, and the last day on
    which that keeps the level, null where not within the year; chance: of running out before an order of today could
    come; cost: what the pieces come to, a text in the currency, null without a price. Where nothing can be said, reason
    says why and the figures are null. entries_not_counted_yet: something was entered since it was worked out.
    """

    spare: str
    description: str
    kind: str
    supplier: str
    stock: int
    usable_older: int
    on_the_way: int
    order_point: int | None
    pieces: int | None
    by: dt.date | None
    reason: str
    chance: float | None
    cost: str | None
    entries_not_counted_yet: bool


class AdviceOnAll(Schema):
    """as_of: the day up to which the records count; null where no spare is in use. The most urgent first."""

    found: int
    as_of: dt.date | None
    currency: str
    spares: list[SpareAdvice]


@router.get("/spares/advice", response={200: AdviceOnAll, **READS}, summary="Advice on every spare", tags=["spares"])
def get_advice(request: HttpRequest, part: Query[Page]):
    device = device_of(request, Scope.PURCHASING, part=part)
    listed = of_plant(device.plant)
    found, rows = listed.part(Asked(), part.offset, part.limit)
    return {
        "found": found,
        "as_of": listed.records_until,
        "currency": shop.current().currency,
        "spares": [_advice_told(row) for row in rows],
    }


def _advice_told(row: SpareRow) -> dict:
    advice = row.advice
    return {
        "spare": row.code,
        "description": row.item.description,
        "kind": row.kind,
        "supplier": row.supplier,
        "stock": row.on_hand,
        "usable_older": row.usable_older,
        "on_the_way": row.on_order,
        "order_point": advice and advice.point,
        "pieces": row.quantity,
        "by": row.order_by,
        "reason": row.refusal or headline_of(row),
        "chance": None if advice is None else round(max(1 - advice.enough, 0.0), 4),
        "cost": None if row.value is None else f"{row.value:.2f}",
        "entries_not_counted_yet": row.waits,
    }


class OrderLine(Schema):
    """ordered, came, to_come: pieces. due: the day promised, else expected by the lead time. unit_price: a text."""

    spare: str
    ordered: int
    came: int
    to_come: int
    due: dt.date | None
    promised: bool
    days_late: int
    unit_price: str | None


class SupplierOrder(Schema):
    number: str
    supplier: str
    state: str
    placed_on: dt.date
    currency: str
    lines: list[OrderLine]


class SupplierOrders(Schema):
    """Orders to suppliers that were placed, in the order of placing. Drafts are nobody's business yet."""

    found: int
    orders: list[SupplierOrder]


@router.get("/spares/orders", response={200: SupplierOrders, **READS}, summary="Orders to suppliers", tags=["spares"])
def get_orders(request: HttpRequest, part: Query[Page]):
    device = device_of(request, Scope.PURCHASING, part=part)
    placed = purchase_reads.placed(device.plant)
    page = placed[part.offset : part.offset + part.limit]
    rows = purchase_reads.rows(page, today=bench_reads.today_at(device.plant))
    return {"found": placed.count(), "orders": [_order_told(row) for row in rows]}


def _order_told(row: purchase_reads.OrderRow) -> dict:
    return {
        "number": row.order.number,
        "supplier": str(row.order.supplier),
        "state": row.state,
        "placed_on": timezone.localdate(row.order.placed_at),
        "currency": row.order.currency,
        "lines": [
            {
                "spare": str(line.line.item),
                "ordered": line.line.quantity,
                "came": line.received,
                "to_come": line.open,
                "due": line.due_on,
                "promised": line.is_promised,
                "days_late": line.days_late,
                "unit_price": plain_money(line.line.unit_price) or None,
            }
            for line in row.lines
        ],
    }


class CostElement(Schema):
    key: str
    name: str
    per_thousand: str


class DieCost(Schema):
    """What a die has cost per thousand parts so far, by its own log. left_out: what the figure does not hold."""

    die: str
    per_thousand: str | None
    elements: list[CostElement]
    parts_made: int
    left_out: list[str]


class Costs(Schema):
    """Money is a text in the shop's currency, so that no cent is lost."""

    next: str | None = Field(description="The cursor of the next part; null where this is the last.")
    currency: str
    dies: list[DieCost]


@router.get("/cost", response={200: Costs, **READS}, summary="Cost per thousand parts", tags=["cost"])
def get_cost(request: HttpRequest, part: Query[Part]):
    device = device_of(request, Scope.COST, part=part)
    shown, more = cut(costs_of(device.plant), part, lambda row: [row.die.code, row.die.pk])
    told = [
        {
            "die": row.die.code,
            "per_thousand": None if row.per_thousand is None else f"{row.per_thousand:.4f}",
            "elements": [
                {"key": one.key, "name": one.name, "per_thousand": f"{one.per_thousand:.4f}"}
                for one in row.sheet.elements
            ],
            "parts_made": row.sheet.parts_made,
            "left_out": list(row.sheet.left_out),
        }
        for row in shown
    ]
    return {"next": more, "currency": settings.CURRENCY, "dies": told}


for one in (router, jobs.router):
    api.add_router("", one)
app_name = "api"
urlpatterns = addresses()
