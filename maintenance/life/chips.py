"""Chips: they strike at a constant rate a hit, shared within the fleet, the steel family and the die.

Fleet: rate ~ Gamma(0.5 + chips, 5 + exposure), exposure in 100,000 hits. Steel family s:
r_s = (A + c_s) / (A / r + t_s), shrunk to the fleet's r with weight A. Die: r_s times phi, phi ~ Gamma(a + c, a + sum
of r_s t) after its own chips c, where a maximises the negative binomial likelihood of the dies' counts with a mild
prior towards dies alike. Chance that nothing chips in x more hits: ((B) / (B + sum of r_s x))^(a + c), B = a + sum of
r_s t.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import fsum

import numpy as np
import scipy  # its parts are loaded when they are first named, so that a start pays for none

from .cycles import CHIPPED, HITS_UNIT, EdgeSpec, LifeSamples
from .edges import STEEL_NAMES, Edges
from .prior import CHIPS, STEELS, USUAL_STEEL

FAMILY_WEIGHT = 3.0  # chips' worth of the fleet's rate in a steel family's
ALIKE = np.exp(np.linspace(np.log(0.3), np.log(30.0), 25))


def family(spec: EdgeSpec) -> str:
    return spec.steel if spec.steel in STEELS or spec.steel == USUAL_STEEL else "other"


@dataclass(frozen=True, kw_only=True)
class ChipRates:
    """rates: chips in 100,000 hits of an edge, by steel family; fleet: where the family has no record;
    alike: how alike dies are (large: all the same)."""

    rates: dict[str, float]
    fleet: float
    alike: float

    def of(self, spec: EdgeSpec) -> float:
        return self.rates.get(family(spec), self.fleet)

    def of_edges(self, edges: Edges) -> np.ndarray:
        """[edges]."""
        return np.array([self.rates.get(name, self.fleet) for name in STEEL_NAMES])[edges.steel]

    def to_dict(self) -> dict:
        return {"rates": self.rates, "fleet": self.fleet, "alike": self.alike}

    @classmethod
    def from_dict(cls, data: dict) -> ChipRates:
        return cls(rates=dict(data["rates"]), fleet=float(data["fleet"]), alike=float(data["alike"]))


def exposure(samples: LifeSamples, n_edges: int) -> tuple[np.ndarray, np.ndarray]:
    """Chips and hits at risk, in 100,000, of each edge. All hits that were seen count, however the cycle ended."""
    return (
        np.bincount(samples.edge[samples.ended == CHIPPED], minlength=n_edges).astype(float),
        np.bincount(samples.edge, samples.hits - samples.from_hits, n_edges) / HITS_UNIT,
    )


def fit(edges: Sequence[EdgeSpec] | Edges, samples: LifeSamples) -> ChipRates:
    edges = Edges.of(edges)
    count, hits = exposure(samples, len(edges))
    fleet = (CHIPS[0] + fsum(count)) / (CHIPS[1] + fsum(hits))  # fsum: the same in any order
    rates = {}
    for code in np.unique(edges.steel):
        mine = edges.steel == code
        rates[STEEL_NAMES[code]] = (FAMILY_WEIGHT + fsum(count[mine])) / (FAMILY_WEIGHT / fleet + fsum(hits[mine]))
    rates = dict(sorted(rates.items()))
    die = np.unique(edges.die, return_inverse=True)[1].reshape(-1)
    rate = np.array([rates.get(name, fleet) for name in STEEL_NAMES])[edges.steel]
    c = np.bincount(die, count)
    expected = np.round(np.bincount(die, rate * hits), 9)
    best, alike = -np.inf, 3.0
    for a in ALIKE:
        gammaln = scipy.special.gammaln
        score = (gammaln(a + c) - gammaln(a) + a * np.log(a) - (a + c) * np.log(a + expected)).sum()
        score -= 0.5 * ((np.log(a) - np.log(3.0)) / 1.0) ** 2
        if score > best + 1e-9:
            best, alike = score, float(a)
    return ChipRates(rates=rates, fleet=fleet, alike=alike)
