"""The past again under a rule: to the digit, by laws, and against the theory of a stock with a fixed target."""

import numpy as np
import pytest
import scipy
from hypothesis import given
from hypothesis import strategies as st

from reports.purchasing.demand import DemandRefused
from reports.purchasing.record import (
    Bounds,
    Past,
    at_money,
    fixed_minimum,
    never,
    replay,
    usual_minimum,
)


def past(needs, *, on_hand=0, lead=3, coming=None):
    needs = np.array(needs, int)
    needs = needs[:, None] if needs.ndim == 1 else needs
    arriving = np.zeros_like(needs) if coming is None else np.array(coming, int)[:, None]
    leads = np.broadcast_to(np.asarray(lead, int).reshape(-1, 1) if np.ndim(lead) else lead, needs.shape)
    return Past(needs=needs, on_hand=np.full(needs.shape[1], on_hand), coming=arriving, lead=leads)


def test_a_worked_example_by_hand():
    """Two on the shelf, one needed on days 0, 1, 2 and 5; a minimum of 1, lots of 2, three days, a look every day."""
    found = replay(past([1, 1, 1, 0, 0, 1, 0], on_hand=2), fixed_minimum([1], [2]), review_days=1)
    assert found.placed[:, 0].tolist() == [0, 2, 0, 0, 0, 2, 0]
    assert found.on_shelf[:, 0].tolist() == [1, 0, 0, 0, 1, 0, 0]
    assert found.owed[:, 0].tolist() == [0, 0, 1, 1, 0, 0, 0]
    assert found.short[:, 0].tolist() == [0, 0, 1, 0, 0, 0, 0]
    assert found.stock_outs.tolist() == [1]
    assert found.days_waited.tolist() == [2]
    assert found.orders.tolist() == [2]
    assert found.tied_up([35.0])[0] == pytest.approx(10.0)


def test_what_was_on_the_way_comes_and_counts_as_ordered():
    found = replay(past([0, 1, 0, 0], coming=[0, 0, 2, 0]), fixed_minimum([1], [1]), review_days=1)
    assert found.placed.sum() == 0
    assert found.short[:, 0].tolist() == [0, 1, 0, 0]
    assert found.on_shelf[:, 0].tolist() == [0, 0, 1, 1]


def test_an_order_never_overtakes_an_earlier_one():
    found = replay(past([1, 1, 0, 0, 0, 0, 0], lead=[5, 1, 1, 1, 1, 1, 1]), fixed_minimum([0], [1]), review_days=1)
    assert found.owed[:, 0].tolist() == [1, 2, 2, 2, 2, 0, 0]


needs_of = st.lists(st.integers(0, 3), min_size=1, max_size=60)


@given(needs=needs_of, on_hand=st.integers(0, 5))
def test_who_never_orders_has_the_shelf_less_what_was_needed(needs, on_hand):
    found = replay(past(needs, on_hand=on_hand), never)
    left = on_hand - np.cumsum(needs)
    assert (found.on_shelf[:, 0] - found.owed[:, 0]).tolist() == left.tolist()
    assert found.stock_outs[0] == max(sum(needs) - on_hand, 0)


@given(days=st.integers(1, 60), on_hand=st.integers(0, 4), minimum=st.integers(0, 6), lot=st.integers(1, 4))
def test_nothing_needed_nothing_short(days, on_hand, minimum, lot):
    found = replay(past([0] * days, on_hand=on_hand), fixed_minimum([minimum], [lot]))
    assert found.stock_outs.tolist() == [0]
    assert found.placed.sum() == -(-max(minimum - on_hand, 0) // lot) * lot


@given(
    needs=needs_of, on_hand=st.integers(0, 5), minimum=st.integers(0, 6), more=st.integers(0, 4), lot=st.integers(1, 4),
    leads=st.lists(st.integers(0, 20), min_size=60, max_size=60), review=st.integers(1, 8),
)  # fmt: skip
def test_a_higher_minimum_is_never_short_more_often(needs, on_hand, minimum, more, lot, leads, review):
    """Day by day, with lots alike and lead times of any sort."""
    one = past(needs, on_hand=on_hand, lead=leads[: len(needs)])
    low, high = (replay(one, fixed_minimum([m], [lot]), review_days=review) for m in (minimum, minimum + more))
    assert (high.short <= low.short).all()
    assert (high.owed <= low.owed).all()
    assert (high.on_shelf >= low.on_shelf).all()


@given(needs=needs_of, on_hand=st.integers(0, 5), minimum=st.integers(0, 5), lead=st.integers(0, 15))
def test_pieces_are_neither_made_nor_lost(needs, on_hand, minimum, lead):
    found = replay(past(needs, on_hand=on_hand, lead=lead), fixed_minimum([minimum], [2]), review_days=3)
    came = [found.placed[: max(day + 1 - max(lead, 1), 0)].sum() for day in range(len(needs))]
    left = on_hand + np.array(came) - np.cumsum(needs)
    assert (found.on_shelf[:, 0] - found.owed[:, 0]).tolist() == left.tolist()


@given(
    needs=st.lists(st.tuples(st.integers(0, 3), st.integers(0, 3)), min_size=1, max_size=40),
    minimum=st.tuples(st.integers(0, 5), st.integers(0, 5)), leads=st.tuples(st.integers(0, 12), st.integers(0, 12)),
)  # fmt: skip
def test_spares_side_by_side_do_not_mind_each_other(needs, minimum, leads):
    columns = np.array(needs)
    each = [past(columns[:, n], on_hand=n, lead=leads[n]) for n in (0, 1)]
    both = replay(each[0].beside(each[1]), fixed_minimum(minimum, [2, 1]))
    for n, one in enumerate(each):
        alone = replay(one, fixed_minimum([minimum[n]], [(2, 1)[n]]))
        for name in ("on_shelf", "owed", "short", "placed"):
            assert getattr(both, name)[:, n].tolist() == getattr(alone, name)[:, 0].tolist()


def naive(needs, on_hand, minimum, lot, leads, review):
    """Piece by piece: every order is a list of days on which one piece comes."""
    shelf, owed, coming, short, log = on_hand, 0, [], 0, []
    for day, need in enumerate(needs):
        shelf += sum(when == day for when in coming)
        coming = [when for when in coming if when != day]
        given = min(shelf, owed)
        shelf, owed = shelf - given, owed - given
        for _ in range(need):
            if shelf:
                shelf -= 1
            else:
                owed, short = owed + 1, short + 1
        if day % review == 0:
            while shelf - owed + len(coming) < minimum:
                coming += [max(day + max(leads[day], 1), *coming, 0)] * lot
        log.append((shelf, owed))
    return log, short


@given(
    needs=needs_of, on_hand=st.integers(0, 5), minimum=st.integers(0, 6), lot=st.integers(1, 4),
    leads=st.lists(st.integers(0, 20), min_size=60, max_size=60), review=st.integers(1, 8),
)  # fmt: skip
def test_as_a_second_implementation_has_it(needs, on_hand, minimum, lot, leads, review):
    found = replay(
        past(needs, on_hand=on_hand, lead=leads[: len(needs)]), fixed_minimum([minimum], [lot]), review_days=review
    )
    log, short = naive(needs, on_hand, minimum, lot, leads, review)
    assert list(zip(found.on_shelf[:, 0].tolist(), found.owed[:, 0].tolist(), strict=True)) == log
    assert found.stock_outs[0] == short


def test_a_target_stock_is_short_as_often_as_theory_says():
    """One piece ordered for each that goes, looked at daily: what is owed is (D - S)+ with D the Poisson need of the
    lead time and the day. Source: Palm's theorem in the theory of a target stock, Feeney and Sherbrooke 1966 (from
    memory); the Poisson law by scipy."""
    rng = np.random.default_rng(5)
    days, spares, rate, lead, target = 4_000, 60, 0.12, 10, 3
    needs = rng.poisson(rate, (days, spares))
    whole = Past(
        needs=needs, on_hand=np.full(spares, target), coming=np.zeros_like(needs), lead=np.full_like(needs, lead)
    )
    found = replay(whole, fixed_minimum(np.full(spares, target), np.ones(spares)), review_days=1)
    law = scipy.stats.poisson(rate * lead)  # from the evening of ordering to that before it comes
    d = np.arange(60)
    expected = float((np.maximum(d - target, 0) * law.pmf(d)).sum())
    # in the evening of a day what was needed on the last `lead` days has not come: the order of that very evening too
    mean = found.owed[200:].mean()
    assert mean == pytest.approx(expected, rel=0.06)
    assert (found.owed[200:] > 0).mean() == pytest.approx(float(law.sf(target)), rel=0.06)


def test_the_usual_minimum():
    minimum = usual_minimum([0.02, 0.0, 0.0, 0.1], [30, 30, 30, 14], [1, 5, 1, 4], least=[0, 0, 1, 0])
    assert minimum.tolist() == [2, 0, 1, 6]
    assert usual_minimum([0.1], [20], [1], times=2.0).tolist() == [5]


def test_bounds_hold_what_is_likely():
    assert Bounds.of(3, 5, 4) == Bounds(low=3, likely=3, high=5)
    assert Bounds.of(2, 2).known


def test_at_the_same_money():
    assert at_money([100, 200, 400], [9, 5, 3], 300) == pytest.approx(4)
    assert at_money([100, 200], [9, 5], 99) is None
    with pytest.raises(DemandRefused, match="must rise"):
        at_money([200, 100], [5, 9], 150)


@pytest.mark.parametrize(
    ("wrong", "words"),
    [
        (lambda: past([1, -1]), "nought or more"),
        (lambda: Past(needs=np.zeros((3, 2), int), on_hand=np.zeros(1, int), coming=np.zeros((3, 2), int),
                      lead=np.zeros((3, 2), int)), "days by spares"),
        (lambda: replay(past([1]), never, review_days=0), "one or more"),
        (lambda: replay(past([1]), lambda day, position: position - 1), "nought or more"),
        (lambda: fixed_minimum([1], [0]), "one at least"),
    ],
)  # fmt: skip
def test_what_cannot_be_is_refused_with_its_numbers(wrong, words):
    with pytest.raises(DemandRefused, match=words):
        wrong()
