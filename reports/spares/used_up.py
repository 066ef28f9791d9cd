"""How far the allowance of each piece of a die goes: for its heights, by what the spares page says of its places."""

from __future__ import annotations

from diestore.register.models import Die, Item
from maintenance.log.data import AllowanceLeft

from . import kept
from .use import PlantAhead, SparePlace


def of_die(die: Die) -> dict[int, AllowanceLeft]:
    """Position -> grinds, strokes and the day, of the places that name a spare and are ground."""
    items = list(Item.objects.filter(positions__die=die).distinct().order_by("pk"))
    if not items:
        return {}
    ahead = kept.ahead_of(die.plant, items)
    mine = [place for item in items for place in ahead.places.get(item.pk, ()) if place.row.die_id == die.pk]
    return {place.row.position_id: of_place(place, ahead) for place in mine if place.grinds_left is not None}


def of_place(place: SparePlace, ahead: PlantAhead) -> AllowanceLeft:
    """As the page of its spare shows it."""
    goes = ahead.used_up(place)
    if goes is None:
        return AllowanceLeft(grinds=place.grinds_left)
    return AllowanceLeft(grinds=place.grinds_left, strokes=goes.strokes, day=goes.day)
