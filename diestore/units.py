"""PURE. The only place where mm and inch, N and lbf, MPa and ksi, kg and lb meet.

Records hold one unit for each column, named in the column (`gap_mm`, `tensile_mpa`, `rated_force_n`); readings hold
SI (metres, newtons, pascals). People see and type their own system. A quantity here is called by its column's name, so
that `show(cut.gap_mm, "gap_mm", system)` cannot take micrometres for millimetres.

Factors are exact fractions. 1 in = 25.4 mm, 1 lb = 0.45359237 kg: international yard and pound agreement of 1959;
standard gravity 9.80665 m/s2: 3rd General Conference on Weights and Measures, 1901. Both are in NIST Special
Publication 811 (2008), appendix B. All other factors follow from these.
"""

from __future__ import annotations

import math
import numbers
import re
from dataclasses import dataclass, replace
from decimal import Decimal
from enum import StrEnum
from fractions import Fraction
from functools import lru_cache

from diestore import unit_words
from diestore.texts import gettext as _
from diestore.texts import gettext_noop

LONGEST_TYPED = 60  # characters; nobody types more for one figure, and a huge cell is an accident


class UnitError(ValueError):
    """What was typed cannot be taken as a value with a unit. The message is one sentence for the person who typed."""


class NotANumber(UnitError):
    """No finite number."""


class AmbiguousNumber(UnitError):
    """A number that can be read in two ways, as 1,234."""


class UnknownUnit(UnitError):
    """No such unit, or one that is not for this quantity. `accepted`: the units that are."""

    def __init__(self, message: str, accepted: tuple[str, ...] = ()):
        super().__init__(message)
        self.accepted = accepted


class AmbiguousUnit(UnknownUnit):
    """A unit word that means two things, as a bare ton."""


class System(StrEnum):
    METRIC = "metric"
    INCH = "inch"


@dataclass(frozen=True, kw_only=True)
class Unit:
    """value in SI = value * factor + offset. `names`: other spellings that are taken when typed."""

    symbol: str
    dimension: str
    factor: Fraction
    offset: Fraction = Fraction(0)
    names: tuple[str, ...] = ()


_INCH = Fraction(254, 10_000)  # m
_POUND = Fraction(45_359_237, 100_000_000)  # kg
_GRAVITY = Fraction(980_665, 100_000)  # m/s2
_LBF = _POUND * _GRAVITY  # N
_PSI = _LBF / _INCH**2  # Pa


def _unit(dimension: str, symbol: str, factor: Fraction | int, *names: str, offset: Fraction | int = 0) -> Unit:
    return Unit(symbol=symbol, dimension=dimension, factor=Fraction(factor), offset=Fraction(offset), names=names)


_ALL = (
    _unit("length", "m", 1, "metre", "metres", "meter", "meters"),
    _unit("length", "cm", Fraction(1, 100)),
    _unit("length", "mm", Fraction(1, 1000), "millimetre", "millimetres", "millimeter", "millimeters"),
    _unit("length", "µm", Fraction(1, 10**6), "um", "micron", "microns", "micrometre", "micrometres", "micrometer"),
    _unit("length", "in", _INCH, "inch", "inches", '"', "''"),
    _unit("length", "thou", _INCH / 1000),
    _unit("length", "µin", _INCH / 10**6, "uin", "microinch", "microinches"),
    _unit("length", "ft", _INCH * 12, "foot", "feet"),
    _unit("force", "N", 1, "newton", "newtons"),
    _unit("force", "kN", 1000, "kilonewton", "kilonewtons"),
    _unit("force", "MN", 10**6, "meganewton", "meganewtons"),
    _unit("force", "lbf", _LBF, "pounds-force", "pound-force"),
    _unit("force", "kip", _LBF * 1000, "kips"),
    _unit("force", "US tons", _LBF * 2000, "US ton", "short tons", "short ton"),
    _unit("force", "long tons", _LBF * 2240, "long ton", "UK tons", "UK ton"),
    _unit("force", "kgf", _GRAVITY, "kp"),
    _unit("force", "tonne-force", _GRAVITY * 1000, "tf", "metric ton", "metric tons"),
    _unit("stress", "Pa", 1),
    _unit("stress", "kPa", 1000),
    _unit("stress", "MPa", 10**6, "N/mm2", "N/mm²", "N/mm^2"),
    _unit("stress", "GPa", 10**9, "kN/mm2", "kN/mm²", "kN/mm^2"),
    _unit("stress", "bar", 10**5),
    _unit("stress", "psi", _PSI, "lbf/in2", "lbf/in²", "lbf/in^2"),
    _unit("stress", "ksi", _PSI * 1000),
    _unit("stress", "kgf/mm²", _GRAVITY * 10**6, "kgf/mm2", "kp/mm2", "kp/mm²"),
    _unit("mass", "kg", 1, "kilogram", "kilograms"),
    _unit("mass", "g", Fraction(1, 1000), "gram", "grams"),
    _unit("mass", "tonne", 1000, "tonnes"),
    _unit("mass", "lb", _POUND, "lbs", "lbm", "pound", "pounds"),
    _unit("energy", "J", 1, "Nm", "N·m", "N m", "N.m", "joule", "joules"),
    _unit("energy", "kJ", 1000, "kNm", "kN·m"),
    _unit("energy", "ft·lbf", _LBF * _INCH * 12, "ft lbf", "ft-lbf", "ft.lbf", "ft lb", "ft-lb"),
    _unit("energy", "in·lbf", _LBF * _INCH, "in lbf", "in-lbf", "in.lbf"),
    _unit("rate", "N/mm", 1000),
    _unit("rate", "N/m", 1),
    _unit("rate", "lbf/in", _LBF / _INCH, "lb/in"),
    _unit("temperature", "K", 1, "kelvin"),
    _unit("temperature", "°C", 1, "degC", "deg C", "C", "celsius", offset=Fraction(27_315, 100)),
    _unit(
        "temperature", "°F", Fraction(5, 9), "degF", "deg F", "F", "fahrenheit", offset=Fraction(45_967, 100) * 5 / 9
    ),
    _unit("time", "s", 1, "sec", "second", "seconds"),
    _unit("time", "min", 60, "minute", "minutes"),
    _unit("time", "h", 3600, "hr", "hour", "hours"),
    _unit("angle", "rad", 1),
    _unit("angle", "°", Fraction(math.pi) / 180, "deg", "degree", "degrees"),
    _unit("share", "%", Fraction(1, 100), "pct", "percent", "per cent"),
    # Hardness numbers are scales of their own: nothing here turns one into another (see handbook/hardness.py).
    *(_unit(f"hardness {scale}", scale, 1) for scale in ("HRC", "HRB", "HRA", "HV", "HB")),
)

UNITS: dict[str, Unit] = {unit.symbol: unit for unit in _ALL}


def _plain(text: str) -> str:
    """One spelling for the micro signs, the inch mark, spaces and full stops at the end."""
    text = text.replace("μ", "µ").replace("″", '"').replace("”", '"').replace("\xa0", " ").replace("\u202f", " ")
    return " ".join(text.split()).rstrip(".")


_EXACT = {_plain(name): unit for unit in _ALL for name in (unit.symbol, *unit.names)}
_FOLDED: dict[str, set[str]] = {}
for _name, _of in _EXACT.items():
    if _of.symbol != "MN":  # mn would be a millinewton to others
        _FOLDED.setdefault(_name.casefold(), set()).add(_of.symbol)

_LB_AS_FORCE = {"lb", "lbs", "pound", "pounds"}


def _find(text: str, dimension: str | None) -> Unit | None:
    plain = _plain(text)
    folded = plain.casefold()
    if folded in unit_words.TWO_MEANINGS:
        raise AmbiguousUnit(unit_words.unclear(text, unit_words.TWO_MEANINGS[folded]))
    if folded in _LB_AS_FORCE:
        if dimension == "force":
            return UNITS["lbf"]
        if dimension is None:
            raise AmbiguousUnit(unit_words.unclear(text, unit_words.A_POUND))
    if plain in _EXACT:
        return _EXACT[plain]
    if plain[:1] == "m" and plain != folded:  # a typed mN or mPa is a thousandth, not a million
        return None
    symbols = _FOLDED.get(folded, set())
    return UNITS[next(iter(symbols))] if len(symbols) == 1 else None


def unit(text: str, dimension: str | None = None) -> Unit:
    """The unit of that symbol or name. With a dimension, only a unit of that dimension.

    Case matters only where it tells units apart (mN and mPa are not taken for MN and MPa). A bare lb is a weight or a
    force: it is taken as what the dimension says, and refused where no dimension is given.

    Raises UnknownUnit (with the accepted ones) or AmbiguousUnit.
    """
    unit = _find(text, dimension)
    if unit is None or (dimension is not None and unit.dimension != dimension):
        accepted = tuple(u.symbol for u in _ALL if dimension is None or u.dimension == dimension)
        if dimension:
            told = _("{text!r} is not a unit of {dimension}; write {units}.")
        else:
            told = _("{text!r} is not a unit known here; write {units}.")
        what, words = _(dimension or ""), unit_words.listed(accepted)
        raise UnknownUnit(told.format(text=text.strip()[:20], dimension=what, units=words), accepted)
    return unit


def _finite(value: float, what: str = "value") -> Fraction:
    if isinstance(value, bool) or not isinstance(value, numbers.Real | Decimal) or not math.isfinite(value):
        raise NotANumber(_("The {what} {value!r} is not a number.").format(what=_(what), value=value))
    return Fraction(value) if isinstance(value, numbers.Rational | Decimal) else Fraction(float(value))


def _float(value: Fraction, typed: object = "") -> float:
    try:
        return float(value)
    except OverflowError:
        raise NotANumber(_("{text!r} is too large a number.").format(text=str(typed)[:20])) from None


def to_si(value: float, of: str) -> float:
    """A value in that unit as SI (m, N, Pa, kg, J, N/m, K, s). Correctly rounded."""
    u = unit(of) if of not in UNITS else UNITS[of]
    return _float(_finite(value) * u.factor + u.offset, value)


def from_si(value_si: float, of: str) -> float:
    """A value in SI as that unit; the reverse of `to_si`."""
    u = unit(of) if of not in UNITS else UNITS[of]
    return _float((_finite(value_si) - u.offset) / u.factor, value_si)


def convert(value: float, of: str, to: str) -> float:
    """A value from one unit to another of the same dimension: convert(0.005, "in", "mm") is 0.127.

    Raises UnknownUnit where the two measure different things.
    """
    a, b = (UNITS[name] if name in UNITS else unit(name) for name in (of, to))
    if a.dimension != b.dimension:
        raise UnknownUnit(f"{a.symbol} measures {a.dimension}, {b.symbol} measures {b.dimension}.")
    return _float((_finite(value) * a.factor + a.offset - b.offset) / b.factor, value)


# --- what is measured -------------------------------------------------------------------------------------------------


@dataclass(frozen=True, kw_only=True)
class Shown:
    """How one system shows a quantity: below `from_value` (in this unit) the next smaller form is taken."""

    unit: str
    decimals: int
    from_value: float = 0.0


@dataclass(frozen=True, kw_only=True)
class Quantity:
    """Something measured.

    key: name of the column that holds it, unit and all. stored: that unit. metric, inch: forms to show it in, largest
    first. accepts: the units named to somebody who typed another (others of the dimension are taken too).
    """

    key: str
    name: str
    dimension: str
    stored: str
    metric: tuple[Shown, ...]
    inch: tuple[Shown, ...]
    accepts: tuple[str, ...]

    def forms(self, system: System | str) -> tuple[Shown, ...]:
        return self.metric if System(system) is System.METRIC else self.inch

    def unit(self, system: System | str) -> str:
        """The unit a bare number is taken in, and that stands beside the field."""
        return self.forms(system)[-1].unit


def _length(key: str, name: str, mm: int, inch: int) -> Quantity:
    return Quantity(
        key=key,
        name=name,
        dimension="length",
        stored="mm",
        metric=(Shown(unit="mm", decimals=mm),),
        inch=(Shown(unit="in", decimals=inch),),
        accepts=("mm", "µm", "in", "thou"),
    )


def _small(key: str, name: str) -> Quantity:
    return Quantity(
        key=key,
        name=name,
        dimension="length",
        stored="µm",
        metric=(Shown(unit="µm", decimals=0),),
        inch=(Shown(unit="thou", decimals=1),),
        accepts=("µm", "mm", "thou", "in"),
    )


def _force(key: str, name: str) -> Quantity:
    return Quantity(
        key=key,
        name=name,
        dimension="force",
        stored="N",
        metric=(Shown(unit="kN", decimals=1, from_value=1.0), Shown(unit="N", decimals=0)),
        inch=(Shown(unit="US tons", decimals=1, from_value=5.0), Shown(unit="lbf", decimals=0)),
        accepts=("N", "kN", "lbf", "US tons"),
    )


def _plain_quantity(
    key: str,
    name: str,
    dimension: str,
    stored: str,
    metric: tuple[str, int],
    inch: tuple[str, int],
    accepts: tuple[str, ...],
) -> Quantity:
    forms = [(Shown(unit=unit_name, decimals=decimals),) for unit_name, decimals in (metric, inch)]
    return Quantity(
        key=key, name=name, dimension=dimension, stored=stored, metric=forms[0], inch=forms[1], accepts=accepts
    )


_QUANTITIES = (
    _length("length_mm", gettext_noop("length"), 2, 3),
    _length("thickness_mm", gettext_noop("thickness"), 2, 4),
    _length("gap_mm", gettext_noop("gap"), 3, 4),
    _length("clearance_mm", gettext_noop("clearance"), 3, 4),
    _length("removed_mm", gettext_noop("amount ground off"), 2, 4),
    _length("raised_mm", gettext_noop("spacer"), 2, 4),
    _length("allowance_mm", gettext_noop("grind allowance"), 2, 3),
    _length("wear_mm", gettext_noop("wear"), 3, 4),
    _length("height_mm", gettext_noop("height"), 2, 3),
    _length("seat_mm", gettext_noop("seat"), 2, 3),
    _small("burr_um", gettext_noop("burr height")),
    _small("wear_um", gettext_noop("wear land")),
    _small("radius_um", gettext_noop("edge radius")),
    _force("force_n", gettext_noop("force")),
    _plain_quantity(
        "stress_mpa", gettext_noop("strength"), "stress", "MPa", ("MPa", 0), ("ksi", 1), ("MPa", "N/mm2", "ksi", "psi")
    ),
    _plain_quantity(
        "pressure_mpa", gettext_noop("pressure"), "stress", "MPa", ("bar", 0), ("psi", 0), ("bar", "MPa", "psi")
    ),
    _plain_quantity("weight_kg", gettext_noop("weight"), "mass", "kg", ("kg", 1), ("lb", 0), ("kg", "lb")),
    _plain_quantity("work_j", gettext_noop("work"), "energy", "J", ("J", 1), ("ft·lbf", 1), ("J", "ft·lbf")),
    _plain_quantity(
        "rate_n_mm", gettext_noop("spring rate"), "rate", "N/mm", ("N/mm", 1), ("lbf/in", 0), ("N/mm", "lbf/in")
    ),
    _plain_quantity(
        "temperature_k", gettext_noop("temperature"), "temperature", "K", ("°C", 0), ("°F", 0), ("°C", "°F", "K")
    ),
    _plain_quantity("time_s", gettext_noop("time"), "time", "s", ("s", 0), ("s", 0), ("s", "min", "h")),
    _plain_quantity("angle_rad", gettext_noop("angle"), "angle", "rad", ("°", 2), ("°", 2), ("°", "rad")),
    _plain_quantity("share", gettext_noop("share"), "share", "%", ("%", 1), ("%", 1), ("%",)),
    *(
        _plain_quantity(
            scale.lower(), f"{scale} hardness", f"hardness {scale}", scale, (scale, 1), (scale, 1), (scale,)
        )
        for scale in ("HRC", "HRB", "HRA", "HV", "HB")
    ),
)

QUANTITIES: dict[str, Quantity] = {q.key: q for q in _QUANTITIES}

# What readings are called in words, and how each is shown. Free words are allowed: then the unit decides.
READINGS: dict[str, str] = {
    gettext_noop("burr height"): "burr_um",
    gettext_noop("wear land"): "wear_um",
    gettext_noop("edge radius"): "radius_um",
    gettext_noop("gap"): "gap_mm",
    gettext_noop("bore clearance"): "clearance_mm",
    gettext_noop("guide clearance"): "clearance_mm",
    gettext_noop("wear"): "wear_mm",
    gettext_noop("length"): "length_mm",
    gettext_noop("free length"): "length_mm",
    gettext_noop("punch entry"): "height_mm",
    gettext_noop("room when closed"): "height_mm",
    gettext_noop("diameter"): "length_mm",
    gettext_noop("height"): "height_mm",
    gettext_noop("shut height"): "height_mm",
    gettext_noop("strip force"): "force_n",
    gettext_noop("spring force"): "force_n",
    gettext_noop("cutting force"): "force_n",
    gettext_noop("gas pressure"): "pressure_mpa",
    gettext_noop("hardness"): "hrc",
    gettext_noop("temperature"): "temperature_k",
}

_BY_DIMENSION = {
    "length": "clearance_mm",
    "force": "force_n",
    "stress": "stress_mpa",
    "mass": "weight_kg",
    "energy": "work_j",
    "rate": "rate_n_mm",
    "temperature": "temperature_k",
    "time": "time_s",
    "angle": "angle_rad",
    "share": "share",
} | {f"hardness {scale}": scale.lower() for scale in ("HRC", "HRB", "HRA", "HV", "HB")}


_GENERIC = {
    "mm": "length_mm",
    "um": "burr_um",
    "n": "force_n",
    "mpa": "stress_mpa",
    "kg": "weight_kg",
    "j": "work_j",
    "hrc": "hrc",
}


@lru_cache(maxsize=256)
def column(name: str) -> Quantity:
    """The quantity of a column: "grind_allowance_mm" is shown as an allowance, "shut_height_min_mm" as a length.

    The unit is the one at the end of the name. Raises KeyError where the name ends in none.
    """
    if name in QUANTITIES:
        return QUANTITIES[name]
    words = name.split("_")
    for start in range(1, len(words)):
        if (shorter := "_".join(words[start:])) in QUANTITIES:
            return replace(QUANTITIES[shorter], key=name, name=" ".join(words[:-1]))
    if len(words) > 1 and words[-1] in _GENERIC:
        return replace(QUANTITIES[_GENERIC[words[-1]]], key=name, name=" ".join(words[:-1]))
    raise KeyError(f"{name!r} does not end in a unit.")


def quantity(name: str | Quantity, typed_unit: str | None = None) -> Quantity | None:
    """The quantity of that column name or reading; for other words the one that the unit measures; else None."""
    if isinstance(name, Quantity):
        return name
    try:
        return column(name)
    except KeyError:
        pass  # the words of a reading
    words = " ".join(name.casefold().replace("_", " ").split())
    if words in READINGS:
        known = QUANTITIES[READINGS[words]]
        if words == "hardness" and typed_unit and (unit := _find(typed_unit, None)):
            return QUANTITIES[_BY_DIMENSION[unit.dimension]] if "hardness" in unit.dimension else known
        return known
    if typed_unit is None:
        return None
    unit = _find(typed_unit, None)
    return QUANTITIES[_BY_DIMENSION[unit.dimension]] if unit else None


def reading(name: str, typed_unit: str | None = None) -> Quantity | None:
    """How what was measured is shown: lengths to the micrometre, whatever they are the length of."""
    what = quantity(name, typed_unit)
    return QUANTITIES["clearance_mm"] if what is not None and what.stored == "mm" else what


# --- typed text -------------------------------------------------------------------------------------------------------

_NUMBER = re.compile(
    r"""\s*(?P<sign>[+\-−]?)\s*
    (?:
      (?P<whole>\d+\s+)?(?P<top>\d+)\s*/\s*(?P<bottom>\d+)         # 3/8, 1 1/2
    | (?P<digits>(?:\d[\d.,]*(?:[ \xa0\u2009\u202f']\d{3}(?!\d)[.,\d]*)*|[.,]\d+)) (?P<exp>[eE][+\-]?\d{1,3})?
    )""",
    re.VERBOSE,
)


def _decimal(digits: str, typed: str) -> Fraction:
    """Digits with separators as a number. The decimal point is a point; a comma is taken where it can only be one."""
    if re.search(r"[ \xa0\u2009\u202f']", digits):
        if not re.fullmatch(r"\d{1,3}([ \xa0\u2009\u202f']\d{3})+([.,]\d*)?", digits):
            raise NotANumber(_("{text!r} is not a number.").format(text=typed))
        digits = re.sub(r"[ \xa0\u2009\u202f']", "", digits).replace(",", ".")
    points, commas = digits.count("."), digits.count(",")
    if points and commas:
        group, mark = (",", ".") if digits.rindex(".") > digits.rindex(",") else (".", ",")
        if not re.fullmatch(rf"\d{{1,3}}(\{group}\d{{3}})+\{mark}\d*", digits):
            raise NotANumber(_("{text!r} is not a number.").format(text=typed))
        digits = digits.replace(group, "").replace(mark, ".")
    elif commas > 1 or points > 1:
        if not re.fullmatch(r"\d{1,3}([.,])\d{3}(\1\d{3})+", digits):
            raise NotANumber(_("{text!r} is not a number.").format(text=typed))
        digits = digits.replace(",", "").replace(".", "")
    elif commas:
        if re.fullmatch(r"[1-9]\d{0,2},\d{3}", digits):
            plain = digits.replace(",", "")
            told = _("{text!r} can be read two ways; write {plain} or {decimal}.")
            raise AmbiguousNumber(told.format(text=digits, plain=plain, decimal=digits.replace(",", ".")))
        digits = digits.replace(",", ".")
    return Fraction(digits)


def _split(text: str) -> tuple[Fraction, str, str]:
    """The number, the number as typed, the unit as typed."""
    if not isinstance(text, str):
        raise NotANumber(_("{text!r} is not typed text.").format(text=text))
    if len(text) > LONGEST_TYPED:
        told = _("That is {length:,} characters long; a value with its unit has at most {most}.")
        raise NotANumber(told.format(length=len(text), most=LONGEST_TYPED))
    parts = _NUMBER.match(text)
    if parts is None:
        raise NotANumber(_("{text!r} does not begin with a number.").format(text=text.strip()))
    if parts["bottom"] is not None:
        if int(parts["bottom"]) == 0:
            raise NotANumber(_("{text!r} divides by nought.").format(text=text.strip()))
        value = Fraction(int(parts["top"]), int(parts["bottom"]))
        if parts["whole"] and value >= 1:
            raise NotANumber(_("{text!r} is not one number.").format(text=text.strip()))
        value += int(parts["whole"] or 0)
    else:
        value = _decimal(parts["digits"], text.strip())
        if parts["exp"]:
            value *= Fraction(10) ** int(parts["exp"][1:])
    rest = text[parts.end() :].strip()
    if rest[:1].isdigit() or rest[:1] in {".", ",", "/"}:
        raise NotANumber(_("{text!r} is not one number.").format(text=text.strip()))
    return (-value if parts["sign"] in {"-", "−"} else value), parts[0].strip(), rest


def number(text: str) -> float:
    """A typed number without unit, decimal point or comma: "0,06", "1 250.5", "3/8".

    Raises NotANumber (NaN and infinity included) or AmbiguousNumber ("1,250").
    """
    value, typed, rest = _split(text)
    if rest:
        raise NotANumber(unit_words.not_alone(text, rest))
    return _float(value, typed)


@dataclass(frozen=True, kw_only=True)
class Typed:
    """What somebody typed, understood.

    value: in the unit that the quantity's column holds. value_si: in SI, as readings hold it. unit: as understood;
    assumed: nobody typed one. typed_value, typed_unit: as typed, kept beside the record.
    """

    value: float
    value_si: float
    unit: str
    typed_value: str
    typed_unit: str
    assumed: bool = False


def parse(text: str, name: str | Quantity, system: System | str | None = None) -> Typed:
    """Typed text as a value of a quantity: "0.0024 in", "60 um", "2.4 thou", "0,06 mm", "3/8 in".

    name: a column name ("gap_mm") or what a reading measures ("burr height"; other words need a unit that is known).
    A bare number is taken in the system's unit for the quantity; without a system it is refused.

    Raises NotANumber, AmbiguousNumber, UnknownUnit, AmbiguousUnit.
    """
    value, typed_value, typed_unit = _split(text)
    return _typed(value, typed_value, typed_unit, name, system)


def parse_pair(value: str | float, typed_unit: str, name: str | Quantity) -> Typed:
    """As `parse`, for a value and a unit from two cells of a table."""
    if isinstance(value, str):
        fraction, typed_value, rest = _split(value)
        if rest:
            raise NotANumber(unit_words.not_alone(value, rest))
    else:
        fraction, typed_value = _finite(value), str(value)
    if len(typed_unit) > LONGEST_TYPED:
        raise UnknownUnit(_("A unit of {length:,} characters is none.").format(length=len(typed_unit)))
    return _typed(fraction, typed_value, typed_unit.strip(), name, None)


def _typed(
    value: Fraction, typed_value: str, typed_unit: str, name: str | Quantity, system: System | str | None
) -> Typed:
    what = quantity(name, typed_unit or None)
    if what is None:
        symbols = ("mm", "µm", "in", "thou", "N", "lbf", "MPa", "ksi", "kg", "°C", "HRC", "%")
        if typed_unit:
            told = _("{text!r} is not a unit known here; write for instance {units}.")
        else:
            told = _("The {what} needs a unit; write for instance {units}.")
        said = told.format(text=typed_unit[:20], what=_(str(name)[:60]), units=unit_words.listed(symbols))
        raise UnknownUnit(said, symbols)
    assumed = not typed_unit
    if assumed:
        if system is None:
            told = _("The {what} needs a unit; write {units}.")
            raise UnknownUnit(told.format(what=_(what.name), units=unit_words.listed(what.accepts)), what.accepts)
        typed_unit = what.unit(system)
    try:
        unit = _find(typed_unit, what.dimension)
    except AmbiguousUnit as error:
        raise AmbiguousUnit(str(error), what.accepts) from None
    if unit is None or unit.dimension != what.dimension:
        told = _("{text!r} is not a unit for the {what}; write {units}.")
        told = told.format(text=typed_unit[:20], what=_(what.name), units=unit_words.listed(what.accepts))
        raise UnknownUnit(told, what.accepts)
    si = value * unit.factor + unit.offset
    stored = UNITS[what.stored]
    return Typed(
        value=_float((si - stored.offset) / stored.factor, typed_value),
        value_si=_float(si, typed_value),
        unit=unit.symbol,
        typed_value=typed_value,
        typed_unit=typed_unit,
        assumed=assumed,
    )


# --- shown ------------------------------------------------------------------------------------------------------------


def show(
    value: float | None,
    name: str | Quantity,
    system: System | str = System.METRIC,
    *,
    with_unit: bool = True,
    unknown: str | None = None,
) -> str:
    """A stored value (in the unit that the column's name says) as the user's system shows it: "0.060 mm", "2.4 thou".

    Digits as the trade writes them for that quantity, and at least two that count, so that a small value is never shown
    as nought. `name` is the column's own, for instance "gap_mm" or "grind_allowance_mm".

    Raises NotANumber for NaN and infinity, KeyError for a column without a unit in its name.
    """
    if value is None:
        return _("not known") if unknown is None else unknown
    what = name if isinstance(name, Quantity) else column(name)
    return _shown(_finite(value, what.name), UNITS[what.stored], what, system, with_unit)


def show_si(
    value_si: float | None,
    name: str | Quantity,
    system: System | str = System.METRIC,
    *,
    typed_unit: str | None = None,
    with_unit: bool = True,
    unknown: str | None = None,
) -> str:
    """A value in SI, as readings hold it. `name` may be a reading's own words; then its unit says what it measures."""
    if value_si is None:
        return _("not known") if unknown is None else unknown
    what = quantity(name, typed_unit)
    if what is None:
        raise UnknownUnit(f"Nothing says in which unit to show {name!r}.")
    si = Unit(symbol="SI", dimension=what.dimension, factor=Fraction(1))
    return _shown(_finite(value_si, what.name), si, what, system, with_unit)


def shown_value(value: float, name: str | Quantity, system: System | str) -> float:
    """The bare number in the unit that stands beside the field: what a form starts with. Not rounded."""
    what = name if isinstance(name, Quantity) else column(name)
    return convert(value, what.stored, what.unit(system))


def label(name: str | Quantity, system: System | str) -> str:
    """Name and unit for the head of a column or a field: "gap, mm". Columns have one unit, so the smallest form."""
    what = name if isinstance(name, Quantity) else column(name)
    return f"{_(what.name)}, {what.unit(system)}"


def _shown(value: Fraction, stored: Unit, what: Quantity, system: System | str, with_unit: bool) -> str:
    si = value * stored.factor + stored.offset
    forms = what.forms(system)
    # Decided on the rounded smallest form: 999.7 N is shown as 1.0 kN, not as 1,000 N, which would come back as 1.0 kN.
    small = round((si - UNITS[forms[-1].unit].offset) / UNITS[forms[-1].unit].factor, forms[-1].decimals)
    for form in forms if with_unit else forms[-1:]:
        u = UNITS[form.unit]
        number_ = (si - u.offset) / u.factor
        if form is forms[-1] or abs(small) * UNITS[forms[-1].unit].factor >= Fraction(form.from_value) * u.factor:
            break
    decimals = form.decimals
    if number_ and what.dimension != "temperature":
        power = int(f"{abs(float(number_)):.1e}".partition("e")[2])  # of the number as two digits show it
        decimals = max(decimals, min(9, 1 - power))
    text = f"{float(number_):,.{decimals}f}"
    if not text.strip("-0.,"):
        text = text.lstrip("-")
    return f"{text} {form.unit}" if with_unit else text


def show_span(low: float, high: float, name: str, system: System | str = System.METRIC, *, digits: int) -> str:
    """From low to high to so many digits that count, the unit said once where both have the same: "3.8 to 25 kN".

    For figures that are worked out by rules: no more digits than they have. Two that read alike are said once.
    """
    what = column(name)
    shown = [_rounded(value, what, system, digits) for value in (low, high)]
    if shown[0] == shown[1]:
        return shown[0]
    (first, unit_low), (last, unit_high) = (text.split(" ", 1) for text in shown)
    if unit_low != unit_high:
        first = f"{first} {unit_low}"
    return _("{first} to {last}").format(first=first, last=f"{last} {unit_high}")


def _rounded(value: float, what: Quantity, system: System | str, digits: int) -> str:
    si = _finite(value, what.name) * UNITS[what.stored].factor + UNITS[what.stored].offset
    forms = what.forms(system)
    for form in forms:
        if form is forms[-1] or abs(si) >= Fraction(form.from_value) * UNITS[form.unit].factor:
            break
    number_ = float((si - UNITS[form.unit].offset) / UNITS[form.unit].factor)
    power = int(f"{abs(number_):.{digits - 1}e}".partition("e")[2]) if number_ else 0
    decimals = digits - 1 - power
    return f"{round(number_, decimals):,.{max(decimals, 0)}f} {form.unit}"
