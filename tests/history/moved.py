"""Spares moved by hand with something in every column, for the round trip."""

from __future__ import annotations

from decimal import Decimal

from diestore.register.models import Item, Party
from maintenance.log import movements
from maintenance.models import BenchWork, StockMovement


def moved(*, plant, by, die, at) -> None:
    """One drawn for a work, one back from repair as what it now is, one scrapped, some moved to another plant."""
    item = Item.objects.create(code="drawn; 7", revision="C")
    grinder = Party.objects.create(code="hollins", role="supplier")
    told = {"by": by, "plant": plant, "item": item}
    work = BenchWork.objects.get(key="plain")
    movements.draw(**told, die=die, work=work, quantity=3, at=at(22), note="= for 1-A", key="drawn 1")
    movements.bring_back(**told, die=die, work=work, at=at(23), key="back 1")
    movements.send_out(**told, supplier=grinder, quantity=2, at=at(23), key="out 1")
    now = movements.AsItIs(length_mm=61.25, grinds_left=3, worth=Decimal("22.5"))
    movements.take_back(**told, supplier=grinder, at=at(24), now=now, key="repaired 1")
    movements.scrap(**told, reason="ground; out", at=at(25), key="scrap 1")
    StockMovement.objects.create(
        plant=plant, item=item, quantity=-2, kind="moved", elsewhere="south; 1", at=at(26), key="over 1:leaves",
        **by.columns(),
    )  # fmt: skip
    for number, row in enumerate(StockMovement.objects.filter(item=item).order_by("pk")):
        StockMovement.objects.filter(pk=row.pk).update(recorded_at=at(27 + number / 8))
