"""Forms of movements: for each thing that can happen to a spare its own boxes, and none that it does not need."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from django import forms
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from diestore import units
from diestore.access import plants
from diestore.cards.forms import AmountField
from diestore.frame.fields import KnownField, MeasureField, MomentField, Opens, WholeField, minute
from diestore.register.models import Die, Item, Party, Plant
from maintenance.log import movement_reads, movements
from maintenance.log.write import Actor
from maintenance.models import StockMovement, fresh_key

NOTE = 300
WHY_SCRAPPED = (
    gettext_lazy("broken in handling"), gettext_lazy("worn out"), gettext_lazy("ground out"),
    gettext_lazy("drawing changed"), gettext_lazy("corroded"), gettext_lazy("wrong part delivered"),
)  # fmt: skip


@dataclass(frozen=True, kw_only=True)
class What:
    """A thing that can happen. words: of its tab. does: of its button. fields: beside how many and when."""

    words: str
    does: str
    fields: tuple[str, ...]
    done: Callable[[StockMovement], str]


def _said(text: str, row: StockMovement) -> str:
    of = {"n": f"{abs(row.quantity):,} × {row.item}", "die": row.die, "supplier": row.supplier, "plant": row.elsewhere}
    return text.format(**of)


WHATS: dict[str, What] = {
    "drawn": What(
        words=gettext_lazy("Drawn for a die"),
        does=gettext_lazy("Draw it"),
        fields=("die", "note"),
        done=lambda row: _said(_("{n} drawn for {die}."), row),
    ),
    "returned": What(
        words=gettext_lazy("Returned to the shelf"),
        does=gettext_lazy("Put it back"),
        fields=("die", "now", "note"),
        done=lambda row: _said(_("{n} returned to the shelf from {die}."), row),
    ),
    "out": What(
        words=gettext_lazy("Out to be repaired"),
        does=gettext_lazy("Send it out"),
        fields=("supplier", "note"),
        done=lambda row: _said(_("{n} out to be repaired at {supplier}."), row),
    ),
    "back": What(
        words=gettext_lazy("Back from repair"),
        does=gettext_lazy("Take it back"),
        fields=("supplier", "now", "note"),
        done=lambda row: _said(_("{n} back on the shelf from {supplier}."), row),
    ),
    "scrapped": What(
        words=gettext_lazy("Scrapped"),
        does=gettext_lazy("Scrap it"),
        fields=("note",),
        done=lambda row: _said(_("{n} scrapped."), row),
    ),
    "sent-back": What(
        words=gettext_lazy("Returned to the supplier"),
        does=gettext_lazy("Return it"),
        fields=("note",),
        done=lambda row: _said(_("{n} returned to the supplier."), row),
    ),
    "moved": What(
        words=gettext_lazy("To another plant"),
        does=gettext_lazy("Move it"),
        fields=("to", "note"),
        done=lambda row: _said(_("{n} moved to {plant}."), row),
    ),
}
PLACE = "place"  # no movement: it lies elsewhere on the shelf


class MoveForm(forms.Form):
    """What is typed of one movement."""

    key = forms.CharField(max_length=64, required=False, widget=forms.HiddenInput)

    def __init__(
        self, data=None, *, what: str, item: Item, plant: Plant, user, system: units.System, die: int | None = None
    ) -> None:
        super().__init__(data, initial={"key": fresh_key()})
        self.what, self.item, self.plant = what, item, plant
        asked = WHATS[what].fields
        self.fields["quantity"] = WholeField(label=_("How many?"), initial=1, big=True)
        for name in asked:
            getattr(self, f"_add_{name}")(user=user, system=system, die=die)
        self.fields["at"] = MomentField(label=_("When?"), initial=minute(timezone.localtime()))

    def _add_die(self, *, die: int | None, **_other) -> None:
        takes = Die.objects.filter(plant=self.plant, positions__item=self.item).distinct()
        everything = Die.objects.filter(plant=self.plant).exclude(status=Die.Status.RETIRED)
        first = list(takes.order_by("code", "pk"))
        known = {row.pk for row in first}
        rows = [*first, *(row for row in everything.order_by("code", "pk") if row.pk not in known)]
        self.fields["die"] = KnownField(
            label=_("For which die?") if self.what == "drawn" else _("From which die?"), rows=rows, queryset=everything,
            empty_label=_("pick one"), widget=Opens, initial=die or (first[0].pk if len(first) == 1 else None),
            error_messages={"required": _("Pick the die."), "invalid_choice": _("Pick a die of the list.")},
        )  # fmt: skip

    def _add_supplier(self, **_other) -> None:
        out = {one.supplier_id for one in movement_reads.away(self.plant.pk, self.item.pk) if one.pieces > 0}
        everybody = Party.objects.filter(role=Party.Role.SUPPLIER).order_by("name", "code")
        rows = [row for row in everybody if row.retired_at is None or row.pk in out]
        first = next(iter(sorted(out, key=str)), None) if self.what == "back" else None
        self.fields["supplier"] = KnownField(
            label=_("Who repairs it?") if self.what == "out" else _("Who repaired it?"), rows=rows, queryset=everybody,
            empty_label=_("pick one"), widget=Opens, initial=first,
            error_messages={"required": _("Pick the supplier."), "invalid_choice": _("Pick a supplier of the list.")},
        )  # fmt: skip

    def _add_to(self, *, user, **_other) -> None:
        others = plants.within(Plant.objects.exclude(pk=self.plant.pk).order_by("code"), user, "pk")
        self.fields["to"] = forms.ModelChoiceField(
            label=_("To which plant?"), queryset=others, empty_label=_("pick one"), widget=Opens,
            error_messages={"required": _("Pick the plant."), "invalid_choice": _("Pick a plant of the list.")},
        )  # fmt: skip

    def _add_now(self, *, system: units.System, **_other) -> None:
        self.fields["length_mm"] = MeasureField(
            "length_mm",
            system,
            label=_("Its length now"),
            required=False,
            help_text=_("Where it is no longer as bought."),
        )
        self.fields["grinds_left"] = WholeField(label=_("Grinds left in it"), required=False)
        self.fields["worth"] = AmountField(label=_("One is worth"), required=False)

    def _add_note(self, **_other) -> None:
        scrapped, gone = self.what == "scrapped", self.what in ("scrapped", "sent-back")
        label = _("Why is it scrapped?") if scrapped else _("Why is it returned?")
        missing = _("Say why it is scrapped.") if scrapped else _("Say why it is returned.")
        self.fields["note"] = forms.CharField(
            label=label if gone else _("Note"), max_length=NOTE, required=gone,
            widget=forms.TextInput({"autocomplete": "off", **({"list": "why"} if gone else {})}),
            error_messages={"required": missing, "max_length": _("Say it in {n} letters.").format(n=NOTE)},
        )  # fmt: skip

    def save(self, by: Actor) -> StockMovement:
        """Raises EntryRefused, and then nothing is saved."""
        c = self.cleaned_data
        told = {"by": by, "plant": self.plant, "item": self.item, "quantity": c["quantity"], "at": c["at"],
                "key": c["key"].replace("\x00", "") or None}  # fmt: skip
        note = c.get("note", "")
        match self.what:
            case "drawn":
                return movements.draw(die=c["die"], note=note, **told)
            case "returned":
                return movements.bring_back(die=c["die"], note=note, now=self._now(), **told)
            case "out":
                return movements.send_out(supplier=c["supplier"], note=note, **told)
            case "back":
                return movements.take_back(supplier=c["supplier"], note=note, now=self._now(), **told)
            case "scrapped" | "sent-back":
                return movements.scrap(reason=note, sent_back=self.what == "sent-back", **told)
            case _:
                return movements.move_to(to=c["to"], note=note, **told)

    def _now(self) -> movements.AsItIs:
        c = self.cleaned_data
        return movements.AsItIs(length_mm=c["length_mm"], grinds_left=c["grinds_left"], worth=c["worth"])


class PlaceForm(forms.Form):
    """Where it lies on the shelf from now on."""

    shelf_place = forms.CharField(
        label=gettext_lazy("Place on the shelf"), max_length=40, required=False,
        widget=forms.TextInput({"class": "one", "autocomplete": "off", "placeholder": "E-17"}),
        error_messages={"max_length": gettext_lazy("Say it in 40 letters.")},
    )  # fmt: skip
    note = forms.CharField(
        label=gettext_lazy("Why?"), max_length=NOTE, required=False, widget=forms.TextInput({"autocomplete": "off"}),
        error_messages={"max_length": gettext_lazy("Say it in 300 letters.")},
    )  # fmt: skip

    def __init__(self, data=None, *, item: Item) -> None:
        super().__init__(data, initial={"shelf_place": item.shelf_place})
        self.item = item

    def save(self, by: Actor) -> Item:
        c = self.cleaned_data
        return movements.put_in_place(by=by, item=self.item, place=c["shelf_place"], reason=c["note"])
