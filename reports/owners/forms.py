"""Forms of what is handed to customers: a report signed, one struck out."""

from __future__ import annotations

from django import forms

from diestore.access.who_does import ByForm
from diestore.cards.forms import DayField
from maintenance.log.owners import NOTE_AT_MOST


class SignForm(ByForm):
    who = "Who signs it?"
    missing = "Pick who signs it."
    key = forms.CharField(max_length=64, required=False, widget=forms.HiddenInput)
    seen = forms.CharField(max_length=64, required=False, widget=forms.HiddenInput)
    note = forms.CharField(
        label="What the owner should know beside it", max_length=NOTE_AT_MOST, required=False,
        widget=forms.Textarea({"rows": 3, "placeholder": "seen in the press on Monday, strip looks clean ..."}),
        error_messages={"max_length": f"Say it in {NOTE_AT_MOST} letters."},
    )  # fmt: skip


class StrikeForm(ByForm):
    who = "Who strikes it out?"
    reason = forms.CharField(
        label="Why is it struck out?", max_length=300,
        widget=forms.TextInput({"placeholder": "signed for the wrong tool ...", "autocomplete": "off"}),
        error_messages={"required": "Say why it is struck out.", "max_length": "Say it in 300 letters."},
    )  # fmt: skip


class LinkForm(ByForm):
    who = "Who makes it?"
    missing = "Pick who makes it."
    last_day = DayField(label="It opens until the end of", help_text="A year at most.")
    last_day.error_messages["required"] = "Say until which day it opens."
