"""A shop with two dies, spares on the shelf and rates: what the spares and cost pages are tested on."""

from __future__ import annotations

import datetime as dt
from decimal import Decimal

from diestore.register.models import Party, Rate
from maintenance.forecasts import store
from maintenance.log import changes
from maintenance.models import StockMovement, fresh_key
from reports.models import PurchasingRecord
from tests import factories as make

LAST_DAY = 170


def movement(item, quantity: int, *, kind: str = "count", place: str = "shelf", day: float = 0):
    made = StockMovement.objects.create(
        plant=make.plant(), item=item, quantity=quantity, kind=kind, place=place, at=make.moment(day), key=fresh_key()
    )
    changes.tell(items=[item.pk])
    return made


def supplier(code: str = "QUILLFEN") -> Party:
    return Party.objects.get_or_create(code=code, defaults={"role": "supplier", "name": "Quillfen Tooling"})[0]


def spare(code: str, *, on_hand: int = 1, lead_days: int | None = 40, **more):
    item = make.item(
        code, lead_days=lead_days, unit_price=Decimal("48.50"), supplier=supplier(), description="pierce punch", **more
    )
    movement(item, on_hand)
    return item


def purchasing_record(*items, **more) -> PurchasingRecord:
    """Kept figures of some spares: the advice short once of each, a minimum twice or three times."""

    def rule(short, money, orders):
        return {"short": short, "waited": [3, 4, 9], "money": [money, money, money + 2], "late": [0, 1, 1],
                "orders": orders}  # fmt: skip

    rows = [
        {"item": item.pk, "needed": 7, "was_money": 120.0, "untold": False, "advice": rule([1, 1, 1], 97.0, 2),
         "minimum": rule([2, 2, 3], 145.5, 6)}
        for item in items
    ]  # fmt: skip
    wide = {"times": [0, 1, 2], "money": [48.5, 145.5, 242.5], "short": [4, 2, 0], "short_at_money": 3.0,
            "money_at_short": 242.0}  # fmt: skip
    figures = {"first": "2025-01-06", "last": "2026-01-05", "review_days": 7, "rows": rows, "wide": wide, "left_out": 0}
    return PurchasingRecord.objects.create(plant=make.plant(), figures=figures | more)


def rates() -> None:
    for kind, amount in (("toolroom hour", "60"), ("press hour", "95")):
        Rate.objects.create(plant=make.plant(), kind=kind, valid_from=dt.date(2025, 1, 1), amount=Decimal(amount))


def worked_die(code: str, item=None, *, cycles: int = 8, hits: int = 12_000, **more):
    """A die whose set is ground every 20 days, three runs between, the last grind 10 days before the last day."""
    die = make.die(code, build_price=Decimal("30000"), expected_parts=4_000_000, **more)
    for place in ("1-A", "1-B", "2-A"):
        make.position(die, place, item=item)
    for cycle in range(cycles):
        for k in range(3):
            make.run(die, 20 * cycle + 5 * k + 1, hits)
        first, *rest = die.positions.order_by("code")
        make.sharpen(die, 20 * cycle + 18, first, why="dull", found="dull", removed_mm=0.15)
        make.sharpen(die, 20 * cycle + 18, *rest, why="with set", removed_mm=0.15)
    make.run(die, LAST_DAY, hits)
    return die


def forecast() -> None:
    store.fit_and_forecast(make.plant())
