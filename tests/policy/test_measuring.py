"""What a reading is worth: against readings drawn at random, and by what holds of any."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from maintenance.policy import Costs, Lives, at_start, of_die, while_apart
from maintenance.policy.measuring import Learnt, reading_at
from maintenance.policy.sets import HORIZON, own_rates

SHAPE, ETAS, ON_IT = 3.0, np.array([70_000.0, 100_000.0, 140_000.0]), np.array([35_000.0, 40_000.0, 20_000.0])
COSTS = Costs(teardown=120, grind=[25, 25, 30], dull=600, pull=150, chip_rate=1e-7, look_hits=10_000)
FRESH, NOW = Lives.of_weibull(SHAPE, ETAS), Lives.of_weibull(SHAPE, ETAS, ON_IT)
USUAL = of_die(FRESH, COSTS)


def test_what_readings_may_say_against_lives_drawn_at_random():
    learnt = Learnt.of(NOW, 0, ON_IT[0], 0.25)
    rng = np.random.default_rng(5)
    unit = rng.exponential(size=400_000)
    whole = ETAS[0] * ((ON_IT[0] / ETAS[0]) ** SHAPE + unit) ** (1 / SHAPE)
    said = np.log(whole) + rng.normal(0, 0.25, len(whole))
    step = learnt.ln_life[1] - learnt.ln_life[0]
    for i in (5, 8, 11):
        near = np.abs(said - learnt.ln_life[i]) < step / 2
        assert learnt.chance[i] == pytest.approx(near.mean(), rel=0.08)
        for more in (10_000.0, 30_000.0):
            left = np.interp(more, learnt.more, learnt.left[i])
            assert left == pytest.approx(np.mean(whole[near] - ON_IT[0] > more), abs=0.02)
    # before it is known what is read, the mean is the forecast again
    x = np.array([5_000.0, 20_000.0, 50_000.0])
    assert np.interp(x, learnt.more, learnt.before) == pytest.approx(np.exp(-NOW.edges(x)[0]), abs=0.01)


def test_worth_while_apart_against_deciding_by_drawn_readings():
    worth = while_apart(NOW, FRESH, COSTS, USUAL, edge=0, on_it_hits=ON_IT[0], reading_sd=0.25)
    rng = np.random.default_rng(6)
    unit = rng.exponential(size=300_000)
    whole = ETAS[0] * ((ON_IT[0] / ETAS[0]) ** SHAPE + unit) ** (1 / SHAPE)
    said = np.log(whole) + rng.normal(0, 0.25, len(whole))
    horizon, chips = HORIZON * USUAL.hits, COSTS.chips_a_hit
    left = np.minimum(whole - ON_IT[0], horizon)
    dull = (whole - ON_IT[0] < horizon) * np.exp(-chips * left)
    kept = (1 - np.exp(-chips * left)) / chips
    value = (COSTS.dull + 60) * dull - own_rates(FRESH, COSTS)[0] * kept
    assert worth.critical_ln_life is not None
    # grind it where the reading lies under the critical life: what that brings over the better of always and never
    by_reading = np.where(said < worth.critical_ln_life, value, 0.0).mean()
    assert worth.worth == pytest.approx(by_reading - max(value.mean(), 0), abs=1.5)
    others = [np.where(said < worth.critical_ln_life + d, value, 0.0).mean() for d in (-0.3, 0.3)]
    assert max(others) < by_reading + 0.5


def test_an_exact_reading_is_worth_more_and_one_that_says_nothing_is_worth_nothing():
    def worth(sd):
        return while_apart(NOW, FRESH, COSTS, USUAL, edge=0, on_it_hits=ON_IT[0], reading_sd=sd).worth

    assert worth(0.1) > worth(0.3) > worth(0.8) >= worth(30.0)
    assert worth(30.0) == pytest.approx(0, abs=0.5)


def test_the_value_that_turns_it_is_told_as_it_is_read():
    worth = at_start(NOW, COSTS, USUAL, 30_000, edge=0, on_it_hits=ON_IT[0], reading_sd=0.2)
    assert worth.turns and worth.critical_ln_life is not None
    usual = reading_at(worth.critical_ln_life, ON_IT[0], lambda share: 5 + 50 * share)
    assert usual == pytest.approx(5 + 50 * ON_IT[0] / np.exp(worth.critical_ln_life))
    with pytest.raises(ValueError, match="nothing to read"):
        reading_at(10.0, 0.0, lambda share: share)
    with pytest.raises(ValueError, match="no reading is exact"):
        at_start(NOW, COSTS, USUAL, 30_000, edge=0, on_it_hits=ON_IT[0], reading_sd=0.0)


@settings(max_examples=20, deadline=None)
@given(ran=st.floats(0.0, 1.3), shape=st.floats(1.3, 5), order=st.floats(5e3, 1.5e5), sd=st.floats(0.05, 1.0))
def test_no_reading_is_worth_less_than_nothing(ran, shape, order, sd):
    fresh, now = Lives.of_weibull(shape, ETAS), Lives.of_weibull(shape, ETAS, ETAS * ran)
    usual = of_die(fresh, COSTS)
    one = {"edge": 1, "on_it_hits": ETAS[1] * ran, "reading_sd": sd}
    for worth in (at_start(now, COSTS, usual, order, **one), while_apart(now, fresh, COSTS, usual, **one)):
        assert worth.worth >= 0
        if not worth.turns:
            assert worth.worth == pytest.approx(0, abs=1e-6)
        # a longer life never speaks more for sharpening
        assert (np.diff(worth.value) <= 1e-6 * np.abs(worth.value).max() + 0.5).all()
