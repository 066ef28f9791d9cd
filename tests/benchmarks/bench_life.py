"""The forecast of a large fleet at given theta: seconds, passes of log and exp over the cycles, memory.

    python -m tests.benchmarks.bench_life [dies]     (100 edges a die, 20 cycles an edge, lots that differ)

The goal for 5,000 dies (10 million cycles) is 40 passes and 1.5 GB; 100 dies say by proportion what those would take.
"""

from __future__ import annotations

import resource
import sys
import time

import numpy as np

from maintenance.life import DULL, SHARP, EdgeSpec, LifeSamples, fit_fleet, predict_fleet

EDGES, CYCLES, STEP = 100, 20, 5_000


def large_fleet(dies: int, seed: int = 0) -> tuple[list[EdgeSpec], LifeSamples]:
    rng = np.random.default_rng(seed)
    n = dies * EDGES
    die = np.repeat(np.arange(dies), EDGES)
    thickness = np.exp(rng.uniform(-0.9, 1.1, dies))
    edges = [
        EdgeSpec(
            die=int(d), thickness_mm=float(thickness[d]), tensile_mpa=400.0, steel="D2", coating="none", gap_pct=9.0
        )
        for d in die
    ]
    usual = np.exp(rng.normal(0, 0.3, dies))[die] * np.exp(rng.normal(0, 0.25, n)) * 1e5
    edge, lot = np.repeat(np.arange(n), CYCLES), np.tile(np.arange(CYCLES), n)
    effect = np.exp(rng.normal(0, 0.3, (dies, CYCLES)))[die[edge], lot]
    stop = np.round(5e4 * rng.uniform(0.6, 1.2, (dies, CYCLES)))[die[edge], lot]
    life = usual[edge] * effect * rng.weibull(3.0, n * CYCLES)
    now = lot == CYCLES - 1
    dull = (life < stop) & ~now
    hits = np.where(dull, np.ceil(life / STEP) * STEP, stop)
    lower = np.where(dull, hits - STEP, hits)
    return edges, LifeSamples.of(edge, hits, np.where(dull, DULL, SHARP), lower_hits=lower, lot=lot, under_way=now)


def main() -> None:
    dies = int(sys.argv[1]) if len(sys.argv) > 1 else 100
    edges, samples = large_fleet(60)
    began = time.perf_counter()
    fit = fit_fleet(edges, samples)
    print(f"theta from 60 dies, {len(samples):,} cycles: {time.perf_counter() - began:.1f} s, {fit.rounds} rounds")
    edges, samples = large_fleet(dies)
    began = time.perf_counter()
    predict_fleet(fit.alone(), edges, samples)
    seconds = time.perf_counter() - began
    memory = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    hits = np.random.default_rng(1).uniform(0.1, 2.0, 10_000_000)
    passes = []
    for _ in range(3):
        began = time.perf_counter()
        np.exp(2.5 * np.log(hits))
        passes.append(time.perf_counter() - began)
    print(
        f"forecast of {dies:,} dies, {len(samples):,} cycles, at given theta: {seconds:.1f} s, "
        f"{memory:,.0f} MB; 10 million cycles: {seconds * 1e7 / len(samples):,.0f} s, "
        f"{seconds * 1e7 / len(samples) / min(passes):,.0f} passes of log and exp"
    )


if __name__ == "__main__":
    main()
