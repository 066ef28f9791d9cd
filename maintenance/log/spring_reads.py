"""Springs of a die as they sit, with what was measured of them and how many strokes they have made.

Reads only: two questions for the springs and their readings, and the die's log where strokes are asked for.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass

from django.db.models import OuterRef, Q, Subquery
from django.utils.translation import gettext as _

from diestore.handbook import gas_springs, spring_lives
from diestore.handbook.gas_springs import GasError, GasSpring
from diestore.handbook.spring_lives import FatigueClock
from diestore.handbook.springs import FittedSpring, MeasuredForce, SpringError, class_of
from diestore.register.models import Die, Item, Position
from maintenance.clockwork import states
from maintenance.clockwork.rows import DieLog
from maintenance.models import Fitting, Reading
from maintenance.policy.set_up_sheet import SpringForce, SpringSort

KINDS = ("stripper_spring", gas_springs.KIND)
FORCE = "spring force"


@dataclass(frozen=True, kw_only=True)
class Force:
    """A force as it was measured; length_mm: of the spring then, None where nobody typed it."""

    at: dt.datetime
    force_n: float
    length_mm: float | None


@dataclass(frozen=True, kw_only=True)
class Pressure:
    """The last that is known of a gas spring: as it was read, or what it was charged to after that. charged_mpa: to
    what it was charged last, and when."""

    at: dt.datetime
    mpa: float
    charged_mpa: float | None = None
    charged_at: dt.datetime | None = None


@dataclass(frozen=True, kw_only=True)
class SpringPlace:
    """A place of a spring with the last readings of what sits there now."""

    position: Position
    force: Force | None = None
    pressure: Pressure | None = None

    @property
    def is_gas(self) -> bool:
        return self.position.kind == gas_springs.KIND


def places_of(die: Die, *, keep: Callable[[Position], bool] = lambda place: True) -> list[SpringPlace]:
    """The spring places of a die that `keep` keeps, by code."""
    sits = Fitting.objects.filter(position=OuterRef("pk"), until__isnull=True)
    rows = (
        Position.objects.filter(die=die, kind__in=KINDS)
        .annotate(fitted=Subquery(sits.values("since")[:1]))
        .select_related("item")
        .prefetch_related("variants")
        .order_by("code", "pk")
    )
    places = {place.pk: place for place in rows if keep(place)}
    forces: dict[int, Force] = {}
    pressures: dict[int, Pressure] = {}
    wanted = Q(quantity__iexact=FORCE) | Q(quantity__iexact=gas_springs.PRESSURE)
    readings = Reading.objects.standing().filter(wanted, position__in=list(places)).order_by("at", "sequence", "key")
    columns = ("position_id", "at", "quantity", "value_si", "at_length_mm", "charged_to_mpa")
    for key, at, quantity, value, length, charged in readings.values_list(*columns):
        fitted = places[key].fitted
        if fitted is not None and at <= fitted:
            continue
        if quantity.casefold() == FORCE:
            forces[key] = Force(at=at, force_n=value, length_mm=length)
        elif charged is not None:
            pressures[key] = Pressure(at=at, mpa=charged, charged_mpa=charged, charged_at=at)
        else:
            before = pressures.get(key)
            pressures[key] = Pressure(
                at=at, mpa=value * 1e-6, charged_mpa=before and before.charged_mpa,
                charged_at=before and before.charged_at,
            )  # fmt: skip
    return [
        SpringPlace(position=place, force=forces.get(key), pressure=pressures.get(key)) for key, place in places.items()
    ]


def sorts_of(die: Die, places: Iterable[SpringPlace]) -> list[SpringSort]:
    """Each spare that is a spring with what it does in this die, as far as its card and the die's say so."""
    by_item: dict[int, list[Position]] = {}
    for place in places:
        if place.position.item is not None:
            by_item.setdefault(place.position.item.pk, []).append(place.position)
    made = (sort_of(die, mine[0].item, mine) for mine in by_item.values())
    return sorted((one for one in made if one is not None), key=lambda one: one.name)


def sort_of(die: Die, item: Item, places: Sequence[Position]) -> SpringSort | None:
    """None where its card and the die's do not say enough."""
    codes, spring, gas, wrong = tuple(place.code for place in places), None, None, ""
    try:
        if places[0].kind == gas_springs.KIND:
            if item.gas_force_n is None or item.gas_charge_mpa is None:
                return None
            gas = GasSpring(force_n=item.gas_force_n, charge_mpa=item.gas_charge_mpa)
        elif item.spring_rate_n_mm is None or item.length_mm is None or die.spring_fitted_mm is None:
            return None
        else:
            spring = FittedSpring(
                rate_n_mm=item.spring_rate_n_mm, free_mm=item.length_mm, fitted_mm=die.spring_fitted_mm,
                travel_mm=die.stripper_travel_mm or 0.0, load_class=class_of(item.spring_class),
            )  # fmt: skip
    except (SpringError, GasError) as error:
        wrong = str(error)
    return SpringSort(name=item.code, places=codes, spring=spring, gas=gas, wrong=wrong)


def missing_of(die: Die, place: SpringPlace) -> list[str]:
    """What its cards do not say, of that on which its figures stand."""
    item = place.position.item
    if item is None:
        return [_("which spare it is, on the die card")]
    if place.is_gas:
        asked = (
            (item.gas_force_n, _("its force, on the card of {code}")),
            (item.gas_charge_mpa, _("what it is charged to, on the card of {code}")),
        )
        return [words.format(code=item.code) for value, words in asked if value is None]
    asked = (
        (item.spring_rate_n_mm, _("its rate, on the card of {code}")),
        (item.length_mm, _("its free length, on the card of {code}")),
    )
    lacks = [words.format(code=item.code) for value, words in asked if value is None]
    if die.spring_fitted_mm is None:
        lacks.append(_("the length of the springs in the open die, on the die's card"))
    if die.stripper_travel_mm is None:
        lacks.append(_("the travel of the stripper, on the die's card"))
    if not item.spring_class:
        lacks.append(
            _("its standard and colour, on the card of {code}: what it may take goes by them").format(code=item.code)
        )
    return lacks


def measured(place: SpringPlace, sort: SpringSort | None) -> MeasuredForce | None:
    """Its last force against its rate; None where one of both or the length is not known, or it cannot be."""
    if place.force is None or place.force.length_mm is None or sort is None or sort.spring is None:
        return None
    try:
        return MeasuredForce(
            force_n=place.force.force_n, length_mm=place.force.length_mm, rate_n_mm=sort.spring.rate_n_mm,
            free_mm=sort.spring.free_mm,
        )  # fmt: skip
    except SpringError:
        return None


def force_now(place: SpringPlace, sort: SpringSort | None) -> SpringForce:
    """What it holds in the open die: of a gas spring by its pressure, of a coil spring as it was measured, brought to
    its fitted length by its rate, else by its rate alone."""
    code, force = place.position.code, place.force
    if place.is_gas:
        gas = None if sort is None else sort.gas
        if gas is not None and place.pressure is not None:
            return SpringForce(place=code, force_n=gas.at_n(place.pressure.mpa))
        if force is not None:
            return SpringForce(place=code, force_n=force.force_n)
        return SpringForce(place=code, force_n=None if gas is None else gas.force_n, is_measured=False)
    spring = None if sort is None else sort.spring
    if force is None:
        return SpringForce(place=code, force_n=None if spring is None else spring.preload_n.middle, is_measured=False)
    against = measured(place, sort)
    if against is None or spring is None:
        return SpringForce(place=code, force_n=force.force_n)
    return SpringForce(place=code, force_n=against.at_n(spring.fitted_mm))


def clocks_of(log: DieLog, sorts: Iterable[SpringSort], as_of: float) -> dict[str, FatigueClock]:
    """Code of a place -> its strokes against its life expected, where its class says one and it is not over it."""
    expected = {}
    for sort in sorts:
        spring = sort.spring
        if spring is not None and spring.load_class is not None and not spring.is_over:
            expected |= dict.fromkeys(sort.places, spring_lives.expected_strokes(spring.load_class, spring.share))
    if not expected:
        return {}
    made = {}
    for key, state in states.states(log, as_of).items():
        code = log.positions[key].code
        if code in expected and state.piece is not None:
            known = state.life_hits is not None
            made[code] = FatigueClock(
                strokes=max(state.life_hits if known else state.hits_since_fitted, 0), expected=expected[code],
                is_known=known,
            )  # fmt: skip
    return made
