"""The advice against a fixed minimum on made-up shops: the same needs, lead times, shelf and lots."""

import pytest

from .ordered import scored

pytestmark = pytest.mark.no_database


def test_pieces_short_and_money_tied_up_against_a_fixed_minimum():
    """Fewer short than by any minimum of as much money, also those set three or four times as wide, which nobody knows
    beforehand; and cheaper in all than the cheapest of them. More shops: reports/record/README.md."""
    found = scored(shops=1, seed=1)
    assert found.needed == 411
    assert found.advice.short < found.minimum_short(found.advice.money)
    assert found.advice.short < found.usual.short / 2
    assert found.advice.cost < min(one.cost for one in found.minimums)
