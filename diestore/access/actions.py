"""Writes of the register that are not made in the administration."""

from __future__ import annotations

import logging

from . import tablet, throttle
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
