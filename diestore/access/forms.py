"""Forms of the register."""

from __future__ import annotations

import datetime as dt

from django import forms
from django.conf import settings
from django.contrib.auth.forms import AuthenticationForm, PasswordChangeForm
from django.core.exceptions import ValidationError
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from diestore.register.models import Plant

from . import known_browser, shop, throttle
from . import tablet as access_tablet
from .models import Person, UserSettings
from .plants import within

LOOKS = {"": gettext_lazy("as the device"), "light": gettext_lazy("light"), "dark": gettext_lazy("dark")}


class HeldForm:
    """A form that guesses at something: `held_s` says how long it is held, nought where it is not."""

    held_s = 0

    def try_at(self, *doors: tuple[throttle.Door, str], where: str) -> dt.datetime:
        try:
            return throttle.enter(*doors, where=where)
        except throttle.Held as held:
            self.held_s = held.seconds
            raise ValidationError(str(held), code="held") from held


class SignInForm(HeldForm, AuthenticationForm):
    error_messages = {
        "invalid_login": gettext_lazy(
            "This is not a correct username and password. Look at capital letters, and try again."
        ),
        "inactive": gettext_lazy("This account is closed. Ask the administrator."),
    }

    def __init__(self, *args, **kwargs) -> None:
        super().__init__(*args, **kwargs)
        self.fields["username"].label = _("User")

    def clean(self):
        name = self.cleaned_data.get("username")
        if not name or not self.cleaned_data.get("password"):
            return self.cleaned_data
        address = throttle.address_of(self.request)
        doors = known_browser.doors(self.request, name) or ((throttle.USER, name), (throttle.ADDRESS, address))
        at = self.try_at(*doors, where=address)
        cleaned = super().clean()
        throttle.was_right(*doors, at=at)
        return cleaned


class PasswordForm(HeldForm, PasswordChangeForm):
    """A new password. The old one is guessed at through this form as much as through the sign-in."""

    error_messages = PasswordChangeForm.error_messages | {
        "password_incorrect": gettext_lazy("This is not your password now. Type it again."),
        "password_mismatch": gettext_lazy("The two new passwords differ. Type them again."),
    }

    def __init__(self, *args, **kwargs) -> None:
        super().__init__(*args, **kwargs)
        for name, label in (
            ("old_password", _("Password now")),
            ("new_password1", _("New password")),
            ("new_password2", _("New password again")),
        ):
            self.fields[name].label, self.fields[name].help_text = label, ""

    def clean_old_password(self):
        door = (throttle.USER, self.user.get_username())
        at = self.try_at(door, where="the page of the password")
        old = super().clean_old_password()
        throttle.was_right(door, at=at)
        return old


class SettingsForm(forms.ModelForm):
    look = forms.ChoiceField(
        label=gettext_lazy("Light or dark"),
        choices=list(LOOKS.items()),
        required=False,
        help_text=gettext_lazy("On this device, until you sign out."),
    )

    class Meta:
        model = UserSettings
        fields = ("language", "units", "person", "page_keys")
        labels = {
            "language": gettext_lazy("Language"),
            "units": gettext_lazy("Units that I see and type"),
            "person": gettext_lazy("My name on entries"),
            "page_keys": gettext_lazy("Single keys open pages"),
        }
        help_texts = {
            "language": gettext_lazy("Spanish is not whole yet: some pages are still in English."),
            "person": gettext_lazy("Whose name is put on entries, unless another is picked."),
            "page_keys": gettext_lazy("Such as / to find. Off for whoever dictates, or rests a hand on the keys."),
        }

    def __init__(self, *args, **kwargs) -> None:
        super().__init__(*args, **kwargs)
        self.fields["person"].queryset = within(Person.objects.filter(active=True), self.instance.user)
        self.fields["person"].empty_label = _("none")
        names = dict(settings.LANGUAGES)
        self.fields["language"].choices = [
            ("", _("the shop's: {language}").format(language=names[shop.current().language])),
            *names.items(),
        ]


class PinInput(forms.PasswordInput):
    """Brings up the number pad; a script puts one with large keys beside it."""

    def __init__(self) -> None:
        super().__init__(
            {"inputmode": "numeric", "autocomplete": "off", "maxlength": 6, "class": "one pin", "data-pin": ""}
        )


class PinField(forms.CharField):
    def __init__(self, **kwargs) -> None:
        kwargs.setdefault("error_messages", {}).update(max_length=gettext_lazy("A PIN has 4 to 6 digits."))
        super().__init__(max_length=6, strip=True, widget=PinInput, **kwargs)


class WhoForm(HeldForm, forms.Form):
    """Who stands at the tablet: a name and its PIN."""

    person = forms.ModelChoiceField(
        label=gettext_lazy("Who are you?"),
        queryset=Person.objects.none(),
        empty_label=None,
        widget=forms.RadioSelect,
        error_messages={
            "required": gettext_lazy("Tap your name."),
            "invalid_choice": gettext_lazy("Tap a name of the list."),
        },
    )
    pin = PinField(label=gettext_lazy("Your PIN"), required=False)

    def __init__(self, data=None, *, tablet: access_tablet.Tablet, names) -> None:
        super().__init__(data, initial={"person": tablet.who or tablet.again})
        self.tablet = tablet
        self.fields["person"].queryset = names

    def clean(self):
        cleaned = super().clean()
        person = cleaned.get("person")
        if person is not None and not self.errors:
            prove(self, person, cleaned.get("pin", ""), self.tablet)
        return cleaned


def prove(form: forms.Form, person: Person, pin: str, tablet: access_tablet.Tablet) -> None:
    """The name is picked on the tablet if it needs no PIN now or the PIN is right; else the form says what is wrong."""
    if not pin and not tablet.knows(person):
        form.add_error("pin", _("Tap your PIN."))
        return
    if pin:
        try:
            is_right = access_tablet.pin_is_right(person, pin, device=tablet.device)
        except throttle.Held as held:
            form.held_s = held.seconds
            form.add_error("pin", str(held))
            return
        if not is_right:
            form.add_error("pin", _("This PIN does not fit that name. Tap it again."))
            return
    tablet.pick(person)


class PersonForm(forms.ModelForm):
    class Meta:
        model = Person
        fields = ("plant", "name", "active")
        labels = {"active": gettext_lazy("Works here")}
        help_texts = {
            "active": gettext_lazy("Untick when someone leaves: the name is no longer offered, old entries stay.")
        }

    def __init__(self, *args, user, **kwargs) -> None:
        """user: who fills it in, and puts nobody into a plant that is not theirs to see."""
        super().__init__(*args, **kwargs)
        seen = within(Plant.objects.all(), user, path="pk")
        self.fields["plant"].queryset = seen
        if seen.count() < 2:  # nobody is asked for the only plant there is
            self.instance.plant = self.instance.plant if self.instance.pk else seen.first()
            del self.fields["plant"]

    def clean(self):
        cleaned = super().clean()
        plant = cleaned.get("plant") or getattr(self.instance, "plant", None)
        if plant is None:
            raise ValidationError(_("There is no plant yet. Load your records or enter one in the register first."))
        others = Person.objects.filter(plant=plant, name=cleaned.get("name", "")).exclude(pk=self.instance.pk)
        if others.exists():
            self.add_error("name", _("Somebody of that name is in the list. Add a letter that tells them apart."))
        return cleaned


class PinForm(forms.Form):
    pin = PinField(
        label=gettext_lazy("New PIN"),
        help_text=gettext_lazy("4 to 6 digits. The owner types it in."),
        error_messages={"required": gettext_lazy("Tap a PIN.")},
    )
    again = PinField(
        label=gettext_lazy("The same again"), error_messages={"required": gettext_lazy("Tap it a second time.")}
    )

    def clean(self):
        cleaned = super().clean()
        pin, again = cleaned.get("pin"), cleaned.get("again")
        if pin and again and pin != again:
            self.add_error("again", _("The two PINs differ. Tap both again."))
        elif pin and again:
            try:
                access_tablet.check_new_pin(pin)
            except access_tablet.PinRefused as refused:
                self.add_error("pin", str(refused))
        return cleaned
