"""A small shop with presses, dies and a device that counts, for tests that need a database."""

from __future__ import annotations

import datetime as dt

from django.contrib.auth.models import User

from diestore.register.models import Press
from maintenance.counters import devices, intake, presses
from maintenance.log import write
from maintenance.models import Counter, CounterDevice, Run, Scope
from tests import factories as make

MORNING = dt.datetime(2026, 1, 5, 8, 0, tzinfo=dt.UTC)


def at(minutes: float) -> dt.datetime:
    return MORNING + dt.timedelta(minutes=minutes)


def press(code: str = "P1") -> Press:
    return Press.objects.get_or_create(plant=make.plant(), code=code)[0]


def device(name: str = "counter box", scopes=tuple(Scope.values), **more) -> devices.Made:
    return devices.make_device(by=write.Actor(), plant=make.plant(), name=name, scopes=scopes, **more)


def messages(totals: dict[float, int], *, press: str = "P1", prefix: str = "m", **more) -> list[intake.Message]:
    """Minutes after the morning -> the total shown then."""
    of = more if "die" in more else {"press": press, **more}
    return [
        intake.Message(id=f"{prefix}{minute:g}", total=total, at=at(minute), **of) for minute, total in totals.items()
    ]


def send(of: CounterDevice, totals: dict[float, int], **more) -> list[str]:
    told = intake.take(of, messages(totals, **more), now=at(max(totals) + 1))
    return [row.what for row in told]


def set_die(die, minute: float = -10, *, press_code: str = "P1", until: float | None = None, **more):
    return presses.set_in_press(
        by=make.actor(), press=press(press_code), die=die, at=at(minute),
        until=None if until is None else at(until), **more,
    )  # fmt: skip


def runs(die=None) -> list[tuple[str, int, float, float]]:
    """Counted runs that stand: die, hits, from and to in minutes after the morning."""
    rows = Run.objects.standing().filter(through="counter").order_by("started")
    rows = rows if die is None else rows.filter(die=die)
    return [
        (r.die.code, r.hits, (r.started - MORNING).total_seconds() / 60, (r.at - MORNING).total_seconds() / 60)
        for r in rows
    ]


def the_counter() -> Counter:
    return Counter.objects.get()


def user(role: str = "lead") -> User:
    return make.user(role)
