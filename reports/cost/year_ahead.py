"""What a die will cost in the year ahead."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

import numpy as np

from reports.costing.money import quantity
from reports.costing.next_year import World, YearAhead, expected_year
from reports.costing.spread import Spread
from reports.purchasing.demand import BreakRate, item_demand
from reports.purchasing.laws import LawRefused
from reports.spares.use import PlantAhead

from . import reads
from .reads import Spent
from .sheets import GRINDS_LOOKED_AT, STOPS_NEEDED, YEAR_DAYS, DieCost, Rates, build_of

# The year ahead


@dataclass(frozen=True, kw_only=True)
class Prices:
    """What one sharpening and one stop cost now. None: not known."""

    sharpening: Decimal | None
    sharpenings_seen: int
    stop: Spread | None
    stops_seen: int


def prices_of(spent: Spent, of_shop: Sequence[float], rates: Rates, today: dt.date) -> Prices:
    """From the newest sharpenings of the die, and its stops (the shop's, in minutes, where it had few)."""
    return Prices(
        sharpening=_price_of_sharpening(spent, rates, today),
        sharpenings_seen=len({r.at for r in spent.grinds if r.sharpening}),
        stop=_price_of_stop(spent, of_shop, rates, today),
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


def _price_of_stop(spent: Spent, of_shop: Sequence[float], rates: Rates, today: dt.date) -> Spread | None:
    rate = rates.on("press", today)
    if rate is None:
        return None
    minutes = [stop.minutes for stop in spent.stops]
    if len(minutes) < STOPS_NEEDED:
        minutes = list(of_shop)
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
    records_until: dt.date | None = None
    rests_on: str = ""


def year_ahead(cost: DieCost, *, ahead: PlantAhead | None = None, shop_minutes: Sequence[float] | None = None) -> Ahead:
    """What the die will cost in the next 365 days, with a band that holds 8 in 10. shop_minutes: how long each stop of
    the plant took, where that is read."""
    die, spent = cost.die, cost.spent
    ahead = ahead or PlantAhead.of(die.plant, dies=[die.pk])
    strokes = ahead.strokes(die.pk, YEAR_DAYS)
    per_hit = spent.parts / spent.hits if spent.hits else reads.parts_per_hit([die.pk]).get(die.pk, 1)
    planned = int(strokes * per_hit)
    rates = cost.rates
    of_shop: Sequence[float] = []
    if len(spent.stops) < STOPS_NEEDED:
        of_shop = reads.stop_minutes(die.plant) if shop_minutes is None else shop_minutes
    prices = prices_of(spent, of_shop, rates, ahead.today)
    forecast = ahead.forecasts.get(die.pk)
    if planned < 1:
        return Ahead(year=None, refusal="No job is open and nothing ran in the last year, so no part is planned.")
    try:
        chances = ahead.sharpenings(die.pk, YEAR_DAYS)
    except LawRefused as reason:
        return Ahead(year=None, refusal=f"Nothing is forecast of this die: {reason}", strokes=strokes, prices=prices)
    stops = BreakRate.seen(len(spent.stops), spent.hits).breaks_in(strokes).chances
    spares = _spares_in(ahead, die.pk, chances)
    worlds = [
        World(weight=1.0, sharpenings=p, spares=used, stops=stops) for p, used in zip(chances, spares, strict=True)
    ]
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
        records_until=ahead.records_until,
        rests_on=(forecast.rests_on or {}).get("words", ""),
    )


def _spares_in(ahead: PlantAhead, die: int, worlds: Sequence[np.ndarray]) -> list[dict[str, np.ndarray]]:
    """World by world, by the chances of its sharpenings: those of 0, 1, 2 ... pieces of each item that this die uses in
    the year, by the law that the page of the spare goes by."""
    made: list[dict[str, np.ndarray]] = [{} for _ in worlds]
    for item, places in ahead.places.items():
        if not any(place.row.die_id == die for place in places):
            continue
        code, other = ahead.items[item].code, ahead.breaking(item, YEAR_DAYS, die=die)
        for used, sharpenings in zip(made, worlds, strict=True):
            groups = ahead.groups(item, YEAR_DAYS, of_die=die, sharpenings=sharpenings)
            used[code] = item_demand(groups).plus(other).chances
    return made


def _unit_prices(ahead: PlantAhead) -> dict[str, Decimal | None]:
    return {item.code: item.unit_price for item in ahead.items.values()}
