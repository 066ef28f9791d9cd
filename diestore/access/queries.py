"""Reads about the person who is signed in, and about people, that have a name."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

from django.db.models import Q
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from diestore import units

from . import shop, throttle
from .models import Person, UserSettings
from .plants import plants_of, users_within, within


def system_of(user) -> units.System:
    """The units that this person sees."""
    return units.System.INCH if _kept_of(user)[0] == UserSettings.Units.INCH else units.System.METRIC


def is_shared_device(user) -> bool:
    """Whether it is a tablet that stays signed in, and no person."""
    return user.is_authenticated and _kept_of(user)[1]


def has_page_keys(user) -> bool:
    """Whether single keys open pages for this person."""
    return user.is_authenticated and _kept_of(user)[2]


def language_of(user) -> str:
    """The language that this person reads."""
    return _kept_of(user)[3] or shop.current().language


def _kept_of(user) -> tuple[str, bool, bool, str]:
    """What the settings say of units, of sharing, of keys and of the language; asked of the database once a request."""
    if not hasattr(user, "kept_settings"):
        row = getattr(user, "shop_settings", None)
        user.kept_settings = (
            (row.units, row.shared_device, row.page_keys, row.language)
            if row
            else (shop.current().units, False, True, "")
        )
    return user.kept_settings


def people_for_list(user):
    """Everybody of the plants that the user sees, those who work here first."""
    return within(Person.objects.select_related("plant"), user).order_by("-active", "name", "pk")


def people_with_pin(user):
    """Who may be picked on that shared tablet: of its own plant where it has one, else of those it sees."""
    plant = UserSettings.objects.filter(user=user).values_list("plant", flat=True).first()
    people = within(Person.objects.filter(active=True).exclude(pin_hash=""), user)
    return people if plant is None else people.filter(plant=plant)


def tablets(user):
    """The shared tablets of the user's plants, with the roles whose rights they have."""
    rows = UserSettings.objects.filter(shared_device=True, user__in=users_within(user)).select_related("user", "plant")
    ids = plants_of(user)
    if ids is not None:
        rows = rows.filter(Q(plant__isnull=True) | Q(plant__in=sorted(ids)))
    return rows.prefetch_related("user__groups").order_by("user__username")


@dataclass(frozen=True)
class HeldDoor:
    """What is held after wrong tries. code: how the button names it; key: how the log does."""

    code: str
    says: str
    until: dt.datetime
    key: str = ""


def held(user) -> list[HeldDoor]:
    """Names, PINs and tablets of the user's plants that are held now, and addresses, which are nobody's. The table of
    tries knows keys only: names are tried."""
    rows = throttle.held_rows()
    if not rows:
        return []
    doors = []
    for other in users_within(user).order_by("username"):
        name = other.get_username()
        mine = throttle.key_of(throttle.USER, name)
        known = throttle.key_of(throttle.KNOWN, f"{name}/")[:32]
        ends = [
            until
            for (door, key), until in rows.items()
            if (door == throttle.USER.name and key == mine) or (door == throttle.KNOWN.name and key.startswith(known))
        ]
        if ends:
            doors.append(
                HeldDoor(
                    f"user {other.pk}",
                    _("The sign-in of {name}").format(name=name),
                    max(ends),
                    mine[: throttle.KEY_SHOWN],
                )
            )
        key = throttle.key_of(throttle.PIN_DEVICE, name)
        if (throttle.PIN_DEVICE.name, key) in rows:
            until = rows[throttle.PIN_DEVICE.name, key]
            doors.append(
                HeldDoor(
                    f"tablet {other.pk}",
                    _("All PINs at the tablet {name}").format(name=name),
                    until,
                    key[: throttle.KEY_SHOWN],
                )
            )
    for person in within(Person.objects.exclude(pin_hash=""), user).order_by("name", "pk"):
        key = throttle.key_of(throttle.PIN, str(person.pk))
        if (throttle.PIN.name, key) in rows:
            until = rows[throttle.PIN.name, key]
            doors.append(
                HeldDoor(
                    f"pin {person.pk}", _("The PIN of {person}").format(person=person), until, key[: throttle.KEY_SHOWN]
                )
            )
    ends = [until for (door, _), until in rows.items() if door == throttle.ADDRESS.name]
    if ends:
        says = ngettext(
            "An address from which many names were tried", "{n} addresses from which many names were tried", len(ends)
        )
        doors.append(HeldDoor("addresses", says.format(n=len(ends)), max(ends)))
    return doors
