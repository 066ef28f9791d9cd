"""Whether a die wears faster than its record led to expect.

The fleet and the die are fitted up to a date. After it, O edges went dull; given the die's own effect u, the hits
run since led to expect
    E_u = sum over cycles of E[(h^k - from^k) e^{-k m} | u, records before],
and p = sum over u of p(u) P(Poisson(E_u) >= O). Where lots differ, their mean over the lots since, N(0, sw^2 /
lots), is integrated too. p below 0.01 is a flag: lives halved are found in two dies of three within six months, and
2 in 100 dies are flagged for nothing. After a flag the die's record can be restarted from that date.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import scipy  # its parts are loaded when they are first named, so that a start pays for none

from .block import W_NODES, W_WEIGHTS, Block
from .cells import LARGEST
from .cycles import DULL, HITS_UNIT, EdgeSpec, LifeSamples
from .fleet import FleetFit
from .grids import posterior
from .renewals import aged

FLAG_BELOW = 0.01


@dataclass(frozen=True, kw_only=True)
class Drift:
    """dull_ends: seen since the date; expected: led to expect by the record before; chance: of so many or more by
    luck."""

    dull_ends: int
    expected: float
    chance: float

    @property
    def flagged(self) -> bool:
        return self.chance < FLAG_BELOW


def drift_of_die(fit: FleetFit, edges: Sequence[EdgeSpec], before: LifeSamples, since: LifeSamples) -> Drift:
    """One die.

    before: its cycles up to the date, as they stood then (closed ones; those under way then do not matter).
    since: what each edge ran after the date: from_hits is what was on it at the date (0 where it was renewed since).
    """
    (before, _), (since, _) = aged(before, None, fit.shares), aged(since, None, fit.shares)
    block = Block(edges, before.pick(~before.under_way), fit.alone())
    block.aim()
    theta = fit.best
    k = theta.k
    post = posterior(block.grids, block.past_table(theta), block.x @ theta.b, block.die, theta)
    since = since.pick(~since.unknown_age)
    run = np.zeros(len(edges))
    h, f = since.hits / HITS_UNIT, since.from_hits / HITS_UNIT
    middle = np.where(since.ended == DULL, (since.hits + since.lower_hits) / 2 / HITS_UNIT, h)
    np.add.at(run, since.edge, np.maximum(middle, f) ** k - f**k)
    wear = np.exp(np.minimum(-k * block.grids.m, LARGEST))
    expected_u = np.einsum("e,eam,em->a", run, post.given_u, wear)
    lots = max(len(np.unique(since.lot)), 1)
    spread = fit.sw / np.sqrt(lots)
    w, a = (spread * W_NODES, W_WEIGHTS) if spread > 0 else (np.zeros(1), np.ones(1))
    expected = expected_u[:, None] * np.exp(k * w)
    weight = post.of_u[0][:, None] * a
    seen = int((since.ended == DULL).sum())
    chance = 1.0 if seen == 0 else float((weight * scipy.special.gammainc(seen, np.maximum(expected, 1e-300))).sum())
    return Drift(dull_ends=seen, expected=float((weight * expected).sum()), chance=chance)
