"""Bills of suppliers: entered whole or not at all, struck out with their lines, found again.

A bill's lines are cost lines, so cost pages follow by themselves. What counts is the amount in the shop's money, to the
cent; what stands on the paper is kept beside it.
"""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Sequence
from dataclasses import dataclass
from decimal import ROUND_HALF_UP, Decimal

from django.db.models import Prefetch, Q, QuerySet
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop, ngettext

from diestore import pictures
from diestore.register.models import Die, Party, Plant
from diestore.row_keys import row_key
from maintenance.models import (
    BenchWork,
    Bill,
    BillPaper,
    Change,
    CostLine,
    PurchaseOrder,
    fresh_key,
)
from maintenance.models.bills import BILL_AT_MOST, MILLION

from . import changes, purchase_reads
from .rules import EntryRefused, check_text, day_of, saving
from .write import Actor

LINES_AT_MOST = 40
PDF_AT_MOST = 10_000_000  # bytes
WORTH_AT_MOST = 10_000  # of one of a currency, in the shop's money
CENT = Decimal("0.01")
_ORDER_HINT = gettext_noop(
    "Type the code of a die, the number of an order, or work and its number; leave it empty for the shop."
)


@dataclass(frozen=True, kw_only=True)
class Paper:
    """The paper of a bill as it is kept."""

    kind: str
    data: bytes


@dataclass(frozen=True, kw_only=True)
class LineFor:
    """What a line is for: a die, a work on the bench and its die, an order to a supplier, or the shop."""

    die: Die | None = None
    bench_work: BenchWork | None = None
    purchase: PurchaseOrder | None = None


@dataclass(frozen=True, kw_only=True)
class BillLine:
    """One line as it stands on the bill. kind: a `CostLine.Kind`. payer: None, the shop. row: its place on the form."""

    amount: Decimal
    kind: str
    of: LineFor = LineFor()
    words: str = ""
    payer: Party | None = None
    row: int = 0


# --- what is typed ----------------------------------------------------------------------------------------------------


def paper_of(data: bytes) -> Paper:
    """A file by what is in it, whatever it is called. Raises EntryRefused."""
    if data.startswith(b"%PDF-"):
        if len(data) > PDF_AT_MOST:
            raise EntryRefused(
                _("The PDF has {n:,.1f} MB; {most:g} MB is the most. Scan it coarser.").format(
                    n=len(data) / 1000000.0, most=PDF_AT_MOST / 1000000.0
                ),
                field="paper",
            )
        if b"%%EOF" not in data[-2_048:]:
            raise EntryRefused(_("This PDF is cut off. Save it again, and send it then."), field="paper")
        return Paper(kind=BillPaper.Kind.PDF, data=data)
    try:
        return Paper(kind=BillPaper.Kind.JPEG, data=pictures.drawn_anew(data).jpeg)
    except pictures.PictureRefused as refused:
        said = _("This file is no photo and no PDF. Take a photo of the bill, or send it as PDF, JPEG, PNG or WebP.")
        raise EntryRefused(
            said if isinstance(refused, pictures.NoPicture) else str(refused), field="paper"
        ) from refused


def named(text: str, *, plant: Plant, field: str = "") -> LineFor:
    """What somebody typed that a line is for. Raises EntryRefused where the plant has no such thing."""
    text = " ".join(text.replace("\x00", "").split())
    if not text:
        return LineFor()
    if die := Die.objects.filter(plant=plant, code__iexact=text).first():
        return LineFor(die=die)
    if order := PurchaseOrder.objects.filter(plant=plant, number__iexact=text).first():
        if order.placed_at is None:
            raise EntryRefused(
                _("{order} is not placed, so nothing of it can be billed.").format(order=order), field=field
            )
        return LineFor(purchase=order)
    head, __, number = text.partition(" ")
    if head.casefold() == "work" and (pk := row_key(number)):
        work = BenchWork.objects.filter(die__plant=plant, pk=pk).select_related("die").first()
        if work is not None:
            return LineFor(die=work.die, bench_work=work)
    raise EntryRefused(
        _("There is no die, order or work {text!r} here. {order_hint}").format(
            text=text[:60], order_hint=_(_ORDER_HINT)
        ),
        field=field,
    )


def in_own_money(amounts: Sequence[Decimal], worth_of_one: Decimal) -> list[Decimal]:
    """Each amount in the shop's money, to the cent, so that they add up to the sum in the shop's money to the cent.

    Cents that rounding one by one would win or lose go to the largest line.
    """
    own = [_to_cent(amount * worth_of_one) for amount in amounts]
    if own:
        largest = max(range(len(own)), key=lambda i: (own[i], -i))
        own[largest] += _to_cent(sum(amounts, Decimal(0)) * worth_of_one) - sum(own, Decimal(0))
    return own


def _to_cent(amount: Decimal) -> Decimal:
    return amount.quantize(CENT, rounding=ROUND_HALF_UP)


# --- writes -----------------------------------------------------------------------------------------------------------


def enter_bill(
    *,
    by: Actor,
    plant: Plant,
    number: str,
    supplier: Party,
    on: dt.date,
    currency: str,
    own_currency: str,
    total: Decimal,
    lines: Sequence[BillLine],
    worth_of_one: Decimal | None = None,
    is_credit: bool = False,
    note: str = "",
    paper: Paper | None = None,
    other_bill: bool = False,
    not_ordered: bool = False,
    key: str | None = None,
) -> Bill:
    """A bill with its lines and its paper. worth_of_one: of its currency, in the shop's money; needed where they
    differ. other_bill: somebody said that one of the same number is another. not_ordered: that spares billed to a die
    came on no order. key: of the form; sent twice it is once.

    Raises EntryRefused with a sentence; then nothing is saved.
    """
    number = " ".join(number.split())
    if not number:
        raise EntryRefused(_("Type the number that stands on the bill."), field="number")
    check_text(number, field="number", what=_("The number"), at_most=40)
    check_text(note.strip(), field="note", what=_("The note"), at_most=300)
    if supplier.retired_at is not None:
        raise EntryRefused(
            _("{supplier} is no longer dealt with. Pick another supplier.").format(supplier=supplier), field="supplier"
        )
    if on > timezone.localdate():
        raise EntryRefused(
            _("{on} is still to come. Enter the day that stands on the bill.").format(on=day_of(on)), field="on"
        )
    if on.year < 1990:
        raise EntryRefused(_("{day} is too long ago. Check the year.").format(day=on.isoformat()), field="on")
    worth = _worth(currency, own_currency, worth_of_one)
    _check_amount(total, _("The total"), currency, field="total")
    _check_lines(lines, total, currency)
    if _to_cent(total * worth) > BILL_AT_MOST:
        said = _("That is {total:,.2f} {own_currency}; {most:,} is the most. Check what one is worth.").format(
            total=total * worth, own_currency=own_currency, most=BILL_AT_MOST
        )
        raise EntryRefused(said, field="worth_of_one")
    own = in_own_money([line.amount for line in lines], worth)
    if any(amount <= 0 for amount in own):
        raise EntryRefused(
            _("A line is worth less than a cent in {own_currency}. Put it together with another.").format(
                own_currency=own_currency
            ),
            field=f"amount-{lines[own.index(min(own))].row}",
        )
    with saving(_("This bill is entered already.")):
        Plant.objects.select_for_update(no_key=True).get(pk=plant.pk)  # two at once: the second finds the first
        key = key or fresh_key()
        if known := Bill.objects.filter(key=key).select_related("supplier").first():
            told = {"plant": plant, "number": number, "supplier": supplier, "on": on, "currency": currency,
                    "total": total, "is_credit": is_credit}  # fmt: skip
            if any(getattr(known, name) != value for name, value in told.items()):
                raise EntryRefused(
                    _(
                        "This form was sent already, as bill {known} of {supplier}. Open a new form for another "
                        "bill; to put that one right, strike it out and enter it anew."
                    ).format(known=known, supplier=known.supplier)
                )
            return known
        same = Bill.objects.standing().filter(plant=plant, supplier=supplier, number__iexact=number).first()
        if same is not None and not other_bill:
            raise EntryRefused(
                _(
                    "Bill {same} of {supplier}, of {on}, {total:,.2f} {currency}, is entered already. If this is "
                    "another one, tick that it is."
                ).format(same=same, supplier=supplier, on=day_of(same.on), total=same.total, currency=same.currency),
                field="other_bill",
            )
        if not not_ordered:
            _check_counts_once(lines, supplier)
        bill = Bill.objects.create(  # type: ignore[misc]
            plant=plant, key=key, number=number, supplier=supplier, on=on, currency=currency, total=total,
            is_credit=is_credit, million_worth=worth * MILLION, note=note.strip(), person=by.person,
            user_id=getattr(by.user, "pk", None),
        )  # fmt: skip
        if paper is not None:
            BillPaper.objects.create(bill=bill, kind=paper.kind, data=paper.data)
        at = min(timezone.make_aware(dt.datetime.combine(on, dt.time(12))), timezone.now())
        sign = -1 if is_credit else 1
        CostLine.objects.bulk_create(
            CostLine(  # type: ignore[misc]
                key=f"{key}:{place}", sequence=place, at=at, bill=bill, kind=line.kind, amount=sign * amount,
                billed=line.amount, die=line.of.die, bench_work=line.of.bench_work, purchase=line.of.purchase,
                note=line.words.strip(), payer=line.payer, **by.columns(),
            )
            for place, (line, amount) in enumerate(zip(lines, own, strict=True), 1)
        )  # fmt: skip
        changes.tell_of(Change.What.PRICE, {line.of.die.pk for line in lines if line.of.die is not None})
        return bill


def _worth(currency: str, own_currency: str, worth_of_one: Decimal | None) -> Decimal:
    if len(currency) != 3 or not (currency.isascii() and currency.isupper() and currency.isalpha()):
        raise EntryRefused(_("The currency is three capital letters, such as EUR or USD (ISO 4217)."), field="currency")
    if currency == own_currency:
        if worth_of_one not in (None, Decimal(1)):
            said = _("The bill is in {own_currency}, the shop's own money. Leave empty what one is worth.").format(
                own_currency=own_currency
            )
            raise EntryRefused(said, field="worth_of_one")
        return Decimal(1)
    if worth_of_one is None:
        raise EntryRefused(
            _("Say what one {currency} is worth in {own_currency}.").format(
                currency=currency, own_currency=own_currency
            ),
            field="worth_of_one",
        )
    if not (worth_of_one.is_finite() and Decimal("0.000001") <= worth_of_one <= WORTH_AT_MOST):
        said = _("One {currency} cannot be worth {worth_of_one:f} {own_currency}. Enter 0.000001 to {most:,}.").format(
            currency=currency, worth_of_one=worth_of_one, own_currency=own_currency, most=WORTH_AT_MOST
        )
        raise EntryRefused(said, field="worth_of_one")
    return worth_of_one.quantize(Decimal("0.000001"))


def _check_amount(amount: Decimal, what: str, currency: str, *, field: str) -> None:
    if not amount.is_finite():
        raise EntryRefused(_("{what} is not an amount of money.").format(what=what), field=field)
    if amount <= 0:
        raise EntryRefused(
            _(
                "{what} is {amount:,.2f}; it must be more than nought. For money that comes back, tick credit note."
            ).format(what=what, amount=amount),
            field=field,
        )
    if amount > BILL_AT_MOST:
        raise EntryRefused(
            _("{what} is {amount:,.2f} {currency}; {most:,} is the most. Check the number.").format(
                what=what, amount=amount, currency=currency, most=BILL_AT_MOST
            ),
            field=field,
        )
    if amount != amount.quantize(CENT):
        raise EntryRefused(_("{what} has more than two decimals. Type it to the cent.").format(what=what), field=field)


def _check_lines(lines: Sequence[BillLine], total: Decimal, currency: str) -> None:
    if not lines:
        raise EntryRefused(_("Type at least one line: what it is for, and how much."), field="total")
    if len(lines) > LINES_AT_MOST:
        raise EntryRefused(
            _("The bill has {n} lines; {most} is the most. Put some together.").format(n=len(lines), most=LINES_AT_MOST)
        )
    for line in lines:
        _check_amount(line.amount, _("A line"), currency, field=f"amount-{line.row}")
        if line.kind not in CostLine.Kind.values:
            raise EntryRefused(_("Pick what kind of cost the line is."), field=f"kind-{line.row}")
        check_text(line.words.strip(), field=f"words-{line.row}", what=_("What was done"), at_most=200)
    added = sum((line.amount for line in lines), Decimal(0))
    if added != total:
        words = _(
            "The lines add up to {added:,.2f}, the total is {total:,.2f} {currency}: {off:,.2f} are "
            "missing. Put right one of them."
        )
        if added > total:
            words = _(
                "The lines add up to {added:,.2f}, the total is {total:,.2f} {currency}: {off:,.2f} too "
                "much. Put right one of them."
            )
        raise EntryRefused(
            words.format(added=added, total=total, currency=currency, off=abs(added - total)), field="total"
        )


def _check_counts_once(lines: Sequence[BillLine], supplier: Party) -> None:
    """Spares that came on an order count by their price once they are fitted: as a line of the die they would twice."""
    for line in lines:
        if line.kind != CostLine.Kind.SPARES or line.of.die is None:
            continue
        ordered = PurchaseOrder.objects.filter(
            supplier=supplier, placed_at__isnull=False, cancelled_at=None, lines__item__positions__die=line.of.die
        )
        if order := ordered.order_by("-placed_at", "-pk").first():
            raise EntryRefused(
                _(
                    "Spares of {supplier} for {die} came on order {order}: they are in its cost by their price "
                    "once they are fitted, and this line would count them twice. Enter it for {order}, or tick "
                    "that these came on no order."
                ).format(supplier=supplier, die=line.of.die, order=order),
                field="not_ordered",
            )


def strike_bill(*, by: Actor, bill: Bill, reason: str) -> Bill:
    """The bill and all its lines count for nothing; they stay, with who struck them out and why."""
    if by.person is None:
        raise EntryRefused(_("Say who strikes it out."), field="person")
    if not reason.strip():
        raise EntryRefused(_("Say why it is struck out."), field="reason")
    check_text(reason.strip(), field="reason", what=_("The reason"), at_most=300)
    with saving():
        found = Bill.objects.select_for_update(of=("self",)).get(pk=bill.pk)
        if found.is_struck:
            raise EntryRefused(_("This bill is struck out already."))
        columns = {"struck_at": timezone.now(), "struck_by": by.person, "struck_reason": reason.strip()}
        for name, value in columns.items():
            setattr(found, name, value)
        found.save(update_fields=list(columns))
        lines = found.lines.standing()
        dies = set(lines.exclude(die=None).values_list("die", flat=True))
        lines.update(**columns)
        changes.tell_of(Change.What.PRICE, dies)
        return found


# --- found again ------------------------------------------------------------------------------------------------------


def bills_of(plant: Plant, text: str = "") -> QuerySet[Bill]:
    """The bills of a plant, the newest first: of a supplier, of a number, of a die or an order."""
    rows = Bill.objects.filter(plant=plant)
    if text := text.replace("\x00", "").strip():
        of_lines = CostLine.objects.filter(bill__plant=plant).filter(
            Q(die__code__icontains=text) | Q(purchase__number__icontains=text)
        )
        rows = rows.filter(
            Q(number__icontains=text)
            | Q(supplier__name__icontains=text)
            | Q(supplier__code__icontains=text)
            | Q(pk__in=of_lines.values("bill"))
        )
    lines = CostLine.objects.select_related("die", "bench_work", "purchase", "payer").order_by("sequence", "pk")
    return rows.select_related("supplier").prefetch_related(Prefetch("lines", queryset=lines)).order_by("-on", "-pk")


def lines_of_die(die: Die, kind: str = "") -> QuerySet[CostLine]:
    """What counts as bills in the cost of a die, with and without a bill behind it, the newest first."""
    rows = CostLine.objects.standing().filter(
        Q(die=die) | Q(die__isnull=True, work__position__die=die) | Q(die__isnull=True, stop__die=die)
    )
    if kind in CostLine.Kind.values:
        rows = rows.filter(kind=kind)
    return rows.select_related("bill__supplier", "bench_work", "payer").order_by("-at", "-pk")


# --- against an order -------------------------------------------------------------------------------------------------

_PIECES = re.compile(r"^([0-9]{1,7}) × (.+)$")


@dataclass(frozen=True, kw_only=True)
class AgreedLine:
    """A line of an order as it was agreed. pieces: that came or still come; price None: none was agreed."""

    item: str
    pieces: int
    price: Decimal | None

    @property
    def words(self) -> str:
        """As a line of its bill is offered, and known again."""
        return f"{self.pieces:,} × {self.item}".replace(",", "")

    @property
    def sum(self) -> Decimal | None:
        return None if self.price is None else _to_cent(self.price * self.pieces)

    @property
    def price_words(self) -> str:
        return purchase_reads.price_words(self.price)


@dataclass(frozen=True, kw_only=True)
class AgainstOrder:
    """What was agreed of an order and what was billed for it, in its currency. besides: for other things than spares,
    such as freight. elsewhere: bills in another currency, which are not compared."""

    order: PurchaseOrder
    lines: tuple[AgreedLine, ...]
    bills: tuple[Bill, ...]
    billed: Decimal
    besides: Decimal
    elsewhere: tuple[Bill, ...]

    @property
    def agreed(self) -> Decimal:
        return sum((line.sum for line in self.lines if line.sum is not None), Decimal(0))

    @property
    def unpriced(self) -> int:
        return sum(line.price is None for line in self.lines)

    @property
    def is_too_much(self) -> bool:
        return bool(self.bills) and not self.unpriced and self.billed > self.agreed

    @property
    def sentence(self) -> str:
        """What was billed beside what was agreed."""
        money, agreed, billed = self.order.currency, self.agreed, self.billed
        if not self.bills:
            words = _("{agreed:,.2f} {money} are agreed for the spares; nothing of them is billed yet.")
        elif self.unpriced:
            words = ngettext(
                "{billed:,.2f} {money} are billed. Of {n} line no price was agreed, so they cannot be compared.",
                "{billed:,.2f} {money} are billed. Of {n} lines no price was agreed, so they cannot be compared.",
                self.unpriced,
            )
        elif billed == agreed:
            words = _("Billed as agreed: {billed:,.2f} {money}.")
        elif billed > agreed:
            words = _(
                "{agreed:,.2f} {money} are agreed for the spares, {billed:,.2f} are billed: {off:,.2f} "
                "too much. Ask the supplier, or put the price right that was confirmed."
            )
        else:
            words = _(
                "{agreed:,.2f} {money} are agreed for the spares, {billed:,.2f} are billed: {off:,.2f} "
                "less, or still to be billed."
            )
        said = [words.format(agreed=agreed, billed=billed, money=money, n=self.unpriced, off=abs(billed - agreed))]
        if self.besides:
            besides = _("{besides:,.2f} {money} more are for other things, such as freight.")
            said.append(besides.format(besides=self.besides, money=money))
        for bill in self.elsewhere[:3]:
            other = _("Bill {bill} is in {currency} and is not compared.")
            said.append(other.format(bill=bill, currency=bill.currency))
        return " ".join(said)


def against(order: PurchaseOrder) -> AgainstOrder:
    """What was agreed and what was billed of an order. Three questions."""
    agreed = []
    for row in purchase_reads.rows([order], today=timezone.localdate())[0].lines:
        pieces = row.received + row.open
        if pieces > 0:
            price: Decimal | None = row.line.unit_price  # type: ignore[assignment]
            agreed.append(AgreedLine(item=str(row.line.item), pieces=pieces, price=price))
    rows = CostLine.objects.standing().filter(purchase=order, bill__isnull=False).select_related("bill")
    bills: dict[int, Bill] = {}
    elsewhere: dict[int, Bill] = {}
    sums = {True: Decimal(0), False: Decimal(0)}  # spares, besides
    for line in rows.order_by("bill__on", "bill__pk", "sequence"):
        bill, spares = line.bill, line.kind == CostLine.Kind.SPARES
        assert bill is not None and line.billed is not None
        if bill.currency != order.currency:
            elsewhere[bill.pk] = bill
            continue
        if spares:
            bills[bill.pk] = bill
        sums[spares] += -line.billed if bill.is_credit else line.billed
    return AgainstOrder(
        order=order, lines=tuple(agreed), bills=tuple(bills.values()), billed=sums[True], besides=sums[False],
        elsewhere=tuple(elsewhere.values()),
    )  # fmt: skip


def agreed_of(words: str, order: AgainstOrder) -> Decimal | None:
    """What was agreed for the spares that a line of a bill names, such as '4 × PP-6.0-M2'. None: it names none."""
    found = _PIECES.match(words.strip())
    line = found and next((one for one in order.lines if one.item == found[2]), None)
    if not found or line is None or line.price is None:
        return None
    return _to_cent(int(found[1]) * line.price)
