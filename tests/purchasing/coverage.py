"""Made-up shops whose truth is known: how often the 90 % limits of a spare's demand over its lead time hold.

Kinds of spares break at rates of their own, some ever more often, some several at once, some wear out by their age;
what a grind takes off differs; suppliers promise and keep or do not; records are short, so that most counts are of one
and two. Each item is forecast from its record as the advice does it, then the lead time and the use in it are drawn.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from functools import reduce

import numpy as np

from reports.purchasing.breaks import Trend, pieces_at_once
from reports.purchasing.demand import BreakRate, Demand, GrindGroup, PieceUse, item_demand, poisson
from reports.purchasing.laws import WeibullLaw
from reports.purchasing.lead import LeadTime
from reports.purchasing.removal import Removal, Taken
from reports.purchasing.renewals import RenewalCounts
from reports.purchasing.wear import Lives, WearLaw, Worn

from .drawn import ground_out_drawn

KINDS, ITEMS = 6, 30  # that break; one more wears out
WEARS = 3.0  # shape of the lives of that
RECORD_DAYS = 900
HALF_A_BREAK = 0.5


@dataclass(frozen=True, kw_only=True)
class Kind:
    rate: float  # mishaps a stroke of one place, over the record
    power: float  # the rate goes with strokes to the power of this less one
    several: float  # share of mishaps that take several


@dataclass(frozen=True, kw_only=True)
class Scored:
    """Of items: where what came lay in the forecast (0 to 1, spread evenly over the chance of its count), and what
    simpler forecasts would have made of it: a Poisson count of the same mean."""

    place: np.ndarray
    plain: np.ndarray
    use: np.ndarray

    def held(self, *, plain: bool = False) -> float:
        at = self.plain if plain else self.place
        return float(((at > 0.05) & (at < 0.95)).mean())


def shop(rng: np.random.Generator) -> list[tuple[float, float, int]]:
    """(place, place by the plain forecast, use) of each item of one shop."""
    rows = []
    for number in range(KINDS):
        kind = Kind(
            rate=float(np.exp(rng.normal(np.log(1.2e-6), 0.5))),
            power=(1.0, 1.0, 1.7)[number % 3],
            several=(0.0, 0.3)[number % 2],
        )
        rows += _of_kind(rng, kind, ground=number % 3 == 1)
    return rows + _that_wear_out(rng)


def _that_wear_out(rng: np.random.Generator) -> list[tuple[float, float, int]]:
    """A kind whose pieces go by their age; before the records began its places were fitted anew again and again."""
    pace, end = rng.uniform(1_000, 12_000, ITEMS), RECORD_DAYS
    eta = np.exp(rng.normal(np.log(2.5e6), 0.3, ITEMS))
    places = rng.integers(1, 5, ITEMS)
    lives, sitting = [], []
    for n in range(ITEMS):
        watched, began = pace[n] * end, []
        ended, ends, unknown = [], 0, 0.0
        for _ in range(places[n]):
            at, since = -20 * eta[n] * (1 + rng.random()), None
            while (following := at + eta[n] * rng.weibull(WEARS)) <= watched:
                if following > 0:
                    if since is None:
                        ends, unknown = ends + 1, unknown + following
                    else:
                        ended.append(following - since)
                    since = following
                at = following
            unknown += watched if since is None else 0.0
            began.append((at, since))
        running = tuple(watched - since for _, since in began if since is not None)
        lives.append(Lives(ended=tuple(ended), running=running, unknown_ends=ends, unknown_strokes=unknown))
        sitting.append(began)
    law = WearLaw.learnt(lives)
    of_kind = BreakRate.seen(sum(one.events for one in lives), float((pace * end * places).sum()))
    rows = []
    for n in range(ITEMS):
        lead, taken = _lead(rng)
        watched, strokes = pace[n] * end, float(pace[n] * taken)
        if law.wears_out:
            item = law.of_item(lives[n])
            ages = [(watched if since is None else watched - since, since is not None) for _, since in sitting[n]]

            def use(days: int, n=n, item=item, ages=ages) -> Demand:
                return item.replaced([Worn(strokes=float(pace[n] * days), age=a, known=known) for a, known in ages])
        else:
            rate = BreakRate.seen(
                lives[n].events,
                float(watched * places[n]),
                before=HALF_A_BREAK,
                before_strokes=HALF_A_BREAK / of_kind.per_stroke,
            )

            def use(days: int, n=n, rate=rate) -> Demand:
                return rate.breaks_in(float(pace[n] * days * places[n]))

        came = 0
        for at, _ in sitting[n]:
            age = watched - at
            following = eta[n] * (rng.exponential() + (age / eta[n]) ** WEARS) ** (1 / WEARS) - age
            while following <= strokes:
                came, following = came + 1, following + eta[n] * rng.weibull(WEARS)
        rows.append(_row(rng, lead.use(use), came))
    return rows


def _lead(rng: np.random.Generator) -> tuple[LeadTime, float]:
    """What is known of a lead time, and how long the order in question takes; the promise may be wrong."""
    promised = int(rng.choice([14, 28, 60, 90]))
    own = np.exp(rng.normal(0.0, 0.25))
    taken = promised * own * np.exp(rng.normal(0, 0.15, int(rng.integers(0, 7)) + 1))
    return LeadTime.learnt(promised, taken[1:]), float(taken[0])


def _row(rng: np.random.Generator, told: Demand, came: int) -> tuple[float, float, int]:
    v = rng.random()
    at = [d.at_most(came - 1) + v * (d.at_most(came) - d.at_most(came - 1)) for d in (told, poisson(told.mean))]
    return at[0], at[1], came


def _ground_away(rng: np.random.Generator) -> tuple[list[float], list[Taken]]:
    """What a grind truly takes off each item's pieces, and what was measured of some of their grinds."""
    true = 0.15 * np.exp(rng.normal(0, 0.2, ITEMS))
    seen = [mean * rng.gamma(1 / 0.3**2, 0.3**2, int(rng.integers(0, 9))) for mean in true]
    return list(true), [Taken.of(len(row), float(row.sum()), float((row**2).sum())) for row in seen]


def _sizes(rng: np.random.Generator, kind: Kind, n: int) -> np.ndarray:
    return np.where(rng.random(n) < kind.several, rng.integers(2, 4, n), 1)


def _of_kind(rng: np.random.Generator, kind: Kind, *, ground: bool) -> list[tuple[float, float, int]]:
    pace = rng.uniform(1_000, 12_000, ITEMS)
    places = rng.integers(1, 5, ITEMS)
    rate = kind.rate * rng.gamma(2.0, 0.5, ITEMS) * places
    end = pace * RECORD_DAYS
    times = [e * rng.random(rng.poisson(r * e)) ** (1 / kind.power) + 1e-6 for r, e in zip(rate, end, strict=True)]
    sizes = Counter(map(int, np.concatenate([_sizes(rng, kind, len(row)) for row in times])))
    trend = Trend.of((np.minimum(row, e), e) for row, e in zip(times, end, strict=True))
    of_kind = BreakRate.seen(sum(map(len, times)), float((end * places).sum()))
    at_once = pieces_at_once(sizes)
    true_mm, measured = _ground_away(rng)
    in_shop = reduce(Taken.plus, measured, Taken())
    rows = []
    for n in range(ITEMS):
        lead, taken = _lead(rng)
        seen = BreakRate.seen(
            len(times[n]),
            float(end[n] * places[n]),
            before=HALF_A_BREAK,
            before_strokes=HALF_A_BREAK / of_kind.per_stroke,
        )
        seen = BreakRate(shape=seen.shape, strokes=seen.strokes / trend.factor)
        law = WeibullLaw(eta_hits=150_000, shape=2.5)
        left_mm, new_mm = rng.uniform(0, 0.6), 0.9
        strokes = float(pace[n] * taken)
        removal = Removal.learnt([in_shop, measured[n]], usual_mm=0.15)
        counts = (
            RenewalCounts.of(first=law, fresh=law, horizon_hits=float(pace[n] * max(lead.longest, 1)))
            if ground
            else None
        )
        piece = (
            PieceUse(
                label="",
                grinds_left=left_mm / removal.mean_mm,
                grinds_new=new_mm / removal.mean_mm,
                spread=removal.spread,
                doubt=removal.doubt,
            )
            if ground
            else PieceUse(label="", grinds_left=None, grinds_new=None)
        )

        def use(days: int, n=n, counts=counts, piece=piece, seen=seen):
            x = float(pace[n] * days)
            group = GrindGroup(
                label="",
                strokes=x,
                sharpenings=counts.chances(x) if counts else np.ones(1),
                pieces=(piece,) * int(places[n]),
            )
            return item_demand([group], breaks=seen, at_once=at_once)

        told = lead.use(use)
        mishaps = rng.poisson(rate[n] * end[n] * ((1 + strokes / end[n]) ** kind.power - 1))
        came = int(_sizes(rng, kind, mishaps).sum())
        if ground:
            sharpened = int((np.cumsum(rng.weibull(2.5, 200) * 150_000) <= strokes).sum())
            in_grinds = (left_mm / true_mm[n], new_mm / true_mm[n])
            came += int(places[n]) * int(ground_out_drawn(rng, np.array([sharpened]), [in_grinds], spread=0.3)[0])
        rows.append(_row(rng, told, came))
    return rows


def scored(*, shops: int, seed: int) -> Scored:
    rng = np.random.default_rng(seed)
    rows = [row for _ in range(shops) for row in shop(rng)]
    place, plain, use = (np.array(column, float) for column in zip(*rows, strict=True))
    return Scored(place=place, plain=plain, use=use)
