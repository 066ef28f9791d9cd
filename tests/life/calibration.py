"""How right the engine is on shops with a known truth: `make calibration` prints the table.

    python -m tests.life.calibration [--seeds 4] [--first 101] [--world NAME] [--baselines] [--only table|changes]

For each world, over several seeds: how often the 80 % band of an edge and of a die holds (by the true distribution, so
without the noise of single outcomes), the CRPS of edges over that of the truth itself, and the mean error in the chance
of finishing an order. The truth knows each edge's own life; from the same records nobody can. So the second line of
each world is the same forecast given the fleet's true constants (wear model, shape, spreads): with them the forecast is
the posterior itself (test_dense.py), and no method can on average come nearer from those records. What lies between the
two lines is what learning the constants costs; what lies between the second and 1, or nought, is not in the records.
(With lots the posterior is approximate, so that a part of it is.)

A second table says what each change brought: the same shops with it left out and with it, in a world where what it
takes for true is so and in one where it is not, over all edges and over those that it concerns.
"""

from __future__ import annotations

import argparse
import time
from dataclasses import replace

import numpy as np

from maintenance.life import DULL, SHARP, fit_fleet, predict_fleet
from maintenance.life.habits import one_for_the_set, planned
from maintenance.life.renewals import Renewal
from tests.life import baselines
from tests.life.scoring import Score, knowing_the_fleet, score
from tests.life.simulate import WORLDS, shop

COLUMNS = ("edge_80", "crps", "crps_each", "die_80", "order_error")


# (CRPS over that of the truth, error in the chance of finishing an order) that were to be reached.
GOALS = {
    "usual": (1.06, 0.027),
    "shape 2": (1.04, 0.026),
    "many chips": (1.03, 0.022),
    "shape 5": (1.09, 0.029),
    "1.5 years": (1.10, 0.040),
    "lots differ": (1.07, 0.032),
    "short lives": (1.13, 0.036),
    "short lives, round looks": (1.12, 0.034),
    "the same, 1.2 years": (1.18, 0.050),
    "lots differ, orders end": (1.06, 0.030),
    "orders differ inside a cycle": (1.05, 0.028),
    "coils differ, named": (1.05, 0.028),
    "coils differ, not named": (1.05, 0.028),
}


def engine(made, **options) -> tuple[Score, Score, tuple]:
    """The engine's score, that of the same forecast given the true constants, and what was learnt and how fast."""
    made = as_taken(made)
    began = time.perf_counter()
    fit = fit_fleet(made.edges, made.samples, **options)
    middle = time.perf_counter()
    mine = forecast(made, fit)
    ended = time.perf_counter()
    best = fit.best
    learnt = (best.k, best.tu, best.tv, fit.sw, middle - began, ended - middle)
    knowing = knowing_the_fleet(fit, made)
    if made.world.dressed:
        knowing = replace(knowing, renewals=(Renewal(sort=0, share=made.world.renewed, sd=0.0, seen=0),))
    return score(made, *mine), score(made, *forecast(made, knowing)), learnt


def forecast(made, fit):
    told = predict_fleet(fit, made.edges, made.samples, rest=dict(enumerate(made.rest)))
    edges = {e: p.remaining for die in told.values() for e, p in die.edges.items()}
    return edges, {d: p.remaining for d, p in told.items()}


def as_written(made):
    """What is written down by habit taken for what happened."""
    return made


def as_taken(made):
    """As the service takes what is written down."""
    taken, _ = planned(made.edges, made.samples, made.moment)
    taken, _ = one_for_the_set(made.edges, taken, made.moment)
    return replace(made, samples=taken)


def of_its_last_lot(made):
    """A cycle given whole to the lot in which it ended, and what is ahead to the lot under way."""
    made = as_taken(made)
    return replace(made, samples=replace(made.samples, passed=None), rest=np.zeros_like(made.rest))


def nothing_left_of_the_lot(made):
    """Nothing known to be left of the lot under way."""
    made = as_taken(made)
    return replace(made, rest=np.zeros_like(made.rest))


def nothing_after_a_touch(made):
    """What runs on after a touch told of nothing, and the edge as old as its hits."""
    made = as_taken(made)
    s = made.samples
    after = np.diff(s.touched.first) > 0
    ended = np.where(after & (s.ended == DULL), SHARP, s.ended).astype(np.int8)
    begun, lower = np.where(after, s.hits, s.from_hits), np.where(after, s.hits, s.lower_hits)
    return replace(made, samples=replace(s, from_hits=begun, lower_hits=lower, ended=ended, touched=None))


def touched_now(made) -> set[int]:
    """The edges under way that have had a work in between."""
    s = made.samples
    return set(s.edge[s.under_way & (np.diff(s.touched.first) > 0)].tolist())


# what: left out how, options of the fit with it left out, world where it is so, world where it is not, edges concerned
CHANGES = {
    "habits of writing": (as_written, {}, "pulled at a round count", "short lives, round looks", None),
    "lots at all": (as_taken, {"with_lots": False}, "lots differ, orders end", "usual", None),
    "exposure by lot": (of_its_last_lot, {}, "orders differ inside a cycle", "lots differ, orders end", None),
    "coils named on the run": (of_its_last_lot, {}, "coils differ, named", "usual", None),
    "what is left of the lot": (
        nothing_left_of_the_lot, {}, "lots differ, orders end", "coils differ, not named", None,
    ),
    "24 draws, not the best alone": (as_taken, {"draws": 1}, "1.5 years", "usual", None),
    "what a touch gives back": (
        nothing_after_a_touch, {}, "dull edges dressed", "dressed, it gives nothing back", touched_now,
    ),
    "the same, each touch otherwise": (
        nothing_after_a_touch, {}, "dressed, 1.2 years", "dressed, each touch otherwise", touched_now,
    ),
}  # fmt: skip


def changes(seeds: range) -> None:
    """Prints the error of an order, the band and the CRPS of edges with each change left out, and with it."""
    print(f"\n{'what':32s}{'world':32s}{'order error':>16s}{'edge_80':>16s}{'crps':>16s}")
    for what, (without, options, *worlds, concerned) in CHANGES.items():
        for name in worlds:
            found: list[list[Score]] = [[], []]
            for seed in seeds:
                written = shop(WORLDS[name], seed)
                some = concerned(written) if concerned else None
                for kept, made, more in zip(found, (without(written), as_taken(written)), (options, {}), strict=True):
                    fit = fit_fleet(made.edges, made.samples, **more)
                    edges, dies = forecast(made, fit)
                    if some:
                        of_dies = {made.edges[e].die for e in some}
                        edges = {e: one for e, one in edges.items() if e in some}
                        dies = {d: one for d, one in dies.items() if d in of_dies}
                    kept.append(score(written, edges, dies))
            columns = ("order_error", "edge_80", "crps")
            told = [[np.mean([getattr(s, c) for s in scores]) for scores in found] for c in columns]
            print(f"{what:32s}{name:32s}" + "".join(f"   {a:.3f} to {b:.3f}" for a, b in told), flush=True)


def line(name: str, scores: list[Score], more=()) -> str:
    means = [np.mean([getattr(s, c) for s in scores]) for c in COLUMNS]
    return f"{name:28s}" + "".join(f"{v:12.3f}" for v in (*means, *more))


def against_goals(name: str, mine: list[Score], best: list[Score]) -> list[str]:
    """For each goal that is missed, by how much, and how much of that is not in the records."""
    said = []
    for i, (what, column) in enumerate((("CRPS", "crps"), ("order error", "order_error"))):
        goal = GOALS[name][i]
        here, there = (np.mean([getattr(s, column) for s in scores]) for scores in (mine, best))
        if here > goal + 5e-4:
            said.append(f"{name}: {what} {here:.3f} for {goal:g}; with the true constants {there:.3f}")
    return said


def main() -> None:
    parse = argparse.ArgumentParser(description=__doc__)
    parse.add_argument("--seeds", type=int, default=4)
    parse.add_argument("--first", type=int, default=101)
    parse.add_argument("--world", action="append")
    parse.add_argument("--without-lots", action="store_true")
    parse.add_argument("--baselines", action="store_true")
    parse.add_argument("--only", choices=("table", "changes"))
    told = parse.parse_args()
    seeds = range(told.first, told.first + told.seeds)
    if told.only != "changes":
        table(told, seeds)
    if told.only != "table" and not told.world:
        changes(seeds)


def table(told: argparse.Namespace, seeds: range) -> None:
    print(f"{'world':28s}" + "".join(f"{c:>12s}" for c in (*COLUMNS, "shape", "tu", "tv", "sw", "fit s", "predict s")))
    missed = []
    for name in told.world or WORLDS:
        found = [engine(shop(WORLDS[name], seed), with_lots=not told.without_lots) for seed in seeds]
        mine, best = [m for m, _, _ in found], [b for _, b, _ in found]
        print(line(name, mine, np.mean([learnt for _, _, learnt in found], axis=0)), flush=True)
        print(line("  given the true constants", best), flush=True)
        if name in GOALS:
            missed += against_goals(name, mine, best)
        if told.baselines:
            for label, tell in baselines.ALL.items():
                made = [shop(WORLDS[name], seed) for seed in seeds]
                print(line(f"  {label}", [score(m, *tell(m)) for m in made]), flush=True)
    print("\nGoals missed:" if missed else "\nAll goals reached.", *missed, sep="\n  ")


if __name__ == "__main__":
    main()
