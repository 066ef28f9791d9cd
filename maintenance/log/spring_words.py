"""What a spring does in its die, in words and in the reader's units: the set-up sheet and its own page say the same."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Mapping
from typing import NamedTuple

from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import gettext as _

from diestore import units
from diestore.handbook import gas_springs
from diestore.handbook.gas_springs import GasSpring
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
        return _("Springs {name}: {wrong} Look at their figures on the die's card and the spare's.").format(
            name=sort.name, wrong=sort.wrong
        )
    spring = sort.spring
    if spring is None or not spring.is_over:
        return ""
    most = spring.load_class.at_most_mm(spring.free_mm)
    pressed, allowed = (units.show(x, "length_mm", system) for x in (spring.pressed_mm, most))
    return _(
        "Springs {name} are over their travel: pressed by {pressed} in the closed die, and {allowed} "
        "is the most for {standard} {colour}."
    ).format(
        name=sort.name,
        pressed=pressed,
        allowed=allowed,
        standard=spring.load_class.standard,
        colour=spring.load_class.colour,
    )


def of_sort(sort: SpringSort, clocks: Mapping[str, FatigueClock], system: units.System) -> Iterator[Told]:
    """Its rate or force, number, preload, what it is pressed by, what travel is left, strokes against its life."""
    head, places = _("{name}, {n} fitted").format(name=sort.name, n=len(sort.places)), ", ".join(sort.places)
    if sort.gas is not None:
        yield Told(
            head,
            _force(sort.gas.force_n, system),
            _("gas spring, rod out, charged to {charge_mpa}; in {places}").format(
                charge_mpa=units.show(sort.gas.charge_mpa, "pressure_mpa", system), places=places
            ),
        )
    spring = sort.spring
    if spring is None:
        return
    free, fitted, closed = (
        units.show(x, "length_mm", system) for x in (spring.free_mm, spring.fitted_mm, spring.closed_mm)
    )
    yield Told(
        head,
        units.show(spring.rate_n_mm, "spring_rate_n_mm", system),
        _("free {free}, open {fitted}, closed {closed}; in {places}").format(
            free=free, fitted=fitted, closed=closed, places=places
        ),
    )
    yield Told(_("Preload of one"), _span(spring.preload_n, system), spring.preload_n.source)
    yield Told(_("Closed, one"), _span(spring.closed_n, system), _("the same, die closed"))
    yield from _travel(spring, system)
    if mine := [(code, clocks[code]) for code in sort.places if code in clocks]:
        code, clock = max(mine, key=lambda pair: pair[1].strokes)
        yield strokes(clock, of="" if len(sort.places) == 1 else code)


def _travel(spring: FittedSpring, system: units.System) -> Iterator[Told]:
    share, known = _("{percent:.0f} % of free length").format(percent=100 * spring.share), spring.load_class
    if known is None:
        why = _("its standard and colour are not known, so neither is what it may take: ask its maker")
        yield Told(_("Pressed by"), share, why)
        return
    words = _("{standard} {colour}: {long_life:g} % for a long life, {most:g} % at most ({source})")
    why = words.format(
        standard=known.standard, colour=_(known.colour), long_life=100 * known.long_life, most=100 * known.at_most,
        source=known.source,
    )  # fmt: skip
    yield Told(_("Pressed by"), share, why, spring.is_over or spring.lasts is False)
    left = units.show(max(spring.left_mm or 0.0, 0.0), "length_mm", system)
    yield Told(
        _("Travel left"),
        left,
        _("what is ground off the punches without a shim under them takes as much of it"),
        spring.is_over,
    )


def strokes(clock: FatigueClock, *, of: str = "") -> Told:
    """The fatigue clock. of: the place of a sort that has made the most."""
    made = numbers.hits(clock.strokes)
    if not clock.is_known:
        made = _("{hits} or more").format(hits=made)
    whose = _("the most, {place}").format(place=of) + "; " if of else ""
    return Told(_("Strokes made"), made, f"{whose}{life(clock)} ({clock.expected.source})", clock.is_due)


def life(clock: FatigueClock) -> str:
    low, high = numbers.hits(clock.expected.low), numbers.hits(clock.expected.high)
    return _("pressed so far such a spring takes about {low} to {high}").format(low=low, high=high)


def verdict(clock: FatigueClock | None) -> str:
    """Of the strokes of one spring, in a sentence; nothing where they are not held against a life."""
    if clock is None:
        return ""
    if clock.is_over:
        return _("It has made more strokes than such springs last: change it with its set.")
    if clock.is_due:
        return _(
            "It has made as many strokes as the first of such springs last: change it with its set when the die is out."
        )
    words = _("About {hits} strokes are left to it before the first of such springs break.")
    if not clock.is_known:
        words = _(
            "About {hits} strokes are left to it before the first of such springs break, as far as the records reach."
        )
    return words.format(hits=numbers.hits(clock.left.low))


def of_place(place: SpringPlace, sort: SpringSort | None, system: units.System) -> Iterator[Told]:
    """What was measured of the spring that sits there, against what its card says."""
    gas = None if sort is None else sort.gas
    if (pressure := place.pressure) is not None:
        yield _of_pressure(pressure, gas, system)
        if gas is not None:
            yield Told(
                _("Force at that, rod out"),
                _force(gas.at_n(pressure.mpa), system),
                _("force and pressure keep their ratio; pressed in it is more, by its maker's table"),
            )
    if place.force is not None:
        yield _of_force(place, place.force, sort, system)


def _of_pressure(pressure: spring_reads.Pressure, gas: GasSpring | None, system: units.System) -> Told:
    charged = pressure.charged_mpa if pressure.charged_mpa is not None else gas and gas.charge_mpa
    lost = 0.0 if not charged else 1 - pressure.mpa / charged
    why = "" if not charged else _("charged to {charge}")
    on = pressure.charged_at
    if on is not None and on != pressure.at:
        why = _("charged to {charge} on {day}") if charged else _("on {day}")
    why = why.format(
        charge=units.show(charged, "pressure_mpa", system) if charged else "", day="" if on is None else day(on)
    )
    if lost > 0.005:
        words = _("{lost:.0f} % lost; {most:.0f} % at most ({source})")
        most = 100 * gas_springs.LOST_AT_MOST
        why += ", " + words.format(lost=100 * lost, most=most, source=gas_springs.LOST_SOURCE)
    return Told(
        _("Pressure, {at}").format(at=day(pressure.at)),
        units.show(pressure.mpa, "pressure_mpa", system),
        why,
        lost >= gas_springs.LOST_AT_MOST,
    )


def _of_force(place: SpringPlace, force: spring_reads.Force, sort: SpringSort | None, system: units.System) -> Told:
    if force.length_mm is None:
        return Told(
            _("Force, {at}").format(at=day(force.at)),
            _force(force.force_n, system),
            _("at which length was not typed, so it is held against nothing: type it next time"),
        )
    length = units.show(force.length_mm, "length_mm", system)
    against = spring_reads.measured(place, sort)
    why = _("its rate and free length are not both known, so it is held against nothing")
    if against is not None:
        words = _("as its rate says: rate × (free − {length}) is {force}")
        if abs(against.by) >= 0.005 and against.by < 0:
            words = _("{percent:.0f} % less: rate × (free − {length}) is {force}")
        elif abs(against.by) >= 0.005:
            words = _("{percent:.0f} % more: rate × (free − {length}) is {force}")
        by_rate = _span(against.expected_n, system)
        why = words.format(percent=abs(100 * against.by), length=length, force=by_rate)
        if against.is_strong:
            why += "; " + _("more than its rate gives: another spring, or another length?")
    elif place.is_gas:
        why = _("a gas spring by its pressure: read that too")
    elif sort is not None and sort.spring is not None:
        why = _("it is not shorter than free there: look at the length typed")
    return Told(
        _("Force at {length}, {at}").format(length=length, at=day(force.at)),
        _force(force.force_n, system),
        why,
        against is not None and (against.is_weak or against.is_strong),
    )


def _force(newtons: float, system: units.System) -> str:
    return units.show_span(newtons, newtons, "force_n", system, digits=3)


def _span(span: Span, system: units.System) -> str:
    return units.show_span(span.low, span.high, "force_n", system, digits=3)


def day(moment: dt.datetime) -> str:
    here = timezone.localtime(moment)
    return date_format(here, "j M Y")
