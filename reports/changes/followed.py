"""What came of every change made on a die, what was promised of it then, and what it cost: from the log to figures."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal

from django.utils import timezone

from diestore.register.models import Die
from maintenance.forecasts.made_changes import COATING, HARDNESS, STEEL, MadeChange, Place, Promised
from maintenance.life.fleet import FleetFit
from reports.cost import sheets, two_builds, year_ahead
from reports.cost.sheets import DieCost
from reports.costing.changes import (
    FEW_ENDS,
    USUAL_DRIFT,
    Came,
    Promise,
    Spells,
    Verdict,
    compared,
    saved_a_year,
    times_of_die,
    verdict,
)
from reports.costing.money import MoneyRefused
from reports.purchasing.laws import LawRefused
from reports.spares import kept as spares_kept

from . import reads

Three = tuple[float, float, float]
Sums = tuple[Decimal | None, Decimal | None, Decimal | None]  # the middle, and 8 in 10 between
UNKNOWN: Sums = (None, None, None)


@dataclass(frozen=True, kw_only=True)
class Followed:
    """One change on one die. places: (key, code). promised, came: of the edges. interval_hits: of the die before it,
    as forecast then. came_die: times as long for the die. extra: what it cost once; None: not known. promised_sum,
    came_sum: saved a year, less often sharpened. so_far: saved with the hits run since, less what it cost."""

    at: dt.datetime
    words: str
    sorts: tuple[str, ...]
    places: tuple[tuple[int, str], ...]
    promised: Three | None
    by_handbook: bool
    came: Came
    others: int
    verdict: str
    hits_since: float
    extra: Decimal | None
    promised_sum: Sums
    came_sum: Sums
    so_far: Decimal | None
    doubts: tuple[str, ...]


def of_die(die: Die, changes: list[MadeChange], promises: Mapping[str, Promised], *, fit: FleetFit) -> list[Followed]:
    """promises: by the key of the change, those that were made again. fit: the shop's, as it is now."""
    sharpening, why = _sharpening(die)
    cost = sheets.cost_per_thousand(die)
    fitted = reads.pieces_in(place.position for made in changes for place in made.places)
    return [_followed(made, promises.get(made.key), fit, sharpening, why, cost, fitted) for made in changes]


def _sharpening(die: Die) -> tuple[Decimal | None, str]:
    """What one costs today, with what it wears off the pieces; else why nobody knows."""
    ahead = spares_kept.ahead_of_die(die)
    cost = sheets.cost_per_thousand(die)
    try:
        plan, _ = two_builds.as_it_is(cost, year_ahead.year_ahead(cost, ahead=ahead), ahead=ahead)
    except (LawRefused, MoneyRefused) as reason:
        return None, str(reason)
    return plan.sharpening + plan.spares_per_sharpening, ""


def _followed(
    made: MadeChange,
    promised: Promised | None,
    fit: FleetFit,
    sharpening: Decimal | None,
    why: str,
    cost: DieCost,
    fitted: Mapping[int, list[reads.PieceIn]],
) -> Followed:
    came = compared(
        [Spells(before=place.lives_before, after=place.lives_after) for place in made.places],
        [Spells(before=before, after=after) for before, after in made.others],
        shape=fit.best.k,
        drift=_drift(made, fit),
    )
    promise = None if promised is None else _promise(promised)
    extra, unpriced = _extra(made, cost, fitted)
    promised_sum, came_sum, saved = UNKNOWN, UNKNOWN, None
    if promised is not None and promised.of_die is not None and sharpening is not None:
        promised_sum = _sums(promised.of_die, promised, made.hits_a_year_before, sharpening)
        if (of_die := _of_die(came, made, promised)) is not None:
            came_sum = _sums(of_die, promised, made.hits_a_year_before, sharpening)
            saved = _sums(of_die, promised, made.hits_since, sharpening)[0]
    return Followed(
        at=dt.datetime.fromtimestamp(made.at, dt.UTC),
        words=made.words,
        sorts=tuple(step.sort for step in made.steps),
        places=tuple((place.position, place.code) for place in made.places),
        promised=None if promise is None else (promise.times, promise.low, promise.high),
        by_handbook=promised is not None and not promised.dull_ends,
        came=came,
        others=len(made.others),
        verdict=_verdict(promise, came),
        hits_since=made.hits_since,
        extra=extra,
        promised_sum=promised_sum,
        came_sum=came_sum,
        so_far=None if saved is None or extra is None else saved - extra,
        doubts=tuple(_doubts(made, came, _verdict(promise, came), unpriced, promised, why)),
    )


def _verdict(promise: Promise | None, came: Came) -> str:
    if came.dull_before < FEW_ENDS:
        return Verdict.UNKNOWN.value
    return Verdict.EARLY.value if promise is None else verdict(promise, came).value


def _promise(promised: Promised) -> Promise:
    times, low, high = promised.times
    return Promise(times=times, low=min(low, times), high=max(high, times))


def _drift(made: MadeChange, fit: FleetFit) -> float:
    """What lies between two spells of a place by itself: what is usual, and lots where they differ here."""
    before, after = (max(count, 1) for count in made.lots)
    return math.hypot(USUAL_DRIFT, fit.sw * math.sqrt(1 / before + 1 / after))


def _of_die(came: Came, made: MadeChange, promised: Promised) -> tuple[float, float | None, float | None] | None:
    """Times as long for the die, its other edges as they were told then."""
    changed = {place.position for place in made.places}
    if came.times is None or not changed & set(promised.usual_hits):
        return None

    def of(times: float) -> float:
        each = [times if position in changed else 1.0 for position in promised.usual_hits]
        return times_of_die(list(promised.usual_hits.values()), each, shape=promised.shape)

    return of(came.times), None if came.low is None else of(came.low), None if came.high is None else of(came.high)


def _sums(times: tuple[float | None, ...], promised: Promised, hits: float, sharpening: Decimal) -> Sums:
    def of(one: float | None) -> Decimal | None:
        if one is None or not promised.interval_hits:
            return None
        return saved_a_year(
            hits_a_year=hits, interval_hits=promised.interval_hits, sharpening=sharpening, times=one
        )  # fmt: skip

    middle, low, high = (of(one) for one in times)
    return middle, low, high


def _extra(
    made: MadeChange, cost: DieCost, fitted: Mapping[int, list[reads.PieceIn]]
) -> tuple[Decimal | None, list[str]]:
    """What the change cost once: dearer pieces at the price of their day, coating and grinding of that moment. With the
    codes of places of which it is not known. A gap alone is taken on with work that is done anyway."""
    total, unknown = Decimal(0), []
    if {STEEL, HARDNESS, COATING} & {step.sort for step in made.steps}:
        for place in made.places:
            one = _of_piece(place, cost, fitted.get(place.position, []))
            if one is None:
                one = _of_work(place, cost)
            if one is None:
                unknown.append(place.code)
            else:
                total += one
    return (None if unknown else total), unknown


def _of_piece(place: Place, cost: DieCost, fitted: list[reads.PieceIn]) -> Decimal | None:
    """The piece that went in at the change, less one like that before; None where none went in, or a price is not
    known."""
    went_in = next((n for n, piece in enumerate(fitted) if piece.at.timestamp() == place.at), None)
    if not went_in or cost.spent is None:
        return None
    paid = next(
        (one.unit_price for one in cost.spent.spares if one.place == place.code and one.at.timestamp() == place.at),
        None,
    )
    new = fitted[went_in].price if paid is None else paid
    before = [one for one in cost.spent.spares if one.place == place.code and one.at.timestamp() < place.at]
    same = [one.unit_price for one in before if one.item == fitted[went_in - 1].item and one.unit_price is not None]
    old = same[-1] if same else fitted[went_in - 1].price
    return None if new is None or old is None else new - old


def _of_work(place: Place, cost: DieCost) -> Decimal | None:
    """A coat put on a piece that was there: hours at their rate, bills for it; shared by all done at that moment."""
    if cost.spent is None or cost.rates is None:
        return None
    done = [row for row in cost.spent.grinds if row.at.timestamp() == place.at and row.operation == "recoated"]
    if not done:
        return None
    pieces = sum(row.pieces for row in done)
    bills = [bill.amount for bill in cost.spent.bills if bill.done and bill.done.timestamp() == place.at]
    hours = [row.hours for row in done if row.hours is not None and not row.outside]
    rate = cost.rates.on("toolroom", timezone.localdate(done[0].at))
    if not bills and (not hours or rate is None):
        return None
    worked = Decimal(str(sum(hours))) * (rate or Decimal(0))
    return (worked + sum(bills, Decimal(0))) / pieces


def _doubts(
    made: MadeChange, came: Came, said: str, unpriced: list[str], promised: Promised | None, why: str
) -> list[str]:
    """What the record cannot say, in sentences."""
    doubts = list(made.doubts)
    if came.dull_before < FEW_ENDS:
        doubts.insert(0, f"{FEW_ENDS} dull edges before the change are needed, so this can never be known.")
    elif came.dull_after < FEW_ENDS and said == Verdict.KEPT:
        doubts.append("Few dull edges since, but enough hits without one to say so.")
    elif came.dull_after < FEW_ENDS:
        at_least = f" So far at least {came.low:.2g} times as long (9 in 10)." if came.low and came.low >= 1 else ""
        doubts.append(f"{FEW_ENDS} dull edges since the change are needed.{at_least}")
    if not made.others:
        doubts.append(
            "No other position on this die to compare with: whatever else changed meanwhile is in the figure."
        )
    if promised is None:
        doubts.append("What was promised is not worked out yet; that is done in the coming nights.")
    elif not promised.dull_ends:
        doubts.append("This shop had no record yet: the promise is the handbook's.")
    if unpriced:
        doubts.append(f"What it cost is not known at {', '.join(unpriced)}: no price, no bill and no hours.")
    if why:
        doubts.append(f"No money shown: {why}")
    elif promised is not None and promised.of_die is None:
        doubts.append("No money shown: there was no forecast for this die then.")
    return doubts
