"""What the page and the paper say of an outlined tool, in words and figures. Formats, never computes."""

from __future__ import annotations

from decimal import Decimal

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

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


def facts(told: Told, system: units.System, *, with_offer: bool = True) -> list[tuple[str, str]]:
    o = told.outline
    volumes = ", ".join(f"{n:,}" for n in o.volumes)
    if len(set(o.volumes)) == 1 and len(o.volumes) > 1:
        volumes = _("{n:,} a year for {years} years").format(n=o.volumes[0], years=len(o.volumes))
    thickness = units.show(o.thickness_mm, "thickness_mm", system)
    pace = _("{n}, at {pace:g} strokes a minute")
    made = [
        (_("Strip"), f"{o.material}, {thickness}, {units.show(o.tensile_mpa, 'tensile_mpa', system)}"),
        (_("Burr limit"), units.show(o.burr_limit_um, "burr_limit_um", system) if o.burr_limit_um else _("none")),
        (_("Cuts"), "; ".join(_place(place, system) for place in o.places.all())),
        (_("Parts a hit"), pace.format(n=o.parts_per_hit, pace=o.strokes_per_minute)),
        (_("Parts"), volumes if len(o.volumes) > 1 else _("{n} in one year").format(n=volumes)),
    ]
    if o.wanted_months is not None:
        wanted = ngettext("in {n} month", "in {n} months", o.wanted_months)
        made.append((_("Tool wanted"), wanted.format(n=o.wanted_months)))
    if with_offer:
        offer = _("of {day}, valid until {until}") if o.valid_until else _("of {day}")
        made.append((_("Offer"), offer.format(day=day(o.on), until=day(o.valid_until))))
    return made


def _place(place, system: units.System) -> str:
    name = _(kinds.KINDS[place.kind].name) if place.count == 1 else _(kinds.plural_of(place.kind))
    length = units.show(place.length_mm, "length_mm", system)
    told = _("{n} {kind} of {length}") if place.count == 1 else _("{n} {kind} of {length} each")
    return told.format(n=place.count, kind=name, length=length)


def way_words(row) -> str:
    """How it is built, in a line."""
    bits = [
        _("punches {steel}").format(steel=_steel(row.steel)),
        f"{row.hardness_hrc:g} HRC" if row.hardness_hrc else "",
        row.coating,
    ]
    if row.steel_below:
        hard = f" {row.hardness_below_hrc:g} HRC" if row.hardness_below_hrc else ""
        bits.append(_("die side {steel}").format(steel=f"{_steel(row.steel_below)}{hard}"))
    bits += [
        _("gap {gap:g} % a side").format(gap=row.gap_pct) if row.gap_pct is not None else "",
        _(GUIDES[row.guides]),
        _(DIE_SIDES[row.die_side]),
        _(STRIPPERS[row.stripper]),
        _("{n} parts a hit").format(n=row.parts_per_hit) if row.parts_per_hit else "",
        _("lasts {hits:,} hits").format(hits=row.lasts_hits) if row.lasts_hits else "",
    ]
    return ", ".join(filter(None, bits))


def _steel(name: str) -> str:
    return _("powder steel") if name == "PM" else name


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
                "band": _between(round_hits(way.interval[0]), round_hits(way.interval[2])),
                "grinds": way.grinds,
                "grinds_below": way.grinds_below,
                "chips": f"{way.chips:.2g}",
                "running": cents(one.running.expected),
                "running_band": _between(cents(one.running.low), cents(one.running.high)),
                "build": cents(one.build_thousand),
                "thousand": cents(one.thousand),
                "worth": money(one.worth, cents=False),
                "total": money(one.cumulative[-1], cents=False),
                "yearly": money(one.yearly, cents=False) if one.yearly is not None else _("worn out within a year"),
                "life": one.life_years,
                "is_best": one is told.weighed.best,
                "is_base": one is told.weighed.base,
                "share": f"{float(one.acquisition_share):.0%}",
            }
        )
    return made


def price_lines(way: WayTold) -> list[tuple[str, str, str]]:
    return [
        (_(line.words), f"{line.quantity:,.4g} × {cents(line.each)}", money(line.amount, cents=False))
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
        rows.append((_(WORDS[key]), cells))
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
        "rate": _rate(rate, a_year=True),
        "rate_alone": _rate(rate, a_year=False),
        "reinvested": f"{one.reinvested * 100:,.0f} %" if one.reinvested is not None and one.extra > 0 else "",
        "years": f"{one.years:.1f}" if one.years is not None else "",
        "back_band": _between(*(_("never") if end is None else f"{end:.1f}" for end in (one.low, one.high))),
        "chance": chance(one.chance),
        "crossing": round_hits(float(crossing)) if crossing is not None else "",
        "never": "" if crossing is not None else _never(one, name, base.way.name),
        "from_there": name if one.crossing.cheaper_above == "B" else base.way.name,
    }


def _between(low: str, high: str) -> str:
    return _("{low} to {high}").format(low=low, high=high)


def _rate(rate: float | None, *, a_year: bool) -> str:
    """What the extra money earns; a_year: said with the word, else a heading says it."""
    if rate is None:
        return _("none")
    if rate >= 100:
        return _("over 10,000 % a year") if a_year else _("over 10,000 %")
    return (_("{rate:,.0f} % a year") if a_year else "{rate:,.0f} %").format(rate=rate * 100)


def _never(one: Against, name: str, base: str) -> str:
    if one.crossing.cheaper_above == "same":
        return _("the same at every volume")
    cheaper = name if one.crossing.cheaper_above == "B" else base
    return _("{way} is cheaper at every volume").format(way=cheaper)


def crossings(told: Told) -> list[str]:
    return [f"{o['name']}: {o['crossing'] or o['never']}" for o in others(told)]


def _start(name: str) -> str:
    """A name at the start of a sentence."""
    return name[:1].upper() + name[1:]


def lead(told: Told, currency: str) -> tuple[str, str]:
    """What it comes to: the answer, and what one asks next."""
    assert told.weighed is not None
    weighed, found = told.weighed, others(told)
    best, base = weighed.best, weighed.base
    figures = {"way": _start(best.way.name), "cost": cents(best.thousand), "currency": currency, "parts": told.parts}
    whose = {"shop": _("Counted is what the shop pays."), "customer": _("Counted is what the customer pays.")}.get(
        told.whose, ""
    )
    if not found:
        head = _("{way} costs {cost} {currency} per thousand parts over {parts:,} parts.").format(**figures)
        return head, f"{_('Add a second way to compare.')} {whose}".strip()
    if all(one["alike"] for one in found):
        head = _("All ways come to the same: {cost} {currency} per thousand parts over {parts:,} parts.")
        return head.format(**figures), whose
    if best is base:
        pays = _("{way} pays with a chance of {chance}.")
        each = [pays.format(way=_start(one["name"]), chance=one["chance"]) for one in found if not one["alike"]]
        head = _(
            "{way}, the cheapest to build, stays the cheapest over {parts:,} parts: {cost} {currency} per thousand "
            "parts."
        )
        return head.format(**figures), " ".join(filter(None, [*each, whose]))
    one = next(o for o in found if o["name"] == best.way.name)
    head = _("{way} is the cheapest over {parts:,} parts: {cost} {currency} per thousand parts. {base}: {base_cost}.")
    bits = [_("The build costs {extra} more.").format(extra=one["extra"])]
    if one["years"]:
        bits.append(_("It is back after {years} years.").format(years=one["years"]))
    saves = _("What it saves is worth {worth} today, the build paid. Chance that it pays: {chance}.")
    bits.append(saves.format(worth=one["worth"], chance=one["chance"]))
    head = head.format(**figures, base=_start(base.way.name), base_cost=cents(base.thousand))
    return head, " ".join(filter(None, [*bits, whose]))


def years(told: Told) -> list[tuple[str, list[str]]]:
    """Money paid up to the end of each year."""
    assert told.weighed is not None
    names = [_("now"), *(_("year {n}").format(n=n) for n in range(1, len(told.outline.volumes) + 1))]
    return [
        (name, [f"{rounded(one.cumulative[n], Decimal(1)):,}" for one in told.weighed.ways])
        for n, name in enumerate(names)
    ]


def payers(told: Told) -> list[dict]:
    return [
        {
            "words": p.words,
            "payer": _("the shop") if p.shop_pays else _("the customer"),
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
            "range": _between(value_words(f.low), value_words(f.high)),
        }
        for f in told.figures
        if f.used
    ]


# --- plots ------------------------------------------------------------------------------------------------------------


def volume_plot(told: Told, currency: str):
    same = _("{one} and {other} cost the same")
    named = [plots.Named(x=float(told.parts), word=_("all parts"))] if told.parts else []
    named += [
        plots.Named(x=float(crossing.parts), word=same.format(one=told.number_of_way(name), other=told.base_number))
        for name, crossing in told.crossings
        if crossing.parts is not None
    ][:2]
    return plots.against(
        [plots.Line(number=c.number, x=told.volumes, y=c.y, low=c.low, high=c.high) for c in told.by_volume],
        x_label=_("parts over the life of the tool"),
        y_label=_("{currency} per thousand parts").format(currency=currency),
        by_ratio=True,
        named=named,
        title=_("Cost per thousand parts of each way against the parts it makes"),
    )


def years_plot(told: Told, currency: str):
    assert told.weighed is not None
    back = _("{n} is paid back")
    named = [
        plots.Named(x=one.years, word=back.format(n=told.number_of_way(one.money.way.name)))
        for one in told.weighed.others
        if one.years is not None and one.extra > 0
    ][:2]
    return plots.against(
        [
            plots.Line(number=n, x=range(len(one.cumulative)), y=[float(v) for v in one.cumulative])
            for n, one in enumerate(told.weighed.ways, start=1)
        ],
        x_label=_("years"),
        y_label=_("{currency} paid so far").format(currency=currency),
        title=_("Money paid up to each year, of each way"),
        named=named,
    )


def burr_plot(told: Told, currency: str, system: units.System):
    if len(told.burr_um) < 2:
        return ""
    x = [units.shown_value(v, "burr_limit_um", system) for v in told.burr_um]
    limit = told.outline.burr_limit_um
    at = units.shown_value(limit, "burr_limit_um", system) if limit else 0.0
    named = [plots.Named(x=at, word=_("the part's limit"))] if limit else []
    unit = units.column("burr_limit_um").unit(system)
    return plots.against(
        [plots.Line(number=c.number, x=x, y=c.y) for c in told.by_burr],
        x_label=_("burr limit, {unit}").format(unit=unit),
        y_label=_("{currency} per thousand parts").format(currency=currency),
        named=named,
        title=_("Cost per thousand parts of each way against the burr limit"),
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
        x_label=_("what {way} is worth today, {currency}").format(way=told.bars_of, currency=currency),
        title=_("How far each assumption moves what {way} is worth").format(way=told.bars_of),
    )


def end_words(key: str, value: float) -> str:
    return {0.1: _("1 in 10"), 0.9: _("9 in 10")}[value] if key == "life" else value_words(value)


def _short(words: str) -> str:
    return words if len(words) <= 58 else words[:57].rsplit(" ", 1)[0] + " …"
