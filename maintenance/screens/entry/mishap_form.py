"""A mishap on one screen: one shock for all that it damaged."""

from __future__ import annotations

from django import forms
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, gettext_noop

from diestore import units
from diestore.frame.fields import PhotoField, Pick, Ticks, choices
from maintenance.log import expected, write
from maintenance.models import Event, Incident

from . import on_plan
from .forms import NOTE_AT_MOST, LogForm, picks, when

SORTS = (
    (gettext_noop("misfeed"), gettext_lazy("strip out of position")),
    (gettext_noop("slug"), gettext_lazy("a slug between the halves")),
    (gettext_noop("double hit"), gettext_lazy("two parts or strips at once")),
    (gettext_noop("part stuck"), gettext_lazy("a part stayed in the die")),
    (gettext_noop("something left in the die"), gettext_lazy("a tool, a screw, a stop block")),
    (gettext_noop("wrong stock"), gettext_lazy("too thick or too hard")),
)
OTHER = "other"
SORT_AT_MOST = 40  # letters


class MishapForm(LogForm):
    heading = gettext_lazy("Log a mishap")
    who = gettext_lazy("Who reports it?")
    work = "mishap"

    def build(self) -> None:
        self.places = {str(p.position.pk): p for p in expected.places(self.die, self.now) if p.fitted}
        known = [(word, Pick(_(word), note)) for word, note in SORTS]
        self.fields["sort"] = picks(
            _("What happened?"), [*known, (OTHER, _("something else"))], missing=_("Pick what happened.")
        )
        self.fields["other"] = forms.CharField(
            label=_("What else?"),
            max_length=SORT_AT_MOST,
            required=False,
            error_messages={
                "max_length": _("Say it in {sort_at_most} letters; the rest goes into what was done.").format(
                    sort_at_most=SORT_AT_MOST
                )
            },
        )
        self.fields["damaged"] = forms.MultipleChoiceField(
            label=_("Which pieces did it damage?"),
            choices=choices(
                (pk, Pick(p.position.code, _(p.kind.name), expected=False)) for pk, p in self.places.items()
            ),
            required=False,
            widget=Ticks,
            help_text=_("Tap each one. None is fine: log near misses too."),
            error_messages={"invalid_choice": _("Tap pieces on the list.")},
        )
        self.fields["at"] = when(_("When was it?"), self.now)
        self.fields["photo"] = PhotoField()
        self.fields["note"].label = _("What was done?")
        self.fields["note"].widget.attrs["placeholder"] = _("die out, 3-A looked at under the glass, feed set anew ...")

    @property
    def on_plan(self) -> on_plan.TapPlan | None:
        return on_plan.of_places(self.die, self.places.values(), on_plan.boxes_of(self["damaged"]))

    def check(self, cleaned: dict) -> None:
        if cleaned.get("at"):
            cleaned["at"] = self.moment_of(cleaned["at"])
        if cleaned.get("sort") == OTHER and "other" in cleaned and not cleaned["other"]:
            self.add_error("other", _("Say in a few words what happened."))

    def save(self, by: write.Actor) -> list[Event]:
        c = self.cleaned_data
        row = write.log_incident(
            by=by,
            die=self.die,
            at=c["at"],
            sort=c["other"] if c["sort"] == OTHER else c["sort"],
            positions=[self.places[pk].position for pk in c["damaged"]],
            note=c["note"][:NOTE_AT_MOST],
            key=c["key"] or None,
        )
        return [row]

    @classmethod
    def initial_of(cls, events: tuple[Event, ...], system: units.System) -> dict:
        row: Incident = events[0]
        is_known = row.sort in dict(SORTS)
        return super().initial_of(events, system) | {
            "sort": row.sort if is_known else OTHER,
            "other": "" if is_known else row.sort,
            "damaged": [str(damaged.position.pk) for damaged in expected.damaged_by(row)],
        }
