"""Reads about the person who is signed in, and about people, that have a name."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

from django.contrib.auth.models import User

from diestore import units
from diestore.register.models import Plant

from . import throttle
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
    people = Person.objects.filter(active=True).exclude(pin_hash="")
    return people if plant is None else people.filter(plant=plant)


def tablets():
    """The shared tablets, with the roles whose rights they have."""
    rows = UserSettings.objects.filter(shared_device=True).select_related("user", "plant")
    return rows.prefetch_related("user__groups").order_by("user__username")


@dataclass(frozen=True)
class HeldDoor:
    """What is held after wrong tries. code: how the button names it; key: how the log does."""

    code: str
    says: str
    until: dt.datetime
    key: str = ""


def held() -> list[HeldDoor]:
    """Names, PINs, tablets and addresses that are held now. The table of tries knows keys only: names are tried."""
    rows = throttle.held_rows()
    if not rows:
        return []
    doors = []
    for user in User.objects.order_by("username"):
        name = user.get_username()
        mine = throttle.key_of(throttle.USER, name)
        known = throttle.key_of(throttle.KNOWN, f"{name}/")[:32]
        ends = [
            until
            for (door, key), until in rows.items()
            if (door == throttle.USER.name and key == mine) or (door == throttle.KNOWN.name and key.startswith(known))
        ]
        if ends:
            doors.append(HeldDoor(f"user {user.pk}", f"The sign-in of {name}", max(ends), mine[: throttle.KEY_SHOWN]))
        key = throttle.key_of(throttle.PIN_DEVICE, name)
        if (throttle.PIN_DEVICE.name, key) in rows:
            until = rows[throttle.PIN_DEVICE.name, key]
            doors.append(
                HeldDoor(f"tablet {user.pk}", f"All PINs at the tablet {name}", until, key[: throttle.KEY_SHOWN])
            )
    for person in Person.objects.exclude(pin_hash="").order_by("name", "pk"):
        key = throttle.key_of(throttle.PIN, str(person.pk))
        if (throttle.PIN.name, key) in rows:
            until = rows[throttle.PIN.name, key]
            doors.append(HeldDoor(f"pin {person.pk}", f"The PIN of {person}", until, key[: throttle.KEY_SHOWN]))
    ends = [until for (door, _), until in rows.items() if door == throttle.ADDRESS.name]
    if ends:
        many = "An address" if len(ends) == 1 else f"{len(ends)} addresses"
        doors.append(HeldDoor("addresses", f"{many} from which many names were tried", max(ends)))
    return doors
