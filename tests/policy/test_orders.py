"""Run on or sharpen first: against a plain second way, and by the laws that hold for any die."""

import dataclasses

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from maintenance.policy import Costs, Lives, decide, looks, of_die, pull_at, worth_grinding
from maintenance.policy.lives import LivesRefused, mixture
from maintenance.policy.orders import AS_IT_STANDS, ONE_EDGE, SWAP, WORTH, OrderRefused, along

SHAPE = 3.0
ETAS = np.array([60_000.0, 80_000.0, 95_000.0, 150_000.0])
ON_IT = np.array([30_000.0, 30_000.0, 12_000.0, 60_000.0])
COSTS = Costs(
    teardown=120, grind=[25, 25, 30, 20], dull=600, pull=150, chip=300, chip_rate=[2e-7, 2e-7, 3e-7, 1e-7],
    look_hits=10_000, teardown_hours=2, grind_hours=[0.3, 0.3, 0.4, 0.2], swap_hours=0.1, stop_hours=1.5,
    scrap_parts=5_000, grind_mm=[0.1, 0.1, 0.12, 0.1],
)  # fmt: skip
FRESH, NOW = Lives.of_weibull(SHAPE, ETAS), Lives.of_weibull(SHAPE, ETAS, ON_IT)


def drawn(on_it, etas, chip_rate, n=200_000, seed=3):
    """First dull edge and first chip in further hits, drawn life by life."""
    rng = np.random.default_rng(seed)
    unit = rng.exponential(size=(n, len(etas)))
    lives = etas * ((on_it / etas) ** SHAPE + unit) ** (1 / SHAPE) - on_it
    return lives.min(axis=1), rng.exponential(1 / chip_rate, n)


def test_along_an_order_against_lives_drawn_at_random():
    at = looks(47_000, 10_000)
    assert at.tolist() == [10_000, 20_000, 30_000, 40_000, 47_000]
    path = along(NOW, COSTS, at)
    dull, chip = drawn(ON_IT, ETAS, COSTS.chips_a_hit)
    found = np.append(at, np.inf)[np.searchsorted(at, dull)]
    for i, q in enumerate(at, 1):
        by_dull, by_chip = (dull <= chip) & (dull <= q), (chip < dull) & (chip <= q)
        end = np.where(by_dull, found, np.where(by_chip, chip, q))
        loss = by_dull * np.where(found < at[-1], COSTS.dull + COSTS.pull, COSTS.dull * 0.7)  # 7,000 hits after a look
        assert path.dull[i] == pytest.approx(by_dull.mean(), abs=0.006)
        assert path.chipped[i] == pytest.approx(by_chip.mean(), abs=0.002)
        assert path.reached[i] == pytest.approx(1 - by_dull.mean() - by_chip.mean(), abs=0.006)
        assert path.hits[i] == pytest.approx(end.mean(), rel=0.004)
        assert path.loss[i] == pytest.approx(loss.mean(), rel=0.02)


def test_the_rule_by_hand():
    """One edge, no chips, a look only at the end of the order: L = delta (1 - S), I = Q, g from the book."""
    fresh = Lives.of_weibull(2.5, [1000.0])
    costs = Costs(teardown=0.5, grind=[0.5], dull=4, look_hits=1e-9)
    usual = of_die(fresh, costs)
    assert usual.rate == pytest.approx(0.0034620427, rel=1e-7)  # [R01] its optimum
    at_the_end = dataclasses.replace(costs, look_hits=200.0)
    for ran in (100.0, 380.0, 420.0, 900.0):
        now = Lives.of_weibull(2.5, [1000.0], [ran])
        gone = 1 - np.exp((ran / 1000) ** 2.5 - ((ran + 200) / 1000) ** 2.5)
        pull = pull_at(now, at_the_end, usual.rate, looks(200, 200))
        assert min(4 * gone - usual.rate * 200, 0) == pytest.approx(pull.advantage, abs=2e-3)
        assert pull.look == (1 if 4 * gone < usual.rate * 200 else 0)


def naive_pull(now, costs, rate, order_hits):
    """The same, look by look, in plain sums over fine steps."""
    at, best = looks(order_hits, costs.look_hits), (0, 0.0)
    loss = run = 0.0
    for i, q in enumerate(at):
        begin = at[i - 1] if i else 0.0
        x = np.linspace(begin, q, 400)
        d, g = np.exp(-now.die(x)), np.exp(-costs.chips_a_hit * x)
        f = (d[:-1] - d[1:]) * (g[:-1] + g[1:]) / 2
        loss += f.sum() * (costs.dull * (q - begin) / costs.look_hits + (costs.pull if q < at[-1] else 0.0))
        run += np.trapezoid(d * g, x) + (f * (q - (x[:-1] + x[1:]) / 2)).sum()
        a = loss - rate * run + (costs.pull * d[-1] * g[-1] if q < at[-1] else 0.0)
        if a < best[1]:
            best = i + 1, a
    return best


@pytest.mark.parametrize("order", [8_000, 33_000, 70_000, 160_000])
@pytest.mark.parametrize("ran", [0.0, 0.5, 0.9])
def test_where_to_pull_against_plain_sums(order, ran):
    now = Lives.of_weibull(SHAPE, ETAS, ON_IT * ran)
    rate = of_die(FRESH, COSTS, order_looks=len(looks(order, 10_000))).rate
    mine = pull_at(now, COSTS, rate, looks(order, 10_000))
    look, a = naive_pull(now, COSTS, rate, order)
    assert mine.look == look and mine.advantage == pytest.approx(a, abs=0.6)


def test_what_an_order_may_be_run_as():
    told = decide(NOW, FRESH, COSTS, 55_000, on_shelf=[0], ln_sd=0.2)
    starts = {(o.start, len(o.pulls)) for o in told.options}
    assert {(AS_IT_STANDS, 0), (AS_IT_STANDS, 1), (AS_IT_STANDS, 2), (WORTH, 0), (ONE_EDGE, 0), (SWAP, 0)} <= starts
    assert told.best.against_best == 0 and all(o.against_best >= 0 for o in told.options)
    run, sharpened = told.named(AS_IT_STANDS), told.named(WORTH)
    assert sharpened.chance > run.chance and sharpened.stops < run.stops
    assert sharpened.steel_mm[told.choice.grind].min() >= 0.1
    assert 0 < told.sure <= 1 and told.gain > 0
    swap = told.named(SWAP)
    assert swap.ground.tolist() == [True, False, False, False]
    assert decide(NOW, FRESH, COSTS, 55_000).named(ONE_EDGE).ground.sum() == 1


def test_what_to_expect_of_an_order_against_lives_drawn_at_random():
    at = looks(55_000, 10_000)
    run = decide(NOW, FRESH, COSTS, 55_000).named(AS_IT_STANDS)
    dull, chip = drawn(ON_IT, ETAS, COSTS.chips_a_hit)
    assert run.chance == pytest.approx(np.mean(np.minimum(dull, chip) > at[-1]), abs=0.005)
    # a second stop is rare: what comes after the first one is taken at the long run's rate, told apart here by hand
    first = np.mean(np.minimum(dull, chip) <= at[-1])
    assert first < run.stops < first * 1.9


def test_a_damaged_die_is_never_run_as_it_stands():
    told = decide(NOW, FRESH, COSTS, 5_000, bad=[3])
    assert not told.named(AS_IT_STANDS).allowed and told.best.sharpens_first
    assert told.best.ground[3] and all(o.ground[3] for o in told.options if o.sharpens_first)
    fine = decide(Lives.of_weibull(SHAPE, ETAS, ON_IT * 0.01), FRESH, COSTS, 5_000)
    assert not fine.best.sharpens_first


def test_a_long_order_is_pulled_inside():
    told = decide(FRESH, FRESH, COSTS, 260_000)
    assert told.best.start == AS_IT_STANDS and len(told.best.pulls) >= 1
    by_pulls = sorted((o for o in told.options if not o.sharpens_first), key=lambda o: len(o.pulls))
    assert [len(o.pulls) for o in by_pulls][:3] == [0, 1, 2] and len(told.best.pulls) > 2
    assert told.best.chance > 10 * by_pulls[0].chance
    assert (np.diff([0, *told.best.pulls, 260_000]) > 0).all()
    # pulls inside an order make the press wait, so they lie farther apart than sharpenings between orders
    apart = np.diff([0, *told.best.pulls])
    assert told.usual.hits < apart.mean() < 2 * told.usual.hits and np.ptp(apart) <= 10_000


def test_what_would_turn_it_turns_it():
    told = decide(NOW, FRESH, COSTS, 40_000, ln_sd=0.15)
    turned = {t.of: t.factor for t in told.turns}
    assert set(turned) == {"teardown", "grind", "dull", "pull", "lives", "order"}
    first = told.best.sharpens_first
    for name in ("dull", "teardown"):
        factor = turned[name]
        assert factor is not None
        beyond = factor * (1.1 if factor > 1 else 0.9)
        after = decide(NOW, FRESH, COSTS.times(name, beyond), 40_000, with_turns=False)
        before = decide(NOW, FRESH, COSTS.times(name, (1 + factor) / 2), 40_000, with_turns=False)
        assert after.best.sharpens_first != first
        assert before.best.sharpens_first == first


@pytest.mark.parametrize("hits", [0, -5, float("nan"), float("inf")])
def test_an_order_without_hits_is_refused(hits):
    with pytest.raises(OrderRefused, match="nothing to run"):
        decide(NOW, FRESH, COSTS, hits)


def test_edges_that_do_not_match_are_refused():
    with pytest.raises(LivesRefused):
        mixture(NOW, Lives.of_weibull(2, [1.0, 2.0]), np.ones(4, bool))
    with pytest.raises(LivesRefused):
        Lives.of([1.0, 2.0], [[0.5, 0.2]])
    with pytest.raises(LivesRefused):
        Lives.of([2.0, 1.0], [[0.1, 0.2]])
    with pytest.raises(LivesRefused):
        Lives.of_levels([0.5, 0.1], [[1, 2]], None)


def test_a_mixture_lies_between_as_it_is_and_ground():
    some = mixture(NOW, FRESH, np.array([True, False, True, False]))
    x = np.array([5_000.0, 20_000.0, 60_000.0])
    assert (some.die(x) > FRESH.die(x)).all() and (some.die(x) < NOW.die(x)).all()
    independent = FRESH.edges(x)[[0, 2]].sum(axis=0) + NOW.edges(x)[[1, 3]].sum(axis=0)
    assert some.die(x) == pytest.approx(independent, rel=0.01)


def test_stored_levels_give_the_curve_back():
    levels = np.array([0.001, 0.01, 0.05, *np.arange(0.1, 0.95, 0.05), 0.95, 0.99, 0.999])
    x = np.geomspace(50, 400_000, 20_000)
    gone = 1 - np.exp(-NOW.edges(x) - COSTS.chip_rate[:, None] * x)
    edges = np.array([np.interp(levels, row, x) for row in gone])
    whole = np.interp(levels, 1 - np.exp(-NOW.die(x) - COSTS.chips_a_hit * x), x)
    back = Lives.of_levels(levels, edges, whole, chip_rate=COSTS.chip_rate)
    at = np.array([3_000.0, 15_000.0, 40_000.0, 80_000.0])
    assert np.exp(-back.edges(at)) == pytest.approx(np.exp(-NOW.edges(at)), abs=0.004)
    assert np.exp(-back.die(at)) == pytest.approx(np.exp(-NOW.die(at)), abs=0.004)
    later, true = back.after(10_000.0), Lives.of_weibull(SHAPE, ETAS, ON_IT + 10_000)
    assert np.exp(-later.die(at)) == pytest.approx(np.exp(-true.die(at)), abs=0.006)


dies = st.lists(
    st.tuples(st.floats(2e4, 3e5), st.floats(0, 1.2)), min_size=1, max_size=5
)  # usual hits of an edge, and how many of them have run
shapes, orders = st.floats(1.2, 5.0), st.floats(3e3, 2e5)


def die_of(made, shape):
    etas = np.array([eta for eta, _ in made])
    return Lives.of_weibull(shape, etas, etas * [ran for _, ran in made]), Lives.of_weibull(shape, etas)


def costs_for(made, dull=500.0, pull=120.0):
    return Costs(teardown=120, grind=[25.0] * len(made), dull=dull, pull=pull, chip_rate=2e-7, look_hits=10_000)


@settings(max_examples=25, deadline=None)
@given(made=dies, shape=shapes, order=orders, dearer=st.floats(1.05, 6.0), part=st.floats(0.1, 0.95))
def test_laws_of_an_order(made, shape, order, dearer, part):
    now, fresh = die_of(made, shape)
    costs = costs_for(made)
    at = looks(order, costs.look_hits)
    usual = of_die(fresh, costs, order_looks=len(at))
    here = pull_at(now, costs, usual.rate, at)
    # a dearer stop never makes running on better, at a given cost a hit in the long run
    for name in ("dull", "pull"):
        assert pull_at(now, costs.times(name, dearer), usual.rate, at).advantage >= here.advantage - 1e-9
    # a longer order never raises the chance
    chance = np.exp(-now.die([order * part, order]))
    assert chance[1] <= chance[0]
    shorter = decide(now, fresh, costs, order * part, with_turns=False)
    longer = decide(now, fresh, costs, order, with_turns=False)
    assert longer.named(AS_IT_STANDS).chance <= shorter.named(AS_IT_STANDS).chance + 1e-9
    assert all(0 <= o.chance <= 1 and o.stops >= 0 and o.euros >= 0 for o in longer.options)
    # what is more than the best is dearer, and the set that pays is the cheapest of those ground first
    assert longer.best.against_best == 0
    apart = [o.advantage for o in longer.options if o.sharpens_first and not o.pulls]
    assert longer.named(WORTH).advantage == pytest.approx(min(apart), abs=1e-6)


@settings(max_examples=25, deadline=None)
@given(made=dies, shape=shapes, order=orders, by=st.sampled_from([1e-3, 0.5, 1000.0]))
def test_hits_in_another_unit_change_nothing(made, shape, order, by):
    now, fresh = die_of(made, shape)
    costs = costs_for(made)
    other = dataclasses.replace(costs, look_hits=costs.look_hits * by, chip_rate=costs.chip_rate / by)
    first = decide(now, fresh, costs, order, ln_sd=0.2, with_turns=False)
    again = decide(now.scaled(by), fresh.scaled(by), other, order * by, ln_sd=0.2, with_turns=False)
    assert [o.start for o in again.options] == [o.start for o in first.options]
    for one, two in zip(first.options, again.options, strict=True):
        assert two.advantage == pytest.approx(one.advantage, abs=1e-6)
        assert (two.chance, two.euros) == pytest.approx((one.chance, one.euros))


@settings(max_examples=30, deadline=None)
@given(made=dies, shape=shapes, order=orders, picked=st.lists(st.booleans(), min_size=5, max_size=5))
def test_grinding_more_edges_never_raises_the_chance_of_a_dull_end(made, shape, order, picked):
    now, fresh = die_of(made, shape)
    some = np.array(picked[: len(made)])
    x = np.array([order / 3, order])
    for e in np.flatnonzero(~some):
        more = some.copy()
        more[e] = True
        assert (mixture(now, fresh, more).die(x) <= mixture(now, fresh, some).die(x) * (1 + 1e-3) + 1e-6).all()


def test_an_edge_about_to_go_is_ground_and_a_fresh_one_is_not():
    now = Lives.of_weibull(SHAPE, ETAS, np.array([58_000.0, 500.0, 500.0, 500.0]))
    usual = of_die(FRESH, COSTS)
    choice = worth_grinding(now, FRESH, COSTS, usual)
    assert choice.grind.tolist() == [True, False, False, False]
    assert choice.risk[0] > 0.5 and choice.worth[0] > 0 > choice.worth[1]
    bad = worth_grinding(now, FRESH, COSTS, usual, bad=np.array([False, False, False, True]))
    assert bad.grind.tolist() == [True, False, False, True] and bad.worth[3] > 0
    assert choice.hits == pytest.approx(0.7 * usual.hits)


def test_the_saving_rule_against_plain_sums():
    """gamma, F and I of one edge by sums over 20,000 steps."""
    usual = of_die(FRESH, COSTS)
    choice = worth_grinding(NOW, FRESH, COSTS, usual)
    delta = COSTS.dull + COSTS.teardown / 2
    for e, eta in enumerate(ETAS):
        x = np.linspace(0, 4 * eta, 20_001)
        s, g = np.exp(-((x / eta) ** SHAPE)), np.exp(-COSTS.chip_rate[e] * x)
        dull = np.cumsum((s[:-1] - s[1:]) * (g[:-1] + g[1:]) / 2)
        run = np.cumsum(((s * g)[:-1] + (s * g)[1:]) / 2 * np.diff(x))
        gamma = ((COSTS.grind[e] + delta * dull) / run).min()
        assert choice.own_rate[e] == pytest.approx(gamma, rel=1e-3)
        x = np.linspace(0, 0.7 * usual.hits, 20_001)
        s = np.exp((ON_IT[e] / eta) ** SHAPE - ((ON_IT[e] + x) / eta) ** SHAPE)
        g = np.exp(-COSTS.chips_a_hit * x)
        risk = ((s[:-1] - s[1:]) * (g[:-1] + g[1:]) / 2).sum()
        kept = np.trapezoid(s * g, x)
        assert choice.risk[e] == pytest.approx(risk, abs=5e-4)
        assert choice.worth[e] == pytest.approx(delta * risk - gamma * kept, abs=1.0)
