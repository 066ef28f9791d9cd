"""Changing a place that stands: since a day and why, or as a typing error that was never so; and what was changed."""

from __future__ import annotations

from dataclasses import dataclass

from django import forms
from django.db.models import CharField, Q
from django.db.models.functions import Cast
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from diestore import units
from diestore.frame.fields import MomentField
from diestore.handbook import wear_limits
from diestore.handbook.gaps import GapMeant
from diestore.handbook.kinds import KINDS
from diestore.register import actions, amendments
from diestore.register.build import WHILE_ENTERING
from diestore.register.models import Amendment, Die, Piece, Position
from maintenance.log import building, write
from maintenance.log.rules import EntryRefused, saving
from maintenance.models import Replacement

from . import cells
from .card import Card, CardPlace
from .cells import CUT, PIECE, POSITION
from .forms import COATINGS, now_minute, text_field

SINCE, NEVER = "since", "never"
HOW = ((SINCE, gettext_lazy("changed on a day")), (NEVER, gettext_lazy("a typing error: it was never like this")))
ENTERING = WHILE_ENTERING
LATEST = 25
ONLY_PUT_RIGHT = gettext_lazy("A name can only be corrected, as a typing error: the position is the same one.")
MEASURED = (("", gettext_lazy("nothing")), *((name, gettext_lazy(name)) for name in wear_limits.NAMES))


class ChangeForm(forms.Form):
    """A place as it stands, each figure in its field; what is left as it was is no change."""

    def __init__(self, data=None, *, card: Card, place: CardPlace, meant: GapMeant) -> None:
        self.card, self.place, self.meant = card, place, meant
        super().__init__(data, prefix="chg")
        for name in cells.figures_of(place):
            self._add(name)
        if "gap" in self.fields:
            self.fields["meant"] = forms.ChoiceField(
                label=_("of the gap"), choices=[(m.value, _(m.value)) for m in GapMeant], initial=meant.value
            )
        self._add_what_it_is()
        self.fields["how"] = forms.ChoiceField(
            label=_("It is"), required=card.in_service, initial=SINCE, widget=forms.RadioSelect, choices=HOW
        )
        self.fields["at"] = MomentField(label=_("Since when?"), required=False, initial=now_minute())
        self.fields["reason"] = forms.CharField(
            label=_("Why?"), max_length=300, required=card.in_service,
            error_messages={"required": _("Say why."), "max_length": _("300 letters are the most.")},
        )  # fmt: skip
        for row, name in ((place.cut, "opened_cut"), (place.position, "opened_position")):
            if row is not None:
                self.fields[name] = forms.IntegerField(required=False, initial=amendments.newest_of(row),
                                                       widget=forms.HiddenInput)  # fmt: skip

    def _add(self, name: str) -> None:
        figure, initial = cells.FIGURES[name], cells.shown(self.place, name, self.meant)
        if name == "coating":
            more = () if initial in dict(COATINGS) else ((initial, initial),)
            field: forms.Field = forms.ChoiceField(label=_("Coating"), required=False, choices=(*COATINGS, *more))
        elif name == "station":
            found = ((station.code, str(station)) for station in self.card.stations)
            field = forms.ChoiceField(label=_("Station"), required=False, choices=(("", _("none: die set")), *found))
        else:
            field = text_field(figure.label, figure.most)
        field.initial = initial
        if figure.quantity:
            field.unit = units.column(figure.quantity).unit(self.card.system)
        if figure.quantity or name in ("hardness", "share", "gap"):
            field.widget.attrs["inputmode"] = "decimal"
        self.fields[name] = field

    def _add_what_it_is(self) -> None:
        """What is seldom otherwise: the kind, the inserts, what is measured of its wear."""
        position = self.place.position
        alike = [k for k in KINDS.values() if k.cuts == self.place.kind.cuts]
        self.fields["kind"] = forms.ChoiceField(
            label=_("What it is"), choices=[(k.key, _(k.name)) for k in alike], initial=position.kind
        )
        if self.place.cut is None:
            self.fields["side"] = forms.ChoiceField(label=_("Side"), choices=Position._meta.get_field("side").choices,
                                                    initial=position.side)  # fmt: skip
        if len(self.card.variants) > 1:
            self.fields["variants"] = forms.MultipleChoiceField(
                label=_("Only with the inserts"), required=False, widget=forms.CheckboxSelectMultiple,
                choices=[(str(v.pk), v.code) for v in self.card.variants],
                initial=[str(key) for key in position.variants.values_list("pk", flat=True)],
            )  # fmt: skip
        if not self.place.kind.cuts:
            self.fields["wear_of"] = forms.ChoiceField(
                label=_("Measured of its wear"), choices=MEASURED, required=False, initial=position.wear_of
            )
            self.fields["wear_limit"] = text_field(_("Changed at"), 40)
            self.fields["wear_limit"].initial = self._wear_limit_shown()
            self.fields["wear_limit"].widget.attrs["inputmode"] = "decimal"

    def _wear_limit_shown(self) -> str:
        position = self.place.position
        if position.wear_limit is None:
            return ""
        return units.show(position.wear_limit, wear_limits.column(position.wear_of), self.card.system)

    # --- what was typed ---------------------------------------------------------------------------------------------

    def clean(self) -> dict:
        cleaned = super().clean()
        cleaned["new"] = new = {}
        reads = cells.Reads(card=self.card, meant=GapMeant(cleaned.get("meant") or self.meant))
        for name in self.changed_data:
            if name in self.errors:
                continue
            try:
                if name in cells.FIGURES:
                    new[name] = reads.read(self.place, name, cleaned[name] or "")
                elif name in cells.SELDOM:
                    new[name] = self._what_it_is(name, cleaned[name])
            except cells.REFUSALS as error:
                self.add_error(name, str(error))
        if "wear_limit" in new and "wear_of" in self.fields:
            self._clean_limit(cleaned, new)
        if not new and not self.errors:
            self.add_error(None, _("Nothing here is other than it was."))
        if self.is_dated and cleaned.get("at") is None and "at" not in self.errors:
            self.add_error("at", _("Say since when it is so."))
        if self.is_dated and "code" in new:
            self.add_error("code", ONLY_PUT_RIGHT)
        return cleaned

    def _what_it_is(self, name: str, typed):
        return [int(key) for key in typed] if name == "variants" else typed

    def _clean_limit(self, cleaned: dict, new: dict) -> None:
        text, of = (cleaned.get("wear_limit") or "").strip(), cleaned.get("wear_of")
        try:
            if text and not of:
                raise EntryRefused(_("Say what is measured."))
            new["wear_limit"] = units.parse(text, wear_limits.column(of), self.card.system).value if text else None
        except cells.REFUSALS as error:
            self.add_error("wear_limit", str(error))

    @property
    def is_dated(self) -> bool:
        return self.card.in_service and self.cleaned_data.get("how") == SINCE

    @property
    def seldom(self) -> list:
        """The fields of what is seldom otherwise, those that are there."""
        return [self[name] for name in (*cells.SELDOM, "station", "share") if name in self.fields]

    @property
    def seldom_is_open(self) -> bool:
        return bool({*cells.SELDOM, "station", "share"} & set(self.errors))

    # --- saved ------------------------------------------------------------------------------------------------------

    def save(self, by: write.Actor) -> None:
        """All of it or nothing."""
        c = self.cleaned_data
        with saving():
            cells.save(by=by, place=self.place, new=c["new"], at=c["at"] if self.is_dated else None,
                       reason=c.get("reason") or ENTERING,
                       opened={CUT: c.get("opened_cut"), POSITION: c.get("opened_position"), PIECE: None})  # fmt: skip

    def show(self, refused: cells.CellsRefused) -> None:
        for name, sentence in refused.wrong.items():
            self.add_error(name if name in self.fields else None, sentence)


# --- what was changed -------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Past:
    """The latest changes of a die, the newest first, and how many there are in all."""

    changes: list[amendments.Told]
    count: int

    @property
    def more(self) -> int:
        return self.count - len(self.changes)


def changes_of(die: Die):
    """The changes of a die, of all that belongs to it and of the pieces that sat in it."""
    pieces = Piece.objects.filter(fittings__position__die=die)
    pieces = pieces.annotate(row_key=Cast("pk", CharField())).values("row_key")
    rows = Amendment.objects.filter(Q(die=die) | Q(table="diestore.piece", row_key__in=pieces))
    return rows.select_related("user", "struck_by")


def past(die: Die, system: units.System, *, all_of_it: bool = False) -> Past:
    rows = changes_of(die).order_by("-recorded_at", "-pk")
    count = rows.count()
    shown = rows if all_of_it else rows[:LATEST]
    return Past([amendments.told(row, system) for row in shown], count)


def strike(*, by: write.Actor, die: Die, key: int | None, reason: str) -> None:
    """Strike a change of this die out: all is as it was before it."""
    amendment = Amendment.objects.filter(pk=key).first()
    if amendment is None or amendment.pk not in {
        told.amendment.pk for told in past(die, "metric", all_of_it=True).changes
    }:
        raise EntryRefused(_("That change is no longer there."))
    position = die.positions.filter(pk=amendment.row_key).first() if amendment.table == "diestore.position" else None
    if amendment.sort == Amendment.Sort.ENTERED and position is not None:
        building.take_back_place(by=by, position=position, reason=reason)
        return
    with saving():
        if amendment.sort == Amendment.Sort.RETIRED and position is not None:
            _put_back(by, amendment, reason)
        actions.take_back(by=by.user, amendment=amendment, reason=reason)


def _put_back(by: write.Actor, ended: Amendment, reason: str) -> None:
    """A place that did not end has its piece again."""
    entry = Replacement.objects.standing().filter(key=building.taken_out_key(ended)).first()
    if entry is None:
        return
    if by.person is None:
        raise EntryRefused(
            _(
                "With this its piece goes back in, which strikes out an entry of the log, and those are struck "
                "out under a name. Say under My settings which name is yours."
            )
        )
    write.strike_out(by=by, entry=entry, reason=reason)
