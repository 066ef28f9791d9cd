"""Writes around the counters: a die set in a press and taken out, an answer to a question, a device and its token.

Each counts again what it changes, in the same transaction, and returns the dies whose hits may have changed.
"""

from __future__ import annotations

import datetime as dt
import hashlib
import secrets
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from django.db import transaction
from django.db.models import Min
from django.utils import timezone

from diestore.models import Die, Plant, Press, Variant

from . import counting
from .actions import Actor, strike_out
from .counter_models import Counter, CounterDevice, CounterQuestion, DieInPress, Scope, fresh_key
from .counters import Kind, Verdict
from .entry_rules import EntryRefused, check_moment, check_text, said, saving
from .models import HITS_AT_MOST, Order, Run

SAYS_WHICH_DIE = (Verdict.TO_DIE, Verdict.WITHOUT_STOCK)
TOKEN_BYTES = 32


# --- devices --------------------------------------------------------------------------------------------------------


def hash_of(token: str) -> str:
    """Tokens are long and random, so that a plain hash keeps them: there is nothing to guess."""
    return hashlib.sha256(token.encode()).hexdigest()


@dataclass(frozen=True)
class Made:
    """A new device, and its token, which is not kept."""

    device: CounterDevice
    token: str


def make_device(
    *,
    by: Actor,
    plant: Plant,
    name: str,
    scopes: Sequence[str],
    presses: Iterable[Press] = (),
    dies: Iterable[Die] = (),
    figures: int | None = None,
) -> Made:
    name = name.strip()
    if not name:
        raise EntryRefused("Give the device a name: what it is and where.", field="name")
    check_text(name, field="name", what="The name", at_most=80)
    if not scopes or set(scopes) - set(Scope.values):
        raise EntryRefused("Say what the device may do.", field="scopes")
    if figures is not None and not 3 <= figures <= 12:
        raise EntryRefused("A counter shows between 3 and 12 figures.", field="figures")
    if CounterDevice.objects.filter(plant=plant, name__iexact=name).exists():
        raise EntryRefused(f"There is a device {name} already. Give this one another name.", field="name")
    token = secrets.token_urlsafe(TOKEN_BYTES)
    with transaction.atomic():
        device = CounterDevice.objects.create(
            plant=plant,
            name=name,
            scopes=[scope for scope in Scope.values if scope in set(scopes)],
            figures=figures,
            token_hash=hash_of(token),
            made_by=by.user,
        )
        device.presses.set(presses)
        device.dies.set(dies)
    return Made(device, token)


def revoke_device(*, by: Actor, device: CounterDevice) -> None:
    """The token opens nothing from now on. What the device sent stays."""
    CounterDevice.objects.filter(pk=device.pk, revoked_at__isnull=True).update(
        revoked_at=timezone.now(), revoked_by=by.user, token_hash=None
    )


# --- a die in a press -----------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Changed:
    """What an action made, and the dies whose hits changed with it."""

    row: DieInPress | None
    dies: frozenset[Die]


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
) -> Changed:
    """The die is in the press from `at` on. Whatever was there, and wherever the die was, ends then."""
    check_moment(at)
    if until is not None:
        check_moment(until, field="until")
        if until <= at:
            raise EntryRefused("It was taken out before it was set. Put the later time at the end.", field="until")
    if key and (known := DieInPress.objects.filter(key=key).first()):
        return Changed(known, frozenset())
    if press.plant_id != die.plant_id:
        raise EntryRefused(f"{die} and press {press} are not of one plant.", field="press")
    if variant is not None and variant.die_id != die.pk:
        raise EntryRefused(f"{variant} is not a set of inserts of {die}.", field="variant")
    with saving(f"{die} or press {press} is taken at that time already."):
        # Two tablets at one press, one after the other.
        Plant.objects.select_for_update(no_key=True).get(pk=press.plant_id)
        touched = {press}
        for row in DieInPress.objects.now().filter(press=press) | DieInPress.objects.now().filter(die=die):
            if row.press_id == press.pk and row.die_id == die.pk and row.since <= at:
                raise EntryRefused(f"{die} is in press {press} already, since {said(row.since)}.", field="at")
            if row.since >= at and until is None:
                raise EntryRefused(
                    f"{row.die} is in press {row.press} since {said(row.since)}. Enter a later time, or say when this "
                    "one was taken out.",
                    field="at",
                )
            if row.since < at:
                _end(row, by, at)
                touched.add(row.press)
        clash = _clash(press, die, at, until)
        if clash is not None:
            raise EntryRefused(
                f"{clash.die} was in press {clash.press} from {said(clash.since)}"
                f"{f' to {said(clash.until)}' if clash.until else ''}. Enter another time.",
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
        return Changed(row, _counted(touched, at))


def _clash(press: Press, die: Die, since: dt.datetime, until: dt.datetime | None) -> DieInPress | None:
    standing = DieInPress.objects.standing().exclude(until__lte=since)
    rows = standing.filter(press=press) | standing.filter(die=die)
    return (rows if until is None else rows.filter(since__lt=until)).first()


def take_out(*, by: Actor, row: DieInPress, at: dt.datetime) -> Changed:
    check_moment(at)
    with transaction.atomic():
        Plant.objects.select_for_update(no_key=True).get(pk=row.press.plant_id)
        row = DieInPress.objects.select_related("press", "die").get(pk=row.pk)
        if row.until is not None or row.struck_at is not None:
            raise EntryRefused(f"{row.die} was taken out of press {row.press} already.", field="at")
        if at <= row.since:
            raise EntryRefused(f"It was set in the press {said(row.since)}. Enter a later time.", field="at")
        _end(row, by, at)
        return Changed(row, _counted({row.press}, min(at, row.since)))


def strike_in_press(*, by: Actor, row: DieInPress, reason: str) -> Changed:
    """It was never so: the row stays and counts for nothing."""
    if by.person is None:
        raise EntryRefused("Say who strikes it out.", field="person")
    if not reason.strip():
        raise EntryRefused("Say why it is struck out.", field="reason")
    check_text(reason.strip(), field="reason", what="The reason", at_most=300)
    with transaction.atomic():
        struck = DieInPress.objects.standing().filter(pk=row.pk)
        if not struck.update(struck_at=timezone.now(), struck_by=by.person, struck_reason=reason.strip()):
            raise EntryRefused("This is struck out already.")
        row.refresh_from_db()
        return Changed(row, _counted({row.press}, row.since))


def _end(row: DieInPress, by: Actor, at: dt.datetime) -> None:
    row.until, row.removed_by, row.removed_user = at, by.person, by.user
    row.save(update_fields=["until", "removed_by", "removed_user"])


def _counted(presses: Iterable[Press], since: dt.datetime) -> frozenset[Die]:
    counters = Counter.objects.filter(press__in=presses)
    counting.wait(counters, since)
    return frozenset(die for pk in counters.values_list("pk", flat=True) for die in counting.settle(pk))


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
FALLS = (Verdict.RESET, Verdict.ROLLED_OVER, Verdict.SET)
BEFORE_WRONG = "the one before is wrong"  # of a fall: the reading that it fell from is left out
COUNTER_HOLDS = "the counter holds"  # see `counter_holds`


def settle_questions(
    *, by: Actor, questions: Sequence[CounterQuestion], verdict: str, die: Die | None = None
) -> frozenset[Die]:
    """Answer questions of one counter alike. What was answered holds until it is taken back."""
    before_wrong = verdict == BEFORE_WRONG
    try:
        said = Verdict.LEAVE_OUT if before_wrong else Verdict(verdict)
    except ValueError:
        raise EntryRefused("Pick one of the answers.", field="verdict") from None
    if said in SAYS_WHICH_DIE and die is None:
        raise EntryRefused("Say which die ran.", field="die")
    changed: set[Die] = set()
    with transaction.atomic():
        for question in questions:
            row = (
                CounterQuestion.objects.select_for_update(of=("self",))
                .select_related("counter__device")
                .get(pk=question.pk)
            )
            if row.settled_at is not None:
                raise EntryRefused("Somebody answered this already.")
            if said not in ANSWERS[row.kind]:
                raise EntryRefused("This answer does not fit the question.", field="verdict")
            if die is not None and die.plant_id != row.counter.device.plant_id:
                raise EntryRefused(f"{die} is of another plant.", field="die")
            if said is Verdict.TO_DIE and row.strokes > HITS_AT_MOST:
                raise EntryRefused(f"{row.strokes:,} hits in one run cannot be. The reading is wrong.", field="verdict")
            row.verdict, row.die = said.value, die if said in SAYS_WHICH_DIE else None
            row.settled_at, row.settled_by, row.settled_user = timezone.now(), by.person, by.user
            if said in FALLS and row.fell_at is not None:
                row.until = row.fell_at
            reaches_back = _reaches_back(row)
            if before_wrong and row.fell_at is not None:
                row.until = row.since
            elif said is Verdict.LEAVE_OUT and row.fell_at is not None:
                row.since = row.fell_at
            row.save()
            counting.wait(Counter.objects.filter(pk=row.counter_id), reaches_back)
        for pk in {question.counter_id for question in questions}:
            changed |= counting.settle(pk)
    return frozenset(changed)


def _reaches_back(question: CounterQuestion) -> dt.datetime:
    """The earliest time of which an answer may change what is told. Wrong times may be put where they arrived."""
    if question.kind != Kind.CLOCK.value:
        return question.since
    off = question.counter.readings.filter(clock_off=True, at__gte=question.since, at__lte=question.until)
    return min(filter(None, (question.since, off.aggregate(first=Min("received_at"))["first"])))


def counter_holds(*, by: Actor, questions: Sequence[CounterQuestion], reason: str) -> frozenset[Die]:
    """The counter is right and what was typed is not: the typed runs are struck out, and their strokes count."""
    changed: set[Die] = set()
    with transaction.atomic():
        for question in questions:
            counter = question.counter
            meets = {"die__in": question.dies, "started__lt": question.until, "at__gt": question.since}
            runs = Run.objects.standing().filter(**meets).exclude(counting.made_by(counter, Run))
            for run in runs.select_related("die"):
                strike_out(by=by, entry=run, reason=reason)
                changed.add(run.die)
                counting.wait(Counter.objects.filter(pk=counter.pk), run.started)
            counting.wait(Counter.objects.filter(pk=counter.pk), question.since)
        for pk in {question.counter_id for question in questions}:
            changed |= counting.settle(pk)
    return frozenset(changed)


def take_back(*, by: Actor, question: CounterQuestion) -> frozenset[Die]:
    """An answer was wrong: it holds no longer, and what it settled is asked again."""
    with transaction.atomic():
        held = CounterQuestion.objects.filter(pk=question.pk, settled_at__isnull=False, taken_back_at__isnull=True)
        if not held.update(taken_back_at=timezone.now()):
            raise EntryRefused("This answer was taken back already.")
        counting.wait(Counter.objects.filter(pk=question.counter_id), _reaches_back(question))
        return frozenset(counting.settle(question.counter_id))
