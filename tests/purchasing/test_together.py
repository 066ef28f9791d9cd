"""What else to put on an order, against counting every choice out."""

import itertools
import random

import pytest

from reports.purchasing.demand import DemandRefused
from reports.purchasing.together import Candidate, additions, orders_saved


def test_a_worked_example():
    """An order costs 40. Ten pieces of 20 in 30 days at 25 % a year lie for 10 x 20 x 0.25 x 30 / 365 = 4.11: worth
    35.89. In 400 days they would lie for 54.79, more than is saved."""
    soon = Candidate(key=1, days_left=30, pieces=10, price=20, keep_a_year=0.25)
    far = Candidate(key=2, days_left=400, pieces=10, price=20, keep_a_year=0.25)
    (told,) = additions([far, soon], order_cost=40, within_days=500)
    assert told.key == 1 and told.keeping == pytest.approx(4.1096, abs=1e-4)
    assert told.worth == pytest.approx(35.8904, abs=1e-4)
    assert additions([soon], order_cost=40, within_days=29) == ()


def test_the_best_set_of_all_sets():
    """Each else ordered by itself: the cost of every set of additions counted out, over 150 small suppliers."""
    rng = random.Random(7)
    for _ in range(150):
        some = [
            Candidate(key=n, days_left=rng.randrange(300), pieces=rng.randrange(1, 30), price=rng.uniform(1, 90),
                      keep_a_year=rng.uniform(0.05, 0.6), each_now=rng.choice([None, rng.uniform(1, 90)]))
            for n in range(5)
        ]  # fmt: skip
        order_cost, line_cost = rng.uniform(0, 90), rng.uniform(0, 5)

        def cost(chosen, some=some, order_cost=order_cost, line_cost=line_cost):
            total = 0.0
            for one in some:
                if one.key in chosen:
                    now = one.price if one.each_now is None else one.each_now
                    total += line_cost + one.pieces * now
                    total += one.pieces * one.price * one.keep_a_year * one.days_left / 365
                else:
                    total += order_cost + one.pieces * one.price
            return total

        sets = [set(s) for n in range(6) for s in itertools.combinations(range(5), n)]
        told = additions(some, order_cost=order_cost, within_days=300, line_cost=line_cost)
        assert cost({a.key for a in told}) == pytest.approx(min(map(cost, sets)))
        assert sum(a.worth for a in told) == pytest.approx(cost(set()) - min(map(cost, sets)))


def test_orders_saved_are_the_fewest_that_hold_all_days():
    rng = random.Random(8)
    for _ in range(60):
        days, width = [rng.randrange(60) for _ in range(6)], rng.randrange(1, 20)
        starts = sorted(set(days))
        fewest = next(
            n for n in range(1, 7)
            for s in itertools.combinations(starts, min(n, len(starts)))
            if all(any(a <= day <= a + width for a in s) for day in days)
        )  # fmt: skip
        assert orders_saved(days, together_days=width) == fewest
    assert orders_saved([], together_days=5) == 0


def test_what_cannot_be_is_refused():
    for wrong in ({"pieces": 0}, {"price": -1.0}, {"days_left": -1}, {"keep_a_year": float("nan")}):
        with pytest.raises(DemandRefused):
            Candidate(**{"key": 1, "days_left": 3, "pieces": 2, "price": 4.0, "keep_a_year": 0.2} | wrong)
    with pytest.raises(DemandRefused):
        additions([], order_cost=-1, within_days=30)
