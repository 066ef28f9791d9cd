"""The form for another build."""

from __future__ import annotations

from decimal import Decimal

from django import forms

from diestore.frame.fields import BetweenField
from diestore.frame.other_build import COATINGS, STEELS

from .two_builds import Change

SIDES = [("upper", "punches"), ("lower", "die side"), ("both", "both sides")]


class ChangeForm(forms.Form):
    """Another build of the same die. A GET form, so that a comparison can be kept as a bookmark."""

    sides = forms.ChoiceField(label="Built otherwise", choices=SIDES, required=False)
    steel = forms.ChoiceField(label="Steel", choices=STEELS, required=False)
    hardness = BetweenField(label="Hardness, HRC", least=40, most=72, unit="HRC")
    coating = forms.ChoiceField(label="Coating", choices=COATINGS, required=False)
    gap = BetweenField(label="Gap a side, % of thickness", least=1, most=40, unit="%")
    price = BetweenField(label="Build costs more by (− less)", least=-1e9, most=1e9)
    pieces = BetweenField(label="A spare costs times", least=0.1, most=50)

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
            price=_exactly(asked["price"] or 0),
            piece_times=_exactly(asked["pieces"] or 1),
        )


def _exactly(value: float) -> Decimal:
    """To the cent: what was typed is decimal."""
    return Decimal(str(round(value, 2)))
