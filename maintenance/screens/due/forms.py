"""What dies due may be narrowed to."""

from __future__ import annotations

from django import forms

from maintenance.forecasts.due import DueRow


class DueFilter(forms.Form):
    q = forms.CharField(label="Die or order", required=False)
    show = forms.ChoiceField(
        label="Show",
        required=False,
        choices=[
            ("", "all with an open order"),
            ("short", "to be seen to or sharpened first"),
            ("close", "the same, and close"),
            ("unknown", "those of which nothing can be said"),
        ],
    )

    def pick(self, rows: list[DueRow]) -> list[DueRow]:
        if not self.is_valid():
            return rows
        q, show = self.cleaned_data["q"].lower(), self.cleaned_data["show"]
        wanted = {"short": ("short",), "close": ("short", "close"), "unknown": ("unknown",)}.get(show)
        return [
            r
            for r in rows
            if (not q or q in f"{r.code} {r.description} {r.order_number}".lower())
            and (wanted is None or r.standing.css in wanted)
        ]
