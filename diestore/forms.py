"""Forms of the register."""

from __future__ import annotations

from django import forms
from django.contrib.auth.forms import AuthenticationForm, PasswordChangeForm
from django.core.exceptions import ValidationError

from . import throttle
from .context import LOOKS
from .models import Person, UserSettings


class HeldForm:
    """A form that guesses at something: `held_s` says how long it is held, nought where it is not."""

    held_s = 0

    def try_at(self, *doors: tuple[throttle.Door, str]) -> None:
        try:
            throttle.enter(*doors)
        except throttle.Held as held:
            self.held_s = held.seconds
            raise ValidationError(str(held), code="held") from held


class SignInForm(HeldForm, AuthenticationForm):
    error_messages = {
        "invalid_login": "This is not a correct username and password. Look at capital letters, and try again.",
        "inactive": "This account is closed. Ask the administrator.",
    }

    def __init__(self, *args, **kwargs) -> None:
        super().__init__(*args, **kwargs)
        self.fields["username"].label = "User"

    def clean(self):
        name = self.cleaned_data.get("username")
        if not name or not self.cleaned_data.get("password"):
            return self.cleaned_data
        doors = (throttle.USER, name), (throttle.ADDRESS, throttle.address_of(self.request))
        self.try_at(*doors)
        cleaned = super().clean()
        throttle.was_right(*doors)
        return cleaned


class PasswordForm(HeldForm, PasswordChangeForm):
    """A new password. The old one is guessed at through this form as much as through the sign-in."""

    error_messages = PasswordChangeForm.error_messages | {
        "password_incorrect": "This is not your password now. Type it again.",
        "password_mismatch": "The two new passwords differ. Type them again.",
    }

    def __init__(self, *args, **kwargs) -> None:
        super().__init__(*args, **kwargs)
        for name, label in (
            ("old_password", "Password now"),
            ("new_password1", "New password"),
            ("new_password2", "New password again"),
        ):
            self.fields[name].label, self.fields[name].help_text = label, ""

    def clean_old_password(self):
        door = (throttle.USER, self.user.get_username())
        self.try_at(door)
        old = super().clean_old_password()
        throttle.was_right(door)
        return old


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
