"""What a row of each table of what happened means, and what cannot be true."""

from __future__ import annotations

import datetime as dt
from array import array
from bisect import bisect_left
from collections import defaultdict
from collections.abc import Iterable, Iterator
from functools import lru_cache
from itertools import starmap
from typing import NamedTuple

from django.db.models import Max, Min

from diestore import units
from diestore.register.models import Die, Party, Position
from maintenance.log import doubts, rules, set_ups
from maintenance.log.names import shortened
from maintenance.models import (
    BenchWork,
    Bill,
    CostLine,
    Event,
    Fitting,
    HitCorrection,
    Incident,
    PurchaseLine,
    PurchaseOrder,
    Reading,
    RecordRestart,
    Run,
    SetUp,
    StockMovement,
    Stop,
    Work,
)

from . import columns as tables
from .entries import Entry, EntryLoader
from .files import Row
from .merging import given
from .problems import BadRow

EPOCH = dt.datetime(1970, 1, 1, tzinfo=dt.UTC)
MICROSECOND = dt.timedelta(microseconds=1)
COUNTER = Event.Through.COUNTER


def counted_by(loader: EntryLoader, row: Row, die: Die) -> dict:
    """The counter that an entry was made from, where it was made from one.

    Folders of the version before say it in the entry_id alone: count|plant|device|press P1|when the strokes began.
    """
    cells, key = row.cells, row.get("entry_id", "")
    press, own = cells.get("counter_press"), cells.get("counter_die")
    if press is None and own is None:
        words = key.split("|") if "counter_press" not in row.columns and row.get("came_by") == COUNTER else []
        if len(words) < 5 or words[0] != "count" or "device" not in cells:
            return {}
        fields = {"press": words[3].removeprefix("press ")} if words[3].startswith("press ") else {"die": die.code}
        return {"counter_id": loader.shop.counter(cells["device"], **fields).pk}
    if press is not None and own is not None:
        raise BadRow("A counter is of a press or of a die: name one of the two.", "counter_die")
    column = "counter_die" if press is None else "counter_press"
    if row.get("came_by") != COUNTER or "device" not in cells:
        raise BadRow("What a counter made came through counter, and names the device.", column)
    return {"counter_id": loader.shop.counter(cells["device"], press=press, die=own).pk}


class Runs(EntryLoader):
    table, model, what = tables.RUNS, Run, "runs"
    same, main = ("die_id", "started"), "die_id"
    labels = {"at": "ended", "basis": "how_counted", "lot": "coil"}

    def __init__(self, *args) -> None:
        super().__init__(*args)
        self.spans: dict[int, _Spans] = defaultdict(_Spans)
        self.last = Run.objects.aggregate(last=Max("pk"))["last"] or 0
        self.waiting: list[Entry] = []
        self.speed = {die.pk: die.strokes_per_minute for die in self.shop.dies.values()}
        standing = Run.objects.standing().filter(die__plant=self.shop.plant)
        for die, started, ended in standing.order_by("started").values_list("die_id", "started", "at").iterator():
            self.spans[die].add(started, ended, 0)

    def convert(self, row: Row) -> Entry:
        die = self.shop.die(row["die"])
        started, ended = row["started"], row["ended"]
        rules.check_run_times(started, ended)
        fields = {"die_id": die.pk, "started": started, "at": ended} | given(
            row, "hits", "good_parts", basis="how_counted", lot="coil"
        )
        more = {"variant_id": self.shop.variant(die, row.get("variant")).pk, "stock_id": die.usual_stock_id}
        if "variant" in row:
            fields["variant_id"] = more["variant_id"]
        if "press" in row:
            fields["press_id"] = self.shop.press(row["press"]).pk
        if "stock" in row:
            fields["stock_id"] = self.shop.stock(row["stock"]).pk
        if "order" in row:
            part = self.shop.part(row["order_part"], row.get("order_revision", "")) if "order_part" in row else None
            fields["order_id"] = self.shop.order(row["order"], part).pk
        fields |= counted_by(self, row, die)
        label = f"the run of {die.code} from {rules.stamp(started)}"
        return self.entry(row, at=ended, label=label, where=[die.code], fields=fields, more=more, key_at=started)

    def check(self, entry: Entry) -> bool:
        if self.spans[entry.fields["die_id"]].clash(entry.fields["started"], entry.at) is not None:
            self.waiting.append(entry)  # a row below may strike out what is in the way
            return False
        self.spans[entry.fields["die_id"]].add(entry.fields["started"], entry.at, entry.row.line)
        self._doubt(entry)
        return True

    def _doubt(self, entry: Entry) -> None:
        """Too few hits are no doubt here: an old record gives whole shifts."""
        fields = entry.fields
        if fields.get("basis") == Run.Basis.ESTIMATED or "counter_id" in fields:
            return
        length = entry.at - fields["started"]
        self.doubt(entry, "hits", doubts.of_hits(fields["hits"], length, self.speed[fields["die_id"]], least=False))

    @property
    def begun(self) -> dict[int, dt.datetime]:
        """Die -> when its first run began."""
        return {die: EPOCH + spans.started[0] * MICROSECOND for die, spans in self.spans.items() if spans.started}

    def struck_out(self, stored: dict) -> None:
        self.spans[stored["die_id"]].remove(stored["started"])

    def saved(self, made) -> None:
        since = self.ledger.typed_since
        for die, started in ((e.fields["die_id"], e.fields["started"]) for e in made if "counter_id" not in e.fields):
            since[die] = min(since.get(die, started), started)

    def finish(self) -> None:
        waiting, self.waiting = self.waiting, []
        self.save(waiting)
        for entry in self.waiting:
            line, started, ended = self.spans[entry.fields["die_id"]].clash(entry.fields["started"], entry.at)
            where = f"line {line:,}" if line else "the record"
            self.findings.problem(
                self.table.file,
                entry.row.line,
                "started",
                f"{entry.label[:1].upper()}{entry.label[1:]} to {rules.stamp(entry.at)} overlaps the one from "
                f"{rules.stamp(started)} to {rules.stamp(ended)} in {where}. Change the times, or strike one out.",
            )
        self._note_shared_presses()

    def _note_shared_presses(self) -> None:
        """Say where a new run shares a press with another die's. Both count: old records were written down roughly."""
        standing = Run.objects.standing().filter(press__plant=self.shop.plant)
        since = standing.filter(pk__gt=self.last).aggregate(since=Min("started"))["since"]
        if since is None:
            return
        rows = standing.filter(at__gt=since).order_by("press", "started", "pk")
        rows = rows.values_list("press_id", "die_id", "started", "at", "pk").iterator()
        shared = [pair for pair in shared_presses(starmap(InPress, rows)) if max(pair[0].pk, pair[1].pk) > self.last]
        if not shared:
            return
        run, other = shared[0]
        dies = {die.pk: die.code for die in self.shop.dies.values()}
        press = next(press.code for press in self.shop.presses.values() if press.pk == run.press)
        n = len(shared)
        self.findings.note(
            f"{self.table.file}: {n:,} {'run is' if n == 1 else 'runs are'} of a time at which another die ran in the "
            f"same press; both count. {dies[run.die]} from {rules.stamp(run.started)}: "
            f"{rules.two_in_press(dies[other.die], press, other.started, other.ended, beside=dies[run.die])}"
        )


class InPress(NamedTuple):
    press: int
    die: int
    started: dt.datetime
    ended: dt.datetime
    pk: int


def shared_presses(runs: Iterable[InPress]) -> Iterator[tuple[InPress, InPress]]:
    """Each run with each earlier one of another die that reaches into it. runs: by press, then by start."""
    press, under_way = None, {}
    for run in runs:
        if run.press != press:
            press, under_way = run.press, {}
        for other in under_way.values():
            if other.die != run.die and min(run.ended, other.ended) - run.started > rules.A_MINUTE:
                yield run, other
        before = under_way.get(run.die)
        if before is None or before.ended < run.ended:
            under_way[run.die] = run


class _Spans:
    """The runs of one die, disjoint, in order: 24 bytes each. Times in whole microseconds."""

    def __init__(self) -> None:
        self.started, self.ended, self.lines = array("q"), array("q"), array("q")

    def clash(self, started: dt.datetime, ended: dt.datetime) -> tuple[int, dt.datetime, dt.datetime] | None:
        s, e = (started - EPOCH) // MICROSECOND, (ended - EPOCH) // MICROSECOND
        i = bisect_left(self.started, e)
        if i and self.ended[i - 1] > s:
            i -= 1
            return self.lines[i], EPOCH + self.started[i] * MICROSECOND, EPOCH + self.ended[i] * MICROSECOND
        return None

    def add(self, started: dt.datetime, ended: dt.datetime, line: int) -> None:
        s, e = (started - EPOCH) // MICROSECOND, (ended - EPOCH) // MICROSECOND
        i = bisect_left(self.started, s)
        self.started.insert(i, s)
        self.ended.insert(i, e)
        self.lines.insert(i, line)

    def remove(self, started: dt.datetime) -> None:
        i = bisect_left(self.started, (started - EPOCH) // MICROSECOND)
        for column in (self.started, self.ended, self.lines):
            del column[i]


class Corrections(EntryLoader):
    table, model, what = tables.CORRECTIONS, HitCorrection, "corrections of hits"
    same, main = ("die_id", "variant_id", "at", "with_stock"), "die_id"

    def convert(self, row: Row) -> Entry:
        die = self.shop.die(row["die"])
        rules.check_signed_hits(row["hits"])
        variant = self.shop.variant(die, row.get("variant"))
        fields = {"die_id": die.pk, "variant_id": variant.pk} | given(row, "at", "hits", "with_stock", "reason")
        fields |= counted_by(self, row, die)
        if "counter_id" in fields:
            fields["counted_from"] = row["counted_from"] if "counted_from" in row else self._counted_from(row)
        return self.entry(
            row,
            at=row["at"],
            label=f"the correction of {die.code} on {rules.stamp(row['at'])}",
            where=[die.code, variant.code, "with stock" if row["with_stock"] else "without"],
            fields=fields,
        )

    def _counted_from(self, row: Row) -> dt.datetime:
        try:
            return dt.datetime.fromisoformat(row.get("entry_id", "").split("|")[4])
        except (IndexError, ValueError):
            raise BadRow("Say when the strokes began that the counter told of.", "counted_from") from None

    def saved(self, made) -> None:
        self.ledger.taken_off += [e for e in made if e.fields["hits"] < 0 and not e.struck]


class Restarts(EntryLoader):
    table, model, what = tables.RESTARTS, RecordRestart, "records started anew"
    same, main = ("die_id", "at"), "die_id"

    def convert(self, row: Row) -> Entry:
        die = self.shop.die(row["die"])
        fields = {"die_id": die.pk} | given(row, "at", "reason")
        label = f"the record of {die.code} started anew on {rules.stamp(row['at'])}"
        return self.entry(row, at=row["at"], label=label, where=[die.code], fields=fields)


class SetUps(EntryLoader):
    table, model, what = tables.SET_UPS, SetUp, "set-ups"
    same, main = ("die_id", "at"), "die_id"

    def convert(self, row: Row) -> Entry:
        die = self.shop.die(row["die"])
        fields = {"die_id": die.pk} | given(row, "at", "shut_height_mm", "is_good")
        if "press" in row:
            fields["press_id"] = self.shop.press(row["press"]).pk
        try:
            fields["readings"] = set_ups.of_cells(row["readings"])
        except ValueError as error:
            raise BadRow(str(error), "readings") from None
        label = f"the set-up of {die.code} on {rules.stamp(row['at'])}"
        return self.entry(row, at=row["at"], label=label, where=[die.code], fields=fields)


class Stops(EntryLoader):
    table, model, what = tables.STOPS, Stop, "stops"
    same, main = ("die_id", "at", "cause"), "die_id"

    def convert(self, row: Row) -> Entry:
        die = self.shop.die(row["die"])
        fields = {"die_id": die.pk} | given(row, "at", "cause", "minutes", "parts_scrapped", "planned")
        if "press" in row:
            fields["press_id"] = self.shop.press(row["press"]).pk
        if "station" in row:
            fields["station_id"] = self.shop.station(die, row["station"]).pk
        if "position" in row:
            position = self.shop.position(die, row["position"])
            fields["position_id"] = position.pk
            fields.setdefault("station_id", position.station_id)
        if said := doubts.of_stop(row["minutes"]):
            self.findings.doubt(self.table.file, row.line, "minutes", said)
        label = f"the stop of {die.code} on {rules.stamp(row['at'])}"
        return self.entry(row, at=row["at"], label=label, where=[die.code, row["cause"]], fields=fields)


class Fitted:
    """What sat where and when, for the checks: position id -> [(since, until)]."""

    def __init__(self, shop) -> None:
        self.spans: dict[int, list[tuple]] = defaultdict(list)
        self.pieces: dict[int, list[tuple]] = defaultdict(list)
        self.begun: dict[int, dt.datetime] = {}  # die -> when its first run began, once the runs are in
        self.allowance = {piece.pk: piece.grind_allowance_mm for piece in shop.pieces.values()}
        rows = Fitting.objects.filter(position__die__plant=shop.plant)
        for position, piece, since, until in rows.values_list("position_id", "piece_id", "since", "until").iterator():
            self.spans[position].append((since, until))
            self.pieces[position].append((piece, since, until))

    def check(self, die: Die, position: Position, at: dt.datetime) -> None:
        rules.span_at(self.spans.get(position.pk, ()), position.code, die.code, at)

    def piece_at(self, position: Position, at: dt.datetime) -> int | None:
        """The piece in a position at a moment; at the moment of a change the one that came out."""
        for piece, since, until in self.pieces.get(position.pk, ()):
            if (since is None or since < at) and (until is None or at <= until):
                return piece
        return None


def implied_find(fields: dict) -> dict:
    """What the reason says of the edge where nobody wrote it: it follows, and is not compared with what stands."""
    found = rules.found_on(fields["why"], fields.get("found", ""))
    if found == fields.get("found", ""):
        return {}
    fields.pop("found", None)
    return {"found": found}


class Mishaps(EntryLoader):
    table, model, what = tables.MISHAPS, Incident, "mishaps"
    same, main = ("die_id", "at", "sort"), "die_id"
    labels = {"sort": "what"}

    def __init__(self, *args, fitted: Fitted) -> None:
        super().__init__(*args)
        self.fitted = fitted

    def convert(self, row: Row) -> Entry:
        die, at = self.shop.die(row["die"]), row["at"]
        pieces = [self.shop.piece(key, "pieces").pk for key in row.get("pieces", ())]
        for code in row.get("positions", ()):
            piece = self.fitted.piece_at(self.shop.position(die, code, "positions"), at)
            if piece is None:
                raise BadRow(f"Nothing sat in {code} of {die.code} on {rules.stamp(at)}.", "positions")
            pieces.append(piece)
        entry = self.entry(
            row,
            at=at,
            label=f"the mishap of {die.code} on {rules.stamp(at)}",
            where=[die.code, row["what"]],
            fields={"die_id": die.pk} | given(row, "at", sort="what"),
        )
        entry.beside = sorted(set(pieces))
        return entry

    def saved(self, made) -> None:
        ids = dict(Incident.objects.filter(key__in=[e.key for e in made]).values_list("key", "pk"))
        through = Incident.pieces.through
        through.objects.bulk_create(
            [through(incident_id=ids[e.key], piece_id=piece) for e in made for piece in e.beside], batch_size=400
        )


WORK_FIELDS = (
    "found", "removed_mm", "raised_mm", "wear_mm", "length_after_mm", "coating_after", "hours", "hits_into_run",
)  # fmt: skip


class OtherWork(EntryLoader):
    table, model, what = tables.OTHER_WORK, Work, "other work"
    same, main = ("position_id", "piece_id", "at", "operation"), "position_id"
    labels = {"why": "reason"}
    operation: str | None = None

    def __init__(self, *args, fitted: Fitted) -> None:
        super().__init__(*args)
        self.fitted = fitted

    def convert(self, row: Row) -> Entry:
        cells, at = row.cells, row["at"]
        operation = self.operation or cells["operation"]
        fields = {"at": at, "operation": operation, "why": cells["reason"]}
        rules.check_raised(operation, cells.get("raised_mm"), field="raised_mm")
        fields |= {name: cells[name] for name in WORK_FIELDS if name in cells}
        more = implied_find(fields)
        die = position = None
        if "position" in cells:
            if "piece" in cells:
                raise BadRow("Name the position that the piece sat in or, for work on the bench, the piece; not both.",
                             "piece")  # fmt: skip
            if "die" not in cells:
                raise BadRow("Name the die.", "die")
            die = self.shop.die(cells["die"])
            position = self.shop.position(die, cells["position"])
            fields["position_id"] = position.pk
            where, label = [die.code, position.code], f"{position.code} of {die.code}"
        elif "piece" in cells:
            fields["piece_id"] = self.shop.piece(cells["piece"]).pk
            where, label = ["piece", cells["piece"]], f"the piece {cells['piece']}"
        else:
            raise BadRow("Name the position, or the piece.", "position")
        if "supplier" in cells:
            fields["supplier_id"] = self.shop.party(cells["supplier"], Party.Role.SUPPLIER).pk
        if "set_key" in cells:
            fields["set_key"] = cells["set_key"]
        elif "set_key" not in row.columns and die is not None and operation == "ground":
            more["set_key"] = shortened(f"{self.shop.plant.code}/{die.code} set {at.isoformat()}", 160)
        label = f"the work ({operation}) on {label} of {rules.stamp(at)}"
        entry = self.entry(row, at=at, label=label, where=[*where, operation], fields=fields, more=more)
        entry.beside = die, position
        return entry

    def check(self, entry: Entry) -> bool:
        die, position = entry.beside
        if position is not None:
            rules.check_is_ground(position, entry.fields["operation"])
            self.fitted.check(die, position, entry.at)
            self._doubt(entry, die, position)
        return True

    def _doubt(self, entry: Entry, die: Die, position: Position) -> None:
        removed = entry.fields.get("removed_mm")
        if removed is not None:
            allowance = self.fitted.allowance.get(self.fitted.piece_at(position, entry.at))
            said = doubts.of_allowance(removed, allowance) or doubts.of_removed(f"{removed:g} mm", removed)
            self.doubt(entry, "removed_mm", said)
        first = self.fitted.begun.get(die.pk)
        if first is not None and entry.at < first:
            self.doubt(entry, "at", doubts.of_first_record(rules.stamp(entry.at), rules.stamp(first)))

    def save(self, entries: Iterable[Entry]) -> None:
        begun = set()
        entries = list(entries)
        for entry in entries:
            if name := entry.values.get("set_key"):
                entry.more["heads_set"] = name not in begun  # of this batch: find_heads looks at those before
                begun.add(name)
        super().save(entries)


class Sharpenings(OtherWork):
    table, what, operation = tables.SHARPENINGS, "sharpenings", "ground"


@lru_cache(maxsize=4096)
def _read_value(value: str, unit: str, quantity: str) -> float:
    try:
        si = units.parse_pair(value, unit, quantity).value_si
    except units.UnknownUnit as error:
        raise BadRow(str(error), "unit") from None
    except units.UnitError as error:
        raise BadRow(str(error), "value") from None
    if si < 0:
        raise BadRow(f"The {quantity} is {value}; it must be nought or more.", "value")
    return si


class Readings(EntryLoader):
    table, model, what = tables.READINGS, Reading, "readings"
    same = ("die_id", "position_id", "piece_id", "cut_id", "at", "quantity", "value_si", "typed_unit")
    main = "position_id"
    labels = {"value_si": "value", "typed_value": "value", "typed_unit": "unit"}

    def __init__(self, *args, fitted: Fitted) -> None:
        super().__init__(*args)
        self.fitted = fitted

    def convert(self, row: Row) -> Entry:
        cells, at = row.cells, row["at"]
        quantity = cells["quantity"]
        si = _read_value(cells["value"], cells["unit"], quantity)
        if "value_si" in cells:
            if abs(cells["value_si"] - si) > 1e-6 * abs(si) + 1e-15:
                raise BadRow(f"{cells['value']} {cells['unit']} is {si:g} in SI units, not {cells['value_si']:g}.",
                             "value_si")  # fmt: skip
            si = cells["value_si"]
        fields = {
            "at": at,
            "quantity": quantity,
            "value_si": si,
            "typed_value": cells["value"],
            "typed_unit": cells["unit"],
        }
        for name in ("hits_into_run", "at_length_mm", "charged_to_mpa", "parts_scrapped"):
            if name in cells:
                fields[name] = cells[name]
        rules.check_beside(
            quantity, at_length_mm=fields.get("at_length_mm"), charged_to_mpa=fields.get("charged_to_mpa")
        )
        named = [name for name in ("position", "piece", "cut") if name in cells]
        rules.check_one_thing(max(len(named), 1), field=named[-1] if named else "")
        die = position = None
        if named != ["piece"]:
            if "die" not in cells:
                raise BadRow("Name the die.", "die")
            die = self.shop.die(cells["die"])
        if named == ["position"]:
            position = self.shop.position(die, cells["position"])
            fields["position_id"] = position.pk
            where = [die.code, position.code]
        elif named == ["cut"]:
            cut = self.shop.cut(die, cells["cut"], cells.get("cut_valid_from"), at)
            fields["cut_id"] = cut.pk
            where = [die.code, "cut", cut.code, str(cells.get("cut_valid_from", ""))]
        elif named == ["piece"]:
            fields["piece_id"] = self.shop.piece(cells["piece"]).pk
            where = ["piece", cells["piece"]]
        else:
            fields["die_id"] = die.pk
            where = [die.code]
        entry = self.entry(
            row,
            at=at,
            label=f"the reading ({quantity}) of {rules.stamp(at)}",
            where=[*where, quantity, repr(si), cells["unit"]],
            fields=fields,
        )
        entry.beside = die, position
        return entry

    def check(self, entry: Entry) -> bool:
        die, position = entry.beside
        if position is not None:
            self.fitted.check(die, position, entry.at)
        return True


class ShelfMoves(EntryLoader):
    table, model, what = tables.SHELF_MOVES, StockMovement, "shelf moves"
    same, main = ("item_id", "at", "kind", "place", "piece_id"), "item_id"

    def prepare(self, rows: list[Row]) -> None:
        names = {row["order_line"] for row in rows if "order_line" in row}
        lines = PurchaseLine.objects.filter(key__in=names, order__plant=self.shop.plant)
        self.lines = {line.key: line for line in lines}
        works = BenchWork.objects.filter(key__in={r["bench_work"] for r in rows if "bench_work" in r})
        self.works = {work.key: work for work in works.filter(die__plant=self.shop.plant)}

    def convert(self, row: Row) -> Entry:
        item = self.shop.item(row["spare"], row.get("spare_revision", ""))
        fields = {"item_id": item.pk} | given(row, "at", "quantity", "kind", "place")
        if "order_line" in row:
            line = self.lines.get(row["order_line"])
            if line is None or line.item_id != item.pk:
                said = f"There is no line {row['order_line'][:60]!r} of {item} in purchase_lines.csv or in the record."
                raise BadRow(said, "order_line")
            fields["line_id"] = line.pk
        if "piece" in row:
            fields["piece_id"] = self.shop.piece(row["piece"]).pk
        if "die" in row:
            fields["die_id"] = self.shop.die(row["die"]).pk
        if "supplier" in row:
            fields["supplier_id"] = self.shop.party(row["supplier"], "supplier").pk
        if "bench_work" in row:
            if row["bench_work"] not in self.works:
                said = f"There is no work {row['bench_work'][:60]!r} in bench_works.csv or in the record."
                raise BadRow(said, "bench_work")
            fields["bench_work_id"] = self.works[row["bench_work"]].pk
        fields |= given(row, "elsewhere", "length_mm", "grinds_left", "worth")
        more = {"plant_id": self.shop.plant.pk, "place": row.get("place", StockMovement.Place.SHELF)}
        return self.entry(
            row,
            at=row["at"],
            label=f"the movement ({row['kind']}) of {item} on {rules.stamp(row['at'])}",
            where=[item.code, item.revision, row["kind"], more["place"], row.get("piece", "")],
            fields=fields,
            more=more,
        )


class Costs(EntryLoader):
    table, model, what = tables.COSTS, CostLine, "costs"
    same, main = ("die_id", "at", "kind", "payer_id", "work_id", "stop_id"), "die_id"

    def prepare(self, rows: list[Row]) -> None:
        self.ids = {
            name: dict(model.objects.filter(key__in={r[name] for r in rows if name in r}).values_list("key", "pk"))
            for name, model in (("work", Work), ("stop", Stop))
        }
        here = self.shop.plant
        for name, found in (
            ("bill", Bill.objects.filter(plant=here)),
            ("bench_work", BenchWork.objects.filter(die__plant=here)),
            ("purchase", PurchaseOrder.objects.filter(plant=here)),
        ):
            named = {r[name] for r in rows if name in r}
            self.ids[name] = dict(found.filter(key__in=named).values_list("key", "pk")) if named else {}

    def convert(self, row: Row) -> Entry:
        fields = given(row, "at", "kind", "amount", "billed")
        if ("bill" in row) != ("billed" in row):
            raise BadRow("A line of a bill names the bill and says what stands on it.", "billed")
        where = [row.get(name, "") for name in ("die", "kind", "payer", "work", "stop")]
        if "die" in row:
            fields["die_id"] = self.shop.die(row["die"]).pk
        if "payer" in row:
            fields["payer_id"] = self.shop.party(row["payer"], Party.Role.CUSTOMER).pk
        for name in ("work", "stop", "bill", "bench_work", "purchase"):
            if name in row:
                if row[name] not in self.ids[name]:
                    said = {"bench_work": "work on the bench", "purchase": "order"}.get(name, name)
                    raise BadRow(f"There is no {said} called {row[name][:60]!r}.", name)
                fields[f"{name}_id"] = self.ids[name][row[name]]
        label = f"the cost ({row['kind']}) of {rules.stamp(row['at'])}"
        return self.entry(row, at=row["at"], label=label, where=where, fields=fields)
