"""Cost per thousand parts of a die from its own log."""

import datetime as dt
from decimal import Decimal

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from reports.costing.elements import Stage, per_thousand
from reports.costing.material import strip_material
from reports.costing.money import DatedRate, MoneyRefused
from reports.costing.own_log import Bill, BuildPrice, HoursWorked, SpareUsed, StopMinutes, cost_of_log

D = Decimal
DAY = dt.date(2025, 3, 1)
TOOLROOM = [DatedRate(valid_from=dt.date(2025, 1, 1), amount=D("60"))]
PRESS = [DatedRate(valid_from=dt.date(2025, 1, 1), amount=D("90"))]


def test_die_cost_a_part_printed_answer():
    # [T8-09] R. J. Eggert, university worked sheet-metal cost sheet (Boothroyd and Dewhurst's way):
    # piercing die 1,452.64 over 50,000 parts, 2.91 cents a part printed
    sheet = cost_of_log(build=BuildPrice(price=D("1452.64"), expected_parts=50_000), parts_made=0)
    assert sheet.per_thousand == pytest.approx(D("29.05"), abs=D("0.01"))
    assert sheet.per_thousand / 10 == pytest.approx(D("2.905"), abs=D("0.001"))


def test_material_of_a_part_printed_answer():
    # [T8-11] R. J. Eggert, the same sheet: 236 cm2 for a part of 163.4 cm2, 0.91 mm, s.g. 7.9, 0.80 $/kg, scrap 0.09
    # $/kg: 13.57 cents gross, 0.47 cents back, 69.2 % used
    material = strip_material(
        sheet_cm2=D("236"),
        part_cm2=D("163.4"),
        thickness_mm=D("0.91"),
        density_g_cm3=D("7.9"),
        price_per_kg=D("0.80"),
        scrap_price_per_kg=D("0.09"),
    )
    assert round(material.gross * 100, 2) == D("13.57")
    assert round(material.scrap_credit * 100, 2) == D("0.47")
    assert round(material.used, 3) == D("0.692")
    assert material.net == material.gross - material.scrap_credit
    with pytest.raises(MoneyRefused, match="does not come out"):
        strip_material(sheet_cm2=D(1), part_cm2=D(2), thickness_mm=D(1), density_g_cm3=D(8), price_per_kg=D(1))


def test_how_much_of_a_strip_a_printed_layout_uses():
    figures = {"thickness_mm": D(1), "density_g_cm3": D(8), "price_per_kg": D(1)}
    # [T9-02] Tool engineering notes: 78.43 % of a pitch of 1,675.6 mm2 for a blank of 1,314.16 mm2
    wide = strip_material(sheet_cm2=D("16.756"), part_cm2=D("13.1416"), **figures)
    assert wide.used == pytest.approx(D("0.7843"), rel=D("0.001"))
    # [T9-01] Sharma, ex. 2.8, p. 136: 25 x 100 mm in a strip of 110 at a pitch of 28.2: 80.6 % (computed)
    narrow = strip_material(sheet_cm2=D(110) * D("28.2") / 100, part_cm2=D(25), **figures)
    assert narrow.used == pytest.approx(D("0.806"), abs=D("0.0005"))


def whole(**changes):
    given_ = {
        "build": BuildPrice(price=D("50000"), expected_parts=10_000_000),
        "parts_made": 2_000_000,
        "hours": [HoursWorked(day=DAY, hours=10.5), HoursWorked(day=DAY, hours=D("4.5"))],
        "spares": [SpareUsed(day=DAY, item="P-6", pieces=8, unit_price=D("22.50"))],
        "stops": [StopMinutes(day=DAY, minutes=40.0, parts_scrapped=100)],
        "toolroom_rates": TOOLROOM,
        "press_rates": PRESS,
        "scrapped_part": D("0.12"),
    }
    return cost_of_log(**{**given_, **changes})


def test_every_element_by_hand():
    sheet = whole(bills=[Bill(kind="repair", amount=D("400"))])
    by_hand = {
        "build": D(50_000) * 1000 / 10_000_000,
        "sharpening": D(15) * 60 * 1000 / 2_000_000,
        "spares": D(8) * D("22.50") * 1000 / 2_000_000,
        "stop": (D(40) / 60 * 90 + 100 * D("0.12")) * 1000 / 2_000_000,
        "repair": D("0.2"),
    }
    assert {e.key: e.per_thousand for e in sheet.elements} == by_hand
    assert sheet.per_thousand == sum(by_hand.values())
    assert sheet.left_out == ()
    assert sheet.by_stage() == {
        Stage.ACQUISITION: by_hand["build"],
        Stage.OWNERSHIP: sum(by_hand.values()) - by_hand["build"],
    }
    assert sheet.element("sharpening").basis == "15 h in the toolroom"
    assert sheet.element("stop").basis == "40 min of the press; 100 parts scrapped"


def test_each_hour_at_the_rate_of_its_day():
    rates = [*TOOLROOM, DatedRate(valid_from=dt.date(2025, 6, 1), amount=D("70"))]
    sheet = whole(
        hours=[HoursWorked(day=DAY, hours=1.0), HoursWorked(day=dt.date(2025, 6, 1), hours=1.0)], toolroom_rates=rates
    )
    assert sheet.element("sharpening").amount == D(130)


def test_a_die_that_outlives_its_plan_is_spread_over_what_it_made():
    sheet = whole(parts_made=20_000_000)
    assert sheet.element("build").per_thousand == D("2.5")


def test_what_has_no_price_is_said_not_counted_as_nought():
    sheet = cost_of_log(
        build=None,
        parts_made=1000,
        hours=[
            HoursWorked(day=dt.date(2024, 5, 1), hours=3.0),
            HoursWorked(day=DAY, hours=1.0),
            HoursWorked(day=DAY, hours=None),
        ],
        spares=[SpareUsed(day=DAY, item="P-6", pieces=2, unit_price=None)],
        stops=[StopMinutes(day=DAY, minutes=5.0, parts_scrapped=7)],
        toolroom_rates=TOOLROOM,
    )
    assert sheet.per_thousand == D(60)
    told = "\n".join(sheet.left_out)
    assert "3 h of sharpening have no price. No toolroom rate holds on 2024-05-01" in told
    assert "1 entry of sharpening without hours" in told
    assert "2 pieces of P-6 without a price" in told
    assert "5 min of stops have no price" in told
    assert "7 scrapped parts (no part value entered)" in told
    assert "build price" in told


def test_nothing_made_yet():
    sheet = whole(parts_made=0)
    assert [e.key for e in sheet.elements] == ["build"]
    assert any("Sharpening: 900.00 spent, but no good part" in line for line in sheet.left_out)


def test_nothing_known_is_unknown_not_nought():
    assert cost_of_log(build=None, parts_made=1000).per_thousand is None


@pytest.mark.parametrize(
    ("changes", "message"),
    [
        ({"parts_made": -1}, "-1 parts"),
        ({"parts_made": 1.5}, "1.5 parts"),
        ({"hours": [HoursWorked(day=DAY, hours=float("nan"))]}, "hours of sharpening"),
        ({"hours": [HoursWorked(day=DAY, hours=-1.0)]}, "-1"),
        ({"spares": [SpareUsed(day=DAY, item="P", pieces=-2, unit_price=D(1))]}, "-2 pieces"),
        ({"spares": [SpareUsed(day=DAY, item="P", pieces=2, unit_price=0.1)]}, "price of P"),
        ({"stops": [StopMinutes(day=DAY, minutes=float("inf"))]}, "minutes"),
        ({"stops": [StopMinutes(day=DAY, minutes=1.0, parts_scrapped=-3)]}, "-3 parts"),
        ({"bills": [Bill(kind="lunch", amount=D(1))]}, "lunch"),
        ({"bills": [Bill(kind="other", amount=D("NaN"))]}, "bill"),
    ],
)
def test_bad_input_is_refused_with_its_figures(changes, message):
    with pytest.raises(MoneyRefused, match=message):
        whole(**changes)


def test_no_parts_to_bear_it():
    with pytest.raises(MoneyRefused, match="0 parts"):
        per_thousand(D(5), 0)


MONEY = st.decimals(min_value=0, max_value=10_000, places=4)


@settings(max_examples=30, deadline=None)
@given(
    st.lists(
        st.tuples(st.dates(dt.date(2025, 1, 1), dt.date(2026, 1, 1)), st.floats(0.01, 50)), min_size=1, max_size=8
    ),
    MONEY,
    st.integers(1, 10**7),
    st.randoms(use_true_random=False),
)
def test_the_order_and_the_splitting_of_entries_do_not_matter(rows, price, parts, random):
    hours = [HoursWorked(day=day, hours=round(h, 2)) for day, h in rows]
    spares = [SpareUsed(day=DAY, item="P", pieces=4, unit_price=price)]
    one = cost_of_log(build=None, parts_made=parts, hours=hours, spares=spares, toolroom_rates=TOOLROOM)
    mixed = hours[:]
    random.shuffle(mixed)
    split = [SpareUsed(day=DAY, item="P", pieces=1, unit_price=price)] * 4
    other = cost_of_log(build=None, parts_made=parts, hours=mixed, spares=split, toolroom_rates=TOOLROOM)
    assert one.per_thousand == other.per_thousand


def test_a_price_of_another_day_is_said():
    spares = [
        SpareUsed(day=dt.date(2024, 5, n), item="PP-6.0", pieces=1, unit_price=Decimal(4), said="at a guess" * (n > 2))
        for n in (1, 2, 3)
    ]
    sheet = cost_of_log(build=None, parts_made=1000, spares=spares)
    assert sheet.element("spares").basis == "3 pieces, 1 at a guess"
