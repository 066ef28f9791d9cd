"""Measured wear of pieces that do not cut: from the readings in a die's log to when a piece comes to its limit.

Glue: no mathematics, no pages. Reads nothing by itself: all of it comes from a log that is read already.
"""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from functools import partial

from diestore import units
from diestore.handbook import gas_springs
from diestore.handbook.kinds import KINDS
from diestore.handbook.wear_limits import falls, goes_by_gap, limit_si, wear_limit
from diestore.register.models import Position
from diestore.service.failing import attempt
from maintenance.clockwork import cycles
from maintenance.clockwork import spans as clockwork_spans
from maintenance.clockwork.rows import DieLog, ReadingRow
from maintenance.life.trend import FarOff, NoTrend, Steady, Trend, trend
from maintenance.wording import numbers

from . import samples

NOT_WEAR = (*samples.QUANTITIES, "temperature", "hardness", "shut height", "cutting force", "strip force")
THE_SHOPS = "as the shop has set it"
FORCE, SAME_LENGTH_MM = "spring force", 0.25
_LONG_COUNT = re.compile(r"\d{1,3}(,\d{3})+")


@dataclass(frozen=True, kw_only=True)
class Limit:
    """value_si: what may not be passed. words: what it is, {} for an amount in it. source: whose it is."""

    value_si: float
    words: str
    source: str
    amount_si: float | None = None

    def in_words(self, quantity: str, system: units.System) -> str:
        return self.words if self.amount_si is None else self.words.format(shown(self.amount_si, quantity, system))


@dataclass(frozen=True, kw_only=True)
class Wear:
    """One quantity measured at one position, on the piece that sits there now.

    hits, values_si: its readings in order of time, by strokes in which it worked since it was new (since the records
    began or it was fitted, where its age is not known). falling: it wears by getting less. before: readings of pieces
    that sat there earlier. elsewhere: forces measured at another length than the last one, which are left out.
    at_length_mm: of the last force. charged: when its gas was last charged, from where its readings count. trend: on
    values whose sign is turned where they fall; else refusal says why.
    """

    position: int
    code: str
    kind: str
    quantity: str
    hits: list[int]
    values_si: list[float]
    moments: list[float]
    before: int
    hits_now: int
    age_known: bool
    falling: bool
    limit: Limit | None
    trend: Trend | None
    refusal: str
    elsewhere: int = 0
    at_length_mm: float | None = None
    charged: float | None = None
    is_steady: bool = False  # no wear is seen in its readings
    is_far_off: bool = False  # the line comes to the limit, but too far ahead of what was measured

    @property
    def last_si(self) -> float:
        return self.values_si[-1]

    @property
    def is_past(self) -> bool:
        """The last reading is at the limit or beyond it."""
        if self.limit is None:
            return False
        return self.last_si <= self.limit.value_si if self.falling else self.last_si >= self.limit.value_si

    @property
    def left_hits(self) -> float | None:
        """Further hits until the line comes to the limit."""
        return None if self.trend is None else max(self.trend.at_hits - self.hits_now, 0.0)

    @property
    def early_hits(self) -> float | None:
        """Further hits before which it comes there 1 time in 10."""
        return None if self.trend is None else max(self.trend.early_hits - self.hits_now, 0.0)

    @property
    def late_hits(self) -> float | None:
        return None if self.trend is None else max(self.trend.late_hits - self.hits_now, 0.0)


def limits_of(positions: Iterable[Position]) -> dict[tuple[int, str], Limit]:
    """What the shop itself has set, by position and quantity."""
    return {
        (p.pk, p.wear_of): Limit(
            value_si=limit_si(p.wear_of, p.wear_limit), words=f"{p.wear_of} at which it is changed", source=THE_SHOPS
        )
        for p in positions
        if p.wear_of and p.wear_limit is not None
    }


def of_log(
    log: DieLog,
    as_of: float,
    *,
    limits: Mapping[tuple[int, str], Limit] | None = None,
    only: int | None = None,
) -> list[Wear]:
    """Every quantity that tells of wear, position by position; the nearest to its limit first.

    limits: by (position, quantity), before the customary ones. only: this position and no other.
    """
    limits = limits or {}
    by_thing: dict[tuple[int, str], list[ReadingRow]] = defaultdict(list)
    for reading in log.readings:
        name = _plain(reading.quantity)
        if reading.at <= as_of and name not in NOT_WEAR and (only is None or reading.position == only):
            by_thing[reading.position, name].append(reading)
    if not by_thing:
        return []
    clocks, cutting, spans = clockwork_spans.Clocks(log), cycles.cutting_positions(log), defaultdict(list)
    for span in clockwork_spans.spans_of(log):
        spans[span.position].append(span)
    made = []
    for (position, name), readings in by_thing.items():
        place = log.positions.get(position)
        now = next((s for s in spans[position] if _holds(s, as_of)), None)
        if place is None or now is None:
            continue
        clock = clocks.of(place.variants, cutting=position in cutting)
        ordered = sorted(readings, key=lambda r: r.at)
        wear = attempt(
            partial(_wear, log, place, name, ordered, now, clock, as_of, limits),
            partial(_unknown, place, name, ordered),
            what=f"the wear of {place.code}, die {log.code}",
        )
        if wear is not None:
            made.append(wear)
    return sorted(made, key=lambda w: (not w.is_past, w.left_hits is None, w.left_hits or 0.0, w.code, w.quantity))


def _plain(quantity: str) -> str:
    return " ".join(quantity.casefold().replace("_", " ").split())


def _holds(span, moment: float) -> bool:
    return (span.since is None or span.since <= moment) and (span.until is None or moment < span.until)


def _wear(log, place, name, readings, span, clock, as_of, limits) -> Wear | None:
    # A reading at the very moment of a replacement belongs to the piece that came out, as a work does.
    mine = [r for r in readings if span.since is None or span.since < r.at]
    if not mine:
        return None
    of_piece, length, charged = len(mine), None, None
    if name == FORCE:
        length = mine[-1].at_length_mm
        mine = [r for r in mine if _same_length(r.at_length_mm, length)]
    elsewhere = of_piece - len(mine)
    if name == gas_springs.PRESSURE:
        mine, charged = _since_charged(mine)
    piece = log.pieces[span.piece]
    base = 0 if span.since is None else clock.at(span.since).hits
    known = piece.opening == "new" or piece.opening_life_hits is not None
    begun = piece.opening_life_hits or 0

    def worked(hits: int) -> int:
        return begun + round(max(hits - base, 0) * place.stroke_share)

    hits = [worked(clock.at(r.at, hits_into_run=r.hits_into_run).hits) for r in mine]
    values = [r.value_si for r in mine]
    limit = limits.get((place.id, name)) or _customary(place.kind, name, values[0], smallest_gap_mm(log, as_of))
    falling = falls(name)
    if falling is None:
        falling = limit is not None and limit.value_si < values[0]
    line, refusal, far, steady = None, "", False, False
    if limit is None:
        refusal = "No limit is known for it, so neither is when it is reached."
        if goes_by_gap(place.kind, name):
            refusal = "Its limit goes by the gap of the die, and no gap is entered: enter one at a cut, or set a limit."
    else:
        sign = -1.0 if falling else 1.0
        try:
            line = trend(hits, [sign * v for v in values], sign * limit.value_si)
        except FarOff as reason:
            far = True
            refusal = (
                f"Too far off to say: measured over {numbers.hits(reason.measured)} hits, "
                f"limit beyond {reason.reach:g} times that."
            )
        except NoTrend as reason:
            steady = isinstance(reason, Steady)
            refusal = _LONG_COUNT.sub(lambda m: numbers.hits(int(m[0].replace(",", ""))), str(reason))
            refusal = f"{refusal[:1].upper()}{refusal[1:]}."
            if falling:
                refusal = refusal.replace("the readings do not rise", "the readings do not fall")
    return Wear(
        position=place.id,
        code=place.code,
        kind=KINDS[place.kind].name,
        quantity=name,
        hits=hits,
        values_si=values,
        moments=[r.at for r in mine],
        before=len(readings) - of_piece,
        elsewhere=elsewhere,
        at_length_mm=length,
        charged=charged,
        hits_now=worked(clock.at(as_of).hits),
        age_known=known,
        falling=falling,
        limit=limit,
        trend=line,
        refusal=refusal,
        is_far_off=far,
        is_steady=steady,
    )


def _same_length(one: float | None, other: float | None) -> bool:
    """Whether forces measured at these lengths can be held against each other."""
    if one is None or other is None:
        return one is other
    return abs(one - other) <= SAME_LENGTH_MM


def _since_charged(readings: list[ReadingRow]) -> tuple[list[ReadingRow], float | None]:
    """Pressures since the gas was last charged, that pressure the first of them; all where it never was."""
    last = max((i for i, r in enumerate(readings) if r.charged_to_mpa is not None), default=None)
    if last is None:
        return readings, None
    charge = replace(readings[last], value_si=readings[last].charged_to_mpa * 1e6)
    return [charge, *readings[last + 1 :]], charge.at


def smallest_gap_mm(log: DieLog, as_of: float) -> float | None:
    """The smallest gap per side that the die cuts with at a moment; None where none is known."""
    gaps = [
        cut.gap_mm
        for cut in log.cuts
        if cut.gap_mm
        and (cut.valid_from is None or cut.valid_from <= as_of)
        and (cut.valid_to is None or as_of < cut.valid_to)
    ]
    return min(gaps, default=None)


def _unknown(place, name: str, readings: list[ReadingRow], why: str) -> Wear:
    """A quantity of which nothing could be worked out: its last reading, and why."""
    last = readings[-1]
    return Wear(
        position=place.id,
        code=place.code,
        kind=place.kind.replace("_", " "),
        quantity=name,
        hits=[0],
        values_si=[last.value_si],
        moments=[last.at],
        before=0,
        hits_now=0,
        age_known=False,
        falling=False,
        limit=None,
        trend=None,
        refusal=why,
    )


def _customary(kind: str, quantity: str, first_si: float, gap_mm: float | None) -> Limit | None:
    known = wear_limit(kind, quantity, gap_mm=gap_mm)
    if known is None:
        return None
    return Limit(value_si=known.value_si(first_si), words=known.words, source=known.source, amount_si=known.amount_si)


def words(wear: Wear) -> dict[str, str]:
    """When it reaches the limit, in words: `when` for a table, `verdict` for a page."""
    if wear.is_past:
        return {"when": "at its limit now", "verdict": "It is at its limit now."}
    if wear.is_far_off:
        return {"when": "far off", "verdict": f"Its limit is far off. {wear.refusal}"}
    if wear.trend is None:
        return {
            "when": "no wear seen" if wear.is_steady else "not known",
            "verdict": f"Not enough readings to say when it comes to its limit. {wear.refusal}",
        }
    at, early = numbers.hits(wear.left_hits), numbers.hits(wear.early_hits)
    late = wear.late_hits
    if wear.left_hits <= 0:
        verdict = "By its readings taken together it should be at its limit now."
        return {"when": "about now", "verdict": verdict}
    before = f"9 in 10: not before {early}" if wear.early_hits > 0 else "it may be there already, 1 in 10"
    after = f"; 9 in 10: before {numbers.hits(late)}" if late < float("inf") else ""
    return {
        "when": f"in about {at} hits",
        "sure": before,
        "verdict": f"It reaches its limit in about {at} hits; {before}{after}.",
    }


def shown(value_si: float, quantity: str, system: units.System) -> str:
    """A reading as people read it; in SI as it is where nothing says what it measures."""
    what = units.reading(quantity)
    return f"{value_si:g}" if what is None else units.show_si(value_si, what, system)
