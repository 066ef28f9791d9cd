"""A shop in which the true end of every edge is known, and one job of it walked look by look: the replay a second way.

Independent of maintenance/policy/replay.py: plain loops over looks, lives drawn one by one, and the long run's figures
by plain sums over a fine grid.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from maintenance.policy import Costs


@dataclass(frozen=True)
class Die:
    """Weibull edges of one shape. eta, on_it: [edges]."""

    shape: float
    eta: np.ndarray
    on_it: np.ndarray
    costs: Costs
    reckoned: dict = field(default_factory=dict)  # what was summed before

    def hazard(self, ran: np.ndarray, more: np.ndarray) -> np.ndarray:
        """H of the first dull edge within `more` [n] hits of edges that have run `ran`."""
        more = np.atleast_1d(more)[:, None]
        return (((ran + more) / self.eta) ** self.shape - (ran / self.eta) ** self.shape).sum(axis=1)

    def life(self, rng: np.random.Generator, ran: np.ndarray) -> float:
        """Further hits to the first dull edge, drawn edge by edge."""
        ends = []
        for eta, h in zip(self.eta, ran, strict=True):
            ends.append(eta * ((h / eta) ** self.shape + rng.exponential()) ** (1 / self.shape) - h)
        return float(min(ends))

    def sums(self, ran: np.ndarray, steps: int = 4000) -> tuple[np.ndarray, np.ndarray]:
        """F and I along hits from a state, chips counted."""
        far = 4.0 * float(self.eta.min())
        x = np.linspace(0.0, far, steps + 1)
        d, g = np.exp(-self.hazard(ran, x)), np.exp(-self.costs.chips_a_hit * x)
        f = np.concatenate(([0.0], np.cumsum((d[:-1] - d[1:]) * (g[1:] + g[:-1]) / 2)))
        run = np.concatenate(([0.0], np.cumsum((d[:-1] * g[:-1] + d[1:] * g[1:]) / 2 * (x[1] - x[0]))))
        return f, run + f * self.costs.look_hits / 2

    def long_run(self, delta: float) -> float:
        """g: what a hit costs."""
        if delta not in self.reckoned:
            f, run = self.sums(np.zeros(len(self.eta)))
            self.reckoned[delta] = float(((self.costs.set + delta * f[1:]) / run[1:]).min())
        return self.reckoned[delta]

    def handed_on(self, ran: np.ndarray, delta: float, rate: float) -> float:
        key = (tuple(ran), delta)
        if key not in self.reckoned:
            f, run = self.sums(ran)
            self.reckoned[key] = max(min(float((delta * f - rate * run).min()), 0.0), -self.costs.set)
        return self.reckoned[key]


@dataclass(frozen=True)
class Walked:
    euros: float
    stops: int
    teardowns: int
    stop: float | None
    since_look: float
    pulls: tuple[float, ...]


def walk(die: Die, job: float, pulls: list[float], sharp: float, fresh: list[float]) -> Walked:
    """One way through a job, its first stop followed: what it costs with what it hands on. sharp: further hits to the
    first dull edge as it stands; fresh: the same of the die sharpened for the first, second ... time."""
    costs, count = die.costs, max(int(np.ceil(job / die.costs.look_hits - 1e-9)), 1)
    looks = [min(n * costs.look_hits, job) for n in range(1, count + 1)]
    delta = costs.dull + costs.pull * (1 - 1 / count)
    rate = die.long_run(delta)
    moments = sorted({*looks, *[p for p in pulls if 0 < p < job]})
    euros, torn, begun, ends, ran = 0.0, 0, 0.0, sharp, die.on_it
    if 0.0 in pulls:
        euros, torn, ends, ran = costs.set, 1, fresh[0], np.zeros_like(die.on_it)
    made, before = [p for p in pulls if p == 0], 0.0
    for q in moments:
        if ends <= q - begun:
            broken = costs.pull if q < job else 0.0
            euros += costs.set + costs.dull * (q - before) / costs.look_hits + broken + rate * (job - q) - costs.set
            return Walked(euros, 1, torn + 1, q, q - before, tuple(made))
        if q in pulls and q < job:
            euros, torn, begun, ends, ran = euros + costs.set + costs.pull, torn + 1, q, fresh[torn], ran * 0
            made.append(q)
        before = q
    euros += die.handed_on(ran + (job - begun), delta, rate)
    return Walked(euros, 0, torn, None, 0.0, tuple(made))
