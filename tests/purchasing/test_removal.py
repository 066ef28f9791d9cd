"""What a grind takes off is drawn, not its mean."""

import math

import numpy as np
import pytest
import scipy
from hypothesis import given, settings
from hypothesis import strategies as st

from reports.purchasing.demand import Demand, DemandRefused, GrindGroup, PieceUse, item_demand
from reports.purchasing.removal import BETWEEN, USUAL_SPREAD, Removal, Taken, lasting, replacements

from .drawn import ground_out_drawn

YEARS = 40_000


def test_learnt_by_hand():
    # places of 4 grinds: 0.1, 0.1, 0.2, 0.2 and of 2: 0.2, 0.2; the shop is both
    one, other = Taken.of(4, 0.6, 0.1), Taken.of(2, 0.4, 0.08)
    assert (one.within_mm2, one.freedom) == (pytest.approx(0.01), 3)
    shop = one.plus(other)
    assert (shop.grinds, shop.total_mm, shop.freedom) == (6, pytest.approx(1.0), 4)
    learnt = Removal.learnt([shop, one], usual_mm=0.15)
    of_shop = (10 * USUAL_SPREAD**2 + 0.01 / (1 / 6) ** 2) / 14
    spread2 = (10 * of_shop + 0.01 / 0.15**2) / 13
    assert learnt.spread == pytest.approx(math.sqrt(spread2))
    between = BETWEEN**2 + of_shop / 6
    weight = between / (between + spread2 / 4)
    assert learnt.mean_mm == pytest.approx(weight * 0.15 + (1 - weight) / 6)
    assert learnt.doubt == pytest.approx(math.sqrt(weight * spread2 / 4))


def test_what_nobody_wrote_down_is_usual_and_in_doubt():
    nothing = Removal.learnt([Taken(), Taken()], usual_mm=0.15)
    assert (nothing.mean_mm, nothing.spread, nothing.doubt) == (0.15, USUAL_SPREAD, 0.4)
    shop = Taken.of(400, 40.0, 4.0 + 400 * 0.02**2)  # 0.1 give or take a fifth
    here = Removal.learnt([shop, Taken()], usual_mm=0.15)
    assert here.mean_mm == pytest.approx(0.1)
    assert here.doubt == pytest.approx(BETWEEN, abs=0.001)  # of a place where nothing was ground yet


def test_what_is_learnt_comes_to_what_is_true():
    rng = np.random.default_rng(3)
    mean = 0.12 * rng.gamma(1 / BETWEEN**2, BETWEEN**2, 300)
    grinds = [m * rng.gamma(1 / 0.35**2, 0.35**2, 12) for m in mean]
    taken = [Taken.of(len(g), float(g.sum()), float((g**2).sum())) for g in grinds]
    shop = taken[0]
    for more in taken[1:]:
        shop = shop.plus(more)
    found = [Removal.learnt([shop, one], usual_mm=0.15) for one in taken]
    error = np.array([np.log(r.mean_mm / m) for r, m in zip(found, mean, strict=True)])
    raw = np.array([np.log(t.total_mm / t.grinds / m) for t, m in zip(taken, mean, strict=True)])
    assert (error**2).mean() < (raw**2).mean()  # shrinking pays
    assert np.median([r.spread for r in found]) == pytest.approx(0.35, abs=0.03)
    doubt = np.mean([r.doubt**2 for r in found])
    assert (error**2).mean() == pytest.approx(doubt, rel=0.25)


def test_how_long_an_allowance_lasts_against_sums_of_gamma_removals():
    # Outside: gamma removals of shape a add up to shape b a (scipy's own law of the sum)
    found = lasting(4.5, spread=0.5, share=1.0, most=12)
    b = np.arange(1, 13)
    assert found[1:] == pytest.approx(scipy.stats.gamma(4 * b, scale=0.25).cdf(4.5), rel=1e-10)
    # of exponential removals they are a Poisson count: P(still in after b) = P(N >= b), N of mean 4.5
    assert lasting(4.5, spread=1.0, share=1.0, most=12)[1:] == pytest.approx(
        scipy.stats.poisson(4.5).sf(b - 1), rel=1e-9
    )


def test_the_mean_alone_is_the_hard_floor():
    assert lasting(3.0, spread=0.0, share=1.0, most=6).tolist() == [1, 1, 1, 1, 0, 0, 0]
    near = lasting(3.5, spread=0.02, share=1.0, most=6)
    assert near == pytest.approx([1, 1, 1, 1, 0, 0, 0], abs=1e-9)
    drawn = lasting(3.0, spread=0.3, share=1.0, most=6)
    assert 0.4 < drawn[3] < 0.6 and drawn[4] > 0.03  # the third grind as often as not, a fourth now and then


def test_ground_at_every_second_sharpening_only():
    # with a hard floor of two grinds it goes at the third: P(still in after n) = P(binomial(n, 0.4) <= 2)
    n = np.arange(16)
    assert lasting(2.0, spread=0.0, share=0.4, most=15) == pytest.approx(scipy.stats.binom(n, 0.4).cdf(2), rel=1e-9)


def set_of(pieces, counts, **law):
    return GrindGroup(
        label="set",
        strokes=0.0,
        sharpenings=counts,
        pieces=tuple(PieceUse(label=str(i), grinds_left=g, grinds_new=new, **law) for i, (g, new) in enumerate(pieces)),
    )


@pytest.mark.parametrize(
    ("pieces", "law"),
    [
        ([(2.4, 6.0)] * 3, {"spread": 0.3}),
        ([(0.3, 2.2)], {"spread": 0.6}),
        ([(1.7, 4.0)] * 2, {"spread": 0.25, "doubt": 0.2}),
        ([(3.0, 5.0)], {"spread": 0.3, "ground_share": 0.5}),
        ([(0.8, 5.0), (2.5, 5.0), (2.5, 5.0), (6.1, 5.0)], {"spread": 0.3}),
    ],
)
def test_the_naive_second_implementation_agrees_in_mean_and_variance(pieces, law):
    rng = np.random.default_rng(11)
    counts = np.array([0.0, 0.05, 0.1, 0.2, 0.25, 0.2, 0.1, 0.06, 0.04])
    drawn = ground_out_drawn(rng, rng.choice(len(counts), YEARS, p=counts), pieces, **law)
    told = set_of(pieces, counts, **law).ground_out()
    d = np.arange(len(told.chances))
    variance = float(told.chances @ (d - told.mean) ** 2)
    assert told.mean == pytest.approx(drawn.mean(), abs=4 * drawn.std() / YEARS**0.5)
    fourth = ((drawn - drawn.mean()) ** 4).mean()
    error = math.sqrt((fourth - drawn.var() ** 2) / YEARS)
    assert variance == pytest.approx(drawn.var(), abs=4 * error)


@pytest.mark.parametrize("bad", [{"mean_mm": 0.0}, {"mean_mm": 0.1, "spread": -1}, {"mean_mm": 0.1, "doubt": math.nan}])
def test_bad_removals_are_refused(bad):
    with pytest.raises(DemandRefused):
        Removal(**bad)
    for call in (lambda: Taken.of(-1, 0.0, 0.0), lambda: Taken.of(2, math.nan, 0.0)):
        with pytest.raises(DemandRefused):
            call()


GRINDS = st.floats(0, 9)


@settings(max_examples=60, deadline=None)
@given(GRINDS, GRINDS, st.floats(0.05, 0.9), st.floats(0.1, 1), st.integers(1, 30))
def test_laws_of_drawn_removals(less, more, spread, share, most):
    less, more = sorted((less, more))
    law = {"spread": spread, "share": share, "most": most}
    short, long = lasting(less, **law), lasting(more, **law)
    assert (np.diff(long) <= 1e-12).all() and long[0] == 1 and (long >= 0).all()
    assert (short <= long + 1e-9).all()  # more left lasts longer
    rows = replacements(less, more, **law)
    assert (np.diff(rows, axis=0) <= 1e-12).all() and (np.diff(rows, axis=1) >= -1e-12).all()
    if len(rows):
        assert rows[0] == pytest.approx(1 - short, abs=1e-9)


@settings(max_examples=40, deadline=None)
@given(st.lists(st.tuples(GRINDS, GRINDS), min_size=1, max_size=5), st.floats(0.1, 0.6), st.integers(1, 12))
def test_the_mean_of_a_set_is_that_of_its_pieces_and_its_spread_no_less_than_apart(pieces, spread, last):
    counts = np.zeros(last + 1)
    counts[last] = 1.0
    told = set_of(pieces, counts, spread=spread).ground_out()
    one_by_one = [set_of([piece], counts, spread=spread).ground_out() for piece in pieces]
    assert told.mean == pytest.approx(sum(piece.mean for piece in one_by_one), abs=1e-6)
    apart = Demand.total(one_by_one)
    assert variance_of(told) >= variance_of(apart) - 1e-6
    twice = set_of(pieces * 2, counts, spread=spread).ground_out()
    assert twice.mean == pytest.approx(2 * told.mean, abs=1e-6)
    assert variance_of(twice) == pytest.approx(4 * variance_of(told), abs=1e-5)  # those alike go together


def variance_of(demand: Demand) -> float:
    d = np.arange(len(demand.chances))
    return float(demand.chances @ (d - demand.mean) ** 2)


def test_the_use_of_an_item_takes_drawn_grinds():
    # one grind left and two sharpenings: by the floor it goes at the second for sure; drawn, now at the first, now
    # not even at the second
    counts = np.array([0.0, 0.0, 1.0])
    hard = item_demand([set_of([(1.0, 9.0)], counts)])
    drawn = item_demand([set_of([(1.0, 9.0)], counts, spread=0.5)])
    assert hard.chances.tolist() == [0.0, 1.0]
    assert drawn.chances[0] == pytest.approx(scipy.stats.gamma(8, scale=0.25).cdf(1.0))
    assert 0.03 < drawn.chances[0] < 0.1
