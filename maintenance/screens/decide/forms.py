"""What the decision rests on, to be typed otherwise: nothing of it is saved."""

from __future__ import annotations

from django import forms
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from diestore import units
from diestore.frame.fields import BetweenField, MeasureField, WholeField

# name -> label, unit behind it, least, most; in the shop's currency where the unit is None
FIGURES: dict[str, tuple[str, str | None, float, float]] = {
    "toolroom_rate": (gettext_lazy("An hour of the toolroom"), None, 0.01, 10_000),
    "press_rate": (gettext_lazy("An hour that the press waits"), None, 0.01, 10_000),
    "sorting_rate": (gettext_lazy("An hour of sorting"), None, 0.01, 10_000),
    "part_worth": (gettext_lazy("A scrapped part"), None, 0, 100_000),
    "hours": (gettext_lazy("Bench hours to sharpen the set"), "h", 0.01, 1_000),
    "apart_share": (gettext_lazy("Of these, to pull it, take it apart, put it back"), "share", 0.01, 0.99),
    "stop_minutes": (gettext_lazy("The press waits when a job is broken off"), "min", 0.1, 10_000),
    "look_hits": (gettext_lazy("Hits from look to look at the parts"), "hits", 10, 10_000_000),
    "sorted_an_hour": (gettext_lazy("Parts sorted in an hour"), "parts", 1, 10_000_000),
    "reading_minutes": (gettext_lazy("To measure one burr"), "min", 0, 600),
}
GRIND = (
    "grind_mm",
    gettext_lazy("Ground off where nothing is logged"),
    0.001,
    10.0,
)  # mm; typed in the units of whoever reads it
WITHOUT_MONEY = ("job_hits", "hours", "look_hits")  # shown to everybody
MOST_HITS = 1_000_000_000


NAMED = {name: label for name, (label, *_) in FIGURES.items()} | {GRIND[0]: GRIND[1]}


class JobHits(WholeField):
    def read(self, text: str) -> int:
        hits = super().read(text)
        if not 1 <= hits <= MOST_HITS:
            raise forms.ValidationError(
                _("{hits:,} hits: there is nothing to run. Enter 1 to {most:,} hits.").format(hits=hits, most=MOST_HITS)
            )
        return hits


class Ground(MeasureField):
    def read(self, text: str) -> float:
        mm = super().read(text)
        *_label, least, most = GRIND
        if not least <= mm <= most:
            raise forms.ValidationError(
                _("{amount} is no amount to grind off.").format(amount=units.show(mm, "removed_mm", self.system))
            )
        return mm


class DecideForm(forms.Form):
    """By the address, so that a page asked with other figures can be passed on."""

    def __init__(self, data=None, *, currency: str, system: units.System) -> None:
        super().__init__(data)
        self.system = system
        self.fields["job_hits"] = JobHits(label=_("Hits of the job"), required=False)
        for name, (label, unit, least, most) in FIGURES.items():
            behind = currency if unit is None else unit
            self.fields[name] = BetweenField(label=f"{label}, {behind}", least=least, most=most)
        name, label, *_limits = GRIND
        self.fields[name] = field = Ground("removed_mm", system, required=False)
        field.label = f"{label}, {field.unit}"

    @property
    def typed(self) -> dict[str, float]:
        """The figures that were typed and can be; others count as not typed."""
        if not self.is_bound:
            return {}
        self.is_valid()
        return {name: value for name, value in self.cleaned_data.items() if value is not None}

    def stands_at(self, figures) -> None:
        """What each box stands at while nothing is typed in it, and where that comes from."""
        words = {
            "records": _("as recorded here"),
            "rates": _("the shop's own"),
            "assumed": _("assumed: not entered"),
            "typed": _("as typed"),
        }
        for name, figure in figures.items():
            box = self[name]
            value = figure.value
            if name == GRIND[0]:
                value = units.shown_value(value, "removed_mm", self.system)
            box.field.widget.attrs["placeholder"] = f"{value:.3g}" if value < 1000 else f"{value:,.0f}"
            box.help_text = words[figure.source]
