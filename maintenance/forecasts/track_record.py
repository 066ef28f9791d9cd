"""How right past forecasts were: each origin is forecast again from what was known then, and held against what came.

Glue: no mathematics, no pages. Eight origins, three months apart. At each the fleet is fitted on the entries recorded
by then; what came of each die is read from today's log. Of a die the first edge to go, or the first to be renewed
while it was still sharp, ends what was told of it.
"""

from __future__ import annotations

import datetime as dt
import hashlib
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np
from django.utils import timezone

from diestore.register.models import Die, Plant
from maintenance.clockwork import cycles as clockwork_cycles
from maintenance.clockwork.rows import DieLog
from maintenance.life import fleet, record
from maintenance.life.cycles import CHIPPED, DULL, SHARP
from maintenance.log import queries
from maintenance.log import read as log_read
from maintenance.models import PastForecasts

from . import fit, predict, samples
from .fleet_log import FleetLog, Tell, read_fleet
from .spool import OnDisk
from .stored import chance_of_going, strokes_at

ORIGINS = 8
APART_DAYS = 91.3125  # a quarter of a year
NAMED_AT_MOST = 200  # wrong calls kept by name, of each sort
DRAWN_AT_MOST = 400  # ranges kept one by one, the latest
MARKS = tuple(round(0.1 * i, 1) for i in range(1, 10))


@dataclass(frozen=True, kw_only=True)
class Came:
    """What came of one cycle that was under way, in further strokes of the die. ended: SHARP, DULL or CHIPPED."""

    position: int
    low: float
    high: float
    ended: int
    at: float
    open: bool


@dataclass(frozen=True, kw_only=True)
class Statement:
    """What was said of a die at an origin, and what came. first: code of the edge that went or was renewed first."""

    die: int
    code: str
    origin: dt.datetime
    remaining: dict[float, float]
    came: Came
    first: str
    limiting: str
    rests_on: str
    order_hits: int | None

    @property
    def low(self) -> float:
        return strokes_at(self._stored, 0.1)

    @property
    def high(self) -> float:
        return strokes_at(self._stored, 0.9)

    @property
    def _stored(self) -> dict[str, float]:
        return {f"{p:g}": h for p, h in self.remaining.items()}

    @property
    def chance(self) -> float | None:
        """Of finishing the order that was open then."""
        return None if not self.order_hits else chance_of_going(self._stored, self.order_hits)

    @property
    def went(self) -> bool:
        return self.came.ended != SHARP


@dataclass(frozen=True, kw_only=True)
class Origin:
    """One look back. no_stroke: dies that were pulled before another stroke. refusal: why nothing could be told."""

    at: dt.datetime
    cycles: int = 0
    dull_ends: int = 0
    no_stroke: int = 0
    statements: tuple[Statement, ...] = ()
    edges: tuple[record.Outcome, ...] = ()
    refusal: str = ""


@dataclass(frozen=True, kw_only=True)
class Track:
    """The whole look back. die: how right of dies; edge: of single edges, None where too few were left to see."""

    plant: Plant
    as_of: dt.datetime
    origins: tuple[Origin, ...]
    records_hash: str
    die: record.TrackRecord
    edge: record.TrackRecord | None
    chances: list[record.ChanceHeld]

    @property
    def statements(self) -> list[Statement]:
        return [s for origin in self.origins for s in origin.statements]

    def wrong(self, sort: str) -> list[Statement]:
        """The statements outside their band of 8 in 10, the worst first. sort: "early" or "late"."""
        made = self.statements
        return [made[i] for i in getattr(self.die, sort)]


def origins_before(last: dt.datetime, count: int = ORIGINS) -> list[dt.datetime]:
    """The moments looked back from, the earliest first; the latest lies a quarter of a year back."""
    return [last - dt.timedelta(days=APART_DAYS * n) for n in range(count, 0, -1)]


def compute(
    plant: Plant,
    *,
    as_of: dt.datetime | None = None,
    origins: Sequence[dt.datetime] | None = None,
    tell: Tell | None = None,
    fits: dict[dt.datetime, fleet.FleetFit] | None = None,
) -> Track:
    """Forecast again at each origin and hold it against what came. Stores nothing.

    Default moment: the last one in the records; default origins: eight, a quarter of a year apart, before it. fits: is
    given the fit of each origin, for whoever looks back on decisions. Raises TooShort, with the numbers, where too
    little has come yet.
    """
    tell = tell or (lambda words: None)
    as_of = as_of or log_read.last_moment(plant)
    if as_of is None:
        raise record.TooShort("The log is empty: nothing was forecast yet.")
    dies = list(Die.objects.filter(plant=plant).order_by("code"))
    tell("reading today's log")
    # What was left out of a die's record by starting it anew did come all the same.
    today: OnDisk[tuple[DieLog, dict]] = OnDisk()
    for log in log_read.of_dies(dies):
        log = replace(log, restarts=())
        today.append((log, whole_cycles(log, as_of)))
    digest = hashlib.sha256()
    looked = []
    moments = origins_before(as_of) if origins is None else list(origins)
    for n, origin in enumerate(moments, 1):
        tell(f"looking back {n} of {len(moments)}: as of {origin:%d %b %Y}".replace(" 0", " "))
        looked.append(_look_back(plant, dies, origin, today, digest, {} if fits is None else fits))
    made = [s for o in looked for s in o.statements]
    for s in made:
        digest.update(f"{s.code} {s.origin.isoformat()} {s.came.low!r} {s.came.high!r} {s.came.ended};".encode())
    die = record.track_record([_outcome(s) for s in made])
    try:
        edge = record.track_record([o for origin in looked for o in origin.edges])
        edge = edge if edge.se <= record.MOST_SE else None
    except record.TooShort:
        edge = None
    return Track(
        plant=plant,
        as_of=as_of,
        origins=tuple(looked),
        records_hash=digest.hexdigest(),
        die=die,
        edge=edge,
        chances=record.chances_held([f for s in made if (f := _finishing(s)) is not None]),
    )


def _outcome(s: Statement) -> record.Outcome:
    return record.Outcome.of(s.die, s.remaining, s.came.low, s.came.high, s.went, s.code)


def _finishing(s: Statement) -> record.Finishing | None:
    if s.chance is None:
        return None
    low, high = s.came.low / s.order_hits, s.came.high / s.order_hits
    return record.Finishing(group=s.die, chance=s.chance, share_low=low, share_high=high, ended=s.went)


def _look_back(plant, dies, origin: dt.datetime, today: OnDisk, digest, fits: dict) -> Origin:
    """Fit and forecast as of a moment, on what was recorded by then."""
    known = read_fleet(dies, origin, known_at=origin)
    if not known.has_run:
        return Origin(at=origin, refusal="no run was logged yet")
    fitted = fits[origin] = known.fit()
    digest.update(fit.hash_of(known.gathered).encode())
    orders = queries.next_order_by_die(plant, as_of=origin)
    variants = {die: order.variant_id for die, order in orders.items()}
    statements, edges, no_stroke = [], [], 0
    said_then = _said_then(known, fitted, orders)
    for (log, part), outlook, (today_log, whole) in zip(known.dies, said_then, today, strict=True):
        if outlook.prediction is None:
            continue
        # Mostly nothing was entered late, and the cycles of then need not be made twice.
        then = (
            part.rows
            if _alike(log, today_log, origin.timestamp())
            else enumerate(clockwork_cycles.cycles(today_log, origin.timestamp()))
        )
        came = _what_came(today_log, whole, [c for _, c in then if c.open])
        working = predict.fitted_positions(log, variants.get(log.die), origin.timestamp())
        seen = [came[p] for p in outlook.edges if p in came and (working is None or p in working)]
        # An edge that ran no further says nothing, neither of itself nor of its die.
        edges += [
            record.Outcome.of(log.die, outlook.edges[c.position].remaining, c.low, c.high, c.ended != SHARP)
            for c in seen
            if c.high > 0
        ]
        if not seen:
            continue
        first = seen[record.which_ended_first([c.high for c in seen], [c.ended != SHARP for c in seen])]
        if first.high <= 0:  # found dull, or ground, before another stroke: what was said had nothing to hold for
            no_stroke += 1
            continue
        order = orders.get(log.die)
        statements.append(
            Statement(
                die=log.die,
                code=log.code,
                origin=origin,
                remaining=outlook.prediction.remaining,
                came=first,
                first=log.positions[first.position].code,
                limiting=log.positions[outlook.limiting].code if outlook.limiting in log.positions else "",
                rests_on=outlook.prediction.rests_on.words,
                order_hits=order.hits_left if order else None,
            )
        )
    return Origin(
        at=origin,
        cycles=fitted.cycles,
        dull_ends=fitted.dull_ends,
        no_stroke=no_stroke,
        statements=tuple(statements),
        edges=tuple(edges),
    )


def _said_then(known: FleetLog, fitted: fleet.FleetFit, orders: dict) -> Iterator[predict.DieOutlook]:
    """What would have been said of each die then, some dies at a time."""
    for logs, parts in known.in_batches():
        yield from predict.tell_each(logs, parts, fitted, known.at, orders, left_only=True)


def whole_cycles(log: DieLog, as_of: dt.datetime) -> dict[tuple, list]:
    """Every cycle of a die by its position, its piece and when it began, with how it ended as the engine takes it."""
    part = samples.of_die(log, as_of.timestamp())
    life = samples.Gathered([part]).life
    return {(c.position, c.piece, c.started): (c, int(life.ended[i])) for i, (_, c) in enumerate(part.rows)}


def _alike(known: DieLog, today: DieLog, moment: float) -> bool:
    """Whether what was known of a die at a moment is what is known of that time today."""

    def upto(log: DieLog) -> tuple:
        events = (log.corrections, log.works, log.replacements)
        return (
            [run for run in log.runs if run.started < moment],
            *([row for row in rows if row.at <= moment] for rows in events),
        )

    return upto(known) == upto(today)


def _what_came(log: DieLog, whole: dict, under_way: Sequence[clockwork_cycles.Cycle]) -> dict[int, Came]:
    """Of each position what became of the cycle that was under way at a moment, by today's log."""
    came = {}
    for then in under_way:
        ended = whole.get((then.position, then.piece, then.started))
        if ended is None:
            continue
        cycle, how = ended
        share = log.positions[then.position].stroke_share
        high = max(cycle.hits - then.hits, 0) / share
        low = min(max(cycle.lower_hits - then.hits, 0) / share, high) if how in (DULL, CHIPPED) else high
        came[then.position] = Came(
            position=then.position, low=low, high=high, ended=how, at=cycle.ended, open=cycle.open
        )
    return came


def scores(track: Track) -> dict:
    """What is kept of a look back, and printed: plain numbers."""
    went, went_se = (np.interp(MARKS, track.die.marks, values) for values in (track.die.went, track.die.went_se))
    return {
        "forecasts": track.die.forecasts,
        "ended": track.die.ended,
        "dies": track.die.dies,
        "band_80": round(track.die.band_80, 4),
        "se": round(track.die.se, 4),
        "marks": list(MARKS),
        "went": [None if np.isnan(w) else round(float(w), 4) for w in went],
        "went_se": [round(float(se), 4) for se in went_se],
        "edges": None
        if track.edge is None
        else {
            "forecasts": track.edge.forecasts,
            "ended": track.edge.ended,
            "band_80": round(track.edge.band_80, 4),
            "se": round(track.edge.se, 4),
        },
        "origins": [_origin_score(o) for o in track.origins],
        "chances": [
            {
                "low": c.low,
                "high": c.high,
                "statements": c.statements,
                "said": round(c.said, 4),
                "held": None if np.isnan(c.held) else round(c.held, 4),
                "held_low": None if np.isnan(c.held_low) else round(c.held_low, 4),
                "held_high": None if np.isnan(c.held_high) else round(c.held_high, 4),
                "finished": round(c.finished, 1),
                "not_finished": round(c.not_finished, 1),
                "stopped": c.stopped,
            }
            for c in track.chances
        ],
        "ranges": ranges(track),
    }


def ranges(track: Track) -> list[dict]:
    """Each range of 8 in 10 that was told, in the order of its date, with what came: the latest of them."""
    missed = {id(s): sort for sort in ("early", "late") for s in track.wrong(sort)}
    return [
        {
            "die": s.die,
            "code": s.code,
            "at": s.origin.isoformat(),
            "low": round(s.low),
            "high": round(s.high),
            "came": [round(s.came.low), round(s.came.high)],
            "went": s.went,
            "missed": missed.get(id(s), ""),
        }
        for s in track.statements[-DRAWN_AT_MOST:]
    ]


def _origin_score(origin: Origin) -> dict:
    parts = np.array([_outcome(s).parts for s in origin.statements]).reshape(-1, 3)
    early, within, late = parts.sum(axis=0)
    return {
        "at": origin.at.isoformat(),
        "cycles": origin.cycles,
        "dull_ends": origin.dull_ends,
        "statements": len(parts),
        "within": round(float(within), 1),
        "early": round(float(early), 1),
        "late": round(float(late), 1),
        "open": int((parts.sum(axis=1) == 0).sum()),
        "no_stroke": origin.no_stroke,
        "refusal": origin.refusal,
    }


def by_die(track: Track) -> dict[str, list[float]]:
    """Die -> statements that have come out, and how many of them held; an end between two looks counts by its parts."""
    tally: dict[str, list[float]] = {}
    for s in track.statements:
        early, within, late = _outcome(s).parts
        if early + within + late > 0:
            row = tally.setdefault(queries.key_of_die(s.die), [0, 0.0])
            row[0] += 1
            row[1] = round(row[1] + within, 3)
    return tally


def wrong_calls(track: Track) -> list[dict]:
    """The wrong calls by name, the worst of each sort first: what was said, what came."""
    rows = []
    for sort in ("early", "late"):
        for rank, s in enumerate(track.wrong(sort)[:NAMED_AT_MOST], 1):
            outcome = _outcome(s)
            rows.append(
                {
                    "sort": sort,
                    "rank": rank,
                    "die": s.die,
                    "code": s.code,
                    "origin": s.origin.isoformat(),
                    "low": round(s.low),
                    "high": round(s.high),
                    "half": round(s.remaining[0.5]),
                    "came_low": round(s.came.low),
                    "came_high": round(s.came.high),
                    "came_as": {SHARP: "sharp", DULL: "dull", CHIPPED: "chipped"}[s.came.ended],
                    "came_at": log_read.moment(s.came.at).isoformat(),
                    "running": s.came.open,
                    "position": s.first,
                    "limiting": s.limiting,
                    "gone": round(outcome.gone_high if sort == "early" else outcome.gone_low, 4),
                    "rests_on": s.rests_on,
                }
            )
    return rows


def store(track: Track) -> PastForecasts:
    """Keep a look back. Append-only: a new one is a new row."""
    return PastForecasts.objects.create(
        plant=track.plant,
        as_of=track.as_of,
        code_version=fit.CODE_VERSION,
        records_hash=track.records_hash,
        scores=scores(track),
        by_die=by_die(track),
        wrong_calls=wrong_calls(track),
    )


def look_back_and_store(
    plant: Plant, *, tell: Tell | None = None, fits: dict[dt.datetime, fleet.FleetFit] | None = None
) -> PastForecasts:
    """Look back and keep what was found, or that there was too little to say. fits: as of `compute`."""
    try:
        return store(compute(plant, tell=tell, fits=fits))
    except record.TooShort as reason:
        return store_refusal(plant, log_read.last_moment(plant) or timezone.now(), str(reason))


def store_refusal(plant: Plant, as_of: dt.datetime, reason: str) -> PastForecasts:
    """Keep that there was too little to say, with the numbers, so that the pages can say so."""
    return PastForecasts.objects.create(
        plant=plant, as_of=as_of, code_version=fit.CODE_VERSION, records_hash="", refusal=reason[:300]
    )
