"""Which edges to grind while the die is apart.

An edge that is left goes on with the hits it has until the next teardown, some 0.7 T* ahead. What grinding it now saves
is the risk that it brings that teardown itself, Delta F; what it costs is that its own life is begun anew too early,
gamma I, with
    Delta = delta + C0 / 2,
    gamma = min over x of (c + Delta F°(x)) / I°(x),   F° = integral of -dS° G°, I° = integral of S° G°, of a fresh edge
                                                        by itself, G° the chance that it did not chip,
    F = integral of -dS G,   I = integral of S G   to 0.7 T* from how it is now, G that no edge of the die chipped.
Grind it if it is bad, or if worth = Delta F - gamma I is above nought: that is what grinding it now is worth against
leaving it. Leaving G out was 8 to 28 % dearer on simulated shops. The horizon was chosen by trial.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import scipy
from numpy.typing import NDArray

from .costs import Costs
from .lives import Lives, Mask
from .replacement import STEPS, DieInterval

Array = NDArray[np.float64]
HORIZON = 0.7  # of T*
TORN_SHARE = 0.5  # of a teardown, in what a dull edge costs
HORIZON_STEPS = 60


@dataclass(frozen=True, kw_only=True)
class GrindChoice:
    """grind: [edges] which to grind. bad: [edges] which are, whatever it costs. worth: [edges] what grinding it now is
    worth against leaving it to the next teardown. risk: [edges] chance that it would bring that teardown. hits: the
    horizon. kept: [edges] hits it is expected to run on there if left. own_rate: [edges] gamma, what it costs a hit."""

    grind: Mask
    bad: Mask
    worth: Array
    risk: Array
    kept: Array
    own_rate: Array
    hits: float


def own_rates(fresh: Lives, costs: Costs) -> Array:
    """[edges] gamma of each edge by itself."""
    delta = costs.dull + TORN_SHARE * costs.teardown
    far = np.array([fresh.pick(e).far() for e in range(fresh.count)])
    share = np.linspace(0.0, 1.0, STEPS // 2 + 1)
    rates = np.empty(fresh.count)
    for e, end in enumerate(far):
        rate = costs.chip_rate[e]
        x = share * (min(end, 12.0 / rate) if rate > 0 else end)
        s, g = np.exp(-fresh.pick(e).die(x)), np.exp(-rate * x)
        dull = np.cumsum((s[:-1] - s[1:]) * (g[:-1] + g[1:]) / 2)
        run = scipy.integrate.cumulative_simpson(s * g, x=x)
        rates[e] = ((costs.grind[e] + delta * dull) / run).min()
    return rates


def worth_grinding(
    now: Lives,
    fresh: Lives,
    costs: Costs,
    usual: DieInterval,
    *,
    bad: Mask | None = None,
    rates: Array | None = None,
) -> GrindChoice:
    """usual: of the die, replacement.of_die. bad: [edges] known to be dull, chipped or cracked. rates: `own_rates`,
    where they are at hand from before."""
    delta = costs.dull + TORN_SHARE * costs.teardown
    gamma = own_rates(fresh, costs) if rates is None else rates
    horizon = HORIZON * usual.reach
    x = np.linspace(0.0, horizon, HORIZON_STEPS + 1)
    s, g = np.exp(-now.edges(x)), np.exp(-costs.chips_a_hit * x)
    risk = ((s[:, :-1] - s[:, 1:]) * (g[:-1] + g[1:]) / 2).sum(axis=1)
    kept = scipy.integrate.simpson(s * g, x=x, axis=1)
    worth = delta * risk - gamma * kept
    known = np.zeros(now.count, bool) if bad is None else np.asarray(bad, bool)
    worth = np.where(known, np.maximum(worth, delta), worth)
    return GrindChoice(
        grind=known | (worth > 0), bad=known, worth=worth, risk=risk, kept=kept, own_rate=gamma, hits=horizon
    )
