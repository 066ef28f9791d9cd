"""What running an outlined tool costs a part: by hand, set by set, and laws."""

from dataclasses import replace
from decimal import Decimal

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from reports.costing import outlined
from reports.costing.money import MoneyRefused
from reports.costing.outlined import ASSUMED, Built, EdgesAlike, moved, running, sets, worth_of_saving

D = Decimal


def edges(**more):
    told = {"count": 10, "grade": "steel", "piece": D(50), "chips": 0.2, "gap_pct": 10.0, "below": False}
    return EdgesAlike(**told | more)


def built(*some, intervals=(100_000.0,), **more):
    told = {"parts_per_hit": 1, "strokes_per_minute": 100.0}
    return Built(intervals=np.array(intervals), edges=some or (edges(),), **told | more)


def test_each_element_by_hand():
    """Ten edges, 100,000 strokes: (1.6 + 10 x 12 / 60) h x 60 = 216 a sharpening; 40 grinds: 10 x (50 + 60) / 41;
    a stop: 90 + 1.25 h of sorting x 35 + 2,500 x 0.02 = 183.75, every second time; a chip: 25 + 120 + 90 = 235."""
    told = running(built(), sets({}))
    assert told["sharpening"][0, 0] == pytest.approx(216 / 1e5)
    assert told["spares"][0, 0] == pytest.approx(1100 / 41 / 1e5)
    assert told["burr stops"][0, 0] == pytest.approx(0.5 * 183.75 / 1e5)
    assert told["breaks"][0, 0] == pytest.approx(10 * 0.2 / 1e5 * 235)
    assert told["press time"][0, 0] == pytest.approx(90 / (60 * 100 * 0.85))


def test_a_grade_brings_its_own_grinding():
    carbide = running(built(edges(grade="carbide")), sets({}))
    assert carbide["sharpening"][0, 0] == pytest.approx((1.6 + 2 * 2.5) * 60 / 1e5)
    assert carbide["spares"][0, 0] == pytest.approx(1100 / (66 + 1) / 1e5)  # 4 mm at 0.06 mm: 66 grinds
    powder = running(built(edges(grade="powder")), sets({}))
    assert powder["sharpening"][0, 0] == pytest.approx((1.6 + 2 * 1.3) * 60 / 1e5)


def test_what_is_not_known_is_the_same_for_every_way():
    plain = running(built(), sets({}))
    better = running(built(edges(gap_pct=5.0), roller=True, fixed_stripper=True, solid=True), sets({}))
    assert all(np.array_equal(plain[key], better[key]) for key in plain)


def test_a_burr_limit_shortens_the_interval():
    # by hand: from 10 to 60 µm in step with the strokes; 35 µm at half the life
    half = running(built(burr_limit_um=35.0), sets({}))
    plain = running(built(), sets({}))
    assert half["sharpening"][0, 0] == pytest.approx(2 * plain["sharpening"][0, 0])
    assert half["breaks"][0, 0] == plain["breaks"][0, 0]
    assert running(built(burr_limit_um=500.0), sets({}))["spares"] == pytest.approx(plain["spares"])
    told = running(built(burr_limit_um=35.0, burr_share=0.25), sets({}))  # the shop's readings win
    assert told["sharpening"][0, 0] == pytest.approx(4 * plain["sharpening"][0, 0])
    with pytest.raises(MoneyRefused, match="no more than a fresh edge leaves"):
        running(built(burr_limit_um=9.0), sets({}))


@pytest.mark.parametrize("more", [{}, {"roller": True, "burr_limit_um": 50.0}, {"burr_share": 0.5, "solid": True}])
def test_many_sets_at_once_are_each_as_if_alone(more):
    figures = moved(outlined.usual(), list(ASSUMED))
    way = built(edges(), edges(grade="carbide", below=True), intervals=(8e4, 1e5, 3e5), **more)
    together = running(way, figures)
    for row in (0, 7, 20, len(figures["grind_mm"]) - 1):
        alone = running(way, sets({key: float(values[row, 0]) for key, values in figures.items()}))
        for key, money in alone.items():
            assert together[key][row] == pytest.approx(money[0], rel=1e-12)


def test_worth_of_saving_agrees_with_flows_by_hand():
    # 0.01 x 1,000 x 1.02 / 1.1 + 0.01 x 2,000 x (1.02 / 1.1)^2 - 20, and 5 for another tool in year two
    told = worth_of_saving(
        np.array([0.01]), extra=20, parts_by_year=[1000, 2000], interest=np.array(0.1), rise=np.array(0.02),
        extra_by_year=[0, 5],
    )  # fmt: skip
    assert told[0] == pytest.approx(10 * 1.02 / 1.1 + 15 * (1.02 / 1.1) ** 2 - 20, rel=1e-14)


@settings(max_examples=40, deadline=None)
@given(st.floats(1e3, 1e7), st.floats(1.01, 5), st.integers(1, 40), st.floats(12, 59))
def test_laws(interval, times, count, limit):
    way = built(edges(count=count), intervals=(interval,))
    figures = sets({})
    total = sum(running(way, figures).values())
    assert sum(running(replace(way, intervals=way.intervals * times), figures).values()) < total  # longer is cheaper
    dearer = replace(way, edges=(edges(count=count, piece=D(500)),))
    assert sum(running(dearer, figures).values()) >= total  # dearer spares never lower it
    tight, loose = (
        sum(running(replace(way, burr_limit_um=value), figures).values()) for value in (limit, limit * 1.05)
    )
    assert tight >= loose  # a tighter burr is never cheaper
    assert sum(running(way, sets({"toolroom_rate": 80.0})).values()) >= total


def test_every_assumption_can_be_and_is_moved_within_what_can_be():
    for key, one in ASSUMED.items():
        assert one.least <= one.low <= one.usual <= one.high <= one.most, key
        for value in (one.least, one.usual, one.most, 3 * one.high):
            low, high = outlined.span(key, min(max(value, one.least), one.most))
            assert one.least <= low <= high <= one.most


@pytest.mark.parametrize(
    ("figures", "words"),
    [({"grind_mm": 0.0}, "cannot be"), ({"nothing": 1.0}, "no assumption"), ({"interest_pct": np.nan}, "cannot be"),
     ({"fresh_burr_um": 70.0}, "more burr")],
)  # fmt: skip
def test_what_cannot_be_is_refused(figures, words):
    with pytest.raises(MoneyRefused, match=words):
        running(built(burr_limit_um=20.0), sets(figures))
