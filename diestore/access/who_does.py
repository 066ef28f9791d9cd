"""A form that says who does it, on a tablet or at a desk: who can be picked, who is expected, and who was picked."""

from __future__ import annotations

from django import forms
from django.db.models import QuerySet
from django.http import HttpRequest
from django.utils.translation import gettext_lazy as _

from .models import Person
from .tablet import Tablet, tablet_of
from .who_field import add_person, prove_person

LAST_PERSON = "log_person"  # who logged last in this session, as in the log


class ByForm(forms.Form):
    who = _("Who does it?")
    missing = _("Pick who does it.")

    def __init__(
        self, data=None, files=None, *, people: QuerySet[Person], person: Person | None, tablet: Tablet | None
    ) -> None:
        super().__init__(data, files, initial={"person": person})
        self.has_people = add_person(
            self, people=people, label=self.who, missing=self.missing, tablet=tablet, required=True
        )

    def clean(self) -> dict:
        cleaned = super().clean()
        prove_person(self, cleaned)
        return cleaned


def who_can(request: HttpRequest, plant: int) -> dict:
    """What such a form takes: the people of the plant, and who is expected."""
    people, tablet = Person.objects.filter(plant=plant, active=True), tablet_of(request)
    if tablet:
        return {"people": people, "person": tablet.who, "tablet": tablet}
    last = request.session.get(LAST_PERSON)
    person = people.filter(pk=last).first() if last else None
    return {
        "people": people,
        "person": person or people.filter(usersettings__user=request.user).first(),
        "tablet": None,
    }


def who_did(request: HttpRequest, person: Person | None) -> dict:
    """Who acts, as a write takes it; whoever it is, is expected next."""
    tablet = tablet_of(request)
    if person is not None:
        if tablet:
            tablet.pick(person)
        elif request.session.get(LAST_PERSON) != person.pk:
            request.session[LAST_PERSON] = person.pk
    return {"person": person, "user": request.user, "device": tablet.device[:80] if tablet else ""}
