"""Break-even of two tools, and of a small tool against the labour it saves: worked examples of the books."""

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from reports.costing.break_even import break_even

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


def pieces_to_pay(
    first_cost, *, saving, overhead, interest, tax, upkeep, years, setups="0", book_value="0", brings="0"
) -> D:
    """Pieces a year at which a small tool pays: its yearly charge C (I + T + M + 1 / H) + S + (Co - Cs) I against the
    labour saved on a piece, a (1 + b). A break-even of two lines, by the year."""
    share = D(interest) + D(tax) + D(upkeep) + 1 / D(years)
    charge = D(first_cost) * share + D(setups) + (D(book_value) - D(brings)) * D(interest)
    told = break_even(tool_cost_a=charge, part_cost_a=D(0), tool_cost_b=D(0), part_cost_b=D(saving) * (1 + D(overhead)))
    assert told.cheaper_above == "A"
    return told.parts


SMALL = {"saving": "1.5", "overhead": "0.55", "interest": ".08", "tax": ".04", "upkeep": ".05", "years": "2"}


def test_pieces_a_year_that_pay_for_a_small_tool():
    # [T8-01] Sharma, ex. 5.20, p. 270: 3,000; 8 % interest, 4 % tax, 5 % upkeep, back in 2 years, 50 a set-up;
    # tolerance a piece and a rupee, as printed
    assert pieces_to_pay("3000", **SMALL, setups="50") == pytest.approx(D(886), abs=1)
    assert pieces_to_pay("3000", **SMALL, setups="250") == pytest.approx(D(972), abs=1)
    in_a_year = SMALL | {"years": "1"}
    assert pieces_to_pay("3000", **in_a_year, setups="50") == pytest.approx(D(1531), abs=1)
    assert pieces_to_pay("2997", **in_a_year, setups="50") == pytest.approx(D(1530), abs=1)  # what it may cost
    six_runs = pieces_to_pay("3000", **SMALL | {"saving": "2"}, setups="300")
    assert (950 - six_runs) * 2 * D("1.55") == pytest.approx(D(635), abs=1)  # the gain of 950 pieces


def test_one_batch_or_six():
    # [T8-02] Sharma, ex. 5.21 and 5.22, p. 271: 2,400, 6 + 4 + 10 % a year, two years, 80 a set-up; pieces in two years
    given_ = {"saving": "0.125", "overhead": "0.4", "interest": ".06", "tax": ".04", "upkeep": ".10", "years": "2"}
    assert 2 * pieces_to_pay("2400", **given_, setups="80") == pytest.approx(D(20114), abs=2)
    assert 2 * pieces_to_pay("2400", **given_, setups="480") == pytest.approx(D(24685), abs=2)


def test_in_the_place_of_a_tool_not_yet_paid_off():
    # [T8-04] Sharma, ex. 5.25, 5.26, 5.28, pp. 272-273
    given_ = {"saving": "0.1", "overhead": "0.3", "interest": "0.08", "tax": "0.12", "upkeep": "0.03", "years": "1.5",
              "book_value": "700", "brings": "250"}  # fmt: skip
    needed = pieces_to_pay("1000", **given_)
    assert needed == pytest.approx(D(7174), abs=1)
    assert pieces_to_pay("1263", **given_) < 9000 < pieces_to_pay("1265", **given_)  # it may cost 1,264, to the rupee
    assert (9000 - needed) * D("0.13") == pytest.approx(D(237), abs=1)
