"""The plan as it is shown: words, and the picture of each die's weeks. Formats and lays out, never computes."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass

from diestore import units
from diestore.access import shop
from diestore.drawing import paths
from maintenance.forecasts.decisions import ASSUMED
from maintenance.forecasts.pull_plan import BENCH_HOURS, JobAhead, Pull, PullPlan, Row
from maintenance.log.damage import briefly
from maintenance.wording import numbers

WEEK, HEIGHT, MARK = 48, 50, 20  # of a row's picture: a week's width, its height, where a mark begins
LETTERS = 6.4  # width of one of a job's number
LITTLE = 0.5  # of the currency: less is nothing
WORTH_TELLING = 0.1  # of what hours save in the week that needs them most

WHAT_IS_ASSUMED = {
    "toolroom_rate": "{:.0f} {} for an hour at the bench",
    "press_rate": "{:.0f} {} for an hour of a press",
    "sorting_rate": "{:.0f} {} for an hour of sorting",
    "hours": "{:.0f} hours for a sharpening where none are logged",
    "apart_share": "{:.0%} of a sharpening's hours for taking the die apart and putting it back",
    "stop_minutes": "{:.0f} minutes that the press waits when a job is broken off",
    "look_hits": "a look every {:,.0f} hits where no run is logged",
    "sorted_an_hour": "{:,.0f} parts sorted in an hour",
    "part_worth": "{:.2f} {} for a scrapped part",
    "grind_mm": "{} ground off where none is logged",
}


def money(value: float) -> str:
    return f"{value:,.0f} {shop.current().currency}"


@dataclass(frozen=True, kw_only=True)
class WeekHead:
    x: float
    words: str
    used: str
    css: str


@dataclass(frozen=True, kw_only=True)
class Bar:
    x: float
    width: float
    number: str
    title: str
    css: str


@dataclass(frozen=True, kw_only=True)
class Mark:
    path: str
    title: str


@dataclass(frozen=True, kw_only=True)
class Extra:
    """What the first pull costs more in a week."""

    x: float
    words: str
    here: bool


@dataclass(frozen=True, kw_only=True)
class Shown:
    row: Row
    wrong: str
    bars: tuple[Bar, ...]
    marks: tuple[Mark, ...]
    extras: tuple[Extra, ...]
    pull: str
    when: str
    then: str
    not_at_all: str
    saves: str
    saves_usual: str
    every: str
    held_up: str
    late: str


def heads(plan: PullPlan) -> list[WeekHead]:
    made = []
    for week in range(plan.terms.weeks):
        used, worth = plan.used[week] if plan.used else 0.0, plan.worth[week] if plan.worth else 0.0
        full = worth > LITTLE or used > plan.hours[week] + 1e-6
        made.append(
            WeekHead(
                x=WEEK * (week + 0.5),
                words=_day(plan.monday + dt.timedelta(weeks=week)),
                used=f"{used:.3g} h",
                css="short" if full else "",
            )
        )
    return made


def width(plan: PullPlan) -> int:
    return WEEK * plan.terms.weeks


def shown(plan: PullPlan, rows: Sequence[Row]) -> list[Shown]:
    return [_shown(plan, row) for row in rows]


def _shown(plan: PullPlan, row: Row) -> Shown:
    weeks = plan.terms.weeks
    first = next(iter(row.pulls), None)
    late = [job.number for job in row.jobs if job.late]
    marks = []
    if row.must:
        marks.append(Mark(path=_mark(0.5), title="to be seen to before it runs"))
    by_week: dict[int, int] = {0: 1} if row.must else {}
    for pull in row.pulls:
        if pull.week is None:
            continue
        before = by_week.get(pull.week, 0)
        by_week[pull.week] = before + 1
        marks.append(Mark(path=_mark(pull.week + 0.5, before), title=f"pull {_where(pull)}"))
    here = first.week if first and first.week is not None else None
    extras = [
        Extra(x=WEEK * (week + 0.5), words=_extra(more), here=week == here)
        for week, more in enumerate(row.regret)
        if more is not None
    ]
    return Shown(
        row=row,
        wrong=briefly(row.wrong),
        bars=tuple(_bar(job, weeks) for job in row.jobs if job.start < weeks),
        marks=tuple(marks),
        extras=tuple(extras),
        pull=_first_words(row, first),
        when=_when(plan, row, first),
        then="; ".join(f"again {_where(pull)}" for pull in row.pulls[0 if row.must else 1 :][:2]),
        not_at_all=_not_at_all(row, first),
        saves=money(row.saves) if row.saves > LITTLE else "–",
        saves_usual=money(row.saves_usual) if row.saves_usual and row.saves_usual > LITTLE else "–",
        every=numbers.hits(row.usual_every) if row.usual_every else "",
        held_up=f"bench hours cost {money(row.held_up)}" if row.held_up > LITTLE else "",
        late=f"late: {', '.join(late[:3])}{f' and {len(late) - 3} more' if len(late) > 3 else ''}" if late else "",
    )


def _first_words(row: Row, first: Pull | None) -> str:
    if row.must:
        return "before it runs"
    return _where(first) if first else "no early pull pays"


def _when(plan: PullPlan, row: Row, first: Pull | None) -> str:
    if row.must:
        return "at once"
    if first is None:
        return ""
    if first.week is None:
        return "later"
    return f"week of {_day(plan.monday + dt.timedelta(weeks=first.week))}"


def _not_at_all(row: Row, first: Pull | None) -> str:
    if row.must or first is None:
        return ""
    return f"not at all: {money(row.not_at_all)} more" if row.not_at_all > LITTLE else "as good without"


def _where(pull: Pull) -> str:
    if pull.after_hits is None:
        return f"before job {pull.job}"
    return f"in job {pull.job}, after {numbers.hits(pull.after_hits)} hits"


def _extra(more: float) -> str:
    return "0" if more <= LITTLE else f"+{more:,.0f}"


def _mark(week: float, before: int = 0) -> str:
    return f"M{paths.place(WEEK * week + 15 * before)} {MARK}l7 12h-14z"


def _bar(job: JobAhead, weeks: int) -> Bar:
    start, end = max(job.start, 0.0), min(job.end, float(weeks))
    wide = max((end - start) * WEEK, 3.0)
    fits = len(job.number) * LETTERS <= wide - 4
    return Bar(
        x=round(start * WEEK, 1),
        width=round(wide, 1),
        number=job.number if fits else "",
        title=f"job {job.number}: {job.hits:,} hits, due {_day(job.due)}{', late' if job.late else ''}",
        css="short" if job.late else "",
    )


def _day(day: dt.date) -> str:
    return f"{day.day} {day:%b}"


def sentence(plan: PullPlan) -> dict:
    """What the page says first."""
    now = [row for row in plan.rows if row.must or (row.pulls and row.pulls[0].week == 0)]
    usual, count = plan.saves_usual
    tight = [
        f"the week of {_day(plan.monday + dt.timedelta(weeks=week))} ({money(worth)})"
        for week, worth in enumerate(plan.worth)
        if worth > LITTLE and worth >= WORTH_TELLING * max(plan.worth)
    ]
    return {
        "now": now,
        "pulls": sum(pull.week is not None for row in plan.rows for pull in row.pulls),
        "saves": money(plan.saves),
        "saves_usual": money(usual) if count and usual > LITTLE else "",
        "count": count,
        "held_up": money(plan.held_up) if plan.held_up > LITTLE else "",
        "tight": tight,
        "more_hours": max((row.hours for row in plan.rows), default=0.0),
    }


def bench_hours(plan: PullPlan) -> str:
    """How many the bench has, in words."""
    if not plan.hours:
        return ""
    low, high = (f"{hours:.4g}" for hours in (min(plan.hours), max(plan.hours)))
    return f"{low if low == high else f'{low} to {high}'} bench hours a week"


def assumed(plan: PullPlan, system: units.System) -> list[str]:
    currency = shop.current().currency
    people = plan.terms.bench_hours is None and not plan.hours_of_people
    bench = [f"{BENCH_HOURS:.0f} bench hours a week, as nobody has hours for the bench"] if people else []
    figures = ASSUMED | {"grind_mm": units.show(ASSUMED["grind_mm"], "removed_mm", system)}
    return bench + [
        WHAT_IS_ASSUMED[name].format(figures[name], currency) for name in plan.assumed if name in WHAT_IS_ASSUMED
    ]
