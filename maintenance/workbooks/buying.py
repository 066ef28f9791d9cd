"""Lists of the buyer brought in: shelf counts, price lists of suppliers, confirmations of orders.

Each row is told in a sentence: what it would change, that it stands already, or what is wrong with it. Looking at a
list is the same act as bringing it in, taken back at its end; all rows come in or none, and the same list again
changes nothing.
"""

from __future__ import annotations

import datetime as dt
import hashlib
import json
from collections import Counter as Tally
from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from decimal import Decimal

from django.db import transaction
from django.db.models import Q
from django.utils import timezone

from diestore.exports import as_typed
from diestore.register import sourcing
from diestore.register.models import Item, Party, Plant
from diestore.register.sources import Source, SourcePrice, list_of
from diestore.register.writing import ChangeRefused
from maintenance.log import purchase_reads, purchases, queries, shelf, write
from maintenance.log.purchase_reads import price_words
from maintenance.log.rules import EntryRefused, check_text, day_of
from maintenance.models import PurchaseOrder, StockMovement

from .pure.forms import Day
from .pure.readings import read
from .pure.sheets import BUYING, CONFIRMATION, COUNT, PRICE_LIST, Grid, Layout, layout
from .pure.understood import Price, ReadRow, SheetRead
from .take import BETWEEN, known_headings

ROWS_AT_MOST = 3_000  # of one list
PLACES = Decimal("0.0001")


@dataclass(frozen=True)
class Of:
    """What a list is of. currency: the shop's."""

    plant: Plant
    currency: str
    order: PurchaseOrder | None = None
    supplier: Party | None = None
    their_number: str = ""


@dataclass
class Line:
    """A row of the list. spare: as it is called here, else as it was written. says: what it would change, or that it
    stands so; wrong: what has to be put right."""

    row: int
    spare: str
    says: list[str] = field(default_factory=list)
    wrong: list[str] = field(default_factory=list)
    changes: bool = False


@dataclass
class Told:
    """lines: by row. notes: of the list as a whole. again: it is in already."""

    lines: list[Line]
    notes: list[str] = field(default_factory=list)
    problems: list[str] = field(default_factory=list)
    again: bool = False
    moved: bool = False  # something else than a row changes

    @property
    def would_change(self) -> bool:
        return self.moved or bool(self.changing)

    @property
    def wrong(self) -> int:
        return sum(bool(line.wrong) for line in self.lines) + len(self.problems)

    @property
    def changing(self) -> int:
        return sum(line.changes for line in self.lines)

    @property
    def seen(self) -> str:
        """A mark of all that is told: whoever brings the list in has seen just this."""
        said = [(line.row, line.spare, line.says, line.wrong) for line in self.lines]
        return _mark([said, self.problems, self.again])


class SeenOtherwise(Exception):
    """What the list would change is no longer what was looked at."""


class _TakenBack(Exception):
    pass


def _mark(what: object) -> str:
    return hashlib.sha256(json.dumps(what, default=str).encode()).hexdigest()[:32]


# --- understood -----------------------------------------------------------------------------------------------------


def sheet_of(grids: list[Grid], sort: str, choices: Mapping, plant: Plant, *, book: str = "") -> tuple[int, SheetRead]:
    """The sheet of a file that is the list, and its rows. choices: "columns", "answers", "heading" of that sheet."""
    known = known_headings(plant)
    before = {
        (what, heading): value
        for name, words in known.items()
        if name.startswith(f"{sort}{BETWEEN}")
        for heading, value in words.items()
        for what in (name.partition(BETWEEN)[2],)
    }
    columns = {int(i): name for i, name in choices.get("columns", {}).items()}
    laid = [
        layout(grid, sort=sort, heading=choices.get("heading"), columns=columns, known=known.get(sort, {}), book=book)
        for grid in grids
    ]
    number = min(range(len(grids)), key=lambda n: (*_how_far(laid[n], grids[n]), n))
    grid = grids[number]
    made = read(grid, laid[number], answers=choices.get("answers", {}), book=book, before=before)
    return number, made


def _how_far(laid: Layout, grid: Grid) -> tuple:
    """How far a sheet is from being the list: columns that are missing, hidden, fewer columns that are known."""
    return (len(laid.missing) if laid.sort else 9, grid.hidden, -sum(bool(c.field) for c in laid.columns))


# --- brought in -----------------------------------------------------------------------------------------------------


def bring(sheet: SheetRead, of: Of, *, by: write.Actor, keep: bool, seen: str = "") -> Told:
    """What a list would change, row by row. keep: it is changed, if nothing is wrong. seen: the mark of what was looked
    at; raises SeenOtherwise where it would be otherwise now."""
    for row in sheet.rows:
        row.values.update({name: as_typed(text) for name, text in row.values.items() if isinstance(text, str)})
    lines = {row.number: Line(row=row.number, spare=_spare_of(row)) for row in sheet.rows}
    for problem in sheet.problems:
        line = lines.setdefault(problem.row, Line(row=problem.row, spare=""))
        line.wrong.append(f"{problem.cell}: {problem.text}" if problem.column is not None else problem.text)
    told = Told(lines=list(lines.values()))
    if sheet.layout.missing:
        return told
    if not sheet.rows and not told.lines:
        told.problems.append("No row of this list could be read. Look whether its headings stand above the rows.")
        return told
    if len(sheet.rows) > ROWS_AT_MOST:
        told.problems.append(f"{len(sheet.rows):,} rows; {ROWS_AT_MOST:,} are the most. Bring it in parts.")
        return told
    try:
        with transaction.atomic():
            _BRINGS[sheet.sort](sheet, of, by, told, lines)
            told.lines.sort(key=lambda line: line.row)
            if keep and not told.wrong and seen and seen != told.seen:
                raise SeenOtherwise
            if not keep or told.wrong:
                raise _TakenBack
    except _TakenBack:
        pass
    return told


def _spare_of(row: ReadRow) -> str:
    return str(row.values.get("spare") or row.values.get("part_number") or "")


class _Catalogue:
    """Spares by what a list calls them: their number here, with or without the revision; else the supplier's."""

    def __init__(self, rows: Iterable[ReadRow], supplier: Party | None) -> None:
        said = {str(row.values[name]) for row in rows for name in ("spare", "part_number") if row.values.get(name)}
        codes = said | {text.rpartition(" ")[0] for text in said if " " in text}
        self.by_code: dict[str, list[Item]] = defaultdict(list)
        self.whole: dict[str, Item] = {}
        for item in Item.objects.filter(code__in=codes).select_related("supplier"):
            self.by_code[item.code].append(item)
            self.whole[str(item)] = item
        self.theirs: dict[str, dict[int, Item]] = defaultdict(dict)
        if supplier is not None:
            sources = Source.objects.filter(supplier=supplier, ended_on=None, part_number__in=said)
            for source in sources.select_related("item"):
                self.theirs[source.part_number][source.item_id] = source.item

    def find(self, row: ReadRow) -> Item | str:
        """The spare, or a sentence on why there is none."""
        code = str(row.values.get("spare", ""))
        theirs = str(row.values.get("part_number", ""))
        revision = str(row.values.get("revision", ""))
        if not code and not theirs:
            return "No spare is named. Write its number."
        if code and revision:
            found = self.whole.get(f"{code} {revision}") or self.whole.get(code)
            if found is not None and found.revision == revision:
                return found
            if self.by_code.get(code):
                there = ", ".join(item.revision or "none" for item in self.by_code[code])
                return f"{code} has no revision {revision} here; known: {there}. Check the revision."
        elif code:
            if (one := self.whole.get(code)) is not None and (one.revision or len(self.by_code[code]) == 1):
                return one
            there = self.by_code.get(code, [])
            standing = [item for item in there if item.retired_at is None] or there
            if len(standing) == 1:
                return standing[0]
            if standing:
                some = ", ".join(item.revision or "without a revision" for item in standing)
                return f"{code} is there more than once: {some}. Put the revision in a column of its own."
        for text in (theirs, code):
            if len(by_number := list(self.theirs.get(text, {}).values())) == 1:
                return by_number[0]
            if len(by_number) > 1:
                some = ", ".join(str(item) for item in by_number)
                return f"Their number {text} is of several spares: {some}. Write the number of the spare here."
        return f"No spare is called {code or theirs!r}. Check the number, or enter the spare in the register first."


def _found(sheet: SheetRead, lines: dict[int, Line], supplier: Party | None = None) -> list[tuple[ReadRow, Item]]:
    catalogue, made = _Catalogue(sheet.rows, supplier), []
    for row in sheet.rows:
        found = catalogue.find(row)
        if isinstance(found, str):
            lines[row.number].wrong.append(found)
        else:
            lines[row.number].spare = str(found)
            made.append((row, found))
    return made


def _twice(rows: list[tuple[ReadRow, Item]], lines: dict[int, Line]) -> list[tuple[ReadRow, Item]]:
    """Says of a spare that stands in two rows where the first one is; keeps the first."""
    first: dict[int, int] = {}
    for row, item in rows:
        if item.pk in first:
            lines[row.number].wrong.append(f"{item} is in row {first[item.pk]} already. Leave one row of it.")
        first.setdefault(item.pk, row.number)
    return [(row, item) for row, item in rows if first[item.pk] == row.number]


def _day(value: object) -> dt.date | None:
    return value.moment.date() if isinstance(value, Day) else None


def _one_of(rows: Iterable[ReadRow], name: str, lines: dict[int, Line], what: str) -> object:
    """What all rows say that say anything; a row that says otherwise is told so."""
    said: object = None
    for row in rows:
        value = row.values.get(name)
        value = _day(value) if isinstance(value, Day) else value
        if value is None:
            continue
        if said is None:
            said = value
        elif value != said:
            shown = [day_of(v) if isinstance(v, dt.date) else v for v in (value, said)]
            lines[row.number].wrong.append(f"{what} is {shown[0]} here and {shown[1]} in a row above. Leave one.")
    return said


# --- counts ---------------------------------------------------------------------------------------------------------


def _count(sheet: SheetRead, of: Of, by: write.Actor, told: Told, lines: dict[int, Line]) -> None:
    counted = [row for row in sheet.rows if row.values.get("counted") is not None]
    for row in sheet.rows:
        if row.values.get("counted") is None and not lines[row.number].wrong:
            lines[row.number].says.append("Not counted: nothing stands under “lies there”.")
    day = _one_of(counted, "counted_at", lines, "The day of the count")
    rows = _twice(_found(sheet, lines), lines)
    rows = [(row, item) for row, item in rows if row.values.get("counted") is not None]
    if not counted:
        told.notes.append("Nothing is counted in this list yet: type what lies there, save it and bring it again.")
        return
    key = "list:" + _mark([
        of.plant.code, sheet.layout.title, day,
        sorted((str(item), row.values["counted"], row.values.get("should"), str(row.values.get("why", "")))
               for row, item in rows),
    ])  # fmt: skip
    done = StockMovement.objects.filter(plant=of.plant, key__startswith=f"{key}:").order_by("at").first()
    if done is not None:
        told.again = True
        on = day_of(timezone.localdate(done.recorded_at))
        told.notes.append(f"This count is in already, since {on}. Nothing is counted twice. If the shelf was counted "
                          "anew, put the day of the count in a column of its own.")  # fmt: skip
        for row, _item in rows:
            lines[row.number].says.append("Counted already.")
        return
    at = _moment_of(day, told)  # type: ignore[arg-type]
    since = _moved_since([item for _, item in rows], of.plant, day)  # type: ignore[arg-type]
    stock = queries.stock_of_spares(of.plant, items=[item.pk for _, item in rows])
    all_of_it: dict[int, shelf.Counted] = {}
    for row, item in rows:
        line, now = lines[row.number], stock[item.pk].on_hand if item.pk in stock else 0
        should, why = row.values.get("should"), " ".join(str(row.values.get("why", "")).split())
        one = shelf.Counted(found=int(row.values["counted"]), shown=now if should is None else int(should), reason=why)  # type: ignore[call-overload]
        if item.pk in since:
            line.wrong.append(f"{item}: something came or went after the count. Count it again.")
            continue
        try:
            differs = shelf.difference(item, one, now)
        except EntryRefused as refused:
            line.wrong.append(str(refused))
            continue
        all_of_it[item.pk] = one
        line.changes = True
        if differs:
            what = f"{differs:,} more" if differs > 0 else f"{-differs:,} fewer"
            line.says.append(f"{_lie(one.found)} there, {what} than should: {why}.")
        else:
            line.says.append(f"{_lie(one.found)} there, as it should be.")
    if told.wrong or not all_of_it:
        return
    shelf.count(by=by, plant=of.plant, counted=all_of_it, at=at, key=key)


def _lie(n: int) -> str:
    return "1 lies" if n == 1 else f"{n:,} lie"


def _are(n: int) -> str:
    return "1 is" if n == 1 else f"{n:,} are"


def _moment_of(day: dt.date | None, told: Told) -> dt.datetime:
    now = timezone.now()
    if day is None or day == timezone.localdate(now):
        return now
    if day > timezone.localdate(now) or day.year < 1950:
        told.problems.append(f"The day of the count, {day_of(day)}, cannot be. Check the date.")
        return now
    return timezone.make_aware(dt.datetime.combine(day, dt.time(23, 59)))


def _moved_since(items: list[Item], plant: Plant, day: dt.date | None) -> set[int]:
    if day is None or day >= timezone.localdate():
        return set()
    start = timezone.make_aware(dt.datetime.combine(day, dt.time()))
    moves = StockMovement.objects.standing().filter(plant=plant, item__in=items, place=StockMovement.Place.SHELF)
    return set(moves.filter(at__gte=start).values_list("item", flat=True))


# --- price lists ----------------------------------------------------------------------------------------------------


def _prices(sheet: SheetRead, of: Of, by: write.Actor, told: Told, lines: dict[int, Line]) -> None:
    _take_the_spare_above(sheet, lines)
    of_item: dict[int, list[ReadRow]] = defaultdict(list)
    items: dict[int, Item] = {}
    for row, item in _found(sheet, lines, of.supplier):
        of_item[item.pk].append(row)
        items[item.pk] = item
    sources: dict[int, list[Source]] = defaultdict(list)
    there = Source.objects.filter(supplier=of.supplier, item__in=items, ended_on=None)
    for source in there.select_related("supplier", "item").prefetch_related("prices").order_by("-preferred", "pk"):
        sources[source.item_id].append(source)
    for pk, rows in of_item.items():
        _prices_of(rows, items[pk], sources[pk], of, by, lines)


def _take_the_spare_above(sheet: SheetRead, lines: dict[int, Line]) -> None:
    """Breaks of one spare are often written under each other, its number in the first row alone."""
    above: dict[str, object] = {}
    for row in sheet.rows:
        named = {name: row.values[name] for name in ("spare", "part_number", "revision") if row.values.get(name)}
        if named:
            above = named
        elif above and row.values.get("from_quantity") is not None:
            row.values.update(above)
            lines[row.number].spare = _spare_of(row)


def _prices_of(
    rows: list[ReadRow], item: Item, there: list[Source], of: Of, by: write.Actor, lines: dict[int, Line]
) -> None:
    head, names = lines[rows[0].number], {"part_number": "Their number", "lead_days": "The lead time",
                                          "pack_size": "The pack", "least_quantity": "The least quantity"}  # fmt: skip
    values = {name: _one_of(rows, name, lines, what) for name, what in names.items()}
    day = _one_of(rows, "valid_from", lines, "The day from which it holds")
    money = _currency_of(rows, lines)
    prices, at_row = _listed(rows, lines)
    if any(lines[row.number].wrong for row in rows):
        _wait(rows, lines)
        return
    if len(there) > 1 and values["part_number"]:
        there = [source for source in there if source.part_number == values["part_number"]] or there
    if len(there) > 1:
        some = ", ".join(source.what for source in there)
        head.wrong.append(f"{of.supplier} is a source of {item} in more than one way: {some}. Give each a number of "
                          "theirs at “Who supplies it”, and write it in the list.")  # fmt: skip
        return
    values = {name: value for name, value in values.items() if value is not None}
    says: list[str] = []
    try:
        with transaction.atomic():
            if there:
                _changed(there[0], values, prices, day, money, says, by)  # type: ignore[arg-type]
            else:
                _entered(item, of, values, prices, day, money, says, by)  # type: ignore[arg-type]
    except ChangeRefused as refused:
        where = _row_of(prices, at_row) if refused.field == "prices" else rows[0].number
        lines[where].wrong.append(str(refused))
        _wait(rows, lines)
        return
    head.says += says or ["Stands so already."]
    head.changes = bool(says)
    for row in rows[1:]:
        lines[row.number].says.append(f"With row {rows[0].number}.")


def _wait(rows: list[ReadRow], lines: dict[int, Line]) -> None:
    """The other rows of a spare of which one is wrong."""
    wrong = next(row.number for row in rows if lines[row.number].wrong)
    for row in rows:
        if not lines[row.number].wrong:
            lines[row.number].says = [f"Waits for row {wrong}."]


def _currency_of(rows: list[ReadRow], lines: dict[int, Line]) -> str:
    said = ""
    for row in rows:
        price = row.values.get("unit_price")
        for money in (str(row.values.get("currency", "")).upper(), price.currency if isinstance(price, Price) else ""):
            if money and said and money != said:
                lines[row.number].wrong.append(f"A price in {money}, and one of the same spare in {said}. Leave one.")
            said = said or money
    return said


def _decimal(value: float) -> Decimal:
    return Decimal(repr(value)).quantize(PLACES) if abs(value) < 1e15 else Decimal(repr(value))


def _listed(rows: list[ReadRow], lines: dict[int, Line]) -> tuple[list[tuple[int, Decimal]], dict[int, int]]:
    """The price breaks of a spare, and the last row of each."""
    made: list[tuple[int, Decimal]] = []
    at_row: dict[int, int] = {}
    priced = any(row.values.get("unit_price") is not None for row in rows)
    for row in rows:
        price, pieces = row.values.get("unit_price"), row.values.get("from_quantity")
        if isinstance(price, Price):
            start = 1 if pieces is None else int(pieces)  # type: ignore[call-overload]
            made.append((start, _decimal(price.value)))
            at_row[start] = row.number
        elif (priced or pieces is not None) and not lines[row.number].wrong:
            lines[row.number].wrong.append("The price is missing. Write the price of one from so many pieces on.")
    return made, at_row


def _row_of(prices: list[tuple[int, Decimal]], at_row: Mapping[int, int]) -> int:
    """The row that a refused price list is refused for: a number of pieces twice, a price that rises, else the last."""
    count = Tally(pieces for pieces, _ in prices)
    if twice := [pieces for pieces, n in count.items() if n > 1]:
        return at_row[twice[0]]
    before: Decimal | None = None
    for pieces, price in sorted(prices):
        if price < 0 or price > sourcing.PRICE_AT_MOST or (before is not None and price > before):
            return at_row[pieces]
        before = price
    return at_row[max(at_row)]


def _list_words(prices: Iterable[tuple[int, Decimal]]) -> str:
    return ", ".join(f"{price_words(price)} from {pieces:,}" for pieces, price in sorted(prices))


_CALLED = {"part_number": "their number", "lead_days": "lead time in days", "pack_size": "pack",
           "least_quantity": "least quantity"}  # fmt: skip


def _changed(
    source: Source, values: dict[str, object], prices: list[tuple[int, Decimal]], day: dt.date | None, money: str,
    says: list[str], by: write.Actor,
) -> None:  # fmt: skip
    if money and money != source.currency:
        raise ChangeRefused(f"The list says {money}, the source {source.currency}. Change the currency at “Who "
                            "supplies it” first, or bring the prices in its currency.")  # fmt: skip
    new = {name: value for name, value in values.items() if getattr(source, name) != value}
    for name, value in new.items():
        says.append(f"{_CALLED[name].capitalize()}: {getattr(source, name) or 'none'} → {value}.")
    start = day or timezone.localdate()
    holds = _pairs(list_of(source.prices.all(), start))
    same_day = _pairs(row for row in source.prices.all() if row.valid_from == start)
    fresh = bool(prices) and sorted(prices) != (same_day or holds)
    if fresh:
        was = f", before {_list_words(holds)}" if holds else ""
        says.append(f"From {day_of(start)}: {_list_words(prices)} {source.currency}{was}.")
    if new or fresh:
        sourcing.change(by=by.user, source=source, values=new, prices=prices if fresh else None, prices_from=start,
                        seen=source.changes)  # fmt: skip


def _pairs(rows: Iterable[SourcePrice]) -> list[tuple[int, Decimal]]:
    return sorted((row.from_quantity, row.unit_price) for row in rows)


def _entered(
    item: Item, of: Of, values: dict[str, object], prices: list[tuple[int, Decimal]], day: dt.date | None, money: str,
    says: list[str], by: write.Actor,
) -> None:  # fmt: skip
    if "lead_days" not in values:
        raise ChangeRefused(f"{of.supplier} is no source of {item} yet, and a new one needs its lead time. Put it in "
                            "the list.")  # fmt: skip
    start = day or timezone.localdate()
    sourcing.enter(
        by=by.user, item=item, prices=prices, prices_from=start,
        values={"supplier": of.supplier, "sort": Source.Sort.FINISHED, "currency": money or of.currency, **values},
    )  # fmt: skip
    known = ", ".join(f"{_CALLED[name]} {value}" for name, value in values.items())
    listed = f" From {day_of(start)}: {_list_words(prices)} {money or of.currency}." if prices else ""
    says.append(f"A new source, bought finished: {known}.{listed}")


# --- confirmations --------------------------------------------------------------------------------------------------


def _confirmed(sheet: SheetRead, of: Of, by: write.Actor, told: Told, lines: dict[int, Line]) -> None:
    assert of.order is not None
    order = purchase_reads.row_of(of.order)
    on_it = {row.line.item_id: row for row in order.lines}
    rows = _twice(_found(sheet, lines, of.order.supplier), lines)
    their_number = of.their_number or str(_one_of(sheet.rows, "their_number", lines, "Their number of the order") or "")
    promises: dict[int, purchases.Promise] = {}
    for row, item in rows:
        line, mine = lines[row.number], on_it.get(item.pk)
        if mine is None:
            line.wrong.append(f"{item} is not on {of.order}. Take the row out, or order it.")
            continue
        if not line.wrong:
            promises[mine.line.pk] = _promise(row, mine, of.order, line)
    for pk, row in on_it.items():
        if pk not in {item.pk for _, item in rows}:
            told.notes.append(f"{row.line.item} is not in the list and stays as it is.")
    if their_number and their_number != of.order.their_number:
        told.notes.append(f"The supplier calls the order {their_number}.")
        told.moved = True
    try:
        check_text(their_number, field="", what="Their number of the order", at_most=60)
        if not told.wrong:
            purchases.confirm(by=by, order=of.order, promises=promises,
                              their_number=their_number or of.order.their_number)  # fmt: skip
    except EntryRefused as refused:
        told.problems.append(str(refused))


def _promise(row: ReadRow, mine: purchase_reads.LineRow, order: PurchaseOrder, line: Line) -> purchases.Promise:
    """What a row confirms of a line; what the list leaves empty stays."""
    item, was = mine.line.item, mine.line
    pieces, price, day = row.values.get("quantity"), row.values.get("unit_price"), _day(row.values.get("promised_on"))
    if pieces is not None and pieces not in {was.quantity, mine.open}:
        line.wrong.append(f"{item}: {_are(pieces)} confirmed, {_are(was.quantity)} ordered. Settle it with the "
                          "supplier; the order holds what was placed.")  # fmt: skip
    agreed = was.unit_price
    if isinstance(price, Price):
        money = price.currency or str(row.values.get("currency", "")).upper()
        if money and money != order.currency:
            line.wrong.append(f"A price in {money}; the order is in {order.currency}. Ask which one holds.")
        agreed = _decimal(price.value)  # type: ignore[assignment]
    elif (money := str(row.values.get("currency", "")).upper()) and money != order.currency:
        line.wrong.append(f"The list is in {money}; the order is in {order.currency}. Ask which one holds.")
    promised = day or was.promised_on
    for check in (
        lambda: purchases.check_promise(day, order, field=""), lambda: purchases.check_price(agreed, item, field=""),
    ):  # fmt: skip
        try:
            check()
        except EntryRefused as refused:
            line.wrong.append(str(refused))
    if line.wrong:
        return purchases.Promise(promised_on=was.promised_on, unit_price=was.unit_price)
    if promised != was.promised_on and promised is not None:
        before = f", before {day_of(was.promised_on)}" if was.promised_on else ""
        line.says.append(f"Promised for {day_of(promised)}{before}.")
    if agreed != was.unit_price and agreed is not None:
        before = "none was agreed" if was.unit_price is None else f"agreed were {price_words(was.unit_price)}"
        line.says.append(f"Price of one: {price_words(agreed)} {order.currency}, {before}.")
    line.changes = bool(line.says)
    if not line.says:
        line.says.append("Stands so already.")
    return purchases.Promise(promised_on=promised, unit_price=agreed)


_BRINGS = {COUNT: _count, PRICE_LIST: _prices, CONFIRMATION: _confirmed}
assert set(_BRINGS) == set(BUYING)


# --- what the service gives out -------------------------------------------------------------------------------------


def count_rows(plant: Plant, rack: str) -> tuple[tuple[str, ...], list[tuple[object, ...]]]:
    """Heading and rows of a count sheet of a rack; what lies there is left to be typed."""
    rows = shelf.lies_in(plant, rack)
    head = ("Place", "Spare", "What it is", "Should lie there", "Lies there", "Why it differs")
    return head, [(r.item.shelf_place, str(r.item), r.item.description, r.should, None, None) for r in rows]


def price_rows(supplier: Party, today: dt.date) -> tuple[tuple[str, ...], list[tuple[object, ...]]]:
    """Heading and rows of all that a supplier is a source of: the prices that hold, a row a break."""
    head = ("Spare", "What it is", "Their number", "From so many pieces", "Price of one", "Currency", "Holds from",
            "Lead time [days]", "Pack", "Least quantity")  # fmt: skip
    made: list[tuple[object, ...]] = []
    there = Source.objects.filter(supplier=supplier, ended_on=None).filter(Q(item__retired_at=None))
    for s in there.select_related("item").prefetch_related("prices").order_by("item__code", "item__revision", "pk"):
        rows = list_of(s.prices.all(), today)
        for row in rows or [None]:
            first = (str(s.item), s.item.description, s.part_number or None)
            last = (s.currency, row and row.valid_from, s.lead_days, s.pack_size, s.least_quantity)
            made.append((*first, row and row.from_quantity, row and row.unit_price, *last))
    return head, made
