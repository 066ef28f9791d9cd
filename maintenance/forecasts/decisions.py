"""What decisions on a die rest on: its stored forecast, what an hour costs here, and what is assumed where nobody said.

From rows to the inputs of maintenance/policy. What is not in the register or the log is taken from `ASSUMED`, and every
figure carries where it comes from, so that a page can say so and let it be changed.
"""

from __future__ import annotations

import datetime as dt
import math
from bisect import bisect_left
from collections import Counter, defaultdict
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import TypeVar

import numpy as np
from django.db.models import Avg, Q, QuerySet, Sum
from django.utils import timezone

from diestore.register.models import Die, Output, Position, Rate
from maintenance.log import bench_reads
from maintenance.log.damage import Damage
from maintenance.log.queries import on_the_shelf, open_orders
from maintenance.models import BenchPiece, BenchWork, DieForecast, EdgeForecast, Event, Run, Stop, Work
from maintenance.policy import Costs, Decision, Lives, decide, looks, run_or_sharpen
from maintenance.policy.replacement import interval, sums

from .stored import chance_of_going

P = TypeVar("P", str, float)  # a chance, as a number or as a stored key

FROM_RECORDS, SHOPS_OWN, TYPED, NOT_NAMED = "records", "rates", "typed", "assumed"

# Where neither register nor log says it: common practice, no source. Each may be changed on the page.
ASSUMED = {
    "toolroom_rate": 60.0,  # an hour
    "press_rate": 90.0,
    "sorting_rate": 35.0,
    "hours": 4.0,  # of a sharpening of the whole set
    "apart_share": 0.4,  # of them for pulling the die, taking it apart, putting it back and trying it out
    "stop_minutes": 60.0,  # that the press waits when a job is broken off
    "look_hits": 5_000.0,
    "sorted_an_hour": 4_000.0,  # parts
    "part_worth": 0.02,  # of a scrapped part
    "grind_mm": 0.1,
    "reading_minutes": 5.0,  # to measure one burr
}
MAY_BE_NOUGHT = ("part_worth", "reading_minutes")
YEARS_LOOKED_BACK = 3
SOME_JOB = 10_000  # hits, where no job is open
JOB_HITS = np.geomspace(1_000, 1_000_000, 13)  # of a job: where the advice is kept


@dataclass(frozen=True, kw_only=True)
class Figure:
    """value, and where it comes from: "records", the shop's "rates", "typed" on the page, or "assumed"."""

    value: float
    source: str

    @property
    def assumed(self) -> bool:
        return self.source == NOT_NAMED


@dataclass(frozen=True, kw_only=True)
class Basis:
    """What decisions on one die cost, figure by figure: the keys of ASSUMED. steel: [of each position] money that a
    grind takes off its piece; removed_mm: of a grind, by position."""

    figures: Mapping[str, Figure]
    parts_per_hit: int
    steel: Mapping[int, float]
    removed_mm: Mapping[int, float]

    def __getitem__(self, name: str) -> float:
        return self.figures[name].value

    @property
    def assumed(self) -> list[str]:
        return [name for name, figure in self.figures.items() if figure.assumed]

    def costs(self, positions: Sequence[int], chips_a_hit: Sequence[float]) -> Costs:
        """Of a die with these edges."""
        n, hours = len(positions), self["hours"]
        grind_hours = hours * (1 - self["apart_share"]) / max(n, 1)
        parts = self["look_hits"] * self.parts_per_hit
        stop_hours = self["stop_minutes"] / 60
        steel = np.array([self.steel.get(p, 0.0) for p in positions])
        pull = stop_hours * self["press_rate"]
        return Costs(
            teardown=hours * self["apart_share"] * self["toolroom_rate"],
            grind=grind_hours * self["toolroom_rate"] + steel,
            dull=parts / self["sorted_an_hour"] * self["sorting_rate"] + parts / 2 * self["part_worth"],
            pull=pull,
            chip=pull + float(steel.max(initial=0.0)),
            chip_rate=np.asarray(chips_a_hit, float),
            look_hits=self["look_hits"],
            teardown_hours=hours * self["apart_share"],
            grind_hours=np.full(n, grind_hours),
            swap_hours=grind_hours / 2,
            stop_hours=stop_hours,
            scrap_parts=parts / 2,
            grind_mm=np.array([self.removed_mm.get(p, self["grind_mm"]) for p in positions]),
        )


@dataclass(frozen=True)
class DieToPrice:
    """A die, its plant, and the hours that a sharpening of it takes, where known."""

    pk: int
    plant: int
    hours: float | None


def bases(
    dies: Iterable[DieToPrice], typed: Mapping[str, float] | None = None, *, known_at: dt.datetime | None = None
) -> dict[int, Basis]:
    """Of some dies, by six questions. typed: figures that somebody gave on the page, by the names of ASSUMED. known_at:
    from the log as it was known then, and by the rates of that day."""
    dies = list(dies)
    ids = [die.pk for die in dies]
    since = (known_at or timezone.now()) - dt.timedelta(days=365 * YEARS_LOOKED_BACK)
    rates = _rates({die.plant for die in dies}, known_at)
    waits = dict(
        _entries(Stop, known_at)
        .filter(Q(planned=True) | Q(cause=Stop.Cause.SETTING), die__in=ids, at__gte=since)
        .order_by()
        .values("die_id")
        .annotate(mean=Avg("minutes"))
        .values_list("die_id", "mean")
    )
    runs = _entries(Run, known_at).filter(die__in=ids, at__gte=since).order_by().values("die_id")
    usual_run = dict(runs.annotate(mean=Avg("hits")).values_list("die_id", "mean"))
    outputs = Output.objects.filter(variant__die__in=ids, variant__is_default=True).values("variant__die_id")
    per_hit = dict(outputs.annotate(n=Sum("parts_per_hit")).values_list("variant__die_id", "n"))
    removed: dict[int, dict[int, float]] = defaultdict(dict)
    grinds = _entries(Work, known_at).filter(position__die__in=ids, operation="ground", removed_mm__gt=0, at__gte=since)
    of_place = grinds.order_by().values("position__die_id", "position_id").annotate(mean=Avg("removed_mm"))
    for die, position, mean in of_place.values_list("position__die_id", "position_id", "mean"):
        removed[die][position] = mean
    steel: dict[int, dict[int, float]] = defaultdict(dict)
    priced = Position.objects.filter(die__in=ids, item__unit_price__isnull=False, item__grind_allowance_mm__gt=0)
    columns = ("die_id", "pk", "item__unit_price", "item__grind_allowance_mm")
    for die, position, price, allowance in priced.order_by().values_list(*columns):
        mm = removed[die].get(position, ASSUMED["grind_mm"])
        steel[die][position] = float(price) * min(mm / allowance, 1.0)
    return {
        die.pk: Basis(
            figures=_figures(die, rates.get(die.plant, {}), waits.get(die.pk), usual_run.get(die.pk), typed or {}),
            parts_per_hit=per_hit.get(die.pk) or 1,
            steel=steel[die.pk],
            removed_mm=removed[die.pk],
        )
        for die in dies
    }


def _entries(model: type[Event], known_at: dt.datetime | None) -> QuerySet:
    """Those that count, or those that counted at a moment."""
    return model.objects.standing() if known_at is None else model.objects.known_at(known_at).filter(at__lte=known_at)


def _rates(plants: Collection[int], known_at: dt.datetime | None = None) -> dict[int, dict[str, float]]:
    """What an hour costs today, or cost on a day, by plant and kind."""
    found: dict[int, dict[str, float]] = defaultdict(dict)
    day = timezone.localdate(known_at)
    rows = Rate.objects.filter(plant__in=list(plants), valid_from__lte=day).order_by("valid_from")
    for plant, kind, amount in rows.values_list("plant_id", "kind", "amount"):
        found[plant][kind] = float(amount)
    return found


def _figures(
    die: DieToPrice, rates: Mapping[str, float], wait: float | None, run: float | None, typed: Mapping[str, float]
) -> dict[str, Figure]:
    known = {"hours": die.hours, "stop_minutes": wait, "look_hits": run}
    percent = rates.get(Rate.Kind.REFIT_PERCENT)
    own = {
        "toolroom_rate": rates.get(Rate.Kind.TOOLROOM_HOUR),
        "press_rate": rates.get(Rate.Kind.PRESS_HOUR),
        "sorting_rate": rates.get(Rate.Kind.SORTING_HOUR),
        "sorted_an_hour": rates.get(Rate.Kind.PARTS_SORTED),
        "part_worth": rates.get(Rate.Kind.SCRAPPED_PART),
        "apart_share": None if percent is None else percent / 100,
        "reading_minutes": rates.get(Rate.Kind.READING_MINUTES),
    }

    def figure(name: str) -> Figure:
        if (value := typed.get(name)) is not None:
            return Figure(value=value, source=TYPED)
        if (value := own.get(name)) is not None and (value > 0 or name in MAY_BE_NOUGHT):
            return Figure(value=value, source=SHOPS_OWN)
        if value := known.get(name):
            return Figure(value=value, source=FROM_RECORDS)
        return Figure(value=ASSUMED[name], source=NOT_NAMED)

    return {name: figure(name) for name in ASSUMED}


@dataclass(frozen=True, kw_only=True)
class EdgeAhead:
    """An edge of a die that works, as its forecast is stored."""

    position: int
    code: str
    kind: str
    on_it: int
    chance_first: float
    thickness_mm: float | None
    usual_hits: int | None = None


@dataclass(frozen=True, kw_only=True)
class DieAhead:
    """A die as decisions see it. edges: in the order of the arrays in now, fresh and costs. bad: numbers of edges that
    are known to be damaged; anywhere_bad: something is wrong and nobody knows at which edge."""

    die: int
    edges: tuple[EdgeAhead, ...]
    now: Lives
    fresh: Lives
    costs: Costs
    basis: Basis
    ln_sd: float
    limiting: int | None
    bad: tuple[int, ...] = ()
    damage: tuple[Damage, ...] = field(default=())

    @property
    def damaged(self) -> bool:
        return bool(self.damage)

    @property
    def edges_are_fine(self) -> bool:
        """What is wrong with it lies elsewhere: at pieces without an edge, which no grinding puts right."""
        return bool(self.damage) and not self.bad and all(one.position is not None for one in self.damage)

    def decide(self, job_hits: float, *, on_shelf: Iterable[int] = (), with_turns: bool = True) -> Decision:
        """Of a job. Damage that nobody traced to a place is taken for the edge that limits the die; of damage elsewhere
        than at its edges the decision is that of the die once it is put right."""
        bad = self.bad
        if self.damaged and not bad and not self.edges_are_fine:
            bad = (self.limiting or 0,)
        return decide(
            self.now,
            self.fresh,
            self.costs,
            job_hits,
            bad=bad,
            on_shelf=on_shelf,
            limiting=self.limiting,
            ln_sd=self.ln_sd,
            with_turns=with_turns,
        )


def ahead(die: DieForecast, edges: Sequence[EdgeForecast], basis: Basis) -> DieAhead | None:
    """From the rows of a forecast, stored or about to be; None where there is nothing to decide by. Codes and kinds of
    the edges are left empty: nobody is asked for them here."""
    rows = [edge for edge in edges if edge.remaining and edge.fresh]
    if not die.remaining or not (die.fresh or {}).get("remaining") or not rows:
        return None
    rows.sort(key=lambda edge: edge.position_id)
    chips = [(edge.chips_per_million or 0.0) / 1e6 for edge in rows]
    now = lives_of(die.remaining, [e.remaining for e in rows], chips)
    fresh = lives_of(die.fresh["remaining"], [e.fresh for e in rows], chips)
    ids = [edge.position_id for edge in rows]
    damage = tuple(map(Damage.of_kept, die.damage))
    places = {one.position for one in damage}
    return DieAhead(
        die=die.die_id,
        edges=tuple(
            EdgeAhead(
                position=edge.position_id,
                code="",
                kind="",
                on_it=edge.hits_since_sharpening,
                chance_first=edge.first_to_go or 0.0,
                thickness_mm=edge.thickness_mm,
                usual_hits=edge.usual_hits,
            )
            for edge in rows
        ),
        now=now,
        fresh=fresh,
        costs=basis.costs(ids, chips),
        basis=basis,
        ln_sd=float(die.fresh.get("ln_sd") or 0.0),
        limiting=ids.index(die.limiting_id) if die.limiting_id in ids else None,
        bad=tuple(i for i, position in enumerate(ids) if position in places),
        damage=damage,
    )


def lives_of(die: Mapping[P, float], edges: Sequence[Mapping[P, float]], chips: Sequence[float]) -> Lives:
    """From forecasts, stored or not: chance to further hits, of the die and of each of its edges. chips: of each, a
    hit."""
    names = sorted(die, key=float)
    levels = [float(name) for name in names]
    of_edges = [[row[name] for name in names] for row in edges]
    return Lives.of_levels(levels, of_edges, [die[name] for name in names], chip_rate=chips)


def kept_advice(die: DieForecast, edges: Sequence[EdgeForecast], basis: Basis, job_hits: float | None = None) -> dict:
    """What lies beside a forecast for the lists: by the hits of a job, what running on costs over sharpening first.

    margin: money at each of `hits`, below nought where running on is cheaper; pull: how often it is then pulled inside
    the job; sharpened: the chance of finishing it with the whole set sharpened first. job_hits: of the job ahead, which
    is then told exactly. Nothing where there is nothing to decide by.
    """
    known = ahead(die, edges, basis)
    if known is None:
        return {}
    whole = sums(known.fresh, known.costs.chips_a_hit, known.costs.look_hits)
    jobs = sorted({*JOB_HITS.round().tolist(), *([float(job_hits)] if job_hits else [])})
    margins, pulls = [], []
    for hits in jobs:
        usual = interval(whole, known.costs, order_looks=len(looks(hits, known.costs.look_hits)))
        verdict = run_or_sharpen(known.now, known.fresh, known.costs, hits, usual)
        margins.append(round(verdict.margin, 2))
        pulls.append(len(verdict.pulls))
    return {
        "hits": jobs,
        "margin": margins,
        "pull": pulls,
        "sharpened": [round(chance_of_going(die.fresh["remaining"], hits), 4) for hits in jobs],
        "assumed": known.basis.assumed,
    }


@dataclass(frozen=True, kw_only=True)
class Advice:
    """Of one job: whether sharpening first pays, and how much that is worth against running on, nought or more.
    sharpened: the chance of finishing the job once the whole set is sharpened."""

    sharpen: bool
    gain: float
    pull_inside: bool
    sharpened: float


def advised(kept: Mapping | None, job_hits: float) -> Advice | None:
    """Read off what is kept, between its points in straight lines of ln hits; None where nothing is.

    A list of a thousand dies asks each of them this, so it is done without arrays.
    """
    if not kept or "sharpened" not in kept or job_hits <= 0:
        return None
    hits = kept["hits"]
    n = min(max(bisect_left(hits, job_hits), 1), len(hits) - 1)
    part = (math.log(job_hits) - math.log(hits[n - 1])) / (math.log(hits[n]) - math.log(hits[n - 1]))
    part = min(max(part, 0.0), 1.0)

    def between(name: str) -> float:
        return kept[name][n - 1] + part * (kept[name][n] - kept[name][n - 1])

    margin = between("margin")
    return Advice(
        sharpen=margin > 0,
        gain=abs(margin),
        pull_inside=margin <= 0 and bool(kept["pull"][n if part > 0.5 else n - 1]),
        sharpened=between("sharpened"),
    )


def of_one(die: Die, typed: Mapping[str, float] | None = None) -> tuple[DieForecast | None, DieAhead | None]:
    """The newest forecast of a die, and the die as decisions see it, its edges with their codes."""
    newest = DieForecast.objects.filter(die=die, is_newest=True).select_related("limiting").first()
    if newest is None:
        return None, None
    rows = list(newest.edges.select_related("position").order_by())
    basis = bases([DieToPrice(die.pk, die.plant_id, newest.usual_hours)], typed)[die.pk]
    known = ahead(newest, rows, basis)
    if known is None:
        return newest, None
    return newest, _named(known, {row.position_id: (row.position.code, row.position.kind) for row in rows})


def worth_grinding_now(die: Die) -> list[int] | None:
    """The positions whose edges are worth grinding while the die is apart; None where its forecast does not say."""
    known = of_one(die)[1]
    if known is None:
        return None
    job = next(iter(open_orders(dies=[die])), None)
    choice = known.decide(job.hits_left if job else SOME_JOB, with_turns=False).choice
    return [edge.position for edge, grind in zip(known.edges, choice.grind, strict=True) if grind]


def _named(known: DieAhead, places: Mapping[int, tuple[str, str]]) -> DieAhead:
    named = [replace(e, code=places[e.position][0], kind=places[e.position][1]) for e in known.edges]
    return replace(known, edges=tuple(named))


def of_some(dies: Collection[int], *, named: bool = False) -> dict[int, DieAhead]:
    """Many dies at once, by their numbers, for plans over all of them; those of which nothing can be said are left
    out. Eight questions, one more with the codes of the edges (named)."""
    newest = list(DieForecast.objects.filter(die__in=list(dies), is_newest=True).select_related("die"))
    edges: dict[int, list[EdgeForecast]] = defaultdict(list)
    for edge in EdgeForecast.objects.filter(forecast__in=newest, refusal="").order_by():
        edges[edge.forecast_id].append(edge)
    basis = bases(DieToPrice(f.die_id, f.die.plant_id, f.usual_hours) for f in newest)
    made = {f.die_id: ahead(f, edges[f.pk], basis[f.die_id]) for f in newest}
    known = {die: one for die, one in made.items() if one is not None}
    if named:
        places = Position.objects.filter(die__in=list(known)).order_by().values_list("pk", "code", "kind")
        by_position = {pk: (code, kind) for pk, code, kind in places}
        known = {die: _named(one, by_position) for die, one in known.items()}
    return known


def usual_interval(die: Die, *, most: int = 12) -> float | None:
    """Hits of the die between its latest sharpenings of most of its set, by the log; None with fewer than three."""
    since = timezone.now() - dt.timedelta(days=365 * YEARS_LOOKED_BACK)
    heads = (
        Work.objects.standing()
        .filter(position__die=die, operation="ground", at__gte=since)
        .order_by("-at")
        .values_list("at", flat=True)
        .distinct()[: most + 1]
    )
    moments = list(heads)
    if len(moments) < 3:
        return None
    runs = Run.objects.standing().filter(die=die, at__gt=moments[-1], at__lte=moments[0])
    total = runs.aggregate(n=Sum("hits"))["n"]
    return total / (len(moments) - 1) if total else None


def hits_a_year(die: Die) -> float:
    """Of the die in the last year of its log."""
    last = Run.objects.standing().filter(die=die).order_by("-at").values_list("at", flat=True).first()
    if last is None:
        return 0.0
    year = Run.objects.standing().filter(die=die, at__gt=last - dt.timedelta(days=365))
    return float(year.aggregate(n=Sum("hits"))["n"] or 0)


def pieces_on_shelf(known: DieAhead, plant: int) -> list[int]:
    """Numbers of the edges for which a piece lies on the shelf that no work on another die has set aside; the likeliest
    to go first gets it where several want the same spare."""
    ids = [edge.position for edge in known.edges]
    items = dict(Position.objects.filter(pk__in=ids, item__isnull=False).values_list("pk", "item_id"))
    if not items:
        return []
    shelf = on_the_shelf(plant, items.values())
    aside = BenchPiece.objects.filter(
        item__in=items.values(), work__state__in=BenchWork.OPEN, work__die__plant=plant
    ).exclude(work__die=known.die)
    free = Counter(shelf)
    still = bench_reads.still_aside(aside).order_by().values("item").annotate(n=Sum("still"))
    free.subtract(dict(still.values_list("item", "n")))
    found = []
    for i in sorted(range(len(ids)), key=lambda i: (-known.edges[i].chance_first, i)):
        item = items.get(ids[i])
        if item is not None and free[item] > 0:
            free[item] -= 1
            found.append(i)
    return sorted(found)
