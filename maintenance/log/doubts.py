"""PURE. What can be true of an entry and looks as if it were not: one set of sentences for all ways in.

A form asks again, a folder lists what it doubts and takes it. Where no doubt is, the sentence is empty.
"""

from __future__ import annotations

import datetime as dt
import difflib
import math

from diestore.handbook import tool_steels
from diestore.texts import gettext as _
from diestore.texts import ngettext

MUCH_OFF_MM = 1.5  # more than this at one sharpening is likelier a slip of the unit; common practice, no source
THINNEST_MM, THICKEST_MM = 0.08, 12.0  # strip that progressive dies run; common practice, no source
LEAST_GAP_PCT, MOST_GAP_PCT = 0.5, 40.0  # per side, of the thickness; common practice, no source
LONG_STOP_MINUTES = 24 * 60
USUAL_OFF_MM = 0.1  # where a die has no grind on record yet; common practice, no source
SLIP = 6.0  # so many times the usual amount, or so small a part of it, is looked at for a slip; no source
SLIPS = (1e-1, 1e-2, 1e-3, 1e1, 1e2, 1e3)  # a point left out or set wrongly
UNIT_SLIPS = (25.4, 1 / 25.4)  # mm typed for inches, or inches for mm


def said_length(length: dt.timedelta) -> str:
    minutes = round(length.total_seconds() / 60)
    days, rest = divmod(minutes, 24 * 60)
    hours, minutes = divmod(rest, 60)
    parts = [(days, ngettext("day", "days", days)), (hours, "h"), (minutes, "min")]
    return " ".join(f"{n} {unit}" for n, unit in parts if n) or "0 min"


def of_hits(hits: int, length: dt.timedelta, strokes_per_minute: float, *, least: bool = True) -> str:
    """Hits against what the die makes in that time: more than double, or (where `least`) less than half of it."""
    expected = round(strokes_per_minute * length.total_seconds() / 60)
    if expected < 1 or (hits <= expected * 2 and (hits >= expected / 2 or not least)):
        return ""
    if hits > expected:
        words = _(
            "In {length} this die makes about {expected:,} hits at {rate:g} strokes a minute; "
            "{hits:,} is more than double. Check the times and the hits."
        )
    else:
        words = _(
            "In {length} this die makes about {expected:,} hits at {rate:g} strokes a minute; "
            "{hits:,} is less than half of it. Check the times and the hits."
        )
    return words.format(length=said_length(length), expected=expected, rate=strokes_per_minute, hits=hits)


def of_removed(shown: str, removed_mm: float) -> str:
    """shown: the amount as the reader's units have it."""
    return (
        _("{shown} is very much for one sharpening. Check the number.").format(shown=shown)
        if removed_mm > MUCH_OFF_MM
        else ""
    )


def meant_mm(removed_mm: float, usual_mm: float | None) -> float | None:
    """What was probably meant where an amount is far from the usual one and a slip of the point, or of the unit, takes
    it there: 10 typed for 0.10. None where it looks right, or no slip explains it."""
    usual = usual_mm or USUAL_OFF_MM
    if removed_mm <= 0 or usual / SLIP < removed_mm < usual * SLIP:
        return None
    near = [(removed_mm * slip, 2.0) for slip in SLIPS] + [(removed_mm * slip, 1.4) for slip in UNIT_SLIPS]
    likely = [mm for mm, factor in near if usual / factor <= mm <= usual * factor]
    return min(likely, key=lambda mm: abs(math.log(mm / usual)), default=None)


def of_slip(typed: str, meant: str, usual: str) -> str:
    """typed, meant, usual: amounts as the reader's units have them."""
    return _("{typed} came off? About {usual} is usual here. Did you mean {meant}?").format(
        typed=typed, usual=usual, meant=meant
    )


def of_step(place: str, by: str, *, lower: bool) -> str:
    """place: what stands out of its height group by more than a sharpening may leave; by: how much, as shown."""
    if lower:
        return _(
            "{place} then stands {by} lower than the pieces beside it. Set a spacer under it and log "
            "that, or grind the others down to it."
        ).format(place=place, by=by)
    return _("{place} then stands {by} higher than the pieces beside it. Grind it too, or check the amounts.").format(
        place=place, by=by
    )


def of_length(place: str, after: str, expected: str) -> str:
    """after: the length that was typed, expected: what the records and the amount make of it; both as shown."""
    return _(
        "{place} measures {after} now; by the records it would be {expected}. Check the length and the amount."
    ).format(place=place, after=after, expected=expected)


def of_allowance(removed_mm: float, allowance_mm: float | None) -> str:
    """allowance_mm: of the piece when new, None where nobody said."""
    if allowance_mm is None or removed_mm <= allowance_mm + 1e-9:
        return ""
    return _("{mm:g} mm off is more than the whole grind allowance of the piece, {allowance:g} mm.").format(
        mm=removed_mm, allowance=allowance_mm
    )


def of_stop(minutes: float) -> str:
    if minutes <= LONG_STOP_MINUTES:
        return ""
    return _("{minutes:,.0f} minutes is {length}.").format(
        minutes=minutes, length=said_length(dt.timedelta(minutes=minutes))
    )


def of_thickness(thickness_mm: float) -> str:
    if THINNEST_MM <= thickness_mm <= THICKEST_MM:
        return ""
    if thickness_mm > THICKEST_MM:
        return _("{mm:g} mm is very thick for strip.").format(mm=thickness_mm)
    words = _("{mm:g} mm is very thin for strip. If it is {mm:g} in, write {meant:.4g}.")
    return words.format(mm=thickness_mm, meant=thickness_mm * 25.4)


def of_gap_pct(percent: float) -> str:
    """percent: of the thickness, per side."""
    if percent == 0 or LEAST_GAP_PCT <= percent <= MOST_GAP_PCT:
        return ""
    if percent < LEAST_GAP_PCT:
        return _(
            "A gap of {percent:g} % of the thickness is hardly one. If it is {percent:g} mm, or "
            "{meant:g} %, write it in %."
        ).format(percent=percent, meant=100 * percent)
    return _("A gap of {percent:g} % of the thickness is very wide.").format(percent=percent)


def of_steel(name: str) -> str:
    grade = tool_steels.grade(name)
    if grade is None or grade.known:
        return ""
    near = difflib.get_close_matches(name.upper(), list(tool_steels.GRADES), n=2, cutoff=0.5)
    words = _("The handbook holds no steel {name!r}, so it tells nothing of the life.")
    if near:
        words += " " + _("Is it {near}?").format(near=_(" or ").join(near))
    return words.format(name=name[:40])


def of_first_record(at: str, first: str) -> str:
    """at: when it was ground, first: when the records of the die begin, both as shown."""
    return _(
        "It was ground on {at}, before the records of this die begin ({first}): hits before that count for no edge."
    ).format(at=at, first=first)
