"""The same die built another way, beside the one that runs."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, field, replace
from decimal import Decimal

import numpy as np
from django.utils.translation import gettext as _

from diestore.handbook.build_doubts import of_hardness
from diestore.register.models import Rate
from maintenance.forecasts import builds, other_builds
from maintenance.forecasts.store import fleet_of
from maintenance.life import prior
from maintenance.life.fleet import FleetFit
from reports.costing.builds import BuildPlan, Comparison, compare_builds, worn_off_per_sharpening
from reports.costing.money import MoneyRefused, from_float
from reports.costing.payback import Payback, payback
from reports.costing.regrind import times_ground_together
from reports.purchasing.demand import BreakRate
from reports.purchasing.laws import LawRefused
from reports.spares.costs import ASSUMED
from reports.spares.use import PlantAhead

from .sheets import _SIDE_WORDS, DRAWS, DieCost
from .year_ahead import Ahead

# Built another way

LEAST_GROUND = 0.05  # of the sharpenings: an edge that was hardly ever ground is taken as ground so often
GROUND_DRAWS = 8


@dataclass(frozen=True, kw_only=True)
class Change:
    """How the other build differs.

    sides: upper, lower; a gap is that of the pair, so it holds for both. price: more (or less) for the build, or what
    the change costs. piece_times: what a piece of the changed side then costs, over what it costs now. new: a new die
    built so, beside one as this was; else this die is changed now, and what it has cost is spent either way. place: the
    only one that is built otherwise, by its code; empty: all of those sides. grinds_both: nothing is built otherwise;
    at each sharpening every edge is ground, where some are left for the next time today.
    """

    tool_steel: str = ""
    coating: str = ""
    hardness_hrc: float | None = None
    gap_pct: float | None = None
    sides: tuple[str, ...] = ("upper",)
    price: Decimal = Decimal(0)
    piece_times: Decimal = Decimal(1)
    new: bool = False
    place: str = ""
    grinds_both: bool = False

    def takes(self, side: str, code: str) -> bool:
        """Whether the piece there gets another steel, hardness or coating."""
        return side in self.sides and self.place in ("", code)

    @property
    def where(self) -> str:
        """What is built otherwise, in words."""
        return f"at {self.place} alone" if self.place else _SIDE_WORDS[self.sides]

    def words_on(self, side: str, code: str) -> str:
        """What changes there."""
        return self.words if self.takes(side, code) else f"gap {self.gap_pct:g} % a side"

    @property
    def words(self) -> str:
        bits = [
            "both sides ground each time" if self.grinds_both else "",
            self.tool_steel,
            f"{self.hardness_hrc:g} HRC" if self.hardness_hrc is not None else "",
            {"": "", "none": "uncoated"}.get(self.coating, self.coating),
            f"gap {self.gap_pct:g} % a side" if self.gap_pct is not None else "",
        ]
        return ", ".join(bit for bit in bits if bit) or "as it is"


@dataclass(frozen=True, kw_only=True)
class EdgeChange:
    code: str
    before: str
    gap_before: float | None
    after: str
    changed: bool


@dataclass(frozen=True, kw_only=True)
class TwoBuilds:
    """The die as it is (A) beside the die built otherwise (B), or A alone. refusal: why there is none."""

    a: BuildPlan | None = None
    comparison: Comparison | None = None
    refusal: str = ""
    edges: tuple[EdgeChange, ...] = ()
    times: tuple[float, float, float] = (1.0, 1.0, 1.0)
    interval: tuple[float, float, float] = (0.0, 0.0, 0.0)
    missing: tuple[str, ...] = field(default=())


@dataclass(frozen=True, kw_only=True)
class Now:
    """A die as it stands: what any change is compared with. worlds: the mean interval of each.

    fit: where it is read already.
    """

    plan: BuildPlan
    worlds: np.ndarray
    edges: list[other_builds.EdgeNow]
    fit: FleetFit | None = None


def as_it_stands(cost: DieCost, year: Ahead, *, ahead: PlantAhead) -> Now:
    """Read once for as many changes as are tried. Raises as `as_it_is` does."""
    plan, worlds = as_it_is(cost, year, ahead=ahead)
    orders = [row for row in ahead.open_orders if row.die_id == cost.die.pk]
    edges = other_builds.edges_now(cost.die, orders=orders)
    return Now(plan=plan, worlds=worlds, edges=edges)


def two_builds(
    cost: DieCost,
    year: Ahead,
    change: Change | None,
    volumes: list[int],
    *,
    ahead: PlantAhead | None = None,
    now: Now | None = None,
) -> TwoBuilds:
    """Cost per thousand against volume, as it is and built otherwise. now: where it is read already."""
    die = cost.die
    ahead = ahead or PlantAhead.of(die.plant, dies=[die.pk])
    missing = []
    try:
        now = now or as_it_stands(cost, year, ahead=ahead)
    except (LawRefused, MoneyRefused) as reason:
        return TwoBuilds(refusal=str(reason))
    a, worlds, edges = now.plan, now.worlds, now.edges
    new = change is not None and change.new
    if change is not None and not new:
        a = replace(a, price=Decimal(0))
    elif die.build_price is None:
        missing.append("The build price is not known; nought is taken, so only the difference counts.")
    shown = tuple(_edge_change(edge, change) for edge in edges)
    if change is None or not edges:
        return TwoBuilds(a=a, interval=_band(worlds), missing=tuple(missing), edges=shown)
    intervals = np.repeat(worlds, DRAWS)
    __, pieces_b = _pieces(ahead, die.pk, change)
    ground = shares_ground(ahead, die.pk, edges) if change.grinds_both else []
    built = [
        builds.built_otherwise(
            edge.spec,
            tool_steel=change.tool_steel,
            coating=change.coating,
            hardness_hrc=change.hardness_hrc,
            gap_pct=change.gap_pct,
        )
        if change.takes(edge.spec.side, edge.code)
        else builds.built_otherwise(edge.spec, gap_pct=change.gap_pct)
        for edge in edges
    ]
    if a.price + change.price < 0:
        missing.append("The other build would cost less than nothing; nought is taken.")
    missing.extend(_doubts(edges, change))
    fit = now.fit or fleet_of(die.plant)
    times = _times_ground(fit, edges, ground) if ground else other_builds.times_with(fit, edges, built, draws=DRAWS)
    b = BuildPlan(
        name=f"With {change.words} {change.where}".strip(),
        price=max(a.price + change.price, Decimal(0)),
        parts_per_hit=a.parts_per_hit,
        intervals_hits=tuple((intervals * np.tile(times, len(worlds))).tolist()),
        # hours and bills go with the pieces that are ground
        sharpening=a.sharpening * from_float(len(ground) / sum(ground)) if ground else a.sharpening,
        spares_per_sharpening=worn_off_per_sharpening(pieces_b),
        per_million_hits=_per_million(ahead, cost, year, change),
    )
    return TwoBuilds(
        a=a,
        comparison=compare_builds(a, b, volumes=volumes),
        edges=shown,
        times=_band(times),
        interval=_band(worlds),
        missing=tuple(missing),
    )


def shares_ground(ahead: PlantAhead, die: int, edges: list[other_builds.EdgeNow]) -> list[float]:
    """In which share of the die's sharpenings each edge was ground. An edge without a spare, and one that works with
    some inserts only, is taken as ground each time: nobody knows better, and it promises the least."""
    known = {
        place.row.code: min(max(place.share_of_grinds, LEAST_GROUND), 1.0)
        for places in ahead.places.values()
        for place in places
        if place.row.die_id == die
    }
    return [known.get(edge.code, 1.0) if edge.in_every_set else 1.0 for edge in edges]


def _times_ground(fit: FleetFit, edges: list[other_builds.EdgeNow], shares: list[float]) -> np.ndarray:
    """How many times as long the die goes with every edge ground each time: equally likely values, rising. What nobody
    knows is the shape of the lives, and how much longer a die side lasts."""
    b, shapes = fit.many(GROUND_DRAWS)
    lower = prior.NAMES.index("lower side against the punch")
    off = np.exp(b[:, lower] - fit.best.b[lower])
    usual = np.array([edge.usual_hits for edge in edges])
    is_lower = np.array([edge.spec.side == "lower" for edge in edges])
    times = [
        times_ground_together((usual * np.where(is_lower, times, 1.0)).tolist(), shares, shape=float(shape))
        for times, shape in zip(off, shapes, strict=True)
    ]
    return np.repeat(np.sort(times), DRAWS // GROUND_DRAWS)


def as_it_is(cost: DieCost, year: Ahead, *, ahead: PlantAhead) -> tuple[BuildPlan, np.ndarray]:
    """The die as it runs, and the mean interval of each of its worlds.

    Raises LawRefused where nothing is forecast of it, MoneyRefused where nobody knows what a sharpening costs.
    """
    die = cost.die
    try:
        worlds = np.array(ahead.worlds(die.pk).means)
    except LawRefused as reason:
        raise LawRefused(f"Nothing is forecast of this die: {reason}") from reason
    if year.prices is None or year.prices.sharpening is None:
        raise MoneyRefused("What a sharpening costs is not known: hours or the toolroom rate are missing.")
    pieces, __ = _pieces(ahead, die.pk, None)
    plan = BuildPlan(
        name="As it is",
        price=die.build_price or Decimal(0),
        parts_per_hit=max(round(cost.spent.parts / cost.spent.hits), 1) if cost.spent.hits else 1,
        intervals_hits=tuple(np.repeat(worlds, DRAWS).tolist()),
        sharpening=year.prices.sharpening,
        spares_per_sharpening=worn_off_per_sharpening(pieces),
        per_million_hits=_per_million(ahead, cost, year),
    )
    return plan, worlds


@dataclass(frozen=True, kw_only=True)
class Volume:
    """The parts over which two ways are compared, and from where that is known."""

    parts: int
    words: str


def volume(cost: DieCost, year: Ahead, *, new: bool) -> Volume:
    """Of a new die what this one was built for; of a change now what is still to be made."""
    made, expected = cost.spent.parts, cost.die.expected_parts
    if new:
        return Volume(parts=expected or max(made, 1), words=_("the die is built for") if expected else _("made so far"))
    if expected and expected > made:
        return Volume(parts=expected - made, words=_("still to be made of those that the die is built for"))
    planned = year.year.planned_parts if year.year else made
    return Volume(parts=max(3 * planned, 1), words=_("of three years at this pace"))


def interest(cost: DieCost, day: dt.date | None) -> tuple[Decimal, bool]:
    """What money costs, % a year, and whether that is assumed: what is usual, where the shop's rates do not say."""
    own = cost.rates.on("capital", day) if cost.rates is not None and day is not None else None
    return (own, False) if own is not None else (Decimal(str(ASSUMED[Rate.Kind.CAPITAL_PERCENT])), True)


def pays_back(two: TwoBuilds, over: Volume, year: Ahead, percent: Decimal) -> Payback | None:
    """When the extra money comes back; None where no year is planned. Raises MoneyRefused for what cannot be."""
    if two.comparison is None or year.year is None:
        return None
    a, b = two.comparison.a, two.comparison.b
    return payback(
        extra=b.price - a.price,
        saved_a_part=a.running_per_part() - b.running_per_part(),
        parts=over.parts,
        parts_a_year=float(year.year.planned_parts),
        interest=percent / 100,
    )


def _band(values: np.ndarray) -> tuple[float, float, float]:
    low, middle, high = np.quantile(values, [0.1, 0.5, 0.9])
    return float(low), float(middle), float(high)


def _edge_change(edge, change: Change | None) -> EdgeChange:
    hard = f"{edge.hardness_hrc:g} HRC" if edge.hardness_hrc is not None else ""
    changed = (
        change is not None
        and not change.grinds_both
        and (change.takes(edge.spec.side, edge.code) or change.gap_pct is not None)
    )
    coat = edge.coating if edge.coating not in ("", "none") else ""
    return EdgeChange(
        code=edge.code,
        before=" ".join(bit for bit in (edge.tool_steel or "steel not known", hard, coat) if bit),
        gap_before=edge.spec.gap_pct,
        after=change.words_on(edge.spec.side, edge.code) if changed else "",
        changed=changed,
    )


def _pieces(ahead: PlantAhead, die: int, change: Change | None):
    """(price, sharpenings of the die that a new piece lasts) of each ground piece, as it is and built otherwise."""
    as_is, otherwise = [], []
    for item, places in ahead.places.items():
        price = ahead.items[item].unit_price
        for place in places:
            if place.row.die_id != die or place.grinds_new is None or price is None:
                continue
            served = place.drawn(alone=ahead.is_alone(place)).served
            lasts = None if served is None else max(served - 1, 0.0)
            as_is.append((price, lasts))
            changed = change is not None and change.takes(place.row.side, place.row.code)
            if change is not None and change.grinds_both and served is not None:
                lasts = max(served * min(max(place.share_of_grinds, LEAST_GROUND), 1.0) - 1, 0.0)
            otherwise.append((price * change.piece_times if changed else price, lasts))
    return as_is, otherwise


def _doubts(edges, change: Change) -> list[str]:
    """Hardnesses that the steel is not worked at, each once."""
    steels = {change.tool_steel or edge.tool_steel for edge in edges if change.takes(edge.spec.side, edge.code)}
    doubts = [doubt for steel in sorted(filter(None, steels)) for doubt in of_hardness(steel, change.hardness_hrc)]
    return list(dict.fromkeys(f"{doubt.text} ({doubt.source})" for doubt in doubts))


def _per_million(ahead: PlantAhead, cost: DieCost, year: Ahead, change: Change | None = None) -> Decimal:
    """What goes by the stroke whatever the interval: pieces that break, at what they cost then, and stops."""
    total = 0.0
    for item, places in ahead.places.items():
        price = ahead.items[item].unit_price
        if price is not None:
            share = sum(
                place.row.stroke_share
                * (
                    float(change.piece_times)
                    if change is not None and change.takes(place.row.side, place.row.code)
                    else 1.0
                )
                for place in places
                if place.row.die_id == cost.die.pk
            )
            total += float(price) * ahead.replaced_per_stroke(item) * share
    if year.prices is not None and year.prices.stop is not None:
        total += BreakRate.seen(len(cost.spent.stops), cost.spent.hits).per_stroke * year.prices.stop.mean
    return from_float(total * 1e6)
