"""Usual intervals of edges that nobody has run: many at once against one by one, and against plain sums and draws."""

import math

import numpy as np
import pytest

from maintenance.life import EdgeSpec, LifeSamples, expected_interval, fit_fleet, handbook_interval, prior, what_if
from maintenance.life import handbook as book

SPECS = [
    EdgeSpec(die=0, thickness_mm=t, tensile_mpa=r, stock_family=f, steel=s, coating=c, gap_pct=g, side=side, kind=k)
    for t, r, f, s, c, g, side, k in (
        (1.0, 400.0, "carbon steel", "D2", "none", 10.0, "upper", ""),
        (0.5, 250.0, "aluminium", "M2", "TiN", 6.0, "upper", "pierce_punch"),
        (2.5, 900.0, "high-strength steel", "PM", "AlCrN", 14.0, "lower", "die_section"),
        (1.2, 600.0, "stainless", "O1", None, None, "upper", "trim_punch"),
        (8.0, 300.0, "other", None, "DLC", 60.0, "lower", ""),
    )
]


@pytest.fixture(scope="module")
def fit():
    """A small shop: twelve edges of three dies, lives of all lengths."""
    rng = np.random.default_rng(4)
    edges = [
        EdgeSpec(die=d, thickness_mm=1.0 + d, tensile_mpa=340.0, steel="D2", coating="none", gap_pct=6.0 + 2 * e)
        for d in range(3)
        for e in range(4)
    ]
    number = np.repeat(np.arange(12), 6)
    hits = rng.weibull(3.0, len(number)) * 60_000
    lives = LifeSamples.interval_censored(number, 0.8 * hits, hits)
    return fit_fleet(edges, lives, with_lots=False)


def rows(told):
    return np.array([told.usual_hits, told.low_hits, told.high_hits]).T


def test_many_at_once_are_each_what_one_alone_is(fit):
    one = [[i.usual_hits, i.low_hits, i.high_hits] for i in map(handbook_interval, SPECS)]
    np.testing.assert_allclose(rows(book.handbook_intervals(SPECS)), one, rtol=1e-12)
    one = [[i.usual_hits, i.low_hits, i.high_hits] for i in (expected_interval(fit, s) for s in SPECS)]
    np.testing.assert_allclose(rows(book.expected_intervals(fit, SPECS)), one, rtol=1e-9)
    times = book.times_expected(fit, SPECS[0], SPECS)
    for i, spec in enumerate(SPECS):
        told = what_if(fit, SPECS[0], spec)
        assert (times.times[i], times.low[i], times.high[i]) == pytest.approx(
            (told.times, told.times_low, told.times_high), rel=1e-9
        )


def test_the_handbook_by_hand():
    """1 mm, 400 MPa, D2, bare, gap 10 %: every column but the constant is nought. eta = 150,000 hits, k = 2.5; the
    median of a Weibull life is eta (ln 2)^(1/k) (any textbook). And the same in carbide, 2 mm, of 800 MPa, gap 20 %."""
    assert handbook_interval(SPECS[0]).usual_hits == pytest.approx(150_000 * math.log(2) ** 0.4)
    other = EdgeSpec(die=0, thickness_mm=2.0, tensile_mpa=800.0, steel="carbide", coating="none", gap_pct=20.0)
    times = book.times_by_handbook(SPECS[0], [other])
    assert times.times[0] == pytest.approx(0.5 * 0.5 * math.exp(1.8) * math.exp(-0.8 * math.log(2) ** 2))
    sd = math.sqrt((0.5 * math.log(2)) ** 2 * 2 + 0.6**2 + (0.6 * math.log(2) ** 2) ** 2 + (0.4 * math.log(2)) ** 2)
    assert math.log(times.high[0] / times.low[0]) == pytest.approx(2 * 1.2816 * sd)


def test_the_handbooks_band_holds_eight_in_ten_of_what_its_prior_draws():
    """Draws of everything the prior leaves open, straight from its definition."""
    rng = np.random.default_rng(8)
    n = 200_000
    for spec in SPECS:
        x = prior.design_row(spec)
        b = prior.MEAN + prior.SD * rng.standard_normal((n, len(x)))
        k = np.exp(rng.normal(*prior.LN_K, n))
        die = rng.standard_normal(n) * np.abs(rng.normal(0, prior.TU_HALF_NORMAL, n))
        edge = rng.standard_normal(n) * np.abs(rng.normal(0, prior.TV_HALF_NORMAL, n))
        hits = 1e5 * np.exp(b @ x + die + edge) * np.log(2) ** (1 / k)
        told = handbook_interval(spec)
        inside = ((hits > told.low_hits) & (hits < told.high_hits)).mean()
        assert inside == pytest.approx(0.8, abs=0.02)
        assert (hits > told.usual_hits).mean() == pytest.approx(0.5, abs=0.02)


def test_the_record_moves_what_it_tells_of_and_leaves_what_it_does_not(fit):
    constant, carbide = book.said(fit, {"constant": 1.0}), book.said(fit, {"carbide against D2": 1.0})
    assert constant.narrowed < 0.6
    assert carbide.narrowed > 0.5 and carbide.moved < 0.6  # nobody here has run carbide
    nothing = book.said(None, {"constant": 2.0, "A2 against D2": -1.0})
    assert (nothing.narrowed, nothing.moved) == (1.0, 0.0)
    assert nothing.prior_mean == pytest.approx(2 * math.log(1.5) + 0.2)
    assert nothing.prior_sd == pytest.approx(math.hypot(2.0, 0.4))


def test_a_column_that_is_not_there_is_refused():
    with pytest.raises(ValueError, match="not in"):
        book.said(None, {"phase of the moon": 1.0})
