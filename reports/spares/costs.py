"""What a missing and a left-over spare cost in this shop: from its stops and rates, and what is usual where they say
nothing. Every figure carries where it comes from."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

from diestore.register.models import Item, Plant, Rate
from maintenance.forecasts.decisions import ASSUMED as OF_DECISIONS
from reports.purchasing.lots import PriceFrom
from reports.purchasing.worth import Economics, KeepCost, ShortCost

from . import reads

# Common practice, no source; each may be entered among the shop's rates.
ASSUMED: dict[str, float] = {
    Rate.Kind.PRESS_HOUR: OF_DECISIONS["press_rate"],
    Rate.Kind.PURCHASE_ORDER: 40.0,
    Rate.Kind.HURRIED_ORDER: 80.0,
    Rate.Kind.LATE_JOB: 200.0,
    Rate.Kind.CAPITAL_PERCENT: 6.0,
    Rate.Kind.KEEPING_PERCENT: 4.0,
    Rate.Kind.AGEING_PERCENT: 8.0,
}
STOP_MINUTES, SET_UP_MINUTES = 80.0, 30.0  # where no stop was ever written down; common practice, no source
AS_FROM_STOPS = 3.0  # a die's own stops are taken with so many of the shop's mean
# Share of it that is felt, by what happens when the item is missing; common practice, no source.
FELT = {Item.Criticality.STOPS: 1.0, Item.Criticality.SLOWS: 0.5, Item.Criticality.WAITS: 0.1, "": 1.0}
CHANGES = 2  # another die goes into the press, and back


@dataclass(frozen=True)
class Priced:
    """A figure, where it comes from ("rates", "records", "assumed") and on how many stops it rests."""

    value: float
    source: str
    seen: int = 0


@dataclass(frozen=True, kw_only=True)
class ShopCosts:
    """rates: kind -> amount. stops: die -> (stops for a broken or missing piece, minutes together); setting: the same
    of setting up, over all dies."""

    rates: Mapping[str, float] = field(default_factory=dict)
    stops: Mapping[int, tuple[int, float]] = field(default_factory=dict)
    setting: tuple[int, float] = (0, 0.0)

    @classmethod
    def of(cls, plant: Plant, *, today: dt.date, records_until: dt.date) -> ShopCosts:
        stops: dict[int, tuple[int, float]] = {}
        setting = (0, 0.0)
        charged = reads.charged(plant, until=records_until, day=today)
        for (die, cause), (n, minutes) in charged.stops.items():
            before = setting if cause == "setting" else stops.get(die, (0, 0.0))
            now = (before[0] + n, before[1] + minutes)
            if cause == "setting":
                setting = now
            else:
                stops[die] = now
        return cls(rates=charged.rates, stops=stops, setting=setting)

    @classmethod
    def from_kept(cls, kept: dict) -> ShopCosts:
        stops = {int(die): (n, minutes) for die, (n, minutes) in kept.get("stops", {}).items()}
        return cls(rates=kept.get("rates", {}), stops=stops, setting=tuple(kept.get("setting", (0, 0.0))))

    def to_keep(self) -> dict:
        stops = {str(die): list(seen) for die, seen in self.stops.items()}
        return {"rates": dict(self.rates), "stops": stops, "setting": list(self.setting)}

    def rate(self, kind: str) -> Priced:
        if kind in self.rates:
            return Priced(self.rates[kind], "rates")
        return Priced(ASSUMED[kind], "assumed")

    def stop(self, dies: Iterable[int]) -> Priced:
        """Minutes of a stop for a broken or missing piece at some dies: (theirs + 3 of the shop's mean) / (n + 3)."""
        n_all = sum(n for n, _ in self.stops.values())
        of_shop = sum(minutes for _, minutes in self.stops.values()) / n_all if n_all else STOP_MINUTES
        mine = [self.stops.get(die, (0, 0.0)) for die in set(dies)]
        n, minutes = sum(n for n, _ in mine), sum(m for _, m in mine)
        value = (minutes + AS_FROM_STOPS * of_shop) / (n + AS_FROM_STOPS)
        return Priced(value, "records" if n_all else "assumed", n or n_all)

    @property
    def set_up(self) -> Priced:
        n, minutes = self.setting
        return Priced(minutes / n, "records", n) if n else Priced(SET_UP_MINUTES, "assumed")

    def economics(
        self,
        item: Item,
        dies: Iterable[int],
        *,
        price: float | None = None,
        breaks: tuple[PriceFrom, ...] = (),
        incremental: bool = False,
        level: float | None = None,
    ) -> Economics:
        """What a spare is decided by. A piece missing: the stop as such stops were, another die set in and this one
        back again, the late job, the hurried order; by how much of that is felt. price: of one by the list that holds,
        None: the catalogue's. level: of this spare alone, set by hand, 0 to 1; else that of the shop's rates."""
        felt = FELT.get(item.criticality, 1.0)
        minutes = self.stop(dies).value + CHANGES * self.set_up.value
        if level is None and (of_shop := self.rates.get(Rate.Kind.LEVEL_PERCENT)) is not None:
            level = of_shop / 100
        if price is None and item.unit_price is not None:
            price = float(item.unit_price)
        return Economics(
            price=price,
            keep=KeepCost(
                capital=self.rate(Rate.Kind.CAPITAL_PERCENT).value / 100,
                keeping=self.rate(Rate.Kind.KEEPING_PERCENT).value / 100,
                ageing=self.rate(Rate.Kind.AGEING_PERCENT).value / 100,
            ),
            short=ShortCost(
                press_minutes=felt * minutes,
                press_rate=self.rate(Rate.Kind.PRESS_HOUR).value,
                late_job=felt * self.rate(Rate.Kind.LATE_JOB).value,
                hurried=self.rate(Rate.Kind.HURRIED_ORDER).value,
            ),
            order_cost=self.rate(Rate.Kind.PURCHASE_ORDER).value,
            level=level,
            breaks=breaks,
            incremental=incremental,
        )
