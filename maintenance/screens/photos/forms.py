"""Forms of photos: one more of an entry, and one struck out."""

from __future__ import annotations

from django import forms
from django.db.models import QuerySet

from diestore.access.models import Person
from diestore.access.tablet import Tablet
from diestore.access.who_field import add_person, prove_person
from diestore.frame.fields import PhotoField
from maintenance.models.photos import WORDS_AT_MOST


class ByForm(forms.Form):
    """A form that says who does it."""

    who = ""

    def __init__(
        self, data=None, files=None, *, people: QuerySet[Person], person: Person | None, tablet: Tablet | None
    ):
        super().__init__(data, files, initial={"person": person})
        self.has_people = add_person(
            self, people=people, label=self.who, missing="Pick who.", tablet=tablet, required=True
        )

    def clean(self) -> dict:
        cleaned = super().clean()
        prove_person(self, cleaned)
        return cleaned


class AddForm(ByForm):
    who = "Who took it?"
    photo = PhotoField(required=True, error_messages={"required": "Take a photo, or pick one."})
    words = forms.CharField(
        label="What does it show?", max_length=WORDS_AT_MOST, required=False,
        error_messages={"max_length": f"Say it in {WORDS_AT_MOST} letters."},
    )  # fmt: skip


class StrikeForm(ByForm):
    who = "Who strikes it out?"
    reason = forms.CharField(
        label="Why is it struck out?", max_length=300,
        widget=forms.TextInput({"placeholder": "of another die, a person is on it ..."}),
        error_messages={"required": "Say why it is struck out.", "max_length": "Say it in 300 letters."},
    )  # fmt: skip
