"""The places of a form on the plan of the die: a tap on a place picks it. What stands in the list below stays there."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from django import forms

from diestore.drawing import scale_plan
from diestore.drawing.strip_plan import PlanPosition
from diestore.register import strips
from diestore.register.models import Die
from maintenance.log.expected import BenchPlace


@dataclass(frozen=True, kw_only=True)
class Tap:
    """What a finger finds, in hundredths of the drawing. of: the field's own box that it picks, or the part of the page
    that it opens."""

    code: str
    of: str
    title: str
    left: float
    top: float
    width: float
    height: float


@dataclass(frozen=True, kw_only=True)
class TapPlan:
    plan: scale_plan.ScalePlan
    taps: list[Tap]


def of_places(die: Die, places: Iterable[BenchPlace], picked_by: Mapping[int, str]) -> TapPlan | None:
    """picked_by: for the pk of a position what a tap on it picks. None where nobody said where the places are."""
    places = list(places)
    positions = [place.position for place in places]
    stations = {p.station_id: p.station for p in positions if p.station}
    lengths = {place.position.pk: place.length_mm for place in places if place.length_mm}
    strip = strips.of_die(die, positions, stations.values(), lengths=lengths)
    if strip is None:
        return None
    drawn = [
        PlanPosition(
            code=place.position.code,
            kind=place.position.kind,
            shape=place.kind.shape,
            side=place.position.side,
            station=place.position.station.code if place.position.station else "",
            cuts=place.kind.cuts,
            limits=place.limits,
            title=place.called,
        )
        for place in places
    ]
    plan = scale_plan.lay_out(strip, drawn)
    by_code = {place.position.code: place.position.pk for place in places}
    taps = []
    for mark in plan.marks:
        box, of = mark.target, picked_by.get(by_code[mark.place.code], "")
        if of:
            taps.append(
                Tap(
                    code=mark.place.code, of=of, title=mark.place.title,
                    left=100 * box.left / plan.width, top=100 * box.low / plan.height,
                    width=100 * box.width / plan.width, height=100 * box.height / plan.height,
                )
            )  # fmt: skip
    return TapPlan(plan=plan, taps=taps)


def boxes_of(field: forms.BoundField) -> dict[int, str]:
    """For each value that is a position's, the id of its box."""
    boxes = (box.data for box in field.subwidgets)
    return {int(str(b["value"])): b["attrs"]["id"] for b in boxes if str(b["value"]).isdigit()}
