"""Scores of a forecast against the true distribution of what is left, in simulated shops where it is known."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from maintenance.life import DULL, LEVELS, prior
from maintenance.life.fleet import FleetFit
from maintenance.life.grids import Theta
from tests.life.simulate import Shop

POINTS, ON_PATHS = 400, 500
LOT_X, LOT_A = np.polynomial.hermite_e.hermegauss(21)
LOT_A = LOT_A / LOT_A.sum()


@dataclass(frozen=True)
class Truth:
    """True chances of going at least x further strokes, from the shop's own constants."""

    shop: Shop

    def edges_alive(self, which: np.ndarray, x: np.ndarray) -> np.ndarray:
        """[edges, x] for x: [edges, x]: what is left of each edge, given what its whole die tells of the lot."""
        world, k = self.shop.world, self.shop.world.shape
        chips = np.exp(-world.chips_per_100k / 1e5 * x)
        if self.shop.paths[0] is not None:
            every = self._on_paths[0]
            return chips * np.stack([_between(*every[e], at) for e, at in zip(which, x, strict=True)])
        h, scale = self.shop.hits_now, self._scale(np.arange(len(self.die)))
        lots = self._lots()[self.die[which]]
        ln = (h[which, None, None] / scale[which][:, None, :]) ** k
        ln = ln - ((h[which, None, None] + x[:, :, None]) / scale[which][:, None, :]) ** k
        return np.einsum("exw,ew->ex", np.exp(ln), lots) * chips

    def die_alive(self, which: np.ndarray, x: np.ndarray) -> np.ndarray:
        """[x]: no edge of `which`, all of one die, dull or chipped; the lot is shared by all."""
        world, k = self.shop.world, self.shop.world.shape
        chips = np.exp(-world.chips_per_100k / 1e5 * len(which) * x)
        if self.shop.paths[0] is not None:
            return chips * _between(*self._on_paths[1][self.die[which[0]]], x)
        h, scale = self.shop.hits_now[which], self._scale(which)
        start = ((h[:, None] / scale) ** k).sum(axis=0)
        ln = start - (((h[:, None, None] + x[None, :, None]) / scale[:, None, :]) ** k).sum(axis=0)
        return np.exp(ln) @ self._lots()[self.die[which[0]]] * chips

    @cached_property
    def die(self) -> np.ndarray:
        return np.array([e.die for e in self.shop.edges])

    def _lots(self) -> np.ndarray:
        """[dies, lots]: what the lot under way may be, given all that went on in it, to one who knows the lives."""
        samples, k = self.shop.samples, self.shop.world.shape
        now = samples.lot[samples.under_way].max()
        mine = samples.pick(samples.lot == now)
        scale = self._scale(mine.edge)
        low, high = ((h[:, None] / scale) ** k for h in (mine.lower_hits, mine.hits))
        ln = np.where((mine.ended == DULL)[:, None], np.log(np.maximum(np.exp(-low) - np.exp(-high), 1e-300)), -high)
        total = np.zeros((self.die.max() + 1, len(LOT_X)))
        np.add.at(total, self.die[mine.edge], ln)
        lots = LOT_A * np.exp(total - total.max(axis=1, keepdims=True))
        return lots / lots.sum(axis=1, keepdims=True)

    @cached_property
    def _on_paths(self) -> tuple[list, list]:
        """Of every edge, and of every die (all its edges still sharp), strokes and the chance; the lots are drawn."""
        k, edges, dies = self.shop.world.shape, [], []
        for d, paths in enumerate(self.shop.paths):
            eta = np.exp(self.shop.ln_eta[self.die == d]) * 1e5
            x = np.geomspace(1e-5 * eta.min(), 9 * eta.max(), ON_PATHS)
            ahead = np.stack(
                [np.interp(x, np.r_[0, s], np.r_[0, w]) for s, w in zip(paths.strokes, paths.wear, strict=True)]
            )
            beyond = x > paths.strokes[:, -1:]
            pace = (paths.wear[:, -1] / paths.strokes[:, -1])[:, None]
            ahead = np.where(beyond, paths.wear[:, -1:] + (x - paths.strokes[:, -1:]) * pace, ahead)
            all_ln, grown = np.zeros(ahead.shape), {}  # a set ground together has the same behind it
            for now, n in zip(paths.wear_now.T[:, :, None], eta, strict=True):
                if now.tobytes() not in grown:
                    grown[now.tobytes()] = now**k - (now + ahead) ** k
                ln = grown[now.tobytes()] * n**-k
                edges.append((x, np.exp(ln).mean(axis=0)))
                all_ln += ln
            dies.append((x, np.exp(all_ln).mean(axis=0)))
        return edges, dies

    def _scale(self, which: np.ndarray) -> np.ndarray:
        """[edges, lots] in hits."""
        return np.exp(self.shop.ln_eta[which][:, None] + self.shop.world.lot_sd * LOT_X) * 1e5


def _between(strokes: np.ndarray, alive: np.ndarray, x: np.ndarray) -> np.ndarray:
    return np.interp(np.log(np.maximum(x, 1e-12)), np.log(strokes), alive, left=1.0)


def truth_of(shop: Shop) -> Truth:
    """One for each shop: the lots that are drawn are worked through once."""
    if not hasattr(shop, "_truth"):
        shop._truth = Truth(shop)
    return shop._truth


def told_alive(remaining: dict[float, float], x: np.ndarray) -> np.ndarray:
    """Chance beyond x read from what the forecast file holds: straight lines in ln(-ln S) over ln x."""
    p, h = np.array(list(remaining)), np.maximum(np.array(list(remaining.values())), 1e-9)
    return np.exp(-np.exp(_line(np.log(x), np.log(h), np.log(-np.log1p(-p)))))


def _line(at, x, y):
    i = np.clip(np.searchsorted(x, at), 1, len(x) - 1)
    return y[i - 1] + (at - x[i - 1]) * (y[i] - y[i - 1]) / np.maximum(x[i] - x[i - 1], 1e-9)


def crps_pair(told: np.ndarray, true: np.ndarray, x: np.ndarray) -> tuple[float, float]:
    """Expected CRPS of a forecast and of the truth: integral (F - G)^2 + G (1 - G), Gneiting and Raftery 2007."""
    oracle = np.trapezoid(true * (1 - true), x)
    return float(np.trapezoid((told - true) ** 2, x) + oracle), float(oracle)


def crps_of_outcome(remaining: dict[float, float], left: float, x: np.ndarray) -> float:
    """CRPS of a forecast once it is known what was left: integral (F(x) - 1[x >= left])^2."""
    f = np.r_[0.0, 1 - told_alive(remaining, x)]
    return float(np.trapezoid((f - np.r_[0.0, x >= left]) ** 2, np.r_[0.0, x]))


@dataclass(frozen=True)
class Score:
    """edge_80, die_80: how often the 80 % band holds. crps: of edges over that of the truth, sums of hits; crps_each:
    the mean of each edge's in its own scale. order_error: mean error of the chance of finishing an order."""

    edge_80: float
    crps: float
    crps_each: float
    die_80: float
    order_error: float


def score(shop: Shop, told_edges: dict[int, dict[float, float]], told_dies: dict[int, dict[float, float]]) -> Score:
    """told_edges: remaining of each edge; told_dies: of each die."""
    truth = truth_of(shop)
    dies = np.array([e.die for e in shop.edges])
    band_edge, pairs, each, band_die, errors = [], [], [], [], []
    which = np.array(sorted(e for e in told_edges if not shop.unknown[e]))
    bands = np.array([[told_edges[e][0.1], told_edges[e][0.9]] for e in which])
    alive = truth.edges_alive(which, bands)
    band_edge = alive[:, 0] - alive[:, 1]
    usual = np.exp(shop.ln_eta[which]) * 1e5
    x = usual[:, None] * np.geomspace(1e-4, 8.0, POINTS)[None]
    true = truth.edges_alive(which, x)
    for i, e in enumerate(which):
        grid = np.r_[0.0, x[i]]
        pair = crps_pair(np.r_[1.0, told_alive(told_edges[e], x[i])], np.r_[1.0, true[i]], grid)
        pairs.append(pair)
        each.append((pair[0] / usual[i], pair[1] / usual[i]))
    for d, remaining in told_dies.items():
        mine = np.flatnonzero(dies == d)
        if shop.unknown[mine].any():
            continue
        low, high = truth.die_alive(mine, np.array([remaining[0.1], remaining[0.9]]))
        band_die.append(low - high)
        order = np.array([shop.order_hits[d]])
        errors.append(abs(float(told_alive(remaining, order)[0] - truth.die_alive(mine, order)[0])))
    pairs, each = np.array(pairs), np.array(each)
    return Score(
        edge_80=float(band_edge.mean()),
        crps=float(pairs[:, 0].sum() / pairs[:, 1].sum()),
        crps_each=float(each[:, 0].sum() / each[:, 1].sum()),
        die_80=float(np.mean(band_die)),
        order_error=float(np.mean(errors)),
    )


def against_outcomes(shop: Shop, told_edges: dict[int, dict[float, float]]) -> tuple[float, float]:
    """How often the 80 % band held what really happened next, and the mean CRPS in parts of the usual life."""
    held, crps = [], []
    for e, remaining in told_edges.items():
        left, usual = shop.true_left[e], np.exp(shop.ln_eta[e]) * 1e5
        held.append(remaining[0.1] <= left <= remaining[0.9])
        crps.append(crps_of_outcome(remaining, left, usual * np.geomspace(1e-4, 8.0, POINTS)) / usual)
    return float(np.mean(held)), float(np.mean(crps))


def dies_against_outcomes(shop: Shop, told_dies: dict[int, dict[float, float]]) -> tuple[float, float]:
    """How often the 80 % band of a die held what really happened, and the Brier score of finishing an order."""
    die = np.array([e.die for e in shop.edges])
    held, brier = [], []
    for d, remaining in told_dies.items():
        left = shop.true_left[die == d].min()
        held.append(remaining[0.1] <= left <= remaining[0.9])
        order = np.array([shop.order_hits[d]])
        brier.append((told_alive(remaining, order)[0] - (left > order[0])) ** 2)
    return float(np.mean(held)), float(np.mean(brier))


def knowing_the_fleet(fit: FleetFit, shop: Shop) -> FleetFit:
    """The fit with the fleet's true constants put in: what is left to lose is what each edge and die has of its own."""
    world = shop.world
    b = np.zeros(len(prior.NAMES))
    known = {
        "constant": np.log(1.5 * world.scale),
        "ln thickness in mm": world.thickness_power,
        "ln (tensile / 400 MPa)": world.tensile_power,
        "HRC above the grade's usual": world.hardness,
        "ln squared (gap / 10 %)": world.gap_curve,
        "lower side against the punch": np.log(world.lower),
        **{f"ln (gap / 10 %) in {family}": 0.1 for family in prior.FAMILIES},
        **{f"{name} against D2": value for name, value in world.steel.items() if name != "D2"},
        **{f"{name} against none": value for name, value in world.coat.items() if name != "none"},
    }
    for name, value in known.items():
        b[prior.NAMES.index(name)] = value
    theta = Theta(b=b, ln_k=np.log(world.shape), ln_tu=np.log(world.tu), ln_tv=np.log(world.tv))
    return replace(fit, best=theta, sw=world.lot_sd).alone()


__all__ = ["LEVELS", "Score", "Truth", "crps_pair", "score", "told_alive"]
