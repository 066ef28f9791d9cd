"""The form for another build."""

from __future__ import annotations

from decimal import Decimal

from django import forms

from diestore.frame.other_build import COATINGS, STEELS

from .two_builds import Change

SIDES = [("upper", "punches"), ("lower", "die side"), ("both", "both sides")]


class ChangeForm(forms.Form):
    """Another build of the same die. A GET form, so that a comparison can be kept as a bookmark."""

    sides = forms.ChoiceField(label="Built otherwise", choices=SIDES, required=False)
    steel = forms.ChoiceField(label="Steel", choices=STEELS, required=False)
    hardness = forms.FloatField(label="Hardness, HRC", required=False, min_value=40, max_value=72)
    coating = forms.ChoiceField(label="Coating", choices=COATINGS, required=False)
    gap = forms.FloatField(label="Gap a side, % of thickness", required=False, min_value=1, max_value=40)
    price = forms.DecimalField(label="Build costs more by (− less)", required=False, max_digits=12, decimal_places=2)
    pieces = forms.DecimalField(
        label="A spare costs times",
        required=False,
        min_value=Decimal("0.1"),
        max_value=50,
        max_digits=6,
        decimal_places=2,
    )

    @property
    def change(self) -> Change | None:
        """What is asked for; None where nothing is, or where it cannot be."""
        if not self.is_bound or not self.is_valid():
            return None
        asked = self.cleaned_data
        if not any(asked.get(n) not in (None, "") for n in ("steel", "hardness", "coating", "gap")):
            return None
        return Change(
            tool_steel=asked["steel"],
            coating=asked["coating"],
            hardness_hrc=asked["hardness"],
            gap_pct=asked["gap"],
            sides=("upper", "lower") if asked["sides"] == "both" else (asked["sides"] or "upper",),
            price=asked["price"] or Decimal(0),
            piece_times=asked["pieces"] or Decimal(1),
        )
