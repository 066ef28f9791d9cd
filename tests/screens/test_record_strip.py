"""Past ranges as bars in the order of their dates."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from maintenance.screens.track_record import strip

pytestmark = pytest.mark.no_database
HITS = st.integers(0, 5_000_000)


def told(code="K-1", at="2026-05-21", low=10_000, high=90_000, came=(20_000, 40_000), went=True, missed="") -> dict:
    return {
        "die": 1,
        "code": code,
        "at": at,
        "low": low,
        "high": high,
        "came": list(came),
        "went": went,
        "missed": missed,
    }


def test_a_bar_for_each_range_by_date_and_a_dot_where_it_ended():
    drawn = strip.laid_out([told(), told("K-2", came=(0, 4_000), missed="early"), told(at="2026-08-21")], str)
    first, second, third = drawn.bars
    assert first.x < second.x < third.x and [t.words for t in drawn.dates] == ["2026-05-21", "2026-08-21"]
    assert drawn.dates[0].at < third.x <= drawn.dates[1].at
    assert first.top < first.dot < first.foot, "28,284 lies inside 10,000 to 90,000"
    assert second.dot > second.foot and second.missed and "K-2" in second.words and "missed" in second.words
    assert strip.middle(20_000, 40_000) == pytest.approx(28_284.27, abs=0.01)


@given(
    st.lists(
        st.builds(lambda a, b, c, d: told(low=min(a, b), high=max(a, b), came=sorted((c, d))), HITS, HITS, HITS, HITS),
        min_size=1,
        max_size=40,
    )
)
def test_no_bar_and_no_dot_leaves_the_drawing(rows):
    drawn = strip.laid_out(rows, str)
    assert len(drawn.bars) == len(rows)
    assert all(drawn.left <= b.x <= drawn.right for b in drawn.bars)
    assert all(drawn.top <= y <= drawn.foot for b in drawn.bars for y in (b.top, b.foot, b.dot))
