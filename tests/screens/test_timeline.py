"""The ribbon of what happened: labels keep clear of one another, runs stand where and as high as they were."""

import datetime as dt
import itertools

import pytest
from hypothesis import given
from hypothesis import strategies as st

from diestore.drawing import letters
from maintenance.screens.die import timeline

pytestmark = pytest.mark.no_database
TODAY = dt.datetime(2026, 11, 20, 14, tzinfo=dt.UTC)
SINCE = TODAY - dt.timedelta(days=300)
REMAINING = {0.1: 1_000, 0.25: 3_000, 0.5: 6_000, 0.75: 9_000, 0.9: 12_000}


def run(day: float, hits: int, hours: float = 6) -> timeline.RunBar:
    started = SINCE + dt.timedelta(days=day)
    return timeline.RunBar(started=started, ended=started + dt.timedelta(hours=hours), hits=hits, title=f"{hits}")


def lay_out(**more) -> timeline.Ribbon:
    return timeline.lay_out(**({"today": TODAY, "since": SINCE, "runs": [], "events": []} | more))


@given(st.lists(st.tuples(st.floats(0, 300), st.integers(0, 30)), max_size=40))
def test_labels_never_stand_over_one_another_nor_past_today(made):
    events = [timeline.Event(at=SINCE + dt.timedelta(days=d), label="x" * n, title="t") for d, n in made]
    drops = lay_out(events=events).drops
    assert len(drops) == len(events), "every event has its mark, labelled or not"
    boxes = []
    for drop in drops:
        if drop.label:
            length = letters.width(drop.label)
            left = drop.label_x if drop.anchor == "start" else drop.label_x - length
            boxes.append((drop.label_y, left, left + length))
            assert left + 0.01 >= timeline.LEFT and left + length < timeline.TODAY_X
    for y in timeline.LABEL_ROWS:
        row = sorted((left, right) for at, left, right in boxes if at == y)
        assert all(a[1] <= b[0] for a, b in itertools.pairwise(row))


def test_a_lone_event_is_labelled_even_close_to_today():
    event = timeline.Event(at=TODAY - dt.timedelta(days=1), label="set ground, 3-A dull", title="")
    (drop,) = lay_out(events=[event]).drops
    assert drop.label and drop.anchor == "end"


def test_runs_without_a_long_pause_are_one_block_with_the_hits_of_all():
    blocks = timeline.campaigns([run(10, 5_000), run(10.5, 6_000), run(11.2, 7_000), run(30, 9_000)])
    assert [(b.hits, b.started) for b in blocks] == [(18_000, run(10, 1).started), (9_000, run(30, 1).started)]
    ribbon = lay_out(runs=[run(10, 5_000), run(10.5, 6_000), run(30, 22_000)])
    low, high = ribbon.runs
    assert high.h == timeline.RUN_HEIGHT and low.h == pytest.approx(timeline.RUN_HEIGHT / 2)
    assert ribbon.most_hits == 22_000


def test_a_moment_stands_in_proportion():
    ribbon = lay_out(runs=[run(150, 1)])
    assert ribbon.runs[0].x == pytest.approx((timeline.LEFT + timeline.TODAY_X) / 2)


def test_the_band_and_the_order_share_one_scale():
    ahead = lay_out(remaining=REMAINING, order_hits=6_000, order_label="order").ahead
    assert ahead.order == pytest.approx(ahead.half)
    assert timeline.TODAY_X < ahead.low < ahead.quarter < ahead.half < ahead.three_quarter < ahead.high < timeline.RIGHT
    assert not ahead.runs_out
    assert lay_out(remaining=REMAINING, order_hits=10**9).ahead.runs_out
    assert lay_out(remaining=REMAINING).ahead.order is None
    assert lay_out().ahead is None


def test_readings_stand_on_their_own_scale_with_the_limit():
    readings = [
        timeline.BurrMark(at=SINCE + dt.timedelta(days=d), value=v, title="", of_limiting=own)
        for d, v, own in ((10, 90, True), (20, 45, False), (30, 0, False))
    ]
    ribbon = lay_out(readings=readings, reading_unit="µm", limit=90)
    by_x = sorted(ribbon.rings, key=lambda r: r.x)
    assert by_x[0].y == pytest.approx(ribbon.limit_y) and ribbon.limit_label == "90 µm"
    assert by_x[2].y == pytest.approx(ribbon.read_bottom)
    assert by_x[1].y == pytest.approx((by_x[0].y + by_x[2].y) / 2)
    assert [r.of_limiting for r in ribbon.rings] == [False, False, True], "its own are drawn last, over the others"
    assert not lay_out().has_readings
