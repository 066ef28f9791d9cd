"""Simulated shops with known truth, made from their own assumptions and not from the fit's.

A shop has dies of random stock and build. Each die runs in orders; within an order in runs. At the end of a run the
toolroom looks at the die. A dull or chipped edge is renewed; at the end of an order the whole set is ground when the
most worn edge has run a planned share of what the toolroom takes for its life (not the truth). Lives are Weibull by
default with their own constants, die effects and edge effects; other worlds change what the name says.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from maintenance.life.cycles import CHIPPED, DULL, SHARP, EdgeSpec, LifeSamples, Passed, Touches
from maintenance.life.readings import Readings


@dataclass(frozen=True, kw_only=True)
class World:
    dies: int = 40
    years: float = 5.0
    shape: float = 3.0
    tu: float = 0.30
    tv: float = 0.25
    chips_per_100k: float = 0.02
    lot_sd: float = 0.0
    lot_for_ever: bool = True  # with set_each_order: what is ahead is cut from the lot under way, however long
    coil: float = 0.0  # hits of a coil, in usual orders; 0: each order is a lot of its own
    coil_named: bool = True  # runs name their coil, and end with it; else the records know of orders only
    scale: float = 1.0  # of all lives
    thickness_power: float = -0.8
    tensile_power: float = -1.2
    gap_curve: float = -0.6
    hardness: float = 0.04
    lower: float = 2.2
    steel: dict = field(default_factory=lambda: {"D2": 0.0, "A2": -0.3, "M2": 0.35, "PM": 0.7, "carbide": 1.5})
    coat: dict = field(default_factory=lambda: {"none": 0.0, "TiN": 0.25, "TiCN": 0.5, "AlCrN": 0.6})
    orders_per_year: float = 9.0
    runs_per_order: int = 5
    order_share: float = 0.22  # of the usual life of the die's shortest-lived edge
    planned: float = 0.55
    sides_apart: bool = False  # punches and die sections are ground each when their own most worn is due
    set_each_order: bool = False  # every order starts with a fresh set
    set_with_dull: float = 0.0  # chance that the whole set is ground when an edge is found dull or chipped
    dressed: float = 0.0  # chance that an edge found dull is touched with a stone in the press and not ground
    renewed: float = 0.4  # and so much of its wear is given back
    renewed_sd: float = 0.0  # from one touch to the next
    told_as_one: bool = False  # and then every edge of it is written down as dull
    looks_a_life: float = (
        0.0  # looks come every so many hits, a round count: so many in the usual life; 0: at runs' ends
    )
    looks_every: float = 0.0  # the same in hits, one for the whole shop
    pulled_at_round: bool = False  # the set is pulled at a round count, its plan, and written down as dull
    drift_at_year: float | None = None  # lives halved from then
    drift_dies: float = 0.0
    unknown_opening: float = 0.0
    readings: float = 0.0  # chance that an edge is measured after a run
    reading_gamma: float = 0.9
    reading_cycle_sd: float = 0.15
    reading_sd: float = 0.12


# As the goals are described: about 15 edges a die, nine cycles in ten end before the edge is dull (`planned` is set
# so in each world), years of records. The lower side is ground in its own time, a half to a third as often as the
# punches (common practice). An order a fortnight: 45 cycles an edge in five years, as many as where lots differ.
DESCRIBED = {"sides_apart": True, "orders_per_year": 27.0, "planned": 0.45}
EACH_ORDER = {"set_each_order": True, "order_share": 0.55}
SHORT = {
    "scale": 0.25,
    "runs_per_order": 2,
    "thickness_power": -0.4,
    "tensile_power": -0.6,
    "gap_curve": -0.1,
    "lower": 1.4,
    "order_share": 0.5,
}
WORLDS = {
    "usual": World(**DESCRIBED),
    "shape 2": World(shape=2.0, **{**DESCRIBED, "planned": 0.28}),
    "many chips": World(chips_per_100k=0.25, **DESCRIBED),
    "shape 5": World(shape=5.0, **{**DESCRIBED, "planned": 0.60}),
    "1.5 years": World(years=1.5, **DESCRIBED),
    "lots differ": World(lot_sd=0.45, **EACH_ORDER),
    "short lives": World(**SHORT),
    "short lives, round looks": World(**SHORT, looks_every=10_000),
    "the same, 1.2 years": World(**SHORT, looks_every=10_000, years=1.2),
    "pulled at a round count": World(**DESCRIBED, looks_a_life=6.0, pulled_at_round=True),
    "set told dull as one": World(**DESCRIBED | {"sides_apart": False, "set_with_dull": 1.0}, told_as_one=True),
    "usual, 20 cycles an edge": World(**{**DESCRIBED, "orders_per_year": 12.0}),
    # Harsher than described: the whole die is ground whenever one punch is due, so that the lower side hardly ever goes
    # dull, 15 cycles an edge in five years, and with shape 5 nineteen cycles in twenty end before the edge is dull.
    "usual, one set": World(),
    "shape 2, one set": World(shape=2.0),
    "shape 5, one set": World(shape=5.0),
    "1.5 years, one set": World(years=1.5),
    "usual, set each order": World(**EACH_ORDER),
    "usual, set when dull": World(set_with_dull=1.0, planned=0.9),
    "lots differ within a cycle": World(lot_sd=0.45),
    "lots differ, orders end": World(lot_sd=0.45, lot_for_ever=False, **EACH_ORDER),
    "orders differ inside a cycle": World(lot_sd=0.45, **DESCRIBED),
    "coils differ, named": World(lot_sd=0.45, coil=0.6, **DESCRIBED),
    "dull edges dressed": World(**DESCRIBED, dressed=0.5),
    "dressed, 1.2 years": World(**DESCRIBED | {"years": 1.2}, dressed=0.3),
    "dressed, it gives nothing back": World(**DESCRIBED, dressed=0.5, renewed=0.0),
    "dressed, each touch otherwise": World(**DESCRIBED, dressed=0.5, renewed_sd=0.2),
    "coils differ, not named": World(lot_sd=0.45, coil=0.6, coil_named=False, **DESCRIBED),
}


PATHS, LOTS_AHEAD, DRAWN = 1600, 150, 16_000  # 400 and 4,000 put 0.01 of noise into the error of an order


@dataclass(frozen=True)
class Paths:
    """Of one die whose lots change, as the lots of the cycles under way may have been to one who knows each edge (given
    all that began and ended within them) and as those to come may fall out. wear_now: [paths, edges] hits on each, in
    hits of a usual lot; strokes, wear: [paths, lots] further strokes and the wear they bring."""

    wear_now: np.ndarray
    strokes: np.ndarray
    wear: np.ndarray


@dataclass
class Shop:
    """Records, and the truth: ln_eta [edges] without the lot; hits_now [edges]; die [edges]; order_hits [dies]."""

    world: World
    edges: list[EdgeSpec]
    samples: LifeSamples
    ln_eta: np.ndarray
    hits_now: np.ndarray
    order_hits: np.ndarray
    unknown: np.ndarray
    readings: Readings
    true_left: np.ndarray  # hits in which each edge really goes dull or chips, whichever is first
    burr_part: np.ndarray  # of ln burr, of each cycle under way: its own part
    paths: list[Paths | None]  # [dies]
    moment: np.ndarray  # [cycles] strokes of the die at their ends
    rest: np.ndarray  # [dies] strokes left of the lot under way


def shop(world: World, seed: int) -> Shop:
    edges: list[EdgeSpec] = []
    ln_eta: list[float] = []
    names = ("edge", "from", "lower", "hits", "ended", "open", "unknown", "lot", "at", "cut", "touched")
    columns: dict[str, list] = {n: [] for n in names}
    hits_now, order_hits, unknown_now, readings, left, parts, paths, rest = [], [], [], [], [], [], [], []
    for die in range(world.dies):
        rng = np.random.default_rng([seed, die])  # a die's past is the same however long the shop is watched
        mine = _build(world, rng, die)
        truth = np.array([_ln_eta(world, spec) for spec in mine])
        truth += rng.normal(0, world.tu) + rng.normal(0, world.tv, len(mine))
        offset = len(edges)
        edges += mine
        ln_eta += list(truth)
        thickness = mine[0].thickness_mm
        found = _run_die(world, rng, truth, offset, columns, readings, thickness)
        now, unknown, order, true_left, ahead, part, of_lot = found
        rest.append(of_lot)
        paths.append(ahead)
        left += list(true_left)
        parts += list(part)
        hits_now += list(now)
        unknown_now += list(unknown)
        order_hits.append(order)
    samples = LifeSamples.of(
        columns["edge"],
        columns["hits"],
        columns["ended"],
        lower_hits=columns["lower"],
        from_hits=columns["from"],
        under_way=columns["open"],
        unknown_age=columns["unknown"],
        lot=columns["lot"],
        passed=None if world.lot_for_ever and world.set_each_order else Passed.of(columns["cut"]),
        touched=Touches.of(columns["touched"]) if world.dressed else None,
    )
    return Shop(
        world,
        edges,
        samples,
        np.array(ln_eta),
        np.array(hits_now),
        np.array(order_hits),
        np.array(unknown_now, bool),
        Readings.of(*np.array(readings).reshape(-1, 3).T) if readings else Readings.of([], [], []),
        np.array(left),
        np.array(parts),
        paths,
        np.array(columns["at"], float),
        np.array(rest),
    )


def _build(world: World, rng, die: int) -> list[EdgeSpec]:
    family, low, high = [
        ("carbon steel", 300, 420),
        ("stainless", 550, 750),
        ("high-strength steel", 600, 1000),
        ("aluminium", 120, 280),
        ("copper alloy", 250, 500),
    ][rng.integers(5)]
    thickness = float(np.round(np.exp(rng.uniform(np.log(0.4), np.log(3.0))), 2))
    tensile = float(rng.uniform(low, high))
    steel = str(rng.choice(["D2", "A2", "M2", "PM", "carbide"], p=[0.45, 0.1, 0.2, 0.2, 0.05]))
    coat = str(rng.choice(["none", "TiN", "TiCN", "AlCrN"], p=[0.55, 0.2, 0.1, 0.15]))
    gap = float(np.exp(rng.normal(np.log(9), 0.35)))
    specs = []
    for _ in range(rng.integers(3, 13)):
        cut_gap = float(np.clip(gap * np.exp(rng.normal(0, 0.12)), 2, 25))
        hardness = float(np.round(rng.normal(0, 1.2), 1))
        common = {
            "die": die,
            "thickness_mm": thickness,
            "tensile_mpa": tensile,
            "stock_family": family,
            "gap_pct": cut_gap,
        }
        specs.append(
            EdgeSpec(**common, steel=steel, coating=coat, hardness_above_usual_hrc=hardness, kind="pierce_punch")
        )
        specs.append(EdgeSpec(**common, steel="D2", coating="none", side="lower", kind="die_button"))
    return specs


def _ln_eta(world: World, spec: EdgeSpec) -> float:
    gap = np.log(spec.gap_pct / 10)
    value = np.log(1.5 * world.scale) + world.thickness_power * np.log(spec.thickness_mm)
    value += world.tensile_power * np.log(spec.tensile_mpa / 400) + world.gap_curve * gap**2 + 0.1 * gap
    value += world.steel[spec.steel] + world.coat[spec.coating]
    value += world.hardness * (spec.hardness_above_usual_hrc or 0.0)
    return float(value + (np.log(world.lower) if spec.side == "lower" else 0.0))


def _lots_as_they_may_be(world: World, rng, eta, cycles) -> dict[int, np.ndarray]:
    """PATHS draws of every lot that a cycle under way has cut, by what happened within these lots."""
    lots = sorted({lot for *_, how, cut in cycles if how == "open" for lot in cut})
    w = {lot: rng.normal(0, world.lot_sd, DRAWN) for lot in lots}
    ln = np.zeros(DRAWN)
    for e, lower, hits, how, cut in cycles:
        if cut and set(cut) <= set(lots):
            worn = sum(h * np.exp(-w[lot]) for lot, h in cut.items()) / eta[e]
            if how == DULL:
                before = worn * lower / hits
                ln += np.log(np.maximum(np.exp(-(before**world.shape)) - np.exp(-(worn**world.shape)), 1e-300))
            else:
                ln -= worn**world.shape
    p = np.cumsum(np.exp(ln - ln.max()))
    chosen = np.searchsorted(p / p[-1], (np.arange(PATHS) + rng.random()) / PATHS)
    chosen = rng.permutation(np.minimum(chosen, DRAWN - 1))
    return {lot: one[chosen] for lot, one in w.items()}


def _lot_of(world: World, rng) -> float:
    return rng.normal(0, world.lot_sd) if world.lot_sd else 0.0


def _nice(hits: float, whole: float = 1000.0) -> float:
    """The nearest multiple of a round count, at least one."""
    if whole == 1000.0:
        whole = max(c for c in (1000.0, 2500.0, 5000.0, 10_000.0, 20_000.0, 50_000.0) if c <= max(hits, 1000.0))
    return max(round(hits / whole), 1) * whole


def _cut_at(pieces, now: float, plan: float):
    """Runs cut where the set comes to its plan."""
    ends = np.round(now + np.cumsum(pieces))
    ends = np.unique(np.r_[ends, np.arange(plan, ends[-1] + 1, plan)])
    return np.diff(np.r_[now, ends[ends > now]])


def _run_die(world: World, rng, truth, offset: int, columns: dict, readings: list, thickness: float):
    n = len(truth)
    eta = np.exp(truth) * 1e5
    guess = eta.min() * np.exp(rng.normal(0, 0.3))
    order_usual = max(world.order_share * guess, 200.0)
    orders = max(round(world.orders_per_year * world.years), 1)
    unknown = rng.random(n) < world.unknown_opening
    on_edge, wear = np.zeros(n), np.zeros(n)
    before = np.where(unknown, rng.uniform(0, 0.6, n) * eta, 0.0)  # not in the records
    halves = rng.random() < world.drift_dies
    step_round = _nice(guess / world.looks_a_life) if world.looks_a_life else world.looks_every
    plan = _nice(world.planned * guess, whole=max(step_round, 5000.0))
    drift_order = world.orders_per_year * (world.years if world.drift_at_year is None else world.drift_at_year)

    def add(e, lower, hits, ended_as, lot, open_):
        for name, value in (
            ("edge", offset + e),
            ("from", max(touched[e], default=0.0)),
            ("lower", lower),
            ("hits", hits),
            ("ended", ended_as),
            ("open", open_),
            ("unknown", unknown[e]),
            ("lot", lot),
            ("at", strokes),
            ("cut", list(cut[e].items())),
            ("touched", [(0, hits_then) for hits_then in touched[e]]),
        ):
            columns[name].append(value)
        ended.append((e, lower, hits, "open" if open_ else ended_as, dict(truly[e])))
        for hits_then, value in pending[e]:
            readings.append((len(columns["edge"]) - 1, hits_then, value))
        pending[e] = []

    pending, strokes = [[] for _ in range(n)], 0  # strokes of the die up to now
    cut: list[dict[int, float]] = [{} for _ in range(n)]  # hits in each lot, of the cycle under way, as recorded
    truly: list[dict[int, float]] = [{} for _ in range(n)]  # and as it was
    ended: list[tuple] = []  # edge, hits at the look before and at the end, how, lots it truly cut
    touched: list[list[float]] = [[] for _ in range(n)]  # hits at each touch since the edge was fresh
    coils, coil, coil_left, coil_w = 0, world.coil * order_usual, 0.0, 0.0
    cycle_noise = rng.normal(0, world.reading_cycle_sd, n)

    def measure(e, whole):
        share = on_edge[e] / whole
        ln = np.log(0.05) + 0.3 * np.log(thickness) + world.reading_gamma * np.log(share) + cycle_noise[e]
        pending[e].append((on_edge[e], 0.005 + np.exp(ln + rng.normal(0, world.reading_sd))))

    def grind_set(order, which, since=None):
        """since: hits at the look before, where all are written down as dull."""
        for e in which:
            if on_edge[e] > 0 and since is None:
                add(e, on_edge[e], on_edge[e], SHARP, named, False)
            elif on_edge[e] > 0:
                add(e, since[e], on_edge[e], DULL, named, False)
        on_edge[which], wear[which], unknown[which], before[which] = 0.0, 0.0, False, 0.0
        for e in which:
            cut[e], truly[e], touched[e] = {}, {}, []
        unit[which] = rng.exponential(size=len(which))
        cycle_noise[which] = rng.normal(0, world.reading_cycle_sd, len(which))

    every = np.arange(n)
    sides = [every[::2], every[1::2]] if world.sides_apart else [every]
    guesses = [guess, eta[1::2].min() * np.exp(rng.normal(0, 0.3))] if world.sides_apart else [guess]
    unit = rng.exponential(size=n)  # of the cycle under way
    for order in range(orders + world.set_each_order):
        under_way = order == orders  # part of an order, so that there is something on a set renewed at each
        lot = rng.normal(0, world.lot_sd) if world.lot_sd else 0.0
        factor = 0.5 if halves and order >= drift_order else 1.0
        wear_a_hit = np.exp(-lot) / factor
        named = order
        size = order_usual * rng.gamma(6.0, 1 / 6.0)
        pieces = rng.dirichlet(np.full(world.runs_per_order, 8.0)) * size
        if step_round:
            pieces = np.full(max(round(size / step_round), 1), step_round)
        elif world.pulled_at_round:
            pieces = _cut_at(pieces, on_edge.max(), plan)
        order_left = 0.0
        if under_way:
            done = rng.integers(1, max(world.runs_per_order, 2))
            order_left, pieces = pieces[done:].sum(), pieces[:done]
        pieces = list(pieces)
        while pieces:
            step = max(round(pieces.pop(0)), 1)
            worn_here, of_lots = 0.0, [(order, step)]
            if coil:
                if coil_left < 1:
                    coils, coil_left, coil_w = coils + 1, round(coil * rng.gamma(6.0, 1 / 6.0)) + 1, _lot_of(world, rng)
                if world.coil_named:
                    named = coils
                    if step > coil_left:  # the run ends with its coil
                        pieces.insert(0, step - coil_left)
                        step = coil_left
                to_go, of_lots = step, []
                while to_go > 0:
                    if coil_left < 1:
                        coils += 1
                        coil_left, coil_w = round(coil * rng.gamma(6.0, 1 / 6.0)) + 1, _lot_of(world, rng)
                    some = min(coil_left, to_go)
                    of_lots.append((coils, some))
                    coil_left, to_go, worn_here = coil_left - some, to_go - some, worn_here + some * np.exp(-coil_w)
                wear_a_hit = worn_here / step / factor
            strokes += step
            start, worn = on_edge.copy(), wear.copy()
            on_edge += step
            wear += step * wear_a_hit
            for mine in cut:
                mine[named] = mine.get(named, 0.0) + step
            for mine in truly:
                for lot_cut, hits_in_it in of_lots:
                    mine[lot_cut] = mine.get(lot_cut, 0.0) + hits_in_it
            opened = False
            chip_at = rng.exponential(1e5 / max(world.chips_per_100k, 1e-9), n)
            life = eta * ((before / eta) ** world.shape + unit) ** (1 / world.shape) - before
            if world.readings:
                for e in every[rng.random(n) < world.readings]:
                    measure(e, on_edge[e] + (life[e] - wear[e]) / wear_a_hit)
            for e in np.flatnonzero((life <= wear) | (chip_at <= step)):
                dull = life[e] <= wear[e]
                chip = chip_at[e] <= step
                if dull and (not chip or (life[e] - worn[e]) / wear_a_hit <= chip_at[e]):
                    add(e, start[e], on_edge[e], DULL, named, False)
                    if world.dressed and rng.random() < world.dressed:
                        back = np.clip(rng.normal(world.renewed, world.renewed_sd), 0.0, 1.0)
                        touched[e].append(on_edge[e])
                        before[e], wear[e], unit[e] = (1 - back) * (before[e] + wear[e]), 0.0, rng.exponential()
                        cut[e], truly[e] = {}, {}
                        continue
                else:
                    add(e, on_edge[e], on_edge[e], CHIPPED, named, False)
                on_edge[e], wear[e], unit[e], unknown[e], before[e] = 0.0, 0.0, rng.exponential(), False, 0.0
                cut[e], truly[e], touched[e] = {}, {}, []
                cycle_noise[e] = rng.normal(0, world.reading_cycle_sd)
                opened = True
            for side in sides if world.pulled_at_round else ():
                at_plan = side[on_edge[side] == plan]
                if len(at_plan):
                    grind_set(order, at_plan, start)
                    grind_set(order, side[on_edge[side] > 0])
            if opened and rng.random() < world.set_with_dull:
                grind_set(order, every, start if world.told_as_one else None)
        for side, due in zip(sides, guesses, strict=True) if not (under_way or world.pulled_at_round) else ():
            if world.set_each_order or (on_edge[side].max() >= world.planned * due and rng.random() < 0.85):
                grind_set(order, side)
    life = eta * ((before / eta) ** world.shape + unit) ** (1 / world.shape) - before
    left = (life - wear) / wear_a_hit
    paths, rest = None, 0.0
    if world.lot_sd and not (world.set_each_order and world.lot_for_ever):
        own = np.random.default_rng(rng.integers(2**62))  # so many draws as one likes, and the shop stays as it is
        sizes = (coil or order_usual) * own.gamma(6.0, 1 / 6.0, (PATHS + 1, LOTS_AHEAD))
        rates = np.exp(-own.normal(0, world.lot_sd, sizes.shape))
        rest = coil_left if coil else order_left
        sizes[:, 0], rates[0, 0] = max(rest, 1e-3), np.exp(-coil_w) if coil else wear_a_hit
        ahead = np.cumsum(np.stack([sizes, sizes * rates])[:, 0], axis=1)
        left = np.interp(life - wear, np.r_[0.0, ahead[1]], np.r_[0.0, ahead[0]])
        open_now = [(e, on_edge[e], on_edge[e], "open", truly[e]) for e in every]
        w = _lots_as_they_may_be(world, own, eta, ended + open_now)
        wear_now = [sum((h * np.exp(-w[lot]) for lot, h in truly[e].items()), np.zeros(PATHS)) for e in every]
        now = coils if coil else order
        if now in w:
            rates[1:, 0] = np.exp(-w[now])
        ahead = np.cumsum(np.stack([sizes, sizes * rates])[:, 1:], axis=2)
        paths = Paths(np.array(wear_now).T, *ahead)
    for e in every:
        if world.readings and on_edge[e] > 0 and rng.random() < 2 * world.readings:
            measure(e, on_edge[e] + left[e])
        add(e, on_edge[e], on_edge[e], SHARP, named, True)
    left = np.minimum(left, rng.exponential(1e5 / max(world.chips_per_100k, 1e-9), n))
    worn = np.where([bool(mine) for mine in touched], before + wear, on_edge + before)
    return worn, unknown, order_usual * rng.gamma(6.0, 1 / 6.0), left, paths, cycle_noise, rest
