"""Writes of the register that are not made in the administration."""

from __future__ import annotations

import logging

from django.contrib.auth.models import User

from . import queries, tablet, throttle
from .models import Person

logger = logging.getLogger(__name__)


def set_pin(*, by, person: Person, pin: str) -> None:
    """A new PIN; names picked with the old one are picked no more, and a held one opens. Raises tablet.PinRefused."""
    tablet.check_new_pin(pin)
    person.pin_hash = tablet.hash_of(pin)
    person.save(update_fields=["pin_hash"])
    throttle.forget(throttle.PIN, str(person.pk))
    logger.info("PIN of person %s set by user %s", person.pk, by.pk)


def remove_pin(*, by, person: Person) -> None:
    person.pin_hash = ""
    person.save(update_fields=["pin_hash"])
    throttle.forget(throttle.PIN, str(person.pk))
    logger.info("PIN of person %s removed by user %s", person.pk, by.pk)


def let_try_again(*, by, held: str) -> str:
    """Open what is held, told as `queries.held` codes it. Returns what it says; '' where it is held no more."""
    door = next((row for row in queries.held(by) if row.code == held), None)
    if door is None:
        return ""
    what, pk = (*held.split(" ", 1), "")[:2]
    if what == "user":
        throttle.forget_user(User.objects.get(pk=pk).get_username())
    elif what == "tablet":
        throttle.forget(throttle.PIN_DEVICE, User.objects.get(pk=pk).get_username())
    elif what == "pin":
        throttle.forget(throttle.PIN, pk)
    else:
        throttle.forget_addresses()
    logger.info("%s (%s) opened by user %s", what, door.key, by.pk)
    return door.says
