"""What the bench forms expect: the last run, the usual hits, the open orders, the pieces to grind, the shelf.

Reads only. What is shown as expected on a form is computed here, and never saved unless somebody enters it.
"""

from __future__ import annotations

import datetime as dt
import statistics
from collections.abc import Iterable
from dataclasses import dataclass

from django.db.models import F, FilteredRelation, Q, QuerySet
from django.utils import timezone

from diestore.access.models import Person
from diestore.handbook import limits
from diestore.handbook.kinds import KINDS, Kind
from diestore.handbook.tool_steels import grade
from diestore.register.models import Die, Item, Piece, Position, Press, Variant
from maintenance.clockwork import cycles
from maintenance.clockwork import states as clockwork_states
from maintenance.clockwork.rows import DieLog
from maintenance.models import DieForecast, DieInPress, Fitting, Incident, Replacement, Run, Work

from . import queries, read
from .data import OrderLeft

STROKES_A_MINUTE = limits.OF["die", "strokes_per_minute"]
SAME_SHIFT = dt.timedelta(hours=12)
RUNS_LOOKED_AT = 9
DIES_FOUND_AT_MOST = 24


@dataclass(frozen=True, kw_only=True)
class RunExpected:
    """What a run of a die usually is. None: nothing known yet. variants: with which inserts it may be."""

    strokes_per_minute: float
    variants: list[Variant]
    last_ended: dt.datetime | None = None
    usual_hits: int | None = None
    usual_length: dt.timedelta | None = None

    def started(self, now: dt.datetime) -> dt.datetime | None:
        """When a run that ends now most likely began: at the end of the last one, if that was in this shift."""
        if self.last_ended is not None and dt.timedelta() <= now - self.last_ended <= SAME_SHIFT:
            return self.last_ended
        return None if self.usual_length is None else now - self.usual_length

    def hits(self, started: dt.datetime | None, ended: dt.datetime) -> int | None:
        """Hits by strokes a minute and duration; None where no die makes so many."""
        if started is None or ended <= started or not STROKES_A_MINUTE.holds(self.strokes_per_minute):
            return None
        return round(self.strokes_per_minute * (ended - started).total_seconds() / 60)


def run_expected(die: Die) -> RunExpected:
    last = Run.objects.standing().filter(die=die).order_by("-at")
    runs = list(last.values_list("started", "at", "hits")[:RUNS_LOOKED_AT])
    if not runs:
        return RunExpected(strokes_per_minute=die.strokes_per_minute, variants=variants(die))
    return RunExpected(
        strokes_per_minute=die.strokes_per_minute,
        variants=variants(die),
        last_ended=runs[0][1],
        usual_hits=round(statistics.median(hits for _, _, hits in runs)),
        usual_length=statistics.median(ended - started for started, ended, _ in runs),
    )


def run_end_within(die: Die, typed: dt.datetime) -> dt.datetime | None:
    """The exact end of a run of the die in the minute that was typed: forms show whole minutes."""
    return (
        Run.objects.standing()
        .filter(die=die, at__gte=typed, at__lt=typed + dt.timedelta(minutes=1))
        .order_by("-at")
        .values_list("at", flat=True)
        .first()
    )


def open_orders(die: Die) -> list[OrderLeft]:
    return queries.open_orders(dies=[die])


def people(die: Die):
    return Person.objects.filter(plant=die.plant_id, active=True)


def everybody(die: Die | None, plant: int | None = None):
    """The active people of the die's plant, or of the plant named; of every plant where neither is meant."""
    if die is not None:
        return people(die)
    active = Person.objects.filter(active=True)
    return active if plant is None else active.filter(plant=plant)


def press_now(die: Die) -> int | None:
    """The press that the die is set in; else the one that it usually runs in."""
    here = DieInPress.objects.standing().filter(die=die, until__isnull=True).values_list("press_id", flat=True).first()
    return here or die.usual_press_id


@dataclass(frozen=True, kw_only=True)
class InPress:
    """A die and the press that it is in, or ran in last."""

    press: Press
    die: Die


def in_the_presses(among: QuerySet[Die], now: dt.datetime | None = None) -> list[InPress]:
    """Of some dies those that are in a press: set in it, or else the last that ran there within a shift. By press."""
    now = now or timezone.now()
    found: dict[int, InPress] = {}
    set_in = DieInPress.objects.standing().filter(until__isnull=True, die__in=among).select_related("die", "press")
    for row in set_in.order_by("-since"):
        found.setdefault(row.press_id, InPress(press=row.press, die=row.die))
    ran = Run.objects.standing().filter(press__isnull=False, die__in=among, at__gte=now - SAME_SHIFT, at__lte=now)
    for run in ran.select_related("die", "press").order_by("-at")[:DIES_FOUND_AT_MOST]:
        found.setdefault(run.press_id, InPress(press=run.press, die=run.die))
    return sorted(found.values(), key=lambda one: (one.press.code, one.press.pk))[:DIES_FOUND_AT_MOST]


def last_variant(die: Die) -> int | None:
    """The inserts of the last run: those are in the die."""
    return Run.objects.standing().filter(die=die).order_by("-at").values_list("variant_id", flat=True).first()


def variants(die: Die) -> list[Variant]:
    return list(die.variants.all())


@dataclass(frozen=True, kw_only=True)
class BenchPlace:
    """A position of the die as a form shows it, with how its piece stands now."""

    position: Position
    kind: Kind
    state: clockwork_states.PositionState | None
    limits: bool = False
    on_shelf: int | None = None
    variants: frozenset[int] = frozenset()  # empty: it works with all inserts
    tool_steel: str = ""  # of the piece in it
    length_mm: float | None = None  # of the edge that is cut there

    @property
    def fitted(self) -> bool:
        return self.state is not None and self.state.piece is not None

    @property
    def called(self) -> str:
        return f"{self.position.code} {self.kind.name}"


def places(die: Die, now: dt.datetime | None = None, *, log: DieLog | None = None) -> list[BenchPlace]:
    """Every position of the die that is in use now, in the order of its stations. log: its log, where that is read."""
    now, log = now or timezone.now(), log or read.of_die(die)
    positions = list(
        die.positions.filter(Q(valid_from__isnull=True) | Q(valid_from__lte=now))
        .filter(Q(valid_to__isnull=True) | Q(valid_to__gt=now))
        .select_related("station", "item")
        .order_by(F("station__sequence").asc(nulls_last=True), "-side", "code")
    )
    newest = DieForecast.objects.filter(die=die, is_newest=True, refusal="")
    limiting = set(newest.values_list("limiting_id", flat=True))
    shelf = queries.on_the_shelf(die.plant_id, {row.item_id for row in positions if row.item_id is not None})
    state_of = clockwork_states.states(log, now.timestamp())
    lengths = cut_lengths(log, now.timestamp())
    return [
        BenchPlace(
            position=row,
            kind=KINDS[row.kind],
            state=(state := state_of.get(row.pk)),
            limits=row.pk in limiting,
            variants=log.positions[row.pk].variants,
            on_shelf=None if row.item_id is None else shelf.get(row.item_id, 0),
            tool_steel=log.pieces[state.piece].tool_steel if state and state.piece in log.pieces else "",
            length_mm=lengths.get(row.pk),
        )
        for row in positions
    ]


def cut_lengths(log: DieLog, at: float) -> dict[int, float]:
    """Position -> the length of the edge that is cut there then."""
    now = [c for c in log.cuts if (c.valid_from or at) <= at and (c.valid_to is None or c.valid_to > at)]
    return {p: cut.length_mm for cut in now for p in (cut.upper, cut.lower) if p is not None}


@dataclass(frozen=True, kw_only=True)
class PlaceNow:
    """A position of the die in use now, without what the log tells of it. tool_steel: of the piece in it."""

    position: Position
    kind: Kind
    fitted: bool
    tool_steel: str = ""


@dataclass(frozen=True, kw_only=True)
class PlacesNow:
    """places: in the order of the stations. spares: those bought for any place that the die has or had, by code."""

    places: list[PlaceNow]
    spares: list[Item]

    @property
    def positions(self) -> list[Position]:
        return [place.position for place in self.places]


def places_now(die: Die, now: dt.datetime | None = None) -> PlacesNow:
    """What sits where in a die, in one question: for pages that need no clock of a piece."""
    now = now or timezone.now()
    there = Q(fittings__until__isnull=True) | Q(fittings__until__gt=now)
    began = Q(fittings__since__isnull=True) | Q(fittings__since__lte=now)
    rows = list(
        die.positions.annotate(here=FilteredRelation("fittings", condition=there & began))
        .annotate(piece_now=F("here__piece"), steel_now=F("here__piece__tool_steel"))
        .select_related("station", "item")
        .order_by(F("station__sequence").asc(nulls_last=True), "-side", "code")
    )
    spares = {row.item.pk: row.item for row in rows if row.item is not None and row.item.retired_at is None}
    return PlacesNow(
        places=[
            PlaceNow(
                position=row,
                kind=KINDS[row.kind],
                fitted=row.piece_now is not None,
                tool_steel=row.steel_now or "",
            )
            for row in rows
            if (row.valid_from is None or row.valid_from <= now) and (row.valid_to is None or row.valid_to > now)
        ],
        spares=sorted(spares.values(), key=lambda item: (item.code, item.revision)),
    )


def any_carbide(places: Iterable[BenchPlace | PlaceNow]) -> bool:
    """Whether a piece that sits there is of carbide: its dust asks for care of its own."""
    return any(steel.group == "carbide" for steel in map(grade, {p.tool_steel for p in places}) if steel is not None)


@dataclass(frozen=True, kw_only=True)
class Damaged:
    """A position whose piece a mishap damaged, and what was done to it since."""

    position: Position
    is_there: bool  # the damaged piece still sits in it
    since: tuple[Work | Replacement, ...] = ()


def damaged_by(incident: Incident) -> list[Damaged]:
    """What sat where at the moment of a mishap, by code; the earliest position where a piece moved in that moment."""
    fittings = (
        Fitting.objects.filter(piece__incidents=incident, position__die=incident.die_id)
        .filter(Q(since__isnull=True) | Q(since__lte=incident.at))
        .filter(Q(until__isnull=True) | Q(until__gte=incident.at))
        .select_related("position__item", "position__station")
        .order_by(F("since").desc(nulls_last=True))
    )
    by_piece = {fitting.piece_id: fitting for fitting in fittings}
    done: dict[int, list] = {}
    for model in (Work, Replacement):
        rows = model.objects.standing().filter(
            position__in=[f.position_id for f in by_piece.values()], at__gte=incident.at
        )
        for row in rows.order_by("at"):
            done.setdefault(row.position_id, []).append(row)
    damaged = [
        Damaged(
            position=fitting.position,
            is_there=fitting.until is None,
            since=tuple(sorted(done.get(fitting.position_id, ()), key=lambda row: row.at)),
        )
        for fitting in by_piece.values()
    ]
    return sorted(damaged, key=lambda one: one.position.code)


def loose_pieces(die: Die) -> list[Piece]:
    """Pieces with a mark that sit nowhere now and may go into this die: of a spare of it, or once fitted in it."""
    sitting = Fitting.objects.filter(until__isnull=True).values("piece")
    fits = Q(fittings__position__die=die) | Q(item__positions__die=die)
    rows = Piece.objects.filter(fits, plant=die.plant_id).exclude(mark="").exclude(pk__in=sitting)
    return list(rows.distinct().order_by("mark"))


def belongs_in(piece: Piece, position: Position) -> bool:
    """Whether a piece is of the position's spare, or was fitted there before."""
    if piece.item_id is not None and piece.item_id == position.item_id:
        return True
    return position.replacements.filter(piece_in=piece).exists()


def find_dies(text: str, among: QuerySet[Die]) -> list[Die]:
    """Of some dies those by label or words: the one whose label is exactly this, else all that hold it."""
    text = text.strip()[:80]
    if not text:
        return []
    rows = among.exclude(status=Die.Status.RETIRED).select_related("plant")
    exact = list(rows.filter(code__iexact=text)[:2])
    if len(exact) == 1:
        return exact
    held = Q(code__icontains=text) | Q(description__icontains=text)
    held |= Q(variants__outputs__part__number__icontains=text)
    return list(rows.filter(held).distinct().order_by("code")[:DIES_FOUND_AT_MOST])


def dies_of_label(text: str, among: QuerySet[Die]) -> list[Die]:
    """Of some dies those with that label, retired ones too; else those whose label holds it."""
    text = text.strip()[:80]
    exact = list(among.filter(code__iexact=text)[:DIES_FOUND_AT_MOST])
    return exact or list(among.filter(code__icontains=text).order_by("code")[:DIES_FOUND_AT_MOST])


def dies_by_pk(pks: Iterable[int], among: QuerySet[Die]) -> list[Die]:
    """Those dies, in that order; ones that are gone, or not among these, are left out."""
    pks = list(pks)
    dies = among.in_bulk(pks)
    return [dies[pk] for pk in pks if pk in dies]


@dataclass(frozen=True, kw_only=True)
class ClockSaid:
    """The clock of the position that a message names."""

    code: str
    hits: int
    estimated: bool
    since: str = "sharpened"


def leading_edge(die: Die, now: dt.datetime | None = None, *, among: Iterable[int] = ()) -> ClockSaid | None:
    """The edge with the most hits since it was sharpened; `among` names the positions that are meant.

    A position without an edge is told by its hits since it was fitted.
    """
    log = read.of_die(die)
    states = clockwork_states.states(log, (now or timezone.now()).timestamp())
    cutting = cycles.cutting_positions(log)
    wanted = set(among)
    edges = [
        s
        for s in states.values()
        if s.position in cutting and (not wanted or s.position in wanted) and s.hits_since_sharpening is not None
    ]
    if edges:
        most = max(edges, key=lambda s: (s.hits_since_sharpening, log.positions[s.position].code))
        code, hits, since = log.positions[most.position].code, most.hits_since_sharpening, "sharpened"
        return ClockSaid(code=code, hits=hits, estimated=most.estimated, since=since)
    others = [s for s in states.values() if s.position in wanted and s.piece is not None and s.position not in cutting]
    if not others:
        return None
    most = max(others, key=lambda s: s.hits_since_fitted)
    return ClockSaid(
        code=log.positions[most.position].code, hits=most.hits_since_fitted, estimated=most.estimated, since="fitted"
    )
