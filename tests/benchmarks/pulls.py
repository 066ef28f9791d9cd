"""The pull planner for 60 dies and some 200 jobs, against a bare loop over the same looks and against trying all.

The bare loop does what the recursion cannot do without: one exp and four multiplications for each look and state, in
plain Python. Trying all is timed on the courses of eight dies and told for sixty as the number of choices.
"""

from __future__ import annotations

import math
import time
from itertools import islice, product

import numpy as np

from maintenance.policy import Costs, Lives
from maintenance.policy.pulls import DieAhead, Job, choose, of_die

from .table import amount, heading, line

DIES, WEEKS, HOURS = 60, 8, 20.0
GOAL_S = 10.0


def shop(seed: int = 1) -> list[DieAhead]:
    rng = np.random.default_rng(seed)
    dies = []
    for die in range(DIES):
        eta = 60_000 * np.exp(0.4 * rng.standard_normal())
        fresh = Lives.of_weibull(2.6, [eta] * 3)
        now = Lives.of_weibull(2.6, [eta] * 3, rng.uniform(0, 0.6) * eta)
        costs = Costs(
            teardown=160, grind=[14, 14, 9], dull=float(rng.choice([200, 800])), pull=90, look_hits=10_000,
            teardown_hours=3, grind_hours=0.5,
        )  # fmt: skip
        jobs, week = [], 0.0
        for number in range(int(rng.integers(2, 6))):
            start = week + rng.uniform(0, 1)
            week = start + rng.uniform(0.1, 1)
            jobs.append(Job(name=number, hits=float(rng.integers(5_000, 60_000)), start=start, end=week))
        dies.append(of_die(die, now, fresh, costs, jobs, weeks=WEEKS))
    return dies


def bare(dies: list[DieAhead]) -> float:
    total = 0.0
    for die in dies:
        states, looks = die.replacing.run.shape
        for t in range(looks):
            for r in range(min(t + 2, states)):
                f = 1 - math.exp(-1e-5 * (t - r + 1))
                total += f * 420.0 + (1 - f) * 1.0
    return total


def timed(what, *args) -> tuple[float, object]:
    began = time.perf_counter()
    made = what(*args)
    return time.perf_counter() - began, made


def main() -> None:
    heading(f"Pull planner: {DIES} dies, {WEEKS} weeks, {HOURS:g} bench hours a week")
    alone, dies = timed(shop)
    jobs = sum(int(die.before_job[-1]) + 1 for die in dies)
    loop, _ = timed(bare, dies)
    chosen, plan = timed(choose, dies, np.full(WEEKS, HOURS))
    whole = alone + chosen
    line(f"courses of {jobs} jobs", amount(alone), f"{alone / loop:.1f} times a bare loop of {amount(loop)}")
    line("choice under bench hours, and what hours are worth", amount(chosen), f"proven: {plan.proven}")
    line("the whole plan", amount(whole), goal=f"within {GOAL_S:g} s", met=whole < GOAL_S)
    ways = math.prod(len(die.courses) for die in dies)
    some = islice(product(*(die.courses for die in dies[:8])), 20_000)
    tried, _ = timed(lambda: sum(sum(c.dearer for c in way) for way in some))
    line("trying all choices, by 20,000 of them", f"1e{math.log10(ways):.0f} ways", f"{20_000 / tried:,.0f} a second")


if __name__ == "__main__":
    main()
