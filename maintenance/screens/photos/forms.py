"""Forms of photos: one more of an entry, and one struck out."""

from __future__ import annotations

from django import forms
from django.utils.text import format_lazy
from django.utils.translation import gettext_lazy as _

from diestore.access.who_does import ByForm
from diestore.frame.fields import PhotoField
from maintenance.models.photos import WORDS_AT_MOST


class AddForm(ByForm):
    who = _("Who took it?")
    photo = PhotoField(required=True, error_messages={"required": _("Take a photo, or pick one.")})
    words = forms.CharField(
        label=_("What does it show?"), max_length=WORDS_AT_MOST, required=False,
        error_messages={"max_length": format_lazy(_("Say it in {n} letters."), n=WORDS_AT_MOST)},
    )  # fmt: skip


class StrikeForm(ByForm):
    who = _("Who strikes it out?")
    reason = forms.CharField(
        label=_("Why is it struck out?"), max_length=300,
        widget=forms.TextInput({"placeholder": _("of another die, a person is on it ...")}),
        error_messages={"required": _("Say why it is struck out."), "max_length": _("Say it in 300 letters.")},
    )  # fmt: skip
