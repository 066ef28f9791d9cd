"""How many pieces of a spare will be used: the chances of 0, 1, 2 ..."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from .removal import DemandRefused, lasting, means_of, replacements

NEGLIGIBLE = 1e-12
MOST_PIECES = 20_000
STEP = 8  # sharpenings


@dataclass(frozen=True, eq=False)
class Demand:
    """chances: float[n], chances[d] of d pieces; nought or more, with the sum 1."""

    chances: NDArray[np.float64]

    @classmethod
    def of(cls, chances: ArrayLike) -> Demand:
        """Trailing noughts are dropped and the sum made 1. Raises DemandRefused for what is no distribution."""
        p = np.atleast_1d(np.asarray(chances, float))
        if p.ndim != 1 or not p.size or not np.isfinite(p).all() or (p < -1e-9).any() or p.sum() <= 0:
            raise DemandRefused("the chances of a demand are empty, negative or not finite.")
        return cls._made(np.maximum(p, 0.0))

    @classmethod
    def _made(cls, p: NDArray[np.float64]) -> Demand:
        """Of chances that are known to be some."""
        if not p[-1]:
            p = p[: np.flatnonzero(p)[-1] + 1]
        return cls(p / p.sum())

    @classmethod
    def none(cls) -> Demand:
        return cls(np.ones(1))

    @property
    def mean(self) -> float:
        return float(np.arange(len(self.chances)) @ self.chances)

    def at_most(self, pieces: int) -> float:
        """The chance that no more than so many are used."""
        return float(self.chances[: max(int(pieces) + 1, 0)].sum())

    def quantile(self, chance: float) -> int:
        """The least number of pieces that is enough with at least that chance."""
        if not 0 < chance < 1:
            raise DemandRefused(f"a chance of {chance:g}; it must lie between 0 and 1.")
        enough = np.searchsorted(np.cumsum(self.chances), chance - 1e-12)
        return min(int(enough), len(self.chances) - 1)

    def plus(self, other: Demand) -> Demand:
        """The sum of two independent ones."""
        if len(other.chances) == 1:
            return self
        return other if len(self.chances) == 1 else Demand._made(_trimmed(np.convolve(self.chances, other.chances)))

    @classmethod
    def total(cls, demands: Iterable[Demand]) -> Demand:
        result = cls.none()
        for demand in demands:
            result = result.plus(demand)
        return result

    @classmethod
    def mixed(cls, demands: Sequence[Demand], weights: ArrayLike) -> Demand:
        """One of several, each in its world, with these weights (any unit)."""
        w = np.asarray(weights, float)
        if len(demands) != len(w) or not len(w) or not np.isfinite(w).all() or (w < 0).any() or w.sum() <= 0:
            raise DemandRefused(f"{len(demands)} demands with the weights {w.tolist()}.")
        p = np.zeros(max(len(d.chances) for d in demands))
        for demand, weight in zip(demands, w / w.sum(), strict=True):
            p[: len(demand.chances)] += weight * demand.chances
        return cls._made(p)

    def thinned(self, share: float) -> Demand:
        """Of these pieces each by itself counted with that chance: binomial of each number."""
        if not 0 < share <= 1:
            raise DemandRefused(f"a share of {share:g} of the pieces; above 0 and up to 1.")
        if share == 1 or len(self.chances) == 1:
            return self
        n = np.arange(len(self.chances))
        logs = _log_factorial(len(n))
        with np.errstate(invalid="ignore"):
            ways = logs[:, None] - logs[None, :] - logs[np.maximum(n[:, None] - n[None, :], 0)]
        counted = np.exp(ways + n[None, :] * math.log(share) + (n[:, None] - n[None, :]) * math.log1p(-share))
        return Demand._made(_trimmed(self.chances @ np.where(n[None, :] <= n[:, None], counted, 0.0)))

    def compounded(self, sizes: Demand) -> Demand:
        """Pieces where this counts mishaps and each takes a number of pieces that is spread like `sizes`."""
        p, power = np.zeros(1), np.ones(1)
        for n, chance in enumerate(self.chances):
            if n:
                power = _trimmed(np.convolve(power, sizes.chances))
            p = np.pad(p, (0, max(len(power) - len(p), 0)))
            p[: len(power)] += chance * power
        return Demand._made(p)


def _trimmed(p: NDArray[np.float64]) -> NDArray[np.float64]:
    """Without the last pieces that together are less likely than NEGLIGIBLE; keeps long sums short."""
    tail = np.cumsum(p[::-1])
    return p[: len(p) - int(np.searchsorted(tail, NEGLIGIBLE))] if tail[-1] > NEGLIGIBLE else p


def poisson(mean: float) -> Demand:
    """P(d) = e^-m m^d / d!, up to where the rest is negligible."""
    if not (math.isfinite(mean) and mean >= 0):
        raise DemandRefused(f"{mean:g} pieces are expected; it must be nought or more.")
    _not_too_many(mean)
    d = np.arange(int(mean + 12 * math.sqrt(mean + 1) + 12))
    with np.errstate(divide="ignore"):
        logs = d * math.log(mean) - mean - _log_factorial(len(d)) if mean else np.where(d == 0, 0.0, -np.inf)
    return Demand.of(_trimmed(np.exp(logs)))


def _log_factorial(n: int) -> NDArray[np.float64]:
    return np.concatenate([[0.0], np.cumsum(np.log(np.arange(1, n)))])


def _not_too_many(mean: float) -> None:
    if mean > MOST_PIECES:
        raise DemandRefused(
            f"{mean:,.0f} pieces are expected; more than {MOST_PIECES:,} cannot be right. "
            "Look at the strokes ahead and at the rate of breaks."
        )


@dataclass(frozen=True, kw_only=True)
class BreakRate:
    """How often a piece chips or breaks so that it is replaced: rate ~ Gamma(shape, per strokes), learnt from a count.

    shape: breaks seen plus what is assumed beforehand; strokes: of all such pieces together, likewise. The count in x
    further strokes is negative binomial: wider than Poisson, since the rate itself is only known so well.
    """

    shape: float
    strokes: float

    def __post_init__(self) -> None:
        for name in ("shape", "strokes"):
            value = getattr(self, name)
            if not (math.isfinite(value) and value > 0):
                raise DemandRefused(f"{name} of a rate of breaks is {value:g}; it must lie above nought.")

    @classmethod
    def seen(cls, breaks: int, strokes: float, *, before: float = 0.5, before_strokes: float = 5e5) -> BreakRate:
        """Gamma(0.5 + breaks, 5 x 10^5 + strokes): the weak beforehand of the life engine's chips."""
        if breaks < 0 or not (math.isfinite(strokes) and strokes >= 0):
            raise DemandRefused(f"{breaks} breaks in {strokes:g} strokes; both must be nought or more.")
        return cls(shape=before + breaks, strokes=before_strokes + strokes)

    @property
    def per_stroke(self) -> float:
        return self.shape / self.strokes

    def breaks_in(self, strokes: float) -> Demand:
        """P(n) = Gamma(a + n) / (Gamma(a) n!) (b / (b + x))^a (x / (b + x))^n."""
        if not (math.isfinite(strokes) and strokes >= 0):
            raise DemandRefused(f"{strokes:g} strokes ahead; it must be nought or more.")
        mean = self.per_stroke * strokes
        _not_too_many(mean)
        if mean == 0:
            return Demand.none()
        q = strokes / (self.strokes + strokes)
        n = int(mean + 40 * math.sqrt(mean + mean**2 / self.shape) + 40)
        d = np.arange(1, n)
        logs = np.concatenate([[0.0], np.cumsum(np.log((self.shape + d - 1) / d) + math.log(q))])
        return Demand._made(_trimmed(np.exp(logs + self.shape * math.log1p(-q))))


def grinds_in(allowance_mm: float, removed_mm: float) -> int:
    """Whole grinds of `removed_mm` that an allowance still gives: floor(allowance / removed).

    A rounding of a thousandth of a grind does not cost one. Raises DemandRefused where nothing is removed or the
    allowance is not a number; a negative allowance gives none.
    """
    if not (math.isfinite(allowance_mm) and math.isfinite(removed_mm) and removed_mm > 0):
        raise DemandRefused(f"an allowance of {allowance_mm:g} mm at {removed_mm:g} mm a grind.")
    return max(0, math.floor(allowance_mm / removed_mm + 1e-3))


@dataclass(frozen=True, kw_only=True)
class PieceUse:
    """One position that takes the spare. Grinds left in the piece in it, and in a new one: the allowance over the mean
    removal; None: never ground out.

    spread, doubt: of one grind's removal about its mean, and of that mean, sd over mean (`Removal`); both nought: each
    takes the same, and the piece goes at the first grind for which there is no room. ground_share: share of its set's
    sharpenings in which it is ground. stroke_share: share of the die's strokes in which it works.
    """

    label: str
    grinds_left: float | None
    grinds_new: float | None
    stroke_share: float = 1.0
    spread: float = 0.0
    doubt: float = 0.0
    ground_share: float = 1.0

    def __post_init__(self) -> None:
        for name in ("grinds_left", "grinds_new"):
            value = getattr(self, name)
            if value is not None and not (math.isfinite(value) and value >= 0):
                raise DemandRefused(f"{self.label} has {value} grinds; it must be nought or more.")
        if (self.grinds_left is None) != (self.grinds_new is None):
            raise DemandRefused(f"{self.label}: the grinds left and those in a new piece are known together or not.")
        for name in ("stroke_share", "ground_share"):
            if not 0 < getattr(self, name) <= 1:
                raise DemandRefused(f"{self.label}: a {name} of {getattr(self, name):g}; above 0 and up to 1.")
        if not (0 <= self.spread < math.inf and 0 <= self.doubt < math.inf):
            raise DemandRefused(f"{self.label}: a spread of {self.spread:g} and a doubt of {self.doubt:g} cannot be.")

    @property
    def served(self) -> float | None:
        """Sharpenings of its set that one new piece after the other serves, in the long run; None: never ground out.

        One over the replacements a sharpening; of a known mean removal the sum of P(still in after n) over n.
        """
        if self.grinds_new is None:
            return None
        rate = 0.0
        for mean, chance in means_of(self.doubt):
            most = int(4 * self.grinds_new / mean + 40)
            rate += chance / float(lasting(self.grinds_new / mean, spread=self.spread, share=1.0, most=most).sum())
        return 1 / (rate * self.ground_share)

    def ground_out(self, sharpenings: int) -> float:
        """Replacements expected in that many sharpenings: the piece with g grinds left goes at sharpening g + 1."""
        worlds = zip(means_of(self.doubt), self.ground_out_in(sharpenings), strict=True)
        return float(sum(weight * rows[:, -1].sum() for (_, weight), rows in worlds))

    def ground_out_in(self, sharpenings: int, *, worlds: int | None = None) -> list[NDArray[np.float64]]:
        """float[K, sharpenings + 1] for each value that the mean removal may have (`means_of`): row k - 1 the chance of
        at least k replacements in 0, 1 ... sharpenings. worlds: so many; one that is known has the same in each."""
        if self.grinds_left is None or self.grinds_new is None:
            return [np.zeros((0, sharpenings + 1))] * (worlds or 1)
        most = -(-max(sharpenings, 1) // STEP) * STEP  # so that it is computed for few lengths
        made = [
            replacements(
                self.grinds_left / mean,
                self.grinds_new / mean,
                spread=self.spread,
                share=self.ground_share,
                most=most,
            )[:, : sharpenings + 1]
            for mean, _ in means_of(self.doubt)
        ]
        return made * worlds if worlds and len(made) == 1 else made


@dataclass(frozen=True, kw_only=True, eq=False)
class GrindGroup:
    """Positions that are ground together, so that they run out together: a whole set, or one position by itself.

    strokes: of the die ahead. sharpenings[n]: the chance of n sharpenings in them (`RenewalCounts.chances`).
    pieces: those of its positions that take the spare in question.
    """

    label: str
    strokes: float
    sharpenings: ArrayLike
    pieces: tuple[PieceUse, ...]

    def ground_out(self) -> Demand:
        """Chances of pieces used up by grinding. The count of sharpenings is common to the pieces of the group, and so
        is what each takes off: those alike go together, and one with less left never after one with more.

        Of n sharpenings with the chances g of at least k replacements of each piece, the pieces as one (comonotone):
        sorted falling, P(as many as the first i of them) = g_i - g_(i+1); mixed over what the mean may be.
        Limits: exact for pieces alike and in the mean; the spread of a set of unlike ones is never too narrow.
        """
        alike = Counter(
            (p.grinds_left, p.grinds_new, p.spread, p.doubt, p.ground_share)
            for p in self.pieces
            if p.grinds_left is not None
        )
        if not alike:
            return Demand.none()
        counts = Demand.of(self.sharpenings).chances
        worlds = max((means_of(doubt) for *_, doubt, _ in alike), key=len)
        rows = [
            PieceUse(
                label="", grinds_left=left, grinds_new=new, spread=spread, doubt=doubt, ground_share=share
            ).ground_out_in(len(counts) - 1, worlds=len(worlds))
            for left, new, spread, doubt, share in alike
        ]
        found = [
            _as_one([world[n] for world in rows], list(alike.values()), counts * weight)
            for n, (_, weight) in enumerate(worlds)
        ]
        p = np.zeros(max(map(len, found)))
        for chances in found:
            p[: len(chances)] += chances
        return Demand._made(_trimmed(p))

    @property
    def piece_strokes(self) -> float:
        """Strokes ahead summed over its pieces: what their breaks are exposed to."""
        return self.strokes * sum(piece.stroke_share for piece in self.pieces)


def _as_one(rows: list[NDArray[np.float64]], times: list[int], weights: NDArray[np.float64]) -> NDArray[np.float64]:
    """The sum of several pieces that go as one: the chance of each, times `weights` of each number of sharpenings."""
    chances = np.vstack(rows)
    pieces = np.repeat(times, [len(row) for row in rows])
    order = np.argsort(-chances, axis=0, kind="stable")
    n = chances.shape[1]
    reached = np.vstack([np.ones(n), np.take_along_axis(chances, order, axis=0), np.zeros(n)])
    used = np.vstack([np.zeros(n, int), np.cumsum(pieces[order], axis=0)])
    return np.asarray(np.bincount(used.ravel(), weights=(-np.diff(reached, axis=0) * weights).ravel()), float)


def item_demand(
    groups: Sequence[GrindGroup], *, breaks: BreakRate | None = None, at_once: Demand | None = None
) -> Demand:
    """Pieces of one spare used ahead: ground out, convolved over the groups, plus chips and breaks.

    breaks: their rate a stroke and piece, learnt and therefore shared by all positions, so that the strokes of all
    are taken together. at_once: how many pieces one mishap takes; None: one.
    Limits: a piece that breaks is replaced by one ground to match its set, so that a break does not put off the day on
    which the set is ground out. Where new pieces go in at full length, this counts too many rather than too few.
    Groups are independent; what is unknown and common to them belongs into several worlds (`Demand.mixed`).
    """
    result = Demand.total(group.ground_out() for group in groups)
    if breaks is not None:
        mishaps = breaks.breaks_in(sum(group.piece_strokes for group in groups))
        result = result.plus(mishaps if at_once is None else mishaps.compounded(at_once))
    return result
