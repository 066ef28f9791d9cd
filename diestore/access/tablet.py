"""PINs, and who stands at a shared tablet.

A tablet at a bench or a press stays signed in as itself. Whoever logs there picks their name and taps a PIN; the name
stays picked for some minutes, longer with every entry, and for some time more it comes back by a tap without the PIN.
Then it needs the PIN again. Rights are the tablet's: a name on an entry opens nothing.
"""

from __future__ import annotations

import re
from functools import cached_property

from django.conf import settings
from django.contrib.auth.hashers import check_password, make_password
from django.utils import timezone
from django.utils.crypto import constant_time_compare, salted_hmac
from django.utils.translation import gettext as _

from . import queries, throttle
from .models import Person
from .plants import within

SESSION_KEY = "who"
PIN_SHAPE = re.compile(r"[0-9]{4,6}")
_UP, _DOWN = "01234567890123456789", "98765432109876543210"


class PinRefused(ValueError):
    """A PIN that cannot be taken; the message is for the person."""


def check_new_pin(pin: str) -> None:
    if not PIN_SHAPE.fullmatch(pin):
        raise PinRefused(_("A PIN has 4 to 6 digits."))
    if len(set(pin)) == 1 or pin in _UP or pin in _DOWN:
        raise PinRefused(_("This PIN is the first that anybody would try. Take one that is not a row of digits."))


def hash_of(pin: str) -> str:
    return make_password(pin)


def pin_is_right(person: Person, pin: str, *, device: str) -> bool:
    """Whether it is this person's. Raises throttle.Held after too many tries at the person or from the device."""
    doors = (throttle.PIN, str(person.pk)), (throttle.PIN_DEVICE, device)
    at = throttle.enter(*doors, where=f"tablet {device}")
    if not person.pin_hash or not PIN_SHAPE.fullmatch(pin) or not check_password(pin, person.pin_hash):
        return False
    throttle.was_right(*doors, at=at)
    return True


def _mark(person: Person) -> str:
    """Changes with the PIN, so that a name picked with the old one is picked no more."""
    return salted_hmac("diestore.access.tablet", person.pin_hash, algorithm="sha256").hexdigest()[:24]


class Tablet:
    """A shared tablet's session: who is picked on it."""

    def __init__(self, request) -> None:
        self.session, self.user, self.device = request.session, request.user, request.user.get_username()

    @cached_property
    def _picked(self) -> tuple[Person | None, float]:
        """Whose name was picked last, and how many minutes ago it was used."""
        kept = self.session.get(SESSION_KEY)
        if not kept:
            return None, 0.0
        pk, used, mark = kept
        person = within(Person.objects.filter(pk=pk, active=True), self.user).exclude(pin_hash="").first()
        minutes = (timezone.now().timestamp() - used) / 60
        if person is None or minutes < 0 or not constant_time_compare(mark, _mark(person)):
            return None, 0.0
        return person, minutes

    @property
    def who(self) -> Person | None:
        """Whoever is picked now."""
        person, minutes = self._picked
        return person if minutes <= settings.WHO_MINUTES else None

    @property
    def again(self) -> Person | None:
        """Whoever was picked a while ago and may come back without the PIN."""
        person, minutes = self._picked
        return person if settings.WHO_MINUTES < minutes <= settings.WHO_AGAIN_MINUTES else None

    def knows(self, person: Person) -> bool:
        """Whether that name needs no PIN now."""
        return person in (self.who, self.again)

    def pick(self, person: Person) -> None:
        """From now on it is this person, who has proved it or just logged something."""
        self.session[SESSION_KEY] = [person.pk, timezone.now().timestamp(), _mark(person)]
        self.__dict__.pop("_picked", None)

    def nobody(self) -> None:
        self.session.pop(SESSION_KEY, None)
        self.__dict__.pop("_picked", None)


def tablet_of(request) -> Tablet | None:
    """The tablet that the request comes from; None where a person is signed in."""
    if not hasattr(request, "tablet"):
        user = getattr(request, "user", None)
        request.tablet = Tablet(request) if user is not None and queries.is_shared_device(user) else None
    return request.tablet
