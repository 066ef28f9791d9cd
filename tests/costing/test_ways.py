"""Two to five ways of building a tool: held to printed figures, to sums by hand, and to laws."""

from decimal import Decimal

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from reports.costing.money import MoneyRefused
from reports.costing.ways import Programme, Way, thousand_at, tools_bought, weigh

D = Decimal


def way(name, price, *running, lasts=None):
    return Way(name=name, price=D(str(price)), running=np.array(running, float), lasts_parts=lasts)


def test_flows_worth_and_return_of_printed_examples():
    # [M01] numpy-financial (irr): 100 more now, 39, 59, 55 and 20 back: 28.094842 % (T8-06 likewise below)
    years = (39_000, 59_000, 55_000, 20_000)
    told = weigh([way("plain", 0, 0.002), way("better", 100, 0.001)], Programme(parts_by_year=years))
    (better,) = told.others
    assert better.rate.rate == pytest.approx(0.28094842, abs=1e-8) and better.rate.is_plain
    assert better.worth == D(73) and better.chance == 1.0
    # [M01] the same source (npv): 3,065.22267 at 8 %
    flows = Programme(parts_by_year=(5_000_000, 8_000_000, 12_000_000, 30_000_000), interest=D("0.08"))
    (better,) = weigh([way("plain", 0, 0.002), way("better", 40_000, 0.001)], flows).others
    assert float(better.worth) == pytest.approx(3065.22267, rel=1e-8)


def test_annual_equivalent_of_unequal_lives():
    # [M02] Brealey and Myers, machines A (15, 5 a year for three) and B (10, 6 a year for two) at 6 %: 10.61 and 11.45
    years = Programme(parts_by_year=(1000,) * 3, interest=D("0.06"))
    told = weigh([way("A", 15, 0.005), way("B", 10, 0.006, lasts=2000)], years)
    assert [one.life_years for one in told.ways] == [3, 2]
    assert float(told.ways[0].yearly) == pytest.approx(10.611647, abs=1e-5)
    assert float(told.ways[1].yearly) == pytest.approx(11.454369, abs=1e-5)
    assert told.ways[1].flows == (D(10), D(6), D(16), D(6))  # B's tool ends with year two, one part more is to be made


def test_break_even_of_a_textbook():
    # [T8-06] P. C. Sharma, Production Engineering, 2008, ex. 5.36: the form; here 12,000/6 against 48,000/1.2 [T8-07]
    told = weigh([way("A", 12_000, 6), way("B", 48_000, 1.2)], Programme(parts_by_year=(10_000,)))
    assert told.others[0].crossing.parts == D(7500)
    assert thousand_at(told.ways[0].way, 7500) == thousand_at(told.ways[1].way, 7500)


def test_payback_by_hand():
    """1,000 more, 0.01 saved a part: 40,000 and 120,000 parts give 400 and 1,200, so 600 / 1,200 of the second year."""
    told = weigh([way("a", 0, 0.02), way("b", 1000, 0.01)], Programme(parts_by_year=(40_000, 120_000)))
    assert told.others[0].years == pytest.approx(1.5)
    assert told.ways[1].cumulative == (D(1000), D(1400), D(2600))
    never = weigh([way("a", 0, 0.02), way("b", 5000, 0.01)], Programme(parts_by_year=(40_000, 120_000)))
    assert never.others[0].years is None and never.others[0].chance == 0.0


def test_worlds_say_how_likely_it_pays():
    told = weigh(
        [way("a", 0, *[0.02] * 101), way("b", 100, *np.linspace(0.01, 0.03, 101))], Programme(parts_by_year=(20_000,))
    )
    assert told.others[0].chance == pytest.approx(0.25, abs=0.01)  # from 0.005 a part on
    assert told.others[0].high is None and told.others[0].low == pytest.approx(
        100 / 0.008 / 20_000
    )  # the best tenth saves 0.008


def test_tools_are_built_again_when_they_are_worn_out():
    program = Programme(parts_by_year=(100, 100, 100))
    assert tools_bought(way("a", 1, 1, lasts=150), program) == [0, 1, 0]  # the second lasts to the end
    assert tools_bought(way("a", 1, 1, lasts=100), program) == [1, 1, 0]
    assert tools_bought(way("a", 1, 1, lasts=30), program) == [3, 3, 3]
    told = weigh([way("a", 1, 1, lasts=30)], program)
    assert told.ways[0].yearly is None and told.ways[0].life_years == 0  # worn out within a year


def test_five_ways_alike_are_a_tie_everywhere():
    ways = [way(f"way {n}", 40_000, 0.004, 0.006) for n in range(5)]
    told = weigh(ways, Programme(parts_by_year=(300_000,) * 4, interest=D("0.08"), rise=D("0.02")))
    for one in told.others:
        assert one.is_alike and one.worth == 0 and one.chance == 0.5 and one.extra == 0
        assert one.rate.rate is None and one.reinvested is None
        assert one.crossing.parts is None and one.crossing.cheaper_above == "same"
    assert len({one.worth for one in told.ways}) == len({one.yearly for one in told.ways}) == 1


PRICE, RUNNING = st.integers(0, 10**6), st.floats(1e-6, 1)
YEARS = st.lists(st.integers(0, 10**6), min_size=1, max_size=20).filter(any)
RATE = st.decimals(0, 1, places=3)


@settings(max_examples=60, deadline=None)
@given(st.lists(st.tuples(PRICE, RUNNING), min_size=2, max_size=5), YEARS, RATE, st.randoms())
def test_the_order_of_ways_does_not_matter(raw, years, rate, order):
    ways = [way(str(n), price, running, running / 2) for n, (price, running) in enumerate(raw)]
    other = order.sample(ways, len(ways))
    program = Programme(parts_by_year=tuple(years), interest=rate)
    first, second = weigh(ways, program), weigh(other, program)
    assert first.base == second.base and first.best == second.best
    assert {o.money.way.name: o for o in first.others} == {o.money.way.name: o for o in second.others}


@settings(max_examples=60, deadline=None)
@given(PRICE, RUNNING, YEARS, RATE)
def test_rate_nought_gives_the_plain_sum_and_waiting_is_never_dearer(price, running, years, rate):
    one = [way("a", price, running)]
    plain = weigh(one, Programme(parts_by_year=tuple(years))).ways[0]
    assert plain.worth == sum(plain.flows) == plain.cumulative[-1]
    dear = weigh(one, Programme(parts_by_year=tuple(years), interest=rate)).ways[0]
    assert dear.worth <= plain.worth
    later = weigh(one, Programme(parts_by_year=(0, *years)[:20], interest=rate)).ways[0]
    if len(years) < 20:
        assert later.worth <= dear.worth + D("1e-18") * dear.worth


@settings(max_examples=60, deadline=None)
@given(PRICE, RUNNING, YEARS, st.integers(2, 5))
def test_the_share_of_acquisition_falls_with_the_volume(price, running, years, times):
    few = weigh([way("a", price, running)], Programme(parts_by_year=tuple(years))).ways[0]
    many = weigh([way("a", price, running)], Programme(parts_by_year=tuple(n * times for n in years))).ways[0]
    assert many.acquisition_share <= few.acquisition_share and many.thousand <= few.thousand


def test_twenty_years_of_rising_prices_and_a_rate_of_a_hundred_percent():
    told = weigh([way("a", 1000, 0.01)], Programme(parts_by_year=(100_000,) * 20, rise=D("0.03"))).ways[0]
    # a growing annuity at no interest: 1,000 x 1.03 x (1.03^20 - 1) / 0.03 = 27,676.486 (by the closed form)
    assert float(told.worth) == pytest.approx(1000 + 1000 * 1.03 * (1.03**20 - 1) / 0.03, rel=1e-12)
    # at 100 % a perpetuity of halves: 1,000 x (1 - 2^-20)
    hard = weigh([way("a", 0, 0.01)], Programme(parts_by_year=(100_000,) * 20, interest=D(1))).ways[0]
    assert float(hard.worth) == pytest.approx(1000 * (1 - 2.0**-20), rel=1e-12)


@pytest.mark.parametrize(
    ("made", "words"),
    [
        (lambda: Programme(parts_by_year=()), "0 years"),
        (lambda: Programme(parts_by_year=(0, 0)), "No part"),
        (lambda: Programme(parts_by_year=(1,) * 21), "21 years"),
        (lambda: Programme(parts_by_year=(1,), interest=D(-1)), "leaves nothing"),
        (lambda: way("a", -1, 1), "nought or more"),
        (lambda: way("a", 1, np.inf), "not known"),
        (lambda: way("a", 1, 1, lasts=0), "at least one"),
        (lambda: weigh([], Programme(parts_by_year=(1,))), "0 ways"),
        (lambda: weigh([way("a", 1, 1)] * 6, Programme(parts_by_year=(1,))), "6 ways"),
        (lambda: weigh([way("a", 1, 1), way("b", 1, 1, 1)], Programme(parts_by_year=(1,))), "worlds"),
    ],
)
def test_what_cannot_be_is_refused(made, words):
    with pytest.raises(MoneyRefused, match=words):
        made()
