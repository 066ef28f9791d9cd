"""The hosts that serve this database: whether they sign with one key, and whether their clocks agree with its own.

Each host leaves a line: a salted, slow hash of its secret key, and how far its clock was off. With another key than the
others' it takes every session of theirs for forged, and people are signed out whenever the host changes.
"""

from __future__ import annotations

import datetime as dt
import functools
import socket

from django.conf import settings
from django.contrib.auth.hashers import check_password, make_password
from django.db import connection, transaction
from django.db.models.functions import Now
from django.utils import timezone

from .models import Host

FORGOTTEN_AFTER = dt.timedelta(days=30)  # a host not heard of for so long serves no more
CLOCK_MAY_BE_OFF_S = 5.0


def here() -> str:
    return socket.gethostname()[:80]


@functools.lru_cache(maxsize=200)
def _is_key(key: str, key_hash: str) -> bool:
    """Slow by intent, so asked once a process and hash."""
    return check_password(key, key_hash)


def leave_line() -> Host:
    """Say that this host serves the database, with what key and by what clock."""
    with transaction.atomic():
        known = Host.objects.filter(name=here()).first()
        same = known is not None and _is_key(settings.SECRET_KEY, known.key_hash)
        key_hash = known.key_hash if same else make_password(settings.SECRET_KEY)
        kept = {"key_hash": key_hash, "seen_at": Now(), "clock_off_s": clock_off_s()}
        return Host.objects.update_or_create(name=here(), defaults=kept)[0]


def clock_off_s() -> float:
    """Seconds by which this host's clock is ahead of the database's. SQLite has no clock of its own."""
    if connection.vendor != "postgresql":
        return 0.0
    with connection.cursor() as cursor:
        begun = timezone.now()
        cursor.execute("SELECT clock_timestamp()")
        theirs = cursor.fetchone()[0]
        ended = timezone.now()
    if begun <= theirs <= ended:
        return 0.0
    return round((begun - theirs if theirs < begun else ended - theirs).total_seconds(), 1)


def serving() -> list[Host]:
    return list(Host.objects.filter(seen_at__gt=timezone.now() - FORGOTTEN_AFTER))


def with_another_key(hosts: list[Host]) -> list[Host]:
    """Those that sign with another key than this host."""
    return [host for host in hosts if host.name != here() and not _is_key(settings.SECRET_KEY, host.key_hash)]


def worries(hosts: list[Host]) -> list[str]:
    """What somebody should look at, as sentences."""
    sentences = []
    others = with_another_key(hosts)
    if others:
        names = ", ".join(f"{host.name} (last seen {host.seen_at:%d %b %Y %H:%M} UTC)" for host in others)
        sentences.append(
            f"This host, {here()}, has another DIESTORE_SECRET_KEY than {names}: people are signed out when the host "
            f"changes. Give all hosts the same. One that serves no more is forgotten after {FORGOTTEN_AFTER.days} days."
        )
    for host in hosts:
        if abs(host.clock_off_s) > CLOCK_MAY_BE_OFF_S:
            way = "ahead of" if host.clock_off_s > 0 else "behind"
            sentences.append(
                f"The clock of {host.name} is {abs(host.clock_off_s):,.0f} seconds {way} the database's: set it, "
                "else entries of the same minute stand in the wrong order."
            )
    return sentences
