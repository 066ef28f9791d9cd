"""What a die will cost in the three years ahead, month by month."""

from __future__ import annotations

import datetime as dt
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from functools import lru_cache, partial

import numpy as np

from diestore.register.models import Die
from reports.costing.elements import per_thousand
from reports.costing.money import MoneyRefused
from reports.costing.spread import Spread
from reports.costing.years_ahead import (
    LIVES,
    Allowance,
    ByAge,
    ByTheStroke,
    GroundPiece,
    GroundSet,
    Lasting,
    YearsAhead,
    years_ahead,
)
from reports.purchasing.demand import BreakRate
from reports.purchasing.laws import LawRefused
from reports.purchasing.removal import lasting, means_of
from reports.purchasing.wear import Worn, WornItem
from reports.spares.counted import chances_at
from reports.spares.use import PlantAhead, SparePlace

from . import reads
from .sheets import YEAR_DAYS, DieCost
from .two_builds import as_it_is
from .year_ahead import Ahead, year_ahead

MONTHS = 36


@dataclass(frozen=True, kw_only=True)
class Big:
    """Pieces of one spare that are ground out in the same month as often as not."""

    until: dt.date
    item: str
    places: tuple[str, ...]
    money: Decimal


@dataclass(frozen=True, kw_only=True)
class DieYears:
    """months: the day on which each ends. years None: `refusal` says why.

    long_run: money a year at the volume of the first year if it went on for ever, without the build; None: not known.
    share_of_build: what the build price adds to it. parts: of each year ahead.
    """

    years: YearsAhead | None
    refusal: str = ""
    months: tuple[dt.date, ...] = ()
    parts: tuple[int, ...] = ()
    first_year: Ahead | None = None
    long_run: Decimal | None = None
    share_of_build: Decimal | None = None
    big: tuple[Big, ...] = ()
    left_out: tuple[str, ...] = ()
    volume_from: str = ""
    tried: bool = False


def month_days(months: int = MONTHS) -> list[int]:
    """Days from today to the end of each month: twelfths of a year, so that twelve are the year ahead."""
    return [round(YEAR_DAYS * n / 12) for n in range(1, months + 1)]


def parts_of_hit(cost: DieCost) -> float:
    """Good parts at a stroke: by its record, else as many as fall."""
    spent = cost.spent
    return spent.parts / spent.hits if spent.hits else reads.parts_per_hit([cost.die.pk]).get(cost.die.pk, 1)


def try_volume(cost: DieCost, ahead: PlantAhead, parts_a_year: float) -> None:
    """What would be if the die made so many good parts a year from now on; before anything else is asked of `ahead`."""
    ahead.try_pace(cost.die.pk, parts_a_year / parts_of_hit(cost) / YEAR_DAYS)


def years_of(
    cost: DieCost,
    *,
    ahead: PlantAhead,
    yearly_rise: Decimal = Decimal(0),
    tried: float | None = None,
    in_the_long_run: bool = True,
    shop_minutes: Sequence[float] | None = None,
) -> DieYears:
    """The three years ahead of a die, at today's prices and rates or at such as rise by a share a year.

    tried: good parts a year, in place of what is planned. in_the_long_run: with what a year would cost for ever.
    shop_minutes: as `year_ahead` takes them.
    """
    die = cost.die
    if tried is not None:
        try_volume(cost, ahead, tried)
    year = year_ahead(cost, ahead=ahead, shop_minutes=shop_minutes)
    if year.prices is None or year.refusal:
        return DieYears(years=None, refusal=year.refusal, first_year=year)
    days = month_days()
    ends = np.array([ahead.strokes(die.pk, n) for n in days])
    try:
        made = drawn_ahead(cost, year, ahead=ahead, days=days, yearly_rise=yearly_rise)
    except LawRefused as reason:
        return DieYears(years=None, refusal=f"Nothing is forecast of this die: {reason}", first_year=year)
    parts = [int(n * parts_of_hit(cost)) for n in np.diff(ends[11::12], prepend=0.0)]
    share = per_thousand(die.build_price, die.expected_parts) * parts[0] / 1000 if _is_built_for(die) else None
    return DieYears(
        years=made,
        months=tuple(ahead.today + dt.timedelta(days=n) for n in days),
        parts=tuple(parts),
        first_year=year,
        long_run=long_run(cost, year, ahead=ahead, parts=parts[0]) if in_the_long_run else None,
        share_of_build=share,
        big=tuple(_big(ahead, die, days)),
        left_out=year.year.left_out if year.year else (),
        volume_from=_volume_from(ahead, die) if tried is None else f"{tried:,.0f} parts a year, as typed to try it",
        tried=tried is not None,
    )


def drawn_ahead(
    cost: DieCost,
    year: Ahead,
    *,
    ahead: PlantAhead,
    days: list[int],
    new: bool = False,
    yearly_rise: Decimal = Decimal(0),
    lives: int = LIVES,
) -> YearsAhead:
    """The months that end after so many days. new: of a die built like this one that begins its life now.

    Raises LawRefused where nothing is forecast of the die.
    """
    ends = np.array([ahead.strokes(cost.die.pk, n) for n in days])
    return years_ahead(
        strokes=np.diff(ends, prepend=0.0),
        sets=_sets(ahead, cost.die, year, days, new=new),
        by_the_stroke=_by_the_stroke(ahead, cost, year),
        by_age=_by_age(ahead, cost.die, days, new=new),
        yearly_rise=yearly_rise,
        lives=lives,
    )


def long_run(cost: DieCost, year: Ahead, *, ahead: PlantAhead, parts: int) -> Decimal | None:
    """Money a year in which so many parts are made, if that went on for ever; None: not known."""
    try:
        running = as_it_is(cost, year, ahead=ahead)[0].running_per_thousand().expected
    except MoneyRefused:
        return None
    return running * parts / 1000


def _is_built_for(die: Die) -> bool:
    return die.build_price is not None and bool(die.expected_parts)


def _volume_from(ahead: PlantAhead, die: Die) -> str:
    programme = ahead.programmes.get(die.pk)
    if programme is None or not (programme.years or programme.ends):
        return "the pace of the last year and open jobs; nobody stated a volume for the years ahead"
    stated = ", ".join(f"{year}" for year, _ in programme.years)
    words = f"the volume stated for {stated}" if stated else "the pace of the last year and open jobs"
    return f"{words}, until {programme.ends.day} {programme.ends:%b %Y}" if programme.ends else words


def _mine(ahead: PlantAhead, die: Die) -> list[tuple[int, SparePlace]]:
    return [(item, p) for item, places in ahead.places.items() for p in places if p.row.die_id == die.pk]


def _piece(ahead: PlantAhead, item: int, place: SparePlace, *, new: bool) -> GroundPiece | None:
    use, price = place.drawn(alone=ahead.is_alone(place)), ahead.items[item].unit_price
    if use.grinds_left is None or use.grinds_new is None or price is None:
        return None
    left = use.grinds_new if new else use.grinds_left
    law = _allowances(left, use.grinds_new, use.spread, use.doubt, use.ground_share)
    return GroundPiece(price=price, allowances=law)


@lru_cache(maxsize=4096)  # so that pieces alike are known by it
def _allowances(left: float, new: float, spread: float, doubt: float, share: float) -> tuple[Allowance, ...]:
    def lasts(grinds: float) -> Lasting:
        return lambda most: lasting(grinds, spread=spread, share=share, most=most)

    return tuple(
        Allowance(chance=chance, left=lasts(left / mean), new=lasts(new / mean)) for mean, chance in means_of(doubt)
    )


def _sets(ahead: PlantAhead, die: Die, year: Ahead, days: list[int], *, new: bool) -> list[GroundSet]:
    """The set of the die, and each place that follows its own edge."""
    together, alone = [], []
    for item, place in _mine(ahead, die):
        piece = _piece(ahead, item, place, new=new)
        if piece is not None and ahead.is_alone(place):
            alone.append((place, piece))
        elif piece is not None:
            together.append(piece)
    grind = year.prices.sharpening if year.prices and year.prices.sharpening is not None else Decimal(0)
    return [
        _set(ahead, die, None, grind, tuple(together), days, new=new),
        *(_set(ahead, die, place, Decimal(0), (piece,), days, new=new) for place, piece in alone),
    ]


def _set(
    ahead: PlantAhead,
    die: Die,
    place: SparePlace | None,
    grind: Decimal,
    pieces: tuple[GroundPiece, ...],
    days: list[int],
    *,
    new: bool,
) -> GroundSet:
    first, fresh = ahead.laws(die.pk, place)
    ends = tuple(ahead.strokes(die.pk, n) for n in days)
    return GroundSet(
        first=None if new else first.lasting,
        fresh=tuple(law.lasting for law in fresh),
        grind=grind,
        pieces=pieces,
        until=chances_at(None if new else first, fresh, ends),
    )


def _by_the_stroke(ahead: PlantAhead, cost: DieCost, year: Ahead) -> list[ByTheStroke]:
    """Pieces that break, a sort for each spare, and stops."""
    sorts = []
    share: Counter[int] = Counter()
    for item, place in _mine(ahead, cost.die):
        share[item] += place.row.stroke_share
    for item, strokes in share.items():
        price, rate = ahead.items[item].unit_price, ahead.rate_of(item)
        if price is not None and rate is not None and ahead.by_age(item) is None:
            one = _one_mishap(ahead, item, price)
            sorts.append(ByTheStroke(key="spares", shape=rate.shape, strokes=rate.strokes, share=strokes, cost=one))
    if year.prices is not None and year.prices.stop is not None:
        seen = BreakRate.seen(len(cost.spent.stops), cost.spent.hits)
        stop = year.prices.stop
        sorts.append(ByTheStroke(key="stop", shape=seen.shape, strokes=seen.strokes, share=1.0, cost=stop))
    return sorts


def _one_mishap(ahead: PlantAhead, item: int, price: Decimal) -> Spread:
    at_once = ahead.at_once(item)
    return Spread.of_counts(at_once.chances if at_once is not None else [0.0, 1.0], price)


def _by_age(ahead: PlantAhead, die: Die, days: list[int], *, new: bool) -> list[ByAge]:
    """Pieces that wear out, a sort for each spare."""
    sorts = []
    for item in dict.fromkeys(item for item, _ in _mine(ahead, die)):
        price, by_age, at_once = ahead.items[item].unit_price, ahead.by_age(item), ahead.at_once(item)
        if price is None or by_age is None:
            continue
        law, aged = by_age
        mine = [replace(place, age=0.0, known=True) if new else place for place in aged if place.die == die.pk]
        last = [place.ahead(ahead.strokes(die.pk, days[-1])) for place in mine]
        sorts.append(
            ByAge(
                key="spares",
                until=[law.expected(place.ahead(ahead.strokes(die.pk, n)) for place in mine) for n in days],
                drawn=partial(_drawn, law, last),
                share=1 / at_once.mean if at_once is not None else 1.0,
                cost=_one_mishap(ahead, item, price),
            )
        )
    return sorts


def _drawn(law: WornItem, places: list[Worn], ends: np.ndarray, lives: int, rng: np.random.Generator) -> np.ndarray:
    return law.drawn(places, ends, lives=lives, rng=rng)


def _big(ahead: PlantAhead, die: Die, days: list[int]) -> list[Big]:
    """Pieces that are ground out within sight, by the month in which that is so as often as not; the soonest first."""
    ends = [ahead.today + dt.timedelta(days=n) for n in days]
    due: dict[tuple[dt.date, str], list[tuple[str, Decimal]]] = {}
    for item, place in _mine(ahead, die):
        used = ahead.used_up(place)
        price = ahead.items[item].unit_price
        if used is None or used.day is None or price is None or used.day > ends[-1]:
            continue
        until = next(end for end in ends if used.day <= end)
        due.setdefault((until, ahead.items[item].code), []).append((place.row.code, price))
    return [
        Big(until=until, item=item, places=tuple(code for code, _ in rows), money=sum((p for _, p in rows), Decimal(0)))
        for (until, item), rows in sorted(due.items())
    ]
