"""Reads for the record: what happened to the spares of a plant, with when it was known."""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from collections.abc import Iterable
from typing import NamedTuple

from django.utils import timezone

from diestore.register.models import Item, Plant
from maintenance.models import Order, Replacement, Run, StockMovement, Work
from reports.spares.reads import REMOVING

Place, Kind = StockMovement.Place, StockMovement.Kind


class Known(NamedTuple):
    """When something happened, when it was entered and when it was struck out, in seconds; inf: it stands."""

    at: float
    since: float
    until: float

    def by(self, moment: float) -> bool:
        """Whether it had happened and counted then."""
        return self.at <= moment and self.since <= moment < self.until


class Ground(NamedTuple):
    known: Known
    position: int
    removed_mm: float
    is_grind: bool


class Fitted(NamedTuple):
    """A piece that went into a place. is_new: it is the piece's first place; need: taken off the shelf for one that was
    used up or broke. allowance_mm: of the piece, None: not written down."""

    known: Known
    position: int
    item: int
    die: int
    kind: str
    why: str
    allowance_mm: float | None
    need: bool


class Made(NamedTuple):
    known: Known
    started: float
    die: int
    hits: int


class Moved(NamedTuple):
    """A movement that stands. day: on which it happened; line: of an order that the pages show."""

    day: dt.date
    item: int
    place: str
    kind: str
    pieces: int
    line: int | None


class Job(NamedTuple):
    """An order of a customer that names a die. closed: None while it is open."""

    die: int
    placed: dt.date
    due: dt.date
    closed: dt.date | None


_WHEN = ("at", "recorded_at", "struck_at")


def _known(at: dt.datetime, recorded: dt.datetime, struck: dt.datetime | None) -> Known:
    return Known(at.timestamp(), recorded.timestamp(), float("inf") if struck is None else struck.timestamp())


def grinds(plant: Plant) -> list[Ground]:
    rows = Work.objects.filter(operation__in=REMOVING, position__die__plant=plant, position__item__isnull=False)
    names = (*_WHEN, "position_id", "removed_mm", "operation")
    return [
        Ground(_known(*when), position, mm or 0.0, operation == "ground")
        for *when, position, mm, operation in rows.order_by("at", "pk").values_list(*names)
    ]


def fittings(plant: Plant) -> list[Fitted]:
    """The earliest first; what was in the places when the records began comes first of all."""
    rows = Replacement.objects.filter(position__die__plant=plant, position__item__isnull=False, piece_in__isnull=False)
    names = (
        *_WHEN, "position_id", "position__item_id", "position__die_id", "position__item__kind", "why",
        "piece_in__grind_allowance_mm", "position__item__grind_allowance_mm", "piece_in_id", "since_start",
    )  # fmt: skip
    made, before = [], set()
    for at, recorded, struck, place, item, die, kind, why, own, bought, piece, start in rows.order_by(
        "at", "sequence", "pk"
    ).values_list(*names):
        need = not start and why != Replacement.Why.FIRST and piece not in before
        if struck is None:
            before.add(piece)
        allowance = own if own is not None else bought
        made.append(Fitted(_known(at, recorded, struck), place, item, die, kind, why, allowance, need))
    return made


GROUND_OUT = Replacement.Why.GROUND_OUT.value


def runs(plant: Plant) -> list[Made]:
    rows = Run.objects.filter(die__plant=plant).order_by("at", "pk")
    return [
        Made(_known(at, recorded, struck), started.timestamp(), die, hits)
        for at, recorded, struck, started, die, hits in rows.values_list(*_WHEN, "started", "die_id", "hits")
    ]


def movements(plant: Plant, items: Iterable[int]) -> list[Moved]:
    rows = StockMovement.objects.standing().filter(plant=plant, item__in=list(items)).order_by("at", "sequence", "pk")
    names = ("at", "item_id", "place", "kind", "quantity", "line_id")
    return [Moved(timezone.localdate(at), *rest) for at, *rest in rows.values_list(*names)]


def jobs(plant: Plant) -> dict[int, list[Job]]:
    """Die -> its jobs: those that name it, and those of which a run of it names the order."""
    found: dict[int, set[Job]] = defaultdict(set)
    for of in ("die", "runs__die"):
        rows = Order.objects.filter(**{f"{of}__plant": plant}, due__isnull=False).order_by()
        for die, placed, due, closed in rows.values_list(of, "placed_at", "due", "closed_at").distinct():
            ended = None if closed is None else timezone.localdate(closed)
            found[die].add(Job(die, timezone.localdate(placed), due, ended))
    return {die: sorted(some, key=lambda job: (job.due, job.placed)) for die, some in found.items()}


def priced(plant: Plant, items: Iterable[int]) -> list[Item]:
    return list(Item.objects.filter(pk__in=list(items), unit_price__isnull=False).order_by("pk"))
