"""What to measure next: the reading that may turn a decision, where it turns it, and what that is worth.

A reading of burr or wear says ln T ~ N(y, s^2) of the whole life T of the edge's interval, s how much it leaves open
(life/readings.py). Before it is taken, y is unknown itself: 17 nodes over three sd about the middle of what the
forecast says of ln T, each with its chance. After a reading y the edge lasts x more with
    S(x | y) = integral over T > h + x of f(T) N(y; ln T, s^2), over the same at x = 0,
f the density of T given that it is sharp at h hits. Then D_y(x) = D(x) S(x | y) / S(x), and with A_y the advantage of
running on (orders.py) or V_y the worth of grinding the edge (sets.py):
    worth at an order's start = min(mean of A_y, 0) - mean of min(A_y, 0),
    worth while apart         = mean of max(V_y, 0) - max(mean of V_y, 0).
Where A or V crosses nought is the critical reading. Both are never below nought, and nought where every reading would
lead to the same. They are optimistic as far as burr does not follow wear.

A reading is worth taking where this is above what its minutes cost. Most is won while the die is apart.
H. Raiffa, R. Schlaifer, Applied Statistical Decision Theory, Harvard 1961, ch. 4 (expected value of sample
information; from memory).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import scipy
from numpy.typing import ArrayLike, NDArray

from .costs import Costs
from .lives import Lives
from .orders import along, looks
from .replacement import DieInterval
from .sets import HORIZON, HORIZON_STEPS, TORN_SHARE, own_rates

Array = NDArray[np.float64]
NODES = 17
REACH = 3.0
LIFE_STEPS = 240


@dataclass(frozen=True, kw_only=True)
class ReadingWorth:
    """worth: in money. ln_life: [nodes] what readings may say of ln of the edge's whole life; chance: [nodes] how
    likely each is; value: [nodes] A_y or V_y there. critical_ln_life: where it crosses nought, if it does."""

    worth: float
    ln_life: Array
    chance: Array
    value: Array
    critical_ln_life: float | None

    @property
    def turns(self) -> bool:
        return self.critical_ln_life is not None


@dataclass(frozen=True)
class Learnt:
    """What readings of one edge may say. ln_life, chance: [nodes]. more: [steps] further hits, rising. left: [nodes,
    steps] chance to last at least so many."""

    ln_life: Array
    chance: Array
    more: Array
    left: Array

    @classmethod
    def of(cls, lives: Lives, edge: int, on_it_hits: float, reading_sd: float) -> Learnt:
        """on_it_hits: h. reading_sd: s, of ln T. Raises ValueError for a spread that is not above nought."""
        if not reading_sd > 0:
            raise ValueError(f"a reading that leaves {reading_sd:g} open; no reading is exact.")
        own = lives.pick(edge)
        far = own.far()
        more = np.r_[0.0, np.geomspace(max(far * 1e-4, 1e-6), far, LIFE_STEPS)]
        s = np.exp(-own.die(more))
        p = np.r_[s[:-1] - s[1:], s[-1]]
        p = np.maximum(p, 0.0) / p.sum()
        middle = np.r_[(more[:-1] + more[1:]) / 2, more[-1]]
        ln_t = np.log(np.maximum(on_it_hits + middle, 1.0))
        mean = float(p @ ln_t)
        sd = float(np.sqrt(p @ (ln_t - mean) ** 2 + reading_sd**2))
        y = mean + sd * np.linspace(-REACH, REACH, NODES)
        like = np.exp(-0.5 * ((y[:, None] - ln_t) / reading_sd) ** 2)
        joint = like * p
        chance = joint.sum(axis=1)
        gone = np.cumsum(joint, axis=1) / chance[:, None]
        left = np.c_[np.ones(NODES), np.maximum(1 - gone[:, :-1], 0.0)]
        return cls(y, chance / chance.sum(), more, left)

    def sharp(self, x: Array) -> Array:
        """S(x | y), [nodes, n]."""
        return np.array([np.interp(x, self.more, row) for row in self.left])

    @property
    def before(self) -> Array:
        """The mean over readings, as a row of `left`: the forecast again, but for the ends of the nodes."""
        return self.chance @ self.left


def _told(learnt: Learnt, value: Array, *, worth: float) -> ReadingWorth:
    crossing = np.flatnonzero(np.diff(np.sign(value)) != 0)
    critical = None
    if len(crossing):
        i = int(crossing[np.argmax(np.minimum(learnt.chance[crossing], learnt.chance[crossing + 1]))])
        rise = value[i + 1] - value[i]
        part = -value[i] / rise if rise else 0.5
        critical = float(learnt.ln_life[i] + part * (learnt.ln_life[i + 1] - learnt.ln_life[i]))
    return ReadingWorth(
        worth=max(worth, 0.0),
        ln_life=learnt.ln_life,
        chance=learnt.chance,
        value=value,
        critical_ln_life=critical,
    )


def at_start(
    now: Lives, costs: Costs, usual: DieInterval, order_hits: float, *, edge: int, on_it_hits: float, reading_sd: float
) -> ReadingWorth:
    """Of a reading on an edge before an order: run on, or sharpen first. usual: of the die. value: A_y."""
    at, learnt = looks(order_hits, costs.look_hits), Learnt.of(now, edge, on_it_hits, reading_sd)
    before = np.log(np.maximum(learnt.before, 1e-20))
    value = np.empty(NODES)
    for i, row in enumerate(learnt.left):
        extra = before - np.log(np.maximum(row, 1e-20))
        path = along(_AfterReading(now, learnt.more, extra), costs, at)
        a = path.advantage(usual.rate)
        a[1:-1] += path.reached[1:-1] * costs.pull
        value[i] = a[1:].min()
    mean = float(learnt.chance @ value)
    return _told(learnt, value, worth=min(mean, 0.0) - float(learnt.chance @ np.minimum(value, 0.0)))


@dataclass(frozen=True)
class _AfterReading:
    """A die of which one edge was read. more: [steps] hits; extra: [steps] H(x | y) - H(x) of that edge."""

    lives: Lives
    more: Array
    extra: Array

    def die(self, x: ArrayLike) -> Array:
        at = np.asarray(x, float)
        hazard = self.lives.die(at) + np.interp(at, self.more, self.extra)
        return np.maximum.accumulate(np.maximum(hazard, 0.0))


def while_apart(
    now: Lives,
    fresh: Lives,
    costs: Costs,
    usual: DieInterval,
    *,
    edge: int,
    on_it_hits: float,
    reading_sd: float,
    rates: Array | None = None,
) -> ReadingWorth:
    """Of a reading on an edge while the die is apart: grind it, or leave it. value: V_y. rates: `sets.own_rates`."""
    learnt = Learnt.of(now, edge, on_it_hits, reading_sd)
    gamma = (own_rates(fresh, costs) if rates is None else rates)[edge]
    x = np.linspace(0.0, HORIZON * usual.reach, HORIZON_STEPS + 1)
    s, g = learnt.sharp(x), np.exp(-costs.chips_a_hit * x)
    risk = ((s[:, :-1] - s[:, 1:]) * (g[:-1] + g[1:]) / 2).sum(axis=1)
    kept = scipy.integrate.simpson(s * g, x=x, axis=1)
    value = (costs.dull + TORN_SHARE * costs.teardown) * risk - gamma * kept
    mean = float(learnt.chance @ value)
    return _told(learnt, value, worth=float(learnt.chance @ np.maximum(value, 0.0)) - max(mean, 0.0))


def reading_at(critical_ln_life: float, on_it_hits: float, value_at_share: Callable[[float], float]) -> float:
    """The critical value as it is read: at h hits on an edge whose life is T the reading is usually that of the share
    h / T. value_at_share: of a share of the life, in the unit read. Raises ValueError on an edge that has not run."""
    if not on_it_hits > 0:
        raise ValueError("on an edge that has not run there is nothing to read.")
    return value_at_share(float(on_it_hits / np.exp(critical_ln_life)))
