"""Ten minutes in which whoever wrote an entry takes it back: it is struck out, with its reason."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace

from django.utils import timezone
from django.utils.translation import gettext as _

from diestore.access.models import Person
from maintenance.models import Event

from . import write

MINUTES = 10
TAKE_BACK = dt.timedelta(minutes=MINUTES)
TAKEN_BACK = "undone by whoever made it"


def may_take_back(entry: Event, *, user: object, person: Person | None = None, now: dt.datetime | None = None) -> bool:
    """Whether whoever wrote an entry on a form may still take it back. person: who is picked on a shared tablet."""
    fresh = (now or timezone.now()) - entry.recorded_at <= TAKE_BACK
    own = (
        entry.through == Event.Through.FORM and entry.user_id is not None and entry.user_id == getattr(user, "pk", None)
    )
    if not (fresh and own) or entry.is_struck or entry.person_id is None:
        return False
    return person is None or entry.person_id == person.pk


def take_back(*, by: write.Actor, entry: Event, on_a_tablet: bool = False) -> list[Event]:
    """Strike out what one has just written, without a reason and without the right to strike out others' entries.

    by: on a tablet the person picked on it, who must be the one that the entry names.
    """
    if entry.is_struck:
        raise write.EntryRefused(_("This entry is struck out already."))
    if on_a_tablet and by.person is None:
        raise write.EntryRefused(_("Pick who you are first, then undo it."))
    if not may_take_back(entry, user=by.user, person=by.person if on_a_tablet else None):
        raise write.EntryRefused(
            _(
                "Only whoever made an entry can undo it, and only for {minutes} minutes. The toolroom lead "
                "can strike it out."
            ).format(minutes=MINUTES)
        )
    return write.strike_out(by=replace(by, person=entry.person), entry=entry, reason=TAKEN_BACK)
