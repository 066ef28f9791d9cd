"""Who supplies a spare, its price lists, and levels set by hand, of a history folder, in and out."""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from collections.abc import Iterator
from decimal import Decimal

from diestore.register import sourcing
from diestore.register.models import Plant
from diestore.register.sources import Source, SourcePrice, SpareLevel
from diestore.register.writing import ChangeRefused

from . import source_columns as tables
from .files import Folder, Row
from .merging import Merger, TableLoader, given
from .problems import BadRow
from .shop import Shop
from .write_bench import told

SAME = (
    "sort", "service", "part_number", "least_quantity", "pack_size", "lead_days", "on_their_shelf", "currency",
    "shop_money", "priced_by", "minutes_each", "incremental", "preferred", "why_preferred", "ended_on", "ended_reason",
    "changes",
)  # fmt: skip


class Sources(TableLoader):
    """Loaded after the spares. A source that stands is changed to what the cells say."""

    def __init__(self, folder: Folder, shop: Shop) -> None:
        super().__init__(folder, shop)
        self.sources: dict[str, Source] = {}

    def load(self) -> None:
        for step in (self._sources, self._prices, self._levels):
            step()
            self.findings.stop_if_wrong()

    def _sources(self) -> None:
        shop = self.shop
        standing = {source.key: source for source in Source.objects.select_related("item", "supplier")}
        preferred = {s.item_id: s.key for s in standing.values() if s.preferred}
        merger = Merger(shop, Source, "sources of spares")

        def take(row: Row) -> None:
            key, item = row["source"], shop.item(row["spare"], row.get("spare_revision", ""))
            merger.once(key, row.line, f"The source {key}")
            known = standing.get(key)
            if known is not None and known.item_id != item.pk:
                raise BadRow("This source stands in the record at another spare. Give the new one another name.",
                             "source")  # fmt: skip
            values = given(row, *SAME, entered_at="entered")
            if "supplier" in row:
                values["supplier"] = shop.party(row["supplier"], "supplier")
            trial = Source(item=item, **{n: getattr(known, n) for n in (*SAME, "supplier")} if known else {})
            for name, value in values.items():
                setattr(trial, name, value)
            try:
                sourcing.check(trial)
            except ChangeRefused as refused:
                raise BadRow(str(refused), refused.field) from refused
            if trial.preferred and trial.ended_on is not None:
                raise BadRow("A source that ended is not preferred.", "preferred")
            if (trial.ended_on is None) != (not trial.ended_reason):
                raise BadRow("A source that ended says when and why, and no other does.", "ended_on")
            if preferred.get(item.pk) == key and not trial.preferred:
                del preferred[item.pk]
            if trial.preferred and preferred.setdefault(item.pk, key) != key:
                raise BadRow(f"{item} has another preferred source already; only one can be.", "preferred")
            if (supplier := values.pop("supplier", None)) is not None:
                values["supplier_id"] = supplier.pk
            merger.put(key, known, f"the source {key}", values, {"key": key, "item": item})

        self.each(tables.SPARE_SOURCES, take)
        merger.save(standing)
        self.sources = standing

    def _prices(self) -> None:
        rows = SourcePrice.objects.select_related("source")
        standing = {(r.source.key, r.valid_from, r.from_quantity): r for r in rows}
        lists: dict[tuple[str, dt.date], dict[int, Decimal]] = defaultdict(dict)
        for (key, day, pieces), row in standing.items():
            lists[key, day][pieces] = row.unit_price  # type: ignore[assignment]
        merger = Merger(self.shop, SourcePrice, "prices of spares")

        def take(row: Row) -> None:
            source = self.sources.get(row["source"])
            if source is None:
                name = row["source"][:60]
                raise BadRow(f"There is no source {name!r} in spare_sources.csv or in the record.", "source")
            key = source.key, row["valid_from"], row["from_quantity"]
            merger.once(key, row.line, f"That price of {source.item}")
            lists[key[:2]][key[2]] = row["unit_price"]
            try:
                sourcing.check_prices(source, list(lists[key[:2]].items()))
            except ChangeRefused as refused:
                raise BadRow(str(refused), "unit_price") from refused
            make = {"source": source, "valid_from": key[1], "from_quantity": key[2]}
            merger.put(key, standing.get(key), f"the price of {source.item}", {"unit_price": row["unit_price"]}, make)

        self.each(tables.SPARE_PRICES, take)
        merger.save(standing)

    def _levels(self) -> None:
        shop = self.shop
        standing = {level.key: level for level in SpareLevel.objects.filter(plant=shop.plant)}
        open_ones = {level.item_id: level.key for level in standing.values() if level.back_on is None}
        merger = Merger(shop, SpareLevel, "levels of spares")

        def take(row: Row) -> None:
            key, item = row["level"], shop.item(row["spare"], row.get("spare_revision", ""))
            merger.once(key, row.line, f"The level {key}")
            if ("chance_percent" in row) == ("least_pieces" in row):
                raise BadRow("A level is a chance or so many pieces: one of the two.", "chance_percent")
            if "back_on" in row and open_ones.get(item.pk) == key:
                del open_ones[item.pk]
            if "back_on" not in row and open_ones.setdefault(item.pk, key) != key:
                raise BadRow(f"{item} has another level that stands. Only one can.", "back_on")
            values = given(row, "chance_percent", "least_pieces", "reason", "set_on", "back_on")
            if "sign_in" in row:
                values["set_by_id"] = shop.user(row["sign_in"])
            if "back_sign_in" in row:
                values["back_by_id"] = shop.user(row["back_sign_in"])
            make = {"key": key, "item": item, "plant": shop.plant}
            merger.put(key, standing.get(key), f"the level {key}", values, make)

        self.each(tables.SPARE_LEVELS, take)
        merger.save(standing)


class SourceTables:
    """Rows of three tables."""

    plant: Plant

    def spare_sources(self) -> Iterator[dict]:
        paths = {
            "source": "key", "spare": "item__code", "spare_revision": "item__revision", "supplier": "supplier__code",
            "entered": "entered_at",
        } | {name: name for name in SAME}  # fmt: skip
        yield from told(Source.objects.all(), paths, "spare", "spare_revision", "entered", "source")

    def spare_prices(self) -> Iterator[dict]:
        paths = {"source": "source__key"} | {n: n for n in ("valid_from", "from_quantity", "unit_price")}
        yield from told(SourcePrice.objects.all(), paths, "source", "valid_from", "from_quantity")

    def spare_levels(self) -> Iterator[dict]:
        paths = {
            "level": "key", "spare": "item__code", "spare_revision": "item__revision",
            "sign_in": "set_by__username", "back_sign_in": "back_by__username",
        } | {name: name for name in ("chance_percent", "least_pieces", "reason", "set_on", "back_on")}  # fmt: skip
        yield from told(SpareLevel.objects.filter(plant=self.plant), paths, "set_on", "spare", "level")
