"""What the dies cost per thousand parts by their own logs."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable
from dataclasses import dataclass
from decimal import Decimal
from functools import partial

from django.utils import timezone

from diestore.register.models import Die, Output, Plant, Rate
from diestore.register.queries import outputs_of
from diestore.service.failing import attempt
from reports.costing.elements import CostSheet
from reports.costing.material import strip_material
from reports.costing.money import DatedRate, NoRate, rate_on
from reports.costing.own_log import Bill, BuildPrice, HoursWorked, SpareUsed, StopMinutes, cost_of_log
from reports.costing.part_cost import parts_an_hour, scrapped_part

from . import reads
from .reads import Spent, StopOfDie

YEAR_DAYS = 365
GRINDS_LOOKED_AT = 30  # the newest ones say what a sharpening costs
STOPS_NEEDED = 5  # fewer than these, and the whole shop's stops say what one costs
DRAWS = 24
RUNNING = Decimal(85)  # % of its time that a press runs; common practice, no source
DENSITY = (("alumin", 2.7), ("brass", 8.5), ("bronze", 8.8), ("copper", 8.96), ("stainless", 7.9), ("", 7.85))  # memory


@dataclass(frozen=True, kw_only=True)
class Rates:
    """What an hour costs, and money tied up in % a year, from which day on."""

    toolroom: tuple[DatedRate, ...]
    press: tuple[DatedRate, ...]
    capital: tuple[DatedRate, ...] = ()
    scrapped: tuple[DatedRate, ...] = ()

    @classmethod
    def of(cls, rows: dict[str, list[tuple[dt.date, Decimal]]]) -> Rates:
        def dated(kind: str) -> tuple[DatedRate, ...]:
            return tuple(DatedRate(valid_from=day, amount=amount) for day, amount in rows.get(kind, ()))

        return cls(
            toolroom=dated(Rate.Kind.TOOLROOM_HOUR),
            press=dated(Rate.Kind.PRESS_HOUR),
            capital=dated(Rate.Kind.CAPITAL_PERCENT),
            scrapped=dated(Rate.Kind.SCRAPPED_PART),
        )

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
    failed: str = ""  # why it could not be worked out

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
        shares = [x for x in (self.share("repair"), self.share("other")) if x is not None]
        return self._sorted(sum(shares, Decimal(0)) if shares else None)

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
    return in_order(_costs(list(reads.dies_of(of)), of))


def in_order(rows: Iterable[DieCost]) -> list[DieCost]:
    """The dearest per thousand parts first."""
    return sorted(rows, key=lambda row: (row.per_thousand is None, -(row.per_thousand or 0), row.die.code))


def _costs(dies: list[Die], plant: Plant) -> list[DieCost]:
    spent, rows = reads.spent_and_rates((die.pk for die in dies), plant, outputs=_outputs_read(dies))
    rates = Rates.of(rows)
    return [
        attempt(
            partial(_cost, die, spent[die.pk], rates),
            partial(_unknown, die, spent[die.pk], rates),
            what=f"the cost of die {die}",
        )
        for die in dies
    ]


def _outputs_read(dies: list[Die]) -> list[Output] | None:
    """What falls out of the dies, where a page read that with them; else None."""
    if all("outputs_read" in vars(die) for die in dies):
        return [output for die in dies for output in outputs_of(die)]
    if not all("variants" in getattr(die, "_prefetched_objects_cache", {}) for die in dies):
        return None
    variants = [variant for die in dies for variant in die.variants.all()]
    if not all("outputs" in getattr(variant, "_prefetched_objects_cache", {}) for variant in variants):
        return None
    return [output for variant in variants for output in variant.outputs.all()]


def _unknown(die: Die, spent: Spent, rates: Rates, why: str) -> DieCost:
    sheet = CostSheet(elements=(), parts_made=0, left_out=(why,))
    return DieCost(die=die, sheet=sheet, spent=spent, rates=rates, failed=why)


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
        spares=[
            SpareUsed(day=_day(r.at), item=r.item, pieces=1, unit_price=r.unit_price, said=r.said) for r in spent.spares
        ],
        stops=[
            StopMinutes(
                day=_day(r.at),
                minutes=r.minutes,
                parts_scrapped=r.parts_scrapped,
                each=scrapped_worth(die, spent, r, rates)[0] if r.parts_scrapped else None,
            )
            for r in (*spent.stops, *spent.scrap)
        ],
        bills=[Bill(kind=r.kind, amount=r.amount) for r in spent.bills],
        toolroom_rates=rates.toolroom,
        press_rates=rates.press,
    )
    return DieCost(die=die, sheet=sheet, spent=spent, rates=rates, notes=tuple(_notes(spent)))


def scrapped_worth(die: Die, spent: Spent, stop: StopOfDie, rates: Rates) -> tuple[Decimal | None, str]:
    """What a part was worth that was scrapped at a stop, and by what that is told.

    By the weight of its strip at the price of the stock that day less what its scrap brings, and the press time in it;
    where that is not known, by the shop's rate of that day. None: neither.
    """
    day = _day(stop.at)
    worth = _by_weight(die, spent, stop, rates.on("press", day))
    if worth is not None:
        return worth, "stock by weight less its scrap, and the press time in it"
    return rates.on("scrapped", day), "by the shop's rate of that day"


def _by_weight(die: Die, spent: Spent, stop: StopOfDie, press_rate: Decimal | None) -> Decimal | None:
    if stop.price_kg is None or not die.feed_pitch_mm or not die.strip_width_mm:
        return None
    per_hit = max(round(spent.parts / spent.hits), 1) if spent.hits else 1
    strip = strip_material(
        sheet_cm2=Decimal(str(die.feed_pitch_mm)) * Decimal(str(die.strip_width_mm)) / 100 / per_hit,
        part_cm2=Decimal(0),
        thickness_mm=Decimal(str(die.usual_stock.thickness_mm)),
        density_g_cm3=density_of(die),
        price_per_kg=stop.price_kg,
        scrap_price_per_kg=stop.scrap_kg or Decimal(0),
    )
    if strip.net < 0:
        return None  # scrap that brings more than the stock costs: one of the two prices is wrong
    hourly = parts_an_hour(
        strokes_per_minute=Decimal(str(die.strokes_per_minute)), parts_per_hit=per_hit, availability=RUNNING / 100
    )
    return scrapped_part(strip=strip, press_rate=press_rate, hourly=hourly)


def density_of(die: Die) -> Decimal:
    """Of its usual stock, times that of water: a handbook value by the name of the material."""
    words = (die.usual_stock.material or "").casefold()
    return Decimal(str(next(value for word, value in DENSITY if word in words)))


def _notes(spent: Spent) -> Iterable[str]:
    billed = sum(bill.kind == "sharpening" for bill in spent.bills)
    outside = len({row.at for row in spent.grinds if row.outside})
    if outside > billed:
        yield f"{outside} times it was ground outside, and only {billed} bills for sharpening are entered."
    if spent.setting_minutes:
        yield f"Setting up ({spent.setting_minutes / 60:,.0f} h) is charged to the job, not to the die."


_SIDE_WORDS = {("upper",): "on the punches", ("lower",): "on the die side", ("upper", "lower"): ""}
