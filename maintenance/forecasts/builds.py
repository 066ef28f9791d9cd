"""What stock, gap, steel, hardness and coating do to the interval: by the handbook, and by this shop's record.

Glue between the life engine and the page: from a stored fit and one edge to plain curves. No database, no drawing.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from diestore.handbook import kinds, tool_steels
from diestore.texts import pgettext
from maintenance.life import handbook, prior
from maintenance.life.cycles import FAMILIES, EdgeSpec
from maintenance.life.fleet import FleetFit
from maintenance.life.predict import FEW_DULL_ENDS
from maintenance.life.seen import Seen

POINTS = 41
FAR_BEYOND = 0.05  # of the range: a curve goes a little past what is usual

# What a curve runs over where the shop has nothing further out; common practice, no source.
USUAL_RANGE = {
    "gap_pct": (3.0, 20.0),
    "tensile_mpa": (150.0, 1100.0),
    "thickness_mm": (0.25, 4.0),
    "hardness_above_usual_hrc": (-4.0, 4.0),
}
BY_RATIO = {"thickness_mm", "tensile_mpa"}  # drawn on a scale of equal ratios
STEELS = (prior.USUAL_STEEL, *prior.STEELS)
COATINGS = (prior.USUAL_COATING, *prior.COATINGS)
SIDES = ("upper", "lower")
ANOTHER = "another"  # any steel or coating that the wear model has no column for

NOT_YET, A_LITTLE, A_LOT = "nothing yet", "a little", "a lot"
STAYS = (
    0.7  # the spread that is left says that nothing was learnt above this, much below half; its own error is a fifth
)
MOVES = 0.6  # spreads of the handbook's value


@dataclass(frozen=True, kw_only=True)
class QuantityCurve:
    """The usual interval over one quantity, everything else as the edge asked for.

    x: rising, in the unit of the quantity's name. record: None without any record. at: where the edge asked for lies.
    seen: some of the shop's own edges; within: between which of them its record speaks.
    """

    quantity: str
    x: tuple[float, ...]
    handbook: handbook.Intervals
    record: handbook.Intervals | None
    times: handbook.Times
    at: float | None
    seen: tuple[float, ...]
    within: tuple[float, float] | None

    def speaks_at(self, x: float) -> bool:
        return self.within is not None and self.within[0] <= x <= self.within[1]


@dataclass(frozen=True, kw_only=True)
class Choice:
    """One steel, coating or side: the usual interval with it, and how many edges of the shop have it."""

    name: str
    words: str
    handbook: handbook.Interval
    record: handbook.Interval | None
    times: tuple[float, float, float]
    edges: int
    dull_ends: int
    chosen: bool


@dataclass(frozen=True, kw_only=True)
class Factor:
    """One thing the wear model says, as times as long: (middle, low, high), 8 in 10 between. own: after the record.

    group: what it stands under. edges, dull_ends: of the shop, that can tell of it.
    """

    group: str
    words: str
    handbook: tuple[float, float, float]
    own: tuple[float, float, float] | None
    says: str
    source: str
    edges: int | None = None
    as_hits: bool = False


@dataclass(frozen=True, kw_only=True)
class UsualInterval:
    """The usual interval of an edge that nobody has run yet. record: None without any record."""

    spec: EdgeSpec
    handbook: handbook.Interval
    record: handbook.Interval | None

    @property
    def best(self) -> handbook.Interval:
        """By this shop's record, and without one by the handbook."""
        return self.record or self.handbook


@dataclass(frozen=True, kw_only=True)
class Changed:
    """The same edge built otherwise: times as long (middle, low, high) and what it then comes to."""

    after: UsualInterval
    times: tuple[float, float, float]


def has_record(fit: FleetFit | None) -> bool:
    return fit is not None and fit.dull_ends > 0


def rests_on(fit: FleetFit | None) -> str:
    """In how far the shop's own record stands behind the curves."""
    if not has_record(fit):
        return pgettext("rests on", "handbook only")
    few = fit.dull_ends < FEW_DULL_ENDS
    return pgettext("rests on", "mostly handbook") if few else pgettext("rests on", "this shop's records")


def answer(fit: FleetFit | None, spec: EdgeSpec) -> UsualInterval:
    record = handbook.expected_interval(fit, spec) if has_record(fit) else None
    return UsualInterval(spec=spec, handbook=handbook.handbook_interval(spec), record=record)


def changed(fit: FleetFit | None, before: EdgeSpec, after: EdgeSpec) -> Changed:
    times = _times(fit, before, [after])
    return Changed(after=answer(fit, after), times=(float(times.times[0]), float(times.low[0]), float(times.high[0])))


def built_otherwise(
    spec: EdgeSpec,
    *,
    tool_steel: str = "",
    coating: str = "",
    hardness_hrc: float | None = None,
    gap_pct: float | None = None,
    thickness_mm: float | None = None,
    tensile_mpa: float | None = None,
) -> EdgeSpec:
    """The same edge with another steel (then of its usual hardness), hardness, coating, gap or stock; empty: as it is.

    Raises SampleRefused for what cannot be.
    """
    changes: dict = {}
    if tool_steel:
        changes |= {"steel": steel_group(tool_steel), "hardness_above_usual_hrc": None}
    if (above := above_usual(tool_steel or spec.steel, hardness_hrc)) is not None:
        changes["hardness_above_usual_hrc"] = above
    if coating:
        changes["coating"] = tool_steels.coating(coating)
    measured = {"gap_pct": gap_pct, "thickness_mm": thickness_mm, "tensile_mpa": tensile_mpa}
    changes |= {name: value for name, value in measured.items() if value is not None}
    return replace(spec, **changes)


def steel_group(steel: str | None) -> str | None:
    """The steel as the wear model has it; None where none is written."""
    named = tool_steels.grade(steel)
    return named.group if named else None


def above_usual(steel: str | None, hrc: float | None) -> float | None:
    """How much harder than usual for its steel; None where either is not known, as for carbide."""
    named = tool_steels.grade(steel)
    return None if hrc is None or named is None or named.usual_hrc is None else hrc - named.usual_hrc


def _times(fit: FleetFit | None, before: EdgeSpec, after: Sequence[EdgeSpec]) -> handbook.Times:
    if has_record(fit):
        return handbook.times_expected(fit, before, after)
    return handbook.times_by_handbook(before, after)


def curves(fit: FleetFit | None, spec: EdgeSpec, seen: Seen) -> list[QuantityCurve]:
    return [_curve(fit, spec, seen, quantity) for quantity in USUAL_RANGE]


def _curve(fit: FleetFit | None, spec: EdgeSpec, seen: Seen, quantity: str) -> QuantityCurve:
    at = getattr(spec, quantity)
    if quantity == "hardness_above_usual_hrc" and at is None:
        at = 0.0  # where the hardness is not known, the usual one is taken
    within = seen.range_of(quantity)
    low, high = span(quantity, [*(within or ()), *([at] if at is not None else [])])
    x = np.geomspace(low, high, POINTS) if quantity in BY_RATIO else np.linspace(low, high, POINTS)
    specs = [replace(spec, **{quantity: float(v)}) for v in x]
    return QuantityCurve(
        quantity=quantity,
        x=tuple(map(float, x)),
        handbook=handbook.handbook_intervals(specs),
        record=handbook.expected_intervals(fit, specs) if has_record(fit) else None,
        times=_times(fit, spec, specs),
        at=at,
        seen=seen.values[quantity],
        within=within,
    )


def span(quantity: str, values: Sequence[float]) -> tuple[float, float]:
    """What a curve runs over: the usual range, and as far as these values lie beyond it."""
    low, high = USUAL_RANGE[quantity]
    low, high = min([low, *values]), max([high, *values])
    if quantity == "gap_pct":
        low, high = max(low, prior.GAP_AT_LEAST), min(high, prior.GAP_AT_MOST)
    return low, high


def at(fit: FleetFit | None, spec: EdgeSpec, curve: QuantityCurve, values: Sequence[float]) -> QuantityCurve:
    """The same curve at a few round values, for a table."""
    kept = tuple(v for v in values if curve.x[0] <= v <= curve.x[-1])
    specs = [replace(spec, **{curve.quantity: v}) for v in kept]
    return replace(
        curve,
        x=kept,
        handbook=handbook.handbook_intervals(specs),
        record=handbook.expected_intervals(fit, specs) if has_record(fit) else None,
        times=_times(fit, spec, specs),
    )


def choices(fit: FleetFit | None, spec: EdgeSpec, seen: Seen) -> dict[str, list[Choice]]:
    """By steel, coating and side, everything else as the edge asked for."""

    def made(sort: str, names: Sequence[str], words: Callable[[str], str]) -> list[Choice]:
        specs = [replace(spec, **{sort: name}) for name in names]
        times = _times(fit, spec, specs)
        mine = getattr(spec, sort)
        return [
            Choice(
                name=name,
                words=words(name),
                handbook=handbook.handbook_interval(one),
                record=handbook.expected_interval(fit, one) if has_record(fit) else None,
                times=(float(times.times[i]), float(times.low[i]), float(times.high[i])),
                edges=_count(seen, sort, name, names)[0],
                dull_ends=_count(seen, sort, name, names)[1],
                chosen=mine == name or (name == ANOTHER and mine not in names),
            )
            for i, (name, one) in enumerate(zip(names, specs, strict=True))
        ]

    return {
        "steel": made("steel", (*STEELS, ANOTHER), steel_words),
        "coating": made("coating", (*COATINGS, ANOTHER), coating_words),
        "side": made("side", SIDES, side_words),
    }


def _count(seen: Seen, sort: str, name: str, names: Sequence[str]) -> tuple[int, int]:
    if name != ANOTHER:
        return seen.counts[sort].get(name, (0, 0))
    rest = [count for other, count in seen.counts[sort].items() if other not in names]
    return sum(e for e, _ in rest), sum(d for _, d in rest)


def steel_words(name: str | None) -> str:
    return {"PM": "powder steel", ANOTHER: "another steel", None: "steel not known"}.get(name, name or "")


def coating_words(name: str | None) -> str:
    return {"none": "bare", ANOTHER: "another coating", None: "coating not known"}.get(name, name or "")


def side_words(side: str) -> str:
    return "punch" if side == "upper" else "die side"


# --- what the record says of each thing ---------------------------------------------------------------------------

MEMORY = "from memory, no source"
ARCHARD = "Archard's law of wear (1953), from memory; its spread from memory, no source"
COMMON = "common practice, no source: the die side is ground half to a third as often"


@dataclass(frozen=True, kw_only=True)
class _Step:
    """A step along columns of the wear model: what it is called, and how many of the shop's edges tell of it."""

    group: str
    words: str
    along: dict[str, float]
    source: str = MEMORY
    told_by: Callable[[Seen], int]


def _varied(quantity: str) -> Callable[[Seen], int]:
    return lambda seen: seen.edges if len(set(seen.values[quantity])) > 1 else 0


def _having(sort: str, name: str) -> Callable[[Seen], int]:
    return lambda seen: seen.edges_with(sort, name)


def _having_another(sort: str, names: Sequence[str]) -> Callable[[Seen], int]:
    return lambda seen: _count(seen, sort, ANOTHER, names)[0]


_LN_2 = math.log(2.0)
_STEPS = (
    _Step(
        group="Stock",
        words="stock twice as thick",
        along={"ln thickness in mm": _LN_2},
        source=ARCHARD,
        told_by=_varied("thickness_mm"),
    ),
    _Step(
        group="Stock",
        words="stock half as strong again",
        along={"ln (tensile / 400 MPa)": math.log(1.5)},
        source=ARCHARD,
        told_by=_varied("tensile_mpa"),
    ),
    _Step(
        group="Gap",
        words="gap half or double of 10 %, against 10 %",
        along={"ln squared (gap / 10 %)": _LN_2**2},
        told_by=_varied("gap_pct"),
    ),
    *(
        _Step(
            group="Gap",
            words=f"gap 20 % against 5 %, in {family if family != 'other' else 'other stock'}",
            along={f"ln (gap / 10 %) in {family}": 2 * _LN_2},
            told_by=_having("stock_family", family),
        )
        for family in FAMILIES
    ),
    _Step(
        group="Steel",
        words="2 HRC harder than usual for the steel",
        along={"HRC above the grade's usual": 2.0},
        told_by=_varied("hardness_above_usual_hrc"),
    ),
    *(
        _Step(
            group="Steel",
            words=f"{steel_words(steel)} against D2",
            along={f"{steel} against D2": 1.0},
            told_by=_having("steel", steel),
        )
        for steel in prior.STEELS
    ),
    _Step(
        group="Steel",
        words="another or unknown steel against D2",
        along={"another steel": 1.0},
        told_by=_having_another("steel", STEELS),
    ),
    *(
        _Step(
            group="Coating",
            words=f"{coating} against bare",
            along={f"{coating} against none": 1.0},
            told_by=_having("coating", coating),
        )
        for coating in prior.COATINGS
    ),
    _Step(
        group="Coating",
        words="another or unknown coating against bare",
        along={"another coating": 1.0},
        told_by=_having_another("coating", COATINGS),
    ),
    _Step(
        group="Place",
        words="die side against the punch",
        along={"lower side against the punch": 1.0},
        source=COMMON,
        told_by=lambda seen: min(seen.edges_with("side", side) for side in SIDES),
    ),
)
_KINDS = tuple(
    _Step(
        group="Kind",
        words=f"{kinds.KINDS[kind].name}, compared with other kinds",
        along={f"kind {kind}": 1.0},
        told_by=_having("kind", kind),
    )
    for kind in prior.KINDS
)
# What the model's constant stands for: the edge to which all factors are applied.
PLAIN_EDGE = EdgeSpec(die=0, thickness_mm=1.0, tensile_mpa=400.0, steel="D2", coating="none", gap_pct=10.0)


def factors(fit: FleetFit | None, seen: Seen, *, plain_stock: str) -> list[Factor]:
    """Every column of the wear model in words of the trade, the handbook's value beside this shop's.

    plain_stock: the stock of `PLAIN_EDGE` as the reader's units say it. Of kinds, only those that the shop has.
    """
    fit = fit if has_record(fit) else None
    steps = [*_STEPS, *(step for step in _KINDS if step.told_by(seen))]
    return [_plain_edge(fit, seen, plain_stock), *(_factor(fit, seen, step) for step in steps), *_spreads(fit, seen)]


def _factor(fit: FleetFit | None, seen: Seen, step: _Step) -> Factor:
    said, edges = handbook.said(fit, step.along), step.told_by(seen)
    own = None if fit is None else _about(said.mean, said.sd)
    return Factor(
        group=step.group,
        words=step.words,
        handbook=_about(said.prior_mean, said.prior_sd),
        own=own if edges else None,
        says=NOT_YET if fit is None else how_much(said.narrowed, said.moved, edges),
        source=step.source,
        edges=edges,
    )


def how_much(narrowed: float, moved: float, edges: int | None) -> str:
    """In words, what the record says: by how far it narrowed and moved the handbook's value."""
    if edges == 0:
        return NOT_YET
    if narrowed < STAYS / 2 or moved > 3 * MOVES:
        return A_LOT
    return A_LITTLE if narrowed < STAYS or moved > MOVES else NOT_YET


def _about(mean: float, sd: float) -> tuple[float, float, float]:
    return math.exp(mean), math.exp(mean - handbook.Z80 * sd), math.exp(mean + handbook.Z80 * sd)


def _plain_edge(fit: FleetFit | None, seen: Seen, plain_stock: str) -> Factor:
    said = handbook.said(fit, {"constant": 1.0})
    own = answer(fit, PLAIN_EDGE).record
    by_book = handbook.handbook_interval(PLAIN_EDGE)
    return Factor(
        group="To begin with",
        words=f"bare D2 punch of usual hardness, {plain_stock}, gap 10 %",
        handbook=(by_book.usual_hits, by_book.low_hits, by_book.high_hits),
        own=None if own is None else (own.usual_hits, own.low_hits, own.high_hits),
        says=NOT_YET if fit is None else how_much(said.narrowed, said.moved, None),
        source=MEMORY,
        edges=seen.edges,
        as_hits=True,
    )


def _spreads(fit: FleetFit | None, seen: Seen) -> list[Factor]:
    """What no column tells: how much cycles, edges and dies differ that are alike on paper."""
    nine = math.log(-math.log(0.9)) - math.log(math.log(2.0))
    k_mean, k_sd = prior.LN_K
    ks = [math.exp(nine / math.exp(k_mean + side * handbook.Z80 * k_sd)) for side in (0, -1, 1)]
    # Half-normal: the middle, and the limits of 8 in 10, over its scale.
    middle, low, high = 0.6745, 0.1257, 1.6449
    made = []
    for words, prior_values, column, change in (
        (
            "one edge, grind to grind: 9 in 10 last longer than this share of its usual hits",
            tuple(ks),
            -3,
            lambda v: np.exp(nine / np.exp(v)),
        ),
        (
            "same build, different die: best 1 in 10 outlasts the middle by",
            tuple(math.exp(handbook.Z80 * prior.TU_HALF_NORMAL * q) for q in (middle, low, high)),
            -2,
            lambda v: np.exp(handbook.Z80 * np.exp(v)),
        ),
        (
            "same build, same die: best 1 in 10 outlasts the middle by",
            tuple(math.exp(handbook.Z80 * prior.TV_HALF_NORMAL * q) for q in (middle, low, high)),
            -1,
            lambda v: np.exp(handbook.Z80 * np.exp(v)),
        ),
    ):
        own, says = None, NOT_YET
        if fit is not None:
            column_values = fit.draws[:, column]
            mean = float(fit.weights @ column_values)
            sd = math.sqrt(max(float(fit.weights @ column_values**2) - mean**2, 0.0))
            own = tuple(float(change(mean + side * handbook.Z80 * sd)) for side in (0, -1, 1))
            width = [math.log(v[2] / v[1]) for v in (own, prior_values)]
            says = how_much(width[0] / width[1], abs(math.log(own[0] / prior_values[0])) / (width[1] / 2.56), None)
        made.append(
            Factor(
                group="Scatter nobody can explain",
                words=words,
                handbook=prior_values,
                own=own,
                says=says,
                source=MEMORY,
                edges=seen.edges,
            )
        )
    return made


def in_words(spec: EdgeSpec, thickness: str, tensile: str) -> str:
    """An edge as one says it: "punch, D2, bare, in 1.20 mm carbon steel of 340 MPa, gap 8 %"."""
    hardness = spec.hardness_above_usual_hrc
    usual = tool_steels.grade(spec.steel)
    steel = steel_words(spec.steel)
    if hardness is not None and usual is not None and usual.usual_hrc is not None:
        steel += f" of {usual.usual_hrc + hardness:g} HRC"
    stock = "other stock" if spec.stock_family == "other" else spec.stock_family
    gap = "gap not known" if spec.gap_pct is None else f"gap {spec.gap_pct:.3g} % a side"
    return (
        f"{side_words(spec.side)}, {steel}, {coating_words(spec.coating)}, in {thickness} {stock} of {tensile}, {gap}"
    )
