"""A count sheet: what lies there of each spare, and why it differs."""

from __future__ import annotations

from django import forms
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from diestore.frame.fields import WholeField
from maintenance.log import shelf
from maintenance.models import fresh_key

REASONS = (
    gettext_lazy("drawn and not entered"), gettext_lazy("came and was not entered"),
    gettext_lazy("scrapped and not entered"), gettext_lazy("lay in another place"),
    gettext_lazy("counted wrong before"),
)  # fmt: skip


class CountForm(forms.Form):
    key = forms.CharField(max_length=64, required=False, widget=forms.HiddenInput)

    def __init__(self, data=None, *, rows: list[shelf.Lies]) -> None:
        super().__init__(data, initial={"key": fresh_key()})
        self.rows = rows
        for row in rows:
            pk = row.item.pk
            found = self.fields[f"found-{pk}"] = WholeField(required=False)
            found.label = _("{item} lying there").format(item=row.item)
            found.widget.attrs["aria-label"] = found.label
            self.fields[f"shown-{pk}"] = forms.IntegerField(
                required=False, initial=row.should, min_value=-(10**9), max_value=10**9, widget=forms.HiddenInput
            )
            self.fields[f"reason-{pk}"] = forms.CharField(
                required=False, max_length=300, error_messages={"max_length": _("Say it in 300 letters.")},
                widget=forms.TextInput(
                    {"autocomplete": "off", "list": "why", "placeholder": _("if it differs: why"),
                     "aria-label": _("Why {item} differs").format(item=row.item)}
                ),
            )  # fmt: skip

    @property
    def lines(self) -> list[dict]:
        names = ("found", "shown", "reason")
        return [{"row": row} | {name: self[f"{name}-{row.item.pk}"] for name in names} for row in self.rows]

    def counted(self, *, as_it_should: bool) -> dict[int, shelf.Counted]:
        """as_it_should: what is left empty lies there as it should."""
        c, made = self.cleaned_data, {}
        for row in self.rows:
            pk = row.item.pk
            shown = c.get(f"shown-{pk}")
            found = c.get(f"found-{pk}")
            if shown is None:
                continue
            if found is None and as_it_should and shown >= 0:
                found = shown
            if found is not None:
                made[pk] = shelf.Counted(found=found, shown=shown, reason=c.get(f"reason-{pk}", ""))
        return made
