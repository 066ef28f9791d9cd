"""What an entry must be to stand in the log; to whoever enters what cannot be true a sentence says what to do."""

from __future__ import annotations

import datetime as dt
import math

from django.db import IntegrityError, transaction
from django.utils import timezone

from diestore.register.models import Position
from maintenance.models import HITS_AT_MOST, Fitting


class EntryRefused(ValueError):
    """An entry that cannot be true; `field` is where to look."""

    def __init__(self, message: str, *, field: str = "") -> None:
        super().__init__(message)
        self.field = field


def check_moment(at: dt.datetime, *, field: str = "at") -> None:
    if timezone.is_naive(at):
        raise EntryRefused("This time has no time zone.", field=field)
    if at > timezone.now() + dt.timedelta(minutes=10):
        raise EntryRefused(f"{said(at)} is still to come. Enter when it happened.", field=field)
    if at.year < 1950:
        raise EntryRefused(f"{said(at)} is too long ago. Check the year.", field=field)


def check_hits(hits: int, *, field: str = "hits") -> None:
    if isinstance(hits, bool) or not isinstance(hits, int):
        raise EntryRefused("Hits are a whole number.", field=field)
    if hits < 1:
        raise EntryRefused(
            f"A run of {hits:,} hits is no run. Enter the hits that the counter went up by.", field=field
        )
    if hits > HITS_AT_MOST:
        raise EntryRefused(
            f"{hits:,} hits in one run cannot be: {HITS_AT_MOST:,} is the most. Check the number.",
            field=field,
        )


def check_number(value: float | None, *, field: str, what: str, at_most: float = math.inf) -> None:
    if value is None:
        return
    if not math.isfinite(value):
        raise EntryRefused(f"{what} is not a number.", field=field)
    if value < 0 or value > at_most:
        limit = "" if math.isinf(at_most) else f" and no more than {at_most:g}"
        raise EntryRefused(f"{what} is {value:g}; it must be nought or more{limit}.", field=field)


def check_text(text: str, *, field: str, what: str, at_most: int) -> None:
    if len(text) > at_most:
        raise EntryRefused(f"{what} has {len(text):,} letters; {at_most} is the most. Say it shorter.", field=field)


def check_into_run(hits: int | None) -> None:
    if hits is not None and not 0 <= hits <= HITS_AT_MOST:
        raise EntryRefused(
            f"{hits:,} hits into the run cannot be. Enter the hits since that run began.", field="hits_into_run"
        )


def check_fitted(position: Position, at: dt.datetime) -> Fitting:
    """The fitting of a position at a moment; refuses where nothing sat there, or not yet."""
    fittings = list(position.fittings.order_by("since"))
    for fitting in fittings:
        if (fitting.since is None or fitting.since <= at) and (fitting.until is None or at <= fitting.until):
            return fitting
    later = [f for f in fittings if f.since is not None and f.since > at]
    if later:
        raise EntryRefused(
            f"{position} of {position.die} was fitted on {said(min(f.since for f in later))}, after this. "
            "Check the date.",
            field="at",
        )
    raise EntryRefused(f"Nothing sat in {position} of {position.die} on {said(at)}.", field="at")


def said(moment: dt.datetime) -> str:
    return timezone.localtime(moment).strftime("%d %b %Y, %H:%M").lstrip("0")


class saving(transaction.Atomic):
    """One transaction; a rule of the database that refuses becomes a sentence."""

    def __init__(self, sentence: str = "The database refuses this entry: it contradicts one that stands.") -> None:
        super().__init__(using=None, savepoint=True, durable=False)
        self.sentence = sentence

    def __exit__(self, exc_type, exc_value, traceback):
        super().__exit__(exc_type, exc_value, traceback)
        if isinstance(exc_value, IntegrityError):
            raise EntryRefused(self.sentence) from exc_value
