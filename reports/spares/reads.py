"""Reads for the spares: which places take an item, how its pieces are ground away, and how often they break."""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import NamedTuple

from django.db.models import (
    BigIntegerField,
    Case,
    Count,
    DateTimeField,
    Exists,
    F,
    FloatField,
    Min,
    OuterRef,
    Q,
    QuerySet,
    Subquery,
    Sum,
    Value,
    When,
)
from django.db.models.functions import Coalesce
from django.utils import timezone

from diestore.register.models import Die, Item, Plant, Position
from maintenance.clockwork.works import OPERATIONS
from maintenance.models import DieForecast, EdgeForecast, Fitting, Replacement, Run, StockMovement, Work

REMOVING = [key for key, operation in OPERATIONS.items() if operation.removes]
LONG_AGO = Value(dt.datetime(1900, 1, 1, tzinfo=dt.UTC), DateTimeField())
FAR_AHEAD = Value(dt.datetime(2900, 1, 1, tzinfo=dt.UTC), DateTimeField())
RUNS = (Die.Status.IN_SERVICE, Die.Status.IN_REPAIR)  # a die in store or retired uses up nothing


@dataclass(frozen=True, kw_only=True)
class PlaceOfItem:
    """A position with the spare for it, how it has been ground and what was replaced there.

    strokes: in which it worked since the records began; die_hits: of its die with any inserts. allowance_left_mm:
    of the piece in it. removed_mm: all that was ground away here in `grinds` grinds; die_grinds: times that
    anything of its die was ground. replaced: pieces taken out before they were ground out; ground_out: pieces used
    up by grinding.
    """

    position_id: int
    code: str
    side: str
    die_id: int
    die_code: str
    item_id: int
    stroke_share: float
    strokes: float
    die_hits: int
    allowance_left_mm: float | None
    removed_mm: float
    grinds: int
    die_grinds: int
    replaced: int
    ground_out: int


def places_of_items(
    *,
    plant: Plant | None = None,
    dies: Iterable[int] | None = None,
    items: Iterable[int] | None = None,
    known_die_grinds: Mapping[int, int] | None = None,
) -> list[PlaceOfItem]:
    """The positions of dies at work that name a spare, in the order of dies and positions.

    known_die_grinds: how often dies were ground at all, where that is known; it is not counted again.
    """
    positions = _positions(plant, dies, items)
    counts, left = _counts(positions, known_die_grinds or {}), allowances_left(positions)
    made = []
    for (pk, code, side, die, die_code, item, allowance_mm, share), variants in _with_variants(positions).items():
        mine = counts.hits.get(die, {})
        strokes = sum(n for variant, n in mine.items() if not variants or variant in variants)
        grinds, removed = counts.ground.get(pk, (0, 0.0))
        made.append(
            PlaceOfItem(
                position_id=pk,
                code=code,
                side=side,
                die_id=die,
                die_code=die_code,
                item_id=item,
                stroke_share=share,
                strokes=strokes * share,
                die_hits=sum(mine.values()),
                allowance_left_mm=left.get(pk, allowance_mm),
                removed_mm=removed,
                grinds=grinds,
                die_grinds=counts.die_grinds.get(die, 0),
                replaced=counts.taken_out.get(pk, 0),
                ground_out=counts.ground_out.get(pk, 0),
            )
        )
    return made


def _with_variants(positions: QuerySet[Position]) -> dict[tuple, set[int]]:
    """What is asked of each position, in the order of dies and stations -> the only sets of inserts it works with."""
    rows = positions.order_by("die__code", "station__sequence", "code").values_list(
        "pk", "code", "side", "die_id", "die__code", "item_id", "item__grind_allowance_mm", "stroke_share", "variants"
    )
    variants_of: dict[tuple, set[int]] = {}
    for *asked, variant in rows:
        variants_of.setdefault(tuple(asked), set()).update(() if variant is None else (variant,))
    return variants_of


class _Counts(NamedTuple):
    """What is counted of positions and their dies.

    hits: die -> set of inserts -> strokes over all its record. ground: position -> times that it was ground, mm that
    came off it. die_grinds: die -> moments at which anything of it was ground. taken_out, ground_out: position ->
    pieces taken out before they were used up by grinding, and those used up by it.
    """

    hits: dict[int, dict[int, int]]
    ground: dict[int, tuple[int, float]]
    die_grinds: dict[int, int]
    taken_out: dict[int, int]
    ground_out: dict[int, int]


_HITS, _GROUND, _DIE_GRINDS, _TAKEN_OUT, _GROUND_OUT = range(5)


def _counts(positions: QuerySet[Position], known_die_grinds: Mapping[int, int]) -> _Counts:
    """All in one question. Grinds of dies that are known are not counted again."""
    positions = positions.order_by()
    ids, dies = positions.values("pk"), positions.values("die")
    no_inserts, no_mm = Value(None, BigIntegerField()), Value(None, FloatField())
    made = Run.objects.standing().filter(die__in=dies).order_by()
    ground = _removing().filter(position__in=ids)
    of_dies = _removing().filter(operation="ground", position__die__in=dies)
    if known_die_grinds:
        of_dies = of_dies.exclude(position__die__in=list(known_die_grinds))
    replaced = Replacement.objects.standing().filter(position__in=ids, since_start=False, piece_in__isnull=False)
    replaced = replaced.exclude(why=Replacement.Why.FIRST).order_by()
    used_up = Case(When(why=Replacement.Why.GROUND_OUT, then=Value(_GROUND_OUT)), default=Value(_TAKEN_OUT))
    times = Count("at", distinct=True)
    rows = (
        made.values(what=Value(_HITS), owner=F("die"), inserts=F("variant"))
        .annotate(n=Sum("hits"), mm=no_mm)
        .union(
            ground.values(what=Value(_GROUND), owner=F("position"), inserts=no_inserts).annotate(
                n=Count("at", distinct=True, filter=Q(operation="ground")), mm=Sum("removed_mm")
            ),
            of_dies.values(what=Value(_DIE_GRINDS), owner=F("position__die"), inserts=no_inserts).annotate(
                n=times, mm=no_mm
            ),
            replaced.values(what=used_up, owner=F("position"), inserts=no_inserts).annotate(n=Count("pk"), mm=no_mm),
            all=True,
        )
    )
    found = _Counts(hits=defaultdict(dict), ground={}, die_grinds=dict(known_die_grinds), taken_out={}, ground_out={})
    for row in rows:
        what, owner, n = row["what"], row["owner"], int(row["n"])
        if what == _HITS:
            found.hits[owner][row["inserts"]] = n
        elif what == _GROUND:
            found.ground[owner] = n, row["mm"] or 0.0
        else:
            {_DIE_GRINDS: found.die_grinds, _TAKEN_OUT: found.taken_out, _GROUND_OUT: found.ground_out}[what][owner] = n
    return found


def _removing() -> QuerySet[Work]:
    return Work.objects.standing().filter(operation__in=REMOVING).order_by()


def _positions(plant: Plant | None, dies: Iterable[int] | None, items: Iterable[int] | None) -> QuerySet[Position]:
    places = Position.objects.filter(item__isnull=False, die__status__in=RUNS).filter(
        Q(valid_to__isnull=True) | Q(valid_to__gt=timezone.now())
    )
    if plant is not None:
        places = places.filter(die__plant=plant)
    if dies is not None:
        places = places.filter(die__in=list(dies))
    return places if items is None else places.filter(item__in=list(items))


def allowances_left(positions: QuerySet[Position]) -> dict[int, float]:
    """What may still be ground off the piece in each position, in mm.

    The allowance of the piece, or of the item bought for the place where the piece's own was not written down, less
    all that was ground off it, wherever it sat. Positions without either are left out.
    """
    sitting = Fitting.objects.filter(position__in=positions.order_by().values("pk"), until__isnull=True)
    removed: dict[int, float] = defaultdict(float)
    now = {}
    for piece, position, until, own, bought, taken, on_the_bench in _fittings_of(sitting.values("piece_id")):
        removed[piece] += taken or 0.0
        if until is None:  # a piece sits in one place at a time
            now[position] = (piece, own if own is not None else bought)
            removed[piece] += on_the_bench or 0.0
    return {
        position: max(allowance - removed[piece], 0.0)
        for position, (piece, allowance) in now.items()
        if allowance is not None
    }


def _fittings_of(pieces: QuerySet) -> QuerySet:
    """All places of some pieces, with what was ground off in each, and what was ground off the piece on the bench."""
    works = _removing()
    # A work at the very moment of a replacement belongs to the piece that came out.
    in_place = (
        works.filter(position=OuterRef("position"), at__gt=Coalesce(OuterRef("since"), LONG_AGO))
        .filter(at__lte=Coalesce(OuterRef("until"), FAR_AHEAD))
        .values("position")
        .annotate(n=Sum("removed_mm"))
        .values("n")
    )
    on_the_bench = works.filter(piece=OuterRef("piece")).values("piece").annotate(n=Sum("removed_mm")).values("n")
    return (
        Fitting.objects.filter(piece__in=pieces)
        .order_by()
        .annotate(taken=Subquery(in_place), on_the_bench=Subquery(on_the_bench))
        .values_list(
            "piece_id",
            "position_id",
            "until",
            "piece__grind_allowance_mm",
            "position__item__grind_allowance_mm",
            "taken",
            "on_the_bench",
        )
    )


class DiesAhead(NamedTuple):
    """Of dies: the newest forecast, strokes in runs that ended in a span, when the first run began."""

    forecasts: dict[int, DieForecast]
    hits: dict[int, int]
    first: dict[int, dt.datetime]


def dies_ahead(plant: Plant, since: dt.datetime, until: dt.datetime, *, dies: Iterable[int] | None = None) -> DiesAhead:
    """dies: of these only."""
    runs, forecasts = Run.objects.standing().order_by(), DieForecast.objects.filter(is_newest=True).order_by()
    if dies is None:
        runs, forecasts = runs.filter(die__plant=plant), forecasts.filter(die__plant=plant)
    else:
        dies = list(dies)
        runs, forecasts = runs.filter(die__in=dies), forecasts.filter(die__in=dies)
    of_dies = list(
        runs.values("die_id")
        .annotate(n=Sum("hits", filter=Q(at__gte=since, at__lt=until)), first=Min("started"))
        .values_list("die_id", "n", "first")
    )
    return DiesAhead(
        forecasts={row.die_id: row for row in forecasts},
        hits={die: n for die, n, _ in of_dies if n is not None},
        first={die: first for die, _, first in of_dies},
    )


def items_in_use(plant: Plant) -> QuerySet[Item]:
    """The items that a die at work takes or that lie on this plant's shelf."""
    return (
        Item.objects.filter(Q(pk__in=_positions(plant, None, None).values("item_id")) | Q(movements__plant=plant))
        .distinct()
        .select_related("supplier")
    )


def items_by_pk(pks: Iterable[int]) -> QuerySet[Item]:
    return Item.objects.filter(pk__in=list(pks)).select_related("supplier")


def item_in_use(plant: Plant, pk: int) -> Item | None:
    """That one, if it is among them."""
    places, moves = _positions(plant, None, [pk]), StockMovement.objects.filter(plant=plant, item=pk)
    return Item.objects.filter(Q(Exists(places)) | Q(Exists(moves)), pk=pk).select_related("supplier").first()


def edge_forecasts(positions: Iterable[int]) -> dict[int, dict]:
    """The stored forecast of some positions, where there is one."""
    rows = EdgeForecast.objects.filter(forecast__is_newest=True, position__in=list(positions), usual_hits__gt=0)
    return {
        row["position_id"]: row for row in rows.values("position_id", "usual_hits", "remaining") if row["remaining"]
    }


def breaks_by_kind(plant: Plant) -> dict[str, tuple[int, float]]:
    """Kind of spare -> pieces replaced before they were ground out, and the strokes of all such places together."""
    positions = _positions(plant, None, None)
    runs = Run.objects.standing().filter(die__plant=plant).order_by().values("die_id")
    hits = dict(runs.annotate(n=Sum("hits")).values_list("die_id", "n"))
    replaced = dict(
        Replacement.objects.standing()
        .filter(position__in=positions.values("pk"), since_start=False, piece_in__isnull=False)
        .exclude(why__in=(Replacement.Why.FIRST, Replacement.Why.GROUND_OUT))
        .order_by()
        .values("position__item__kind")
        .annotate(n=Count("pk"))
        .values_list("position__item__kind", "n")
    )
    shares = positions.order_by().values("die_id", "item__kind").annotate(n=Sum("stroke_share"))
    strokes: dict[str, float] = defaultdict(float)
    for die, kind, share in shares.values_list("die_id", "item__kind", "n"):
        strokes[kind] += share * hits.get(die, 0)
    return {kind: (replaced.get(kind, 0), n) for kind, n in strokes.items()}
