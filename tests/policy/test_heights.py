"""Heights of a ground set against figures worked by hand and figures of the trade, and against laws."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from diestore import units
from maintenance.policy import heights
from maintenance.policy.heights import Entry, HeightError, Lack, standing, step_against_group

MM_PER_INCH = 25.4


# --- one group --------------------------------------------------------------------------------------------------------


def test_a_piece_that_stands_out_of_its_group_is_named_with_its_step():
    steps = step_against_group({"1-A": 68.40, "1-B": 68.40, "1-C": 68.20, "3-A": 68.52})
    assert [(s.name, round(s.by_mm, 3)) for s in steps] == [("1-C", -0.2)]
    assert steps[0].reference_mm == 68.40


def test_a_step_of_exactly_the_limit_is_none():
    """0.15 mm between neighbours: common practice, no source."""
    assert not step_against_group({"a": 10.0, "b": 10.15})
    assert [s.name for s in step_against_group({"a": 10.0, "b": 10.16})] == ["b"]


def test_one_piece_or_none_is_never_out():
    assert step_against_group({}) == ()
    assert step_against_group({"a": 3.0}) == ()


@pytest.mark.parametrize("height", [float("nan"), float("inf"), -0.1])
def test_a_height_that_cannot_be_is_refused(height):
    with pytest.raises(HeightError, match="height of b must be 0 mm or more"):
        step_against_group({"a": 1.0, "b": height})
    with pytest.raises(HeightError, match="measure at least one"):
        heights.reference_mm({})
    with pytest.raises(HeightError, match="step must be"):
        step_against_group({"a": 1.0}, step_mm=height)
    with pytest.raises(HeightError, match="type its length again"):
        standing(height, [])
    with pytest.raises(HeightError, match="measure it again"):
        Entry(at=1, off_mm=height)


# --- one piece --------------------------------------------------------------------------------------------------------


def test_a_piece_by_its_entries():
    """71.00 new, 0.12 and 0.15 off, a shim of 0.27 under it: 70.73 long and 71.00 high."""
    one = standing(71.0, [Entry(at=1, off_mm=0.12), Entry(at=2, off_mm=0.15), Entry(at=2, under_mm=0.27)])
    assert one.length_mm == pytest.approx(70.73, abs=1e-12)
    assert one.height_mm == pytest.approx(71.0, abs=1e-12)
    assert (one.off_mm, one.spacers_mm, one.lack) == (pytest.approx(0.27), pytest.approx(0.27), None)


def test_what_was_measured_counts_and_what_it_differs_by_is_told():
    entries = [Entry(at=1, off_mm=0.10), Entry(at=2, off_mm=0.10, measured_mm=69.0), Entry(at=3, off_mm=0.20)]
    one = standing(71.0, entries)
    assert one.length_mm == pytest.approx(68.8, abs=1e-12)
    assert [(s.at, round(s.by_mm, 9)) for s in one.slips] == [(2, -1.8)]
    assert not standing(71.0, [Entry(at=1, off_mm=0.1, measured_mm=70.91)]).slips  # within 0.02


def test_what_is_not_known_is_never_guessed():
    assert standing(None, [Entry(at=1, off_mm=0.1)]).lack is Lack.LENGTH
    gone = standing(71.0, [Entry(at=1, off_mm=0.1), Entry(at=2, off_mm=None), Entry(at=3, off_mm=0.1)])
    assert (gone.height_mm, gone.lack, gone.at) == (None, Lack.AMOUNT, 2)
    assert standing(71.0, [Entry(at=2, off_mm=None, measured_mm=70.0)]).height_mm == 70.0
    assert standing(None, [Entry(at=2, off_mm=None), Entry(at=4, measured_mm=70.0)]).lack is None
    out = standing(71.0, [Entry(at=1, under_mm=0.5), Entry(at=2, under_mm=-0.6)])
    assert (out.height_mm, out.lack) == (None, Lack.SPACERS)
    with pytest.raises(HeightError, match="More came off a piece than it is long"):
        standing(3.0, [Entry(at=1, off_mm=4.0)])


amounts = st.integers(0, 3000).map(lambda n: n / 1000)
steps = st.lists(st.tuples(st.sampled_from(["off", "under"]), amounts), max_size=12)


def entries_of(made) -> list[Entry]:
    return [Entry(at=n, off_mm=mm) if what == "off" else Entry(at=n, under_mm=mm) for n, (what, mm) in enumerate(made)]


@given(made=steps, cut=st.integers(0, 12))
def test_heights_add_up_over_entries_and_striking_one_out_restores(made, cut):
    entries = entries_of(made)
    whole = standing(100.0, entries).height_mm
    first = standing(100.0, entries[:cut]).height_mm
    rest = standing(100.0, entries[cut:]).height_mm
    assert whole == pytest.approx(first + rest - 100.0, abs=1e-9)
    for n in range(len(entries)):
        struck = standing(100.0, entries[:n] + entries[n + 1 :])
        moved = entries[n].under_mm - entries[n].off_mm
        assert struck.height_mm == pytest.approx(whole - moved, abs=1e-9)
    assert standing(100.0, entries, at=cut - 1).height_mm == pytest.approx(first, abs=1e-9)


@given(made=steps, order=st.randoms(use_true_random=False), mm=amounts)
def test_the_order_of_shims_does_not_matter_and_a_shim_cancels_a_grind(made, order, mm):
    entries = entries_of(made)
    whole = standing(100.0, entries)
    at = list(range(len(entries)))
    order.shuffle(at)
    mixed = standing(100.0, [replace(entry, at=n) for entry, n in zip(entries, at, strict=True)])
    assert mixed.height_mm == pytest.approx(whole.height_mm, abs=1e-12)
    both = standing(100.0, [*entries, Entry(at=99, off_mm=mm, under_mm=mm)])
    assert both.height_mm == pytest.approx(whole.height_mm, abs=1e-9)
    assert standing(100.0, [*entries, Entry(at=99, off_mm=0.0, under_mm=0.0)]) == whole  # nothing moves nothing


@given(mm=st.floats(0.01, 500))
def test_heights_go_through_inches_and_back(mm):
    shown = units.shown_value(mm, "removed_mm", units.System.INCH)
    assert units.parse(f"{shown:.12g} in", "removed_mm").value == pytest.approx(mm, rel=1e-9)
    one = standing(600.0, [Entry(at=1, off_mm=mm)]).length_mm
    inch = standing(600.0 / MM_PER_INCH, [Entry(at=1, off_mm=mm / MM_PER_INCH)]).length_mm
    assert inch * MM_PER_INCH == pytest.approx(one, abs=1e-9)
