"""PURE. How places of a die are called, which kinds belong together, and what is asked about a kind.

All of it is common practice, no source: letters by station (1-A, 1-B), the die side of a cut with a D behind its
punch's name, guides and springs counted through. A shop that calls them otherwise types its own.
"""

from __future__ import annotations

import re
from collections.abc import Collection
from string import ascii_uppercase

from .kinds import KINDS, Kind

# What usually sits opposite: the die side of a punch, the bushing of a post.
PARTNER: dict[str, str] = {
    "pierce_punch": "die_button",
    "pilot_pierce_punch": "die_button",
    "semi_pierce_punch": "die_button",
    "shape_punch": "die_section",
    "notch_punch": "die_section",
    "trim_punch": "die_section",
    "cut_off_punch": "die_section",
    "forming_punch": "forming_block",
    "guide_post": "bushing",
}

# Letters that stand for a kind, so that they are no cut's.
_LETTER = {"pilot": "P", "lifter": "L", "oil_breaker": "O", "knockout": "K"}
_OF_THE_SET = {
    "guide_post": "GP",
    "bushing": "GB",
    "roller_cage": "RC",
    "stripper_spring": "SS",
    "gas_spring": "GS",
    "stripper_plate": "SP",
    "punch_holder": "PH",
    "backing_plate": "BP",
    "stock_guide": "SG",
    "stop_block": "SB",
}
_ALONE = {"SP", "PH", "BP"}  # one a die as a rule: no number behind the first
LETTERS = [letter for letter in ascii_uppercase if letter not in _LETTER.values()]

# What is asked of a kind beside its name: of a punch all, of a spring nearly nothing.
OF_A_CUT = ("cut_length", "gap")
OF_STEEL = ("tool_steel", "hardness", "coating", "length", "allowance", "height_group", "seat")

# Operations offered for a station, in the order in which a strip meets them.
OPERATIONS = ("pierce", "pilot", "notch", "slot", "trim", "bend", "form", "idle", "cut off")


def asked(kind: Kind) -> tuple[str, ...]:
    """The fields that a kind needs. A pilot has a length and a steel, no allowance; a spring neither."""
    if kind.cuts:
        return (*OF_A_CUT, *OF_STEEL)
    if kind.is_ground:
        return OF_STEEL
    if kind.key == "pilot":
        return ("tool_steel", "hardness", "coating", "length", "seat")
    if kind.key in ("guide_post", "bushing", "knockout", "lifter"):
        return ("tool_steel", "hardness", "coating", "length")
    return ()


def in_a_station(kind: str) -> bool:
    """Whether it belongs to a station and not to the die set as a whole."""
    return kind not in _OF_THE_SET


def partner_code(code: str) -> str:
    """The die side of a punch: 1-A has 1-AD; of a post GP-1 its bushing GB-1."""
    if code.startswith("GP-"):
        return f"GB-{code[3:]}"
    return f"{code}D"


def next_code(kind: str, station: str, taken: Collection[str]) -> str:
    """A name that is free: the next letter in its station, the next number in the die set.

    taken: the names that the die has already. Case does not tell two names apart.
    """
    used = {code.casefold() for code in taken}
    if kind in _OF_THE_SET:
        stem = _OF_THE_SET[kind]
        return _first_free(([stem] if stem in _ALONE else []) + [f"{stem}-{n}" for n in range(1, len(used) + 3)], used)
    station = station or "0"
    if letter := _LETTER.get(kind):
        return _first_free([f"{station}-{letter}", *(f"{station}-{letter}{n}" for n in range(2, len(used) + 4))], used)
    behind = "D" if KINDS[kind].side == "lower" else ""
    rounds = len(used) // len(LETTERS) + 2
    codes = [f"{station}-{letter}{n if n > 1 else ''}{behind}" for n in range(1, rounds + 1) for letter in LETTERS]
    return next(code for code in codes if code.casefold() not in used and f"{code}D".casefold() not in used)


def next_station(codes: Collection[str]) -> str:
    """The next number of a station."""
    numbers = [int(found[0]) for code in codes if (found := re.match(r"[0-9]{1,6}", code))]
    used = {code.casefold() for code in codes}
    number = max(numbers, default=0) + 1
    while str(number).casefold() in used:
        number += 1
    return str(number)


def _first_free(codes: list[str], used: set[str]) -> str:
    return next(code for code in codes if code.casefold() not in used)
