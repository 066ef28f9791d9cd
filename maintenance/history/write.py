"""Writes the records of a plant as a history folder, so that loading it loses nothing.

Not in a folder: sign-ins' passwords, PINs, what each user sees, what a deleted or joined row was, and what is worked
out from the records (fittings, fits, forecasts).
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from itertools import chain
from pathlib import Path

from django.db import connection, transaction
from django.db.models import Case, F, Q, QuerySet, Sum, When
from django.db.models.functions import Collate

from diestore.access import shop as shop_row
from diestore.access.models import Person
from diestore.access.models import Shop as ShopRow
from diestore.handbook.kinds import KINDS
from diestore.register.models import (
    Cut,
    Die,
    Item,
    Output,
    Part,
    Party,
    Piece,
    Plant,
    Position,
    Press,
    Rate,
    Station,
    Stock,
    Variant,
    Volume,
)
from maintenance.log import set_ups
from maintenance.log.names import BEGINNING, first_key
from maintenance.models import (
    CostBearer,
    CostLine,
    HitCorrection,
    Incident,
    Inspection,
    Order,
    Reading,
    RecordRestart,
    Replacement,
    Retirement,
    Run,
    SetUp,
    StockMovement,
    Stop,
    Work,
)

from . import former
from .bills import BillTables, write_papers
from .columns import TABLES, Table
from .components import OF_POSITION, OF_SPARE, OF_WEAR_LIMIT, OPENING_FIELDS, PIECE_FIELDS
from .files import write_table
from .inspections import InspectionTables
from .outlines import OutlineTables
from .owners import OwnerTables, write_reports
from .photos import PhotoTables, write_pictures
from .purchases import PurchaseTables
from .sources import SourceTables
from .write_amended import AmendedTables
from .write_bench import BenchTables
from .write_counts import CounterTables

CHUNK = 2000


@dataclass(frozen=True)
class Written:
    """How many rows each file has."""

    plant: Plant
    rows: dict[str, int]


class FolderTaken(ValueError):
    """The folder holds such files already."""


def write(
    path: Path | str,
    plant: Plant,
    *,
    overwrite: bool = False,
    progress: Callable[[int], Callable[[int], None]] | None = None,
) -> Written:
    """Write the records of a plant. The eight plain tables are always written, the others where they have a row.

    overwrite: replace what such a folder holds, and take away its tables that would have no row now. progress: called
    with the number of files, returns what hears of each one.

    Raises FolderTaken where files of that name stand and are not to be replaced; OSError where it cannot be written.
    """
    path = Path(path)
    path.mkdir(parents=True, exist_ok=True)
    there = [name for table in TABLES for name in (table.file, *former.files_of(table)) if (path / name).exists()]
    if there and not overwrite:
        raise FolderTaken(f"{path} holds {there[0]} already. Name a new folder, or say --overwrite.")
    tell = progress(len(TABLES)) if progress is not None else lambda n: None
    counts = {}
    alone = not connection.in_atomic_block
    with transaction.atomic():
        if alone and connection.vendor == "postgresql":  # all tables as they are at one moment, while others write
            with connection.cursor() as cursor:
                cursor.execute("SET TRANSACTION ISOLATION LEVEL REPEATABLE READ, READ ONLY")
        maker = Maker(plant)
        for table in TABLES:
            made = maker.rows(table)
            first = next(made, None)
            if first is None and not table.plain:
                (path / table.file).unlink(missing_ok=True)
            else:
                columns = [c.name for c in table.columns if c.name not in NEVER_WRITTEN.get(table.file, ())]
                counts[table.file] = write_table(
                    path / table.file, columns, () if first is None else chain([first], made)
                )
            for name in former.files_of(table):
                (path / name).unlink(missing_ok=True)
            tell(1)
        write_pictures(path, plant)
        write_papers(path, plant)
        write_reports(path, plant)
    return Written(plant=plant, rows=counts)


# Other ways to say on loading what another column, or another file, says here.
NEVER_WRITTEN = {
    "components.csv": {"fitted"},
    "cuts.csv": {"clearance_pct_per_side"},
    "mishaps.csv": {"positions"},
    "replacements.csv": {"mark", "spare", "spare_revision", *PIECE_FIELDS},
    "spares.csv": {"counted_at"},
}
ENTRY_PATHS = {
    "entry_id": "key",
    "recorded_at": "recorded_at",
    "order_within_time": "sequence",
    "person": "person__name",
    "sign_in": "user__username",
    "came_by": "through",
    "device": "device",
    "note": "note",
    "struck_at": "struck_at",
    "struck_by": "struck_by__name",
    "struck_reason": "struck_reason",
    "replaced_by": "replaced_by__key",
}
WORK_PATHS = {
    "die": "position__die__code",
    "position": "position__code",
    "at": "at",
    "operation": "operation",
    "removed_mm": "removed_mm",
    "reason": "why",
    "found": "found",
    "wear_mm": "wear_mm",
    "length_after_mm": "length_after_mm",
    "coating_after": "coating_after",
    "supplier": "supplier__code",
    "hours": "hours",
    "set_key": "set_key",
    "hits_into_run": "hits_into_run",
}
COUNTER_PATHS = {"counter_press": "counter__press__code", "counter_die": "counter__die__code"}
POSITION_FIELDS = ("side", "x_mm", "y_mm", "seat_mm", "wear_limit", "valid_from", "valid_to")
PIECE_PATHS = {name: name for name in ("mark", *PIECE_FIELDS, *OPENING_FIELDS)}


def entries(rows: QuerySet, paths: dict[str, str]) -> Iterator[dict]:
    """Entries in the order of time; `paths` says what stands in each column."""
    paths = paths | ENTRY_PATHS
    plain = Collate(F("key"), "C" if connection.vendor == "postgresql" else "BINARY")
    for values in rows.order_by("at", "sequence", plain).values(*set(paths.values())).iterator(chunk_size=CHUNK):
        row = {column: values[path] for column, path in paths.items()}
        row["order_within_time"] = row["order_within_time"] or None
        yield row


class Maker(
    BillTables,
    OwnerTables,
    CounterTables,
    BenchTables,
    InspectionTables,
    OutlineTables,
    PurchaseTables,
    SourceTables,
    PhotoTables,
    AmendedTables,
):
    """Rows for each table. Their order never hangs on ids or on how a database sorts text."""

    def __init__(self, plant: Plant) -> None:
        self.plant = plant
        self.variant = {
            v.die_id: v for v in Variant.objects.filter(die__plant=plant).order_by("is_default", "-code")
        }  # of each die the default one, which comes last
        self.firsts = self._firsts()
        self.described = {piece for _, piece in self.firsts.values() if piece is not None}

    def rows(self, table: Table) -> Iterator[dict]:
        return iter(getattr(self, table.file.removesuffix(".csv"))())

    def _firsts(self) -> dict[int, tuple[str, int | None]]:
        """Position -> key of the entry that first put a piece there, and the piece; as fittings are derived."""
        best: dict[int, tuple] = {}
        rows = Replacement.objects.standing().filter(position__die__plant=self.plant)
        for position, since_start, *order, piece, why in rows.values_list(
            "position_id", "since_start", "at", "sequence", "key", "piece_in_id", "why"
        ).iterator():
            step = (not since_start, *order)
            if position not in best or step < best[position][0]:
                best[position] = step, piece if why == Replacement.Why.FIRST else None
        return {position: (step[3], piece) for position, (step, piece) in best.items()}

    # --- the register -----------------------------------------------------------------------------------------------

    def shop(self):
        return ShopRow.objects.values(*shop_row.COLUMNS)

    def plants(self):
        yield {"plant": self.plant.code, "name": self.plant.name}

    def people(self):
        for p in sorted(Person.objects.filter(plant=self.plant), key=lambda p: p.name):
            yield {"person": p.name, "active": p.active}

    def firms(self):
        for p in sorted(Party.objects.all(), key=lambda p: p.code):
            yield {"firm": p.code} | fields(p, "name", "role", "retired_at")

    def presses(self):
        for p in sorted(Press.objects.filter(plant=self.plant), key=lambda p: p.code):
            yield {"press": p.code} | fields(
                p, "rated_force_n", "shut_height_min_mm", "shut_height_max_mm", "retired_at", *Press.FOR_SET_UP
            )

    def strip_stock(self):
        for s in sorted(Stock.objects.all(), key=lambda s: s.code):
            names = (
                "material", "tensile_mpa", "shear_mpa", "hardness", "thickness_mm", "price_kg", "scrap_kg", "source",
                "retired_at",
            )  # fmt: skip
            yield {"stock": s.code} | fields(s, *names)

    def parts(self):
        for p in sorted(Part.objects.select_related("customer"), key=lambda p: (p.number, p.revision)):
            names = ("revision", "description", "burr_limit_um", "last_needed", "retired_at")
            yield {"part": p.number, "customer": p.customer and p.customer.code} | fields(p, *names)

    def volumes(self):
        rows = Volume.objects.values("year", "parts", number=F("part__number"), revision=F("part__revision"))
        for v in sorted(rows, key=lambda v: (v["number"], v["revision"], v["year"])):
            yield {"part": v.pop("number")} | v

    def dies(self):
        per_hit = dict.fromkeys((v.pk for v in self.variant.values()), 0)
        for variant, n in Output.objects.filter(variant__in=per_hit).values_list("variant_id", "parts_per_hit"):
            per_hit[variant] += n
        rows = Die.objects.filter(plant=self.plant).select_related("usual_stock", "owner", "usual_press")
        for d in sorted(rows, key=lambda d: d.code):
            variant = self.variant.get(d.pk)
            yield {
                "die": d.code,
                "stock_material": d.usual_stock.material,
                "stock_tensile_mpa": d.usual_stock.tensile_mpa,
                "stock_thickness_mm": d.usual_stock.thickness_mm,
                "parts_per_hit": per_hit[variant.pk] if variant else 0,
                "stock": d.usual_stock.code,
                "owner": d.owner and d.owner.code,
                "press": d.usual_press and d.usual_press.code,
            } | fields(
                d, "description", "strokes_per_minute", "build_price", "expected_parts", "status", *Die.FOR_SET_UP
            )

    def inserts(self):
        rows = [
            {"die": v.die.code, "variant": v.code, "usual": v.is_default}
            for v in Variant.objects.filter(die__plant=self.plant).select_related("die")
        ]
        without = Die.objects.filter(plant=self.plant).exclude(variants__is_default=True)
        rows += [{"die": d.code, "variant": "standard", "usual": True} for d in without]
        return sorted(rows, key=lambda r: (r["die"], not r["usual"], r["variant"]))

    def parts_per_hit(self):
        rows = Output.objects.filter(variant__die__plant=self.plant).select_related("variant__die", "part")
        for o in sorted(rows, key=lambda o: (o.variant.die.code, o.variant.code, o.part.number, o.part.revision)):
            yield {
                "die": o.variant.die.code,
                "variant": o.variant.code,
                "part": o.part.number,
                "revision": o.part.revision,
                "parts_per_hit": o.parts_per_hit,
            }

    def stations(self):
        rows = Station.objects.filter(die__plant=self.plant).select_related("die")
        for s in sorted(rows, key=lambda s: (s.die.code, s.sequence, s.code)):
            yield {"die": s.die.code, "station": s.code, "sequence": s.sequence, "operation": s.operation}

    def spares(self):
        sums = {
            (item, place): n
            for item, place, n in StockMovement.objects.standing()
            .filter(plant=self.plant)
            .order_by()
            .values_list("item_id", "place")
            .annotate(n=Sum("quantity"))
        }
        for i in sorted(Item.objects.select_related("supplier", "newer"), key=lambda i: (i.code, i.revision)):
            names = (
                "description",
                "lead_days",
                "unit_price",
                "pack_size",
                "shelf_place",
                "spring_rate_n_mm",
                "gas_force_n",
                "gas_charge_mpa",
                "spring_class",
                "retired_at",
                "revision",
                "old_stock",
                *PIECE_FIELDS,
            )
            yield {
                "spare": i.code,
                "newer": i.newer and i.newer.code,
                "newer_revision": i.newer and i.newer.revision,
                "on_hand": sums.get((i.pk, StockMovement.Place.SHELF), 0),
                "on_order": sums.get((i.pk, StockMovement.Place.ON_ORDER), 0),
                "kind": kind_name(i.kind),
                "supplier": i.supplier and i.supplier.code,
            } | fields(i, *names, **OF_SPARE)

    def components(self):
        rows = Position.objects.filter(die__plant=self.plant).select_related("die__usual_stock", "station", "item")
        cuts = defaultdict(list)
        for cut in Cut.objects.filter(die__plant=self.plant):
            for position in {cut.upper_id, cut.lower_id} - {None}:
                cuts[position].append(cut)
        pieces = Piece.objects.filter(plant=self.plant).select_related("item").in_bulk(list(self.described))
        for p in sorted(rows.prefetch_related("variants"), key=_place):
            piece = pieces.get(self.firsts[p.pk][1]) if p.pk in self.firsts else None
            row = {
                "die": p.die.code,
                "station": p.station and p.station.code,
                "position": p.code,
                "kind": kind_name(p.kind),
                "spare": p.item and p.item.code,
                "spare_revision": p.item and p.item.revision,
                "variants": sorted(v.code for v in p.variants.all()) or None,
                "empty_at_start": None if piece else True,
            } | fields(p, *POSITION_FIELDS, **OF_POSITION, **OF_WEAR_LIMIT)
            row |= _cutting(cuts[p.pk], p.die.usual_stock.thickness_mm)
            if piece is not None:
                row |= {"piece": piece.key, "piece_spare": piece.item and piece.item.code} | fields(piece, *PIECE_PATHS)
                row["piece_spare_revision"] = piece.item and piece.item.revision
            yield row

    def cuts(self):
        rows = Cut.objects.filter(die__plant=self.plant).select_related("die", "upper", "lower")
        for c in sorted(rows, key=lambda c: (c.die.code, c.code, c.valid_from is not None, c.valid_from or BEGINNING)):
            yield {
                "die": c.die.code,
                "cut": c.code,
                "upper": c.upper and c.upper.code,
                "lower": c.lower and c.lower.code,
            } | fields(c, "length_mm", "gap_mm", "valid_from", "valid_to")

    def pieces(self):
        paths = PIECE_PATHS | {"piece": "key", "spare": "item__code", "spare_revision": "item__revision"}
        rows = Piece.objects.filter(plant=self.plant).order_by(
            Collate(F("key"), "C" if connection.vendor == "postgresql" else "BINARY")
        )
        for values in rows.values("pk", *paths.values()).iterator(chunk_size=CHUNK):
            if values["pk"] not in self.described:
                yield {column: values[path] for column, path in paths.items()}

    def hourly_rates(self):
        for r in sorted(Rate.objects.filter(plant=self.plant), key=lambda r: (r.kind, r.valid_from)):
            yield fields(r, "kind", "valid_from", "amount")

    def orders(self):
        rows = Order.objects.filter(plant=self.plant).select_related("die", "part")
        for o in sorted(rows, key=lambda o: (o.due, o.number, o.part.number, o.part.revision)):
            yield {
                "die": o.die and o.die.code,
                "order": o.number,
                "parts": o.parts,
                "due": o.due,
                "part": o.part.number,
                "revision": o.part.revision,
                "placed": o.placed_at,
                "closed": o.closed_at,
            }

    # --- what happened ----------------------------------------------------------------------------------------------

    def replacements(self):
        paths = {
            "die": "position__die__code",
            "position": "position__code",
            "at": "at",
            "reason": "why",
            "found": "found",
            "piece": "piece_in__key",
            "since_start": "since_start",
            "hits_into_run": "hits_into_run",
        }
        firsts = {key for key, piece in self.firsts.values() if piece is not None}
        for row in entries(Replacement.objects.filter(position__die__plant=self.plant), paths):
            if row["entry_id"] in firsts and self._follows_from_components(row):
                continue
            row["take_out"] = None if row["piece"] else True
            row["since_start"] = row["since_start"] or None
            yield row

    def _follows_from_components(self, row: dict) -> bool:
        """Whether loading components.csv alone makes this very entry."""
        usual = {
            "entry_id": first_key(self.plant.code, row["die"], row["position"]),
            "at": BEGINNING,
            "recorded_at": BEGINNING,
            "since_start": True,
            "came_by": "import",
        }
        silent = ("found", "hits_into_run", "order_within_time", "person", "sign_in", "device", "note", "struck_at")
        return all(row[name] == value for name, value in usual.items()) and not any(row[name] for name in silent)

    def runs(self):
        paths = {
            "die": "die__code",
            "started": "started",
            "ended": "at",
            "hits": "hits",
            "variant": "variant__code",
            "how_counted": "basis",
            "press": "press__code",
            "stock": "stock__code",
            "usual_stock": "die__usual_stock__code",
            "coil": "lot",
            "order": "order__number",
            "order_part": "order__part__number",
            "order_revision": "order__part__revision",
            "good_parts": "good_parts",
            **COUNTER_PATHS,
        }
        for row in entries(Run.objects.filter(die__plant=self.plant), paths):
            row["stock"] = row["stock"] or row["usual_stock"]
            yield row

    def corrections(self):
        paths = {"die": "die__code", "variant": "variant__code", **COUNTER_PATHS}
        paths |= {name: name for name in ("at", "hits", "with_stock", "reason", "counted_from")}
        return entries(HitCorrection.objects.filter(die__plant=self.plant), paths)

    def restarts(self):
        paths = {"die": "die__code", "at": "at", "reason": "reason"}
        return entries(RecordRestart.objects.filter(die__plant=self.plant), paths)

    def set_ups(self):
        paths = {"die": "die__code", "press": "press__code", "at": "at", "readings": "readings"}
        paths |= {name: name for name in ("shut_height_mm", "is_good")}
        for row in entries(SetUp.objects.filter(die__plant=self.plant), paths):
            yield row | {"readings": set_ups.cells_of(row["readings"])}

    def inspections(self):
        paths = {"plan": "plan__key"} | {name: name for name in ("at", "is_finding", "parts_scrapped")}
        for row in entries(Inspection.objects.filter(plant=self.plant), paths):
            yield row | {"parts_scrapped": row["parts_scrapped"] or None}

    def stops(self):
        paths = {"die": "die__code", "press": "press__code"}
        paths |= {"station": "station__code", "position": "position__code"}
        paths |= {name: name for name in ("at", "cause", "minutes", "parts_scrapped", "planned")}
        return entries(Stop.objects.filter(die__plant=self.plant), paths)

    def mishaps(self):
        pieces = defaultdict(list)
        for key, piece in Incident.pieces.through.objects.filter(incident__die__plant=self.plant).values_list(
            "incident__key", "piece__key"
        ):
            pieces[key].append(piece)
        paths = {"die": "die__code", "at": "at", "what": "sort"}
        for row in entries(Incident.objects.filter(die__plant=self.plant), paths):
            row["pieces"] = sorted(pieces[row["entry_id"]]) or None
            yield row

    def sharpenings(self):
        rows = Work.objects.filter(position__die__plant=self.plant, operation="ground")
        return entries(rows, WORK_PATHS)

    def other_work(self):
        in_place = Q(position__die__plant=self.plant) & ~Q(operation="ground")
        more = {"piece": "piece__key", "raised_mm": "raised_mm"}
        return entries(Work.objects.filter(in_place | Q(piece__plant=self.plant)), WORK_PATHS | more)

    def readings(self):
        dies = {"die": "die__code", "of_position": "position__die__code", "of_cut": "cut__die__code"}
        paths = dies | {
            "position": "position__code",
            "at": "at",
            "quantity": "quantity",
            "value": "typed_value",
            "unit": "typed_unit",
            "value_si": "value_si",
            "at_length_mm": "at_length_mm",
            "charged_to_mpa": "charged_to_mpa",
            "piece": "piece__key",
            "cut": "cut__code",
            "cut_valid_from": "cut__valid_from",
            "parts_scrapped": "parts_scrapped",
            "hits_into_run": "hits_into_run",
        }
        rows = Reading.objects.filter(
            Q(die__plant=self.plant)
            | Q(position__die__plant=self.plant)
            | Q(cut__die__plant=self.plant)
            | Q(piece__plant=self.plant)
        )
        for row in entries(rows, paths):
            row["die"] = row["die"] or row["of_position"] or row["of_cut"]
            row["parts_scrapped"] = row["parts_scrapped"] or None
            yield row

    def shelf_moves(self):
        paths = {"spare": "item__code", "spare_revision": "item__revision", "piece": "piece__key"}
        paths |= {"order_line": "line__key", "die": "die_here", "bench_work": "work_here", "supplier": "supplier__code"}
        as_named = ("at", "quantity", "kind", "place", "elsewhere", "length_mm", "grinds_left", "worth")
        rows = StockMovement.objects.filter(plant=self.plant).annotate(
            die_here=Case(When(die__plant=self.plant, then=F("die__code"))),  # it may have moved since
            work_here=Case(When(bench_work__die__plant=self.plant, then=F("bench_work__key"))),
        )
        return entries(rows, paths | {name: name for name in as_named})

    def costs(self):
        paths = {"die": "die__code", "payer": "payer__code", "work": "work__key", "stop": "stop__key"}
        paths |= {"bill": "bill_here", "billed": "billed_here", "bench_work": "work_here", "purchase": "order_here"}
        paths |= {name: name for name in ("at", "kind", "amount")}
        of_nothing = Q(die__isnull=True, work__isnull=True, stop__isnull=True)
        mine = Q(bill__plant=self.plant)
        rows = CostLine.objects.annotate(  # the die may have moved since the bill came
            bill_here=Case(When(mine, then=F("bill__key"))),
            billed_here=Case(When(mine, then=F("billed"))),
            work_here=Case(When(bench_work__die__plant=self.plant, then=F("bench_work__key"))),
            order_here=Case(When(purchase__plant=self.plant, then=F("purchase__key"))),
        ).filter(
            (of_nothing & (Q(bill__isnull=True) | mine))
            | Q(die__plant=self.plant)
            | Q(stop__die__plant=self.plant)
            | Q(work__position__die__plant=self.plant)
            | Q(work__piece__plant=self.plant)
        )
        return entries(rows, paths)

    def cost_bearers(self):
        paths = {"die": "die__code", "at": "at", "element": "element", "payer": "payer__code"}
        paths |= {name: f"{name}__key" for name in ("work", "replacement", "stop", "reading")}
        return entries(CostBearer.objects.filter(die__plant=self.plant), paths)

    def retirements(self):
        paths = {"die": "die__code", "payer": "payer__code"}
        paths |= {name: name for name in ("at", "fate", "weight_kg", "worth", "cost", "went_to")}
        return entries(Retirement.objects.filter(die__plant=self.plant), paths)


def fields(thing: object, *names: str, **renamed: str) -> dict[str, object]:
    """What a row says: under the names of its columns, and `column of the database=column of the file`."""
    return {column: getattr(thing, name) for name, column in (dict(zip(names, names, strict=True)) | renamed).items()}


def kind_name(key: str) -> str:
    return KINDS[key].english if key in KINDS else key


def _place(position: Position) -> tuple:
    station = position.station
    return (
        position.die.code,
        station is None,
        station.sequence if station else 0,
        station.code if station else "",
        position.code,
    )


def _cutting(cuts: list[Cut], thickness_mm: float) -> dict[str, float]:
    """What the plain table says of a position's cuts: their length in all and the tightest gap. cuts.csv says more."""
    now = [cut for cut in cuts if cut.valid_to is None] or cuts
    if not now:
        return {}
    columns = {"cut_length_mm": round(sum(sorted(cut.length_mm for cut in now)), 9)}
    gaps = [cut.gap_mm for cut in now if cut.gap_mm is not None]
    if gaps:
        columns["clearance_pct_per_side"] = round(100 * min(gaps) / thickness_mm, 6)
    return columns
