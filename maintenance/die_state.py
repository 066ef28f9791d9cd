"""How a die stands, put together for its page from stored forecasts and the log. Reads only, no mathematics."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

from django.utils import timezone

from diestore import units
from diestore.handbook.kinds import kind as kind_of
from diestore.models import Die

from . import edge_log, logs, queries, words
from .data import OrderLeft
from .models import DieForecast, EdgeForecast, Position
from .remaining import chance_of_going, strokes_at


@dataclass(frozen=True, kw_only=True)
class PositionRow:
    """One line of the table of components."""

    position: Position
    kind: str
    build: str
    gap: str
    state: edge_log.PositionState
    forecast: EdgeForecast | None
    cuts: bool
    standing: words.Standing
    limits: bool
    allowance: str
    allowance_share: float | None
    title: str


@dataclass(frozen=True, kw_only=True)
class DieState:
    die: Die
    system: units.System
    forecast: DieForecast | None
    order: OrderLeft | None
    chance: float | None
    rows: list[PositionRow]
    now: dt.datetime
    log: edge_log.DieLog
    typical_removed_mm: float

    @property
    def cutting(self) -> list[PositionRow]:
        return [row for row in self.rows if row.cuts]

    @property
    def others(self) -> list[PositionRow]:
        return [row for row in self.rows if not row.cuts]

    @property
    def limiting(self) -> PositionRow | None:
        return next((row for row in self.rows if row.limits), None)


def of_die(die: Die, system: units.System) -> DieState:
    log = logs.of_die(die)
    now = logs.last_moment(die.plant) or timezone.now()
    forecast = queries.newest_forecast(die)
    edges = {e.position_id: e for e in queries.edges_of(forecast)} if forecast else {}
    order = next(iter(queries.open_orders(dies=[die])), None)
    chance = None
    if forecast and forecast.remaining and order:
        chance = chance_of_going(forecast.remaining, order.hits_left)
    states = edge_log.states(log, now.timestamp())
    cutting = edge_log.cutting_positions(log)
    removed = [w.removed_mm for w in log.works if w.removed_mm]
    typical = sorted(removed)[len(removed) // 2] if removed else 0.15
    rows = [
        _row(
            position,
            log,
            states[position.pk],
            edges.get(position.pk),
            forecast,
            order,
            position.pk in cutting,
            typical,
            system,
        )
        for position in die.positions.select_related("station", "item").order_by("station__sequence", "code")
    ]
    rows.sort(key=lambda r: (not r.cuts, r.forecast is None or r.forecast.half_hits is None,
                             (r.forecast.half_hits or 0) if r.forecast else 0, r.position.code))  # fmt: skip
    return DieState(
        die=die, system=system, forecast=forecast, order=order, chance=chance, rows=rows, now=now, log=log,
        typical_removed_mm=typical,
    )  # fmt: skip


def _row(position, log, state, edge, forecast, order, cuts, typical, system) -> PositionRow:
    piece = log.pieces.get(state.piece) if state.piece else None
    build = ""
    if piece:
        hrc = "" if piece.hardness_hrc is None else f"{piece.hardness_hrc:g}"
        build = " ".join(bit for bit in (piece.tool_steel, piece.coating, hrc) if bit)
    gap = ""
    if cuts:
        gap_mm = edge_log.gap_at(log, position.pk, float("inf"))
        if gap_mm is not None:
            stock = log.stocks[log.usual_stock]
            gap = f"{units.show(gap_mm, 'gap_mm', system)} · {100 * gap_mm / stock.thickness_mm:.1f} %"
    allowance, share = "", None
    if piece and piece.grind_allowance_mm and state.allowance_left_mm is not None:
        share = min(state.allowance_left_mm / piece.grind_allowance_mm, 1.0)
        grinds = int(state.allowance_left_mm / typical) if typical else 0
        allowance = f"{units.show(state.allowance_left_mm, 'allowance_mm', system)} · {grinds} grinds"
    standing = words.Standing("Not ground" if not kind_of(position.kind).is_ground else "Not an edge", "unknown")
    title = f"{position.code} {kind_of(position.kind).name}: not a cutting edge"
    if cuts:
        chance = None
        if edge and edge.remaining and order:
            chance = chance_of_going(edge.remaining, order.hits_left)
        standing = words.standing(chance_of_order=chance, share_left=edge.share_left if edge else None)
        if edge and edge.share_left is not None:
            title = (
                f"{position.code} {kind_of(position.kind).name}: {100 * edge.share_left:.0f} % of its usual hits "
                f"to dull are left; half of such edges go {words.hits(edge.half_hits)} hits more, "
                f"9 in 10 go {words.hits(edge.nine_in_ten_hits)}"
            )
        else:
            title = f"{position.code}: nothing can be said of it yet"
    return PositionRow(
        position=position,
        kind=kind_of(position.kind).name,
        build=build,
        gap=gap,
        state=state,
        forecast=edge if edge and edge.remaining else None,
        cuts=cuts,
        standing=standing,
        limits=bool(forecast and forecast.limiting_id == position.pk),
        allowance=allowance,
        allowance_share=share,
        title=title,
    )


def headline(state: DieState) -> dict:
    """The sentence that stands first: what is so, how sure, what decides it. Plain parts for the template."""
    f, order = state.forecast, state.order
    if f is None:
        return {
            "css": "",
            "verdict": "No forecast has been computed yet.",
            "rest": "Have one computed: forecast --store.",
        }
    if f.refusal:
        return {"css": "", "verdict": "Nothing is forecast for this die.", "rest": f.refusal}
    edge = f.limiting.code if f.limiting else ""
    if order is None:
        return {
            "css": "",
            "verdict": f"No order is open. Half of the time it goes {words.hits(f.half_hits)} hits more",
            "rest": f"before an edge is dull or chipped; 9 times in 10 it goes {words.hits(f.nine_in_ten_hits)}.",
            "edge": edge,
        }
    p = state.chance
    if p >= 0.9:
        verdict, css = f"It will very likely finish order {order.number}", ""
    elif p >= 0.65:
        verdict, css = f"It will probably finish order {order.number}", ""
    elif p >= 0.5:
        verdict, css = f"It may just finish order {order.number}", "close"
    elif p >= 0.35:
        verdict, css = f"It may not finish order {order.number}", "short"
    else:
        verdict, css = f"It will probably not finish order {order.number}", "short"
    return {
        "css": css,
        "verdict": verdict,
        "rest": f": {order.hits_left:,} hits are left to run, "
        "and the chance of getting there without a dull or chipped edge is",
        "chance": words.chance(p),
        "edge": edge,
        "order": order,
    }


def rests_on(f: DieForecast) -> str:
    """What a forecast rests on, as one sentence or two."""
    r = f.rests_on
    bits = [
        f"Rests on {r['cycles']:,} cycles of this die, "
        f"{r['dull_ends']:,} of them ended dull and {r['chipped_ends']:,} chipped"
    ]
    if f.fit:
        bits.append(f", and on {f.fit.cycles:,} cycles of this shop")
    bits.append(f". Handbook values count for {100 * r['prior_share']:.0f} %.")
    if r.get("words") and f.fit:
        bits.append(f" In all: {r['words']}.")
    if not f.fit:
        bits.append(" No fit of the shop is stored: handbook only.")
    return "".join(bits)


def quantile(f: DieForecast, probability: float) -> int:
    return round(strokes_at(f.remaining, probability))
