"""What a grind takes off, drawn and not its mean: learnt from what was taken, and how long an allowance lasts."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import scipy  # its parts are loaded when they are first named, so that a start pays for none
from numpy.typing import NDArray


class DemandRefused(ValueError):
    """A demand that cannot be; the message carries the numbers."""


# Beforehand: one grind takes a quarter more or less than the next at the same place, as well known as from ten; the
# middles of like places lie a fifth apart. Common practice, no source.
USUAL_SPREAD, SPREAD_AS_FROM = 0.25, 10.0
BETWEEN = 0.2
UNKNOWN = 0.4  # of the usual removal where none was written down
LEAST_SPREAD = 0.02
NEGLIGIBLE = 1e-12
# What nobody knows of the mean, in three values: of a normal, so that its moments are right up to the fifth.
VALUES = ((-math.sqrt(3.0), 1 / 6), (0.0, 2 / 3), (math.sqrt(3.0), 1 / 6))
LITTLE_DOUBT = 0.02  # below it the mean is taken as known
WHOLE = 1e-3  # of a grind: a rounding so small costs none


@dataclass(frozen=True, kw_only=True)
class Taken:
    """Of grinds that were measured: how many, mm off together, and their squares about the mean of their own place with
    the freedom that these have. Those of several places add up."""

    grinds: int = 0
    total_mm: float = 0.0
    within_mm2: float = 0.0
    freedom: int = 0

    @classmethod
    def of(cls, grinds: int, total_mm: float, squares_mm2: float) -> Taken:
        """Of one place: squares_mm2 is the sum of their squares. Raises DemandRefused for what cannot be."""
        if grinds < 0 or not (math.isfinite(total_mm) and total_mm >= 0 and math.isfinite(squares_mm2)):
            raise DemandRefused(f"{grinds} grinds took {total_mm:g} mm off; both must be nought or more.")
        if not grinds or not total_mm:
            return cls()
        return cls(
            grinds=grinds,
            total_mm=total_mm,
            within_mm2=max(squares_mm2 - total_mm**2 / grinds, 0.0),
            freedom=grinds - 1,
        )

    def plus(self, other: Taken) -> Taken:
        return Taken(
            grinds=self.grinds + other.grinds,
            total_mm=self.total_mm + other.total_mm,
            within_mm2=self.within_mm2 + other.within_mm2,
            freedom=self.freedom + other.freedom,
        )


@dataclass(frozen=True, kw_only=True)
class Removal:
    """mean_mm: off a face at a grind. spread: of one grind about it, doubt: of the mean itself, both sd over mean."""

    mean_mm: float
    spread: float = 0.0
    doubt: float = 0.0

    def __post_init__(self) -> None:
        if not (math.isfinite(self.mean_mm) and self.mean_mm > 0):
            raise DemandRefused(f"{self.mean_mm:g} mm come off at a grind; it must lie above nought.")
        if not (0 <= self.spread < math.inf and 0 <= self.doubt < math.inf):
            raise DemandRefused(f"a spread of {self.spread:g} and a doubt of {self.doubt:g}: nought or more.")

    @classmethod
    def learnt(cls, levels: Sequence[Taken], *, usual_mm: float) -> Removal:
        """levels: what was taken, from the whole shop to the place itself, each shrunk to the one before.

        Spread: s^2 <- (A s^2 + within / mean^2) / (A + freedom), A = 10 beforehand, of a level's own mean. Mean: of the
        first level with a grind its own; then v = t^2 + doubt^2, w = v / (v + s^2 / n), mean <- w mean of the level +
        (1 - w) mean, doubt^2 <- w s^2 / n; a level without a grind adds t^2 = 0.2^2 to the doubt. The usual removal
        stands where nothing was written down at all, with a doubt of 0.4.
        Limits: a wider level holds the grinds of the narrower, so that these count a little twice.
        Source: normal means shrunk to a common one, Gelman et al., Bayesian Data Analysis, ch. 5 (from memory).
        """
        mean, spread2, doubt2 = usual_mm, USUAL_SPREAD**2, UNKNOWN**2
        known = False
        for level in levels:
            n = level.grinds
            if not n:
                doubt2 += BETWEEN**2 if known else 0.0
                continue
            own = level.total_mm / n
            spread2 = (SPREAD_AS_FROM * spread2 + level.within_mm2 / own**2) / (SPREAD_AS_FROM + level.freedom)
            if not known:
                mean, doubt2, known = own, spread2 / n, True
                continue
            between = BETWEEN**2 + doubt2
            weight = between / (between + spread2 / n)
            mean, doubt2 = weight * own + (1 - weight) * mean, weight * spread2 / n
        return cls(mean_mm=mean, spread=max(math.sqrt(spread2), LEAST_SPREAD), doubt=math.sqrt(doubt2))


def lasting(grinds: float, *, spread: float, share: float, most: int) -> NDArray[np.float64]:
    """float[most + 1]: the chance that a piece is still in after 0, 1 ... most sharpenings of its set.

    grinds: its allowance over the mean removal. After b grinds S_b has come off; the piece goes at the first grind that
    its allowance does not hold, P(still in after b) = P(S_b <= grinds). Removals are gamma of the mean 1 and the
    relative sd `spread`, so that S_b is gamma of the shape b / spread^2; without a spread it is a hard floor. share: of
    the sharpenings of the set in which it is ground at all, b then binomial.
    """
    n = np.arange(most + 1)
    if spread == 0:
        stays = (n <= math.floor(grinds + WHOLE)).astype(float)
    else:
        stays = np.ones(most + 1)
        stays[1:] = scipy.special.gammainc(n[1:] / spread**2, max(grinds, 0.0) / spread**2)
    if share >= 1:
        return stays
    logs = scipy.special.gammaln(np.arange(1, most + 2))
    ways = logs[:, None] - logs[None, :] - logs[np.maximum(n[:, None] - n[None, :], 0)]
    b_of_n = np.exp(ways + n[None, :] * math.log(share) + (n[:, None] - n[None, :]) * math.log1p(-share))
    return np.minimum.accumulate(np.where(n[None, :] <= n[:, None], b_of_n, 0.0) @ stays)


def means_of(doubt: float) -> tuple[tuple[float, float], ...]:
    """(mean removal over the expected one, chance) of each value it may have: log-normal, of the mean 1."""
    if doubt < LITTLE_DOUBT:
        return ((1.0, 1.0),)
    sd = math.sqrt(math.log1p(doubt**2))
    return tuple((math.exp(sd * z - sd**2 / 2), weight) for z, weight in VALUES)


@lru_cache(maxsize=20_000)
def replacements(left: float, new: float, *, spread: float, share: float, most: int) -> NDArray[np.float64]:
    """float[K, most + 1]: row k - 1 the chance of at least k pieces ground out in 0, 1 ... most sharpenings of a set.

    left: grinds that the piece in it still gives on average, new: those of a new one. It goes at the sharpening that
    its allowance does not hold; the next one at the first that its own does not hold, counted from there.
    """
    goes = -np.diff(lasting(left, spread=spread, share=share, most=most), prepend=1.0)
    later = -np.diff(lasting(new, spread=spread, share=share, most=most), prepend=1.0)
    rows = []
    while (at_least := np.cumsum(goes))[-1] > NEGLIGIBLE:
        rows.append(np.minimum(at_least, 1.0))
        goes = np.convolve(goes, later)[: most + 1]
    return np.minimum.accumulate(np.array(rows), axis=0) if rows else np.zeros((0, most + 1))
