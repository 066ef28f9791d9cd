"""One figure of a place: how it stands in a field, what was typed there, and how a change of it is saved.

The form of one place and the grid of all read and save alike, so both go through here.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Collection, Mapping
from dataclasses import dataclass, field

from django.db import models
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from diestore import typed, units
from diestore.handbook import tool_steels
from diestore.handbook.gaps import CuttingError, GapMeant, gap_mm, percent_of
from diestore.handbook.places import OF_A_CUT, asked
from diestore.register import actions, build
from diestore.register.actions import ChangedMeanwhile, ChangeRefused
from diestore.register.models import Item, Piece
from maintenance.log import write
from maintenance.log.rules import EntryRefused
from maintenance.models import Replacement, fresh_key

from .card import Card, CardPlace

REFUSALS = (units.UnitError, typed.NotANumber, CuttingError, EntryRefused, ChangeRefused)
CUT, PIECE, POSITION = "cut", "piece", "position"


@dataclass(frozen=True, kw_only=True)
class Figure:
    """table, column: where it is kept. quantity: of what is typed with a unit. most: letters."""

    name: str
    label: str
    table: str
    column: str
    quantity: str = ""
    most: int = 40


FIGURES = {
    figure.name: figure
    for figure in (
        Figure(name="code", label=gettext_lazy("Name"), table=POSITION, column="code"),
        Figure(name="station", label=gettext_lazy("Station"), table=POSITION, column="station"),
        Figure(
            name="cut_length", label=gettext_lazy("Length of cut"), table=CUT, column="length_mm", quantity="length_mm",
        ),
        Figure(name="gap", label=gettext_lazy("Gap"), table=CUT, column="gap_mm"),
        Figure(name="tool_steel", label=gettext_lazy("Steel"), table=PIECE, column="tool_steel"),
        Figure(name="hardness", label="HRC", table=PIECE, column="hardness_hrc"),
        Figure(name="coating", label=gettext_lazy("Coating"), table=PIECE, column="coating"),
        Figure(name="length", label=gettext_lazy("Length"), table=PIECE, column="length_mm", quantity="length_mm"),
        Figure(
            name="allowance", label=gettext_lazy("To grind off"), table=PIECE, column="grind_allowance_mm",
            quantity="grind_allowance_mm",
        ),
        Figure(name="height_group", label=gettext_lazy("Height group"), table=POSITION, column="height_group", most=20),
        Figure(name="seat", label=gettext_lazy("Seat"), table=POSITION, column="seat_mm", quantity="seat_mm"),
        Figure(name="x", label=gettext_lazy("Along the strip"), table=POSITION, column="x_mm", quantity="x_mm"),
        Figure(name="y", label=gettext_lazy("Across, from the middle"), table=POSITION, column="y_mm", quantity="y_mm"),
        Figure(name="share", label=gettext_lazy("Works in % of the strokes"), table=POSITION, column="stroke_share"),
        Figure(name="item", label=gettext_lazy("Spare"), table=POSITION, column="item", most=101),
    )
}  # fmt: skip
SELDOM = ("kind", "side", "variants", "wear_of", "wear_limit")  # columns of a position that the form of one place has


def figures_of(place: CardPlace) -> list[str]:
    """The figures that a place has, in order. The cut of a punch and its die side is told at the punch."""
    wanted = asked(place.kind)
    names = ["code", "station"]
    if place.cut is not None and (place.is_upper or place.cut.upper_id is None):
        names += OF_A_CUT
    if place.piece is not None:
        names += [name for name in wanted if name in FIGURES and FIGURES[name].table == PIECE]
    if "height_group" in wanted and place.is_upper:
        names.append("height_group")
    if "seat" in wanted:
        names.append("seat")
    if place.position.station_id is not None:
        names += ["x", "y"]
    return [*names, "share", "item"]


def unit_of(figure: Figure, system: units.System) -> str:
    return units.column(figure.quantity).unit(system)


def row_of(place: CardPlace, figure: Figure) -> models.Model | None:
    return {CUT: place.cut, PIECE: place.piece, POSITION: place.position}[figure.table]


# --- as it stands -----------------------------------------------------------------------------------------------------


def gap_text(gap: float | None, meant: GapMeant, thickness_mm: float) -> str:
    """A gap as it would be typed in the unit that is meant."""
    if gap is None:
        return ""
    value = gap * 2 if meant.in_all else gap
    if meant.unit == "%":
        return f"{percent_of(value, thickness_mm):g}"
    return f"{value:g}" if meant.unit == "mm" else f"{units.convert(value, 'mm', 'in'):.6g}"


def shown(place: CardPlace, name: str, meant: GapMeant) -> str:
    """What stands in the field of a figure."""
    figure = FIGURES[name]
    row = row_of(place, figure)
    value = None if row is None else getattr(row, figure.column)
    if name == "gap":
        return gap_text(value, meant, place.thickness_mm)
    if name == "share":
        return f"{100 * value:.6g}"
    if name == "coating" and value == "none":
        return ""
    if value is None or value == "":
        return ""
    if figure.quantity:
        return f"{units.shown_value(value, figure.quantity, place.system):.6g}"
    return f"{value:g}" if isinstance(value, float) else str(value)


# --- as it was typed --------------------------------------------------------------------------------------------------


@dataclass(kw_only=True)
class Reads:
    """What was typed in the fields of places of one die. names: taken by its places, as they are to be called."""

    card: Card
    meant: GapMeant
    names: Collection[str] = ()
    _items: dict[str, Item] | None = field(default=None, repr=False)

    def read(self, place: CardPlace, name: str, text: str):
        """The value of a figure; raises one of REFUSALS with a sentence."""
        figure, text = FIGURES[name], " ".join(text.replace("\x00", "").split())
        if len(text) > figure.most:
            raise EntryRefused(_("{n} letters; {most} are the most.").format(n=len(text), most=figure.most))
        reads: Callable | None = getattr(self, f"_{name}", None)
        if reads is not None:
            value = reads(place, text)
        elif figure.quantity:
            value = units.parse(text, figure.quantity, self.card.system).value if text else None
        else:
            value = text
        if value is None or isinstance(value, float):
            build.check_figures(figure.table, {figure.column: value})
        return value

    def _code(self, place: CardPlace, text: str) -> str:
        if not text:
            raise EntryRefused(_("It needs a name."))
        taken = self.names or [code for code in self.card.codes if code != place.code]
        if text.casefold() in {code.casefold() for code in taken}:
            raise EntryRefused(_("There is a place {text} already.").format(text=text))
        return text

    def _station(self, place: CardPlace, text: str):
        if not text:
            return None
        found = next((s for s in self.card.stations if s.code.casefold() == text.casefold()), None)
        if found is None:
            have = ", ".join(station.code for station in self.card.stations) or _("none yet")
            raise EntryRefused(_("There is no station {text}. Its stations: {have}.").format(text=text, have=have))
        return found

    def _cut_length(self, place: CardPlace, text: str) -> float:
        if not text:
            raise EntryRefused(_("A cut has a length."))
        return units.parse(text, "length_mm", self.card.system).value

    def _gap(self, place: CardPlace, text: str) -> float | None:
        return gap_mm(text, self.meant, place.thickness_mm) if text else None

    def _hardness(self, place: CardPlace, text: str) -> float | None:
        bare = text[:-3].strip() if text[-3:].casefold() == "hrc" else text
        return units.number(bare) if bare else None

    def _coating(self, place: CardPlace, text: str) -> str:
        known = tool_steels.coating(text)
        return "" if known == "none" else known

    def _share(self, place: CardPlace, text: str) -> float:
        value = units.number(text.rstrip("% ")) if text.rstrip("% ") else 100.0
        if not 0.01 <= value <= 100:
            raise EntryRefused(_("A share of the strokes goes from 0.01 to 100 %."))
        return value / 100

    def _item(self, place: CardPlace, text: str) -> Item | None:
        if not text:
            return None
        if self._items is None:
            self._items = {}
            for item in Item.objects.order_by("-code", "-revision"):  # of a code alone the first revision
                self._items |= {item.code.casefold(): item}
            self._items |= {str(item).casefold(): item for item in Item.objects.all()}
        found = self._items.get(text.casefold())
        if found is None:
            raise EntryRefused(
                _("There is no spare {text}. Enter it under Spares first, or leave this empty.").format(text=text)
            )
        return found


# --- saved ------------------------------------------------------------------------------------------------------------


class CellsRefused(ValueError):
    """Changes of one place that cannot be. wrong: a sentence for each figure, "" for the place as a whole."""

    def __init__(self, wrong: Mapping[str, str]) -> None:
        super().__init__(" ".join(wrong.values()))
        self.wrong = dict(wrong)


def save(
    *, by: write.Actor, place: CardPlace, new: Mapping[str, object], at: dt.datetime | None, reason: str,
    opened: Mapping[str, int | None] | None = None,
) -> None:  # fmt: skip
    """Changes of one place, by name of their figures: since a moment, or (at: None) since ever. Raises CellsRefused.

    opened: by table, the newest change that was there when the form was opened.
    """
    for table in (CUT, POSITION, PIECE):
        called = {FIGURES[n].column: n for n in new if n in FIGURES and FIGURES[n].table == table}
        if table == POSITION:
            called |= {name: name for name in SELDOM if name in new}
        values = {column: new[name] for column, name in called.items()}
        row = {CUT: place.cut, PIECE: place.piece, POSITION: place.position}[table]
        if not values or row is None:
            continue
        try:
            if at is None:
                actions.correct(by=by.user, row=row, values=values, reason=reason, opened=(opened or {}).get(table))
            elif table == PIECE:
                _another_piece(by, place, values, at, reason)
            else:
                actions.amend(by=by.user, row=row, values=values, at=at, reason=reason,
                              opened=(opened or {}).get(table))  # fmt: skip
        except ChangedMeanwhile:
            raise
        except ChangeRefused as refused:
            raise CellsRefused({called.get(column, ""): sentence for column, sentence in refused.errors.items()}
                               or {"": str(refused)}) from refused  # fmt: skip
        except EntryRefused as refused:
            raise CellsRefused({"": str(refused)}) from refused


def _another_piece(by: write.Actor, place: CardPlace, values: Mapping[str, object], at: dt.datetime,
                   reason: str) -> None:  # fmt: skip
    """Another steel or length is another piece: it is a replacement of the log, on that day."""
    columns = [figure.column for figure in FIGURES.values() if figure.table == PIECE]
    like = {column: getattr(place.piece, column) for column in columns} | dict(values)
    position = place.position
    piece = Piece.objects.create(plant=position.die.plant, key=fresh_key(), item=position.item,
                                 opening=Piece.Opening.NEW, **like)  # fmt: skip
    write.log_replacement(by=by, position=position, at=at, why=Replacement.Why.OTHER, piece=piece, note=reason)
