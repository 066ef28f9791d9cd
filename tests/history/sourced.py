"""Sources of spares with something in every column, for the round trip."""

from __future__ import annotations

import datetime as dt
from decimal import Decimal

from diestore.register import sourcing
from diestore.register.models import Item, Party
from diestore.register.sources import Source, SpareLevel


def sourced(*, plant, user, at) -> None:
    """One preferred, by the hour and in another currency; one from a shelf that ended; two levels, one taken back."""
    item, supplier = Item.objects.get(code="pilot 3"), Party.objects.get(code="quillfen")
    sourcing.enter(
        by=user, item=item, prices=[(1, Decimal("80")), (20, Decimal("70.0375"))], prices_from=dt.date(2024, 2, 1),
        values={
            "sort": "service", "service": "wire cutting", "supplier": supplier, "part_number": "=Q 17; a",
            "lead_days": 9, "least_quantity": 4, "pack_size": 2, "currency": "USD", "shop_money": 0.9,
            "priced_by": "hour",
            "minutes_each": 7.5, "incremental": True, "preferred": True, "why_preferred": "the only one that can",
        },
    )  # fmt: skip
    shelf = sourcing.enter(
        by=user, item=item,
        values={"supplier": supplier, "lead_days": 0, "on_their_shelf": True, "currency": "CHF"},
    )  # fmt: skip
    sourcing.end(by=user, source=shelf, day=dt.date(2024, 3, 1), reason="sold out; \n")
    for n, source in enumerate(Source.objects.order_by("pk")):
        Source.objects.filter(pk=source.pk).update(entered_at=at(30 + n))
    sourcing.set_level(by=user, plant=plant, item=item, least_pieces=3, reason="a slow one")
    sourcing.set_level(by=user, plant=plant, item=item, chance_percent=97.5, reason="= a customer")
    SpareLevel.objects.update(set_on=dt.date(2024, 4, 1))
    SpareLevel.objects.filter(back_on__isnull=False).update(back_on=dt.date(2024, 5, 1))
