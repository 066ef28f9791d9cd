"""A part, all in: against printed figures, by hand, and laws."""

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from reports.costing.material import strip_material
from reports.costing.money import MoneyRefused
from reports.costing.part_cost import feed_mm_a_minute, part_cost, parts_an_hour, scrapped_part

D = Decimal


def test_parts_an_hour():
    # [T9-03] arithmetic: 200 strokes a minute, two parts a hit, 85 % of the time
    assert parts_an_hour(strokes_per_minute=D(200), parts_per_hit=2, availability=D("0.85")) == 20_400
    assert feed_mm_a_minute(pitch_mm=D("28.2"), strokes_per_minute=D(200)) == 5_640


def test_material_of_a_printed_cost_sheet_per_thousand():
    # [T8-11] R. J. Eggert, worked sheet-metal cost sheet, university notes: 13.57 cents gross, 0.47 cents of scrap
    sheet = strip_material(
        sheet_cm2=D(236), part_cm2=D("163.4"), thickness_mm=D("0.91"), density_g_cm3=D("7.9"), price_per_kg=D("0.80"),
        scrap_price_per_kg=D("0.09"),
    )  # fmt: skip
    made = part_cost(hourly=D(1000), press_rate=None, set_up_hours=None, parts_a_lot=1, material=sheet, tool=None)
    assert float(made.material) == pytest.approx(135.7, rel=0.01)
    assert float(made.scrap_credit) == pytest.approx(4.7, rel=0.01)
    assert made.together == made.material - made.scrap_credit == made.apart_from_tool


def test_by_hand():
    """95 an hour at 19,000 parts: 5.00; 2 h for a lot of 50,000: 3.80; tool 8: 16.80 in all."""
    made = part_cost(
        hourly=D(19_000), press_rate=D(95), set_up_hours=D(2), parts_a_lot=50_000, material=None, tool=D(8)
    )
    assert (made.press, made.set_up, made.together, made.apart_from_tool) == (5, D("3.8"), D("16.8"), D("8.8"))


@given(lot=st.integers(1, 10**6), hours=st.decimals(0, 50, places=2), rate=st.decimals(0, 500, places=2))
def test_a_larger_lot_is_never_dearer_a_part(lot, hours, rate):
    def cost(parts):
        return part_cost(
            hourly=D(10_000), press_rate=rate, set_up_hours=hours, parts_a_lot=parts, material=None, tool=None
        ).together

    assert cost(2 * lot) <= cost(lot)


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: parts_an_hour(strokes_per_minute=D(0), parts_per_hit=1, availability=D(1)), "no part"),
        (lambda: parts_an_hour(strokes_per_minute=D(60), parts_per_hit=0, availability=D(1)), "0 parts a hit"),
        (lambda: parts_an_hour(strokes_per_minute=D(60), parts_per_hit=1, availability=D("1.2")), "120"),
        (lambda: priced(parts_a_lot=0), "a lot of 0"),
        (lambda: priced(hourly=D(0)), "no part"),
        (lambda: priced(press_rate=D(-1)), "press rate"),
    ],
)
def test_bad_input_is_refused(call, words):
    with pytest.raises(MoneyRefused, match=words):
        call()


def priced(**changes):
    given = {
        "hourly": D(100),
        "press_rate": D(1),
        "set_up_hours": D(1),
        "parts_a_lot": 1,
        "material": None,
        "tool": None,
    }
    return part_cost(**{**given, **changes})


def strip(price: Decimal, scrap: Decimal):
    return strip_material(
        sheet_cm2=D(236), part_cm2=D(0), thickness_mm=D("0.91"), density_g_cm3=D("7.9"), price_per_kg=price,
        scrap_price_per_kg=scrap,
    )  # fmt: skip


def test_what_a_scrapped_part_is_worth():
    """The sheet of T8-11 whole: 13.57 cents of stock, of which 236 / (236 - 163.4) x 0.47 = 1.53 come back as scrap.

    Then 3,600 parts an hour at 90 are 2.5 cents of press each.
    """
    whole = strip(D("0.80"), D("0.09"))
    alone = scrapped_part(strip=whole, press_rate=None, hourly=None)
    assert float(alone) * 100 == pytest.approx(13.57 - 1.53, abs=0.02)
    assert scrapped_part(strip=whole, press_rate=D(90), hourly=D(3600)) == alone + D("0.025")
    with pytest.raises(MoneyRefused, match="no part an hour"):
        scrapped_part(strip=whole, press_rate=D(90), hourly=D(0))


@given(st.integers(0, 10**5), st.integers(0, 10**5), st.integers(0, 10**6), st.integers(1, 10**5))
def test_dearer_scrap_never_makes_a_scrapped_part_worth_more(price, scrap, rate, hourly):
    one, two = (
        scrapped_part(strip=strip(D(price) / 100, D(s) / 100), press_rate=D(rate) / 100, hourly=D(hourly))
        for s in (scrap, scrap + 1)
    )
    assert two < one
