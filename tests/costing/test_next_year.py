"""What the year ahead will cost."""

from decimal import Decimal

import numpy as np
import pytest

from reports.costing.money import MoneyRefused
from reports.costing.next_year import World, expected_year
from reports.costing.own_log import BuildPrice
from reports.costing.spread import Spread

D = Decimal


def year(**changes):
    given = {
        "planned_parts": 1_000_000,
        "build": BuildPrice(price=D(40_000), expected_parts=8_000_000),
        "worlds": [
            World(weight=1, sharpenings=[0, 0, 1.0], spares={"P-6": [0.5, 0.5]}, stops=[1.0]),
            World(weight=1, sharpenings=[0, 0, 0, 0, 0, 0, 1.0], spares={"P-6": [0, 0, 0, 1.0]}, stops=[0, 1.0]),
        ],
        "cost_per_sharpening": D(300),
        "unit_prices": {"P-6": D(50)},
        "cost_per_stop": Spread.sure(D(120)),
    }
    return expected_year(**{**given, **changes})


def test_two_worlds_by_hand():
    # build 5,000; a quiet world: 600 + 0 or 50; a rough one: 1,800 + 150 + 120
    result = year()
    assert {e.key: e.expected for e in result.elements} == {
        "build": D(5000),
        "sharpening": D(1200),
        "spares": D("87.5"),
        "stop": D(60),
    }
    assert {e.key: e.how_many for e in result.elements} == {
        "build": None,
        "sharpening": 4.0,
        "spares": 1.75,
        "stop": 0.5,
    }
    assert result.expected == sum(e.expected for e in result.elements) == D("6347.5")
    assert (result.low, result.high) == (D(5600), D(7070))
    assert result.per_thousand == D("6.3475")
    assert result.per_thousand_band == (D("5.6"), D("7.07"))


def test_a_shared_cause_widens_the_sum():
    # were the worlds mixed element by element first, the rough year would seldom meet in all of them
    rng = np.random.default_rng(2)
    lives = rng.lognormal(0, 0.5, 40)
    worlds = [
        World(weight=1, sharpenings=poisson_row(6 / life), spares={"P": poisson_row(10 / life)}) for life in lives
    ]
    shared = year(worlds=worlds, unit_prices={"P": D(100)}, cost_per_stop=None)
    average = {
        "sharpenings": np.mean([w.sharpenings for w in worlds], axis=0),
        "spares": {"P": np.mean([w.spares["P"] for w in worlds], axis=0)},
    }
    apart = year(worlds=[World(weight=1, **average)], unit_prices={"P": D(100)}, cost_per_stop=None)
    assert shared.expected == pytest.approx(apart.expected, abs=D("0.01"))
    assert shared.high - shared.low > (apart.high - apart.low) * D("1.15")


def poisson_row(mean, most=120):
    n = np.arange(most)
    logs = n * np.log(mean) - mean - np.concatenate([[0.0], np.cumsum(np.log(np.arange(1, most)))])
    return np.exp(logs)


def test_the_band_against_drawing_years_by_chance():
    worlds = [
        World(weight=w, sharpenings=poisson_row(m), spares={"P": poisson_row(s)}, stops=poisson_row(t))
        for w, m, s, t in ((1, 4, 3, 8), (2, 7, 6, 12))
    ]
    stop = Spread.of([30, 60, 400], [0.5, 0.4, 0.1])
    result = year(worlds=worlds, unit_prices={"P": D(80)}, cost_per_stop=stop, build=None)
    rng = np.random.default_rng(3)
    n = 40_000
    pick = rng.random(n) < 2 / 3
    means = np.where(pick[:, None], [7.0, 6.0, 12.0], [4.0, 3.0, 8.0])
    counts = rng.poisson(means)
    stops = np.array([rng.choice(stop.values, k, p=stop.chances).sum() for k in counts[:, 2]])
    drawn = counts[:, 0] * 300 + counts[:, 1] * 80 + stops
    assert float(result.expected) == pytest.approx(drawn.mean(), abs=4 * drawn.std() / n**0.5)
    for bound, p in ((result.low, 0.1), (result.high, 0.9)):
        assert (drawn <= float(bound)).mean() == pytest.approx(p, abs=0.02)


def test_a_die_that_is_paid_off_costs_no_more_build():
    build = BuildPrice(price=D(40_000), expected_parts=8_000_000)
    assert year(build=build, parts_made=7_500_000).elements[0].expected == D(2500)
    assert year(build=build, parts_made=9_000_000).elements[0].expected == D(0)


def test_what_has_no_price_is_left_out_and_said():
    result = year(build=None, cost_per_sharpening=None, unit_prices={}, cost_per_stop=None)
    assert result.elements == () and result.expected == 0
    assert len(result.left_out) == 4
    assert any("P-6 has no price" in line for line in result.left_out)


@pytest.mark.parametrize("changes", [{"planned_parts": 0}, {"worlds": []}, {"share_of_band": 1.0}])
def test_bad_input_is_refused(changes):
    with pytest.raises(MoneyRefused):
        year(**changes)
