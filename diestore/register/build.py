"""What a die is built like, as far as the register knows it: the die with its usual inserts, and its stations.

Pieces and what sits where are the log's: `maintenance.log.building` puts places there with what is in them.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable

from django.db import IntegrityError, transaction

from diestore.handbook import limits
from diestore.handbook.places import next_station

from . import actions, changes
from .actions import ChangeRefused
from .models import Amendment, Die, Output, Part, Plant, Press, Station, Stock, Variant

STANDARD = "standard"
WHILE_ENTERING = "Put right while the die was being entered"


def default_variant(die: Die) -> Variant:
    """The inserts that are meant where none are named. A die has them from the start; nobody is asked.

    Where others were entered and none is marked, the one called standard is, else the only one, else a new one.
    """
    with transaction.atomic():
        known = list(die.variants.select_for_update().order_by("pk"))
        marked = next((one for one in known if one.is_default), None)
        if marked is not None:
            return marked
        like = [one for one in known if one.code.casefold() == STANDARD] or (known if len(known) == 1 else [])
        if like:
            like[0].is_default = True
            like[0].save(update_fields=["is_default"])
            return like[0]
        return Variant.objects.create(die=die, code=STANDARD, is_default=True)


def check_figures(table: str, values: dict[str, float | None]) -> None:
    """Refuse a figure that cannot be, with its column as the field."""
    for column, value in values.items():
        limit = limits.OF.get((table, column))
        if limit is not None and not limit.holds(value):
            raise ChangeRefused(limit.sentence(value), field=column)


def named(text: str, *, what: str, field: str = "code", at_most: int = 40) -> str:
    """A name without spaces around it; refuses none, a long one and one with signs that no database holds."""
    text = " ".join(text.split())
    if not text:
        raise ChangeRefused(f"{what} needs a name.", field=field)
    if len(text) > at_most:
        raise ChangeRefused(f"{what} has {len(text)} letters; {at_most} is the most.", field=field)
    if "\x00" in text:
        raise ChangeRefused(f"{what} has a sign in it that cannot be kept.", field=field)
    return text


def new_die(
    *,
    by,
    plant: Plant,
    code: str,
    usual_stock: Stock,
    strokes_per_minute: float,
    description: str = "",
    usual_press: Press | None = None,
    owner=None,
    parts: Iterable[tuple[Part, int]] = (),
    **more,
) -> Die:
    """A die with its usual inserts, and what it makes at a hit. by: the user who enters it."""
    code = named(code, what="The die", at_most=60)
    figures = {column: more.get(column) for table, column in limits.OF if table == "die"}
    check_figures("die", figures | {"strokes_per_minute": strokes_per_minute})
    if usual_press is not None and usual_press.plant_id != plant.pk:
        raise ChangeRefused(f"Press {usual_press} stands in another plant.", field="usual_press")
    if (other := Die.objects.filter(plant=plant, code__iexact=code).first()) is not None:
        raise ChangeRefused(f"There is a die {other.code} already.", field="code")
    try:
        with transaction.atomic():
            die = Die(
                plant=plant,
                code=code,
                description=" ".join(description.split())[:200],
                usual_stock=usual_stock,
                usual_press=usual_press,
                owner=owner,
                strokes_per_minute=strokes_per_minute,
                **more,
            )
            die._history_user, die._change_reason = by, "Entered"
            die.save()
            variant = Variant.objects.create(die=die, code=STANDARD, is_default=True)
            for part, per_hit in parts:
                check_figures("output", {"parts_per_hit": per_hit})
                Output.objects.create(variant=variant, part=part, parts_per_hit=per_hit)
            changes.tell(die)
            return die
    except IntegrityError as error:  # somebody else entered it meanwhile
        raise ChangeRefused(f"There is a die {code} already.", field="code") from error


# --- stations ---------------------------------------------------------------------------------------------------------


def _in_order(die: Die) -> list[Station]:
    return list(die.stations.select_for_update().order_by("sequence", "pk"))


def add_station(*, by, die: Die, operation: str = "", code: str = "", before: Station | None = None) -> Station:
    """A station at the end of the strip, or before another one. Without a name it gets the next number."""
    with transaction.atomic():
        standing = _in_order(die)
        codes = [station.code for station in standing]
        code = named(code or next_station(codes), what="The station")
        if code.casefold() in {one.casefold() for one in codes}:
            raise ChangeRefused(f"{die.code} has a station {code} already.", field="code")
        station = Station(die=die, code=code, operation=_operation(operation), sequence=0)
        at = len(standing) if before is None else next(i for i, one in enumerate(standing) if one.pk == before.pk)
        standing.insert(at, station)
        if at == len(standing) - 1:
            station.sequence = 1 + max((one.sequence for one in standing[:-1]), default=0)
        station.save()
        if at < len(standing) - 1:
            _number(standing)
        changes.tell(station)
        return station


def move_station(
    *, by, station: Station, steps: int, since: dt.datetime | None = None, reason: str = ""
) -> Amendment | None:
    """So many places along the strip: less than nought against the way it runs. Beyond an end it stays there.

    since: None where it never stood as it does. Returns the change; None where it stays.
    """
    with transaction.atomic():
        standing = _in_order(station.die)
        _number(standing)
        at = next(i for i, one in enumerate(standing) if one.pk == station.pk)
        mine = standing.pop(at)
        to = max(0, min(at + steps, len(standing)))
        standing.insert(to, mine)
        if to == at:
            return None
        made = _amended(by, mine, {"sequence": to + 1}, since, reason)
        mine.sequence = to + 1
        _number(standing)
        changes.tell(mine)
        return made


def name_station(
    *, by, station: Station, code: str, operation: str, since: dt.datetime | None = None, reason: str = ""
) -> Amendment | None:
    """Call a station, or what is done in it, otherwise. since: None where it never was as it is. None: as it was."""
    with transaction.atomic():
        code = named(code, what="The station")
        if Station.objects.filter(die=station.die_id, code__iexact=code).exclude(pk=station.pk).exists():
            raise ChangeRefused(f"{station.die.code} has a station {code} already.", field="code")
        values = {"code": code, "operation": _operation(operation)}
        if all(getattr(station, name) == value for name, value in values.items()):
            return None
        return _amended(by, station, values, since, reason)


def _amended(by, station: Station, values: dict, since: dt.datetime | None, reason: str) -> Amendment:
    if since is None:
        return actions.correct(by=by, row=station, values=values, reason=reason or WHILE_ENTERING)
    return actions.amend(by=by, row=station, values=values, at=since, reason=reason)


def take_back_station(*, by, station: Station) -> None:
    """A station that was entered by mistake goes, as long as nothing stands in it."""
    if station.positions.exists():
        raise ChangeRefused(
            f"Station {station.code} has places. Move them or take them back first; nothing with a log is deleted."
        )
    with transaction.atomic():
        changes.tell(station)
        station.delete()


def _operation(text: str) -> str:
    text = " ".join(text.replace("\x00", "").split())
    if len(text) > 60:
        raise ChangeRefused(f"The operation has {len(text)} letters; 60 is the most.", field="operation")
    return text


def _number(stations: list[Station]) -> None:
    for number, station in enumerate(stations, 1):
        if station.sequence != number:
            station.sequence = number
            station.save(update_fields=["sequence"])
