"""What a spring does in its die, in words and in the reader's units: the set-up sheet and its own page say the same."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Mapping
from typing import NamedTuple

from django.utils import timezone

from diestore import units
from diestore.handbook import gas_springs
from diestore.handbook.sources import Span
from diestore.handbook.spring_lives import FatigueClock
from diestore.handbook.springs import FittedSpring
from maintenance.policy.set_up_sheet import SpringSort
from maintenance.wording import numbers

from . import spring_reads
from .spring_reads import SpringPlace


class Told(NamedTuple):
    """value: the figure. why: from what it is. is_short: look at it."""

    name: str
    value: str
    why: str = ""
    is_short: bool = False


def over(sort: SpringSort, system: units.System) -> str:
    """Why springs of a sort cannot run like this; nothing where they can."""
    if sort.wrong:
        return f"Springs {sort.name}: {sort.wrong} Look at their figures on the die's card and the spare's."
    spring = sort.spring
    if spring is None or not spring.is_over:
        return ""
    most = spring.load_class.at_most_mm(spring.free_mm)
    pressed, allowed = (units.show(x, "length_mm", system) for x in (spring.pressed_mm, most))
    return (
        f"Springs {sort.name} are over their travel: pressed by {pressed} in the closed die, and "
        f"{allowed} is the most for {spring.load_class.standard} {spring.load_class.colour}."
    )


def of_sort(sort: SpringSort, clocks: Mapping[str, FatigueClock], system: units.System) -> Iterator[Told]:
    """Its rate or force, number, preload, what it is pressed by, what travel is left, strokes against its life."""
    head, places = f"{sort.name}, {len(sort.places)} fitted", ", ".join(sort.places)
    if sort.gas is not None:
        yield Told(head, _force(sort.gas.force_n, system),
                   f"gas spring, rod out, charged to {units.show(sort.gas.charge_mpa, 'pressure_mpa', system)}; in "
                   f"{places}")  # fmt: skip
    spring = sort.spring
    if spring is None:
        return
    free, fitted, closed = (
        units.show(x, "length_mm", system) for x in (spring.free_mm, spring.fitted_mm, spring.closed_mm)
    )
    yield Told(head, units.show(spring.rate_n_mm, "spring_rate_n_mm", system),
               f"free {free}, open {fitted}, closed {closed}; in {places}")  # fmt: skip
    yield Told("Preload of one", _span(spring.preload_n, system), spring.preload_n.source)
    yield Told("Closed, one", _span(spring.closed_n, system), "the same, die closed")
    yield from _travel(spring, system)
    if mine := [(code, clocks[code]) for code in sort.places if code in clocks]:
        code, clock = max(mine, key=lambda pair: pair[1].strokes)
        yield strokes(clock, of="" if len(sort.places) == 1 else code)


def _travel(spring: FittedSpring, system: units.System) -> Iterator[Told]:
    share, known = f"{100 * spring.share:.0f} % of free length", spring.load_class
    if known is None:
        why = "its standard and colour are not known, so neither is what it may take: ask its maker"
        yield Told("Pressed by", share, why)
        return
    why = (
        f"{known.standard} {known.colour}: {100 * known.long_life:g} % for a long life, "
        f"{100 * known.at_most:g} % at most ({known.source})"
    )
    yield Told("Pressed by", share, why, spring.is_over or spring.lasts is False)
    left = units.show(max(spring.left_mm or 0.0, 0.0), "length_mm", system)
    yield Told("Travel left", left, "what is ground off the punches without a shim under them takes as much of it",
               spring.is_over)  # fmt: skip


def strokes(clock: FatigueClock, *, of: str = "") -> Told:
    """The fatigue clock. of: the place of a sort that has made the most."""
    made = numbers.hits(clock.strokes) + ("" if clock.is_known else " or more")
    whose = f"the most, {of}; " if of else ""
    return Told("Strokes made", made, f"{whose}{life(clock)} ({clock.expected.source})", clock.is_due)


def life(clock: FatigueClock) -> str:
    low, high = numbers.hits(clock.expected.low), numbers.hits(clock.expected.high)
    return f"pressed so far such a spring takes about {low} to {high}"


def verdict(clock: FatigueClock | None) -> str:
    """Of the strokes of one spring, in a sentence; nothing where they are not held against a life."""
    if clock is None:
        return ""
    if clock.is_over:
        return "It has made more strokes than such springs last: change it with its set."
    if clock.is_due:
        return (
            "It has made as many strokes as the first of such springs last: change it with its set when the die is out."
        )
    so = "" if clock.is_known else ", as far as the records reach"
    return f"About {numbers.hits(clock.left.low)} strokes are left to it before the first of such springs break{so}."


def of_place(place: SpringPlace, sort: SpringSort | None, system: units.System) -> Iterator[Told]:
    """What was measured of the spring that sits there, against what its card says."""
    force, pressure = place.force, place.pressure
    gas = None if sort is None else sort.gas
    if pressure is not None:
        charged = pressure.charged_mpa if pressure.charged_mpa is not None else gas and gas.charge_mpa
        lost = 0.0 if not charged else 1 - pressure.mpa / charged
        why = "" if not charged else f"charged to {units.show(charged, 'pressure_mpa', system)}"
        if pressure.charged_at is not None and pressure.charged_at != pressure.at:
            why += f" on {day(pressure.charged_at)}"
        if lost > 0.005:
            why += (
                f", {100 * lost:.0f} % lost; {100 * gas_springs.LOST_AT_MOST:.0f} % at most ({gas_springs.LOST_SOURCE})"
            )
        yield Told(f"Pressure, {day(pressure.at)}", units.show(pressure.mpa, "pressure_mpa", system), why,
                   lost >= gas_springs.LOST_AT_MOST)  # fmt: skip
        if gas is not None:
            yield Told("Force at that, rod out", _force(gas.at_n(pressure.mpa), system),
                       "force and pressure keep their ratio; pressed in it is more, by its maker's table")  # fmt: skip
    if force is None:
        return
    if force.length_mm is None:
        yield Told(f"Force, {day(force.at)}", _force(force.force_n, system),
                   "at which length was not typed, so it is held against nothing: type it next time")  # fmt: skip
        return
    length = units.show(force.length_mm, "length_mm", system)
    against = spring_reads.measured(place, sort)
    why = "its rate and free length are not both known, so it is held against nothing"
    if against is not None:
        by = "as its rate says" if abs(against.by) < 0.005 else f"{abs(100 * against.by):.0f} % " + (
            "less" if against.by < 0 else "more"
        )  # fmt: skip
        why = f"{by}: rate × (free − {length}) is {_span(against.expected_n, system)}"
        if against.is_strong:
            why += "; more than its rate gives: another spring, or another length?"
    elif place.is_gas:
        why = "a gas spring by its pressure: read that too"
    elif sort is not None and sort.spring is not None:
        why = "it is not shorter than free there: look at the length typed"
    yield Told(f"Force at {length}, {day(force.at)}", _force(force.force_n, system), why,
               against is not None and (against.is_weak or against.is_strong))  # fmt: skip


def _force(newtons: float, system: units.System) -> str:
    return units.show_span(newtons, newtons, "force_n", system, digits=3)


def _span(span: Span, system: units.System) -> str:
    return units.show_span(span.low, span.high, "force_n", system, digits=3)


def day(moment: dt.datetime) -> str:
    here = timezone.localtime(moment)
    return f"{here.day} {here:%b %Y}"
