"""The picture of the bench: days from left to right, a lane for each person, each work as long as its hours.

A day is one column whoever looks at it; in it the hours of that person fill the column, so a work of half a day is half
a column. What a work goes on over (a night, a Sunday, an absence) is part of its bar. Lengths are in the drawing's own
units, one a pixel at its natural size.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, field, replace

from diestore.drawing import letters
from maintenance.log.bench_plan import BenchPlan, PersonDays, PlannedWork

WIDTH, LEFT, HEAD, LANE, BAR = 1160.0, 124.0, 44.0, 60.0, 24.0
LEAST_BAR = 7.0  # narrower cannot be tapped
NAME_ROOM = LEFT - 8


@dataclass(frozen=True, kw_only=True)
class DayColumn:
    x: float
    width: float
    words: str
    under: str
    weekend: bool


@dataclass(frozen=True, kw_only=True)
class Bar:
    """A work in its lane. tail: while it is at a supplier after the bench. due: where its day ends, if it is late."""

    row: PlannedWork
    x: float
    y: float
    width: float
    label: str
    title: str
    css: str
    by_hand: bool
    below: bool = False  # its name stands under it, since that of the bar before reaches over it
    tail: str = ""
    due: str = ""
    picked: bool = False
    goes_on: bool = False  # beyond the last day drawn

    @property
    def middle(self) -> float:
        return self.y + BAR / 2

    @property
    def label_y(self) -> float:
        return self.y + BAR + 14 if self.below else self.y - 4


@dataclass(frozen=True, kw_only=True)
class Lane:
    """off: where the person has no hours: (x, width, away)."""

    name: str
    y: float
    off: list[tuple[float, float, bool]] = field(default_factory=list)
    bars: list[Bar] = field(default_factory=list)

    @property
    def middle(self) -> float:
        return self.y + LANE / 2


@dataclass(frozen=True, kw_only=True)
class Picture:
    width: float
    height: float
    left: float
    days: list[DayColumn]
    lanes: list[Lane]
    bottom: float
    bar: float = BAR
    beyond: int = 0  # works that begin after the last day drawn


def lay_out(plan: BenchPlan, *, days: int, picked: int | None = None) -> Picture:
    """days: how many from today on are drawn. picked: the work that was tapped."""
    step = (WIDTH - LEFT) / days
    columns = []
    for n in range(days):
        day = plan.today + dt.timedelta(days=n)
        first = n == 0 or day.day == 1
        columns.append(
            DayColumn(
                x=LEFT + n * step, width=step, words=f"{day:%a}"[: 2 if step < 40 else 3],
                under=f"{day.day} {day:%b}" if first and step >= 40 else f"{day.day}", weekend=day.weekday() >= 5,
            )
        )  # fmt: skip
    lanes = [_lane(plan, person, number, days, step, picked) for number, person in enumerate(plan.people)]
    away = [row for row in plan.rows if row.work.state == row.work.State.AWAY and row.work.back_on]
    if away:
        lanes += _away(plan, away, len(lanes), days, step, picked)
    bottom = HEAD + len(lanes) * LANE
    beyond = sum(1 for row in plan.rows if row.slot is not None and row.slot.first >= days)
    return Picture(width=WIDTH, height=bottom + 8, left=LEFT, days=columns, lanes=lanes, bottom=bottom, beyond=beyond)


def _lane(plan: BenchPlan, person: PersonDays, number: int, days: int, step: float, picked: int | None) -> Lane:
    y = HEAD + number * LANE
    lane = Lane(name=letters.fitting(person.name, NAME_ROOM), y=y)
    for n in range(days):
        if person.hours[n] <= 0:
            lane.off.append((LEFT + n * step, step, n in person.away))
    for row in plan.rows:
        slot = row.slot
        if slot is None or slot.person != person.key or slot.first >= days:
            continue
        start = LEFT + step * (slot.first + slot.start / max(person.hours[slot.first], 1e-9))
        used = slot.by_day[-1][1] + (slot.start if slot.first == slot.last else 0.0)
        end = LEFT + step * min(slot.last + used / max(person.hours[slot.last], 1e-9), days)
        lane.bars.append(_bar(plan, row, start, end, y + (LANE - BAR) / 2, days, step, picked))
    _name(lane.bars)
    return lane


def _name(bars: list[Bar]) -> None:
    """Names over the bars; where that of the one before reaches over the next, under it; where both do, none."""
    over = under = 0.0
    for number, bar in sorted(enumerate(bars), key=lambda one: one[1].x):
        wide = letters.width(bar.label) + 6
        if bar.x >= over:
            over = bar.x + wide
        elif bar.x >= under:
            under = bar.x + wide
            bars[number] = replace(bar, below=True)
        else:
            bars[number] = replace(bar, label="")


def _bar(
    plan: BenchPlan, row: PlannedWork, start: float, end: float, y: float, days: int, step: float, picked: int | None
) -> Bar:
    slot, right = row.slot, LEFT + days * step
    width = max(end - start - 2, LEAST_BAR)
    label = row.work.die.code
    tail = due = ""
    if slot is not None and slot.ready > slot.last and end < right:
        until = min(LEFT + (slot.ready + 1) * step, right)
        tail = f"M{end:.1f} {y + BAR / 2:.1f}H{until:.1f}"
    if row.late_days and row.due is not None and 0 <= (row.due - plan.today).days < days:
        x = LEFT + ((row.due - plan.today).days + 1) * step
        due = f"M{x:.1f} {y - 5:.1f}v{BAR + 10:.1f}M{x:.1f} {y + BAR / 2:.1f}H{max(start, x):.1f}"
    return Bar(
        row=row, x=round(start + 1, 1), y=y, width=round(width, 1),
        label=label,
        title=_title(row), css="short" if row.late_days else "", by_hand=row.by_hand, tail=tail, due=due,
        picked=row.work.pk == picked, goes_on=slot is not None and slot.last >= days,
    )  # fmt: skip


def _title(row: PlannedWork) -> str:
    bits = [f"{row.work.die.code}: {row.work.what}", f"{row.hours:g} h"]
    if row.first is not None and row.last is not None:
        same = row.first == row.last
        bits.append(f"{_short(row.first)}" if same else f"{_short(row.first)} to {_short(row.last)}")
    if row.late_days:
        bits.append(f"{row.late_days} {'day' if row.late_days == 1 else 'days'} late")
    if row.by_hand:
        bits.append("put there by hand")
    return ", ".join(bits)


def _short(day: dt.date) -> str:
    return f"{day:%a} {day.day} {day:%b}"


def _away(plan: BenchPlan, rows, number: int, days: int, step: float, picked: int | None) -> list[Lane]:
    """What is at a supplier now, from today until it is said to be back; one below another."""
    lanes = []
    for n, row in enumerate(rows):
        y = HEAD + (number + n) * LANE
        back = max((row.work.back_on - plan.today).days, 0)
        end = LEFT + step * min(back + 1, days)
        name = "At a supplier" if n == 0 else ""
        title = f"{row.work.die.code}: away at {row.work.supplier}, back on {_short(row.work.back_on)}"
        room = end - LEFT - 10
        label = letters.fitting(f"{row.work.die.code} at {row.work.supplier}", max(room, 60))
        lanes.append(
            Lane(
                name=name, y=y,
                bars=[
                    Bar(row=row, x=LEFT + 1, y=y + (LANE - BAR) / 2, width=round(end - LEFT - 2, 1), label=label,
                        title=title, css="out", by_hand=False, picked=row.work.pk == picked)
                ],
            )
        )  # fmt: skip
    return lanes
