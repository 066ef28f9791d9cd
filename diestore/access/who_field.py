"""Who did it: the field for a person on a form, and on a shared tablet the PIN beside it."""

from __future__ import annotations

from django import forms

from diestore.frame.fields import Pick, Picks

from .forms import PinField, prove
from .models import Person
from .tablet import Tablet

PEOPLE_AS_PICKS = 12


class _Names(forms.ModelChoiceField):
    """The names of a tablet: the one that was there a while ago says that it needs no PIN."""

    def __init__(self, *, tablet: Tablet | None, **kwargs) -> None:
        self.tablet = tablet
        super().__init__(**kwargs)

    def label_from_instance(self, person: Person) -> Pick:
        back = self.tablet is not None and person == self.tablet.again
        return Pick(person.name, "no PIN needed" if back else "")


def add_person(form: forms.Form, *, people, label: str, missing: str, tablet: Tablet | None, required: bool) -> bool:
    """Put the field into the form; returns whether there is anybody to pick. On a tablet only names with a PIN are."""
    form.tablet = tablet
    if tablet is not None:
        people = people.exclude(pin_hash="")
    number = people.count()
    many = number > PEOPLE_AS_PICKS
    form.fields["person"] = _Names(
        tablet=tablet,
        label=label,
        queryset=people,
        required=required and number > 0,
        empty_label="Pick a name" if many else None,
        widget=forms.Select if many else Picks,
        error_messages={"required": missing, "invalid_choice": "Pick a name of the list."},
    )
    if tablet is not None and number:
        form.fields["pin"] = PinField(label="PIN", required=False)
    return number > 0


def prove_person(form: forms.Form, cleaned: dict) -> None:
    """On a tablet, a name needs its PIN, unless it is picked already."""
    person = cleaned.get("person")
    if form.tablet is not None and person is not None and "pin" not in form.errors:
        prove(form, person, cleaned.get("pin", ""), form.tablet)
