"""The tables of this app, from the rooms that they stand in: here, since Django looks for them here."""

from .access.models import Person, PlantOfUser, Tries, UserSettings
from .register.models import (
    Amendment,
    Cut,
    Die,
    Item,
    Output,
    Part,
    Party,
    Piece,
    Plant,
    Position,
    Press,
    Rate,
    Side,
    Station,
    Stock,
    Variant,
    kind_choices,
)
from .service.models import Host, TaskWorker

__all__ = [
    "Amendment",
    "Cut",
    "Die",
    "Host",
    "Item",
    "Output",
    "Part",
    "Party",
    "Person",
    "Piece",
    "Plant",
    "PlantOfUser",
    "Position",
    "Press",
    "Rate",
    "Side",
    "Station",
    "Stock",
    "TaskWorker",
    "Tries",
    "UserSettings",
    "Variant",
    "kind_choices",
]
