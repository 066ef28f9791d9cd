"""A series of parts on one tool whose inserts are exchanged, against a tool of its own for each part."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

from .break_even import BreakEven, break_even
from .discounting import series_factor
from .elements import per_thousand
from .money import MoneyRefused, amount, quantity

MOST_PARTS, MOST_YEARS = 8, 20


@dataclass(frozen=True, kw_only=True)
class PartOfSeries:
    """One part. parts_a_year, lot: parts of a year and of one lot. inserts: money for its own inserts of the shared
    tool; change_hours: that putting them in takes before each lot; alone: money for a tool for it alone."""

    name: str
    parts_a_year: int
    lot: int
    inserts: Decimal
    change_hours: Decimal
    alone: Decimal

    def __post_init__(self) -> None:
        amount(self.inserts, f"the inserts of {self.name}")
        amount(self.alone, f"the tool for {self.name} alone")
        quantity(self.change_hours, f"the hours to change to {self.name}")
        if self.parts_a_year < 1 or self.lot < 1:
            raise MoneyRefused(f"{self.name}: {self.parts_a_year} parts a year in lots of {self.lot}; one at least.")

    @property
    def lots_a_year(self) -> int:
        """A last lot may be a part of one, and is changed for all the same."""
        return -(-self.parts_a_year // self.lot)


@dataclass(frozen=True, kw_only=True)
class BothWays:
    """Money over all years on the shared tool and on tools of their own, and the parts that it makes."""

    parts: int
    shared: Decimal
    alone: Decimal

    @property
    def shared_thousand(self) -> Decimal:
        return per_thousand(self.shared, self.parts)

    @property
    def alone_thousand(self) -> Decimal:
        return per_thousand(self.alone, self.parts)


@dataclass(frozen=True, kw_only=True)
class OnePart(BothWays):
    """Money over all years. shared: its share of the tool, by parts, its inserts and changes; alone: its own tool; both
    with running. parts: over all years."""

    part: PartOfSeries
    changing: Decimal


@dataclass(frozen=True, kw_only=True)
class Series(BothWays):
    """parts: over all years and all of the series. shared, alone: money of each way. worth: today's worth of sharing,
    below nought where it costs. crossing: parts in all at which both have cost the same, A the shared tool."""

    rows: tuple[OnePart, ...]
    worth: Decimal
    crossing: BreakEven


def series(
    parts: Sequence[PartOfSeries],
    *,
    tool: Decimal,
    running: Decimal,
    change_rate: Decimal,
    years: int,
    interest: Decimal = Decimal(0),
    lasts_parts: int | None = None,
) -> Series:
    """tool: money for the shared tool without inserts. running: money a part, alike in both ways. change_rate: money an
    hour of changing, the toolroom and the press that stands. lasts_parts: after which a tool is built again.

    shared = tools x tool + sum of inserts + years x sum of lots x hours x rate + running x parts; of a part: its share
    of the tools by parts. alone = sum of tools x its price + running x parts. A volume that changes keeps the shares of
    the parts and the lots as large: the crossing of two lines, T + sum of inserts and running + changes a part against
    sum of tools and running. worth = (what tools cost less) - changes of a year x (P/A, i, years).
    Limits: the inserts of a part last as long as the shared tool; all parts run as well on either tool.
    Source: break-even of two tools, P. C. Sharma, A Textbook of Production Engineering, 2008, ch. 5; present worth.
    Raises MoneyRefused for no part or too many, names that are alike, no year and negative money.
    """
    if not 1 <= len(parts) <= MOST_PARTS:
        raise MoneyRefused(f"{len(parts)} parts; between 1 and {MOST_PARTS} can be compared.")
    if len({part.name for part in parts}) < len(parts):
        raise MoneyRefused("Two parts have the same name.")
    if not 1 <= years <= MOST_YEARS:
        raise MoneyRefused(f"{years} years; between 1 and {MOST_YEARS} can be reckoned.")
    if lasts_parts is not None and lasts_parts < 1:
        raise MoneyRefused(f"the tool lasts {lasts_parts} parts; at least one is needed.")
    tool, running = amount(tool, "the price of the shared tool"), amount(running, "what running costs a part")
    rate = amount(change_rate, "an hour of changing")
    all_parts = years * sum(part.parts_a_year for part in parts)
    shared_tools = tool * _tools(all_parts, lasts_parts)
    rows = []
    for part in parts:
        made = years * part.parts_a_year
        changing = years * part.lots_a_year * quantity(part.change_hours) * rate
        rows.append(
            OnePart(
                part=part,
                parts=made,
                changing=changing,
                shared=shared_tools * made / all_parts + part.inserts + changing + running * made,
                alone=part.alone * _tools(made, lasts_parts) + running * made,
            )
        )
    inserts = sum((part.inserts for part in parts), Decimal(0))
    changes = sum((row.changing for row in rows), Decimal(0))
    apart = sum(
        (part.alone * _tools(row.parts, lasts_parts) for part, row in zip(parts, rows, strict=True)), Decimal(0)
    )
    return Series(
        rows=tuple(rows),
        parts=all_parts,
        shared=sum((row.shared for row in rows), Decimal(0)),
        alone=sum((row.alone for row in rows), Decimal(0)),
        worth=apart - shared_tools - inserts - changes / years * series_factor(interest, years),
        crossing=break_even(
            tool_cost_a=shared_tools + inserts,
            part_cost_a=running + changes / all_parts,
            tool_cost_b=apart,
            part_cost_b=running,
        ),
    )


def _tools(parts: int, lasts: int | None) -> int:
    return 1 if lasts is None else -(-parts // lasts)
