"""Presses as their dies wear, and the suspects of a short cycle, put together in words. Reads only, no pages."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass

from django.utils import timezone

from diestore.access.models import Person
from diestore.register.models import Die, Plant, Position, Press
from maintenance.clockwork import cycles as clockwork_cycles
from maintenance.clockwork.rows import DieLog
from maintenance.forecasts import causes, samples, store
from maintenance.life import predict
from maintenance.life.causes import CASES_NEEDED, SLOPING, chance_before
from maintenance.log import queries, read
from maintenance.log.set_ups import Standing, latest_of_presses
from maintenance.models import Order, WearCause
from maintenance.wording import numbers, odds

TOLD = 0.9  # chance from which a press is said to have a side
SUSPECT, CLEAR = 0.75, 0.25
SHORT = 0.25  # share of such edges that are gone by then: a cycle that ends later was not short
NAMED_SHARE = 0.1  # of the cycle's hits: less of a press or a lot is not worth a line
DRAWN = 40.0  # half the width of a press, in its drawing


@dataclass(frozen=True, kw_only=True)
class PressLine:
    """A press in the table. arrow: where its tip lies in the drawing, from the middle; None where no side is told."""

    press: Press
    dies: int
    dull: float
    expected: float
    times: str
    low: str
    high: str
    chance: str
    is_sloping: bool
    side: str
    by: str
    refusal: str
    arrow: tuple[float, float] | None
    solder: Standing | None
    solder_side: str
    agrees: bool


def presses(plant: Plant) -> list[PressLine]:
    """The presses of which something was looked for, those with a side first."""
    rows = list(WearCause.objects.filter(plant=plant, sort=WearCause.Sort.PRESS).select_related("press"))
    solder = latest_of_presses([row.press_id for row in rows])
    lines = [_press_line(row, solder.get(row.press_id)) for row in rows]
    return sorted(lines, key=lambda line: (not line.is_sloping, line.press.code))


def _press_line(row: WearCause, solder: Standing | None) -> PressLine:
    slope = row.slope
    x, y = slope["along"]
    length = math.hypot(x, y)
    told = not slope["refusal"] and slope["chance"] >= TOLD and length > 0
    towards = (-x / length, -y / length) if length else (0.0, 0.0)
    tilt = solder.closing.tilt if solder is not None and not solder.closing.is_level else None
    low_side = (-tilt.x_mm_m, -tilt.y_mm_m) if tilt is not None else (0.0, 0.0)  # where it comes down first
    return PressLine(
        press=row.press,
        dies=slope["dies"],
        dull=row.dull,
        expected=row.expected,
        times=f"{row.times:.2f}",
        low=f"{row.low:.2f}",
        high=f"{row.high:.2f}",
        chance=odds.chance(slope["chance"]),
        is_sloping=told,
        side=side(*towards),
        by=f"{100 * (1 - math.exp(-length)):.0f}",
        refusal=slope["refusal"],
        arrow=(DRAWN * 0.8 * towards[0], -DRAWN * 0.8 * towards[1]) if told else None,
        solder=solder,
        solder_side=side(*low_side) if tilt is not None else "",
        agrees=towards[0] * low_side[0] + towards[1] * low_side[1] > 0,
    )


def side(x: float, y: float) -> str:
    """Which way it is on the plan of a die: along the strip, across it, or both where neither is much the more."""
    along = "the end of the strip" if x > 0 else "the beginning of the strip"
    across = "the upper side of the plan" if y > 0 else "the lower side of the plan"
    if x == 0 == y:
        return ""
    if abs(x) > 2.4 * abs(y):
        return along
    return across if abs(y) > 2.4 * abs(x) else f"{along} and {across}"


SLOPE_BEFORE = odds.chance(SLOPING)


# --- a short cycle ----------------------------------------------------------------------------------------------------


@dataclass(frozen=True, kw_only=True)
class Suspect:
    """Something that one cycle had. verdict: suspect, clear, open, thin. before: its chance before all records."""

    name: str
    what: str
    share: str
    cycles: float
    dull: float
    expected: float
    times: str
    low: str
    high: str
    chance: str
    before: str
    verdict: str

    @property
    def words(self) -> str:
        return {
            "suspect": "a suspect",
            "clear": "nothing against it",
            "open": "not enough records",
            "thin": f"fewer than {CASES_NEEDED:.0f} cases: too few to say",
        }[self.verdict]


@dataclass(frozen=True, kw_only=True)
class ShortCycle:
    """gone_by: share of such edges that are dull by so many hits. suspects: the likeliest first."""

    number: int
    of: int
    cycle: clockwork_cycles.Cycle
    gone_by: float | None
    suspects: list[Suspect]
    as_of: dt.datetime | None

    @property
    def was_short(self) -> bool:
        return self.gone_by is not None and self.gone_by <= SHORT

    @property
    def was_long(self) -> bool:
        return self.gone_by is not None and self.gone_by >= 1 - SHORT

    @property
    def gone_by_words(self) -> str:
        return "" if self.gone_by is None else odds.chance(self.gone_by)

    @property
    def is_gone_by_an_even_chance(self) -> bool:
        return self.gone_by is not None and self.gone_by_words == odds.chance(0.5)

    @property
    def ended(self) -> dt.datetime:
        return read.moment(self.cycle.ended)

    @property
    def hits(self) -> str:
        return numbers.hits(self.cycle.hits)


def short_cycle(position: Position, number: int, *, with_names: bool) -> ShortCycle | None:
    """The cycle of that number, from 1; None where there is none that ended. with_names: who ground it may be told."""
    die = position.die
    log = read.of_die(die)
    forecast = queries.newest_forecast(die)
    now = forecast.as_of if forecast else read.last_moment(die.plant) or timezone.now()
    part = samples.of_die(log, now.timestamp())  # numbered as on the edge's page
    mine = [cycle for _, cycle in part.rows if cycle.position == position.pk]
    if not 1 <= number <= len(mine) or mine[number - 1].open:
        return None
    cycle = mine[number - 1]
    kept = list(WearCause.objects.filter(plant=die.plant).exclude(sort="lot").select_related("press", "person")) + list(
        WearCause.objects.filter(die=die, sort="lot")
    )
    had = causes.of_cycle(log, cycle)
    coils = {" ".join(run.coil.casefold().split()): run.coil for run in log.runs if run.coil}
    suspects = list(_suspects(die, had, kept, coils, with_names=with_names))
    order = {"suspect": 0, "open": 1, "clear": 2, "thin": 3}
    return ShortCycle(
        number=number,
        of=len(mine),
        cycle=cycle,
        gone_by=_gone_by(die.plant, part, position, cycle, log),
        suspects=sorted(suspects, key=lambda one: (order[one.verdict], one.name)),
        as_of=kept[0].as_of if kept else None,
    )


def _gone_by(
    plant: Plant, part: samples.DieSamples, position: Position, cycle: clockwork_cycles.Cycle, log: DieLog
) -> float | None:
    """By the shop's fit and the record of this edge as it is built now."""
    number = part.current.get(position.pk)
    if number is None:
        return None
    life = samples.Gathered([part]).life
    outlook = predict.predict_fleet(store.fleet_of(plant), part.specs, samples.sharpened_now(life)).get(0)
    edge = outlook.edges.get(number) if outlook else None
    return None if edge is None else 1 - edge.chance_beyond(cycle.hits / log.positions[position.pk].stroke_share)


def _suspects(
    die: Die, had: causes.OfCycle, kept: Iterable[WearCause], coils: Mapping[str, str], *, with_names: bool
) -> Iterator[Suspect]:
    by_press = {row.press_id: row for row in kept if row.sort == "press"}
    by_person = {row.person_id: row for row in kept if row.sort == "person"}
    by_lot = {(die.pk, row.coil, row.order_id): row for row in kept if row.sort == "lot"}
    once = {row.sort: row for row in kept if row.sort in ("set-up", "mishap")}
    codes = dict(Press.objects.filter(pk__in=had.presses).values_list("pk", "code"))
    jobs = dict(Order.objects.filter(pk__in=[lot[2] for lot in had.lots if lot[2]]).values_list("pk", "number"))
    for press, share in had.presses.items():
        if share >= NAMED_SHARE:
            yield _suspect(f"press {codes[press]}", "press", share, by_press.get(press))
    for lot, share in sorted(had.lots.items(), key=lambda one: -one[1]):
        if share >= NAMED_SHARE:
            name = f"coil {coils[lot[1]]}" if lot[1] else f"job {jobs.get(lot[2], '')}"
            yield _suspect(name, "lot", share, by_lot.get(lot))
    if had.person is not None and with_names:
        name = Person.objects.get(pk=had.person).name
        yield _suspect(f"ground by {name}", "person", None, by_person.get(had.person))
    if had.tilted:
        yield _suspect("set up with its corners apart", "set-up", None, once.get("set-up"))
    if had.mishap:
        yield _suspect("a mishap in it", "mishap", None, once.get("mishap"))


def _suspect(name: str, sort: str, share: float | None, row: WearCause | None) -> Suspect:
    thin = row is None or row.cycles < CASES_NEEDED
    chance = 0.0 if row is None else row.chance
    verdict = "thin" if thin else "suspect" if chance >= SUSPECT else "clear" if chance <= CLEAR else "open"
    return Suspect(
        name=name,
        what=sort,
        share="" if share is None else f"{100 * share:.0f} %",
        cycles=0.0 if row is None else row.cycles,
        dull=0.0 if row is None else row.dull,
        expected=0.0 if row is None else row.expected,
        times="" if row is None else f"{row.times:.2f}",
        low="" if row is None else f"{row.low:.2f}",
        high="" if row is None else f"{row.high:.2f}",
        chance=odds.chance(chance),
        before=odds.chance(chance_before(sort)),
        verdict=verdict,
    )
