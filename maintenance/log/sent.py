"""Forms that were sent: the same key with other values is another entry, and its sender is asked."""

from __future__ import annotations

import datetime as dt
import hashlib
from collections.abc import Iterable

from django.db import IntegrityError, transaction
from django.utils import timezone

from maintenance.models import SentForm

KEPT = dt.timedelta(days=400)  # longer than anybody leaves a page open


def digest_of(typed: Iterable[tuple[str, str]]) -> str:
    """Tells two sendings of one form apart by what was typed: names and values, in any order."""
    return hashlib.sha256(repr(sorted(typed)).encode("utf-8", "surrogatepass")).hexdigest()[:16]


def has_other_values(key: str, digest: str) -> bool:
    """Whether a form of that key was sent with other values."""
    return bool(key) and SentForm.objects.filter(key=key).exclude(digest=digest).exists()


def known(key: str) -> str:
    """The digest with which a form of that key was sent; nothing where none was."""
    return SentForm.objects.filter(key=key).values_list("digest", flat=True).first() or "" if key else ""


def claim(key: str, digest: str) -> bool:
    """Write down that the form is sent now. False where another sending of it, with other values, was quicker."""
    if not key:
        return True
    try:
        with transaction.atomic():
            SentForm.objects.create(key=key, digest=digest)
        return True
    except IntegrityError:
        return not has_other_values(key, digest)


def take_back(key: str) -> None:
    """It was refused, so its sender may put something right and send it again."""
    SentForm.objects.filter(key=key).delete()


def forget_old() -> int:
    return SentForm.objects.filter(at__lt=timezone.now() - KEPT).delete()[0]
