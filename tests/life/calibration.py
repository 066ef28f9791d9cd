"""How right the engine is on shops with a known truth: `make calibration` prints the table.

    python -m tests.life.calibration [--seeds 4] [--world NAME] [--baselines]

For each world, over several seeds: how often the 80 % band of an edge and of a die holds (by the true distribution, so
without the noise of single outcomes), the CRPS of edges over that of the truth itself, and the mean error in the chance
of finishing an order.
"""

from __future__ import annotations

import argparse
import time

import numpy as np

from maintenance.life import fit_fleet, predict_fleet
from tests.life import baselines
from tests.life.scoring import Score, knowing_the_fleet, score
from tests.life.simulate import WORLDS, World, shop

COLUMNS = ("edge_80", "crps", "crps_each", "die_80", "order_error")


def engine(made, *, known=False, **options) -> tuple[Score, tuple]:
    began = time.perf_counter()
    fit = fit_fleet(made.edges, made.samples, **options)
    if known:
        fit = knowing_the_fleet(fit, made)
    middle = time.perf_counter()
    told = predict_fleet(fit, made.edges, made.samples)
    ended = time.perf_counter()
    edges = {e: p.remaining for die in told.values() for e, p in die.edges.items()}
    dies = {d: p.remaining for d, p in told.items()}
    best = fit.best
    return score(made, edges, dies), (best.k, best.tu, best.tv, fit.sw, middle - began, ended - middle)


def line(name: str, scores: list[Score], more=()) -> str:
    means = [np.mean([getattr(s, c) for s in scores]) for c in COLUMNS]
    return f"{name:24s}" + "".join(f"{v:12.3f}" for v in (*means, *more))


def run(world: World, seeds, **options) -> tuple[list[Score], np.ndarray]:
    found = [engine(shop(world, seed), **options) for seed in seeds]
    return [s for s, _ in found], np.mean([m for _, m in found], axis=0)


def main() -> None:
    parse = argparse.ArgumentParser(description=__doc__)
    parse.add_argument("--seeds", type=int, default=4)
    parse.add_argument("--first", type=int, default=101)
    parse.add_argument("--world", action="append")
    parse.add_argument("--without-lots", action="store_true")
    parse.add_argument("--known", action="store_true")
    parse.add_argument("--baselines", action="store_true")
    told = parse.parse_args()
    seeds = range(told.first, told.first + told.seeds)
    print(f"{'world':24s}" + "".join(f"{c:>12s}" for c in (*COLUMNS, "shape", "tu", "tv", "sw", "fit s", "predict s")))
    for name in told.world or WORLDS:
        scores, more = run(WORLDS[name], seeds, with_lots=not told.without_lots)
        print(line(name, scores, more), flush=True)
        if told.known:
            scores, more = run(WORLDS[name], seeds, known=True)
            print(line("  fleet's constants known", scores), flush=True)
        if told.baselines:
            for label, tell in baselines.ALL.items():
                made = [shop(WORLDS[name], seed) for seed in seeds]
                print(line(f"  {label}", [score(m, *tell(m)) for m in made]), flush=True)


if __name__ == "__main__":
    main()
