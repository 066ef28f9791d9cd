"""The decisions of the past again: what the advice would have said from what was known then, against what was done.

Glue: no mathematics, no pages. Decisions are the starts of jobs (run on, sharpen first, pull inside) and teardowns
(which edges to grind). The advice at a moment is that of policy/orders and policy/sets on
- the fit of the shop at the last origin of the track record before it (a quarter of a year apart),
- the die's own log as it was recorded at that very moment,
- what things cost by the log and the rates of that origin; prices of pieces and how the die is built are today's.
What came is read from today's log, and what never happened is priced by policy/replay on the law of today's fit.
"""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import asdict, dataclass, replace
from functools import partial

import numpy as np
from django.db import transaction
from django.utils import timezone

from diestore.register.models import Die, Plant
from diestore.service.failing import attempt
from maintenance.clockwork import usual
from maintenance.clockwork.cycles import Cycle, History
from maintenance.clockwork.rows import DieLog
from maintenance.life import fleet
from maintenance.log import read as log_read
from maintenance.models import (
    EVENTS,
    CostBearer,
    PastDecision,
    PastDecisions,
)
from maintenance.policy import Costs, Lives, decide, looks, of_die, worth_grinding
from maintenance.policy import replay as policy_replay
from maintenance.policy.replay import Bounds, Difference, TeardownDone

from . import decisions, predict, samples, store
from .fit import CODE_VERSION
from .fleet_log import DIES_AT_ONCE, Tell
from .past_moments import JOB, TEARDOWN, Moment, moments_of, orders_of

AT_ONCE = 40  # moments foretold together
MOST_DECISIONS = 3_000  # of a plant, the latest: a night has an end
FEW = 10  # decisions of which nothing is concluded


class NothingToReplay(ValueError):
    """No decision of the past can be looked back on; the message says why."""


@dataclass(frozen=True, kw_only=True)
class Advised:
    """pulls: hits of the job at which to tear the die down, 0 before it. grind: positions. gain: money that the advice
    was said to be worth then."""

    pulls: tuple[float, ...] = ()
    grind: frozenset[int] = frozenset()
    gain: float = 0.0


@dataclass(frozen=True, kw_only=True)
class Case:
    """A decision with its advice. codes: of the positions that the advice knew."""

    moment: Moment
    advised: Advised
    difference: Difference
    codes: Mapping[int, str]


@dataclass(frozen=True, kw_only=True)
class Replayed:
    """A whole look back. forced: starts of jobs that were no free choice, since an edge was known to be dull or
    chipped. untold: decisions on which the records of then gave no advice. left_out: earlier ones, beyond those that a
    night looks at. without_job: runs that name no job."""

    plant: Plant
    as_of: dt.datetime
    since: dt.datetime
    cases: tuple[Case, ...]
    forced: int
    untold: int
    left_out: int
    without_job: int


def compute(
    plant: Plant,
    fits: Mapping[dt.datetime, fleet.FleetFit],
    *,
    as_of: dt.datetime | None = None,
    tell: Tell | None = None,
    most: int = MOST_DECISIONS,
) -> Replayed:
    """Ask the advice again at every job and teardown since the first of the fits. Stores nothing.

    fits: the fit of the shop at moments of the past, on what was known then, as track_record.compute gives them. most:
    decisions, the latest ones. Raises NothingToReplay where there is none.
    """
    as_of = as_of or log_read.last_moment(plant)
    if as_of is None or not fits:
        raise NothingToReplay("Nothing was forecast yet that could have been followed.")
    tell = tell or (lambda words: None)
    tell("asking for advice on decisions of the past")
    origins, today = sorted(fits), store.fleet_of(plant)
    dies = list(Die.objects.filter(plant=plant).order_by("code"))
    orders = orders_of(plant)
    priced = _priced(dies, origins)
    cases: list[Case] = []
    forced = untold = without_job = 0
    found = [moments_of(some, orders, origins, as_of) for some in _blocks(dies)]
    every = sorted((m for moments, _, _ in found for m in moments), key=lambda m: (-m.at, m.die, m.kind))
    kept = {id(m) for m in every[:most]}
    for some, (moments, more_forced, unnamed) in zip(_blocks(dies), found, strict=True):
        forced, without_job = forced + more_forced, without_job + unnamed
        mine = [m for m in moments if id(m) in kept]
        made = list(_of_block(some, mine, fits, today, priced, as_of))
        untold += len(mine) - len(made)
        cases += made
    cases.sort(key=lambda c: (c.moment.at, c.moment.die, c.moment.kind))
    return Replayed(
        plant=plant,
        as_of=as_of,
        since=origins[0],
        cases=tuple(cases),
        forced=forced,
        untold=untold,
        left_out=max(len(every) - most, 0),
        without_job=without_job,
    )


def _blocks(dies: Sequence[Die]) -> list[Sequence[Die]]:
    return [dies[i : i + DIES_AT_ONCE] for i in range(0, len(dies), DIES_AT_ONCE)]


# --- what was known then ----------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class _Priced:
    """What things cost by the log and the rates of an origin: origin -> die -> its figures."""

    at: dict[dt.datetime, dict[int, decisions.Basis]]


def _priced(dies: Sequence[Die], origins: Sequence[dt.datetime]) -> _Priced:
    found: dict[dt.datetime, dict[int, decisions.Basis]] = {}
    for origin in origins:
        found[origin] = {}
        for some in _blocks(dies):
            hours = {log.die: usual.usual_hours(_upto(log, origin)) for log in log_read.of_dies(some, known_at=origin)}
            rows = [decisions.DieToPrice(die.pk, die.plant_id, hours.get(die.pk)) for die in some]
            found[origin] |= decisions.bases(rows, known_at=origin)
    return _Priced(found)


def _upto(log: DieLog, origin: dt.datetime) -> DieLog:
    return replace(log, works=tuple(w for w in log.works if w.at <= origin.timestamp()))


@dataclass(frozen=True)
class WrittenLater:
    """Stretches of time in which something that had happened, or had been entered wrongly, was not known: [since,
    until) of each entry of a die that was entered after it happened, or struck out."""

    gaps: list[tuple[float, float]]

    def knows(self, moment: float) -> bool:
        """Whether what was recorded then of the time before is what is recorded today."""
        return not any(since <= moment < until for since, until in self.gaps)


def written_later(dies: Sequence[Die]) -> dict[int, WrittenLater]:
    gaps: dict[int, set[tuple[float, float]]] = defaultdict(set)
    ids = [die.pk for die in dies]
    for model in (event for event in EVENTS if event is not CostBearer):  # who pays changes no decision
        names = {f.name for f in model._meta.get_fields()}
        path = "die" if "die" in names else "position__die" if "position" in names else None
        if path is None:
            continue
        rows = model.objects.filter(**{f"{path}__in": ids}).order_by()
        begun = "started" if model.__name__ == "Run" else "at"
        for die, at, recorded, struck in rows.values_list(path, begun, "recorded_at", "struck_at").distinct():
            if struck is None:
                gaps[die].add((at.timestamp(), recorded.timestamp()))
            else:  # it counted from when it was entered to when it was struck out
                gaps[die].add((recorded.timestamp(), struck.timestamp()))
    return {die: WrittenLater(sorted(g for g in some if g[0] < g[1])) for die, some in gaps.items()}


@dataclass(frozen=True)
class Told:
    """A die as today's records tell of it. part: of all its cycles, whatever its record was started anew for."""

    die: Die
    log: DieLog
    history: History
    later: WrittenLater
    part: samples.DieSamples

    @classmethod
    def of(cls, die: Die, log: DieLog, later: WrittenLater, as_of: dt.datetime) -> Told:
        history = History(log, as_of.timestamp())
        part = samples.of_die(replace(log, restarts=()), as_of.timestamp(), made=history.at(as_of.timestamp()))
        return cls(die, log, history, later, part)

    def known(self, moment: float) -> tuple[DieLog, list[Cycle] | None]:
        """The log as it was recorded at a moment, and its cycles where they are at hand: mostly nothing was entered
        late, and today's log is that of then."""
        if self.later.knows(moment):
            return self.log, self.history.at(moment)
        return log_read.of_die(self.die, known_at=log_read.moment(moment)), None


# --- the advice -------------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class _Stand:
    """How a die stood at a moment, for the engine."""

    moment: Moment
    log: DieLog
    part: samples.DieSamples


@dataclass(frozen=True)
class _Law:
    """positions: [edges] in the order of the arrays."""

    positions: list[int]
    now: Lives
    fresh: Lives
    chips: list[float]


def _of_block(
    dies: Sequence[Die],
    moments: Sequence[Moment],
    fits: Mapping[dt.datetime, fleet.FleetFit],
    today: fleet.FleetFit,
    priced: _Priced,
    as_of: dt.datetime,
) -> Iterator[Case]:
    if not moments:
        return
    by_pk, concerned = {die.pk: die for die in dies}, {m.die for m in moments}
    later = written_later(dies)
    told = {
        log.die: Told.of(by_pk[log.die], log, later.get(log.die, WrittenLater([])), as_of)
        for log in log_read.of_dies([die for die in dies if die.pk in concerned])
    }
    by_origin: dict[dt.datetime, list[Moment]] = defaultdict(list)
    for m in moments:
        by_origin[m.origin].append(m)
    differing: list[tuple[Moment, Advised, Costs, _Law]] = []
    for origin, mine in sorted(by_origin.items()):
        stands = []
        for m in mine:
            stands += attempt(partial(_stand, m, told[m.die]), lambda why: [], what=f"die {m.die} in the past")
        for stand, law in _laws(stands, fits[origin]):
            m = stand.moment
            costs = priced.at[origin][m.die].costs(law.positions, law.chips)
            for advised in attempt(partial(_advice, m, law, costs), lambda why: [], what="advice of the past"):
                if _is_same(m, advised, costs, law.positions):
                    codes = {p: stand.log.positions[p].code for p in law.positions}
                    yield Case(moment=m, advised=advised, difference=policy_replay.ALIKE, codes=codes)
                else:
                    differing.append((m, advised, costs, law))
    stands = [_stand_today(m, told[m.die]) for m, *_ in differing]
    priced_by = {id(m): law for stand, law in _laws(stands, today) for m in [stand.moment]}
    for m, advised, costs, then in differing:
        law = priced_by.get(id(m))
        if law is None or law.positions != then.positions:
            continue
        difference = attempt(
            lambda m=m, a=advised, c=costs, law=law: [_difference(m, a, c, law)],
            lambda why: [],
            what="a decision again",
        )
        codes = {p: told[m.die].log.positions[p].code for p in law.positions}
        yield from (Case(moment=m, advised=advised, difference=one, codes=codes) for one in difference)


def _working(log: DieLog, m: Moment, rows: Iterable[tuple[int, Cycle]]) -> list[tuple[int, Cycle]]:
    """Without the edges of inserts that lay on the shelf."""
    working = predict.fitted_positions(log, m.variant, m.at)
    return [r for r in rows if not r[1].open or working is None or r[1].position in working]


def _stand(m: Moment, told: Told) -> list[_Stand]:
    log, made = told.known(m.at)
    part = samples.of_die(log, m.at, made=made)
    rows = _working(log, m, part.rows)
    current = {c.position: n for n, c in rows if c.open and c.position in part.current}
    rows = [r for r in rows if not r[1].open or r[1].position in current]
    return [_Stand(m, log, replace(part, rows=rows, current=current))] if current else []


def _stand_today(m: Moment, told: Told) -> _Stand:
    """What today's records tell of the die as it stood then: of the edges at work all but what came of them after."""
    part = told.part
    number = {(c.position, c.piece, c.started): n for n, c in part.rows}
    then = {
        (c.position, c.piece, c.started): c
        for c in told.history.at(m.at)
        if c.open and (c.position, c.piece, c.started) in number
    }
    rows = [(n, replace(c, open=False) if c.open else c) for n, c in part.rows
            if (c.position, c.piece, c.started) not in then]  # fmt: skip
    under_way = _working(told.log, m, [(number[key], c) for key, c in then.items()])
    current = {c.position: n for n, c in under_way}
    return _Stand(m, told.log, replace(part, rows=rows + under_way, current=current, rest=0.0))


def _laws(stands: Sequence[_Stand], fitted: fleet.FleetFit) -> Iterator[tuple[_Stand, _Law]]:
    """What a fit says of dies as they stood, many at once; those it says nothing of are left out."""
    for i in range(0, len(stands), AT_ONCE):
        some = stands[i : i + AT_ONCE]

        def at_once(some: Sequence[_Stand] = some) -> list[tuple[_Stand, _Law]]:
            return list(_foretold(some, fitted))

        def one_by_one(why: str, some: Sequence[_Stand] = some) -> list[tuple[_Stand, _Law]]:
            found = []
            for stand in some:
                found += attempt(
                    partial(lambda s: list(_foretold([s], fitted)), stand), lambda why: [], what="the past"
                )
            return found

        yield from attempt(at_once, one_by_one, what="the past of some dies at once")


def _foretold(stands: Sequence[_Stand], fitted: fleet.FleetFit) -> Iterator[tuple[_Stand, _Law]]:
    gathered = samples.Gathered([stand.part for stand in stands])
    left, sharpened = predict.left_and_fresh(fitted, gathered)
    number = 0
    for stand, first in zip(stands, gathered.first, strict=True):
        if not stand.part.specs:
            continue
        now, fresh = left.get(number), sharpened.get(number)
        number += 1
        if now is None or fresh is None:
            continue
        edges = {p: first + n for p, n in stand.part.current.items()}
        positions = sorted(p for p, e in edges.items() if e in now.edges and e in fresh.edges)
        if not positions:
            continue
        per_million = predict.chips_of(fitted, stand.part)
        chips = [per_million[p] / 1e6 for p in positions]
        yield (
            stand,
            _Law(
                positions,
                decisions.lives_of(now.remaining, [now.edges[edges[p]].remaining for p in positions], chips),
                decisions.lives_of(fresh.remaining, [fresh.edges[edges[p]].remaining for p in positions], chips),
                chips,
            ),
        )


def _advice(m: Moment, law: _Law, costs: Costs) -> list[Advised]:
    if m.kind == JOB:
        told = decide(law.now, law.fresh, costs, m.job_hits, with_turns=False)
        pulls = ((0.0,) if told.best.sharpens_first else ()) + told.best.pulls
        return [Advised(pulls=pulls, gain=told.gain)]
    order_looks = len(looks(m.job_hits, costs.look_hits))
    long_run = of_die(law.fresh, costs, order_looks=order_looks)
    bad = np.array([p in m.bad for p in law.positions])
    choice = worth_grinding(law.now, law.fresh, costs, long_run, bad=bad)
    grind = frozenset(p for p, is_ in zip(law.positions, choice.grind, strict=True) if is_)
    return [Advised(grind=grind, gain=float(np.abs(choice.worth).sum()))]


def _is_same(m: Moment, advised: Advised, costs: Costs, positions: Sequence[int]) -> bool:
    if m.job is not None:
        return policy_replay.alike(advised.pulls, m.job, costs)
    return advised.grind == m.ground & frozenset(positions)


def _difference(m: Moment, advised: Advised, costs: Costs, law: _Law) -> Difference:
    costs = replace(costs, chip_rate=np.array(law.chips))
    if m.job is not None:
        order_looks = len(looks(m.job.hits, costs.look_hits))
        long_run = of_die(law.fresh, costs, order_looks=order_looks)
        return policy_replay.of_job(law.now, law.fresh, costs, long_run, advised.pulls, m.job)
    done = TeardownDone(
        ground=np.array([p in m.ground for p in law.positions]),
        hits=m.ahead,
        found_dull=np.array([m.found_dull.get(p, np.nan) for p in law.positions]),
    )
    return policy_replay.of_teardown(
        law.now, law.fresh, costs, np.array([p in advised.grind for p in law.positions]), done
    )


# --- kept for the pages -----------------------------------------------------------------------------------------------


def store_replayed(found: Replayed) -> PastDecisions:
    """Keep a look back; the cases of older ones are taken away."""
    with transaction.atomic():
        row = PastDecisions.objects.create(
            plant=found.plant, as_of=found.as_of, code_version=CODE_VERSION, sums=sums(found)
        )
        PastDecision.objects.filter(look_back__plant=found.plant).exclude(look_back=row).delete()
        PastDecision.objects.bulk_create(
            [_row(case, row) for case in found.cases if not case.difference.same], batch_size=500
        )
    return row


def store_refusal(plant: Plant, as_of: dt.datetime, reason: str) -> PastDecisions:
    """Keep that there was nothing to look back on, and why."""
    return PastDecisions.objects.create(plant=plant, as_of=as_of, code_version=CODE_VERSION, refusal=reason[:300])


def attempted(plant: Plant, fits: Mapping[dt.datetime, fleet.FleetFit]) -> tuple[Replayed | None, str]:
    """A look back, or why there is none: whatever it is, the record of the forecasts is kept without it."""

    def asked() -> tuple[Replayed | None, str]:
        try:
            return compute(plant, fits), ""
        except NothingToReplay as reason:
            return None, str(reason)

    return attempt(asked, lambda why: (None, why), what="the decisions of the past")


def look_back_and_store(
    plant: Plant,
    fits: Mapping[dt.datetime, fleet.FleetFit],
    *,
    tell: Tell | None = None,
    most: int = MOST_DECISIONS,
) -> PastDecisions:
    """Look back and keep what was found, or that there was nothing to look back on."""
    try:
        return store_replayed(compute(plant, fits, tell=tell, most=most))
    except NothingToReplay as reason:
        return store_refusal(plant, log_read.last_moment(plant) or timezone.now(), str(reason))


def _row(case: Case, look_back: PastDecisions) -> PastDecision:
    m, d = case.moment, case.difference
    codes = case.codes

    def named(positions: Iterable[int]) -> list[str]:
        return sorted(codes[p] for p in positions if p in codes)

    if m.job is not None:
        advised: dict = {"pulls": [round(p) for p in case.advised.pulls], "job_hits": round(m.job_hits)}
        done: dict = {
            "pulls": [round(p) for p in m.job.pulls],
            "stop": None if m.job.stop is None else round(m.job.stop),
            "torn": m.job.torn,
            "dull_at_start": m.job.dull_at_start,
        }
        hits = round(m.job.hits)
    else:
        advised = {"grind": named(case.advised.grind), "of": len(codes)}
        done = {
            "grind": named(m.ground),
            "bad": named(m.bad),
            "dull": named(m.found_dull),
            "still_runs": m.still_runs,
        }
        hits = round(m.ahead)
    return PastDecision(
        look_back=look_back,
        die_id=m.die,
        at=log_read.moment(m.at),
        kind=m.kind,
        job=m.number,
        hits=hits,
        advised=advised | {"gain": round(case.advised.gain, 2), "origin": m.origin.isoformat()},
        done=done,
        euros_low=d.euros.low,
        euros_expected=d.euros.expected,
        euros_high=d.euros.high,
        euros_variance=d.euros.variance,
        stops_low=d.stops.low,
        stops_expected=d.stops.expected,
        stops_high=d.stops.high,
        steel_low_mm=d.steel_mm.low,
        steel_expected_mm=d.steel_mm.expected,
        steel_high_mm=d.steel_mm.high,
    )


def sums(found: Replayed) -> dict:
    """What is kept of a look back: plain numbers by kind, in all and of each die."""
    by_kind: dict[str, dict] = {}
    for kind in (JOB, TEARDOWN):
        mine = [c for c in found.cases if c.moment.kind == kind]
        by_die: dict[int, list[Case]] = defaultdict(list)
        for case in mine:
            by_die[case.moment.die].append(case)
        by_kind[kind.value] = _sum(mine) | {
            "dies": {str(die): _sum(some) for die, some in sorted(by_die.items())},
        }
    return {
        "since": found.since.isoformat(),
        "kinds": by_kind,
        "forced": found.forced,
        "untold": found.untold,
        "left_out": found.left_out,
        "without_job": found.without_job,
    }


def _sum(cases: Sequence[Case]) -> dict:
    whole = policy_replay.total(c.difference for c in cases)

    def rounded(bounds: Bounds) -> dict:
        return {name: round(value, 3) for name, value in asdict(bounds).items()}

    return {
        "decisions": len(cases),
        "same": sum(c.difference.same for c in cases),
        "worse": sum(c.difference.euros.expected < 0 for c in cases),
        "first": log_read.moment(min(c.moment.at for c in cases)).isoformat() if cases else None,
        "euros": rounded(whole.euros),
        "stops": rounded(whole.stops),
        "steel_mm": rounded(whole.steel_mm),
    }
