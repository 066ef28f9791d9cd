"""What the reports add to the interface: the spares to order, the cost per thousand. Its addresses are put together
here, since the reports stand above all rooms."""

from __future__ import annotations

import datetime as dt

from django.conf import settings
from django.http import HttpRequest
from ninja import Field, Query, Router, Schema

from maintenance.api import jobs
from maintenance.api.auth import Scope, device_of
from maintenance.api.parts import Part, cut
from maintenance.api.routes import READS, addresses, api
from maintenance.api.schema import Page
from reports.cost.kept import costs_of
from reports.spares.kept import to_order

router = Router()


class Short(Schema):
    """A spare to order. order_by: the day it has to be ordered. waits: something was entered since it was told, which
    does not count in it yet."""

    item: str
    kind: str
    on_hand: int
    on_order: int
    short_by: int
    order_by: dt.date
    quantity: int
    supplier: str
    waits: bool


class Shorts(Schema):
    """as_of: the day up to which the records count; null where no spare is in use."""

    found: int
    as_of: dt.date | None
    spares: list[Short]


@router.get("/spares/short", response={200: Shorts, **READS}, summary="Spares to order now", tags=["spares"])
def get_short(request: HttpRequest, part: Query[Page]):
    device = device_of(request, "spares", part=part)
    short = to_order(device.plant, start=part.offset, most=part.limit)
    return {
        "found": short.found,
        "as_of": short.records_until,
        "spares": [
            {
                "item": row.code,
                "kind": row.kind,
                "on_hand": row.on_hand,
                "on_order": row.on_order,
                "short_by": row.short_by,
                "order_by": row.order_by,
                "quantity": row.quantity,
                "supplier": row.supplier,
                "waits": row.waits,
            }
            for row in short.rows
        ],
    }


class ElementTold(Schema):
    key: str
    name: str
    per_thousand: str


class CostTold(Schema):
    """What a die has cost per thousand parts so far, by its own log. left_out: what the figure does not hold."""

    die: str
    per_thousand: str | None
    elements: list[ElementTold]
    parts_made: int
    left_out: list[str]


class Costs(Schema):
    """Money is a text in the shop's currency, so that no cent is lost."""

    next: str | None = Field(description="The cursor of the next part; null where this is the last.")
    currency: str
    dies: list[CostTold]


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
