"""What is asked on an edge's page: another build, what to see together, a wear limit."""

from __future__ import annotations

from django import forms
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from diestore import units
from diestore.frame.fields import BetweenField
from diestore.frame.other_build import COATINGS, STEELS


class OtherBuildForm(forms.Form):
    """What is asked of the edge built otherwise. A GET form, so that an answer can be kept as a bookmark."""

    gap = BetweenField(label=gettext_lazy("Gap per side, % of thickness"), least=0.5, most=40, unit="%")
    steel = forms.ChoiceField(label=gettext_lazy("Steel"), required=False, choices=STEELS)
    hardness = BetweenField(label=gettext_lazy("Hardness, HRC"), least=40, most=72, unit="HRC")
    coating = forms.ChoiceField(label=gettext_lazy("Coating"), required=False, choices=COATINGS)

    @property
    def asked(self) -> dict | None:
        """The change for `page.what_if`; None where nothing is asked, or where it cannot be."""
        if not self.is_bound or not self.is_valid():
            return None
        c = self.cleaned_data
        asked = {"gap_pct": c["gap"], "tool_steel": c["steel"], "hardness_hrc": c["hardness"], "coating": c["coating"]}
        asked = {name: value for name, value in asked.items() if value not in (None, "")}
        return asked or None

    @property
    def words(self) -> str:
        c = self.cleaned_data
        bits = [
            dict(STEELS).get(c["steel"], "") if c["steel"] else "",
            f"{c['hardness']:g} HRC" if c["hardness"] is not None else "",
            _coating_words(c["coating"]),
            _("gap {pct:g} %").format(pct=c["gap"]) if c["gap"] is not None else "",
        ]
        return ", ".join(str(bit) for bit in bits if bit)


def _coating_words(coating: str) -> str:
    if not coating:
        return ""
    return _("uncoated") if coating == "none" else _("{coating} coating").format(coating=coating)


class TogetherForm(forms.Form):
    """Further positions of the die whose intervals are looked at together with this one's."""

    also = forms.MultipleChoiceField(required=False, widget=forms.CheckboxSelectMultiple)

    def __init__(self, data, *, places) -> None:
        super().__init__(data)
        self.fields["also"].choices = [(str(place.id), place.code) for place in places]
        self.fields["also"].error_messages["invalid_choice"] = _("No edge of this die has the number %(value)s.")

    @property
    def chosen(self) -> list[int]:
        if not self.is_bound or not self.is_valid():
            return []
        return [int(value) for value in self.cleaned_data["also"]]


# --- measured wear ----------------------------------------------------------------------------------------------------


class LimitForm(forms.Form):
    """Another limit for one quantity, typed with or without its unit."""

    def __init__(self, data, *, quantity: str, system: units.System) -> None:
        self.quantity, self.system = units.quantity(quantity), system
        super().__init__(data)
        label = _("Another limit")
        if self.quantity:
            label = _("Another limit, {unit}").format(unit=self.quantity.unit(system))
        self.fields["limit"] = forms.CharField(label=label, max_length=40)

    def clean_limit(self) -> float:
        if self.quantity is None:
            raise forms.ValidationError(_("Nothing says in which unit this is measured."))
        try:
            return units.parse(self.cleaned_data["limit"], self.quantity, self.system).value_si
        except units.UnitError as error:
            raise forms.ValidationError(str(error)) from error
