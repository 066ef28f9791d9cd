"""A made-up press with a counter, whose true strokes are known: what the counting is compared with."""

from __future__ import annotations

import random
from dataclasses import dataclass, field

from maintenance.counters.pure import CounterTotal, InPress

START = 1_767_600_000.0  # 5 January 2026, 08:00 UTC: the beginning of a shift of eight hours
MINUTE = 60.0


@dataclass
class Press:
    """readings: as the device sent them. truth: strokes of each die that a reading tells. lost: made just before a
    reset, after the last reading: no total ever told them."""

    readings: list[CounterTotal] = field(default_factory=list)
    dies: list[InPress] = field(default_factory=list)
    truth: dict[int, int] = field(default_factory=dict)
    lost: int = 0


def press(
    seed: int,
    *,
    hours: float = 20,
    figures: int = 6,
    start_total: int | None = None,
    resets: float = 0.0,
    dropped: float = 0.0,
    pace: tuple[int, int] = (20, 400),
) -> Press:
    """Minute by minute: dies run for some hours, the press stands while one is changed, a message a minute."""
    rng = random.Random(seed)
    top = 10**figures
    total = rng.randrange(top) if start_total is None else start_total
    made = Press()
    at = START
    since_reading = 0

    def send(stock: bool = True) -> None:
        made.readings.append(CounterTotal(at=at, total=total, id=f"m{len(made.readings)}", stock=stock, arrived=at + 1))

    send()
    die = 0
    while at < START + hours * 3600:
        die += 1
        number = (die - 1) % 3 + 1
        set_at, per_minute = at, rng.randint(*pace)
        run_minutes = rng.randint(20, 400)
        idle = 0
        for _ in range(run_minutes):
            at += MINUTE
            if idle:
                idle -= 1
            else:
                strokes = per_minute + rng.randint(-5, 5)
                total = (total + strokes) % top
                since_reading += strokes
                made.truth[number] = made.truth.get(number, 0) + strokes
                if rng.random() < 0.01:
                    idle = rng.choice([3, 12, 45, 90])
            if resets and total > 50_000 and rng.random() < resets:
                # Set to nought between two messages: what was made since the last one is told by none.
                made.truth[number] -= since_reading
                made.lost += since_reading
                total = since_reading = 0
            if rng.random() >= dropped:
                send()
                since_reading = 0
        at += 2 * MINUTE
        send()
        since_reading = 0
        made.dies.append(InPress(since=set_at, until=at, die=number, per_minute=float(per_minute)))
        for _ in range(rng.randint(15, 60)):
            at += MINUTE
            send()
    return made


def hits_by_die(counted) -> dict[int, int]:
    sums: dict[int, int] = {}
    for run in counted.runs:
        sums[run.die] = sums.get(run.die, 0) + run.strokes
    return sums
