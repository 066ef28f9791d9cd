"""Changing a place that stands: since a day and why, or as a typing error that was never so; and what was changed."""

from __future__ import annotations

from dataclasses import dataclass

from django import forms
from django.db.models import CharField, Q
from django.db.models.functions import Cast

from diestore import units
from diestore.frame.fields import MomentField, TypedField
from diestore.handbook.gaps import CuttingError, GapMeant, gap_mm
from diestore.handbook.places import OF_A_CUT, asked
from diestore.register import actions, amendments
from diestore.register.models import Amendment, Die, Item, Piece
from maintenance.log import building, write
from maintenance.log.rules import EntryRefused, saving
from maintenance.models import Replacement, fresh_key

from .card import Card, CardPlace
from .forms import COATINGS, gap_text, now_minute, text_field

SINCE, NEVER = "since", "never"
ENTERING = "Put right while the die was being entered"
LATEST = 25

OF_PIECE = {"tool_steel": "tool_steel", "hardness": "hardness_hrc", "coating": "coating", "length": "length_mm",
            "allowance": "grind_allowance_mm"}  # fmt: skip
OF_CUT = {"cut_length": "length_mm", "gap": "gap_mm"}
OF_PLACE = {"height_group": "height_group", "x": "x_mm", "y": "y_mm", "item": "item", "code": "code"}
MEASURED = {"cut_length": "length_mm", "length": "length_mm", "allowance": "grind_allowance_mm", "x": "x_mm",
            "y": "y_mm"}  # fmt: skip


class ChangeForm(forms.Form):
    """A place as it stands, each figure in its field; what is left as it was is no change."""

    def __init__(self, data=None, *, card: Card, place: CardPlace, meant: GapMeant) -> None:
        self.card, self.place = card, place
        super().__init__(data, prefix="chg")
        names = asked(place.kind)
        if place.cut is not None:
            self._text("cut_length", "Length of cut", self._shown(place.cut.length_mm, "length_mm"))
            self._text("gap", "Gap", gap_text(place.cut.gap_mm, meant, place.thickness_mm))
            self.fields["meant"] = forms.ChoiceField(
                label="of the gap", choices=[(m.value, m.value) for m in GapMeant], initial=meant.value
            )
        self._add_piece([name for name in names if name not in OF_A_CUT])
        if "height_group" in names and place.is_upper:
            self._text("height_group", "Height group", place.position.height_group)
        if place.position.station_id is not None:
            self._text("x", "Along the strip", self._shown(place.position.x_mm, "x_mm"))
            self._text("y", "Across, from the middle", self._shown(place.position.y_mm, "y_mm"))
        item = place.position.item
        self._text("item", "Spare", "" if item is None else str(item))
        self._text("code", "Name", place.code)
        self.fields["how"] = forms.ChoiceField(
            label="It is", required=card.in_service, initial=SINCE, widget=forms.RadioSelect,
            choices=((SINCE, "otherwise since a day"), (NEVER, "a typing error: it was never as it stands here")),
        )  # fmt: skip
        self.fields["at"] = MomentField(label="Since when?", required=False, initial=now_minute())
        self.fields["reason"] = forms.CharField(
            label="Why?", max_length=300, required=card.in_service,
            error_messages={"required": "Say why.", "max_length": "300 letters are the most."},
        )  # fmt: skip
        for row, name in ((place.cut, "opened_cut"), (place.position, "opened_position")):
            if row is not None:
                self.fields[name] = forms.IntegerField(required=False, initial=amendments.newest_of(row),
                                                       widget=forms.HiddenInput)  # fmt: skip

    def _add_piece(self, names) -> None:
        piece = self.place.piece
        if piece is None:
            return
        if "tool_steel" in names:
            self._text("tool_steel", "Steel", piece.tool_steel)
        if "hardness" in names:
            hardness = "" if piece.hardness_hrc is None else f"{piece.hardness_hrc:g}"
            self.fields["hardness"] = TypedField(label="HRC", required=False, initial=hardness)
        if "coating" in names:
            known = dict(COATINGS)
            now = "" if piece.coating == "none" else piece.coating
            more = () if now in known else ((now, now),)
            self.fields["coating"] = forms.ChoiceField(
                label="Coating", required=False, choices=(*COATINGS, *more), initial=now
            )
        if "length" in names:
            self._text("length", "Length", self._shown(piece.length_mm, "length_mm"))
        if "allowance" in names:
            self._text("allowance", "To grind off", self._shown(piece.grind_allowance_mm, "grind_allowance_mm"))

    def _text(self, name: str, label: str, initial: str) -> None:
        most = 40 if name != "item" else 101
        self.fields[name] = text_field(label, most)
        self.fields[name].initial = initial
        if name in MEASURED:
            self.fields[name].unit = units.column(MEASURED[name]).unit(self.card.system)
            self.fields[name].widget.attrs["inputmode"] = "decimal"

    def _shown(self, value: float | None, quantity: str) -> str:
        return "" if value is None else f"{units.shown_value(value, quantity, self.card.system):.6g}"

    # --- what was typed ---------------------------------------------------------------------------------------------

    def clean(self) -> dict:
        cleaned = super().clean()
        cleaned["new"] = new = {}
        for name in self.changed_data:
            if name in (*OF_PIECE, *OF_CUT, *OF_PLACE) and name not in self.errors:
                try:
                    new[name] = self._read(name, cleaned[name])
                except (units.UnitError, CuttingError, EntryRefused) as error:
                    self.add_error(name, str(error))
        if not new and not self.errors:
            self.add_error(None, "Nothing here is other than it was.")
        if self.is_dated and cleaned.get("at") is None and "at" not in self.errors:
            self.add_error("at", "Say since when it is so.")
        if self.is_dated and "code" in new:
            self.add_error("code", "A name is only put right, as a typing error: the place is the same one.")
        return cleaned

    @property
    def is_dated(self) -> bool:
        return self.card.in_service and self.cleaned_data.get("how") == SINCE

    def _read(self, name: str, typed):
        text = typed.strip() if isinstance(typed, str) else typed
        if name == "gap":
            return None if not text else gap_mm(text, self.cleaned_data.get("meant") or GapMeant.PERCENT_A_SIDE,
                                                self.place.thickness_mm)  # fmt: skip
        if name in MEASURED:
            if not text:
                if name == "cut_length":
                    raise EntryRefused("A cut has a length.")
                return None
            return units.parse(text, MEASURED[name], self.card.system).value
        if name == "item":
            return self._item(text)
        if name == "code":
            if not text:
                raise EntryRefused("It needs a name.")
            if text.casefold() in {c.casefold() for c in self.card.codes if c != self.place.code}:
                raise EntryRefused(f"There is a place {text} already.")
        return text

    def _item(self, text: str) -> Item | None:
        if not text:
            return None
        for item in Item.objects.filter(code__iexact=text.partition(" ")[0]):
            if str(item).casefold() == " ".join(text.split()).casefold():
                return item
        exact = Item.objects.filter(code__iexact=text).first()
        if exact is None:
            raise EntryRefused(f"There is no spare {text}.")
        return exact

    # --- saved ------------------------------------------------------------------------------------------------------

    def save(self, by: write.Actor) -> None:
        """All of it or nothing."""
        new, c = self.cleaned_data["new"], self.cleaned_data
        cut = {OF_CUT[name]: value for name, value in new.items() if name in OF_CUT}
        position = {OF_PLACE[name]: value for name, value in new.items() if name in OF_PLACE}
        piece = {OF_PIECE[name]: value for name, value in new.items() if name in OF_PIECE}
        reason = c.get("reason") or ENTERING
        with saving():
            for row, values, opened in (
                (self.place.cut, cut, c.get("opened_cut")),
                (self.place.position, position, c.get("opened_position")),
            ):
                if not values:
                    continue
                if self.is_dated:
                    actions.amend(by=by.user, row=row, values=values, at=c["at"], reason=reason, opened=opened)
                else:
                    actions.correct(by=by.user, row=row, values=values, reason=reason, opened=opened)
            if piece and self.is_dated:
                self._another_piece(by, piece, reason)
            elif piece:
                actions.correct(by=by.user, row=self.place.piece, values=piece, reason=reason)

    def _another_piece(self, by: write.Actor, values: dict, reason: str) -> None:
        """Another steel or length is another piece: it is a replacement of the log, on that day."""
        old, position = self.place.piece, self.place.position
        like = {name: getattr(old, name) for name in OF_PIECE.values()} | values
        piece = Piece.objects.create(plant=position.die.plant, key=fresh_key(), item=position.item,
                                     opening=Piece.Opening.NEW, **like)  # fmt: skip
        write.log_replacement(by=by, position=position, at=self.cleaned_data["at"], why=Replacement.Why.OTHER,
                              piece=piece, note=reason)  # fmt: skip


# --- what was changed -------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Past:
    """The latest changes of a die, the newest first, and how many there are in all."""

    changes: list[amendments.Told]
    count: int

    @property
    def more(self) -> int:
        return self.count - len(self.changes)


def past(die: Die, system: units.System, *, all_of_it: bool = False) -> Past:
    """The changes of a die, of all that belongs to it and of the pieces that sat in it."""
    pieces = Piece.objects.filter(fittings__position__die=die)
    pieces = pieces.annotate(row_key=Cast("pk", CharField())).values("row_key")
    rows = Amendment.objects.filter(Q(die=die) | Q(table="diestore.piece", row_key__in=pieces))
    rows = rows.select_related("user", "struck_by").order_by("-recorded_at", "-pk")
    count = rows.count()
    shown = rows if all_of_it else rows[:LATEST]
    return Past([amendments.told(row, system) for row in shown], count)


def strike(*, by: write.Actor, die: Die, key: int | None, reason: str) -> None:
    """Strike a change of this die out: all is as it was before it."""
    amendment = Amendment.objects.filter(pk=key).first()
    if amendment is None or amendment.pk not in {
        told.amendment.pk for told in past(die, "metric", all_of_it=True).changes
    }:
        raise EntryRefused("That change is no longer there.")
    position = die.positions.filter(pk=amendment.row_key).first() if amendment.table == "diestore.position" else None
    if amendment.sort == Amendment.Sort.ENTERED and position is not None:
        building.take_back_place(by=by, position=position, reason=reason)
    else:
        actions.take_back(by=by.user, amendment=amendment, reason=reason)
