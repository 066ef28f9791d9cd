"""Who did it: the field for a person on a form, and on a shared tablet the PIN beside it."""

from __future__ import annotations

from django import forms
from django.utils.translation import gettext as _

from diestore.frame.fields import KnownField, Pick, Picks

from .forms import PinField, prove
from .models import Person
from .tablet import Tablet

PEOPLE_AS_PICKS = 12


class _Names(KnownField):
    """The names of a tablet: the one that was there a while ago says that it needs no PIN."""

    def __init__(self, *, tablet: Tablet | None, **kwargs) -> None:
        self.tablet = tablet
        super().__init__(**kwargs)

    def label_from_instance(self, person: Person) -> Pick:
        back = self.tablet is not None and person == self.tablet.again
        return Pick(person.name, _("no PIN needed") if back else "")


def add_person(form: forms.Form, *, people, label: str, missing: str, tablet: Tablet | None, required: bool) -> bool:
    """Put the field into the form; returns whether there is anybody to pick. On a tablet only names with a PIN are.

    people: a query set; one that was read already is not asked of the database again.
    """
    form.tablet = tablet
    names = [person for person in people if tablet is None or person.pin_hash]
    number = len(names)
    many = number > PEOPLE_AS_PICKS
    form.fields["person"] = _Names(
        tablet=tablet,
        label=label,
        rows=names,
        queryset=people,
        required=required and number > 0,
        empty_label=_("Pick a name") if many else None,
        widget=forms.Select if many else Picks,
        error_messages={"required": missing, "invalid_choice": _("Pick a name of the list.")},
    )
    if tablet is not None and number:
        form.fields["pin"] = PinField(label=_("PIN"), required=False)
    return number > 0


def prove_person(form: forms.Form, cleaned: dict) -> None:
    """On a tablet, a name needs its PIN, unless it is picked already."""
    person = cleaned.get("person")
    if form.tablet is not None and person is not None and "pin" not in form.errors:
        prove(form, person, cleaned.get("pin", ""), form.tablet)
