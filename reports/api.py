"""What the reports add to the interface: the spares to order. Its addresses are put together here,
since the reports stand above all rooms."""

from __future__ import annotations

import datetime as dt

from django.http import HttpRequest
from ninja import Query, Router, Schema

from maintenance.api import READS, Page, addresses, api, device_of

from .spares import spares_to_order

router = Router()


class Short(Schema):
    """A spare to order. order_by: the day it has to be ordered. half, nine_in_ten: used until it could arrive."""

    item: str
    kind: str
    on_hand: int
    on_order: int
    short_by: int
    order_by: dt.date
    quantity: int
    supplier: str


class Shorts(Schema):
    found: int
    spares: list[Short]


@router.get("/spares/short", response={200: Shorts, **READS}, summary="Spares to order now", tags=["spares"])
def get_short(request: HttpRequest, part: Query[Page]):
    device = device_of(request, "spares", part=part)
    rows = spares_to_order(device.plant)
    return {
        "found": len(rows),
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
            }
            for row in rows[part.offset : part.offset + part.limit]
        ],
    }


api.add_router("", router)
app_name = "api"
urlpatterns = addresses()
