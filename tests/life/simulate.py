"""Shops with a known truth, made without the engine: runs, looks after each run, pulls, grinds of the whole set.

What an edge suffers is counted in its own wear: hits times e^w of the lot that is run. It is dull when that passes a life
drawn from its Weibull. A toolroom sees dull edges only after a run, grinds the whole set when one is found, and writes
"dull" at that one and "with the set" at the others, sometimes with what was found.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from maintenance.life.cycles import CHIPPED, DULL, SHARP, EdgeSpec, LifeSamples

DAY = 1.0


@dataclass(frozen=True, kw_only=True)
class World:
    """How lives come about and how records are kept. Hits in units of one."""

    name: str = "usual"
    shape: float = 2.5
    between_dies: float = 0.35
    between_edges: float = 0.25
    lots: float = 0.0
    chips_per_hit: float = 0.15e-6
    years: float = 4.0
    dies: int = 40
    off_prior: float = 0.3  # how far the constants of the trade stand from what is believed, ln units
    life_factor: float = 1.0
    run_hits: tuple[float, float] = (4_000, 16_000)
    runs_a_year: tuple[int, int] = (25, 90)
    found_given: float = 0.4
    planned: float = 0.15  # chance a run that a set is ground though nothing is dull
    unknown_openings: float = 0.0


WORLDS = {
    w.name: w
    for w in (
        World(),
        World(name="shape 2", shape=2.0),
        World(name="many chips", chips_per_hit=1.0e-6),
        World(name="shape 5", shape=5.0),
        World(name="young", years=1.5),
        World(name="lots differ", lots=0.45),
        World(name="short lives", life_factor=0.25, off_prior=0.7, run_hits=(8_000, 30_000)),
        World(name="unknown openings", unknown_openings=0.5),
    )
}


@dataclass
class Shop:
    """The record, and behind it the truth of each edge now: ln scale m, wear in this cycle, the lot's w under way."""

    world: World
    specs: list[EdgeSpec]
    samples: LifeSamples
    m: np.ndarray
    wear: np.ndarray
    w: np.ndarray  # of the edge's die
    order_hits: np.ndarray  # [dies]
    rows: list = field(default_factory=list)

    def alive(self, edge: np.ndarray, strokes: np.ndarray) -> np.ndarray:
        """True chance that an edge goes on sharp and whole for so many further strokes. [n], [n, x] -> [n, x]."""
        scale = np.exp(self.m[edge])[:, None] * 1e5
        k = self.world.shape
        before = (self.wear[edge][:, None] / scale) ** k
        after = ((self.wear[edge][:, None] + strokes * np.exp(self.w[edge])[:, None]) / scale) ** k
        return np.exp(before - after - self.world.chips_per_hit * strokes)

    def alive_die(self, die: int, strokes: np.ndarray) -> np.ndarray:
        edges = np.array([i for i, s in enumerate(self.specs) if s.die == die])
        return self.alive(edges, np.broadcast_to(strokes, (len(edges), len(strokes)))).prod(axis=0)


STOCKS = (
    ("carbon steel", 340.0),
    ("carbon steel", 450.0),
    ("stainless", 620.0),
    ("high-strength steel", 800.0),
    ("aluminium", 220.0),
    ("copper alloy", 380.0),
)


def make(world: World, seed: int) -> Shop:
    rng = np.random.default_rng([seed, 7])
    off = {
        name: rng.normal(0, world.off_prior)
        for name in ("constant", "t", "s", "gap", "M2", "PM", "carbide", "coat", "low")
    }
    specs, ms = [], []
    edge_rows: list[tuple] = []
    wear_now, w_now, orders = [], [], []
    for die in range(world.dies):
        family, tensile = STOCKS[rng.integers(len(STOCKS))]
        thickness = float(rng.choice([0.4, 0.6, 0.8, 1.0, 1.2, 1.5, 2.0]))
        u = rng.normal(0, world.between_dies)
        n = int(rng.integers(8, 23))
        first = len(specs)
        for _ in range(n):
            steel = str(rng.choice(["D2", "D2", "M2", "PM", "carbide"], p=[0.35, 0.2, 0.25, 0.15, 0.05]))
            coating = str(rng.choice(["none", "TiN", "AlCrN"], p=[0.7, 0.15, 0.15]))
            gap = float(np.clip(rng.normal(9, 2.5), 3, 18))
            side = "lower" if rng.random() < 0.3 else "upper"
            hrc = float(rng.normal(0, 1))
            specs.append(
                EdgeSpec(
                    die=die, thickness_mm=thickness, tensile_mpa=tensile, stock_family=family, steel=steel,
                    coating=coating, gap_pct=gap, side=side, hardness_above_usual_hrc=hrc,
                    kind="die_section" if side == "lower" else "pierce_punch",
                )
            )  # fmt: skip
            gl = np.log(gap / 10)
            m = (
                np.log(1.5 * world.life_factor) + off["constant"]
                + (-1 + 0.5 * off["t"]) * np.log(thickness) + (-1 + 0.5 * off["s"]) * np.log(tensile / 400)
                + (-0.8 + off["gap"]) * gl**2 + 0.03 * hrc
                + {"D2": 0, "M2": 0.3 + off["M2"], "PM": 0.8 + off["PM"], "carbide": 1.8 + off["carbide"]}[steel]
                + {"none": 0, "TiN": 0.35 + off["coat"], "AlCrN": 0.5 + off["coat"]}[coating]
                + (np.log(2.5) + off["low"] if side == "lower" else 0)
                + u + rng.normal(0, world.between_edges)
            )  # fmt: skip
            ms.append(m)
        rows, wear, w, order_left = _live(world, rng, np.array(ms[first:]), first)
        edge_rows += rows
        wear_now.append(wear)
        w_now.append(np.full(n, w))
        orders.append(order_left)
    columns = np.array([r[:7] for r in edge_rows], float)
    samples = LifeSamples.of(
        columns[:, 0], columns[:, 3], columns[:, 4], lower_hits=columns[:, 2], from_hits=columns[:, 1],
        under_way=columns[:, 5] > 0, lot=columns[:, 6], unknown_age=np.array([r[7] for r in edge_rows], bool),
        sure=np.array([r[8] for r in edge_rows], bool),
    )  # fmt: skip
    return Shop(
        world,
        specs,
        samples,
        np.array(ms),
        np.concatenate(wear_now),
        np.concatenate(w_now),
        np.array(orders),
        edge_rows,
    )


def _live(world: World, rng, m: np.ndarray, first: int):
    """One die's life: rows (edge, from, lower, hits, ended, under way, lot, unknown age, sure)."""
    n = len(m)
    scale = np.exp(m) * 1e5

    def fresh(count):
        return scale[count] * rng.weibull(world.shape, len(count)), rng.exponential(1 / world.chips_per_hit, len(count))

    every = np.arange(n)
    life, chip = fresh(every)
    hits, wear, last_look = np.zeros(n), np.zeros(n), np.zeros(n)
    unknown = np.zeros(n, bool)
    if rng.random() < world.unknown_openings:  # came in mid-life, nobody knows how far
        age = rng.uniform(0, 0.6) * life
        wear, unknown = age.copy(), np.ones(n, bool)
    rows = []
    runs = int(world.years * rng.integers(*world.runs_a_year))
    lot, left, w = -1, 0, 0.0
    typical = rng.uniform(*world.run_hits)
    for _ in range(runs):
        if left == 0:
            lot, left, w = lot + 1, int(rng.integers(1, 6)), rng.normal(0, world.lots) if world.lots else 0.0
        left -= 1
        run = round(typical * rng.uniform(0.5, 1.5))
        last_look = hits.copy()
        hits += run
        wear += run * np.exp(w)
        dull, chipped = wear >= life, hits >= chip
        chipped &= ~dull | (chip - last_look < run * 0.5)
        dull &= ~chipped
        planned = not (dull.any() or chipped.any()) and rng.random() < world.planned * 0.2
        if dull.any() or chipped.any() or planned:
            called = np.flatnonzero(dull)[:1]
            for e in every:
                ended, sure = SHARP, False
                if chipped[e]:
                    ended, sure = CHIPPED, True
                elif dull[e] and (e in called or rng.random() < max(world.found_given, 0.999)):
                    ended, sure = DULL, True
                lower = last_look[e] if ended == DULL else hits[e]
                rows.append((first + e, 0.0, lower, hits[e], ended, 0, lot, bool(unknown[e]), sure))
            life, chip = fresh(every)
            hits, wear, unknown = np.zeros(n), np.zeros(n), np.zeros(n, bool)
    for e in every:
        rows.append((first + e, 0.0, hits[e], hits[e], SHARP, 1, lot, bool(unknown[e]), False))
    return rows, wear, w, float(typical * rng.integers(1, 12))
