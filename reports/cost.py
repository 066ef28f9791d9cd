"""What the dies cost per thousand parts: by their own logs, in the year ahead, and built another way."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable
from dataclasses import dataclass, field
from decimal import Decimal

import numpy as np
from django.utils import timezone

from diestore.models import Die, Plant
from maintenance import cost_queries, forecasts
from maintenance.cost_queries import Spent

from .costing.builds import BuildPlan, Comparison, compare_builds, worn_off_per_sharpening
from .costing.elements import CostSheet
from .costing.money import DatedRate, NoRate, from_float, quantity, rate_on
from .costing.next_year import World, YearAhead, expected_year
from .costing.own_log import Bill, BuildPrice, HoursWorked, SpareUsed, StopMinutes, cost_of_log
from .costing.spread import Spread
from .purchasing.demand import BreakRate, GrindGroup, item_demand
from .purchasing.laws import LawRefused
from .spare_use import PlantAhead

YEAR_DAYS = 365
GRINDS_LOOKED_AT = 30  # the newest ones say what a sharpening costs
STOPS_NEEDED = 5  # fewer than these, and the whole shop's stops say what one costs
DRAWS = 24


@dataclass(frozen=True, kw_only=True)
class Rates:
    """What an hour costs, from which day on."""

    toolroom: tuple[DatedRate, ...]
    press: tuple[DatedRate, ...]

    @classmethod
    def of(cls, rows: dict[str, list[tuple[dt.date, Decimal]]]) -> Rates:
        def dated(kind: str) -> tuple[DatedRate, ...]:
            return tuple(DatedRate(valid_from=day, amount=amount) for day, amount in rows.get(kind, ()))

        return cls(toolroom=dated("toolroom hour"), press=dated("press hour"))

    def on(self, which: str, day: dt.date) -> Decimal | None:
        try:
            return rate_on(getattr(self, which), day)
        except NoRate:
            return None


@dataclass(frozen=True, kw_only=True)
class DieCost:
    """A die with the cost sheet of its own log. spent, rates None: the sheet was kept, not worked out now."""

    die: Die
    sheet: CostSheet
    spent: Spent | None
    rates: Rates | None = None
    notes: tuple[str, ...] = ()

    @property
    def per_thousand(self) -> Decimal | None:
        return self.sheet.per_thousand

    def share(self, key: str) -> Decimal | None:
        element = self.sheet.element(key)
        return element.per_thousand if element else None

    # What the columns of the list are sorted by: the unknown last.
    def _sorted(self, value: Decimal | None) -> Decimal:
        return Decimal(-1) if value is None else value

    @property
    def sorted_total(self) -> Decimal:
        return self._sorted(self.per_thousand)

    @property
    def sorted_build(self) -> Decimal:
        return self._sorted(self.share("build"))

    @property
    def sorted_sharpening(self) -> Decimal:
        return self._sorted(self.share("sharpening"))

    @property
    def sorted_spares(self) -> Decimal:
        return self._sorted(self.share("spares"))

    @property
    def sorted_stop(self) -> Decimal:
        return self._sorted(self.share("stop"))

    @property
    def sorted_rest(self) -> Decimal:
        found = [x for x in (self.share("repair"), self.share("other")) if x is not None]
        return self._sorted(sum(found, Decimal(0)) if found else None)

    @property
    def running(self) -> Decimal | None:
        """All but the build, per thousand."""
        if self.per_thousand is None:
            return None
        return self.per_thousand - (self.share("build") or Decimal(0))


def cost_per_thousand(of: Plant | Die | list[Die]):
    """By the log: a DieCost of a die; of a plant the DieCosts of all its dies, the dearest per thousand parts first.

    Of some dies of one plant theirs.
    """
    if isinstance(of, Die):
        return _costs([of], of.plant)[0]
    if isinstance(of, list):
        return in_order(_costs(of, of[0].plant)) if of else []
    return in_order(_costs(list(cost_queries.dies_of(of)), of))


def in_order(rows: Iterable[DieCost]) -> list[DieCost]:
    """The dearest per thousand parts first."""
    return sorted(rows, key=lambda row: (row.per_thousand is None, -(row.per_thousand or 0), row.die.code))


def _costs(dies: list[Die], plant: Plant) -> list[DieCost]:
    spent, rows = cost_queries.spent_and_rates((die.pk for die in dies), plant)
    rates = Rates.of(rows)
    return [_cost(die, spent[die.pk], rates) for die in dies]


def build_of(die: Die) -> BuildPrice | None:
    if die.build_price is None or not die.expected_parts:
        return None
    return BuildPrice(price=die.build_price, expected_parts=die.expected_parts)


def _day(at: dt.datetime) -> dt.date:
    return timezone.localdate(at)


def _cost(die: Die, spent: Spent, rates: Rates) -> DieCost:
    inside = [row for row in spent.grinds if not row.outside]
    sheet = cost_of_log(
        build=build_of(die),
        parts_made=spent.parts,
        hours=[HoursWorked(day=_day(r.at), hours=r.hours) for r in inside if r.sharpening],
        repair_hours=[HoursWorked(day=_day(r.at), hours=r.hours) for r in inside if not r.sharpening],
        spares=[SpareUsed(day=_day(r.at), item=r.item, pieces=1, unit_price=r.unit_price) for r in spent.spares],
        stops=[StopMinutes(day=_day(r.at), minutes=r.minutes, parts_scrapped=r.parts_scrapped) for r in spent.stops],
        bills=[Bill(kind=r.kind, amount=r.amount) for r in spent.bills],
        toolroom_rates=rates.toolroom,
        press_rates=rates.press,
    )
    return DieCost(die=die, sheet=sheet, spent=spent, rates=rates, notes=tuple(_notes(spent)))


def _notes(spent: Spent) -> Iterable[str]:
    billed = sum(bill.kind == "sharpening" for bill in spent.bills)
    outside = len({row.at for row in spent.grinds if row.outside})
    if outside > billed:
        yield f"{outside} times it was ground outside, and only {billed} bills for sharpening are entered."
    if spent.setting_minutes:
        yield f"Setting up, {spent.setting_minutes / 60:,.0f} h, is not counted: it goes with the job."


# The year ahead


@dataclass(frozen=True, kw_only=True)
class Prices:
    """What one sharpening and one stop cost now. None: not known."""

    sharpening: Decimal | None
    sharpenings_seen: int
    stop: Spread | None
    stops_seen: int


def prices_of(spent: Spent, others: Iterable[Spent], rates: Rates, today: dt.date) -> Prices:
    """From the newest sharpenings of the die, and its stops (the shop's, where it had few)."""
    return Prices(
        sharpening=_price_of_sharpening(spent, rates, today),
        sharpenings_seen=len({r.at for r in spent.grinds if r.sharpening}),
        stop=_price_of_stop(spent, others, rates, today),
        stops_seen=len(spent.stops),
    )


def _price_of_sharpening(spent: Spent, rates: Rates, today: dt.date) -> Decimal | None:
    moments = sorted({row.at for row in spent.grinds if row.sharpening})[-GRINDS_LOOKED_AT:]
    if not moments:
        return None
    rows = [row for row in spent.grinds if row.sharpening and row.at >= moments[0]]
    written = [row for row in rows if not row.outside and row.hours is not None]
    hours = sum((quantity(row.hours, "the hours of a sharpening") for row in written), Decimal(0))
    bills = [bill for bill in spent.bills if bill.kind == "sharpening" and bill.at >= moments[0]]
    rate = rates.on("toolroom", today)
    if (hours and rate is None) or not (written or bills):
        return None
    # A sharpening of which neither hours nor a bill are known says nothing of what one costs.
    known = len({row.at for row in written} | {bill.at for bill in bills})
    return (hours * (rate or Decimal(0)) + sum((bill.amount for bill in bills), Decimal(0))) / known


def _price_of_stop(spent: Spent, others: Iterable[Spent], rates: Rates, today: dt.date) -> Spread | None:
    rate = rates.on("press", today)
    if rate is None:
        return None
    minutes = [stop.minutes for stop in spent.stops]
    if len(minutes) < STOPS_NEEDED:
        minutes = [stop.minutes for other in others for stop in other.stops]
    if not minutes:
        return None
    return Spread.of(np.array(minutes) / 60 * float(rate), np.ones(len(minutes)))


@dataclass(frozen=True, kw_only=True)
class Ahead:
    """The year ahead of a die. year None: `refusal` says why."""

    year: YearAhead | None
    refusal: str = ""
    strokes: float = 0.0
    sharpenings: float = 0.0
    prices: Prices | None = None
    as_of: dt.date | None = None
    rests_on: str = ""


def year_ahead(cost: DieCost, *, ahead: PlantAhead | None = None) -> Ahead:
    """What the die will cost in the next 365 days, with a band that holds 8 in 10."""
    die, spent = cost.die, cost.spent
    ahead = ahead or PlantAhead.of(die.plant, dies=[die.pk])
    strokes = ahead.strokes(die.pk, YEAR_DAYS)
    per_hit = spent.parts / spent.hits if spent.hits else cost_queries.parts_per_hit([die.pk]).get(die.pk, 1)
    planned = int(strokes * per_hit)
    rates = cost.rates
    others = [] if len(spent.stops) >= STOPS_NEEDED else list(cost_queries.spent_on(_plant_dies(die)).values())
    prices = prices_of(spent, others, rates, ahead.today)
    told = ahead.told.get(die.pk)
    if planned < 1:
        return Ahead(year=None, refusal="No order is open and nothing ran in the last year, so no part is planned.")
    try:
        chances = ahead.sharpenings(die.pk, YEAR_DAYS)
    except LawRefused as reason:
        return Ahead(year=None, refusal=f"Nothing is forecast of this die: {reason}", strokes=strokes, prices=prices)
    stops = BreakRate.seen(len(spent.stops), spent.hits).breaks_in(strokes).chances
    worlds = [World(weight=1.0, sharpenings=p, spares=_spares_in(ahead, die.pk, p), stops=stops) for p in chances]
    year = expected_year(
        planned_parts=planned,
        build=build_of(die),
        parts_made=spent.parts,
        worlds=worlds,
        cost_per_sharpening=prices.sharpening,
        unit_prices=_unit_prices(ahead),
        cost_per_stop=prices.stop,
    )
    return Ahead(
        year=year,
        strokes=strokes,
        sharpenings=float(np.mean([np.arange(len(p)) @ p for p in chances])),
        prices=prices,
        as_of=ahead.today,
        rests_on=(told.rests_on or {}).get("words", ""),
    )


def _plant_dies(die: Die) -> list[int]:
    return list(cost_queries.dies_of(die.plant).values_list("pk", flat=True))


def _spares_in(ahead: PlantAhead, die: int, sharpenings) -> dict[str, np.ndarray]:
    """Chances of 0, 1, 2 ... pieces of each item used by this die in a year, where its sharpenings are spread so."""
    strokes = ahead.strokes(die, YEAR_DAYS)
    found = {}
    for item, places in ahead.places.items():
        mine = tuple(place.use for place in places if place.row.die_id == die)
        if mine:
            group = GrindGroup(label=str(die), strokes=strokes, sharpenings=sharpenings, pieces=mine)
            found[ahead.items[item].code] = item_demand([group], breaks=ahead.breaks(item)).chances
    return found


def _unit_prices(ahead: PlantAhead) -> dict[str, Decimal | None]:
    return {item.code: item.unit_price for item in ahead.items.values()}


# Built another way


@dataclass(frozen=True, kw_only=True)
class Change:
    """How the other build differs. sides: upper, lower. price: more (or less) for the build. piece_times: what a piece
    of the changed side then costs, over what it costs now."""

    tool_steel: str = ""
    coating: str = ""
    hardness_hrc: float | None = None
    gap_pct: float | None = None
    sides: tuple[str, ...] = ("upper",)
    price: Decimal = Decimal(0)
    piece_times: Decimal = Decimal(1)

    @property
    def words(self) -> str:
        bits = [
            self.tool_steel,
            f"{self.hardness_hrc:g} HRC" if self.hardness_hrc is not None else "",
            {"": "", "none": "uncoated"}.get(self.coating, self.coating),
            f"gap {self.gap_pct:g} % a side" if self.gap_pct is not None else "",
        ]
        return ", ".join(bit for bit in bits if bit) or "as it is"


_SIDE_WORDS = {("upper",): "on the punches", ("lower",): "on the die side", ("upper", "lower"): ""}


@dataclass(frozen=True, kw_only=True)
class EdgeChange:
    code: str
    before: str
    gap_before: float | None
    changed: bool


@dataclass(frozen=True, kw_only=True)
class TwoBuilds:
    """The die as it is (A) beside the die built otherwise (B), or A alone. refusal: why there is none."""

    a: BuildPlan | None = None
    comparison: Comparison | None = None
    refusal: str = ""
    edges: tuple[EdgeChange, ...] = ()
    times: tuple[float, float, float] = (1.0, 1.0, 1.0)
    interval: tuple[float, float, float] = (0.0, 0.0, 0.0)
    missing: tuple[str, ...] = field(default=())


def two_builds(
    cost: DieCost, found: Ahead, change: Change | None, volumes: list[int], *, ahead: PlantAhead | None = None
) -> TwoBuilds:
    """Cost per thousand against volume, as it is and built otherwise."""
    die = cost.die
    ahead = ahead or PlantAhead.of(die.plant, dies=[die.pk])
    missing = []
    try:
        worlds = np.array(ahead.worlds(die.pk).means)
    except LawRefused as reason:
        return TwoBuilds(refusal=f"Nothing is forecast of this die: {reason}")
    if found.prices is None or found.prices.sharpening is None:
        return TwoBuilds(refusal="What a sharpening costs is not known: hours or the toolroom rate are missing.")
    if die.build_price is None:
        missing.append("The build price is not known; nought is taken, so only the difference counts.")
    intervals = np.repeat(worlds, DRAWS)
    pieces, pieces_b = _pieces(ahead, die.pk, change)
    by_stroke = _per_million(ahead, cost, found)
    a = BuildPlan(
        name="As it is",
        price=die.build_price or Decimal(0),
        parts_per_hit=max(round(cost.spent.parts / cost.spent.hits), 1) if cost.spent.hits else 1,
        intervals_hits=tuple(intervals.tolist()),
        sharpening=found.prices.sharpening,
        spares_per_sharpening=worn_off_per_sharpening(pieces),
        per_million_hits=by_stroke,
    )
    edges = forecasts.edges_now(die, orders=[row for row in ahead.open_orders if row.die_id == die.pk])
    shown = tuple(_told(edge, change) for edge in edges)
    if change is None or not edges:
        return TwoBuilds(a=a, interval=_band(worlds), missing=tuple(missing), edges=shown)
    built = [
        forecasts.built_otherwise(
            edge.spec,
            tool_steel=change.tool_steel,
            coating=change.coating,
            hardness_hrc=change.hardness_hrc,
            gap_pct=change.gap_pct,
        )
        if edge.spec.side in change.sides
        else edge.spec
        for edge in edges
    ]
    times = forecasts.times_with(die.plant, edges, built, draws=DRAWS)
    b = BuildPlan(
        name=f"With {change.words} {_SIDE_WORDS[change.sides]}".strip(),
        price=max(a.price + change.price, Decimal(0)),
        parts_per_hit=a.parts_per_hit,
        intervals_hits=tuple((intervals * np.tile(times, len(worlds))).tolist()),
        sharpening=a.sharpening,
        spares_per_sharpening=worn_off_per_sharpening(pieces_b),
        per_million_hits=by_stroke,
    )
    return TwoBuilds(
        a=a,
        comparison=compare_builds(a, b, volumes=volumes),
        edges=shown,
        times=_band(times),
        interval=_band(worlds),
        missing=tuple(missing),
    )


def _band(values: np.ndarray) -> tuple[float, float, float]:
    low, middle, high = np.quantile(values, [0.1, 0.5, 0.9])
    return float(low), float(middle), float(high)


def _told(edge, change: Change | None) -> EdgeChange:
    hard = f"{edge.hardness_hrc:g} HRC" if edge.hardness_hrc is not None else ""
    coat = edge.coating if edge.coating not in ("", "none") else ""
    return EdgeChange(
        code=edge.code,
        before=" ".join(bit for bit in (edge.tool_steel or "steel not known", hard, coat) if bit),
        gap_before=edge.spec.gap_pct,
        changed=change is not None and edge.spec.side in change.sides,
    )


def _pieces(ahead: PlantAhead, die: int, change: Change | None):
    """(price, sharpenings of the die that a new piece lasts) of each ground piece, as it is and built otherwise."""
    as_is, otherwise = [], []
    for item, places in ahead.places.items():
        price = ahead.items[item].unit_price
        for place in places:
            if place.row.die_id != die or place.grinds_new is None or price is None:
                continue
            lasts = place.use.grinds_new
            as_is.append((price, lasts))
            changed = change is not None and place.row.side in change.sides
            otherwise.append((price * change.piece_times if changed else price, lasts))
    return as_is, otherwise


def _per_million(ahead: PlantAhead, cost: DieCost, found: Ahead) -> Decimal:
    """What goes by the stroke whatever the interval: pieces that break, and stops."""
    total = 0.0
    for item, places in ahead.places.items():
        price, rate = ahead.items[item].unit_price, ahead.breaks(item)
        if price is not None and rate is not None:
            share = sum(place.row.stroke_share for place in places if place.row.die_id == cost.die.pk)
            total += float(price) * rate.per_stroke * share
    if found.prices is not None and found.prices.stop is not None:
        total += BreakRate.seen(len(cost.spent.stops), cost.spent.hits).per_stroke * found.prices.stop.mean
    return from_float(total * 1e6)
