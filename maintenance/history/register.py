"""Loads the register's tables: what the shop owns. What stands already is changed to what the cells say."""

from __future__ import annotations

from collections import defaultdict

from diestore.access import shop as shop_row
from diestore.access.models import Person
from diestore.access.models import Shop as ShopRow
from diestore.handbook import limits
from diestore.handbook.limits import OF_RATES
from diestore.register.models import Die, Output, Part, Party, Press, Rate, Stock, Variant, Volume
from maintenance.log import doubts
from maintenance.log.names import shortened
from maintenance.models import Order

from . import columns as tables
from .components import Components
from .files import Folder, Row
from .merging import Merger, TableLoader, given
from .problems import BadRow
from .shop import Shop


class Register(TableLoader):
    """Loads the register of a folder into a shop, table after table. `components` holds what its second half found."""

    def __init__(self, folder: Folder, shop: Shop) -> None:
        super().__init__(folder, shop)
        before = {die.pk: shop.stock_by_id(die.usual_stock_id).thickness_mm for die in shop.dies.values()}
        self.components = Components(folder, shop, before)
        self.parts_per_hit: dict[int, int] = {}

    def load(self) -> None:
        for step in (
            self._settings,
            self._people,
            self._firms,
            self._presses,
            self._strip_stock,
            self._parts,
            self._volumes,
            self._dies,
            self._inserts,
            self._parts_per_hit,
            self.components.load,
            self._hourly_rates,
            self._orders,
        ):
            step()
            self.findings.stop_if_wrong()

    # --- the shop itself --------------------------------------------------------------------------------------------

    def _settings(self) -> None:
        merger = Merger(self.shop, ShopRow, "settings of the shop")

        def take(row: Row) -> None:
            merger.once(1, row.line, "The shop")
            if row["time_zone"] not in shop_row.known_zones():
                raise BadRow(f"There is no time zone {row['time_zone'][:40]!r}. Write it like Europe/Berlin.",
                             "time_zone")  # fmt: skip
            values = given(row, *shop_row.COLUMNS)
            merger.put(1, ShopRow.objects.first(), "the shop", values, {"pk": 1})

        self.each(tables.SETTINGS, take)
        merger.save({})

    # --- names ------------------------------------------------------------------------------------------------------

    def _people(self) -> None:
        merger = Merger(self.shop, Person, "people")

        def take(row: Row) -> None:
            name = row["person"]
            merger.once(name, row.line, name)
            merger.put(name, self.shop.people.get(name), name, given(row, "active"),
                       {"plant": self.shop.plant, "name": name})  # fmt: skip

        self.each(tables.PEOPLE, take)
        merger.save(self.shop.people)

    def _firms(self) -> None:
        merger = Merger(self.shop, Party, "customers and suppliers")

        def take(row: Row) -> None:
            code = row["firm"]
            merger.once(code, row.line, code)
            merger.put(
                code, self.shop.parties.get(code), code, given(row, "name", "role", "retired_at"), {"code": code}
            )

        self.each(tables.FIRMS, take)
        merger.save(self.shop.parties)

    def _presses(self) -> None:
        merger = Merger(self.shop, Press, "presses")

        def take(row: Row) -> None:
            code = row["press"]
            merger.once(code, row.line, code)
            names = ("rated_force_n", "shut_height_min_mm", "shut_height_max_mm", "retired_at")
            values = given(row, *names, *Press.FOR_SET_UP)
            standing = self.shop.presses.get(code)
            _check_order("press", values, standing)
            merger.put(code, standing, code, values, {"plant": self.shop.plant, "code": code})

        self.each(tables.PRESSES, take)
        merger.save(self.shop.presses)

    def _strip_stock(self) -> None:
        merger = Merger(self.shop, Stock, "stocks")

        def take(row: Row) -> None:
            code = row["stock"]
            merger.once(code, row.line, code)
            self.doubt(tables.STRIP_STOCK, row, "thickness_mm", doubts.of_thickness(row["thickness_mm"]))
            values = given(
                row, "material", "tensile_mpa", "shear_mpa", "hardness", "thickness_mm", "price_kg", "scrap_kg",
                "source", "retired_at",
            )  # fmt: skip
            merger.put(code, self.shop.stocks.get(code), code, values, {"code": code})

        self.each(tables.STRIP_STOCK, take)
        merger.save(self.shop.stocks)

    def _parts(self) -> None:
        merger = Merger(self.shop, Part, "parts")

        def take(row: Row) -> None:
            key = row["part"], row.get("revision", "")
            label = " ".join(key).strip()
            merger.once(key, row.line, label)
            values = given(row, "description", "burr_limit_um", "last_needed", "retired_at")
            if "customer" in row:
                values["customer_id"] = self.shop.party(row["customer"], Party.Role.CUSTOMER).pk
            merger.put(key, self.shop.parts.get(key), label, values, {"number": key[0], "revision": key[1]})

        self.each(tables.PARTS, take)
        merger.save(self.shop.parts)

    def _volumes(self) -> None:
        merger = Merger(self.shop, Volume, "volumes of a year")
        standing = {(v.part_id, v.year): v for v in Volume.objects.all()}

        def take(row: Row) -> None:
            part = self.shop.part(row["part"], row.get("revision", ""))
            key = part.pk, row["year"]
            label = f"{part} in {row['year']}"
            merger.once(key, row.line, label)
            merger.put(key, standing.get(key), label, given(row, "parts"), {"part": part, "year": row["year"]})

        self.each(tables.VOLUMES, take)
        merger.save(standing)

    # --- dies -------------------------------------------------------------------------------------------------------

    def _dies(self) -> None:
        merger = Merger(self.shop, Die, "dies")
        per_hit: dict[str, int] = {}

        def take(row: Row) -> None:
            code = row["die"]
            merger.once(code, row.line, code)
            standing = self.shop.dies.get(code)
            values = given(
                row, "description", "strokes_per_minute", "build_price", "expected_parts", "status", *Die.FOR_SET_UP
            )
            values["usual_stock_id"] = self._stock_of(row, standing).pk
            self.doubt(tables.DIES, row, "stock_thickness_mm", doubts.of_thickness(row["stock_thickness_mm"]))
            if "owner" in row:
                values["owner_id"] = self.shop.party(row["owner"], Party.Role.CUSTOMER).pk
            if "press" in row:
                values["usual_press_id"] = self.shop.press(row["press"]).pk
            _check_order("die", values, standing)
            merger.put(code, standing, code, values, {"plant": self.shop.plant, "code": code})
            per_hit[code] = row["parts_per_hit"]

        self.each(tables.DIES, take)
        merger.save(self.shop.dies)
        self.parts_per_hit = {self.shop.dies[code].pk: n for code, n in per_hit.items() if code in self.shop.dies}

    def _stock_of(self, row: Row, die: Die | None) -> Stock:
        """The stock that a row of dies.csv means: the one named, else one of that material, strength and thickness."""
        build = row["stock_material"], row["stock_tensile_mpa"], row["stock_thickness_mm"]

        def like(stock: Stock) -> bool:
            return (stock.material, stock.tensile_mpa, stock.thickness_mm) == build

        if "stock" in row:
            stock = self.shop.stock(row["stock"])
            if not like(stock):
                raise BadRow(
                    f"The stock {stock.code} is {stock.material}, {stock.tensile_mpa:g} MPa, "
                    f"{stock.thickness_mm:g} mm; this row says {build[0]}, {build[1]:g} MPa, {build[2]:g} mm.",
                    "stock",
                )
            return stock
        if die is not None:
            now = self.shop.stock_by_id(die.usual_stock_id)
            if like(now):
                return now
        stock = min((s for s in self.shop.stocks.values() if like(s)), key=lambda s: s.code, default=None)
        if stock is None:
            code = base = shortened(f"{build[0]} {build[1]:g} MPa {build[2]:g} mm", 76)
            n = 1
            while code in self.shop.stocks:
                n += 1
                code = f"{base} #{n}"
            stock = Stock(code=code, material=build[0], tensile_mpa=build[1], thickness_mm=build[2])
            self.shop.create(Stock, [stock], "stocks")
            self.shop.stocks[code] = stock
        return stock

    def _inserts(self) -> None:
        merger = Merger(self.shop, Variant, "sets of inserts")
        default: dict[int, str] = {}
        lines: dict[int, int] = {}

        def take(row: Row) -> None:
            die, code = self.shop.die(row["die"]), row["variant"]
            merger.once((die.pk, code), row.line, f"{code} of {die.code}")
            if row.get("usual"):
                if die.pk in default:
                    raise BadRow(f"{die.code} has two usual sets of inserts.", "usual")
                default[die.pk] = code
            lines.setdefault(die.pk, row.line)
            merger.put((die.pk, code), self.shop.variants.get((die.pk, code)), code, {}, {"die": die, "code": code})

        self.each(tables.INSERTS, take)
        self.findings.stop_if_wrong()
        codes = defaultdict(list)
        for die_id, code in [*self.shop.variants, *merger.new]:
            codes[die_id].append(code)
        for die in self.shop.dies.values():
            mine = codes[die.pk]
            if die.pk in default or die.pk in self.shop.default_variant:
                continue
            if not mine:
                merger.put((die.pk, "standard"), None, "", {}, {"die": die, "code": "standard"})
                default[die.pk] = "standard"
            elif "standard" in mine or len(mine) == 1:
                default[die.pk] = "standard" if "standard" in mine else mine[0]
            else:
                self.findings.problem(
                    tables.INSERTS.file,
                    lines.get(die.pk, 0),
                    "usual",
                    f"Say which set of inserts of {die.code} is meant where none is named.",
                )
        self._save_variants(merger, default)

    def _save_variants(self, merger: Merger, default: dict[int, str]) -> None:
        """The old default gives way before the new one takes its place: one a die, at any moment."""
        moved = []
        for die_id, code in list(default.items()):
            old = self.shop.default_variant.get(die_id)
            if old is not None and old.code != code and self.shop.leave:
                default[die_id] = old.code
                self.shop.left.append(f"usual set of inserts: {old.code} here, {code} in the file")
                continue
            if old is not None and old.code != code:
                Variant.objects.filter(pk=old.pk).update(is_default=False)
                old.is_default = False
                moved.append((die_id, code))
                self.shop.saved.append(old)
                self.shop.changed(f"usual set of inserts: {old.code} is now {code}")
            if (die_id, code) in merger.new:
                merger.new[die_id, code].is_default = True
        merger.save(self.shop.variants)
        for key in [(d, c) for d, c in default.items() if not self.shop.variants[d, c].is_default] + moved:
            variant = self.shop.variants[key]
            if not variant.is_default:
                Variant.objects.filter(pk=variant.pk).update(is_default=True)
                variant.is_default = True
        self.shop.default_variant = {v.die_id: v for v in self.shop.variants.values() if v.is_default}

    def _parts_per_hit(self) -> None:
        merger = Merger(self.shop, Output, "parts of dies")
        named: set[int] = set()

        def take(row: Row) -> None:
            die = self.shop.die(row["die"])
            variant = self.shop.variant(die, row.get("variant"))
            part = self.shop.part(row["part"], row.get("revision", ""))
            key = variant.pk, part.pk
            merger.once(key, row.line, f"{part} of {die.code}")
            named.add(die.pk)
            merger.put(key, self.shop.outputs.get(key), f"{part} of {die.code}", given(row, "parts_per_hit"),
                       {"variant": variant, "part": part})  # fmt: skip

        self.each(tables.PARTS_PER_HIT, take)
        variants = defaultdict(list)
        for variant in self.shop.variants.values():
            variants[variant.die_id].append(variant)
        die_of = {v.pk: v.die_id for v in self.shop.variants.values()}
        has = defaultdict(set)
        for variant_id, part_id in self.shop.outputs:
            has[die_of[variant_id]].add(part_id)
        for die in self.shop.dies.values():
            n = self.parts_per_hit.get(die.pk, 0)
            if die.pk in named or n < 1:
                continue
            part = self.shop.parts.get((die.code, ""))
            if has[die.pk] and (part is None or has[die.pk] != {part.pk}):
                continue  # its parts are told elsewhere
            part = part or self.shop.part(die.code, tell=False)
            for variant in variants[die.pk]:
                standing = self.shop.outputs.get((variant.pk, part.pk))
                if standing is not None or not has[die.pk]:
                    merger.put((variant.pk, part.pk), standing, f"{part} of {die.code}", {"parts_per_hit": n},
                               {"variant": variant, "part": part})  # fmt: skip
        merger.save(self.shop.outputs)

    # --- money and orders -------------------------------------------------------------------------------------------

    def _hourly_rates(self) -> None:
        merger = Merger(self.shop, Rate, "rates")
        rates = {(r.kind, r.valid_from): r for r in Rate.objects.filter(plant=self.shop.plant)}

        def take(row: Row) -> None:
            key = row["kind"], row["valid_from"]
            label = f"{key[0]} from {key[1]}"
            merger.once(key, row.line, label)
            if (limit := OF_RATES.get(key[0])) is not None and not limit.holds(float(row["amount"])):
                raise BadRow(limit.sentence(float(row["amount"])), "amount")
            merger.put(key, rates.get(key), label, given(row, "amount"),
                       {"plant": self.shop.plant, "kind": key[0], "valid_from": key[1]})  # fmt: skip

        self.each(tables.HOURLY_RATES, take)
        merger.save(rates)

    def _orders(self) -> None:
        merger = Merger(self.shop, Order, "orders")
        makes: dict[int, set[int]] = defaultdict(set)
        for output in self.shop.outputs.values():
            makes[output.variant_id].add(output.part_id)

        def take(row: Row) -> None:
            die = self.shop.die(row["die"]) if "die" in row else None
            if "part" in row:
                part_id = self.shop.part(row["part"], row.get("revision", "")).pk
            elif die is None:
                raise BadRow("Name the die or the part.", "die")
            else:
                parts = makes[self.shop.default_variant[die.pk].pk]
                if len(parts) != 1:
                    what = "several parts" if parts else "no part"
                    raise BadRow(f"{die.code} makes {what}; name the one that is ordered in the column part.", "die")
                part_id = next(iter(parts))
            key = row["order"], part_id
            merger.once(key, row.line, f"Order {row['order']} for this part")
            values = given(row, "parts", "due", placed_at="placed", closed_at="closed")
            if die is not None:
                values["die_id"] = die.pk
            placed, closed = row.get("placed"), row.get("closed")
            if placed and closed and closed < placed:
                raise BadRow("It was closed before it came in.", "closed")
            merger.put(key, self.shop.orders.get(key), f"order {row['order']}", values,
                       {"plant": self.shop.plant, "number": row["order"], "part_id": part_id})  # fmt: skip

        self.each(tables.ORDERS, take)
        merger.save(self.shop.orders)


def _check_order(table: str, values: dict, standing: Die | Press | None) -> None:
    """No figure above one that it has to stay within."""
    wrong = limits.out_of_order(table, lambda column: values.get(column, getattr(standing, column, None)))
    if wrong:
        column, sentence = next(iter(wrong.items()))
        raise BadRow(sentence, column)
