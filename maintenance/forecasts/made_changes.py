"""The changes that were really made on dies: which places, when, their intervals before and after, and what the
forecast of then promised. Glue: what comes of it is reckoned elsewhere.

A change is what an edge is built of (steel, hardness, coating) or its gap; a piece put in like the one before is none.
What is the same at several places of a die on one day is one change.
"""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
from django.utils import timezone

from diestore.handbook import tool_steels
from diestore.handbook.places import partner_code
from diestore.register.models import Die, Plant
from maintenance.clockwork import cycles
from maintenance.clockwork.rows import DieLog
from maintenance.life import handbook
from maintenance.life.cycles import DULL, SHARP, EdgeSpec, LifeSamples
from maintenance.life.fleet import FleetFit
from maintenance.life.renewals import aged
from maintenance.log import read as log_read

from . import builds, predict, samples
from .fleet_log import read_fleet
from .other_builds import EdgeNow, times_with

HARDER_HRC = 1.0  # less is what a tester tells between two places of one piece; common practice, no source
WIDER_SHARE = 0.02  # of a gap: less is how it was typed
OWN_STOCK = 0.8  # of the hits, on one stock: the spell is told as run on it
BEFORE_S = 1.0
YEAR_S = 365 * 86_400.0

STEEL, HARDNESS, COATING, GAP = "steel", "hardness", "coating", "gap"


@dataclass(frozen=True, kw_only=True)
class Step:
    """What is otherwise: its sort, and how it was and is, in words."""

    sort: str
    was: str
    now: str


@dataclass(frozen=True, kw_only=True)
class Place:
    """One place of a change, at a moment. before, after: the edge as the wear model takes it, and its intervals then
    and since."""

    position: int
    at: float
    code: str
    side: str
    before: EdgeSpec
    after: EdgeSpec
    lives_before: LifeSamples
    lives_after: LifeSamples


@dataclass(frozen=True, kw_only=True)
class MadeChange:
    """at: seconds. others: of places of the die where nothing was changed, what ran before and after. lots: cut
    before and after at the changed places. hits_a_year_before: of the die, the pace of the year before; hits_since: all
    of them. doubts: what makes it hard to tell."""

    die: int
    code: str
    at: float
    steps: tuple[Step, ...]
    places: tuple[Place, ...]
    others: tuple[tuple[LifeSamples, LifeSamples], ...]
    lots: tuple[int, int]
    hits_a_year_before: float
    hits_since: float
    doubts: tuple[str, ...] = ()

    @property
    def words(self) -> str:
        return ", ".join(f"{step.was} to {step.now}" for step in self.steps)

    @property
    def key(self) -> str:
        """What the same change is known by from night to night."""
        return f"{self.die} {self.at:.0f} {self.words} {' '.join(place.code for place in self.places)}"


@dataclass(frozen=True)
class _Switch:
    """Where one place became otherwise: the rows of its spells before and after."""

    position: int
    at: float
    steps: tuple[Step, ...]
    before: list[int]
    after: list[int]


def made_on(die: Die, shares: np.ndarray) -> list[MadeChange]:
    """Every change made on a die up to the last thing of its record, the earliest first."""
    log = log_read.of_die(die)
    return [] if log.last_moment is None else of_die(log, log.last_moment, shares)


def of_die(log: DieLog, as_of: float, shares: np.ndarray) -> list[MadeChange]:
    """Every change made on a die, the earliest first. shares: what works in between give back (`FleetFit.shares`)."""
    history = cycles.History(log, as_of)
    part = samples.of_die(log, as_of, made=history.cycles)
    if not part.rows:
        return []
    life, _ = aged(samples.Gathered([part]).life, None, shares)
    rows = _Rows(log, part, life, history)
    groups: dict[tuple, list[_Switch]] = defaultdict(list)
    for switch in rows.switches():
        groups[_day(switch.at), switch.steps].append(switch)
    per_day: dict[dt.date, int] = defaultdict(int)
    for day, _ in groups:
        per_day[day] += 1
    made = [rows.change(some, several=per_day[day] > 1) for (day, _), some in groups.items()]
    return sorted(made, key=lambda one: (one.at, one.words))


def _day(at: float) -> dt.date:
    return timezone.localdate(log_read.moment(at))


@dataclass(frozen=True)
class _Rows:
    """The cycles of one die by place, as the engine takes them."""

    log: DieLog
    part: samples.DieSamples
    life: LifeSamples
    history: cycles.History

    def by_place(self) -> dict[int, list[int]]:
        """position -> its rows, in order of time."""
        of: dict[int, list[int]] = defaultdict(list)
        for n, (_, cycle) in enumerate(self.part.rows):
            of[cycle.position].append(n)
        for rows in of.values():
            rows.sort(key=lambda n: (self._cycle(n).ended, self._cycle(n).open))
        return of

    def _cycle(self, row: int) -> cycles.Cycle:
        return self.part.rows[row][1]

    def _spec(self, row: int) -> EdgeSpec:
        return self.part.specs[self.part.rows[row][0]]

    def switches(self) -> Iterator[_Switch]:
        for position, rows in self.by_place().items():
            spells: list[list[int]] = []
            for n in rows:
                if spells and not self._steps(spells[-1][-1], n):
                    spells[-1].append(n)
                else:
                    spells.append([n])
            for before, after in pairwise(spells):
                steps = self._steps(before[-1], after[0])
                yield _Switch(position, self._moment(position, before[-1], after[0], steps), steps, before, after)

    def _steps(self, before: int, after: int) -> tuple[Step, ...]:
        """What is otherwise between two cycles of a place. What was not known before or is not known now is none."""
        was, now = self._cycle(before).build, self._cycle(after).build
        steps = []
        old, new = (tool_steels.grade(build.tool_steel) for build in (was, now))
        is_other_steel = old is not None and new is not None and old.name != new.name
        if is_other_steel:
            steps.append(Step(sort=STEEL, was=_hard(was), now=_hard(now)))
        old_coat, new_coat = (tool_steels.coating(build.coating) for build in (was, now))
        if old_coat != new_coat:
            words = (builds.coating_words(coat) for coat in (old_coat, new_coat))
            steps.append(Step(sort=COATING, **dict(zip(("was", "now"), words, strict=True))))
        hardness = was.hardness_hrc, now.hardness_hrc
        if not is_other_steel and None not in hardness and abs(hardness[1] - hardness[0]) >= HARDER_HRC:
            steps.append(Step(sort=HARDNESS, was=f"{hardness[0]:g} HRC", now=f"{hardness[1]:g} HRC"))
        if was.gap_mm and now.gap_mm and abs(now.gap_mm / was.gap_mm - 1) > WIDER_SHARE:
            old_pct, new_pct = (
                100 * build.gap_mm / self.log.stocks[now.stock].thickness_mm for build in (was, now)
            )  # fmt: skip
            steps.append(Step(sort=GAP, was=f"gap {old_pct:.3g} %", now=f"{new_pct:.3g} % a side"))
        return tuple(steps)

    def _moment(self, position: int, before: int, after: int, steps: tuple[Step, ...]) -> float:
        """When it became so: of a gap alone the day that the register names, else when the edge was fitted or done."""
        started, ended = self._cycle(after).started, self._cycle(after).ended
        begun = self._cycle(before).ended if started is None else started
        if [step.sort for step in steps] != [GAP]:
            return begun
        since = self._cycle(before).started
        named = [
            cut.valid_from
            for cut in self.log.cuts
            if position in (cut.upper, cut.lower)
            and cut.valid_from is not None
            and (since is None or since < cut.valid_from)
            and cut.valid_from <= ended
        ]
        return max(named, default=begun)

    def change(self, switches: Sequence[_Switch], *, several: bool) -> MadeChange:
        first = min(switches, key=lambda one: one.at)
        at, steps = first.at, first.steps
        changed = {switch.position for switch in switches}
        places = tuple(
            Place(
                position=switch.position,
                at=switch.at,
                code=self.log.positions[switch.position].code,
                side=self.log.positions[switch.position].side,
                before=self._spec(switch.before[-1]),
                after=self._built(switch),
                lives_before=self.life.pick(np.array(switch.before)),
                lives_after=self.life.pick(np.array(switch.after)),
            )
            for switch in sorted(switches, key=lambda one: self.log.positions[one.position].code)
        )
        until = max(self._cycle(switch.after[-1]).ended for switch in switches)
        since = min((self._cycle(s.before[0]).started or -np.inf for s in switches), default=-np.inf)
        others = tuple(self._others(changed | self._partners(changed), at, since, until))
        before, after = (
            len({int(lot) for switch in switches for lot in self.life.lot[np.array(getattr(switch, name))] if lot >= 0})
            for name in ("before", "after")
        )
        begun = min((run.started for run in self.log.runs), default=at)
        year = min(max(at - begun, 0.0), YEAR_S)
        return MadeChange(
            die=self.log.die,
            code=self.log.code,
            at=at,
            steps=steps,
            places=places,
            others=others,
            lots=(before, after),
            hits_a_year_before=self._hits(at - year, at) / (year / YEAR_S) if year else 0.0,
            hits_since=self._hits(at, until),
            doubts=tuple(self._doubts(switches, several)),
        )

    def _built(self, switch: _Switch) -> EdgeSpec:
        """The edge as it is since, on the stock of before: what is otherwise is the change alone."""
        was, now = self._spec(switch.before[-1]), self._spec(switch.after[0])
        sorts = {step.sort for step in switch.steps}
        otherwise: dict = {}
        if STEEL in sorts or HARDNESS in sorts:
            otherwise |= {"steel": now.steel, "hardness_above_usual_hrc": now.hardness_above_usual_hrc}
        if COATING in sorts:
            otherwise["coating"] = now.coating
        if GAP in sorts:
            gap = self._cycle(switch.after[0]).build.gap_mm
            otherwise["gap_pct"] = None if gap is None else 100 * gap / was.thickness_mm
        return replace(was, **otherwise)

    def _hits(self, since: float, until: float) -> float:
        return float(sum(run.hits for run in self.log.runs if since < run.ended <= until))

    def _partners(self, changed: Iterable[int]) -> set[int]:
        """What cuts against the changed places."""
        of_code = {place.code: position for position, place in self.log.positions.items()}
        found = set()
        for position in changed:
            found |= {other for cut in self.log.cuts for other in (cut.upper, cut.lower)
                      if position in (cut.upper, cut.lower) and other is not None}  # fmt: skip
            found.add(of_code.get(partner_code(self.log.positions[position].code), position))
            found |= {of for code, of in of_code.items() if partner_code(code) == self.log.positions[position].code}
        return found - set(changed)

    def _others(
        self, but: set[int], at: float, since: float, until: float
    ) -> Iterator[tuple[LifeSamples, LifeSamples]]:
        """Places at which nothing was changed meanwhile: a cycle under way at the moment counts on both sides."""
        then = {(c.position, c.piece, c.started): c.hits for c in self.history.at(at) if c.open}
        for position, rows in self.by_place().items():
            mine = [n for n in rows if self._cycle(n).ended > since and (self._cycle(n).started or -np.inf) < until]
            if position in but or len(mine) < 2 or any(self._steps(one, other) for one, other in pairwise(mine)):
                continue
            before = [n for n in mine if self._cycle(n).ended <= at and not self._cycle(n).open]
            after = [n for n in mine if (self._cycle(n).started or -np.inf) >= at]
            sides = [self.life.pick(np.array(some, np.int64)) for some in (before, after)]
            for n in set(mine) - set(before) - set(after):
                cycle = self._cycle(n)
                hits = then.get((cycle.position, cycle.piece, cycle.started))
                if hits is None or cycle.touches:
                    continue
                one = self.life.pick(np.array([n]))
                hits = float(min(max(hits, one.from_hits[0]), one.hits[0]))
                sides[0] = LifeSamples.together(
                    [sides[0], LifeSamples.of([0], hits, SHARP, from_hits=float(one.from_hits[0]),
                                              unknown_age=bool(one.unknown_age[0]))]
                )  # fmt: skip
                lower = np.maximum(one.lower_hits, hits)
                sides[1] = LifeSamples.together([sides[1], replace(one, from_hits=np.array([hits]), lower_hits=lower)])
            yield sides[0], sides[1]

    def _doubts(self, switches: Sequence[_Switch], several: bool) -> Iterator[str]:
        """What makes it hard to tell what came of it."""
        if len(switches[0].steps) > 1:
            sorts = " and ".join(step.sort for step in switches[0].steps)
            yield f"Changed together: {sorts}. The effect of each cannot be told apart."
        if several:
            yield "Something else was changed on this die on the same day: the effect of each cannot be told apart."
        stocks = {name: self._stock([n for s in switches for n in getattr(s, name)]) for name in ("before", "after")}
        if stocks["before"] != stocks["after"]:
            was, now = (self._stock_words(stocks[name]) for name in ("before", "after"))
            yield f"The strip stock changed too, from {was} to {now}: part of the effect is the stock's."
        yield from self._pair_doubts(switches)

    def _pair_doubts(self, switches: Sequence[_Switch]) -> Iterator[str]:
        sorts = {step.sort for step in switches[0].steps}
        changed = {switch.position for switch in switches}
        for switch in switches:
            partners = self._partners([switch.position]) - changed
            moment = self._cycle(switch.after[-1]).ended
            for other in sorted(partners, key=lambda one: self.log.positions[one].code):
                mine, theirs = (cycles.gap_at(self.log, one, moment) for one in (switch.position, other))
                code, its = self.log.positions[switch.position].code, self.log.positions[other].code
                if GAP in sorts and mine and theirs and abs(theirs / mine - 1) > WIDER_SHARE:
                    yield (
                        f"The gap was changed at {code} alone; {its}, which cuts against it, still has the old one. "
                        "A gap belongs to the pair: correct one of them."
                    )

    def _stock(self, rows: Sequence[int]) -> int | None:
        """What most of these hits were run on; None: on several."""
        hits: dict[int, float] = defaultdict(float)
        for n in rows:
            cycle = self._cycle(n)
            hits[cycle.build.stock] += max(cycle.hits - cycle.from_hits, 0)
        if not hits:
            return None
        most = max(hits, key=lambda stock: (hits[stock], stock))
        return most if hits[most] >= OWN_STOCK * sum(hits.values()) or not sum(hits.values()) else None

    def _stock_words(self, stock: int | None) -> str:
        if stock is None:
            return "several"
        row = self.log.stocks[stock]
        return f"{row.material} {row.thickness_mm:g} mm, {row.tensile_mpa:g} MPa"


def _hard(build: cycles.Build) -> str:
    return build.tool_steel + (f" of {build.hardness_hrc:g} HRC" if build.hardness_hrc is not None else "")


def dull_ends(lives: LifeSamples) -> int:
    return int(((lives.ended == DULL) & ~lives.unknown_age).sum())


# --- what was promised ------------------------------------------------------------------------------------------------


@dataclass(frozen=True, kw_only=True)
class Promised:
    """What the forecast of then said of a change: how many times as long, (middle, low, high), at the changed edges
    and for the die. interval_hits: of the die before it; usual_hits: of each edge at work then, by position; empty
    where nothing was forecast of the die. dull_ends: of the shop by then."""

    times: tuple[float, float, float]
    of_die: tuple[float, float, float] | None
    interval_hits: float | None
    usual_hits: Mapping[int, float]
    shape: float
    dull_ends: int


def fit_known(plant: Plant, moment: dt.datetime) -> FleetFit:
    """The shop's fit as it could have been made at a moment, of what was recorded by then."""
    dies = list(Die.objects.filter(plant=plant).order_by("code"))
    return read_fleet(dies, moment, known_at=moment).fit()


def promised(die: Die, made: MadeChange, fit: FleetFit) -> Promised:
    """By what was known just before the change. fit: of that time."""
    at = made.at - BEFORE_S
    then = log_read.moment(at)
    known = fit if builds.has_record(fit) else None
    told = [
        handbook.times_by_handbook(place.before, [place.after])
        if known is None
        else handbook.times_expected(known, place.before, [place.after])
        for place in made.places
    ]
    times, low, high = (
        float(np.exp(np.mean([np.log(getattr(one, name)[0]) for one in told]))) for name in ("times", "low", "high")
    )
    log = log_read.of_die(die, known_at=then)
    part = samples.of_die(log, at)
    outlook = predict.tell_each([log], [part], fit, then, {})[0]
    if outlook.prediction is None or outlook.fresh is None:
        return Promised(times=(times, low, high), of_die=None, interval_hits=None, usual_hits={}, shape=fit.best.k,
                        dull_ends=fit.dull_ends)  # fmt: skip
    edges = [
        EdgeNow(
            position=position,
            code=log.positions[position].code,
            spec=part.specs[part.current[position]],
            usual_hits=outlook.edges[position].usual_hits / log.positions[position].stroke_share,
            tool_steel="",
            coating="",
            hardness_hrc=None,
        )
        for position in sorted(outlook.fresh_edges)
    ]
    changed = {place.position: place for place in made.places}
    built = [_as_after(edge.spec, changed[edge.position]) if edge.position in changed else edge.spec for edge in edges]
    of_die = times_with(fit, edges, built)
    return Promised(
        times=(times, low, high),
        of_die=tuple(map(float, np.quantile(of_die, [0.5, 0.1, 0.9]))),
        interval_hits=float(outlook.fresh.remaining[0.5]),
        usual_hits={edge.position: float(edge.usual_hits) for edge in edges},
        shape=fit.best.k,
        dull_ends=fit.dull_ends,
    )


def _as_after(spec: EdgeSpec, place: Place) -> EdgeSpec:
    """An edge as it stood then, with what the change makes otherwise."""
    names = ("steel", "hardness_above_usual_hrc", "coating", "gap_pct")
    otherwise = {name: now for name in names if (now := getattr(place.after, name)) != getattr(place.before, name)}
    return replace(spec, **otherwise)
