"""Made-up shops whose truth is known: how often the 90 % limits of a spare's demand over its lead time hold.

Kinds of spares break at rates of their own, some ever more often, some several at once; suppliers promise and keep or
do not; records are short, so that most counts are of one and two. Each item is forecast from its record as the advice
does it, then the lead time and the use in it are drawn.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass

import numpy as np

from reports.purchasing.breaks import Trend, pieces_at_once
from reports.purchasing.demand import BreakRate, GrindGroup, PieceUse, item_demand, poisson
from reports.purchasing.laws import WeibullLaw
from reports.purchasing.lead import LeadTime
from reports.purchasing.renewals import RenewalCounts

KINDS, ITEMS = 6, 30
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
    return rows


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
    rows = []
    for n in range(ITEMS):
        promised = int(rng.choice([14, 28, 60, 90]))
        own = np.exp(rng.normal(0.0, 0.25))
        taken = promised * own * np.exp(rng.normal(0, 0.15, int(rng.integers(0, 7)) + 1))
        lead = LeadTime.learnt(promised, taken[1:])
        seen = BreakRate.seen(
            len(times[n]),
            float(end[n] * places[n]),
            before=HALF_A_BREAK,
            before_strokes=HALF_A_BREAK / of_kind.per_stroke,
        )
        seen = BreakRate(shape=seen.shape, strokes=seen.strokes / trend.factor)
        law, left = WeibullLaw(eta_hits=150_000, shape=2.5), int(rng.integers(0, 4))
        strokes = float(pace[n] * taken[0])
        counts = (
            RenewalCounts.of(first=law, fresh=law, horizon_hits=float(pace[n] * max(lead.longest, 1)))
            if ground
            else None
        )
        piece = (
            PieceUse(label="", grinds_left=left, grinds_new=6)
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
            came += int(places[n]) * piece.ground_out(sharpened)
        v = rng.random()
        plain = poisson(told.mean)
        at = [d.at_most(came - 1) + v * (d.at_most(came) - d.at_most(came - 1)) for d in (told, plain)]
        rows.append((at[0], at[1], came))
    return rows


def scored(*, shops: int, seed: int) -> Scored:
    rng = np.random.default_rng(seed)
    rows = [row for _ in range(shops) for row in shop(rng)]
    place, plain, use = (np.array(column, float) for column in zip(*rows, strict=True))
    return Scored(place=place, plain=plain, use=use)
