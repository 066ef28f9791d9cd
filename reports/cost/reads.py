"""Reads for the cost of dies: what each has made, and what was spent on it, by its own log."""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from decimal import Decimal
from operator import itemgetter
from typing import NamedTuple

from django.db.models import (
    BigIntegerField,
    BooleanField,
    Case,
    Count,
    DateTimeField,
    F,
    FloatField,
    IntegerField,
    Max,
    Min,
    Q,
    QuerySet,
    Sum,
    TextField,
    Value,
    When,
)
from django.db.models.fields.json import KT
from django.db.models.functions import Cast, Coalesce, TruncMonth
from django.utils import timezone

from diestore.access import shop
from diestore.money import STEPS
from diestore.register.amendments import moment_of
from diestore.register.models import Amendment, Die, Item, Output, Plant, Rate, Stock
from diestore.register.sources import Source, SourcePrice
from maintenance.clockwork.works import OPERATIONS
from maintenance.log import pay_rows
from maintenance.log.pay_rows import Pay, PayRow
from maintenance.models import Inspection, OpenCount, Order, Reading, Replacement, Run, StockMovement, Stop, Work
from reports.costing.day_prices import (
    DayPrice,
    KnownPrices,
    Moved,
    Point,
    SourceLists,
    SourceThen,
    lots_of,
    price_then,
)
from reports.costing.ledger import Bearer

_A_WORK, _A_STOP, _A_READING, _A_LOOK = range(4)
_SCRAPPED_AT = {_A_STOP: "stop", _A_READING: "reading", _A_LOOK: "inspection"}
ON_THE_EDGE = [key for key, operation in OPERATIONS.items() if operation.on_the_edge]


DatedRates = dict[str, list[tuple[dt.date, Decimal]]]


@dataclass(frozen=True, kw_only=True)
class GrindDay:
    """All works on a die at one moment. hours None: nobody wrote them down. outside: done by a supplier.

    pk: of one of them. chipped: one of them was done since a piece was chipped; other: all of them for other reasons.
    """

    pk: int
    at: dt.datetime
    sharpening: bool
    pieces: int
    hours: float | None
    outside: bool
    operation: str
    chipped: bool
    other: bool


@dataclass(frozen=True, kw_only=True)
class SpareFitted:
    """price: of the day on which it was fitted; None: never known. why: a `Replacement.Why`."""

    pk: int
    place: str
    why: str
    at: dt.datetime
    item: str
    price: DayPrice | None

    @property
    def unit_price(self) -> Decimal | None:
        return self.price and self.price.amount

    @property
    def said(self) -> str:
        """What is to say of its price: that it is of another day."""
        return self.price.told_by.value if self.price and self.price.told_by.doubtful else ""


@dataclass(frozen=True, kw_only=True)
class StopOfDie:
    """of: the sort of entry, as addresses name it: parts are scrapped at readings and looks too, which stop nothing.

    price_kg, scrap_kg: of its usual stock that day, what a kilogram costs and its scrap brings; None: not known."""

    pk: int
    cause: str
    at: dt.datetime
    minutes: float
    parts_scrapped: int
    price_kg: Decimal | None = None
    scrap_kg: Decimal | None = None
    of: str = "stop"


@dataclass(frozen=True, kw_only=True)
class BillOfDie:
    """at: the day that stands on it. done: when what it is for was done, where known. payer None: the shop.

    Of a retirement (its kind) what that cost, or brought: then less than nought.
    """

    pk: int
    at: dt.datetime
    done: dt.datetime | None
    kind: str
    amount: Decimal
    payer: int | None
    payer_name: str
    bill: int | None
    words: str


@dataclass(frozen=True, kw_only=True)
class BearerOfDie:
    """Who pays, and what he is called."""

    bearer: Bearer
    payer_name: str


@dataclass(kw_only=True)
class Spent:
    """The log of one die, as its cost needs it. parts: good parts, all outputs; setting_minutes: planned stops,
    set_ups of them. scrap: parts scrapped for what was measured or seen."""

    die: int
    hits: int = 0
    parts: int = 0
    first: dt.datetime | None = None
    last: dt.datetime | None = None
    grinds: list[GrindDay] = field(default_factory=list)
    spares: list[SpareFitted] = field(default_factory=list)
    stops: list[StopOfDie] = field(default_factory=list)
    scrap: list[StopOfDie] = field(default_factory=list)
    bills: list[BillOfDie] = field(default_factory=list)
    bearers: list[BearerOfDie] = field(default_factory=list)
    setting_minutes: float = 0.0
    set_ups: int = 0


def spent_on(dies: Iterable[int]) -> dict[int, Spent]:
    """What each of these dies has made and cost: a question a sort of entry, for any number of dies."""
    return spent_and_rates(dies, None)[0]


def spent_and_rates(
    dies: Iterable[int], plant: Plant | None, *, outputs: Iterable[Output] | None = None
) -> tuple[dict[int, Spent], DatedRates]:
    """The same, and what an hour costs there, by kind, from which day on. outputs: of the dies, where they are read."""
    ids = list(dies)
    spent_of = {die: Spent(die=die) for die in ids}
    rates: DatedRates = defaultdict(list)
    if plant is not None:
        for kind, day, amount in Rate.objects.filter(plant=plant).values_list("kind", "valid_from", "amount"):
            rates[kind].append((day, amount))
    if outputs is None:
        falls = list(Output.objects.filter(variant__die__in=ids).values_list("variant_id", "part_id", "parts_per_hit"))
    else:
        falls = [(output.variant_id, output.part_id, output.parts_per_hit) for output in outputs]
    _add_parts(spent_of, falls, _runs(ids))
    scrapping: list[tuple[list[StopOfDie], int, int]] = []  # stops of a die, the place in them, its usual stock
    for row in _works_and_stops(ids):
        sort, die, at, word, apart, number, written, amount, pk, chipped, other, stock = row
        if sort == _A_STOP and (apart or word == Stop.Cause.SETTING):
            spent_of[die].setting_minutes += amount
            spent_of[die].set_ups += 1
            continue
        if sort != _A_WORK:
            some = spent_of[die].stops if sort == _A_STOP else spent_of[die].scrap
            if number:
                scrapping.append((some, len(some), stock))
            some.append(
                StopOfDie(pk=pk, cause=word, at=at, minutes=amount, parts_scrapped=number, of=_SCRAPPED_AT[sort])
            )
            continue
        spent_of[die].grinds.append(
            GrindDay(
                at=at,
                sharpening=word in ON_THE_EDGE and word != "welded and recut",
                pieces=number,
                hours=round(amount, 4) if written else None,
                outside=bool(apart),
                pk=pk,
                operation=word,
                chipped=bool(chipped),
                other=bool(other),
            )
        )
    fitted = [_Fitted(*row) for row in _spares(ids)]
    prices, of_stock = _prices_then(fitted, plant, sorted({stock for _, _, stock in scrapping}))
    for some, n, stock in scrapping:
        price, scrap = (_of_day(known, some[n].at) for known in of_stock.get(stock, (KnownPrices(), KnownPrices())))
        some[n] = replace(some[n], price_kg=price, scrap_kg=scrap)
    for row in fitted:
        name = row.code or row.usual_code or "a piece without a name"
        spent_of[row.die].spares.append(
            SpareFitted(pk=row.pk, place=row.place, why=row.why, at=row.at, item=name, price=prices[row.pk])
        )
    for row in pay_rows.of_dies(ids):
        if row.sort == Pay.BEARER:
            spent_of[row.die].bearers.append(_bearer(row))
        else:
            spent_of[row.die].bills.append(_bill(row))
    return spent_of, rates


def parts_per_hit(dies: Iterable[int]) -> dict[int, int]:
    """Parts that fall at one hit with the usual set of inserts of each die, all outputs together."""
    return dict(
        Output.objects.filter(variant__die__in=list(dies), variant__is_default=True)
        .values("variant__die_id")
        .annotate(n=Sum("parts_per_hit"))
        .values_list("variant__die_id", "n")
    )


def _add_parts(spent_of: dict[int, Spent], outputs: Iterable[tuple], runs: Iterable[tuple]) -> None:
    per_hit: dict[int, dict[int, int]] = defaultdict(dict)
    for variant, part, n in outputs:
        per_hit[variant][part] = n
    for die, variant, part, all_hits, counted_hits, good, first, last in runs:
        spent = spent_of[die]
        made = per_hit.get(variant, {})
        every = sum(made.values()) or 1
        one = made.get(part, every)
        hits, good = counted_hits or 0, good or 0
        # Where left and right fall at one hit, some count one side and some both.
        if good <= hits * one:
            good = good * every // one
        spent.hits += all_hits
        spent.parts += good + (all_hits - hits) * every
        spent.first = min(filter(None, (spent.first, first)))
        spent.last = max(filter(None, (spent.last, last)))


def parts_by_month(die: Die) -> dict[dt.date, int]:
    """Good parts of a die by the first day of the month in which their runs ended: two questions."""
    return {month: made.parts for month, made in made_by_month(die).items()}


def made_by_month(die: Die) -> dict[dt.date, Spent]:
    """Hits and good parts of a die by the first day of the month in which its runs ended: two questions."""
    outputs = list(Output.objects.filter(variant__die=die).values_list("variant_id", "part_id", "parts_per_hit"))
    rows: dict[dt.date, list[tuple]] = defaultdict(list)
    for month, *row in _runs([die.pk], by_month=True):
        rows[timezone.localdate(month)].append(tuple(row))
    made = {}
    for month, of_month in sorted(rows.items()):
        spent = Spent(die=die.pk)
        _add_parts({die.pk: spent}, outputs, of_month)
        made[month] = spent
    return made


def _runs(ids: list[int], *, by_month: bool = False) -> QuerySet:
    """What was run, and what counters count just now: nobody has counted good parts of that yet.

    by_month: by the month in which a run ended too, which then stands before all other columns.
    """
    of: tuple = ("die_id", "variant_id", "order__part_id")
    month = {"month": TruncMonth("at")} if by_month else {}
    uncounted = Value(None, BigIntegerField())
    runs = (
        Run.objects.standing()
        .filter(die__in=ids)
        .order_by()
        .annotate(**month)
        .values(*month, *of)
        .annotate(
            all_hits=Sum("hits"),
            counted_hits=Sum("hits", filter=Q(good_parts__isnull=False)),
            good=Sum("good_parts"),
            first=Min("started"),
            last=Max("at"),
        )
        .values_list(*month, *of, "all_hits", "counted_hits", "good", "first", "last")
    )
    counting = OpenCount.objects.as_hits().filter(die__in=ids).order_by().annotate(**month)
    return runs.union(counting.values_list(*month, *of, "hits", uncounted, uncounted, "started", "at"), all=True)


def _works_and_stops(ids: list[int]) -> list[tuple]:
    """All works on a die at one moment together, its stops, and readings and looks for which parts were scrapped.

    Of works: the operation, whether a supplier did it, pieces, how many with hours, those hours, one of them, whether
    one was for a chip, whether all were for other reasons. Of a stop: its cause, whether it was planned, parts
    scrapped, nothing, its minutes, itself, nothing, nothing, the usual stock of its die; of the others the same.
    """
    works = (
        Work.objects.standing()
        .filter(position__die__in=ids)
        .order_by()
        .values("position__die_id", "at", "operation", "supplier_id")
        .annotate(
            sort=Value(_A_WORK, IntegerField()),
            outside=Case(When(supplier__isnull=False, then=True), default=False, output_field=BooleanField()),
            pieces=Count("pk"),
            written=Count("hours"),
            sum_hours=Sum("hours"),
            one=Min("pk"),
            chipped=Max(Case(When(why=Work.Why.CHIPPED, then=1), default=0)),
            other=Min(Case(When(why=Work.Why.OTHER, then=1), default=0)),
        )
        .values_list(
            "sort",
            "position__die_id",
            "at",
            "operation",
            "outside",
            "pieces",
            "written",
            "sum_hours",
            "one",
            "chipped",
            "other",
            Cast(Value(None), BigIntegerField()),
            "supplier_id",
        )
    )
    none = Value(None, BigIntegerField())
    nought = Value(0, IntegerField())
    stops = Stop.objects.standing().filter(die__in=ids).order_by().values_list(
        Value(_A_STOP, IntegerField()), "die_id", "at", "cause", "planned", "parts_scrapped", none, "minutes", "pk",
        nought, nought, "die__usual_stock_id", none,
    )  # fmt: skip
    no_time, unplanned = Value(0.0, FloatField()), Value(False, BooleanField())
    of_die = Coalesce("die_id", "position__die_id", "cut__die_id")
    measured = Reading.objects.standing().filter(parts_scrapped__gt=0).annotate(of_die=of_die).filter(of_die__in=ids)
    stock = Coalesce("die__usual_stock_id", "position__die__usual_stock_id", "cut__die__usual_stock_id")
    seen = Inspection.objects.standing().filter(parts_scrapped__gt=0, die__in=ids)
    scrapped = (
        measured.order_by().values_list(
            Value(_A_READING, IntegerField()), "of_die", "at", "quantity", unplanned, "parts_scrapped", none, no_time,
            "pk", nought, nought, stock, none,
        ),
        seen.order_by().values_list(
            Value(_A_LOOK, IntegerField()), "die_id", "at", "plan__what", unplanned, "parts_scrapped", none, no_time,
            "pk", nought, nought, "die__usual_stock_id", none,
        ),
    )  # fmt: skip
    return sorted((row[:12] for row in works.union(stops, *scrapped, all=True)), key=itemgetter(2))


def stop_minutes(plant: Plant) -> list[float]:
    """How long each stop on account of a die took, of all dies of a plant."""
    stops = Stop.objects.standing().filter(die__plant=plant).exclude(Q(planned=True) | Q(cause=Stop.Cause.SETTING))
    return list(stops.order_by("at", "pk").values_list("minutes", flat=True))


def usual_lot(die: Die) -> int | None:
    """Parts of a job of this die, the mean of its latest twelve."""
    parts = list(Order.objects.filter(die=die).order_by("-due", "-pk").values_list("parts", flat=True)[:12])
    return round(sum(parts) / len(parts)) if parts else None


class _Fitted(NamedTuple):
    """A spare that was fitted: the piece and its item, and the usual item of its place."""

    pk: int
    die: int
    place: str
    why: str
    at: dt.datetime
    piece: int
    item_id: int | None
    code: str | None
    today: Decimal | None
    usual_id: int | None
    usual_code: str | None
    usual_today: Decimal | None

    @property
    def of(self) -> tuple[int | None, Decimal | None]:
        """The item by which it is priced, and what that costs today."""
        return (self.item_id, self.today) if self.item_id else (self.usual_id, self.usual_today)


def _spares(ids: list[int]) -> QuerySet:
    return (
        Replacement.objects.standing()
        .filter(position__die__in=ids, since_start=False, piece_in__isnull=False)
        .exclude(why=Replacement.Why.FIRST)
        .order_by("at")
        .values_list(
            "pk",
            "position__die_id",
            "position__code",
            "why",
            "at",
            "piece_in_id",
            "piece_in__item_id",
            "piece_in__item__code",
            "piece_in__item__unit_price",
            "position__item_id",
            "position__item__code",
            "position__item__unit_price",
        )
    )


def fitted_with(items: Iterable[int]) -> frozenset[int]:
    """The dies into which one of these spares was fitted: what it cost may be told otherwise now."""
    ids = list(items)
    if not ids:
        return frozenset()
    rows = Replacement.objects.filter(Q(piece_in__item__in=ids) | Q(position__item__in=ids)).order_by()
    return frozenset(rows.values_list("position__die_id", flat=True).distinct())


# --- what spares cost on their day ------------------------------------------------------------------------------------

_MOVED, _HELD, _AMENDED, _ASKED, _SOURCE, _STOCK, _STOCK_AMENDED, _SCRAP_AMENDED = range(8)
ONE_BY_ONE = 1_000  # spares are asked for by name; of more, all rows are read: no engine takes a question without end
_FOLLOWED = "As its preferred source says"


class _PriceRow(NamedTuple):
    """A row of what prices rest on; which columns say something hangs on the sort. money: ten-thousandths."""

    sort: int
    item: int
    at: dt.datetime
    n: int | None
    money: int | None
    key: int | None
    order: int | None
    words: str | None
    x: float | None
    y: float | None
    was: str | None
    now: str | None

    @property
    def amount(self) -> Decimal | None:
        return None if self.money is None else Decimal(self.money) / STEPS


def _of_day(known: KnownPrices, at: dt.datetime) -> Decimal | None:
    told = price_then(known, at, timezone.localdate(at))
    return None if told is None else told.amount


OfStock = dict[int, tuple[KnownPrices, KnownPrices]]  # what a kilogram costs, what its scrap brings


def _prices_then(
    fitted: list[_Fitted], plant: Plant | None, stocks: list[int]
) -> tuple[dict[int, DayPrice | None], OfStock]:
    """What each fitted spare cost on its day, by its `pk`, and what is known of stocks: one question for any number."""
    items = sorted({row.of[0] for row in fitted if row.of[0] is not None})
    known, lots, of_stock = _known_prices(items, plant, stocks) if items or stocks else ({}, {}, {})
    made: dict[int, DayPrice | None] = {}
    for row in fitted:
        item, today = row.of
        prices = replace(known.get(item, KnownPrices()) if item is not None else KnownPrices(), today=today)
        day = timezone.localdate(row.at)
        made[row.pk] = price_then(prices, row.at, day, lots.get(row.piece))
    return made, of_stock


def _known_prices(
    items: list[int], plant: Plant | None, stocks: list[int]
) -> tuple[dict[int, KnownPrices], dict[int, Moved], OfStock]:
    """Of each item what is known of its prices; of each fitted piece the delivery that it came from; of each stock."""
    rows: dict[int, dict[int, list[_PriceRow]]] = defaultdict(lambda: defaultdict(list))
    for one in _price_rows(items, plant, stocks):
        row = _PriceRow(*one)
        rows[row.item][row.sort].append(row)
    own, lots, known = shop.current().currency, {}, {}
    for item in items if len(items) <= ONE_BY_ONE else list(rows):
        of_item = rows[item]
        lots |= lots_of(_moved(of_item[_MOVED], own))
        first, later = _register(of_item[_HELD], of_item[_AMENDED])
        known[item] = KnownPrices(sources=_sources(of_item[_SOURCE], of_item[_ASKED], own), first=first, later=later)
    of_stock = {}
    for stock in stocks:
        held = rows[stock][_STOCK]
        price, scrap = (
            _register(of_it, rows[stock][sort])
            for of_it, sort in (
                (held, _STOCK_AMENDED),
                ([row._replace(money=row.order) for row in held], _SCRAP_AMENDED),
            )
        )
        of_stock[stock] = tuple(KnownPrices(first=first, later=later) for first, later in (price, scrap))
    return known, lots, of_stock


def _moved(rows: list[_PriceRow], own: str) -> list[Moved]:
    """Pieces that came and went; an order in another currency tells no price."""
    return [
        Moved(
            at=row.at,
            quantity=row.n or 0,
            price=row.amount if row.words in (own, "") else None,
            order=row.order,
            piece=row.key,
        )
        for row in rows
    ]


def _sources(rows: list[_PriceRow], asked: list[_PriceRow], own: str) -> list[SourceLists]:
    then: dict[int | None, list[SourceThen]] = defaultdict(list)
    for row in rows:
        worth = None if row.x is None else Decimal(str(row.x))
        then[row.key].append(
            SourceThen(
                since=row.at,
                preferred=bool(row.n),
                worth_of_one=Decimal(1) if row.words == own else worth,
                minutes_each=None if row.y is None else Decimal(str(row.y)),
            )
        )
    lists: dict[int | None, dict[dt.date, tuple[int, Decimal]]] = defaultdict(dict)
    for row in asked:
        day, price = row.at.date(), (row.n or 0, row.amount or Decimal(0))
        lists[row.key][day] = min(lists[row.key].get(day, price), price)
    return [
        SourceLists(then=then[source], lists=[(day, price) for day, (_, price) in lists[source].items()])
        for source in sorted(lists, key=lambda source: source or 0)
        if source in then
    ]


def _register(rows: list[_PriceRow], amended: list[_PriceRow]) -> tuple[Point | None, list[Point]]:
    """The first price that the register knows, and those after it: changes with their day, and what a source said."""

    def price(value: str | None) -> Decimal | None:
        return Decimal(value) if value else None

    held = sorted(rows, key=lambda row: (row.at, row.key))
    later = [Point(since=row.at, value=row.amount) for row in held[1:] if row.words == _FOLLOWED]
    first = Point(since=held[0].at, value=held[0].amount) if held else None
    changes = sorted(((moment_of(row.words or None), row) for row in amended), key=lambda one: (one[0], one[1].key))
    if changes and (first is None or changes[0][0] < first.since):
        first = Point(since=changes[0][0], value=price(changes[0][1].was))
    return first, [*later, *(Point(since=since, value=price(row.now)) for since, row in changes)]


def _price_rows(items: list[int], plant: Plant | None, stocks: list[int]) -> QuerySet:
    """Rows (sort, item, at, n, money, key, order, words, a figure, another, text, text), all in one question."""

    def none(field) -> Cast:
        return Cast(Value(None), field)

    big, text, real = BigIntegerField(), TextField(), FloatField()

    def rows(query: QuerySet, sort: int, **columns) -> QuerySet:
        usual = {
            "n": none(IntegerField()), "money": none(big), "key": none(big), "order": none(big), "words": none(text),
            "x": none(real), "y": none(real), "was": none(text), "now": none(text),
        }  # fmt: skip
        made = {"sort": Value(sort, IntegerField())} | usual | columns
        made = {f"c_{name}": made[name] for name in ("sort", "item", "at", *usual)}
        return query.order_by().annotate(**made).values_list(*made)

    def among(name: str, keys: list) -> Q:
        return Q(**{f"{name}__in": keys}) if len(keys) <= ONE_BY_ONE else Q()

    Kind, Place = StockMovement.Kind, StockMovement.Place
    moved = StockMovement.objects.standing().filter(among("item", items), place__in=(Place.SHELF, Place.DRAWN))
    moved = moved.exclude(kind__in=(Kind.DRAWN, Kind.RETURNED))
    if plant is not None:
        moved = moved.filter(plant=plant)
    held = Item.history.filter(among("id", items)).exclude(history_type="-")
    amended = Amendment.objects.filter(
        among("row_key", [str(pk) for pk in items]),
        table="diestore.item",
        struck_at=None,
        fields__has_key="unit_price",
    )
    of_stocks = Stock.history.filter(among("id", stocks)).exclude(history_type="-")
    stock_amended = Amendment.objects.filter(
        among("row_key", [str(pk) for pk in stocks]), table="diestore.stock", struck_at=None
    )
    of_sources = Source.history.filter(among("item_id", items)).exclude(history_type="-")
    midday = SourcePrice.objects.filter(among("source__item", items))
    return rows(
        moved, _MOVED, item=F("item_id"), at=F("at"), n=F("quantity"), key=F("piece_id"), order=F("line__order_id"),
        money=Cast(Case(When(line__isnull=False, then=F("line__unit_price")), default=F("worth")), big),
        words=Cast(Coalesce("line__order__currency", Value("")), text),
    ).union(
        rows(held, _HELD, item=F("id"), at=F("history_date"), money=Cast("unit_price", big), key=F("history_id"),
             words=Cast("history_change_reason", text)),
        rows(amended, _AMENDED, item=Cast("row_key", big), at=F("recorded_at"), key=F("pk"),
             words=KT("fields__unit_price__at"), was=KT("fields__unit_price__was"), now=KT("fields__unit_price__now")),
        rows(midday, _ASKED, item=F("source__item_id"), at=Cast("valid_from", DateTimeField()), n=F("from_quantity"),
             money=Cast("unit_price", big), key=F("source_id")),
        rows(of_sources, _SOURCE, item=F("item_id"), at=F("history_date"), key=F("id"), words=Cast("currency", text),
             n=Case(When(preferred=True, then=1), default=0, output_field=IntegerField()),
             x=F("shop_money"), y=F("minutes_each")),
        rows(of_stocks, _STOCK, item=F("id"), at=F("history_date"), money=Cast("price_kg", big), key=F("history_id"),
             order=Cast("scrap_kg", big), words=Cast("history_change_reason", text)),
        *(rows(stock_amended.filter(fields__has_key=name), sort, item=Cast("row_key", big), at=F("recorded_at"),
               key=F("pk"), words=KT(f"fields__{name}__at"), was=KT(f"fields__{name}__was"),
               now=KT(f"fields__{name}__now"))
          for name, sort in (("price_kg", _STOCK_AMENDED), ("scrap_kg", _SCRAP_AMENDED))),
        all=True,
    )  # fmt: skip


def _bill(row: PayRow) -> BillOfDie:
    return BillOfDie(
        pk=row.pk, at=row.at, done=row.done, kind=row.kind, amount=row.amount, payer=row.payer,
        payer_name=row.payer_name, bill=row.bill, words=row.words,
    )  # fmt: skip


def entry_of(sort: str, which: int | dt.datetime | None) -> str:
    """An entry as a bearer names it: a work by its moment, since the ledger has all of one moment as one; else its
    key."""
    return f"{sort} {which.isoformat() if isinstance(which, dt.datetime) else which}"


def _bearer(row: PayRow) -> BearerOfDie:
    of = row.of_entry
    entry = entry_of(of, row.at if of == "work" else row.entry) if of else ""
    bearer = Bearer(element=row.kind, since=row.at, payer=row.payer, entry=entry, said=row.pk)
    return BearerOfDie(bearer=bearer, payer_name=row.payer_name)


def with_plant():
    """The dies of every plant, each with the plant by whose rates its cost is told."""
    return Die.objects.select_related("owner", "plant", "usual_stock")


def dies_of(plant: Plant):
    """The dies that a cost is told of."""
    return Die.objects.filter(plant=plant).select_related("owner", "usual_stock").order_by("code")
