"""What follows from a write begins here.

A write says which dies and spares it changed (`tell`), inside its own transaction. That leaves a row for each, by which
kept rows know that they are behind (`freshness`). When the transaction commits, `dies_changed` goes out: forecasts and
what the apps above make of them follow from it. A follower that goes wrong loses nothing that was written; it is logged
with the dies, and whoever listens (`following`) learns of it, so that a page can say so.
"""

from __future__ import annotations

import datetime as dt
import logging
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass, field
from functools import partial

from django.conf import settings
from django.db import transaction
from django.dispatch import Signal
from django.utils import translation

from maintenance.models import Change

logger = logging.getLogger(__name__)

# Sent once the transaction of a write has committed. dies, items: their keys. since: the earliest moment of which the
# log tells otherwise now; None: nobody knows. by_night: forecasts can wait for the night. A receiver may return the
# dies that it failed for.
dies_changed = Signal()

BATCH = 1_000


@dataclass
class Following:
    """What came of the changes of one act. behind: dies of which not everything could follow."""

    behind: set[int] = field(default_factory=set)


_listening: ContextVar[Following | None] = ContextVar("following", default=None)


@contextmanager
def following() -> Iterator[Following]:
    """Learn what came of the changes that are committed within."""
    outcome = Following()
    token = _listening.set(outcome)
    try:
        yield outcome
    finally:
        _listening.reset(token)


def tell(
    *,
    dies: Iterable[int] = (),
    items: Iterable[int] = (),
    since: dt.datetime | None = None,
    by_night: bool = False,
) -> None:
    """Say which dies and spares a write changed, from inside its transaction."""
    dies, items = frozenset(dies), frozenset(items)
    if not dies and not items:
        return
    rows = [Change(die_id=die) for die in sorted(dies)] + [Change(item_id=item) for item in sorted(items)]
    with transaction.atomic():
        Change.objects.bulk_create(rows, batch_size=BATCH)
        transaction.on_commit(partial(_send, dies, items, since, by_night))


def tell_of(what: Change.What, dies: Iterable[int]) -> None:
    """Say that prices or forecasts of dies changed: kept rows are behind, and nothing else follows."""
    Change.objects.bulk_create([Change(die_id=die, what=what) for die in sorted(set(dies))], batch_size=BATCH)


def _send(dies: frozenset[int], items: frozenset[int], since: dt.datetime | None, by_night: bool) -> None:
    outcome = _listening.get() or Following()
    with translation.override(settings.LANGUAGE_CODE):  # what follows keeps sentences for everybody
        answers = dies_changed.send_robust(sender=Change, dies=dies, items=items, since=since, by_night=by_night)
    for receiver, answer in answers:
        if isinstance(answer, Exception):
            name = getattr(receiver, "__qualname__", receiver)
            logger.error("%s did not follow a change of the dies %s: %s", name, sorted(dies)[:20], answer)
            outcome.behind |= dies
        elif answer:
            outcome.behind |= set(answer)
