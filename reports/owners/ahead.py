"""The year ahead in money of a customer's tools, each as on its own page, and all of them together.

One basis for all: what is known of a spare is known from every die that takes it, whichever dies are looked at.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass

from django.utils import timezone

from diestore.register.models import Die, Party
from reports.cost import reads as cost_reads
from reports.cost.ledger import pays_now
from reports.cost.sheets import DieCost, cost_per_thousand
from reports.cost.years import DieYears, month_days, years_of
from reports.costing.years_ahead import KEYS, Band, Path, joined
from reports.spares import kept as spares_kept

MONTHS = 12
AT_MOST = 24  # tools that are told together: each has ten thousand lives drawn


@dataclass(frozen=True, kw_only=True)
class ToolAhead:
    """years: as its own page has them. theirs: of them the elements that the customer pays by what holds now."""

    die: Die
    years: DieYears
    theirs: frozenset[str]

    def band(self, key: str = "") -> Band | None:
        """The first year of an element, or of all together."""
        made = self.years.years
        return None if made is None else (made.by_key[key] if key else made.together).year(1)


@dataclass(frozen=True, kw_only=True)
class CustomerAhead:
    """tools: by code. together, theirs, the_rest: of all tools of which something is forecast: the whole, what this
    customer pays of it, and what others and the shop pay. months: the day on which each ends."""

    tools: tuple[ToolAhead, ...]
    together: Path
    theirs: Path
    the_rest: Path
    by_key: dict[str, Path]
    months: tuple[dt.date, ...]
    today: dt.date | None
    records_until: dt.date | None
    left: int = 0  # tools beyond those that are told

    @property
    def is_known(self) -> bool:
        return any(tool.years.years is not None for tool in self.tools)


def of_customer(customer: Party, dies: Sequence[Die]) -> CustomerAhead:
    """Of his tools, those of one plant; a fixed number of questions."""
    told = list(dies[:AT_MOST])
    costs = {cost.die.pk: cost for cost in cost_per_thousand(told)}
    ahead = spares_kept.ahead_of_dies(told[0].plant, [die.pk for die in told]) if told else None
    minutes = cost_reads.stop_minutes(told[0].plant) if told else []
    tools = []
    for die in told:
        years = years_of(costs[die.pk], ahead=ahead, in_the_long_run=False, shop_minutes=minutes)
        tools.append(ToolAhead(die=die, years=years, theirs=paid_now(costs[die.pk], customer)))
    known = [(tool.years.years, tool.theirs) for tool in tools if tool.years.years is not None]
    days = month_days(MONTHS)
    return CustomerAhead(
        tools=tuple(tools),
        together=joined([years.together for years, _ in known], months=MONTHS),
        theirs=joined([years.of_keys(list(keys)) for years, keys in known], months=MONTHS),
        the_rest=joined([years.of_keys([k for k in KEYS if k not in keys]) for years, keys in known], months=MONTHS),
        by_key={key: joined([years.by_key[key] for years, _ in known], months=MONTHS) for key in KEYS},
        months=tuple(ahead.today + dt.timedelta(days=n) for n in days) if ahead is not None else (),
        today=ahead.today if ahead is not None else None,
        records_until=ahead.records_until if ahead is not None else None,
        left=max(len(dies) - AT_MOST, 0),
    )


def paid_now(cost: DieCost, who: Party) -> frozenset[str]:
    """The elements of the year ahead that he pays by what holds now."""
    now = pays_now(cost.spent, timezone.now()) if cost.spent is not None else {}
    return frozenset(key for key in KEYS if now.get(key) == who.pk)
