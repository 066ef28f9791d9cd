"""What the decisions of the past may be narrowed to."""

from __future__ import annotations

from django import forms
from django.db.models import QuerySet

from maintenance.models import PastDecision


class PastFilter(forms.Form):
    q = forms.CharField(label="Die or job", required=False, max_length=80)
    kind = forms.ChoiceField(
        label="Which decisions", required=False, choices=[("", "all that differ"), *PastDecision.Kind.choices]
    )

    def pick(self, rows: QuerySet[PastDecision]) -> QuerySet[PastDecision]:
        """Those asked for; what cannot be asked for is answered as if it had not been."""
        self.is_valid()
        q, kind = self.cleaned_data.get("q", ""), self.cleaned_data.get("kind", "")
        if q:
            rows = rows.filter(die__code__icontains=q) | rows.filter(job__icontains=q)
        return rows.filter(kind=kind) if kind else rows
