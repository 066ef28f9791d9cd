"""From rows to the use of spares ahead. Glue: reads the records of a plant once, hands them to the pure rooms."""

from __future__ import annotations

import datetime as dt
from collections import Counter, defaultdict
from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from functools import cached_property, partial

import numpy as np
from django.conf import settings
from django.db.models import Max
from django.utils import timezone

from diestore.access import shop
from diestore.handbook.limits import LEAD_DAYS
from diestore.register.models import Die, Item, Plant
from diestore.register.sources import SpareLevel
from diestore.service.failing import attempt
from maintenance.forecasts import store
from maintenance.log import purchase_reads, queries
from maintenance.log.data import OrderLeft
from maintenance.log.purchase_reads import LeadSeen
from reports.purchasing.ahead import FLAT_DAYS, SLOPE_DAYS, STEPS, OrderAhead, Programme, hits_ahead, usual_pace
from reports.purchasing.breaks import pieces_at_once
from reports.purchasing.demand import BreakRate, Demand, GrindGroup, item_demand
from reports.purchasing.laws import LawRefused, StoredLaw, WeibullLaw, middle_of
from reports.purchasing.lead import LeadTime
from reports.purchasing.removal import Taken
from reports.purchasing.wear import WornItem
from reports.purchasing.worlds import DieWorlds, die_worlds
from reports.purchasing.worth import LONGEST_COVER_DAYS, Economics
from reports.sources import reads as sources_reads
from reports.sources.reads import Supplied

from . import reads
from .aged import AgedPlace, aged_places
from .costs import ShopCosts
from .counted import counts, mixed_counts, rounded_up
from .gaps import gaps_of, has_law
from .mishaps import SPANS, KindMishaps, Passed, by_kind
from .places import SparePlace, UsedUp, by_item, place_of, taken
from .reads import PlaceOfItem
from .shop_wide import ShopWide

LOOK_AHEAD_DAYS = 365
FURTHEST_DAYS = 3_650  # beyond ten years no day is told
ALONE_BELOW = 0.25  # a place ground in fewer of the die's grinds than this follows its own edge, not the set
HALF_A_BREAK = 0.5


def day_of_records(plant: Plant) -> dt.date:
    """The day up to which the records of a plant tell: that of its newest forecasts, else today."""
    newest = queries.newest_forecasts(plant).order_by("-as_of").values_list("as_of", flat=True).first()
    return timezone.localdate(newest) if newest else timezone.localdate()


def days_of_records(plants: Iterable[Plant]) -> dict[int, dt.date]:
    """The same of several plants, in one question."""
    plants = list(plants)
    newest = queries.newest_forecasts().filter(die__plant__in=plants).order_by().values("die__plant")
    days = dict(newest.annotate(last=Max("as_of")).values_list("die__plant", "last"))
    return {p.pk: timezone.localdate(days[p.pk]) if p.pk in days else timezone.localdate() for p in plants}


def today_at(plant: Plant, records_until: dt.date | None = None) -> dt.date:
    """Today by the clock, from which orders are reckoned; a shop that stands still is at the end of its records."""
    return (records_until or day_of_records(plant)) if settings.STANDS_STILL else timezone.localdate()


@dataclass
class PlantAhead:
    """What is ahead of the dies of a plant, from today on.

    records_until: the last day that the log tells of. What a die has made since then nobody has entered yet: it is
    reckoned as if it were still ahead.
    dies: only these, None: all of it; what the plant says of their spares counts all the same, so that one die has the
    same figures alone and beside others. shop: what is known of the whole shop, so that it need not be asked again;
    wanted: then only these items and the dies that take them. remembers: what was advised on the same basis is
    remembered for the next page; not where the answer is kept in the database anyway.
    """

    plant: Plant
    today: dt.date
    records_until: dt.date
    dies: list[int] | None = None
    horizon_days: int = LOOK_AHEAD_DAYS + LONGEST_COVER_DAYS
    shop: ShopWide | None = None
    wanted: list[int] | None = None
    remembers: bool = True
    failed: dict[int, str] = field(default_factory=dict)  # item -> why its places could not be worked out
    _forecasts_read: dict | None = None  # of the whole plant
    _rates: dict[int, BreakRate | None] = field(default_factory=dict)
    _worn: dict[int, tuple[WornItem, tuple[AgedPlace, ...]]] = field(default_factory=dict)
    _at_once: dict[str, Demand | None] = field(default_factory=dict)
    _strokes: dict[tuple[int, int], float] = field(default_factory=dict)
    _tried: dict[int, float] = field(default_factory=dict)  # die -> strokes a day
    _chances: dict[tuple[int, int, int], np.ndarray] = field(default_factory=dict)
    _known_laws: dict[tuple[int, int], tuple] = field(default_factory=dict)

    @classmethod
    def of(
        cls,
        plant: Plant,
        *,
        dies: Iterable[int] | None = None,
        longest_lead_days: int = 0,
        records_until: dt.date | None = None,
    ) -> PlantAhead:
        """records_until: where that is read already."""
        days = cls.days_for(longest_lead_days)
        read = None
        if records_until is None:  # those of the whole plant say it, and are asked for anyway
            read = reads.newest_forecasts(plant)
            newest = max((forecast.as_of for forecast in read.values()), default=None)
            records_until = timezone.localdate(newest)
        until = records_until or day_of_records(plant)
        made = cls(plant, today_at(plant, until), until, None if dies is None else list(dies), horizon_days=days)
        made._forecasts_read = read
        return made

    @staticmethod
    def days_for(lead_days: int) -> int:
        """How far ahead is looked for an item that takes so long to get, and up to twice as long where it is late."""
        lead_days = min(lead_days, int(LEAD_DAYS.most))
        return max(LOOK_AHEAD_DAYS, lead_days) + LONGEST_COVER_DAYS + lead_days + 1

    @classmethod
    def of_items(cls, plant: Plant, items: Iterable[Item], *, shop: ShopWide) -> PlantAhead:
        """Of some items and the dies that take them only, in a shop of which the rest is known."""
        known = {item.pk: item for item in items}
        made = cls(
            plant, shop.today, shop.records_until, horizon_days=shop.horizon_days, shop=shop, wanted=list(known),
            remembers=False,
        )  # fmt: skip
        made.items = known
        return made

    @cached_property
    def shop_wide(self) -> ShopWide:
        """What the whole shop says, to be kept; of a plant that was read whole."""
        rows = self.rows
        return ShopWide(
            today=self.today,
            records_until=self.records_until,
            horizon_days=self.horizon_days,
            removal=self._taken_in_shop,
            breaks=self.breaks_by_kind,
            die_grinds={row.die_id: row.die_grinds for row in rows},
            costs=self.costs,
            mishaps=self.mishaps_by_kind,
            records_since=self._records_since,
        )

    @cached_property
    def costs(self) -> ShopCosts:
        """What a missing and a left-over piece cost here."""
        if self.shop:
            return self.shop.costs
        return ShopCosts.of(self.plant, today=self.today, records_until=self.records_until)

    @cached_property
    def lead_days_seen(self) -> dict[int, tuple[float, ...]]:
        """Of what has a preferred source, as that supplier took."""
        theirs = {item: one.supplier_id for item, one in self.supplied.items()}
        return reads.lead_days_seen(self.plant, self.wanted, suppliers=theirs, lines=self.lines_seen)

    @cached_property
    def lines_seen(self) -> list[LeadSeen]:
        """The lines of orders that came whole, and how long each took."""
        return purchase_reads.lead_times_seen(plant=self.plant, items=self.wanted)

    @cached_property
    def supplied(self) -> dict[int, Supplied]:
        """Item -> its preferred source, by the price list that holds by the clock."""
        return sources_reads.supplied(self.wanted, day=timezone.localdate(), currency=shop.current().currency)

    @cached_property
    def levels(self) -> dict[int, SpareLevel]:
        """Item -> the level that somebody set by hand."""
        return sources_reads.levels(self.plant, self.wanted)

    def least_quantity(self, item: int) -> int:
        return self.supplied[item].least_quantity if item in self.supplied else 1

    def least_stock(self, item: int) -> int:
        level = self.levels.get(item)
        return (level.least_pieces or 0) if level is not None else 0

    def lead(self, item: Item) -> LeadTime:
        """How long an order of it takes: what is promised, moved by what was seen."""
        return LeadTime.learnt(item.lead_days or 0, self.lead_days_seen.get(item.pk, ()))

    def economics(self, item: Item, *, by_hand: bool = True) -> Economics:
        """by_hand: with the level that somebody set for this spare, where one stands."""
        source, level = self.supplied.get(item.pk), self.levels.get(item.pk)
        chance = None
        if by_hand and level is not None and level.chance_percent is not None:
            chance = level.chance_percent / 100
        dies = [place.row.die_id for place in self.places.get(item.pk, ())]
        if source is None:
            return self.costs.economics(item, dies, level=chance)
        return self.costs.economics(
            item, dies, price=source.price, breaks=source.breaks, incremental=source.incremental, level=chance
        )

    def known_days(self, item: int) -> int:
        """Days since the record of the first of its dies ends: so far back its use is reckoned as ahead."""
        since = [self._known_until(place.row.die_id) for place in self.places.get(item, ())]
        return max((self.today - min(since, default=self.today)).days, 0)

    @cached_property
    def _read_places(self) -> reads.Places:
        known, apart = self.shop.die_grinds if self.shop else {}, self.dies is not None and self.shop is None
        return reads.places_of_items(
            plant=self.plant, dies=self.dies, items=self.wanted, known_die_grinds=known, with_plant=apart
        )

    @cached_property
    def all_rows(self) -> list[PlaceOfItem]:
        """The places of the dies looked at, and those of other dies that take the same spares."""
        return self._read_places.rows

    @cached_property
    def rows(self) -> list[PlaceOfItem]:
        """The places of the dies looked at."""
        return [row for row in self.all_rows if self.dies is None or row.die_id in self.dies]

    @cached_property
    def _rows_of_item(self) -> dict[int, list[PlaceOfItem]]:
        """The places of an item in every die of the plant: what they say of it is said whichever dies are looked at."""
        return by_item(self.all_rows)

    @property
    def _taken_in_shop(self) -> Taken:
        """What grinds took off in the whole plant."""
        return self.shop.removal if self.shop else self._read_places.taken

    @cached_property
    def places(self) -> dict[int, list[SparePlace]]:
        """Item -> the places that take it."""
        shop, items = self._taken_in_shop, dict.fromkeys(row.item_id for row in self.rows)
        return {
            item: attempt(partial(self._places, item, shop), partial(self._no_places, item), what=f"spare {item}")
            for item in items
        }

    def _places(self, item: int, shop: Taken) -> list[SparePlace]:
        mine = self._rows_of_item[item]
        of_item, by_die = taken(mine), defaultdict(list)
        for row in mine:
            by_die[row.die_id].append(row)
        in_die = {die: taken(rows) for die, rows in by_die.items()}
        allowance_mm = self.items[item].grind_allowance_mm
        return [
            place_of(row, allowance_mm, [shop, of_item, in_die[row.die_id], row.taken])
            for row in mine
            if self.dies is None or row.die_id in self.dies
        ]

    def _no_places(self, item: int, why: str) -> list[SparePlace]:
        self.failed[item] = why
        return []

    @cached_property
    def items(self) -> dict:
        """The items of the plant, or those wanted, or those that the dies looked at take, by key."""
        if self.dies is not None:
            return {item.pk: item for item in reads.items_by_pk({row.item_id for row in self.rows})}
        return {item.pk: item for item in reads.items_in_use(self.plant)}

    @cached_property
    def asked_dies(self) -> list[int] | None:
        """The dies that are looked at; None: all of the plant."""
        if self.wanted is None:
            return self.dies
        return sorted({row.die_id for row in self.rows})

    @cached_property
    def open_orders(self) -> list[OrderLeft]:
        dies = None if self.asked_dies is None else [Die(pk=pk) for pk in self.asked_dies]
        return queries.open_orders(plant=self.plant, dies=dies)

    @cached_property
    def orders(self) -> dict[int, list[OrderAhead]]:
        orders: dict[int, list[OrderAhead]] = defaultdict(list)
        for order in self.open_orders:
            if order.die_id is not None:
                orders[order.die_id].append(OrderAhead(due=order.due, hits_left=order.hits_left))
        return orders

    @cached_property
    def _dies(self) -> reads.DiesAhead:
        return reads.dies_ahead(self.plant, self._spans_before, dies=self.asked_dies, forecasts=self._forecasts_read)

    @property
    def _spans_before(self) -> list[dt.datetime]:
        """Ends of the spans by which the usual pace counts, the latest first."""
        until = dt.datetime.combine(self.records_until + dt.timedelta(days=1), dt.time(), tzinfo=dt.UTC)
        days = [0.0, *(FLAT_DAYS + n * SLOPE_DAYS / STEPS for n in range(STEPS + 1))]
        return [until - dt.timedelta(days=n) for n in days]

    @cached_property
    def pace(self) -> dict[int, float]:
        """Strokes a day of each die over the year before, or since its first run where that is later."""
        until, first = self._spans_before[0], self._dies.first
        return {
            die: usual_pace(hits, days_known=(until - first[die]).total_seconds() / 86400)
            for die, hits in self._dies.hits.items()
        }

    @cached_property
    def programmes(self) -> dict[int, Programme]:
        """What is stated of the years of each die."""
        return reads.programmes({row.die_id for row in self.rows})

    def ends(self, item: int) -> dt.date | None:
        """The day after which no die needs the item any more; None: not stated of all of them."""
        ends = [self.programmes.get(place.row.die_id, Programme()).ends for place in self.places.get(item, ())]
        return max(ends) if ends and all(ends) else None

    @property
    def forecasts(self) -> dict[int, object]:
        """Die -> its newest forecast."""
        return self._dies.forecasts

    @cached_property
    def edges(self) -> dict[int, dict]:
        """Position -> its stored forecast, of the places that follow their own edge."""
        alone = [
            p.row.position_id for places in self.places.values() for p in places if p.share_of_grinds < ALONE_BELOW
        ]
        return reads.edge_forecasts(alone) if alone else {}

    @cached_property
    def shape(self) -> tuple[float, float]:
        """Shape of a life and spread between lots, by the newest fit."""
        fit = store.fleet_of(self.plant)
        return fit.best.k, fit.sw

    def _known_until(self, die: int) -> dt.date:
        """The day from which the strokes of a die are ahead: that of its forecast, today where there is none."""
        forecast = self.forecasts.get(die)
        return self.today if forecast is None else min(self.today, timezone.localdate(forecast.as_of))

    def strokes(self, die: int, days: int) -> float:
        """Strokes of a die in the next days, and those since the day that its record tells of."""
        key = (die, days)
        if key not in self._strokes:
            programme, until = self.programmes.get(die), self.today + dt.timedelta(days=days)
            strokes = 0.0
            if die in self._tried:
                ends = programme.ends if programme is not None else None
                strokes, until = Programme(ends=ends).strokes(self.today, until, self._tried[die]), self.today
            self._strokes[key] = strokes + hits_ahead(
                self.orders.get(die, ()),
                today=self._known_until(die),
                until=until,
                usual_hits_per_day=self.pace.get(die, 0.0),
                programme=programme,
            )
        return self._strokes[key]

    def try_pace(self, die: int, a_day: float) -> None:
        """A die makes so many strokes a day from today on, whatever is planned: a question of what would be."""
        self._tried[die], self.remembers, self._strokes, self._chances = a_day, False, {}, {}

    def worlds(self, die: int) -> DieWorlds:
        """The laws of a fresh interval of a die. Raises LawRefused where nothing is told of it."""
        forecast = self.forecasts.get(die)
        if not has_law(forecast):
            why = forecast.refusal if forecast is not None and forecast.refusal else "it has no forecast yet."
            raise LawRefused(why)
        return die_worlds(forecast.fresh["remaining"], ln_sd=forecast.fresh["ln_sd"])

    def sharpenings(self, die: int, days: int, *, place: SparePlace | None = None) -> list[np.ndarray]:
        """Chances of 0, 1, 2 ... sharpenings of a die (or of one place by itself) in the next days, world by world.

        Raises LawRefused where nothing is told of it.
        """
        first, laws = self.laws(die, place)
        horizon = self._horizon(die, days)
        strokes = self.strokes(die, days)
        return [counts(first, law, horizon).chances(strokes) for law in laws]

    def _horizon(self, die: int, days: int) -> float:
        """The strokes up to which counts are computed: those of all that is usually asked, more where more is."""
        return rounded_up(self.strokes(die, max(days, self.horizon_days)))

    def laws(self, die: int, place: SparePlace | None) -> tuple[StoredLaw, tuple[WeibullLaw, ...]]:
        """Of the interval under way, and of a later one, world by world. Raises LawRefused where nothing is told."""
        key = (die, place.row.position_id if place is not None else 0)
        if key not in self._known_laws:
            self._known_laws[key] = self._read_laws(die, place)
        return self._known_laws[key]

    def _read_laws(self, die: int, place: SparePlace | None) -> tuple[StoredLaw, tuple[WeibullLaw, ...]]:
        if place is not None and place.row.position_id in self.edges:
            edge = self.edges[place.row.position_id]
            shape, lots = self.shape
            within = float(np.hypot(1.2825 / shape, lots))  # sd of ln of a Weibull life is 1.2825 / shape
            law = WeibullLaw.with_median(edge["usual_hits"] / place.row.stroke_share, 1.2825 / within)
            return StoredLaw.of(edge["remaining"]), (law,)
        laws = self.worlds(die).laws
        return StoredLaw.of(self.forecasts[die].remaining), laws

    def chances(self, die: int, days: int, place: SparePlace | None = None) -> np.ndarray:
        """The same, the worlds mixed."""
        key = (die, days, place.row.position_id if place is not None else 0)
        if key not in self._chances:
            first, laws = self.laws(die, place)
            horizon = self._horizon(die, days)
            self._chances[key] = Demand.of(mixed_counts(first, laws, horizon).chances(self.strokes(die, days))).chances
        return self._chances[key]

    def used_up(self, place: SparePlace) -> UsedUp | None:
        """How far the allowance of the piece in a place goes: the sharpening that comes next, and those that it still
        gives, each an interval later. None where it is not ground or nothing is told of its die.

        The middle of the interval under way and the mean of those after it: close to the middle of their sum.
        """
        alone, die = place.row.position_id in self.edges, place.row.die_id
        left = place.grinds_left if alone else place.use.grinds_left
        if left is None:
            return None
        try:
            first, fresh = self.laws(die, place if alone else None)
        except LawRefused:
            return None
        strokes = middle_of(first) + left * float(np.mean([law.mean_hits for law in fresh]))
        pace = self._tried.get(die, self.pace.get(die, 0.0))
        days = strokes / pace if pace > 0 else FURTHEST_DAYS + 1
        since = self._known_until(die)
        return UsedUp(strokes=strokes, day=since + dt.timedelta(days=days) if days <= FURTHEST_DAYS else None)

    def is_alone(self, place: SparePlace) -> bool:
        """Whether a place is ground by itself, as its own edge wants it, and not with the set."""
        return place.grinds_left is not None and place.row.position_id in self.edges

    def groups(
        self, item: int, days: int, *, of_die: int | None = None, sharpenings: np.ndarray | None = None
    ) -> list[GrindGroup]:
        """The places of an item, by what is ground together. of_die: in that one only; sharpenings: chances of 0, 1,
        2 ... of its set, where one of its worlds holds."""
        sets: dict[int, list[SparePlace]] = defaultdict(list)
        groups = []
        for place in self.places.get(item, ()):
            die = place.row.die_id
            if of_die not in (None, die):
                continue
            if self.is_alone(place):
                groups.append(self._group(die, days, [place], self.chances(die, days, place), alone=True))
            else:
                sets[die].append(place)
        for die, places in sets.items():
            needed = any(p.grinds_left is not None for p in places)
            try:
                chances = np.ones(1)
                if needed:
                    chances = self.chances(die, days) if sharpenings is None else sharpenings
            except LawRefused:
                chances = np.ones(1)  # its breaks still count; `gaps` says what is missing
            groups.append(self._group(die, days, places, chances))
        return groups

    def _group(
        self, die: int, days: int, places: list[SparePlace], chances: np.ndarray, *, alone: bool = False
    ) -> GrindGroup:
        return GrindGroup(
            label=places[0].row.die_code,
            strokes=self.strokes(die, days),
            sharpenings=chances,
            pieces=tuple(place.drawn(alone=alone) for place in places),
        )

    def breaks(self, item: int) -> BreakRate | None:
        """How often a piece of the item is replaced before it is ground out; None where no place takes it."""
        rows = self._rows_of_item.get(item, ())
        if not rows:
            return None
        # Beforehand it is taken to break as often as others of its kind here, known as well as from half a break. What
        # counts are mishaps: several pieces that went at one moment are one.
        name = self.items[item].kind
        pieces, strokes = self.breaks_by_kind.get(name, (0, 0.0))
        kind = BreakRate.seen(min(self.mishaps_of(item).seen, pieces), strokes)
        before_strokes = HALF_A_BREAK / kind.per_stroke
        rate = BreakRate.seen(
            min(self.mishaps_by_item.get(item, 0), sum(r.replaced for r in rows)),
            sum(r.strokes for r in rows),
            before=HALF_A_BREAK,
            before_strokes=before_strokes,
        )
        # a rate that rises is by now above its mean: as many mishaps as in fewer strokes
        return replace(rate, strokes=rate.strokes / self.mishaps_of(item).trend.factor)

    def mishaps_of(self, item: int) -> KindMishaps:
        """What is known of mishaps to its kind."""
        return self.mishaps_by_kind.get(self.items[item].kind, KindMishaps())

    @cached_property
    def mishaps_by_item(self) -> dict[int, int]:
        """Item -> mishaps that took one or several of it."""
        return dict(Counter(row.item for row in self._mishaps))

    @cached_property
    def _mishaps(self) -> list[reads.Mishap]:
        """Those of the whole plant, or of the items looked at where the rest of the shop is known."""
        if self.dies is not None and self.shop:
            return reads.mishaps(self.plant, sorted({row.item_id for row in self.rows}))
        return reads.mishaps(self.plant, self.wanted)

    @cached_property
    def _mishaps_here(self) -> list[reads.Mishap]:
        """Those of the whole plant."""
        return reads.mishaps(self.plant) if self.wanted is not None or self.shop else self._mishaps

    @cached_property
    def mishaps_by_kind(self) -> dict[str, KindMishaps]:
        if self.shop:
            return self.shop.mishaps
        rows = self._mishaps_here
        strokes = {kind: n for kind, (_, n) in self.breaks_by_kind.items()}
        return by_kind(rows, self._passed, strokes) if rows else {}

    @cached_property
    def _passed(self) -> Passed:
        """Strokes of each die by a moment."""
        start, end = self._records_since, self._spans_before[0]
        bounds = [start + (end - start) * n / SPANS for n in range(SPANS + 1)]
        dies = sorted({row.die_id for row in self.all_rows}) if self.shop else None
        return Passed(reads.strokes_by_span(self.plant, bounds, dies=dies), bounds)

    @cached_property
    def _records_since(self) -> dt.datetime:
        if self.shop and self.shop.records_since:
            return self.shop.records_since
        known = self._dies.first.values() if self._is_whole else filter(None, [self._strokes_by_kind.since])
        first = min(known, default=self._spans_before[0])
        return min([first, *(row.at for row in self._mishaps_here)])

    @property
    def _is_whole(self) -> bool:
        return self.dies is None and self.wanted is None

    @cached_property
    def _strokes_by_kind(self) -> reads.KindStrokes:
        return reads.strokes_by_kind(self.plant)

    def worn(self, item: int, days: int, *, die: int | None = None) -> Demand | None:
        """Pieces of an item replaced in the next days, each by its age, where its kind wears out; None: it breaks at a
        rate. die: in that one only."""
        by_age = self.by_age(item)
        if by_age is None:
            return None
        known, ages = by_age
        places = [one.ahead(self.strokes(one.die, days)) for one in ages if die in (None, one.die)]
        replaced, at_once = known.replaced(places), self.at_once(item)
        return replaced if at_once is None else replaced.thinned(1 / at_once.mean).compounded(at_once)

    def by_age(self, item: int) -> tuple[WornItem, tuple[AgedPlace, ...]] | None:
        """The law of an item that wears out, and how old the piece in each place is; None: it breaks at a rate."""
        law = self.mishaps_of(item).wear
        if not law.wears_out:
            return None
        if item not in self._worn:
            mine = [row for row in self._mishaps if row.item == item]
            known, ages = aged_places(law, self._rows_of_item.get(item, []), mine, self._passed)
            self._worn[item] = known, tuple(one for one in ages if self.dies is None or one.die in self.dies)
        return self._worn[item]

    @cached_property
    def breaks_by_kind(self) -> dict[str, tuple[int, float]]:
        """Kind of spare -> pieces replaced before they were ground out, and the strokes of all such places together."""
        if self.shop:
            return self.shop.breaks
        if not self._is_whole:
            pieces: Counter[str] = Counter()
            for mishap in self._mishaps_here:
                pieces[mishap.kind] += mishap.pieces
            return {kind: (pieces[kind], n) for kind, n in self._strokes_by_kind.strokes.items()}
        replaced, strokes = defaultdict(int), defaultdict(float)
        for row in self.rows:
            kind = self.items[row.item_id].kind
            replaced[kind] += row.replaced
            strokes[kind] += row.stroke_share * row.die_hits
        return {kind: (replaced[kind], n) for kind, n in strokes.items()}

    def use(self, item: int, days: int) -> Demand:
        """Pieces of an item used in the next days, as far as is looked ahead."""
        days = min(days, self.horizon_days)
        groups = self.groups(item, days)
        if not groups:
            return Demand.none()
        return item_demand(groups).plus(self.breaking(item, days))

    def breaking(self, item: int, days: int, *, die: int | None = None) -> Demand:
        """Pieces of an item that break or wear out in the next days. die: in that one only."""
        if (worn := self.worn(item, days, die=die)) is not None:
            return worn
        rate, at_once = self.rate_of(item), self.at_once(item)
        if rate is None:
            return Demand.none()
        rows = [place.row for place in self.places.get(item, ()) if die in (None, place.row.die_id)]
        mishaps = rate.breaks_in(sum(self.strokes(row.die_id, days) * row.stroke_share for row in rows))
        return mishaps if at_once is None else mishaps.compounded(at_once)

    def replaced_per_stroke(self, item: int) -> float:
        """Pieces of a place that break or wear out, a stroke, in the long run."""
        if (by_age := self.by_age(item)) is not None:
            return 1 / by_age[0].mean_life
        rate, at_once = self.rate_of(item), self.at_once(item)
        return rate.per_stroke * (at_once.mean if at_once else 1.0) if rate is not None else 0.0

    def rate_of(self, item: int) -> BreakRate | None:
        """`breaks`, remembered."""
        if item not in self._rates:
            self._rates[item] = self.breaks(item)
        return self._rates[item]

    def at_once(self, item: int) -> Demand | None:
        """How many pieces one mishap takes; None: one."""
        name = self.items[item].kind
        if name not in self._at_once:
            sizes = self.mishaps_of(item).sizes
            self._at_once[name] = pieces_at_once(sizes) if max(sizes, default=1) > 1 else None
        return self._at_once[name]

    def yearly_use(self, item: int) -> float:
        """Pieces expected in the year from the end of its record: the same, however long ago that is."""
        return self.use(item, 365 - self.known_days(item)).mean

    def basis_of(self, item: int) -> tuple:
        """All that the use of an item ahead is computed from; the same basis gives the same use."""
        return (
            self.today,
            self.horizon_days,
            self.breaks(item),
            self.worn(item, 0) is not None and self._worn[item],
            tuple(self.mishaps_of(item).sizes.items()),
            tuple(
                (
                    place.drawn(alone=self.is_alone(place)),
                    place.row.die_id,
                    self._law_basis(place),
                    self._stroke_basis(place.row.die_id),
                )
                for place in self.places.get(item, ())
            ),
        )

    def _law_basis(self, place: SparePlace) -> tuple:
        forecast, edge = self.forecasts.get(place.row.die_id), self.edges.get(place.row.position_id)
        of_die = None
        if has_law(forecast):
            fresh = forecast.fresh
            of_die = (*forecast.remaining.items(), *fresh["remaining"].items(), fresh["ln_sd"])
        return (of_die, (edge["usual_hits"], *edge["remaining"].items(), self.shape) if edge else None)

    def _stroke_basis(self, die: int) -> tuple:
        orders = tuple(self.orders.get(die, ()))
        return (self.pace.get(die, 0.0), self._known_until(die), orders, self.programmes.get(die))

    def gaps(self, item: int) -> list[str]:
        """What the use ahead of an item does not know, in sentences."""
        return gaps_of(self, item)
