"""The places that take a spare, with what is ground off the pieces in them."""

from __future__ import annotations

import datetime as dt
import math
from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from functools import lru_cache, reduce

from maintenance.wording import numbers
from reports.purchasing.demand import PieceUse, grinds_in
from reports.purchasing.removal import Removal, Taken

from .reads import PlaceOfItem

USUAL_REMOVAL_MM = 0.15  # off a face at a grind where nothing was written down; common practice, no source


@dataclass(frozen=True, kw_only=True)
class UsedUp:
    """When the piece in a place has been ground out, as often as not: after so many strokes of its die, and on which
    day at the pace of last year; None where it does not run or that is too far off to say."""

    strokes: float
    day: dt.date | None

    @property
    def about(self) -> str:
        return numbers.hits(self.strokes)


@dataclass(frozen=True, kw_only=True)
class SparePlace:
    """A place that takes an item, as the use ahead sees it. stands: in words, what it rests on."""

    row: PlaceOfItem
    removal: Removal
    removal_known: bool
    grinds_left: int | None
    grinds_new: int | None
    share_of_grinds: float
    allowance_new_mm: float | None = None
    used_up: UsedUp | None = None

    @property
    def removal_mm(self) -> float:
        return self.removal.mean_mm

    @property
    def give_or_take_percent(self) -> int:
        """Of the next grind about that, what is not known of the mean with it: sd over mean."""
        return round(100 * math.hypot(self.removal.spread, self.removal.doubt))

    def drawn(self, *, alone: bool) -> PieceUse:
        """What each grind takes off drawn about its mean. alone: its own grinds are counted, not those of the set.

        Rounded to twentieths of a grind and of its spread, far below what is known of them, so that what was computed
        of one place serves others.
        """
        if self.row.allowance_left_mm is None or self.allowance_new_mm is None:
            return self.use
        return PieceUse(
            label=self.row.code,
            grinds_left=_twentieths(self.row.allowance_left_mm / self.removal_mm),
            grinds_new=_twentieths(self.allowance_new_mm / self.removal_mm),
            stroke_share=self.row.stroke_share,
            spread=max(_twentieths(self.removal.spread), 0.05),
            doubt=_twentieths(self.removal.doubt),
            ground_share=1.0 if alone else max(round(self.share_of_grinds, 2), 0.01),
        )

    @property
    def use(self) -> PieceUse:
        """Whole grinds of the die: a place ground at every second one has room for twice as many."""
        p = self.share_of_grinds
        left, new = self.grinds_left, self.grinds_new
        if left is not None and p < 1:
            left, new = int((left + 1) / p) - 1, int((new + 1) / p) - 1
        return PieceUse(label=self.row.code, grinds_left=left, grinds_new=new, stroke_share=self.row.stroke_share)


def taken(rows: Iterable[PlaceOfItem]) -> Taken:
    """What all grinds at these places took off."""
    return reduce(Taken.plus, (row.taken for row in rows), Taken())


def by_item(rows: Iterable[PlaceOfItem]) -> dict[int, list[PlaceOfItem]]:
    """The places that take each spare."""
    found: dict[int, list[PlaceOfItem]] = defaultdict(list)
    for row in rows:
        found[row.item_id].append(row)
    return found


def place_of(row: PlaceOfItem, allowance_mm: float | None, levels: list[Taken]) -> SparePlace:
    """levels: what was taken off in the shop, from this spare, from it in this die, and here."""
    removal = _learnt(tuple(levels))
    left = new = new_mm = None
    if row.allowance_left_mm is not None:
        new_mm = allowance_mm if allowance_mm is not None else row.allowance_left_mm
        left, new = grinds_in(row.allowance_left_mm, removal.mean_mm), grinds_in(new_mm, removal.mean_mm)
    # half a grind of doubt: a young die is taken to be ground as a set
    share = (row.grinds + 1) / (row.die_grinds + 1) if row.die_grinds else 1.0
    return SparePlace(
        row=row,
        removal=removal,
        removal_known=any(level.grinds for level in levels),
        grinds_left=left,
        grinds_new=new,
        share_of_grinds=min(share, 1.0),
        allowance_new_mm=new_mm,
    )


@lru_cache(maxsize=4096)
def _learnt(levels: tuple[Taken, ...]) -> Removal:
    return Removal.learnt(levels, usual_mm=USUAL_REMOVAL_MM)


def _twentieths(value: float) -> float:
    return round(value * 20) / 20
