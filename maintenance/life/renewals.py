"""Works in between: what a touch with the stone, or a new coat, gives back of an edge, and how that is learnt.

An edge that has worn like one of v hits goes on, after such a work, like one of (1 - r) v: with x hits more it is still
sharp with the chance S((1 - r) v + x) / S((1 - r) v), as if its record had begun at that age. r is the share renewed: 0
where the work gave nothing back, 1 where the edge is fresh. One r for each sort of work (M. Kijima, Some results for
repairable systems with general repair, J. Appl. Prob. 26 (1989) 89-102, his second model; from memory).

r has a beta prior, from memory and wide: nobody has written down what a stone gives back. It is learnt from all that
ran on after such works, at nodes of r: the likelihood of the dies that have any, with what each die and edge has of its
own integrated out at the fleet's theta. The lots are left out there. What is taken is the mean.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import scipy
from numpy.typing import NDArray

from . import prior
from .cells import Cells
from .cycles import LifeSamples
from .edges import Edges
from .grids import Grids, Theta, travel
from .readings import Readings

Array = NDArray[np.float64]

SORTS = ("dressed in the press", "recoated")
PRIOR = ((1.3, 3.0), (1.0, 4.0))  # of a beta: means 0.30 and 0.20, sd 0.20 and 0.16; from memory
NODES = np.array([0.01, 0.08, 0.18, 0.3, 0.42, 0.55, 0.7, 0.85, 0.99])
FINE = (np.arange(200) + 0.5) / 200


@dataclass(frozen=True, kw_only=True)
class Renewal:
    """share, sd: of an edge's wear that works of one sort give back. seen: such works that hits ran on after."""

    sort: int
    share: float
    sd: float
    seen: int


def shares_of(renewals: Sequence[Renewal]) -> Array:
    """[sorts] of what was learnt, and of memory where nothing was."""
    shares = np.array([a / (a + b) for a, b in PRIOR])
    for one in renewals:
        shares[one.sort] = one.share
    return shares


def offsets(samples: LifeSamples, shares: Array) -> Array:
    """By how many hits each cycle's edge is older than it wears, nought or less, [cycles]."""
    off = np.zeros(len(samples))
    if samples.touched is None:
        return off
    touched = samples.touched
    count = np.diff(touched.first)
    for turn in range(int(count.max(initial=0))):
        rows = np.flatnonzero(count > turn)
        at = touched.first[rows] + turn
        off[rows] -= shares[touched.lot[at]] * (touched.hits[at] + off[rows])
    return off


def aged(samples: LifeSamples, readings: Readings | None, shares: Array) -> tuple[LifeSamples, Readings | None]:
    """The same with each cycle's hits counted as its edge wears: what such works gave back is taken off."""
    if samples.touched is None or not len(samples.touched.lot):
        return samples, readings
    off = offsets(samples, shares)
    begun = np.maximum(samples.from_hits + off, 0.0)
    lower = np.maximum(samples.lower_hits + off, begun)
    hits = np.maximum(samples.hits + off, lower)
    if readings is not None:
        readings = replace(readings, hits=np.maximum(readings.hits + off[readings.row], 1.0))
    return replace(samples, from_hits=begun, lower_hits=lower, hits=hits, touched=None), readings


def seen(samples: LifeSamples) -> NDArray[np.int64]:
    """How many works of each sort hits ran on after, [sorts]."""
    if samples.touched is None:
        return np.zeros(len(SORTS), np.int64)
    touched = samples.touched
    told = np.flatnonzero((np.diff(touched.first) > 0) & (samples.hits > samples.from_hits))
    return np.bincount(touched.lot[touched.first[told + 1] - 1], minlength=len(SORTS))  # each row tells of its last


def learn(edges: Edges, samples: LifeSamples, theta: Theta, shares: Array) -> tuple[Renewal, ...]:
    """What each sort gives back, the others held at `shares`; edges: die by die, numbered from 0."""
    counts, learnt = seen(samples), []
    if samples.touched is None:
        return ()
    of_edge = np.zeros(len(edges), bool)
    for sort in np.flatnonzero(counts):
        has = np.unique(samples.touched.row[samples.touched.lot == sort])
        of_edge[:] = np.isin(edges.die, edges.die[samples.edge[has]])
        number = np.cumsum(of_edge) - 1
        part = samples.pick(of_edge[samples.edge])
        part = replace(part, edge=number[part.edge])
        ln = _ln_likelihood(edges.pick(np.flatnonzero(of_edge)), part, theta, shares, int(sort))
        a, b = PRIOR[sort]
        fine = scipy.interpolate.CubicSpline(NODES, ln)(FINE) + (a - 1) * np.log(FINE) + (b - 1) * np.log1p(-FINE)
        p = np.exp(fine - fine.max())
        p /= p.sum()
        share = float(p @ FINE)
        sd = float(np.sqrt(p @ (FINE - share) ** 2))
        learnt.append(Renewal(sort=int(sort), share=share, sd=sd, seen=int(counts[sort])))
    return tuple(learnt)


def _ln_likelihood(edges: Edges, samples: LifeSamples, theta: Theta, shares: Array, sort: int) -> Array:
    """ln of the likelihood of the dies' records at NODES of one share."""
    mu = prior.design(edges) @ theta.b
    die = np.unique(edges.die, return_inverse=True)[1].reshape(-1)
    n_dies = int(die.max()) + 1
    grids, values = Grids.at_prior(mu, theta, n_dies), []
    for i, share in enumerate(NODES):
        some = shares.copy()
        some[sort] = share
        cells = Cells.of(aged(samples, None, some)[0], die, lots=False)

        def table(nodes: Array, which: NDArray[np.int64] | None, cells: Cells = cells) -> Array:
            return cells.table(nodes, theta.k, edges=which)

        values.append(travel(grids, table, mu, die, theta, aimed=i > 0).ll.sum())
    return np.array(values)
