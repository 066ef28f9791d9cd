"""What the shop is called, its money, clock, units and language: in the database, and in the
environment until it is there."""

from __future__ import annotations

import zoneinfo
from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass
from functools import cache

from django.conf import settings
from django.db import DatabaseError
from django.utils import timezone

from .models import Shop

COLUMNS = ("name", "currency", "time_zone", "units", "language")


@dataclass(frozen=True)
class Told:
    name: str
    currency: str
    time_zone: str
    units: str
    language: str = settings.LANGUAGE_CODE

    @property
    def zone(self) -> zoneinfo.ZoneInfo:
        try:
            return zoneinfo.ZoneInfo(self.time_zone)
        except (zoneinfo.ZoneInfoNotFoundError, ValueError):
            return zoneinfo.ZoneInfo(settings.TIME_ZONE)


class _Once:
    """Asked of the database once, and only where it is wanted. user: whose row may carry it already."""

    def __init__(self, user=None) -> None:
        self.user, self.told = user, None

    def ask(self) -> Told:
        if self.told is None:
            carries = self.user is not None and self.user.is_authenticated and hasattr(self.user, "shop_row")
            self.told = _told(self.user.shop_row) if carries else _of_database()
        return self.told


_asked: ContextVar[_Once | None] = ContextVar("shop", default=None)


def current() -> Told:
    once = _asked.get()
    return once.ask() if once is not None else _of_database()


def _of_database() -> Told:
    try:
        row = Shop.objects.values(*COLUMNS).first()
    except DatabaseError:  # a page of trouble is drawn too where there is no database
        row = None
    return _told(row)


def _told(row: dict | None) -> Told:
    return (
        Told(**row)
        if row
        else Told(settings.SHOP_NAME, settings.CURRENCY, settings.TIME_ZONE, "metric", settings.LANGUAGE_CODE)
    )


@contextmanager
def asked_once(user=None) -> Iterator[None]:
    """Within it the shop is asked for once."""
    token = _asked.set(_Once(user))
    try:
        yield
    finally:
        _asked.reset(token)


def forget() -> None:
    """After a change, within a request."""
    if (once := _asked.get()) is not None:
        once.user = once.told = None


class ByTheShopsClock:
    """Middleware: a page that somebody sees shows times by the shop's clock."""

    def __init__(self, get_response) -> None:
        self.get_response = get_response

    def __call__(self, request):
        with asked_once(request.user):
            if request.user.is_authenticated:
                timezone.activate(current().zone)
            try:
                return self.get_response(request)
            finally:
                timezone.deactivate()


@cache
def known_zones() -> frozenset[str]:
    """Every name that a clock can be set to."""
    return frozenset(zoneinfo.available_timezones())


@cache
def time_zones() -> list[str]:
    """Names people know: a place in its part of the world, and UTC."""
    parts = ("Africa/", "America/", "Asia/", "Atlantic/", "Australia/", "Europe/", "Indian/", "Pacific/")
    return ["UTC", *sorted(name for name in known_zones() if name.startswith(parts))]
