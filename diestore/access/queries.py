"""Reads about the person who is signed in, and about people, that have a name."""

from __future__ import annotations

from diestore import units
from diestore.register.models import Plant

from .models import Person, UserSettings


def system_of(user) -> units.System:
    """The units that this person sees."""
    return units.System.INCH if _kept_of(user)[0] == UserSettings.Units.INCH else units.System.METRIC


def is_shared_device(user) -> bool:
    """Whether it is a tablet that stays signed in, and no person."""
    return user.is_authenticated and _kept_of(user)[1]


def _kept_of(user) -> tuple[str, bool]:
    """What the settings say of units and of sharing; asked of the database once a request."""
    if not hasattr(user, "kept_settings"):
        row = getattr(user, "shop_settings", None)
        user.kept_settings = (row.units, row.shared_device) if row else (UserSettings.Units.METRIC, False)
    return user.kept_settings


def plant_of(user) -> Plant | None:
    """The plant of the person's settings, else the first one; None before anything is loaded."""
    row = getattr(user, "shop_settings", None)
    return row.plant if row and row.plant_id else Plant.objects.order_by("pk").first()


def plants_shown(user) -> list[Plant]:
    """The plants whose dies this person looks after: that of the settings; without one, all."""
    row = getattr(user, "shop_settings", None)
    return [row.plant] if row and row.plant_id else list(Plant.objects.order_by("pk"))


def people_for_list():
    """Everybody, those who work here first."""
    return Person.objects.select_related("plant").order_by("-active", "name", "pk")


def people_with_pin(user):
    """Who may be picked on that shared tablet: of its own plant where it has one."""
    plant = UserSettings.objects.filter(user=user).values_list("plant", flat=True).first()
    found = Person.objects.filter(active=True).exclude(pin_hash="")
    return found if plant is None else found.filter(plant=plant)


def tablets():
    """The shared tablets, with the roles whose rights they have."""
    rows = UserSettings.objects.filter(shared_device=True).select_related("user", "plant")
    return rows.prefetch_related("user__groups").order_by("user__username")
