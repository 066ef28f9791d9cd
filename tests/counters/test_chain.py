"""From totals to strokes: each sort of misbehaviour by itself, laws, and a second, plain implementation."""

from __future__ import annotations

import random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from maintenance.counters.pure import Answer, CounterTotal, Verdict, chain
from maintenance.counters.pure.chain import Doubt
from tests.counters import naive
from tests.counters.press import MINUTE, START


def readings(*totals, every=MINUTE):
    return [CounterTotal(at=START + i * every, total=total, id=f"m{i}") for i, total in enumerate(totals)]


def strokes(told):
    return [step.strokes for step in told.steps]


def test_a_counter_that_counts():
    told = chain(readings(100, 160, 160, 230))
    assert strokes(told) == [60, 0, 70]
    assert not told.aside


def test_the_first_reading_tells_nothing_of_what_was_before():
    assert chain(readings(12_345)).steps == ()
    assert chain([]).steps == ()


def test_set_to_nought():
    told = chain(readings(80_000, 80_060, 25, 90))
    assert strokes(told) == [60, 25, 65]
    assert all(step.doubt is Doubt.NONE for step in told.steps)


def test_rolled_over():
    """A counter of six figures goes from 999,999 to 0: 40 strokes to the top, the one to nought among them, and 20."""
    told = chain(readings(999_900, 999_960, 20, 80))
    assert strokes(told) == [60, 60, 60]


def test_a_counter_that_shows_more_figures_was_set_to_nought_there():
    told = chain(readings(9_900, 9_960, 20, 80), figures=8)
    assert strokes(told) == [60, 20, 60]
    assert strokes(chain(readings(9_900, 9_960, 20, 80))) == [60, 60, 60]


def test_near_the_top_but_not_at_it_is_asked():
    told = chain(readings(9_600, 9_650, 30, 90))
    assert strokes(told) == [50, 30, 60]
    assert told.steps[1].doubt is Doubt.RESET_OR_ROLL
    rolled = Answer(verdict=Verdict.ROLLED_OVER, since=START + 60, until=START + 120)
    assert strokes(chain(readings(9_600, 9_650, 30, 90), [rolled])) == [50, 380, 60]
    reset = Answer(verdict=Verdict.RESET, since=START + 60, until=START + 120)
    told = chain(readings(9_600, 9_650, 30, 90), [reset])
    assert strokes(told) == [50, 30, 60]
    assert all(step.doubt is Doubt.NONE for step in told.steps)


def test_one_odd_reading_is_set_aside_and_loses_nothing():
    for odd in (7, 3_000_000, 0):
        told = chain(readings(5_000, 5_060, odd, 7_300, 7_360))
        assert sum(strokes(told)) == 2_360, odd
        assert [a.reading.total for a in told.aside] == [odd]


def test_one_low_reading_near_the_top_is_odd_and_no_roll_over():
    told = chain(readings(9_999_320, 9_999_380, 5, 9_999_500, 9_999_560))
    assert sum(strokes(told)) == 240
    assert [a.reading.total for a in told.aside] == [5]


def test_an_odd_reading_that_passed_for_a_good_one():
    told = chain(readings(5_000, 5_060, 5_900, 5_120, 5_180, 5_240))
    assert sum(strokes(told)) == 240
    assert [a.reading.total for a in told.aside] == [5_900]


def test_a_leap_is_asked_once_it_is_borne_out():
    assert [a.reading.total for a in chain(readings(5_000, 90_000)).aside] == [90_000]
    told = chain(readings(5_000, 90_000, 90_060))
    assert strokes(told) == [85_000, 60]
    assert told.steps[0].doubt is Doubt.JUMP


def test_a_long_silence_with_as_many_strokes_as_fit_is_no_leap():
    rows = [CounterTotal(at=START, total=1_000, id="a"), CounterTotal(at=START + 10 * 3600, total=31_000, id="b")]
    (step,) = chain(rows).steps
    assert (step.strokes, step.doubt) == (30_000, Doubt.NONE)


def test_a_fall_that_nothing_explains_holds_all_that_follows():
    told = chain(readings(80_000, 80_060, 50_000, 50_060, 50_120))
    assert strokes(told) == [60, 120]
    assert told.steps[1].doubt is Doubt.FALL
    put = Answer(verdict=Verdict.SET, since=START + 60, until=START + 120)
    assert strokes(chain(readings(80_000, 80_060, 50_000, 50_060, 50_120), [put])) == [60, 0, 60, 60]
    out = Answer(verdict=Verdict.LEAVE_OUT, since=START + 120, until=START + 240)
    assert strokes(chain(readings(80_000, 80_060, 50_000, 50_060, 50_120), [out])) == [60]


def test_a_clock_put_back_for_a_while():
    """Sixty good minutes; then an hour whose times lie two hours back; then the clock is right again."""
    good = [CounterTotal(at=START + i * 60, total=40_000 + 50 * i, id=f"a{i}") for i in range(180)]
    back = [CounterTotal(at=START + (i + 60) * 60 + 7, total=40_000 + 50 * (i + 180), id=f"b{i}") for i in range(60)]
    after = [CounterTotal(at=START + i * 60, total=40_000 + 50 * i, id=f"c{i}") for i in range(240, 260)]
    told = chain(good + back + after)
    assert sum(strokes(told)) == 50 * 259
    assert all(step.doubt is Doubt.NONE for step in told.steps)


def test_a_time_that_lies_ahead_is_set_aside_until_somebody_says_what_to_do():
    rows = readings(100, 160, 220)
    wrong = CounterTotal(at=START + 86_400, total=190, id="x", clock_off=True, arrived=START + 90)
    told = chain([*rows, wrong])
    assert strokes(told) == [60, 60]
    assert [(a.reading.id, a.clock) for a in told.aside] == [("x", True)]
    arrived = Answer(verdict=Verdict.AT_ARRIVAL, since=wrong.at, until=wrong.at)
    assert strokes(chain([*rows, wrong], [arrived])) == [60, 30, 30]
    out = Answer(verdict=Verdict.LEAVE_OUT_CLOCK, since=wrong.at, until=wrong.at)
    assert chain([*rows, wrong], [out]).aside == ()


def test_two_readings_of_one_moment():
    rows = [
        *readings(900, 960),
        CounterTotal(at=START + 60, total=30, id="x"),
        CounterTotal(at=START + 120, total=90, id="y"),
    ]
    assert strokes(chain(rows)) == [60, 30, 60]


# --- laws ---------------------------------------------------------------------------------------------------------

TOTALS = st.one_of(
    st.integers(0, 3_000), st.integers(9_000, 9_999), st.integers(99_000, 100_500), st.integers(0, 10**7)
)


@st.composite
def wild(draw):
    """Anything a counter might send: walks with leaps, falls, repeats and times out of order."""
    at, total, rows = START, draw(TOTALS), []
    for i in range(draw(st.integers(0, 25))):
        at += draw(st.sampled_from([0, 0.5, 1, 60, 60, 60, 60, 600, 4_000, 40_000]))
        total = draw(st.one_of(st.integers(0, 130).map(lambda d, t=total: t + d), TOTALS, st.just(total)))
        rows.append((at, total, f"m{i}"))
    return rows


def as_readings(rows):
    return [CounterTotal(at=at, total=total, id=name) for at, total, name in rows]


@settings(max_examples=600)
@given(wild(), st.sampled_from([None, None, 4, 6]), st.randoms(use_true_random=False))
def test_the_same_as_written_plainly(rows, figures, rng):
    mixed = [*rows, *rng.sample(rows, len(rows) // 2)]
    rng.shuffle(mixed)
    told = chain(as_readings(mixed), figures=figures)
    steps, aside = naive.steps(rows, figures)
    assert [(s.before.id, s.after.id, s.strokes, s.doubt.value) for s in told.steps] == steps
    assert sorted(a.reading.id for a in told.aside) == sorted(aside)


@settings(max_examples=300)
@given(wild(), st.integers(1, 5))
def test_readings_between_that_show_the_same_line_change_no_sum(rows, parts):
    """A reading put halfway between two good ones splits their strokes and changes nothing else."""
    told = chain(as_readings(rows))
    good = [
        s for s in told.steps if s.doubt is Doubt.NONE and s.after.total >= s.before.total and s.until - s.since > 1
    ]
    more = [
        CounterTotal(at=(s.since + s.until) / 2, total=(s.before.total + s.after.total) // 2, id=f"half {k}")
        for k, s in enumerate(good[:parts])
    ]
    if told.aside or any(s.doubt is not Doubt.NONE for s in told.steps):
        return
    again = chain([*as_readings(rows), *more])
    if not again.aside and all(s.doubt is Doubt.NONE for s in again.steps):
        assert sum(s.strokes for s in again.steps) == sum(s.strokes for s in told.steps)


@pytest.mark.parametrize("seed", range(20))
def test_a_well_behaved_counter_in_any_order(seed):
    rng = random.Random(seed)
    totals, at = [rng.randrange(10**6)], START
    for _ in range(400):
        totals.append(totals[-1] + rng.choice([0, 0, 37, 40, 55]))
    rows = [CounterTotal(at=at + 60 * i, total=total, id=str(i)) for i, total in enumerate(totals)]
    sent = [row for row in rows[1:-1] if rng.random() > 0.2] + [rows[0], rows[-1]]
    sent += rng.sample(sent, 50)
    rng.shuffle(sent)
    assert sum(strokes(chain(sent))) == totals[-1] - totals[0]
