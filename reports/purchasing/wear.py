"""Pieces that wear out rather than break: each counts by its age, and the law of its kind is learnt from the record."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import scipy  # its parts are loaded when they are first named, so that a start pays for none
from numpy.typing import ArrayLike, NDArray

from .demand import Demand, DemandRefused
from .laws import WeibullLaw
from .renewals import RenewalCounts

# Beforehand: ln of the shape about nought, which is a constant rate, sd 0.5; an item's rate about that of its kind, as
# well known as from half a life. Common practice, no source.
LN_SHAPE_SD = 0.5
HALF_A_LIFE = 0.5
SHAPES = np.round(np.arange(1.0, 6.01, 0.1), 1)
CLEAR = (
    2.71  # twice the gain in log-likelihood that luck alone seldom gives: chi-square of one degree, 1 in 20 one-sided
)
SLICES = np.array([0.0, 0.2, 0.4, 0.6, 0.8, 0.95, 1.0])  # of what is not known of a rate
GRID = 1_025  # points by which the first life of a place is drawn
AGE_STEP = 0.05  # of the scale of a life: ages are taken to the nearest, so that what was computed serves others


@dataclass(frozen=True, kw_only=True)
class Lives:
    """Of one item, in strokes. ended: ages at which pieces were replaced; running: ages of those in now; both of pieces
    whose fitting is on record. unknown_ends, unknown_strokes: replacements of pieces that sat there when the records
    began, and the strokes that such pieces were watched for."""

    ended: tuple[float, ...] = ()
    running: tuple[float, ...] = ()
    unknown_ends: int = 0
    unknown_strokes: float = 0.0

    def __post_init__(self) -> None:
        figures = (*self.ended, *self.running, self.unknown_strokes)
        if not all(math.isfinite(x) and x >= 0 for x in figures) or self.unknown_ends < 0 or not all(self.ended):
            raise DemandRefused(f"lives of {self.ended}, {self.running} strokes cannot be; an age lies above nought.")

    @property
    def events(self) -> int:
        return len(self.ended) + self.unknown_ends

    def exposure(self, shape: float) -> float:
        """Sum of age^shape of those whose fitting is on record."""
        return float((np.array([*self.ended, *self.running]) ** shape).sum())


@dataclass(frozen=True, kw_only=True)
class WearLaw:
    """S(age) = exp(-rate (age / scale)^shape) of a kind of piece: shape 1 where its record shows no wearing out. scale
    in strokes; rate: of an average item. lives: ended ones of known age, from which it was learnt."""

    shape: float = 1.0
    rate: float = 0.0
    scale: float = 1.0
    lives: int = 0

    @property
    def wears_out(self) -> bool:
        return self.shape > 1 and self.rate > 0

    @property
    def mean_life(self) -> float:
        """Strokes, of an average item."""
        return self.scale / _per_stroke(self.rate, self.shape)

    @classmethod
    def learnt(cls, items: Sequence[Lives]) -> WearLaw:
        """From all items of a kind, each with a rate of its own about that of the kind.

        Of a shape k an item's likelihood, its rate Gamma(1/2, b) integrated, b = 1/2 over the kind's: prod (k t^(k-1))
        Gamma(1/2 + d) / Gamma(1/2) b^(1/2) / (b + A)^(1/2 + d), A the sum of age^k. The kind's rate solves rate A +
        strokes of unknown age / mean life = events: what nobody knows the age of goes on at the mean rate, as in a
        place that was fitted anew for ever. k is the best of 1 to 6 with ln k ~ N(0, 0.5^2) beforehand, and 1 where the
        likelihood does not gain clearly: shrunk to a constant rate.
        Source: renewal theory, D. R. Cox, Renewal Theory, 1962, ch. 5; the gamma rate is conjugate to age^k.
        """
        scale = max((age for item in items for age in (*item.ended, *item.running)), default=0.0)
        ended = [np.array(item.ended) / scale for item in items if item.ended]
        if not ended or scale <= 0:
            return cls()
        logs = float(sum(np.log(ages).sum() for ages in ended))
        n = sum(map(len, ended))
        scaled = [_scaled(item, scale) for item in items]
        best, at_one = (-math.inf, 1.0, 0.0), -math.inf
        for k in map(float, SHAPES):
            rate = _kind_rate(scaled, k)
            if rate <= 0:
                return cls()
            b = HALF_A_LIFE / rate
            told = n * math.log(k) + (k - 1) * logs
            for item in scaled:
                d = len(item.ended)
                told += math.lgamma(HALF_A_LIFE + d) + HALF_A_LIFE * math.log(b)
                told -= (HALF_A_LIFE + d) * math.log(b + item.exposure(k))
            at_one = told if k == 1 else at_one
            best = max(best, (told - (math.log(k) / LN_SHAPE_SD) ** 2 / 2, k, rate), key=lambda row: row[0])
            if k == best[1]:
                gain = 2 * (told - at_one)
        if best[1] == 1 or gain < CLEAR:
            return cls(lives=n)
        return cls(shape=best[1], rate=best[2], scale=scale, lives=n)

    def of_item(self, item: Lives) -> WornItem:
        """The law of one item: its rate Gamma(1/2 + events, b + A + strokes of unknown age at the kind's mean rate)."""
        mine = _scaled(item, self.scale)
        unknown = mine.unknown_strokes * _per_stroke(self.rate, self.shape) / self.rate
        return WornItem(
            shape=self.shape,
            scale=self.scale,
            events=HALF_A_LIFE + item.events,
            exposure=HALF_A_LIFE / self.rate + mine.exposure(self.shape) + unknown,
        )


def _scaled(item: Lives, scale: float) -> Lives:
    return Lives(
        ended=tuple(age / scale for age in item.ended),
        running=tuple(age / scale for age in item.running),
        unknown_ends=item.unknown_ends,
        unknown_strokes=item.unknown_strokes / scale,
    )


def _per_stroke(rate: float, shape: float) -> float:
    """Replacements a stroke in the long run: one over the mean life, rate^(1/k) / Gamma(1 + 1/k)."""
    return float(rate ** (1 / shape) / math.gamma(1 + 1 / shape))


def _kind_rate(items: Sequence[Lives], shape: float) -> float:
    """rate A + strokes of unknown age / mean life = events, by halving; it rises with the rate."""
    events = sum(item.events for item in items)
    exposure = sum(item.exposure(shape) for item in items)
    unknown = sum(item.unknown_strokes for item in items)
    low, high = -60.0, 60.0
    for _ in range(60):
        middle = (low + high) / 2
        rate = math.exp(middle)
        low, high = (low, middle) if rate * exposure + unknown * _per_stroke(rate, shape) > events else (middle, high)
    return math.exp(low)


@dataclass(frozen=True, kw_only=True)
class Worn:
    """A place: strokes ahead, and the age of the piece in it; of one that sat there when the records began age is what
    it was watched for, and `known` False."""

    strokes: float
    age: float
    known: bool = True


@dataclass(frozen=True, kw_only=True)
class WornItem:
    """One item's pieces: S(age) = exp(-rate (age / scale)^shape), rate ~ Gamma(events, per exposure)."""

    shape: float
    scale: float
    events: float
    exposure: float

    @property
    def rates(self) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """The mean rate in each slice of what is not known of it, and the chance of the slice."""
        edges = scipy.special.gammaincinv(self.events, SLICES)
        chances = np.diff(SLICES)
        means = np.diff(scipy.special.gammainc(self.events + 1, edges)) / chances * self.events / self.exposure
        return means, chances

    @property
    def mean_life(self) -> float:
        """Strokes, at the mean rate."""
        return self.scale / _per_stroke(self.events / self.exposure, self.shape)

    def replaced(self, places: Iterable[Worn]) -> Demand:
        """Pieces of all places together: of a rate that they share each is a renewal process from its own age on."""
        alike = Counter(places)
        rates, chances = self.rates
        found = []
        for rate in rates:
            eta = self._eta(float(rate))
            found.append(
                Demand.total(
                    power(_count(self.shape, place.strokes / eta, place.age / eta, place.known), n)
                    for place, n in alike.items()
                )
            )
        return Demand.mixed(found, chances)

    def expected(self, places: Iterable[Worn]) -> float:
        """The mean of `replaced`."""
        alike = Counter(places)
        rates, chances = self.rates
        total = 0.0
        for rate, chance in zip(rates, chances, strict=True):
            eta = self._eta(float(rate))
            counts = (_count(self.shape, p.strokes / eta, p.age / eta, p.known).mean * n for p, n in alike.items())
            total += chance * sum(counts)
        return total

    def drawn(
        self, places: Sequence[Worn], ends: ArrayLike, *, lives: int, rng: np.random.Generator
    ) -> NDArray[np.int_]:
        """int[lives, months]: pieces replaced in each month of lives drawn at random.

        ends: float[months], the share of each place's strokes that has passed by the end of each month, rising to 1.
        In a life one rate holds for all places, as in `replaced`; each goes on from its own age.
        """
        until = np.asarray(ends, float)
        counts = np.zeros((lives, len(until)), np.int64)
        rates, chances = self.rates
        which = rng.choice(len(rates), size=lives, p=chances)
        for n, rate in enumerate(rates):
            mine, eta = np.flatnonzero(which == n), self._eta(float(rate))
            for place in places:
                if place.strokes > 0 and len(mine):
                    counts[mine] += _drawn(self.shape, place, eta, until, len(mine), rng)
        return counts

    def _eta(self, rate: float) -> float:
        """Scale of a life, strokes."""
        return self.scale / max(rate, 1e-12) ** (1 / self.shape)


def _drawn(
    shape: float, place: Worn, eta: float, until: NDArray[np.float64], lives: int, rng: np.random.Generator
) -> NDArray[np.int_]:
    """int[lives, months] of one place; strokes in scales of its life."""
    ahead, age = place.strokes / eta, place.age / eta
    first = WeibullLaw(eta_hits=1.0, shape=shape, hits_on=age) if place.known else RunningLaw(shape=shape, watched=age)
    grid = np.linspace(0.0, ahead, GRID)
    at = np.interp(rng.random(lives), first.ended(grid), grid, right=np.inf)
    counts = np.zeros(lives * len(until), np.int64)
    alive = np.arange(lives)
    while len(alive := alive[at[alive] < ahead]):
        month = np.searchsorted(until, at[alive] / ahead, side="right")
        np.add.at(counts, alive * len(until) + np.minimum(month, len(until) - 1), 1)
        at[alive] += (-np.log1p(-rng.random(len(alive)))) ** (1 / shape)
    return counts.reshape(lives, len(until))


def power(demand: Demand, n: int) -> Demand:
    """The sum of n independent ones, by squaring."""
    total, square = Demand.none(), demand
    while n:
        if n & 1:
            total = total.plus(square)
        n >>= 1
        if n:
            square = square.plus(square)
    return total


def _count(shape: float, ahead: float, age: float, known: bool) -> Demand:
    """Of one place, in scales of its life: its age to the nearest step, and so much further that nothing is lost."""
    if ahead <= 0:
        return Demand.none()
    age = min(round(age / AGE_STEP) * AGE_STEP, 3.0)
    horizon = 2.0 ** (math.ceil(math.log2(ahead) * 4) / 4)
    return Demand.of(np.maximum(_renewals(shape, horizon, age, known).chances(ahead), 0.0))


@lru_cache(maxsize=4096)
def _renewals(shape: float, horizon: float, age: float, known: bool) -> RenewalCounts:
    fresh = WeibullLaw(eta_hits=1.0, shape=shape)
    first = WeibullLaw(eta_hits=1.0, shape=shape, hits_on=age) if known else RunningLaw(shape=shape, watched=age)
    return RenewalCounts.of(first=first, fresh=fresh, horizon_hits=horizon)


@dataclass(frozen=True, kw_only=True)
class RunningLaw:
    """What is left of a piece of unknown age in a place that was fitted anew for ever, watched for so long without an
    end; in scales of its life: 1 - Q(1/k, (w + x)^k) / Q(1/k, w^k), Q the upper incomplete gamma function.

    Source: the law of the residual life in equilibrium, D. R. Cox, Renewal Theory, 1962, ch. 5.
    """

    shape: float
    watched: float = 0.0

    def ended(self, hits: ArrayLike) -> NDArray[np.float64]:
        x = np.maximum(np.asarray(hits, float), 0.0)
        left = scipy.special.gammaincc(1 / self.shape, (self.watched + x) ** self.shape)
        return np.asarray(
            1 - left / max(float(scipy.special.gammaincc(1 / self.shape, self.watched**self.shape)), 1e-300)
        )
