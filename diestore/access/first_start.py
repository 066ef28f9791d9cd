"""The first start: while nobody has a sign-in, whoever has the code that the server prints makes the first one."""

from __future__ import annotations

import hmac
from base64 import b32encode

from django import forms
from django.conf import settings
from django.contrib import messages
from django.contrib.auth import login, password_validation
from django.contrib.auth.decorators import login_not_required
from django.contrib.auth.models import Group, User
from django.core.exceptions import PermissionDenied, ValidationError
from django.db import DatabaseError, transaction
from django.shortcuts import redirect, render
from django.utils.crypto import salted_hmac
from django.utils.decorators import method_decorator
from django.utils.translation import get_language, gettext_lazy
from django.utils.translation import gettext as _
from django.views import View

from diestore.frame.fields import Opens, Picks
from diestore.register.models import Plant

from . import roles, shop, throttle
from .forms import HeldForm
from .models import Person, Shop, UserSettings

BACKEND = "diestore.access.sign_in.WithSettings"
FIRST_PLANT = "main"


def nobody_yet() -> bool:
    """Whether nobody has a sign-in. Without tables nobody can be asked to make one: that is for `migrate`."""
    try:
        return not User.objects.exists()
    except DatabaseError:
        return False


def code() -> str:
    """The same on every host and after a restart, and worth nothing once somebody has a sign-in."""
    digest = salted_hmac("diestore.access.first_start", "the first sign-in", algorithm="sha256").digest()
    text = b32encode(digest[:10]).decode()
    return "-".join(text[i : i + 4] for i in range(0, 12, 4))


class ShopForm(forms.ModelForm):
    """What the shop is called, its money, clock, units and language."""

    class Meta:
        model = Shop
        fields = ("name", "currency", "time_zone", "units", "language")
        labels = {
            "name": gettext_lazy("The shop's name"),
            "currency": gettext_lazy("Currency"),
            "time_zone": gettext_lazy("Time zone"),
            "units": gettext_lazy("Units"),
            "language": gettext_lazy("Language"),
        }
        help_texts = {
            "name": gettext_lazy("It stands at the head of every page."),
            "currency": gettext_lazy("As it is written: EUR, USD, CHF."),
        }
        widgets = {"units": Picks, "language": Picks, "name": forms.TextInput({"autocomplete": "organization"})}

    def __init__(self, *args, **kwargs) -> None:
        super().__init__(*args, **kwargs)
        zones = shop.time_zones()
        now = self.instance.time_zone
        self.fields["time_zone"] = forms.ChoiceField(
            choices=[(zone, zone.replace("_", " ")) for zone in sorted({*zones, now})],
            label=_("Time zone"),
            widget=Opens,
        )
        self.fields["units"] = forms.ChoiceField(
            choices=UserSettings.Units, label=_("Units"), widget=Picks, help_text=_("Everybody may see others.")
        )
        self.fields["language"] = forms.ChoiceField(
            choices=settings.LANGUAGES,
            label=_("Language"),
            widget=Picks,
            help_text=_("Everybody may read another. Spanish is not whole yet: some pages are still in English."),
            required=False,
        )

    def clean_language(self) -> str:
        """Not picked: as it was, which on a first start is as the page is read."""
        return self.cleaned_data["language"] or self.initial["language"]


class FirstUserForm(HeldForm, ShopForm):
    person = forms.CharField(
        label=gettext_lazy("Your name"), max_length=120, widget=forms.TextInput({"autocomplete": "name"})
    )
    username = forms.CharField(
        label=gettext_lazy("Your user name"), max_length=60, help_text=gettext_lazy("For signing in."),
        widget=forms.TextInput({"autocomplete": "username", "autocapitalize": "none"}),
    )  # fmt: skip
    password = forms.CharField(
        label=gettext_lazy("Password"),
        widget=forms.PasswordInput({"autocomplete": "new-password"}),
        help_text=gettext_lazy("Ten characters at least."),
    )
    code = forms.CharField(
        label=gettext_lazy("Code"),
        max_length=40,
        help_text=gettext_lazy("The server printed it when it started."),
        widget=forms.TextInput({"autocomplete": "off"}),
    )

    def __init__(self, *args, where: str = "", **kwargs) -> None:
        super().__init__(*args, **kwargs)
        self.where = where

    def clean_username(self) -> str:
        User._meta.get_field("username").run_validators(self.cleaned_data["username"])
        return self.cleaned_data["username"]

    def clean(self) -> dict:
        cleaned = super().clean()
        typed = cleaned.get("code", "").upper().replace(" ", "").replace("-", "")
        at = self.try_at((throttle.ADDRESS, f"first start {self.where}"), where=self.where)
        if not hmac.compare_digest(typed.encode(), code().replace("-", "").encode()):
            self.add_error("code", _("This is not the code that the server printed. Look at where it was started."))
            return cleaned
        throttle.was_right((throttle.ADDRESS, f"first start {self.where}"), at=at)
        if "password" in cleaned:
            try:
                password_validation.validate_password(cleaned["password"], User(username=cleaned.get("username", "")))
            except ValidationError as error:
                self.add_error("password", error)
        return cleaned


@method_decorator(login_not_required, name="dispatch")
class FirstStart(View):
    http_method_names = ("get", "head", "options", "post")

    def dispatch(self, request, *args, **kwargs):
        if request.method in ("GET", "HEAD", "POST") and not nobody_yet():
            if request.method == "POST":
                raise PermissionDenied(_("Somebody has a sign-in already."))
            return redirect("diestore:sign_in")
        return super().dispatch(request, *args, **kwargs)

    def get(self, request):
        told = shop.current()
        row = Shop(name="", currency=told.currency, time_zone=told.time_zone, units=told.units, language=get_language())
        return self._show(request, FirstUserForm(instance=row, initial={"code": request.GET.get("code", "")[:40]}))

    def post(self, request):
        row = Shop.objects.first() or Shop(language=get_language())
        form = FirstUserForm(request.POST, instance=row, where=throttle.address_of(request))
        if not form.is_valid():
            return self._show(request, form, status=429 if form.held_s else 422)
        user = make_first(form)
        if user is None:
            raise PermissionDenied(_("Somebody else was first."))
        login(request, user, backend=BACKEND)
        shop.forget()
        messages.success(
            request, _("{shop} is open. What comes next stands below.").format(shop=form.cleaned_data["name"])
        )
        return redirect("diestore:dies")

    def _show(self, request, form, status: int = 200):
        return render(request, "diestore/access/first_start.html", {"form": form}, status=status)


def make_first(form: FirstUserForm) -> User | None:
    """The shop, its plant, and the first user, who may do everything; None where somebody else was first."""
    told = form.cleaned_data
    with transaction.atomic():
        row = Shop.objects.get_or_create(pk=1)[0]
        Shop.objects.select_for_update().get(pk=row.pk)
        if not nobody_yet():
            return None
        for name in shop.COLUMNS:
            setattr(row, name, told[name])
        row.save()
        plant = Plant.objects.order_by("pk").first() or Plant.objects.create(code=FIRST_PLANT, name=told["name"])
        user = User.objects.create_user(told["username"], password=told["password"], is_staff=True)
        user.groups.set(Group.objects.filter(name__in=(roles.LEAD, roles.ADMINISTRATOR)))
        person = Person.objects.get_or_create(plant=plant, name=told["person"])[0]
        UserSettings.objects.create(user=user, person=person, units=told["units"])
    return user


class ShopSettings(View):
    """The shop's own settings, for whoever enters people."""

    http_method_names = ("get", "head", "options", "post")

    def dispatch(self, request, *args, **kwargs):
        if not request.user.has_perm(roles.MANAGE_PEOPLE):
            raise PermissionDenied(_("The shop's settings are the lead's."))
        return super().dispatch(request, *args, **kwargs)

    def get(self, request):
        return self._show(request, ShopForm(instance=self._row()))

    def post(self, request):
        form = ShopForm(request.POST, instance=self._row())
        if not form.is_valid():
            return self._show(request, form, 422)
        form.save()
        shop.forget()
        messages.success(request, _("Kept."))
        return redirect("diestore:shop")

    def _row(self) -> Shop:
        told = shop.current()
        return Shop.objects.first() or Shop(**{name: getattr(told, name) for name in shop.COLUMNS})

    def _show(self, request, form, status: int = 200):
        context = {"form": form, "demo": settings.DEMO}
        return render(request, "diestore/access/shop.html", context, status=status)
