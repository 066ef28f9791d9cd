"""How right the engine is on shops with a known truth: `make calibration` prints the table.

For each world, over several seeds: how often the 80 % band of an edge and of a die holds (by the true distribution, so
without the noise of single outcomes), the CRPS of edges over that of the truth itself, and the mean error in the chance of
finishing an order.
"""

from __future__ import annotations

import sys
import time

import numpy as np

from maintenance.life.fleet import Edges, fit
from maintenance.life.predict import LEVELS, predict
from tests.life.simulate import WORLDS, make

TAUS = np.linspace(0.01, 0.99, 99)


def quantiles(remaining):
    """Remaining strokes at TAUS, straight lines in the logarithm."""
    return np.exp([np.interp(TAUS, LEVELS, np.log(np.maximum(r, 1.0))) for r in remaining])


def crps(q, outcomes):
    """Mean pinball score times two of quantiles [99] against outcomes [n] (Gneiting & Raftery 2007, eq. 21 onwards)."""
    d = outcomes[:, None] - q[None, :]
    return 2 * np.mean(np.where(d >= 0, TAUS * d, (TAUS - 1) * d))


def true_quantiles(alive, around):
    x = around * np.geomspace(1e-4, 200, 600)
    f = 1 - alive(x)
    return np.interp(TAUS, np.maximum.accumulate(f), x), x, f


def score(world, seed, **options):
    shop = make(world, seed)
    edges = Edges.of(shop.specs)
    began = time.perf_counter()
    fleet = fit(edges, shop.samples, **options)
    middle = time.perf_counter()
    told = predict(fleet, edges, shop.samples)
    seconds = middle - began, time.perf_counter() - middle
    known = np.ones(len(edges), bool)
    band_edge, ratio, band_die, error = [], [], [], []
    i = 0
    for d, die in enumerate(told):
        for e in die.edges:
            low, high = np.interp([0.1, 0.9], LEVELS, e.remaining)
            alive = shop.alive(np.array([i]), np.array([[low, high]]))[0]
            band_edge.append(alive[0] - alive[1])
            tq, _, _ = true_quantiles(lambda x, i=i: shop.alive(np.array([i]), x[None, :])[0], np.exp(shop.m[i]) * 1e5)
            q = quantiles([e.remaining])[0]
            if known[i]:
                ratio.append((crps(q, tq) / np.median(tq), crps(tq, tq) / np.median(tq)))
            i += 1
        low, high = np.interp([0.1, 0.9], LEVELS, die.remaining)
        alive = shop.alive_die(d, np.array([low, high]))
        band_die.append(alive[0] - alive[1])
        order = shop.order_hits[d]
        error.append(abs(die.chance_beyond(order) - shop.alive_die(d, np.array([order]))[0]))
    r = np.array(ratio)
    return {
        "edges": len(edges),
        "edge 80 %": np.mean(band_edge),
        "CRPS ratio": r[:, 0].sum() / r[:, 1].sum(),
        "die 80 %": np.mean(band_die),
        "order error": np.mean(error),
        "shape": fleet.k,
        "tu": fleet.tu,
        "tv": fleet.tv,
        "sw": fleet.sw,
        "fit s": seconds[0],
        "predict s": seconds[1],
    }


def main(names=None, seeds=range(101, 105)):
    print(f"{'world':18s}" + "".join(f"{h:>12s}" for h in COLUMNS))
    for name in names or WORLDS:
        rows = [score(WORLDS[name], seed) for seed in seeds]
        print(f"{name:18s}" + "".join(f"{np.mean([r[c] for r in rows]):12.3f}" for c in COLUMNS), flush=True)


COLUMNS = ("edge 80 %", "CRPS ratio", "die 80 %", "order error", "shape", "tu", "tv", "sw", "fit s", "predict s")

if __name__ == "__main__":
    main(sys.argv[1:] or None)
