"""PURE. The forms in which people write one figure or one day into a cell, and what each could mean.

A form is looked at twice: first without deciding (`marks`, `day_marks`: what a text shows of the decimal sign or of the
order of day and month), then read with what was decided over the whole column. Forms are common practice, no source.
"""

from __future__ import annotations

import datetime as dt
import re
import unicodedata
from dataclasses import dataclass
from functools import lru_cache

POINT, COMMA = ".", ","
NOTHING = frozenset(
    {
        "",
        "-",
        "--",
        "---",
        "–",
        "—",
        "/",
        "?",
        "??",
        "n/a",
        "na",
        "n.a.",
        "k.a.",
        "k. a.",
        "none",
        "null",
        "nan",
        "x",
        "unbekannt",
        "unknown",
        "inconnu",
        "ignoto",
        "tbd",
        "#n/a",
        "#n/v",
        "nv",
        "n.v.",
    }
)
LONGEST = 80


class Unreadable(ValueError):
    """A cell that cannot be read as what its column holds; the message says what stands there and what to write."""


def folded(text: str) -> str:
    """Small letters without accents; everything else but figures and % is one space."""
    text = (
        text.replace("ß", "ss")
        .replace("ł", "l")
        .replace("Ł", "l")
        .replace("ø", "o")
        .replace("µ", "u")
        .replace("μ", "u")
    )
    plain = unicodedata.normalize("NFKD", text).encode("ascii", "ignore").decode().casefold()
    return " ".join(re.sub(r"[^a-z0-9%]+", " ", plain).split())


def quoted(value: object) -> str:
    text = str(value)
    return repr(text if len(text) <= 40 else text[:40] + "...")


def is_nothing(value: object) -> bool:
    return value is None or (isinstance(value, str) and value.strip().casefold() in NOTHING)


# --- numbers ------------------------------------------------------------------------------------------------------

_SPACE = " \u00a0\u2007\u2009\u202f'’"
_DIGITS = rf"(?:[0-9]{{1,3}}(?:[{_SPACE}][0-9]{{3}})+(?:[.,][0-9]+)?|[0-9][0-9.,]*|[.,][0-9]+)"
_ABOUT = r"(?:~|≈|≅|ca\.?|circa|approx\.?|about|etwa|ungef\.?|env\.?|environ|aprox\.?|ok\.?)"
_BEFORE = r"(?:hrc|hrb|hv|hb|ø|Ø|⌀|d=|l=|l:|eur|usd|chf|pln|gbp|€|\$|£|zł|r)"
_FIGURE = re.compile(
    rf"""^\s*(?P<about>{_ABOUT})?\s*(?P<before>{_BEFORE})?\s*(?P<sign>[+\-−])?\s*
    (?:(?P<whole>[0-9]+[\s-]+)?(?P<top>[0-9]+)\s*/\s*(?P<bottom>[0-9]+)|(?P<digits>{_DIGITS})(?P<exp>[eE][+-]?[0-9]{{1,2}})?)
    (?:\s*(?:\.\.+|…|-|–|—|\bto\b|\bbis\b|\bà\b|\ba\b|\bdo\b)\s*(?P<high>{_DIGITS}))?
    (?:\s*(?:±|\+/-|\+-|\+\ ?/\ ?-)\s*(?P<spread>{_DIGITS}))?
    \s*(?P<rest>[^0-9]{{0,24}}(?:[23²³]|/in2|/mm2)?)\s*$""",
    re.VERBOSE | re.IGNORECASE,
)
_THOUSAND = {"k", "tsd", "tsd.", "t", "tys", "tys.", "mil", "thousand"}
_MILLION = {"m", "mio", "mio.", "million", "millionen", "mln", "mln."}


@dataclass(frozen=True)
class Figure:
    """value: as written, the middle of a range; of "60-62" low 60, high 62. unit: as written, '' where none stands."""

    value: float
    unit: str = ""
    low: float | None = None
    high: float | None = None
    about: bool = False


@dataclass(frozen=True)
class Marks:
    """What a text shows of its decimal sign. sign: '.' or ',' where it shows one; open: it could be either."""

    sign: str = ""
    open: bool = False


@lru_cache(maxsize=65536)
def marks(text: str) -> Marks | None:
    """What a figure's text shows of the decimal sign; None where it is no figure."""
    found = _FIGURE.match(text) if len(text) <= LONGEST else None
    if found is None:
        return None
    shown = [_marks_of(found[name]) for name in ("digits", "high", "spread") if found[name]]
    signs = {m.sign for m in shown if m.sign}
    if len(signs) == 1:
        return Marks(sign=signs.pop())
    return Marks(open=any(m.open for m in shown))


def _marks_of(digits: str) -> Marks:
    digits = re.sub(rf"[{_SPACE}]", "", digits)
    points, commas = digits.count("."), digits.count(",")
    if points and commas:
        return Marks(sign=POINT if digits.rindex(".") > digits.rindex(",") else COMMA)
    if not points and not commas:
        return Marks()
    mark, other, n = (".", ",", points) if points else (",", ".", commas)
    if n > 1:
        return Marks(sign=other)  # 1.234.567: the other one would part the decimals
    before, after = digits.split(mark)
    if len(after) == 3 and 1 <= len(before) <= 3 and before.lstrip("0"):
        return Marks(open=True)
    return Marks(sign=mark)


def _plain(digits: str, sign: str) -> float:
    """Digits as a number, where a text that shows its own sign is read by that, any other by the column's."""
    bare = re.sub(rf"[{_SPACE}]", "", digits)
    own = _marks_of(bare)
    sign = own.sign or sign or POINT
    group = COMMA if sign == POINT else POINT
    whole, _, decimals = bare.partition(sign) if sign in bare else (bare, "", "")
    if group in decimals or not re.fullmatch(rf"[0-9]{{1,3}}(\{group}[0-9]{{3}})+|[0-9]*", whole) or sign in decimals:
        raise Unreadable(f"{quoted(digits)} is not a number.")
    return float(f"{whole.replace(group, '') or '0'}.{decimals or '0'}")


@lru_cache(maxsize=65536)
def figure(text: str, sign: str) -> Figure:
    """A text as a figure: "2,5", "1.234" by the sign, "HRC 60", "60-62", "6 %", "0.060 in", '1/16"', "~40k".

    Raises Unreadable.
    """
    found = _FIGURE.match(text) if len(text) <= LONGEST else None
    if found is None:
        raise Unreadable(f"{quoted(text)} is not a number.")
    if found["bottom"]:
        if int(found["bottom"]) == 0:
            raise Unreadable(f"{quoted(text)} divides by nought.")
        value = int(found["whole"].strip(" -") if found["whole"] else 0) + int(found["top"]) / int(found["bottom"])
    else:
        value = _plain(found["digits"], sign)
        if found["exp"]:
            value *= 10.0 ** int(found["exp"][1:])
    low = high = None
    if found["high"]:
        low, high = value, _plain(found["high"], sign)
        if high < low:
            raise Unreadable(f"{quoted(text)} is not one number. Write one, or a range from low to high.")
    elif found["spread"]:
        spread = _plain(found["spread"], sign)
        low, high = value - spread, value + spread
    unit = _unit(found, text)
    times = 1_000 if folded(unit) in _THOUSAND else 1_000_000 if folded(unit) in _MILLION else 1
    if low is not None and high is not None:
        value = (low + high) / 2
    if times > 1:
        value, unit = value * times, ""
        low, high = (None if low is None else low * times), (None if high is None else high * times)
    if found["sign"] in ("-", "−"):
        value = -value
    return Figure(value=value, unit=unit, low=low, high=high, about=bool(found["about"]))


_UNITS_BEFORE = ("hrc", "hrb", "hv", "hb", "eur", "usd", "chf", "pln", "gbp", "€", "£")


def _unit(found: re.Match, text: str) -> str:
    """The unit written behind a figure, or the scale of hardness or the currency before it."""
    unit, before = (found["rest"] or "").strip(), (found["before"] or "").strip()
    if unit in ("-", "–", "—") and (found["digits"] or "").endswith(","):
        return ""  # a price such as 12,-
    if unit and not any(c.isalpha() or c in "%\"'″”€$£°²³" for c in unit):
        raise Unreadable(f"{quoted(text)} is not one number.")
    return before.upper() if not unit and before.casefold() in _UNITS_BEFORE else unit


# --- days ---------------------------------------------------------------------------------------------------------

DAY_FIRST, MONTH_FIRST = "day first", "month first"
_MONTHS = {
    "jan": 1,
    "ene": 1,
    "gen": 1,
    "sty": 1,
    "feb": 2,
    "fev": 2,
    "lut": 2,
    "mar": 3,
    "maer": 3,
    "mrz": 3,
    "apr": 4,
    "avr": 4,
    "abr": 4,
    "kwi": 4,
    "mai": 5,
    "may": 5,
    "mag": 5,
    "maj": 5,
    "jun": 6,
    "juin": 6,
    "giu": 6,
    "cze": 6,
    "jul": 7,
    "juil": 7,
    "lug": 7,
    "lip": 7,
    "aug": 8,
    "aou": 8,
    "ago": 8,
    "sie": 8,
    "sep": 9,
    "set": 9,
    "wrz": 9,
    "oct": 10,
    "okt": 10,
    "ott": 10,
    "paz": 10,
    "nov": 11,
    "lis": 11,
    "dec": 12,
    "dez": 12,
    "dic": 12,
    "gru": 12,
}
_TIME = (
    r"(?:[T,]?\s*(?P<hour>[0-9]{1,2})[:.h](?P<minute>[0-9]{2})(?::(?P<second>[0-9]{2})(?:[.,][0-9]+)?)?"
    r"\s*(?P<half>[ap]m)?(?:\s*uhr)?)?"
)
_ISO = re.compile(rf"^\s*(?P<y>[0-9]{{4}})[-/.](?P<m>[0-9]{{1,2}})[-/.](?P<d>[0-9]{{1,2}})\s*{_TIME}\s*$", re.I)
_NUMBERS = re.compile(
    rf"^\s*(?:[A-Za-zżźśćńółęą]{{2,3}}\.?,?\s+)?(?P<a>[0-9]{{1,2}})(?P<sep>[./-])\s*(?P<b>[0-9]{{1,2}})"
    rf"(?:(?P=sep)\s*(?P<y>[0-9]{{4}}|[0-9]{{2}})?)?\s*{_TIME}\s*$",
    re.I,
)
_DAY_WORD = re.compile(
    rf"^\s*(?P<d>[0-9]{{1,2}})\.?[\s-]*(?:de\s+)?(?P<m>[^\W\d_]{{3,12}})\.?[\s-]*(?:de\s+)?(?P<y>[0-9]{{4}}|[0-9]{{2}})?\s*{_TIME}\s*$",
    re.I,
)
_WORD_DAY = re.compile(
    rf"^\s*(?P<m>[^\W\d_]{{3,12}})\.?\s*(?P<d>[0-9]{{1,2}}),?\s*(?P<y>[0-9]{{4}})?\s*{_TIME}\s*$", re.I
)
_CLOCK = re.compile(
    r"^\s*(?P<hour>[0-9]{1,2})[:.h](?P<minute>[0-9]{2})(?::[0-9]{2})?\s*(?P<half>[ap]m)?(?:\s*uhr)?\s*$", re.I
)
_DIGITS_ONLY = re.compile(r"^\s*(?:19|20)[0-9]{2}(?:0[1-9]|1[0-2])(?:0[1-9]|[12][0-9]|3[01])\s*$")
EPOCH = dt.datetime(1899, 12, 30)
SERIALS = range(20_000, 80_000)  # 1954 to 2119


@dataclass(frozen=True)
class Day:
    """moment: as on the shop's clock. timed: a time of day stood there."""

    moment: dt.datetime
    timed: bool = False


@dataclass(frozen=True)
class DayMarks:
    """What a text shows of the order of day and month. sep: what parts them. short_year, no_year: of its year."""

    order: str = ""
    open: bool = False
    sep: str = ""
    short_year: bool = False
    no_year: bool = False


@lru_cache(maxsize=65536)
def day_marks(text: str) -> DayMarks | None:
    """What a day's text shows; None where it is no day."""
    if len(text) > LONGEST:
        return None
    if _ISO.match(text) or _DIGITS_ONLY.match(text):
        return DayMarks()
    if found := _NUMBERS.match(text):
        a, b, year = int(found["a"]), int(found["b"]), found["y"]
        if not ((1 <= a <= 31 and 1 <= b <= 12) or (1 <= b <= 31 and 1 <= a <= 12)):
            return None
        if year is None and not (found["sep"] == "." and re.match(r"^\s*[0-9]{1,2}\.\s*[0-9]{1,2}\.", text)):
            return None  # 3.4 is a number, 3.4. a day
        order = DAY_FIRST if a > 12 else MONTH_FIRST if b > 12 else ""
        return DayMarks(
            order=order,
            open=not order and a != b,
            sep=found["sep"],
            short_year=year is not None and len(year) == 2,
            no_year=year is None,
        )
    for form in (_DAY_WORD, _WORD_DAY):
        if (found := form.match(text)) and _month(found["m"]):
            return DayMarks(short_year=found["y"] is not None and len(found["y"]) == 2, no_year=found["y"] is None)
    return None


def _month(word: str) -> int | None:
    word = folded(word.replace("ä", "ae"))
    return _MONTHS.get(word[:4]) or _MONTHS.get(word[:3])


def day(value: object, *, order: str = DAY_FIRST, year: int | None = None, short_before: int = 70) -> Day:
    """A cell as a day. order: which of two numbers is the day. year: of days written without one. Two figures of a year
    are of this century below `short_before`. Raises Unreadable."""
    if isinstance(value, dt.datetime):
        return Day(value.replace(tzinfo=None), timed=(value.hour, value.minute) != (0, 0))
    if isinstance(value, dt.date):
        return Day(dt.datetime(value.year, value.month, value.day))
    if isinstance(value, (int, float)) and not isinstance(value, bool):
        if int(value) in SERIALS:
            moment = EPOCH + dt.timedelta(seconds=round(float(value) * 86_400))
            return Day(moment, timed=float(value) != int(value))
        if isinstance(value, int) and _DIGITS_ONLY.match(str(value)):
            return _day_of(str(value), order, year, short_before)
        raise Unreadable(f"{quoted(value)} is not a date. Write it like 2026-03-31.")
    return _day_of(str(value), order, year, short_before)


@lru_cache(maxsize=65536)
def _day_of(text: str, order: str, year: int | None, short_before: int) -> Day:
    found = _ISO.match(text)
    bad = Unreadable(f"{quoted(text)} is not a date. Write it like 2026-03-31.")
    try:
        if found:
            y, m, d = int(found["y"]), int(found["m"]), int(found["d"])
        elif _DIGITS_ONLY.match(text):
            plain = text.strip()
            return Day(dt.datetime(int(plain[:4]), int(plain[4:6]), int(plain[6:])))
        elif day_marks(text) is not None and (found := _NUMBERS.match(text)):
            a, b = int(found["a"]), int(found["b"])
            own = day_marks(text).order or order  # type: ignore[union-attr]
            d, m = (a, b) if own == DAY_FIRST else (b, a)
            y = _year(found["y"], year, short_before, text)
        elif day_marks(text) is not None and (found := _DAY_WORD.match(text) or _WORD_DAY.match(text)):
            d, m = int(found["d"]), _month(found["m"]) or 0
            y = _year(found["y"], year, short_before, text)
        else:
            raise bad
        hour = _hour(found)
        moment = dt.datetime(y, m, d, hour or 0, int(found["minute"] or 0), int(found["second"] or 0))
    except ValueError as error:
        raise error if isinstance(error, Unreadable) else bad from None
    return Day(moment, timed=hour is not None)


def _hour(found: re.Match) -> int | None:
    if found["hour"] is None:
        return None
    hour = int(found["hour"])
    if found["half"]:
        hour = hour % 12 + (12 if found["half"].casefold() == "pm" else 0)
    return hour


def _year(text: str | None, year: int | None, short_before: int, whole: str) -> int:
    if text is None:
        if year is None:
            raise Unreadable(f"{quoted(whole)} has no year. Say of which year these days are.")
        return year
    return int(text) if len(text) == 4 else int(text) + (2000 if int(text) < short_before else 1900)


def clock(value: object) -> dt.time:
    """A cell as a time of day. Raises Unreadable."""
    if isinstance(value, dt.datetime):
        return value.time()
    if isinstance(value, dt.time):
        return value
    if isinstance(value, float) and 0 <= value < 1:
        return (dt.datetime(2000, 1, 1) + dt.timedelta(seconds=round(value * 86_400))).time()
    found = _CLOCK.match(str(value))
    try:
        if found:
            return dt.time(_hour(found) or 0, int(found["minute"]))
    except ValueError:
        pass
    raise Unreadable(f"{quoted(value)} is not a time of day. Write it like 14:05.")
