"""What devices send is kept: each reading once, and its counter waits to be counted. Nothing is counted here, so that
a message is quick."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass
from enum import Enum

from django.db import IntegrityError, connection, transaction
from django.utils import timezone

from diestore.register.models import Die, Press
from maintenance.models import Counter, CounterDevice, CounterReading

EVERY = dt.timedelta(minutes=5)  # a message that comes so long after the last count has its counter counted
APART = dt.timedelta(minutes=1)  # so far the clocks of two hosts may lie apart; a later time was written by a wrong one
AHEAD = dt.timedelta(minutes=10)
BACK = dt.timedelta(days=400)
TRIES = 3


@dataclass(frozen=True, kw_only=True)
class Message:
    """What a device said of one counter: of a press, or of a die that carries its own."""

    id: str
    total: int
    at: dt.datetime
    press: str = ""
    die: str = ""
    with_stock: bool = True
    raw: str = ""


@dataclass(frozen=True)
class Taken:
    """What became of a message: taken, known already, or refused with a sentence. counter: whose it is."""

    id: str
    what: str
    sentence: str = ""
    counter: Counter | None = None
    why: Refusal | None = None


class Refusal(Enum):
    UNKNOWN = "unknown"
    FORBIDDEN = "forbidden"
    CONFLICT = "conflict"
    UNCLEAR = "unclear"


def clock_is_off(at: dt.datetime, now: dt.datetime) -> bool:
    return at > now + AHEAD or at < now - BACK


def was_just_now(moment: dt.datetime | None, now: dt.datetime, within: dt.timedelta) -> bool:
    """Whether something was done so lately; what a clock that was ahead wrote down counts as never."""
    return moment is not None and -APART <= now - moment < within


def take(device: CounterDevice, messages: Sequence[Message], *, now: dt.datetime | None = None) -> list[Taken]:
    """Keep what a device sent: each message once, in one transaction. Says of each what became of it."""
    now = now or timezone.now()
    with transaction.atomic():
        counters = {where: _counter(device, *where) for where in dict.fromkeys((m.press, m.die) for m in messages)}
        # The counters are locked first, in one order: two senders of the same counts wait for each other here, and
        # the second then knows what the first has sent.
        pks = sorted(c.pk for c in counters.values() if isinstance(c, Counter))
        list(Counter.objects.select_for_update(no_key=True).filter(pk__in=pks).order_by("pk").values_list("pk"))
        known = _known(device, [m.id for m in messages])
        taken: list[Taken] = []
        rows: list[tuple[int, Message]] = []
        since: dict[int, dt.datetime] = {}
        for message in messages:
            counter = counters[message.press, message.die]
            if isinstance(counter, tuple):
                taken.append(Taken(message.id, "refused", counter[1], why=counter[0]))
                continue
            content = (counter.pk, message.total, message.at, message.with_stock)
            if message.id in known:
                taken.append(_repeated(message.id, known[message.id], content))
                continue
            known[message.id] = content
            rows.append((counter.pk, message))
            earliest = _earliest(message, now)
            since[counter.pk] = min(since.get(counter.pk, earliest), earliest)
            taken.append(Taken(message.id, "taken", counter=counter))
        for pk, earliest in since.items():
            Counter.objects.filter(pk=pk).have_wait(earliest)
        _keep(device, rows, now)
    return taken


def take_again(device: CounterDevice, messages: Sequence[Message], *, now: dt.datetime | None = None) -> list[Taken]:
    """`take`, once more where another sending of the same messages was quicker by a hair."""
    for tried in range(TRIES):
        try:
            return take(device, messages, now=now)
        except IntegrityError:
            if tried == TRIES - 1:
                raise
    raise AssertionError("not reached")


def take_one(device: CounterDevice, message: Message, *, now: dt.datetime | None = None) -> Taken:
    """`take` of one message on the shortest way: it is most likely new, and of a counter that is known.

    One statement finds the counter and has it wait, one keeps the reading. Anything else goes the long way.
    """
    now = now or timezone.now()
    if bool(message.press) != bool(message.die):
        try:
            with transaction.atomic():
                counter = _have_wait(device, message, now)
                if counter is not None:
                    _reading(device, counter.pk, message, now).save(force_insert=True)
                    return Taken(message.id, "taken", counter=counter)
        except IntegrityError:  # sent before
            pass
    (taken,) = take_again(device, [message], now=now)
    return taken


def _have_wait(device: CounterDevice, message: Message, now: dt.datetime) -> Counter | None:
    column, table = ("press_id", Press) if message.press else ("die_id", Die)
    adapt = connection.ops.adapt_datetimefield_value
    earliest = adapt(_earliest(message, now))
    with connection.cursor() as cursor:
        cursor.execute(
            f"UPDATE {Counter._meta.db_table} SET waiting_since = CASE WHEN waiting_since < %s THEN waiting_since "
            f"ELSE %s END WHERE device_id = %s AND {column} = (SELECT id FROM {table._meta.db_table} "
            "WHERE plant_id = %s AND code = %s) "
            "RETURNING id, counted_at IS NULL OR counted_at <= %s OR counted_at > %s",
            [
                earliest,
                earliest,
                device.pk,
                device.plant_id,
                message.press or message.die,
                adapt(now - EVERY),
                adapt(now + APART),
            ],
        )
        row = cursor.fetchone()
    return None if row is None else Counter(pk=row[0], device=device, counted_at=None if row[1] else now)


def _reading(device: CounterDevice, counter: int, message: Message, now: dt.datetime) -> CounterReading:
    return CounterReading(
        device=device,
        counter_id=counter,
        message_id=message.id,
        total=message.total,
        at=message.at,
        received_at=now,
        with_stock=message.with_stock,
        clock_off=clock_is_off(message.at, now),
        raw=message.raw,
    )


def _keep(device: CounterDevice, rows: list[tuple[int, Message]], now: dt.datetime) -> None:
    """Save readings by column: three times as fast as making an object of each."""
    adapt = connection.ops.adapt_datetimefield_value
    columns = ("device_id", "counter_id", "message_id", "total", "at", "received_at", "with_stock", "clock_off", "raw")
    with connection.cursor() as cursor:
        cursor.executemany(
            f"INSERT INTO {CounterReading._meta.db_table} ({', '.join(columns)}) "
            f"VALUES ({', '.join(['%s'] * len(columns))})",
            [
                (
                    device.pk,
                    counter,
                    m.id,
                    m.total,
                    adapt(m.at),
                    adapt(now),
                    m.with_stock,
                    clock_is_off(m.at, now),
                    m.raw,
                )
                for counter, m in rows
            ],
        )


def _earliest(message: Message, now: dt.datetime) -> dt.datetime:
    """From when on counting again has to look: a time that cannot be may be put where it arrived."""
    return now if clock_is_off(message.at, now) else message.at


def _known(device: CounterDevice, ids: list[str]) -> dict[str, tuple]:
    rows = CounterReading.objects.filter(device=device, message_id__in=ids)
    return {row[0]: row[1:] for row in rows.values_list("message_id", "counter_id", "total", "at", "with_stock")}


def _repeated(message_id: str, before: tuple, content: tuple) -> Taken:
    if before == content:
        return Taken(message_id, "known")
    sentence = "This message id was used before, with another total, time or press."
    return Taken(message_id, "refused", sentence, why=Refusal.CONFLICT)


def _counter(device: CounterDevice, press: str, die: str) -> Counter | tuple[Refusal, str]:
    """The counter that a message speaks of, made where it is the first; or why it cannot be taken."""
    if bool(press) == bool(die):
        return Refusal.UNCLEAR, "Name the press or the die that the count is of, one of the two."
    by_code = {"press__code": press} if press else {"die__code": die}
    counter = Counter.objects.filter(device=device, **by_code).order_by().first()
    if counter is not None:
        return counter
    model, what, code = (Press, "press", press) if press else (Die, "die", die)
    thing = model.objects.filter(plant=device.plant_id, code=code).first()
    if thing is None:
        return Refusal.UNKNOWN, f"There is no {what} {code} in this plant."
    if not may_speak_for(device, thing):
        return Refusal.FORBIDDEN, f"{device.name} may not speak for {what} {code}."
    return Counter.objects.get_or_create(device=device, **{what: thing})[0]


def may_speak_for(device: CounterDevice, thing: Press | Die) -> bool:
    """Whether a token is good for a press or die. Which ones it names is settled when it is made."""
    allowed = (device.presses, device.dies)
    if not any(rows.exists() for rows in allowed):
        return True
    return allowed[isinstance(thing, Die)].filter(pk=thing.pk).exists()
