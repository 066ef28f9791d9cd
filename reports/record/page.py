"""The record for purchasing in words, sums and tables. Formats only; what it shows is kept."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from decimal import Decimal
from functools import cached_property

import django_tables2 as tables
from django.urls import reverse
from django.utils.html import format_html
from django.utils.translation import gettext, gettext_noop, ngettext
from django.utils.translation import gettext_lazy as _

from diestore.frame.tables import RIGHT, Column
from diestore.register.models import Item
from reports.format import money

ADVICE, MINIMUM = RULES = ("advice", "minimum")
HEAD = (
    "spare", "description", "pieces needed",
    *(f"{of}, {what}{which}" for of in ("advice", "fixed minimum") for what, which in (
        ("short", ""), ("short at least", ""), ("short at most", ""), ("days waited", ""), ("jobs late", ""),
        ("jobs late at most", ""), ("orders", ""), ("on the shelf", ""))),
    "on the shelf as it was", "currency",
)  # fmt: skip


def amount(value: float) -> str:
    return money(Decimal(str(round(value, 2))), cents=False)


@dataclass(frozen=True)
class Figure:
    """low, likely, high."""

    low: float
    likely: float
    high: float

    def __str__(self) -> str:
        return f"{self.likely:,.0f}"

    @property
    def between(self) -> str:
        """Nothing where it is known."""
        return (
            "" if self.low == self.high else gettext("{low:,.0f} to {high:,.0f}").format(low=self.low, high=self.high)
        )

    @property
    def words(self) -> str:
        return f"{self} ({self.between})" if self.between else str(self)


@dataclass(frozen=True)
class OfRule:
    short: Figure
    waited: Figure
    money: Figure
    late: Figure
    orders: int

    @classmethod
    def read(cls, kept: dict) -> OfRule:
        return cls(*(Figure(*kept[name]) for name in ("short", "waited", "money", "late")), kept["orders"])

    @classmethod
    def total(cls, some: Iterable[OfRule]) -> OfRule:
        some = list(some)

        def added(name: str) -> Figure:
            of = [getattr(one, name) for one in some]
            return Figure(sum(f.low for f in of), sum(f.likely for f in of), sum(f.high for f in of))

        return cls(added("short"), added("waited"), added("money"), added("late"), sum(one.orders for one in some))


@dataclass(frozen=True, kw_only=True)
class Line:
    """One spare."""

    pk: int
    code: str
    description: str
    needed: int
    was_money: float
    advice: OfRule
    minimum: OfRule
    untold: bool

    @property
    def differs(self) -> float:
        """Pieces that the advice would have left short beyond the minimum."""
        return self.advice.short.likely - self.minimum.short.likely

    @property
    def never_short(self) -> bool:
        return not (self.advice.short.high or self.minimum.short.high)

    # What the columns are sorted by.
    @property
    def advice_short(self) -> float:
        return self.advice.short.likely

    @property
    def minimum_short(self) -> float:
        return self.minimum.short.likely

    @property
    def late(self) -> float:
        return self.advice.late.likely - self.minimum.late.likely

    @property
    def advice_money(self) -> float:
        return self.advice.money.likely

    @property
    def minimum_money(self) -> float:
        return self.minimum.money.likely


@dataclass(frozen=True)
class Shown:
    """Of kept figures all that the page and the file say. items: those that are named, by number."""

    figures: dict
    items: Mapping[int, Item]

    @cached_property
    def lines(self) -> list[Line]:
        return [
            Line(
                pk=row["item"], code=str(self.items[row["item"]]), needed=row["needed"],
                description=self.items[row["item"]].description, was_money=row["was_money"], untold=row["untold"],
                advice=OfRule.read(row[ADVICE]), minimum=OfRule.read(row[MINIMUM]),
            )
            for row in self.figures["rows"]
            if row["item"] in self.items
        ]  # fmt: skip

    @cached_property
    def advice(self) -> OfRule:
        return OfRule.total(line.advice for line in self.lines)

    @cached_property
    def minimum(self) -> OfRule:
        return OfRule.total(line.minimum for line in self.lines)

    @property
    def first(self) -> dt.date:
        return dt.date.fromisoformat(self.figures["first"])

    @property
    def last(self) -> dt.date:
        return dt.date.fromisoformat(self.figures["last"])

    @property
    def needed(self) -> int:
        return sum(line.needed for line in self.lines)

    @property
    def never_short(self) -> int:
        return sum(line.never_short for line in self.lines)

    @property
    def untold(self) -> int:
        return sum(line.untold for line in self.lines)

    @property
    def was_money(self) -> str:
        return amount(sum(line.was_money for line in self.lines))

    @property
    def rows(self) -> list[dict]:
        """The two rules side by side."""
        names = (gettext_noop("This advice"), gettext_noop("Fixed minimum"))
        return [
            {
                "name": name, "short": of.short.words, "waited": of.waited.words, "late": of.late.words,
                "money": amount(of.money.likely), "orders": of.orders,
            }
            for name, of in zip(names, (self.advice, self.minimum), strict=True)
        ]  # fmt: skip

    @property
    def verdict(self) -> str:
        """The answer in one sentence, by what is likely."""
        fewer = self.minimum.short.likely - self.advice.short.likely
        less = self.minimum.money.likely - self.advice.money.likely
        n = 1 if abs(fewer) == 1 else 2
        if not fewer:
            short = gettext("The advice would have left as many pieces short as a fixed minimum")
        elif fewer > 0:
            short = ngettext(
                "The advice would have left {n:,.0f} piece fewer short than a fixed minimum",
                "The advice would have left {n:,.0f} pieces fewer short than a fixed minimum",
                n,
            )
        else:
            short = ngettext(
                "The advice would have left {n:,.0f} piece more short than a fixed minimum",
                "The advice would have left {n:,.0f} pieces more short than a fixed minimum",
                n,
            )
        share = abs(less) / self.minimum.money.likely if self.minimum.money.likely else 0.0
        if share < 0.005:
            tied = gettext("with as much money on the shelf")
        else:
            tied = gettext("with {money} less on the shelf") if less > 0 else gettext("with {money} more on the shelf")
        return f"{short.format(n=abs(fewer))}, {tied.format(money=amount(abs(less)))}."

    @property
    def wide(self) -> dict:
        """What minimums that are set wider come to."""
        of = self.figures["wide"]
        at_money, at_short = of["short_at_money"], of["money_at_short"]
        return {
            "short": None if at_money is None else f"{at_money:,.0f}",
            "money": None if at_short is None else amount(at_short),
            "least": amount(of["money"][0]),
            "least_short": f"{of['short'][0]:,.0f}",
            "advice": f"{self.advice.short}",
            "points": [
                (f"{times:g}", amount(m), f"{s:,.0f}")
                for times, m, s in zip(of["times"], of["money"], of["short"], strict=True)
                if times in (0, 0.5, 1, 2, 4, 8)
            ],
        }


def csv_lines(shown: Shown, currency: str) -> Iterator[list[object]]:
    """One line a spare, money to the cent."""
    for line in shown.lines:
        figures: list[object] = []
        for of in (line.advice, line.minimum):
            figures += [
                int(of.short.likely), int(of.short.low), int(of.short.high), int(of.waited.likely), int(of.late.likely),
                int(of.late.high), of.orders, f"{of.money.likely:.2f}",
            ]  # fmt: skip
        yield [line.code, line.description, line.needed, *figures, f"{line.was_money:.2f}", currency]


class RecordTable(tables.Table):
    code = Column(verbose_name=_("Spare"), order_by=("code", "pk"))
    needed = Column(verbose_name=_("Needed"), note=_("pieces"), attrs=RIGHT, order_by=("needed", "code", "pk"))
    advice_short = Column(
        verbose_name=_("Short"),
        note=_("by the advice"),
        attrs=RIGHT,
        order_by=("advice_short", "minimum_short", "needed", "pk"),
    )
    minimum_short = Column(
        verbose_name=_("Short"), note=_("by the minimum"), attrs=RIGHT, order_by=("minimum_short", "code", "pk")
    )
    late = Column(
        verbose_name=_("Jobs late"), note=_("advice, minimum"), attrs=RIGHT, order_by=("late", "code", "pk")
    )  # fmt: skip
    advice_money = Column(
        verbose_name=_("On the shelf"), note=_("by the advice"), attrs=RIGHT, order_by=("advice_money", "code", "pk")
    )
    minimum_money = Column(
        verbose_name=_("On the shelf"), note=_("by the minimum"), attrs=RIGHT, order_by=("minimum_money", "code", "pk")
    )

    class Meta:
        order_by = ("-advice_short",)
        empty_text = _("No spare is among them.")

    def __init__(self, *args, query: str = "", **kwargs) -> None:
        super().__init__(*args, **kwargs)
        self.query = query

    def render_code(self, value, record):
        address = f"{reverse('reports:spare', args=[record.pk])}{self.query}"
        return format_html('<a href="{}">{}</a><small>{}</small>', address, value, record.description)

    def render_advice_short(self, record):
        return _with_bounds(record.advice.short)

    def render_minimum_short(self, record):
        return _with_bounds(record.minimum.short)

    def render_late(self, record):
        return f"{record.advice.late.words}, {record.minimum.late.words}"

    def render_advice_money(self, value):
        return amount(value)

    render_minimum_money = render_advice_money


def _with_bounds(figure: Figure):
    return (
        format_html('{}<small class="nowrap">{}</small>', str(figure), figure.between)
        if figure.between
        else str(figure)
    )
