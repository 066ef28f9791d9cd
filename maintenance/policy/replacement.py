"""When to change what wears before it fails: single parts by the classic policies, and a die of many edges.

With S the chance to last, F = 1 - S, h the hazard, H its integral, c_p a planned change and c_f one after a failure:
- by age T:     C(T) = (c_p S(T) + c_f F(T)) / integral of S to T; at the optimum (c_f - c_p) h(T) = C(T);
- by block T:   C(T) = (c_p + c_f M(T)) / T, M the expected failures from new; at the optimum T M' - M = c_p / c_f;
- periodic T with minimal repair at c_m: C(T) = (c_p + c_m H(T)) / T; at the optimum T h - H = c_p / c_m;
- run to failure: c_f / mean life. It is best where h does not rise, and where c_p >= c_f.

R. E. Barlow, F. Proschan, Mathematical Theory of Reliability, Wiley 1965, ch. 3 and 4; R. E. Barlow, L. C. Hunter,
Optimum preventive maintenance policies, Oper. Res. 8 (1960) 90-100. M by the Riemann-Stieltjes sums of M. Xie, Comm.
Statist. Simula. 18 (1989) 281-293. All from memory; the figures that they are held against stand in the tests.

A die of n edges, all ground together from new, chips at n lambda a hit: D(x) the chance that no edge is dull, G(x) =
exp(-n lambda x) that none chipped,
    F(x) = integral of -dD G,   I(x) = integral of D G + F(x) half a look,
    g = min over x of (C0 + sum of c_e + delta F(x)) / I(x),   T* where it is reached.
What chips cost by themselves is paid a hit whatever is decided and is left out of g.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Protocol

import numpy as np
import scipy
from numpy.typing import ArrayLike, NDArray

from .costs import Costs
from .lives import Lives

Array = NDArray[np.float64]
STEPS = 600
FLAT = 1e-9


class PolicyRefused(ValueError):
    """Costs or lives from which no policy follows; the message says why."""


class Life(Protocol):
    """How long a part lasts. rises: whether its hazard does."""

    @property
    def rises(self) -> bool: ...
    @property
    def mean(self) -> float: ...
    @property
    def longest(self) -> float: ...
    def sharp(self, h: ArrayLike) -> Array: ...
    def hazard(self, h: ArrayLike) -> Array: ...
    def cumulated(self, h: ArrayLike) -> Array: ...
    def mean_to(self, h: ArrayLike) -> Array: ...


@dataclass(frozen=True)
class Weibull:
    """S(h) = exp(-(h / scale)^shape)."""

    shape: float
    scale: float

    def __post_init__(self) -> None:
        if not (self.shape > 0 and self.scale > 0):
            raise PolicyRefused(f"a shape of {self.shape:g} and a scale of {self.scale:g}; both are above nought.")

    @property
    def rises(self) -> bool:
        return self.shape > 1

    @property
    def longest(self) -> float:
        return float(self.scale * 700 ** (1 / self.shape))

    @property
    def mean(self) -> float:
        return float(self.scale * scipy.special.gamma(1 + 1 / self.shape))

    def cumulated(self, h: ArrayLike) -> Array:
        return np.asarray((np.asarray(h, float) / self.scale) ** self.shape)

    def sharp(self, h: ArrayLike) -> Array:
        return np.exp(-self.cumulated(h))

    def hazard(self, h: ArrayLike) -> Array:
        return np.asarray(self.shape / self.scale * (np.asarray(h, float) / self.scale) ** (self.shape - 1))

    def mean_to(self, h: ArrayLike) -> Array:
        """Integral of S to h: (scale / shape) gamma(1/shape, (h / scale)^shape)."""
        return np.asarray(self.mean * scipy.special.gammainc(1 / self.shape, self.cumulated(h)))

    def mean_left(self, h: float) -> float:
        """What one that has run h hits lasts on, on average."""
        upper = scipy.special.gammaincc(1 / self.shape, self.cumulated(h)) * self.mean
        return float(upper * np.exp(self.cumulated(h)))

    def chance_to_fail(self, h: float, more: float) -> float:
        """That one that has run h fails within `more`."""
        return float(-np.expm1(self.cumulated(h) - self.cumulated(h + more)))


@dataclass(frozen=True)
class Even:
    """Lives spread evenly from nought to `most`."""

    most: float

    rises = True

    @property
    def longest(self) -> float:
        return self.most

    @property
    def mean(self) -> float:
        return self.most / 2

    def sharp(self, h: ArrayLike) -> Array:
        return np.clip(1 - np.asarray(h, float) / self.most, 0.0, 1.0)

    def hazard(self, h: ArrayLike) -> Array:
        return 1 / np.maximum(self.most - np.asarray(h, float), 1e-300)

    def cumulated(self, h: ArrayLike) -> Array:
        return -np.log(np.maximum(self.sharp(h), 1e-300))

    def mean_to(self, h: ArrayLike) -> Array:
        x = np.minimum(np.asarray(h, float), self.most)
        return x - x**2 / (2 * self.most)


@dataclass(frozen=True, kw_only=True)
class Policy:
    """hits: when to change; infinite where a planned change never pays. rate: cost a hit in the long run. mean_hits:
    from one change to the next. failed: share of changes that come after a failure (block, minimal repair: expected
    failures from one change to the next)."""

    hits: float
    rate: float
    mean_hits: float
    failed: float

    @property
    def planned(self) -> bool:
        return bool(np.isfinite(self.hits))


def _checked(planned: float, failed: float) -> None:
    if not (np.isfinite(planned) and np.isfinite(failed) and planned > 0 and failed > 0):
        raise PolicyRefused(f"a planned change at {planned:g} and a failure at {failed:g}; both cost something.")


def run_to_failure(life: Life, *, failure: float) -> Policy:
    """failure: c_f."""
    _checked(failure, failure)
    return Policy(hits=np.inf, rate=failure / life.mean, mean_hits=life.mean, failed=1.0)


def age_rate(life: Life, hits: ArrayLike, *, planned: float, failure: float) -> Array:
    """C(T) at the ages `hits` [n], changing at that age or at a failure, whichever is first."""
    _checked(planned, failure)
    sharp = life.sharp(hits)
    return np.asarray((planned * sharp + failure * (1 - sharp)) / life.mean_to(hits))


def by_age(life: Life, *, planned: float, failure: float) -> Policy:
    """The age at which changing costs least. Run to failure where no hazard rises or a failure is no dearer."""
    _checked(planned, failure)
    wanted = planned / (failure - planned) if failure > planned else np.inf

    def excess(t: float) -> float:
        return float(life.hazard(t) * life.mean_to(t) + life.sharp(t) - 1 - wanted)

    end = life.longest * (1 - 1e-12)
    if not life.rises or failure <= planned or excess(end) < 0:
        return run_to_failure(life, failure=failure)
    hits = float(scipy.optimize.brentq(excess, 1e-9 * life.mean, end, xtol=1e-12 * life.mean, rtol=1e-14))
    return Policy(
        hits=hits,
        rate=float(age_rate(life, hits, planned=planned, failure=failure)),
        mean_hits=float(life.mean_to(hits)),
        failed=float(1 - life.sharp(hits)),
    )


class Renewed(Protocol):
    """Expected failures from new, each put right by a new part."""

    def count(self, h: ArrayLike) -> Array: ...
    def rate(self, h: ArrayLike) -> Array: ...


@dataclass(frozen=True)
class RenewalTable:
    """count at even steps of hits from nought."""

    hits: Array
    counts: Array

    @classmethod
    def of(cls, life: Life, until: float, *, steps: int = 1000) -> RenewalTable:
        """M(t) = F(t) + integral of F(t - s) dM(s), at mid-points of the steps; the error falls with their square."""
        t = np.linspace(0.0, until, steps + 1)
        at, mid = 1 - life.sharp(t), 1 - life.sharp(t[:-1] + (t[1] - t[0]) / 2)
        m, step = np.zeros(steps + 1), np.zeros(steps + 1)
        for i in range(1, steps + 1):
            known = at[i] + (mid[i - 1 : 0 : -1] * step[1:i]).sum() - mid[0] * m[i - 1]
            m[i] = known / (1 - mid[0])
            step[i] = m[i] - m[i - 1]
        return cls(t, m)

    def count(self, h: ArrayLike) -> Array:
        return np.asarray(scipy.interpolate.CubicSpline(self.hits, self.counts)(h))

    def rate(self, h: ArrayLike) -> Array:
        return np.asarray(scipy.interpolate.CubicSpline(self.hits, self.counts)(h, 1))


def by_block(renewed: Renewed, until: float, *, planned: float, failure: float) -> Policy:
    """All at once every T hits, failures replaced as they come. renewed: M and its rate, known up to `until`.

    Infinite hits where no T up to there is the cheapest: M may rise and fall before it settles, and the first T that
    is cheaper than all before it and after it within `until` is taken.
    """
    _checked(planned, failure)
    t = np.linspace(until / 2000, until, 2000)
    rates = (planned + failure * renewed.count(t)) / t
    best = int(rates.argmin())
    if best == len(t) - 1:
        late = failure * float(renewed.count(until)) / until
        return Policy(hits=np.inf, rate=late, mean_hits=np.inf, failed=np.inf)

    def excess(x: float) -> float:
        return float(x * renewed.rate(x) - renewed.count(x) - planned / failure)

    low, high = t[max(best - 1, 0)], t[best + 1]
    crossing = excess(low) < 0 < excess(high)
    hits = float(scipy.optimize.brentq(excess, low, high, rtol=1e-14)) if crossing else float(t[best])
    count = float(renewed.count(hits))
    return Policy(hits=hits, rate=(planned + failure * count) / hits, mean_hits=hits, failed=count)


def with_minimal_repair(life: Life, *, planned: float, repair: float) -> Policy:
    """Overhaul every T; failures between are put right so that the part is as it was just before, at `repair` each."""
    _checked(planned, repair)

    def excess(t: float) -> float:
        return float(t * life.hazard(t) - life.cumulated(t) - planned / repair)

    end = life.longest * (1 - 1e-12)
    if not life.rises or excess(end) < 0:
        return Policy(hits=np.inf, rate=float(repair * life.cumulated(end) / end), mean_hits=np.inf, failed=np.inf)
    hits = float(scipy.optimize.brentq(excess, 1e-9 * life.mean, end, xtol=1e-12 * life.mean, rtol=1e-14))
    failed = float(life.cumulated(hits))
    return Policy(hits=hits, rate=(planned + repair * failed) / hits, mean_hits=hits, failed=failed)


@dataclass(frozen=True, kw_only=True)
class DieInterval:
    """hits: T*, infinite where the die is best run until something is dull. rate: g, cost a hit, chips' own left out.
    mean_hits: I there. dull: F there, chance that the interval ends with a dull edge. chipped: with a chip. at, rates:
    [n] the cost a hit at every interval, at even steps of hits."""

    hits: float
    rate: float
    mean_hits: float
    dull: float
    chipped: float
    at: Array
    rates: Array

    @property
    def planned(self) -> bool:
        return bool(np.isfinite(self.hits))

    @property
    def reach(self) -> float:
        """T*, or the end of the curve where there is none."""
        return self.hits if self.planned else float(self.at[-1])

    def rate_at(self, hits: float) -> float:
        """Cost a hit where the set is ground every so many hits, or when something is dull or chipped before."""
        if not hits > 0:
            raise PolicyRefused(f"an interval of {hits:g} hits; it must be more than nought.")
        return float(np.interp(hits, self.at, self.rates))


@dataclass(frozen=True)
class Sums:
    """F, I and the chance of a chip of an interval, at `at` [n]."""

    at: Array
    dull: Array
    hits: Array
    chipped: Array


def sums(lives: Lives, chips_a_hit: float, look_hits: float, *, steps: int = STEPS) -> Sums:
    """F(x) and I(x) from the state of `lives`, at even steps up to where something has surely happened.

    By Simpson's rule; with fewer steps than usual by straight lines, which is quicker and a thousandth off.
    """
    end = lives.far()
    if chips_a_hit > 0:
        end = min(end, 12.0 / chips_a_hit)
    x = np.linspace(0.0, end, steps + 1)
    d, g = np.exp(-lives.die(x)), np.exp(-chips_a_hit * x)
    dull = np.concatenate((np.zeros(1), np.cumsum((d[:-1] - d[1:]) * (g[:-1] + g[1:]) / 2)))
    both = d * g
    if steps < STEPS:
        run = np.concatenate((np.zeros(1), np.cumsum((both[:-1] + both[1:]) / 2 * x[1])))
    else:
        run = scipy.integrate.cumulative_simpson(both, x=x, initial=0.0)
    return Sums(x, dull, run + dull * look_hits / 2, 1 - both - dull)


def of_die(fresh: Lives, costs: Costs, *, order_looks: float | None = None) -> DieInterval:
    """T* and g of a die whose edges are all ground together. fresh: its lives just after. order_looks: looks of its
    usual order: a dull edge found at any but the last breaks the order off; None: delta alone."""
    return interval(sums(fresh, costs.chips_a_hit, costs.look_hits), costs, order_looks=order_looks)


def interval(s: Sums, costs: Costs, *, order_looks: float | None = None) -> DieInterval:
    """The same where F and I are at hand."""
    delta = costs.dull if order_looks is None else costs.usual_dull(order_looks)
    with np.errstate(divide="ignore", invalid="ignore"):
        rates = np.where(s.hits > 0, (costs.set + delta * s.dull) / s.hits, np.inf)
    hits, rate = _least(s.at, rates)
    at = hits if np.isfinite(hits) else float(s.at[-1])
    return DieInterval(
        hits=hits,
        rate=rate,
        mean_hits=float(np.interp(at, s.at, s.hits)),
        dull=float(np.interp(at, s.at, s.dull)),
        chipped=float(np.interp(at, s.at, s.chipped)),
        at=s.at,
        rates=rates,
    )


def least_rate(s: Sums, costs: Costs, order_looks: float) -> float:
    """g alone, as near as the steps are close: for sums that are asked at many costs."""
    return float(((costs.set + costs.usual_dull(order_looks) * s.dull[1:]) / s.hits[1:]).min())


def _least(x: Array, rates: Array) -> tuple[float, float]:
    """Where a curve of cost a hit is least, and how much it is there; infinite where it only falls."""
    best = int(rates.argmin())
    if rates[-1] <= rates[best] * (1 + FLAT):
        return np.inf, float(rates[-1])
    i = slice(max(best - 4, 1), best + 5)
    fine = scipy.interpolate.CubicSpline(x[i], rates[i])
    roots = [r for r in fine.derivative().roots(extrapolate=False) if x[max(best - 1, 1)] <= r <= x[best + 1]]
    hits = float(roots[0]) if roots else float(x[best])
    return hits, float(fine(hits))


def of_parts(sharp: Callable[[Array], Array], until: float, *, planned: float, failure: float) -> Policy:
    """By age, for a part of which only the curve is known. sharp: chance to last at least so many hits, from 1 down,
    told up to `until`; beyond it the part is changed anyway."""
    _checked(planned, failure)
    x = np.linspace(0.0, until, STEPS + 1)
    s = np.asarray(sharp(x), float)
    if not np.isfinite(s).all() or abs(s[0] - 1) > 1e-6 or (np.diff(s) > 1e-9).any():
        raise PolicyRefused("a chance to last begins at 1 and never rises.")
    run = scipy.integrate.cumulative_simpson(s, x=x, initial=0.0)
    rates = np.r_[np.inf, (planned * s[1:] + failure * (1 - s[1:])) / run[1:]]
    hits, rate = _least(x, rates)
    at = min(hits, until)
    return Policy(hits=hits, rate=rate, mean_hits=float(np.interp(at, x, run)), failed=float(1 - np.interp(at, x, s)))
