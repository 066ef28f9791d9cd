"""Why so many of a spare: the dies behind it, and the demand ahead."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import partial

from diestore.handbook.limits import LEAD_DAYS
from diestore.register.models import Item, Plant
from diestore.register.sources import SpareLevel
from reports.purchasing.breaks import MeanLimits, mean_limits
from reports.purchasing.cause import Moved, cause_of
from reports.purchasing.demand import DemandRefused, GrindGroup
from reports.purchasing.laws import LawRefused
from reports.purchasing.lead import LeadTime
from reports.purchasing.worth import Economics, Judged

from . import reads
from .advice import SpareRow, row_of
from .costs import ShopCosts
from .mishaps import KindMishaps
from .use import PlantAhead


@dataclass(frozen=True, kw_only=True)
class DieBehind:
    """What one die uses of an item until an order could arrive."""

    code: str
    die_id: int
    strokes: float
    pace: float
    ordered: float
    half: int
    nine_in_ten: int
    sharpenings: float | None
    places: tuple


@dataclass(frozen=True, kw_only=True)
class Why:
    """What stands behind a row: the dies and places, the breaks, and what is not known. by_hand: the level that
    somebody set; reckoned, reckoned_point: the level and the order point without it."""

    row: SpareRow
    records_until: dt.date
    days: int
    dies: tuple[DieBehind, ...]
    ground_out: float
    broken: float
    breaks_seen: int
    strokes_seen: float
    gaps: tuple[str, ...]
    chances: tuple[tuple[int, float], ...]
    lead: LeadTime | None = None
    lead_seen: tuple[float, ...] = ()
    yearly: float = 0.0
    economics: Economics | None = None
    judged: Judged | None = None
    costs: ShopCosts | None = None
    moves: tuple[reads.Move, ...] = ()
    cause: Moved | None = None
    mishaps: KindMishaps | None = None
    mishaps_seen: int = 0
    limits: MeanLimits | None = None
    by_hand: SpareLevel | None = None
    reckoned: float | None = None
    reckoned_point: int | None = None

    @property
    def is_ground(self) -> bool:
        return any(place.grinds_left is not None for die in self.dies for place in die.places)


def why(
    item: Item,
    plant: Plant,
    *,
    ahead: PlantAhead | None = None,
    movements: Sequence[reads.StockMovement] | None = None,
) -> Why:
    """One item with everything behind its row. ahead, movements: what is ahead of its dies, and what moved of it, where
    that is read already."""
    ahead = ahead or PlantAhead.of(plant, longest_lead_days=item.lead_days or 0)
    if movements is None:
        movements = reads.movements_of(plant, item.pk)
    row = row_of(item, reads.stock_by(item.pk, movements), ahead)
    days = min(item.lead_days, int(LEAD_DAYS.most)) if item.lead_days is not None else 90
    gaps = list(ahead.gaps(item.pk))
    moves = tuple(reads.moves_of(one for one in movements if one.item_id == item.pk))
    cause = None
    if row.advice is not None and row.advice.short_by:
        changes = [Moved(at=move.at, kind=move.kind, pieces=move.quantity) for move in moves]
        cause = cause_of(changes, position=row.there + row.on_order, point=row.advice.point)
    try:
        groups = ahead.groups(item.pk, days)
        use = ahead.use(item.pk, days) if item.lead_days is None else ahead.lead(item).use(partial(ahead.use, item.pk))
    except (DemandRefused, LawRefused) as reason:
        return Why(
            row=row,
            records_until=ahead.records_until,
            days=days,
            dies=(),
            ground_out=0.0,
            broken=0.0,
            breaks_seen=0,
            strokes_seen=0.0,
            gaps=(*gaps, str(reason)),
            chances=(),
            moves=moves,
            cause=cause,
        )
    places = ahead.places.get(item.pk, [])
    behind = []
    for die in dict.fromkeys(p.row.die_id for p in places):
        mine = [p for p in places if p.row.die_id == die]
        ground = [group.ground_out() for group in groups if group.label == mine[0].row.die_code]
        total = ground[0]
        for more in ground[1:]:
            total = total.plus(more)
        behind.append(
            DieBehind(
                code=mine[0].row.die_code,
                die_id=die,
                strokes=ahead.strokes(die, days),
                pace=ahead.pace.get(die, 0.0),
                ordered=sum(order.hits_left for order in ahead.orders.get(die, ())),
                half=total.quantile(0.5),
                nine_in_ten=total.quantile(0.9),
                sharpenings=_expected_sharpenings(ahead, die, days),
                places=tuple(replace(place, used_up=ahead.used_up(place)) for place in mine),
            )
        )
    seen = ahead.mishaps_of(item.pk)
    yearly = ahead.yearly_use(item.pk)
    strokes = sum(place.row.strokes for place in places)
    economics, lots = ahead.economics(item), {"least_quantity": ahead.least_quantity(item.pk)}
    reckoned = ahead.economics(item, by_hand=False).judged(yearly, pack_size=item.pack_size, **lots).service
    return Why(
        row=row,
        records_until=ahead.records_until,
        days=days,
        dies=tuple(behind),
        ground_out=sum(group.ground_out().mean for group in groups),
        broken=_broken(ahead, item.pk, days, groups),
        mishaps=seen,
        limits=mean_limits(strokes, ahead.mishaps_by_item.get(item.pk, 0)) if strokes else None,
        mishaps_seen=ahead.mishaps_by_item.get(item.pk, 0),
        breaks_seen=sum(p.row.replaced for p in places),
        strokes_seen=sum(p.row.strokes for p in places),
        gaps=tuple(gaps),
        chances=tuple((n, use.at_most(n)) for n in range(min(use.quantile(0.995), 40) + 1)),
        lead=None if item.lead_days is None else ahead.lead(item),
        lead_seen=ahead.lead_days_seen.get(item.pk, ()),
        yearly=yearly,
        economics=economics,
        judged=economics.judged(yearly, pack_size=item.pack_size, **lots),
        by_hand=ahead.levels.get(item.pk),
        reckoned=reckoned,
        reckoned_point=use.quantile(reckoned),
        costs=ahead.costs,
        moves=moves,
        cause=cause,
    )


def _broken(ahead: PlantAhead, item: int, days: int, groups: list[GrindGroup]) -> float:
    """Pieces expected to break or wear out."""
    if (worn := ahead.worn(item, days)) is not None:
        return worn.mean
    rate, at_once = ahead.breaks(item), ahead.at_once(item)
    each = at_once.mean if at_once else 1.0
    return rate.per_stroke * sum(group.piece_strokes for group in groups) * each if rate else 0.0


def _expected_sharpenings(ahead: PlantAhead, die: int, days: int) -> float | None:
    try:
        return float(sum(n * p for n, p in enumerate(ahead.chances(die, days))))
    except LawRefused:
        return None
