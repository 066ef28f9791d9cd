"""Laws of an interval."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from maintenance.forecasts.stored import chance_of_going
from reports.purchasing.laws import LawRefused, StoredLaw, WeibullLaw, first_of, middle_of, mixed
from reports.purchasing.renewals import RenewalCounts

STORED = {"0.01": 900, "0.10": 5_000, "0.50": 40_000, "0.90": 90_000, "0.99": 150_000}


def test_weibull_by_hand():
    law = WeibullLaw(eta_hits=1000, shape=2)
    assert law.ended([0, 1000, 2000]) == pytest.approx([0, 1 - np.exp(-1), 1 - np.exp(-4)])
    aged = WeibullLaw(eta_hits=1000, shape=2, hits_on=1000)
    assert aged.ended(1000) == pytest.approx(1 - np.exp(-3))
    assert WeibullLaw.with_median(700, 2.5).ended(700) == pytest.approx(0.5)


def test_going_through_an_order_on_a_worn_edge():
    # [R13] Weibull, shape 2.5, scale 60,000, 45,000 on it, an order of 10,000: 1 - R(a + n) / R(a) = 0.27193535; what
    # is left on average by the upper incomplete gamma function: 22,302.545
    worn = WeibullLaw(eta_hits=60_000, shape=2.5, hits_on=45_000)
    assert worn.ended(10_000) == pytest.approx(0.27193535, rel=1e-7)
    x = np.linspace(0.0, 600_000.0, 600_001)
    assert np.trapezoid(1 - worn.ended(x), x) == pytest.approx(22_302.545, rel=1e-7)


def test_a_stored_forecast_reads_as_it_does_elsewhere():
    law = StoredLaw.of(STORED)
    for hits in (0, 1, 450, 900, 901, 5_000, 12_345, 150_000, 1e7):
        assert float(law.ended(hits)) == pytest.approx(1 - chance_of_going(STORED, hits), abs=1e-12)


def test_a_stored_forecast_that_starts_at_nought():
    law = StoredLaw.of({"0.01": 0, "0.05": 0, "0.5": 100, "0.9": 200})
    assert law.ended([0, 100, 200]) == pytest.approx([0, 0.5, 0.9])
    assert law.ended(1e-9) == pytest.approx(0.05)


def test_first_and_mixed():
    a, b = WeibullLaw(eta_hits=1000, shape=2), WeibullLaw(eta_hits=500, shape=2)
    # weakest link: the rates of a common shape add, 1/500^2 + 1/1000^2
    assert first_of([a, b]).ended(400) == pytest.approx(1 - np.exp(-(400**2) * (1 / 1000**2 + 1 / 500**2)))
    assert mixed([a, b], [3, 1]).ended(400) == pytest.approx(0.75 * a.ended(400) + 0.25 * b.ended(400))


@pytest.mark.parametrize(
    "call",
    [
        lambda: WeibullLaw(eta_hits=0, shape=1),
        lambda: WeibullLaw(eta_hits=1, shape=float("nan")),
        lambda: WeibullLaw(eta_hits=1, shape=1, hits_on=-1),
        lambda: WeibullLaw.with_median(100, 0),
        lambda: StoredLaw.of({}),
        lambda: StoredLaw.of({"0.1": 5, "0.5": 4}),
        lambda: StoredLaw.of({"0.1": float("nan")}),
        lambda: StoredLaw.of({"1.0": 5}),
        lambda: first_of([]),
        lambda: mixed([WeibullLaw(eta_hits=1, shape=1)], [0]),
    ],
)
def test_what_is_no_law_is_refused(call):
    with pytest.raises(LawRefused):
        call()


@settings(max_examples=50, deadline=None)
@given(
    st.lists(st.integers(0, 10**7), min_size=3, max_size=3),
    st.lists(st.floats(0, 1e8), min_size=2, max_size=6),
    st.floats(100, 1e7),
    st.floats(0.5, 6),
    st.floats(0, 1e6),
)
def test_a_law_never_falls(hits, at, eta, shape, hits_on):
    stored = StoredLaw.of(dict(zip(("0.1", "0.5", "0.9"), sorted(hits), strict=True)))
    aged = WeibullLaw(eta_hits=eta, shape=shape, hits_on=hits_on)
    for law in (stored, aged, first_of([stored, aged]), mixed([stored, aged], [1, 2])):
        ended = law.ended(np.sort([0.0, *at]))
        assert ended[0] == 0 and (np.diff(ended) >= -1e-15).all() and ended[-1] <= 1


@pytest.mark.parametrize("shape", [1.4, 3.1])
@pytest.mark.parametrize("left", [0, 3, 12])
def test_the_interval_under_way_and_the_mean_of_those_after_make_the_middle_of_the_sum(shape, left):
    """The first interval and `left` more: by counting renewals it has come to that many as often as not."""
    first, fresh = StoredLaw.of(STORED), WeibullLaw.with_median(41_000, shape)
    assert middle_of(first) == pytest.approx(40_000) and middle_of(fresh) == pytest.approx(41_000)
    x = np.linspace(0.0, 3_000_000.0, 300_001)
    assert fresh.mean_hits == pytest.approx(np.trapezoid(1 - fresh.ended(x), x), rel=1e-4)
    strokes = middle_of(first) + left * fresh.mean_hits
    counts = RenewalCounts.of(first=first, fresh=fresh, horizon_hits=2 * strokes).chances(strokes)
    assert sum(counts[: left + 1]) == pytest.approx(0.5, abs=0.12)


def test_a_law_that_hardly_ends_has_no_middle_within_reach():
    assert middle_of(WeibullLaw(eta_hits=1e12, shape=1.0), furthest=1e10) == 1e10


@pytest.mark.parametrize(
    "law",
    [
        WeibullLaw(eta_hits=30_000, shape=2.4),
        WeibullLaw(eta_hits=30_000, shape=0.8, hits_on=12_000),
        StoredLaw.of({0.01: 800, 0.1: 9_000, 0.5: 24_000, 0.9: 51_000, 0.99: 80_000}),
    ],
)
def test_lasting_turns_ended_round(law):
    chances = np.linspace(0.001, 0.989, 60)
    assert law.ended(law.lasting(chances)) == pytest.approx(chances, rel=1e-9)


def test_what_is_not_stored_is_not_in_sight():
    law = StoredLaw.of({0.1: 9_000, 0.5: 24_000})
    assert law.lasting([0.05, 0.5, 0.51]) == pytest.approx([4_500.0, 24_000.0, np.inf])
