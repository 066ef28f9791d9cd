"""What is guessed at is held: each door counts the wrong tries, and from some number on the wait doubles.

A try is counted before it is looked at and taken back when it was right, so that a hundred guesses sent at once are
held like a hundred sent one by one. The count stands in the database and so holds over processes and hosts. It wears
off with time, else one wrong try now and then would hold a name for good. A browser in which a name has signed in
before has a door of its own for that name: whoever guesses elsewhere does not hold the one whose name it is.
"""

from __future__ import annotations

import datetime as dt
import logging
import math
import unicodedata
from dataclasses import dataclass

from django.conf import settings
from django.db import transaction
from django.utils import timezone
from django.utils.crypto import salted_hmac
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from .models import Tries

logger = logging.getLogger(__name__)

FORGOTTEN_AFTER = dt.timedelta(days=1)  # rows older than any door remembers
AHEAD = dt.timedelta(
    minutes=1
)  # so far the clocks of two hosts may lie apart; what is later was written by a wrong one
KEY_SHOWN = 12  # so much of a name's key stands in the log


@dataclass(frozen=True, kw_only=True)
class Door:
    """What is tried. `free` wrong tries cost nothing; then the wait doubles from `first_s` up to `longest_s`.

    One try is forgotten for each `forgives_s` that passes without one, all of them after `forgets_s`.
    """

    name: str
    free: int
    first_s: int
    longest_s: int
    forgives_s: int
    forgets_s: int

    def wait_s(self, count: int) -> int:
        """Seconds to wait after so many tries in a row."""
        if count < self.free:
            return 0
        return min(self.first_s * 2 ** min(count - self.free, 30), self.longest_s)


# A user name: five slips are human. Whoever tries on and on has some ten tries an hour.
USER = Door(name="user", free=5, first_s=10, longest_s=900, forgives_s=300, forgets_s=3_600)
# The same name in a browser in which it has signed in before.
KNOWN = Door(name="known browser", free=5, first_s=10, longest_s=900, forgives_s=300, forgets_s=3_600)
# An address may be a whole hall behind one router: it may slip more often, and waits a minute at the longest.
ADDRESS = Door(name="address", free=40, first_s=10, longest_s=60, forgives_s=60, forgets_s=3_600)
# A PIN has few digits: at seven or eight tries an hour after the free ones, 10,000 PINs take eight weeks at a tablet.
PIN = Door(name="pin", free=5, first_s=30, longest_s=900, forgives_s=440, forgets_s=14_400)
PIN_DEVICE = Door(name="pin device", free=15, first_s=30, longest_s=240, forgives_s=200, forgets_s=14_400)
# An address that opens nothing: nobody guesses one, and whoever has an old one tries it a few times.
LINK = Door(name="link", free=20, first_s=10, longest_s=300, forgives_s=60, forgets_s=3_600)
# One that opens, each time it is opened: read by people, and not fetched without end.
LINK_OPENED = Door(name="link opened", free=60, first_s=10, longest_s=60, forgives_s=5, forgets_s=3_600)


class Held(Exception):
    """Too many tries; `seconds` says how long to wait, the message is for the person."""

    def __init__(self, seconds: int) -> None:
        self.seconds = seconds
        super().__init__(_("Too many tries in a row. Wait {time}, then try again.").format(time=said_wait(seconds)))


def said_wait(seconds: int) -> str:
    if seconds < 60:
        return ngettext("{n} second", "{n} seconds", seconds).format(n=seconds)
    minutes = math.ceil(seconds / 60)
    return ngettext("{n} minute", "{n} minutes", minutes).format(n=minutes)


def key_of(door: Door, who: str) -> str:
    """The same for every spelling that the sign-in would take for one name.

    A known browser is told as `name/mark`: half of its key is the name's, so that all of a name are found.
    """
    if door is KNOWN:
        name, _, mark = who.rpartition("/")
        return _hashed(door, name)[:32] + _hashed(door, mark)[:32]
    return _hashed(door, who)


def _hashed(door: Door, who: str) -> str:
    plain = unicodedata.normalize("NFKC", who).casefold().strip()
    return salted_hmac("diestore.access.throttle", f"{door.name}:{plain}", algorithm="sha256").hexdigest()


def enter(*doors: tuple[Door, str], now: dt.datetime | None = None, where: str = "") -> dt.datetime:
    """Count a try at each door; raises Held where one of them is closed, and then counts none.

    where: from where it comes, for the log. Returns when it was, for `was_right`.
    """
    now = now or timezone.now()
    with transaction.atomic():
        rows = [(door, _locked(door, who, now)) for door, who in _in_order(doors)]
        held = [until for door, row in rows if (until := held_until(door, row, now)) is not None]
        if held:
            raise Held(max(1, math.ceil((max(held) - now).total_seconds())))
        for door, row in rows:
            row.count = _counted(door, row, now) + 1
            row.last = now
            wait = door.wait_s(row.count)
            row.held_until = now + dt.timedelta(seconds=wait) if wait else None
            row.save(update_fields=["count", "last", "held_until"])
            if wait:
                logger.warning(
                    "%s wrong tries at the door %s of %s from %s: held for %s seconds",
                    row.count, door.name, row.who[:KEY_SHOWN], where or "nowhere known", wait,
                )  # fmt: skip
    return now


def held_until(door: Door, row: Tries, now: dt.datetime) -> dt.datetime | None:
    """Until when it is held. A hold that no clock of now would give was written by one that was ahead, and is none."""
    if row.held_until is None or row.held_until <= now or row.last > now + AHEAD:
        return None
    return row.held_until if row.held_until <= now + dt.timedelta(seconds=door.longest_s) + AHEAD else None


def _counted(door: Door, row: Tries, now: dt.datetime) -> int:
    """The tries that still count."""
    passed_s = (now - row.last).total_seconds()
    if passed_s > door.forgets_s or row.last > now + AHEAD:
        return 0
    return max(0, row.count - int(max(0.0, passed_s) // door.forgives_s))


def was_right(*doors: tuple[Door, str], at: dt.datetime) -> None:
    """The try of `enter` at that time was right: the first door is clean again, and the others forget the tries that it
    had counted, and the hold that this one gave.

    So one right password does not clear an address of its guesses at other names, and holds nobody there either.
    """
    first = doors[0]
    with transaction.atomic():
        rows = {
            (door, who): Tries.objects.select_for_update().filter(door=door.name, who=key_of(door, who)).first()
            for door, who in _in_order(doors)
        }
        counted = rows[first].count if rows[first] is not None else 0
        for (door, who), row in rows.items():
            if row is None:
                continue
            if (door, who) == first:
                row.delete()
                continue
            row.count = max(0, row.count - max(1, counted))
            if row.last <= at or door.wait_s(row.count) == 0:  # else somebody there was wrong meanwhile
                row.held_until = None
            row.save(update_fields=["count", "held_until"])


def forget(door: Door, who: str) -> None:
    """Somebody with the right to do so opens the door again: a PIN that was set anew."""
    Tries.objects.filter(door=door.name, who=key_of(door, who)).delete()


def forget_user(name: str) -> None:
    """The same for a user name, in every browser."""
    forget(USER, name)
    Tries.objects.filter(door=KNOWN.name, who__startswith=key_of(KNOWN, f"{name}/")[:32]).delete()


def forget_addresses() -> None:
    Tries.objects.filter(door=ADDRESS.name).delete()


def held_rows(now: dt.datetime | None = None) -> dict[tuple[str, str], dt.datetime]:
    """What is held now, and until when: by the name of the door and the key."""
    now = now or timezone.now()
    doors = {door.name: door for door in (USER, KNOWN, ADDRESS, PIN, PIN_DEVICE)}
    rows = Tries.objects.filter(held_until__gt=now, door__in=doors)
    held = {(row.door, row.who): held_until(doors[row.door], row, now) for row in rows}
    return {key: until for key, until in held.items() if until is not None}


def _in_order(doors: tuple[tuple[Door, str], ...]) -> list[tuple[Door, str]]:
    """Rows are always locked in this order, so that two sign-ins never wait for each other."""
    return sorted(doors, key=lambda pair: (pair[0].name, pair[1]))


def _locked(door: Door, who: str, now: dt.datetime) -> Tries:
    row, is_new = Tries.objects.select_for_update().get_or_create(
        door=door.name, who=key_of(door, who), defaults={"last": now}
    )
    if is_new:  # the table stays small without a job of its own
        Tries.objects.filter(last__lt=now - FORGOTTEN_AFTER).delete()
    return row


def address_of(request) -> str:
    """The address a request comes from. Behind proxies of ours, the one that the outermost of them saw.

    Without DIESTORE_PROXIES the forwarded header is not looked at: anybody may write it.
    """
    own = request.META.get("REMOTE_ADDR", "")
    if settings.PROXIES < 1:
        return own
    addresses = [part.strip() for part in request.META.get("HTTP_X_FORWARDED_FOR", "").split(",") if part.strip()]
    return addresses[-settings.PROXIES] if len(addresses) >= settings.PROXIES else own
