"""What the page of one spare says, in sentences and lines. Formats, never computes."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable
from dataclasses import dataclass
from decimal import Decimal

from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop, ngettext

from diestore.register.models import Item, Rate
from maintenance.wording import numbers, odds
from reports.format import day, money
from reports.purchasing.cause import Moved
from reports.purchasing.ladder import Rung

from .advice import SpareRow
from .costs import CHANGES, FELT, Priced
from .reads import KIND_WORDS, PLACE_WORDS
from .why import Why

FROM = {
    "rates": gettext_noop("the shop's rates"),
    "records": gettext_noop("the records"),
    "assumed": gettext_noop("usual, not entered here"),
}
SHOWN_MOVES = 12
LEAST_FOR_TREND = 4  # mishaps


def amount(value: float) -> str:
    return money(Decimal(str(round(value, 2))), cents=value < 100)


def level(value: float) -> str:
    """So many times in a hundred, without a rounding that promises more than there is."""
    hundred = min(value * 100, 99.9)
    return f"{hundred:.1f} %" if hundred > 99 else f"{hundred:.0f} %"


def pieces(n: int) -> str:
    return ngettext("{n:,} piece", "{n:,} pieces", n).format(n=n)


def cause(moved: Moved | None, why: Why) -> str:
    """What made it due."""
    if moved is None:
        last = next((m for m in why.moves if m.place == "shelf" and m.quantity < 0), None)
        ahead = _("Cause: so much use is ahead, not a movement.")
        return f"{ahead} {_('The last one left the shelf on {day}.').format(day=_short(last.at))}" if last else ahead
    n, when = abs(moved.pieces), _short(moved.at)
    fewer = {
        "count": _("Cause: the count of {day} found {n:,} fewer."),
        "fitted": ngettext("Cause: {n:,} was fitted on {day}.", "Cause: {n:,} were fitted on {day}.", n),
        "scrapped": ngettext("Cause: {n:,} was scrapped on {day}.", "Cause: {n:,} were scrapped on {day}.", n),
        "sent back": ngettext(
            "Cause: {n:,} was returned to the supplier on {day}.",
            "Cause: {n:,} were returned to the supplier on {day}.",
            n,
        ),
        "ordered": _("Cause: an order of {n:,} was cancelled on {day}."),
        "delivered": _("Cause: {n:,} fewer came on {day} than were ordered."),
    }
    other = _("Cause: the stock was put right by {n:,} fewer on {day}.")
    return fewer.get(moved.kind, other).format(n=n, day=when)


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
        if row.item.retired_at is not None:
            told = _("{newer} took its place. Nothing of it is ordered any more; what is left is retired.")
        else:
            told = _("{newer} took its place. Nothing of it is ordered any more; what is left is used up first.")
        return told.format(newer=newer)
    comes = day(row.today + dt.timedelta(days=advice.lead))
    if advice.order_by is None:
        return _("Nothing has to be ordered within a year.")
    by = day(advice.order_by)
    if not row.is_due:
        return _("Order {pieces:,} by {day}.").format(pieces=advice.quantity, day=by)
    risk = odds.percent(1 - advice.enough)
    if not advice.days_late:
        now = _("Order {pieces:,} now: {risk} risk of running out before {comes}.")
        return now.format(pieces=advice.quantity, risk=risk, comes=comes)
    late = ngettext(
        "Order {pieces:,} now (due to be ordered by {day}, {days} day late): {risk} risk of running out before "
        "{comes}.",
        "Order {pieces:,} now (due to be ordered by {day}, {days} days late): {risk} risk of running out before "
        "{comes}.",
        advice.days_late,
    )
    return late.format(pieces=advice.quantity, day=by, days=advice.days_late, risk=risk, comes=comes)


def when(why: Why) -> str:
    """Of which day is spoken, and how sure it is."""
    row, advice = why.row, why.row.advice
    if advice is None or advice.order_by is None:
        return ""
    if not row.is_due:
        told = _(
            "That is the last day on which the level of {level} is kept; it stays that day until something is entered."
        )
    elif advice.days_late:
        told = _("{day} was the last day on which the level of {level} is kept.")
    else:
        told = _("Today is the last day on which the level of {level} is kept.")
    return told.format(level=level(advice.service), day=day(advice.order_by))


def ordered(why: Why) -> str:
    """How long an order takes."""
    advice, lead = why.row.advice, why.lead
    if advice is None or lead is None:
        return ""
    seen = why.lead_seen
    if not seen:
        rests = _("{days} days are promised; none has come yet, so the usual spread is taken.").format(
            days=lead.promised
        )
    else:
        took = ", ".join(f"{days:.0f}" for days in seen[-6:])
        rests = _("{days} days are promised; the last {n} took {took}.").format(
            days=lead.promised, n=len(seen[-6:]), took=took
        )
    comes = _("An order placed today comes within {half} days (even chance), {late} days (9 in 10).")
    return f"{comes.format(half=advice.lead, late=advice.late)} {rests}"


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
        return _(
            "Recommended: the fewest that are enough {level} of the time. Without a price nothing is said in money."
        ).format(level=level(advice.service))
    cheapest = min((rung.cost for rung in advice.ladder if rung.cost is not None), default=best.cost)
    if best.enough < advice.service if advice.by_hand else best.cost > cheapest:
        return _(
            "Recommended: what brings the shelf to {pieces} above the order point of {point:,}. More is not kept for "
            "what nobody knows yet: if the shelf empties sooner, the next order goes out sooner."
        ).format(pieces=pieces(advice.lot), point=advice.point)
    if advice.by_hand:
        if why.by_hand is not None and why.by_hand.chance_percent is not None:
            told = _(
                "Recommended: the fewest that are enough {level} of the time, the level set by hand for this spare."
            )
        else:
            told = _(
                "Recommended: the fewest that are enough {level} of the time, the level set among the shop’s rates."
            )
        return told.format(level=level(advice.service))
    return _(
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
        (_("A press stop for a broken or missing piece"), f"{stop.value:.0f} min", _of_stops(stop)),
        (
            _("Another die in and this one back, {n} set-ups").format(n=CHANGES),
            f"{CHANGES * set_up.value:.0f} min",
            _of_set_ups(set_up),
        ),
    ]
    if felt < 1:
        lines.append(
            (
                _("Felt, as it {what}").format(what=item.get_criticality_display()),
                f"{felt:.0%}".replace("%", " %"),
                _("common practice, no source"),
            )
        )
    for kind, word, value in (
        (Rate.Kind.PRESS_HOUR, _("Press hour"), short.press_rate),
        (Rate.Kind.LATE_JOB, _("The late job"), short.late_job),
        (Rate.Kind.HURRIED_ORDER, _("The hurried order"), short.hurried),
        (Rate.Kind.PURCHASE_ORDER, _("Placing an order"), why.economics.order_cost),
    ):
        lines.append((word, amount(value), _(FROM[costs.rate(kind).source])))
    lines.append(
        (
            _("One piece missing, together"),
            amount(short.total),
            _("of it the press {amount}").format(amount=amount(short.press)),
        )
    )
    for kind, word, share in (
        (Rate.Kind.CAPITAL_PERCENT, _("Money tied up, a year"), keep.capital),
        (Rate.Kind.KEEPING_PERCENT, _("Room and care, a year"), keep.keeping),
        (Rate.Kind.AGEING_PERCENT, _("Never needed any more, a year"), keep.ageing),
    ):
        lines.append((word, f"{100 * share:.1f} %", _(FROM[costs.rate(kind).source])))
    if why.judged.prices is not None:
        lines.append(
            (
                _("One piece too many, over a lot"),
                amount(why.judged.prices.left_over),
                _("{n:.1f} are used a year").format(n=why.yearly),
            )
        )
        lines.append(
            (
                _("Economic lot"),
                pieces(why.judged.lot),
                _("ordering against keeping; price breaks where entered"),
            )
        )
    words = _("set by hand") if why.judged.by_hand else _("one missing against one too many")
    lines.append((_("Level kept"), level(why.judged.service), words))
    return lines


def _of_stops(figure: Priced) -> str:
    seen = ngettext("{n:,} stop", "{n:,} stops", figure.seen).format(n=figure.seen)
    return f"{_(FROM[figure.source])}, {seen}" if figure.seen else _(FROM[figure.source])


def _of_set_ups(figure: Priced) -> str:
    seen = ngettext("{n:,} set-up", "{n:,} set-ups", figure.seen).format(n=figure.seen)
    return f"{_(FROM[figure.source])}, {seen}" if figure.seen else _(FROM[figure.source])


def by_hand(why: Why) -> dict[str, str]:
    """What somebody set in the place of what is reckoned, and what that would be."""
    set_by, advice = why.by_hand, why.row.advice
    if advice is None or why.reckoned is None or why.reckoned_point is None:
        return {}
    told = {
        "reckoned": _(
            "Worked out: enough {level} of the time, which is kept with {pieces} on the shelf and on order."
        ).format(level=level(why.reckoned), pieces=pieces(why.reckoned_point))
    }
    if set_by is not None:
        who = f"{set_by.set_by}, " if set_by.set_by else ""
        told["set"] = _("By hand: {level}, kept with {pieces}.").format(level=set_by.words, pieces=pieces(advice.point))
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
        none = _("No mishap took one yet: there are better than {strokes} strokes to one, 9 in 10.")
        lines = [none.format(strokes=numbers.hits(limits.lower))]
    else:
        lines = [
            ngettext(
                "{n:,} mishap: one in {mean} strokes, from so few between {low} and {high}, 9 in 10.",
                "{n:,} mishaps: one in {mean} strokes, from so few between {low} and {high}, 9 in 10.",
                n,
            ).format(
                n=n, mean=numbers.hits(limits.mean), low=numbers.hits(limits.lower), high=numbers.hits(limits.upper)
            )
        ]
    several = sum(times for size, times in seen.sizes.items() if size > 1)
    if several:
        lines.append(
            _(
                "Of {mishaps:,} mishaps to its kind here {several:,} took several pieces at once, up to {most:,}."
            ).format(mishaps=seen.seen, several=several, most=max(seen.sizes))
        )
    trend, wear = seen.trend, seen.wear
    if wear.wears_out:
        lines.append(
            _(
                "Pieces of its kind wear out rather than break: of {lives:,} whose fitting is on record they lasted "
                "about {strokes} strokes, the old ones going soonest (shape {shape:.1f}; 1 would be by chance alone). "
                "So each counts by its age, and no rise is assumed."
            ).format(lives=wear.lives, strokes=numbers.hits(wear.mean_life), shape=wear.shape)
        )
    elif trend.events >= LEAST_FOR_TREND:
        if trend.factor > 1:
            told = _(
                "Mishaps to its kind come more often than they did, over all its dies (by luck alone {luck}); "
                "{factor:.2f} times the mean rate is used."
            )
        else:
            told = _(
                "Mishaps to its kind come no more often than they did, over all its dies (by luck alone {luck}); "
                "{factor:.2f} times the mean rate is used."
            )
        lines.append(told.format(luck=odds.percent(trend.chance_rising), factor=trend.factor))
    return lines
