"""What the time line of a die shows, from its log and its forecast: grinds of each side, edges that went dull, burr."""

from __future__ import annotations

import datetime as dt
from collections import defaultdict

from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import gettext as _

from diestore import units
from diestore.register.models import Side
from diestore.register.queries import outputs_of
from diestore.texts import gettext_noop
from maintenance.clockwork import cycles
from maintenance.clockwork.works import OPERATIONS
from maintenance.forecasts.stored import strokes_at
from maintenance.log import read
from maintenance.log.data import OrderLeft

from . import sawtooth
from .state import DieState, PositionRow

BURR = "burr"
HALF = 0.5  # of the edges of a side that are ground together: the side was
QUARTILES = (0.1, 0.5, 0.9)
SAID = {
    "sharp": gettext_noop("still sharp"),
    "dull": gettext_noop("dull"),
    "chipped": gettext_noop("chipped"),
}
ENDS = {"dull": "dull", "chipped": "chipped"}


def of_die(state: DieState, since: dt.datetime) -> sawtooth.Sawtooth | None:
    runs = sorted((run.started, run.ended, run.hits) for run in state.log.runs)
    strokes = sawtooth.Strokes(runs=runs)
    now = state.now.timestamp()
    if strokes.at(now) <= strokes.at(since.timestamp()):
        return None  # nothing ran: there is no axis
    by_edge: dict[int, list[cycles.Cycle]] = defaultdict(list)
    for cycle in cycles.cycles(state.log, now):
        by_edge[cycle.position].append(cycle)
    dull = {p: n for p, some in by_edge.items() if (n := sum(c.ended_as == "dull" and not c.open for c in some))}
    rows = {row.position.pk: row for row in state.cutting}
    limiting = state.limiting.position.pk if state.limiting else None
    named = sorted((p for p in rows if p in dull or p == limiting), key=lambda p: (p != limiting, -dull.get(p, 0)))
    chosen = named[: sawtooth.LANES_AT_MOST]
    lanes = [lane for side in Side if (lane := _side(state, side, strokes, now)) is not None]
    lanes += [_edge(state, rows[p], by_edge[p]) for p in chosen]
    limits = [o.part.burr_limit_um for o in outputs_of(state.die) if o.part.burr_limit_um]
    quantity = units.quantity("burr height")
    order = state.order
    burrs = _burrs(state, by_edge, since.timestamp(), limiting)
    return sawtooth.lay_out(
        strokes=strokes,
        since=since.timestamp(),
        now=now,
        now_words=_("last entry, {day}").format(day=_day(state.now, year=False)),
        lanes=lanes,
        months=sawtooth.months_between(timezone.localtime(since), timezone.localtime(state.now)),
        burrs=burrs,
        burr_unit=quantity.unit(state.system),
        burr_limit=units.shown_value(min(limits), quantity, state.system) if limits and burrs else None,
        order_hits=order.hits_left if order else None,
        order_words=to_go(order) if order else "",
        more=len(named) - len(chosen),
    )


def to_go(order: OrderLeft) -> str:
    return _("job {number}: {hits:,} hits to go").format(number=order.number, hits=order.hits_left)


def _edge(state: DieState, row: PositionRow, some: list[cycles.Cycle]) -> sawtooth.LaneOf:
    forecast = row.forecast
    return sawtooth.LaneOf(
        name=row.position.code,
        intervals=[
            sawtooth.Interval(
                started=c.started, ended=c.ended, from_hits=c.from_hits, hits=c.hits,
                end="open" if c.open else ENDS.get(c.ended_as, "short"),
                title=_("{code} {end} at {hits:,} hits, {day}").format(
                    code=row.position.code, end=_(SAID.get(c.ended_as, c.ended_as)), hits=c.hits,
                    day=_day(read.moment(c.ended)),
                ),
            )
            for c in some
        ],
        usual=forecast.usual_hits if forecast else None,
        ahead={p: strokes_at(forecast.remaining, p) for p in QUARTILES} if forecast else None,
        limits=row.limits,
    )  # fmt: skip


def _side(state: DieState, side: str, strokes: sawtooth.Strokes, now: float) -> sawtooth.LaneOf | None:
    """A side falls to nought where at least half of its edges are ground together."""
    edges = {row.position.pk for row in state.cutting if row.position.side == side}
    if not edges:
        return None
    together: dict[str | float, list[tuple[float, int]]] = defaultdict(list)
    for work in state.log.works:
        if work.position in edges and OPERATIONS[work.operation].fresh_edge and work.at <= now:
            together[work.set_key or work.at].append((work.at, work.position))
    ground = sorted(rows[0][0] for rows in together.values() if len({p for _, p in rows}) >= HALF * len(edges))
    ends = [*ground, now]
    intervals, began = [], None
    for at in ends:
        hits = round(strokes.at(at) - (0.0 if began is None else strokes.at(began)))
        end = "open" if at is now else "short"
        intervals.append(
            sawtooth.Interval(started=began, ended=at, from_hits=0, hits=hits, end=end,
                              title=_("{side} ground after {hits:,} hits, {day}").format(
                                  side=Side(side).label, hits=hits, day=_day(read.moment(at))))
        )  # fmt: skip
        began = at
    return sawtooth.LaneOf(name=str(Side(side).label).capitalize(), intervals=intervals)


def _burrs(state: DieState, by_edge, since: float, limiting: int | None) -> list[sawtooth.BurrLine]:
    """The readings of each edge, joined between two grinds."""
    quantity = units.quantity("burr height")
    unit = quantity.unit(state.system)
    lines: dict[tuple[int, int], list[tuple[float, float, str]]] = defaultdict(list)
    seen = [r for r in state.log.readings if BURR in r.quantity.lower() and since <= r.at <= state.now.timestamp()]
    for r in sorted(seen, key=lambda r: r.at):
        nth = sum(c.ended < r.at for c in by_edge.get(r.position, ()))
        code = state.log.positions[r.position].code
        words = f"{code}: {units.show_si(r.value_si, quantity, state.system)}, {_day(read.moment(r.at))}"
        lines[r.position, nth].append((r.at, units.from_si(r.value_si, unit), words))
    return [
        sawtooth.BurrLine(code=state.log.positions[p].code, points=points, of_limiting=p == limiting)
        for (p, _), points in lines.items()
    ]


def _day(moment: dt.datetime, *, year: bool = True) -> str:
    local = timezone.localtime(moment)
    return date_format(local, "j M Y" if year else "j M")
