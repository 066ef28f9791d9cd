"""Many causes told apart at once: against a published table, against a plain second way, and laws."""

import numpy as np
import pytest
from scipy import optimize, sparse

from maintenance.life.effects import estimate

FLAT = 1e3  # a prior so wide that it says nothing


def test_a_published_poisson_table():
    """A. J. Dobson, An Introduction to Generalized Linear Models, 1990, p. 93: counts by outcome and treatment, as the
    example of `glm` in R's manual prints them (figures from memory)."""
    counts = [18, 17, 15, 20, 10, 20, 25, 13, 12]
    x = [[1, o == 1, o == 2, t == 1, t == 2] for t in range(3) for o in range(3)]
    told = estimate(np.array(x, float), counts, np.ones(9), np.full(5, FLAT))
    assert told.mean == pytest.approx([3.045, -0.4543, -0.2930, 0, 0], abs=6e-4)
    assert told.sd(range(5)) == pytest.approx([0.1709, 0.2022, 0.1927, 0.2000, 0.2000], abs=6e-5)


def some(seed, rows=60, terms=7):
    r = np.random.default_rng(seed)
    x = (r.random((rows, terms)) < 0.4) * r.normal(1, 0.5, (rows, terms))
    e = r.gamma(2.0, 1.0, rows)
    return x, r.poisson(e).astype(float), e, r.uniform(0.1, 0.6, terms)


@pytest.mark.parametrize("seed", range(5))
def test_the_top_that_a_general_search_finds(seed):
    x, y, e, sd = some(seed)

    def below(b):
        return float((e * np.exp(x @ b)).sum() - y @ (x @ b) + 0.5 * ((b / sd) ** 2).sum())

    best = optimize.minimize(below, np.zeros(len(sd)), method="BFGS", options={"gtol": 1e-10})
    told = estimate(sparse.csr_array(x), y, e, sd)
    assert told.mean == pytest.approx(best.x, abs=1e-5)
    full = x.T @ ((e * np.exp(x @ told.mean))[:, None] * x) + np.diag(sd**-2.0)
    assert told.covariance(range(len(sd))) == pytest.approx(np.linalg.inv(full), abs=1e-10)


def test_joining_rows_that_share_their_causes_changes_nothing():
    x, y, e, sd = some(11)
    twice = estimate(np.r_[x, x], np.r_[y, y], np.r_[e, e], sd)
    joined = estimate(x, 2 * y, 2 * e, sd)
    assert twice.mean == pytest.approx(joined.mean, abs=1e-9)
    assert twice.sd(range(7)) == pytest.approx(joined.sd(range(7)))


def test_where_nothing_was_seen_the_prior_stays():
    told = estimate(np.array([[1.0, 0.0]]), [4.0], [2.0], [0.5, 0.3])
    assert told.mean[1] == 0 and told.sd(1) == pytest.approx([0.3])
    assert 0 < told.mean[0] < np.log(2)


def test_what_two_causes_share_is_told_of_neither():
    """Two causes that always come together carry half each, and both stay unsure."""
    together = estimate(np.ones((1, 2)), [40.0], [20.0], [0.3, 0.3])
    alone = estimate(np.ones((1, 1)), [40.0], [20.0], [0.3])
    assert together.mean[0] == pytest.approx(together.mean[1])
    assert together.mean[0] < alone.mean[0] and together.sd(0)[0] > alone.sd(0)[0]


def test_a_step_that_would_run_off_does_not():
    told = estimate(np.array([[1.0]]), [5000.0], [1e-6], [50.0])
    assert told.mean[0] == pytest.approx(np.log(5000 / 1e-6), rel=0.01)


@pytest.mark.parametrize(
    ("y", "e", "sd", "says"),
    [
        ([1.0, 2.0], [1.0], [1.0], "do not fit"),
        ([-1.0], [1.0], [1.0], "nought or more"),
        ([1.0], [float("nan")], [1.0], "nought or more"),
        ([1.0], [1.0], [0.0], "above nought"),
    ],
)
def test_figures_that_cannot_be(y, e, sd, says):
    with pytest.raises(ValueError, match=says):
        estimate(np.ones((1, 1)), y, e, sd)
