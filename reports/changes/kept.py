"""What came of every change, kept from night to night: a promise takes a fit of the past; no page waits for that."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable
from dataclasses import asdict, dataclass
from decimal import Decimal
from functools import cache, partial

from django.utils import timezone

from diestore.register.models import Die, Plant
from diestore.service.failing import attempt
from maintenance.forecasts import made_changes, store
from maintenance.forecasts.made_changes import MadeChange, Promised
from maintenance.log import freshness
from reports.costing.changes import Came
from reports.models import KeptChanges

from . import followed, reads
from .followed import Followed

FITS_A_NIGHT = 12  # of the past, one for each month with a change: minutes each in a shop of a thousand dies


@dataclass(frozen=True, kw_only=True)
class Row:
    """number: by time, the newest first. waits: the die, or what its cost rests on, was changed since."""

    number: int
    die: int
    code: str
    waits: bool
    followed: Followed

    @property
    def pk(self) -> int:
        return self.number

    # What the columns of the list are sorted by.
    @property
    def promised(self) -> float | None:
        return self.followed.promised[0] if self.followed.promised else None

    @property
    def came(self) -> float | None:
        return self.followed.came.times

    @property
    def saved(self) -> Decimal | None:
        return self.followed.came_sum[0]


@dataclass(frozen=True, kw_only=True)
class KeptRows:
    """kept: None where nothing was worked out yet. untold: (die, its code, why nothing was followed)."""

    kept: KeptChanges | None
    rows: tuple[Row, ...] = ()
    untold: tuple[tuple[int, str, str], ...] = ()


@dataclass(frozen=True, kw_only=True)
class _OfDie:
    made: tuple[MadeChange, ...] = ()
    refusal: str = ""


def work_out(plant: Plant) -> KeptChanges:
    """All changes on all dies of a plant; not saved yet. Promises that are kept already are not made again."""
    mark = freshness.mark()
    fit = store.fleet_of(plant)
    before = reads.kept_of(plant)
    promises = {} if before is None else _promises(before)
    found: dict[int, tuple[Die, _OfDie]] = {}
    for die in reads.dies_of(plant):
        one = attempt(partial(_found, die, fit), partial(_failed), what=f"changes made on die {die.code}")
        if one.made or one.refusal:
            found[die.pk] = die, one
    _promise(plant, found.values(), promises)
    told = {}
    for pk, (die, one) in found.items():
        columns = attempt(partial(_columns, die, one, promises, fit), partial(_untold, die), what=f"changes on {die}")
        told[str(pk)] = columns
    return KeptChanges(plant=plant, mark=mark, dies=told)


def rows_of(plant: Plant) -> KeptRows:
    """What is kept of a plant, the newest change first: three questions at most."""
    kept = reads.kept_of(plant)
    if kept is None:
        return KeptRows(kept=None)
    dies, changed = kept.read(Die.objects.filter(plant=plant).values_list("pk", flat=True))
    rows, untold = [], []
    for die, columns in dies:
        if columns["refusal"]:
            untold.append((die, columns["code"], columns["refusal"]))
        rows += [(die, columns["code"], _read(one["followed"])) for one in columns["changes"]]
    rows.sort(key=lambda row: (row[2].at, row[1], row[2].words), reverse=True)
    made = [
        Row(number=n, die=die, code=code, waits=die in changed, followed=one)
        for n, (die, code, one) in enumerate(rows, start=1)
    ]
    return KeptRows(kept=kept, rows=tuple(made), untold=tuple(untold))


def _found(die: Die, fit) -> _OfDie:
    return _OfDie(made=tuple(made_changes.made_on(die, fit.shares)))


def _failed(why: str) -> _OfDie:
    return _OfDie(refusal=why)


def _promise(plant: Plant, found: Iterable[tuple[Die, _OfDie]], promises: dict[str, Promised]) -> None:
    """Promises that are not there yet, the newest change first, as long as the night lasts."""

    @cache
    def fit_of(month: dt.datetime):
        return made_changes.fit_known(plant, month)

    missing = [(die, one) for die, of_die in found for one in of_die.made if one.key not in promises]
    months: set[dt.datetime] = set()
    for die, one in sorted(missing, key=lambda row: (-row[1].at, row[1].key)):
        month = _month_of(one.at)
        if month not in months and len(months) >= FITS_A_NIGHT:
            continue
        months.add(month)
        made = attempt(
            lambda die=die, one=one, month=month: made_changes.promised(die, one, fit_of(month)),
            lambda why: None,
            what=f"what was promised of a change on {die.code}",
        )
        if made is not None:
            promises[one.key] = made


def _month_of(at: float) -> dt.datetime:
    local = timezone.localtime(dt.datetime.fromtimestamp(at, dt.UTC))
    return local.replace(day=1, hour=0, minute=0, second=0, microsecond=0)


# --- as rows are kept -------------------------------------------------------------------------------------------------


def _columns(die: Die, one: _OfDie, promises: dict[str, Promised], fit) -> dict:
    rows = followed.of_die(die, list(one.made), promises, fit=fit) if one.made else []
    return {
        "code": die.code,
        "refusal": one.refusal,
        "changes": [
            {
                "key": made.key,
                "promise": asdict(promises[made.key]) if made.key in promises else None,
                "followed": _written(row),
            }
            for made, row in zip(one.made, rows, strict=True)
        ],
    }


def _untold(die: Die, why: str) -> dict:
    return {"code": die.code, "refusal": why, "changes": []}


def _promises(kept: KeptChanges) -> dict[str, Promised]:
    made = {}
    for columns in kept.dies.values():
        for one in columns["changes"]:
            if (told := one["promise"]) is not None:
                made[one["key"]] = Promised(
                    **told
                    | {
                        "times": tuple(told["times"]),
                        "of_die": told["of_die"] and tuple(told["of_die"]),
                        "usual_hits": {int(position): hits for position, hits in told["usual_hits"].items()},
                    }
                )
    return made


def _written(row: Followed) -> dict:
    columns = asdict(row)
    columns["at"] = row.at.isoformat()
    for name in ("promised_sum", "came_sum"):
        columns[name] = [_text(one) for one in getattr(row, name)]
    for name in ("extra", "so_far"):
        columns[name] = _text(getattr(row, name))
    return columns


def _read(columns: dict) -> Followed:
    sums = {name: tuple(map(_number, columns[name])) for name in ("promised_sum", "came_sum")}
    return Followed(
        **columns
        | {
            "at": dt.datetime.fromisoformat(columns["at"]),
            "sorts": tuple(columns["sorts"]),
            "places": tuple((pk, code) for pk, code in columns["places"]),
            "promised": columns["promised"] and tuple(columns["promised"]),
            "came": Came(**columns["came"]),
            "extra": _number(columns["extra"]),
            "so_far": _number(columns["so_far"]),
            "doubts": tuple(columns["doubts"]),
        }
        | sums
    )


def _text(value: Decimal | None) -> str | None:
    return None if value is None else str(value)


def _number(text: str | None) -> Decimal | None:
    return None if text is None else Decimal(text)
