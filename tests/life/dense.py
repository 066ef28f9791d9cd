"""A slow, plain second implementation of the life model, for small fleets: nothing of the engine's is used here.

The model, from its definition. Edge e of die D has m_e = x_e'b + u_D + v_e, u ~ N(0, tu^2), v ~ N(0, tv^2); a cycle in
lot g has the survival S(h) = exp(-h^k e^{k (w_g - m_e)}), w_g ~ N(0, sw^2), hits in units of 100,000. Columns of x:
one, ln thickness in mm, lower side. Priors: constant N(ln 1.5, 1), thickness N(-1, 0.5), lower N(ln 2.5, 0.4),
ln k N(ln 2.5, 0.4), tu, tv and sw half-normal with 0.5, 0.4 and 0.3.

Two ways to the answer:
- `DieAtTheta`: at given theta and given sw, a die's four m at once on a tensor grid; given the four, the lots are
  independent of each other, so each lot's w is integrated by itself. No approximation but the grids' spacing.
- `Walk`: every unknown (theta, sw, u, m, w) by many random walks side by side, for the posterior over theta as well.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

UNIT = 1e5
B_MEAN = np.array([np.log(1.5), -1.0, np.log(2.5)])
B_SD = np.array([1.0, 0.5, 0.4])
LN_K = (np.log(2.5), 0.4)
TU, TV, SW = 0.5, 0.4, 0.3
SHARP, DULL = 0, 1
EDGES = 4  # of each die


@dataclass(frozen=True)
class Fleet:
    """rows: dicts with edge, from, lower, hits, ended, open, lot (within the die), told, told_sd (None: no reading).

    x: [edges, 3]; dies of EDGES edges each, one after another; share: [edges] of the strokes in which it cuts.
    """

    rows: list[dict]
    x: np.ndarray
    share: np.ndarray
    lots: bool

    @property
    def dies(self) -> int:
        return len(self.x) // EDGES

    def column(self, name: str, kind=float) -> np.ndarray:
        return np.array([np.nan if r[name] is None else r[name] for r in self.rows], kind)


def invent(seed: int, *, lots: bool, readings: bool, dies: int = 3, orders: int = 5) -> Fleet:
    """A small shop by the model itself. Every order starts with a fresh set; three looks in it; a dull edge is renewed.

    The last order is under way. With readings, half of the cycles that ended sharp have one that tells ln T to 0.2.
    """
    rng = np.random.default_rng(seed)
    k, rows, x = 2.8, [], []
    for die in range(dies):
        thickness = (0.6, 1.0, 1.8)[die % 3]
        mine = np.array([[1.0, np.log(thickness), float(i >= EDGES // 2)] for i in range(EDGES)])
        m = mine @ [np.log(1.4), -0.9, np.log(2.2)] + rng.normal(0, 0.35) + rng.normal(0, 0.25, EDGES)
        look = np.round(0.28 * np.exp(m.min()) * UNIT, -2)
        for order in range(orders + 1):
            w = rng.normal(0, 0.35) if lots else 0.0
            under_way = order == orders
            for i in range(EDGES):
                on_it, life = 0.0, UNIT * np.exp(m[i] - w) * rng.weibull(k)
                for _ in range(2 if under_way else 3):
                    on_it += look
                    if on_it >= life:
                        rows.append(_row(die, i, on_it - look, on_it, DULL, False, order))
                        on_it, life = 0.0, UNIT * np.exp(m[i] - w) * rng.weibull(k)
                if on_it > 0 or under_way:
                    row = _row(die, i, on_it, on_it, SHARP, under_way, order)
                    if readings and on_it > 0 and rng.random() < 0.5:
                        row |= {"told": round(np.log(life) + rng.normal(0, 0.2), 4), "told_sd": 0.2}
                    rows.append(row)
        x.append(mine)
    first = next(r for r in rows if r["ended"] == DULL and r["lower"] > 0)
    first["from"] = first["lower"] / 2  # one with a counted opening
    exact = [r for r in rows if r["ended"] == DULL][-1]
    exact["lower"] = exact["hits"] = exact["hits"] - look / 3  # one seen as it happened
    share = np.ones(dies * EDGES)
    share[1::EDGES] = 0.5
    return Fleet(rows, np.concatenate(x), share, lots)


def _row(die, i, lower, hits, ended, open_, lot) -> dict:
    return {
        "edge": die * EDGES + i,
        "from": 0.0,
        "lower": float(lower),
        "hits": float(hits),
        "ended": ended,
        "open": open_,
        "lot": lot,
        "told": None,
        "told_sd": None,
    }


def ln_likelihood(row: dict, v: np.ndarray, k, beyond: float | None = None) -> np.ndarray:
    """ln of the likelihood of one cycle at v = m - w. beyond: hits of a cycle under way, in place of those it has."""
    e = np.exp(-k * v)
    begun = (row["from"] / UNIT) ** k
    hits = row["hits"] / UNIT if beyond is None else beyond / UNIT
    if row["ended"] == DULL and row["lower"] == row["hits"]:
        return np.log(k) + (k - 1) * np.log(hits) - k * v - (hits**k - begun) * e
    if row["ended"] == DULL:
        low = (row["lower"] / UNIT) ** k
        return -(low - begun) * e + np.log(-np.expm1(-(hits**k - low) * e))
    if row["told"] is None:
        return -(hits**k - begun) * e
    told, sd = row["told"] - np.log(UNIT), row["told_sd"]
    low = max(np.log(hits), told - 8 * sd)
    y = np.linspace(low, max(told + 8 * sd, low + 1.5), 401)
    shape = (slice(None),) + (None,) * np.ndim(v)
    s = k * (y[shape] - v)
    normal = -0.5 * ((y - told) / sd) ** 2
    ln = np.log(k) + s - np.exp(s) + normal[shape]
    top = ln.max(axis=0)
    return top + np.log(np.trapezoid(np.exp(ln - top), y, axis=0)) + begun * e


@dataclass(frozen=True)
class Theta:
    b: np.ndarray
    k: float
    tu: float
    tv: float
    sw: float = 0.0


class DieAtTheta:
    """The exact posterior of one die's four edges at given theta: a grid over all four m together."""

    def __init__(self, fleet: Fleet, die: int, theta: Theta, *, nodes: int = 13, lot_nodes: int = 21) -> None:
        self.fleet, self.die, self.theta = fleet, die, theta
        self.members = np.arange(EDGES) + die * EDGES
        self.rows = [r for r in fleet.rows if r["edge"] // EDGES == die]
        self.lot_now = next(r["lot"] for r in self.rows if r["open"])
        sw = theta.sw if fleet.lots else 0.0
        self.w = np.linspace(-5.5, 5.5, lot_nodes) * sw if sw > 0 else np.zeros(1)
        a = np.exp(-0.5 * np.linspace(-5.5, 5.5, len(self.w)) ** 2) if sw > 0 else np.ones(1)
        self.a = a / a.sum()
        self.mu = fleet.x[self.members] @ theta.b
        wide = np.hypot(theta.tu, theta.tv)
        self.aim(self.mu, np.full(EDGES, wide), 17)
        for _ in range(3):  # to where the posterior is
            mean, sd = self.moments()
            self.aim(mean, sd, nodes)

    def aim(self, centre, sd, nodes: int) -> None:
        z = np.linspace(-6.0, 6.0, nodes)
        self.m = centre[:, None] + sd[:, None] * z
        step = np.prod(sd * (z[1] - z[0]))
        covariance = self.theta.tv**2 * np.eye(EDGES) + self.theta.tu**2
        inverse = np.linalg.inv(covariance)
        away = self.m - self.mu[:, None]
        grids = np.meshgrid(*away, indexing="ij")
        square = sum(inverse[i, j] * grids[i] * grids[j] for i in range(EDGES) for j in range(EDGES))
        ln = -0.5 * square - 0.5 * np.linalg.slogdet(2 * np.pi * covariance)[1] + np.log(step)
        for lot in sorted({r["lot"] for r in self.rows} - {self.lot_now}):
            ln = ln + np.log(np.maximum(self._lot([r for r in self.rows if r["lot"] == lot], {}), 1e-300))
        now = np.log(np.maximum(self._open({}), 1e-300))
        self.past = ln
        joint = ln + now
        self.ln_evidence = joint.max() + np.log(np.exp(joint - joint.max()).sum())
        self.p = np.exp(joint - self.ln_evidence)

    def _lot(self, rows, beyond: dict[int, float]) -> np.ndarray:
        """Likelihood of one lot's cycles over the tensor of m, its w integrated out."""
        own = np.zeros((EDGES, len(self.w), self.m.shape[1]))
        for r in rows:
            i = r["edge"] % EDGES
            further = beyond.get(i) if r["open"] else None
            own[i] += ln_likelihood(r, self.m[i] - self.w[:, None], self.theta.k, further)
        own = np.exp(np.maximum(own, -700.0))
        pair = np.einsum("ja,jb->jab", own[0], own[1]).reshape(len(self.w), -1)
        other = np.einsum("jc,jd->jcd", own[2], own[3]).reshape(len(self.w), -1)
        n = self.m.shape[1]
        return ((pair * self.a[:, None]).T @ other).reshape(n, n, n, n)

    def _open(self, beyond) -> np.ndarray:
        """Of the lot under way: its cycles that ended, too, tell what sort of lot it is."""
        return self._lot([r for r in self.rows if r["lot"] == self.lot_now], beyond)

    def moments(self) -> tuple[np.ndarray, np.ndarray]:
        out = []
        for i in range(EDGES):
            p = self.p.sum(axis=tuple(j for j in range(EDGES) if j != i))
            mean = p @ self.m[i]
            out.append((mean, np.sqrt(p @ self.m[i] ** 2 - mean**2)))
        mean, sd = np.array(out).T
        return mean, sd

    def alive(self, strokes: float, edges=range(EDGES)) -> float:
        """Chance that these edges (0 .. 3) are still sharp after so many further strokes; chips left out."""
        hits = {r["edge"] % EDGES: r["hits"] for r in self.rows if r["open"]}
        beyond = {i: hits[i] + strokes * self.fleet.share[self.members[i]] for i in edges}
        return float(np.exp(self.past - self.ln_evidence).ravel() @ self._open(beyond).ravel())


def ln_posterior(fleet: Fleet, z: np.ndarray, *, sw: float = 0.0, **grid) -> float:
    """ln of the posterior of z = (b, ln k, ln tu, ln tv), on the logarithmic scale of the last three."""
    theta = Theta(z[:3], *np.exp(z[3:6]), sw)
    value = -0.5 * (((z[:3] - B_MEAN) / B_SD) ** 2).sum() - 0.5 * ((z[3] - LN_K[0]) / LN_K[1]) ** 2
    value += z[4] - 0.5 * (theta.tu / TU) ** 2 + z[5] - 0.5 * (theta.tv / TV) ** 2
    return value + sum(DieAtTheta(fleet, d, theta, **grid).ln_evidence for d in range(fleet.dies))


class Walk:
    """All unknowns by random walks, `chains` of them side by side: [chains, ...] arrays throughout."""

    def __init__(self, fleet: Fleet, chains: int, seed: int) -> None:
        self.rng = np.random.default_rng(seed)
        self.fleet, self.chains = fleet, chains
        self.edge = fleet.column("edge", int)
        self.die = np.arange(len(fleet.x)) // EDGES
        lot = np.stack([self.die[self.edge], fleet.column("lot", int)])
        self.lot_of, self.row_lot = np.unique(lot, axis=1, return_inverse=True)
        self.row_lot = self.row_lot.reshape(-1)
        self.lot_die = self.lot_of[0]
        self.begun, self.low, self.hits = (fleet.column(n) / UNIT for n in ("from", "lower", "hits"))
        ended = fleet.column("ended", int)
        self.exact = (ended == DULL) & (self.low == self.hits)
        self.dull = (ended == DULL) & ~self.exact
        self.told = [i for i, r in enumerate(fleet.rows) if r["told"] is not None]
        self.tables = [self._told_grid(fleet.rows[i]) for i in self.told]
        self.by_edge = (self.edge[:, None] == np.arange(len(fleet.x))).astype(float)
        self.by_lot = (self.row_lot[:, None] == np.arange(len(self.lot_die))).astype(float)
        self.die_edges = (self.die[:, None] == np.arange(fleet.dies)).astype(float)
        self.die_lots = (self.lot_die[:, None] == np.arange(fleet.dies)).astype(float)
        c, r = chains, self.rng
        self.ln_k = LN_K[0] + 0.2 * r.standard_normal(c)
        self.ln_tu, self.ln_tv = np.log(0.35) + 0.3 * r.standard_normal((2, c))
        self.ln_sw = np.log(0.25) + 0.3 * r.standard_normal(c) if fleet.lots else np.full(c, -40.0)
        self.b = B_MEAN + 0.3 * B_SD * r.standard_normal((c, 3))
        self.u = np.exp(self.ln_tu)[:, None] * r.standard_normal((c, fleet.dies))
        self.m = self.mean() + np.exp(self.ln_tv)[:, None] * r.standard_normal((c, len(fleet.x)))
        self.w = np.exp(self.ln_sw)[:, None] * r.standard_normal((c, len(self.lot_die)))
        self.like = self.likelihood(self.m, self.w, self.ln_k)

    @staticmethod
    def _told_grid(row):
        told, sd = row["told"] - np.log(UNIT), row["told_sd"]
        low = max(np.log(row["hits"] / UNIT), told - 6 * sd)
        high = max(told + 6 * sd, low + 1.2)
        node, weight = np.polynomial.legendre.leggauss(24)
        y = low + (high - low) * (node + 1) / 2
        return y, np.log(weight * (high - low) / 2) - 0.5 * ((y - told) / sd) ** 2

    def mean(self):
        return self.b @ self.fleet.x.T + self.u[:, self.die]

    def likelihood(self, m, w, ln_k):
        """[chains, rows]."""
        k = np.exp(ln_k)[:, None]
        v = m[:, self.edge] - w[:, self.row_lot]
        e = np.exp(np.minimum(-k * v, 300.0))
        begun, low, hits = self.begun**k, self.low**k, self.hits**k
        out = -(low - begun) * e
        d = self.dull
        out[:, d] += np.log(np.maximum(-np.expm1(-(hits - low)[:, d] * e[:, d]), 1e-300))
        x = self.exact
        out[:, x] += np.log(k) + (k - 1) * np.log(self.hits[x]) - k * v[:, x]
        for i, (y, ln_w) in zip(self.told, self.tables, strict=True):
            s = k * (y - v[:, i, None])
            ln = np.log(k) + s - np.exp(np.minimum(s, 300.0)) + ln_w
            top = ln.max(axis=1, keepdims=True)
            out[:, i] = top[:, 0] + np.log(np.exp(ln - top).sum(axis=1)) + begun[:, i] * e[:, i]
        return out

    def _accept(self, ln_ratio):
        return np.log(self.rng.random(ln_ratio.shape)) < ln_ratio

    def sweep(self) -> None:
        c, r = self.chains, self.rng
        n_edges, n_lots = len(self.fleet.x), len(self.lot_die)
        tu, tv = np.exp(self.ln_tu)[:, None], np.exp(self.ln_tv)[:, None]
        mean = self.mean()
        for size in (0.5, 0.2):  # each edge by itself
            new = self.m + size * r.standard_normal((c, n_edges)) * np.exp(r.normal(0, 0.5, (c, 1)))
            like = self.likelihood(new, self.w, self.ln_k)
            ratio = (like - self.like) @ self.by_edge - 0.5 * ((new - mean) ** 2 - (self.m - mean) ** 2) / tv**2
            yes = self._accept(ratio)
            self.m = np.where(yes, new, self.m)
            self.like = np.where(yes[:, self.edge], like, self.like)
        self._wear_model(tu, tv)
        if self.fleet.lots:
            sw = np.exp(self.ln_sw)[:, None]
            for size in (1.0, 0.4):  # each lot by itself
                new = self.w + size * sw * r.standard_normal((c, n_lots))
                like = self.likelihood(self.m, new, self.ln_k)
                yes = self._accept((like - self.like) @ self.by_lot - 0.5 * (new**2 - self.w**2) / sw**2)
                self.w = np.where(yes, new, self.w)
                self.like = np.where(yes[:, self.row_lot], like, self.like)
            step = 0.3 * r.standard_normal((c, self.fleet.dies))  # lots and edges together: the data do not mind
            m, w, mean = self.m + step[:, self.die], self.w + step[:, self.lot_die], self.mean()
            ratio = -0.5 * ((m - mean) ** 2 - (self.m - mean) ** 2) @ self.die_edges / tv**2
            ratio = ratio - 0.5 * (w**2 - self.w**2) @ self.die_lots / sw**2
            yes = self._accept(ratio)
            self.m, self.w = np.where(yes[:, self.die], m, self.m), np.where(yes[:, self.lot_die], w, self.w)
            self.ln_sw = self._spread(self.ln_sw, self.w, SW)
            new = self.ln_sw + 0.4 * r.standard_normal(c)  # spread and lots stretched together
            w = self.w * np.exp(new - self.ln_sw)[:, None]
            like = self.likelihood(self.m, w, self.ln_k)
            ratio = (like - self.like).sum(axis=1) + self._scale_prior(new, SW) - self._scale_prior(self.ln_sw, SW)
            yes = self._accept(ratio)
            self.ln_sw, self.w = np.where(yes, new, self.ln_sw), np.where(yes[:, None], w, self.w)
            self.like = np.where(yes[:, None], like, self.like)
        self.ln_tu = self._spread(self.ln_tu, self.u, TU)
        self.ln_tv = self._spread(self.ln_tv, self.m - self.mean(), TV)
        new = self.ln_tv + 0.3 * r.standard_normal(c)
        mean = self.mean()
        m = mean + (self.m - mean) * np.exp(new - self.ln_tv)[:, None]
        like = self.likelihood(m, self.w, self.ln_k)
        ratio = (like - self.like).sum(axis=1) + self._scale_prior(new, TV) - self._scale_prior(self.ln_tv, TV)
        yes = self._accept(ratio)
        self.ln_tv, self.m = np.where(yes, new, self.ln_tv), np.where(yes[:, None], m, self.m)
        self.like = np.where(yes[:, None], like, self.like)
        for size in (0.3, 0.1):
            new = self.ln_k + size * r.standard_normal(c)
            like = self.likelihood(self.m, self.w, new)
            ratio = (like - self.like).sum(axis=1)
            ratio -= 0.5 * (((new - LN_K[0]) / LN_K[1]) ** 2 - ((self.ln_k - LN_K[0]) / LN_K[1]) ** 2)
            yes = self._accept(ratio)
            self.ln_k, self.like = np.where(yes, new, self.ln_k), np.where(yes[:, None], like, self.like)

    def _wear_model(self, tu, tv) -> None:
        """b and u together, given m: a linear model with a normal prior, drawn directly."""
        full = np.concatenate([self.fleet.x, self.die_edges], axis=1)
        zero = np.zeros((self.chains, self.fleet.dies))
        prior = np.concatenate([np.broadcast_to(B_SD**-2, (self.chains, 3)), zero + tu**-2], axis=1)
        precision = (full.T @ full)[None] / tv[:, :, None] ** 2 + prior[:, :, None] * np.eye(full.shape[1])
        right = self.m @ full / tv**2
        right[:, :3] += B_MEAN / B_SD**2
        root = np.linalg.cholesky(precision)
        centre = np.linalg.solve(precision, right[:, :, None])
        noise = np.linalg.solve(root.transpose(0, 2, 1), self.rng.standard_normal(centre.shape))
        drawn = (centre + noise)[:, :, 0]
        self.b, self.u = drawn[:, :3], drawn[:, 3:]

    @staticmethod
    def _scale_prior(ln_s, half_normal):
        return ln_s - 0.5 * (np.exp(ln_s) / half_normal) ** 2

    def _spread(self, ln_s, values, half_normal):
        n, square = values.shape[1], (values**2).sum(axis=1)

        def ln_p(s):
            return self._scale_prior(s, half_normal) - n * s - 0.5 * square * np.exp(-2 * s)

        for size in (0.8, 0.3, 0.3):
            new = ln_s + size * self.rng.standard_normal(self.chains)
            ln_s = np.where(self._accept(ln_p(new) - ln_p(ln_s)), new, ln_s)
        return ln_s

    def alive(self, row: int, strokes: np.ndarray) -> np.ndarray:
        """ln chance of each chain that the cycle under way goes so many strokes further: [chains, strokes]."""
        r, k = self.fleet.rows[row], np.exp(self.ln_k)[:, None]
        v = (self.m[:, r["edge"]] - self.w[:, self.row_lot[row]])[:, None]
        run = self.hits[row] + strokes * self.fleet.share[r["edge"]] / UNIT
        if r["told"] is None:
            return -(run**k - self.hits[row] ** k) * np.exp(-k * v)
        told, sd = r["told"] - np.log(UNIT), r["told_sd"]
        low = np.log(self.hits[row])
        y = np.linspace(low, max(told + 6 * sd, low + 1.5), 401)
        s = k * (y - v)
        density = np.exp(s - np.exp(np.minimum(s, 300.0)) - 0.5 * ((y - told) / sd) ** 2)
        piece = (density[:, 1:] + density[:, :-1]) / 2
        tail = np.concatenate([np.cumsum(piece[:, ::-1], axis=1)[:, ::-1], np.zeros((self.chains, 1))], axis=1)
        ln = np.array([np.interp(np.log(run), y, t) for t in tail]) / tail[:, :1]
        return np.log(np.maximum(ln, 1e-300))


@dataclass(frozen=True)
class SpannedDie:
    """One die of EDGES edges whose cycles span lots: rows of (edge, hits in each lot at the end, the same at the look
    before, ended, open); size, rest: hits of each lot to come, and of what is left of the one under way."""

    x: np.ndarray
    rows: list[tuple[int, np.ndarray, np.ndarray, int, bool]]
    size: float
    rest: float


def invent_spanned(seed: int, *, sw: float = 0.45, lots: int = 9, rest: float = 0.4, k: float = 2.8) -> SpannedDie:
    """Lots of one size, each in three looks; the set is ground every 2 1/3 lots, a dull edge when it is found."""
    rng = np.random.default_rng(seed)
    x = np.array([[1.0, 0.0, float(i >= EDGES // 2)] for i in range(EDGES)])
    m = x @ [np.log(1.4), -0.9, np.log(2.2)] + rng.normal(0, 0.35) + rng.normal(0, 0.25, EDGES)
    look = np.round(0.17 * np.exp(m.min()) * UNIT, -2)
    w = rng.normal(0, sw, lots)
    on_it, rows = np.zeros((EDGES, lots)), []
    life = np.exp(m) * UNIT * rng.weibull(k, EDGES)
    for turn in range(1, 3 * lots):  # the last look of the last lot is to come
        lot = (turn - 1) // 3
        before = on_it.copy()
        on_it[:, lot] += look
        for e in range(EDGES):
            if on_it[e] @ np.exp(w) >= life[e]:
                rows.append((e, on_it[e].copy(), before[e], DULL, False))
            elif turn % 7 == 0:
                rows.append((e, on_it[e].copy(), before[e], SHARP, False))
            else:
                continue
            on_it[e], life[e] = 0.0, np.exp(m[e]) * UNIT * rng.weibull(k)
    rows += [(e, on_it[e].copy(), on_it[e].copy(), SHARP, True) for e in range(EDGES)]
    return SpannedDie(x, rows, 3 * look, rest * 3 * look)


class SpannedWalk:
    """m of the edges and w of the lots of a SpannedDie at given theta, by random walks side by side."""

    def __init__(self, die: SpannedDie, theta: Theta, *, chains: int = 200, seed: int = 1) -> None:
        self.die, self.theta = die, theta
        self.edge = np.array([r[0] for r in die.rows])
        self.hits, self.lower = (np.array([r[i] for r in die.rows]) / UNIT for i in (1, 2))
        self.dull = np.array([r[3] == DULL for r in die.rows])
        self.open = np.array([r[4] for r in die.rows])
        self.mu = die.x @ theta.b
        covariance = theta.tv**2 * np.eye(EDGES) + theta.tu**2
        self.inverse = np.linalg.inv(covariance)
        self.rng = np.random.default_rng(seed)
        lots = self.hits.shape[1]
        self.z = np.concatenate(
            [self.mu + self.rng.normal(0, 0.2, (chains, EDGES)), self.rng.normal(0, 0.2, (chains, lots))], axis=1
        )

    def ln_p(self, z: np.ndarray) -> np.ndarray:
        m, w = z[:, :EDGES], z[:, EDGES:]
        k, rate = self.theta.k, np.exp(w)
        worn = (rate @ self.hits.T / np.exp(m)[:, self.edge]) ** k
        low = (rate @ self.lower.T / np.exp(m)[:, self.edge]) ** k
        ln = np.where(self.dull, -low + np.log(-np.expm1(-np.maximum(worn - low, 1e-300))), -worn).sum(axis=1)
        away = m - self.mu
        return ln - 0.5 * ((away @ self.inverse) * away).sum(axis=1) - 0.5 * (w**2).sum(axis=1) / self.theta.sw**2

    def draws(self, steps: int = 3000, keep: int = 60) -> np.ndarray:
        """By the difference of two other chains (ter Braak, Stat. Comput. 16 (2006) 239-249, from memory)."""
        n, width = self.z.shape
        now, kept = self.ln_p(self.z), []
        for step in range(steps):
            half = self.rng.permutation(n)
            a, b = self.z[half], self.z[np.roll(half, 1)]
            size = 1.0 if step % 10 == 0 else 2.38 / np.sqrt(2 * width)
            new = self.z + size * (a - b) + self.rng.normal(0, 1e-3, self.z.shape)
            then = self.ln_p(new)
            take = np.log(self.rng.random(n)) < then - now
            self.z[take], now[take] = new[take], then[take]
            if step >= steps // 2 and step % max(steps // 2 // keep, 1) == 0:
                kept.append(self.z.copy())
        return np.concatenate(kept)

    def alive(self, strokes: np.ndarray, drawn: np.ndarray, edges=range(EDGES)) -> np.ndarray:
        """Chance that these edges are still sharp after so many further strokes, lots to come drawn anew."""
        m, w, k = drawn[:, :EDGES], drawn[:, EDGES:], self.theta.k
        rng = np.random.default_rng(2)
        fresh = np.exp(rng.normal(0, self.theta.sw, (len(drawn), 40)))
        rest, size = self.die.rest / UNIT, self.die.size / UNIT
        out = []
        for x in strokes / UNIT:
            to_come = np.clip(x - rest - size * np.arange(40), 0.0, size)
            ahead = min(x, rest) * np.exp(w[:, -1]) + fresh @ to_come
            ln = np.zeros(len(drawn))
            for e in edges:
                worn = np.exp(w) @ self.hits[self.open & (self.edge == e)][0]
                ln += (worn / np.exp(m[:, e])) ** k - ((worn + ahead) / np.exp(m[:, e])) ** k
            out.append(np.exp(ln).mean())
        return np.array(out)
