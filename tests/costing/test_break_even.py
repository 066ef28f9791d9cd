"""Break-even and what a small tool pays: worked examples of the books."""

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from reports.costing.break_even import break_even
from reports.costing.money import MoneyRefused
from reports.costing.small_tool import SmallTool

D = Decimal


@pytest.mark.parametrize(
    ("ta", "tb", "pa", "pb", "parts"),
    [
        # [T8-06] Sharma (as above), ex. 5.36, p. 279: tools of 6,480 and 1,616, parts at 8.40 and 14.80
        ("6480", "1616", "8.40", "14.80", "760"),
        # [T8-07] Sharma, ex. 5.30, p. 275: fixed 12,000 and 48,000, a unit 6 and 1.20
        ("12000", "48000", "6", "1.2", "7500"),
        # [T8-08] Sharma, ex. 5.24, p. 272: a fixture of 1,000 that brings a part from 3 to 1
        ("1000", "0", "1", "3", "500"),
        # [M06] two punches, 1,200 and 3,800, parts at 0.0085 and 0.0021; worked out in closed form
        ("1200", "3800", "0.0085", "0.0021", "406250"),
    ],
)
def test_break_even_of_the_books(ta, tb, pa, pb, parts):
    found = break_even(tool_cost_a=D(ta), part_cost_a=D(pa), tool_cost_b=D(tb), part_cost_b=D(pb))
    assert found.parts == D(parts)


def test_which_is_cheaper_on_each_side():
    found = break_even(tool_cost_a=D(6480), part_cost_a=D("8.4"), tool_cost_b=D(1616), part_cost_b=D("14.8"))
    assert [found.cheaper_at(n) for n in (0, 759, 760, 761)] == ["B", "B", "same", "A"]


@pytest.mark.parametrize(
    ("ta", "pa", "tb", "pb", "winner"),
    [(10, 1, 20, 2, "A"), (20, 2, 10, 1, "B"), (10, 1, 10, 2, "A"), (10, 2, 20, 2, "A"), (10, 1, 10, 1, "same")],
)
def test_no_crossing_where_one_is_cheaper_throughout(ta, pa, tb, pb, winner):
    found = break_even(tool_cost_a=D(ta), part_cost_a=D(pa), tool_cost_b=D(tb), part_cost_b=D(pb))
    assert (found.parts, found.cheaper_below, found.cheaper_above) == (None, winner, winner)


MONEY = st.decimals(min_value=0, max_value=10**6, places=4)


@given(MONEY, MONEY, MONEY, MONEY, st.integers(1, 10**9))
def test_cheaper_is_what_adding_up_says(ta, pa, tb, pb, parts):
    found = break_even(tool_cost_a=ta, part_cost_a=pa, tool_cost_b=tb, part_cost_b=pb)
    cost_a, cost_b = ta + parts * pa, tb + parts * pb
    said = found.cheaper_at(parts)
    assert said == ("A" if cost_a < cost_b else "B" if cost_b < cost_a else "same")


def tool(**changes):
    # Sharma, ex. 5.20, p. 270: 3,000; 8 % interest, 4 % tax, 5 % upkeep, back in 2 years, 50 a set-up
    figures = {"first_cost": 3000, "interest": ".08", "tax": ".04", "upkeep": ".05", "years": 2, "setups_a_year": 50}
    return SmallTool(**{name: D(value) for name, value in {**figures, **changes}.items()})


SAVES = {"saving": D("1.5"), "overhead": D("0.55")}


def test_pieces_a_year_that_pay_for_a_tool():
    # [T8-01] Sharma, ex. 5.20, p. 270; tolerance a piece and a rupee, as printed
    assert tool().pieces_to_pay(**SAVES) == pytest.approx(D(886), abs=1)
    assert tool(setups_a_year=250).pieces_to_pay(**SAVES) == pytest.approx(D(972), abs=1)
    assert tool(years=1).pieces_to_pay(**SAVES) == pytest.approx(D(1531), abs=1)
    assert tool(years=1).may_cost(pieces=1530, **SAVES) == pytest.approx(D(2997), abs=1)
    gain = tool(setups_a_year=300).yearly_gain(pieces=950, saving=D(2), overhead=D("0.55"))
    assert gain == pytest.approx(D(635), abs=1)


def test_one_batch_or_six():
    # [T8-02] Sharma, ex. 5.21 and 5.22, p. 271: 2,400, 6 + 4 + 10 % a year, two years, 80 a set-up; pieces in two years
    figures = {"first_cost": 2400, "interest": ".06", "tax": ".04", "upkeep": ".10", "years": 2}
    saves = {"saving": D("0.125"), "overhead": D("0.4")}
    assert 2 * tool(**figures, setups_a_year=80).pieces_to_pay(**saves) == pytest.approx(D(20114), abs=2)
    assert 2 * tool(**figures, setups_a_year=480).pieces_to_pay(**saves) == pytest.approx(D(24685), abs=2)


def test_in_the_place_of_a_tool_not_yet_paid_off():
    # [T8-04] Sharma, ex. 5.25, 5.26, 5.28, pp. 272-273
    new = SmallTool(
        first_cost=D(1000),
        interest=D("0.08"),
        tax=D("0.12"),
        upkeep=D("0.03"),
        years=D("1.5"),
        old_book_value=D(700),
        old_resale=D(250),
    )
    saves = {"saving": D("0.1"), "overhead": D("0.3")}
    assert new.pieces_to_pay(**saves) == pytest.approx(D(7174), abs=1)
    assert new.may_cost(pieces=9000, **saves) == pytest.approx(D(1264), abs=1)
    assert new.yearly_gain(pieces=9000, **saves) == pytest.approx(D(237), abs=1)


def test_a_tool_that_saves_nothing_is_refused():
    with pytest.raises(MoneyRefused, match="saves nothing"):
        tool().pieces_to_pay(saving=D(0))
    with pytest.raises(MoneyRefused, match="0 years"):
        tool(years=0)


@given(st.decimals(min_value=1, max_value=10**6, places=2), st.integers(1, 10**6))
def test_at_the_cost_it_may_have_the_gain_is_nought(saving, pieces):
    cost = tool().may_cost(pieces=pieces, saving=saving)
    if cost >= 0 and cost <= 10**13:
        assert abs(tool(first_cost=cost).yearly_gain(pieces=pieces, saving=saving)) < D("0.0001")
