"""Which changes are tried on a die, what each costs, and what the same page of the die says of it."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from decimal import Decimal
from urllib.parse import urlencode

from diestore.handbook import tool_steels
from diestore.handbook.build_elements import coat_key, steel_key
from maintenance.forecasts import builds
from maintenance.forecasts.other_builds import EdgeNow
from maintenance.life.cycles import SampleRefused
from maintenance.life.fleet import FleetFit
from maintenance.life.seen import Seen
from reports.cost import two_builds
from reports.cost.sheets import DieCost
from reports.cost.two_builds import Change
from reports.cost.year_ahead import Ahead
from reports.costing.gains import Gain
from reports.costing.money import MoneyRefused, from_float
from reports.costing.payback import events_to_lose
from reports.offers.reads import Price
from reports.purchasing.laws import LawRefused
from reports.spares.use import PlantAhead

GAPS = (
    3.0,
    4.0,
    5.0,
    6.0,
    7.0,
    8.0,
    9.0,
    10.0,
    11.0,
    12.0,
    14.0,
    16.0,
    18.0,
    20.0,
)  # % a side
STEELS = ("A2", "D2", "M2", "PM", "carbide")
COATINGS = tuple(name for name in tool_steels.COATINGS if name != "none")
UPPER, LOWER, BOTH = ("upper",), ("lower",), ("upper", "lower")
ALWAYS = 0.95  # of the sharpenings: an edge ground in as many is ground each time
FEW = 5  # dull ends: fewer of a sort say little
CENT = Decimal("0.01")
LEAST_TIMES = CENT * 10  # of today's price: what a piece is reckoned at, however cheap it is


@dataclass(frozen=True, kw_only=True)
class Tried:
    """A change, what it comes to, and what is to say of it. query: that fills it in on the die's own page."""

    gain: Gain
    query: str
    doubts: tuple[str, ...] = ()


@dataclass(frozen=True, kw_only=True)
class OfDie:
    """refusal: why nothing could be tried on this die."""

    tried: tuple[Tried, ...] = ()
    refusal: str = ""


@dataclass(frozen=True, kw_only=True)
class _Priced:
    """A change with its price. cheaper: a piece costs so many times today's, where that is less than is reckoned."""

    change: Change
    is_priced: bool
    cheaper: Decimal | None = None


def changes_of(
    cost: DieCost, year: Ahead, *, ahead: PlantAhead, prices: Mapping[str, Price], seen: Seen, fit: FleetFit
) -> OfDie:
    """Every change on one die. The figures are those of `two_builds` for the same change, to the cent."""
    if year.year is None:
        return OfDie(refusal=year.refusal)
    try:
        now = two_builds.as_it_stands(cost, year, ahead=ahead)
    except (LawRefused, MoneyRefused) as reason:
        return OfDie(refusal=str(reason))
    if not now.edges:
        return OfDie(refusal="No edge of this die has a forecast to change.")
    now = replace(now, fit=fit)
    percent, _ = two_builds.interest(cost, year.as_of)
    over = two_builds.volume(cost, year, new=False)
    made = []
    ground = two_builds.shares_ground(ahead, cost.die.pk, now.edges)
    mine = (place.row for places in ahead.places.values() for place in places if place.row.die_id == cost.die.pk)
    grinds = max((row.die_grinds for row in mine), default=0)
    for sort, priced in (*_changes(now.edges, prices), *_grinding(ground)):
        try:
            two = two_builds.two_builds(cost, year, priced.change, [over.parts], ahead=ahead, now=now)
            back = two_builds.pays_back(two, over, year, percent)
        except (MoneyRefused, SampleRefused) as reason:
            return OfDie(refusal=str(reason))
        if back is None or two.comparison is None:
            continue
        gain = Gain(
            die=cost.die.code,
            sort=sort,
            words=f"{priced.change.words} {priced.change.where}".strip(),
            extra=back.extra,
            worth=back.worth,
            chance=back.chance,
            saved_a_year=back.saved_a_year,
            is_priced=priced.is_priced,
        )
        doubts = (
            *_ground_words(priced.change, now.edges, ground, grinds),
            *_doubts(priced, now.edges, seen),
            *_chips(priced.change, now.edges, gain, _chip(ahead, cost, year, priced.change)),
        )
        made.append(Tried(gain=gain, query=query_of(priced.change), doubts=doubts))
    return OfDie(tried=tuple(made))


def query_of(change: Change) -> str:
    """The address of the die's own page with this change filled in."""
    sides = "both" if change.sides == BOTH else change.sides[0]
    asked = {
        "when": "now",
        "sides": sides,
        "steel": change.tool_steel,
        "coating": change.coating,
        "gap": "" if change.gap_pct is None else f"{change.gap_pct:g}",
        "price": "" if change.price == 0 else f"{change.price:f}",
        "pieces": f"{change.piece_times:f}",
        "place": change.place,
        "ground": "both" if change.grinds_both else "",
    }
    return urlencode({name: value for name, value in asked.items() if value})


def _changes(edges: list[EdgeNow], prices: Mapping[str, Price]) -> Iterator[tuple[str, _Priced]]:
    """Gaps at the next replacement, which cost nothing; steels and coatings of a side, of both, and of the edge that
    goes dull first."""
    for gap in GAPS:
        if any(edge.spec.gap_pct is None or abs(edge.spec.gap_pct - gap) > 0.5 for edge in edges):
            yield "gap", _Priced(change=Change(gap_pct=gap, sides=BOTH), is_priced=True)
    first = min(edges, key=lambda edge: (edge.usual_hits, edge.code))
    places = [(UPPER, ""), (LOWER, ""), (BOTH, ""), ((first.spec.side,), first.code)]
    for sides, place in places:
        wanted = Change(sides=sides, place=place)
        mine = [edge for edge in edges if wanted.takes(edge.spec.side, edge.code)]
        if not mine or (place and len(mine) == len(edges)):
            continue
        for steel in STEELS:
            if any(builds.steel_group(edge.tool_steel) != steel for edge in mine):
                yield "steel", _priced(replace(wanted, tool_steel=steel), mine, prices)
        for coating in COATINGS:
            if any(edge.spec.coating != coating for edge in mine):
                yield "coating", _priced(replace(wanted, coating=coating), mine, prices)


def _grinding(shares: list[float]) -> Iterator[tuple[str, _Priced]]:
    """Every edge at each sharpening, where some are left for the next time."""
    if min(shares) < ALWAYS:
        yield "grind", _Priced(change=Change(grinds_both=True, sides=BOTH), is_priced=True)


def _ground_words(change: Change, edges: list[EdgeNow], shares: list[float], seen: int) -> Iterator[str]:
    """What grinding all of them rests on, and what it does."""
    if not change.grinds_both:
        return
    left = [(edge.code, share) for edge, share in zip(edges, shares, strict=True) if share < ALWAYS]
    seldom, share = min(left, key=lambda one: (one[1], one[0]))
    yield (
        f"{len(left)} of {len(edges)} edges are left at some sharpenings, {seldom} most of all: ground in {share:.0%} "
        "of them. Their hours and the steel that goes are in the figure."
    )
    if seen < FEW:
        yield f"This die was sharpened {seen} times by its record: what is usually left says little."


def _priced(change: Change, edges: list[EdgeNow], prices: Mapping[str, Price]) -> _Priced:
    """With what the shop's price list says: a set of such pieces now, and what each then costs over one of today's."""
    before, after, extra = Decimal(0), Decimal(0), Decimal(0)
    for edge in edges:
        was = [steel_key(edge.tool_steel), coat_key(edge.coating)]
        becomes = [
            steel_key(change.tool_steel or edge.tool_steel),
            coat_key(change.coating or edge.coating),
        ]
        if any(key and key not in prices for key in (*was, *becomes)):
            return _Priced(change=change, is_priced=False)
        piece = sum((prices[key].price for key in becomes if key), Decimal(0))
        before += sum((prices[key].price for key in was if key), Decimal(0))
        after += piece
        # a steel needs a new piece; a coating goes on the one that is there
        extra += piece if change.tool_steel else sum((prices[key].price for key in becomes[1:] if key), Decimal(0))
    if not before:
        return _Priced(change=change, is_priced=False)
    times = (after / before).quantize(CENT)
    reckoned = replace(change, price=extra.quantize(CENT), piece_times=max(times, LEAST_TIMES))
    return _Priced(change=reckoned, is_priced=True, cheaper=times if times < LEAST_TIMES else None)


def _chip(ahead: PlantAhead, cost: DieCost, year: Ahead, change: Change) -> Decimal | None:
    """What one more chip costs at the changed places: the stop, and a piece at its new price. None: not known."""
    prices = [
        price * change.piece_times
        for item, places in ahead.places.items()
        for place in places
        if place.row.die_id == cost.die.pk
        and change.takes(place.row.side, place.row.code)
        and (price := ahead.items[item].unit_price) is not None
    ]
    stop = year.prices.stop if year.prices is not None else None
    if stop is None and not prices:
        return None
    piece = sum(prices, Decimal(0)) / len(prices) if prices else Decimal(0)
    return piece + (Decimal(0) if stop is None else from_float(stop.mean))


def _chips(change: Change, edges: list[EdgeNow], gain: Gain, each: Decimal | None) -> Iterator[str]:
    """That the figure is by wear alone, and how many chips would use it up."""
    words = _brittle(change, edges)
    if not words:
        return
    more = None
    if gain.is_priced and each is not None:
        more = events_to_lose(worth=gain.worth, extra=gain.extra, saved_a_year=gain.saved_a_year, each=each)
    yield f"{words}, which is not in this figure: {_count(more)}." if more else f"{words}, which is not in this figure."


def _brittle(change: Change, edges: list[EdgeNow]) -> str:
    """Why such pieces may chip more than those of today; empty where nobody says so."""
    if change.coating:
        return "A coating may flake, and the edge under it chip"
    new = tool_steels.grade(change.tool_steel)
    if new is None:
        return ""
    mine = [tool_steels.grade(edge.tool_steel) for edge in edges if change.takes(edge.spec.side, edge.code)]
    is_as_tough = all(
        old is not None and None not in (old.toughness, new.toughness) and new.toughness >= old.toughness
        for old in mine
    )
    return "" if is_as_tough else "This steel may chip more easily"


def _count(more: float) -> str:
    """How many more a year, said so that a toolmaker can tell whether that is likely."""
    if more < 1:
        years = 1 / more
        return (
            f"one more chip in {years:.0f} years would use it up"
            if years >= 10
            else (f"one more chip in {years:.2g} years would use it up")
        )
    return (
        f"{more:.2g} more chips a year would use it up"
        if more < 10
        else f"{more:.0f} more chips a year would use it up"
    )


def _doubts(priced: _Priced, edges: list[EdgeNow], seen: Seen) -> Iterator[str]:
    """What the record cannot say of this change."""
    change = priced.change
    if not priced.is_priced:
        yield "The price list does not say what such pieces cost: the worth is the most that it may cost."
    if priced.cheaper is not None:
        yield (
            f"Such a piece costs {priced.cheaper:f} times what it does today; a tenth is taken, so it is worth "
            "a little more than this. Check the price list for a mistake."
        )
    if change.gap_pct is not None:
        within = seen.range_of("gap_pct")
        if within is None or not within[0] <= change.gap_pct <= within[1]:
            run = f"gaps from {within[0]:.3g} to {within[1]:.3g} % only" if within else "no gap"
            yield f"This shop has run {run}: by the handbook beyond."
        if any(edge.spec.gap_pct is None for edge in edges):
            yield "The gap of some places is not known: the usual one is taken."
    for sort, name, words in (
        ("steel", builds.steel_group(change.tool_steel), builds.steel_words),
        ("coating", change.coating or None, builds.coating_words),
    ):
        if name is not None and (ends := seen.dull_with(sort, name)) < FEW:
            ran = f"seen {ends} dull end{'s' if ends != 1 else ''} of" if ends else "seen no dull end of"
            yield f"This shop has {ran} {words(name)}: mostly by the handbook."
