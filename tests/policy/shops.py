"""A shop whose dies run on by rules of when to pull and what to grind, with known truth and common random numbers.

The shop before is that of tests/life/simulate.py: its records are what the rules may know, through the engine's fit.
From there each die runs the same orders under every rule; an edge's n-th life, and the strokes at which chips strike,
are the same whatever the rule. Looks come every so many hits of an order and at its end; a dull edge is found at a
look, a chip stops the press at once. Counted is what can be avoided: teardowns, grinds, dull edges found, orders
broken off; what a chip costs by itself is paid under every rule and left out.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from maintenance.life import fit_fleet, handbook_interval, predict_fleet
from maintenance.life.prior import LN_K
from maintenance.policy import Costs, DieInterval, Lives, looks, of_die, pull_at, run_or_sharpen
from maintenance.policy.sets import own_rates, worth_grinding
from tests.life.simulate import World, shop

LOOK = 10_000.0
LOW = {"teardown": 80.0, "dull": 150.0, "pull": 60.0}
HIGH = {"teardown": 80.0, "dull": 600.0, "pull": 150.0}
GRIND = (20.0, 50.0)
FIXED = 0.45  # a shop pulls every die after so many hits: this share of what the first edge of its middle die lasts
FEW, MANY = 0.02, 0.1  # chips in 100,000 hits of an edge
SHOP = World(scale=0.7, looks_every=LOOK, orders_per_year=12.0, planned=0.45)


@dataclass(frozen=True)
class Die:
    """ln_eta: [edges] the truth. believed, ln_sd: [edges] what the engine says of it, believed_shape too. unit: [edges,
    n] exponential draws of its lives; chips: per edge the strokes at which one strikes; orders: [orders] hits."""

    shape: float
    ln_eta: np.ndarray
    believed_shape: float
    believed: np.ndarray
    ln_sd: np.ndarray
    chip_rate: np.ndarray
    believed_chips: np.ndarray
    unit: np.ndarray
    chips: list[np.ndarray]
    orders: np.ndarray
    grind: np.ndarray
    handbook: np.ndarray  # [edges] ln of the scale by the wear model alone

    def costs(self, of: dict, *, known: bool = False) -> Costs:
        rate = self.chip_rate if known else self.believed_chips
        return Costs(grind=self.grind, chip=300.0, chip_rate=rate, look_hits=LOOK, **of)


def dies(*, count: int, chips: float, orders: int, seed: int) -> list[Die]:
    """Dies of a simulated shop, with what its records tell of them."""
    made = shop(replace(SHOP, dies=count, chips_per_100k=chips), seed)
    fit = fit_fleet(made.edges, made.samples)
    told = predict_fleet(fit, made.edges, made.samples)
    shape = fit.best.k
    of_die = np.array([e.die for e in made.edges])
    found = []
    for d in range(count):
        rng = np.random.default_rng([seed, 77, d])
        mine = np.flatnonzero(of_die == d)
        truth = made.ln_eta[mine] + np.log(1e5)
        edges = [told[d].edges[int(e)] for e in mine]
        usual = np.log([e.usual_hits for e in edges]) - np.log(np.log(2)) / shape
        sd = np.log([e.usual_band_hits[1] / e.usual_band_hits[0] for e in edges]) / 2 / 1.2816
        first = np.exp(truth.min())
        size = first * np.exp(rng.uniform(np.log(0.25), np.log(1.2)))
        of_orders = np.maximum(size * rng.gamma(6.0, 1 / 6.0, orders), LOOK / 2).round()
        strokes, rate = of_orders.sum(), chips / 1e5
        struck = [np.sort(rng.uniform(0, strokes, rng.poisson(rate * strokes))) for _ in mine]
        n = int(4 * strokes / LOOK) + 8
        found.append(
            Die(
                shape=made.world.shape,
                ln_eta=truth,
                believed_shape=shape,
                believed=usual,
                ln_sd=sd,
                chip_rate=np.full(len(mine), rate),
                believed_chips=np.array([fit.chip_rates.of(made.edges[e]) for e in mine]) / 1e5,
                unit=rng.exponential(size=(len(mine), n)).astype(np.float32),
                chips=struck,
                orders=of_orders,
                grind=rng.uniform(*GRIND, len(mine)).round(),
                handbook=np.log([handbook_interval(made.edges[e]).usual_hits for e in mine])
                - np.log(np.log(2)) / np.exp(LN_K[0]),
            )
        )
    return found


@dataclass(frozen=True)
class Rule:
    """when: "economic" (orders.pull_at), "values" (as pages decide: orders.run_or_sharpen), "interval", "never",
    "shop", or a chance of not finishing over which it is sharpened first. which: "saving", "whole", "bad", "shop".
    known: by the true lives, else by what the engine says. by: what is taken for the lives: "spread" (what the engine
    says, with how unsure it is), "mean" (without), "handbook". wrong: by what factor what a dull edge costs is
    misjudged."""

    when: str | float
    which: str
    known: bool = False
    by: str = "spread"
    wrong: float = 1.0


class Mind:
    """What a rule knows of a die."""

    def __init__(self, die: Die, rule: Rule, of: dict, fixed: float) -> None:
        self.rule, self.costs = rule, die.costs(of, known=rule.known).times("dull", rule.wrong)
        by_handbook = rule.by == "handbook"
        self.shape = die.shape if rule.known else float(np.exp(LN_K[0])) if by_handbook else die.believed_shape
        self.eta = np.exp(die.ln_eta if rule.known else die.handbook if by_handbook else die.believed)
        self.sd = die.ln_sd if not rule.known and rule.by == "spread" else np.zeros(len(self.eta))
        n_looks = max(float(np.median(np.ceil(die.orders / LOOK))), 1.0)
        self.fresh = self.lives(np.zeros(len(self.eta)))
        self.usual: DieInterval = of_die(self.fresh, self.costs, order_looks=n_looks)
        self.rates = own_rates(self.fresh, self.costs) if rule.which == "saving" else None
        self.fixed = FIXED * fixed
        self.troubles = 0

    def lives(self, on_it: np.ndarray) -> Lives:
        return Lives.of_weibull(self.shape, self.eta, on_it, ln_sd=self.sd)

    def look(self, on_it: np.ndarray, since: float, at: np.ndarray, *, start: bool) -> int:
        """The look to pull at: 0 before the rest of the order, its number of looks for not at all."""
        n, when = len(at), self.rule.when
        if when == "values":
            if start:
                verdict = run_or_sharpen(self.lives(on_it), self.fresh, self.costs, at[-1], self.usual)
                pull = verdict.pulls[0] if verdict.pulls else at[-1]
                return 0 if verdict.margin > 0 else int(np.searchsorted(at, pull - 1e-6)) + 1
            when = "economic"
        if when == "economic":
            found = pull_at(self.lives(on_it), self.costs, self.usual.rate, at).look
            return found if start or found else (1 if n > 1 else n)
        if not start or when == "never":
            return n
        if when == "interval":
            return 0 if since + at[-1] / 2 > self.usual.reach else n
        if when == "shop":
            return 0 if since + at[-1] / 2 > self.fixed else n
        risk = 1 - np.exp(-self.lives(on_it).die(at[-1:])[0])
        return 0 if risk > when else n

    def grinds(self, on_it: np.ndarray, bad: np.ndarray) -> np.ndarray:
        which = self.rule.which
        if which == "saving":
            lives = self.lives(np.where(bad, 0.0, on_it))
            return worth_grinding(lives, self.fresh, self.costs, self.usual, bad=bad, rates=self.rates).grind
        if which == "bad" and bad.any():
            return bad
        if which == "shop" and bad.any():
            self.troubles += 1
            return bad if self.troubles % 5 == 0 else np.ones(len(bad), bool)
        return np.ones(len(bad), bool)


def run(die: Die, rule: Rule, of: dict, fixed: float) -> tuple[float, int, int]:
    """Money that could be avoided over all orders; teardowns; dull ends. fixed: what the shop goes by, see FIXED."""
    mind, costs = Mind(die, rule, of, fixed), die.costs(of, known=True)
    eta, n = np.exp(die.ln_eta), len(die.ln_eta)
    on_it, nth = np.zeros(n), np.zeros(n, int)
    life = eta * die.unit[:, 0].astype(float) ** (1 / die.shape)
    next_chip = [0] * n
    strokes, since, paid, torn, dull_ends = 0.0, 0.0, 0.0, 0, 0

    def teardown(bad: np.ndarray) -> None:
        nonlocal paid, torn, since, life
        ground = mind.grinds(on_it, bad)
        paid += costs.teardown + float(die.grind[ground].sum())
        torn, since = torn + 1, 0.0
        on_it[ground] = 0.0
        nth[ground] += 1
        life = np.where(ground, eta * die.unit[np.arange(n), nth].astype(float) ** (1 / die.shape), life)

    for hits in die.orders:
        at, done = looks(hits, LOOK), 0.0
        if (on_it > 0).any() and (pull := mind.look(on_it, since, at, start=True)) == 0:
            teardown(np.zeros(n, bool))
            pull = mind.look(on_it, since, at, start=False)
        elif not (on_it > 0).any():
            pull = mind.look(on_it, since, at, start=False)
        while done < hits:
            ahead = at[at > done + 1e-9] - done
            pull = min(pull, len(ahead))
            planned = ahead[pull - 1] if pull else ahead[0]
            dull_at = float((life - on_it).min())
            found = ahead[np.searchsorted(ahead, dull_at)] if dull_at <= ahead[-1] else np.inf
            chips = [c[i] - strokes if i < len(c) else np.inf for c, i in zip(die.chips, next_chip, strict=True)]
            chip = float(min(chips))
            run_on = min(planned, found, chip, ahead[-1])
            on_it += run_on
            strokes, since, done = strokes + run_on, since + run_on, done + run_on
            bad = life <= on_it + 1e-9
            since_look = done - max([q for q in at if q < done - 1e-9], default=0.0)
            if chip <= run_on:
                e = int(np.argmin(chips))
                next_chip[e] += 1
                chipped = bad.copy()
                chipped[e] = True
                inside = done < hits - 1e-9
                paid += bad.any() * costs.dull * since_look / LOOK + inside * costs.pull
                dull_ends += int(bad.any())
                teardown(chipped)
            elif bad.any():
                paid += costs.dull * since_look / LOOK + (done < hits - 1e-9) * costs.pull
                dull_ends += 1
                teardown(bad)
            elif run_on == planned and done < hits - 1e-9:
                paid += costs.pull
                teardown(bad)
            if done < hits - 1e-9:
                pull = mind.look(on_it, since, at[at > done + 1e-9] - done, start=False)
    return paid, torn, dull_ends


def total(made: list[Die], rule: Rule, of: dict) -> float:
    """Money a 100,000 hits of the shop."""
    usual = float(np.median([np.exp(die.ln_eta.min()) for die in made]))
    return sum(run(die, rule, of, usual)[0] for die in made) / sum(die.orders.sum() for die in made) * 1e5
