"""What a die costs month by month for some years ahead: what is expected, and how far its lives lie apart."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from decimal import Decimal
from functools import cached_property

import numpy as np
from numpy.typing import ArrayLike, NDArray

from .money import MoneyRefused, amount, from_float, quantity
from .spread import Spread

LIVES = 10_000
SEED = 20_261  # the same answer to the same question
MOST_MONTHS = 240
MOST_INTERVALS = 20_000  # of one life
KEYS = ("sharpening", "spares", "stop")  # of `own_log.ELEMENTS`

Quantile = Callable[[NDArray[np.float64]], NDArray[np.float64]]  # chance, 0 to 1 -> strokes; inf: not within sight
Lasting = Callable[
    [int], NDArray[np.float64]
]  # n -> float[n + 1], the chance to be in after 0, 1 ... n grinds of a set
Drawn = Callable[[NDArray[np.float64], int, np.random.Generator], NDArray[np.int_]]


@dataclass(frozen=True, kw_only=True)
class Allowance:
    """How long the piece in a place lasts, and each new one after it, in grinds of its set; with the chance that what a
    grind takes off is such on average."""

    chance: float
    left: Lasting
    new: Lasting


@dataclass(frozen=True, kw_only=True)
class GroundPiece:
    """A piece that is ground with its set. It goes at the first grind that its allowance does not hold. allowances: one
    for each value that the mean removal may have; pieces of a set with as many share it. price: money."""

    price: Decimal
    allowances: tuple[Allowance, ...]

    def used(self, most: int) -> NDArray[np.float64]:
        """float[most + 1]: pieces expected to be ground out in 0, 1 ... most grinds of the set."""
        return np.asarray(sum(one.chance * _renewed(one, most) for one in self.allowances), float)


def _renewed(allowance: Allowance, most: int) -> NDArray[np.float64]:
    """Renewal equation, by grinds: m(n) = P(goes at n) + sum over j of m(j) P(a new one lasts n - j)."""
    first = -np.diff(allowance.left(most), prepend=1.0)
    later = -np.diff(allowance.new(most), prepend=1.0)
    each = np.zeros(most + 1)
    for n in range(most + 1):
        each[n] = first[n] + each[:n] @ later[n:0:-1]
    return np.cumsum(each)


@dataclass(frozen=True, kw_only=True)
class GroundSet:
    """What is ground together: the set of a die, or one place that follows its own edge.

    first: quantiles of the interval under way, None: freshly sharpened; fresh: of each later one, one law for each of
    several equally likely worlds. grind: money for one grind, nought where it is paid with another set. until[m][n]:
    the chance of n grinds until the end of month m, the worlds mixed.
    """

    first: Quantile | None
    fresh: tuple[Quantile, ...]
    grind: Decimal
    pieces: tuple[GroundPiece, ...]
    until: Sequence[ArrayLike]

    def spent(self, most: int) -> NDArray[np.float64]:
        """float[most + 1]: money for pieces expected after 0, 1 ... grinds."""
        total = np.zeros(most + 1)
        for piece in self._alike():
            total += float(piece.price) * piece.used(most)
        return total

    def spent_drawn(self, grinds: NDArray[np.int_], rng: np.random.Generator) -> NDArray[np.float64]:
        """float[lives, months]: money for pieces in each month of lives drawn at random.

        grinds: int[lives, months], of each month. Pieces of a set go as one: those alike together, and of two the
        one with less left never after the other. What the mean removal is holds for a whole life.
        """
        lives, months = len(grinds), grinds.shape[1]
        each = grinds.sum(axis=1)
        most = int(each.max(initial=0))
        month_of = np.repeat(np.tile(np.arange(months), lives), grinds.ravel())  # of every grind, life after life
        month_of = np.append(month_of, 0)  # what is gone before a grind
        before = np.cumsum(each) - each
        total = np.zeros(lives * months)
        mean = rng.random(lives)
        later: list[NDArray[np.float64]] = []
        for piece in self._alike():
            world = np.searchsorted(np.cumsum([one.chance for one in piece.allowances])[:-1], mean, side="right")
            gone = [1.0 - one.left(most) for one in piece.allowances]
            renewed = [1.0 - one.new(most) for one in piece.allowances]
            lived = [np.flatnonzero(world == n) for n in range(len(gone))]
            at, k = np.zeros(lives, int), 0
            while True:
                if k == len(later):
                    later.append(rng.random(lives))
                for n, law in enumerate(gone if k == 0 else renewed):
                    mine = lived[n]
                    at[mine] += np.searchsorted(law, later[k][mine], side="right")
                    lived[n] = mine[at[mine] <= each[mine]]
                due = np.concatenate(lived)
                if not len(due):
                    break
                month = month_of[np.where(at[due] > 0, before[due] + at[due] - 1, len(month_of) - 1)]
                total[due * months + month] += float(piece.price)
                k += 1
        return total.reshape(lives, months)

    def _alike(self) -> list[GroundPiece]:
        """Each sort of piece once, at the price of all of that sort."""
        price: dict[tuple[Allowance, ...], Decimal] = {}
        for piece in self.pieces:
            price[piece.allowances] = price.get(piece.allowances, Decimal(0)) + piece.price
        return [GroundPiece(price=money, allowances=law) for law, money in price.items()]


@dataclass(frozen=True, kw_only=True)
class ByTheStroke:
    """What comes by the stroke whatever the interval: broken pieces of one sort, or stops.

    The rate a stroke is Gamma(shape, per strokes) and the same all along one life; share: strokes that count, of one
    stroke of the die (the pieces in it, each with its share). cost: of one.
    """

    key: str
    shape: float
    strokes: float
    share: float
    cost: Spread


@dataclass(frozen=True, kw_only=True)
class ByAge:
    """Pieces of one sort that wear out.

    until: float[months], how many are expected to be replaced until the end of each month. drawn(ends, lives, rng):
    int[lives, months], how many in each month of lives drawn at random; ends: strokes until then as a share of all.
    share: of these one each is a mishap, at `cost`, which may take several.
    """

    key: str
    until: Sequence[float]
    drawn: Drawn
    share: float
    cost: Spread


@dataclass(frozen=True, kw_only=True, eq=False)
class Path:
    """One element, or all together, month by month. expected: float[months]. lives: float[lives, months]."""

    expected: NDArray[np.float64]
    lives: NDArray[np.float64]

    def year(self, number: int) -> Band:
        """Of the n-th twelve months, from 1 on; the last may be cut short."""
        return self.of(slice(12 * (number - 1), 12 * number))

    def of(self, months: slice) -> Band:
        """Of these months together."""
        low, half, high = np.quantile(self.lives[:, months].sum(axis=1), [0.1, 0.5, 0.9])
        return Band(
            expected=from_float(float(self.expected[months].sum())),
            low=from_float(float(low)),
            half=from_float(float(half)),
            high=from_float(float(high)),
        )

    @cached_property
    def months(self) -> tuple[Band, ...]:
        quantiles = np.quantile(self.lives, [0.1, 0.5, 0.9], axis=0)
        return tuple(
            Band(
                expected=from_float(float(mean)),
                low=from_float(float(low)),
                half=from_float(float(half)),
                high=from_float(float(high)),
            )
            for mean, low, half, high in zip(self.expected, *quantiles, strict=True)
        )


def joined(paths: Sequence[Path], *, months: int, seed: int = SEED) -> Path:
    """Several dies, or elements of several, as one: what is expected adds up; their lives are joined at random, since
    no life of one die tells of that of another. paths: of as many lives each, their first months are taken; two of one
    die must have been added before. None of them: nought."""
    lives = max((len(path.lives) for path in paths), default=LIVES)
    expected, together = np.zeros(months), np.zeros((lives, months))
    rng = np.random.default_rng(seed)
    for path in paths:
        expected += path.expected[:months]
        together += path.lives[rng.permutation(lives), :months]
    return Path(expected=expected, lives=together)


@dataclass(frozen=True, kw_only=True)
class Band:
    """Money. Of single lives: 1 in 10 costs less than low, half less than half, 1 in 10 more than high.

    expected: the mean; the means of months add up to that of a year, the other three do not.
    """

    expected: Decimal
    low: Decimal
    half: Decimal
    high: Decimal


@dataclass(frozen=True, kw_only=True)
class YearsAhead:
    """strokes: float[months]. by_key: of each of KEYS; together: of all of them in each life."""

    strokes: NDArray[np.float64]
    by_key: dict[str, Path]
    together: Path

    def of_keys(self, keys: Sequence[str]) -> Path:
        """Some of the elements together, in each life."""
        some = [self.by_key[key] for key in KEYS if key in keys]
        nought = Path(expected=np.zeros_like(self.together.expected), lives=np.zeros_like(self.together.lives))
        return Path(
            expected=sum((one.expected for one in some), nought.expected),
            lives=sum((one.lives for one in some), nought.lives),
        )

    @property
    def years(self) -> int:
        return -(-len(self.strokes) // 12)


def years_ahead(
    *,
    strokes: ArrayLike,
    sets: Sequence[GroundSet],
    by_the_stroke: Sequence[ByTheStroke] = (),
    by_age: Sequence[ByAge] = (),
    yearly_rise: Decimal = Decimal(0),
    lives: int = LIVES,
    seed: int = SEED,
) -> YearsAhead:
    """Money by month. strokes: float[months], of the die in each month from now on.

    expected is exact: for each set E N(m) x money of a grind + sum over n of P(N(m) = n) x money for the pieces that n
    grinds use up; by the stroke shape / strokes x share x mean cost, for each month; the difference from one month's
    end to the next, times (1 + rise)^(m / 12) for the m-th month. What wears out by age: until(m) x share x mean cost.
    The spread comes from lives drawn at random: in each one world holds, the intervals of a set are drawn one after the
    other by inverting their laws, rates by the stroke are drawn once and the counts of each month are Poisson.
    Sets are independent within a world; a life has the same world in all its sets. Pieces: `GroundSet.spent_drawn`.
    yearly_rise: of all prices and rates, a share a year (0.03 for 3 %); 0: at today's prices.
    Limits: a piece that breaks is replaced by one ground to match, so that a break does not put off the end of a set.
    Source: renewal and compound Poisson processes, D. R. Cox, Renewal Theory, 1962 (from memory).
    Raises MoneyRefused for no month or too many, strokes that are negative or not finite, and a rise of -100 % or less.
    """
    month_strokes = _months(strokes, [*sets, *by_age], lives)
    months = len(month_strokes)
    rise = amount(yearly_rise, "the yearly rise of prices", may_be_negative=True)
    if rise <= -1:
        raise MoneyRefused(f"prices that fall by {-rise:.0%} a year leave nothing.")
    factor = (1 + float(rise)) ** (np.arange(months) / 12)
    ends = np.cumsum(month_strokes)
    rng = np.random.default_rng(seed)
    which = np.arange(lives)  # the worlds take turns, so that each is held by as many lives
    expected = {key: np.zeros(months) for key in KEYS}
    drawn = {key: np.zeros((lives, months)) for key in KEYS}
    for one in sets:
        reached = [np.asarray(chances, float) for chances in one.until]
        table = one.spent(max(len(p) for p in reached))
        grinds = np.array([np.arange(len(p)) @ p for p in reached])
        pieces = np.array([table[: len(p)] @ p for p in reached])
        expected["sharpening"] += np.diff(grinds, prepend=0.0) * float(one.grind)
        expected["spares"] += np.diff(pieces, prepend=0.0)
        if not one.grind and not one.pieces:
            continue
        counts = _grinds_by_month(one, ends, which, rng)
        drawn["sharpening"] += counts * float(one.grind)
        if one.pieces:
            drawn["spares"] += one.spent_drawn(counts, rng)
    for sort in by_the_stroke:
        rate = quantity(sort.shape, "the shape of a rate") / quantity(sort.strokes, "the strokes of a rate")
        expected[sort.key] += month_strokes * (float(rate) * sort.share * sort.cost.mean)
        drawn[sort.key] += _by_the_stroke(sort, month_strokes, lives, rng)
    for aged in by_age:
        expected[aged.key] += np.diff(np.asarray(aged.until, float), prepend=0.0) * (aged.share * aged.cost.mean)
        if ends[-1] > 0:
            mishaps = rng.binomial(aged.drawn(ends / ends[-1], lives, rng), aged.share)
            drawn[aged.key] += _costs_of(mishaps, aged.cost, rng)
    by_key = {key: Path(expected=expected[key] * factor, lives=drawn[key] * factor) for key in KEYS}
    together = Path(
        expected=np.sum([path.expected for path in by_key.values()], axis=0),
        lives=np.sum([path.lives for path in by_key.values()], axis=0),
    )
    return YearsAhead(strokes=month_strokes, by_key=by_key, together=together)


def _months(strokes: ArrayLike, told: Sequence[GroundSet | ByAge], lives: int) -> NDArray[np.float64]:
    """float[months], checked."""
    month_strokes = np.atleast_1d(np.asarray(strokes, float))
    months = len(month_strokes)
    if month_strokes.ndim != 1 or not 1 <= months <= MOST_MONTHS:
        raise MoneyRefused(f"{months} months ahead; between 1 and {MOST_MONTHS} can be told.")
    if not np.isfinite(month_strokes).all() or (month_strokes < 0).any():
        raise MoneyRefused("the strokes of a month ahead are negative or not finite.")
    if lives < 1:
        raise MoneyRefused(f"{lives} lives; at least one is needed.")
    for one in told:
        if len(one.until) != months:
            raise MoneyRefused(f"chances for {len(one.until)} months, but strokes for {months}.")
    return month_strokes


def _grinds_by_month(
    one: GroundSet, ends: NDArray[np.float64], which: NDArray[np.int_], rng: np.random.Generator
) -> NDArray[np.int_]:
    """int[lives, months]: grinds of the set in each month, in each life."""
    lives, months = len(which), len(ends)
    world = which % len(one.fresh)
    order = np.argsort(world, kind="stable")
    bounds = np.searchsorted(world[order], np.arange(len(one.fresh) + 1))
    at = np.zeros(lives)
    alive = np.arange(lives)

    def go_on() -> None:
        cut = np.searchsorted(alive, bounds)
        for law, start, stop in zip(one.fresh, cut[:-1], cut[1:], strict=True):
            at[alive[start:stop]] += law(rng.random(stop - start))

    if one.first is None:
        go_on()
    else:
        at = one.first(rng.random(lives))[order]
    counts = np.zeros(lives * months, np.int64)
    for _ in range(MOST_INTERVALS):
        alive = alive[at[alive] < ends[-1]]
        if not len(alive):
            break
        month = np.searchsorted(ends, at[alive], side="right")
        counts[alive * months + np.minimum(month, months - 1)] += 1  # each life once
        go_on()
    else:
        raise MoneyRefused("the months ahead hold more grinds than can be counted; the forecast cannot be right.")
    made = np.empty((lives, months), np.int64)
    made[order] = counts.reshape(lives, months)
    return made


def _by_the_stroke(
    sort: ByTheStroke, strokes: NDArray[np.float64], lives: int, rng: np.random.Generator
) -> NDArray[np.float64]:
    """float[lives, months]: money."""
    rate = rng.gamma(sort.shape, 1 / sort.strokes, lives)
    return _costs_of(rng.poisson(rate[:, None] * (strokes * sort.share)[None]), sort.cost, rng)


def _costs_of(counts: NDArray[np.int_], cost: Spread, rng: np.random.Generator) -> NDArray[np.float64]:
    """float[lives, months]: so many, each with a cost of its own."""
    cells = np.repeat(np.arange(counts.size), counts.ravel())
    costs = rng.choice(cost.values, size=len(cells), p=cost.chances)
    return np.bincount(cells, weights=costs, minlength=counts.size).reshape(counts.shape).astype(float, copy=False)
