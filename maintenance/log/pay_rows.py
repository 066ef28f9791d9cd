"""What is paid for dies beside hours, spares and stops at their rates, and who pays: one question for any of it."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable
from decimal import Decimal
from enum import IntEnum
from operator import attrgetter
from typing import NamedTuple

from django.db.models import BigIntegerField, Case, DateTimeField, F, IntegerField, Q, QuerySet, TextField, Value, When
from django.db.models.functions import Cast, Coalesce

from diestore.money import STEPS
from maintenance.models import CostBearer, CostLine, Retirement
from maintenance.models.payers import ENTRIES


class Pay(IntEnum):
    """The sort of a row. END: what the end of a die's life cost; BROUGHT: what it brought."""

    BILL = 0
    BEARER = 1
    END = 2
    BROUGHT = 3


class PayRow(NamedTuple):
    """A line of a bill, who pays, or what the end of a die cost or brought.

    kind: the element of the cost sheet. money: ten-thousandths. of_entry, entry: the sort and key of the one entry that
    alone a bearer is of; at is then the moment of that work.
    """

    sort: int
    die: int
    pk: int
    at: dt.datetime
    kind: str
    money: int
    payer: int | None
    name: str | None
    code: str | None
    bill: int | None
    words: str
    done: dt.datetime | None
    of_entry: str
    entry: int | None

    @property
    def payer_name(self) -> str:
        return self.name or self.code or ""

    @property
    def amount(self) -> Decimal:
        """Less than nought where it came back."""
        return Decimal(-self.money if self.sort == Pay.BROUGHT else self.money) / STEPS


_BIG, _TEXT, _MOMENT = BigIntegerField(), TextField(), DateTimeField()


def of_dies(dies: Iterable[int]) -> list[PayRow]:
    """What stands of these dies, by time."""
    ids = list(dies)
    lines = CostLine.objects.standing().filter(
        Q(die__in=ids) | Q(die__isnull=True, work__position__die__in=ids) | Q(die__isnull=True, stop__die__in=ids)
    )
    bearers = CostBearer.objects.standing().filter(die__in=ids)
    ends = Retirement.objects.standing().filter(die__in=ids)
    of_end = {"die": F("die_id"), "kind": Cast(Value("retirement"), _TEXT), "words": Cast("fate", _TEXT)}
    named = (When(**{f"{name}__isnull": False}, then=Cast(Value(name), _TEXT)) for name in ENTRIES)
    rows = _told(
        lines, Pay.BILL, die=Coalesce("die_id", "work__position__die_id", "stop__die_id"), kind=Cast("kind", _TEXT),
        money=Cast("amount", _BIG), bill=F("bill_id"), words=Cast("note", _TEXT),
        done=Coalesce("work__at", "stop__at", "bench_work__ended_at"),
    ).union(
        _told(
            bearers, Pay.BEARER, die=F("die_id"), kind=Cast("element", _TEXT), money=Cast(Value(0), _BIG),
            of_entry=Case(*named, default=Cast(Value(""), _TEXT), output_field=_TEXT),
            entry=Coalesce("work_id", "replacement_id", "stop_id", "reading_id"), at=Coalesce("work__at", "at"),
        ),
        _told(ends.filter(cost__gt=0), Pay.END, money=Cast("cost", _BIG), **of_end),
        _told(ends.filter(worth__gt=0), Pay.BROUGHT, money=Cast("worth", _BIG), **of_end),
        all=True,
    )  # fmt: skip
    return sorted((PayRow(*row) for row in rows), key=attrgetter("at", "pk", "sort"))


def _told(rows: QuerySet, sort: Pay, **columns) -> QuerySet:
    usual = {
        "sort": Value(int(sort), IntegerField()), "pk": F("pk"), "at": F("at"), "payer": F("payer_id"),
        "name": F("payer__name"), "code": F("payer__code"), "bill": Cast(Value(None), _BIG),
        "words": Cast(Value(""), _TEXT), "done": Cast(Value(None), _MOMENT), "of_entry": Cast(Value(""), _TEXT),
        "entry": Cast(Value(None), _BIG),
    }  # fmt: skip
    made = {f"c_{name}": (usual | columns)[name] for name in PayRow._fields}
    return rows.order_by().annotate(**made).values_list(*made)
