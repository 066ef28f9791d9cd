"""What a condition report says, in the words and figures of page and paper. Formats, never computes."""

from __future__ import annotations

import datetime as dt
from decimal import Decimal

from django.utils.formats import date_format
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop

from maintenance.log.owners import AheadSaid, PieceSaid, ReportSaid
from reports.format import day

SAFETY = gettext_noop(
    "A die is heavy and its edges cut. Lift, set, try and grind it as its maker, the maker of the press and the rules "
    "of the place say, and leave work on it to people who are qualified for it."
)
METHOD = gettext_noop(
    "Hits and parts are those of the log. A piece is ground out when its grind allowance is used up: what is left, "
    "divided by what a grind takes off here, times the usual hits between sharpenings; half last longer. Months go by "
    "the pace of the last year. Pieces that are ground out at the same grind are made new together; such "
    "a step is big where it is a tenth or more of all ground pieces (common practice, no source). A forecast is no "
    "promise: a piece may break before."
)


def three(n: float) -> str:
    """To three figures: nobody knows a forecast better."""
    return _or_dash(int(float(f"{n:.3g}")))


def is_far(piece: PieceSaid) -> bool:
    """Whether the day is known to be beyond all that is told."""
    return piece.months is None and piece.parts is not None and not piece.why


def months(piece: PieceSaid) -> str:
    if piece.months is None:
        return _("over 120") if is_far(piece) else _("not known")
    return _("due now") if piece.months < 0.5 else f"{piece.months:.0f}"


def money(value: Decimal) -> str:
    return f"{value:,.2f}"


def until_sharpening(said: ReportSaid) -> str:
    """How far it goes until the next sharpening, or that this is not known."""
    if said.half_parts is None:
        return _("How far it goes until its next sharpening is not known yet.")
    if said.nine_in_ten_parts is not None:
        told = _("Until its next sharpening half of such tools make another {half} parts; 9 in 10 make {nine_in_ten}.")
        words = told.format(half=three(said.half_parts), nine_in_ten=three(said.nine_in_ten_parts))
    else:
        told = _("Until its next sharpening half of such tools make another {half} parts.")
        words = told.format(half=three(said.half_parts))
    return f"{words} {_('{place} limits it.').format(place=said.limiting)}" if said.limiting else words


def made(said: ReportSaid) -> str:
    """What it has made so far."""
    if not said.hits:
        return _("Nothing has run on it by the log.")
    so_far = (
        _("{hits:,} hits and {parts:,} good parts since {day}.") if said.since
        else _("{hits:,} hits and {parts:,} good parts.")
    )  # fmt: skip
    told = [so_far.format(hits=said.hits, parts=said.parts, day=day(said.since))]
    if said.expected_parts:
        told.append(_("It is built for {parts:,}.").format(parts=said.expected_parts))
    if said.last_sharpened:
        told.append(_("Last sharpened on {day}.").format(day=day(said.last_sharpened)))
    return " ".join(told)


def rows_of_years(said: ReportSaid) -> list[list[str]]:
    """A row a year, and one of all together."""
    names = ("hits", "parts", "sharpenings", "ground", "replaced", "broken", "repairs", "other")
    rows = [[str(year.year), *(_or_dash(getattr(year, name)) for name in names)] for year in said.years]
    whole = [_or_dash(sum(getattr(year, name) for year in said.years)) for name in names]
    return [*rows, [_("Together"), *whole]]


def _month(day: dt.date | None) -> str:
    return date_format(day, "M Y") if day else ""


def _or_dash(n: int) -> str:
    return f"{n:,}" if n else "–"


def _figures(one: AheadSaid) -> list[str]:
    return [f"{value:,.0f}" for value in (one.expected, one.low, one.half, one.high)]


def context(said: ReportSaid) -> dict:
    """What the template of a report takes."""
    return {
        "said": said,
        "made": made(said),
        "until_sharpening": until_sharpening(said),
        "years": rows_of_years(said),
        "pieces": [
            {
                "place": one.place, "what": one.what, "spare": one.spare, "grinds": one.grinds,
                "parts": _("not known") if one.parts is None else three(one.parts), "months": months(one),
                "by": _month(one.by), "why": one.why,
            }
            for one in said.pieces
        ],
        "steps": [
            {
                "spare": ", ".join(one.spares), "places": ", ".join(one.places), "parts": three(one.parts),
                "buys": three(one.buys), "by": _month(one.by), "is_big": one.is_big,
            }
            for one in said.steps
        ],
        "paid": [(_month(month), ", ".join(words), money(amount)) for month, amount, words in said.months_paid],
        "ahead": [(one.what, *_figures(one)) for one in said.ahead],
        "ahead_months": [(_month(one.until), *_figures(one)) for one in said.ahead_months],
        "paid_for": [(words, money(amount)) for words, amount in said.paid_for],
        "paid_together": money(said.paid_together),
        "safety": _(SAFETY),
        "method": _(METHOD),
    }  # fmt: skip
