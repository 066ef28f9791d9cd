"""How right such forecasts have been here, for the line beside one."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

from diestore.register.models import Die, Plant
from maintenance.log import queries

OF_DIE_AT_LEAST = 6  # statements of one die that have come out, before they are told


@dataclass(frozen=True, kw_only=True)
class RecordLine:
    """A line beside a forecast: how right such statements have been here."""

    held: int
    statements: int
    as_of: dt.datetime
    of_die: tuple[int, int] | None  # held, of so many that have come out


def here(plant: Plant, die: Die | None = None) -> RecordLine | None:
    """None where nobody has looked back yet, or where too little has come. One query."""
    row = queries.record_in_short(plant, die)
    if row is None or row["refusal"] or row["band_80"] is None:
        return None
    out, held = row["of_die"] or (0, 0)
    return RecordLine(
        held=round(100 * row["band_80"]),
        statements=row["forecasts"],
        as_of=row["as_of"],
        of_die=(round(held), out) if out >= OF_DIE_AT_LEAST else None,
    )
