"""Forms of the register."""

from __future__ import annotations

from django import forms

from .context import LOOKS
from .models import Person, UserSettings


class SettingsForm(forms.ModelForm):
    look = forms.ChoiceField(
        label="Light or dark",
        choices=list(LOOKS.items()),
        required=False,
        help_text="On this device, until you sign out.",
    )

    class Meta:
        model = UserSettings
        fields = ("units", "person")
        labels = {"units": "Units that I see and type", "person": "I am"}
        help_texts = {"person": "Whose name is put on entries, unless another is picked."}

    def __init__(self, *args, **kwargs) -> None:
        super().__init__(*args, **kwargs)
        self.fields["person"].queryset = Person.objects.filter(active=True)
        self.fields["person"].empty_label = "nobody in particular"
