"""What dies due may be narrowed to."""

from __future__ import annotations

from collections.abc import Sequence

from django import forms
from django.utils.translation import gettext_lazy, pgettext_lazy

from maintenance.forecasts.due import DueRow

STATES = (  # value, words, the marks of the rows
    ("", pgettext_lazy("of dies", "All"), None),
    ("short", gettext_lazy("See to first"), ("short",)),
    ("close", pgettext_lazy("standing", "Borderline"), ("close",)),
    ("runs", gettext_lazy("Can run"), ("",)),
    ("unknown", pgettext_lazy("standing", "Not known"), ("unknown",)),
)


class DueFilter(forms.Form):
    q = forms.CharField(label=gettext_lazy("Die or job"), required=False)
    show = forms.ChoiceField(required=False, choices=[(value, words) for value, words, _ in STATES])

    def found(self, rows: Sequence[DueRow]) -> list[DueRow]:
        """Rows by the search line."""
        q = self.cleaned_data.get("q", "").lower() if self.is_valid() else ""
        return [r for r in rows if not q or q in f"{r.code} {r.description} {r.order_number}".lower()]

    def in_state(self, rows: Sequence[DueRow]) -> list[DueRow]:
        wanted = next(
            (marks for value, _, marks in STATES if self.is_valid() and value == self.cleaned_data["show"]), None
        )
        return [r for r in rows if wanted is None or r.standing.css in wanted]


def counts(rows: Sequence[DueRow]) -> list[tuple[str, str, int]]:
    """Each state with how many rows it has."""
    return [
        (value, words, sum(marks is None or r.standing.css in marks for r in rows)) for value, words, marks in STATES
    ]
