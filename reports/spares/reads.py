"""Reads for the spares: which places take an item, how its pieces are ground away, and how often they break."""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import NamedTuple

from django.db.models import Count, DateTimeField, Exists, Max, Min, OuterRef, Q, QuerySet, Subquery, Sum, Value
from django.db.models.functions import Coalesce
from django.utils import timezone

from diestore import together
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

    strokes: in which it worked since the records began. allowance_left_mm: of the piece in it. removed_mm: all that was
    ground away here in `grinds` grinds; die_grinds: times that anything of its die was ground. replaced: pieces taken
    out before they were ground out; ground_out: pieces used up by grinding.
    """

    position_id: int
    code: str
    side: str
    die_id: int
    die_code: str
    item_id: int
    stroke_share: float
    strokes: float
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
    asked = _asked_of(positions, known_die_grinds or {})
    # the places of a few items or dies in one question; those of a shop one after another, since each answer is long
    few = items is not None or dies is not None
    told = together.read(**asked) if few else {name: list(rows) for name, rows in asked.items()}
    variants = defaultdict(set)
    for position, variant in told["variants"]:
        variants[position].add(variant)
    hits: dict[int, dict[int, int]] = defaultdict(dict)
    for die, variant, n in told["hits"]:
        hits[die][variant] = n
    die_grinds = dict(told["die_grinds"]) | dict(known_die_grinds or {})
    ground = {position: (times, removed or 0.0) for position, times, removed in told["ground"]}
    replaced: dict[int, dict[str, int]] = defaultdict(lambda: defaultdict(int))
    for position, why, times in told["replaced"]:
        key = Replacement.Why.GROUND_OUT if why == Replacement.Why.GROUND_OUT else "replaced"
        replaced[position][key] += times
    left = _left(told["fittings"], told["on_the_bench"])
    made = []
    for pk, code, side, die, die_code, item, allowance_mm, share in told["rows"]:
        mine = hits.get(die, {})
        strokes = sum(n for variant, n in mine.items() if not variants[pk] or variant in variants[pk])
        grinds, removed = ground.get(pk, (0, 0.0))
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
                allowance_left_mm=left.get(pk, allowance_mm),
                removed_mm=removed,
                grinds=grinds,
                die_grinds=die_grinds.get(die, 0),
                replaced=replaced[pk]["replaced"],
                ground_out=replaced[pk][Replacement.Why.GROUND_OUT],
            )
        )
    return made


def _asked_of(positions: QuerySet[Position], known_die_grinds: Mapping[int, int]) -> dict[str, QuerySet]:
    """What is read of some positions: their own columns, runs and grinds of their dies, what was done at each."""
    ids, dies = positions.order_by().values("pk"), positions.order_by().values("die")
    works = Work.objects.standing().filter(operation__in=REMOVING).order_by()
    of_dies = works.filter(operation="ground", position__die__in=dies)
    if known_die_grinds:
        of_dies = of_dies.exclude(position__die__in=list(known_die_grinds))
    fittings, on_the_bench = _fittings_of(positions)
    return {
        "rows": positions.order_by("die__code", "station__sequence", "code").values_list(
            "pk", "code", "side", "die_id", "die__code", "item_id", "item__grind_allowance_mm", "stroke_share"
        ),
        "variants": Position.variants.through.objects.filter(position__in=ids).values_list("position_id", "variant_id"),
        # strokes that each set of inserts of a die has run, over all its record
        "hits": Run.objects.standing()
        .filter(die__in=dies)
        .order_by()
        .values("die_id", "variant_id")
        .annotate(n=Sum("hits"))
        .values_list("die_id", "variant_id", "n"),
        # grinds and what they took off at each position
        "ground": works.filter(position__in=ids)
        .values("position_id")
        .annotate(times=Count("at", distinct=True, filter=Q(operation="ground")), removed=Sum("removed_mm"))
        .values_list("position_id", "times", "removed"),
        # moments at which a die was ground at all
        "die_grinds": of_dies.values("position__die_id")
        .annotate(times=Count("at", distinct=True))
        .values_list("position__die_id", "times"),
        "replaced": Replacement.objects.standing()
        .filter(position__in=ids, since_start=False, piece_in__isnull=False)
        .exclude(why=Replacement.Why.FIRST)
        .order_by()
        .values("position_id", "why")
        .annotate(times=Count("pk"))
        .values_list("position_id", "why", "times"),
        "fittings": fittings,
        "on_the_bench": on_the_bench,
    }


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
    fittings, on_the_bench = _fittings_of(positions)
    return _left(fittings, on_the_bench)


def _fittings_of(positions: QuerySet[Position]) -> tuple[QuerySet, QuerySet]:
    """All places of the pieces that now sit in some positions with what was ground off there; what was on the bench."""
    sitting = Fitting.objects.filter(position__in=positions.order_by().values("pk"), until__isnull=True)
    sitting = sitting.values("piece_id")
    works = Work.objects.standing().filter(operation__in=REMOVING).order_by()
    # A work at the very moment of a replacement belongs to the piece that came out.
    in_place = (
        works.filter(position=OuterRef("position"), at__gt=Coalesce(OuterRef("since"), LONG_AGO))
        .filter(at__lte=Coalesce(OuterRef("until"), FAR_AHEAD))
        .values("position")
        .annotate(n=Sum("removed_mm"))
        .values("n")
    )
    fittings = (
        Fitting.objects.filter(piece__in=sitting)
        .order_by()
        .annotate(taken=Subquery(in_place))
        .values_list(
            "piece_id",
            "position_id",
            "until",
            "piece__grind_allowance_mm",
            "position__item__grind_allowance_mm",
            "taken",
        )
    )
    on_the_bench = (
        works.filter(piece__in=sitting).values("piece_id").annotate(n=Sum("removed_mm")).values_list("piece_id", "n")
    )
    return fittings, on_the_bench


def _left(fittings: Iterable[tuple], on_the_bench: Iterable[tuple]) -> dict[int, float]:
    removed: dict[int, float] = defaultdict(float)
    now = {}
    for piece, position, until, own, bought, taken in fittings:
        removed[piece] += taken or 0.0
        if until is None:  # a piece sits in one place at a time
            now[position] = (piece, own if own is not None else bought)
    for piece, taken in on_the_bench:
        removed[piece] += taken or 0.0
    return {
        position: max(allowance - removed[piece], 0.0)
        for position, (piece, allowance) in now.items()
        if allowance is not None
    }


class DiesAhead(NamedTuple):
    """Of dies: the newest forecast, strokes in runs that ended in a span, when the first run began."""

    forecasts: dict[int, DieForecast]
    hits: dict[int, int]
    first: dict[int, dt.datetime]


def dies_ahead(plant: Plant, since: dt.datetime, until: dt.datetime, *, dies: Iterable[int] | None = None) -> DiesAhead:
    """dies: of these only, asked for in one question."""
    runs, forecasts = Run.objects.standing().order_by(), DieForecast.objects.filter(is_newest=True).order_by()
    if dies is None:
        runs, forecasts = runs.filter(die__plant=plant), forecasts.filter(die__plant=plant)
    else:
        dies = list(dies)
        runs, forecasts = runs.filter(die__in=dies), forecasts.filter(die__in=dies)
    read = together.read(
        forecasts=forecasts,
        runs=runs.values("die_id")
        .annotate(n=Sum("hits", filter=Q(at__gte=since, at__lt=until)), first=Min("started"))
        .values_list("die_id", "n", "first"),
    )
    return DiesAhead(
        forecasts={row.die_id: row for row in read["forecasts"]},
        hits={die: n for die, n, _ in read["runs"] if n is not None},
        first={die: first for die, _, first in read["runs"]},
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


def longest_lead_days(plant: Plant) -> int:
    """The longest known lead time of the items in use; nought where none is known."""
    return items_in_use(plant).aggregate(n=Max("lead_days"))["n"] or 0


def edge_forecasts(positions: Iterable[int]) -> dict[int, dict]:
    """The stored forecast of some positions, where there is one."""
    rows = EdgeForecast.objects.filter(forecast__is_newest=True, position__in=list(positions), usual_hits__gt=0)
    return {
        row["position_id"]: row for row in rows.values("position_id", "usual_hits", "remaining") if row["remaining"]
    }


def breaks_by_kind(plant: Plant) -> dict[str, tuple[int, float]]:
    """Kind of spare -> pieces replaced before they were ground out, and the strokes of all such places together."""
    positions = _positions(plant, None, None)
    told = together.read(
        hits=Run.objects.standing()
        .filter(die__plant=plant)
        .order_by()
        .values("die_id")
        .annotate(n=Sum("hits"))
        .values_list("die_id", "n"),
        shares=positions.order_by()
        .values("die_id", "item__kind")
        .annotate(n=Sum("stroke_share"))
        .values_list("die_id", "item__kind", "n"),
        replaced=Replacement.objects.standing()
        .filter(position__in=positions.values("pk"), since_start=False, piece_in__isnull=False)
        .exclude(why__in=(Replacement.Why.FIRST, Replacement.Why.GROUND_OUT))
        .order_by()
        .values("position__item__kind")
        .annotate(n=Count("pk"))
        .values_list("position__item__kind", "n"),
    )
    hits, replaced = dict(told["hits"]), dict(told["replaced"])
    strokes: dict[str, float] = defaultdict(float)
    for die, kind, share in told["shares"]:
        strokes[kind] += share * hits.get(die, 0)
    return {kind: (replaced.get(kind, 0), n) for kind, n in strokes.items()}
