"""Units: exact factors, round trips, what is taken as typed and what is refused."""

import math
from decimal import Decimal
from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from diestore import units
from diestore.units import (
    QUANTITIES,
    READINGS,
    UNITS,
    AmbiguousNumber,
    AmbiguousUnit,
    NotANumber,
    System,
    UnitError,
    UnknownUnit,
    column,
    convert,
    from_si,
    number,
    parse,
    parse_pair,
    show,
    show_si,
    to_si,
)
from tests.handbook import law

# --- factors ----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("of", "si"),
    [
        # NIST Special Publication 811 (2008), appendix B. In bold there, and so exact: in, ft, lb, lbf/g, °F. Others to
        # the digits printed.
        ("in", "0.0254"),
        ("ft", "0.3048"),
        ("thou", "2.54e-5"),
        ("µin", "2.54e-8"),
        ("lb", "0.45359237"),
        ("kgf", "9.80665"),
        ("lbf", "4.4482216152605"),  # lb x standard gravity
        ("kip", "4448.2216152605"),
        ("tonne-force", "9806.65"),
        ("bar", "1e5"),
        ("kgf/mm²", "9806650"),
    ],
)
def test_exact_factors(of, si):
    assert UNITS[of].factor == Fraction(si)


@pytest.mark.parametrize(
    ("of", "si"),
    [  # NIST SP 811, appendix B, printed to these digits
        ("psi", 6.894757e3),
        ("ksi", 6.894757e6),
        ("US tons", 8.896443e3),  # ton-force (2000 lbf)
        ("ft·lbf", 1.355818),
        ("in·lbf", 1.129848e-1),
        ("lbf/in", 1.751268e2),
    ],
)
def test_factors_to_the_digits_printed(of, si):
    assert float(UNITS[of].factor) == pytest.approx(si, rel=1e-6)


def test_a_long_ton_is_2240_pounds():
    assert UNITS["long tons"].factor == 2240 * UNITS["lbf"].factor  # NIST SP 811: ton, long (2240 lb)


@pytest.mark.parametrize(
    ("value", "of", "to", "expected"),
    [
        (1, "in", "mm", 25.4),
        (0.005, "in", "mm", 0.127),  # P. Ulintz, Defining acceptable burr height, MetalForming, Aug 2013: 0.13 mm
        (0.003, "in", "µm", 76.2),  # the same: 0.08 mm
        (0.05, "in", "mm", 1.27),  # the same: 0.050 in (1.27 mm)
        (24.51, "US tons", "lbf", 49_020),
        (50, "ksi", "MPa", 344.7379),
        (32, "°F", "°C", 0),
        (212, "°F", "K", 373.15),
        (20, "°C", "°F", 68),
    ],
)
def test_conversions(value, of, to, expected):
    assert convert(value, of, to) == pytest.approx(expected, rel=1e-6, abs=1e-12)


def test_different_things_are_not_converted():
    with pytest.raises(UnknownUnit, match="measures"):
        convert(1, "mm", "N")
    with pytest.raises(UnknownUnit):
        convert(60, "HRC", "HRB")


values = st.floats(-1e12, 1e12, allow_nan=False).filter(lambda x: x == 0 or abs(x) > 1e-12)


@law
@given(values, st.sampled_from(sorted(UNITS)))
def test_si_round_trips(value, of):
    warm = UNITS[of].dimension == "temperature"  # the offset takes digits
    back = from_si(to_si(value, of), of)
    assert back == pytest.approx(value, rel=1e-12 if warm else 4e-16, abs=1e-9 if warm else 0)


@law
@given(values, st.sampled_from(sorted(UNITS)), st.data())
def test_any_two_units_of_a_dimension_round_trip(value, of, data):
    to = data.draw(st.sampled_from([u for u in sorted(UNITS) if UNITS[u].dimension == UNITS[of].dimension]))
    near = {"rel": 1e-12, "abs": 1e-9 if UNITS[of].dimension == "temperature" else 0}
    there = convert(value, of, to)
    assert convert(there, to, of) == pytest.approx(value, **near)
    assert from_si(to_si(value, of), to) == pytest.approx(there, **near)  # by way of SI it is the same


def test_inches_come_back_to_the_last_digit():
    for typed in ("0.0024", "0.1", "1.2345", "12.7", "0.0001"):
        stored = parse(f"{typed} in", "gap_mm").value
        assert convert(stored, "mm", "in") == pytest.approx(float(typed), rel=4e-16)


# --- typed ------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "name", "value", "value_si", "unit"),
    [
        ("0.0024 in", "gap_mm", 0.06096, 6.096e-5, "in"),
        ("60 um", "gap_mm", 0.06, 6e-5, "µm"),
        ("60 µm", "gap_mm", 0.06, 6e-5, "µm"),
        ("60 μm", "gap_mm", 0.06, 6e-5, "µm"),  # the Greek letter
        ("2.4 thou", "gap_mm", 0.06096, 6.096e-5, "thou"),
        ("0,06 mm", "gap_mm", 0.06, 6e-5, "mm"),
        ("0,060MM", "gap_mm", 0.06, 6e-5, "mm"),
        (".06 mm", "gap_mm", 0.06, 6e-5, "mm"),
        ("6e-2 mm.", "gap_mm", 0.06, 6e-5, "mm"),
        ('3/8"', "length_mm", 9.525, 9.525e-3, "in"),
        ("1 1/2 inches", "length_mm", 38.1, 0.0381, "in"),
        ("1 234.5 mm", "length_mm", 1234.5, 1.2345, "mm"),
        ("1.234,5 mm", "length_mm", 1234.5, 1.2345, "mm"),
        ("1,234,567 N", "force_n", 1_234_567, 1_234_567, "N"),
        ("35 lb", "force_n", 155.6877565, 155.6877565, "lbf"),
        ("35 lb", "weight_kg", 15.87573295, 15.87573295, "lb"),
        ("10 US tons", "rated_force_n", 88_964.432305, 88_964.432305, "US tons"),
        ("340 N/mm2", "tensile_mpa", 340, 340e6, "MPa"),
        ("50 ksi", "shear_mpa", 344.737865, 344_737_864.66, "ksi"),
        ("31 um", "burr height", 31, 3.1e-5, "µm"),
        ("62 HRC", "hardness", 62, 62, "HRC"),
        ("200 HV", "hardness", 200, 200, "HV"),
        ("−3 °C", "temperature", 270.15, 270.15, "°C"),
        ("12 N", "pull of the magnet", 12, 12, "N"),  # words of one's own: the unit says what it is
    ],
)
def test_typed_text_is_understood(text, name, value, value_si, unit):
    typed = parse(text, name)
    assert typed.value == pytest.approx(value, rel=1e-9)
    assert typed.value_si == pytest.approx(value_si, rel=1e-9)
    assert typed.unit == unit
    assert not typed.assumed
    assert text == f"{typed.typed_value}{' ' * text.count(f' {typed.typed_unit}')}{typed.typed_unit}"  # kept as typed


@pytest.mark.parametrize(
    ("text", "name", "system", "unit", "value"),
    [
        ("0.06", "gap_mm", "metric", "mm", 0.06),
        ("0.0024", "gap_mm", "inch", "in", 0.06096),
        ("55", "burr height", System.METRIC, "µm", 55),
        ("2", "burr height", System.INCH, "thou", 50.8),
        ("100", "force_n", "inch", "lbf", 444.82216),
    ],
)
def test_a_bare_number_is_in_the_users_own_unit(text, name, system, unit, value):
    typed = parse(text, name, system)
    assert (typed.unit, typed.assumed, typed.typed_unit) == (unit, True, unit)
    assert typed.value == pytest.approx(value)


def test_two_cells_are_read_as_one():
    typed = parse_pair("31", "um", "burr height")
    assert (typed.value_si, typed.typed_value, typed.typed_unit) == (pytest.approx(3.1e-5), "31", "um")
    assert parse_pair(31.0, "um", "burr height").value == 31
    with pytest.raises(UnknownUnit, match="needs a unit"):
        parse_pair("31", "", "burr height")
    with pytest.raises(NotANumber, match="stands behind it"):
        parse_pair("31 um", "um", "burr height")


@pytest.mark.parametrize(
    ("text", "name", "error", "says"),
    [
        ("5 parsec", "gap_mm", UnknownUnit, "write mm, µm, in or thou"),
        ("3 N", "burr height", UnknownUnit, "not a unit for the burr height; write µm, mm, thou or in"),
        ("5 xx", "chatter", UnknownUnit, "not a unit known here"),
        ("5", "chatter", UnknownUnit, "needs a unit"),
        ("5", "gap_mm", UnknownUnit, "needs a unit"),
        ("5 tons", "force_n", AmbiguousUnit, "US ton"),
        ("5 lb", "chatter", AmbiguousUnit, "lbf"),
        ("5 mil", "gap_mm", AmbiguousUnit, "thou"),
        ("5 mN", "force_n", UnknownUnit, "write N, kN"),  # a thousandth, not a million
        ("5 mPa", "tensile_mpa", UnknownUnit, "write MPa"),
        ("1,234 mm", "length_mm", AmbiguousNumber, r"write 1234 or 1\.234"),
        ("nan mm", "gap_mm", NotANumber, "number"),
        ("inf mm", "gap_mm", NotANumber, "number"),
        ("-Infinity", "gap_mm", NotANumber, "number"),
        ("1e400 mm", "gap_mm", NotANumber, "too large"),
        ("1/0 in", "gap_mm", NotANumber, "nought"),
        ("1 5/4 in", "gap_mm", NotANumber, "one number"),
        ("1.2.3 mm", "gap_mm", NotANumber, "not a number"),
        ("5 5 mm", "gap_mm", NotANumber, "one number"),
        ("1-2 mm", "gap_mm", UnknownUnit, "not a unit"),
        ("", "gap_mm", NotANumber, "number"),
        ("mm", "gap_mm", NotANumber, "number"),
        ("x" * 5_000_000, "gap_mm", NotANumber, "characters long"),
        ("9" * 5_000_000 + " mm", "gap_mm", NotANumber, "characters long"),
        (None, "gap_mm", NotANumber, "not typed text"),
    ],
)
def test_what_cannot_be_taken_is_refused_in_one_short_sentence(text, name, error, says):
    with pytest.raises(error, match=says) as caught:
        parse(text, name)
    assert isinstance(caught.value, UnitError)
    assert len(str(caught.value)) < 200
    assert "\n" not in str(caught.value)


def test_an_unknown_unit_names_the_accepted_ones():
    with pytest.raises(UnknownUnit) as caught:
        parse("5 parsec", "gap_mm")
    assert caught.value.accepted == ("mm", "µm", "in", "thou")


def test_a_second_cell_of_five_megabytes_is_refused():
    with pytest.raises(UnknownUnit, match="characters"):
        parse_pair("3", "m" * 5_000_000, "burr height")


@pytest.mark.parametrize("value", [math.nan, math.inf, True, "3", None, np.nan])
def test_what_is_no_number_is_neither_stored_nor_shown(value):
    with pytest.raises(NotANumber):
        to_si(value, "mm")
    if value is not None:
        with pytest.raises(NotANumber):
            show(value, "gap_mm")


@law
@given(st.text(max_size=60))
def test_any_text_gives_a_value_or_a_sentence(text):
    for name in ("gap_mm", "burr height", "chatter"):
        try:
            typed = parse(text, name, "metric")
        except UnitError as error:
            assert str(error).endswith(".")
        else:
            assert math.isfinite(typed.value_si)
            assert math.isfinite(typed.value)


@pytest.mark.parametrize(
    ("text", "value"),
    [("0,06", 0.06), ("1 250.5", 1250.5), ("3/8", 0.375), ("+4", 4), ("-2", -2), ("1'250'000", 1_250_000), ("7.", 7)],
)
def test_a_number_alone(text, value):
    assert number(text) == value


def test_a_number_alone_has_nothing_behind_it():
    with pytest.raises(NotANumber, match="stands behind"):
        number("3 mm")


# --- shown ------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("value", "name", "system", "shown"),
    [
        (0.06, "gap_mm", "metric", "0.060 mm"),
        (0.06, "gap_mm", "inch", "0.0024 in"),
        (1.2, "thickness_mm", "inch", "0.0472 in"),
        (60, "burr_um", "metric", "60 µm"),
        (60, "burr_um", "inch", "2.4 thou"),
        (340, "tensile_mpa", "metric", "340 MPa"),
        (340, "tensile_mpa", "inch", "49.3 ksi"),
        (800, "force_n", "metric", "800 N"),
        (999.4, "force_n", "metric", "999 N"),
        (999.6, "force_n", "metric", "1.0 kN"),
        (44_481, "force_n", "inch", "5.0 US tons"),
        (44_470, "force_n", "inch", "9,997 lbf"),
        (123_456, "force_n", "metric", "123.5 kN"),
        (800, "force_n", "inch", "180 lbf"),
        (600_000, "rated_force_n", "inch", "67.4 US tons"),
        (4, "grind_allowance_mm", "metric", "4.00 mm"),
        (293.15, "temperature_k", "metric", "20 °C"),
        (293.15, "temperature_k", "inch", "68 °F"),
        (0, "gap_mm", "metric", "0.000 mm"),
        (0.0, "removed_mm", "inch", "0.0000 in"),
        (-0.0, "removed_mm", "metric", "0.00 mm"),
        (0.00004, "gap_mm", "metric", "0.000040 mm"),  # never shown as nought
        (None, "gap_mm", "metric", "not known"),
        (np.float32(0.06), "gap_mm", "metric", "0.060 mm"),
        (np.int64(3), "allowance_mm", "metric", "3.00 mm"),
        (Decimal("0.1"), "removed_mm", "metric", "0.10 mm"),
        (12_345.6, "length_mm", "metric", "12,345.60 mm"),
    ],
)
def test_stored_values_are_shown_in_the_users_system(value, name, system, shown):
    assert show(value, name, system) == shown


def test_readings_are_shown_from_si():
    assert show_si(3.1e-5, "burr height", "metric") == "31 µm"
    assert show_si(3.1e-5, "burr height", "inch") == "1.2 thou"
    assert show_si(12.0, "pull of the magnet", "metric", typed_unit="lbf") == "12 N"
    assert show_si(None, "burr height") == "not known"
    with pytest.raises(UnknownUnit, match="in which unit"):
        show_si(12.0, "pull of the magnet")


def test_every_reading_is_a_quantity():
    assert set(READINGS.values()) <= set(QUANTITIES)
    for system in System:
        for what in QUANTITIES.values():
            for form in what.forms(system):
                assert UNITS[form.unit].dimension == what.dimension == UNITS[what.stored].dimension
            assert all(units.unit(symbol, what.dimension) for symbol in what.accepts)


def test_a_column_is_known_by_the_unit_at_its_end():
    assert column("shut_height_min_mm").dimension == "length"
    assert column("grind_allowance_mm").name == "grind allowance"
    assert column("strip_force_n").stored == "N"
    for name in ("gap", "gap_inches", "mm", "hits"):
        with pytest.raises(KeyError):
            column(name)
    assert units.label("gap_mm", "inch") == "gap, in"


@law
@given(
    st.floats(1e-4, 1e5),
    st.sampled_from(sorted(key for key in QUANTITIES if key != "temperature_k")),
    st.sampled_from(System),
)
def test_what_is_shown_can_be_typed_again(value, key, system):
    shown = show(value, key, system)
    again = parse(shown.replace(",", ""), QUANTITIES[key])
    assert again.value == pytest.approx(value, rel=0.06)
    # and comes back as the same words
    assert show(again.value, key, system) == shown
    bare = units.shown_value(value, key, system)
    assert parse(repr(bare), QUANTITIES[key], system).value == pytest.approx(value, rel=1e-12)
