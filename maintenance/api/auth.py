"""Who sends: a token a device, and what it may do."""

from __future__ import annotations

import datetime as dt

from django.http import HttpRequest
from django.utils import timezone
from ninja.errors import HttpError
from ninja.security import HttpBearer
from pydantic import BaseModel

from maintenance.counters.devices import hash_of
from maintenance.counters.intake import was_just_now
from maintenance.models import CounterDevice, Scope

USED_EVERY = dt.timedelta(minutes=1)


# --- who may --------------------------------------------------------------------------------------------------------


class DeviceToken(HttpBearer):
    """The token of a device, as `Authorization: Bearer TOKEN`."""

    def authenticate(self, request: HttpRequest, token: str) -> CounterDevice | None:
        device = CounterDevice.objects.filter(token_hash=_hash(token), revoked_at=None).first()
        if device is None:
            return None
        now = timezone.now()
        if not was_just_now(device.last_used_at, now, USED_EVERY):
            CounterDevice.objects.filter(pk=device.pk).update(last_used_at=now)
        return device


def token_of(request: HttpRequest) -> str | None:
    """The token that came with a request, whatever it is worth; None where none did."""
    kind, _, token = request.headers.get("Authorization", "").partition(" ")
    return token if kind.lower() == "bearer" else None


def _hash(token: str) -> str:
    return hash_of(token.encode("utf-8", "replace").decode())


def device_of(request: HttpRequest, *scopes: str, part: BaseModel | None = None) -> CounterDevice:
    """The device whose token came with the request, where its token lets it do this. scopes: one of them is enough.

    part: what may be asked for in the address; another name there is refused, since it would go unseen.
    """
    device = request.auth
    strange = set(request.GET) - set(type(part).model_fields if part is not None else ())
    if strange:
        raise HttpError(422, f"There is nothing called {min(strange)[:40]!r} to ask for here.")
    if not set(scopes) & set(device.scopes):
        raise HttpError(403, f"The token of {device.name} does not let it {Scope(scopes[0]).label}.")
    return device
