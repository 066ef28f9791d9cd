"""The end of a die's life: an entry that retires it, and takes that back when it is struck out."""

from __future__ import annotations

import datetime as dt
from decimal import Decimal

from django.utils.formats import date_format
from django.utils.translation import gettext as _

from diestore.register.models import Die, Party
from maintenance.models import DieInPress, Retirement, fresh_key
from maintenance.models.payers import WEIGHT_AT_MOST

from . import changes, in_use
from .rules import EntryRefused, check_moment, check_number, check_text, saving
from .write import Actor

MONEY_AT_MOST = Decimal(10_000_000)
WENT_TO_AT_MOST = 120


def retire(
    *,
    by: Actor,
    die: Die,
    at: dt.datetime,
    fate: str,
    weight_kg: float | None = None,
    worth: Decimal = Decimal(0),
    cost: Decimal = Decimal(0),
    payer: Party | None = None,
    went_to: str = "",
    note: str = "",
    key: str | None = None,
) -> Retirement:
    """What became of a die, what that cost and what it brought. The die is retired from then on.

    Raises EntryRefused with a sentence; then nothing is saved.
    """
    check_moment(at)
    if key and (known := Retirement.objects.filter(key=key).first()):
        return known
    if fate not in Retirement.Fate.values:
        raise EntryRefused(_("Say what became of it."), field="fate")
    if fate == Retirement.Fate.RETURNED and die.owner_id is None:
        raise EntryRefused(
            _("{die} is the shop's own: there is no owner that it could go back to.").format(die=die), field="fate"
        )
    check_number(weight_kg, field="weight", what=_("The weight"), at_most=WEIGHT_AT_MOST)
    for money, field, what in ((worth, "worth", _("What it brought")), (cost, "cost", _("What it cost"))):
        _check_money(money, field=field, what=what)
    if payer is not None and payer.role != Party.Role.CUSTOMER:
        raise EntryRefused(
            _("{payer} is a supplier. Who pays is the shop or a customer.").format(payer=payer), field="payer"
        )
    went_to = " ".join(went_to.split())
    if fate == Retirement.Fate.RETURNED and not went_to:
        went_to = str(die.owner)[:WENT_TO_AT_MOST]
    check_text(went_to, field="went_to", what=_("Who has it now"), at_most=WENT_TO_AT_MOST)
    with saving(_("{die} is retired in the log already. Strike that entry out first.").format(die=die)):
        die = Die.objects.select_for_update(of=("self",)).select_related("owner", "plant").get(pk=die.pk)
        if before := Retirement.objects.standing().filter(die=die).first():
            raise EntryRefused(
                _("{die} was {fate} on {at} already. Strike that entry out first.").format(
                    die=die, fate=before.get_fate_display(), at=date_format(before.at, "j M Y")
                )
            )
        if DieInPress.objects.filter(die=die, until=None, struck_at=None).exists():
            raise EntryRefused(_("{die} is in a press. Take it out first.").format(die=die))
        row = Retirement.objects.create(
            die=die, at=at, fate=fate, weight_kg=weight_kg, worth=worth, cost=cost, payer=payer, went_to=went_to,
            note=note, key=key or fresh_key(), **by.columns(),
        )  # fmt: skip
        in_use.end(row, by=by.user)
        changes.tell(dies=[die.pk], since=at)
        return row


def _check_money(money: Decimal, *, field: str, what: str) -> None:
    if not money.is_finite():
        raise EntryRefused(_("{what} is not an amount of money.").format(what=what), field=field)
    if not 0 <= money <= MONEY_AT_MOST:
        raise EntryRefused(
            _("{what} is {money:,.2f}; it must be nought or more and {most:,} at most.").format(
                what=what, money=money, most=MONEY_AT_MOST
            ),
            field=field,
        )
    if money != money.quantize(Decimal("0.01")):
        raise EntryRefused(_("{what} has more than two decimals. Type it to the cent.").format(what=what), field=field)
