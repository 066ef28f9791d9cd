"""Brings a read book into the records: as a history folder, through its loader, all of it or nothing.

A dry run is the same load, taken back at its end. So what the page promises is what the import does.
"""

from __future__ import annotations

import datetime as dt
import json
import tempfile
import zlib
from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path

from django.db import transaction
from django.utils import timezone

from diestore.handbook.kinds import KINDS
from diestore.register.models import Item, Plant, Position, Press
from maintenance.history.cells import line_of, written
from maintenance.history.columns import TABLES
from maintenance.history.load import load
from maintenance.history.problems import HistoryRefused, Problem
from maintenance.history.shop import Act
from maintenance.history.write import Maker
from maintenance.models import Event, Fitting, KnownHeading, Run, Work, Workbook

from . import exact
from .pure.decided import REMEMBERED
from .pure.forms import folded
from .pure.lists import lists
from .pure.readings import read
from .pure.registered import KnownDie, Lists, Place, Standing
from .pure.sheets import BUYING, FIELDS, Grid, Layout, layout
from .pure.understood import SheetRead
from .read import Book

LATELY = dt.timedelta(days=3)
EXACT = "exact"
BETWEEN = ":"  # sharpenings:unit holds the units of headings in sharpening books


# --- kept between two pages ---------------------------------------------------------------------------------------


def packed(grids: list[Grid]) -> bytes:
    """Cells as they are kept until the book is brought in."""
    whole = [
        {
            "name": g.name,
            "rows": [[_plain(v) for v in row] for row in g.rows],
            "hidden": g.hidden,
            "hidden_rows": sorted(g.hidden_rows),
            "unkept": sorted(g.unkept),
            "filled": g.filled,
        }
        for g in grids
    ]
    return zlib.compress(json.dumps(whole, ensure_ascii=False, separators=(",", ":")).encode(), 6)


def unpacked(data: bytes) -> list[Grid]:
    return [
        Grid(
            name=g["name"],
            rows=[[_rich(v) for v in row] for row in g["rows"]],
            hidden=g["hidden"],
            hidden_rows=frozenset(g["hidden_rows"]),
            unkept=frozenset((r, c) for r, c in g["unkept"]),
            filled=g["filled"],
        )
        for g in json.loads(zlib.decompress(bytes(data)))
    ]


def _plain(value: object) -> object:
    return {"at": value.isoformat()} if isinstance(value, dt.datetime) else value


def _rich(value: object) -> object:
    return dt.datetime.fromisoformat(value["at"]) if isinstance(value, dict) else value


KEPT_AT_ONCE = 20  # books of a plant that wait; the oldest give way


def kept_to_wait(plant: Plant, read: Book, *, by: object, choices: Mapping | None = None) -> Workbook:
    """A read file, kept until it is brought in or thrown away."""
    with transaction.atomic():
        made = Workbook.objects.create(
            plant=plant, name=read.name, uploaded_by=by, cells=packed(read.grids), notes=read.notes,
            choices=dict(choices or {}),
        )  # fmt: skip
        old = Workbook.objects.filter(plant=plant, brought_at=None).order_by("-pk").values_list("pk", flat=True)
        Workbook.objects.filter(pk__in=list(old[KEPT_AT_ONCE:])).delete()
    return made


# --- what the register holds --------------------------------------------------------------------------------------


def standing_of(plant: Plant) -> Standing:
    """What of a plant the lists are laid over."""
    maker = Maker(plant)
    rows = {row["die"]: {k: v for k, v in row.items() if v is not None} for row in maker.dies()}
    now_in = dict(Fitting.objects.filter(position__die__plant=plant, until=None).values_list("position_id", "piece_id"))
    keys = dict(Fitting.objects.filter(position__die__plant=plant, until=None).values_list("piece_id", "piece__key"))
    places: dict[str, dict[str, Place]] = defaultdict(dict)
    for pk, die, code, kind in Position.objects.filter(die__plant=plant).values_list("pk", "die__code", "code", "kind"):
        first = maker.firsts[pk][1] if pk in maker.firsts else None
        piece = keys.get(first, "") if first is not None and now_in.get(pk) == first else ""
        places[die][code] = Place(kind=kind, cuts=kind in KINDS and KINDS[kind].cuts, piece=piece)
    by_hand = set(
        Run.objects.standing()
        .filter(die__plant=plant)
        .exclude(through=Event.Through.IMPORT)
        .values_list("die__code", flat=True)
        .distinct()
    )
    since = timezone.now() - LATELY
    runs = Run.objects.standing().filter(die__plant=plant, at__gte=since)
    works = Work.objects.standing().filter(position__die__plant=plant, at__gte=since, operation="ground")
    return Standing(
        dies={code: KnownDie(row=row, places=places[code], logged=code in by_hand) for code, row in rows.items()},
        spares=frozenset(Item.objects.values_list("code", flat=True)),
        presses=frozenset(Press.objects.filter(plant=plant).values_list("code", flat=True)),
        runs={(d, _clock(a)): (_clock(b), n) for d, a, b, n in runs.values_list("die__code", "started", "at", "hits")},
        grinds={
            (d, p, _clock(at).date()): _clock(at)
            for d, p, at in works.values_list("position__die__code", "position__code", "at")
        },
        now=_clock(timezone.now()),
    )


def _clock(moment: dt.datetime) -> dt.datetime:
    return timezone.localtime(moment).replace(tzinfo=None)


# --- looked at ----------------------------------------------------------------------------------------------------


@dataclass
class Looked:
    """A book as it is understood. layouts, reads: of each sheet; a sheet in the exact form has neither columns nor rows
    there and its table's file in `exact`. left_aside: numbers of sheets that are not taken."""

    grids: list[Grid]
    layouts: list[Layout]
    reads: list[SheetRead]
    lists: Lists
    exact: dict[int, str] = field(default_factory=dict)

    @property
    def is_open(self) -> bool:
        """Whether something has to be answered, chosen or put right before the book can be brought in."""
        said = [a for r in self.reads for a in r.assumed] + self.lists.assumed
        return any(a.is_open for a in said) or any(r.layout.missing for r in self.reads if r.sort)


def known_headings(plant: Plant) -> dict[str, dict[str, str]]:
    """sort -> heading -> field."""
    found: dict[str, dict[str, str]] = defaultdict(dict)
    for sort, heading, name in KnownHeading.objects.filter(plant=plant).values_list("sort", "heading", "field"):
        found[sort][heading] = name
    return found


def look(
    grids: list[Grid], choices: Mapping, plant: Plant, *, system: str = "metric", book: str = "", may_all: bool = True
) -> Looked:
    """How a book is understood, by what was chosen. may_all: else only lists of spares are taken."""
    known = known_headings(plant)
    answers = {**known.get("answer", {}), **choices.get("answers", {})}
    merged = {
        heading: name
        for sort, words in known.items()
        if sort != "answer" and sort not in BUYING and BETWEEN not in sort
        for heading, name in words.items()
    }
    layouts, reads, tables = [], [], {}
    for number, grid in enumerate(grids):
        chosen = choices.get("sheets", {}).get(str(number), {})
        table = exact.table_of(grid)
        sort = chosen.get("sort")
        if table is not None and sort in (None, EXACT):
            laid = Layout(sort="", sure=1.0, heading=0, columns=())
            if may_all or table.file == "spares.csv":
                tables[number] = table.file
        else:
            if sort is None and grid.hidden:
                sort = ""
            columns = {int(i): name for i, name in chosen.get("columns", {}).items()}
            words = {**merged, **known.get(sort or "", {})}
            laid = layout(grid, sort=sort, heading=chosen.get("heading"), columns=columns, known=words, book=book)
            if sort is None and laid.sort and not columns:
                laid = layout(
                    grid, heading=chosen.get("heading"), known={**merged, **known.get(laid.sort, {})}, book=book
                )
            if not may_all and laid.sort not in ("", "stock", "prices"):
                laid = Layout(sort="", sure=1.0, heading=laid.heading, columns=laid.columns)
        layouts.append(laid)
        before = {
            (what, heading): value
            for what in REMEMBERED
            for heading, value in known.get(f"{laid.sort}{BETWEEN}{what}", {}).items()
        }
        reads.append(read(grid, laid, answers=chosen.get("answers", {}), system=system, book=book, before=before))
    return Looked(grids, layouts, reads, lists(reads, standing_of(plant), answers=answers), tables)


def remember(plant: Plant, looked: Looked, choices: Mapping) -> None:
    """Keep what somebody chose for headings, with unit, decimal sign and order of dates, and for words."""
    said: dict[tuple[str, str], str] = {}
    for number, laid in enumerate(looked.layouts):
        chosen = choices.get("sheets", {}).get(str(number), {}).get("columns", {})
        for column in laid.columns:
            if (
                str(column.index) in chosen
                and column.heading
                and chosen[str(column.index)] in ("", *FIELDS.get(laid.sort, ()))
            ):
                said[laid.sort, folded(column.heading)[:100]] = chosen[str(column.index)]
        answers = choices.get("sheets", {}).get(str(number), {}).get("answers", {})
        headings = {column.index: folded(column.heading)[:100] for column in laid.columns}
        for one in looked.reads[number].assumed:
            what = one.key.partition(":")[0]
            if what in REMEMBERED and one.column is not None and answers.get(one.key) == one.chosen:
                said[f"{laid.sort}{BETWEEN}{what}", headings.get(one.column, "")] = one.chosen[:40]
    for key, value in choices.get("answers", {}).items():
        if key.startswith("kind:"):
            said["answer", key[:100]] = str(value)[:40]
    for (sort, heading), name in said.items():
        if heading and sort:
            KnownHeading.objects.update_or_create(plant=plant, sort=sort, heading=heading, defaults={"field": name})


# --- brought in ---------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Placed:
    """A problem or a doubt, and where in the book. sheet: None for the book as a whole. field: '' for the row."""

    sheet: int | None
    row: int
    field: str
    text: str


@dataclass
class Outcome:
    """What came of a book, or would come of it."""

    added: dict[str, int] = field(default_factory=dict)
    stood: dict[str, int] = field(default_factory=dict)
    changes: list[str] = field(default_factory=list)
    left: list[str] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)
    doubts: list[Placed] = field(default_factory=list)
    problems: list[Placed] = field(default_factory=list)

    @property
    def is_refused(self) -> bool:
        return bool(self.problems)


# Column of the history folder -> field of a list, where they are called otherwise.
_FIELDS = {
    "clearance_pct_per_side": "gap",
    "at": "date",
    "started": "date",
    "ended": "date",
    "stock_material": "material",
    "stock_thickness_mm": "thickness_mm",
    "stock_tensile_mpa": "tensile_mpa",
    "coil": "lot",
    "enters_with": "height_group",
}


def bring(
    looked: Looked,
    plant: Plant,
    *,
    dry_run: bool,
    take_register: bool = False,
    bad_empty: bool = False,
    user: object = None,
    name: str = "",
) -> Outcome:
    """Load what was understood. take_register: what differs in the register is changed. bad_empty: cells that cannot be
    read are left empty; else they stop the import."""
    out = Outcome(problems=unread(looked, bad_empty=bad_empty))
    for number, sheet in enumerate(looked.reads):
        if bad_empty:
            grave = [p for p in sheet.problems if p.grave]
            out.doubts += [Placed(number, p.row, p.field, f"{p.text} The cell is left empty.") for p in grave]
        out.doubts += [Placed(number, p.row, p.field, p.text) for p in sheet.problems if not p.grave]
    with tempfile.TemporaryDirectory(prefix="book-") as folder:
        origin = _written_to(Path(folder), looked)
        if not origin:
            if not out.problems:
                out.problems.append(Placed(None, 0, "", "No list was found in this file that could be brought in."))
            return out
        if out.problems and not dry_run:
            return out
        try:
            loaded = load(
                folder,
                plant=plant.code,
                dry_run=dry_run or bool(out.problems),
                leave_register=not take_register,
                by_night=False,
                act=Act(user=user, reason=f"brought in by the spreadsheet {name}"[:100]),
            )
        except HistoryRefused as refused:
            out.problems += [_placed(p, origin) for p in refused.problems]
            return out
    out.added = {what: n for what, n in loaded.counts.added.items() if n}
    out.stood = {what: n for what, n in loaded.counts.stood.items() if n}
    out.changes, out.left = loaded.changes, loaded.left
    out.notes = [note for note in loaded.notes if not note.startswith(("Changed:", "And ")) and "no offset" not in note]
    out.doubts += [_placed(p, origin) for p in loaded.doubts]
    return out


def unread(looked: Looked, *, bad_empty: bool = False) -> list[Placed]:
    """What the reading itself found to be wrong, before anything is laid over the records."""
    found = [] if bad_empty else [
        Placed(n, p.row, p.field, p.text) for n, sheet in enumerate(looked.reads) for p in sheet.problems if p.grave
    ]  # fmt: skip
    return found + [Placed(number, p.row, p.field, p.text) for number, p in looked.lists.problems]


def _written_to(folder: Path, looked: Looked) -> dict[str, dict[int, tuple[int, int]]]:
    """Write the folder. Returns file -> line -> (sheet, row of the sheet)."""
    tables: dict[str, list[tuple[tuple[int, int], dict[str, str]]]] = defaultdict(list)
    for number, file in looked.exact.items():
        tables[file] += [
            ((number, line), row) for line, row in exact.rows_of(looked.grids[number], exact.BY_FILE[file])
        ]

    for file, rows in looked.lists.tables.items():
        for where, row in zip(looked.lists.origin[file], rows, strict=True):
            tables[file].append((where, {k: _cell(v) for k, v in row.items()}))
    origin: dict[str, dict[int, tuple[int, int]]] = {}
    for file, made in tables.items():
        columns = list(dict.fromkeys(name for _, row in made for name in row))
        columns += [name for name in _needed(file) if name not in columns]
        line, lines = 2, {}
        with (folder / file).open("w", encoding="utf-8", newline="") as out:
            out.write(line_of(columns))
            for where, row in made:
                text = line_of([row.get(name, "") for name in columns])
                out.write(text)
                lines[line] = where
                line += text.count("\n")
        origin[file] = lines
    return origin


def _needed(file: str) -> list[str]:
    return [c.name for table in TABLES if table.file == file for c in table.columns if c.needed]


def _cell(value: object) -> str:
    if isinstance(value, dt.datetime):
        return written(value.replace(tzinfo=timezone.get_default_timezone()))
    return written(round(value, 9) if isinstance(value, float) else value)


def _placed(problem: Problem, origin: Mapping[str, Mapping[int, tuple[int, int]]]) -> Placed:
    where = origin.get(problem.file, {}).get(problem.line)
    name = _FIELDS.get(problem.column, problem.column)
    if where is None:
        return Placed(None, 0, name, str(problem))
    return Placed(where[0], where[1], name, problem.reason)


def of_plant(user_plants: frozenset[int] | None) -> list[Plant]:
    """The plants that a person may bring books to; where there is none yet, the first is made."""
    rows = Plant.objects.order_by("pk")
    if user_plants is not None:
        return list(rows.filter(pk__in=user_plants))
    return list(rows) or [Plant.objects.create(code="main")]


def waiting(plants: list[Plant]) -> list[Workbook]:
    """Books that were brought and are not in yet, the newest first."""
    rows = Workbook.objects.filter(plant__in=plants, brought_at=None).exclude(choices__has_key="list").defer("cells")
    return list(rows.select_related("plant", "uploaded_by")[:10])
