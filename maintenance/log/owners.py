"""Condition reports signed for a tool's owner, and links for customers: what a report says, who signs, who withdraws.

A signed report keeps every word and figure of its day; nothing of it is worked out again. Of a link only a hash is
kept.
"""

from __future__ import annotations

import datetime as dt
import hashlib
import secrets
from dataclasses import dataclass
from decimal import Decimal

from django.contrib.auth.models import User
from django.core import signing
from django.db.models import QuerySet
from django.utils import timezone
from django.utils.translation import gettext as _
from pydantic import BaseModel, ConfigDict, Field, ValidationError

from diestore.access.models import Person
from diestore.register.models import Die, Party, Plant
from maintenance.models import CustomerLink, LinkOpening, SignedReport

from .rules import EntryRefused, check_text, saving

NOTE_AT_MOST = 600
DAYS_AT_MOST = 366
LINKS_AT_MOST = 20  # that open, of one customer in one plant
SAID_AT_MOST = 1_000_000  # bytes of a report in a history folder
_SALT = "diestore.customer-link"


class _Said(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid")


class YearSaid(_Said):
    """What was made and done in one year. ground: pieces that got a fresh edge; broken: of those replaced; other:
    pieces touched up, coated or shimmed."""

    year: int
    hits: int
    parts: int
    sharpenings: int
    ground: int
    replaced: int
    broken: int
    repairs: int
    other: int


class PieceSaid(_Said):
    """What is left in one ground piece. parts, months None: not known, and `why` says why."""

    place: str
    what: str
    spare: str
    grinds: int | None = None
    parts: int | None = None
    months: float | None = None
    by: dt.date | None = None
    why: str = ""


class StepSaid(_Said):
    """Pieces that have to be new at once. parts: from now; buys: parts until the next step."""

    spares: tuple[str, ...]
    places: tuple[str, ...]
    parts: int
    buys: int
    by: dt.date | None = None
    is_big: bool = False


class PaidSaid(_Said):
    """What the one for whom the report is was asked to pay."""

    on: dt.date
    what: str
    amount: Decimal


class AheadSaid(_Said):
    """What the year ahead is expected to take of the reader's money, and where 1 in 10, half and 9 in 10 stay below.

    what: an element, or all that he pays together; of a month `until` is the day on which it ends.
    """

    what: str = ""
    until: dt.date | None = None
    expected: Decimal
    low: Decimal
    half: Decimal
    high: Decimal


class ReportSaid(_Said):
    """All that a condition report says. owner "": the shop's own tool. owns: else its parts are made on it."""

    die: str
    description: str = ""
    plant: str
    shop: str = ""
    currency: str
    owner: str = ""
    owns: bool = False
    status: str
    on: dt.date
    records_until: dt.date
    standing: str
    css: str = ""
    condition: str
    wrong: tuple[str, ...] = ()
    decision: str
    hits: int
    parts: int
    since: dt.date | None = None
    until: dt.date | None = None
    expected_parts: int | None = None
    last_sharpened: dt.date | None = None
    years: tuple[YearSaid, ...] = ()
    limiting: str = ""
    half_parts: int | None = None
    nine_in_ten_parts: int | None = None
    parts_a_month: int | None = None
    pieces: tuple[PieceSaid, ...] = ()
    steps: tuple[StepSaid, ...] = ()
    steel: str
    paid: tuple[PaidSaid, ...] = ()
    who_pays: str
    ahead: tuple[AheadSaid, ...] = ()
    ahead_months: tuple[AheadSaid, ...] = ()
    left_out: tuple[str, ...] = ()
    rests_on: str = ""
    language: str = Field(default="en", pattern="^[a-z]{2}(-[a-z]{2,4})?$")  # of all its words, whoever reads it
    signer: str = Field(default="", max_length=120)
    signed_on: dt.date | None = None
    note: str = Field(default="", max_length=NOTE_AT_MOST)

    @property
    def months_paid(self) -> list[tuple[dt.date, Decimal, list[str]]]:
        """The first day of each month with its sum and what it was for, in order."""
        months: dict[dt.date, tuple[Decimal, list[str]]] = {}
        for one in sorted(self.paid, key=lambda one: one.on):
            money, words = months.get(one.on.replace(day=1), (Decimal(0), []))
            months[one.on.replace(day=1)] = (money + one.amount, words if one.what in words else [*words, one.what])
        return [(month, money, words) for month, (money, words) in sorted(months.items())]

    @property
    def paid_for(self) -> list[tuple[str, Decimal]]:
        """What was paid for each element, the most first."""
        sums: dict[str, Decimal] = {}
        for one in self.paid:
            sums[one.what] = sums.get(one.what, Decimal(0)) + one.amount
        return sorted(sums.items(), key=lambda one: (-one[1], one[0]))

    @property
    def paid_together(self) -> Decimal:
        return sum((one.amount for one in self.paid), Decimal(0))


def read(kept: object) -> ReportSaid:
    """A report as it was kept. Raises EntryRefused where it is none."""
    try:
        return ReportSaid.model_validate(kept)
    except ValidationError as wrong:
        first = wrong.errors()[0]
        where = ".".join(str(part) for part in first["loc"])
        raise EntryRefused(
            _("This is no condition report: {where}: {first}.").format(where=where, first=first["msg"])
        ) from None


# --- signed -----------------------------------------------------------------------------------------------------------


def sign(
    *,
    person: Person | None,
    user: User | None,
    die: Die,
    customer: Party | None,
    said: ReportSaid,
    note: str = "",
    key: str = "",
) -> SignedReport:
    """Keep what the report says now, under a name. Signed twice under one key, it counts once."""
    if person is None:
        raise EntryRefused(_("Say who signs it."), field="person")
    note = note.strip()
    check_text(note, field="note", what=_("The note"), at_most=NOTE_AT_MOST)
    with saving():
        known = SignedReport.objects.filter(key=key, die=die).first() if key else None
        if known is not None:
            return known
        now = timezone.now()
        whole = said.model_copy(update={"signer": person.name, "signed_on": timezone.localdate(now), "note": note})
        named = {"key": key} if key else {}
        return SignedReport.objects.create(
            die=die, customer=customer, said=whole.model_dump(mode="json"), note=note, signer=person, user=user,
            signed_at=now, **named,
        )  # fmt: skip


def strike_report(*, person: Person | None, report: SignedReport, reason: str) -> SignedReport:
    """It is shown to no customer any more; it stays, with who struck it out and why."""
    if person is None:
        raise EntryRefused(_("Say who strikes it out."), field="person")
    if not reason.strip():
        raise EntryRefused(_("Say why it is struck out."), field="reason")
    check_text(reason.strip(), field="reason", what=_("The reason"), at_most=300)
    with saving():
        kept = SignedReport.objects.select_for_update(of=("self",)).get(pk=report.pk)
        if kept.is_struck:
            raise EntryRefused(_("This report is struck out already."))
        kept.struck_at, kept.struck_by, kept.struck_reason = timezone.now(), person, reason.strip()
        kept.save(update_fields=["struck_at", "struck_by", "struck_reason"])
        return kept


def signed_of(die: Die) -> QuerySet[SignedReport]:
    """The signed reports of a die, the newest first."""
    rows = SignedReport.objects.filter(die=die).select_related("signer", "struck_by", "customer")
    return rows.order_by("-signed_at", "-pk")


# --- links ------------------------------------------------------------------------------------------------------------


@dataclass(frozen=True, kw_only=True)
class NewLink:
    """token: what stands in its address; it is shown this once."""

    link: CustomerLink
    token: str


def make_link(*, person: Person | None, user: User | None, customer: Party, plant: Plant, last_day: dt.date) -> NewLink:
    """An address that opens until the end of that day."""
    if person is None:
        raise EntryRefused(_("Say who makes it."), field="person")
    today = timezone.localdate()
    if last_day < today:
        raise EntryRefused(_("This day has passed. Pick today or a later one."), field="last_day")
    if (last_day - today).days > DAYS_AT_MOST:
        latest = today + dt.timedelta(days=DAYS_AT_MOST)
        raise EntryRefused(
            _("A link opens for {most} days at most: until {latest}.").format(most=DAYS_AT_MOST, latest=latest),
            field="last_day",
        )
    with saving():
        Party.objects.select_for_update(of=("self",)).get(pk=customer.pk)
        open_ones = CustomerLink.objects.filter(
            customer=customer, plant=plant, withdrawn_at__isnull=True, last_day__gte=today
        )
        if open_ones.count() >= LINKS_AT_MOST:
            raise EntryRefused(
                _("{most} links of this customer open already. Withdraw one first.").format(most=LINKS_AT_MOST)
            )
        secret = secrets.token_urlsafe(32)
        link = CustomerLink.objects.create(
            customer=customer, plant=plant, token_hash=_hash(secret), made_by=person, user=user, last_day=last_day
        )
    return NewLink(link=link, token=_signer().sign(secret))


def withdraw(*, person: Person | None, link: CustomerLink) -> None:
    """From now on it opens nothing. Twice is fine."""
    with saving():
        CustomerLink.objects.filter(pk=link.pk, withdrawn_at__isnull=True).update(
            withdrawn_at=timezone.now(), withdrawn_by=person
        )


def link_of(token: str) -> CustomerLink | None:
    """The link whose token this is, where it opens today; else None, whatever the reason."""
    try:
        secret = _signer().unsign(token)
    except signing.BadSignature:
        return None
    link = CustomerLink.objects.select_related("customer", "plant").filter(token_hash=_hash(secret)).first()
    return link if link is not None and link.opens_on(timezone.localdate()) else None


def opened(link: CustomerLink, *, report: SignedReport | None = None, is_paper: bool = False) -> None:
    """Keep that it was opened, and what of it."""
    LinkOpening.objects.create(link=link, report=report, is_paper=is_paper)


def _signer() -> signing.Signer:
    return signing.Signer(salt=_SALT, sep=".")


def _hash(secret: str) -> str:
    return hashlib.sha256(secret.encode("utf-8", "replace")).hexdigest()
