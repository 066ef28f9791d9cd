"""Small shops for tests that need a database. Each function makes one thing and what it cannot do without."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from contextlib import contextmanager
from decimal import Decimal
from unittest import mock

from django.contrib.auth.models import Group, User

from diestore.access.models import Person
from diestore.register import changes as register
from diestore.register import sourcing
from diestore.register.models import (
    Cut,
    Die,
    Item,
    Output,
    Part,
    Piece,
    Plant,
    Position,
    Press,
    Station,
    Stock,
    Variant,
)
from diestore.register.sources import Source
from maintenance import tasks
from maintenance.log import changes, derived, write
from maintenance.models import Order, Replacement, fresh_key

START = dt.datetime(2025, 1, 6, 6, 0, tzinfo=dt.UTC)


@contextmanager
def nothing_follows():
    """What stood in the log before a test begins: no forecast is made of it."""
    with mock.patch.object(changes, "_send", lambda *args: None):
        yield


def moment(days: float = 0) -> dt.datetime:
    """So many days after the start of the records."""
    return START + dt.timedelta(days=days)


def plant(code: str = "main") -> Plant:
    return Plant.objects.get_or_create(code=code)[0]


def person(name: str = "Ina T.") -> Person:
    return Person.objects.get_or_create(plant=plant(), name=name)[0]


def actor(name: str = "Ina T.") -> write.Actor:
    return write.Actor(person=person(name))


def user(role: str, name: str | None = None) -> User:
    made = User.objects.create_user(name or role, password="not a real password")
    made.groups.add(Group.objects.get(name=role))
    return made


def stock(material: str = "low-carbon steel", tensile_mpa: float = 340, thickness_mm: float = 1.2) -> Stock:
    code = f"{material} {tensile_mpa:g} {thickness_mm:g}"
    return Stock.objects.get_or_create(
        code=code, defaults={"material": material, "tensile_mpa": tensile_mpa, "thickness_mm": thickness_mm}
    )[0]


def press(code: str = "P1") -> Press:
    return Press.objects.get_or_create(plant=plant(), code=code)[0]


def die(code: str = "H-900", *, strokes_per_minute: float = 80, parts_per_hit: int = 1, of=None, **more) -> Die:
    made = Die.objects.create(
        plant=plant(), code=code, usual_stock=of or stock(), strokes_per_minute=strokes_per_minute, **more
    )
    variant = Variant.objects.create(die=made, is_default=True)
    part = Part.objects.get_or_create(number=f"P-{code}")[0]
    Output.objects.create(variant=variant, part=part, parts_per_hit=parts_per_hit)
    return made


def item(code: str = "PP-6.0-M2", **more) -> Item:
    values = {"kind": "pierce_punch", "tool_steel": "M2", "hardness_hrc": 62, "grind_allowance_mm": 4.0} | more
    return Item.objects.get_or_create(code=code, defaults=values)[0]


def position(
    of: Die,
    code: str = "1-A",
    *,
    kind: str = "pierce_punch",
    side: str = "upper",
    tool_steel: str = "D2",
    hardness_hrc: float | None = 60,
    length_mm: float | None = 20.0,
    gap_mm: float | None = 0.1,
    allowance_mm: float | None = 4.0,
    opening: str = "new",
    since_start: bool = True,
    at: dt.datetime | None = None,
    **more,
) -> Position:
    """A position with a piece in it; with `length_mm` it cuts."""
    number = code.split("-")[0]
    station = Station.objects.get_or_create(
        die=of, code=number, defaults={"sequence": int(number) if number.isdigit() else 99}
    )[0]
    made = Position.objects.create(die=of, station=station, code=code, kind=kind, side=side, **more)
    if length_mm is not None:
        Cut.objects.create(die=of, code=code, length_mm=length_mm, gap_mm=gap_mm, **{side: made})
    piece = Piece.objects.create(
        plant=of.plant,
        key=fresh_key(),
        tool_steel=tool_steel,
        hardness_hrc=hardness_hrc,
        grind_allowance_mm=allowance_mm,
        opening=opening,
        item=made.item,
    )
    Replacement.objects.create(
        position=made, piece_in=piece, at=at or START, why="first", since_start=since_start, through="import"
    )
    derived.rebuild_fittings(made)
    return made


@nothing_follows()
def run(of: Die, day: float, hits: int = 10_000, *, hours: float = 4, **more):
    started = moment(day)
    return write.log_run(
        by=actor(), die=of, started=started, ended=started + dt.timedelta(hours=hours), hits=hits, **more
    )


@nothing_follows()
def sharpen(of: Die, day: float, *positions: Position, why: str = "dull", found: str = "", removed_mm: float = 0.1):
    pieces = [
        write.SharpenedPiece(position=p, why=why, found=found, removed_mm=removed_mm)
        for p in positions or of.positions.all()
    ]
    return write.log_sharpening(by=actor(), die=of, at=moment(day), pieces=pieces, hours=2.0)


@nothing_follows()
def order(of: Die, number: str = "26-0001", parts: int = 50_000, due: dt.date | None = None, **more) -> Order:
    part = Part.objects.get(outputs__variant__die=of)
    made = Order.objects.create(
        plant=of.plant, number=number, part=part, die=of, parts=parts, due=due or moment(700).date(), **more
    )
    register.tell(made)
    return made


def source(item: Item, *, supplier=None, prices=((1, "48.50"),), since: dt.date | None = None, **more) -> Source:
    """A preferred source, unless it is said otherwise."""
    values = {"sort": "finished" if supplier else "in house", "supplier": supplier, "lead_days": 20, "currency": "EUR",
              "preferred": True, "why_preferred": "the only one"} | more  # fmt: skip
    told = [(pieces, Decimal(price)) for pieces, price in prices]
    return sourcing.enter(by=None, item=item, values=values, prices=told, prices_from=since, in_its_place=True)


@contextmanager
def no_forecasts() -> Iterator[None]:
    """What is written in the block is foretold by nobody."""
    receiver = {"dispatch_uid": "maintenance.foretell"}
    assert changes.dies_changed.disconnect(**receiver)
    try:
        yield
    finally:
        changes.dies_changed.connect(tasks.foretell, **receiver)


@contextmanager
def one_forecast(die: Die) -> Iterator[None]:
    """However much is written of a die in the block, it is foretold once, at the end: what a day's entries come to."""
    with no_forecasts():
        yield
    assert not tasks.foretell(None, dies=frozenset({die.pk}), by_night=False)
