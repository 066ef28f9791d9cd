"""Scales: a value stands where it belongs, and there are always a few round values beside it."""

import itertools
import math

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from diestore.drawing import scales
from diestore.drawing.scales import Even, Ratio

pytestmark = pytest.mark.no_database
TOP = st.floats(1, 1e7)
ROUND = {1.0, 2.0, 2.5, 5.0}


def leading(step: float) -> float:
    """The figures of a number without its power of ten: 2.5 for 25,000."""
    return round(step / 10 ** math.floor(math.log10(step) + 1e-9), 9)


@given(TOP)
@example(1.0)
@example(5.0)
@example(9.9)
@example(72_000.0)
@example(1e7)
def test_every_scale_has_three_to_eight_ticks(top):
    """From nought to any top between 1 and ten million; between 5 and 10 times a power of ten too."""
    ticks = Even(0, top, 200, 20).ticks()
    assert scales.LEAST <= len(ticks) <= scales.MOST
    assert ticks[0].value == 0 and ticks[-1].value <= top
    steps = {round(b.value - a.value, 9) for a, b in itertools.pairwise(ticks)}
    assert len(steps) == 1 and leading(steps.pop()) in ROUND
    assert len({tick.words for tick in ticks}) == len(ticks), "no two are written alike"


@given(st.floats(-1e6, 1e6), st.floats(0.01, 1e7), st.integers(6, 12))
def test_even_ticks_lie_on_the_scale_wherever_it_begins(low, span, most):
    ticks = Even(low, low + span, 0, 100).ticks(most)
    assert scales.LEAST <= len(ticks) <= most
    assert all(low - 1e-6 * span <= t.value <= low + span * (1 + 1e-6) for t in ticks)


@given(TOP, st.floats(1.05, 1e7))
def test_a_scale_of_ratios_has_three_to_eight_ticks(low, times):
    ticks = Ratio(low, low * times, 0, 100).ticks()
    assert scales.LEAST <= len(ticks) <= scales.MOST
    places = [t.at for t in ticks]
    assert places == sorted(places)


def test_known_ticks():
    def at(scale, **more):
        return [t.words for t in scale.ticks(**more)]

    assert at(Even(0, 72_000, 0, 1)) == ["0", "10,000", "20,000", "30,000", "40,000", "50,000", "60,000", "70,000"]
    assert at(Even(0, 72_000, 0, 1), most=6) == ["0", "20,000", "40,000", "60,000"]
    assert at(Even(0, 1.1, 0, 1)) == ["0", "0.2", "0.4", "0.6", "0.8", "1"]
    assert at(Ratio(1e3, 2e6, 0, 1), words=scales.short) == ["1 k", "3 k", "10 k", "30 k", "100 k", "300 k", "1 M"]
    assert at(Ratio(1e3, 1e6, 0, 1), most=4, words=scales.short) == ["1 k", "10 k", "100 k", "1 M"]
    assert at(Ratio(11, 19, 0, 1)) == ["12", "14", "16", "18"], "within less than a power of ten, even steps"
    assert at(Ratio(1, 1e12, 0, 1), words=scales.counted)[:2] == ["1", "100"]


def test_places():
    even, ratio = Even(0, 50, 200, 100), Ratio(1e3, 1e6, 200.0, 20.0)
    assert [even.at(v) for v in (0, 25, 50)] == [200, 150, 100], "upwards where y runs down"
    assert [ratio.at(v) for v in (1e3, 1e4, 1e5, 1e6)] == pytest.approx([200, 140, 80, 20])
    assert [(ratio.at(v), ratio.beyond(v)) for v in (0, 999, 1e3, 1e6, 2e6)] == [
        (200, -1), (200, -1), (200, 0), (20, 0), (20, 1),
    ]  # fmt: skip


@pytest.mark.parametrize("ends", [(1, 1), (2, 1), (0, math.inf), (math.nan, 1)])
def test_a_scale_without_room_is_refused(ends):
    with pytest.raises(ValueError, match="the second must be more"):
        Even(*ends, 0, 1)


def test_a_scale_of_ratios_begins_above_nought():
    with pytest.raises(ValueError, match="above nought"):
        Ratio(0, 1, 0, 1)


@pytest.mark.parametrize(("value", "words"), [(1, "1"), (999, "999"), (1_000, "1 k"), (1.5e6, "1.5 M")])
def test_short_counts(value, words):
    assert scales.short(value) == words
