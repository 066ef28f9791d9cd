"""What every change on every die is worth, kept from night to night: a page cannot try thirty changes on each die."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from functools import partial

from django.utils import timezone

from diestore.register.models import Plant
from diestore.service.failing import attempt
from maintenance.forecasts import store
from maintenance.log import freshness
from reports.cost import reads as cost_reads
from reports.cost import sheets, year_ahead
from reports.costing.gains import Gain, best_of_each, ranked
from reports.models import KeptGains
from reports.offers.reads import prices_on
from reports.spares import kept as spares_kept
from reports.spares.use import PlantAhead

from . import reads
from .tried import OfDie, Tried, changes_of

BLOCK = 50  # dies whose spares are read at once


@dataclass(frozen=True, kw_only=True)
class Row:
    """One change as it was worked out last. number: its rank among all. waits: the die, or what its cost rests on, was
    changed since. is_best: none of its sort on this die ranks before it."""

    number: int
    die: int
    tried: Tried
    waits: bool
    is_best: bool

    @property
    def pk(self) -> int:
        return self.number

    @property
    def gain(self) -> Gain:
        return self.tried.gain


@dataclass(frozen=True, kw_only=True)
class KeptRows:
    """kept: None where nothing was worked out yet. untold: (die, its code, why nothing was tried)."""

    kept: KeptGains | None
    rows: tuple[Row, ...] = ()
    untold: tuple[tuple[int, str, str], ...] = ()


def work_out(plant: Plant) -> KeptGains:
    """All changes on all dies of a plant; not saved yet."""
    mark = freshness.mark()
    row = store.newest_fit(plant)
    known = {
        "prices": prices_on(plant, timezone.localdate()),
        "seen": store.seen_by(row),
        "fit": store.fleet_of(plant),
    }
    told = {}
    dies = list(cost_reads.with_plant().filter(plant=plant).order_by("code"))
    for first in range(0, len(dies), BLOCK):
        block = dies[first : first + BLOCK]
        ahead = spares_kept.ahead_of_dies(plant, [die.pk for die in block])
        for die in block:
            made = attempt(partial(_of_die, die, ahead, known), partial(_failed), what=f"changes on die {die.code}")
            told[str(die.pk)] = _columns(die.code, made)
    return KeptGains(plant=plant, mark=mark, dies=told)


def rows_of(plant: Plant) -> KeptRows:
    """What is kept of a plant, ranked: three questions at most."""
    kept = reads.kept_of(plant)
    if kept is None:
        return KeptRows(kept=None)
    dies, changed = kept.read(cost_reads.dies_of(plant).values_list("pk", flat=True))
    of_gain: dict[Gain, tuple[int, Tried]] = {}
    untold = []
    for die, columns in dies:
        if columns["refusal"]:
            untold.append((die, columns["code"], columns["refusal"]))
        for one in columns["tried"]:
            tried = _read(columns["code"], one)
            of_gain[tried.gain] = die, tried
    best = set(best_of_each(of_gain))
    rows = [
        Row(number=n, die=of_gain[gain][0], tried=of_gain[gain][1], waits=of_gain[gain][0] in changed,
            is_best=gain in best)
        for n, gain in enumerate(ranked(of_gain), start=1)
    ]  # fmt: skip
    return KeptRows(kept=kept, rows=tuple(rows), untold=tuple(untold))


def _of_die(die, ahead: PlantAhead, known: dict) -> OfDie:
    """As the die's own page reckons it."""
    cost = sheets.cost_per_thousand(die)
    return changes_of(cost, year_ahead.year_ahead(cost, ahead=ahead), ahead=ahead, **known)


def _failed(why: str) -> OfDie:
    return OfDie(refusal=why)


def _columns(code: str, made: OfDie) -> dict:
    return {
        "code": code,
        "refusal": made.refusal,
        "tried": [
            {
                "sort": one.gain.sort,
                "words": one.gain.words,
                "extra": str(one.gain.extra),
                "worth": str(one.gain.worth),
                "chance": one.gain.chance,
                "saved": str(one.gain.saved_a_year),
                "priced": one.gain.is_priced,
                "query": one.query,
                "doubts": list(one.doubts),
            }
            for one in made.tried
        ],
    }


def _read(code: str, one: dict) -> Tried:
    gain = Gain(
        die=code,
        sort=one["sort"],
        words=one["words"],
        extra=Decimal(one["extra"]),
        worth=Decimal(one["worth"]),
        chance=one["chance"],
        saved_a_year=Decimal(one["saved"]),
        is_priced=one["priced"],
    )
    return Tried(gain=gain, query=one["query"], doubts=tuple(one["doubts"]))
