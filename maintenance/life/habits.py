"""Habits of writing things down that are not what happened to an edge. Common practice, no source.

A toolroom that pulls a die "at 60,000" writes dull as the reason; one that pulls a die because it burrs writes dull for
every piece of the set. Both tell less than they seem to: the first nothing of any life, the second that one edge of the
set was dull and not which.

But a shop that looks every 10,000 hits finds its dull edges at round counts too, and one that looks seldom finds whole
sets dull at once; both truly. So a habit is only what the looks cannot explain. An edge found dull in (lower, hits] had
its chance to go dull just there: with a Weibull life no steeper than k = 6, whatever its scale, at most
    P(lower / hits) = max over y of exp(-(y lower / hits)^k) - exp(-y^k),
which is 1 at the first look of a cycle, 0.91 at the second, 0.4 at the sixth. With b ends that would be habit, c that
went another way, q = b / (b + c) and P the geometric mean over the b, what speaks for the habit is
    b ln(q / P) + c ln((1 - q) / (1 - P)) where q > P, else nought
(of round counts: one q for the die, against the P of each edge); and of round counts, that of the looks before the ends
a smaller share were round (the same ratio, counted once a moment). Each die is judged by
its own record. How often the habits are found, and falsely, is measured in tests/life/test_habits.py.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise

import numpy as np
from numpy.typing import ArrayLike, NDArray

from . import prior
from .cycles import DULL, SHARP, EdgeSpec, LifeSamples
from .edges import Edges

SET_AT_LEAST, SET_SHARE = 4, 0.8  # edges, and share of those at work, that are called dull at one moment
SETS_AT_LEAST, OF_ALL = 3, 2 / 3  # such moments of a die, and share of all at which anything of it was called dull
ROUND = 5000  # hits: a count typed or planned is a multiple of it
STEEPEST = 6.0  # shape of a life
SURE = 3.0  # ln of the likelihood ratio from which a habit is taken for one
LOOKS_ROUND = 2.0  # looks taken for round before any is seen
Y = np.exp(np.linspace(-3.0, 3.0, 301))  # where the largest chance of an interval is looked for
RATIOS = np.linspace(0.0, 1.0, 201)


def _largest_chance() -> NDArray[np.float64]:
    ends = np.exp(-(Y**STEEPEST))
    with np.errstate(under="ignore"):
        return (np.exp(-((RATIOS[:, None] * Y) ** STEEPEST)) - ends).max(axis=1)


LARGEST_CHANCE = _largest_chance()


def unexplained(lower: NDArray[np.float64], hits: NDArray[np.float64]) -> NDArray[np.float64]:
    """-ln of the largest chance that any edge goes dull just between its last looks, (lower, hits]."""
    ratio = np.minimum(lower / np.maximum(hits, 1e-9), 0.995)  # a look never says to the hit when it was
    return -np.log(np.interp(ratio, RATIOS, LARGEST_CHANCE))


def heaped(hits: ArrayLike, *, at_least: int = 4, share: float = 0.5) -> NDArray[np.bool_]:
    """Which dull ends of one edge lie heaped: at the same round count again and again.

    hits: [n] hits at which an edge was called dull with nobody having said how it was found. A round count is a
    multiple of 5,000. Marked are the ends at one round count that takes at least `at_least` ends and `share` of all
    of them.
    """
    ends = np.asarray(hits, float)
    marked = np.zeros(ends.shape, np.bool_)
    if len(ends) < at_least:
        return marked
    round_counts = ends[_is_round(ends)]
    for value, count in zip(*np.unique(round_counts, return_counts=True), strict=True):
        if count >= at_least and count >= share * len(ends):
            marked |= ends == value
    return marked


def planned(
    edges: Sequence[EdgeSpec] | Edges, samples: LifeSamples, moment: NDArray[np.float64] | None = None
) -> tuple[LifeSamples, NDArray[np.int64]]:
    """Dull ends heaped at a round count, with nobody having looked, count as planned, in dies where looks at round
    counts cannot explain them: sharp at the look before, and no more is known (taken for sharp at the pull, what had
    gone dull just before it was lost, and the shape came out at half of the true one).

    moment: float[n] when each cycle ended. Returns the samples and int[dies] how many ends of each die were taken so.
    """
    edges = Edges.of(edges)
    dies = int(edges.die.max(initial=-1)) + 1
    taken = np.zeros(dies, np.int64)
    told = np.flatnonzero((samples.ended == DULL) & ~samples.sure)
    told = told[np.argsort(samples.edge[told], kind="stable")]
    if not len(told):
        return samples, taken
    edge, hits, lower = samples.edge[told], samples.hits[told], samples.lower_hits[told]
    marked = np.zeros(len(told), bool)
    bounds = np.flatnonzero(np.r_[True, edge[1:] != edge[:-1], True])
    for i, j in pairwise(bounds):
        marked[i:j] = heaped(hits[i:j])
    if not marked.any():
        return samples, taken
    die = edges.die[edge]
    at = edge.astype(float) if moment is None else np.asarray(moment, float)[told]
    came = _came_to(samples, len(edges), told[marked])
    ended = samples.ended.copy()
    for d in np.unique(die[marked]):
        mine = np.flatnonzero(die == d)
        counts, often = np.unique(hits[mine][marked[mine]], return_counts=True)
        habit = marked[mine] | (~np.isin(edge[mine], edge[mine][marked[mine]]) & (hits[mine] == counts[often.argmax()]))
        for_it = _by_the_lives(edge[mine], habit, unexplained(lower[mine], hits[mine]), came)
        if for_it + _rounder(hits[mine], lower[mine], at[mine]) > SURE:
            ended[told[mine[habit]]] = SHARP
            taken[d] = habit.sum()
    return _with(samples, ended, np.where(ended == samples.ended, samples.hits, samples.lower_hits)), taken


def _came_to(samples: LifeSamples, n_edges: int, heap: NDArray[np.int64]) -> NDArray[np.int64]:
    """Of each edge: cycles that came sharp to the count at which its dull ends are heaped."""
    count = np.full(n_edges, np.inf)
    np.minimum.at(count, samples.edge[heap], samples.hits[heap])
    came = (samples.ended != DULL) & (samples.hits + (~samples.under_way) > count[samples.edge])
    return np.bincount(samples.edge[came], minlength=n_edges)


def _by_the_lives(
    edge: NDArray[np.int64], habit: NDArray[np.bool_], each: NDArray[np.float64], came: NDArray[np.int64]
) -> float:
    """ln of the likelihood ratio of one share of habit in a die against what lives can do at most, edge by edge."""
    names, number = np.unique(edge, return_inverse=True)
    b = np.bincount(number, habit)
    c = np.bincount(number, ~habit) + came[names]
    ln_p = -np.bincount(number, np.where(habit, each, 0.0)) / np.maximum(b, 1)
    own = b > 0
    common = _best(b[own].sum(), c[own].sum(), 0.0)
    return common - sum(_best(*one) for one in zip(b[own], c[own], ln_p[own], strict=True))


def _best(b: float, c: float, ln_most: float) -> float:
    """Largest b ln p + c ln(1 - p) over p of at most exp(ln_most)."""
    with np.errstate(divide="ignore"):
        ln_p = min(np.log(b / (b + c)), ln_most)
        return float(b * ln_p + (c * np.log(-np.expm1(ln_p)) if c else 0.0))


def _rounder(hits: NDArray[np.float64], lower: NDArray[np.float64], moment: NDArray[np.float64]) -> float:
    """ln of the likelihood ratio that dull ends of a die are at round counts more often than its looks are."""
    seen = lower[lower > 0]
    looks = (_is_round(seen).sum() + LOOKS_ROUND) / (len(seen) + LOOKS_ROUND)
    at_round = int(_is_round(hits).sum())
    return _more_often(at_round, len(hits) - at_round, float(np.log(looks))) * min(
        len(np.unique(moment)) / len(hits), 1
    )


def _more_often(b: int, c: int, ln_p: float) -> float:
    """ln of the likelihood ratio of b among b + c at their own share against a share of at most exp(ln_p)."""
    return _best(b, c, 0.0) - _best(b, c, ln_p) if b else 0.0


def _is_round(hits: NDArray[np.float64]) -> NDArray[np.bool_]:
    return (hits % ROUND == 0) & (hits > 0)


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
    often = np.bincount(die, whole, dies)
    habit = (often >= SETS_AT_LEAST) & (often >= OF_ALL * np.bincount(die, minlength=dies))
    # Every end of a set but one would be habit, unless the looks explain them.
    each = unexplained(samples.lower_hits[dull], samples.hits[dull])
    others = np.where(whole, np.add.reduceat(each, bounds[:-1]) - np.maximum.reduceat(each, bounds[:-1]), 0.0)
    sets_told, partly = np.bincount(die, whole, dies), np.bincount(die, ~whole, dies)
    ln_p = -np.bincount(die, others, dies) / np.maximum(sets_told, 1)
    speaks = np.array([_more_often(*one) for one in zip(sets_told, partly, ln_p, strict=True)])
    habit &= speaks > SURE
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


def _with(samples: LifeSamples, ended: NDArray[np.int8], hits: NDArray[np.float64] | None = None) -> LifeSamples:
    hits = samples.hits if hits is None else hits
    lower = np.where((samples.ended == DULL) & (ended == SHARP), hits, samples.lower_hits)
    return replace(samples, ended=ended, lower_hits=lower, hits=hits)
