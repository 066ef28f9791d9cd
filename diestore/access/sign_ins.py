"""Who signs in, and as what: a sign-in is given on a page; what else there is to a user stays in the administration."""

from __future__ import annotations

import logging

from django import forms
from django.contrib import messages
from django.contrib.auth import password_validation
from django.contrib.auth.models import Group, User
from django.core.exceptions import PermissionDenied, ValidationError
from django.db import transaction
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views import View

from diestore.frame.fields import Opens, Picks

from . import plants, roles, shop
from .models import Person, PlantOfUser, UserSettings

logger = logging.getLogger(__name__)
RIGHT = "auth.add_user"
WHAT_FOR = {
    roles.SETTER: gettext_lazy("logs runs, stops, readings and mishaps"),
    roles.TOOLMAKER: gettext_lazy("logs sharpenings and replacements too, sees the spares"),
    roles.LEAD: gettext_lazy("the register, strike-outs, cost, people and PINs"),
    roles.BUYER: gettext_lazy("spares, suppliers, prices and lead times"),
    roles.SALES: gettext_lazy("cost; reads parts, customers and jobs"),
    roles.ADMINISTRATOR: gettext_lazy("all of it, and sign-ins"),
}


class SignInFor(forms.Form):
    username = forms.CharField(
        label=gettext_lazy("User name"),
        max_length=60,
        widget=forms.TextInput({"autocomplete": "off", "autocapitalize": "none"}),
    )
    role = forms.ChoiceField(
        label=gettext_lazy("Role"), choices=[(role, gettext_lazy(role)) for role in roles.ROLES], widget=Picks
    )
    person = forms.ModelChoiceField(
        Person.objects.none(),
        label=gettext_lazy("Name on entries"),
        required=False,
        empty_label=gettext_lazy("none"),
        widget=Opens,
        help_text=gettext_lazy("The name that stands on what is logged with it."),
    )
    plant = forms.ModelChoiceField(
        PlantOfUser._meta.get_field("plant").related_model.objects.none(), label=gettext_lazy("Sees"), required=False,
        empty_label=gettext_lazy("all plants"), widget=Opens,
    )  # fmt: skip
    shared = forms.BooleanField(
        label=gettext_lazy("A tablet that several share: who logs is picked on it by name and PIN"), required=False
    )
    password = forms.CharField(
        label=gettext_lazy("First password"), widget=forms.PasswordInput({"autocomplete": "new-password"}),
        help_text=gettext_lazy("Ten characters at least. Tell it in person; it is changed under “My settings”."),
    )  # fmt: skip

    def __init__(self, *args, user, **kwargs) -> None:
        super().__init__(*args, **kwargs)
        self.fields["person"].queryset = plants.within(Person.objects.filter(active=True), user).order_by("name", "pk")
        seen = plants.all_seen(user)
        self.fields["plant"].queryset = Person._meta.get_field("plant").related_model.objects.filter(
            pk__in=[plant.pk for plant in seen]
        )
        if len(seen) < 2:
            del self.fields["plant"]

    def clean_username(self) -> str:
        name = self.cleaned_data["username"]
        User._meta.get_field("username").run_validators(name)
        if User.objects.filter(username__iexact=name).exists():
            raise ValidationError(_("Somebody signs in with this name already."))
        return name

    def clean(self) -> dict:
        cleaned = super().clean()
        if cleaned.get("password"):
            try:
                password_validation.validate_password(cleaned["password"], User(username=cleaned.get("username", "")))
            except ValidationError as error:
                self.add_error("password", error)
        if cleaned.get("shared") and cleaned.get("role") in (roles.LEAD, roles.ADMINISTRATOR):
            self.add_error("role", _("A tablet that stays signed in gets no such rights. Take setter or toolmaker."))
        return cleaned


class SignIns(View):
    http_method_names = ("get", "head", "options", "post")

    def dispatch(self, request, *args, **kwargs):
        if not request.user.has_perm(RIGHT):
            raise PermissionDenied(_("Sign-ins are the administrator's."))
        return super().dispatch(request, *args, **kwargs)

    def get(self, request):
        return self._show(request, SignInFor(user=request.user))

    def post(self, request):
        form = SignInFor(request.POST, user=request.user)
        if not form.is_valid():
            return self._show(request, form, 422)
        user = give(by=request.user, **form.cleaned_data)
        messages.success(
            request,
            _("{user} signs in as {role} from now on.").format(
                user=user.get_username(), role=_(form.cleaned_data["role"])
            ),
        )
        return redirect("diestore:sign_ins")

    def _show(self, request, form, status: int = 200):
        users = plants.users_within(request.user).prefetch_related("groups").select_related("shop_settings__person")
        shown = {"form": form, "users": users.order_by("-is_active", "username"), "what_for": WHAT_FOR.items()}
        return render(request, "diestore/access/sign_ins.html", shown, status=status)


def give(*, by, username: str, password: str, role: str, person=None, plant=None, shared: bool = False) -> User:
    """A sign-in with a role. An administrator reaches the administration too."""
    with transaction.atomic():
        user = User.objects.create_user(username, password=password, is_staff=role == roles.ADMINISTRATOR)
        user.groups.set([Group.objects.get(name=role)])
        UserSettings.objects.create(
            user=user, person=None if shared else person, shared_device=shared, units=shop.current().units
        )
        if plant is not None:
            PlantOfUser.objects.create(user=user, plant=plant)
    logger.info("User %s with the role %s made by user %s", user.pk, role, by.pk)
    return user
