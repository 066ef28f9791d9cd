"""What is guessed at is held: each door counts the tries in a row, and from some number on the wait doubles.

A try is counted before it is looked at and taken back when it was right, so that a hundred guesses sent at once are
held like a hundred sent one by one. The count stands in the database and so holds over processes and hosts.
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

from .models import Tries

logger = logging.getLogger(__name__)

FORGOTTEN_AFTER = dt.timedelta(days=1)  # rows older than any door remembers


@dataclass(frozen=True, kw_only=True)
class Door:
    """What is tried. `free` tries in a row cost nothing; then the wait doubles from `first_s` up to `longest_s`.

    After `forgets_s` without a try the count begins again.
    """

    name: str
    free: int
    first_s: int
    longest_s: int
    forgets_s: int

    def wait_s(self, count: int) -> int:
        """Seconds to wait after so many tries in a row."""
        if count < self.free:
            return 0
        return min(self.first_s * 2 ** min(count - self.free, 30), self.longest_s)


# A user name: five slips are human. An address may be a whole hall behind one router, so it may slip more often.
USER = Door(name="user", free=5, first_s=10, longest_s=900, forgets_s=3_600)
ADDRESS = Door(name="address", free=40, first_s=10, longest_s=900, forgets_s=3_600)
# A PIN has few digits: at four tries an hour after the free ones, 10,000 PINs take more than three months.
PIN = Door(name="pin", free=5, first_s=30, longest_s=900, forgets_s=14_400)
PIN_DEVICE = Door(name="pin device", free=15, first_s=30, longest_s=900, forgets_s=14_400)


class Held(Exception):
    """Too many tries; `seconds` says how long to wait, the message is for the person."""

    def __init__(self, seconds: int) -> None:
        self.seconds = seconds
        super().__init__(f"Too many tries in a row. Wait {said_wait(seconds)}, then try again.")


def said_wait(seconds: int) -> str:
    if seconds < 60:
        return f"{seconds} second{'' if seconds == 1 else 's'}"
    minutes = math.ceil(seconds / 60)
    return f"{minutes} minute{'' if minutes == 1 else 's'}"


def key_of(door: Door, who: str) -> str:
    """The same for every spelling that the sign-in would take for one name."""
    plain = unicodedata.normalize("NFKC", who).casefold().strip()
    return salted_hmac("diestore.access.throttle", f"{door.name}:{plain}", algorithm="sha256").hexdigest()


def enter(*doors: tuple[Door, str], now: dt.datetime | None = None) -> None:
    """Count a try at each door; raises Held where one of them is closed, and then counts none."""
    now = now or timezone.now()
    with transaction.atomic():
        rows = [(door, _locked(door, who, now)) for door, who in _in_order(doors)]
        held = [row.held_until for _, row in rows if row.held_until is not None and row.held_until > now]
        if held:
            raise Held(max(1, math.ceil((max(held) - now).total_seconds())))
        for door, row in rows:
            if now - row.last > dt.timedelta(seconds=door.forgets_s):
                row.count = 0
            row.count += 1
            row.last = now
            wait = door.wait_s(row.count)
            row.held_until = now + dt.timedelta(seconds=wait) if wait else None
            row.save(update_fields=["count", "last", "held_until"])
            if wait:
                logger.warning("%s tries in a row at the door %s: held for %s seconds", row.count, door.name, wait)


def was_right(*doors: tuple[Door, str]) -> None:
    """The try was right: the first door is clean again, and the others forget the tries that it had counted.

    So one right password does not clear an address of its guesses at other names.
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
            row.count = max(0, row.count - counted)
            if door.wait_s(row.count) == 0:
                row.held_until = None
            row.save(update_fields=["count", "held_until"])


def forget(door: Door, who: str) -> None:
    """Somebody with the right to do so opens the door again: a PIN that was set anew."""
    Tries.objects.filter(door=door.name, who=key_of(door, who)).delete()


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
    told = [part.strip() for part in request.META.get("HTTP_X_FORWARDED_FOR", "").split(",") if part.strip()]
    return told[-settings.PROXIES] if len(told) >= settings.PROXIES else own
