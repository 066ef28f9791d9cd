"""What a promised interval costs, against the formula by hand and against drawn years."""

import math
from decimal import Decimal

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from reports.costing.money import MoneyRefused
from reports.costing.promise import promise, usual_promise
from reports.purchasing.laws import WeibullLaw

pytestmark = pytest.mark.no_database
LAWS = [WeibullLaw(eta_hits=eta, shape=3.0) for eta in (70_000, 100_000, 140_000)]


def kept(hits, **more):
    given = {"laws": LAWS, "strokes_a_year": 2e6, "sharpening": Decimal(300), "parts_per_hit": 2.0} | more
    return promise([hits], **given)[0]


def test_by_hand():
    """Shape 1: an interval ends by chance alone, 20 times in 2,000,000 strokes, and a share 1 - e^-0.9 of them before
    90,000 strokes (exponential lives, by hand)."""
    one = kept(90_000, laws=[WeibullLaw(eta_hits=100_000, shape=1.0)])
    share = 1 - math.exp(-0.9)
    assert one.chance == pytest.approx(share) and one.free == pytest.approx(20 * share)
    assert float(one.money) == pytest.approx(6_000 * share, abs=0.005)
    assert float(one.per_thousand) == pytest.approx(6_000 * share / 4_000, abs=0.0005)  # 4,000,000 parts


def test_against_drawn_years():
    rng = np.random.default_rng(4)
    lives = rng.weibull(3.0, (4_000, 60)) * 100_000
    ends = np.cumsum(lives, axis=1)
    in_time = (ends > 1e6) & (ends <= 3e6)  # two million strokes, once the first intervals are over
    free = (in_time & (lives < 80_000)).sum(axis=1)
    one = kept(80_000, laws=LAWS[1:2])
    assert one.free == pytest.approx(free.mean(), abs=4 * free.std() / np.sqrt(len(free)))


@settings(max_examples=50, deadline=None)
@given(st.floats(0, 1e6), st.floats(0, 1e6))
def test_laws(one, more):
    assert kept(0).money == 0 and kept(0).chance == 0
    less, higher = kept(one), kept(one + more)
    assert less.money <= higher.money and less.low <= less.money <= less.high
    assert higher.free <= 2e6 * np.mean([1 / law.mean_hits for law in LAWS]) * (1 + 1e-9), (
        "no more than there are at all"
    )


def test_a_usual_promise_is_outlasted_nine_times_in_ten():
    usual = usual_promise(LAWS)
    assert usual % 1_000 == 0 and 0.05 < kept(usual).chance < 0.15


def test_bad_input_is_refused():
    for bad in ({"hits": -1}, {"hits": math.nan}, {"strokes_a_year": -1.0}, {"sharpening": Decimal(-1)}, {"laws": []}):
        with pytest.raises(MoneyRefused):
            kept(bad.pop("hits", 1.0), **bad)
