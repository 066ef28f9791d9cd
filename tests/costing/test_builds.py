"""Two ways of building a die."""

from decimal import Decimal

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from reports.costing.builds import BuildPlan, compare_builds, worn_off_per_sharpening
from reports.costing.money import MoneyRefused

D = Decimal


def plan(name="D2", **changes):
    given_ = {
        "name": name,
        "price": D(30_000),
        "parts_per_hit": 2,
        "intervals_hits": (50_000.0, 50_000.0),
        "sharpening": D(240),
        "spares_per_sharpening": D(60),
        "per_million_hits": D(500),
    }
    return BuildPlan(**{**given_, **changes})


def test_by_hand():
    # (240 + 60) / 50,000 a stroke + 500 / 10^6 = 0.0065 a stroke, two parts: 3.25 per thousand
    a = plan()
    assert a.running_per_thousand().expected == D("3.25")
    assert a.parts_of_running() == {"sharpening": D("2.4"), "spares": D("0.6"), "by the stroke": D("0.25")}
    b = plan("PM", price=D(36_000), intervals_hits=(100_000.0, 100_000.0), spares_per_sharpening=D(90))
    # (240 + 90) / 100,000 + 0.0005 = 0.0038: 1.90 per thousand; crossing 6,000 / 0.00135
    result = compare_builds(a, b, volumes=[1_000_000, 10_000_000])
    assert result.curves[0].expected == (D("33.25"), D("6.25"))
    assert result.curves[1].expected == (D("37.90"), D("5.50"))
    assert float(result.crossing.parts) == pytest.approx(6000 / 0.00135, rel=1e-9)
    assert (result.crossing.cheaper_below, result.crossing.cheaper_above) == ("A", "B")
    assert result.crossing_band[0] == result.crossing_band[1]
    assert result.share_that_cross == 1.0
    assert [result.chance_b_is_cheaper(n) for n in (4_000_000, 5_000_000)] == [0.0, 1.0]


def test_sharpening_time_a_piece_of_a_textbook():
    # [T4-15] P. C. Sharma, A Textbook of Production Engineering, 11th ed., S. Chand, 2008, ex. 4.7, p. 209: 2 minutes
    # of cutting a piece, 10 to change the tool, 240 minutes of life: 0.083 minutes a piece. Minutes stand for money
    # here.
    minutes = plan(
        parts_per_hit=1, intervals_hits=(240 / 2,), sharpening=D(10), spares_per_sharpening=D(0), per_million_hits=D(0)
    )
    assert minutes.running_per_part()[0] == pytest.approx(0.0833, rel=5e-3)


def test_worlds_in_which_the_better_steel_does_not_pay_are_told():
    a = plan(intervals_hits=(40_000.0, 50_000.0, 60_000.0, 50_000.0))
    b = plan("PM", price=D(36_000), intervals_hits=(80_000.0, 75_000.0, 120_000.0, 45_000.0))
    result = compare_builds(a, b, volumes=[5_000_000])
    assert result.share_that_cross == 0.75
    assert result.chance_b_is_cheaper(10**9) == 0.75
    # in one world in four the dearer build never pays: the band is open above
    low, high = result.crossing_band
    assert low == pytest.approx(D(6000) / (D(300) / 40_000 - D(300) / 80_000) * 2, abs=1)
    assert low < result.crossing.parts and high is None


def test_the_band_holds_the_worlds_it_says():
    rng = np.random.default_rng(6)
    intervals = rng.lognormal(np.log(5e4), 0.4, 400)
    a = plan(intervals_hits=tuple(intervals))
    b = plan("PM", price=D(36_000), intervals_hits=tuple(intervals * rng.lognormal(np.log(2), 0.1, 400)))
    result = compare_builds(a, b, volumes=[1000])
    low, high = result.crossing_band
    # below the low end B has paid in one world in ten, below the high end in nine
    assert result.chance_b_is_cheaper(int(low)) == pytest.approx(0.1, abs=0.01)
    assert result.chance_b_is_cheaper(int(high)) == pytest.approx(0.9, abs=0.01)


def test_a_set_is_used_up_by_grinding():
    # by hand: 22 over 11 intervals, 100 over 1; what is never ground out adds nothing
    assert worn_off_per_sharpening([(D(22), 10), (D(100), 0), (D(5), None)]) == D(102)
    with pytest.raises(MoneyRefused, match="-1 grinds"):
        worn_off_per_sharpening([(D(1), -1)])


@pytest.mark.parametrize(
    "changes",
    [
        {"price": 30_000.0},
        {"price": D(-1)},
        {"parts_per_hit": 0},
        {"intervals_hits": ()},
        {"intervals_hits": (0.0, 1.0)},
        {"intervals_hits": (float("nan"), 1.0)},
    ],
)
def test_bad_plans_are_refused(changes):
    with pytest.raises(MoneyRefused):
        plan(**changes)


def test_plans_of_other_worlds_are_not_compared():
    with pytest.raises(MoneyRefused, match="2 worlds"):
        compare_builds(plan(), plan("B", intervals_hits=(1e4,)), volumes=[1000])
    with pytest.raises(MoneyRefused, match="volume"):
        compare_builds(plan(), plan("B"), volumes=[0])


INTERVALS = st.lists(st.floats(1e3, 1e7), min_size=1, max_size=6)
PRICE = st.decimals(min_value=0, max_value=10**6, places=2)


@settings(max_examples=80, deadline=None)
@given(INTERVALS, st.floats(0.2, 5), PRICE, PRICE, PRICE, st.integers(1, 10**9))
def test_swapping_the_plans_mirrors_the_answer(intervals, factor, price_a, price_b, sharpening, volume):
    a = plan("A", price=price_a, sharpening=sharpening, intervals_hits=tuple(intervals))
    b = plan("B", price=price_b, sharpening=sharpening, intervals_hits=tuple(np.array(intervals) * factor))
    one, two = compare_builds(a, b, volumes=[volume]), compare_builds(b, a, volumes=[volume])
    assert one.crossing.parts == two.crossing.parts
    assert one.crossing_band == two.crossing_band
    assert one.chance_b_is_cheaper(volume) == pytest.approx(1 - two.chance_b_is_cheaper(volume))


@settings(max_examples=50, deadline=None)
@given(INTERVALS, PRICE, st.integers(1, 10**9))
def test_a_build_against_itself_never_crosses(intervals, price, volume):
    a = plan(price=price, intervals_hits=tuple(intervals))
    result = compare_builds(a, a, volumes=[volume])
    assert result.crossing.parts is None and result.crossing_band is None
    assert result.crossing.cheaper_at(volume) == "same"
