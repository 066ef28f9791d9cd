"""One edge, put together for its page from the log, the stored fit and the forecasts. Reads only, no pages."""

from __future__ import annotations

import bisect
import datetime as dt
import statistics
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field

import numpy as np
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop

from diestore import units
from diestore.handbook import materials, tool_steels
from diestore.handbook.kinds import KINDS
from diestore.register.models import Output, Position
from maintenance.clockwork import cycles as clockwork_cycles
from maintenance.clockwork import states
from maintenance.clockwork.rows import DieLog, PositionRow, StockRow
from maintenance.clockwork.works import OPERATIONS
from maintenance.forecasts import builds, burr_limits, curves, samples, store
from maintenance.life import fleet, handbook, predict, weibull
from maintenance.life.cycles import DULL, EdgeSpec, LifeSamples, SampleRefused
from maintenance.log import queries, read
from maintenance.log.damage import Damage
from maintenance.models import DieForecast, EdgeForecast, Replacement, Run, Work
from maintenance.wording import numbers, rests

CYCLES_A_PAGE = 40
MATTERS, COSTS = 1.15, 1.3  # times as long: less is not worth a word, or not worth calling it the cause
AS_GOOD = 0.95  # of the best gap's life
SELDOM_DULL = 0.8  # share of the cycles cut short, from which it seldom gets to be dull
GAPS_TO_TRY = (8.0, 10.0, 12.0)  # % of thickness, per side
GAP_APART = 0.8  # a gap nearer than this to the present one is no other gap
STEELS_UPWARDS = ("D2", "M2", "PM", "carbide")  # by the interval that the wear model starts from
COATINGS_TO_TRY = ("TiN", "TiCN", "AlCrN")
HARDER_HRC = 2.0

# What a cycle's end is called where its bar stands, and how the bar is drawn.
DULL_END, CHIPPED_END, CUT_SHORT, UNDER_WAY = "dull", "chipped", "short", "open"


@dataclass(frozen=True, kw_only=True)
class EdgeCycle:
    """A cycle as its bar and its line say it. counted_as_planned: called dull at a round count, out of habit."""

    cycle: clockwork_cycles.Cycle
    number: int  # among all cycles of the position, from 1
    css: str
    word: str  # under the bar
    ended: str  # in the table
    found: str
    started: dt.datetime | None
    at: dt.datetime
    order: str
    coil: str
    removed_mm: float | None
    entry: tuple[str, int] | None  # the sort and number of the entry that ended it
    counted_as_planned: bool
    new_build: bool  # built otherwise than the cycle before
    goes_on: bool  # its edge was touched up and not renewed when the cycle before ended

    @property
    def hits(self) -> int:
        return self.cycle.hits


@dataclass(frozen=True, kw_only=True)
class EdgeBuild:
    """How the edge is or was built, and how it did so."""

    build: clockwork_cycles.Build
    stock: StockRow
    since: dt.datetime | None
    until: dt.datetime
    now: bool
    cycles: int
    dull: int
    chipped: int
    hits: int

    @property
    def gap_pct(self) -> float | None:
        gap = self.build.gap_mm
        return None if gap is None else 100 * gap / self.stock.thickness_mm


@dataclass(frozen=True, kw_only=True)
class Alternative:
    """The edge built otherwise. asked: as the form's fields would say it."""

    words: str
    what_if: handbook.WhatIf
    asked: dict[str, str] = field(default_factory=dict)


@dataclass(frozen=True, kw_only=True)
class OwnRecord:
    """What the cycles of one edge, or of some together, say by themselves."""

    codes: list[str]
    cycles: int
    dull: int
    survival: weibull.Survival | None
    fit: weibull.WeibullFit | None
    refusal: str
    longest_hits: float
    least_hits: float | None  # with no dull end: half last at least this long, 9 times in 10


@dataclass(frozen=True, kw_only=True)
class EdgeState:
    """Everything that an edge's page shows. spec, fresh and what rests on them are None where nothing cuts there."""

    position: Position
    system: units.System
    kind: str
    now: dt.datetime
    cuts: bool
    state: states.PositionState
    log: DieLog
    forecast: DieForecast | None
    edge: EdgeForecast | None
    refusal: str
    wrong: tuple[Damage, ...]  # with the die
    spec: EdgeSpec | None
    fit: fleet.FleetFit
    fresh: predict.EdgePrediction | None
    expected: handbook.Interval | None
    shape: float
    rows: list[tuple[int, clockwork_cycles.Cycle]]  # all cycles of all edges of the die
    life: LifeSamples  # one row for each of these
    specs: list[EdgeSpec]
    current: dict[int, int]
    cycles: list[tuple[int, clockwork_cycles.Cycle]]  # row, cycle: those of this position
    builds: list[EdgeBuild]
    others: list[PositionRow]  # further cutting positions of the die

    @property
    def limits(self) -> bool:
        return self.forecast is not None and self.forecast.limiting_id == self.position.pk

    @property
    def times_expected(self) -> float | None:
        """Its usual hits over what is expected of such an edge here."""
        if self.fresh is None or self.expected is None:
            return None
        return self.fresh.usual_hits / self.expected.usual_hits

    @property
    def burr_limit(self) -> dict | None:
        """The burr limit that what is left of it counts to, as it is stored."""
        return self.edge.rests_on.get("burr_limit") if self.edge else None

    @property
    def started_anew(self) -> dt.datetime | None:
        """From when on the die's record counts, where it was started anew."""
        moment = max((at for at in self.log.restarts if at <= self.now.timestamp()), default=None)
        return None if moment is None else read.moment(moment)

    @property
    def open_cycle(self) -> clockwork_cycles.Cycle | None:
        return next((c for _, c in self.cycles if c.open), None)


def of_position(position: Position, system: units.System) -> EdgeState:
    """The same number of queries however many cycles there are."""
    die = position.die
    log = read.of_die(die)
    forecast = queries.newest_forecast(die)
    edge = forecast.edges.filter(position=position).first() if forecast else None
    now = forecast.as_of if forecast else read.last_moment(die.plant) or timezone.now()
    part = samples.of_die(log, now.timestamp(), built_at=timezone.now().timestamp())
    gathered = samples.Gathered([part])
    specs, life = gathered.specs, gathered.life
    fit = store.fleet_of(die.plant)
    number = part.current.get(position.pk)
    fresh = _fresh(fit, specs, life, number, position)
    mine = [(row, c) for row, (_, c) in enumerate(part.rows) if c.position == position.pk]
    cutting = clockwork_cycles.cutting_positions(log)
    expected = handbook.expected_interval(fit, specs[number]) if number is not None else None
    refusal = (edge.refusal if edge else "") or part.refused.get(position.pk, "")
    return EdgeState(
        position=position,
        system=system,
        kind=KINDS[position.kind].name,
        now=now,
        cuts=position.pk in cutting,
        state=states.states(log, now.timestamp())[position.pk],
        log=log,
        forecast=forecast,
        edge=edge if edge and edge.remaining else None,
        refusal=refusal,
        wrong=tuple(map(Damage.of_kept, forecast.damage)) if forecast else (),
        spec=specs[number] if number is not None else None,
        fit=fit,
        fresh=fresh,
        expected=expected,
        shape=curves.shape_of(fit),
        rows=part.rows,
        life=life,
        specs=specs,
        current=part.current,
        cycles=mine,
        builds=_builds(log, [c for _, c in mine]),
        others=sorted(
            (log.positions[p] for p in part.current if p != position.pk), key=lambda place: place.code
        ),
    )  # fmt: skip


def _fresh(fit, specs, life, number: int | None, position: Position) -> predict.EdgePrediction | None:
    """What the shop's fit and its own record say of the edge once it is sharpened."""
    if number is None:
        return None
    outlook = predict.predict_fleet(fit, specs, samples.sharpened_now(life)).get(0)
    return outlook.edges.get(number) if outlook else None


# --- cycles -----------------------------------------------------------------------------------------------------------


def cycles_shown(edge: EdgeState, chosen: Sequence[int]) -> list[EdgeCycle]:
    """The cycles of these places in `edge.cycles`, with the entry that ended each, its order and its coil."""
    works, changes = _ends(edge.position)
    runs = _runs(edge.position)
    starts = [run[0] for run in runs]
    made = []
    for i in chosen:
        row, cycle = edge.cycles[i]
        end = None
        if not cycle.open:
            end = works.get(cycle.ended) or changes.get(cycle.ended)
        ran = bisect.bisect_left(starts, cycle.ended) - 1
        order, coil = (runs[ran][1] or "", runs[ran][2]) if ran >= 0 else ("", "")
        if ran >= 0 and cycle.started is not None and runs[ran][3] <= cycle.started:
            order, coil = "", ""  # nothing ran in it
        css, word, ended = _said(cycle, end)
        made.append(
            EdgeCycle(
                cycle=cycle,
                number=i + 1,
                css=css,
                word=word,
                ended=ended,
                found=end["found"] if end else "",
                started=None if cycle.started is None else read.moment(cycle.started),
                at=read.moment(cycle.ended),
                order=order,
                coil=coil,
                removed_mm=end.get("removed_mm") if end else None,
                entry=(end["sort"], end["pk"]) if end else None,
                counted_as_planned=cycle.ended_as == "dull" and edge.life.ended[row] != DULL,
                new_build=i > 0 and edge.cycles[i - 1][1].build != cycle.build,
                goes_on=_goes_on(works.get(cycle.started)),
            )
        )
    return made


def _ends(position: Position) -> tuple[dict[float, dict], dict[float, dict]]:
    """What may have ended a cycle, by its moment: works on the edge, and replacements."""
    on_the_edge = [key for key, operation in OPERATIONS.items() if operation.fresh_edge or operation.in_between]
    works = Work.objects.standing().filter(position=position, operation__in=on_the_edge)
    changes = Replacement.objects.standing().filter(position=position, since_start=False)
    columns = ("pk", "at", "why", "found")
    by_work = {
        row["at"].timestamp(): row | {"sort": "work"} for row in works.values(*columns, "removed_mm", "operation")
    }
    by_change = {row["at"].timestamp(): row | {"sort": "replacement"} for row in changes.values(*columns)}
    return by_work, by_change


def _goes_on(begun_with: dict | None) -> bool:
    return begun_with is not None and OPERATIONS[begun_with["operation"]].in_between


def _runs(position: Position) -> list[tuple[float, str | None, str, float]]:
    """(start, order, coil, end) of the die's runs, by start."""
    runs = Run.objects.standing().filter(die=position.die_id).order_by("started")
    return [
        (started.timestamp(), number, lot, ended.timestamp())
        for started, number, lot, ended in runs.values_list("started", "order__number", "lot", "at")
    ]


SHORT_WHY = {
    "with set": gettext_noop("set"),
    "planned": gettext_noop("planned"),
    "engineering change": gettext_noop("change"),
    "ground out": gettext_noop("used up"),
}
LONG_WHY = {
    "with set": gettext_noop("still sharp, ground with the set"),
    "planned": gettext_noop("still sharp, ground as planned"),
    "engineering change": gettext_noop("still sharp, changed"),
    "ground out": gettext_noop("still sharp, ground away"),
    "first": gettext_noop("still sharp, another fitted"),
}


SHARP, STILL_SHARP = gettext_noop("sharp"), gettext_noop("still sharp")


def _said(cycle: clockwork_cycles.Cycle, end: dict | None) -> tuple[str, str, str]:
    """The class of a cycle's bar, the word under it, and how it ended in words."""
    if cycle.open:
        return UNDER_WAY, _("now"), _("under way")
    why, found = (end["why"], end["found"]) if end else ("", "")
    if cycle.ended_as == "dull":
        return DULL_END, _("dull"), _("dull")
    if cycle.ended_as == "chipped":
        word = _("broken") if "broken" in (why, found) else _("chipped")
        return CHIPPED_END, word, word
    if found == "galled":
        return CUT_SHORT, _("galled"), _("galled, its edge still sharp")
    return CUT_SHORT, _(SHORT_WHY.get(why, SHARP)), _(LONG_WHY.get(why, STILL_SHARP))


def _builds(log: DieLog, cycles: Iterable[clockwork_cycles.Cycle]) -> list[EdgeBuild]:
    """The builds of a position, the present one first."""
    by_build: dict[clockwork_cycles.Build, list[clockwork_cycles.Cycle]] = {}
    for cycle in cycles:
        by_build.setdefault(cycle.build, []).append(cycle)
    made = []
    for build, rows in by_build.items():
        ended = [c for c in rows if not c.open]
        starts = [c.started for c in rows]
        made.append(
            EdgeBuild(
                build=build,
                stock=log.stocks[build.stock],
                since=None if None in starts else read.moment(min(starts)),
                until=read.moment(max(c.ended for c in rows)),
                now=len(ended) < len(rows),
                cycles=len(ended),
                dull=sum(c.ended_as == "dull" for c in ended),
                chipped=sum(c.ended_as == "chipped" for c in ended),
                hits=sum(c.hits - c.from_hits for c in rows),
            )
        )
    return sorted(made, key=lambda b: (not b.now, -b.until.timestamp()))


# --- its own record ---------------------------------------------------------------------------------------------------


def own_record(edge: EdgeState, also: Iterable[int] = ()) -> OwnRecord:
    """The cycles of the edge as it is built now, alone or together with those of further positions of the die."""
    chosen = [p for p in (edge.position.pk, *also) if p in edge.current]
    mine = {edge.current[p] for p in chosen}
    rows = np.array([number in mine for number, _ in edge.rows], bool)
    sample = edge.life.pick(rows) if len(edge.rows) else edge.life
    sample = sample.pick(~sample.unknown_age)
    codes = sorted(edge.log.positions[p].code for p in chosen)
    dull = int((sample.ended == DULL).sum())
    ended = int((~sample.under_way).sum())
    longest = float(sample.hits.max()) if len(sample) else 0.0
    counts = {"codes": codes, "cycles": ended, "dull": dull, "longest_hits": longest}
    survival = weibull.kaplan_meier(sample) if dull else None
    try:
        with np.errstate(over="ignore", invalid="ignore"):  # what lies beyond all numbers is refused below
            fit, refusal = weibull.fit_sample(sample), ""
    except weibull.NotEnough as reason:
        fit, refusal = None, f"{reason}."
    least = None
    if not dull and longest > 0:
        scale = weibull.least_scale(sample.hits, edge.shape, confidence=0.9)
        least = scale * float(np.log(2.0) ** (1 / edge.shape))
    return OwnRecord(**counts, survival=survival, fit=fit, refusal=refusal, least_hits=least)


# --- built otherwise --------------------------------------------------------------------------------------------------


def what_if(edge: EdgeState, **asked) -> handbook.WhatIf:
    """The usual hits with another gap_pct, tool_steel, coating, hardness_hrc. Raises SampleRefused."""
    after = builds.built_otherwise(edge.spec, **asked)
    return handbook.what_if(edge.fit, edge.spec, after, known=edge.fresh)


def alternatives(edge: EdgeState) -> list[Alternative]:
    """A few other builds worth a look: other gaps, the next steels upwards, coatings, two points harder; both best."""
    if edge.spec is None:
        return []
    gaps = {
        gap: _tried(edge, _("gap {pct:g} %").format(pct=gap), {"gap": f"{gap:g}"}, gap_pct=gap)
        for gap in _gaps_apart(edge.spec)
    }
    steels = {
        name: _tried(edge, builds.steel_words(name), {"steel": name}, tool_steel=name)
        for name in _steels_above(edge.spec.steel)[:2]
    }
    coatings = [
        _tried(edge, _("{coating} coating").format(coating=name), {"coating": name}, coating=name)
        for name in (COATINGS_TO_TRY if edge.spec.coating == "none" else ())
    ]
    made = [*gaps.values(), *steels.values(), *coatings, _harder(edge), _steel_and_gap(edge, gaps, list(steels))]
    return [one for one in made if one is not None]


def _tried(edge: EdgeState, words: str, shown: dict[str, str], **asked) -> Alternative | None:
    try:
        return Alternative(words=words, what_if=what_if(edge, **asked), asked=shown)
    except SampleRefused:
        return None


def _gaps_apart(spec: EdgeSpec) -> list[float]:
    """The gaps to try that are another than its own; none where its own is not known."""
    return [] if spec.gap_pct is None else [gap for gap in GAPS_TO_TRY if abs(gap - spec.gap_pct) >= GAP_APART]


def _harder(edge: EdgeState) -> Alternative | None:
    """Two points harder, where its steel can be."""
    build = edge.open_cycle.build if edge.open_cycle else None
    if build is None or build.hardness_hrc is None:
        return None
    grade, harder = tool_steels.grade(build.tool_steel), build.hardness_hrc + HARDER_HRC
    if grade is None or grade.hrc is None or harder > grade.hrc[1]:
        return None
    return _tried(edge, f"{harder:g} HRC", {"hardness": f"{harder:g}"}, hardness_hrc=harder)


def _steel_and_gap(edge: EdgeState, gaps: dict[float, Alternative | None], steels: list[str]) -> Alternative | None:
    """The next steel upwards with the best of the gaps, where that gap matters."""
    best = max((gap for gap, one in gaps.items() if one), key=lambda gap: gaps[gap].what_if.times, default=None)
    if best is None or not steels or gaps[best].what_if.times <= MATTERS:
        return None
    words = _("{steel} and gap {pct:g} %").format(steel=builds.steel_words(steels[0]), pct=best)
    return _tried(edge, words, {"steel": steels[0], "gap": f"{best:g}"}, tool_steel=steels[0], gap_pct=best)


def _steels_above(steel: str | None) -> list[str]:
    if steel not in STEELS_UPWARDS:
        return list(STEELS_UPWARDS[1:] if steel in ("A2", None) else STEELS_UPWARDS[2:])
    return list(STEELS_UPWARDS[STEELS_UPWARDS.index(steel) + 1 :])


# --- why --------------------------------------------------------------------------------------------------------------


def reasons(edge: EdgeState, others: Sequence[Alternative]) -> list[str]:
    """Why it goes dull when it does, as far as the records say: plain sentences, the weightiest first."""
    if edge.fresh is None or edge.expected is None:
        return []
    sentences = [_against_expected(edge)]
    sentences += _of_the_gap(edge, [a for a in others if set(a.asked) == {"gap"}])
    steels = [a for a in others if set(a.asked) == {"steel"}]
    if steels and steels[0].what_if.times >= MATTERS:
        a = steels[0]
        sentences.append(
            _("In {steel} it would last about {times:.1f} times as long ({low:.1f} to {high:.1f}).").format(
                steel=a.words, times=a.what_if.times, low=a.what_if.times_low, high=a.what_if.times_high
            )
        )
    ended = [c for _, c in edge.cycles if not c.open]
    chipped = sum(c.ended_as == "chipped" for c in ended)
    if chipped >= 2 and chipped >= 0.2 * len(ended):
        sentences.append(
            _(
                "{chipped} of its {ended} intervals ended chipped or broken: that is shock (a misfeed, a slug, "
                "a thin or badly guided punch), which neither gap nor a harder steel mends."
            ).format(chipped=chipped, ended=len(ended))
        )
    short = [c.hits for c in ended if c.ended_as == "sharp"]
    if len(ended) >= 5 and len(short) >= SELDOM_DULL * len(ended):
        sentences.append(
            _(
                "It seldom gets as far as dull: {short} of its {ended} intervals were cut short, half of them "
                "at {hits} hits or sooner. Another edge or the schedule brings the die out first."
            ).format(short=len(short), ended=len(ended), hits=numbers.hits(statistics.median(short)))
        )
    return sentences


def _of_the_gap(edge: EdgeState, gaps: Sequence[Alternative]) -> list[str]:
    """The nearest of the gaps that would do it as much good as any."""
    if edge.spec.gap_pct is None:
        return [_("Its gap is not known, so neither is what the gap does to it.")]
    if not gaps:
        return []
    most = max(a.what_if.times for a in gaps)
    as_good = [a for a in gaps if a.what_if.times >= AS_GOOD * most]
    best = min(as_good, key=lambda a: abs(float(a.asked["gap"]) - edge.spec.gap_pct))
    change = best.what_if
    if change.times < MATTERS:
        return [_("Its gap of {pct:.1f} % is not what shortens its life.").format(pct=edge.spec.gap_pct)]
    if change.times >= COSTS:
        first = _("Its gap of {pct:.1f} % costs life:").format(pct=edge.spec.gap_pct)
    else:
        first = _("Its gap of {pct:.1f} % could be a little better:").format(pct=edge.spec.gap_pct)
    if change.times_low > 1:
        then = _("at {pct} % it would last about {times:.1f} times as long (8 in 10: {low:.1f} to {high:.1f}).")
    else:
        then = _(
            "at {pct} % it would last about {times:.1f} times as long (8 in 10: {low:.1f} to {high:.1f}), though that "
            "is not sure."
        )
    figures = {"times": change.times, "low": change.times_low, "high": change.times_high}
    return [f"{first} {then.format(pct=best.asked['gap'], **figures)}"]


def _against_expected(edge: EdgeState) -> str:
    times, low, high = edge.times_expected, edge.expected.low_hits, edge.expected.high_hits
    usual = edge.fresh.usual_hits
    if usual < low:
        said = _(
            "Out of line: {such} hits expected of this build, and fewer than 1 in 10 last as short as its {usual}."
        )
    elif usual > high:
        said = _(
            "Better than most: {such} hits expected of this build, and fewer than 1 in 10 last as long as its {usual}."
        )
    elif times < 1 / MATTERS:
        said = _("On the short side but normal: {such} hits expected of this build, it makes {usual}.")
    elif times > MATTERS:
        said = _("On the long side: {such} hits expected of this build, it makes {usual}.")
    else:
        said = _("It lasts as long as its build should: {such} hits expected of this build, it makes {usual}.")
    return said.format(such=numbers.hits(edge.expected.usual_hits), usual=numbers.hits(usual))


def gap_guidance(edge: EdgeState) -> list[materials.GapGuidance]:
    if edge.open_cycle is None:
        return []
    stock = edge.log.stocks[edge.open_cycle.build.stock]
    return list(materials.gap_guidance(stock.material, stock.tensile_mpa))


# --- readings ---------------------------------------------------------------------------------------------------------


@dataclass(frozen=True, kw_only=True)
class ReadCycle:
    """The readings of one quantity in one cycle, in SI."""

    css: str
    hits: list[int]
    values_si: list[float]


def edge_readings(edge: EdgeState) -> dict[str, list[ReadCycle]]:
    """What was measured of the edge's wear, cycle by cycle, for each quantity that tells of it."""
    by_quantity: dict[str, list[ReadCycle]] = {}
    for _row, cycle in edge.cycles:
        for quantity in samples.QUANTITIES:
            rows = [(at, value) for at, name, value in cycle.readings if name.strip().lower() == quantity]
            if rows:
                css = _said(cycle, None)[0]
                by_quantity.setdefault(quantity, []).append(
                    ReadCycle(css=css, hits=[at for at, _ in rows], values_si=[value for _, value in rows])
                )
    return by_quantity


def burr_limit_um(position: Position) -> float | None:
    """The tightest burr limit of the parts that the die makes."""
    limits = Output.objects.filter(variant__die=position.die_id, part__burr_limit_um__isnull=False)
    return min(limits.values_list("part__burr_limit_um", flat=True), default=None)


def rests_on(edge: EdgeState) -> str:
    """What the figures rest on, in a few sentences."""
    if edge.fresh is None:
        return ""
    r = edge.fresh.rests_on
    first = rests.on_record(r.cycles, r.dull_ends, r.chipped_ends, "edge", edge.fit.cycles)
    sentence = f"{first}. {rests.unsure(r.prior_share)}: {r.words}."
    if edge.burr_limit:
        limit = burr_limits.sentence(edge.burr_limit, units.show(edge.burr_limit["um"], "burr_um", edge.system))
        counts = _("What is left of it now: {limit} All else here counts to dull.")
        sentence += f" {counts.format(limit=limit[:1].lower() + limit[1:])}"
    return sentence
