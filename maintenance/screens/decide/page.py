"""Run or sharpen, in plain words and money. Formats what maintenance/policy says of a die; computes nothing of it."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext

from diestore import units
from diestore.handbook.kinds import KINDS
from maintenance.forecasts.decisions import DieAhead, EdgeAhead
from maintenance.life.readings import ReadingModel
from maintenance.policy import Decision, DieInterval, Option, at_start, while_apart
from maintenance.policy.measuring import ReadingWorth, reading_at
from maintenance.policy.orders import AS_IT_STANDS, ONE_EDGE, SET, SWAP
from maintenance.policy.sets import own_rates
from maintenance.wording import numbers, odds

APART, BEFORE = gettext_lazy("while the die is apart"), gettext_lazy("before the job")
EDGES_READ = 5  # of a die: those likeliest to be the first
LITTLE = 0.1  # of what sharpening the set costs: a gain below it hardly matters
NAMED_AT_MOST = 4
TURNS_TOLD = 3

TURNED_BY = {
    "teardown": gettext_lazy("if pulling the die, taking it apart and putting it back cost {then} and not {now}"),
    "grind": gettext_lazy("if grinding the edges cost {then} and not {now}"),
    "dull": gettext_lazy("if a dull edge (sorting and scrap) cost {then} and not {now}"),
    "pull": gettext_lazy("if breaking the job off cost {then} and not {now}"),
    "lives": gettext_lazy("if its edges lasted {times} times as long as forecast"),
    "order": gettext_lazy("if the job had {hits} hits"),
}


def money(amount: float, currency: str) -> str:
    """Whole units: nobody knows it better."""
    return f"{amount:,.0f} {currency}"


def edges_named(known: DieAhead, which: Iterable[int]) -> str:
    codes = [known.edges[i].code for i in which]
    more = len(codes) - NAMED_AT_MOST
    named = ", ".join(codes[:NAMED_AT_MOST])
    return _("{named} and {n} more").format(named=named, n=more) if more > 0 else named


def label(option: Option, known: DieAhead) -> str:
    """What is done, as one says it."""
    ground = np.flatnonzero(option.ground)
    if option.start == AS_IT_STANDS:
        first = _("Run it as it is")
    elif option.start == SWAP:
        first = _("Put in ground pieces from the shelf: {edges}").format(edges=edges_named(known, ground))
    elif option.start == SET or option.ground.all():
        first = _("Sharpen first: the whole set")
    elif option.start == ONE_EDGE:
        first = _("Sharpen first: only {edges}").format(edges=edges_named(known, ground))
    else:
        first = ngettext(
            "Sharpen first: the one edge that pays", "Sharpen first: the {n} edges that pay", len(ground)
        ).format(n=len(ground))
    if not option.pulls:
        return first
    at = [f"{p:,.0f}" for p in option.pulls]
    if len(at) > 3:
        return _("{first}; pull it {n} times in the job, first at {hits} hits").format(
            first=first, n=len(at), hits=at[0]
        )
    return _("{first}; pull it in the job at {hits} hits").format(first=first, hits=_(" and ").join(at))


def rows(decision: Decision, known: DieAhead, currency: str, system: units.System) -> list[dict]:
    """The options, the best first."""
    return [
        {
            "label": label(option, known),
            "edges": _edges_of(option, known),
            "allowed": option.allowed,
            "best": n == 0,
            "chance": odds.percent(option.chance),
            "bar": f"{96 * option.chance:.1f}",
            "stops": f"{option.stops:.1f}",
            "scrap": numbers.hits(option.scrap_parts) if option.scrap_parts >= 1 else "0",
            "bench": f"{option.bench_hours:.1f}",
            "press": f"{option.press_hours:.1f}",
            "steel": units.show(round(float(option.steel_mm.sum()), 2), "removed_mm", system),
            "next": odds.percent(option.next_chance),
            "euros": money(option.euros, currency),
            "dearer": "" if n == 0 else money(option.against_best, currency),
        }
        for n, option in enumerate(decision.options)
    ]


def _edges_of(option: Option, known: DieAhead) -> str:
    """Under the way, which edges that means, where it does not say so itself."""
    if option.start == SWAP:
        return _("what comes out is ground later, in its own time")
    if not option.sharpens_first or option.start == ONE_EDGE or option.ground.all():
        return ""
    return edges_named(known, np.flatnonzero(option.ground))


def lead(decision: Decision, known: DieAhead, currency: str, *, with_money: bool) -> dict:
    """The recommendation, what it gains and how sure that is."""
    best = decision.best
    as_is = next((o for o in decision.options if not o.sharpens_first and not o.pulls), None)
    first = next((o for o in decision.options if o.sharpens_first and not o.pulls), None)
    buys = ""
    if as_is is not None and first is not None and as_is.allowed and _from(as_is.chance) != _from(first.chance):
        buys = _("Sharpening first lifts the chance of finishing from {before} to {after} %.").format(
            before=_from(as_is.chance), after=_from(first.chance)
        )
    little = np.isfinite(decision.gain) and decision.gain < LITTLE * known.costs.set
    gain = ""
    if np.isfinite(decision.gain) and with_money:
        worth = (
            _("All counted, that is worth {amount} over running it as it is.")
            if best.sharpens_first
            else _("All counted, that is worth {amount} over sharpening first.")
        )
        gain = worth.format(amount=money(decision.gain, currency))
    return {
        "do": label(best, known) + ".",
        "buys": buys,
        "gain": gain,
        "little": little,
        "sure": odds.times(decision.sure) if np.isfinite(decision.gain) else "",
        "damaged": known.damaged,
        "once_right": known.edges_are_fine,
    }


def _from(chance: float) -> str:
    return _("under 1") if chance < 0.01 else _("over 99") if chance > 0.99 else f"{100 * chance:.0f}"


def turns(decision: Decision, known: DieAhead, job_hits: int, currency: str, *, with_money: bool) -> list[str]:
    """Sentences of what would turn it, the nearest first."""
    told = [t for t in decision.turns if t.factor is not None and (with_money or t.of in ("lives", "order"))]
    told.sort(key=lambda t: abs(np.log(t.factor or 1)))
    costs = known.costs
    amounts = {"teardown": costs.teardown, "grind": float(costs.grind.sum()), "dull": costs.dull, "pull": costs.pull}
    sentences = []
    for turn in told[:TURNS_TOLD]:
        factor = turn.factor or 1.0
        if turn.of == "lives":
            sentences.append(TURNED_BY["lives"].format(times=f"{factor:.2g}"))
        elif turn.of == "order":
            sentences.append(TURNED_BY["order"].format(hits=numbers.hits(job_hits * factor)))
        else:
            amount = amounts[turn.of]
            then = money(amount * factor, currency)
            sentences.append(TURNED_BY[turn.of].format(then=then, now=money(amount, currency)))
    return sentences


def to_grind(decision: Decision, known: DieAhead, currency: str, *, with_money: bool) -> dict:
    """The edges with the die apart: what pays, the most worth first, each with its reason."""
    choice = decision.choice
    listed = []
    for i in np.lexsort((np.arange(len(known.edges)), -choice.worth)):
        edge = known.edges[i]
        risk = odds.percent(float(choice.risk[i]))
        if choice.bad[i]:
            why = _("damaged or over its limit: grind it whatever else is done")
        elif choice.grind[i]:
            why = _("{chance} that it goes dull before the die is next apart").format(chance=risk)
        else:
            why = _("{chance} that it goes dull before then; {hits} more hits in it if left").format(
                chance=risk, hits=numbers.hits(float(choice.kept[i]))
            )
        listed.append(
            {
                "code": edge.code,
                "position": edge.position,
                "kind": _(KINDS[edge.kind].name) if edge.kind in KINDS else "",
                "grind": bool(choice.grind[i]),
                "why": why,
                "on_it": f"{edge.on_it:,}",
                "worth": money(abs(float(choice.worth[i])), currency) if with_money else "",
            }
        )
    return {
        "edges": listed,
        "count": int(choice.grind.sum()),
        "left": ",".join(str(edge["position"]) for edge in listed if not edge["grind"]),
        "horizon": numbers.hits(choice.hits),
    }


def interval(
    decision: Decision, hits_a_year: float, now_every: float | None, currency: str, *, with_money: bool
) -> dict:
    """What the die's own interval should be, against what is done now."""
    usual = decision.usual
    told = {
        "best": numbers.hits(usual.hits) if usual.planned else "",
        "rate": money(usual.rate * 100_000, currency) if with_money else "",
        "now": numbers.hits(now_every) if now_every else "",
        "hits_a_year": numbers.hits(hits_a_year),
        "saving": "",
    }
    if now_every and with_money and hits_a_year:
        more = (usual.rate_at(min(now_every, float(usual.at[-1]))) - usual.rate) * hits_a_year
        told["saving"] = money(max(more, 0.0), currency)
    return told


def _sd(model: ReadingModel) -> float:
    """What one reading leaves open of ln of the life."""
    return float(np.hypot(model.cycle_sd, model.reading_sd) / model.gamma)


def readings(
    usual: DieInterval, known: DieAhead, model: ReadingModel | None, job_hits: int | None, *, most: int = EDGES_READ
) -> list[tuple[EdgeAhead, str, ReadingWorth, float]]:
    """Readings of burr that may turn a decision: the edge, when it pays, its worth, and the critical value in
    micrometres; those that are worth more than the minutes they take, the most worth first."""
    if model is None:
        return []
    takes = known.basis["reading_minutes"] / 60 * known.basis["toolroom_rate"]
    rates = own_rates(known.fresh, known.costs)
    first = sorted(range(len(known.edges)), key=lambda i: -known.edges[i].chance_first)[:most]
    found = []
    for i, edge in enumerate(known.edges):
        if edge.on_it <= 0 or not edge.thickness_mm or i in known.bad:
            continue
        one = {"edge": i, "on_it_hits": float(edge.on_it), "reading_sd": _sd(model)}
        ways = [(APART, while_apart(known.now, known.fresh, known.costs, usual, rates=rates, **one))]
        if job_hits and not known.damaged and i in first:
            ways.append((BEFORE, at_start(known.now, known.costs, usual, float(job_hits), **one)))
        for when, worth in ways:
            if worth.critical_ln_life is None or worth.worth <= takes:
                continue
            critical = reading_at(
                worth.critical_ln_life, float(edge.on_it), lambda share, e=edge: model.value_at(share, e.thickness_mm)
            )
            found.append((edge, when, worth, critical))
    return sorted(found, key=lambda one: -one[2].worth)[: 2 * most]
