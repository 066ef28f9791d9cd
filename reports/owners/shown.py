"""What a condition report says, in the words and figures of page and paper. Formats, never computes."""

from __future__ import annotations

from decimal import Decimal

from maintenance.log.owners import AheadSaid, PieceSaid, ReportSaid
from reports.format import day

SAFETY = (
    "A die is heavy and its edges cut. Lift, set, try and grind it as its maker, the maker of the press and the rules "
    "of the place say, and leave work on it to people who are qualified for it."
)
METHOD = (
    "Hits and parts are those of the log. A piece is ground out when its grind allowance is used up: what is left, "
    "divided by what a grind takes off here, times the usual hits between sharpenings; half last longer. Months go by "
    "the pace of the last year. Pieces that are ground out at the same grind are made new together; such "
    "a step is big where it is a tenth or more of all ground pieces (common practice, no source). A forecast is no "
    "promise: a piece may break before."
)


def three(n: float) -> str:
    """To three figures: nobody knows a forecast better."""
    return _or_dash(int(float(f"{n:.3g}")))


def months(piece: PieceSaid) -> str:
    if piece.months is None:
        return "over 120" if piece.parts is not None and not piece.why else "not known"
    return "due now" if piece.months < 0.5 else f"{piece.months:.0f}"


def money(value: Decimal) -> str:
    return f"{value:,.2f}"


def until_sharpening(said: ReportSaid) -> str:
    """How far it goes until the next sharpening, or that this is not known."""
    if said.half_parts is None:
        return "How far it goes until its next sharpening is not known yet."
    which = f" {said.limiting} limits it." if said.limiting else ""
    sure = f"; 9 in 10 make {three(said.nine_in_ten_parts)}" if said.nine_in_ten_parts is not None else ""
    return f"Until its next sharpening half of such tools make another {three(said.half_parts)} parts{sure}.{which}"


def made(said: ReportSaid) -> str:
    """What it has made so far."""
    if not said.hits:
        return "Nothing has run on it by the log."
    since = f" since {day(said.since)}" if said.since else ""
    built = f" It is built for {said.expected_parts:,}." if said.expected_parts else ""
    last = f" Last sharpened on {day(said.last_sharpened)}." if said.last_sharpened else ""
    return f"{said.hits:,} hits and {said.parts:,} good parts{since}.{built}{last}"


def rows_of_years(said: ReportSaid) -> list[list[str]]:
    """A row a year, and one of all together."""
    names = ("hits", "parts", "sharpenings", "ground", "replaced", "broken", "repairs", "other")
    rows = [[str(year.year), *(_or_dash(getattr(year, name)) for name in names)] for year in said.years]
    whole = [_or_dash(sum(getattr(year, name) for year in said.years)) for name in names]
    return [*rows, ["Together", *whole]]


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
                "parts": "not known" if one.parts is None else three(one.parts), "months": months(one),
                "by": f"{one.by:%b %Y}" if one.by else "", "why": one.why,
            }
            for one in said.pieces
        ],
        "steps": [
            {
                "spare": ", ".join(one.spares), "places": ", ".join(one.places), "parts": three(one.parts),
                "buys": three(one.buys), "by": f"{one.by:%b %Y}" if one.by else "", "is_big": one.is_big,
            }
            for one in said.steps
        ],
        "paid": [(f"{month:%b %Y}", ", ".join(words), money(amount)) for month, amount, words in said.months_paid],
        "ahead": [(one.what, *_figures(one)) for one in said.ahead],
        "ahead_months": [(f"{one.until:%b %Y}" if one.until else "", *_figures(one)) for one in said.ahead_months],
        "paid_for": [(words, money(amount)) for words, amount in said.paid_for],
        "paid_together": money(said.paid_together),
        "safety": SAFETY,
        "method": METHOD,
    }  # fmt: skip
