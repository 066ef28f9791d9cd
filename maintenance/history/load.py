"""Loads a history folder: all of it or nothing. The same folder again adds nothing."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

from django.apps import apps
from django.db import DatabaseError, connection, transaction
from django.db.models import Max
from django.utils import timezone

from diestore.access.shop import forget as forget_shop
from diestore.register import sourcing
from diestore.register.models import Item, Plant
from maintenance.log import changes, counted, rules, touched
from maintenance.log.derived import find_heads
from maintenance.log.names import natural_key
from maintenance.log.read import last_moment
from maintenance.log.write import hits_logged
from maintenance.models import Change, Event, StockMovement, Stop, Work

from . import beside
from . import columns as tables
from .amended import Amended
from .bench import Bench
from .bills import Bills
from .counts import Counts as CounterRows
from .entries import Ledger, tie_replaced
from .files import Folder, Row, bytes_of
from .inspections import InspectionPlans, Inspections
from .log import (
    Corrections,
    Costs,
    Fitted,
    Mishaps,
    OtherWork,
    Readings,
    Restarts,
    Runs,
    SetUps,
    Sharpenings,
    ShelfMoves,
    Stops,
)
from .outlines import Outlines
from .owners import SignedReports
from .payers import CostBearers, Retirements
from .photos import Photos
from .problems import AT_MOST, Findings, HistoryRefused, Problem
from .purchases import Purchases
from .register import Register
from .replacements import Replacements
from .shop import BY_FOLDER, Act, Counts, Shop
from .sources import Sources

NO_RUNS = "There are no runs, here or in the records: without hits nothing can be said of any life."
LONG_BYTES = 500_000  # a folder that takes over a second
BYTES_A_ROW_AT_LEAST = 8


@dataclass(frozen=True)
class Loaded:
    """What came of a load. changes: what of the register changed. left: what differs there and was left as it stands.
    doubts: what can be true and looks as if it were not."""

    plant: Plant
    counts: Counts
    notes: list[str]
    changes: list[str] = field(default_factory=list)
    left: list[str] = field(default_factory=list)
    doubts: list[Problem] = field(default_factory=list)


class _DryRun(Exception):
    """All would have been saved."""


def load(
    path: Path | str,
    *,
    plant: str | None = None,
    allow_future: bool = False,
    progress: Callable[[int], Callable[[int], None]] | None = None,
    dry_run: bool = False,
    leave_register: bool = False,
    by_night: bool = True,
    act: Act = BY_FOLDER,
) -> Loaded:
    """Load a folder into the records.

    plant: code of the plant, made where there is none; default: the one in plants.csv, else the only one here, else
    main. allow_future: take times later than this machine's clock. progress: called with the bytes to read, returns
    what hears how many were read since. dry_run: look at everything and save nothing.
    leave_register: what stands in the register is left as it is; what is empty there is filled in.
    by_night: the forecasts can wait for the night. act: who brings it, and what it is called in the register's history.

    Raises HistoryRefused, with what is wrong; then nothing is saved.
    """
    latest = None if allow_future else timezone.now() + dt.timedelta(minutes=10)

    def once() -> Loaded:
        findings = Findings()
        folder = Folder(Path(path), findings, zone=timezone.get_default_timezone(), latest=latest, tell_bytes=_nothing)
        if progress is not None:
            folder.tell_bytes = progress(folder.size)
        try:
            with transaction.atomic():
                shop = Shop(_plant(folder, plant, leave=leave_register), findings, leave=leave_register, act=act)
                _load(folder, shop, by_night=by_night)
                findings.stop_if_wrong()
                if dry_run:
                    raise _DryRun
                if shop.counts.added:
                    count_anew()
        except _DryRun:
            pass
        except HistoryRefused:
            if len(findings.problems) >= AT_MOST:
                raise
            folder.look_through_rest()
            raise HistoryRefused(findings.problems) from None
        except DatabaseError as error:
            findings.problems.clear()
            findings.problem(
                str(path), 0, "", f"The database refuses this: it contradicts what stands there ({_first_line(error)})."
            )
            raise HistoryRefused(findings.problems) from error
        finally:
            forget_shop()
        folder.tell_renamed()
        shop.tell_named()
        shop.tell_changes()
        return Loaded(
            plant=shop.plant,
            counts=shop.counts,
            notes=findings.notes,
            changes=shop.changes,
            left=shop.left,
            doubts=findings.doubts,
        )

    size = bytes_of(Path(path))
    if size > LONG_BYTES and beside.is_possible():
        return beside.tried(once) if dry_run else beside.done(once, rows=size // BYTES_A_ROW_AT_LEAST)
    return once()


def count_anew() -> None:
    """Have PostgreSQL count the rows of its tables now.

    It plans queries by counts that it takes itself a minute or more after a load. Where it took the tables for empty,
    the forecast that follows would search whole tables once a row: minutes in place of a second.
    """
    if connection.vendor == "postgresql":
        models = [*apps.get_app_config("diestore").get_models(), *apps.get_app_config("maintenance").get_models()]
        with connection.cursor() as cursor:
            cursor.execute("ANALYZE " + ", ".join(connection.ops.quote_name(m._meta.db_table) for m in models))


def _nothing(bytes_read: int) -> None:
    pass


def _first_line(error: Exception) -> str:
    return (str(error).splitlines() or ["no reason given"])[0][:200]


def _plant(folder: Folder, code: str | None, *, leave: bool = False) -> Plant:
    rows = list(folder.rows(tables.PLANTS))
    if len(rows) > 1:
        folder.findings.problem(
            tables.PLANTS.file, rows[1].line, "plant", "A folder is of one plant. Write a folder for each."
        )
    folder.findings.stop_if_wrong()
    plant_row = rows[0] if rows else None
    there = list(Plant.objects.all())
    if not code:
        code = plant_row["plant"] if plant_row else there[0].code if len(there) == 1 else "main" if not there else None
    if code is None:
        codes = ", ".join(sorted(p.code for p in there))
        folder.findings.problem(str(folder.path), 0, "", f"There are several plants; name one with --plant: {codes}.")
        folder.findings.stop_if_wrong()
    plant, _ = Plant.objects.get_or_create(code=code)
    if plant_row and plant_row["plant"] == code and "name" in plant_row and plant.name != plant_row["name"]:
        if leave and plant.name:
            return plant
        plant.name = plant_row["name"]
        plant.save()
    return plant


def _load(folder: Folder, shop: Shop, *, by_night: bool = True) -> None:
    amended, register = Amended(folder, shop), Register(folder, shop)
    register.load()
    Sources(folder, shop).load()
    components, ledger = register.components, Ledger()
    counters = CounterRows(folder, shop)
    counters.load_devices()
    last_work = Work.objects.aggregate(last=Max("pk"))["last"] or 0
    Replacements(folder, shop, ledger, first_pieces=components.first_pieces).load()
    fitted = Fitted(shop)
    runs = Runs(folder, shop, ledger)
    runs.load()
    fitted.begun = runs.begun
    if not runs.spans and shop.dies:
        folder.findings.doubt(tables.RUNS.file, 0, "", NO_RUNS)
    Corrections(folder, shop, ledger).load()
    Restarts(folder, shop, ledger).load()
    SetUps(folder, shop, ledger).load()
    Stops(folder, shop, ledger).load()
    Mishaps(folder, shop, ledger, fitted=fitted).load()
    Sharpenings(folder, shop, ledger, fitted=fitted).load()
    OtherWork(folder, shop, ledger, fitted=fitted).load()
    Readings(folder, shop, ledger, fitted=fitted).load()
    Purchases(folder, shop).load()
    folder.findings.stop_if_wrong()
    counters.load()
    bench = Bench(folder, shop)
    bench.load_hours()
    InspectionPlans(folder, shop).load()
    folder.findings.stop_if_wrong()
    Inspections(folder, shop, ledger).load()
    folder.findings.stop_if_wrong()
    bench.load()
    ShelfMoves(folder, shop, ledger).load()  # names works on the bench
    Bills(folder, shop).load()
    Costs(folder, shop, ledger).load()  # names works, stops and bills, so all of those must be sound
    CostBearers(folder, shop, ledger).load()
    Retirements(folder, shop, ledger).load()
    folder.findings.stop_if_wrong()
    Outlines(folder, shop).load()
    SignedReports(folder, shop).load()
    Photos(folder, shop).load()
    amended.load()
    folder.findings.stop_if_wrong()
    find_heads(after=last_work)
    tie_replaced(ledger, folder.findings)
    _check_taken_off(folder, shop, ledger)
    count_spares(shop, components.counts_told, ledger)
    sourcing.follow()  # of a spare with a preferred source the source counts, whatever spares.csv says
    folder.findings.stop_if_wrong()
    _tell_changes(shop, ledger, by_night=by_night)


def _tell_changes(shop: Shop, ledger: Ledger, *, by_night: bool) -> None:
    """Say once which dies and spares the folder changed. What counters made of the time of a run is looked at again."""
    about, named = touched.of_register(shop.saved), ledger.about
    die_of = {p.pk: p.die_id for p in shop.positions.values()}
    about.dies |= named["die_id"] | {die_of[pk] for pk in named["position_id"]}
    about.dies |= {cut.die_id for cut in shop.cuts.values() if cut.pk in named["cut_id"]}
    about.dies |= touched.dies_of_pieces(named["piece_id"])
    for model, name in ((Work, "work_id"), (Stop, "stop_id")):
        about |= touched.of_entries(model.objects.filter(pk__in=named[name]))
    if shop.counters:
        for die, since in ledger.typed_since.items():
            counted.typed(die, since)
    for entry in ledger.struck:
        counted.struck(entry)
    changes.tell(dies=about.dies, items=about.items | named["item_id"], by_night=by_night)
    changes.tell_of(Change.What.PRICE, about.priced - about.dies)


def _check_taken_off(folder: Folder, shop: Shop, ledger: Ledger) -> None:
    """Corrections cannot take off more hits than there are."""
    dies = {die.pk: die for die in shop.dies.values()}
    for entry in ledger.taken_off:
        die, hits, with_stock = dies[entry.fields["die_id"]], entry.fields["hits"], entry.fields["with_stock"]
        left = hits_logged(die, entry.at, with_stock=with_stock)
        if left < 0:
            folder.findings.problem(
                tables.CORRECTIONS.file,
                entry.row.line,
                "hits",
                f"{-hits:,} hits cannot be taken off: only {left - hits:,} are logged for {die.code} "
                f"up to {rules.stamp(entry.at)}.",
            )


def _is_set(shop: Shop, told: tuple[int, str, bool], place: str, stands: int, number: int, moment: dt.datetime) -> bool:
    """Whether a count sets what the record says already; either way it is said. told: line, spare, no day given."""
    line, name, undated = told
    shelf = place == StockMovement.Place.SHELF
    says = f"{name}: {stands:,} on {'the shelf' if shelf else 'order'} by the record, {number:,} in the file"
    if undated:
        reason = f"{says}, which does not say when they were counted. Left as it is; write counted_at to have it set."
        shop.findings.doubt(tables.SPARES.file, line, "on_hand" if shelf else "on_order", reason)
        return False
    shop.findings.note(f"{says}, as of {rules.stamp(moment)}: the record is set to that.")
    return True


# What spares.csv says of each place, and the movement that brings the sum there.
_PLACES = (
    ("on_hand", StockMovement.Place.SHELF, StockMovement.Kind.COUNT),
    ("on_order", StockMovement.Place.ON_ORDER, StockMovement.Kind.ORDERED),
)


def count_spares(shop: Shop, counts: list[tuple[Row, Item]], ledger: Ledger) -> None:
    """spares.csv says what was on hand and on order at a moment; a difference to the movements until then is entered.

    The moment is `counted_at`, else the last one in the folder. What a folder has said once of a spare is not entered
    again, even where movements came or were struck out since. A count of an unknown day sets no shelf of which the
    record knows something already: that would undo what came and went since.
    """
    last = ledger.last
    now = last or last_moment(shop.plant) or timezone.now()
    stated = {}
    told: dict[tuple[int, str], tuple[int, str, bool]] = {}
    for row, item in counts:
        moment = row.get("counted_at", now)
        dated = moment.isoformat() if last is not None or "counted_at" in row else "undated"
        for column, place, kind in _PLACES:
            if column in row:
                words = ["count", item.code, item.revision, place, dated]
                stated[item.pk, place] = (row[column], moment, kind, words)
                told[item.pk, place] = (row.line, str(item), dated == "undated")
    sums = dict.fromkeys(stated, 0)
    said_last: dict[str, str] = {}
    moved: set[tuple[int, str]] = set()
    movements = StockMovement.objects.filter(plant=shop.plant).order_by("pk")
    for item, place, at, quantity, key, struck in movements.values_list(
        "item_id", "place", "at", "quantity", "key", "struck_at"
    ).iterator():
        if (item, place) not in stated:
            continue
        if struck is None and at <= stated[item, place][1]:
            sums[item, place] += quantity
        if struck is None:
            moved.add((item, place))
        name = key.rsplit(" #", 1)[0]
        said_last[name.rpartition("|")[0]] = name
        said_last[key] = name
    new = _corrections(shop, stated, told, sums, moved, said_last)
    StockMovement.objects.bulk_create(new, batch_size=500)
    ledger.about["item_id"] |= {row.item_id for row in new}
    shop.counts.added["shelf moves"] += len(new)


def _corrections(shop: Shop, stated: dict, told: dict, sums: dict, moved: set, said_last: dict) -> list[StockMovement]:
    """The movements that bring the shelf to what was counted."""
    new = []
    for (item, place), (number, moment, kind, words) in stated.items():
        if number == sums[item, place]:
            continue
        key = natural_key("stockmovement", shop.plant.code, [*words, str(number)])
        if key in said_last:
            if said_last.get(key.rpartition("|")[0]) == key:
                continue  # said before, and nothing else since
            base, n = key, 1
            while key in said_last:
                n += 1
                key = f"{base} #{n}"
        if (item, place) in moved and not _is_set(shop, told[item, place], place, sums[item, place], number, moment):
            continue
        new.append(
            StockMovement(
                plant=shop.plant,
                item_id=item,
                quantity=number - sums[item, place],
                kind=kind,
                place=place,
                at=moment,
                recorded_at=moment,
                through=Event.Through.IMPORT,
                key=key,
            )
        )
    return new
