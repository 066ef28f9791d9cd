"""An outlined tool reckoned: what each way costs to build and to run, and the ways weighed against each other."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal

import numpy as np
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop
from numpy.typing import NDArray

from diestore.handbook import build_elements, kinds, materials, tool_steels
from diestore.handbook.build_doubts import Strip, of_gap, of_hardness
from diestore.handbook.build_elements import ELEMENTS, Build, NoPrice
from maintenance.forecasts import builds, burr_limits, store
from maintenance.life import unbuilt
from maintenance.life.cycles import EdgeSpec, SampleRefused
from maintenance.life.fleet import FleetFit
from maintenance.life.seen import Seen
from reports.costing import outlined
from reports.costing.break_even import BreakEven
from reports.costing.money import MoneyRefused, from_float
from reports.costing.outlined import ASSUMED, RUNNING, Bar, Built, EdgesAlike
from reports.costing.ways import Programme, Way, Weighed, thousand_at, weigh

from . import reads
from .reads import Known, Outline, OutlineWay, Price

Array = NDArray[np.float64]
BUILD = "build"
PAID = (BUILD, *RUNNING)
WORDS = {
    BUILD: gettext_noop("building the tool"),
    "sharpening": gettext_noop("sharpening"),
    "spares": gettext_noop("pieces ground out"),
    "burr stops": gettext_noop("stops and sorting for burr"),
    "breaks": gettext_noop("chips and breaks"),
    "press time": gettext_noop("press time"),
}
RECEIVER = {
    BUILD: gettext_noop("who builds it"),
    "sharpening": gettext_noop("the toolroom"),
    "spares": gettext_noop("suppliers of spares, the toolroom"),
    "burr stops": gettext_noop("the press shop"),
    "breaks": gettext_noop("suppliers of spares, the toolroom"),
    "press time": gettext_noop("the press shop"),
}
ALL, CUSTOMER, SHOP = "all", "customer", "shop"
VOLUMES = 49
LIMITS = 25
BARS = 12
FEW = 10  # dull ends below which the handbook says more of a build than the record (common practice, no source)
ROUND_KINDS = {"pierce_punch", "pilot_pierce_punch", "semi_pierce_punch"}


@dataclass(frozen=True, kw_only=True)
class Figure:
    """An assumption as it holds. source: where from. low, high: between which it is moved. used: in this answer."""

    key: str
    words: str
    unit: str
    value: float
    source: str
    low: float
    high: float
    changed: bool
    by_shop: bool
    used: bool = True


@dataclass(frozen=True, kw_only=True)
class PriceLine:
    words: str
    quantity: float
    unit: str
    each: Decimal
    amount: Decimal


@dataclass(frozen=True, kw_only=True)
class WayTold:
    """row: as it is typed. lines: what its price is made of, where it is by the list. interval: strokes between
    sharpenings, half of such tools and 8 in 10. grinds: a piece of the punches' grade gives. elements: money per
    thousand parts, expected. per_hit: parts a hit. doubts: what is unusual about it."""

    row: OutlineWay
    number: int
    price: Decimal
    by_list: bool
    lines: tuple[PriceLine, ...]
    interval: tuple[float, float, float]
    interval_dull: float
    grinds: int
    grinds_below: int
    elements: dict[str, Decimal]
    per_hit: int
    chips: float
    doubts: tuple[str, ...]

    @property
    def running(self) -> Decimal:
        return sum(self.elements.values(), Decimal(0))


@dataclass(frozen=True, kw_only=True)
class Curve:
    """Money per thousand parts of a way over something. low, high: 8 in 10."""

    number: int
    name: str
    y: tuple[float, ...]
    low: tuple[float, ...] = ()
    high: tuple[float, ...] = ()


@dataclass(frozen=True, kw_only=True)
class Payer:
    """An element of cost over the programme: who pays it, who gets it, and what it comes to by way."""

    key: str
    words: str
    shop_pays: bool
    receiver: str
    amounts: tuple[Decimal, ...]


@dataclass(frozen=True, kw_only=True)
class Told:
    """refusal: why nothing can be said yet. notes: what the answer leaves out or takes as alike."""

    outline: Outline
    figures: tuple[Figure, ...]
    whose: str = ALL
    refusal: str = ""
    lacks_price: bool = False
    ways: tuple[WayTold, ...] = ()
    weighed: Weighed | None = None
    volumes: tuple[int, ...] = ()
    by_volume: tuple[Curve, ...] = ()
    crossings: tuple[tuple[str, BreakEven], ...] = ()
    burr_um: tuple[float, ...] = ()
    by_burr: tuple[Curve, ...] = ()
    bars: tuple[Bar, ...] = ()
    bars_of: str = ""
    bars_worth: Decimal = Decimal(0)
    payers: tuple[Payer, ...] = ()
    notes: tuple[str, ...] = ()
    rests_on: str = ""

    @property
    def parts(self) -> int:
        return sum(self.outline.volumes)

    def number_of_way(self, name: str) -> int:
        """The number of a way by the name that it is weighed under."""
        assert self.weighed is not None
        return next(n for n, one in enumerate(self.weighed.ways, start=1) if one.way.name == name)

    @property
    def base_number(self) -> int:
        assert self.weighed is not None
        return self.number_of_way(self.weighed.base.way.name)


def figures_of(outline: Outline, known: Mapping[str, Known]) -> tuple[Figure, ...]:
    """Every assumption as it holds: changed on the page, else by the shop's rates and records, else as usual."""
    made = []
    for key, one in ASSUMED.items():
        value, source = one.usual, _(one.source)
        if key in known:
            value, source = known[key].value, known[key].source
        typed = outline.assumed.get(key)
        if typed is not None:
            value, source = float(typed), _("typed on this outline")
        value = min(max(value, one.least), one.most)
        low, high = outlined.span(key, value)
        made.append(
            Figure(
                key=key,
                words=_(one.words),
                unit=_(one.unit) if one.unit else "",
                value=value,
                source=source,
                low=low,
                high=high,
                changed=typed is not None,
                by_shop=key in known,
            )
        )
    return tuple(made)


def reckon(outline: Outline, *, whose: str = ALL) -> Told:
    """Everything that the page and the papers say of an outlined tool. whose: whose money counts."""
    figures = figures_of(outline, reads.known_figures(outline.plant, outline.on))
    rows = list(outline.ways.all())
    if not rows:
        return Told(outline=outline, figures=figures, whose=whose, refusal=_("No way of building it is entered yet."))
    fit, seen = store.fleet_of(outline.plant), store.seen_by(store.newest_fit(outline.plant))
    prices = reads.prices_on(outline.plant, outline.on)
    try:
        return _told(outline, rows, figures, fit, seen, prices, whose)
    except (MoneyRefused, SampleRefused, NoPrice) as reason:
        lacks_price = isinstance(reason, NoPrice)
        return Told(outline=outline, figures=figures, whose=whose, refusal=str(reason), lacks_price=lacks_price)


def _told(
    outline: Outline,
    rows: Sequence[OutlineWay],
    figures: tuple[Figure, ...],
    fit: FleetFit,
    seen: Seen,
    prices: Mapping[str, Price],
    whose: str,
) -> Told:
    plain = {figure.key: figure.value for figure in figures}
    one_set = outlined.sets(plain)
    groups = [_groups(outline, row) for row in rows]
    intervals = unbuilt.mean_intervals(fit, groups)
    share, model = _share(fit, outline)
    counted = _counted(outline, rows, whose)
    built = [
        _built(outline, row, group, fit, prices, every, share)
        for row, group, every in zip(rows, groups, intervals, strict=True)
    ]
    every_element = [outlined.running(way, one_set) for way in built]
    told = [
        _way(outline, row, n, group, fit, prices, way, elements, one_set, plain)
        for n, (row, group, way, elements) in enumerate(zip(rows, groups, built, every_element, strict=True), start=1)
    ]
    programme = Programme(
        parts_by_year=tuple(outline.volumes),
        interest=_share_of(plain["interest_pct"]),
        rise=_share_of(plain["rise_pct"]),
    )
    names = _names(rows)
    ways = [
        Way(
            name=name,
            price=way.price if BUILD in counted else Decimal(0),
            running=_sum(elements, counted)[0],
            lasts_parts=None if way.row.lasts_hits is None else way.row.lasts_hits * way.per_hit,
        )
        for name, way, elements in zip(names, told, every_element, strict=True)
    ]
    weighed = weigh(ways, programme)
    volumes = _volumes(sum(outline.volumes))
    burr_um, by_burr = _by_burr(built, ways, told, one_set, counted, model, outline, sum(outline.volumes))
    bars, bars_of, bars_worth = _bars(weighed, ways, built, figures, counted)
    return Told(
        outline=outline,
        figures=_with_use(figures, outline, rows, prices, model, counted),
        whose=whose,
        ways=tuple(told),
        weighed=weighed,
        volumes=volumes,
        by_volume=tuple(_by_volume(way, n, volumes) for n, way in enumerate(ways, start=1)),
        crossings=tuple((one.money.way.name, one.crossing) for one in weighed.others),
        burr_um=burr_um,
        by_burr=by_burr,
        bars=bars,
        bars_of=bars_of,
        bars_worth=bars_worth,
        payers=_payers(outline, told, sum(outline.volumes), _counted(outline, rows, ALL)),
        notes=tuple([*_not_seen(rows, seen), *_notes(outline, rows, fit, prices, model, counted)]),
        rests_on=builds.rests_on(fit),
    )


def _with_use(figures, outline: Outline, rows, prices, model, counted) -> tuple[Figure, ...]:
    """The same, those that nothing here rests on marked so."""
    idle = set()
    if model is not None or outline.burr_limit_um is None:
        idle |= {"fresh_burr_um", "dull_burr_um"}
    if "press time" not in counted:
        idle.add("press_runs_pct")
    if all(_piece(row.steel, row.coating, prices) is not None for row in rows) and all(
        _piece(row.below, "", prices) is not None for row in rows
    ):
        idle.add("piece_price")
    grades = {_grade(steel) for row in rows for steel in (row.steel, row.below)}
    if "carbide" not in grades:
        idle |= {"carbide_times", "carbide_grind_mm"}
    if grades == {"carbide"}:
        idle.add("grind_mm")
    if "powder" not in grades:
        idle.add("powder_times")
    if all(row.guides == "plain" for row in rows):
        idle.add("roller_times")
    if all(row.stripper == "spring" for row in rows):
        idle.add("fixed_stripper_times")
    if all(row.die_side == "inserts" for row in rows):
        idle.add("solid_break_times")
    return tuple(replace(figure, used=figure.key not in idle) for figure in figures)


def _names(rows: Sequence[OutlineWay]) -> list[str]:
    """Each name once: ways are told apart by them."""
    names = [row.name for row in rows]
    return [f"{name} ({n})" if names.count(name) > 1 else name for n, name in enumerate(names, start=1)]


def _share_of(percent: float) -> Decimal:
    return Decimal(repr(round(percent, 6))) / 100


def _counted(outline: Outline, rows: Sequence[OutlineWay], whose: str) -> tuple[str, ...]:
    """The elements that count: of the payer asked for; press time only where the ways hit differently."""
    hits = {row.parts_per_hit or outline.parts_per_hit for row in rows}
    there = [key for key in PAID if key != "press time" or len(hits) > 1]
    if whose == SHOP:
        return tuple(key for key in there if key in outline.shop_pays)
    if whose == CUSTOMER:
        return tuple(key for key in there if key not in outline.shop_pays)
    return tuple(there)


def _sum(elements: Mapping[str, Array], counted: Sequence[str]) -> Array:
    shape = next(iter(elements.values())).shape
    return sum((elements[key] for key in counted if key in elements), np.zeros(shape))


def _groups(outline: Outline, row: OutlineWay) -> list[tuple[EdgeSpec, int]]:
    """Punches and die sides of each cutting place: two groups each, as many as fall at a hit."""
    family = materials.family_of(outline.material)
    times = (row.parts_per_hit or outline.parts_per_hit) / outline.parts_per_hit
    made = []
    for place in outline.places.all():
        count = max(round(place.count * times), 1)
        for below in (False, True):
            steel = row.below if below else row.steel
            hrc = row.hardness_below_hrc if below and row.steel_below else row.hardness_hrc
            kind = place.kind
            if below:
                kind = "die_button" if place.kind in ROUND_KINDS else "die_section"
            made.append(
                (
                    EdgeSpec(
                        die=0,
                        thickness_mm=outline.thickness_mm,
                        tensile_mpa=outline.tensile_mpa,
                        stock_family=family,
                        steel=builds.steel_group(steel),
                        hardness_above_usual_hrc=builds.above_usual(steel, hrc),
                        coating="none" if below else tool_steels.coating(row.coating),
                        gap_pct=row.gap_pct,
                        side="lower" if below else "upper",
                        kind=kind,
                    ),
                    count,
                )
            )
    return made


def _grade(steel: str) -> str:
    known = tool_steels.grade(steel)
    return {"carbide": "carbide", "PM": "powder"}.get(known.group if known else "", "steel")


def _piece(steel: str, coating: str, prices: Mapping[str, Price]) -> Decimal | None:
    """What the list asks for a piece of that steel with that coating; None where it does not hold one of them."""
    keys = build_elements.piece_key_and_coat(steel, coating)
    return sum((prices[key].price for key in keys), Decimal(0)) if all(key in prices for key in keys) else None


def _built(
    outline: Outline,
    row: OutlineWay,
    groups: Sequence[tuple[EdgeSpec, int]],
    fit: FleetFit,
    prices: Mapping[str, Price],
    intervals: Array,
    share: float | None,
) -> Built:
    edges = []
    for spec, count in groups:
        below = spec.side == "lower"
        steel = row.below if below else row.steel
        edges.append(
            EdgesAlike(
                count=count,
                grade=_grade(steel),
                piece=_piece(steel, "" if below else row.coating, prices),
                chips=fit.chip_rates.of(spec),
                gap_pct=row.gap_pct,
                below=below,
            )
        )
    return Built(
        intervals=intervals,
        edges=tuple(edges),
        parts_per_hit=row.parts_per_hit or outline.parts_per_hit,
        strokes_per_minute=outline.strokes_per_minute,
        roller=row.guides == "roller",
        fixed_stripper=row.stripper == "fixed",
        solid=row.die_side == "solid",
        burr_limit_um=outline.burr_limit_um,
        burr_share=share,
    )


def _share(fit: FleetFit, outline: Outline):
    """The share of the interval until the burr limit by the shop's readings, and the model that says so; None each
    where there is no limit or there are no readings."""
    model = burr_limits.model_of(fit)
    if model is None or outline.burr_limit_um is None:
        return None, model
    share = model.share_at(outline.burr_limit_um, outline.thickness_mm)
    if share < outlined.LEAST_SHARE:
        raise MoneyRefused(
            _("A burr limit of {limit:g} µm is no more than fresh edges leave here, {fresh:.3g} µm.").format(
                limit=outline.burr_limit_um, fresh=model.c0
            )
        )
    return min(share, 1.0), model


def _way(
    outline: Outline,
    row: OutlineWay,
    number: int,
    groups,
    fit: FleetFit,
    prices: Mapping[str, Price],
    way: Built,
    elements: Mapping[str, Array],
    one_set,
    plain: Mapping[str, float],
) -> WayTold:
    lines: tuple[PriceLine, ...] = ()
    price = row.price
    if price is None:
        lines = _price_lines(row, groups, prices)
        price = sum((line.amount for line in lines), Decimal(0))
    every = outlined.interval(way, one_set)[0]
    low, middle, high = np.quantile(every, [0.1, 0.5, 0.9])
    dull = float(np.quantile(way.intervals, 0.5))
    edges = sum(count for _, count in groups)
    return WayTold(
        row=row,
        number=number,
        price=price,
        by_list=row.price is None,
        lines=lines,
        interval=(float(low), float(middle), float(high)),
        interval_dull=dull,
        grinds=_grinds(row.steel, plain),
        grinds_below=_grinds(row.below, plain),
        elements={key: from_float(float(elements[key].mean()) * 1000) for key in RUNNING},
        per_hit=way.parts_per_hit,
        chips=sum(e.count * e.chips for e in way.edges) / edges,
        doubts=tuple(_doubts(outline, row)),
    )


def _grinds(steel: str, plain: Mapping[str, float]) -> int:
    off = plain["carbide_grind_mm" if _grade(steel) == "carbide" else "grind_mm"]
    return int(plain["allowance_mm"] / off + 1e-9)


def _price_lines(row: OutlineWay, groups, prices: Mapping[str, Price]) -> tuple[PriceLine, ...]:
    """Of a way without a price of its own. Raises NoPrice where the list does not hold an element of it."""
    places = sum(count for spec, count in groups if spec.side == "upper")
    lengths = {n: place.length_mm for n, place in enumerate(row.outline.places.all())}
    cut = sum(count * lengths[n // 2] for n, (spec, count) in enumerate(groups) if spec.side == "upper")
    needed = build_elements.counted(
        Build(
            places=places,
            cut_mm=cut,
            steel=row.steel,
            steel_below=row.below,
            coating=row.coating,
            guides=row.guides,
            stripper=row.stripper,
            die_side=row.die_side,
        )
    )
    if lacking := build_elements.missing(needed, prices):
        raise NoPrice(lacking)
    return tuple(
        PriceLine(
            words=ELEMENTS[key].words,
            quantity=needed[key],
            unit=ELEMENTS[key].unit,
            each=prices[key].price,
            amount=(prices[key].price * Decimal(repr(float(needed[key])))).quantize(Decimal("0.01")),
        )
        for key in ELEMENTS
        if needed.get(key)
    )


def _doubts(outline: Outline, row: OutlineWay) -> list[str]:
    strip = Strip(material=outline.material, tensile_mpa=outline.tensile_mpa, thickness_mm=outline.thickness_mm)
    gap = None if row.gap_pct is None else row.gap_pct / 100 * outline.thickness_mm
    found = [*of_hardness(row.steel, row.hardness_hrc), *of_gap(gap, strip)]
    if row.steel_below:
        found += of_hardness(row.steel_below, row.hardness_below_hrc)
    known = tool_steels.grade(row.steel)
    made = [f"{doubt.text} ({doubt.source})" for doubt in found]
    if known is not None and not known.known:
        told = _("{steel} is not in the handbook: it is taken for as good as D2, and unsure.")
        made.append(told.format(steel=row.steel))
    return list(dict.fromkeys(made))


def _volumes(parts: int) -> tuple[int, ...]:
    return tuple(sorted({max(int(v), 1) for v in np.geomspace(max(parts / 50, 1), max(parts * 4, 50), VOLUMES)}))


def _by_volume(way: Way, number: int, volumes: Sequence[int]) -> Curve:
    low, high = np.quantile(way.running * 1000, [0.1, 0.9])
    mean = float(way.a_part) * 1000
    y = [float(thousand_at(way, parts)) for parts in volumes]
    return Curve(
        number=number,
        name=way.name,
        y=tuple(y),
        low=tuple(v - mean + float(low) for v in y),
        high=tuple(v - mean + float(high) for v in y),
    )


def _by_burr(built, ways, told, one_set, counted, model, outline: Outline, parts: int):
    """What a tighter burr costs: each way at limits from what a fresh edge leaves to what a dull one does."""
    fresh = model.c0 if model is not None else float(one_set["fresh_burr_um"][0, 0])
    dull = model.value_at(1.0, outline.thickness_mm) if model is not None else float(one_set["dull_burr_um"][0, 0])
    limits = np.linspace(fresh + 0.12 * (dull - fresh), fresh + 1.15 * (dull - fresh), LIMITS)
    if model is not None:
        shares = np.array([min(model.share_at(float(v), outline.thickness_mm), 1.0) for v in limits])[:, None]
    else:
        shares = outlined.burr_share(limits[:, None], one_set)
    kept = shares[:, 0] >= outlined.LEAST_SHARE
    limits, shares = limits[kept], shares[kept]
    curves = []
    for n, (built_way, way) in enumerate(zip(built, ways, strict=True), start=1):
        money = _sum(outlined.running(built_way, one_set, shares), counted)
        build = float(thousand_at(way, parts) - way.a_part * 1000)
        curves.append(Curve(number=n, name=way.name, y=tuple((money.mean(axis=1) * 1000 + build).tolist())))
    return tuple(map(float, limits)), tuple(curves)


def _bars(weighed: Weighed, ways, built, figures, counted) -> tuple[tuple[Bar, ...], str, Decimal]:
    """What moves the worth of the best of the dearer ways, the widest first."""
    if not weighed.others:
        return (), "", Decimal(0)
    other = max(weighed.others, key=lambda one: (one.worth, -one.extra, one.money.way.name))
    at, base = (next(n for n, way in enumerate(ways) if way is one.way) for one in (other.money, weighed.base))
    plain = {figure.key: figure.value for figure in figures}
    hits_differ = "press time" in counted
    keys = [key for key in ASSUMED if hits_differ or key not in outlined.NOT_MOVED]
    moved = outlined.moved(plain, keys)
    saved = _sum(outlined.running(built[base], moved), counted) - _sum(outlined.running(built[at], moved), counted)
    more = [
        float(ways[at].price) * a - float(ways[base].price) * b
        for a, b in zip(_bought(ways[at], weighed), _bought(ways[base], weighed), strict=True)
    ]
    parts = weighed.programme.parts_by_year

    def worth(saving: Array, scale: float = 1.0, interest=None, rise=None) -> Array:
        return outlined.worth_of_saving(
            saving,
            extra=float(other.extra),
            parts_by_year=[round(p * scale) for p in parts],
            interest=moved["interest_pct"][:, 0] / 100 if interest is None else interest,
            rise=moved["rise_pct"][:, 0] / 100 if rise is None else rise,
            extra_by_year=more,
        )

    values = worth(saved.mean(axis=1))
    first = {"interest": moved["interest_pct"][0, 0] / 100, "rise": moved["rise_pct"][0, 0] / 100}
    named = {figure.key: figure for figure in figures}
    bars = [
        Bar(
            key=key,
            words=_with_unit(named[key]),
            at_low=float(values[1 + 2 * n]),
            at_high=float(values[2 + 2 * n]),
            from_value=named[key].low,
            to_value=named[key].high,
        )
        for n, key in enumerate(keys)
    ]
    low, high = np.quantile(saved[0], [0.1, 0.9])
    bars.append(
        Bar(
            key="life",
            words=_("how long edges last, as unsure as it is told"),
            at_low=float(worth(low, **first)),
            at_high=float(worth(high, **first)),
            from_value=0.1,
            to_value=0.9,
        )
    )
    mean = saved[0].mean()
    bars.append(
        Bar(
            key="volume",
            words=_("parts, times as many"),
            at_low=float(worth(mean, 0.5, **first)),
            at_high=float(worth(mean, 1.5, **first)),
            from_value=0.5,
            to_value=1.5,
        )
    )
    wide = sorted((bar for bar in bars if bar.width > 0.005), key=lambda bar: (-bar.width, bar.key))
    return tuple(wide[:BARS]), other.money.way.name, other.worth


def _bought(way: Way, weighed: Weighed) -> list[int]:
    from reports.costing.ways import tools_bought

    return tools_bought(way, weighed.programme)


def _with_unit(figure: Figure) -> str:
    return f"{figure.words}, {figure.unit}" if figure.unit else figure.words


def _payers(outline: Outline, told: Sequence[WayTold], parts: int, keys: Sequence[str]) -> tuple[Payer, ...]:
    def amount(way: WayTold, key: str) -> Decimal:
        return way.price if key == BUILD else way.elements[key] * parts / 1000

    return tuple(
        Payer(
            key=key,
            words=_(WORDS[key]),
            shop_pays=key in outline.shop_pays,
            receiver=_(RECEIVER[key]),
            amounts=tuple(amount(way, key) for way in told),
        )
        for key in keys
    )


def _not_seen(rows: Sequence[OutlineWay], seen: Seen) -> list[str]:
    """Steels and coatings of which the shop has little or nothing on record: memory may speak for the dearer way."""
    made = []
    for sort, names in (
        ("steel", {builds.steel_group(steel) or steel for row in rows for steel in (row.steel, row.below)}),
        ("coating", {tool_steels.coating(row.coating) for row in rows} - {"none"}),
    ):
        words = builds.steel_words if sort == "steel" else builds.coating_words
        for name in sorted(names):
            edges, ends = seen.counts.get(sort, {}).get(name, (0, 0))
            if not edges:
                told = _("No edge of {build} is on record here: what it does is the handbook's.")
                made.append(told.format(build=words(name)))
            elif ends < FEW:
                told = _("Of {build} only {n} dull ends are on record: it is mostly the handbook's word.")
                made.append(told.format(build=words(name), n=ends))
    return made


def _notes(outline: Outline, rows, fit: FleetFit, prices, model, counted) -> list[str]:
    made = []
    steels = {steel for row in rows for steel in (row.steel, row.below)}
    lacking = sorted(s for s in steels if build_elements.steel_key(s) not in prices)
    if lacking:
        told = _("The price list has no piece of {steels}: a spare of it costs what is assumed.")
        made.append(told.format(steels=", ".join(lacking)))
    if fit.chipped_ends:
        told = _(
            "Chips: {n:,} chipped ends of the shop's record say how often each family of steel chips here; what the "
            "gap does to chips no record says, and it is the same for every way unless typed."
        )
        made.append(told.format(n=fit.chipped_ends))
    else:
        made.append(_("No chip is on record: every steel is taken to chip alike."))
    if outline.burr_limit_um is None:
        made.append(_("No burr limit: edges run until the shop calls them dull."))
    elif model is not None:
        made.append(_("How the burr grows towards the limit is the shop's own readings."))
    else:
        made.append(_("No burr readings are on record: the burr is taken to grow in step with the strokes."))
    if any(row.guides == "roller" for row in rows) and any(row.guides == "plain" for row in rows):
        made.append(_("What roller guides do to edges is not known here: nothing is taken for it unless typed."))
    if "press time" not in counted:
        made.append(_("Press time and material are the same for every way and left out."))
    else:
        made.append(_("Press time counts, since the ways make different numbers of parts a hit. Material is left out."))
    if any(row.gap_pct is None for row in rows):
        made.append(_("Where no gap is given, 10 % of the thickness a side is taken."))
    return made


__all__ = ["ALL", "CUSTOMER", "PAID", "SHOP", "WORDS", "Told", "kinds", "reckon"]
