"""The fleet's integrals against published frailty models and posteriors that they must reduce to, and against plain
quadrature. Regressions are in test_fleet_regression.py.
"""

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.optimize import minimize, minimize_scalar
from scipy.special import gammaln
from scipy.stats import gamma as gamma_law
from scipy.stats import nbinom, norm

from maintenance.life import EdgeSpec, chips
from maintenance.life.cells import Cells
from maintenance.life.cycles import CHIPPED, DULL, HITS_UNIT, SHARP, LifeSamples
from maintenance.life.grids import Theta, edge_marginals
from tests.life.reduced import NO_SPREAD, at, log_likelihood

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


def test_shared_frailty():
    # [F03] Weibull hazard with a lognormal frailty of each patient (Gauss-Hermite quadrature of the kidney data): rate
    # 0.0098909914, shape 1.177564, female -1.6284771 (se 0.4941722), age 0.0059596454, spread 0.76982705 (se
    # 0.24379835) of the log hazard, ln L -333.03018. The patient stands for the edge, the two catheters for its cycles;
    # in ln life all are divided by minus the shape. Where the second catheter came at another birthday, its days are
    # stretched by what that year is worth, which is the same as a longer life.
    patient, days, infected, female, age = KIDNEY.T
    x = np.stack([np.ones(38), female[::2], age[::2]], axis=1).astype(float)
    older = age - np.repeat(age[::2], 2)
    ended = np.where(infected > 0, DULL, SHARP)

    def ln_l(rate, sex, years, shape, spread):
        b = np.array([-np.log(rate), -sex, -years]) / shape
        stretched = np.exp(-b[2] * older)
        samples = LifeSamples.of(patient - 1, days * stretched, ended)
        b[0] -= np.log(HITS_UNIT)
        theta = Theta(b=b, ln_k=np.log(shape), ln_tu=NO_SPREAD, ln_tv=np.log(spread / shape))
        return log_likelihood(theta, x, np.arange(38), samples) + np.log(stretched[infected > 0]).sum()

    unit = np.array([1.0, 1.0, 0.02, 1.0, 1.0])  # of ln rate, female, age, ln shape, ln spread

    def of(z):
        ln_rate, sex, years, ln_shape, ln_spread = z * unit
        return ln_l(np.exp(ln_rate), sex, years, np.exp(ln_shape), np.exp(ln_spread))

    def slope(z):
        return np.array([(of(z + d) - of(z - d)) / 2e-4 for d in np.eye(5) * 1e-4])

    start = np.array([-4.4, -1.4, 0.2, 0.1, -0.4])
    found = minimize(lambda z: -of(z), start, jac=lambda z: -slope(z), method="BFGS", options={"gtol": 1e-5})
    ln_rate, sex, years, ln_shape, ln_spread = found.x * unit
    assert np.exp(ln_rate) == pytest.approx(0.0098909914, rel=1e-3)
    assert sex == pytest.approx(-1.6284771, rel=1e-3)
    assert years == pytest.approx(0.0059596454, rel=1e-3)
    assert np.exp(ln_shape) == pytest.approx(1.177564, rel=1e-3)
    assert np.exp(ln_spread) == pytest.approx(0.76982705, rel=1e-3)
    assert -found.fun == pytest.approx(-333.03018, abs=1e-4)
    curve = np.array([(slope(found.x + d) - slope(found.x - d)) / 2e-3 for d in np.eye(5) * 1e-3])
    se = np.sqrt(np.diag(np.linalg.inv(-(curve + curve.T) / 2))) * unit
    assert se[1] == pytest.approx(0.4941722, rel=1e-3)
    assert se[4] == pytest.approx(0.24379835 / 0.76982705, rel=5e-3)  # published of the spread, here of its logarithm


def test_chips_are_shared_within_a_die_as_in_the_gamma_frailty_model(monkeypatch):
    # [F01] Exponential hazard with a gamma frailty of each patient (Munda, Rotolo and Legrand, parfm, J. Stat. Software
    # 51(11), 2012; Kendall's tau 0.1307653 printed): rate 0.025322441, female -1.4847604, age 0.004789814, variance
    # 0.30087452, ln L -333.24811.
    # A die's own part in the chips is that frailty: with each catheter's expected infections for its exposure, dies are
    # as alike as 1 / variance = 3.3237. First the likelihood straight from the formula, by the negative binomial, with
    # the others held at the published values; then the engine's, which adds a mild prior at 3 and seeks on a grid, here
    # a fine one.
    patient, days, infected, female, age = KIDNEY.T
    hazard = 0.025322441 * np.exp(-1.4847604 * female + 0.004789814 * age)
    expected = np.bincount(patient - 1, days * hazard)
    count = np.bincount(patient - 1, infected)

    def ln_l(ln_alike):
        alike = np.exp(ln_alike)
        ln_p = nbinom.logpmf(count, alike, alike / (alike + expected))  # of the count; the times within it are given
        of_times = gammaln(count + 1) - count * np.log(expected)
        return (ln_p + of_times).sum() + np.log(hazard[infected > 0]).sum()

    def most_likely(prior):
        bounds = (np.log(1.0), np.log(10.0))
        found = minimize_scalar(lambda v: prior(v) - ln_l(v), bounds=bounds, method="bounded", options={"xatol": 1e-7})
        return np.exp(found.x)

    assert 1 / most_likely(lambda ln_alike: 0.0) == pytest.approx(0.30087452, rel=1e-4)
    assert ln_l(np.log(1 / 0.30087452)) == pytest.approx(-333.24811, abs=1e-4)
    monkeypatch.setattr(chips, "CHIPS", (1e9, 1e9))
    monkeypatch.setattr(chips, "FAMILY_WEIGHT", 1e9)
    monkeypatch.setattr(chips, "ALIKE", np.exp(np.linspace(np.log(1.0), np.log(10.0), 20_001)))
    edges = [EdgeSpec(die=int(p), thickness_mm=1.0, tensile_mpa=400.0) for p in patient]
    ended = np.where(infected > 0, CHIPPED, SHARP)
    samples = LifeSamples.of(np.arange(76), days * hazard * HITS_UNIT, ended)
    with_prior = most_likely(lambda ln_alike: 0.5 * (ln_alike - np.log(3.0)) ** 2)
    assert chips.fit(edges, samples).alike == pytest.approx(with_prior, rel=1e-3)
    assert with_prior == pytest.approx(1 / 0.30087452, rel=0.03)  # what the prior does to it
    spread_out = LifeSamples.of(np.arange(76), (days * hazard).mean() * np.ones(76) * HITS_UNIT, ended)
    assert chips.fit(edges, spread_out).alike > 4.5  # the control: without the exposures patients look alike


def test_two_parameter_posterior():
    # [F06] Two-dimensional quadrature at two grid sizes, first failures of NIST 8.4.1.3 with ln scale ~ N(ln 600, 0.5),
    # ln shape ~ N(ln 2, 0.3): mean ln scale 6.0232087, mean ln shape 0.55709914, shape 1.8035454 (sd 0.46718474), scale
    # 438.28392 (sd 165.37211); ten in a hundred of the next fail by 103.48714.
    samples = LifeSamples.of([0] * 6, [54, 187, 216, 250, 250, 250], [DULL] * 3 + [SHARP] * 3)
    ln_ks = np.linspace(np.log(2) - 1.8, np.log(2) + 1.5, 67)
    weights, means, scales, squares, gone = [], [], [], [], []
    for ln_k in ln_ks:
        theta = Theta(b=np.array([np.log(600 / HITS_UNIT)]), ln_k=ln_k, ln_tu=np.log(1e-3), ln_tv=np.log(0.5))
        grids, found, _ = at(theta, np.ones((1, 1)), np.zeros(1, int), samples)
        weights.append(found.ll[0] - 0.5 * ((ln_k - np.log(2)) / 0.3) ** 2)
        marginal, ln_scale = edge_marginals(found, np.zeros(1, int))[0], grids.m[0] + np.log(HITS_UNIT)
        means.append(marginal @ ln_scale)
        scales.append(marginal @ np.exp(ln_scale))
        squares.append(marginal @ np.exp(2 * ln_scale))
        gone.append(marginal @ -np.expm1(-((103.48714 / np.exp(ln_scale)) ** np.exp(ln_k))))
    p = np.exp(np.array(weights) - max(weights))
    p /= p.sum()
    assert p @ np.array(means) == pytest.approx(6.0232087, rel=1e-3)
    assert p @ ln_ks == pytest.approx(0.55709914, rel=1e-3)
    assert p @ np.exp(ln_ks) == pytest.approx(1.8035454, rel=1e-3)
    assert np.sqrt(p @ np.exp(2 * ln_ks) - (p @ np.exp(ln_ks)) ** 2) == pytest.approx(0.46718474, rel=1e-3)
    scale = p @ np.array(scales)
    assert scale == pytest.approx(438.28392, rel=1e-3)
    assert np.sqrt(p @ np.array(squares) - scale**2) == pytest.approx(165.37211, rel=1e-3)
    assert p @ np.array(gone) == pytest.approx(0.1, abs=1e-4)


def test_conjugate_posterior_of_a_known_shape():
    # [F05] Closed form (Rinne, The Weibull Distribution, 2009, ch. 14): rate scale^-shape ~ Gamma(3 + 10, rate
    # 795828.45), median scale 614.18359 (95 %: 458.35438 to 872.64208), mean 627.42426, chance that the next goes
    # beyond 200 0.86243108, ten in a hundred fail by 164.00259, for NIST 8.4.1.3 with shape 1.7208; the table must give
    # it.
    failures = [54, 187, 216, 240, 244, 335, 361, 373, 375, 386]
    samples = LifeSamples.of([0] * 20, failures + [500] * 10, [DULL] * 10 + [SHARP] * 10)
    k = 1.7208
    m = np.linspace(np.log(200), np.log(3000), 20001)
    table = Cells.of(samples, np.zeros(1, int), lots=False).table(m[None] - np.log(HITS_UNIT), k)[0]
    prior = gamma_law.logpdf(np.exp(-k * m), 3.0, scale=1 / (3 * 600**k)) - k * m
    p = np.exp(table + prior - (table + prior).max())
    p /= p.sum()
    limits = np.exp(np.interp([0.025, 0.5, 0.975], np.cumsum(p) - p / 2, m))
    assert limits == pytest.approx([458.35438, 614.18359, 872.64208], rel=1e-5)
    assert p @ np.exp(m) == pytest.approx(627.42426, rel=1e-6)
    alive = [p @ np.exp(-((h / np.exp(m)) ** k)) for h in (200.0, 164.00259)]
    assert alive == pytest.approx([0.86243108, 0.9], rel=1e-6)


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
