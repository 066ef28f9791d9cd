"""What the plan is made under."""

from __future__ import annotations

from django import forms

from diestore.frame.fields import BetweenField
from maintenance.forecasts.pull_plan import Terms

WEEKS_AT_MOST = 12


class TermsForm(forms.Form):
    weeks = BetweenField(label="Weeks ahead", least=2, most=WEEKS_AT_MOST, unit="weeks")
    bench_hours = BetweenField(label="Bench hours a week", placeholder="of its people", least=0, most=1_000, unit="h")
    press_hours = BetweenField(label="Hours a press runs a week", least=1, most=168, unit="h")

    def terms(self) -> Terms:
        """As typed; what is left empty or cannot be is as usual."""
        usual = Terms()
        self.is_valid()
        typed = {name: value for name, value in self.cleaned_data.items() if value is not None}
        if "weeks" in typed:
            typed["weeks"] = int(typed["weeks"])
        return Terms(**{**vars(usual), **typed})
