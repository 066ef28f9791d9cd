"""One figure or one day in any of the forms in which people write it reads back the same."""

from __future__ import annotations

import datetime as dt
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from maintenance.workbooks.pure import forms
from maintenance.workbooks.pure.forms import COMMA, DAY_FIRST, MONTH_FIRST, POINT

SIGNS = st.sampled_from([POINT, COMMA])


def grouped(whole: int, mark: str) -> str:
    """A number with a mark between its groups of three, by a plain loop."""
    digits, parts = str(whole), []
    while len(digits) > 3:
        parts.insert(0, digits[-3:])
        digits = digits[:-3]
    return mark.join([digits, *parts])


@given(
    whole=st.integers(0, 10**9),
    cents=st.integers(0, 99),
    sign=SIGNS,
    group=st.sampled_from(["", "same", " ", "'"]),
    before=st.sampled_from(["", "~", "ca. ", "HRC ", "€ ", "Ø "]),
    after=st.sampled_from(["", " mm", " %", " in", '"', " kN", " HRC", " €"]),
)
def test_a_figure_in_any_dress_is_the_same(whole, cents, sign, group, before, after):
    mark = {"same": COMMA if sign == POINT else POINT}.get(group, group)
    text = f"{before}{grouped(whole, mark)}{sign}{cents:02d}{after}"
    assert forms.figure(text, sign).value == pytest.approx(float(Fraction(whole * 100 + cents, 100)), rel=1e-15)


@given(low=st.integers(20, 69), width=st.integers(0, 9), dash=st.sampled_from(["-", " - ", "–", " to ", " bis "]))
def test_a_range_is_its_middle(low, width, dash):
    found = forms.figure(f"{low}{dash}{low + width}", POINT)
    assert (found.low, found.high, found.value) == (low, low + width, low + width / 2)


@pytest.mark.parametrize(
    ("text", "value", "unit"),
    [
        ("HRC 60", 60, "HRC"),
        ("60-62", 61, ""),
        ("6 %", 6, "%"),
        ("0.060 in", 0.06, "in"),
        ('1/16"', 0.0625, '"'),
        ("~40k", 40_000, ""),
        ("40 Tsd", 40_000, ""),
        ('1 1/2"', 1.5, '"'),
        ("60 ± 1", 60, ""),
        ("2.500.000", 2_500_000, ""),
        ("1,5 Mio", 1_500_000, ""),
        ("-0,5", -0.5, ""),
        ("12,50 zł", 12.5, "zł"),
        ("520 N/mm²", 520, "N/mm²"),
    ],
)
def test_figures_as_they_stand_in_lists(text, value, unit):
    found = forms.figure(text, COMMA if "," in text else POINT)
    assert (found.value, found.unit) == (value, unit)


def test_what_could_be_two_numbers_is_read_by_the_column():
    assert forms.marks("1.234").open and not forms.marks("2,5").open and forms.marks("0.125").sign == POINT
    assert forms.figure("1.234", COMMA).value == 1234 and forms.figure("1.234", POINT).value == 1.234
    assert forms.figure("2,5", POINT).value == 2.5, "2,5 can only be one thing"


@pytest.mark.parametrize("text", ["", "abc", "1.2.3", "12-", "1/0", "1,2,3,4", "1.23.456", "9" * 200, "60-20", "4 5 6"])
def test_what_is_no_figure_is_refused(text):
    with pytest.raises(forms.Unreadable):
        forms.figure(text, POINT)


DAYS = st.dates(dt.date(1980, 1, 1), dt.date(2060, 12, 31))
MONTHS = {
    "Jan": 1,
    "März": 3,
    "février": 2,
    "abril": 4,
    "maggio": 5,
    "cze": 6,
    "Juli": 7,
    "août": 8,
    "września": 9,
    "Okt.": 10,
    "nov": 11,
    "diciembre": 12,
    "January": 1,
    "enero": 1,
    "styczeń": 1,
    "lutego": 2,
    "listopad": 11,
    "déc.": 12,
    "Dezember": 12,
}


@given(
    day=DAYS, form=st.sampled_from(["%d.%m.%Y", "%d/%m/%Y", "%d-%m-%Y", "%Y-%m-%d", "%Y/%m/%d", "%d.%m.%y", "%Y%m%d"])
)
def test_a_day_written_with_the_day_first(day, form):
    assert forms.day(day.strftime(form), order=DAY_FIRST).moment.date() == day


@given(day=DAYS, form=st.sampled_from(["%m/%d/%Y", "%m/%d/%y", "%m-%d-%Y", "%m.%d.%Y"]))
def test_a_day_written_with_the_month_first(day, form):
    assert forms.day(day.strftime(form), order=MONTH_FIRST).moment.date() == day


@given(day=DAYS, seconds=st.integers(0, 86_399))
def test_a_day_as_the_number_that_spreadsheets_keep(day, seconds):
    """Day 1 is 1 January 1900, and 1900 counts as a leap year (ECMA-376 part 1, 18.17.4.1): 61 is 1 March 1900."""
    number = (day - dt.date(1900, 3, 1)).days + 61
    assert forms.day(number).moment == dt.datetime.combine(day, dt.time())
    moment = forms.day(number + seconds / 86_400).moment
    assert moment == dt.datetime.combine(day, dt.time()) + dt.timedelta(seconds=seconds)


@pytest.mark.parametrize("word", MONTHS)
def test_months_in_six_languages(word):
    for text in (f"3. {word} 2025", f"3 {word} 25", f"{word} 3, 2025"):
        assert forms.day(text).moment == dt.datetime(2025, MONTHS[word], 3), text


def test_a_day_without_a_year_waits_for_one():
    with pytest.raises(forms.Unreadable, match="has no year"):
        forms.day("03.04.")
    assert forms.day("03.04.", year=2025).moment == dt.datetime(2025, 4, 3)


@pytest.mark.parametrize(
    "text", ["31.02.2025", "32.01.2025", "3.4", "13/13/2025", "soon", "KW 14", "2025", "1e5", "0.0.0000"]
)
def test_what_is_no_day_is_refused(text):
    with pytest.raises(forms.Unreadable):
        forms.day(text)


def test_a_time_stands_beside_its_day():
    assert forms.day("03.04.2025 14:30").moment == dt.datetime(2025, 4, 3, 14, 30)
    assert forms.day("4/3/2025 2:30 PM", order=MONTH_FIRST).moment == dt.datetime(2025, 4, 3, 14, 30)
    assert forms.clock("6:05 Uhr") == dt.time(6, 5) and forms.clock("12:05 am") == dt.time(0, 5)
