"""Starting a die's record anew: from when, and what changed."""

from __future__ import annotations

from django import forms
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from maintenance.log import write
from maintenance.models import DriftFlag, Event

from .forms import LogForm, when


class RestartForm(LogForm):
    heading = gettext_lazy("Start the record again")

    def build(self) -> None:
        self.flag = DriftFlag.objects.filter(die=self.die).first()
        self.fields["at"] = when(_("Since when does it wear differently?"), self.flag.since if self.flag else None)
        if "person" in self.fields:
            self.fields["person"].label = _("Who decides it?")
        self.fields["reason"] = forms.CharField(
            label=_("What changed?"),
            max_length=200,
            widget=forms.TextInput({"placeholder": _("other oil, other stock, rebuilt, realigned, not known ...")}),
            error_messages={
                "required": _("Say what changed, or that it is not known."),
                "max_length": _("Say it in 200 letters at most."),
            },
        )

    def check(self, cleaned: dict) -> None:
        if cleaned.get("at"):
            cleaned["at"] = self.moment_of(cleaned["at"])

    def save(self, by: write.Actor) -> list[Event]:
        c = self.cleaned_data
        return [
            write.restart_record(
                by=by, die=self.die, at=c["at"], reason=c["reason"], note=c["note"], key=c["key"] or None
            )
        ]
