"""Reads for the spares: which places take an item, how its pieces are ground away, and how often they break."""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from django.db.models import Count, DateTimeField, Max, Min, OuterRef, Q, QuerySet, Subquery, Sum, Value
from django.db.models.functions import Coalesce
from django.utils import timezone

from diestore.models import Die, Item, Plant, Position

from .models import EdgeForecast, Fitting, Replacement, Run, Work
from .operations import OPERATIONS

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
    rows = list(
        positions.order_by("die__code", "station__sequence", "code").values(
            "pk", "code", "side", "die_id", "die__code", "item_id", "item__grind_allowance_mm", "stroke_share"
        )
    )
    if not rows:
        return []
    ids = positions.values("pk")
    die_ids = {row["die_id"] for row in rows}
    variants = defaultdict(set)
    for position, variant in Position.variants.through.objects.filter(position__in=ids).values_list(
        "position_id", "variant_id"
    ):
        variants[position].add(variant)
    hits = hits_by_variant(die_ids)
    known = {die: n for die, n in (known_die_grinds or {}).items() if die in die_ids}
    ground, die_grinds = _grinds(ids, die_ids - known.keys())
    die_grinds |= known
    replaced = _replaced(ids)
    left = allowances_left(positions)
    made = []
    for row in rows:
        pk, mine = row["pk"], hits.get(row["die_id"], {})
        strokes = sum(n for variant, n in mine.items() if not variants[pk] or variant in variants[pk])
        grinds, removed = ground.get(pk, (0, 0.0))
        made.append(
            PlaceOfItem(
                position_id=pk,
                code=row["code"],
                side=row["side"],
                die_id=row["die_id"],
                die_code=row["die__code"],
                item_id=row["item_id"],
                stroke_share=row["stroke_share"],
                strokes=strokes * row["stroke_share"],
                allowance_left_mm=left.get(pk, row["item__grind_allowance_mm"]),
                removed_mm=removed,
                grinds=grinds,
                die_grinds=die_grinds.get(row["die_id"], 0),
                replaced=replaced[pk]["replaced"],
                ground_out=replaced[pk][Replacement.Why.GROUND_OUT],
            )
        )
    return made


def _positions(plant: Plant | None, dies: Iterable[int] | None, items: Iterable[int] | None) -> QuerySet[Position]:
    found = Position.objects.filter(item__isnull=False, die__status__in=RUNS).filter(
        Q(valid_to__isnull=True) | Q(valid_to__gt=timezone.now())
    )
    if plant is not None:
        found = found.filter(die__plant=plant)
    if dies is not None:
        found = found.filter(die__in=list(dies))
    return found if items is None else found.filter(item__in=list(items))


def hits_by_variant(dies: Iterable[int]) -> dict[int, dict[int, int]]:
    """Strokes that each set of inserts of a die has run, over all its record."""
    found: dict[int, dict[int, int]] = defaultdict(dict)
    for die, variant, hits in (
        Run.objects.standing()
        .filter(die__in=list(dies))
        .values("die_id", "variant_id")
        .annotate(n=Sum("hits"))
        .values_list("die_id", "variant_id", "n")
    ):
        found[die][variant] = hits
    return found


def _grinds(ids: QuerySet, die_ids: set[int]) -> tuple[dict[int, tuple[int, float]], dict[int, int]]:
    """Grinds and what they took off at each position; moments at which a die was ground at all."""
    works = Work.objects.standing().filter(operation__in=REMOVING)
    at_position = {
        position: (times, removed or 0.0)
        for position, times, removed in works.filter(position__in=ids)
        .values("position_id")
        .annotate(
            times=Count("at", distinct=True, filter=Q(operation="ground")),
            removed=Sum("removed_mm"),
        )
        .values_list("position_id", "times", "removed")
    }
    of_die = dict(
        works.filter(position__die__in=die_ids, operation="ground")
        .values("position__die_id")
        .annotate(times=Count("at", distinct=True))
        .values_list("position__die_id", "times")
    )
    return at_position, of_die


def _replaced(ids: QuerySet) -> dict[int, dict[str, int]]:
    found: dict[int, dict[str, int]] = defaultdict(lambda: defaultdict(int))
    for position, why, times in (
        Replacement.objects.standing()
        .filter(position__in=ids, since_start=False, piece_in__isnull=False)
        .exclude(why=Replacement.Why.FIRST)
        .values("position_id", "why")
        .annotate(times=Count("pk"))
        .values_list("position_id", "why", "times")
    ):
        key = Replacement.Why.GROUND_OUT if why == Replacement.Why.GROUND_OUT else "replaced"
        found[position][key] += times
    return found


def allowances_left(positions: QuerySet[Position]) -> dict[int, float]:
    """What may still be ground off the piece in each position, in mm.

    The allowance of the piece, or of the item bought for the place where the piece's own was not written down, less
    all that was ground off it, wherever it sat. Positions without either are left out.
    """
    now = {
        piece: (position, own if own is not None else bought)
        for piece, position, own, bought in Fitting.objects.filter(
            position__in=positions.values("pk"), until__isnull=True
        ).values_list("piece_id", "position_id", "piece__grind_allowance_mm", "position__item__grind_allowance_mm")
    }
    removed = _removed_of(positions)
    return {
        position: max(allowance - removed.get(piece, 0.0), 0.0)
        for piece, (position, allowance) in now.items()
        if allowance is not None
    }


def _removed_of(positions: QuerySet[Position]) -> dict[int, float]:
    """What was ground off each piece that now sits in one of the positions, in all its places and on the bench."""
    sitting = Fitting.objects.filter(position__in=positions.values("pk"), until__isnull=True).values("piece_id")
    works = Work.objects.standing().filter(operation__in=REMOVING)
    removed: dict[int, float] = defaultdict(float)
    # A work at the very moment of a replacement belongs to the piece that came out.
    in_place = (
        works.filter(position=OuterRef("position"), at__gt=Coalesce(OuterRef("since"), LONG_AGO))
        .filter(at__lte=Coalesce(OuterRef("until"), FAR_AHEAD))
        .order_by()
        .values("position")
        .annotate(n=Sum("removed_mm"))
        .values("n")
    )
    for piece, taken in (
        Fitting.objects.filter(piece__in=sitting).annotate(taken=Subquery(in_place)).values_list("piece_id", "taken")
    ):
        removed[piece] += taken or 0.0
    for piece, taken in (
        works.filter(piece__in=sitting)
        .order_by()
        .values("piece_id")
        .annotate(n=Sum("removed_mm"))
        .values_list("piece_id", "n")
    ):
        removed[piece] += taken or 0.0
    return removed


def items_in_use(plant: Plant) -> QuerySet[Item]:
    """The items that a die at work takes or that lie on this plant's shelf."""
    return (
        Item.objects.filter(Q(pk__in=_positions(plant, None, None).values("item_id")) | Q(movements__plant=plant))
        .distinct()
        .select_related("supplier")
    )


def longest_lead_days(plant: Plant) -> int:
    """The longest known lead time of the items in use; nought where none is known."""
    return items_in_use(plant).aggregate(n=Max("lead_days"))["n"] or 0


def first_runs(plant: Plant, *, dies: Iterable[int] | None = None) -> dict[int, dt.datetime]:
    """When the first run in the record of each die began. dies: of these only."""
    of = {"die__plant": plant} if dies is None else {"die__in": list(dies)}
    return dict(
        Run.objects.standing()
        .filter(**of)
        .order_by()
        .values("die_id")
        .annotate(first=Min("started"))
        .values_list("die_id", "first")
    )


def edge_forecasts(positions: Iterable[int]) -> dict[int, dict]:
    """The stored forecast of some positions, where there is one."""
    rows = EdgeForecast.objects.filter(forecast__is_newest=True, position__in=list(positions), usual_hits__gt=0)
    return {
        row["position_id"]: row for row in rows.values("position_id", "usual_hits", "remaining") if row["remaining"]
    }


def breaks_by_kind(plant: Plant) -> dict[str, tuple[int, float]]:
    """Kind of spare -> pieces replaced before they were ground out, and the strokes of all such places together."""
    hits = dict(
        Run.objects.standing()
        .filter(die__plant=plant)
        .order_by()
        .values("die_id")
        .annotate(n=Sum("hits"))
        .values_list("die_id", "n")
    )
    strokes: dict[str, float] = defaultdict(float)
    positions = _positions(plant, None, None)
    for die, kind, share in (
        positions.order_by()
        .values("die_id", "item__kind")
        .annotate(n=Sum("stroke_share"))
        .values_list("die_id", "item__kind", "n")
    ):
        strokes[kind] += share * hits.get(die, 0)
    replaced = dict(
        Replacement.objects.standing()
        .filter(position__in=positions.values("pk"), since_start=False, piece_in__isnull=False)
        .exclude(why__in=(Replacement.Why.FIRST, Replacement.Why.GROUND_OUT))
        .order_by()
        .values("position__item__kind")
        .annotate(n=Count("pk"))
        .values_list("position__item__kind", "n")
    )
    return {kind: (replaced.get(kind, 0), n) for kind, n in strokes.items()}
