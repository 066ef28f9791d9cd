"""How old the pieces of a spare that wears out are, place by place."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from reports.purchasing.wear import WearLaw, Worn, WornItem

from .mishaps import Passed, lives_of
from .reads import Mishap, PlaceOfItem


@dataclass(frozen=True, kw_only=True)
class AgedPlace:
    """A place of what wears out: the share of its die's strokes that it works in, and the age of the piece in it, in
    strokes; known: since it was fitted, else since the records began."""

    die: int
    share: float
    age: float
    known: bool

    def ahead(self, strokes: float) -> Worn:
        """strokes: of its die, ahead."""
        return Worn(strokes=strokes * self.share, age=self.age, known=self.known)


def aged_places(
    law: WearLaw, rows: Sequence[PlaceOfItem], mishaps: Sequence[Mishap], passed: Passed
) -> tuple[WornItem, tuple[AgedPlace, ...]]:
    """The law of one item, and its places. law: of its kind; mishaps: those of this item."""
    shares, dies = {}, {}
    for row in rows:
        shares[row.position_id] = row.strokes / row.die_hits if row.die_hits and row.strokes else row.stroke_share
        dies[row.position_id] = row.die_id
    lives = lives_of(mishaps, passed, shares)
    last = {place: passed.by(row.die, row.at) for row in mishaps for place in row.places}
    ages, never = [], 0.0
    for place, share in shares.items():
        at, end = last.get(place), passed.end(dies[place])
        never += share * end if at is None else 0.0
        ages.append(AgedPlace(die=dies[place], share=share, age=share * (end - (at or 0.0)), known=at is not None))
    return law.of_item(replace(lives, unknown_strokes=lives.unknown_strokes + never)), tuple(ages)
