"""PURE. What can be true of an entry and looks as if it were not: one set of sentences for all ways in.

A form asks again, a folder lists what it doubts and takes it. Where no doubt is, the sentence is empty.
"""

from __future__ import annotations

import datetime as dt
import difflib

from diestore.handbook import tool_steels

MUCH_OFF_MM = 1.5  # more than this at one sharpening is likelier a slip of the unit; common practice, no source
THINNEST_MM, THICKEST_MM = 0.08, 12.0  # strip that progressive dies run; common practice, no source
LEAST_GAP_PCT, MOST_GAP_PCT = 0.5, 40.0  # per side, of the thickness; common practice, no source
LONG_STOP_MINUTES = 24 * 60


def said_length(length: dt.timedelta) -> str:
    minutes = round(length.total_seconds() / 60)
    days, rest = divmod(minutes, 24 * 60)
    hours, minutes = divmod(rest, 60)
    parts = [(days, "day" if days == 1 else "days"), (hours, "h"), (minutes, "min")]
    return " ".join(f"{n} {unit}" for n, unit in parts if n) or "0 min"


def of_hits(hits: int, length: dt.timedelta, strokes_per_minute: float, *, least: bool = True) -> str:
    """Hits against what the die makes in that time: more than double, or (where `least`) less than half of it."""
    expected = round(strokes_per_minute * length.total_seconds() / 60)
    if expected < 1 or (hits <= expected * 2 and (hits >= expected / 2 or not least)):
        return ""
    more = "more than double" if hits > expected else "less than half of it"
    return (
        f"In {said_length(length)} this die makes about {expected:,} hits at {strokes_per_minute:g} strokes a minute; "
        f"{hits:,} is {more}. Check the times and the hits."
    )


def of_removed(shown: str, removed_mm: float) -> str:
    """shown: the amount as the reader's units have it."""
    return f"{shown} is very much for one sharpening. Check the number." if removed_mm > MUCH_OFF_MM else ""


def of_allowance(removed_mm: float, allowance_mm: float | None) -> str:
    """allowance_mm: of the piece when new, None where nobody said."""
    if allowance_mm is None or removed_mm <= allowance_mm + 1e-9:
        return ""
    return f"{removed_mm:g} mm off is more than the whole grind allowance of the piece, {allowance_mm:g} mm."


def of_stop(minutes: float) -> str:
    if minutes <= LONG_STOP_MINUTES:
        return ""
    return f"{minutes:,.0f} minutes is {said_length(dt.timedelta(minutes=minutes))}."


def of_thickness(thickness_mm: float) -> str:
    if THINNEST_MM <= thickness_mm <= THICKEST_MM:
        return ""
    inches = f" If it is {thickness_mm:g} in, write {thickness_mm * 25.4:.4g}." if thickness_mm < THINNEST_MM else ""
    size = "thin" if thickness_mm < THINNEST_MM else "thick"
    return f"{thickness_mm:g} mm is very {size} for strip.{inches}"


def of_gap_pct(percent: float) -> str:
    """percent: of the thickness, per side."""
    if percent == 0 or LEAST_GAP_PCT <= percent <= MOST_GAP_PCT:
        return ""
    if percent < LEAST_GAP_PCT:
        return (
            f"A gap of {percent:g} % of the thickness is hardly one. If it is {percent:g} mm, or {100 * percent:g} %, "
            "write it in %."
        )
    return f"A gap of {percent:g} % of the thickness is very wide."


def of_steel(name: str) -> str:
    grade = tool_steels.grade(name)
    if grade is None or grade.known:
        return ""
    near = difflib.get_close_matches(name.upper(), list(tool_steels.GRADES), n=2, cutoff=0.5)
    hint = f" Is it {' or '.join(near)}?" if near else ""
    return f"The handbook holds no steel {name[:40]!r}, so it tells nothing of the life.{hint}"


def of_first_record(at: str, first: str) -> str:
    """at: when it was ground, first: when the records of the die begin, both as shown."""
    return f"It was ground on {at}, before the records of this die begin ({first}): hits before that count for no edge."
