"""A series of parts on one tool with inserts: by hand, and laws."""

from decimal import Decimal

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from reports.costing.money import MoneyRefused
from reports.costing.series import PartOfSeries, series

D = Decimal


def part(name, parts=100_000, *, lot=25_000, inserts=1_000, hours="2", alone=20_000) -> PartOfSeries:
    return PartOfSeries(
        name=name, parts_a_year=parts, lot=lot, inserts=D(inserts), change_hours=D(hours), alone=D(alone)
    )


GIVEN = {"tool": D(30_000), "running": D("0.01"), "change_rate": D(150), "years": 2}


def test_by_hand():
    """Two years. One tool of 30,000; part a 100,000 a year in 4 lots, b 50,000 in 2; inserts 1,000 and 500; 2 h at 150
    a change. a: 2/3 of the tool 20,000, inserts 1,000, 8 changes 2,400, running 2,000: 25,400 over 200,000 parts, 127 a
    thousand. b: 10,000 + 500 + 1,200 + 1,000 = 12,700, also 127. Alone: 20,000 + 2,000 and 18,000 + 1,000."""
    told = series([part("a"), part("b", 50_000, inserts=500, alone=18_000)], **GIVEN)
    a, b = told.rows
    assert (a.shared, b.shared, a.alone, b.alone) == (25_400, 12_700, 22_000, 19_000)
    assert (a.shared_thousand, b.shared_thousand, a.alone_thousand, b.alone_thousand) == (127, 127, 110, 190)
    assert (told.parts, told.shared, told.alone) == (300_000, 38_100, 41_000)
    assert (told.shared_thousand, told.worth) == (127, 2_900)
    # 6,500 less for tools against 3,600 / 300,000 = 0.012 a part for changes
    assert float(told.crossing.parts) == pytest.approx(6_500 / 0.012)
    assert (told.crossing.cheaper_below, told.crossing.cheaper_above) == ("A", "B")


def test_interest_makes_later_changes_cheaper():
    # [M04] two years at 10 %: 1,800 a year x 1.735537 (closed form of the uniform present value factor)
    told = series([part("a"), part("b", 50_000, inserts=500, alone=18_000)], **GIVEN, interest=D("0.1"))
    assert float(told.worth) == pytest.approx(6_500 - 1_800 * 1.735537, abs=0.01)


def test_a_tool_that_wears_out_is_built_again():
    told = series([part("a"), part("b")], **GIVEN, lasts_parts=150_000)  # 400,000 parts: 3 shared, 2 and 2 alone
    assert told.shared == 90_000 + 2_000 + 4_800 + 4_000 and told.alone == 80_000 + 4_000


def test_a_last_lot_is_changed_for_too():
    assert part("a", 100_001).lots_a_year == 5 and part("a", 24_000).lots_a_year == 1


def test_one_part_alone_with_the_tool_it_would_have_is_a_tie():
    told = series([part("a", inserts=0, hours="0", alone=30_000)], **GIVEN)
    assert told.shared == told.alone and told.worth == 0 and told.crossing.cheaper_above == "same"


PARTS = st.lists(
    st.builds(
        part, st.just("x"), st.integers(1, 10**6), lot=st.integers(1, 10**5), inserts=st.integers(0, 9_999),
        hours=st.integers(0, 9).map(str), alone=st.integers(0, 99_999),
    ),
    min_size=1, max_size=5,
)  # fmt: skip


@settings(deadline=None, max_examples=50)
@given(PARTS)
def test_parts_add_up_and_their_order_does_not_matter(drawn):
    named = [PartOfSeries(**{**vars(one), "name": str(n)}) for n, one in enumerate(drawn)]
    told, turned = series(named, **GIVEN), series(named[::-1], **GIVEN)
    assert abs(told.shared - turned.shared) < D("1e-12") and told.alone == turned.alone
    assert abs(told.worth - (told.alone - told.shared)) < D("1e-9")  # without interest the plain sum
    if told.crossing.parts is not None and told.parts < told.crossing.parts:
        assert (told.shared <= told.alone) == (told.crossing.cheaper_below == "A")


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: series([], **GIVEN), "0 parts"),
        (lambda: series([part("a"), part("a")], **GIVEN), "same name"),
        (lambda: series([part("a")], **GIVEN | {"years": 0}), "0 years"),
        (lambda: series([part("a")], **GIVEN, lasts_parts=0), "lasts 0"),
        (lambda: part("a", 0), "one at least"),
        (lambda: part("a", inserts=-1), "nought or more"),
        (lambda: part("a", hours="-1"), "nought or more"),
    ],
)
def test_bad_input_is_refused(call, words):
    with pytest.raises(MoneyRefused, match=words):
        call()
