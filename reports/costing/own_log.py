"""What a die has cost per thousand parts, from its own log."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from decimal import Decimal

from diestore.texts import gettext_noop

from .elements import CostElement, CostSheet, Stage
from .money import DatedRate, MoneyRefused, NoRate, amount, quantity, rate_on, rounded

SIXTY = Decimal(60)


@dataclass(frozen=True, kw_only=True)
class BuildPrice:
    """What the die cost to build and the parts it was built for."""

    price: Decimal
    expected_parts: int

    def __post_init__(self) -> None:
        amount(self.price, "the build price")
        if self.expected_parts < 1:
            raise MoneyRefused(f"the die is built for {self.expected_parts} parts; at least one is needed.")

    def spread_over(self, parts_made: int) -> int:
        """The parts that bear the price: those expected, or those made once they are more."""
        return max(self.expected_parts, parts_made)


@dataclass(frozen=True, kw_only=True)
class HoursWorked:
    """Toolroom hours on the die on a day. hours None: nobody wrote them down."""

    day: dt.date
    hours: float | Decimal | None


@dataclass(frozen=True, kw_only=True)
class SpareUsed:
    """Spares of one item fitted on a day. unit_price: of that day, None: not known. said: what is to say of it."""

    day: dt.date
    item: str
    pieces: int
    unit_price: Decimal | None
    said: str = ""


@dataclass(frozen=True, kw_only=True)
class StopMinutes:
    """A stop of the press on account of the die. each: what a scrapped part was worth that day; None: not known."""

    day: dt.date
    minutes: float | Decimal
    parts_scrapped: int = 0
    each: Decimal | None = None


@dataclass(frozen=True, kw_only=True)
class Bill:
    """Money spent on the die beyond hours and spares at their rates, and what its end cost and brought (less than
    nought). kind: a key of `ELEMENTS`."""

    kind: str
    amount: Decimal


ELEMENTS: dict[str, tuple[str, Stage]] = {
    "build": (gettext_noop("Building the die"), Stage.ACQUISITION),
    "sharpening": (gettext_noop("Sharpening"), Stage.OWNERSHIP),
    "spares": (gettext_noop("Spares"), Stage.OWNERSHIP),
    "repair": (gettext_noop("Repair"), Stage.OWNERSHIP),
    "stop": (gettext_noop("Stops and scrap"), Stage.OWNERSHIP),
    "other": (gettext_noop("Other"), Stage.OWNERSHIP),
    "retirement": (gettext_noop("Retirement"), Stage.DISPOSAL),
}


@dataclass
class _Sum:
    amount: Decimal = Decimal(0)
    words: tuple[str, ...] = ()

    def add(self, money: Decimal, words: str) -> None:
        self.amount += money
        self.words = (*self.words, words)


def cost_of_log(
    *,
    build: BuildPrice | None,
    parts_made: int,
    hours: Sequence[HoursWorked] = (),
    repair_hours: Sequence[HoursWorked] = (),
    spares: Sequence[SpareUsed] = (),
    stops: Sequence[StopMinutes] = (),
    bills: Sequence[Bill] = (),
    toolroom_rates: Sequence[DatedRate] = (),
    press_rates: Sequence[DatedRate] = (),
    scrapped_part: Decimal | None = None,
) -> CostSheet:
    """The cost sheet of a die from its log.

    build price / the larger of the parts expected and the parts made;
    sharpening and repair = sum of hours x the toolroom rate of the day, plus bills;
    spares = sum of pieces x unit price, plus bills;
    stops = sum of minutes / 60 x the press rate of the day + parts scrapped x the worth of one that day, plus bills;
    each of these / the good parts made meanwhile; x 1000 for the cost per thousand.

    parts_made: good parts in the period that the log covers. scrapped_part: what a scrapped part is worth (its
    material at least) where the stop does not say; None: not known.
    What cannot be priced (no rate on the day, no hours written, no price of the item) is left out and said so in
    `left_out`; it never counts as nought in silence. Nothing made yet: only the build price can be spread.
    Raises MoneyRefused for negative, infinite and not-a-number input.
    """
    if isinstance(parts_made, bool) or int(parts_made) != parts_made or parts_made < 0:
        raise MoneyRefused(f"{parts_made} parts made; it must be a whole number, nought or more.")
    sums = {key: _Sum() for key in ELEMENTS}
    left_out: list[str] = []

    _hours(sums["sharpening"], hours, toolroom_rates, left_out, "sharpening")
    _hours(sums["repair"], repair_hours, toolroom_rates, left_out, "repair")
    _spares(sums["spares"], spares, left_out)
    _stops(sums["stop"], stops, press_rates, scrapped_part, left_out)
    for bill in bills:
        if bill.kind not in sums:
            raise MoneyRefused(f"a bill is of the kind {bill.kind!r}; known are {', '.join(ELEMENTS)}.")
    for kind, total in sums.items():
        of_kind = [
            amount(bill.amount, f"a bill for {kind}", may_be_negative=True) for bill in bills if bill.kind == kind
        ]
        if of_kind:
            words = _count(len(of_kind), "entry", "entries") if kind == "retirement" else _count(len(of_kind), "bill")
            total.add(sum(of_kind, Decimal(0)), words)

    elements = []
    if build is not None:
        bearing = build.spread_over(parts_made)
        sums["build"].words = (f"{rounded(build.price, Decimal(1)):,} over {bearing:,} parts", *sums["build"].words)
        sums["build"].amount += build.price
        elements.append(_element("build", sums["build"], bearing))
    else:
        left_out.append("The build price or the parts the die is built for are not known.")
        if sums["build"].words:
            left_out.append(f"Bills of {rounded(sums['build'].amount):,} for building are therefore not spread.")
    for key in ("sharpening", "spares", "repair", "stop", "other", "retirement"):
        total = sums[key]
        if not total.words:
            continue
        if parts_made:
            elements.append(_element(key, total, parts_made))
        else:
            name = ELEMENTS[key][0]
            left_out.append(f"{name}: {rounded(total.amount):,} spent, but no good part made yet to bear it.")
    return CostSheet(elements=tuple(elements), parts_made=parts_made, left_out=tuple(left_out))


def _element(key: str, total: _Sum, parts: int) -> CostElement:
    name, stage = ELEMENTS[key]
    return CostElement(key=key, name=name, stage=stage, amount=total.amount, parts=parts, basis="; ".join(total.words))


def _hours(
    total: _Sum, hours: Iterable[HoursWorked], rates: Sequence[DatedRate], left_out: list[str], work: str
) -> None:
    priced, unpriced, unwritten = Decimal(0), Decimal(0), 0
    money = Decimal(0)
    why = ""
    for row in hours:
        if row.hours is None:
            unwritten += 1
            continue
        worked = quantity(row.hours, f"the hours of {work} on {row.day}")
        try:
            money += worked * rate_on(rates, row.day, "toolroom rate")
            priced += worked
        except NoRate as error:
            why = why or str(error)
            unpriced += worked
    if priced:
        total.add(money, f"{_whole(priced)} h in the toolroom")
    if unpriced:
        left_out.append(f"{_whole(unpriced)} h of {work} have no price. {why}")
    if unwritten:
        left_out.append(f"{_count(unwritten, 'entry', 'entries')} of {work} without hours.")


def _spares(total: _Sum, spares: Iterable[SpareUsed], left_out: list[str]) -> None:
    pieces, money = 0, Decimal(0)
    unpriced: dict[str, int] = {}
    said: dict[str, int] = {}
    for row in spares:
        if row.pieces < 0:
            raise MoneyRefused(f"{row.pieces} pieces of {row.item} were used; it must be nought or more.")
        if row.unit_price is None:
            unpriced[row.item] = unpriced.get(row.item, 0) + row.pieces
        else:
            money += row.pieces * amount(row.unit_price, f"the price of {row.item}")
            pieces += row.pieces
            if row.said:
                said[row.said] = said.get(row.said, 0) + row.pieces
    if pieces:
        total.add(money, ", ".join([_count(pieces, "piece"), *(f"{n:,} {words}" for words, n in sorted(said.items()))]))
    for item, n in sorted(unpriced.items()):
        left_out.append(f"{_count(n, 'piece')} of {item} without a price.")


def _stops(
    total: _Sum,
    stops: Iterable[StopMinutes],
    rates: Sequence[DatedRate],
    scrapped_part: Decimal | None,
    left_out: list[str],
) -> None:
    priced, unpriced, scrapped, unknown = Decimal(0), Decimal(0), 0, 0
    money, lost = Decimal(0), Decimal(0)
    why = ""
    for row in stops:
        minutes = quantity(row.minutes, f"the minutes of the stop on {row.day}")
        if row.parts_scrapped < 0:
            raise MoneyRefused(f"{row.parts_scrapped} parts scrapped on {row.day}; it must be nought or more.")
        each = scrapped_part if row.each is None else row.each
        if each is None:
            unknown += row.parts_scrapped
        else:
            scrapped += row.parts_scrapped
            lost += row.parts_scrapped * amount(each, "the worth of a scrapped part")
        if not minutes:
            continue
        try:
            money += minutes * rate_on(rates, row.day, "press rate") / SIXTY
            priced += minutes
        except NoRate as error:
            why = why or str(error)
            unpriced += minutes
    if priced:
        total.add(money, f"{_plain(priced)} min of the press")
    if unpriced:
        left_out.append(f"{_plain(unpriced)} min of stops have no price. {why}")
    if unknown:
        left_out.append(f"{unknown:,} scrapped {'part' if unknown == 1 else 'parts'} {NO_PART_VALUE}")
    if scrapped:
        total.add(lost, f"{_count(scrapped, 'part')} scrapped")


NO_PART_VALUE = "(no part value entered)."


def _plain(value: Decimal) -> str:
    return f"{value.normalize():,f}"


def _whole(hours: Decimal) -> str:
    """Hours as people say them: whole ones, where there are ten or more."""
    return f"{rounded(hours, Decimal(1) if hours >= 10 else Decimal('0.1')).normalize():,f}"


def _count(n: int, one: str, many: str = "") -> str:
    return f"{n:,} {one if n == 1 else many or one + 's'}"
