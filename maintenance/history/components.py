"""Loads what a die is made of: stations, spares, positions, cuts and the pieces that sit in them."""

from __future__ import annotations

import re
from collections import defaultdict

from diestore.handbook import springs, wear_limits
from diestore.handbook.kinds import UnknownKind
from diestore.handbook.kinds import kind as kind_of
from diestore.register.models import Cut, Die, Item, Party, Piece, Position, Station, Variant
from maintenance.log import doubts
from maintenance.log.names import piece_key
from maintenance.log.rules import EntryRefused

from . import columns as tables
from .files import Folder, Row
from .merging import Merger, TableLoader, given
from .problems import BadRow
from .shop import Shop

PIECE_FIELDS = ("tool_steel", "coating", "hardness_hrc", "length_mm", "grind_allowance_mm")
# Column of the database -> column of the file, where that is another.
OF_POSITION = {"height_group": "enters_with", "stroke_share": "works_in_share_of_strokes"}
OF_WEAR_LIMIT = {"wear_of": "measured"}
OF_SPARE = {"criticality": "if_we_run_out"}
OPENING_FIELDS = ("opening", "opening_life_hits", "opening_hits_since_sharpening")


class Components(TableLoader):
    """Loads the make-up of dies into a shop, table after table.

    thickness_before: die id -> thickness of its usual stock before this load.
    first_pieces: what components.csv says sat in each position when the records began.
    counts_told: rows of spares.csv with their item, for the shelf.
    """

    def __init__(self, folder: Folder, shop: Shop, thickness_before: dict[int, float]) -> None:
        super().__init__(folder, shop)
        self.thickness_before = thickness_before
        self.rows: list[Row] = []
        self.components: list[tuple[Row, Die, Position]] = []
        self.counts_told: list[tuple[Row, Item]] = []
        self.first_pieces: list[tuple[Row, Position, Piece]] = []
        self.described: dict[str, str] = {}

    def load(self) -> None:
        for step in (self._stations, self._spares, self._positions, self._cuts, self._pieces):
            step()
            self.findings.stop_if_wrong()

    def _stations(self) -> None:
        """stations.csv, and the stations that components.csv names beside them."""
        stations = Merger(self.shop, Station, "stations")

        def take(row: Row) -> None:
            die, code = self.shop.die(row["die"]), row["station"]
            key = die.pk, code
            stations.once(key, row.line, f"Station {code} of {die.code}")
            stations.put(key, self.shop.stations.get(key), f"station {code} of {die.code}",
                         given(row, "sequence", "operation"), {"die": die, "code": code})  # fmt: skip

        self.each(tables.STATIONS, take)
        stations.save(self.shop.stations)
        self.each(tables.COMPONENTS, self.rows.append)
        self._stations_of(self.rows)

    def _spares(self) -> None:
        """spares.csv, and the spares that components.csv names beside them."""
        items = Merger(self.shop, Item, "spares", called=OF_SPARE)
        columns: set[str] = set()

        def take(row: Row) -> None:
            key = row["spare"], row.get("revision", "")
            label = " ".join(key).strip()
            items.once(key, row.line, label)
            columns.update(row.columns)
            values = given(
                row, "description", "lead_days", "unit_price", "pack_size", "shelf_place", "retired_at",
                *PIECE_FIELDS, "spring_rate_n_mm", "spring_class", "gas_force_n",
                "gas_charge_mpa", **OF_SPARE,
            )  # fmt: skip
            try:
                springs.class_of(values.get("spring_class", ""))
            except springs.SpringError as error:
                raise BadRow(str(error), "spring_class") from error
            if "kind" in row:
                values["kind"] = kind_of(row["kind"]).key
            if "supplier" in row:
                values["supplier_id"] = self.shop.party(row["supplier"], Party.Role.SUPPLIER).pk
            item = items.put(key, self.shop.items.get(key), label, values, {"code": key[0], "revision": key[1]})
            self.counts_told.append((row, item))

        self.each(tables.SPARES, take)
        self._spares_of(self.rows, items, columns)
        items.save(self.shop.items)
        self._newer({item.pk for item in items.new.values()})

    def _newer(self, fresh: set[int]) -> None:
        """What took the place of a spare, once all of them are there. fresh: keys of those that came with this load."""
        replaced = {(row["spare"], row.get("revision", "")) for row, _ in self.counts_told if "newer" in row}
        links, made = Merger(self.shop, Item, "spares"), []

        def take(row: Row) -> None:
            key = row["spare"], row.get("revision", "")
            if "newer" not in row:
                if "old_stock" in row:
                    raise BadRow("It is not said what took its place.", "newer")
                return
            there = row["newer"], row.get("newer_revision", "")
            newer, item = self.shop.items.get(there), self.shop.items[key]
            if newer is None:
                raise BadRow(f"There is no spare {' '.join(there).strip()}.", "newer")
            if newer.pk == item.pk or there in replaced or (newer.newer_id is not None and newer.pk not in fresh):
                raise BadRow(f"{newer} was itself replaced: name the last one.", "newer")
            if "old_stock" not in row:
                raise BadRow("It is not said what became of its pieces.", "old_stock")
            values = {"newer_id": newer.pk, "old_stock": row["old_stock"]}
            if item.pk in fresh:
                item.newer_id, item.old_stock = newer.pk, row["old_stock"]
                made.append(item)
            elif (item.newer_id, item.old_stock) != tuple(values.values()):
                links.put(key, item, str(item), values)

        self.take(tables.SPARES, [row for row, _ in self.counts_told], take)
        self.findings.stop_if_wrong()
        Item.objects.bulk_update(made, ["newer", "old_stock"], batch_size=500)
        links.save(self.shop.items)

    def _spares_of(self, rows: list[Row], items: Merger, columns: set[str]) -> None:
        """Spares that components name: new ones are added, and what spares.csv has no column for is filled in
        from the components, where all that name the spare agree."""
        by_item = defaultdict(lambda: defaultdict(set))
        for row in rows:
            if "spare" in row:
                key = row["spare"], row.get("spare_revision", "")
                for name in ("kind", *PIECE_FIELDS):
                    if name in row:
                        by_item[key][name].add(row[name])
                by_item[key]  # named, even with nothing to say
        for key, fields in by_item.items():
            item = self.shop.items.get(key) or items.new.get(key)
            values = {name: next(iter(values_given)) for name, values_given in fields.items() if len(values_given) == 1}
            if "kind" in values:
                try:
                    values["kind"] = kind_of(values["kind"]).key
                except UnknownKind:
                    del values["kind"]  # told with the position
            if item is not None:
                values = {
                    name: value
                    for name, value in values.items()
                    if (key not in items.lines or name not in columns) and getattr(item, name) in (None, "")
                }
                if not values:
                    continue
            items.put(key, item, " ".join(key).strip(), values, {"code": key[0], "revision": key[1]})

    def _stations_of(self, rows: list[Row]) -> None:
        new: dict[int, set[str]] = defaultdict(set)
        for row in rows:
            die = self.shop.dies.get(row["die"])
            if die is not None and "station" in row and (die.pk, row["station"]) not in self.shop.stations:
                new[die.pk].add(row["station"])
        merger = Merger(self.shop, Station, "stations")
        for die_id, codes in new.items():
            number = {code: re.match(r"[0-9]{1,6}", code) for code in codes}
            last = max(
                [int(m[0]) for m in number.values() if m]
                + [s.sequence for s in self.shop.stations.values() if s.die_id == die_id],
                default=0,
            )
            for code in sorted(codes):
                if number[code]:
                    sequence = int(number[code][0])
                else:
                    last = sequence = last + 1
                merger.put((die_id, code), None, "", {}, {"die_id": die_id, "code": code, "sequence": sequence})
        merger.save(self.shop.stations)

    def _positions(self) -> None:
        merger = Merger(self.shop, Position, "positions", called=OF_POSITION | OF_WEAR_LIMIT)
        members: dict[tuple, list[Variant]] = {}
        taken: list[tuple[Row, Die]] = []

        def take(row: Row) -> None:
            die, code = self.shop.die(row["die"]), row["position"]
            key = die.pk, code
            merger.once(key, row.line, f"Position {code} of {die.code}")
            kind = kind_of(row["kind"])
            standing = self.shop.positions.get(key)
            values = given(row, "side", "x_mm", "y_mm", "seat_mm", "valid_from", "valid_to",
                           **OF_POSITION)  # fmt: skip
            values |= self._wear_limit(row, standing)
            values["kind"] = kind.key
            self.doubt(tables.COMPONENTS, row, "tool_steel", doubts.of_steel(row.get("tool_steel", "")))
            gap = row.get("clearance_pct_per_side")
            self.doubt(tables.COMPONENTS, row, "clearance_pct_per_side", doubts.of_gap_pct(gap) if gap else "")
            if standing is None:
                values.setdefault("side", kind.side)
            since = values.get("valid_from", standing and standing.valid_from)
            until = values.get("valid_to", standing and standing.valid_to)
            if since and until and since >= until:
                raise BadRow("It ends before it begins.", "valid_to")
            if "station" in row:
                values["station_id"] = self.shop.stations[die.pk, row["station"]].pk
            if "spare" in row:
                values["item_id"] = self.shop.item(row["spare"], row.get("spare_revision", "")).pk
            if "variants" in row:
                members[key] = [self.shop.variant(die, name) for name in row["variants"]]
            merger.put(key, standing, f"{die.code} {code}", values, {"die": die, "code": code})
            taken.append((row, die))

        self.take(tables.COMPONENTS, self.rows, take)
        self.rows = []
        self.findings.stop_if_wrong()
        merger.save(self.shop.positions)
        self._save_members(members)
        self.components = [(row, die, self.shop.positions[die.pk, row["position"]]) for row, die in taken]

    @staticmethod
    def _wear_limit(row: Row, standing: Position | None) -> dict:
        """What is measured of a position's wear and where it is changed: both or neither."""
        values = given(row, "wear_limit", **OF_WEAR_LIMIT)
        if not values:
            return {}
        name = values.get("wear_of", standing.wear_of if standing else "")
        limit = values.get("wear_limit", standing.wear_limit if standing else None)
        if not name or limit is None:
            raise BadRow("What is measured and its limit belong together.", "wear_limit" if name else "measured")
        known = wear_limits.named(name)
        if known is None:
            raise BadRow(f"{name} cannot have a limit. {wear_limits.UNKNOWN}", "measured")
        return {"wear_of": known, "wear_limit": limit}

    def _save_members(self, members: dict[tuple, list[Variant]]) -> None:
        through = Position.variants.through
        has = defaultdict(set)
        for position_id, variant_id in through.objects.filter(position__die__plant=self.shop.plant).values_list(
            "position_id", "variant_id"
        ):
            has[position_id].add(variant_id)
        new = []
        for key, variants in members.items():
            position = self.shop.positions[key]
            wanted = {v.pk for v in variants}
            if self.shop.leave and has[position.pk] and has[position.pk] != wanted:
                self.shop.left.append(f"sets of inserts of position {position.code}: others in the file")
                continue
            if has[position.pk] - wanted:
                through.objects.filter(position=position).exclude(variant__in=wanted).delete()
                self.shop.changed(f"sets of inserts of position {position.code}")
            if has[position.pk] != wanted:
                self.shop.saved.append(position)
            new += [through(position_id=position.pk, variant_id=v) for v in sorted(wanted - has[position.pk])]
        through.objects.bulk_create(new, batch_size=500)

    def _cuts(self) -> None:
        merger = Merger(self.shop, Cut, "cuts")

        def take(row: Row) -> None:
            die = self.shop.die(row["die"])
            key = die.pk, row["cut"], row.get("valid_from")
            label = f"Cut {row['cut']} of {die.code}"
            merger.once(key, row.line, label)
            standing = self.shop.cuts.get(key)
            values = given(row, "length_mm", "gap_mm", "valid_to")
            for side in ("upper", "lower"):
                if side in row:
                    values[f"{side}_id"] = self.shop.position(die, row[side], side).pk
            if not any(values.get(f"{s}_id", standing and getattr(standing, f"{s}_id")) for s in ("upper", "lower")):
                raise BadRow("Name the position of its punch, of its die, or of both.", "upper")
            since, until = row.get("valid_from"), row.get("valid_to", standing and standing.valid_to)
            if since and until and since >= until:
                raise BadRow("It ends before it begins.", "valid_to")
            if "gap_mm" not in row and "clearance_pct_per_side" in row:
                values |= self._gap(die, row["clearance_pct_per_side"], standing)
            merger.put(key, standing, label, values, {"die": die, "code": row["cut"], "valid_from": since})

        self.each(tables.CUTS, take)
        cutting: set[int] = set()
        for cut in [*self.shop.cuts.values(), *merger.new.values()]:
            cutting |= {cut.upper_id, cut.lower_id}
        for row, die, position in self.components:
            if "cut_length_mm" in row:
                try:
                    self._own_cut(row, die, position, merger, cutting)
                except EntryRefused as error:
                    self.findings.problem(tables.COMPONENTS.file, row.line, error.field, str(error))
        self.findings.stop_if_wrong()
        merger.save(self.shop.cuts)

    def _own_cut(self, row: Row, die: Die, position: Position, merger: Merger, cutting: set[int]) -> None:
        """The cut of a position that no cut names; its code is the position's."""
        key = die.pk, position.code, None
        standing = self.shop.cuts.get(key)
        own = standing is not None and {standing.upper_id, standing.lower_id} == {position.pk, None}
        if position.pk in cutting and (not own or key in merger.lines):
            return  # cuts.csv, or the register, tells it
        if (standing is not None and not own) or key in merger.new:
            raise BadRow(
                f"Its cut would be called {position.code}, and {die.code} has another cut of that name. "
                "Tell the cuts of this die in cuts.csv.",
                "cut_length_mm",
            )
        values = {"length_mm": row["cut_length_mm"]}
        if "clearance_pct_per_side" in row:
            values |= self._gap(die, row["clearance_pct_per_side"], standing)
        make = {"die": die, "code": position.code, f"{position.side}_id": position.pk}
        merger.put(key, standing, f"Cut {position.code} of {die.code}", values, make)

    def _gap(self, die: Die, percent: float, standing: Cut | None) -> dict[str, float]:
        """% of thickness as mm, with the thickness of the die's usual stock.

        A gap that stands is left alone where the same % gave it under the stock that was usual before.
        """
        before = self.thickness_before.get(die.pk)
        stands = standing.gap_mm if standing is not None else None
        if stands is not None and before and abs(percent / 100 * before - stands) <= 1e-9 * max(stands, 1.0):
            return {}
        thickness = self.shop.stock_by_id(die.usual_stock_id).thickness_mm
        return {"gap_mm": round(percent / 100 * thickness, 9)}  # 9 % of 1.2 mm is 0.108, not 0.10799999999999998

    # --- pieces -----------------------------------------------------------------------------------------------------

    def _pieces(self) -> None:
        """The first piece of each position, and those of pieces.csv."""
        merger = Merger(self.shop, Piece, "pieces")
        marks = {p.mark: p.key for p in self.shop.pieces.values() if p.mark}

        def put(row: Row, key: str, values: dict, make: dict, label: str) -> Piece:
            if values.get("mark"):
                other = marks.setdefault(values["mark"], key)
                if other != key:
                    raise BadRow(f"Another piece has the mark {values['mark']} already.", "mark")
            if key in self.described:
                piece = merger.new.get(key) or self.shop.pieces[key]
                differs = [n for n, v in values.items() if getattr(piece, n) != v]
                if differs:
                    column = differs[0].removesuffix("_id").replace("item", "spare")
                    raise BadRow(f"{self.described[key]} describes the piece {key!r} otherwise.", column)
                return piece
            standing = self.shop.pieces.get(key)
            self._check_opening(values, standing)
            self.described[key] = label
            return merger.put(key, standing, f"piece {key}", values, {"plant": self.shop.plant, "key": key} | make)

        for row, die, position in self.components:
            if not row.get("empty_at_start"):
                try:
                    key, values, make = self._first_in(row, die, position)
                    label = f"{tables.COMPONENTS.file}, line {row.line:,}"
                    self.first_pieces.append((row, position, put(row, key, values, make, label)))
                except EntryRefused as error:
                    self.findings.problem(tables.COMPONENTS.file, row.line, error.field, str(error))

        def take(row: Row) -> None:
            values = given(row, "mark", *PIECE_FIELDS, *OPENING_FIELDS)
            if "spare" in row:
                values["item_id"] = self.shop.item(row["spare"], row.get("spare_revision", "")).pk
            merger.once(row["piece"], row.line, f"Piece {row['piece']}")
            put(row, row["piece"], values, {}, f"{tables.PIECES.file}, line {row.line:,}")

        self.each(tables.PIECES, take)
        self.findings.stop_if_wrong()
        merger.save(self.shop.pieces)

    def _first_in(self, row: Row, die: Die, position: Position) -> tuple[str, dict, dict]:
        """Of the first piece of a position: its key, what the row says of it, and what only a new one takes."""
        key = row.get("piece") or piece_key(self.shop.plant.code, die.code, position.code, "first")
        values = given(row, "mark", *PIECE_FIELDS, *OPENING_FIELDS)
        make = {} if "opening" in row else {"opening": Piece.Opening.UNKNOWN}
        if "piece_spare" in row:
            values["item_id"] = self.shop.item(row["piece_spare"], row.get("piece_spare_revision", "")).pk
        elif "piece_spare" not in row.columns:
            make["item_id"] = position.item_id
        return key, values, make

    def _check_opening(self, values: dict, standing: Piece | None) -> None:
        def now(name: str):
            return values.get(name, getattr(standing, name) if standing else None)

        life, since = now("opening_life_hits"), now("opening_hits_since_sharpening")
        if life is not None and since is not None and since > life:
            raise BadRow(
                f"{since:,} hits since it was sharpened are more than the {life:,} of its whole life.",
                "opening_hits_since_sharpening",
            )
