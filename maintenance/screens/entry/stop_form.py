"""A stop on one screen: why, how long, where; and what it broke, where it was a mishap too."""

from __future__ import annotations

from collections.abc import Iterator

from django import forms
from django.db import transaction
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, gettext_noop

from diestore.frame.fields import PhotoField, Pick, Ticks, TypedField, WholeField, choices
from diestore.handbook.limits import STOP_MINUTES
from diestore.register.models import Press
from maintenance.log import doubts, expected, write
from maintenance.models import Event, Stop

from .forms import LogForm, picks, when

STATION, PLACE = "station-", "place-"
MISHAP_OF = {
    Stop.Cause.MISFEED: gettext_noop("misfeed"),
    Stop.Cause.PROTECTION: gettext_noop("die protection tripped"),
    Stop.Cause.SLUG: gettext_noop("slug"),
    Stop.Cause.STUCK: gettext_noop("part stuck"),
    Stop.Cause.BROKEN: gettext_noop("broken punch or section"),
    Stop.Cause.PILOT: gettext_noop("pilot broken"),
    Stop.Cause.SPRING: gettext_noop("spring broken"),
    Stop.Cause.GALLING: gettext_noop("galling"),
    Stop.Cause.OTHER: gettext_noop("stop"),
}


class StopForm(LogForm):
    who = gettext_lazy("Who reports it?")
    heading = gettext_lazy("Log a stop")
    work = "stop"

    def build(self) -> None:
        self.fields["cause"] = picks(
            _("Why did it stop?"), [(c.value, c.label) for c in Stop.Cause], missing=_("Pick why it stopped.")
        )
        self.fields["minutes"] = TypedField(
            label=_("Minutes"), big=True, error_messages={"required": _("Enter the minutes that it stood.")}
        )
        self.fields["parts_scrapped"] = WholeField(label=_("Parts scrapped"), required=False, placeholder="0")
        self.fields["at"] = when(_("When did it stop?"), self.now)
        self.fields["photo"] = PhotoField()
        self.fields["planned"] = forms.BooleanField(label=_("It was planned"), required=False)
        self.fields["press"] = forms.ModelChoiceField(
            label=_("Press"),
            queryset=Press.objects.filter(plant=self.die.plant_id),
            required=False,
            empty_label=_("not said"),
            initial=expected.press_now(self.die),
        )
        self.places = {str(place.position.pk): place for place in expected.places(self.die, self.now)}
        stations = {p.position.station_id: p.position.station for p in self.places.values() if p.position.station_id}
        self.stations = {str(pk): station for pk, station in stations.items()}
        self.fields["place"] = forms.ChoiceField(
            label=_("Where in the die?"),
            choices=[
                ("", _("not seen")),
                *(
                    (
                        f"{STATION}{pk}",
                        _("station {code} {operation}").format(code=one.code, operation=one.operation).strip(),
                    )
                    for pk, one in self.stations.items()
                ),
                *((f"{PLACE}{pk}", place.called) for pk, place in self.places.items()),
            ],
            required=False,
            error_messages={"invalid_choice": _("Pick a station or a position of this die.")},
        )
        self.fields["damaged"] = forms.MultipleChoiceField(
            label=_("It broke or chipped something: tap each piece"),
            choices=choices(
                (pk, Pick(place.position.code, _(place.kind.name))) for pk, place in self.places.items() if place.fitted
            ),
            required=False,
            widget=Ticks,
            error_messages={"invalid_choice": _("Tap pieces of the list.")},
        )

    @property
    def is_mishap(self) -> bool:
        """Whether pieces are tapped, so that their list lies open when the form is shown again."""
        return bool(self["damaged"].value() or self["damaged"].errors)

    def check(self, cleaned: dict) -> None:
        if cleaned.get("at"):
            cleaned["at"] = self.moment_of(cleaned["at"])
        if not STOP_MINUTES.holds(cleaned.get("minutes")):
            self.add_error("minutes", STOP_MINUTES.sentence(cleaned["minutes"]))
        if cleaned.get("damaged") and cleaned.get("cause") not in MISHAP_OF and "cause" in cleaned:
            self.add_error(
                "damaged", _("A stop for this breaks nothing. Pick what happened as its cause, or tap no piece.")
            )

    def doubts(self, cleaned: dict) -> Iterator[str]:
        if doubt := doubts.of_stop(cleaned["minutes"]):
            yield doubt

    def save(self, by: write.Actor) -> list[Event]:
        """The stop, and where pieces are tapped the mishap that it was, both or neither."""
        c = self.cleaned_data
        place, station = c["place"].removeprefix(PLACE), c["place"].removeprefix(STATION)
        with transaction.atomic():
            stop = write.log_stop(
                by=by,
                die=self.die,
                at=c["at"],
                cause=c["cause"],
                minutes=c["minutes"],
                parts_scrapped=c["parts_scrapped"] or 0,
                planned=c["planned"],
                press=c["press"],
                station=self.stations[station] if c["place"].startswith(STATION) else None,
                position=self.places[place].position if c["place"].startswith(PLACE) else None,
                note=c["note"],
                key=c["key"] or None,
            )
            if not c["damaged"]:
                return [stop]
            mishap = write.log_incident(
                by=by,
                die=self.die,
                at=c["at"],
                sort=MISHAP_OF[c["cause"]],
                positions=[self.places[pk].position for pk in c["damaged"]],
                note=c["note"],
                key=f"{stop.key}:mishap",
            )
            return [stop, mishap]

    @classmethod
    def initial_of(cls, events, system):
        stop = events[0]
        place = f"{PLACE}{stop.position_id}" if stop.position_id else ""
        return super().initial_of(events, system) | {
            "cause": stop.cause,
            "minutes": f"{stop.minutes:g}",
            "parts_scrapped": stop.parts_scrapped or "",
            "planned": stop.planned,
            "press": stop.press_id,
            "place": place or (f"{STATION}{stop.station_id}" if stop.station_id else ""),
        }
