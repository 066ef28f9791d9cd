"""Counters with something in every column, for the round trip."""

from __future__ import annotations

import datetime as dt

from maintenance.models import Counter, CounterDevice, CounterQuestion, CounterReading, DieInPress


def counters(*, plant, die, bare, press, variant, order, person, user, at) -> None:
    device = CounterDevice.objects.create(
        plant=plant, name="=box; hall 2", scopes=["counts", "read"], figures=6, made_at=at(0), revoked_at=at(30)
    )
    device.presses.set([press])
    device.dies.set([bare])
    CounterDevice.objects.create(plant=plant, name="never heard", scopes=[], made_at=at(1))
    DieInPress.objects.create(
        die=die, press=press, variant=variant, order=order, since=at(10), until=at(11), set_by=person, set_user=user,
        removed_by=person, removed_user=user, recorded_at=at(10.5), key="set", note="first",
    )  # fmt: skip
    DieInPress.objects.create(
        die=bare, press=press, since=at(10.2), recorded_at=at(10.2), key="slip", struck_at=at(12), struck_by=person,
        struck_reason="another press",
    )  # fmt: skip
    DieInPress.objects.create(die=bare, press=press, since=at(11), recorded_at=at(11), key="still")
    ofpress = Counter.objects.create(device=device, press=press)
    own = Counter.objects.create(device=device, die=bare)
    minute = dt.timedelta(minutes=1)
    for n in range(5):
        CounterReading.objects.create(
            device=device, counter=ofpress, message_id=f"m {n}", total=100 + 60 * n, at=at(10.5) + n * minute,
            received_at=at(10.5) + n * minute, with_stock=n != 2, clock_off=n == 4, raw='{"total": 1}' if n else "",
        )  # fmt: skip
    CounterReading.objects.create(device=device, counter=own, message_id="-1", total=0, at=at(9), received_at=at(9.5))
    CounterQuestion.objects.create(
        counter=ofpress, kind="no die", since=at(9), until=at(9.1), strokes=12, before=3, after=15, readings=2,
        dies=[die.pk, bare.pk], fell_at=at(9.05), asked_at=at(9.2), verdict="to die", die=die, variant=variant,
        settled_at=at(9.3), settled_by=person, settled_user=user, taken_back_at=at(9.4),
    )  # fmt: skip
    CounterQuestion.objects.create(
        counter=own, kind="clock", since=at(9), until=at(9), asked_at=at(9.2), verdict="at arrival", settled_at=at(9.3)
    )
