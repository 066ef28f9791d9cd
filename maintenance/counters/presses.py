"""Writes: a die set in a press and taken out. Each counts again what it changes, in the same transaction."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable

from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from diestore.register.models import Die, Plant, Press, Variant
from maintenance.log.rules import EntryRefused, check_moment, check_text, saving, stamp
from maintenance.log.write import Actor
from maintenance.models import (
    Counter,
    DieInPress,
    Order,
    fresh_key,
)

from . import settle
from .pure import Kind, Verdict

# --- a die in a press -----------------------------------------------------------------------------------------------


def set_in_press(
    *,
    by: Actor,
    press: Press,
    die: Die,
    at: dt.datetime,
    until: dt.datetime | None = None,
    variant: Variant | None = None,
    order: Order | None = None,
    note: str = "",
    key: str | None = None,
) -> DieInPress:
    """The die is in the press from `at` on. Whatever was there, and wherever the die was, ends then."""
    check_moment(at)
    if until is not None:
        check_moment(until, field="until")
        if until <= at:
            raise EntryRefused(
                _("It was taken out before it was put in. Put the later time at the end."), field="until"
            )
    if key and (known := DieInPress.objects.filter(key=key).first()):
        return known
    if press.plant_id != die.plant_id:
        raise EntryRefused(
            _("{die} and press {press} are not of one plant.").format(die=die, press=press), field="press"
        )
    if variant is not None and variant.die_id != die.pk:
        raise EntryRefused(
            _("{variant} is not a set of inserts of {die}.").format(variant=variant, die=die), field="variant"
        )
    with saving(_("{die} or press {press} is taken at that time already.").format(die=die, press=press)):
        # Two tablets at one press, one after the other.
        Plant.objects.select_for_update(no_key=True).get(pk=press.plant_id)
        touched = {press}
        for row in DieInPress.objects.now().filter(press=press) | DieInPress.objects.now().filter(die=die):
            if row.press_id == press.pk and row.die_id == die.pk and row.since <= at:
                raise EntryRefused(
                    _("{die} is in press {press} already, since {stamp}.").format(
                        die=die, press=press, stamp=stamp(row.since)
                    ),
                    field="at",
                )
            if row.since >= at and until is None:
                raise EntryRefused(
                    _(
                        "{die} is in press {press} since {stamp}. Enter a later time, or say when this one was "
                        "taken out."
                    ).format(die=row.die, press=row.press, stamp=stamp(row.since)),
                    field="at",
                )
            if row.since < at:
                _end(row, by, at)
                touched.add(row.press)
        clash = _clash(press, die, at, until)
        if clash is not None:
            raise EntryRefused(
                (
                    _("{die} was in press {press} from {since} to {until}. Enter another time.")
                    if clash.until
                    else _("{die} was in press {press} from {since}. Enter another time.")
                ).format(
                    die=clash.die,
                    press=clash.press,
                    since=stamp(clash.since),
                    until=clash.until and stamp(clash.until),
                ),
                field="at",
            )
        row = DieInPress.objects.create(
            die=die,
            press=press,
            variant=variant,
            order=order,
            since=at,
            until=until,
            set_by=by.person,
            set_user=by.user,
            removed_by=by.person if until else None,
            removed_user=by.user if until else None,
            note=note,
            key=key or fresh_key(),
        )
        _count_anew(touched, at)
        return row


def _clash(press: Press, die: Die, since: dt.datetime, until: dt.datetime | None) -> DieInPress | None:
    standing = DieInPress.objects.standing().exclude(until__lte=since)
    rows = standing.filter(press=press) | standing.filter(die=die)
    return (rows if until is None else rows.filter(since__lt=until)).first()


def take_out(*, by: Actor, row: DieInPress, at: dt.datetime) -> DieInPress:
    check_moment(at)
    with transaction.atomic():
        Plant.objects.select_for_update(no_key=True).get(pk=row.press.plant_id)
        row = DieInPress.objects.select_related("press", "die").get(pk=row.pk)
        if row.until is not None or row.struck_at is not None:
            raise EntryRefused(
                _("{die} was taken out of press {press} already.").format(die=row.die, press=row.press), field="at"
            )
        if at <= row.since:
            raise EntryRefused(
                _("It was set in the press {stamp}. Enter a later time.").format(stamp=stamp(row.since)), field="at"
            )
        _end(row, by, at)
        _count_anew({row.press}, min(at, row.since))
        return row


def strike_in_press(*, by: Actor, row: DieInPress, reason: str) -> DieInPress:
    """It was never so: the row stays and counts for nothing."""
    if by.person is None:
        raise EntryRefused(_("Say who strikes it out."), field="person")
    if not reason.strip():
        raise EntryRefused(_("Say why it is struck out."), field="reason")
    check_text(reason.strip(), field="reason", what=_("The reason"), at_most=300)
    with transaction.atomic():
        struck = DieInPress.objects.standing().filter(pk=row.pk)
        if not struck.update(struck_at=timezone.now(), struck_by=by.person, struck_reason=reason.strip()):
            raise EntryRefused(_("This is struck out already."))
        row.refresh_from_db()
        _count_anew({row.press}, row.since)
        return row


def _end(row: DieInPress, by: Actor, at: dt.datetime) -> None:
    row.until, row.removed_by, row.removed_user = at, by.person, by.user
    row.save(update_fields=["until", "removed_by", "removed_user"])


def _count_anew(presses: Iterable[Press], since: dt.datetime) -> None:
    counters = Counter.objects.filter(press__in=presses)
    counters.have_wait(since)
    for pk in counters.values_list("pk", flat=True):
        settle.settle(pk)


# --- questions ------------------------------------------------------------------------------------------------------

# Which answers a question takes, the likeliest first.
ANSWERS: dict[str, tuple[Verdict, ...]] = {
    Kind.NO_DIE.value: (Verdict.TO_DIE, Verdict.WITHOUT_STOCK, Verdict.TO_NOBODY),
    Kind.WHICH_DIE.value: (Verdict.TO_DIE, Verdict.WITHOUT_STOCK, Verdict.TO_NOBODY),
    Kind.TYPED.value: (Verdict.TO_NOBODY,),
    Kind.JUMP.value: (Verdict.TO_DIE, Verdict.TO_NOBODY),
    Kind.RESET_OR_ROLL.value: (Verdict.ROLLED_OVER, Verdict.RESET),
    Kind.FALL.value: (Verdict.SET, Verdict.LEAVE_OUT, Verdict.RESET),
    Kind.ODD.value: (Verdict.LEAVE_OUT,),
    Kind.CLOCK.value: (Verdict.AT_ARRIVAL, Verdict.LEAVE_OUT_CLOCK),
}
