"""What is asked on an edge's page: another build, what to see together, a wear limit."""

from __future__ import annotations

from django import forms

from diestore import units
from diestore.frame.fields import BetweenField
from diestore.frame.other_build import COATINGS, STEELS


class OtherBuildForm(forms.Form):
    """What is asked of the edge built otherwise. A GET form, so that an answer can be kept as a bookmark."""

    gap = BetweenField(label="Gap per side, % of thickness", least=0.5, most=40, unit="%")
    steel = forms.ChoiceField(label="Steel", required=False, choices=STEELS)
    hardness = BetweenField(label="Hardness, HRC", least=40, most=72, unit="HRC")
    coating = forms.ChoiceField(label="Coating", required=False, choices=COATINGS)

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
            {"": "", "none": "uncoated"}.get(c["coating"], f"{c['coating']} coating"),
            f"gap {c['gap']:g} %" if c["gap"] is not None else "",
        ]
        return ", ".join(str(bit) for bit in bits if bit)


class TogetherForm(forms.Form):
    """Further positions of the die whose intervals are looked at together with this one's."""

    also = forms.MultipleChoiceField(required=False, widget=forms.CheckboxSelectMultiple)

    def __init__(self, data, *, places) -> None:
        super().__init__(data)
        self.fields["also"].choices = [(str(place.id), place.code) for place in places]
        self.fields["also"].error_messages["invalid_choice"] = "No edge of this die has the number %(value)s."

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
        unit = f", {self.quantity.unit(system)}" if self.quantity else ""
        self.fields["limit"] = forms.CharField(label=f"Another limit{unit}", max_length=40)

    def clean_limit(self) -> float:
        if self.quantity is None:
            raise forms.ValidationError("Nothing says in which unit this is measured.")
        try:
            return units.parse(self.cleaned_data["limit"], self.quantity, self.system).value_si
        except units.UnitError as error:
            raise forms.ValidationError(str(error)) from error
