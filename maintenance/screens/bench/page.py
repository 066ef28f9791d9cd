"""What the pages of the bench say: the first sentence, the buttons of a work, where one can be put."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

from django.urls import reverse

from maintenance.log.bench import NEXT
from maintenance.log.bench_plan import BenchPlan, PlannedWork
from maintenance.models import BenchWork

WEEKS = (3, 6, 12)
PUT_DAYS = 14
ENDED_SHOWN = 12
State = BenchWork.State


def sentence(plan: BenchPlan) -> dict:
    """What the page says first."""
    late = plan.late
    money = [row.late_money for row in late if row.late_money is not None]
    return {
        "css": "short" if late else "",
        "late": late,
        "money": sum(money) if money else None,
        "uncosted": len(late) - len(money),
        "on_the_bench": [row for row in plan.rows if row.work.state == State.BENCH],
        "away": [row for row in plan.rows if row.work.state == State.AWAY],
        "try_out": [row for row in plan.rows if row.work.state == State.TRY_OUT],
        "reported": [row for row in plan.rows if row.work.state == State.REPORTED],
        "hours": sum(row.hours for row in plan.rows if row.is_planned),
    }


@dataclass(frozen=True, kw_only=True)
class Button:
    value: str
    words: str
    asks: str = ""  # the fields that go with it: supplier, reason


_WORDS = {
    State.REPORTED: "Back to reported", State.PLANNED: "Plan it", State.BENCH: "On the bench now",
    State.AWAY: "Away at a supplier", State.TRY_OUT: "To try-out", State.RELEASED: "Release the die",
    State.DROPPED: "Drop the work",
}  # fmt: skip


def state_buttons(work: BenchWork, *, may_plan: bool) -> list[Button]:
    """How it can go on from where it stands."""
    made = []
    for state in NEXT[work.state]:
        if state == State.DROPPED and not may_plan:
            continue
        words = "Off the bench again" if (work.state, state) == (State.BENCH, State.PLANNED) else _WORDS[state]
        asks = {State.AWAY: "supplier", State.DROPPED: "reason"}.get(state, "")
        made.append(Button(value=state, words=words, asks=asks))
    return made


@dataclass(frozen=True, kw_only=True)
class PutDay:
    """A day of a person as a button. free: hours that nobody has taken."""

    value: str
    words: str
    free: float
    is_here: bool
    why_not: str = ""


def put_where(plan: BenchPlan, tapped: PlannedWork) -> dict:
    """Each person's next days: where the tapped work can be put."""
    taken: dict[tuple[int, int], float] = {}
    for row in plan.rows:
        if row.slot is not None and row is not tapped:
            for day, hours in row.slot.by_day:
                taken[int(row.slot.person), day] = taken.get((int(row.slot.person), day), 0.0) + hours  # type: ignore
    days = [plan.today + dt.timedelta(days=n) for n in range(PUT_DAYS)]
    lanes = []
    for person in plan.people:
        if not person.key:
            continue  # nobody is named yet
        lane = []
        for n, day in enumerate(days):
            why = "away" if n in person.away else "" if person.hours[n] > 0 else "off"
            slot = tapped.slot
            lane.append(
                PutDay(
                    value=f"{person.key} {day.isoformat()}",
                    words=f"{day:%a} {day.day}",
                    free=max(person.hours[n] - taken.get((person.key, n), 0.0), 0.0),
                    is_here=slot is not None and slot.person == person.key and slot.first == n,
                    why_not=why,
                )
            )
        lanes.append({"name": person.name, "days": lane})
    return {"days": days, "lanes": lanes}


def reasons(work: BenchWork) -> list[dict]:
    """What it was opened for, each with its page."""
    found = []
    if work.stop is not None:
        words = f"stop of {work.stop.at:%d %b %Y}: {work.stop.get_cause_display()}"
        found.append({"words": words, "url": reverse("maintenance:entry", args=["stop", work.stop_id])})
    if work.incident is not None:
        words = f"mishap of {work.incident.at:%d %b %Y}: {work.incident.sort}"
        found.append({"words": words, "url": reverse("maintenance:mishap", args=[work.incident_id])})
    if work.inspection is not None:
        words = f"look on {work.inspection.at:%d %b %Y}: {work.inspection.plan.what}"
        found.append({"words": words, "url": reverse("maintenance:inspection_plan", args=[work.inspection.plan_id])})
    if work.item is not None:
        found.append({"words": f"spare that came: {work.item}", "url": ""})
    return found
