"""A paste from a spreadsheet: rows are places, columns are known by heads; what each cell says, what is wrong with it.

Cells are separated by tabs, as spreadsheets put them on the clipboard. Without a row of heads the columns are taken in
the order of `HEADS`. Nothing is saved from here: `read` says what would be.
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Callable
from dataclasses import dataclass, field, replace

from django.utils.translation import gettext as _

from diestore import typed, units
from diestore.handbook.gaps import CuttingError, GapMeant, gap_mm, percent_of
from diestore.handbook.kinds import UnknownKind
from diestore.handbook.kinds import kind as kind_of
from diestore.handbook.places import next_code
from diestore.handbook.tool_steels import coating
from diestore.register.actions import ChangeRefused
from diestore.register.models import Item, Piece
from maintenance.log.building import Opening, PlaceSpec, check_place
from maintenance.log.rules import EntryRefused

from .card import Card

MOST_ROWS, MOST_LETTERS = 500, 200_000

# What a column is called, the first name is what the page says. Names of the history folder's components.csv are known.
HEADS: dict[str, tuple[str, ...]] = {
    "code": ("place", "position", "name", "code", "pos"),
    "kind": ("kind", "what", "type", "component"),
    "station": ("station", "st"),
    "side": ("side",),
    "cut_length_mm": ("cut length", "cut", "length of cut", "perimeter"),
    "gap_mm": ("gap", "clearance", "gap a side"),
    "tool_steel": ("steel", "tool steel", "grade", "material"),
    "hardness_hrc": ("hardness", "hrc"),
    "coating": ("coating",),
    "length_mm": ("length", "piece length"),
    "grind_allowance_mm": ("to grind off", "grind allowance", "allowance"),
    "height_group": ("height group", "group", "enters with"),
    "seat_mm": ("seat",),
    "item": ("spare", "item", "part no"),
    "x_mm": ("x", "along"),
    "y_mm": ("y", "across"),
    "stroke_share": ("stroke share", "share", "works in share of strokes"),
    "upper_of": ("closes", "punch", "die side of"),
    "opening": ("opening",),
    "opening_life_hits": ("hits in all", "opening life hits"),
    "opening_hits_since_sharpening": ("hits since sharpened", "opening hits since sharpening"),
}
_BY_HEAD = {name: column for column, names in HEADS.items() for name in names}
_PERCENT_HEAD = re.compile(r"\b(pct|percent|%)\b|%")
_UNIT_HEAD = re.compile(r"[\[(,]?\s*\b(mm|in|inch|um|µm|thou|hrc)\b\s*[\])]?\s*$")
_IN_ALL = re.compile(r"\b(in all|total|both sides|diameter)\b")


@dataclass(frozen=True, kw_only=True)
class Cell:
    """What stood there, what was understood, and what is wrong with it."""

    typed: str
    said: str = ""
    wrong: str = ""


@dataclass(kw_only=True)
class Row:
    line: int
    cells: dict[str, Cell]
    spec: PlaceSpec | None = None
    station: str = ""  # its station's name; one that is not there yet is made when it is saved
    wrong: str = ""  # with the row as a whole
    shown: list[Cell] = field(default_factory=list)  # its cells in the order of the table

    @property
    def is_wrong(self) -> bool:
        return bool(self.wrong) or any(cell.wrong for cell in self.cells.values())


@dataclass(frozen=True, kw_only=True)
class Column:
    """A column of the paste. meant: the unit that its head says, for gaps and lengths."""

    name: str
    head: str
    unit: str = ""
    meant: GapMeant = GapMeant.PERCENT_A_SIDE


@dataclass(kw_only=True)
class Paste:
    columns: list[Column] = field(default_factory=list)
    rows: list[Row] = field(default_factory=list)
    wrong: str = ""
    new_stations: list[str] = field(default_factory=list)
    left_out: list[str] = field(default_factory=list)  # heads that are no column here

    @property
    def wrongs(self) -> int:
        return sum(row.is_wrong for row in self.rows)

    @property
    def is_fine(self) -> bool:
        return bool(self.rows) and not self.wrong and not self.wrongs

    @property
    def shown(self) -> list[str]:
        """The columns that have anything to show; a place's name always."""
        filled = {
            name for row in self.rows for name, cell in row.cells.items() if cell.typed or cell.said or cell.wrong
        }
        return [name for name in HEADS if name == "code" or name in filled]

    @property
    def heads(self) -> list[str]:
        return [HEADS[name][0] for name in self.shown]

    @property
    def table(self) -> list[Row]:
        for row in self.rows:
            row.shown = [row.cells.get(name, Cell(typed="")) for name in self.shown]
        return self.rows


def read(text: str, card: Card) -> Paste:
    """What a pasted text says of new places of a die. Stations that are not there are named as new ones."""
    text = text.replace("\x00", "").strip("\r\n")
    if not text.strip():
        return Paste(wrong=_("Nothing was pasted. Copy the cells in the spreadsheet, and paste them here."))
    if len(text) > MOST_LETTERS:
        return Paste(wrong=_("That is more than {n:,} letters at once. Paste fewer rows.").format(n=MOST_LETTERS))
    lines = list(csv.reader(io.StringIO(text), delimiter="\t" if "\t" in text else ";"))
    lines = [[cell.strip() for cell in line] for line in lines]
    filled = [(number, line) for number, line in enumerate(lines, 1) if any(line)]
    columns, left_out, has_heads = _columns(filled[0][1], card)
    rows = filled[1:] if has_heads else filled
    if len(rows) > MOST_ROWS:
        return Paste(
            wrong=_("That is {n:,} rows; {most_rows} at once are the most.").format(n=len(rows), most_rows=MOST_ROWS)
        )
    paste = Paste(columns=[c for c in columns if c is not None], left_out=left_out)
    if not any(column.name == "kind" for column in paste.columns):
        paste.wrong = _("No column says what each place is. Call one of them kind, in the first row.")
        return paste
    reader = _Reader(card=card)
    for number, line in rows:
        paste.rows.append(reader.row(number, columns, line))
    paste.new_stations = reader.new_stations
    return paste


def _columns(first: list[str], card: Card) -> tuple[list[Column | None], list[str], bool]:
    """By the heads, where most of the first row are heads; else in the order of the page."""
    found = [_column(text, card) for text in first]
    if sum(column is not None for column in found) >= max(2, sum(bool(text) for text in first) / 2):
        left_out = [text for text, column in zip(first, found, strict=True) if text and column is None]
        return found, left_out, True
    names = list(HEADS)
    return [Column(name=name, head="") for name in names[: len(first)]], [], False


def _column(head: str, card: Card) -> Column | None:
    plain = " ".join(head.replace("_", " ").casefold().split())
    unit, meant = "", GapMeant.PERCENT_A_SIDE
    in_all = bool(_IN_ALL.search(plain))
    bare = _IN_ALL.sub("", plain).strip()
    bare = re.sub(r"\b(per|a|each) side\b", "", bare).strip(" ,()[]")
    if _PERCENT_HEAD.search(bare):
        meant = GapMeant.PERCENT_IN_ALL if in_all else GapMeant.PERCENT_A_SIDE
        bare, unit = " ".join(_PERCENT_HEAD.sub("", bare).split()).strip(" ,()[]"), "%"
    elif found := _UNIT_HEAD.search(bare):
        if bare != found[1]:  # "hrc" alone is a head, and no unit of one
            unit = "in" if found[1] == "inch" else found[1]
            bare = bare[: found.start()].strip(" ,()[]")
            meant = GapMeant.MM_IN_ALL if in_all else GapMeant.MM_A_SIDE
            if unit == "in":
                meant = GapMeant.INCH_IN_ALL if in_all else GapMeant.INCH_A_SIDE
    elif in_all:
        meant = GapMeant.PERCENT_IN_ALL
    name = _BY_HEAD.get(bare)
    return None if name is None else Column(name=name, head=head, unit=unit, meant=meant)


class _Wrong(ValueError):
    """What is wrong with a cell."""


class _Reader:
    """Reads row by row, since a name that is given is taken for the next."""

    def __init__(self, *, card: Card) -> None:
        self.card = card
        self.taken = list(card.codes)
        self.stations = {station.code.casefold(): station for station in card.stations}
        self.new_stations: list[str] = []
        self.items = {str(item).casefold(): item for item in Item.objects.all()}
        self.rows: dict[str, PlaceSpec] = {}
        self.closed: set[str] = {p.code for p in card.places if p.cut is not None and p.cut.lower_id is not None}
        self.upper_cuts: set[str] = {p.code for p in card.places if p.cut is not None and p.is_upper}

    def row(self, line: int, columns: list[Column | None], cells: list[str]) -> Row:
        row, values = Row(line=line, cells={}), {}
        for column, text in zip(columns, cells, strict=False):
            if column is None:
                continue
            if not text:
                row.cells[column.name] = Cell(typed="")
                continue
            try:
                value, words = self._value(column, text)
                values[column.name] = value
                row.cells[column.name] = Cell(typed=text, said=words)
            except (_Wrong, units.UnitError, CuttingError, typed.NotANumber, UnknownKind) as error:
                row.cells[column.name] = Cell(typed=text, wrong=str(error))
        if not row.is_wrong:
            self._finish(row, values)
        return row

    def _finish(self, row: Row, values: dict) -> None:
        kind = values.get("kind")
        if kind is None:
            row.cells["kind"] = Cell(typed="", wrong=_("Say what it is."))
            return
        station_code = values.pop("station", "")
        values["kind"] = kind.key
        values.setdefault("side", kind.side)
        values.setdefault("code", next_code(kind.key, station_code, self.taken))
        how = values.pop("opening", None)
        hits = values.pop("opening_life_hits", None), values.pop("opening_hits_since_sharpening", None)
        given = how or (Piece.Opening.COUNTED if any(n is not None for n in hits) else self._usual_opening)
        values["opening"] = Opening(how=given, life_hits=hits[0], since_sharpening=hits[1])
        try:
            spec = PlaceSpec(**{name: value for name, value in values.items() if value is not None})
            spec = self._closes(spec)
            check_place(spec, self.taken)
        except (EntryRefused, ChangeRefused) as refused:
            name = refused.field if refused.field in HEADS else ""
            if name:
                before = row.cells.get(name, Cell(typed=""))
                row.cells[name] = replace(before, wrong=str(refused))
            else:
                row.wrong = str(refused)
            return
        row.cells.setdefault("code", Cell(typed="", said=spec.code))
        if not row.cells["code"].typed:
            row.cells["code"] = Cell(typed="", said=spec.code)
        self.taken.append(spec.code)
        self.rows[spec.code] = spec
        if spec.upper_of:
            self.closed.add(spec.upper_of)
        elif spec.cut_length_mm is not None and spec.side == "upper":
            self.upper_cuts.add(spec.code)
        if station_code and station_code.casefold() not in self.stations and station_code not in self.new_stations:
            self.new_stations.append(station_code)
        row.spec = replace(spec, station=self.stations.get(station_code.casefold()))
        row.station = station_code

    @property
    def _usual_opening(self) -> str:
        newest = next((p for p in self.card.newest if p.piece is not None), None)
        return newest.piece.opening if newest is not None and newest.piece is not None else Piece.Opening.NEW

    def _closes(self, spec: PlaceSpec) -> PlaceSpec:
        """A die side whose name is its punch's with a D behind closes that punch's cut."""
        if not kind_of(spec.kind).cuts or spec.side != "lower":
            if spec.upper_of:
                raise EntryRefused(_("Only a die side that cuts closes the cut of a punch."), field="upper_of")
            return spec
        named = spec.upper_of or (spec.code[:-1] if spec.code[-1:].upper() == "D" else "")
        punch = next((code for code in self.upper_cuts if code.casefold() == named.casefold()), "")
        if punch and punch not in self.closed:
            return replace(spec, upper_of=punch, cut_length_mm=None, gap_mm=None)
        if spec.upper_of:
            refused = (
                _("{code} has a die side already.")
                if punch
                else _("{code} is no punch that cuts, here or above in the list.")
            )
            raise EntryRefused(refused.format(code=spec.upper_of), field="upper_of")
        return spec

    # --- one cell ---------------------------------------------------------------------------------------------------

    def _value(self, column: Column, text: str) -> tuple[object, str]:
        reads: Callable[[Column, str], tuple[object, str]] = getattr(self, f"_{column.name}", self._text)
        return reads(column, text)

    def _text(self, column: Column, text: str) -> tuple[object, str]:
        if len(text) > 40:
            raise _Wrong(_("{n} letters; 40 are the most.").format(n=len(text)))
        return text, text

    def _kind(self, column: Column, text: str) -> tuple[object, str]:
        kind = kind_of(text)
        return kind, _(kind.name)

    def _side(self, column: Column, text: str) -> tuple[object, str]:
        plain = text.casefold()
        if plain in ("upper", "punch", "punch side", "top", "u"):
            return "upper", _("punch side")
        if plain in ("lower", "die", "die side", "bottom", "l"):
            return "lower", _("die side")
        raise _Wrong(_("Write upper or lower."))

    def _coating(self, column: Column, text: str) -> tuple[object, str]:
        return self._text(column, coating(text))

    def _gap_mm(self, column: Column, text: str) -> tuple[object, str]:
        thickness = self.card.die.usual_stock.thickness_mm
        value = gap_mm(text, column.meant, thickness)
        return value, _("{gap}, {percent:.3g} % a side").format(
            gap=units.show(value, "gap_mm", self.card.system), percent=percent_of(value, thickness)
        )

    def _measure(self, column: Column, text: str, quantity: str) -> tuple[object, str]:
        if column.unit and text[-1].isdigit():
            text = f"{text} {column.unit}"
        value = units.parse(text, quantity, self.card.system).value
        return value, units.show(value, quantity, self.card.system)

    def _cut_length_mm(self, column: Column, text: str) -> tuple[object, str]:
        return self._measure(column, text, "length_mm")

    _length_mm = _cut_length_mm

    def _seat_mm(self, column: Column, text: str) -> tuple[object, str]:
        return self._measure(column, text, "seat_mm")

    def _grind_allowance_mm(self, column: Column, text: str) -> tuple[object, str]:
        return self._measure(column, text, "grind_allowance_mm")

    def _x_mm(self, column: Column, text: str) -> tuple[object, str]:
        return self._measure(column, text, "x_mm")

    _y_mm = _x_mm

    def _hardness_hrc(self, column: Column, text: str) -> tuple[object, str]:
        bare = re.sub(r"\bhrc\b", "", text, flags=re.IGNORECASE).strip()
        ends = re.fullmatch(r"(\d+(?:[.,]\d+)?)\s*(?:-|–|to)\s*(\d+(?:[.,]\d+)?)", bare)
        if ends:
            raise _Wrong(_("{text} is a range. Write what this piece has: one number.").format(text=text))
        value = units.number(bare)
        return value, f"{value:g} HRC"

    def _stroke_share(self, column: Column, text: str) -> tuple[object, str]:
        percent = column.unit == "%" or text.endswith("%")
        value = units.number(text.rstrip("% ")) / (100 if percent else 1)
        return value, _("{percent:g} % of the strokes").format(percent=100 * value)

    def _item(self, column: Column, text: str) -> tuple[object, str]:
        item = self.items.get(" ".join(text.split()).casefold())
        if item is None:
            raise _Wrong(
                _("There is no spare {text}. Enter it under Spares first, or leave this empty.").format(text=text[:40])
            )
        return item, str(item)

    def _opening(self, column: Column, text: str) -> tuple[object, str]:
        plain = text.casefold()
        if plain not in Piece.Opening.values:
            raise _Wrong(_("Write one of {values}.").format(values=", ".join(Piece.Opening.values)))
        return plain, _(plain)

    def _opening_life_hits(self, column: Column, text: str) -> tuple[object, str]:
        value = typed.whole(text)
        return value, _("{hits:,} hits").format(hits=value)

    _opening_hits_since_sharpening = _opening_life_hits
