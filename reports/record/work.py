"""The last years of the shelf again: the advice of then against a fixed minimum. Glue, no mathematics."""

from __future__ import annotations

import datetime as dt
import logging
from collections import defaultdict
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass

import numpy as np
from django.utils import timezone

from diestore.register.models import Item, Plant
from diestore.service.failing import NOT_OF_A_ROW, sentence_of
from maintenance.forecasts import store
from maintenance.life import fleet
from reports.models import PurchasingRecord
from reports.purchasing.lead import LeadTime
from reports.purchasing.record import Bounds, Past, Replayed, Wanted, at_money, fixed_minimum, replay, usual_minimum
from reports.sources import reads as sources_reads
from reports.spares.costs import FELT
from reports.spares.reads import items_in_use

from . import reads
from .then import AdviceThen, Records

logger = logging.getLogger(__name__)

REVIEW_DAYS = 7
YEAR = 365
MOST_SPARES = 400  # of a plant, those on which most is spent: a night has an end
TIMES = tuple(n / 4 for n in range(33))  # of the mean use in the lead time: wider and wider minimums
TOO_EARLY_DAYS = 2  # a piece fitted so soon after the shelf was filled again may have been waited for
WAITED_AT_MOST = 60
LIKELY, BEST, WORST = range(3)
TOO_SHORT = "It takes a quarter of a year of records, forecasts of that time, and spares with a price and a lead time."


class NothingToReplay(ValueError):
    """No past of purchasing can be looked back on; the message says why."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Needed:
    """A piece that was needed: on which day, the earliest on which it may have been, and for which die."""

    day: int
    earliest: int
    die: int


def work_out(plant: Plant, fits: Mapping[dt.datetime, fleet.FleetFit], *, most: int = MOST_SPARES) -> PurchasingRecord:
    """The whole look back, not saved. fits: of the fleet at moments of the past, on what was known then. A plant of
    which nothing can be said yet gets a row that says why."""
    row = PurchasingRecord(plant=plant)
    try:
        row.figures = _figures(plant, fits, most)
    except NothingToReplay as reason:
        row.refusal = str(reason)[:300]
    except NOT_OF_A_ROW:
        raise
    except Exception as error:  # the rest of the look back stays
        logger.exception("the past of purchasing of %s could not be replayed", plant)
        row.refusal = sentence_of(error)[:300]
    return row


def keep(row: PurchasingRecord) -> None:
    """In the place of the one before."""
    PurchasingRecord.objects.filter(plant=row.plant).delete()
    row.save()


def _figures(plant: Plant, fits: Mapping[dt.datetime, fleet.FleetFit], most: int) -> dict:
    items = {item.pk: item for item in items_in_use(plant) if item.unit_price and item.lead_days is not None}
    moves = reads.movements(plant, items)
    ends = [run.known.at for run in reads.runs(plant)]
    if not fits or not items or not moves or not ends:
        raise NothingToReplay(TOO_SHORT)
    first = timezone.localdate(min(fits))
    last = timezone.localdate(dt.datetime.fromtimestamp(max(ends), dt.UTC))
    days = (last - first).days
    if days < 90:
        raise NothingToReplay(TOO_SHORT)
    records = Records(plant, items, {at: store.of_the_past(plant, at, fitted) for at, fitted in sorted(fits.items())})
    shelf = _Shelf.of(moves, first, days)
    needs = _needs(records, shelf, first, days)
    spent = {pk: len(needs[pk]) * float(item.unit_price or 0) for pk, item in items.items()}
    listed = sorted(items, key=lambda pk: (-spent[pk], str(items[pk])))[:most]
    listed.sort(key=lambda pk: str(items[pk]))
    pasts = _pasts(records, shelf, needs, listed, first, days)
    prices = np.array([float(items[pk].unit_price or 0) for pk in listed])
    advice = AdviceThen(records, items=listed, first=first)
    lots = _lots(moves, items, listed, first)
    minimum = _minimums(records, listed, first, days)
    jobs = reads.jobs(plant)

    def three(wanted: Callable[[], Wanted]) -> list[Replayed]:
        return [replay(past, wanted(), review_days=REVIEW_DAYS) for past in pasts]

    rules = {"advice": three(lambda: advice.wanted), "minimum": three(lambda: fixed_minimum(minimum(1.0), lots))}
    late = {name: [_late(one, pasts[n], needs, listed, jobs, first) for n, one in enumerate(three_)]
            for name, three_ in rules.items()}  # fmt: skip
    untold = [pk in advice.untold for pk in listed]
    rows = [
        {
            "item": pk, "needed": len(needs[pk]), "was_money": round(shelf.mean(pk) * float(prices[n]), 2),
            "untold": untold[n],
            **{name: _of_rule(rules[name], late[name], n, prices[n]) for name in rules},
        }
        for n, pk in enumerate(listed)
    ]  # fmt: skip
    wide = _wider(pasts[LIKELY], minimum, lots, prices, rules["advice"][LIKELY])
    return {
        "first": first.isoformat(), "last": last.isoformat(), "review_days": REVIEW_DAYS, "rows": rows, "wide": wide,
        "left_out": len(items) - len(listed),
    }  # fmt: skip


def _of_rule(found: list[Replayed], late: list[np.ndarray], n: int, price: float) -> dict:
    def bounds(figures: Iterable[float], places: int = 0) -> list[float]:
        of = Bounds.of(*(round(float(f), places) for f in figures))
        return [of.low, of.likely, of.high]

    return {
        "short": bounds(one.stock_outs[n] for one in found),
        "waited": bounds(one.days_waited[n] for one in found),
        "money": bounds((one.on_shelf[:, n].mean() * price for one in found), 2),
        "late": [0, *bounds(one[n] for one in late)[1:]],
        "orders": int(found[LIKELY].orders[n]),
    }


def _wider(
    past: Past, minimum: Callable[[float], np.ndarray], lots: np.ndarray, prices: np.ndarray, advice: Replayed
) -> dict:
    """How often minimums would have been short that tie up as much as the advice, and what it takes to be as seldom
    short. None: no minimum of those tried does."""
    money, short = [], []
    for times in TIMES:
        one = replay(past, fixed_minimum(minimum(times), lots), review_days=REVIEW_DAYS)
        money.append(float(one.tied_up(prices).sum()))
        short.append(float(one.stock_outs.sum()))
    money, short = np.maximum.accumulate(money).tolist(), np.minimum.accumulate(short).tolist()
    mine = float(advice.tied_up(prices).sum()), float(advice.stock_outs.sum())
    enough = [m for m, s in zip(money, short, strict=True) if s <= mine[1]]
    return {
        "times": list(TIMES), "money": [round(m, 2) for m in money], "short": short,
        "short_at_money": at_money(money, short, mine[0]), "money_at_short": round(enough[0], 2) if enough else None,
    }  # fmt: skip


# --- what happened ----------------------------------------------------------------------------------------------------


@dataclass(frozen=True, kw_only=True, eq=False)
class _Shelf:
    """start: item -> pieces on the shelf when the replay begins; coming: item -> day -> pieces of orders placed before.
    end: item -> int[days], pieces on the shelf at the end of each day as the records have it; came: item -> days on
    which pieces came."""

    days: int
    start: dict[int, int]
    coming: dict[int, dict[int, int]]
    end: dict[int, np.ndarray]
    came: dict[int, list[int]]

    @classmethod
    def of(cls, moves: Iterable[reads.Moved], first: dt.date, days: int) -> _Shelf:
        start, on_way = defaultdict(int), defaultdict(int)
        steps, came = defaultdict(lambda: np.zeros(days, int)), defaultdict(list)
        coming: dict[int, dict[int, int]] = defaultdict(lambda: defaultdict(int))
        for move in moves:
            day = (move.day - first).days
            if move.place == reads.Place.SHELF:
                if day < 0:
                    start[move.item] += move.pieces
                elif day < days:
                    steps[move.item][day] += move.pieces
                    if move.kind == reads.Kind.DELIVERED:
                        came[move.item].append(day)
                        taken = min(max(on_way[move.item], 0), move.pieces)
                        on_way[move.item] -= taken
                        if taken:
                            coming[move.item][day] += taken
            elif move.place == reads.Place.ON_ORDER and day < 0:
                on_way[move.item] += move.pieces
        end = {item: start[item] + np.cumsum(of) for item, of in steps.items()}
        return cls(days=days, start=dict(start), coming=coming, end=end, came=came)

    def of_item(self, item: int) -> np.ndarray:
        return self.end.get(item, np.full(self.days, self.start.get(item, 0)))

    def mean(self, item: int) -> float:
        return float(np.maximum(self.of_item(item), 0).mean())

    def earliest(self, item: int, day: int) -> int:
        """From when a piece fitted on a day may have been wanted: where the shelf was filled again just before, from
        the day on which it had become empty."""
        end = self.of_item(item)
        filled = [d for d in self.came.get(item, ()) if day - TOO_EARLY_DAYS <= d <= day]
        empty = min(filled, default=0) - 1
        if not filled or empty < 0 or end[empty] > 0:
            return day
        while empty > 0 and end[empty - 1] <= 0 and day - empty < WAITED_AT_MOST:
            empty -= 1
        return empty


def _needs(records: Records, shelf: _Shelf, first: dt.date, days: int) -> dict[int, list[Needed]]:
    found: dict[int, list[Needed]] = defaultdict(list)
    for one in records.fittings:
        if not one.need or one.item not in records.items or one.known.until != float("inf"):
            continue
        day = (timezone.localdate(dt.datetime.fromtimestamp(one.known.at, dt.UTC)) - first).days
        if 0 <= day < days:
            found[one.item].append(Needed(day=day, earliest=shelf.earliest(one.item, day), die=one.die))
    return found


def _pasts(
    records: Records, shelf: _Shelf, needs: dict[int, list[Needed]], listed: list[int], first: dt.date, days: int
) -> list[Past]:
    """As it most likely was, at its best, at its worst."""
    n = len(listed)
    likely, early, coming = (np.zeros((days, n), int) for _ in range(3))
    leads = np.zeros((3, days, n), int)
    seen = defaultdict(list)
    for one in records.seen:
        seen[one.item_id].append(((one.placed_on - first).days, one.days))
    for at, pk in enumerate(listed):
        for one in needs[pk]:
            likely[one.day, at] += 1
            early[one.earliest, at] += 1
        for day, pieces in shelf.coming.get(pk, {}).items():
            coming[day, at] += pieces
        promised = records.items[pk].lead_days or 0
        mine = sorted(seen[pk])
        law = LeadTime.learnt(promised, [days for _, days in mine])
        leads[BEST, :, at], leads[WORST, :, at] = law.days[0], law.late
        leads[LIKELY, :, at] = _nearest(mine, days) if mine else promised
    on_hand = np.array([max(shelf.start.get(pk, 0), 0) for pk in listed])
    return [
        Past(needs=early if n == WORST else likely, on_hand=on_hand, coming=coming, lead=leads[n])
        for n in (LIKELY, BEST, WORST)
    ]


def _nearest(seen: list[tuple[int, int]], days: int) -> np.ndarray:
    """Of each day, the days taken by the order that was really placed nearest to it."""
    placed, taken = (np.array(column) for column in zip(*seen, strict=True))
    return taken[np.abs(np.arange(days)[:, None] - placed).argmin(axis=1)]


# --- the simple rule --------------------------------------------------------------------------------------------------


def _lots(moves: Iterable[reads.Moved], items: dict[int, Item], listed: list[int], first: dt.date) -> np.ndarray:
    """What was ordered at a time as a rule, by all orders; else a pack."""
    ordered = defaultdict(list)
    for move in moves:
        if move.place == reads.Place.ON_ORDER and move.kind == reads.Kind.ORDERED and move.pieces > 0:
            ordered[move.item].append(move.pieces)
    return np.array([max(round(float(np.median(ordered[pk] or [0]))), items[pk].pack_size, 1) for pk in listed])


def _minimums(records: Records, listed: list[int], first: dt.date, days: int) -> Callable[[float], np.ndarray]:
    """Of so many times the mean use: int[days, N], set anew each year from the use of the year before; what somebody
    set as least on the shelf stands in its place."""
    used_on = defaultdict(list)
    for one in records.fittings:
        if one.need and one.known.until == float("inf"):
            day = (timezone.localdate(dt.datetime.fromtimestamp(one.known.at, dt.UTC)) - first).days
            used_on[one.item].append(day)
    began = min((one.known.at for run in records.runs.values() for one in run), default=0.0)
    known = max((first - timezone.localdate(dt.datetime.fromtimestamp(began, dt.UTC))).days, 1)
    levels = sources_reads.levels(records.plant, listed)
    packs = np.array([records.items[pk].pack_size for pk in listed])
    leads = np.array([records.items[pk].lead_days for pk in listed])
    stops = np.array([FELT.get(records.items[pk].criticality, 1.0) >= 1 for pk in listed])
    by_hand = np.array([(levels[pk].least_pieces or 0) if pk in levels else 0 for pk in listed])

    def minimum(times: float) -> np.ndarray:
        made = np.zeros((days, len(listed)), int)
        for start in range(0, days, YEAR):
            span = min(YEAR, known + start)
            used = np.array([sum(start - span <= d < start for d in used_on[pk]) for pk in listed]) / span
            now = usual_minimum(used, leads, packs, times=times, least=stops)
            made[start:] = np.where(by_hand > 0, by_hand, now)
        return made

    return minimum


def _late(
    found: Replayed, past: Past, needs: dict[int, list[Needed]], listed: list[int], jobs: dict[int, list[reads.Job]],
    first: dt.date,
) -> np.ndarray:  # fmt: skip
    """int[N]: jobs that were due while a piece of their die was waited for."""
    late = np.zeros(found.short.shape[1], int)
    for n, pk in enumerate(listed):
        held: set[reads.Job] = set()
        for day in np.flatnonzero(found.short[:, n]):
            clear = np.flatnonzero(found.owed[day:, n] == 0)
            until = first + dt.timedelta(days=int(day + (clear[0] if len(clear) else found.owed.shape[0] - day)))
            since = first + dt.timedelta(days=int(day))
            for die in {one.die for one in needs[pk] if day in (one.day, one.earliest)}:
                held |= {
                    job for job in jobs.get(die, ())
                    if job.placed <= until and since <= job.due <= until and (job.closed is None or job.closed >= since)
                }  # fmt: skip
        late[n] = len(held)
    return late
