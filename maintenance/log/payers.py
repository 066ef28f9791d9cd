"""Who pays: what the shop says once of a die, and of a single entry that differs."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass

from django.db.models import QuerySet
from django.utils.translation import gettext as _

from diestore.register.models import Die, Party
from maintenance.clockwork.works import OPERATIONS
from maintenance.models import Change, CostBearer, Event, Reading, Replacement, Stop, Work, fresh_key

from . import changes
from .rules import EntryRefused, check_moment, check_text, saving
from .write import Actor

ELEMENTS: dict[str, str] = dict(CostBearer.Element.choices)
COLUMN: dict[type[Event], str] = {Work: "work", Replacement: "replacement", Stop: "stop", Reading: "reading"}
ENTRIES = {name: model for model, name in COLUMN.items()}
NOTE_AT_MOST = 300


def die_of(entry: Event) -> Die | None:
    """The die whose cost an entry stands in."""
    if isinstance(entry, Stop):
        return entry.die
    if isinstance(entry, Reading) and entry.position is None:
        return entry.die or (entry.cut.die if entry.cut is not None else None)
    return entry.position.die if entry.position is not None else None


def element_of(entry: Event) -> str:
    """The element of the cost sheet that an entry stands in."""
    if isinstance(entry, Work):
        operation = OPERATIONS[entry.operation]
        sharpens = operation.on_the_edge and entry.operation != "welded and recut"
        return CostBearer.Element.SHARPENING if sharpens else CostBearer.Element.REPAIR
    return CostBearer.Element.SPARES if isinstance(entry, Replacement) else CostBearer.Element.STOP


def _check(payer: Party | None, note: str) -> None:
    if payer is not None and payer.role != Party.Role.CUSTOMER:
        raise EntryRefused(
            _("{payer} is a supplier. Who pays is the shop or a customer.").format(payer=payer), field="payer"
        )
    check_text(note, field="note", what=_("The note"), at_most=NOTE_AT_MOST)


def say_of_die(
    *,
    by: Actor,
    die: Die,
    at: dt.datetime,
    payers: Mapping[str, Party | None],
    note: str = "",
    key: str | None = None,
) -> list[CostBearer]:
    """From a moment on these elements are paid by these, None: the shop. Only what is otherwise than it was is kept.

    Raises EntryRefused where nothing would be otherwise. key: of the form; sent twice it is once.
    """
    check_moment(at)
    note = note.strip()
    for element, payer in payers.items():
        if element not in ELEMENTS:
            raise EntryRefused(_("Pick what is paid from the list."), field="element")
        _check(payer, note)
    with saving():
        Die.objects.select_for_update(of=("self",)).get(pk=die.pk)  # two at once: the second sees the first
        if key and (known := list(CostBearer.objects.filter(die=die, key__startswith=f"{key}:"))):
            return known
        holding = holding_at(die, at)
        other = {e: p for e, p in payers.items() if (p.pk if p else None) != _payer(holding.get(e))}
        if not other:
            raise EntryRefused(_("Nothing here is other than it was on that day."))
        head = key or fresh_key()
        made = [
            CostBearer.objects.create(
                die=die, element=element, payer=payer, at=at, note=note, key=f"{head}:{element}", **by.columns()
            )
            for element, payer in other.items()
        ]
        changes.tell_of(Change.What.PRICE, [die.pk])
        return made


def say_of_entry(*, by: Actor, entry: Event, payer: Party | None, note: str = "", key: str | None = None) -> CostBearer:
    """This one entry is paid by him, None: the shop, whatever holds of its die. Said again, the newest holds."""
    die, column = die_of(entry), COLUMN.get(type(entry))
    if die is None or column is None or entry.is_struck:
        raise EntryRefused(_("This entry is in no die's cost, so nobody pays for it."))
    note = note.strip()
    _check(payer, note)
    with saving():
        if key and (known := CostBearer.objects.filter(key=key).first()):
            return known
        made = CostBearer.objects.create(
            die=die, element=element_of(entry), payer=payer, at=entry.at, note=note, key=key or fresh_key(),
            **{column: entry}, **by.columns(),
        )  # fmt: skip
        changes.tell_of(Change.What.PRICE, [die.pk])
        return made


def of_entry(entry: Event) -> CostBearer | None:
    """What is said of this one entry, the newest."""
    rows = CostBearer.objects.standing().filter(**{COLUMN[type(entry)]: entry}).select_related("payer", "person")
    return rows.order_by("-recorded_at", "-pk").first()


def rules_of(die: Die) -> QuerySet[CostBearer]:
    """What is said of the die, the newest first, what is struck out too."""
    rows = CostBearer.objects.filter(die=die, work=None, replacement=None, stop=None, reading=None)
    return rows.select_related("payer", "person", "struck_by").order_by("-at", "-recorded_at", "-pk")


@dataclass(frozen=True, kw_only=True)
class Holding:
    """Who pays for an element at a moment, and since when. payer None: the shop."""

    payer: Party | None
    since: dt.datetime


def holding_at(die: Die, at: dt.datetime) -> dict[str, Holding]:
    """Of each element of which something is said by then, what holds."""
    rows = rules_of(die).filter(struck_at=None, at__lte=at)
    held: dict[str, Holding] = {}
    for row in rows:
        held.setdefault(row.element, Holding(payer=row.payer, since=row.at))
    return held


def _payer(held: Holding | None) -> int | None:
    return held.payer.pk if held is not None and held.payer is not None else None
