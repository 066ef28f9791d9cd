"""Orders to suppliers with something in every column, for the round trip."""

from __future__ import annotations

import datetime as dt
from decimal import Decimal

from diestore.register.models import Item, Party
from maintenance.log import purchases, write
from maintenance.models import PurchaseLine, PurchaseOrder, PurchaseStep, StockMovement


def purchased(*, plant, by, at) -> None:
    """One confirmed and received in part, one receipt struck out, one cancelled, and a draft of nobody yet."""
    supplier = Party.objects.create(code="quillfen", role="supplier")
    item = Item.objects.create(code="post 4", revision="B")
    other = Item.objects.create(code="pilot 3", supplier=supplier, unit_price=Decimal("12.5"))

    def draft(*wanted) -> PurchaseOrder:
        told = [purchases.Wanted(item=one, quantity=n) for one, n in wanted]
        return purchases.draft(by=by, plant=plant, wanted=told, currency="USD").orders[0]

    order = draft((other, 4))
    purchases.add_line(by=by, order=order, item=item, quantity=3)
    said = {"wanted_on": dt.date(2024, 3, 1), "note": "= by van; all of it", "currency": "USD", "supplier": supplier}
    purchases.change_draft(by=by, order=order, lines={}, **said)
    purchases.place(by=by, order=order)
    line = order.lines.get(item=other)
    PurchaseLine.objects.filter(pk=line.pk).update(unit_price=Decimal("11.0375"))
    PurchaseLine.objects.filter(pk=line.pk).update(promised_on=dt.date(2024, 2, 2))
    PurchaseOrder.objects.filter(pk=order.pk).update(their_number="Q-77")
    purchases.chase(by=by, order=order)
    purchases.receive(by=by, order=order, came={line.pk: purchases.Came(quantity=5, answer="all")}, note="note 9")
    mine = order.lines.get(item=item)
    (slip,) = purchases.receive(by=by, order=order, came={mine.pk: purchases.Came(quantity=1, answer="no more")})
    write.strike_out(by=by, entry=slip, reason="another box")
    gone = draft((item, 2))
    PurchaseOrder.objects.filter(pk=gone.pk).update(supplier=supplier)
    purchases.place(by=by, order=gone)
    purchases.cancel(by=by, order=gone, reason="drawing changed")
    draft((Item.objects.create(code="of nobody"), 1))
    # As if it had been a while ago: a folder is of the past.
    for number, row in enumerate(PurchaseOrder.objects.order_by("pk")):
        then = {"opened_at": at(20 + number)}
        then |= {"placed_at": at(21 + number)} if row.placed_at else {}
        then |= {"cancelled_at": at(22 + number)} if row.cancelled_at else {}
        PurchaseOrder.objects.filter(pk=row.pk).update(**then)
    for number, row in enumerate(PurchaseStep.objects.order_by("pk")):
        PurchaseStep.objects.filter(pk=row.pk).update(at=at(20 + number / 8))
    for number, row in enumerate(StockMovement.objects.filter(line__isnull=False).order_by("pk")):
        StockMovement.objects.filter(pk=row.pk).update(at=at(21 + number / 8), recorded_at=at(21 + number / 8))
