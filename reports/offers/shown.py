"""What the page and the paper say of an outlined tool, in words and figures. Formats, never computes."""

from __future__ import annotations

from decimal import Decimal

from diestore import units
from diestore.handbook import kinds
from diestore.handbook.build_elements import DIE_SIDES, GUIDES, STRIPPERS
from maintenance.wording.odds import chance
from reports.costing.money import rounded
from reports.costing.ways import Against, Money
from reports.format import cents, day, money

from . import plots
from .reckon import BUILD, PAID, SHOP, WORDS, Told, WayTold


def page(told: Told, currency: str, system: units.System) -> dict:
    context = {
        "outline": told.outline,
        "told": told,
        "currency": currency,
        "facts": facts(told, system),
        "assumed": assumed(told, currency),
        "changed": [f for f in told.figures if f.changed],
    }
    if told.refusal or told.weighed is None:
        return context | {"ways_typed": [(row, way_words(row)) for row in told.outline.ways.all()]}
    return context | {
        "ways": ways(told),
        "elements": elements(told),
        "others": others(told),
        "lead": lead(told, currency),
        "volume_plot": volume_plot(told, currency),
        "years_plot": years_plot(told, currency),
        "burr_plot": burr_plot(told, currency, system),
        "swing_plot": swing_plot(told, currency),
        "payers": payers(told),
        "years": years(told),
        "crossings": crossings(told),
        "yearly": any(m.life_years < len(told.outline.volumes) for m in told.weighed.ways),
    }


def round_hits(value: float) -> str:
    return f"{float(f'{value:.3g}'):,.0f}"


def facts(told: Told, system: units.System) -> list[tuple[str, str]]:
    o = told.outline
    volumes = ", ".join(f"{n:,}" for n in o.volumes)
    if len(set(o.volumes)) == 1 and len(o.volumes) > 1:
        volumes = f"{o.volumes[0]:,} a year for {len(o.volumes)} years"
    thickness = units.show(o.thickness_mm, "thickness_mm", system)
    made = [
        ("Strip", f"{o.material}, {thickness}, {units.show(o.tensile_mpa, 'tensile_mpa', system)}"),
        ("Burr limit", units.show(o.burr_limit_um, "burr_limit_um", system) if o.burr_limit_um else "none"),
        ("Cuts", "; ".join(_place(place, system) for place in o.places.all())),
        ("Parts a hit", f"{o.parts_per_hit}, at {o.strokes_per_minute:g} strokes a minute"),
        ("Parts", volumes if len(o.volumes) > 1 else f"{volumes} in one year"),
    ]
    if o.wanted_months is not None:
        made.append(("Tool wanted", f"in {o.wanted_months} month{'' if o.wanted_months == 1 else 's'}"))
    made.append(("Offer", f"of {day(o.on)}" + (f", valid until {day(o.valid_until)}" if o.valid_until else "")))
    return made


def _place(place, system: units.System) -> str:
    name = kinds.KINDS[place.kind].name if place.count == 1 else kinds.plural_of(place.kind)
    length = units.show(place.length_mm, "length_mm", system)
    return f"{place.count} {name} of {length}" if place.count == 1 else f"{place.count} {name} of {length} each"


def way_words(row) -> str:
    """How it is built, in a line."""
    bits = [f"punches {_steel(row.steel)}", f"{row.hardness_hrc:g} HRC" if row.hardness_hrc else "", row.coating]
    if row.steel_below:
        hard = f" {row.hardness_below_hrc:g} HRC" if row.hardness_below_hrc else ""
        bits.append(f"die side {_steel(row.steel_below)}{hard}")
    bits += [
        f"gap {row.gap_pct:g} % a side" if row.gap_pct is not None else "",
        GUIDES[row.guides],
        DIE_SIDES[row.die_side],
        STRIPPERS[row.stripper],
        f"{row.parts_per_hit} parts a hit" if row.parts_per_hit else "",
        f"lasts {row.lasts_hits:,} hits" if row.lasts_hits else "",
    ]
    return ", ".join(filter(None, bits))


def _steel(name: str) -> str:
    return "powder steel" if name == "PM" else name


def ways(told: Told) -> list[dict]:
    assert told.weighed is not None
    made = []
    for way, one in zip(told.ways, told.weighed.ways, strict=True):
        made.append(
            {
                "way": way,
                "number": way.number,
                "name": one.way.name,
                "words": way_words(way.row),
                "price": money(way.price, cents=False),
                "by_list": way.by_list,
                "lines": price_lines(way),
                "interval": round_hits(way.interval[1]),
                "band": f"{round_hits(way.interval[0])} to {round_hits(way.interval[2])}",
                "grinds": way.grinds,
                "grinds_below": way.grinds_below,
                "chips": f"{way.chips:.2g}",
                "running": cents(one.running.expected),
                "running_band": f"{cents(one.running.low)} to {cents(one.running.high)}",
                "build": cents(one.build_thousand),
                "thousand": cents(one.thousand),
                "worth": money(one.worth, cents=False),
                "total": money(one.cumulative[-1], cents=False),
                "yearly": money(one.yearly, cents=False) if one.yearly is not None else "worn out within a year",
                "life": one.life_years,
                "is_best": one is told.weighed.best,
                "is_base": one is told.weighed.base,
                "share": f"{float(one.acquisition_share):.0%}",
            }
        )
    return made


def price_lines(way: WayTold) -> list[tuple[str, str, str]]:
    return [
        (line.words, f"{line.quantity:,.4g} × {cents(line.each)}", money(line.amount, cents=False))
        for line in way.lines
    ]


def counted(told: Told) -> list[str]:
    """Elements that the figures hold, in their order."""
    there = {payer.key for payer in told.payers}
    if told.whose == "all":
        return [key for key in PAID if key in there]
    shop = told.whose == SHOP
    return [payer.key for payer in told.payers if payer.shop_pays == shop]


def elements(told: Told) -> list[tuple[str, list[str]]]:
    """Cost per thousand parts by element and way; the build over all the parts."""
    assert told.weighed is not None
    rows = []
    for key in counted(told):
        cells = []
        for way, one in zip(told.ways, told.weighed.ways, strict=True):
            cells.append(cents(one.build_thousand if key == BUILD else way.elements[key]))
        rows.append((WORDS[key], cells))
    return rows


def others(told: Told) -> list[dict]:
    assert told.weighed is not None
    base = told.weighed.base
    return [_other(told, one, base) for one in told.weighed.others]


def _other(told: Told, one: Against, base: Money) -> dict:
    rate = one.rate.rate if one.rate.is_plain and one.extra > 0 else None
    name = one.money.way.name
    crossing = one.crossing.parts
    return {
        "number": told.number_of_way(name),
        "name": name,
        "base": base.way.name,
        "alike": one.is_alike,
        "extra": money(one.extra, cents=False),
        "worth": money(one.worth, cents=False),
        "pays": one.worth > 0,
        "rate": f"{rate * 100:,.0f} % a year"
        if rate is not None and rate < 100
        else "over 10,000 % a year"
        if rate is not None
        else "none",
        "reinvested": f"{one.reinvested * 100:,.0f} %" if one.reinvested is not None and one.extra > 0 else "",
        "years": f"{one.years:.1f}" if one.years is not None else "",
        "low": f"{one.low:.1f}" if one.low is not None else "",
        "high": f"{one.high:.1f}" if one.high is not None else "",
        "chance": chance(one.chance),
        "crossing": round_hits(float(crossing)) if crossing is not None else "",
        "never": "" if crossing is not None else _never(one, name, base.way.name),
        "from_there": name if one.crossing.cheaper_above == "B" else base.way.name,
    }


def _never(one: Against, name: str, base: str) -> str:
    if one.crossing.cheaper_above == "same":
        return "the same at every volume"
    return f"{name if one.crossing.cheaper_above == 'B' else base} is cheaper at every volume"


def crossings(told: Told) -> list[str]:
    return [f"{o['name']}: {o['crossing'] or o['never']}" for o in others(told)]


def _start(name: str) -> str:
    """A name at the start of a sentence."""
    return name[:1].upper() + name[1:]


def lead(told: Told, currency: str) -> tuple[str, str]:
    """What it comes to: the answer, and what one asks next."""
    assert told.weighed is not None
    weighed, found = told.weighed, others(told)
    best, base, over = weighed.best, weighed.base, f"over {told.parts:,} parts"
    thousand, cost = f"{currency} per thousand parts", cents(best.thousand)
    whose = {"shop": "Counted is what the shop pays.", "customer": "Counted is what the customer pays."}.get(
        told.whose, ""
    )
    if not found:
        return (
            f"{_start(best.way.name)} costs {cost} {thousand} {over}.",
            f"Add a second way to compare. {whose}".strip(),
        )
    if all(one["alike"] for one in found):
        return f"All ways come to the same: {cost} {thousand} {over}.", whose
    if best is base:
        pays = [f"{_start(one['name'])} pays with a chance of {one['chance']}." for one in found if not one["alike"]]
        head = f"{_start(best.way.name)}, the cheapest to build, stays the cheapest {over}: {cost} {thousand}."
        return head, " ".join(filter(None, [*pays, whose]))
    one, figure = next(o for o in found if o["name"] == best.way.name), cents(base.thousand)
    head = f"{_start(best.way.name)} is the cheapest {over}: {cost} {thousand}. {_start(base.way.name)}: {figure}."
    bits = [f"The build costs {one['extra']} more.", f"It is back after {one['years']} years." if one["years"] else ""]
    bits.append(f"What it saves is worth {one['worth']} today, the build paid. Chance that it pays: {one['chance']}.")
    return head, " ".join(filter(None, [*bits, whose]))


def years(told: Told) -> list[tuple[str, list[str]]]:
    """Money paid up to the end of each year."""
    assert told.weighed is not None
    names = ["now", *(f"year {n}" for n in range(1, len(told.outline.volumes) + 1))]
    return [
        (name, [f"{rounded(one.cumulative[n], Decimal(1)):,}" for one in told.weighed.ways])
        for n, name in enumerate(names)
    ]


def payers(told: Told) -> list[dict]:
    return [
        {
            "words": p.words,
            "payer": "the shop" if p.shop_pays else "the customer",
            "receiver": p.receiver,
            "amounts": [f"{rounded(a, Decimal(1)):,}" for a in p.amounts],
        }
        for p in told.payers
    ]


def value_words(value: float) -> str:
    return f"{round(value):,}" if abs(value) >= 1_000 else f"{value:.4g}"


def assumed(told: Told, currency: str) -> list[dict]:
    return [
        {
            "words": f.words,
            "value": value_words(f.value),
            "unit": f.unit,
            "source": f.source,
            "changed": f.changed,
            "range": f"{value_words(f.low)} to {value_words(f.high)}",
        }
        for f in told.figures
        if f.used
    ]


# --- plots ------------------------------------------------------------------------------------------------------------


def volume_plot(told: Told, currency: str):
    named = [plots.Named(x=float(told.parts), word="all parts")] if told.parts else []
    named += [
        plots.Named(x=float(crossing.parts), word=f"{told.number_of_way(name)} and {told.base_number} cost the same")
        for name, crossing in told.crossings
        if crossing.parts is not None
    ][:2]
    return plots.against(
        [plots.Line(number=c.number, x=told.volumes, y=c.y, low=c.low, high=c.high) for c in told.by_volume],
        x_label="parts over the life of the tool",
        y_label=f"{currency} per thousand parts",
        by_ratio=True,
        named=named,
        title="Cost per thousand parts of each way against the parts it makes",
    )


def years_plot(told: Told, currency: str):
    assert told.weighed is not None
    named = [
        plots.Named(x=one.years, word=f"{told.number_of_way(one.money.way.name)} is paid back")
        for one in told.weighed.others
        if one.years is not None and one.extra > 0
    ][:2]
    return plots.against(
        [
            plots.Line(number=n, x=range(len(one.cumulative)), y=[float(v) for v in one.cumulative])
            for n, one in enumerate(told.weighed.ways, start=1)
        ],
        x_label="years",
        y_label=f"{currency} paid so far",
        title="Money paid up to each year, of each way",
        named=named,
    )


def burr_plot(told: Told, currency: str, system: units.System):
    if len(told.burr_um) < 2:
        return ""
    x = [units.shown_value(v, "burr_limit_um", system) for v in told.burr_um]
    limit = told.outline.burr_limit_um
    named = [plots.Named(x=units.shown_value(limit, "burr_limit_um", system), word="the part's limit")] if limit else []
    unit = units.column("burr_limit_um").unit(system)
    return plots.against(
        [plots.Line(number=c.number, x=x, y=c.y) for c in told.by_burr],
        x_label=f"burr limit, {unit}",
        y_label=f"{currency} per thousand parts",
        named=named,
        title="Cost per thousand parts of each way against the burr limit",
    )


def swing_plot(told: Told, currency: str):
    if not told.bars:
        return ""
    bars = [
        plots.Swing(
            words=_short(bar.words),
            low=bar.at_low,
            high=bar.at_high,
            words_low=end_words(bar.key, bar.from_value),
            words_high=end_words(bar.key, bar.to_value),
        )
        for bar in told.bars
    ]
    return plots.swings(
        bars,
        middle=float(told.bars_worth),
        x_label=f"what {told.bars_of} is worth today, {currency}",
        title=f"How far each assumption moves what {told.bars_of} is worth",
    )


def end_words(key: str, value: float) -> str:
    return {0.1: "1 in 10", 0.9: "9 in 10"}[value] if key == "life" else value_words(value)


def _short(words: str) -> str:
    return words if len(words) <= 58 else words[:57].rsplit(" ", 1)[0] + " …"
