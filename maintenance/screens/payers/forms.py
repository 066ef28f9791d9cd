"""Forms of who pays: for a die from a day on, and for one entry."""

from __future__ import annotations

from collections.abc import Mapping

from django import forms
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from diestore.access.who_does import ByForm
from diestore.cards.forms import DayField
from diestore.frame.fields import Opens
from diestore.register.models import Die, Party
from maintenance.log.payers import ELEMENTS, NOTE_AT_MOST, Holding
from maintenance.models import fresh_key

SHOP = "shop"


def _note() -> forms.CharField:
    return forms.CharField(
        label=_("What it rests on"), max_length=NOTE_AT_MOST, required=False,
        widget=forms.TextInput({"autocomplete": "off", "placeholder": _("the contract, a letter ...")}),
        error_messages={"max_length": _("Say it in {n} letters.").format(n=NOTE_AT_MOST)},
    )  # fmt: skip


class _Payers:
    """The shop and the customers that can be picked, the die's owner first."""

    def __init__(self, die: Die, standing: set[int]) -> None:
        known = Party.objects.filter(role=Party.Role.CUSTOMER).order_by("name", "code")
        self.parties = {str(one.pk): one for one in known if one.retired_at is None or one.pk in standing}
        first = sorted(self.parties.values(), key=lambda one: one.pk != die.owner_id)
        self.choices = [(SHOP, _("the shop"))]
        self.choices += [
            (str(one.pk), _("the owner, {owner}").format(owner=one) if one.pk == die.owner_id else str(one))
            for one in first
        ]

    def field(self, label: str, choices: list[tuple[str, str]], *, required: bool = True) -> forms.ChoiceField:
        return forms.ChoiceField(
            label=label, choices=choices, widget=Opens, required=required,
            error_messages={"required": _("Pick who pays."), "invalid_choice": _("Pick who pays from the list.")},
        )  # fmt: skip


class DiePayersForm(ByForm):
    """From a day on: of each element who pays."""

    who, missing = gettext_lazy("Who enters it?"), gettext_lazy("Pick who enters it.")
    key = forms.CharField(max_length=64, required=False, widget=forms.HiddenInput)

    def __init__(self, *args, die: Die, holding: Mapping[str, Holding], **kwargs) -> None:
        super().__init__(*args, **kwargs)
        named = {held.payer.pk for held in holding.values() if held.payer is not None}
        self.payers = _Payers(die, named)
        self.fields["key"].initial = fresh_key()
        self.fields["since"] = DayField(label=_("From when on"), initial=timezone.localdate())
        self.fields["since"].error_messages["required"] = _("Say from which day on.")
        for element, words in ELEMENTS.items():
            field = self.payers.field(str(words).capitalize(), self.payers.choices)
            held = holding.get(element)
            field.initial = str(held.payer.pk) if held is not None and held.payer is not None else SHOP
            self.fields[element] = field
        self.fields["note"] = _note()

    @property
    def elements(self) -> list[forms.BoundField]:
        return [self[element] for element in ELEMENTS]

    def picked(self) -> dict[str, Party | None]:
        return {element: self.payers.parties.get(self.cleaned_data[element]) for element in ELEMENTS}


class EntryPayerForm(ByForm):
    """Of one entry: who pays for it."""

    who, missing = gettext_lazy("Who enters it?"), gettext_lazy("Pick who enters it.")
    key = forms.CharField(max_length=64, required=False, widget=forms.HiddenInput)

    def __init__(self, *args, die: Die, payer: Party | None, **kwargs) -> None:
        super().__init__(*args, **kwargs)
        self.payers = _Payers(die, {payer.pk} if payer is not None else set())
        self.fields["key"].initial = fresh_key()
        self.fields["payer"] = self.payers.field(_("Who pays for it"), self.payers.choices)
        self.fields["payer"].initial = str(payer.pk) if payer is not None else SHOP
        self.fields["note"] = _note()

    def picked(self) -> Party | None:
        return self.payers.parties.get(self.cleaned_data["payer"])
