"""From strokes to the hits of dies: made-up presses whose truth is known, the laws, and counting on from an anchor."""

from __future__ import annotations

import itertools
import random
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from maintenance.counters.pure import Answer, Block, CounterTotal, InPress, Kind, Verdict, chain, count
from tests.counters.press import MINUTE, START, hits_by_die, press
from tests.counters.test_chain import readings


def die(since=-3_600.0, until=None, number=1, per_minute=60.0):
    return InPress(
        since=START + since, until=None if until is None else START + until, die=number, per_minute=per_minute
    )


def test_one_die_one_run():
    told = count(readings(100, 160, 220, 220), [die()])
    (run,) = told.runs
    assert (run.since, run.until, run.strokes, run.die, run.ended) == (START, START + 120, 120, 1, False)
    assert not told.questions


def test_a_press_that_stood_half_an_hour_begins_another_run():
    rows = readings(100, 160, *[160] * 31, 220, 280)
    first, second = count(rows, [die()]).runs
    assert (first.strokes, first.ended) == (60, True)
    assert (second.since, second.strokes) == (START + 32 * MINUTE, 120)
    assert len(count(readings(100, 160, *[160] * 20, 220, 280), [die()]).runs) == 1


def test_a_shift_ends_a_run():
    rows = readings(*range(0, 1_000 * 50, 50))
    runs = count(rows, [die()], shift_end=lambda at: (at // 28_800 + 1) * 28_800).runs
    assert [run.strokes for run in runs] == [480 * 50, 480 * 50, 39 * 50]
    assert [a.until for a in runs[:-1]] == [b.since for b in runs[1:]]


def test_no_die_set_is_asked_and_an_answer_settles_it():
    rows = readings(0, 60, 120, 180)
    told = count(rows, [])
    (asked,) = told.questions
    assert (asked.kind, asked.strokes, told.hits) == (Kind.NO_DIE, 180, 0)
    mine = Answer(verdict=Verdict.TO_DIE, since=asked.since, until=asked.until, die=7)
    assert hits_by_die(count(rows, [], answers=[mine])) == {7: 180}
    nobody = replace(mine, verdict=Verdict.TO_NOBODY, die=None)
    assert [s.strokes for s in count(rows, [], answers=[nobody]).to_nobody] == [180]
    empty = replace(mine, verdict=Verdict.WITHOUT_STOCK)
    assert [s.strokes for s in count(rows, [], answers=[empty]).without_stock] == [180]


def test_set_in_the_press_between_two_readings():
    rows = readings(0, 40, 90)
    assert hits_by_die(count(rows, [die(since=30)])) == {1: 90}
    assert hits_by_die(count(rows, [die(since=-90, until=90)])) == {1: 90}


def test_a_die_cannot_have_made_all_that_a_long_silence_tells():
    rows = [CounterTotal(at=START, total=0, id="a"), CounterTotal(at=START + 8 * 3600, total=20_000, id="b")]
    (asked,) = count(rows, [die(since=7.5 * 3600)]).questions
    assert (asked.kind, asked.strokes, asked.dies) == (Kind.NO_DIE, 20_000, (1,))
    assert hits_by_die(count(rows, [die(since=3600)])) == {1: 20_000}


def test_two_dies_in_one_step_are_asked():
    told = count(readings(0, 40, 90), [die(until=70), die(since=80, number=2)])
    (asked,) = told.questions
    assert (asked.kind, asked.strokes, asked.dies) == (Kind.WHICH_DIE, 50, (1, 2))
    assert hits_by_die(told) == {1: 40}


def test_what_somebody_typed_is_never_counted_again():
    rows = readings(0, 60, 120, 180, 240)
    told = count(rows, [die()], blocks=[Block(since=START + 90, until=START + 150, die=1)])
    assert [(q.kind, q.strokes) for q in told.questions] == [(Kind.TYPED, 120)]
    assert told.hits == 120
    assert count(rows, [die()], blocks=[Block(since=START + 90, until=START + 150, die=2)]).hits == 240


def test_strokes_without_stock_wear_no_edge():
    rows = readings(0, 60, 120, 180)
    rows[1] = replace(rows[1], stock=False)
    told = count(rows, [die()])
    assert ([s.strokes for s in told.without_stock], told.hits) == ([60], 120)


def test_two_dies_at_once_are_refused():
    with pytest.raises(ValueError, match="two dies"):
        count([], [die(), die(since=0, number=2)])


@pytest.mark.parametrize("seed", range(12))
@pytest.mark.parametrize("how", ["plain", "rolls", "resets", "dropped"])
def test_every_stroke_of_a_made_up_press_is_a_hit_of_its_die_once(seed, how):
    """The truth is the press's own: what it made of each die, less what a reset hid from every reading."""
    more = {
        "plain": {},
        "rolls": {"figures": 5, "start_total": 98_000},
        "resets": {"resets": 0.01, "start_total": 60_000, "figures": 8},
        "dropped": {"dropped": 0.4},
    }[how]
    made = press(seed, **more)
    told = count(made.readings, made.dies)
    assert told.questions == ()
    assert hits_by_die(told) == made.truth
    runs = sorted(told.runs, key=lambda r: r.since)
    assert all(a.until <= b.since for a, b in itertools.pairwise(runs))
    assert len(runs) < 40  # of more than 1,200 messages


@st.composite
def troubled(draw):
    """A made-up press whose messages are lost, doubled, late, flagged or wrong, with some dies not told of."""
    seed = draw(st.integers(0, 10**6))
    rng = random.Random(seed)
    made = press(seed, hours=draw(st.sampled_from([3, 8])), figures=draw(st.sampled_from([4, 5, 7])),
                 resets=draw(st.sampled_from([0, 0.02])), dropped=draw(st.sampled_from([0, 0.3, 0.9])))  # fmt: skip
    rows = list(made.readings)
    for _ in range(draw(st.integers(0, 6))):
        i = rng.randrange(len(rows))
        sort = rng.randrange(5)
        if sort == 0:
            rows[i] = replace(rows[i], total=rng.randrange(10**7))
        elif sort == 1:
            rows[i] = replace(rows[i], at=rows[i].at + rng.choice([-7_200, 3_600]))
        elif sort == 2:
            rows[i] = replace(rows[i], stock=False)
        elif sort == 3:
            rows[i] = replace(rows[i], clock_off=True, at=rows[i].at + 90_000)
        else:
            rows[i:] = [replace(r, total=r.total // 2) for r in rows[i:]]
    dies = [d for d in made.dies if rng.random() > 0.2]
    blocks = [Block(since=d.since + 600, until=d.since + 1_500, die=d.die) for d in dies if rng.random() < 0.2]
    answers = []
    if draw(st.booleans()):
        verdict = rng.choice([Verdict.TO_DIE, Verdict.TO_NOBODY, Verdict.RESET, Verdict.SET, Verdict.LEAVE_OUT])
        since = START + rng.randrange(0, 20_000)
        until = since + rng.randrange(60, 10_000)
        answers.append(Answer(verdict=verdict, since=since, until=until, die=9 if verdict is Verdict.TO_DIE else None))
    return rows, dies, blocks, answers, rng


@settings(max_examples=120)
@given(troubled())
def test_any_order_and_any_repetition_tells_the_same(case):
    rows, dies, blocks, answers, rng = case
    told = count(rows, dies, blocks=blocks, answers=answers)
    mixed = rows + rng.sample(rows, len(rows) // 3)
    rng.shuffle(mixed)
    assert count(mixed, dies[::-1], blocks=blocks, answers=answers) == told


@settings(max_examples=120)
@given(troubled())
def test_hits_and_the_rest_are_the_strokes_of_the_counter(case):
    rows, dies, blocks, answers, _ = case
    told = count(rows, dies, blocks=blocks, answers=answers)
    assert told.strokes == sum(step.strokes for step in chain(rows, answers).steps)
    assert all(run.strokes > 0 for run in told.runs)
    assert all(run.since < run.until for run in told.runs)


@settings(max_examples=120)
@given(troubled(), st.integers(1, 400))
def test_counting_on_from_an_anchor_is_counting_all(case, cut):
    """What came before the anchor stays as it was told; from there on, the rest is the same as over all readings."""
    rows, dies, blocks, answers, _ = case
    rows = sorted(rows, key=lambda r: r.at)
    early = [r for r in rows if not r.clock_off][: max(len(rows) - cut, 1)]
    before = count(early, dies, blocks=blocks, answers=answers)
    if before.anchor is None:
        return
    told = count(rows, dies, blocks=blocks, answers=answers)
    on = count(rows, dies, blocks=blocks, answers=answers, since=before.anchor)
    kept = [s for s in (*before.runs, *before.without_stock, *before.to_nobody) if s.since < before.anchor]
    new = [*on.runs, *on.without_stock, *on.to_nobody]

    def plain(rows):
        return sorted((s.since, s.until, s.strokes, s.die or 0, s.stock) for s in rows)

    assert plain(kept + new) == plain([*told.runs, *told.without_stock, *told.to_nobody])
    asked = [q for q in before.questions if q.since < before.anchor and q.kind is not Kind.CLOCK]
    assert sorted([*asked, *on.questions], key=repr) == sorted(told.questions, key=repr)
    assert on.last == told.last
