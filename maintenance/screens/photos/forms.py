"""Forms of photos: one more of an entry, and one struck out."""

from __future__ import annotations

from django import forms

from diestore.access.who_does import ByForm
from diestore.frame.fields import PhotoField
from maintenance.models.photos import WORDS_AT_MOST


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
