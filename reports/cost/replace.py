"""Whether to keep a die or to build it anew: the years ahead of this one beside those of a new one built like it."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from decimal import Decimal

import numpy as np
from numpy.typing import NDArray

from reports.costing.money import MoneyRefused, from_float
from reports.costing.replacing import KeepOrBuild, Running, keep_or_build
from reports.costing.years_ahead import Band, YearsAhead
from reports.purchasing.laws import LawRefused
from reports.spares.use import PlantAhead

from .sheets import YEAR_DAYS, DieCost
from .year_ahead import Ahead, year_ahead
from .years import drawn_ahead, long_run, month_days, parts_of_hit, try_volume

Array = NDArray[np.float64]
YEARS = 10
LIVES = 4_000  # two dies of ten years in the time of a page
MOST_YEARS = 40  # that a new one is kept
LATER = 5  # the last of the years told say what those beyond them cost


@dataclass(frozen=True, kw_only=True)
class Asked:
    """What the question rests on beside the forecast, in money and in shares a year. price None: not known. repairs: of
    the year ahead, beside sharpening, spares and stops; aging: by what these and stops grow with each year of age.
    parts: good parts a year that are tried; None: as planned."""

    price: Decimal | None
    old_brings: Decimal = Decimal(0)
    new_brings: Decimal = Decimal(0)
    interest: Decimal = Decimal(0)
    rise: Decimal = Decimal(0)
    repairs: Decimal = Decimal(0)
    aging: Decimal = Decimal(0)
    overhaul: Decimal = Decimal(0)
    parts: float | None = None


@dataclass(frozen=True, kw_only=True)
class Replacing:
    """told None: `refusal` says why. until, parts, by_key: of each year ahead of this die. cash: of the next twelve
    months; long_run: of a year if the first one's volume went on for ever, None: not known. lasts: years that a new one
    is kept at most; ends: the day after which nothing is made, where that lies within sight. beyond: the year in which
    this one has made the parts that it is built for; None: not within sight, or nobody stated them."""

    told: KeepOrBuild | None = None
    refusal: str = ""
    until: tuple[dt.date, ...] = ()
    parts: tuple[int, ...] = ()
    by_key: dict[str, tuple[Decimal, ...]] | None = None
    cash: Band | None = None
    long_run: Decimal | None = None
    lasts: int = YEARS
    lasts_known: bool = True
    ends: dt.date | None = None
    parts_made: int = 0
    beyond: int | None = None
    first_year: Ahead | None = None


@dataclass(frozen=True, kw_only=True)
class Start:
    """What the form begins with, by register and record. repairs: of a year at the strokes ahead."""

    price: Decimal | None
    repairs: Decimal


def start_of(cost: DieCost, strokes: float) -> Start:
    repair = cost.sheet.element("repair")
    hits = cost.spent.hits if cost.spent else 0
    a_year = float(repair.amount) / hits * strokes if repair is not None and hits else 0.0
    return Start(price=cost.die.build_price, repairs=from_float(max(a_year, 0.0)))


def replacing(cost: DieCost, asked: Asked, *, ahead: PlantAhead) -> Replacing:
    """The ten years ahead, or fewer where its parts are not needed so long."""
    die = cost.die
    if asked.parts is not None:
        try_volume(cost, ahead, asked.parts)
    year = year_ahead(cost, ahead=ahead)
    if year.prices is None or year.refusal:
        return Replacing(refusal=year.refusal, first_year=year)
    if asked.price is None:
        return Replacing(refusal="What a new one costs is not known: enter it.", first_year=year)
    ends = _ends(ahead, die.pk)
    n = YEARS if ends is None else max(-(-(ends - ahead.today).days // YEAR_DAYS), 1)
    days = month_days(12 * n)
    strokes = np.diff([ahead.strokes(die.pk, day) for day in days[11::12]], prepend=0.0)
    parts = tuple(int(x * parts_of_hit(cost)) for x in strokes)
    lasts = _lasts(die.expected_parts, parts[0])
    if lasts is not None and lasts < 1:
        return Replacing(
            refusal=f"A new one is built for {die.expected_parts:,} parts and would last less than a year at "
            f"{parts[0]:,} a year. So its cost a year is not known.",
            first_year=year,
        )
    try:
        old = drawn_ahead(cost, year, ahead=ahead, days=days, yearly_rise=asked.rise, lives=LIVES)
        new = drawn_ahead(cost, year, ahead=ahead, days=days, yearly_rise=asked.rise, lives=LIVES, new=True)
        pace = strokes / strokes[0] if strokes[0] > 0 else np.ones(n)
        age = _age(cost, ahead.today)
        served = min(lasts or YEARS, MOST_YEARS)
        old_runs, by_key = _running(old, asked, pace, age=0.0)
        new_runs, _ = _running(new, asked, pace, age=-age)
        told = keep_or_build(
            old=old_runs,
            new=_served(new_runs, n if ends is not None and served > n else served, float(asked.rise)),
            price=asked.price,
            old_brings=asked.old_brings,
            new_brings=asked.new_brings,
            interest=asked.interest,
            rise=asked.rise,
            overhaul=asked.overhaul,
            ends=ends is not None,
        )
    except LawRefused as reason:
        return Replacing(refusal=f"Nothing is forecast of this die: {reason}", first_year=year)
    except MoneyRefused as reason:
        return Replacing(refusal=f"{str(reason)[:1].upper()}{str(reason)[1:]}", first_year=year)
    steady = long_run(cost, year, ahead=ahead, parts=parts[0])
    return Replacing(
        told=told,
        until=tuple(ahead.today + dt.timedelta(days=day) for day in days[11::12]),
        parts=parts,
        by_key=by_key,
        cash=_with_repairs(old.together.year(1), asked),
        long_run=None if steady is None else steady + asked.repairs,
        lasts=served,
        lasts_known=lasts is not None,
        ends=ends,
        parts_made=cost.spent.parts,
        beyond=_beyond(die.expected_parts, cost.spent.parts, parts),
        first_year=year,
    )


def _ends(ahead: PlantAhead, die: int) -> dt.date | None:
    """The day after which nothing is made, where that lies within the years told."""
    programme = ahead.programmes.get(die)
    ends = programme.ends if programme is not None else None
    return ends if ends is not None and 0 < (ends - ahead.today).days < YEARS * YEAR_DAYS else None


def _lasts(expected: int | None, parts: int) -> int | None:
    """Whole years that a new one serves; None: nobody stated for how many parts it is built."""
    return int(expected / parts) if expected and parts else None


def _beyond(expected: int | None, made: int, parts: tuple[int, ...]) -> int | None:
    """The first year at whose end it has made more than it is built for."""
    if not expected:
        return None
    return next((n for n, total in enumerate(np.cumsum(parts), start=1) if made + total > expected), None)


def _age(cost: DieCost, today: dt.date) -> float:
    first = cost.spent.first if cost.spent else None
    return max((today - first.date()).days, 0) / YEAR_DAYS if first is not None else 0.0


def _running(made: YearsAhead, asked: Asked, pace: Array, *, age: float) -> tuple[Running, dict]:
    """What running costs year by year, and the expected money by element. age: years older than this die is now."""
    n = made.years
    years = np.arange(n)
    grown = (1 + float(asked.aging)) ** (years + age)
    repairs = float(asked.repairs) * pace * grown * (1 + float(asked.rise)) ** (years + 0.5)
    by_key = {key: _by_year(path.expected[None])[0] * (grown if key == "stop" else 1.0) for key, path in
              made.by_key.items()} | {"repair": repairs}  # fmt: skip
    lives = sum(_by_year(path.lives) * (grown if key == "stop" else 1.0) for key, path in made.by_key.items())
    money = {key: tuple(from_float(float(value)) for value in values) for key, values in by_key.items()}
    expected = tuple(sum(values, Decimal(0)) for values in zip(*money.values(), strict=True))
    return Running(expected=expected, lives=lives + repairs), money


def _by_year(months: Array) -> Array:
    """float[lives, months] -> float[lives, years]."""
    return months.reshape(len(months), -1, 12).sum(axis=2)


def _served(runs: Running, years: int, rise: float) -> Running:
    """As many years as a new one serves: those beyond the told ones cost what the last of them do, as risen."""
    told = len(runs.expected)
    if years <= told:
        return Running(expected=runs.expected[:years], lives=runs.lives[:, :years])
    at = np.arange(max(told - LATER, 0), told)
    today = (1 + rise) ** -at
    mean = float(np.mean([float(runs.expected[t]) * (1 + rise) ** -t for t in at]))
    risen = (1 + rise) ** np.arange(told, years)
    usual = (runs.lives[:, at] * today).mean(axis=1)
    return Running(
        expected=(*runs.expected, *(from_float(mean * x) for x in risen)),
        lives=np.concatenate([runs.lives, usual[:, None] * risen], axis=1),
    )


def _with_repairs(band: Band, asked: Asked) -> Band:
    more = asked.repairs
    return Band(expected=band.expected + more, low=band.low + more, half=band.half + more, high=band.high + more)
