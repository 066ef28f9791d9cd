"""Outlined tools and the price list of new tools of a history folder, in and out."""

from __future__ import annotations

import math
from collections.abc import Iterator

from diestore.handbook import kinds
from diestore.handbook.build_elements import YEARS_AT_MOST
from diestore.register.models import Plant
from maintenance.models import ElementPrice, Outline, OutlinePlace, OutlineWay

from . import outline_columns as tables
from .files import Folder, Row
from .merging import Merger, TableLoader, given
from .problems import BadRow
from .shop import Shop
from .write_bench import told

PLAIN = (
    "customer",
    "part",
    "material",
    "thickness_mm",
    "tensile_mpa",
    "burr_limit_um",
    "parts_per_hit",
    "strokes_per_minute",
    "wanted_months",
    "on",
    "valid_until",
    "note",
    "changed_at",
    "put_away_at",
)
OF_WAY = (
    "name",
    "steel",
    "hardness_hrc",
    "steel_below",
    "hardness_below_hrc",
    "coating",
    "gap_pct",
    "guides",
    "die_side",
    "stripper",
    "parts_per_hit",
    "lasts_hits",
    "price",
)


class Outlines(TableLoader):
    """They stand by themselves: nothing of the register or the log names them."""

    def __init__(self, folder: Folder, shop: Shop) -> None:
        super().__init__(folder, shop)
        self.outlines: dict[str, Outline] = {}

    def load(self) -> None:
        for step in (self._prices, self._outlines, self._places, self._ways):
            step()
            self.findings.stop_if_wrong()

    def _prices(self) -> None:
        rows = ElementPrice.objects.filter(plant=self.shop.plant)
        standing = {(row.element, row.valid_from): row for row in rows}
        merger = Merger(self.shop, ElementPrice, "prices of new tools")

        def take(row: Row) -> None:
            key = row["element"], row["valid_from"]
            merger.once(key, row.line, f"That price of {row['element']}")
            values = {"price": row["price"]} | self._user(row)
            make = {"plant": self.shop.plant, "element": key[0], "valid_from": key[1]}
            merger.put(key, standing.get(key), f"the price of {key[0]}", values, make)

        self.each(tables.BUILD_PRICES, take)
        merger.save(standing)

    def _outlines(self) -> None:
        standing = {row.key: row for row in Outline.objects.filter(plant=self.shop.plant)}
        merger = Merger(self.shop, Outline, "outlined tools")

        def take(row: Row) -> None:
            key = row["outline"]
            merger.once(key, row.line, f"The outline {key}")
            if key not in standing and Outline.objects.filter(key=key).exists():
                raise BadRow("Another plant has an outline of that name. Give this one another.", "outline")
            values = given(row, *PLAIN) | self._user(row)
            if "valid_until" in row and row["valid_until"] < row["on"]:
                raise BadRow("The offer would end before it begins.", "valid_until")
            values["volumes"] = _volumes(row["volumes"])
            if "assumed" in row:
                values["assumed"] = _assumed(row["assumed"])
            if "shop_pays" in row:
                values["shop_pays"] = [bit.strip() for bit in row["shop_pays"].split(";") if bit.strip()]
            merger.put(key, standing.get(key), f"the outline {key}", values, {"key": key, "plant": self.shop.plant})

        self.each(tables.OUTLINES, take)
        merger.save(standing)
        self.outlines = standing

    def _of(self, row: Row) -> Outline:
        found = self.outlines.get(row["outline"])
        if found is None:
            raise BadRow(f"There is no outline {row['outline'][:60]!r} in outlines.csv or in the record.", "outline")
        return found

    def _places(self) -> None:
        rows = OutlinePlace.objects.filter(outline__plant=self.shop.plant).select_related("outline")
        standing = {(row.outline.key, row.sequence): row for row in rows}
        merger = Merger(self.shop, OutlinePlace, "cutting places of outlined tools")

        def take(row: Row) -> None:
            outline, key = self._of(row), (row["outline"], row["sequence"])
            merger.once(key, row.line, f"Cutting place {key[1]} of {key[0]}")
            kind = kinds.kind(row["kind"])
            if not kind.cuts or kind.side != "upper":
                raise BadRow(f"A {kind.name} is no punch that cuts.", "kind")
            values = {"kind": kind.key} | given(row, "count", "length_mm")
            make = {"outline": outline, "sequence": key[1]}
            merger.put(key, standing.get(key), f"cutting place {key[1]} of {key[0]}", values, make)

        self.each(tables.OUTLINE_PLACES, take)
        merger.save(standing)

    def _ways(self) -> None:
        rows = OutlineWay.objects.filter(outline__plant=self.shop.plant).select_related("outline")
        standing = {(row.outline.key, row.sequence): row for row in rows}
        merger = Merger(self.shop, OutlineWay, "ways of building outlined tools")

        def take(row: Row) -> None:
            outline, key = self._of(row), (row["outline"], row["sequence"])
            merger.once(key, row.line, f"Way {key[1]} of {key[0]}")
            make = {"outline": outline, "sequence": key[1]}
            merger.put(key, standing.get(key), f"way {key[1]} of {key[0]}", given(row, *OF_WAY), make)

        self.each(tables.OUTLINE_WAYS, take)
        merger.save(standing)

    def _user(self, row: Row) -> dict:
        return {"user_id": self.shop.user(row["sign_in"])} if "sign_in" in row else {}


def _volumes(text: str) -> list[int]:
    bits = text.split()
    if (
        not all(bit.isascii() and bit.isdigit() and len(bit) <= 12 for bit in bits)
        or not 1 <= len(bits) <= YEARS_AT_MOST
    ):
        raise BadRow(
            f"Parts of 1 to {YEARS_AT_MOST} years, whole numbers with spaces between: 300000 400000.", "volumes"
        )
    made = [int(bit) for bit in bits]
    if not any(made):
        raise BadRow("No part is to be made in any year.", "volumes")
    return made


def _assumed(text: str) -> dict[str, float]:
    made = {}
    for bit in text.split():
        name, _, value = bit.partition("=")
        try:
            made[name] = float(value)
        except ValueError:
            raise BadRow(f"{bit[:60]!r}: a figure is its name, =, and a number.", "assumed") from None
        if not name or not math.isfinite(made[name]):
            raise BadRow(f"{bit[:60]!r}: a figure is its name, =, and a number.", "assumed")
    return made


class OutlineTables:
    """Rows of four tables."""

    plant: Plant

    def build_prices(self) -> Iterator[dict]:
        paths = {"sign_in": "user__username"} | {n: n for n in ("element", "valid_from", "price")}
        yield from told(ElementPrice.objects.filter(plant=self.plant), paths, "element", "valid_from")

    def outlines(self) -> Iterator[dict]:
        names = (*PLAIN, "volumes", "assumed", "shop_pays")
        paths = {"outline": "key", "sign_in": "user__username"} | {name: name for name in names}
        for row in told(Outline.objects.filter(plant=self.plant), paths, "on", "outline"):
            row["volumes"] = " ".join(map(str, row["volumes"]))
            row["assumed"] = " ".join(f"{name}={value!r}" for name, value in sorted(row["assumed"].items()))
            row["shop_pays"] = "; ".join(row["shop_pays"])
            yield row

    def outline_places(self) -> Iterator[dict]:
        paths = {"outline": "outline__key"} | {n: n for n in ("sequence", "kind", "count", "length_mm")}
        yield from told(OutlinePlace.objects.filter(outline__plant=self.plant), paths, "outline", "sequence")

    def outline_ways(self) -> Iterator[dict]:
        paths = {"outline": "outline__key", "sequence": "sequence"} | {name: name for name in OF_WAY}
        yield from told(OutlineWay.objects.filter(outline__plant=self.plant), paths, "outline", "sequence")
