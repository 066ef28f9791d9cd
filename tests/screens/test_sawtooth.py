"""Hits since sharpened: each tooth as high as it ran, at its place on the axis of hits; what is ahead beside it."""

import datetime as dt
import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from maintenance.screens.die import sawtooth
from maintenance.screens.die.sawtooth import LEFT, RIGHT, TOOTH, BurrLine, Interval, LaneOf, Strokes, lay_out

pytestmark = pytest.mark.no_database
AHEAD = {0.1: 5_000.0, 0.5: 10_000.0, 0.9: 20_000.0}


def days(*hits: int) -> Strokes:
    """A run of a tenth of a day on each day."""
    return Strokes(runs=[(n * 1.0, n + 0.1, h) for n, h in enumerate(hits)])


def interval(started, ended, hits, end="short", before=0) -> Interval:
    return Interval(started=started, ended=ended, from_hits=before, hits=hits, end=end)


def points(path: str) -> list[tuple[float, float]]:
    return [(float(x), float(y)) for x, y in re.findall(r"[ML]([-\d.]+) ([-\d.]+)", path)]


@given(st.lists(st.integers(0, 9_000), min_size=1, max_size=12), st.floats(-1, 14))
def test_hits_by_the_moment_are_those_of_the_runs_before_it(hits, moment):
    strokes = days(*hits)
    naive = sum(h * min(max((moment - n) / 0.1, 0.0), 1.0) for n, h in enumerate(hits))
    assert strokes.at(moment) == pytest.approx(naive, abs=1e-6 * max(naive, 1)) and strokes.total == sum(hits)


def test_a_tooth_stands_where_its_hits_were_run_and_is_as_high_as_they_are():
    strokes = days(10_000, 10_000, 20_000)
    lane = LaneOf(name="1-A", intervals=[interval(0, 0.5, 10_000, "dull"), interval(0.5, 1.5, 10_000),
                                         interval(1.5, 3.0, 20_000, "open")])  # fmt: skip
    drawn = lay_out(strokes=strokes, since=0, now=3.0, now_words="last entry", lanes=[lane])
    (one,) = drawn.lanes
    teeth = [points(tooth) for tooth in one.teeth.split("M")[1:] for tooth in [f"M{tooth}"]]
    assert [t[0][0] for t in teeth] == pytest.approx([LEFT, teeth[0][1][0], teeth[1][1][0]], abs=0.1)
    assert one.base - teeth[2][1][1] == pytest.approx(TOOTH, abs=0.1), "the longest is the highest"
    assert one.base - teeth[0][1][1] == pytest.approx(TOOTH / 2, abs=0.1)
    assert teeth[2][1][0] == pytest.approx(drawn.now, abs=0.1) and one.teeth.count("V") == 2, "the last has not fallen"
    assert [p.end for p in one.peaks] == ["dull", "short"] and one.words == "20,000 hits"


def test_what_began_before_the_drawing_comes_in_at_the_height_it_had():
    strokes = days(10_000, 10_000)
    lane = LaneOf(name="1-A", intervals=[interval(0, 2, 20_000, "open")])
    (one,) = lay_out(strokes=strokes, since=0.5, now=2, now_words="", lanes=[lane]).lanes
    (x, y), (_, top) = points(one.teeth)
    assert x == LEFT and one.base - y == pytest.approx((one.base - top) / 2, abs=0.1)


def test_past_and_future_share_one_axis():
    strokes = days(50_000)
    lane = LaneOf(name="1-A", intervals=[interval(0, 1, 50_000, "open")], usual=60_000, ahead=AHEAD)
    drawn = lay_out(strokes=strokes, since=0, now=1, now_words="", lanes=[lane], order_hits=10_000, order_words="order")
    (one,) = drawn.lanes
    unit = (drawn.now - LEFT) / 50_000
    assert one.low == pytest.approx(drawn.now + 5_000 * unit) and one.high == pytest.approx(drawn.now + 20_000 * unit)
    assert one.half == pytest.approx(drawn.order) and not drawn.order_runs_out
    (x1, _), (x2, y2) = points(one.rising)
    assert (x1, x2) == (pytest.approx(drawn.now, abs=0.1), pytest.approx(one.half, abs=0.1))
    assert y2 == pytest.approx(one.level, abs=0.1), "it rises to the level that half of such edges last"
    assert one.words == "50,000 of 60,000"


@given(st.floats(1, 1e9), st.integers(1, 10**9))
def test_however_far_ahead_the_past_keeps_its_room_and_nothing_leaves_the_axis(left, order):
    ahead = {p: left * k for p, k in ((0.1, 0.5), (0.5, 1.0), (0.9, 2.0))}
    lane = LaneOf(name="1-A", intervals=[interval(0, 1, 500, "open")], usual=600, ahead=ahead)
    drawn = lay_out(strokes=days(500), since=0, now=1, now_words="", lanes=[lane], order_hits=order)
    assert drawn.now >= LEFT + (RIGHT - LEFT) * (1 - sawtooth.FUTURE_AT_MOST) * 0.95
    (one,) = drawn.lanes
    for x in (one.low, one.high, one.half, drawn.order):
        assert x is None or LEFT <= x <= RIGHT + 0.1
    assert drawn.order_runs_out == (drawn.now + order * (drawn.now - LEFT) / 500 > RIGHT * 1.0000001)


def test_readings_stand_on_their_own_scale_joined_with_their_limit():
    lines = [BurrLine(code="1-A", points=[(0.05, 20, "a"), (0.1, 90, "b")], of_limiting=True),
             BurrLine(code="2-A", points=[(0.1, 45, "c")])]  # fmt: skip
    burr = lay_out(strokes=days(100), since=0, now=1, now_words="", lanes=[], burrs=lines, burr_unit="µm",
                   burr_limit=90).burr  # fmt: skip
    assert [r.of_limiting for r in burr.rings] == [False, True, True] and len(burr.lines) == 1
    assert burr.rings[2].y == pytest.approx(burr.limit) and burr.limit_words == "limit 90 µm"
    assert burr.rings[0].y == pytest.approx((burr.limit + burr.base) / 2)


def test_months_stand_where_their_hits_were_and_clear_of_one_another():
    since, now = dt.datetime(2025, 10, 5, tzinfo=dt.UTC), dt.datetime(2026, 2, 20, tzinfo=dt.UTC)
    named = sawtooth.months_between(since, now)
    assert [words for _, words in named] == ["Nov 2025", "Dec", "Jan 2026", "Feb"]
    kept = lay_out(strokes=days(9), since=0, now=1, now_words="", lanes=[], months=[(0.05, "Nov"), (0.0502, "Dec")])
    assert len(kept.months) == 1
