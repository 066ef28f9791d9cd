"""The cost of a die as one bar."""

from __future__ import annotations

from decimal import Decimal as D

import pytest

from reports.cost import stacked

pytestmark = pytest.mark.no_database


def test_the_pieces_of_a_bar_lie_one_behind_the_other_on_the_scale_of_the_dearest():
    made = stacked.pieces([D(30), D(-1), D(10), D(0), D(20)], most=D(120))
    assert [(p.css, p.x, p.width) for p in made] == [("build", 0, 45), ("spares", 45, 15), ("rest", 60, 30)]
    assert made[0].words == "building 30.00"
    assert stacked.pieces([D(-1)] * 5, most=D(0)) == []
