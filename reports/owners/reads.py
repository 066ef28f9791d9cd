"""Reads for what a customer sees: whose tools are whose, what is ground in them, the reports that were signed."""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass

from django.db.models import Count, F, Q, QuerySet, Window
from django.db.models.functions import RowNumber

from diestore.register.models import Die, Output, Party, Plant, Position
from maintenance.models import CustomerLink, LinkOpening, Order, SignedReport

FURTHEST_DAYS = 3_650  # beyond ten years no day is told
LINKS_SHOWN, OPENINGS_SHOWN = 20, 10


def customers_of(die: Die) -> list[Party]:
    """Whose parts fall out of it, by name."""
    rows = Party.objects.filter(part__outputs__variant__die=die).distinct()
    return sorted(rows, key=lambda party: (str(party), party.pk))


def positions_of(die: Die) -> list[Position]:
    """With the spare of each, by code."""
    return list(Position.objects.filter(die=die).select_related("item").order_by("code"))


def day_at(strokes: float, pace: float, today: dt.date) -> dt.date | None:
    """The day on which so many strokes are made at so many a day; None: it does not run, or that is too far off."""
    days = strokes / pace if pace > 0 else FURTHEST_DAYS + 1
    return today + dt.timedelta(days=days) if days <= FURTHEST_DAYS else None


def signed_reports() -> QuerySet[SignedReport]:
    """With what their pages name."""
    return SignedReport.objects.select_related("die__plant", "customer", "signer", "struck_by")


# --- customers and their links ------------------------------------------------------------------------------------


@dataclass(frozen=True, kw_only=True)
class CustomerRow:
    """A customer with the tools of one plant that are his or make his parts, and the links that open."""

    party: Party
    owned: int
    made: int
    links: int
    jobs: int


def tools_of(customer: Party, plant: Plant) -> QuerySet[Die]:
    """The dies that he owns, and those of the shop that make his parts, by code."""
    made = Output.objects.filter(part__customer=customer, variant__die__plant=plant).values("variant__die")
    rows = Die.objects.filter(plant=plant).filter(Q(owner=customer) | Q(pk__in=made))
    return rows.select_related("owner", "plant").order_by("code")


def customers_with_tools(plant: Plant, today: dt.date) -> list[CustomerRow]:
    """Every customer that is offered, those with tools first: five questions."""
    owned = dict(_counts(Die.objects.filter(plant=plant, owner__isnull=False), "owner", "pk"))
    parts = Output.objects.filter(variant__die__plant=plant, part__customer__isnull=False)
    made = dict(_counts(parts, "part__customer", "variant__die"))
    open_links = CustomerLink.objects.filter(plant=plant, withdrawn_at__isnull=True, last_day__gte=today)
    links = dict(_counts(open_links, "customer", "pk"))
    jobs = dict(_counts(Order.objects.filter(plant=plant, closed_at__isnull=True), "part__customer", "pk"))
    parties = Party.objects.filter(role=Party.Role.CUSTOMER, retired_at__isnull=True)
    rows = [
        CustomerRow(party=one, owned=owned.get(one.pk, 0), made=made.get(one.pk, 0), links=links.get(one.pk, 0),
                    jobs=jobs.get(one.pk, 0))
        for one in parties
    ]  # fmt: skip
    return sorted(rows, key=lambda row: (not (row.owned or row.made), str(row.party), row.party.pk))


def _counts(rows: QuerySet, by: str, what: str) -> list[tuple[int, int]]:
    return list(rows.order_by().values(by).annotate(n=Count(what, distinct=True)).values_list(by, "n"))


def newest_signed(dies: Sequence[Die]) -> dict[int, SignedReport]:
    """Die -> its newest signed report that stands."""
    rows = SignedReport.objects.standing().filter(die__in=dies).defer("said").order_by("signed_at", "pk")
    return {row.die_id: row for row in rows}


def links() -> QuerySet[CustomerLink]:
    return CustomerLink.objects.select_related("customer", "plant", "made_by", "withdrawn_by")


def links_of(customer: Party, plant: Plant, today: dt.date) -> list[CustomerLink]:
    """The newest links of a customer, each with how often it was opened and the last times: two questions."""
    rows = list(links().filter(customer=customer, plant=plant).annotate(times=Count("openings"))[:LINKS_SHOWN])
    last: dict[int, list[LinkOpening]] = defaultdict(list)
    numbered = LinkOpening.objects.filter(link__in=[row.pk for row in rows]).annotate(
        n=Window(RowNumber(), partition_by=F("link"), order_by=[F("at").desc(), F("pk").desc()])
    )
    for opening in numbered.filter(n__lte=OPENINGS_SHOWN).select_related("report__die").defer("report__said"):
        last[opening.link_id].append(opening)
    for row in rows:
        row.last_openings, row.is_open = last[row.pk], row.opens_on(today)
    return rows


def shown_by(link: CustomerLink) -> list[SignedReport]:
    """What a link shows: of each tool that is its customer's today the newest report signed for him that stands."""
    mine = Q(die__owner=link.customer_id) | Q(
        die__owner__isnull=True,
        die__in=Output.objects.filter(part__customer=link.customer_id).values("variant__die"),
    )
    rows = SignedReport.objects.standing().filter(mine, customer=link.customer_id, die__plant=link.plant_id)
    newest = {row.die_id: row for row in rows.select_related("die").order_by("signed_at", "pk")}
    return sorted(newest.values(), key=lambda row: row.die.code)
