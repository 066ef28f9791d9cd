"""Reads for the spares: which places take an item, how its pieces are ground away, and how often they break."""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from functools import reduce
from itertools import pairwise
from typing import NamedTuple

from django.db.models import (
    BigIntegerField,
    Case,
    Count,
    DateField,
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

from diestore.register.models import Die, Item, Output, Plant, Position, Rate
from maintenance.clockwork.works import OPERATIONS
from maintenance.log import purchase_reads, queries
from maintenance.log.data import OlderStock, SpareStock
from maintenance.log.purchase_reads import LeadSeen
from maintenance.models import DieForecast, EdgeForecast, Fitting, Replacement, Run, StockMovement, Stop, Work
from reports.purchasing.ahead import Programme
from reports.purchasing.removal import Taken

REMOVING = [key for key, operation in OPERATIONS.items() if operation.removes]
LONG_AGO = Value(dt.datetime(1900, 1, 1, tzinfo=dt.UTC), DateTimeField())
FAR_AHEAD = Value(dt.datetime(2900, 1, 1, tzinfo=dt.UTC), DateTimeField())
KIND_WORDS = {kind.value: kind.label for kind in StockMovement.Kind}
PLACE_WORDS = {place.value: place.label for place in StockMovement.Place}
FOR_WANT_OF_A_PIECE = (Stop.Cause.BROKEN, Stop.Cause.PILOT, Stop.Cause.SPRING, Stop.Cause.WAITING)
STOPS_OF_YEARS = 3
RUNS = (Die.Status.IN_SERVICE, Die.Status.IN_REPAIR)  # a die in store or retired uses up nothing


@dataclass(frozen=True, kw_only=True)
class PlaceOfItem:
    """A position with the spare for it, how it has been ground and what was replaced there.

    strokes: in which it worked since the records began; die_hits: of its die with any inserts. allowance_left_mm:
    of the piece in it. removed_mm: all that was ground away here in `grinds` grinds; die_grinds: times that
    anything of its die was ground. replaced: pieces taken out before they were ground out; ground_out: pieces used
    up by grinding. taken: what its grinds took off, of those that were measured.
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
    taken: Taken = field(default_factory=Taken)


class Places(NamedTuple):
    """rows: the positions asked for. taken: what all grinds took off, there or in the whole plant."""

    rows: list[PlaceOfItem]
    taken: Taken


def places_of_items(
    *,
    plant: Plant | None = None,
    dies: Iterable[int] | None = None,
    items: Iterable[int] | None = None,
    known_die_grinds: Mapping[int, int] | None = None,
    with_plant: bool = False,
) -> Places:
    """The positions of dies at work that name a spare, in the order of dies and positions.

    dies: of the spares that these take, in whichever die. known_die_grinds: how often dies were ground at all, where
    that is known; it is not counted again. with_plant: what grinds took off is counted in the whole plant, in the same
    question.
    """
    positions = _positions(plant, None, items)
    if dies is not None:
        positions = positions.filter(item__in=_positions(plant, dies, items).order_by().values("item"))
    ground_at = _positions(plant, None, None) if with_plant else positions
    counts, left = _counts(positions, known_die_grinds or {}, ground_at=ground_at), allowances_left(positions)
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
                taken=counts.taken.get(pk, Taken()),
            )
        )
    return Places(rows=made, taken=reduce(Taken.plus, counts.taken.values(), Taken()))


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
    pieces taken out before they were used up by grinding, and those used up by it. taken: position -> what its grinds
    took off, of those that were measured.
    """

    hits: dict[int, dict[int, int]]
    ground: dict[int, tuple[int, float]]
    die_grinds: dict[int, int]
    taken_out: dict[int, int]
    ground_out: dict[int, int]
    taken: dict[int, Taken]


_HITS, _GROUND, _DIE_GRINDS, _TAKEN_OUT, _GROUND_OUT = range(5)


def _counts(
    positions: QuerySet[Position], known_die_grinds: Mapping[int, int], *, ground_at: QuerySet[Position]
) -> _Counts:
    """All in one question. Grinds of dies that are known are not counted again. ground_at: the positions of which it is
    counted what was ground off."""
    positions = positions.order_by()
    ids, dies = positions.values("pk"), positions.values("die")
    no_inserts, no_mm = Value(None, BigIntegerField()), Value(None, FloatField())
    measured = Q(operation="ground", removed_mm__gt=0)
    none_taken = {"measured": no_inserts, "ground_mm": no_mm, "squares": no_mm}
    made = Run.objects.standing().filter(die__in=dies).order_by()
    ground = _removing().filter(position__in=ground_at.order_by().values("pk"))
    of_dies = _removing().filter(operation="ground", position__die__in=dies)
    if known_die_grinds:
        of_dies = of_dies.exclude(position__die__in=list(known_die_grinds))
    replaced = Replacement.objects.standing().filter(position__in=ids, since_start=False, piece_in__isnull=False)
    replaced = replaced.exclude(why=Replacement.Why.FIRST).order_by()
    used_up = Case(When(why=Replacement.Why.GROUND_OUT, then=Value(_GROUND_OUT)), default=Value(_TAKEN_OUT))
    times = Count("at", distinct=True)
    rows = (
        made.values(what=Value(_HITS), owner=F("die"), inserts=F("variant"))
        .annotate(n=Sum("hits"), mm=no_mm, **none_taken)
        .union(
            ground.values(what=Value(_GROUND), owner=F("position"), inserts=no_inserts).annotate(
                n=Count("at", distinct=True, filter=Q(operation="ground")),
                mm=Sum("removed_mm"),
                measured=Count("pk", filter=measured),
                ground_mm=Sum("removed_mm", filter=measured),
                squares=Sum(F("removed_mm") * F("removed_mm"), filter=measured),
            ),
            of_dies.values(what=Value(_DIE_GRINDS), owner=F("position__die"), inserts=no_inserts).annotate(
                n=times, mm=no_mm, **none_taken
            ),
            replaced.values(what=used_up, owner=F("position"), inserts=no_inserts).annotate(
                n=Count("pk"), mm=no_mm, **none_taken
            ),
            all=True,
        )
    )
    found = _Counts(
        hits=defaultdict(dict), ground={}, die_grinds=dict(known_die_grinds), taken_out={}, ground_out={}, taken={}
    )
    for row in rows:
        what, owner, n = row["what"], row["owner"], int(row["n"])
        if what == _HITS:
            found.hits[owner][row["inserts"]] = n
        elif what == _GROUND:
            found.ground[owner] = n, row["mm"] or 0.0
            found.taken[owner] = Taken.of(int(row["measured"] or 0), row["ground_mm"] or 0.0, row["squares"] or 0.0)
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
    """Of dies: the newest forecast, strokes in runs that ended in each of some spans, when the first run began."""

    forecasts: dict[int, DieForecast]
    hits: dict[int, list[int]]
    first: dict[int, dt.datetime]


def newest_forecasts(plant: Plant, dies: Iterable[int] | None = None) -> dict[int, DieForecast]:
    """Die -> its newest forecast. dies: of these only."""
    forecasts = DieForecast.objects.filter(is_newest=True).order_by()
    forecasts = forecasts.filter(die__plant=plant) if dies is None else forecasts.filter(die__in=list(dies))
    return {row.die_id: row for row in forecasts}


def dies_ahead(
    plant: Plant,
    bounds: list[dt.datetime],
    *,
    dies: Iterable[int] | None = None,
    forecasts: dict[int, DieForecast] | None = None,
) -> DiesAhead:
    """bounds: the latest first; a span lies between each two. dies: of these only. forecasts: where they are read
    already."""
    runs = Run.objects.standing().order_by()
    dies = None if dies is None else list(dies)
    runs = runs.filter(die__plant=plant) if dies is None else runs.filter(die__in=dies)
    spans = {
        f"n{k}": Sum("hits", filter=Q(at__gte=since, at__lt=until)) for k, (until, since) in enumerate(pairwise(bounds))
    }
    of_dies = list(runs.values("die_id").annotate(**spans, first=Min("started")).values_list("die_id", "first", *spans))
    return DiesAhead(
        forecasts=newest_forecasts(plant, dies) if forecasts is None else forecasts,
        hits={die: [n or 0 for n in hits] for die, _, *hits in of_dies if any(n is not None for n in hits)},
        first={die: first for die, first, *_ in of_dies},
    )


def programmes(dies: Iterable[int]) -> dict[int, Programme]:
    """Die -> the years stated of its parts in strokes, and its end; dies of which nothing is stated are left out.

    Parts of one stroke share it: the largest counts; sets of inserts are added up. A part that several dies in service
    make is shared by them evenly. A year counts where it is stated, or an earlier one, of every part. One question.
    """
    in_service = (
        Output.objects.filter(part=OuterRef("part"), variant__die__status=Die.Status.IN_SERVICE)
        .order_by()
        .values("part")
        .annotate(n=Count("variant__die", distinct=True))
        .values("n")
    )
    asked = ("variant__die_id", "variant_id", "part_id", "parts_per_hit", "part__last_needed")
    outputs: dict[tuple, None] = {}
    stated: dict[int, dict[int, int]] = defaultdict(dict)
    makers: dict[int, int] = {}
    for *output, year, n, dies_of_part in (
        Output.objects.filter(variant__die__in=list(dies))
        .order_by("variant__die_id", "variant_id", "part_id")
        .annotate(in_service=Subquery(in_service))
        .values_list(*asked, "part__volumes__year", "part__volumes__parts", "in_service")
    ):
        outputs[tuple(output)] = None
        if year is not None:
            stated[output[2]][year] = n
            makers[output[2]] = dies_of_part or 1
    rows = list(outputs)
    ended = {die: [last for of, _, _, _, last in rows if of == die] for die in {row[0] for row in rows}}
    if not stated and not any(any(last) for last in ended.values()):
        return {}
    made = {}
    for die, lasts in ended.items():
        mine = [row for row in rows if row[0] == die]
        known = [stated[part] for _, _, part, _, _ in mine if part in stated]
        years = ()
        if len(known) == len(mine):
            first = max(min(of_part) for of_part in known)
            years = tuple(
                (year, _strokes_of(year, mine, stated, makers))
                for year in sorted({year for of_part in known for year in of_part})
                if year >= first
            )
        ends = max(lasts) if all(lasts) else None
        if years or ends:
            made[die] = Programme(years=years, ends=ends)
    return made


def _strokes_of(
    year: int, rows: list[tuple], stated: Mapping[int, Mapping[int, int]], makers: Mapping[int, int]
) -> float:
    by_variant: dict[int, float] = defaultdict(float)
    for _, variant, part, per_hit, _ in rows:
        parts = stated[part][max(of for of in stated[part] if of <= year)]
        by_variant[variant] = max(by_variant[variant], parts / per_hit / max(makers.get(part, 1), 1))
    return sum(by_variant.values())


def items_in_use(plant: Plant) -> QuerySet[Item]:
    """The items that a die at work takes or that lie on this plant's shelf."""
    return (
        Item.objects.filter(Q(pk__in=_positions(plant, None, None).values("item_id")) | Q(movements__plant=plant))
        .distinct()
        .select_related("supplier", "newer")
    )


def items_by_pk(pks: Iterable[int]) -> QuerySet[Item]:
    return Item.objects.filter(pk__in=list(pks)).select_related("supplier", "newer")


def item_in_use(plant: Plant, pk: int) -> Item | None:
    """That one, if it is among them."""
    places, moves = _positions(plant, None, [pk]), StockMovement.objects.filter(plant=plant, item=pk)
    return Item.objects.filter(Q(Exists(places)) | Q(Exists(moves)), pk=pk).select_related("supplier", "newer").first()


def which_in_use(plants: Iterable[Plant], pks: list[int]) -> set[int]:
    """Of those, the ones that are among them in one of the plants."""
    here = Q(pk__in=[])
    for plant in plants:
        here |= Q(pk__in=_positions(plant, None, pks).values("item_id")) | Q(movements__plant=plant)
    return set(Item.objects.filter(here, pk__in=pks).values_list("pk", flat=True))


def edge_forecasts(positions: Iterable[int]) -> dict[int, dict]:
    """The stored forecast of some positions, where there is one."""
    rows = EdgeForecast.objects.filter(forecast__is_newest=True, position__in=list(positions), usual_hits__gt=0)
    return {
        row["position_id"]: row for row in rows.values("position_id", "usual_hits", "remaining") if row["remaining"]
    }


class KindStrokes(NamedTuple):
    """strokes: kind of spare -> of all places that take it together. since: when the first run of the plant began."""

    strokes: dict[str, float]
    since: dt.datetime | None


def strokes_by_kind(plant: Plant) -> KindStrokes:
    runs = Run.objects.standing().filter(die__plant=plant).order_by().values("die_id")
    of_dies = list(runs.annotate(n=Sum("hits"), first=Min("started")).values_list("die_id", "n", "first"))
    hits = {die: n for die, n, _ in of_dies}
    places = _positions(plant, None, None).order_by().values("die_id", "item__kind").annotate(n=Sum("stroke_share"))
    strokes: dict[str, float] = defaultdict(float)
    for die, kind, share in places.values_list("die_id", "item__kind", "n"):
        strokes[kind] += share * hits.get(die, 0)
    return KindStrokes(strokes=dict(strokes), since=min((first for *_, first in of_dies), default=None))


class Charged(NamedTuple):
    """What waiting and buying are priced by. stops: (die, cause) -> how many and their minutes together; rates: kind of
    rate -> what holds."""

    stops: dict[tuple[int, str], tuple[int, float]]
    rates: dict[str, float]


def charged(plant: Plant, *, until: dt.date, day: dt.date) -> Charged:
    """In one question: the stops of the three years up to a day that a broken or missing piece makes, and setting up;
    and the rates that hold on a day."""
    end = dt.datetime.combine(until + dt.timedelta(days=1), dt.time(), tzinfo=dt.UTC)
    stops = (
        Stop.objects.standing()
        .filter(die__plant=plant, at__gte=end - dt.timedelta(days=365 * STOPS_OF_YEARS), at__lt=end)
        .filter(Q(planned=False, cause__in=FOR_WANT_OF_A_PIECE) | Q(cause=Stop.Cause.SETTING))
        .order_by()
        .values(owner=F("die"), name=F("cause"))
        .annotate(n=Count("pk"), total=Sum("minutes", output_field=FloatField()))
        .annotate(since=Value(None, DateField()), amount_of=Value(None, Rate._meta.get_field("amount")))
    )
    rates = (
        Rate.objects.filter(plant=plant, valid_from__lte=day)
        .order_by()
        .values(owner=Value(None, BigIntegerField()), name=F("kind"))
        .annotate(n=Value(0, BigIntegerField()), total=Value(0.0, FloatField()))
        .annotate(since=F("valid_from"), amount_of=F("amount"))
    )
    found, holds = {}, {}
    for row in stops.union(rates, all=True):
        if row["since"] is None:
            found[row["owner"], row["name"]] = row["n"], row["total"]
        elif row["name"] not in holds or row["since"] >= holds[row["name"]][0]:
            holds[row["name"]] = row["since"], float(row["amount_of"])
    return Charged(stops=found, rates={kind: amount for kind, (_, amount) in holds.items()})


def lead_days_seen(
    plant: Plant,
    items: Iterable[int] | None = None,
    *,
    suppliers: Mapping[int, int | None] | None = None,
    lines: Iterable[LeadSeen] | None = None,
    until: dt.datetime | None = None,
) -> dict[int, tuple[float, ...]]:
    """Item -> days from ordered to received: of each line of an order as the spare's page lists it, and of what was
    ordered without one, the first ordered taken to come first. What comes with nothing ordered before tells nothing.
    suppliers: item -> from whom it is bought now: what others took does not count of it. lines: those lines, where they
    are read already. until: what moved before and was known then; None: all."""
    seen: dict[int, list[float]] = defaultdict(list)
    for lead in purchase_reads.lead_times_seen(plant=plant, items=items) if lines is None else lines:
        if suppliers and suppliers.get(lead.item_id, lead.supplier_id) != lead.supplier_id:
            continue
        seen[lead.item_id].append(float(lead.days))
    known = StockMovement.objects.standing()
    if until is not None:
        known = StockMovement.objects.known_at(until).filter(at__lt=until)
    moves = known.filter(plant=plant, place=StockMovement.Place.ON_ORDER, line=None)
    if items is not None:
        moves = moves.filter(item__in=list(items))
    waiting: dict[int, list[list]] = defaultdict(list)
    for item, at, quantity, kind in moves.order_by("at", "pk").values_list("item_id", "at", "quantity", "kind"):
        if quantity > 0:
            waiting[item].append([at, quantity])
            continue
        left, came = -quantity, kind == StockMovement.Kind.DELIVERED
        while left > 0 and waiting[item]:
            first = waiting[item][0]
            taken = min(left, first[1])
            left, first[1] = left - taken, first[1] - taken
            if first[1] == 0:
                waiting[item].pop(0)
                if came:
                    seen[item].append((at - first[0]).total_seconds() / 86400)
    return {item: tuple(days) for item, days in seen.items()}


class Move(NamedTuple):
    """A movement of one spare in a plant. stock: on the shelf after it."""

    at: dt.datetime
    kind: str
    place: str
    quantity: int
    note: str
    stock: int
    key: str


def movements_of(plant: Plant, item: int) -> list[StockMovement]:
    """All movements of a spare and of those whose place it took and which are still usable, the oldest first, with
    spare, die, work and supplier."""
    asked = Q(item=item) | queries.USABLE & Q(item__newer=item)
    rows = StockMovement.objects.standing().filter(asked, plant=plant).order_by("at", "sequence", "pk")
    return list(rows.select_related("item", "die", "bench_work", "supplier"))


def stock_by(item: int, rows: Iterable[StockMovement]) -> SpareStock:
    """What is on the shelf and on the way of a spare, and what is still usable of those whose place it took, by
    `movements_of`: the same as `queries.stock_of_spares`."""
    sums: dict[str, int] = defaultdict(int)
    older: dict[int, int] = defaultdict(int)
    names, ordered = {}, []
    for row in rows:
        if row.item_id == item:
            sums[row.place] += row.quantity
            if row.place == StockMovement.Place.ON_ORDER and row.quantity > 0:
                ordered.append(row.at)
        elif row.place == StockMovement.Place.SHELF:
            older[row.item_id] += row.quantity
            names[row.item_id] = f"{row.item.code} {row.item.revision}".strip()
    usable = [OlderStock(item_id=one, name=names[one], pieces=n) for one, n in older.items() if n > 0]
    return SpareStock(
        item_id=item,
        on_hand=sums[StockMovement.Place.SHELF],
        on_order=sums[StockMovement.Place.ON_ORDER],
        ordered_at=max(ordered, default=None),
        older=tuple(sorted(usable, key=lambda one: (one.name, one.item_id))),
    )


def moves_of(rows: Iterable[StockMovement]) -> list[Move]:
    """The same as the page lists them, the newest first."""
    stock, made = 0, []
    for row in rows:
        stock += row.quantity if row.place == StockMovement.Place.SHELF else 0
        made.append(Move(row.at, row.kind, row.place, row.quantity, row.note, stock, row.key))
    return made[::-1]


class Mishap(NamedTuple):
    """Pieces of one item replaced in one die at one moment, before they were ground out. places: position -> share of
    the die's strokes in which it works."""

    item: int
    kind: str
    die: int
    at: dt.datetime
    places: dict[int, float]

    @property
    def pieces(self) -> int:
        return len(self.places)


def mishaps(plant: Plant, items: Iterable[int] | None = None) -> list[Mishap]:
    positions = _positions(plant, None, items)
    rows = (
        Replacement.objects.standing()
        .filter(position__in=positions.order_by().values("pk"), since_start=False, piece_in__isnull=False)
        .exclude(why__in=(Replacement.Why.FIRST, Replacement.Why.GROUND_OUT))
        .order_by("position__die_id", "at", "position__item_id", "position_id")
    )
    names = ("position__item_id", "position__item__kind", "position__die_id", "at")
    found: dict[tuple, dict[int, float]] = defaultdict(dict)
    for *key, place, share in rows.values_list(*names, "position_id", "position__stroke_share"):
        found[tuple(key)][place] = share
    return [Mishap(*key, places) for key, places in found.items()]


def strokes_by_span(
    plant: Plant, bounds: list[dt.datetime], *, dies: Iterable[int] | None = None
) -> dict[int, list[int]]:
    """Die -> strokes of the runs that ended between each two of some moments, the earliest first. dies: these only."""
    spans = {
        f"n{k}": Sum("hits", filter=Q(at__gte=since, at__lt=until)) for k, (since, until) in enumerate(pairwise(bounds))
    }
    runs = Run.objects.standing().order_by()
    runs = runs.filter(die__plant=plant) if dies is None else runs.filter(die__in=list(dies))
    rows = runs.values("die_id").annotate(**spans)
    return {die: [n or 0 for n in hits] for die, *hits in rows.values_list("die_id", *spans)}
