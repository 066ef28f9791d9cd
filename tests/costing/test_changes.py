"""What came of a change: lives before and after, held against Fisher's F, by law and by simulation."""

import math
from decimal import Decimal

import numpy as np
import pytest
import scipy
from hypothesis import given, settings
from hypothesis import strategies as st

from maintenance.life.cycles import CHIPPED, DULL, SHARP, LifeSamples
from reports.costing.changes import (
    MOST_TIMES,
    Came,
    ChangeRefused,
    Promise,
    Spells,
    Verdict,
    compared,
    saved_a_year,
    times_of_die,
    verdict,
)
from reports.costing.money import MoneyRefused


def lives(hits, ended=DULL, **more) -> LifeSamples:
    return LifeSamples.of([0] * len(hits), hits, ended, **more)


def alone(before: LifeSamples, after: LifeSamples, shape: float = 2.5) -> Came:
    return compared([Spells(before=before, after=after)], shape=shape, drift=0.0)


def by_f(before, after, shape: float, *, more_before: int = 0, more_after: int = 0) -> tuple[float, float, float]:
    """(low, middle, high) of the ratio of scales: (T after / T before)^(1/k) by F with twice the dull ends each.

    T: sum of hits^k, dull ends and others. The limits of a test that ended at a time take one end more on their side.
    B. Epstein, M. Sobel, J. Am. Stat. Assoc. 48 (1953): 2 T / scale is chi-squared with 2 r degrees; F of two of them.
    """
    (hits_b, dull_b), (hits_a, dull_a) = before, after
    total_b, total_a = (np.sum(np.asarray(h, float) ** shape) for h in (hits_b, hits_a))

    def at(share: float, of_b: int, of_a: int) -> float:
        f = scipy.stats.f.ppf(share, 2 * of_b, 2 * of_a)
        return float((total_a / of_a / (total_b / of_b) * f) ** (1 / shape))

    return at(0.1, dull_b, dull_a + more_after), at(0.5, dull_b, dull_a), at(0.9, dull_b + more_before, dull_a)


@pytest.mark.parametrize("shape", [1.0, 2.5, 6.0])
def test_lives_seen_to_their_end_give_fishers_f(shape):
    before, after = [41e3, 52e3, 60e3, 38e3, 55e3], [88e3, 97e3, 61e3]
    came = alone(lives(before), lives(after), shape)
    low, middle, high = by_f((before, 5), (after, 3), shape)
    assert (came.low, came.times, came.high) == pytest.approx((low, middle, high), rel=4e-3)
    assert (came.dull_before, came.dull_after) == (5, 3)


def test_a_worked_figure():
    # r = 10 each, T equal: F(0.9; 20, 20) = 1.79 (any table of F); with shape 1 the limits are 1 / 1.79 and 1.79
    came = alone(lives([1e4] * 10), lives([1e4] * 10), 1.0)
    assert (came.low, came.times, came.high) == pytest.approx((1 / 1.79, 1.0, 1.79), abs=0.01)


def test_intervals_still_under_way_and_chipped_ones_count_their_hits_alone():
    before, after = [40e3, 50e3, 60e3, 20e3], [90e3, 80e3, 70e3, 65e3]
    came = alone(lives(before, [DULL, DULL, DULL, CHIPPED]), lives(after, [DULL, DULL, SHARP, SHARP]))
    wanted = by_f((before, 3), (after, 2), 2.5, more_before=1, more_after=1)
    assert (came.low, came.times, came.high) == pytest.approx(wanted, rel=5e-3)


def test_a_side_without_a_dull_end_gives_a_limit_and_no_middle():
    came = alone(lives([50e3] * 4), lives([120e3, 150e3], SHARP))
    total_a, total_b = 120e3**2.5 + 150e3**2.5, 4 * 50e3**2.5
    # no dull end: chi-squared with 2 degrees (MIL-HDBK-189, a test without failures, from memory)
    low = (total_a / (total_b / 4) * scipy.stats.f.ppf(0.1, 8, 2)) ** (1 / 2.5)
    assert came.times is None and came.high is None
    assert came.low == pytest.approx(low, rel=6e-3)


def test_an_end_between_two_looks_lies_between_the_exact_ones():
    hits = [50e3, 60e3, 55e3]
    at_hits, at_lower = alone(lives(hits), lives(hits)), alone(lives(hits), lives([h * 0.8 for h in hits]))
    between = alone(lives(hits), lives(hits, lower_hits=[h * 0.8 for h in hits]))
    assert at_lower.times < between.times < at_hits.times
    narrow = alone(lives(hits), lives(hits, lower_hits=[h * 0.999 for h in hits]))
    assert narrow.times == pytest.approx(at_hits.times, rel=2e-3)


def test_hits_from_before_the_record_count_for_nothing():
    # h^k - from^k is what an edge was at risk: (3, 5) of shape 2 is as long as (0, 4)
    late, whole = lives([50e3], SHARP, from_hits=[30e3]), lives([40e3], SHARP)
    ends, before = lives([45e3, 52e3]), lives([50e3] * 3)
    told = [alone(before, LifeSamples.together([ends, one]), 2.0).times for one in (late, whole)]
    assert told[0] == pytest.approx(told[1], rel=1e-3)


def test_an_edge_of_unknown_age_tells_nothing():
    before, after = lives([50e3] * 3), lives([80e3] * 3)
    unknown = LifeSamples.of([0], [10e3], DULL, unknown_age=True)
    assert alone(before, after) == alone(LifeSamples.together([before, unknown]), after)


side = st.lists(
    st.tuples(st.integers(5_000, 200_000), st.sampled_from([DULL, DULL, SHARP, CHIPPED])), min_size=1, max_size=6
).map(lambda rows: lives([h for h, _ in rows], [e for _, e in rows]))


@settings(max_examples=40)
@given(side, st.floats(1, 5), st.floats(0, 0.4))
def test_where_nothing_changed_it_is_a_tie(one, shape, drift):
    came = compared([Spells(before=one, after=one)], shape=shape, drift=drift)
    if came.known:
        assert came.times == pytest.approx(1.0, abs=1e-6)
        assert came.low * came.high == pytest.approx(1.0, rel=1e-6)


@settings(max_examples=40)
@given(side, side, st.floats(1, 5), st.floats(0, 0.4), st.lists(st.tuples(side, side), max_size=2))
def test_swapping_before_and_after_turns_it_over(before, after, shape, drift, others):
    pair, control = Spells(before=before, after=after), [Spells(before=b, after=a) for b, a in others]
    there = compared([pair], control, shape=shape, drift=drift)
    back = compared([pair.swapped], [one.swapped for one in control], shape=shape, drift=drift)
    for one, other in ((there.times, back.times), (there.low, back.high), (there.high, back.low)):
        assert (one is None) == (other is None)
        if one is not None:
            assert one * other == pytest.approx(1.0, rel=1e-5)
    assert (there.dull_before, there.dull_after) == (back.dull_after, back.dull_before)


@settings(max_examples=30)
@given(side, side, st.floats(1.05, 3))
def test_longer_lives_after_are_never_told_as_shorter(before, after, times):
    longer = lives(after.hits * times, after.ended)
    short, long = (alone(before, one) for one in (after, longer))
    if short.known and short.times * times < MOST_TIMES / 2:
        assert long.times >= short.times
        assert long.low >= short.low


def test_the_order_of_places_and_intervals_does_not_matter():
    a, b = (Spells(before=lives(x), after=lives(y)) for x, y in (([4e4, 5e4], [7e4]), ([3e4, 9e4], [5e4, 6e4])))
    assert compared([a, b], shape=2.5) == compared([b, a], shape=2.5)
    turned = Spells(before=lives([5e4, 4e4]), after=lives([7e4]))
    assert compared([a], shape=2.5).times == pytest.approx(compared([turned], shape=2.5).times, rel=1e-9)


def test_each_place_is_held_against_itself():
    # one place lasts three times the other; both last half as long again: pooled, the mix would say otherwise
    short = Spells(before=lives([30e3] * 6), after=lives([45e3] * 2))
    long = Spells(before=lives([90e3] * 2), after=lives([135e3] * 6))
    assert compared([short, long], shape=3.0, drift=0.0).times == pytest.approx(1.5, rel=0.03)


def test_what_befell_the_other_places_too_is_not_the_changes():
    changed = Spells(before=lives([50e3] * 8), after=lives([50e3] * 8))
    worse = [Spells(before=lives([50e3] * 8), after=lives([40e3] * 8)) for _ in range(4)]
    by_itself, beside = (compared([changed], some, shape=3.0, drift=0.3) for some in ([], worse))
    assert by_itself.times == pytest.approx(1.0, abs=1e-6)
    assert 1.15 < beside.times < 1.25  # 50 for 40
    assert beside.high / beside.low < by_itself.high / by_itself.low  # and what the die went through is known


def test_without_other_places_the_band_says_that_nobody_knows_what_else_changed():
    pair = Spells(before=lives([50e3] * 40), after=lives([75e3] * 40))
    sure, unsure = (compared([pair], shape=3.0, drift=drift) for drift in (0.0, 0.15))
    # sd of ln times: sqrt of (2 / (k^2 r)) and of that and drift^2 (delta method); 2.563 of them lie in the band
    for came, drift in ((sure, 0.0), (unsure, 0.15)):
        sd = math.sqrt(2 / (9 * 40) + drift**2)
        assert math.log(came.high / came.low) == pytest.approx(2.563 * sd, rel=0.03)


def test_bands_hold_eight_in_ten_or_a_little_more():
    rng, held, width = np.random.default_rng(3), 0, 200
    for _ in range(width):
        pairs = []
        for _place in range(2):
            scale = rng.uniform(4e4, 8e4)
            spells = []
            for factor, count in ((1.0, 5), (1.4, 4)):
                life = scale * factor * rng.weibull(2.5, count)
                stop = rng.uniform(3e4, 12e4, count)
                spells.append(lives(np.minimum(life, stop), np.where(life <= stop, DULL, SHARP)))
            pairs.append(Spells(before=spells[0], after=spells[1]))
        came = compared(pairs, shape=2.5, drift=0.0)
        held += (came.low or 0.0) <= 1.4 <= (came.high or np.inf)
    assert 0.76 <= held / width <= 0.93  # 0.80 less 1.5 standard errors; limits of open tests are a little wide


PROMISE = Promise(times=1.6, low=1.2, high=2.1)


@pytest.mark.parametrize(
    ("low", "times", "high", "ends", "said"),
    [
        (1.3, 1.5, 1.9, (8, 6), Verdict.KEPT),
        (0.8, 0.95, 1.15, (8, 6), Verdict.SHORT),
        (0.9, 1.4, 2.2, (8, 6), Verdict.EARLY),
        (1.3, 1.5, 1.9, (2, 6), Verdict.UNKNOWN),
        (1.3, None, None, (8, 0), Verdict.KEPT),  # none went dull, and they have run long enough to say so
        (0.6, None, None, (8, 0), Verdict.EARLY),
        (0.2, 0.5, 1.1, (8, 2), Verdict.EARLY),
        (None, None, 0.5, (0, 4), Verdict.UNKNOWN),
    ],
)
def test_the_verdict(low, times, high, ends, said):
    came = Came(times=times, low=low, high=high, dull_before=ends[0], dull_after=ends[1])
    assert verdict(PROMISE, came) == said


def test_a_promise_to_last_longer_is_not_kept_by_lasting_shorter():
    vague = Promise(times=1.1, low=0.6, high=2.0)
    assert vague.at_least == 1.0
    assert Promise(times=0.8, low=0.6, high=1.1).at_least == 0.6  # told to last less: for the burr, say
    with pytest.raises(ChangeRefused):
        Promise(times=1.5, low=1.6, high=2.0)


def test_the_first_edge_to_go_dull_ends_the_dies_interval():
    assert times_of_die([4e4, 4e4], [2.0, 2.0], shape=3.0) == pytest.approx(2.0)
    # two alike of shape k, one of them lasting for ever: 2^(1/k)
    assert times_of_die([4e4, 4e4], [1e9, 1.0], shape=3.0) == pytest.approx(2 ** (1 / 3))
    assert times_of_die([4e4, 40e4], [1.0, 2.0], shape=3.0) == pytest.approx(1.0, abs=1e-3)
    with pytest.raises(ChangeRefused):
        times_of_die([4e4], [0.0], shape=3.0)


def test_money_a_year():
    more = {"hits_a_year": 600_000.0, "interval_hits": 50_000.0, "sharpening": Decimal("180")}
    assert saved_a_year(**more, times=1.5) == Decimal("720")  # 12 sharpenings a year become 8
    assert saved_a_year(**more, times=0.8) == Decimal("-540")  # and 15
    assert saved_a_year(**more, times=1.0) == 0
    with pytest.raises(MoneyRefused):
        saved_a_year(**more | {"interval_hits": 0.0}, times=1.5)


def test_what_cannot_be_is_refused():
    pair = [Spells(before=lives([5e4]), after=lives([5e4]))]
    for more in ({"shape": 0.0}, {"shape": math.nan}, {"shape": 2.5, "drift": -1.0}):
        with pytest.raises(ChangeRefused):
            compared(pair, **more)
    nothing = compared([Spells(before=lives([5e4], SHARP), after=lives([5e4], SHARP))], shape=2.5)
    assert not nothing.known and nothing.low is None and nothing.high is None
