"""Words and marks that the reports share. Formats, never computes."""

from __future__ import annotations

import datetime as dt
from decimal import Decimal

from django.template.loader import render_to_string
from django.utils.formats import date_format
from django.utils.safestring import SafeString, mark_safe
from django.utils.translation import gettext as _

from diestore.access import shop
from reports.costing.money import rounded

_CLASSES = {"short": "short", "soon": "close", "enough": "", "unknown": "unknown"}


def status(state: str, word: str) -> SafeString:
    """A word with the mark that all pages use: its level says the same as its colour."""
    return mark_safe(
        render_to_string("diestore/frame/status.html", {"s": {"css": _CLASSES[state], "word": word}}).strip()
    )


def money(value: Decimal | None, *, cents: bool = True) -> str:
    """An amount with the shop's currency."""
    if value is None:
        return _("not known")
    step = Decimal("0.01") if cents else Decimal(1)
    return f"{rounded(value, step):,} {shop.current().currency}"


def per_thousand(value: Decimal | None) -> str:
    """A cost per thousand parts."""
    if value is None:
        return _("not known")
    return f"{cents(value)} {shop.current().currency}"


def cents(value: Decimal) -> str:
    """An amount as money is written: two decimals, on every page and in the terminal."""
    shown = rounded(value, Decimal("0.01"))
    return _("under 0.01") if value > 0 and not shown else f"{shown:,}"


def day(value: dt.date | None) -> str:
    return date_format(value, "j M Y") if value else ""


def how_old(records_until: dt.date | None, today: dt.date | None) -> str:
    """How old the log is that a page rests on, and what is done about it."""
    if records_until is None or today is None:
        return ""
    days = (today - records_until).days
    if days <= 1:
        return _("Entries up to {day}.").format(day=day(records_until))
    told = _("Last entry {day}, {days} days ago; since then the usual pace is assumed.")
    return told.format(day=day(records_until), days=days)


def plain_money(value: Decimal | None) -> str:
    """For files: two decimals, more where a spare costs less than a cent to the hundredth."""
    if value is None:
        return ""
    cents = value.quantize(Decimal("0.01"))
    return str(cents if cents == value else value.normalize())
