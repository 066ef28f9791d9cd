"""What the spares may be narrowed to."""

from __future__ import annotations

from collections.abc import Iterable

from django import forms

from diestore.register.models import kind_choices

from .advice import SOON_DAYS, Asked


class SpareFilter(forms.Form):
    q = forms.CharField(label="Spare, die, supplier or word", required=False)
    short = forms.ChoiceField(
        label="Which", required=False, choices=[("", "all"), ("1", "to order now"), ("28", "within four weeks")]
    )
    supplier = forms.ChoiceField(label="Supplier", required=False)
    kind = forms.ChoiceField(label="Kind", required=False)

    def __init__(self, data, *, suppliers: Iterable[str], kinds: Iterable[str]) -> None:
        super().__init__(data)
        self.fields["supplier"].choices = [("", "any"), *((name, name) for name in sorted(set(suppliers) - {""}))]
        used = set(kinds)
        self.fields["kind"].choices = [("", "any"), *(c for c in kind_choices() if c[0] in used)]

    def asked(self) -> Asked:
        """What the rows shall be; a value that is not on offer asks for nothing."""
        self.is_valid()
        asked = getattr(self, "cleaned_data", {})
        return Asked(
            text=asked.get("q", "").casefold(),
            within_days={"1": 0, "28": SOON_DAYS}.get(asked.get("short", "")),
            supplier=asked.get("supplier", ""),
            kind=asked.get("kind", ""),
        )
