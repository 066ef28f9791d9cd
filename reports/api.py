"""What the reports add to the interface: the spares to order. Its addresses are put together here,
since the reports stand above all rooms."""

from __future__ import annotations

import datetime as dt

from django.http import HttpRequest
from ninja import Query, Router, Schema

from maintenance.api.auth import device_of
from maintenance.api.routes import READS, addresses, api
from maintenance.api.schema import Page
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


api.add_router("", router)
app_name = "api"
urlpatterns = addresses()
