"""What lies on the shelf of a plant, against the press stops that it prevents."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import asdict, dataclass
from decimal import Decimal

from diestore.drawing.scales import even_values
from reports.purchasing.shelf import ShelfCurve, ShelfItem, shelf_curve

from .advice import SpareRow
from .costs import FELT

SHARES = (2.0, 1.0, 0.5, 0.2, 0.1, 0.05)  # of today's stops
STEP = 1_000.0  # of the shop's money: so much more or less
SHOWN_NEXT = 6
NEVER = 0.005  # pieces a year: one in two hundred years


@dataclass(frozen=True)
class Idle:
    """A spare that no die at work takes, or that hardly any uses. worth: None without a price."""

    row: SpareRow
    worth: Decimal | None


@dataclass(frozen=True, kw_only=True)
class Shelf:
    """curve: None where no spare has a price and a use. items: in the order of the curve's numbers."""

    curve: ShelfCurve | None
    items: tuple[SpareRow, ...]
    idle: tuple[Idle, ...]
    rare: tuple[Idle, ...]
    left_out: int

    @property
    def next_pieces(self) -> list[tuple[SpareRow, int]]:
        """What the next thousand is best spent on, and how many of each: the first steps of the curve that the shelf
        does not hold yet."""
        if self.curve is None:
            return []
        held = [max(row.there + row.on_order, 0) for row in self.items]
        taken, money, wanted = [0] * len(held), 0.0, dict[int, int]()
        for number in map(int, self.curve.order):
            taken[number] += 1
            price = float(self.items[number].item.unit_price or 0)
            if taken[number] <= held[number]:
                continue
            if money + price > STEP or (len(wanted) >= SHOWN_NEXT and number not in wanted):
                break
            money += price
            wanted[number] = wanted.get(number, 0) + 1
        return [(self.items[number], n) for number, n in wanted.items()]


def of_rows(rows: Iterable[SpareRow]) -> Shelf:
    """Cycles a year: yearly use over the lot that is bought at a time."""
    used, items, left_out = [], [], 0
    idle: list[Idle] = []
    rare: list[Idle] = []
    for row in rows:
        advice, price = row.advice, row.item.unit_price
        used_first = row.item.newer_id is not None and row.item.retired_at is None  # they count with the newer one
        if row.on_hand > 0 and not used_first and (row.places == 0 or (advice is not None and advice.yearly < NEVER)):
            (rare if row.places else idle).append(Idle(row, None if price is None else row.on_hand * price))
        if advice is None or not price or not advice.missing or advice.yearly < NEVER:
            left_out += advice is None or not price
            continue
        used.append(row)
        items.append(
            ShelfItem(
                name=row.code,
                price=float(price),
                cycles=advice.yearly / max(advice.lot, 1),
                missing=advice.missing,
                there=row.there + row.on_order,
                stops=FELT.get(row.item.criticality, 1.0),
            )
        )
    for some in (idle, rare):
        some.sort(key=lambda one: (-(one.worth or 0), one.row.code))
    curve = shelf_curve(items) if items else None
    return Shelf(curve=curve, items=tuple(used), idle=tuple(idle), rare=tuple(rare), left_out=left_out)


@dataclass(frozen=True)
class Point:
    stops: float
    money: float


def points(curve: ShelfCurve) -> list[Point]:
    """The least money for so few stops a year: multiples and parts of today's."""
    return [Point(share * curve.now_stops, curve.money_at(share * curve.now_stops)) for share in SHARES]


@dataclass(frozen=True, kw_only=True)
class Drawn:
    """The curve as a path in a box of WIDTH x HEIGHT, today's point and ticks; money by its square root, since the
    first pieces prevent most."""

    path: str
    now: tuple[float, float]
    across: tuple[tuple[float, str], ...]
    up: tuple[tuple[float, str], ...]


WIDTH, HEIGHT, LEFT, FOOT = 560, 240, 46, 30


def drawn(curve: ShelfCurve) -> Drawn:
    most_money = max(curve.now_money * 1.2, float(curve.money[1]) if len(curve.money) > 1 else 1.0)
    most_stops = max(float(curve.stops[0]), curve.now_stops, 0.1)

    def x(money: float) -> float:
        return LEFT + (WIDTH - LEFT - 10) * math.sqrt(min(money / most_money, 1.0))

    def y(stops: float) -> float:
        return HEIGHT - FOOT - (HEIGHT - FOOT - 12) * stops / most_stops

    shown = [most_money * (n / 80) ** 2 for n in range(81)]
    path = "M" + "L".join(f"{x(m):.1f} {y(curve.stops_at(m)):.1f}" for m in shown)
    return Drawn(
        path=path,
        now=(round(x(curve.now_money), 1), round(y(curve.now_stops), 1)),
        across=tuple((round(x(t), 1), f"{t:,.0f}") for t in even_values(0, most_money, 5)),
        up=tuple((round(y(t), 1), f"{t:g}") for t in even_values(0, most_stops, 4)),
    )


IDLE_SHOWN = 50
STEPS_ASKED = (-STEP, 0.0, STEP)


@dataclass(frozen=True, kw_only=True)
class Lying:
    """Spares that lie there: how many, their worth together, the dearest as (item, worth)."""

    count: int
    worth: Decimal
    dearest: tuple[tuple[int, Decimal | None], ...]


@dataclass(frozen=True, kw_only=True)
class Told:
    """All that the page shows, without the rows: it can be kept. now_money, now_stops, best, least: of today's shelf,
    the fewest stops for as much and the least money for as few; drawn None: there is no curve. more: money and the
    fewest stops with so much less, as much, more. wanted: (item, pieces) that the next thousand buys."""

    now_money: float = 0.0
    now_stops: float = 0.0
    best: float = 0.0
    least: float = 0.0
    drawn: Drawn | None = None
    points: tuple[Point, ...] = ()
    more: tuple[Point, ...] = ()
    wanted: tuple[tuple[int, int], ...] = ()
    idle: Lying
    rare: Lying
    left_out: int

    @property
    def items(self) -> set[int]:
        """Those that are named."""
        return {item for some in (self.wanted, self.idle.dearest, self.rare.dearest) for item, _ in some}


def told(found: Shelf) -> Told:
    idle, rare, curve = _lying(found.idle), _lying(found.rare), found.curve
    if curve is None:
        return Told(idle=idle, rare=rare, left_out=found.left_out)
    at = [max(curve.now_money + step, 0.0) for step in STEPS_ASKED]
    return Told(
        now_money=curve.now_money,
        now_stops=curve.now_stops,
        best=curve.stops_at(curve.now_money),
        least=curve.money_at(curve.now_stops),
        drawn=drawn(curve),
        points=tuple(points(curve)),
        more=tuple(
            Point(curve.stops_at(money), curve.now_money + step) for money, step in zip(at, STEPS_ASKED, strict=True)
        ),
        wanted=tuple((row.item.pk, n) for row, n in found.next_pieces),
        idle=idle,
        rare=rare,
        left_out=found.left_out,
    )


def _lying(some: tuple[Idle, ...]) -> Lying:
    return Lying(
        count=len(some),
        worth=sum((one.worth for one in some if one.worth), start=Decimal(0)),
        dearest=tuple((one.row.item.pk, one.worth) for one in some[:IDLE_SHOWN]),
    )


def to_keep(of: Told) -> dict:
    """As JSON can hold it; amounts of money as texts."""
    return asdict(of) | {"idle": _lying_to_keep(of.idle), "rare": _lying_to_keep(of.rare)}


def from_kept(kept: dict) -> Told:
    shown = kept["drawn"]
    return Told(
        **{name: kept[name] for name in ("now_money", "now_stops", "best", "least", "left_out")},
        drawn=shown
        and Drawn(
            path=shown["path"],
            now=tuple(shown["now"]),
            across=tuple(map(tuple, shown["across"])),
            up=tuple(map(tuple, shown["up"])),
        ),
        points=tuple(Point(**point) for point in kept["points"]),
        more=tuple(Point(**point) for point in kept["more"]),
        wanted=tuple((item, n) for item, n in kept["wanted"]),
        idle=_kept_lying(kept["idle"]),
        rare=_kept_lying(kept["rare"]),
    )


def _lying_to_keep(some: Lying) -> dict:
    dearest = [[item, None if worth is None else str(worth)] for item, worth in some.dearest]
    return {"count": some.count, "worth": str(some.worth), "dearest": dearest}


def _kept_lying(kept: dict) -> Lying:
    dearest = tuple((item, None if worth is None else Decimal(worth)) for item, worth in kept["dearest"])
    return Lying(count=kept["count"], worth=Decimal(kept["worth"]), dearest=dearest)
