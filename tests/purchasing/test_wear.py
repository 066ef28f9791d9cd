"""Pieces that wear out rather than break."""

import math

import numpy as np
import pytest
import scipy
from hypothesis import given, settings
from hypothesis import strategies as st

from reports.purchasing.demand import Demand, DemandRefused
from reports.purchasing.laws import WeibullLaw
from reports.purchasing.renewals import RenewalCounts
from reports.purchasing.wear import Lives, RunningLaw, WearLaw, Worn, WornItem, power

from .drawn import worn_out_drawn

KNOWN = 1e9  # as good as certain


def item_of(shape, *, eta=1.0, events=KNOWN):
    return WornItem(shape=shape, scale=eta, events=events, exposure=events)


@pytest.mark.parametrize("t", [0.5, 1.0, 2.0, 3.0])
@pytest.mark.parametrize("shape", [1.5, 2.0, 3.0])
def test_a_new_piece_by_the_renewal_function(shape, t):
    # [N05] renewal function of a Weibull life, scale 1
    expected = {
        1.5: {0.5: 0.3302698, 1.0: 0.8415781, 2.0: 1.945501, 3.0: 3.053714},
        2.0: {0.5: 0.2307939, 1.0: 0.7536913, 2.0: 1.894039, 3.0: 3.021745},
        3.0: {0.5: 0.1182627, 1.0: 0.6723291, 2.0: 1.801075, 3.0: 2.924775},
    }
    told = item_of(shape).replaced([Worn(strokes=t, age=0.0)])
    assert told.mean == pytest.approx(expected[shape][t], abs=5e-4)


def test_counts_of_a_new_piece():
    # [N06] shape 2.5, scale 60,000, 200,000 strokes: chances of at most so many
    told = item_of(2.5, eta=60_000).replaced([Worn(strokes=200_000, age=0.0)])
    assert [told.at_most(n) for n in (1, 3, 5)] == pytest.approx([0.0033773454, 0.60005922, 0.98786479], abs=5e-4)


def test_a_place_that_was_fitted_anew_for_ever_goes_on_at_the_mean_rate():
    # Cox 1962, ch. 5: of an equilibrium renewal process the expected count is t / mean, whatever the shape
    for shape in (1.5, 2.5, 4.0):
        counts = RenewalCounts.of(
            first=RunningLaw(shape=shape), fresh=WeibullLaw(eta_hits=1, shape=shape), horizon_hits=3, cells=4096
        )
        for t in (0.2, 1.0, 2.7):
            assert counts.expected(t) == pytest.approx(t / math.gamma(1 + 1 / shape), rel=1e-4)


def test_what_is_left_of_a_piece_of_unknown_age_against_summing_it_up():
    x = np.linspace(0, 6, 600_001)
    lasting = scipy.stats.weibull_min(2.5).sf(x)
    for watched, ahead in ((0.0, 0.4), (0.5, 0.4), (0.9, 0.05)):
        rest = [np.trapezoid(lasting[x >= w], x[x >= w]) for w in (watched, watched + ahead)]
        law = RunningLaw(shape=2.5, watched=watched)
        assert float(law.ended(ahead)) == pytest.approx(1 - rest[1] / rest[0], abs=2e-5)


@pytest.mark.parametrize(("age", "strokes"), [(0.0, 0.6), (0.9, 0.4), (0.45, 1.7), (None, 0.5)])
def test_the_naive_second_implementation_agrees_in_mean_and_variance(age, strokes):
    rng = np.random.default_rng(7)
    years, shape, events = 60_000, 3.0, 8.0
    rate = rng.gamma(events, 1 / events, years)
    eta = 1 / rate ** (1 / shape)
    drawn = sum(worn_out_drawn(rng, strokes, eta=eta, shape=shape, age=age, years=years) for _ in range(3))
    told = item_of(shape, events=events).replaced([Worn(strokes=strokes, age=age or 0.0, known=age is not None)] * 3)
    d = np.arange(len(told.chances))
    variance = float(told.chances @ (d - told.mean) ** 2)
    fourth = ((drawn - drawn.mean()) ** 4).mean()
    error = math.sqrt((fourth - drawn.var() ** 2) / years)
    # six slices of a rate stand for all its values
    assert told.mean == pytest.approx(drawn.mean(), abs=4 * drawn.std() / years**0.5 + 0.005 * drawn.mean())
    assert variance == pytest.approx(drawn.var(), abs=4 * error + 0.02 * drawn.var())


def drawn_kind(rng, *, shape, items=25, places=4, watched=3.0, spread=0.2):
    """Lives of a kind whose places were fitted anew for ever before the records began."""
    made = []
    for _ in range(items):
        eta = math.exp(rng.normal(0, spread))
        ended, running, ends, strokes = [], [], 0, 0.0
        for _ in range(places):
            at = -20 * eta * (1 + rng.random())
            began = None
            while True:
                following = at + eta * rng.weibull(shape)
                if following > 0:
                    if following > watched:
                        break
                    if began is None:
                        ends, strokes = ends + 1, strokes + following
                    else:
                        ended.append(following - began)
                    began = following
                at = following
            if began is None:
                strokes += watched
            else:
                running.append(watched - began)
        made.append(Lives(ended=tuple(ended), running=tuple(running), unknown_ends=ends, unknown_strokes=strokes))
    return made


@pytest.mark.parametrize("shape", [2.0, 3.5])
def test_the_shape_that_was_put_in_is_found(shape):
    found = [WearLaw.learnt(drawn_kind(np.random.default_rng(seed), shape=shape)).shape for seed in range(12)]
    assert np.mean(found) == pytest.approx(shape, rel=0.12)


def test_a_constant_rate_is_seldom_taken_for_wearing_out():
    found = [WearLaw.learnt(drawn_kind(np.random.default_rng(seed), shape=1.0, spread=0.5)) for seed in range(60)]
    assert sum(law.wears_out for law in found) <= 9  # one in twenty; more than 9 of 60 in 0.2 of 100


def test_against_scipy_where_all_are_known_and_alike():
    ages = scipy.stats.weibull_min(3.0).rvs(400, random_state=5)
    fitted = scipy.stats.weibull_min.fit(ages, floc=0)[0]
    law = WearLaw.learnt([Lives(ended=tuple(ages))])
    assert law.shape == pytest.approx(fitted, abs=0.15)  # told to tenths, a little shrunk
    eta = law.scale / law.rate ** (1 / law.shape)
    assert eta == pytest.approx(1.0, rel=0.03)


def test_few_lives_say_nothing_of_wearing_out():
    assert not WearLaw.learnt([]).wears_out
    assert not WearLaw.learnt([Lives(running=(3e5,), unknown_strokes=1e6)]).wears_out
    assert not WearLaw.learnt([Lives(ended=(2.1e5,), running=(3e5,), unknown_strokes=1e6)]).wears_out
    assert WearLaw.learnt([Lives(ended=(2e5, 2.1e5, 1.9e5, 2.05e5, 2.2e5), running=(3e4,))]).wears_out


def test_an_items_own_lives_move_its_rate():
    law = WearLaw.learnt(drawn_kind(np.random.default_rng(2), shape=3.0))
    short = law.of_item(Lives(ended=(0.5,) * 10, running=(0.1,)))
    long = law.of_item(Lives(ended=(1.5,) * 10, running=(0.1,)))
    assert short.mean_life < law.of_item(Lives()).mean_life < long.mean_life
    assert short.mean_life == pytest.approx(0.5, rel=0.15)


def test_bad_lives_are_refused():
    for bad in ({"ended": (0.0,)}, {"running": (-1.0,)}, {"unknown_strokes": math.nan}, {"unknown_ends": -1}):
        with pytest.raises(DemandRefused):
            Lives(**bad)


@settings(max_examples=30, deadline=None)
@given(
    st.floats(1.1, 5.0),
    st.lists(st.floats(0, 2.0), min_size=1, max_size=3),
    st.floats(0.01, 2.0),
    st.floats(1.0, 50.0),
)
def test_laws_of_wearing_out(shape, ages, strokes, events):
    shape = round(shape, 1)
    item = item_of(shape, events=events)
    told = item.replaced([Worn(strokes=strokes, age=age) for age in ages])
    assert told.chances.sum() == pytest.approx(1) and (told.chances >= 0).all()
    further = item.replaced([Worn(strokes=strokes * 1.5, age=age) for age in ages])
    assert further.mean >= told.mean - 1e-3
    older = item.replaced([Worn(strokes=strokes, age=age + 0.5) for age in ages])
    assert older.chances[0] <= told.chances[0] + 1e-3  # an older piece goes no later


@settings(max_examples=30, deadline=None)
@given(st.lists(st.floats(0.01, 1), min_size=1, max_size=5), st.integers(0, 9))
def test_so_many_independent_ones(p, n):
    one = Demand.of(p)
    assert power(one, n).chances == pytest.approx(Demand.total([one] * n).chances, abs=1e-12)
