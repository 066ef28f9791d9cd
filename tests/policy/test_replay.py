"""Decisions looked back on: bounds that hold the truth of a simulated shop, means that are right, and the laws."""

import dataclasses
from functools import cache

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from maintenance.policy import Costs, Lives, of_die, replay, worth_grinding
from maintenance.policy.orders import looks
from maintenance.policy.replay import Bounds, JobDone, ReplayRefused, TeardownDone, of_job, of_teardown, total

from .replayed import Die, walk

SHAPE, LOOK = 3.0, 10_000.0
ETAS = np.array([60_000.0, 80_000.0, 95_000.0])
COSTS = Costs(
    teardown=120, grind=[25, 25, 30], dull=600, pull=150, look_hits=LOOK, chip_rate=2e-7, grind_mm=[0.1, 0.1, 0.12]
)
FRESH = Lives.of_weibull(SHAPE, ETAS)
ON_IT = np.array([30_000.0, 30_000.0, 12_000.0])
NOW = Lives.of_weibull(SHAPE, ETAS, ON_IT)


@cache
def usual(job: float, costs: Costs = None):
    return of_die(FRESH, costs or COSTS, order_looks=len(looks(job, LOOK)))


def of(advised, done: JobDone, costs: Costs = COSTS, now: Lives = NOW):
    return of_job(now, FRESH, costs, of_die(FRESH, costs, order_looks=len(looks(done.hits, LOOK))), advised, done)


def ordered(bounds: Bounds) -> bool:
    return bounds.low <= bounds.expected <= bounds.high


WAYS = [
    # hits of the job, what was advised, what the shop did, hits on the edges
    (40_000.0, [], [0.0], 0.4),  # sharpened early
    (40_000.0, [0.0], [], 1.0),  # run on
    (70_000.0, [20_000.0], [], 0.8),  # run past the pull
    (70_000.0, [30_000.0], [10_000.0], 0.5),  # pulled early in the job
    (33_000.0, [], [20_000.0], 0.7),
    (90_000.0, [0.0, 50_000.0], [0.0], 1.0),  # alike at first
]


@pytest.mark.parametrize(("job", "advised", "did", "age"), WAYS)
def test_the_bounds_hold_the_truth_and_what_is_expected_is_right_on_average(job, advised, did, age):
    die = Die(SHAPE, ETAS, ON_IT * age, COSTS)
    now = Lives.of_weibull(SHAPE, ETAS, ON_IT * age)
    long_run = usual(job)
    rng, errors, stops = np.random.default_rng(1), [], []
    for _ in range(400):
        sharp = die.life(rng, ON_IT * age)
        fresh = [die.life(rng, np.zeros(3)) for _ in range(3)]
        done = walk(die, job, did, sharp, fresh)
        # the way not taken: edges that both ways ran have one life; of sharpening at another time another one
        alike = advised[:1] == did[:1]
        other = walk(die, job, advised, sharp, [fresh[0] if alike else die.life(rng, np.zeros(3)), *fresh[1:]])
        came = JobDone(hits=job, pulls=done.pulls, stop=done.stop, since_look=done.since_look)
        told = of_job(now, FRESH, COSTS, long_run, advised, came)
        if told.same:
            assert other.euros == pytest.approx(done.euros) and other.stops == done.stops
            continue
        truth = done.euros - other.euros
        assert told.euros.low - 2 <= truth <= told.euros.high + 2
        assert told.stops.low <= done.stops - other.stops <= told.stops.high
        assert told.teardowns.low <= done.teardowns - other.teardowns <= told.teardowns.high
        errors.append(truth - told.euros.expected)
        stops.append(done.stops - other.stops - told.stops.expected)
    assert len(errors) > 30
    for wrong in (errors, stops):
        assert abs(np.mean(wrong)) < 3.5 * np.std(wrong) / np.sqrt(len(wrong))
    assert np.std(errors) > 1  # something was open


def test_an_early_sharpening_by_hand():
    """One edge whose end is all but sure, at 40,000 hits: the arithmetic by hand."""
    sure = Lives.of_weibull(80.0, [40_000.0])
    costs = Costs(teardown=100, grind=[20], dull=500, pull=50, look_hits=10_000, grind_mm=0.1)
    long_run = of_die(sure, costs, order_looks=1)
    assert long_run.rate == pytest.approx(120 / 37_500, rel=0.03)  # pulled a little before the end
    # sharpened before a job of 10,000 hits with 10,000 on the edge; all but 30,000 more were in it
    told = of_job(sure.after(10_000), sure, costs, long_run, [], JobDone(hits=10_000, pulls=(0.0,)))
    # done: 120, and 27,500 hits handed on; advised: 17,500 handed on. 10,000 hits are 32 EUR, so 88 are lost.
    assert told.euros.expected == told.euros.high == pytest.approx(120 - 32, abs=2)
    # at the worst the edge would have gone dull at once: 500 for it, where nothing is broken off, and a fresh die after
    assert told.euros.low == pytest.approx(120 - 88 - (500 + 120 - 120), abs=3)
    assert (told.stops.low, told.stops.high) == (-1, 0) and told.stops.expected == pytest.approx(0, abs=1e-6)
    assert (told.teardowns.low, told.teardowns.high) == (0, 1)
    assert told.steel_mm.high == pytest.approx(0.1)


def test_what_was_advised_and_done_differs_in_nothing():
    for pulls, stop in [((), None), ((0.0,), None), ((0.0,), 30_000.0), ((0.0, 20_000.0), 30_000.0), ((), 10_000.0)]:
        told = of(pulls, JobDone(hits=40_000, pulls=pulls, stop=stop, since_look=LOOK))
        assert told.same and told.euros == Bounds() and told.stops == Bounds()
    # an edge was dull before anything differed: advised or not, the die would have been pulled
    assert of([30_000.0], JobDone(hits=40_000, stop=20_000.0, since_look=LOOK)).same
    # advised past the end of what was run of the job, or as good as where it was done
    assert of([50_000.0], JobDone(hits=40_000)).same
    assert of([20_000.0], JobDone(hits=40_000, pulls=(23_000.0,))).same
    assert total([]).same and not total([of([0.0], JobDone(hits=40_000)), of([], JobDone(hits=40_000))]).same


def test_an_edge_found_dull_on_the_bench_would_have_stopped_the_job_at_its_first_look():
    told = of([], JobDone(hits=40_000, pulls=(0.0,), dull_at_start=True))
    assert told.euros.low == told.euros.high == told.euros.expected and told.stops == Bounds.at(-1.0)
    assert told.euros.expected < of([], JobDone(hits=40_000, pulls=(0.0,))).euros.expected


def test_a_stop_that_the_advice_would_have_saved_is_one_at_most():
    told = of([0.0], JobDone(hits=40_000, stop=10_000.0, since_look=LOOK))
    assert (told.stops.low, told.stops.high) == (0.0, 1.0)
    assert told.stops.expected == pytest.approx(np.exp(-(FRESH.die([40_000.0])[0])))
    assert told.euros.expected > 0 and told.euros.high < COSTS.dull + COSTS.pull + COSTS.set
    assert told.euros.low < 0  # the fresh edge might have gone dull as well
    late = of([0.0], JobDone(hits=40_000, stop=40_000.0, since_look=LOOK))
    assert late.euros.expected < told.euros.expected  # it ran further, and nothing was broken off


def test_a_chip_comes_either_way():
    run_on = of([0.0], JobDone(hits=20_000, torn=True))
    assert run_on.teardowns.low == -2 and run_on.teardowns.high == -1  # the chip's own stands in both
    assert run_on.euros.high == pytest.approx(-COSTS.set)  # sharpened for nothing, at the least
    assert run_on.euros.expected < of([0.0], JobDone(hits=20_000)).euros.expected


def test_what_is_told_must_be_possible():
    with pytest.raises(ReplayRefused, match="nothing to look back on"):
        JobDone(hits=0)
    with pytest.raises(ReplayRefused, match="50,000 hits of a job of 40,000"):
        JobDone(hits=40_000, stop=50_000)
    with pytest.raises(ReplayRefused, match="one after the other"):
        JobDone(hits=40_000, pulls=(20_000.0, 10_000.0))
    with pytest.raises(ReplayRefused, match="before its first stop"):
        JobDone(hits=40_000, pulls=(20_000.0,), stop=10_000.0)
    with pytest.raises(ReplayRefused, match="advised teardowns"):
        of([20_000.0, 0.0], JobDone(hits=40_000))
    with pytest.raises(ReplayRefused, match="outside the 20,000"):
        TeardownDone(ground=np.ones(3, bool), hits=20_000, found_dull=np.array([np.nan, 30_000, np.nan]))
    with pytest.raises(ReplayRefused, match="3 edges now, 2 advised on"):
        apart([True, True], [True] * 3)


jobs = st.floats(5_000, 120_000)
shares = st.lists(st.floats(0.0, 1.0), max_size=2)


@st.composite
def came(draw):
    hits = draw(jobs)
    pulls = sorted({float(int(s * hits)) for s in draw(shares)})
    stop = draw(st.none() | st.floats(0.0, 1.0))
    stop = None if stop is None else max([stop * hits, *pulls])
    start = bool(pulls) and pulls[0] == 0 and draw(st.booleans())
    return JobDone(
        hits=hits, pulls=tuple(pulls), stop=stop, since_look=draw(st.floats(0, LOOK)), dull_at_start=start,
        torn=draw(st.booleans()),
    )  # fmt: skip


advice = st.lists(st.sampled_from([0.0, 9_000.0, 21_000.0, 43_000.0, 80_000.0]), unique=True, max_size=2).map(sorted)


@given(came(), advice)
@settings(max_examples=60, deadline=None)
def test_low_is_at_most_expected_and_that_at_most_high(done, advised):
    told = of(advised, done)
    for bounds in (told.euros, told.stops, told.teardowns, told.steel_mm):
        assert ordered(bounds)
        low, high = bounds.likely()
        assert bounds.low <= low <= bounds.expected <= high <= bounds.high
    assert told.stops.low >= -1 and told.stops.high <= 1
    turned = -told.euros
    assert ordered(turned) and (turned.low, turned.high) == (-told.euros.high, -told.euros.low)


@given(came(), advice, st.floats(0.2, 5.0))
@settings(max_examples=25, deadline=None)
def test_dearer_by_a_factor_is_dearer_by_it_and_stops_stay(done, advised, by):
    scaled = dataclasses.replace(
        COSTS, teardown=120 * by, grind=COSTS.grind * by, dull=600 * by, pull=150 * by, chip=COSTS.chip * by
    )
    one, other = of(advised, done), of(advised, done, scaled)
    for name in ("low", "expected", "high"):
        assert getattr(other.euros, name) == pytest.approx(by * getattr(one.euros, name), rel=1e-6, abs=1e-6)
    assert other.stops == one.stops and other.teardowns == one.teardowns


@given(came(), advice, st.floats(0.01, 100.0))
@settings(max_examples=25, deadline=None)
def test_hits_in_another_unit_change_nothing(done, advised, unit):
    costs = dataclasses.replace(COSTS, look_hits=LOOK * unit, chip_rate=COSTS.chip_rate / unit)
    fresh = FRESH.scaled(unit)
    long_run = of_die(fresh, costs, order_looks=len(looks(done.hits * unit, LOOK * unit)))
    elsewhere = dataclasses.replace(
        done, hits=done.hits * unit, pulls=tuple(p * unit for p in done.pulls),
        stop=None if done.stop is None else min(done.stop * unit, done.hits * unit),
        since_look=done.since_look * unit,
    )  # fmt: skip
    one = of(advised, done)
    other = of_job(NOW.scaled(unit), fresh, costs, long_run, [a * unit for a in advised], elsewhere)
    assert one.same == other.same
    for name in ("low", "expected", "high"):
        assert getattr(other.euros, name) == pytest.approx(getattr(one.euros, name), rel=1e-6, abs=1e-4)
        assert getattr(other.stops, name) == pytest.approx(getattr(one.stops, name), abs=1e-6)


# --- the edges that were ground ---------------------------------------------------------------------------------------
RATES = replay.own_rates(FRESH, COSTS)


def apart(advised, ground, hits=40_000.0, dull=(np.nan,) * 3, costs=COSTS, now=NOW):
    done = TeardownDone(ground=np.array(ground, bool), hits=hits, found_dull=np.array(dull, float))
    return of_teardown(now, FRESH, costs, np.array(advised, bool), done, rates=RATES if costs is COSTS else None)


def test_the_same_edges_differ_in_nothing_and_several_edges_stop_a_die_once():
    assert apart([True, False, True], [True, False, True]).same
    first, second = apart([True, True, False], [False, True, False]), apart([True, True, False], [True, False, False])
    both = apart([True, True, False], [False, False, False])
    # two edges stop a die once: together a little less than each by itself, and at the worst one dull edge
    assert both.euros.expected == pytest.approx((first.euros + second.euros).expected, abs=60)
    assert both.euros.low > (first.euros + second.euros).low + 500
    assert both.steel_mm == Bounds.at(-0.2) and both.stops.low == -1 and both.stops.high == 0


def test_grinding_a_sharp_edge_cost_its_grind_and_steel():
    young = Lives.of_weibull(SHAPE, ETAS, [1_000.0] * 3)  # ground again after 1,000 hits
    told = apart([False] * 3, [True] * 3, hits=1_000, now=young)
    assert (
        0.9 * COSTS.grind.sum() < told.euros.high <= COSTS.grind.sum()
    )  # what the fresh edge hands on is worth little more
    assert 0.85 * told.euros.high < told.euros.expected < told.euros.high
    assert told.steel_mm == Bounds.at(pytest.approx(0.32))
    # ... and leaving an edge that then went dull cost what a dull edge costs, but not more than once
    left = apart([False, False, True], [False] * 3, dull=(np.nan, np.nan, 20_000.0))
    assert left.stops.high == 1 and left.stops.low >= 0 and left.euros.expected > 400


def test_what_is_expected_of_a_grind_is_what_the_rule_says_it_is_worth():
    """At its own horizon, what the rule says a grind is worth is what leaving it is expected to cost."""
    long_run = of_die(FRESH, COSTS)
    choice = worth_grinding(NOW, FRESH, COSTS, long_run)
    for e in range(3):
        one = np.arange(3) == e
        # what comes of leaving it is not known yet: the mean over what may come, look by look, is the rule's figure
        x = choice.hits
        at = np.linspace(0, x, 21)[1:]
        sharp = np.exp(-np.r_[0.0, NOW.edges(at)[e]])
        chances = np.r_[sharp[:-1] - sharp[1:], sharp[-1]]
        told = [apart(one, [False] * 3, x, np.where(one, found, np.nan)).euros.expected for found in (*at, np.nan)]
        # past its horizon the rule takes an edge that is left for one that is due; here it hands on what it is worth
        assert -COSTS.grind[e] - 3 < np.dot(told, chances) - choice.worth[e] < 12


def plain_worth(e: int, ran: float, hits: float, gamma: float) -> float:
    """w of an edge, in plain sums."""
    x = np.linspace(0, 6 * ETAS[e], 2001)
    s = np.exp(((ran + hits) / ETAS[e]) ** SHAPE - ((ran + hits + x) / ETAS[e]) ** SHAPE)
    g = np.exp(-2e-7 * x)
    gone = np.concatenate(([0.0], np.cumsum((s[:-1] - s[1:]) * (g[1:] + g[:-1]) / 2)))
    run = np.concatenate(([0.0], np.cumsum((s[1:] * g[1:] + s[:-1] * g[:-1]) / 2 * x[1])))
    return max(min(float((660 * gone - gamma * run).min()), 0.0), -COSTS.grind[e])


def test_the_bounds_of_a_grind_hold_the_truth():
    rng, errors = np.random.default_rng(9), []
    gammas = replay.own_rates(FRESH, COSTS)
    for _ in range(200):
        new = ETAS * rng.exponential(size=3) ** (1 / SHAPE)
        old = ETAS * ((ON_IT / ETAS) ** SHAPE + rng.exponential(size=3)) ** (1 / SHAPE) - ON_IT
        ground, advised, hits = rng.random(3) < 0.5, rng.random(3) < 0.5, rng.uniform(5_000, 60_000)
        ends = np.where(ground, new, old)
        # found dull at the look after it went, as the reckoning's own looks lie
        count = max(int(np.ceil(hits / LOOK)), 1)
        at = np.linspace(0, hits, count + 1)[1:]

        def found(end, at=at, hits=hits):
            return at[np.searchsorted(at, end)] if end <= hits else np.nan

        told = apart(advised, ground, hits, [found(e) for e in ends])
        way, differ = [], np.flatnonzero(advised != ground)
        for taken in (ground, advised):
            gone = [found(new[e] if taken[e] else old[e]) for e in differ]
            y = np.nanmin([*gone, hits])
            stopped = not np.isnan(gone).all()
            cost = 660.0 * stopped
            for e, dull in zip(differ, gone, strict=True):
                is_dull = taken is ground and not np.isnan(dull)  # of the way not taken nobody knows which it was
                on = 0.0 if is_dull else plain_worth(e, 0.0 if taken[e] else ON_IT[e], y, gammas[e])
                cost += taken[e] * COSTS.grind[e] + gammas[e] * (hits - y) + on
            way.append(cost)
        truth = way[0] - way[1] if len(differ) else 0.0
        assert told.euros.low - 2 <= truth <= told.euros.high + 2
        errors.append(truth - told.euros.expected)
    assert abs(np.mean(errors)) < 3.3 * np.std(errors) / np.sqrt(len(errors)) and np.std(errors) > 20


@given(st.lists(st.booleans(), min_size=3, max_size=3), st.lists(st.booleans(), min_size=3, max_size=3),
       st.floats(0, 150_000), st.lists(st.none() | st.floats(0, 1), min_size=3, max_size=3))  # fmt: skip
@settings(max_examples=40, deadline=None)
def test_bounds_of_grinds_are_in_order_whatever_came(advised, ground, hits, dull):
    told = apart(advised, ground, hits, [np.nan if d is None else d * hits for d in dull])
    assert ordered(told.euros) and ordered(told.stops) and told.stops.high <= 1
    assert told.same == (advised == ground)
