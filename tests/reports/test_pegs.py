"""The pieces of a spare on its shelf, as drawn."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from reports.spares import pegs

pytestmark = pytest.mark.no_database


def count(path: str) -> int:
    return path.count("M")


def test_three_here_two_on_order_and_four_needed():
    drawn = pegs.laid_out(3, 2, 4)
    assert (count(drawn.here), count(drawn.coming), drawn.each) == (3, 2, 1)
    fourth = pegs.LEFT + 3 * pegs.PITCH + pegs.WIDE
    assert fourth < drawn.needed < fourth + pegs.PITCH - pegs.WIDE, "behind the fourth peg, before the fifth"
    assert drawn.words == "3 here, 2 on order; 4 needed before an order arrives (9 in 10 at most)"


@given(st.integers(-5, 5_000), st.integers(0, 5_000), st.none() | st.integers(0, 5_000))
def test_nothing_stands_outside_and_no_peg_is_missing(here, coming, needed):
    drawn = pegs.laid_out(here, coming, needed)
    assert count(drawn.here) * drawn.each >= max(here, 0) > (count(drawn.here) - 1) * drawn.each
    assert count(drawn.coming) * drawn.each >= coming > (count(drawn.coming) - 1) * drawn.each or coming == 0
    last = pegs.LEFT + pegs.PITCH * (count(drawn.here) + count(drawn.coming) - 1) + pegs.WIDE
    assert last <= drawn.width + pegs.PITCH and (drawn.needed is None or 0 <= drawn.needed <= drawn.width)
    assert (needed is None) == (drawn.needed is None)
