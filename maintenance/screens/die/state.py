"""How a die stands, put together for its page from stored forecasts and the log. Reads only, no mathematics."""

from __future__ import annotations

import datetime as dt
import statistics
from dataclasses import dataclass

from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import gettext as _

from diestore import units
from diestore.handbook.kinds import KINDS
from diestore.register.models import Die, Position, Station
from diestore.texts import counted, gettext_noop, pgettext_noop
from maintenance import tasks
from maintenance.clockwork import cycles, usual
from maintenance.clockwork import states as clockwork_states
from maintenance.clockwork.rows import DieLog, PieceRow
from maintenance.forecasts import burr_limits
from maintenance.forecasts.decisions import Advice, advised
from maintenance.forecasts.due import by_advice
from maintenance.forecasts.stored import chance_of_going, strokes_at
from maintenance.log import bench_reads, queries, read
from maintenance.log.damage import Damage, standing_with
from maintenance.log.data import OrderLeft
from maintenance.models import DieForecast, DieHold, DriftFlag, EdgeForecast
from maintenance.wording import numbers, odds, rests
from maintenance.wording.standing import HELD, RUNS, Standing, limiting, standing

NOT_GROUND = Standing(pgettext_noop("standing", "Not ground"), "unknown")
NOT_AN_EDGE = Standing(pgettext_noop("standing", "Not an edge"), "unknown")
NOT_IN_ORDER = Standing(pgettext_noop("standing", "Not in this job"), "unknown")
EMPTY_PLACE = Standing(pgettext_noop("standing", "Nothing in it"), "unknown")
DECIDES = 0.25  # an edge that is first less often than this decides nothing alone
FINISHES = (  # from which chance on, the likeliest first
    (0.9, gettext_noop("It will very likely finish job {number}")),
    (0.65, gettext_noop("It will probably finish job {number}")),
    (0.5, gettext_noop("Touch and go for job {number}")),
    (0.35, gettext_noop("It may not finish job {number}")),
    (0.0, gettext_noop("It will probably not finish job {number}")),
)
TIGHTER = 0.9  # a gap this much under the middle one of the die is worth a word


@dataclass(frozen=True, kw_only=True)
class PositionRow:
    """One line of the table of components. forecast: only where there is one; grinds: only where any are logged."""

    position: Position
    kind: str
    shape: str
    build: str
    gap_mm: float | None
    gap_pct: float | None
    state: clockwork_states.PositionState
    forecast: EdgeForecast | None
    refusal: str
    cuts: bool
    standing: Standing
    limits: bool
    allowance_share: float | None
    grinds: int | None
    title: str


@dataclass(frozen=True, kw_only=True)
class DieState:
    die: Die
    system: units.System
    forecast: DieForecast | None
    order: OrderLeft | None
    chance: float | None
    rows: list[PositionRow]
    stations: list[Station]
    drift: DriftFlag | None
    now: dt.datetime
    log: DieLog
    wrong: tuple[Damage, ...] = ()
    is_behind: bool = False  # an entry waits for its forecast
    hold: DieHold | None = None  # it makes no parts until a first piece is approved

    @property
    def cutting(self) -> list[PositionRow]:
        return [row for row in self.rows if row.cuts]

    @property
    def others(self) -> list[PositionRow]:
        return [row for row in self.rows if not row.cuts]

    @property
    def limiting(self) -> PositionRow | None:
        return next((row for row in self.rows if row.limits), None)

    @property
    def advice(self) -> Advice | None:
        """Whether sharpening before the open order pays."""
        return advised(self.forecast.advice, self.order.hits_left) if self.forecast and self.order else None

    @property
    def standing(self) -> Standing:
        """As on every other page: by what is wrong with it, by what pays for the open order, else by what is left."""
        if self.hold is not None:
            return HELD
        unrun = bool(self.forecast and self.forecast.rests_on.get("unrun"))
        own = standing(
            chance_of_order=self.chance,
            share_left=_share_left(self.limiting),
            unrun=unrun,
            **by_advice(self.advice),
        )
        return standing_with(self.wrong, own)


def _share_left(row: PositionRow | None) -> float | None:
    return row.forecast.share_left if row else None


def of_die(die: Die, system: units.System) -> DieState:
    places = list(
        read.with_inserts(die.positions.all())
        .select_related("station", "item")
        .order_by("station__sequence", "code", "pk")
    )
    log = read.of_die(die, positions=places)
    newest = queries.newest_forecasts().filter(die=die).annotate(is_behind=tasks.is_being_worked_out("die"))
    forecast = newest.select_related("die__drift_flag").first()
    edges = {} if forecast is None else {edge.position_id: edge for edge in forecast.edges.order_by()}
    now = _last(log, forecast) or timezone.now()
    built_at = max(now, timezone.now())
    order = next(iter(queries.open_orders(dies=[die])), None)
    chance = None
    if forecast and forecast.remaining and order:
        chance = chance_of_going(forecast.remaining, order.hits_left)
    wrong = tuple(map(Damage.of_kept, forecast.damage)) if forecast else ()
    reader = _Reader(
        log=log,
        states=clockwork_states.states(log, now.timestamp()),
        cutting=cycles.cutting_positions(log),
        edges=edges,
        limiting=forecast.limiting_id if forecast else None,
        order=order,
        chance=chance,
        advice=advised(forecast.advice, order.hits_left) if forecast and order else None,
        wrong=wrong,
        usual_grind_mm=usual.usual_grind_mm(log),
        now=now.timestamp(),
        built_at=built_at.timestamp(),
    )
    positions = {place.pk: place for place in places}.values()
    rows = [reader.row(position) for position in positions if position.valid_to is None or position.valid_to > built_at]
    rows.sort(key=_order_of_rows)
    return DieState(
        die=die,
        system=system,
        forecast=forecast,
        order=order,
        chance=chance,
        rows=rows,
        stations=list(die.stations.all()),
        drift=getattr(forecast.die, "drift_flag", None) if forecast else queries.drift_flag(die),
        now=now,
        log=log,
        wrong=wrong,
        hold=bench_reads.hold_shown(die),
        is_behind=forecast.is_behind if forecast else die.pk in tasks.being_worked_out(),
    )


def _last(log: DieLog, forecast: DieForecast | None) -> dt.datetime | None:
    """The later of the last thing that happened to the die and the moment that its forecast is told for."""
    moments = [] if log.last_moment is None else [read.moment(log.last_moment)]
    if forecast is not None:
        moments.append(forecast.as_of)
    return max(moments, default=None)


def _order_of_rows(row: PositionRow) -> tuple:
    """The edge that limits the die first, then the cutting edges by what is left, then the rest."""
    half = row.forecast.half_hits if row.forecast else None
    return (not row.limits, not row.cuts, row.standing is NOT_IN_ORDER, half is None, half or 0, row.position.code)


@dataclass(frozen=True, kw_only=True)
class _Reader:
    log: DieLog
    states: dict[int, clockwork_states.PositionState]
    cutting: set[int]
    edges: dict[int, EdgeForecast]
    limiting: int | None
    order: OrderLeft | None
    chance: float | None
    advice: Advice | None
    wrong: tuple[Damage, ...]
    usual_grind_mm: float | None
    now: float
    built_at: float

    def row(self, position: Position) -> PositionRow:
        kind, state = KINDS[position.kind], self.states[position.pk]
        piece = self.log.pieces.get(state.piece) if state.piece else None
        edge, cuts = self.edges.get(position.pk), position.pk in self.cutting
        known = edge if edge is not None and edge.remaining else None
        gap_mm = cycles.gap_at(self.log, position.pk, self.built_at) if cuts else None
        thickness_mm = self.log.stocks[self.log.usual_stock].thickness_mm
        share = grinds = None
        if piece and piece.grind_allowance_mm and state.allowance_left_mm is not None:
            share = min(state.allowance_left_mm / piece.grind_allowance_mm, 1.0)
            if self.usual_grind_mm:
                grinds = int(state.allowance_left_mm / self.usual_grind_mm + 1e-9)
        return PositionRow(
            position=position,
            kind=_(kind.name),
            shape=kind.shape,
            build=_build(piece),
            gap_mm=gap_mm,
            gap_pct=None if gap_mm is None else 100 * gap_mm / thickness_mm,
            state=state,
            forecast=known,
            refusal=edge.refusal if edge is not None else "",
            cuts=cuts,
            standing=self._standing(position, state, known, cuts, kind.is_ground),
            limits=known is not None and position.pk == self.limiting,
            allowance_share=share,
            grinds=grinds,
            title=_title(position, _(kind.name), known, cuts),
        )

    def _standing(self, position, state, edge, cuts, is_ground) -> Standing:
        if state.piece is None:
            return EMPTY_PLACE
        if here := [one for one in self.wrong if one.position == position.pk]:
            return standing_with(here, RUNS)
        if not cuts:
            return NOT_AN_EDGE if is_ground else NOT_GROUND
        works_in = self.log.positions[position.pk].variants
        if self.order and self.order.variant_id and works_in and self.order.variant_id not in works_in:
            return NOT_IN_ORDER
        chance = chance_of_going(edge.remaining, self.order.hits_left) if edge and self.order else None
        share_left = edge.share_left if edge else None
        unrun = state.hits_since_sharpening == 0
        # Where it does not pay to pull the die, none of its edges is told to be ground first.
        pays = False if self.advice and not self.advice.sharpen else None
        own = standing(chance_of_order=chance, share_left=share_left, unrun=unrun, pays=pays)
        if edge is None or position.pk != self.limiting:
            return own
        of_die = standing(chance_of_order=self.chance, share_left=share_left, unrun=unrun, **by_advice(self.advice))
        return limiting(own, of_die)


def _build(piece: PieceRow | None) -> str:
    if piece is None:
        return ""
    hardness = "" if piece.hardness_hrc is None else f"{piece.hardness_hrc:g}"
    return " ".join(bit for bit in (piece.tool_steel, piece.coating, hardness) if bit)


def _title(position: Position, kind: str, edge: EdgeForecast | None, cuts: bool) -> str:
    if not cuts:
        return _("{code} {kind}: not a cutting edge").format(code=position.code, kind=kind)
    if edge is None:
        return _("{code} {kind}: not enough records yet").format(code=position.code, kind=kind)
    return _(
        "{code} {kind}: {share:.0f} % of its usual hits are left; half of such edges last another {half} hits, "
        "9 in 10 {nine}"
    ).format(
        code=position.code,
        kind=kind,
        share=100 * (edge.share_left or 0),
        half=numbers.hits(edge.half_hits),
        nine=numbers.hits(edge.nine_in_ten_hits),
    )


def headline(state: DieState) -> dict:
    """The sentence that stands first: what is so, how sure, what decides it. Plain parts for the template."""
    f, order = state.forecast, state.order
    if f is None:
        return {
            "verdict": _("No forecast has been computed yet."),
            "rest": _("It comes with the next entry, or with the night."),
        }
    if not f.remaining:
        return {"verdict": _("Nothing is forecast for this die."), "rest": f.refusal}
    headline = {"edge": f.limiting.code if f.limiting else "", "why": _why(state), "shared": _is_shared(state)}
    if order is None:
        return headline | {
            "verdict": _("No job is open."),
            "rest": _(
                "Even chance that it lasts another {half} hits before an edge is dull or chipped; 9 in 10 that it "
                "lasts {nine}."
            ).format(half=numbers.hits(f.half_hits), nine=numbers.hits(f.nine_in_ten_hits)),
        }
    p = state.chance
    verdict = next(words for least, words in FINISHES if p >= least)
    return headline | {
        "verdict": _(verdict).format(number=order.number),
        "rest": _(
            ": {hits:,} hits are left to run, and the chance of getting there without a dull or chipped edge is"
        ).format(hits=order.hits_left),
        "chance": odds.chance(p),
        "order": order,
    }


def _first_to_go(state: DieState) -> float | None:
    """How often the limiting edge is the first. Not told where inserts change, as it was computed over all of them."""
    if len(state.cutting) < 2 or any(p.variants for p in state.log.positions.values()):
        return None
    return state.limiting.forecast.first_to_go if state.limiting else None


def _is_shared(state: DieState) -> bool:
    first = _first_to_go(state)
    return first is not None and first < DECIDES


def _why(state: DieState) -> str:
    """What is known of the edge that decides: how often it is the one, and whether its gap is out of line."""
    row = state.limiting
    if row is None:
        return ""
    bits = []
    first = _first_to_go(state)
    if first is not None:
        often = odds.times(first)
        bits.append(often if first < DECIDES else _("dull or chipped first {often}").format(often=often))
    gaps = [r.gap_mm for r in state.cutting if r.gap_mm is not None]
    if row.gap_mm is not None and row.gap_mm == min(gaps) and row.gap_mm < TIGHTER * statistics.median(gaps):
        bits.append(_("its gap is the tightest in the die"))
    return "; ".join(bit for bit in bits if bit)


def facts(state: DieState) -> list[tuple[str, str]]:
    """Figures beside what is left, each with its name."""
    lines = []
    row = state.limiting
    if row is not None:
        code = row.position.code
        hits = row.state.hits_since_sharpening
        lines.append(
            (_("Hits on {code} since sharpened").format(code=code), _("not known") if hits is None else f"{hits:,}")
        )
        usual = (
            _("Usual hits to the burr limit, {code}")
            if "burr_limit" in row.forecast.rests_on
            else _("Usual hits to dull, {code}")
        )
        hits_words = _("{hits} hits").format(hits=numbers.hits(row.forecast.usual_hits))
        lines.append((usual.format(code=code), hits_words))
        burrs = [r for r in state.log.readings if r.position == row.position.pk and "burr" in r.quantity.lower()]
        if burrs:
            last = max(burrs, key=lambda r: r.at)
            burr = units.show_si(last.value_si, "burr height", state.system)
            lines.append((_("Burr on {code}, last look").format(code=code), burr))
    if state.order:
        job = _("Job {number}, due {day}").format(number=state.order.number, day=date_format(state.order.due, "j M"))
        lines.append((job, _("{hits} hits").format(hits=f"{state.order.hits_left:,}")))
    return lines


def rests_on(f: DieForecast, system: units.System = units.System.METRIC) -> str:
    """What a forecast rests on, as a few sentences, and the burr limit that it counts to."""
    sentence = _rests_on_records(f)
    if limit := f.rests_on.get("burr_limit"):
        sentence += f" {burr_limits.sentence(limit, units.show(limit['um'], 'burr_um', system))}"
    if lot := f.rests_on.get("lot"):
        sentence += f" {_of_lots(lot)}"
    for one in f.rests_on.get("touched", ()):
        sentence += f" {rests.touched(one['work'], one['share'], one['seen'])}"
    if sets := f.rests_on.get("sets_as_one"):
        sentence += " " + _(
            "{times} the whole set was called dull, and not which edge was: the one that the handbook expects first "
            "stands for it. Log at a sharpening what each piece was found to be."
        ).format(times=counted(sets, "time", "times"))
    return sentence


LOTS = {  # of what: where some of the last one is left, and where none is known to be
    "coil": (
        gettext_noop(
            "Edges last about {spread:.0f} % more or less from one coil to the next. The next {hits:,} hits are taken "
            "from the coil under way, what comes after from coils like others of this die."
        ),
        gettext_noop(
            "Edges last about {spread:.0f} % more or less from one coil to the next. Nothing is known to be left of "
            "the last one: what is ahead is taken from coils like others of this die."
        ),
    ),
    "order": (
        gettext_noop(
            "Edges last about {spread:.0f} % more or less from one job to the next. The next {hits:,} hits are taken "
            "from the job under way, what comes after from jobs like others of this die."
        ),
        gettext_noop(
            "Edges last about {spread:.0f} % more or less from one job to the next. Nothing is known to be left of the "
            "last one: what is ahead is taken from jobs like others of this die."
        ),
    ),
    "lot": (
        gettext_noop(
            "Edges last about {spread:.0f} % more or less from one lot to the next. The next {hits:,} hits are taken "
            "from the lot under way, what comes after from lots like others of this die."
        ),
        gettext_noop(
            "Edges last about {spread:.0f} % more or less from one lot to the next. Nothing is known to be left of the "
            "last one: what is ahead is taken from lots like others of this die."
        ),
    ),
}


def _of_lots(lot: dict) -> str:
    """From what the hits ahead are taken to be cut."""
    known, spent = LOTS.get(lot["of"], LOTS["lot"])
    return _(known if lot["rest"] else spent).format(spread=100 * lot["spread"], hits=lot["rest"])


def _rests_on_records(f: DieForecast) -> str:
    r = f.rests_on
    shop = f.fit.cycles if f.fit else 0
    sentence = rests.on_record(r["cycles"], r["dull_ends"], r["chipped_ends"], "die", shop)
    sentence += f". {rests.unsure(r['prior_share'])}."
    if not f.fit:
        return sentence + " " + _("The shop's records are not worked out yet: handbook only.")
    if "handbook" in r.get("words", ""):
        return sentence + " " + _("In all: {words}.").format(words=_(r["words"]))
    return sentence


def edge_rests_on(edge: EdgeForecast) -> tuple[str, str]:
    """What an edge's figures rest on, in two short lines."""
    r = edge.rests_on
    told = _("{intervals}, {dull} dull, {chipped} chipped") if r["chipped_ends"] else _("{intervals}, {dull} dull")
    return (
        told.format(
            intervals=counted(r["cycles"], "interval", "intervals"),
            dull=numbers.none(r["dull_ends"]),
            chipped=r["chipped_ends"],
        ),
        _("{share} as wide a range as by handbook").format(share=rests.as_unsure(r["prior_share"])),
    )


def quantile(f: DieForecast, probability: float) -> int:
    return round(strokes_at(f.remaining, probability))
