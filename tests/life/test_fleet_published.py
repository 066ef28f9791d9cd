"""The fleet's integrals against published models that they must reduce to, and against plain quadrature.

At published parameters the fleet's log likelihood must be the published one and its gradient nought.
"""

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.stats import gamma as gamma_law
from scipy.stats import norm

from maintenance.life.cells import EXACT_WIDTH, Cells
from maintenance.life.cycles import DULL, HITS_UNIT, SHARP, LifeSamples
from maintenance.life.grids import Grids, Theta, edge_marginals, travel

# Agogino and Goebel, milling data, NASA Ames and UC Berkeley (2007): case, steel, deep cut, fast feed, minutes at which
# the flank wear was last seen below 0.45 mm and first seen above.
MILLING = np.array(
    [
        (1, 0, 1, 1, 38, 41),
        (2, 0, 0, 1, 59, 66),
        (3, 0, 0, 0, 75, 81),
        (4, 0, 1, 0, 34, 39),
        (5, 1, 1, 1, 9, 12),
        (7, 1, 0, 0, 15, 19),
        (8, 1, 0, 1, 9, 12),
        (9, 0, 1, 1, 28, 34),
        (10, 0, 1, 0, 33, 39),
        (11, 0, 0, 0, 72, 80),
        (12, 0, 0, 1, 49, 55),
        (13, 1, 0, 0, 19, 22),
        (14, 1, 0, 1, 12, 18),
        (15, 1, 1, 0, 9, 13),
        (16, 1, 1, 1, 6, 9),
    ]
)

# McGilchrist and Aisbett (1991), kidney catheters (R survival::kidney): patient, days, infected, female, age.
KIDNEY = np.array(
    [
        (1, 8, 1, 0, 28),
        (1, 16, 1, 0, 28),
        (2, 23, 1, 1, 48),
        (2, 13, 0, 1, 48),
        (3, 22, 1, 0, 32),
        (3, 28, 1, 0, 32),
        (4, 447, 1, 1, 31),
        (4, 318, 1, 1, 32),
        (5, 30, 1, 0, 10),
        (5, 12, 1, 0, 10),
        (6, 24, 1, 1, 16),
        (6, 245, 1, 1, 17),
        (7, 7, 1, 0, 51),
        (7, 9, 1, 0, 51),
        (8, 511, 1, 1, 55),
        (8, 30, 1, 1, 56),
        (9, 53, 1, 1, 69),
        (9, 196, 1, 1, 69),
        (10, 15, 1, 0, 51),
        (10, 154, 1, 0, 52),
        (11, 7, 1, 1, 44),
        (11, 333, 1, 1, 44),
        (12, 141, 1, 1, 34),
        (12, 8, 0, 1, 34),
        (13, 96, 1, 1, 35),
        (13, 38, 1, 1, 35),
        (14, 149, 0, 1, 42),
        (14, 70, 0, 1, 42),
        (15, 536, 1, 1, 17),
        (15, 25, 0, 1, 17),
        (16, 17, 1, 0, 60),
        (16, 4, 0, 0, 60),
        (17, 185, 1, 1, 60),
        (17, 177, 1, 1, 60),
        (18, 292, 1, 1, 43),
        (18, 114, 1, 1, 44),
        (19, 22, 0, 1, 53),
        (19, 159, 0, 1, 53),
        (20, 15, 1, 1, 44),
        (20, 108, 0, 1, 44),
        (21, 152, 1, 0, 46),
        (21, 562, 1, 0, 47),
        (22, 402, 1, 1, 30),
        (22, 24, 0, 1, 30),
        (23, 13, 1, 1, 62),
        (23, 66, 1, 1, 63),
        (24, 39, 1, 1, 42),
        (24, 46, 0, 1, 43),
        (25, 12, 1, 0, 43),
        (25, 40, 1, 0, 43),
        (26, 113, 0, 1, 57),
        (26, 201, 1, 1, 58),
        (27, 132, 1, 1, 10),
        (27, 156, 1, 1, 10),
        (28, 34, 1, 1, 52),
        (28, 30, 1, 1, 52),
        (29, 2, 1, 0, 53),
        (29, 25, 1, 0, 53),
        (30, 130, 1, 1, 54),
        (30, 26, 1, 1, 54),
        (31, 27, 1, 1, 56),
        (31, 58, 1, 1, 56),
        (32, 5, 0, 1, 50),
        (32, 43, 1, 1, 51),
        (33, 152, 1, 1, 57),
        (33, 30, 1, 1, 57),
        (34, 190, 1, 1, 44),
        (34, 5, 0, 1, 45),
        (35, 119, 1, 1, 22),
        (35, 8, 1, 1, 22),
        (36, 54, 0, 1, 42),
        (36, 16, 0, 1, 42),
        (37, 6, 0, 1, 52),
        (37, 78, 1, 1, 52),
        (38, 63, 1, 0, 60),
        (38, 8, 0, 0, 60),
    ]
)


def at(theta, x, die, samples):
    """Posterior on travelled grids, and the tables."""
    cells = Cells.of(samples, die, lots=False)
    mu = x @ theta.b
    grids = Grids.at_prior(mu, theta, die.max() + 1)

    def table(nodes, edges):
        if edges is None:
            return cells.table(nodes, theta.k)
        full = grids.m
        full[edges] = nodes
        return cells.table(full, theta.k)[edges]

    found = travel(grids, table, mu, die, theta)
    return grids, found, cells


def log_likelihood(theta, x, die, samples):
    """In the unit of the published value: an exact life counts as a density a unit of time."""
    _, found, _ = at(theta, x, die, samples)
    known = (samples.ended == DULL) & (samples.lower_hits == samples.hits)
    return found.ll.sum() - np.log(samples.hits[known] * EXACT_WIDTH).sum()


def slopes(theta, x, die, samples):
    """Central differences of the log likelihood in b, ln k and ln tv."""
    start = np.r_[theta.b, theta.ln_k, theta.ln_tv]
    out = []
    for i in range(len(start)):
        values = []
        for sign in (1, -1):
            z = start.copy()
            z[i] += sign * 1e-3
            moved = Theta(b=z[:-2], ln_k=z[-2], ln_tu=theta.ln_tu, ln_tv=z[-1])
            values.append(log_likelihood(moved, x, die, samples))
        out.append((values[0] - values[1]) / 2e-3)
    return np.array(out)


def test_tool_wear_seen_at_intervals():
    # Weibull regression on the milling data by survreg (interval2): coefficients, scale 0.10131026, ln L -17.131944.
    _, steel, deep, fast, low, high = MILLING.T
    n = len(MILLING)
    x = np.stack([np.ones(n), steel, deep, fast], axis=1)
    b = np.array([4.3037476 - np.log(HITS_UNIT), -1.366119, -0.54241123, -0.19321284])
    theta = Theta(b=b, ln_k=-np.log(0.10131026), ln_tu=np.log(2e-3), ln_tv=np.log(2e-3))
    samples = LifeSamples.interval_censored(np.arange(n), low, high)
    assert log_likelihood(theta, x, np.arange(n), samples) == pytest.approx(-17.131944, abs=2e-3)
    se = np.array([0.05272558, 0.065741666, 0.075910564, 0.075917037, 0.24828618])
    assert np.abs(slopes(theta, x, np.arange(n), samples)[:5] * se).max() < 0.03


def test_shared_frailty():
    # Weibull hazard with a lognormal frailty of each patient (R parfm on the kidney data): rate 0.0098909914, shape
    # 1.177564, female -1.6284771, age 0.0059596454, spread 0.76982705 of the log hazard, ln L -333.03018.
    # The patient stands for the edge, the two catheters for its cycles; ages that differ by a year are taken at the
    # mean.
    patient, days, infected, female, age = KIDNEY.T
    edge = patient - 1
    k, spread = 1.177564, 0.76982705
    x = np.stack([np.ones(38), female[::2], (age[::2] + age[1::2]) / 2], axis=1)
    b = -np.array([np.log(0.0098909914), -1.6284771, 0.0059596454]) / k
    b[0] -= np.log(HITS_UNIT)
    theta = Theta(b=b, ln_k=np.log(k), ln_tu=np.log(1e-3), ln_tv=np.log(spread / k))
    samples = LifeSamples.of(edge, days, np.where(infected > 0, DULL, SHARP))
    assert log_likelihood(theta, x, np.arange(38), samples) == pytest.approx(-333.03018, abs=0.02)
    se = np.array([0.5, 0.4941722 / k, 0.011, 0.09, 0.24379835 / spread])
    assert np.abs(slopes(theta, x, np.arange(38), samples) * se).max() < 0.03  # of a standard error


def test_two_parameter_posterior():
    # Two-dimensional quadrature at two grid sizes, first failures of NIST 8.4.1.3 with ln scale ~ N(ln 600, 0.5),
    # ln shape ~ N(ln 2, 0.3): mean ln scale 6.0232087, mean ln shape 0.55709914, mean shape 1.8035454.
    samples = LifeSamples.of([0] * 6, [54, 187, 216, 250, 250, 250], [DULL] * 3 + [SHARP] * 3)
    ln_ks = np.linspace(np.log(2) - 1.8, np.log(2) + 1.5, 67)
    weights, means = [], []
    for ln_k in ln_ks:
        theta = Theta(b=np.array([np.log(600 / HITS_UNIT)]), ln_k=ln_k, ln_tu=np.log(1e-3), ln_tv=np.log(0.5))
        grids, found, _ = at(theta, np.ones((1, 1)), np.zeros(1, int), samples)
        weights.append(found.ll[0] - 0.5 * ((ln_k - np.log(2)) / 0.3) ** 2)
        means.append((edge_marginals(found, np.zeros(1, int)) @ grids.m[0])[0] + np.log(HITS_UNIT))
    p = np.exp(np.array(weights) - max(weights))
    p /= p.sum()
    assert p @ np.array(means) == pytest.approx(6.0232087, rel=1e-3)
    assert p @ ln_ks == pytest.approx(0.55709914, rel=1e-3)
    assert p @ np.exp(ln_ks) == pytest.approx(1.8035454, rel=1e-3)


def test_conjugate_posterior_of_a_known_shape():
    # Closed form (Rinne, The Weibull Distribution, 2009, ch. 14): rate scale^-shape ~ Gamma(3 + 10, rate 795828.45),
    # median scale 614.18359, for NIST 8.4.1.3 with shape 1.7208; the table of the likelihood must give it.
    failures = [54, 187, 216, 240, 244, 335, 361, 373, 375, 386]
    samples = LifeSamples.of([0] * 20, failures + [500] * 10, [DULL] * 10 + [SHARP] * 10)
    k = 1.7208
    m = np.linspace(np.log(250), np.log(1800), 4001)
    table = Cells.of(samples, np.zeros(1, int), lots=False).table(m[None] - np.log(HITS_UNIT), k)[0]
    prior = gamma_law.logpdf(np.exp(-k * m), 3.0, scale=1 / (3 * 600**k)) - k * m
    p = np.exp(table + prior - (table + prior).max())
    median = np.exp(np.interp(0.5, np.cumsum(p) / p.sum(), m))
    assert median == pytest.approx(614.18359, rel=1e-3)


def test_marginal_likelihood_against_plain_quadrature():
    # A second implementation: nested adaptive quadrature, straight from the formulas.
    theta = Theta(b=np.array([0.3]), ln_k=np.log(2.7), ln_tu=np.log(0.35), ln_tv=np.log(0.25))
    rows = [
        (0, 0.0, 60_000, 90_000, DULL), (0, 0.0, 70_000, 70_000, SHARP), (1, 20_000, 150_000, 150_000, SHARP),
        (1, 0.0, 100_000, 160_000, DULL), (2, 0.0, 40_000, 40_000, SHARP),
    ]  # fmt: skip
    edge, begun, low, hits, ended = map(np.array, zip(*rows, strict=True))
    samples = LifeSamples.of(edge, hits, ended, lower_hits=low, from_hits=begun)
    die = np.array([0, 0, 1])
    ours = at(theta, np.ones((3, 1)), die, samples)[1].ll

    def alive(h, m, begun):
        return np.exp((begun / HITS_UNIT / np.exp(m)) ** theta.k - (h / HITS_UNIT / np.exp(m)) ** theta.k)

    def of_edge(e, m):
        value = 1.0
        for edge_, begun_, low_, hits_, ended_ in rows:
            if edge_ == e:
                last = alive(hits_, m, begun_)
                value *= alive(low_, m, begun_) - last if ended_ == DULL else last
        return value

    def given_u(e, u):
        return quad(lambda v: norm.pdf(v, 0, theta.tv) * of_edge(e, 0.3 + u + v), -2.0, 2.0)[0]

    for d, members in ((0, (0, 1)), (1, (2,))):
        plain = quad(
            lambda u, members=members: norm.pdf(u, 0, theta.tu) * np.prod([given_u(e, u) for e in members]), -2.5, 2.5
        )[0]
        assert ours[d] == pytest.approx(np.log(plain), abs=2e-5)


@pytest.mark.parametrize("below", [3.0, -3.0])
def test_an_edge_far_from_its_prior_is_found(below):
    theta = Theta(b=np.array([0.4]), ln_k=np.log(3.0), ln_tu=np.log(0.3), ln_tv=np.log(0.25))
    life = np.exp(0.4 - below) * HITS_UNIT
    rng = np.random.default_rng(5)
    lives = life * rng.weibull(3.0, 40)
    samples = LifeSamples.exact(np.zeros(40, int), lives)
    grids, found, cells = at(theta, np.ones((1, 1)), np.zeros(1, int), samples)
    plain = np.linspace(-5, 5, 40001)
    table = cells.table(plain[None], theta.k)[0] - 0.5 * (plain - 0.4) ** 2 / (theta.tu**2 + theta.tv**2)
    p = np.exp(table - table.max())
    mean = p @ plain / p.sum()
    assert edge_marginals(found, np.zeros(1, int))[0] @ grids.m[0] == pytest.approx(mean, abs=2e-3)
