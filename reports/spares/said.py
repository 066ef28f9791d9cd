"""What the page of one spare says, in sentences and lines. Formats, never computes."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable
from dataclasses import dataclass
from decimal import Decimal

from django.utils import timezone

from diestore.register.models import Item, Rate
from maintenance.wording import numbers, odds
from reports.format import day, money
from reports.purchasing.cause import Moved
from reports.purchasing.ladder import Rung

from .advice import SpareRow
from .costs import CHANGES, FELT, Priced
from .reads import KIND_WORDS, PLACE_WORDS
from .why import Why

FROM = {"rates": "the shop's rates", "records": "the records", "assumed": "usual, not entered here"}
SHOWN_MOVES = 12
LEAST_FOR_TREND = 4  # mishaps


def amount(value: float) -> str:
    return money(Decimal(str(round(value, 2))), cents=value < 100)


def level(value: float) -> str:
    """So many times in a hundred, without a rounding that promises more than there is."""
    hundred = min(value * 100, 99.9)
    return f"{hundred:.1f} %" if hundred > 99 else f"{hundred:.0f} %"


def pieces(n: int) -> str:
    return f"{n:,} piece{'' if n == 1 else 's'}"


def cause(moved: Moved | None, why: Why) -> str:
    """What made it due."""
    if moved is None:
        last = next((m for m in why.moves if m.place == "shelf" and m.quantity < 0), None)
        since = f" The last one left the shelf on {_short(last.at)}." if last else ""
        return f"Cause: so much use is ahead, not a movement.{since}"
    n, when = abs(moved.pieces), _short(moved.at)
    fewer = {
        "count": f"the count of {when} found {n:,} fewer",
        "fitted": f"{n:,} {'was' if n == 1 else 'were'} fitted on {when}",
        "scrapped": f"{n:,} {'was' if n == 1 else 'were'} scrapped on {when}",
        "sent back": f"{n:,} {'was' if n == 1 else 'were'} returned to the supplier on {when}",
        "ordered": f"an order of {n:,} was cancelled on {when}",
        "delivered": f"{n:,} fewer came on {when} than were ordered",
    }
    return f"Cause: {fewer.get(moved.kind, f'the stock was put right by {n:,} fewer on {when}')}."


def _short(at: dt.datetime) -> str:
    return day(timezone.localdate(at))


def headline(why: Why) -> str:
    """What to do, and what happens else."""
    return headline_of(why.row)


def headline_of(row: SpareRow) -> str:
    advice = row.advice
    if advice is None:
        return ""
    if (newer := row.item.newer) is not None:
        pieces_of_it = "retired" if row.item.retired_at is not None else "used up first"
        return f"{newer} took its place. Nothing of it is ordered any more; what is left is {pieces_of_it}."
    comes = day(row.today + dt.timedelta(days=advice.lead))
    risk = f"{odds.percent(1 - advice.enough)} risk of running out before {comes}"
    if advice.order_by is None:
        return "Nothing has to be ordered within a year."
    late = ""
    if advice.days_late:
        days = f"{advice.days_late} day{'' if advice.days_late == 1 else 's'} late"
        late = f" (due to be ordered by {day(advice.order_by)}, {days})"
    if row.is_due:
        return f"Order {advice.quantity:,} now{late}: {risk}."
    return f"Order {advice.quantity:,} by {day(advice.order_by)}."


def when(why: Why) -> str:
    """Of which day is spoken, and how sure it is."""
    row, advice = why.row, why.row.advice
    if advice is None or advice.order_by is None:
        return ""
    kept = f"the level of {level(advice.service)} is kept"
    if not row.is_due:
        return f"That is the last day on which {kept}; it stays that day until something is entered."
    if advice.days_late:
        return f"{day(advice.order_by)} was the last day on which {kept}."
    return f"Today is the last day on which {kept}."


def ordered(why: Why) -> str:
    """How long an order takes."""
    advice, lead = why.row.advice, why.lead
    if advice is None or lead is None:
        return ""
    seen = why.lead_seen
    if not seen:
        rests = f"{lead.promised} days are promised; none has come yet, so the usual spread is taken."
    else:
        took = ", ".join(f"{days:.0f}" for days in seen[-6:])
        rests = f"{lead.promised} days are promised; the last {len(seen[-6:])} took {took}."
    return f"An order placed today comes within {advice.lead} days (even chance), {advice.late} days (9 in 10). {rests}"


@dataclass(frozen=True)
class Step:
    """A rung as it is shown. width: of its bar, of 100."""

    pieces: int
    risk: str
    missing: str
    tied_up: str
    cost: str
    width: int
    best: bool
    each: str = ""
    is_break: bool = False


def steps(rungs: Iterable[Rung]) -> list[Step]:
    rungs = list(rungs)
    dearest = max((rung.cost or 0.0 for rung in rungs), default=0.0)
    return [
        Step(
            pieces=rung.pieces,
            risk=odds.percent(1 - rung.enough),
            missing=f"{rung.missing:.2f}",
            tied_up="" if rung.tied_up is None else amount(rung.tied_up),
            cost="" if rung.cost is None else amount(rung.cost),
            width=round(100 * rung.cost / dearest) if rung.cost and dearest else 0,
            best=rung.best,
            each="" if rung.each is None else money(Decimal(str(round(rung.each, 4)))),
            is_break=rung.is_break,
        )
        for rung in rungs
    ]


def why_this_rung(why: Why) -> str:
    advice = why.row.advice
    if advice is None or not advice.ladder:
        return ""
    best = next((rung for rung in advice.ladder if rung.best), None)
    if best is None:
        return ""
    if best.cost is None:
        fewest = f"Recommended: the fewest that are enough {level(advice.service)} of the time."
        return f"{fewest} Without a price nothing is said in money."
    cheapest = min((rung.cost for rung in advice.ladder if rung.cost is not None), default=best.cost)
    if best.enough < advice.service if advice.by_hand else best.cost > cheapest:
        return (
            f"Recommended: what brings the shelf to {pieces(advice.lot)} above the order point of {advice.point:,}. "
            "More is not kept for what nobody knows yet: if the shelf empties sooner, the next order goes out sooner."
        )
    if advice.by_hand:
        fewest = f"Recommended: the fewest that are enough {level(advice.service)} of the time,"
        chance = why.by_hand is not None and why.by_hand.chance_percent is not None
        return f"{fewest} the level set {'by hand for this spare' if chance else 'among the shop’s rates'}."
    return (
        "Recommended: what costs least in all. With fewer the risk costs more than the pieces; with more the pieces "
        "cost more than the risk."
    )


def priced(item: Item, why: Why) -> list[tuple[str, str, str]]:
    """What the advice is priced by: figure, value, where it comes from."""
    if why.economics is None or why.costs is None or why.judged is None:
        return []
    costs, short, keep = why.costs, why.economics.short, why.economics.keep
    dies = {die.die_id for die in why.dies}
    stop, set_up = costs.stop(dies), costs.set_up
    felt = FELT.get(item.criticality, 1.0)
    lines = [
        ("A press stop for a broken or missing piece", f"{stop.value:.0f} min", _rests(stop, "stop")),
        (
            f"Another die in and this one back, {CHANGES} set-ups",
            f"{CHANGES * set_up.value:.0f} min",
            _rests(set_up, "set-up"),
        ),
    ]
    if felt < 1:
        lines.append(
            (f"Felt, as it {item.criticality}", f"{felt:.0%}".replace("%", " %"), "common practice, no source")
        )
    for kind, word, value in (
        (Rate.Kind.PRESS_HOUR, "Press hour", short.press_rate),
        (Rate.Kind.LATE_JOB, "The late job", short.late_job),
        (Rate.Kind.HURRIED_ORDER, "The hurried order", short.hurried),
        (Rate.Kind.PURCHASE_ORDER, "Placing an order", why.economics.order_cost),
    ):
        lines.append((word, amount(value), FROM[costs.rate(kind).source]))
    lines.append(("One piece missing, together", amount(short.total), f"of it the press {amount(short.press)}"))
    for kind, word, share in (
        (Rate.Kind.CAPITAL_PERCENT, "Money tied up, a year", keep.capital),
        (Rate.Kind.KEEPING_PERCENT, "Room and care, a year", keep.keeping),
        (Rate.Kind.AGEING_PERCENT, "Never needed any more, a year", keep.ageing),
    ):
        lines.append((word, f"{100 * share:.1f} %", FROM[costs.rate(kind).source]))
    if why.judged.prices is not None:
        lines.append(
            ("One piece too many, over a lot", amount(why.judged.prices.left_over), f"{why.yearly:.1f} are used a year")
        )
        lines.append(("Economic lot", pieces(why.judged.lot), "ordering against keeping; price breaks where entered"))
    words = "set by hand" if why.judged.by_hand else "one missing against one too many"
    lines.append(("Level kept", level(why.judged.service), words))
    return lines


def _rests(figure: Priced, one: str) -> str:
    return (
        f"{FROM[figure.source]}, {figure.seen:,} {one}{'' if figure.seen == 1 else 's'}"
        if figure.seen
        else FROM[figure.source]
    )


def by_hand(why: Why) -> dict[str, str]:
    """What somebody set in the place of what is reckoned, and what that would be."""
    set_by, advice = why.by_hand, why.row.advice
    if advice is None or why.reckoned is None or why.reckoned_point is None:
        return {}
    told = {
        "reckoned": f"Worked out: enough {level(why.reckoned)} of the time, which is kept with "
        f"{pieces(why.reckoned_point)} on the shelf and on order."
    }
    if set_by is not None:
        who = f"{set_by.set_by}, " if set_by.set_by else ""
        told["set"] = f"By hand: {set_by.words}, kept with {pieces(advice.point)}."
        told["why"] = f"{set_by.reason} ({who}{day(set_by.set_on)})"
    return told


def moves(why: Why) -> list[tuple[str, str, str, str, int]]:
    """The latest movements: day, what, how many, where, on the shelf after it."""
    return [
        (
            day(timezone.localdate(m.at)),
            KIND_WORDS.get(m.kind, m.kind),
            f"{m.quantity:+,}",
            PLACE_WORDS.get(m.place, m.place),
            m.stock,
        )
        for m in why.moves[:SHOWN_MOVES]
    ]


def breaks(why: Why) -> list[str]:
    """What is known of mishaps, in sentences."""
    limits, seen = why.limits, why.mishaps
    if limits is None or seen is None:
        return []
    n = why.mishaps_seen
    if limits.mean is None or limits.upper is None:
        lines = [f"No mishap took one yet: there are better than {numbers.hits(limits.lower)} strokes to one, 9 in 10."]
    else:
        lines = [
            f"{n:,} mishap{'' if n == 1 else 's'}: one in {numbers.hits(limits.mean)} strokes, from so few between "
            f"{numbers.hits(limits.lower)} and {numbers.hits(limits.upper)}, 9 in 10."
        ]
    several = sum(times for size, times in seen.sizes.items() if size > 1)
    if several:
        lines.append(
            f"Of {seen.seen:,} mishaps to its kind here {several:,} took several pieces at once, up to "
            f"{max(seen.sizes):,}."
        )
    trend, wear = seen.trend, seen.wear
    if wear.wears_out:
        lines.append(
            f"Pieces of its kind wear out rather than break: of {wear.lives:,} whose fitting is on record they lasted "
            f"about {numbers.hits(wear.mean_life)} strokes, the old ones going soonest (shape {wear.shape:.1f}; 1 "
            "would be by chance alone). So each counts by its age, and no rise is assumed."
        )
    elif trend.events >= LEAST_FOR_TREND:
        word = "more often than they did" if trend.factor > 1 else "no more often than they did"
        lines.append(
            f"Mishaps to its kind come {word}, over all its dies (by luck alone {odds.percent(trend.chance_rising)}); "
            f"{trend.factor:.2f} times the mean rate is used."
        )
    return lines
