"""Made-up shops whose needs are known: the advice, from what was known each week, against a fixed minimum.

A shop has spares of several kinds at prices of its own, some ground away with their die and some that only break, some
several at once. Suppliers keep their promise or do not. A year of record comes first, then two years in which both
rules order week by week from the same shelf, with the same needs and the same lead times.
"""

from __future__ import annotations

import datetime as dt
from collections import Counter, defaultdict
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from reports.purchasing.breaks import pieces_at_once
from reports.purchasing.demand import BreakRate, Demand, GrindGroup, PieceUse, item_demand
from reports.purchasing.laws import WeibullLaw
from reports.purchasing.lead import LeadTime
from reports.purchasing.record import Past, Replayed, at_money, fixed_minimum, replay, usual_minimum
from reports.purchasing.renewals import RenewalCounts
from reports.purchasing.reorder import StockNow, advise
from reports.purchasing.worth import Economics, Judged, KeepCost, ShortCost

KINDS, ITEMS = 4, 6
BEFORE, DAYS = 365, 728
REFRESHED = 56  # days after which the law of an item's use is worked out anew
HALF_A_BREAK = 0.5
SETTLED = 120  # days after which what was ordered first has come: before, both rules live on the same shelf
SEEN_EVERY = 90  # days between the orders whose lead times the records tell of
WEEK_DAYS = 7  # the shelf is looked at weekly: what has to be ordered before the next look is ordered now
FURTHEST = 800  # days ahead
GRINDS_NEW = 6
KEEP = KeepCost(capital=0.06, keeping=0.04, ageing=0.08)
MISSING = ShortCost(press_minutes=140, press_rate=60.0, late_job=200.0, hurried=80.0)
ORDER_COST = 40.0
TIMES = np.arange(0.0, 8.01, 0.25)  # of the mean use in the lead time, in the minimum


@dataclass(frozen=True, kw_only=True)
class Shop:
    """needs: int[BEFORE + DAYS, N] pieces. mishaps: day, pieces of each item; sharpened: days of its die. law: of an
    interval between sharpenings, in strokes; left: grinds in the pieces at first, -1: never ground."""

    kind: np.ndarray
    pace: np.ndarray
    places: np.ndarray
    price: np.ndarray
    promised: np.ndarray
    taken: np.ndarray
    needs: np.ndarray
    mishaps: list[list[tuple[int, int]]]
    sharpened: list[np.ndarray]
    law: list[WeibullLaw]
    left: np.ndarray


@dataclass(frozen=True, kw_only=True)
class Sums:
    """Of a rule over all shops, once its first orders have come: pieces short, mean money on the shelf, orders, and
    what missing pieces, keeping and ordering cost together in that time."""

    short: int
    money: float
    orders: int

    @property
    def cost(self) -> float:
        keeping = KEEP.a_year * self.money * (DAYS - SETTLED) / 365
        return MISSING.total * self.short + keeping + ORDER_COST * self.orders


@dataclass(frozen=True, kw_only=True)
class Scored:
    """minimums: by TIMES of the mean use."""

    needed: int
    advice: Sums
    minimums: tuple[Sums, ...]

    @property
    def usual(self) -> Sums:
        return self.minimums[TIMES.tolist().index(1)]

    def minimum_short(self, money: float) -> float:
        """Pieces short of the minimum with that money."""
        short = np.minimum.accumulate([one.short for one in self.minimums])
        found = at_money([one.money for one in self.minimums], short.tolist(), money)
        assert found is not None
        return found


def used_up(left: int, sharpenings: np.ndarray) -> np.ndarray:
    """int[n] pieces of a place ground out in so many sharpenings: one with g grinds left goes at the next but g."""
    beyond = sharpenings - left - 1
    return np.where(beyond < 0, 0, 1 + beyond // (GRINDS_NEW + 1))


def shop(rng: np.random.Generator) -> Shop:
    n = KINDS * ITEMS
    kind = np.repeat(np.arange(KINDS), ITEMS)
    pace = rng.uniform(1_000, 12_000, n)
    places = rng.integers(1, 5, n)
    rate = np.exp(rng.normal(np.log(1.2e-6), 0.5, KINDS))[kind] * rng.gamma(2.0, 0.5, n) * places
    several = np.array([0.0, 0.3])[kind % 2]
    ground = kind >= KINDS // 2
    left = np.where(ground, rng.integers(0, GRINDS_NEW + 1, n), -1)
    promised = rng.choice([14, 28, 35, 60], n)
    own = np.exp(rng.normal(0, 0.25, n))
    taken = np.maximum(promised * own * np.exp(rng.normal(0, 0.15, (BEFORE + DAYS, n))), 1).round().astype(int)
    needs = np.zeros((BEFORE + DAYS, n), int)
    mishaps, sharpened, laws = [], [], []
    for i in range(n):
        days = np.sort(rng.integers(0, BEFORE + DAYS, rng.poisson(rate[i] * pace[i] * (BEFORE + DAYS))))
        sizes = np.where(rng.random(len(days)) < several[i], rng.integers(2, 4, len(days)), 1)
        np.add.at(needs[:, i], days, sizes)
        mishaps.append(list(zip(days.tolist(), sizes.tolist(), strict=True)))
        law = WeibullLaw(eta_hits=float(rng.uniform(80_000, 250_000)), shape=2.5)
        ends = np.cumsum(rng.weibull(2.5, 400) * law.eta_hits) / pace[i]
        ends = ends[ends < BEFORE + DAYS].astype(int) if ground[i] else np.zeros(0, int)
        if len(ends):
            used = used_up(int(left[i]), np.arange(len(ends) + 1))
            np.add.at(needs[:, i], ends, np.diff(used) * places[i])
        sharpened.append(ends)
        laws.append(law)
    price = np.exp(rng.normal(np.log(60), 0.7, n)).round(2)
    return Shop(kind=kind, pace=pace, places=places, price=price, promised=promised, taken=taken, needs=needs,
                mishaps=mishaps, sharpened=sharpened, law=laws, left=left)  # fmt: skip


@dataclass(frozen=True, kw_only=True)
class Known:
    use: Callable[[int], Demand]
    lead: LeadTime
    judged: Judged
    point: int


class Records:
    """What was known of each spare in the evening of a day: the law of its use, its lead time, what it is worth."""

    def __init__(self, of: Shop) -> None:
        self.of = of
        self.known: dict[tuple[int, int], Known] = {}
        self.last: list[int | None] = [None] * len(of.kind)

    def of_day(self, i: int, day: int) -> Known:
        last = self.last[i]
        if last is None or day < last or day - last >= REFRESHED or self._happened(i, last, day):
            self.last[i] = last = day
        if (i, last) not in self.known:
            self.known[i, last] = self._told(i, last)
        return self.known[i, last]

    def _happened(self, i: int, last: int, day: int) -> bool:
        """Whether its die was sharpened, or a piece of it broke, since."""
        since, until = BEFORE + last, BEFORE + day
        sharpened = self.of.sharpened[i]
        ground = bool(((since < sharpened) & (sharpened <= until)).any())
        return ground or any(since < t <= until for t, _ in self.of.mishaps[i])

    def _told(self, i: int, day: int) -> Known:
        of, now = self.of, BEFORE + day
        like = np.flatnonzero(of.kind == of.kind[i])
        known = {int(j): [(t, s) for t, s in of.mishaps[j] if t <= now] for j in like}
        of_kind = BreakRate.seen(sum(map(len, known.values())), float((of.pace[like] * of.places[like]).sum() * now))
        sizes = Counter(s for row in known.values() for _, s in row)
        at_once = pieces_at_once(sizes) if max(sizes, default=1) > 1 else None
        breaks = BreakRate.seen(
            len(known[i]), float(of.pace[i] * of.places[i] * now), before=HALF_A_BREAK,
            before_strokes=HALF_A_BREAK / of_kind.per_stroke,
        )  # fmt: skip
        placed = np.arange(0, now, SEEN_EVERY)
        came = of.taken[placed, i][placed + of.taken[placed, i] <= now]
        lead = LeadTime.learnt(int(of.promised[i]), came.tolist())
        pace = float(of.pace[i])
        counts, piece = None, PieceUse(label="", grinds_left=None, grinds_new=None)
        if of.left[i] >= 0:
            done = of.sharpened[i][of.sharpened[i] <= now]
            law, on = of.law[i], (now - (done[-1] if len(done) else 0)) * pace
            first = WeibullLaw(eta_hits=law.eta_hits, shape=law.shape, hits_on=on)
            counts = RenewalCounts.of(first=first, fresh=law, horizon_hits=pace * FURTHEST, cells=128)
            used = int(used_up(int(of.left[i]), np.array([len(done)]))[0])
            left = int(of.left[i]) + used * (GRINDS_NEW + 1) - len(done)
            piece = PieceUse(label="", grinds_left=left, grinds_new=GRINDS_NEW)

        def use(days: int) -> Demand:
            x = pace * min(max(days, 0), FURTHEST)
            sharpenings = np.ones(1) if counts is None else counts.chances(x)
            group = GrindGroup(label="", strokes=x, sharpenings=sharpenings, pieces=(piece,) * int(of.places[i]))
            return item_demand([group], breaks=breaks, at_once=at_once)

        worth = Economics(price=float(of.price[i]), keep=KEEP, short=MISSING, order_cost=ORDER_COST)
        judged = worth.judged(use(365).mean)
        point = lead.use(use, wait=WEEK_DAYS).quantile(judged.service)
        return Known(use=use, lead=lead, judged=judged, point=point)


class Advised:
    """The advice as a rule: what `advise` wants decided this week is ordered, as many as it says."""

    def __init__(self, records: Records) -> None:
        self.records = records

    def wanted(self, day: int, position: np.ndarray) -> np.ndarray:
        return np.array([self.of_one(self.records.of_day(i, day), have, i) for i, have in enumerate(position.tolist())])

    def of_one(self, known: Known, have: int, i: int) -> int:
        if have >= known.point:
            return 0
        promised, judged = int(self.records.of.promised[i]), known.judged
        return advise(
            StockNow(on_hand=have, on_order=0, lead_days=promised), known.use, today=dt.date(2026, 1, 1),
            service=judged.service, by_hand=judged.by_hand, lead=known.lead, prices=judged.prices, lot=judged.lot,
            cover_days=judged.cover_days, look_ahead_days=promised + WEEK_DAYS + 1,
        ).quantity  # fmt: skip


def minimum_of(of: Shop, times: float) -> np.ndarray:
    """int[DAYS, N]: set at the beginning of each year from the use of the year before."""
    years = []
    for start in (BEFORE, 2 * BEFORE):
        used = of.needs[start - 365 : start].sum(axis=0) / 365
        years.append(usual_minimum(used, of.promised, np.ones(len(used)), times=times, least=1))
    return np.vstack([np.tile(years[0], (365, 1)), np.tile(years[1], (DAYS - 365, 1))])


def lots_of(of: Shop) -> np.ndarray:
    """Economic, of the use of the year before."""
    used = of.needs[:BEFORE].sum(axis=0)
    return np.maximum(np.sqrt(2 * used * ORDER_COST / (KEEP.a_year * of.price)).round(), 1).astype(int)


def scored(*, shops: int, seed: int) -> Scored:
    rng = np.random.default_rng(seed)
    sums: dict[object, np.ndarray] = defaultdict(lambda: np.zeros(3))
    needed = 0
    for _ in range(shops):
        of = shop(rng)
        start = usual_minimum(of.needs[:BEFORE].sum(axis=0) / 365, of.promised, np.ones(len(of.kind)), least=1)
        past = Past(
            needs=of.needs[BEFORE:], on_hand=start, coming=np.zeros_like(of.needs[BEFORE:]), lead=of.taken[BEFORE:]
        )
        needed += int(past.needs[SETTLED:].sum())
        records = Records(of)
        sums["advice"] += _sums(replay(past, Advised(records).wanted), of)
        for times in TIMES:
            sums[times] += _sums(replay(past, fixed_minimum(minimum_of(of, times), lots_of(of))), of)
    made = {name: Sums(short=int(s), money=float(m), orders=int(o)) for name, (s, m, o) in sums.items()}
    return Scored(needed=needed, advice=made["advice"], minimums=tuple(made[t] for t in TIMES))


def _sums(found: Replayed, of: Shop) -> np.ndarray:
    money = (found.on_shelf[SETTLED:].mean(axis=0) * of.price).sum()
    return np.array([found.short[SETTLED:].sum(), money, (found.placed[SETTLED:] > 0).sum()])
