"""The spares to order: one row an item, with what it rests on."""

from __future__ import annotations

import datetime as dt
import logging
from collections.abc import Iterable
from dataclasses import dataclass, replace
from decimal import Decimal
from typing import NamedTuple

from diestore.handbook.limits import LEAD_DAYS
from diestore.register.models import Item, Plant
from diestore.service.failing import NOT_OF_A_ROW, sentence_of
from diestore.texts import gettext_noop
from maintenance.log import queries
from maintenance.log.data import OlderStock
from reports.purchasing.demand import DemandRefused
from reports.purchasing.laws import LawRefused
from reports.purchasing.reorder import Advice, StockNow, advise

from . import reads
from .remembered import Remembered
from .use import LOOK_AHEAD_DAYS, PlantAhead

logger = logging.getLogger(__name__)

SOON_DAYS = 28
WEEK_DAYS = 7
FIRST = 5  # named in the sentence over a list
FAR_AHEAD = 4_000_000  # days since the year 1, where nothing has to be ordered
STOPS = {"stops the press": 0, "slows the job": 1}
NO_LEAD = gettext_noop("The lead time is not known.")


@dataclass(frozen=True, kw_only=True)
class SpareRow:
    """One item for the buyer. advice None: nothing can be said, `refusal` says why. older: usable pieces on the shelf
    of what it took the place of; they are used up first and count as stock."""

    item: Item
    on_hand: int
    on_order: int
    advice: Advice | None
    today: dt.date
    refusal: str = ""
    places: int = 0
    dies: tuple[str, ...] = ()
    waits: bool = False  # something was entered since it was told, and does not count in it yet
    older: tuple[OlderStock, ...] = ()

    @property
    def usable_older(self) -> int:
        return sum(one.pieces for one in self.older)

    @property
    def there(self) -> int:
        """Pieces on the shelf that can be fitted: its own, and those of what it took the place of."""
        return self.on_hand + self.usable_older

    @property
    def code(self) -> str:
        return str(self.item)

    @property
    def words(self) -> str:
        """In small letters, what is looked for."""
        bits = (self.code, self.item.description, self.kind, self.supplier, self.item.shelf_place, *self.dies)
        return " ".join(bit for bit in bits if bit).casefold()

    @property
    def kind(self) -> str:
        return self.item.get_kind_display()

    @property
    def supplier(self) -> str:
        return str(self.item.supplier) if self.item.supplier_id else ""

    @property
    def lead_days(self) -> int | None:
        return self.item.lead_days

    @property
    def half(self) -> int | None:
        return self.advice and self.advice.half

    @property
    def nine_in_ten(self) -> int | None:
        return self.advice and self.advice.nine_in_ten

    @property
    def short_by(self) -> int | None:
        return None if self.advice is None else self.advice.short_by

    @property
    def order_by(self) -> dt.date | None:
        return self.advice and self.advice.order_by

    @property
    def days_left(self) -> int | None:
        """Days until it has to be ordered; negative: overdue. None: not within the year, or unknown."""
        return (self.order_by - self.today).days if self.order_by else None

    @property
    def is_due(self) -> bool:
        """To be ordered today, or since earlier."""
        return self.days_left is not None and self.days_left <= 0

    @property
    def quantity(self) -> int | None:
        return None if self.advice is None else self.advice.quantity

    @property
    def value(self) -> Decimal | None:
        """What the order comes to, at the price of so many."""
        if not self.quantity or self.each is None:
            return None
        return self.quantity * self.each

    @property
    def each(self) -> Decimal | None:
        """Price of one when so many are ordered as are advised."""
        best = next((rung for rung in self.advice.ladder if rung.best), None) if self.advice else None
        if best is None or best.each is None:
            return self.item.unit_price
        own = self.item.unit_price
        return own if own is not None and best.each == float(own) else Decimal(str(round(best.each, 4)))

    # What the columns are sorted by: the unknown and the nought at the end that needs nobody. Kept rows have the same.
    @property
    def urgency(self) -> tuple:
        return (self.order_day, self.unknown, self.stops_rank, -self.short_sorted, self.code)

    @property
    def unknown(self) -> bool:
        return self.advice is None

    @property
    def order_day(self) -> int:
        return self.order_by.toordinal() if self.order_by else FAR_AHEAD

    @property
    def stops_rank(self) -> int:
        return STOPS.get(self.item.criticality, 2)

    @property
    def lead_sorted(self) -> int:
        return -1 if self.lead_days is None else self.lead_days

    @property
    def half_sorted(self) -> int:
        return -1 if self.advice is None else self.advice.half

    @property
    def nine_sorted(self) -> int:
        return -1 if self.advice is None else self.advice.nine_in_ten

    @property
    def short_sorted(self) -> int:
        return -1 if self.advice is None else self.advice.short_by

    @property
    def quantity_sorted(self) -> int:
        return -1 if self.advice is None else self.advice.quantity

    @property
    def state(self) -> str:
        """In one word for the mark: short, soon, enough, unknown."""
        if self.advice is None:
            return "unknown"
        if self.is_due:
            return "short"
        return "soon" if self.days_left is not None and self.days_left <= SOON_DAYS else "enough"


@dataclass(frozen=True, kw_only=True)
class Asked:
    """Which spares somebody wants to see. text: small letters, in anything that a
    row shows in words: code, description, kind, supplier, place on the shelf, a die's code."""

    text: str = ""
    within_days: int | None = None
    supplier: str = ""
    kind: str = ""

    def passes(self, row: SpareRow) -> bool:
        return (
            (not self.text or self.text in row.words)
            and (self.within_days is None or (row.days_left is not None and row.days_left <= self.within_days))
            and (not self.supplier or row.supplier == self.supplier)
            and (not self.kind or row.item.kind == self.kind)
        )


@dataclass(frozen=True, kw_only=True)
class Summed:
    """A list of spares in a few figures. first: codes of the most urgent. worth: of those due with a price."""

    found: int
    due: int
    first: tuple[str, ...]
    soon: int
    unknown: int
    worth: Decimal | None
    unpriced: int
    suppliers: frozenset[str]
    kinds: frozenset[str]

    @classmethod
    def of(cls, lines: Iterable[SpareLine], today: dt.date) -> Summed:
        """From the lines of a list, the most urgent first."""
        lines = list(lines)
        day = today.toordinal()
        due = [line for line in lines if line.order_day <= day]
        worth = [line.quantity * line.price for line in due if line.quantity and line.price is not None]
        return cls(
            found=len(lines),
            due=len(due),
            first=tuple(line.code for line in due[:FIRST]),
            soon=sum(day < line.order_day <= day + SOON_DAYS for line in lines),
            unknown=sum(line.unknown for line in lines),
            worth=sum(worth) if worth else None,
            unpriced=len(due) - len(worth),
            suppliers=frozenset(line.supplier for line in lines),
            kinds=frozenset(line.kind for line in lines),
        )


class SpareLine(NamedTuple):
    """What the figures over a list need of each spare."""

    code: str
    order_day: int
    unknown: bool
    quantity: int
    price: Decimal | None
    supplier: str
    kind: str


class Spares:
    """The spares of a small shop, told from its log. Those of a large one (`kept_spares`) answer to the same names."""

    waiting: frozenset[int] = frozenset()
    told_at = None  # just now

    def __init__(self, plant: Plant, *, records_until: dt.date | None = None) -> None:
        ahead = whole_plant(plant, records_until=records_until)
        self.rows = all_spares(plant, ahead=ahead)
        self.today, self.records_until = (ahead.today, ahead.records_until) if self.rows else (None, None)

    def wanted(self, asked: Asked) -> list[SpareRow]:
        return [row for row in self.rows if asked.passes(row)]

    def part(self, asked: Asked, start: int, most: int) -> tuple[int, list[SpareRow]]:
        """How many are like that, and some of them."""
        lines = self.wanted(asked)
        return len(lines), lines[start : start + most]

    def summed(self) -> Summed:
        lines = (
            SpareLine(r.code, r.order_day, r.unknown, r.quantity or 0, r.each, r.supplier, r.item.kind)
            for r in self.rows
        )
        return Summed.of(lines, self.today or dt.date.min)


def all_spares(plant: Plant, *, ahead: PlantAhead | None = None) -> list[SpareRow]:
    """Every spare of the plant that a die takes or that lies on its shelf, the most urgent first. From the log."""
    ahead = ahead or whole_plant(plant)
    stock = queries.stock_of_spares(plant, items=ahead.wanted)
    rows = [row_of(item, stock.get(item.pk), ahead) for item in ahead.items.values()]
    return sorted(rows, key=lambda row: row.urgency)


def whole_plant(plant: Plant, *, records_until: dt.date | None = None) -> PlantAhead:
    """What is ahead of all dies, as far as the longest lead time asks. records_until: where that is read already."""
    items = {item.pk: item for item in reads.items_in_use(plant)}
    longest = max((item.lead_days or 0 for item in items.values()), default=0)
    ahead = PlantAhead.of(plant, longest_lead_days=longest, records_until=records_until)
    ahead.items = items
    return ahead


def spares_to_order(plant: Plant, *, within_days: int = 0) -> list[SpareRow]:
    """The spares to order now, those overdue the longest first. within_days: and those whose day comes so soon."""
    return [row for row in all_spares(plant) if row.days_left is not None and row.days_left <= within_days]


def row_of(item: Item, stock, ahead: PlantAhead) -> SpareRow:
    on_hand, on_order = (stock.on_hand, stock.on_order) if stock else (0, 0)
    older, usable = (stock.older, stock.usable_older) if stock else ((), 0)
    places = ahead.places.get(item.pk, [])
    advice, refusal = None, ""
    if item.pk in ahead.failed:
        refusal = ahead.failed[item.pk]
    elif item.lead_days is None:
        refusal = NO_LEAD
    elif not LEAD_DAYS.holds(item.lead_days):
        refusal = f"As its lead time in days, {LEAD_DAYS.sentence(item.lead_days)}"
    else:
        try:
            now = StockNow(
                on_hand=on_hand + usable, on_order=max(on_order, 0), lead_days=item.lead_days, pack_size=item.pack_size,
                least_quantity=ahead.least_quantity(item.pk),
            )  # fmt: skip
            advice = _advised(now, item, ahead)
            if item.newer_id is not None:
                advice = never_ordered(advice)
        except (DemandRefused, LawRefused) as reason:
            refusal = str(reason)
        except (ArithmeticError, ValueError) as error:  # one spare's figures take no list from anybody
            logger.exception("spare %s could not be reckoned", item)
            refusal = f"It could not be worked out: {error}. Look at its figures and at those of its dies."
        except NOT_OF_A_ROW:
            raise
        except Exception as error:
            logger.exception("spare %s could not be worked out", item)
            refusal = sentence_of(error)
    return SpareRow(
        item=item,
        on_hand=on_hand,
        on_order=on_order,
        advice=advice,
        today=ahead.today,
        refusal=refusal,
        places=len(places),
        dies=tuple(dict.fromkeys(p.row.die_code for p in places)),
        older=older,
    )


def never_ordered(advice: Advice) -> Advice:
    """Of a spare whose place another took: nothing of it is short, whatever its record says."""
    return replace(
        advice, short_by=0, quantity=0, order_by=None, runs_out=None, days_late=0, chase=False, least_stock=0, ladder=()
    )


_advice: Remembered[Advice] = Remembered()


def _advised(now: StockNow, item: Item, ahead: PlantAhead) -> Advice:
    if not ahead.remembers:
        return reckoned(now, item, ahead)
    key = (now, ahead.lead(item), ahead.economics(item), ahead.least_stock(item.pk), ahead.basis_of(item.pk))
    return _advice.of(key, lambda: reckoned(now, item, ahead))


def reckoned(now: StockNow, item: Item, ahead: PlantAhead) -> Advice:
    """The advice on one spare with so much of it there, remembered by nobody."""
    yearly = ahead.yearly_use(item.pk)
    judged = ahead.economics(item).judged(yearly, pack_size=now.pack_size, least_quantity=now.least_quantity)
    return advise(
        now,
        lambda days: ahead.use(item.pk, days),
        today=ahead.today,
        service=judged.service,
        by_hand=judged.by_hand,
        lead=ahead.lead(item),
        prices=judged.prices,
        lot=judged.lot,
        cover_days=judged.cover_days,
        look_ahead_days=max(LOOK_AHEAD_DAYS, now.lead_days),
        known_days=ahead.known_days(item.pk),
        yearly=yearly,
        least_stock=ahead.least_stock(item.pk),
    )
