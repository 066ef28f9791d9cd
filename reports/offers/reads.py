"""Reads of outlined tools: the outlines, their ways, the shop's price list, and what the records say of assumptions."""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from decimal import Decimal
from statistics import fmean, median

from django.db.models import Count, QuerySet
from django.utils.formats import date_format
from django.utils.translation import gettext as _

from diestore.access import plants
from diestore.handbook import kinds
from diestore.handbook.build_elements import YEARS_AT_MOST
from diestore.register.models import Cut, Die, Output, Plant, Rate
from maintenance.models import ElementPrice, Outline, OutlinePlace, OutlineWay, Run, Work

NEWEST = 400  # runs that say what is usual here
NEWEST_GRINDS = 2_000  # by their number, which the database finds without reading the rest
NEEDED = 5  # fewer say nothing

__all__ = ["Outline", "OutlinePlace", "OutlineWay", "outline", "outlines_of"]


def outlines_of(plant: Plant, *, away: bool = False) -> QuerySet[Outline]:
    rows = Outline.objects.filter(plant=plant, put_away_at__isnull=not away)
    return rows.annotate(ways_count=Count("ways")).order_by("-on", "-pk")


def outline(pk: int, user) -> Outline | None:
    rows = Outline.objects.select_related("plant").prefetch_related("places", "ways")
    return plants.within(rows, user).filter(pk=min(pk, 2**63 - 1)).first()


@dataclass(frozen=True, kw_only=True)
class Price:
    price: Decimal
    since: dt.date


def prices_on(plant: Plant, day: dt.date) -> dict[str, Price]:
    """What each element costs on a day; what has no price yet is not in it."""
    rows = ElementPrice.objects.filter(plant=plant, valid_from__lte=day).order_by("valid_from")
    return {
        element: Price(price=price, since=since)
        for element, price, since in rows.values_list("element", "price", "valid_from")
    }


def prices_to_come(plant: Plant, day: dt.date) -> list[ElementPrice]:
    return list(ElementPrice.objects.filter(plant=plant, valid_from__gt=day).order_by("valid_from", "element"))


@dataclass(frozen=True, kw_only=True)
class Known:
    """A figure that the shop's rates or records say in the place of what is usual."""

    value: float
    source: str


_RATES = {
    "toolroom_rate": Rate.Kind.TOOLROOM_HOUR,
    "press_rate": Rate.Kind.PRESS_HOUR,
    "sorting_rate": Rate.Kind.SORTING_HOUR,
    "sorted_an_hour": Rate.Kind.PARTS_SORTED,
    "part_worth": Rate.Kind.SCRAPPED_PART,
    "interest_pct": Rate.Kind.CAPITAL_PERCENT,
}


def known_figures(plant: Plant, day: dt.date) -> dict[str, Known]:
    """What stands in the shop's rates on that day, and what its newest entries say of grinds and of runs."""
    made: dict[str, Known] = {}
    held: dict[str, tuple[Decimal, dt.date]] = {}
    rows = Rate.objects.filter(plant=plant, valid_from__lte=day).order_by("valid_from")
    for kind, amount, since in rows.values_list("kind", "amount", "valid_from"):
        held[kind] = amount, since
    rates = _("the shop's rates, from {day}")
    for key, kind in _RATES.items():
        if kind in held:
            amount, since = held[kind]
            made[key] = Known(value=float(amount), source=rates.format(day=date_format(since, "j M Y")))
    apart = float(held[Rate.Kind.REFIT_PERCENT][0]) / 100 if Rate.Kind.REFIT_PERCENT in held else 0.4
    made |= _of_grinds(plant, apart)
    hits = list(Run.objects.standing().filter(die__plant=plant).order_by("-pk").values_list("hits", flat=True)[:NEWEST])
    if len(hits) >= NEEDED and (middle := float(median(hits))) >= 1:
        made["look_hits"] = Known(value=middle, source=_("{n} newest runs, looked at after each").format(n=len(hits)))
    return made


def _of_grinds(plant: Plant, apart: float) -> dict[str, Known]:
    """From the newest grinds in house: what comes off, and the hours of those done together. apart: share of the hours
    that is not grinding."""
    works = Work.objects.standing().filter(position__die__plant=plant, operation="ground", supplier__isnull=True)
    rows = works.order_by("-pk").values_list("position__die_id", "at", "hours", "removed_mm")[:NEWEST_GRINDS]
    removed, sets = [], defaultdict(list)
    for die, at, hours, mm in rows:
        if mm:
            removed.append(mm)
        sets[die, at].append(hours or 0.0)
    made = {}
    if len(removed) >= NEEDED:
        mean = _("{n:,} newest grinds, the mean").format(n=len(removed))
        made["grind_mm"] = Known(value=round(fmean(removed), 3), source=mean)
    timed = [(sum(hours), len(hours)) for hours in sets.values() if sum(hours) > 0]
    if len(timed) >= NEEDED:
        told = _("{n:,} newest sharpenings, {apart:.0%} for the rest").format(n=len(timed), apart=apart)
        of_set, of_edge = median(h for h, _ in timed), median(h / n for h, n in timed)
        made["refit_hours"] = Known(value=round(apart * of_set, 2), source=told)
        made["grind_minutes"] = Known(value=round((1 - apart) * of_edge * 60, 1), source=told)
    return made


@dataclass(frozen=True, kw_only=True)
class OfDie:
    """What an outline takes from a die of the register."""

    values: dict[str, object]
    places: tuple[tuple[str, int, float], ...]
    way: dict[str, object]


def of_die(die: Die) -> OfDie:
    """Stock, pace, cuts alike together, and the build of most of its punches as a first way."""
    variant = die.variants.filter(is_default=True).first()
    outputs = list(Output.objects.filter(variant=variant).select_related("part__customer")) if variant else []
    stock = die.usual_stock
    part = outputs[0].part if outputs else None
    values: dict[str, object] = {
        "customer": str(part.customer.name or part.customer.code) if part and part.customer else "",
        "part": str(part.number) if part else die.description,
        "material": stock.material,
        "thickness_mm": stock.thickness_mm,
        "tensile_mpa": stock.tensile_mpa,
        "burr_limit_um": part.burr_limit_um if part else None,
        "parts_per_hit": sum(o.parts_per_hit for o in outputs) or 1,
        "strokes_per_minute": die.strokes_per_minute,
        "volumes": [row.parts for row in part.volumes.order_by("year")][:YEARS_AT_MOST] if part else [],
    }
    cuts = list(Cut.objects.filter(die=die, valid_to__isnull=True).select_related("upper__item", "lower"))
    alike: dict[tuple[str, float], int] = defaultdict(int)
    for cut in cuts:
        place = cut.upper or cut.lower
        kind = place.kind if place is not None else ""
        punch = kind if kind in kinds.KINDS and kinds.KINDS[kind].cuts and kinds.KINDS[kind].side == "upper" else ""
        alike[punch or "shape_punch", round(cut.length_mm, 2)] += 1
    return OfDie(
        values=values,
        places=tuple((kind, count, length) for (kind, length), count in sorted(alike.items())),
        way=_way_of(cuts, stock.thickness_mm),
    )


def _way_of(cuts: Iterable[Cut], thickness_mm: float) -> dict[str, object]:
    cuts = list(cuts)
    builds = [
        (c.upper.item.tool_steel, c.upper.item.hardness_hrc, c.upper.item.coating)
        for c in cuts
        if c.upper is not None and c.upper.item is not None and c.upper.item.tool_steel
    ]
    gaps = [100 * c.gap_mm / thickness_mm for c in cuts if c.gap_mm]
    steel, hardness, coating = max(builds, key=builds.count) if builds else ("D2", None, "")
    return {
        "name": _("as the die that runs"),
        "steel": steel,
        "hardness_hrc": hardness,
        "coating": "" if coating in ("", "none") else coating,
        "gap_pct": round(median(gaps), 1) if gaps else None,
    }
