"""Orders to suppliers of a history folder, in and out. What came of a line is told by the movements that name it."""

from __future__ import annotations

import re
from collections.abc import Iterator

from diestore.register.models import Plant
from maintenance.models import PurchaseLine, PurchaseOrder, PurchaseStep

from . import purchase_columns as tables
from .files import Folder, Row
from .merging import Merger, TableLoader, given
from .problems import BadRow
from .shop import Shop
from .write_bench import told


class Purchases(TableLoader):
    """Loaded before the movements, which name its lines. An order that stands is changed to what the cells say."""

    def __init__(self, folder: Folder, shop: Shop) -> None:
        super().__init__(folder, shop)
        self.orders: dict[str, PurchaseOrder] = {}

    def load(self) -> None:
        for step in (self._orders, self._lines, self._steps):
            step()
            self.findings.stop_if_wrong()

    def _orders(self) -> None:
        shop = self.shop
        standing = {order.key: order for order in PurchaseOrder.objects.filter(plant=shop.plant)}
        numbers = {order.number: order.key for order in standing.values()}
        merger = Merger(shop, PurchaseOrder, "orders to suppliers")

        def take(row: Row) -> None:
            key = row["purchase"]
            merger.once(key, row.line, f"The order {key}")
            known = standing.get(key)
            if known is None and PurchaseOrder.objects.filter(key=key).exists():
                raise BadRow("Another plant has an order of that name. Give this one another.", "purchase")
            if numbers.setdefault(row["number"], key) != key:
                raise BadRow(f"Another order has the number {row['number']} already.", "number")
            if not re.fullmatch(r"[A-Z]{3}", row["currency"]):
                raise BadRow("A currency is three capital letters, such as EUR (ISO 4217).", "currency")
            values = given(
                row, "number", "currency", "wanted_on", "their_number", "note", "changes", "cancelled_reason",
                opened_at="opened", placed_at="placed", cancelled_at="cancelled",
            )  # fmt: skip
            if "supplier" in row:
                values["supplier_id"] = shop.party(row["supplier"], "supplier").pk
            self._check(known, values)
            merger.put(key, known, f"the order {row['number']}", values, {"key": key, "plant": shop.plant})

        self.each(tables.PURCHASE_ORDERS, take)
        merger.save(standing)
        self.orders = standing

    @staticmethod
    def _check(known: PurchaseOrder | None, values: dict) -> None:
        """What the database would refuse, in words."""

        def after(name: str) -> object:
            return values.get(name, getattr(known, name, None))

        if after("placed_at") is not None and after("supplier_id") is None:
            raise BadRow("An order that is placed says with whom.", "supplier")
        if (after("cancelled_at") is not None) != bool(after("cancelled_reason")):
            raise BadRow("An order that is cancelled says when and why, and no other does.", "cancelled")

    def _order(self, row: Row) -> PurchaseOrder:
        if (order := self.orders.get(row["purchase"])) is None:
            name = row["purchase"][:60]
            raise BadRow(f"There is no order {name!r} in purchase_orders.csv or in the record.", "purchase")
        return order

    def _lines(self) -> None:
        shop = self.shop
        rows = PurchaseLine.objects.filter(order__plant=shop.plant)
        standing = {line.key: line for line in rows}
        items = {(line.order_id, line.item_id): line.key for line in standing.values()}
        merger = Merger(shop, PurchaseLine, "lines of orders")

        def take(row: Row) -> None:
            key, order = row["line"], self._order(row)
            merger.once(key, row.line, f"The line {key}")
            known = standing.get(key)
            if known is not None and known.order_id != order.pk:
                raise BadRow("This line stands in the record on another order.", "line")
            if known is None and PurchaseLine.objects.filter(key=key).exists():
                raise BadRow("Another plant has a line of that name. Give this one another.", "line")
            item = shop.item(row["spare"], row.get("spare_revision", ""))
            if items.setdefault((order.pk, item.pk), key) != key:
                raise BadRow(f"{item} stands on that order twice. Put its pieces into one line.", "spare")
            values = given(row, "sequence", "quantity", "unit_price", "promised_on")
            merger.put(key, known, f"the line {key}", values, {"key": key, "order": order, "item": item})

        self.each(tables.PURCHASE_LINES, take)
        merger.save(standing)

    def _steps(self) -> None:
        standing = {step.key: step for step in PurchaseStep.objects.filter(order__plant=self.shop.plant)}
        merger = Merger(self.shop, PurchaseStep, "steps of orders")

        def take(row: Row) -> None:
            key, order = row["key"], self._order(row)
            merger.once(key, row.line, f"The step {key}")
            values = given(row, "at", "sort", "words")
            if "person" in row:
                values["person_id"] = self.shop.person(row["person"]).pk
            if "sign_in" in row:
                values["user_id"] = self.shop.user(row["sign_in"])
            merger.put(key, standing.get(key), f"the step {key}", values, {"key": key, "order": order})

        self.each(tables.PURCHASE_STEPS, take)
        merger.save(standing)


class PurchaseTables:
    """Rows of three tables."""

    plant: Plant

    def purchase_orders(self) -> Iterator[dict]:
        paths = {
            "purchase": "key", "supplier": "supplier__code", "opened": "opened_at", "placed": "placed_at",
            "cancelled": "cancelled_at",
        }  # fmt: skip
        names = ("number", "currency", "wanted_on", "their_number", "note", "cancelled_reason", "changes")
        paths |= {name: name for name in names}
        yield from told(PurchaseOrder.objects.filter(plant=self.plant), paths, "opened", "purchase")

    def purchase_lines(self) -> Iterator[dict]:
        paths = {"line": "key", "purchase": "order__key", "spare": "item__code", "spare_revision": "item__revision"}
        paths |= {name: name for name in ("sequence", "quantity", "unit_price", "promised_on")}
        yield from told(PurchaseLine.objects.filter(order__plant=self.plant), paths, "purchase", "sequence", "line")

    def purchase_steps(self) -> Iterator[dict]:
        paths = {"purchase": "order__key", "person": "person__name", "sign_in": "user__username"}
        paths |= {name: name for name in ("key", "at", "sort", "words")}
        yield from told(PurchaseStep.objects.filter(order__plant=self.plant), paths, "at", "key")
