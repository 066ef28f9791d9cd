"""Decisions of the past again, in a simulated shop with known ends: `python -m tests.benchmarks.replay`.

Jobs are run by a shop practice (a fixed interval) and looked back on as maintenance/policy/replay does, with what the
shop could know; beside it each job is walked both ways with the true ends. Printed are shares and ratios: how often the
bounds hold the truth, what was expected over what was true, and what following the advice saves of what was paid.
"""

from __future__ import annotations

import time

import numpy as np

from maintenance.policy import Costs, Lives, decide, looks, of_die
from maintenance.policy.replay import JobDone, of_job
from tests.benchmarks.table import heading, line
from tests.policy.replayed import Die, walk

SHAPE, LOOK = 2.8, 10_000.0
DIES, JOBS = 30, 40
WORLDS = {"a dull edge cheap": 150.0, "a dull edge dear": 600.0}
PRACTICE = 0.45  # of the usual hits of its weakest edge: where the shop pulls


def shop(dull: float, seed: int) -> tuple[list[tuple[float, float, float, float, float, bool]], float, float]:
    """Of each decision: low, expected, high, the truth, what was paid, and whether anything differed. And the seconds
    of the replay, and of the walks."""
    rng = np.random.default_rng(seed)
    rows, replays, walks = [], 0.0, 0.0
    for _ in range(DIES):
        eta = 60_000 * np.exp(0.3 * rng.standard_normal()) * np.exp(0.3 * rng.standard_normal(4))
        costs = Costs(teardown=80, grind=rng.uniform(20, 50, 4), dull=dull, pull=60, look_hits=LOOK)
        fresh, on_it = Lives.of_weibull(SHAPE, eta), 0.0
        for _ in range(JOBS):
            job = float(np.round(rng.uniform(0.25, 1.2) * eta.min()))
            ages = np.full(4, on_it)
            die = Die(SHAPE, eta, ages, costs)
            now = Lives.of_weibull(SHAPE, eta, ages) if on_it else fresh
            sharp, new, other = die.life(rng, ages), die.life(rng, 0 * ages), die.life(rng, 0 * ages)
            early = on_it > 0 and on_it + job / 2 > PRACTICE * eta.min()
            done = walk(die, job, [0.0] if early else [], sharp, [new, other])
            begun = time.process_time()
            best = decide(now, fresh, costs, job, with_turns=False).best
            advised = ((0.0,) if best.sharpens_first and on_it else ()) + best.pulls
            told = of_job(
                now, fresh, costs, of_die(fresh, costs, order_looks=len(looks(job, LOOK))), advised,
                JobDone(hits=job, pulls=done.pulls, stop=done.stop, since_look=done.since_look),
            )  # fmt: skip
            replays += time.process_time() - begun
            begun = time.process_time()
            shared = bool(advised[:1] == (0.0,)) == early
            best_way = walk(die, job, list(advised), sharp, [new if shared else other, die.life(rng, 0 * ages), other])
            walks += time.process_time() - begun
            truth = 0.0 if told.same else done.euros - best_way.euros
            e = told.euros
            rows.append((e.low, e.expected, e.high, truth, done.euros, not told.same))
            on_it = (0.0 if early else on_it) + job if done.stop is None else job - done.stop
    return rows, replays, walks


def main() -> None:
    for world, dull in WORLDS.items():
        rows, replays, walks = shop(dull, 7)
        low, expected, high, truth, paid, differs = (np.array(column) for column in zip(*rows, strict=True))
        mine = differs.astype(bool)
        held = ((low - 2 <= truth) & (truth <= high + 2))[mine].mean()
        wide = 3 * float(np.std(truth - expected)) * np.sqrt(len(truth))
        off = float(truth.sum() - expected.sum())
        heading(f"{world}: {DIES} dies, {JOBS} jobs each, {mine.mean():.0%} decided otherwise than advised")
        line("bounds that hold the truth", f"{held:.1%}", goal="all", met=bool(held == 1))
        line("expected over true, in all", f"{expected.sum() / truth.sum():.2f}", goal=f"within {wide:,.0f}",
             met=abs(off) < wide)  # fmt: skip
        line("saved by following the advice, of what was paid", f"{truth.sum() / paid.sum():.1%}")
        line("decisions in which the advice was truly worse", f"{(truth < 0)[mine].mean():.0%}", "of those that differ")
        line("advice and replay against walking both ways", f"{replays / walks:.1f}", "times as long")


if __name__ == "__main__":
    main()
