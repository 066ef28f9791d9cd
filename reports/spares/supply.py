"""What is ordered of the spares, for the buyer's pages: what is late, what is on the way, what stands in drafts."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable
from dataclasses import dataclass, field

from django.utils.formats import date_format
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from diestore.register.models import Plant
from maintenance.log import bench_reads, purchase_reads
from maintenance.log.purchase_reads import Coming, LeadSeen, OrderRow

LEADS_SHOWN = 12


@dataclass(frozen=True, kw_only=True)
class Supply:
    """late: orders that should be here, the latest first. coming: of each spare what open orders bring.

    drafts: spare -> number of the draft, its id, pieces.
    """

    late: tuple[OrderRow, ...] = ()
    open: int = 0
    coming: dict[int, list[Coming]] = field(default_factory=dict)
    drafts: dict[int, tuple[str, int, int]] = field(default_factory=dict)


def of_plant(plant: Plant, *, today: dt.date | None = None) -> Supply:
    """Four questions, and one for the day if it is not given."""
    rows = purchase_reads.rows(purchase_reads.waited_for(plant), today=today or bench_reads.today_at(plant))
    late = sorted((row for row in rows if row.days_late), key=lambda row: (-row.days_late, row.pk))
    return Supply(
        late=tuple(late), open=len(rows), coming=purchase_reads.coming(line for row in rows for line in row.lines),
        drafts={item: (order.number, order.pk, n) for item, (order, n) in purchase_reads.in_drafts(plant).items()},
    )  # fmt: skip


@dataclass(frozen=True, kw_only=True)
class LeadTimes:
    """What the lead times of a spare were: days from placing to the last piece. late: came after the promised day."""

    seen: tuple[LeadSeen, ...]

    @property
    def days(self) -> list[int]:
        return sorted(one.days for one in self.seen)

    @property
    def least(self) -> int:
        return self.days[0]

    @property
    def most(self) -> int:
        return self.days[-1]

    @property
    def middle(self) -> float:
        days = self.days
        half = len(days) // 2
        return float(days[half]) if len(days) % 2 else (days[half - 1] + days[half]) / 2

    @property
    def promised(self) -> int:
        return sum(one.promised_days is not None for one in self.seen)

    @property
    def late(self) -> int:
        return sum(one.promised_days is not None and one.days > one.promised_days for one in self.seen)

    @property
    def latest(self) -> list[LeadSeen]:
        return list(self.seen[: -LEADS_SHOWN - 1 : -1])


@dataclass(frozen=True, kw_only=True)
class OfASpare:
    """coming: what open orders bring. without: pieces on the way by the record, with no order behind them."""

    coming: list[Coming]
    without: int
    draft: tuple[str, int, int] | None
    leads: LeadTimes | None


def of_a_spare(
    plant: Plant,
    item: int,
    *,
    on_order: int,
    lines_seen: Iterable[LeadSeen] | None = None,
    today: dt.date | None = None,
) -> OfASpare:
    """lines_seen, today: where they are read already."""
    coming, line = purchase_reads.ordered_of(plant, item, today=today or bench_reads.today_at(plant))
    if lines_seen is None:
        lines_seen = purchase_reads.lead_times_seen(plant=plant, items=[item])
    seen = [one for one in lines_seen if one.item_id == item]
    draft = (line.order.number, line.order_id, line.quantity) if line is not None else None
    return OfASpare(
        coming=coming, without=max(on_order - pieces_of(coming), 0), draft=draft,
        leads=LeadTimes(seen=tuple(seen)) if seen else None,
    )  # fmt: skip


def pieces_of(coming: Iterable[Coming]) -> int:
    return sum(one.pieces for one in coming)


def words_of(one: Coming, day) -> str:
    """One arrival in a few words. day: how a date is written."""
    if one.due_on is None:
        return _("{pieces:,}, no day known").format(pieces=one.pieces)
    said = _("{pieces:,} promised {day}") if one.is_promised else _("{pieces:,} expected {day}")
    late = ngettext("{days} days late", "{days} days late", one.days_late).format(days=one.days_late)
    return said.format(pieces=one.pieces, day=day(one.due_on)) + (f", {late}" if one.days_late else "")


def day_of(value: dt.date | None) -> str:
    return "" if value is None else date_format(value, "j M")
