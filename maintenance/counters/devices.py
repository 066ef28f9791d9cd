"""Devices that send counts, and their tokens."""

from __future__ import annotations

import hashlib
import secrets
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from diestore.register.models import Die, Plant, Press
from maintenance.log.rules import EntryRefused, check_text
from maintenance.log.write import Actor
from maintenance.models import (
    CounterDevice,
    Scope,
)

TOKEN_BYTES = 32


# --- devices --------------------------------------------------------------------------------------------------------


def hash_of(token: str) -> str:
    """Tokens are long and random, so that a plain hash keeps them: there is nothing to guess."""
    return hashlib.sha256(token.encode()).hexdigest()


@dataclass(frozen=True)
class Made:
    """A new device, and its token, which is not kept."""

    device: CounterDevice
    token: str


def make_device(
    *,
    by: Actor,
    plant: Plant,
    name: str,
    scopes: Sequence[str],
    presses: Iterable[Press] = (),
    dies: Iterable[Die] = (),
    figures: int | None = None,
) -> Made:
    name = name.strip()
    if not name:
        raise EntryRefused(_("Give the box a name: what it is and where."), field="name")
    check_text(name, field="name", what=_("The name"), at_most=80)
    if not scopes or set(scopes) - set(Scope.values):
        raise EntryRefused(_("Say what the box may do."), field="scopes")
    if figures is not None and not 3 <= figures <= 12:
        raise EntryRefused(_("A counter has 3 to 12 digits."), field="figures")
    if CounterDevice.objects.filter(plant=plant, name__iexact=name).exists():
        raise EntryRefused(
            _("There is a box {name} already. Give this one another name.").format(name=name), field="name"
        )
    token = secrets.token_urlsafe(TOKEN_BYTES)
    with transaction.atomic():
        device = CounterDevice.objects.create(
            plant=plant,
            name=name,
            scopes=[scope for scope in Scope.values if scope in set(scopes)],
            figures=figures,
            token_hash=hash_of(token),
            made_by=by.user,
        )
        device.presses.set(presses)
        device.dies.set(dies)
    return Made(device, token)


def revoke_device(*, by: Actor, device: CounterDevice) -> None:
    """The token opens nothing from now on. What the device sent stays."""
    CounterDevice.objects.filter(pk=device.pk, revoked_at__isnull=True).update(
        revoked_at=timezone.now(), revoked_by=by.user, token_hash=None
    )
