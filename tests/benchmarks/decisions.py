"""Whether decisions pay, and how fast one is made: `python -m tests.benchmarks.decisions [dies [orders [seed]]]`.

Avoidable cost of a simulated shop (tests/policy/shops.py) over the same rules on each edge's true life, under several
rules and rivals, with common random numbers; two sets of costs, few and many chips. The limits stood before any figure.
Some ten minutes on one core.
"""

from __future__ import annotations

import sys
import time

import numpy as np

from maintenance.policy import Costs, Lives, decide
from tests.benchmarks.table import amount, heading, line
from tests.policy.shops import FEW, HIGH, LOW, MANY, Rule, dies, total

RULES = {
    "economic rule, edges by saving": Rule("economic", "saving"),
    "the same as pages decide, past the order's end": Rule("values", "saving"),
    "planned interval, edges by saving": Rule("interval", "saving"),
    "chance of not finishing over 0.3, edges by saving": Rule(0.3, "saving"),
    "chance of not finishing over 0.1, edges by saving": Rule(0.1, "saving"),
    "never early, edges by saving": Rule("never", "saving"),
    "economic rule, whole set": Rule("economic", "whole"),
    "never early, whole set": Rule("never", "whole"),
    "shop practice: fixed interval": Rule("shop", "shop"),
    "never early, only what is bad": Rule("never", "bad"),
    "the rules on the middle of what is known": Rule("economic", "saving", by="mean"),
    "the rules on the handbook": Rule("economic", "saving", by="handbook"),
    "a dull edge taken to cost half": Rule("economic", "saving", wrong=0.5),
    "a dull edge taken to cost double": Rule("economic", "saving", wrong=2.0),
}
WORLDS = {
    "few, low": (FEW, LOW),
    "few, high": (FEW, HIGH),
    "many, low": (MANY, LOW),
    "many, high": (MANY, HIGH),
}
OURS = "economic rule, edges by saving"


def limits(cost: dict[str, float], true: float, world: str) -> list[tuple[str, float, float]]:
    """What, how much it is, how much it may be at most: both in parts of one."""
    ours = cost[OURS]
    set_alone = 0.025 if world == "few, high" else 0.07
    when = -0.025 if world == "few, high" else 0.01
    return [
        ("over the same rules on true lives", ours / true - 1, 0.05),
        ("against shop practice", ours / cost["shop practice: fixed interval"] - 1, -0.14),
        ("against never early, whole set", ours / cost["never early, whole set"] - 1, -0.06),
        ("what is ground alone", ours / cost["economic rule, whole set"] - 1, -set_alone),
        ("when alone", ours / cost["never early, edges by saving"] - 1, when),
    ]


def pay(count: int, orders: int, seed: int) -> None:
    found: dict[str, dict[str, float]] = {}
    for world, (chips, of) in WORLDS.items():
        made = dies(count=count, chips=chips, orders=orders, seed=seed)
        true = total(made, Rule("economic", "saving", known=True), of)
        found[world] = {name: total(made, rule, of) for name, rule in RULES.items()}
        heading(f"{world} costs: {count} dies, {orders} orders each")
        for name, cost in found[world].items():
            line(name, f"{100 * (cost / true - 1):+.1f} %")
        for what, is_, most in limits(found[world], true, world):
            line(f"  {what}", f"{100 * is_:+.1f} %", goal=f"at most {100 * most:+.1f} %", met=is_ <= most)


def speed() -> None:
    rng = np.random.default_rng(1)
    heading("One decision")
    for edges in (5, 20, 60):
        eta, on_it = rng.uniform(6e4, 2e5, edges), rng.uniform(0, 5e4, edges)
        costs = Costs(grind=rng.uniform(15, 40, edges), look_hits=10_000, chip_rate=2e-7, **HIGH)
        now, fresh = Lives.of_weibull(3.0, eta, on_it), Lives.of_weibull(3.0, eta)
        decide(now, fresh, costs, 55_000, ln_sd=0.2)
        begun = time.process_time()
        for _ in range(20):
            decide(now, fresh, costs, 55_000, ln_sd=0.2)
        took = (time.process_time() - begun) / 20
        line(f"a die of {edges} edges, an order of 6 looks", amount(took), goal="at most 50 ms", met=took < 0.05)


if __name__ == "__main__":
    told = [int(value) for value in sys.argv[1:]] + [40, 60, 11][len(sys.argv) - 1 :]
    speed()
    pay(*told)
