"""Habits of writing things down that are not what happened to an edge. Common practice, no source.

A toolroom that pulls a die "at 60,000" writes dull as the reason; one that pulls a die because it burrs writes dull for
every piece of the set. Both tell less than they seem to: the first nothing of any life, the second that one edge of the
set was dull and not which.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from . import prior
from .cycles import DULL, SHARP, EdgeSpec, LifeSamples
from .edges import Edges

SET_AT_LEAST, SET_SHARE = 4, 0.8  # edges, and share of those at work, that are called dull at one moment
SETS_AT_LEAST, OF_ALL = 3, 2 / 3  # such moments of a die, and share of all at which anything of it was called dull


def heaped(hits: Sequence[float], *, at_least: int = 4, share: float = 0.5) -> NDArray[np.bool_]:
    """Which dull ends of one edge are a habit and not a life: the same round count again and again.

    hits: [n] hits at which an edge was called dull with nobody having said how it was found. A round count is a
    multiple of 5,000. Marked are the ends at one round count that takes at least `at_least` ends and `share` of all
    of them.
    """
    hits = np.asarray(hits, float)
    marked = np.zeros(hits.shape, np.bool_)
    if len(hits) < at_least:
        return marked
    round_counts = hits[(hits % 5000 == 0) & (hits > 0)]
    for value, count in zip(*np.unique(round_counts, return_counts=True), strict=True):
        if count >= at_least and count >= share * len(hits):
            marked |= hits == value
    return marked


def planned(samples: LifeSamples) -> LifeSamples:
    """Dull ends heaped at round counts, with nobody having looked, count as planned: still sharp as far as is known."""
    ended = samples.ended.copy()
    told = np.flatnonzero((ended == DULL) & ~samples.sure)
    for number in np.unique(samples.edge[told]):
        mine = told[samples.edge[told] == number]
        ended[mine[heaped(samples.hits[mine])]] = SHARP
    return _with(samples, ended)


def one_for_the_set(
    edges: Sequence[EdgeSpec] | Edges, samples: LifeSamples, moment: NDArray[np.float64]
) -> tuple[LifeSamples, NDArray[np.int64]]:
    """Where whole sets are called dull, again and again and with nobody having looked at each piece, one edge stands
    for the set: the one that the wear model expects to go first. The others were sharp as far as is known.

    moment: float[n] when each cycle ended. Returns the samples and int[dies] how many sets of each die were taken so.
    On simulated shops that wrote so the mean error in the chance of finishing an order was 0.06, and 0.18 with every
    edge taken as dull; which edge goes first cannot be told from such records.
    """
    edges = Edges.of(edges)
    dies = int(edges.die.max(initial=-1)) + 1
    sets = np.zeros(dies, np.int64)
    ended = samples.ended.copy()
    dull = np.flatnonzero(samples.ended == DULL)
    if not len(dull):
        return samples, sets
    at_work = np.bincount(edges.die[np.unique(samples.edge[samples.under_way])], minlength=dies)
    die = edges.die[samples.edge[dull]]
    order = np.lexsort((moment[dull], die))
    dull, die = dull[order], die[order]
    new = np.ones(len(dull), bool)
    new[1:] = (die[1:] != die[:-1]) | (np.diff(moment[dull]) != 0)
    bounds = np.append(np.flatnonzero(new), len(dull))
    die = die[bounds[:-1]]
    unseen = np.add.reduceat((~samples.sure[dull]).astype(np.int64), bounds[:-1])
    whole = (unseen == np.diff(bounds)) & (unseen >= np.maximum(SET_AT_LEAST, SET_SHARE * at_work[die]))
    habit = np.bincount(die, whole, dies)
    habit = (habit >= SETS_AT_LEAST) & (habit >= OF_ALL * np.bincount(die, minlength=dies))
    taken = np.flatnonzero(whole & habit[die])
    if not len(taken):
        return samples, sets
    expected = prior.design(edges) @ prior.MEAN - np.log(edges.stroke_share)
    told = np.bincount(samples.edge[samples.ended == DULL], minlength=len(edges))
    for i in taken:
        rows = dull[bounds[i] : bounds[i + 1]]
        edge = samples.edge[rows]
        stands = rows[np.lexsort((edge, -told[edge], np.round(expected[edge], 9)))[0]]
        ended[rows[rows != stands]] = SHARP
    return _with(samples, ended), np.bincount(die[taken], minlength=dies)


def _with(samples: LifeSamples, ended: NDArray[np.int8]) -> LifeSamples:
    sharp = (samples.ended == DULL) & (ended == SHARP)
    return LifeSamples(
        **{**vars(samples), "ended": ended, "lower_hits": np.where(sharp, samples.hits, samples.lower_hits)}
    )
