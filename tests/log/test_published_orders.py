"""Hits that an order takes, as the arithmetic of progressive dies has it."""

import pytest

from maintenance.log import queries
from tests import factories as make

pytestmark = pytest.mark.django_db


def test_an_odd_part_takes_a_whole_hit():
    # [T9-03] by definition: hits for an order = parts / parts a hit, rounded up: 100,001 parts at two a hit are 50,001
    make.order(make.die(parts_per_hit=2), parts=100_001)
    (row,) = queries.open_orders()
    assert (row.parts_left, row.hits_left) == (100_001, 50_001)
