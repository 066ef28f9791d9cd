"""The price of an empty shelf."""

from itertools import product

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from reports.purchasing.demand import DemandRefused, poisson
from reports.purchasing.ladder import missing_by_stock
from reports.purchasing.shelf import ShelfItem, shelf_curve


def item(name, mean, price, *, cycles=1.0, there=0, stops=1.0):
    missing = missing_by_stock(poisson(mean))
    return ShelfItem(name=name, price=price, cycles=cycles, missing=missing, there=there, stops=stops)


def test_what_is_missing_by_hand():
    # Poisson(1): E[(D - 1)+] = 1 - 1 + P(0) = e^-1; E[(D - 2)+] = e^-1 - (1 - P(D <= 1)) = 3 e^-1 - 1
    missing = missing_by_stock(poisson(1.0))
    assert missing[:3] == pytest.approx([1.0, np.exp(-1), 3 * np.exp(-1) - 1], abs=1e-9)
    assert missing[-1] < 1e-4


@settings(max_examples=30, deadline=None)
@given(st.lists(st.tuples(st.floats(0.1, 2), st.floats(5, 50)), min_size=1, max_size=3))
def test_nothing_better_can_be_had_for_the_money(rows):
    items = [item(str(n), mean, price) for n, (mean, price) in enumerate(rows)]
    curve = shelf_curve(items)
    assert (np.diff(curve.money) > 0).all() and (np.diff(curve.stops) <= 1e-12).all()
    for stock in product(range(4), repeat=len(items)):
        money = sum(n * of.price for n, of in zip(stock, items, strict=True))
        stops = sum(of.missing[min(n, len(of.missing) - 1)] for n, of in zip(stock, items, strict=True))
        assert curve.stops_at(money) <= stops + 1e-9


def test_todays_point_lies_on_or_above_the_curve():
    curve = shelf_curve([item("dear", 0.2, 400.0, there=2), item("cheap", 2.0, 5.0, there=0, cycles=4)])
    assert curve.now_money == 800 and curve.now_stops > curve.stops_at(800)
    assert curve.money_at(curve.now_stops) < 800
    assert curve.order[0] == 1  # the cheap one first


def test_bad_input_is_refused():
    with pytest.raises(DemandRefused, match="no spare"):
        shelf_curve([])
    with pytest.raises(DemandRefused, match="x has no price"):
        shelf_curve([ShelfItem(name="x", price=0.0, cycles=1, missing=(1.0,), there=0)])
