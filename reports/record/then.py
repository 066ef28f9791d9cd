"""The advice of a day of the past: the advice of today, on what the records told then. Glue, no mathematics."""

from __future__ import annotations

import datetime as dt
from bisect import bisect_left, bisect_right
from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from itertools import pairwise
from typing import Protocol

import numpy as np
from django.utils import timezone

from diestore.access import shop
from diestore.register.models import Item, Plant
from maintenance.log import purchase_reads, queries
from reports.purchasing.ahead import OrderAhead
from reports.purchasing.demand import DemandRefused
from reports.purchasing.laws import LawRefused, gone_on
from reports.purchasing.removal import Taken
from reports.purchasing.reorder import StockNow
from reports.sources import reads as sources_reads
from reports.spares.advice import reckoned
from reports.spares.costs import ShopCosts
from reports.spares.mishaps import SPANS, Passed, by_kind
from reports.spares.places import taken
from reports.spares.reads import DiesAhead, Mishap, PlaceOfItem, lead_days_seen, places_of_items, programmes
from reports.spares.shop_wide import ShopWide
from reports.spares.use import PlantAhead

from . import reads

REFRESHED_DAYS = 28  # after which the use ahead of a spare is reckoned anew, where nothing happened to its dies before
MOST_OF_THE_SET = 0.5  # of the places of a die that are ground at all: it was sharpened
WEEK_DAYS = 7  # what has to be ordered before the next look is ordered now, as the list of what to order has it


def _time(moment: float) -> dt.datetime:
    return dt.datetime.fromtimestamp(moment, dt.UTC)


class Said(Protocol):
    """What a forecast of a die said then."""

    fresh: dict
    remaining: dict
    refusal: str


@dataclass(frozen=True, kw_only=True)
class ForecastThen:
    """A forecast as the use ahead reads it."""

    as_of: dt.datetime
    fresh: dict
    remaining: dict
    refusal: str


@dataclass
class Records:
    """What happened to the spares of a plant, read once. forecasts: moment -> die -> what was said of it then."""

    plant: Plant
    items: dict[int, Item]
    forecasts: Mapping[dt.datetime, Mapping[int, Said]]
    places: list[PlaceOfItem] = field(default_factory=list)
    fittings: list[reads.Fitted] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.places = places_of_items(plant=self.plant, items=self.items).rows
        self.fittings = reads.fittings(self.plant)
        ground, self.by_place = reads.grinds(self.plant), defaultdict(list)
        for one in ground:
            self.by_place[one.position].append(one)
        self.fits = defaultdict(list)
        for one in self.fittings:
            self.fits[one.position].append(one)
        self.runs = defaultdict(list)
        for run in reads.runs(self.plant):
            self.runs[run.die].append(run)
        self.seen = purchase_reads.lead_times_seen(plant=self.plant, items=self.items)
        self.shares = {row.position_id: row.stroke_share for row in self.places}
        self.dies = sorted({row.die_id for row in self.places})
        self.programmes = programmes(self.dies)
        self.by_item = defaultdict(list)
        for row in self.places:
            self.by_item[row.item_id].append(row)
        self.happened = {item: self._moments(rows) for item, rows in self.by_item.items()}
        self.sharpened = self._sharpened()

    def _moments(self, rows: Iterable[PlaceOfItem]) -> list[float]:
        """When something was entered of the places of an item."""
        known = [one.known for row in rows for some in (self.by_place, self.fits) for one in some[row.position_id]]
        return sorted(max(one.at, one.since) for one in known)

    def _sharpened(self) -> dict[int, list[reads.Known]]:
        """Die -> each time that most of what is ground of it was ground."""
        die_of = {row.position_id: row.die_id for row in self.places}
        at: dict[int, dict[float, set[int]]] = defaultdict(lambda: defaultdict(set))
        known: dict[tuple[int, float], reads.Known] = {}
        places: dict[int, set[int]] = defaultdict(set)
        for position, some in self.by_place.items():
            die = die_of.get(position)
            if die is None:
                continue
            for one in some:
                if one.is_grind:
                    at[die][one.known.at].add(position)
                    known[die, one.known.at] = one.known
                    places[die].add(position)
        return {
            die: [known[die, t] for t, mine in sorted(times.items()) if len(mine) >= MOST_OF_THE_SET * len(places[die])]
            for die, times in at.items()
        }


class AdviceThen:
    """The advice as a rule of ordering. first: the day on which the replay begins."""

    def __init__(self, records: Records, *, items: list[int], first: dt.date) -> None:
        self.records, self.items, self.first = records, items, first
        self.moments = sorted(records.forecasts)
        longest = max((item.lead_days or 0 for item in records.items.values()), default=0)
        self.horizon_days = PlantAhead.days_for(longest)
        self._ahead: dict[int, tuple[int, PlantAhead | None, int]] = {}
        self._quantities: dict[tuple[int, int, int], int] = {}
        self._shops: dict[int, ShopWide] = {}
        self._of_day: dict[int, dict[int, tuple[PlantAhead | None, int]]] = {}
        self._grinds_at: dict[tuple[int, float], int] = {}
        self.untold: set[int] = set()

    def wanted(self, day: int, position: np.ndarray) -> np.ndarray:
        """position: of the items in their order, once or several times over."""
        told = self._told(day)
        have = position.reshape(-1, len(self.items))
        made = np.zeros_like(have)
        for n, item in enumerate(self.items):
            ahead, point = told[item]
            if ahead is None:
                continue
            for row in np.flatnonzero(have[:, n] < point):
                made[row, n] = self._quantity(item, day, int(have[row, n]), ahead)
        return made.reshape(position.shape)

    def _quantity(self, item: int, day: int, have: int, ahead: PlantAhead) -> int:
        key = (item, day, have)
        if key not in self._quantities:
            of = self.records.items[item]
            now = StockNow(
                on_hand=have, on_order=0, lead_days=of.lead_days, pack_size=of.pack_size,
                least_quantity=ahead.least_quantity(item),
            )  # fmt: skip
            try:
                self._quantities[key] = reckoned(now, of, ahead).quantity
            except (DemandRefused, LawRefused, ArithmeticError, ValueError):
                self._quantities[key] = 0
                self.untold.add(item)
        return self._quantities[key]

    def _told(self, day: int) -> dict[int, tuple[PlantAhead | None, int]]:
        """Item -> what is ahead of it, as known in the evening of a day, and below how many it is to be ordered."""
        if day in self._of_day:
            return self._of_day[day]
        moment = self._moment(day)
        self._grinds_at.clear()
        stale = [item for item in self.items if self._is_stale(item, day, moment)]
        ahead = self._known(stale, day, moment) if stale else None
        for item in stale:
            try:
                point = self._point(item, ahead)
            except (DemandRefused, LawRefused, ArithmeticError, ValueError):
                self.untold.add(item)
                self._ahead[item] = (day, None, 0)
                continue
            self._ahead[item] = (day, ahead, point)
        self._of_day[day] = {item: self._ahead[item][1:] for item in self.items}
        return self._of_day[day]

    def _point(self, item: int, ahead: PlantAhead) -> int:
        of = self.records.items[item]
        judged = ahead.economics(of).judged(
            ahead.yearly_use(item), pack_size=of.pack_size, least_quantity=ahead.least_quantity(item)
        )
        return ahead.lead(of).use(lambda days: ahead.use(item, days), wait=WEEK_DAYS).quantile(judged.service)

    def _moment(self, day: int) -> float:
        evening = dt.datetime.combine(self.first + dt.timedelta(days=day + 1), dt.time())
        return timezone.make_aware(evening).timestamp()

    def _is_stale(self, item: int, day: int, moment: float) -> bool:
        last = self._ahead.get(item)
        if last is None or day - last[0] >= REFRESHED_DAYS:
            return True
        happened = self.records.happened.get(item, [])
        return bisect_right(happened, self._moment(last[0])) < bisect_right(happened, moment)

    def _known(self, items: list[int], day: int, moment: float) -> PlantAhead:
        records, today = self.records, self.first + dt.timedelta(days=day)
        shop_then = replace(self._shop(day, moment), today=today, records_until=today)
        ahead = PlantAhead.of_items(
            records.plant,
            [records.items[item] for item in items],
            shop=shop_then,
        )
        ahead.all_rows = [self._row(row, moment) for item in items for row in records.by_item.get(item, ())]
        ahead._mishaps = [one for one in self._mishaps_by(moment) if one.item in set(items)]
        ahead._passed = self._passed(moment)
        ahead.lines_seen = [one for one in records.seen if one.came_on <= today]
        ahead.supplied = sources_reads.supplied(items, day=today, currency=shop.current().currency)
        theirs = {item: one.supplier_id for item, one in ahead.supplied.items()}
        ahead.lead_days_seen = lead_days_seen(
            records.plant, items, suppliers=theirs, lines=ahead.lines_seen, until=_time(moment)
        )
        ahead.levels, ahead.edges = {}, {}
        ahead.orders = self._orders(moment)
        ahead.programmes = records.programmes
        ahead._dies = self._dies(ahead, moment)
        return ahead

    def _orders(self, moment: float) -> dict[int, list[OrderAhead]]:
        found: dict[int, list[OrderAhead]] = defaultdict(list)
        for order in queries.open_orders(plant=self.records.plant, as_of=_time(moment)):
            if order.die_id is not None:
                found[order.die_id].append(OrderAhead(due=order.due, hits_left=order.hits_left))
        return found

    def _hits(self, die: int, moment: float, since: float = -np.inf) -> int:
        return sum(run.hits for run in self.records.runs[die] if since < run.known.at and run.known.by(moment))

    def _dies(self, ahead: PlantAhead, moment: float) -> DiesAhead:
        bounds = [at.timestamp() for at in ahead._spans_before]
        forecasts, hits, first = {}, {}, {}
        for die in {row.die_id for row in ahead.rows}:
            mine = [run for run in self.records.runs[die] if run.known.by(moment)]
            if mine:
                first[die] = dt.datetime.fromtimestamp(min(run.started for run in mine), dt.UTC)
                hits[die] = [
                    sum(run.hits for run in mine if since <= run.known.at < until) for until, since in pairwise(bounds)
                ]
            said = self._forecast(die, moment)
            if said is not None:
                forecasts[die] = said
        return DiesAhead(forecasts, hits, first)

    def _forecast(self, die: int, moment: float) -> ForecastThen | None:
        """The one of the last look back before, moved on by what the die has run since."""
        at = [m for m in self.moments if m.timestamp() <= moment]
        said = self.records.forecasts[at[-1]].get(die) if at else None
        if said is None:
            return None
        origin = at[-1].timestamp()
        since = [one.at for one in self.records.sharpened.get(die, ()) if origin < one.at and one.by(moment)]
        law = said.fresh.get("remaining", {}) if since else said.remaining
        run = self._hits(die, moment, since[-1] if since else origin)
        now = dt.datetime.fromtimestamp(moment - 1, dt.UTC)
        return ForecastThen(
            as_of=now, fresh=said.fresh, remaining=gone_on(law, run) if law else {}, refusal=said.refusal
        )

    def _row(self, row: PlaceOfItem, moment: float) -> PlaceOfItem:
        ground = [one for one in self.records.by_place[row.position_id] if one.known.by(moment)]
        fits = [one for one in self.records.fits[row.position_id] if one.known.by(moment)]
        left = self.records.items[row.item_id].grind_allowance_mm
        if fits and fits[-1].allowance_mm is not None:
            gone = sum(one.removed_mm for one in ground if one.known.at > fits[-1].known.at)
            left = max(fits[-1].allowance_mm - gone, 0.0)
        worn = [one for one in fits if one.need]
        out = sum(one.why == reads.GROUND_OUT for one in worn)
        hits = self._hits(row.die_id, moment)
        grinds = {one.known.at for one in ground if one.is_grind}
        measured = [one.removed_mm for one in ground if one.is_grind and one.removed_mm > 0]
        return replace(
            row,
            strokes=row.strokes / row.die_hits * hits if row.die_hits else 0.0,
            die_hits=hits,
            allowance_left_mm=left,
            removed_mm=sum(one.removed_mm for one in ground),
            grinds=len(grinds),
            die_grinds=self._die_grinds(row.die_id, moment),
            replaced=len(worn) - out,
            ground_out=out,
            taken=Taken.of(len(measured), sum(measured), sum(mm * mm for mm in measured)),
        )

    def _die_grinds(self, die: int, moment: float) -> int:
        key = (die, moment)
        if key not in self._grinds_at:
            places = [row.position_id for row in self.records.places if row.die_id == die]
            some = (one for place in places for one in self.records.by_place[place])
            self._grinds_at[key] = len({one.known.at for one in some if one.is_grind and one.known.by(moment)})
        return self._grinds_at[key]

    def _mishaps_by(self, moment: float) -> list[Mishap]:
        found: dict[tuple[int, int, str, float], dict[int, float]] = defaultdict(dict)
        for one in self.records.fittings:
            if one.need and one.why != reads.GROUND_OUT and one.known.by(moment):
                share = self.records.shares.get(one.position, 1.0)
                found[one.die, one.item, one.kind, one.known.at][one.position] = share
        return [
            Mishap(item, kind, die, _time(at), places)
            for (die, item, kind, at), places in sorted(
                found.items(), key=lambda row: (row[0][0], row[0][3], row[0][1])
            )
        ]

    def _shop(self, day: int, moment: float) -> ShopWide:
        """What the whole shop said then, reckoned anew every four weeks."""
        block = day // REFRESHED_DAYS
        if block not in self._shops:
            today = self.first + dt.timedelta(days=day)
            rows = [self._row(row, moment) for row in self.records.places]
            replaced, strokes = defaultdict(int), defaultdict(float)
            for row in rows:
                kind = self.records.items[row.item_id].kind
                replaced[kind] += row.replaced
                strokes[kind] += row.stroke_share * row.die_hits
            self._shops[block] = ShopWide(
                today=today,
                records_until=today,
                horizon_days=self.horizon_days,
                removal=taken(rows),
                breaks={kind: (replaced[kind], n) for kind, n in strokes.items()},
                die_grinds={row.die_id: row.die_grinds for row in rows},
                costs=ShopCosts.of(self.records.plant, today=today, records_until=today),
                mishaps=by_kind(self._mishaps_by(moment), self._passed(moment), dict(strokes)),
                records_since=_time(moment),
            )
        return self._shops[block]

    def _passed(self, moment: float) -> Passed:
        """Strokes of each die by a moment before."""
        records, starts = self.records, [run.started for die in self.records.dies for run in self.records.runs[die]]
        start = min([*starts, *(one.known.at for one in records.fittings if one.need), moment - 1])
        edges = [start + (moment - start) * n / SPANS for n in range(SPANS + 1)]
        strokes = {die: [0] * SPANS for die in records.dies}
        for die in records.dies:
            for run in records.runs[die]:
                if run.known.by(moment):
                    strokes[die][min(max(bisect_left(edges, run.known.at) - 1, 0), SPANS - 1)] += run.hits
        return Passed(strokes, [_time(at) for at in edges])
