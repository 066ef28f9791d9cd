"""Which dies and spares were changed since a mark: how kept rows know that they are behind.

Every write leaves a row a die or spare that it changed (`changes.tell`), in its own transaction. A mark says which of
those rows were there. Numbers are given before a transaction commits, so the mark holds the last ones one by one: a row
that comes out later with a lower number is seen too.
"""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from dataclasses import dataclass, field

from django.db.models import Case, F, When
from django.utils import timezone

from diestore.register.models import Item, Plant, Position
from maintenance.models import Change

ONE_BY_ONE = 1_000  # the last rows: more than are under way at once
KEPT_DAYS = 7
MARKS_HOLD_DAYS = 6  # clocks of hosts are no day apart


@dataclass(frozen=True)
class Changes:
    """What was changed since a mark, of all plants. items: spares that moved or whose entry changed."""

    dies: dict[str, frozenset[int]] = field(default_factory=dict)
    items: frozenset[int] = frozenset()

    def dies_in(self, *what: str) -> frozenset[int]:
        """The dies of which one of these changed: "records", "price", "forecast"."""
        return frozenset().union(*(self.dies.get(one, ()) for one in what))


def mark() -> dict:
    """Where the changes stand now. Made before the records are read, so that what comes meanwhile counts as later."""
    there = list(Change.objects.order_by("-pk").values_list("pk", flat=True)[:ONE_BY_ONE])
    return {"last": max(there, default=0), "there": there, "at": timezone.now().isoformat()}


def since(mark: dict) -> Changes | None:
    """What was changed since. None: the mark is so old, or of so old a version, that nobody knows."""
    if not isinstance(mark.get("last"), int):
        return None
    if abs(timezone.now() - dt.datetime.fromisoformat(mark["at"])) > dt.timedelta(days=MARKS_HOLD_DAYS):
        return None  # of a clock that was ahead too
    changes = Change.objects.filter(pk__gt=mark["last"] - ONE_BY_ONE).order_by()
    late = Case(When(pk__lte=mark["last"], then=F("pk")), default=0)  # its number may have been given before the mark
    there = set(mark["there"])
    rows = changes.annotate(late=late).values_list("late", "die_id", "item_id", "what").distinct()
    rows = [row[1:] for row in rows if row[0] not in there]
    dies: dict[str, set[int]] = defaultdict(set)
    for die, _, what in rows:
        dies[what].add(die)
    items = frozenset(item for _, item, _ in rows if item is not None)
    return Changes({what: frozenset(pks - {None}) for what, pks in dies.items()}, items)


def items_of(changes: Changes, plant: Plant) -> frozenset[int]:
    """The spares of a plant that are told of anew: those changed, and those that the dies changed take."""
    dies = changes.dies_in(Change.What.RECORDS, Change.What.FORECAST)
    taken = Position.objects.filter(die__plant=plant, die__in=dies, item__isnull=False).order_by()
    newer = Item.objects.filter(pk__in=changes.items, newer__isnull=False).order_by()  # usable old pieces count there
    return changes.items | frozenset(taken.values_list("item_id", flat=True).union(newer.values_list("newer_id")))


def forget() -> None:
    """Drop the changes that no mark that holds looks at. The newest row stays: the numbers go on from it."""
    newest = Change.objects.order_by("-pk").values_list("pk", flat=True).first()
    before = timezone.now() - dt.timedelta(days=KEPT_DAYS)
    Change.objects.filter(at__lt=before).exclude(pk=newest).delete()
