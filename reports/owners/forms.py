"""Forms of what is handed to customers: a report signed, one struck out."""

from __future__ import annotations

from django import forms
from django.utils.translation import gettext_lazy as _

from diestore.access.who_does import ByForm
from diestore.cards.forms import DayField
from maintenance.log.owners import NOTE_AT_MOST


class SignForm(ByForm):
    who = _("Who signs it?")
    missing = _("Pick who signs it.")
    key = forms.CharField(max_length=64, required=False, widget=forms.HiddenInput)
    seen = forms.CharField(max_length=64, required=False, widget=forms.HiddenInput)
    note = forms.CharField(
        label=_("What the owner should know beside it"), max_length=NOTE_AT_MOST, required=False,
        widget=forms.Textarea({"rows": 3, "placeholder": _("seen in the press on Monday, strip looks clean ...")}),
        error_messages={"max_length": _("Say it in %(limit_value)d letters.")},
    )  # fmt: skip


class StrikeForm(ByForm):
    who = _("Who strikes it out?")
    reason = forms.CharField(
        label=_("Why is it struck out?"), max_length=300,
        widget=forms.TextInput({"placeholder": _("signed for the wrong tool ..."), "autocomplete": "off"}),
        error_messages={"required": _("Say why it is struck out."), "max_length": _("Say it in 300 letters.")},
    )  # fmt: skip


class LinkForm(ByForm):
    who = _("Who makes it?")
    missing = _("Pick who makes it.")
    last_day = DayField(label=_("It opens until the end of"), help_text=_("A year at most."))
    last_day.error_messages["required"] = _("Say until which day it opens.")
