"""What this app hangs into a die's page: the sentence, the plan, what is left, the components, the ribbon, the log."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from urllib.parse import quote

from django.template.loader import render_to_string
from django.urls import reverse
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import gettext as _

from diestore import units
from diestore.access import queries as register
from diestore.access import roles
from diestore.drawing import scale_plan, strip_cuts
from diestore.drawing import strip_plan as plan
from diestore.register import strips
from diestore.register.queries import outputs_of
from maintenance.clockwork.rows import ReplacementRow, RunRow, WorkRow
from maintenance.clockwork.works import OPERATIONS
from maintenance.forecasts import part_wear, record_line
from maintenance.log import damage, expected, held_back, listing, photos, read
from maintenance.models import Replacement, Work
from maintenance.wording import numbers

from . import hits_since, next_steps, timeline
from . import state as die_state

DAYS_BACK, DAYS_AT_LEAST = 300, 45
ENTRIES_A_PAGE = 12
BURR = "burr"
BROKE = (Replacement.Why.CHIPPED, Replacement.Why.BROKEN)


def how_it_stands(request, die) -> str:
    state = die_state.of_die(die, register.system_of(request.user))
    forecast, limiting = state.forecast, state.limiting
    context = {
        "die": die,
        "system": state.system,
        "state": state,
        "worked_out": state.is_behind,
        "rows": [figures(row) for row in state.cutting],
        "forecast": forecast,
        "head": die_state.headline(state),
        "wrong": damage.sentences(state.wrong, state.system),
        "held": held_back.of_damage(die.pk, state.wrong) if state.wrong else None,
        "facts": die_state.facts(state),
        "r": _ribbon(state),
        "t": hits_since.of_die(state, state.now - dt.timedelta(days=DAYS_BACK)),
        "wear": _wear(state),
        "drift": state.drift,
        "restarted": max((read.moment(at) for at in state.log.restarts), default=None),
        "record": record_line.here(die.plant, die),
        "next_steps": next_steps.of(state, request.user),
        "complain": complain_url(request, die),
        "today_label": _("last entry, {day}").format(day=date_format(timezone.localtime(state.now), "j M")),
    }
    leader_words = []
    if limiting is not None:
        leader_words = [
            _("{code} limits the die").format(code=limiting.position.code),
            _("half last another {half} hits; 9 in 10 another {nine}").format(
                half=numbers.hits(limiting.forecast.half_hits), nine=numbers.hits(limiting.forecast.nine_in_ten_hits)
            ),
        ]
        context["leader_url"] = reverse("maintenance:edge", args=[limiting.position.pk])
    places = places_of(state, context["complain"])
    context |= {"leader_words": leader_words, "station_asks": "?complain=1" if context["complain"] else ""}
    context |= _drawn(state, places, leader_words)
    if forecast and forecast.remaining:
        context |= {
            "half": numbers.hits(forecast.half_hits),
            "nine": numbers.hits(forecast.nine_in_ten_hits),
            "one": numbers.hits(die_state.quantile(forecast, 0.9)),
            "rests_on": die_state.rests_on(forecast, state.system),
            "ahead_label": _("first dull or chipped edge: 8 in 10 inside the bar"),
        }
    return render_to_string("maintenance/screens/die/how_it_stands.html", context, request=request)


def complain_url(request, die) -> str:
    """Where a tap on a place of the plan leads while a complaint of the press is entered; else nothing."""
    if not (request.GET.get("complain") and request.user.has_perm(roles.LOG_MISHAP)):
        return ""
    return f"{reverse('maintenance:complaint')}?die={die.pk}"


def _wear(state: die_state.DieState) -> list[dict]:
    """What was measured of pieces that do not cut, with when each comes to its limit."""
    limits = part_wear.limits_of(row.position for row in state.rows)
    return [
        {
            "wear": wear,
            "said": part_wear.words(wear),
            "last": part_wear.shown(wear.last_si, wear.quantity, state.system),
            "limit": part_wear.shown(wear.limit.value_si, wear.quantity, state.system) if wear.limit else "",
        }
        for wear in part_wear.of_log(state.log, state.now.timestamp(), limits=limits)
    ]


def figures(row: die_state.PositionRow) -> dict:
    """A cutting edge's line with its figures as they are said."""
    edge = row.forecast
    rests, handbook = die_state.edge_rests_on(edge) if edge else ("", "")
    return {
        "row": row,
        "half": numbers.hits(edge.half_hits) if edge else "",
        "nine": numbers.hits(edge.nine_in_ten_hits) if edge else "",
        "rests": rests,
        "handbook": handbook,
    }


def places_of(state: die_state.DieState, complain: str) -> list[plan.PlanPosition]:
    return [
        plan.PlanPosition(
            code=row.position.code,
            kind=row.position.kind,
            shape=row.shape,
            side=row.position.side,
            station=row.position.station.code if row.position.station else "",
            cuts=row.cuts,
            share_left=row.forecast.share_left if row.forecast else None,
            allowance_left=row.allowance_share,
            css=row.standing.css,
            limits=row.limits,
            title=row.title,
            url=f"{complain}&place={quote(row.position.code, '')}"
            if complain
            else f"#c-{quote(row.position.code, '')}",
        )
        for row in state.rows
    ]


def _drawn(state: die_state.DieState, places: list[plan.PlanPosition], leader_words: list[str]) -> dict:
    """The plan to scale, or along the strip without one where the register does not say where each place is."""
    strip = strip_of(state)
    if strip is not None:
        return {
            "scaled": scale_plan.lay_out(strip, places, leader_words=leader_words),
            "opens_stations": True,
            "off_strip": [place for place in places if not place.station],
        }
    stations = [(s.sequence, s.code, s.operation) for s in state.stations]
    return {"plan": plan.lay_out(places, stations, leader_words=leader_words) if places else None}


def strip_of(state: die_state.DieState) -> strip_cuts.Strip | None:
    return strips.of_die(
        state.die,
        [row.position for row in state.rows],
        state.stations,
        lengths=expected.cut_lengths(state.log, state.now.timestamp()),
        idle={row.position.pk for row in state.rows if row.standing is die_state.NOT_IN_ORDER},
    )


@dataclass(frozen=True, kw_only=True)
class _Past:
    """What happened to a die of late."""

    runs: list[RunRow]
    works: list[WorkRow]
    changes: list[ReplacementRow]

    @classmethod
    def of(cls, state: die_state.DieState, since: dt.datetime) -> _Past:
        log, first, last = state.log, since.timestamp(), state.now.timestamp()
        return cls(
            runs=[r for r in log.runs if first <= r.ended <= last],
            works=[w for w in log.works if w.position in log.positions and first <= w.at <= last],
            changes=[c for c in log.replacements if c.why in BROKE and not c.since_start and first <= c.at <= last],
        )

    @property
    def begins(self) -> float | None:
        return min([*(r.started for r in self.runs), *(e.at for e in (*self.works, *self.changes))], default=None)


def _ribbon(state: die_state.DieState) -> timeline.Ribbon | None:
    now, order = state.now, state.order
    since = now - dt.timedelta(days=DAYS_BACK)
    past = _Past.of(state, since)
    remaining = None
    if state.forecast and state.forecast.remaining:
        remaining = {p: die_state.quantile(state.forecast, p) for p in (0.1, 0.25, 0.5, 0.75, 0.9)}
    if past.begins is None and remaining is None:
        return None
    first = now if past.begins is None else read.moment(past.begins)
    since = max(since, min(first - dt.timedelta(days=7), now - dt.timedelta(days=DAYS_AT_LEAST)))
    codes = {position.id: position.code for position in state.log.positions.values()}
    burrs, unit, limit = _burrs(state, since)
    return timeline.lay_out(
        today=now,
        since=since,
        runs=[_run_bar(run) for run in past.runs],
        events=_grinds(past.works, codes) + _breaks(past.changes, codes),
        readings=burrs,
        reading_unit=unit,
        limit=limit if burrs else None,
        remaining=remaining,
        order_hits=order.hits_left if order else None,
        order_label=hits_since.to_go(order) if order else "",
        words=_half_words(remaining[0.5]) if remaining else None,
    )


def _half_words(hits: float) -> dict[str, str]:
    return {"half": _("even chance by {hits} hits").format(hits=numbers.hits(hits))}


def _run_bar(run: RunRow) -> timeline.RunBar:
    started = read.moment(run.started)
    return timeline.RunBar(
        started=started,
        ended=read.moment(run.ended),
        hits=run.hits,
        title=_("{hits:,} hits, {day}").format(hits=run.hits, day=_day(started)),
    )


def _burrs(state: die_state.DieState, since: dt.datetime) -> tuple[list[timeline.BurrMark], str, float | None]:
    """Burr readings in the user's unit, that unit, and the tightest limit among the die's parts."""
    quantity = units.quantity("burr height")
    unit = quantity.unit(state.system)
    limiting = state.limiting.position.pk if state.limiting else None
    lately = (since.timestamp(), state.now.timestamp())
    measured = [
        timeline.BurrMark(
            at=read.moment(m.at),
            value=units.from_si(m.value_si, unit),
            title=f"{state.log.positions[m.position].code}: "
            f"{units.show_si(m.value_si, quantity, state.system)}, {_day(read.moment(m.at))}",
            of_limiting=m.position == limiting,
        )
        for m in state.log.readings
        if BURR in m.quantity.lower() and lately[0] <= m.at <= lately[1]
    ]
    limits = [o.part.burr_limit_um for o in outputs_of(state.die) if o.part.burr_limit_um]
    return measured, unit, units.shown_value(min(limits), quantity, state.system) if limits else None


def _breaks(changes: list[ReplacementRow], codes: dict[int, str]) -> list[timeline.Event]:
    """Pieces that came out chipped or broken; those of one moment are one mark."""
    together: dict[float, list[ReplacementRow]] = {}
    for change in changes:
        together.setdefault(change.at, []).append(change)
    events = []
    for at, rows in together.items():
        named, why = [codes[row.position] for row in rows], Replacement.Why(rows[0].why).label
        day = _day(read.moment(at))
        events.append(
            timeline.Event(
                at=read.moment(at),
                label=_("{places} {found}").format(places=_names(named), found=why),
                title=_("{places} replaced on {day}: {why}").format(places=", ".join(named), day=day, why=why),
                css="short",
            )
        )
    return events


def _names(codes: list[str], most: int = 2) -> str:
    return ", ".join(codes[:most]) + (" " + _("and {n} more").format(n=len(codes) - most) if len(codes) > most else "")


def _grinds(works: list[WorkRow], codes: dict[int, str]) -> list[timeline.Event]:
    """One mark for what was ground together, named by its cause."""
    together: dict[str | float, list[WorkRow]] = {}
    for work in works:
        if OPERATIONS[work.operation].on_the_edge:
            together.setdefault(work.set_key or work.at, []).append(work)
    events = []
    for rows in together.values():
        chipped = [w for w in rows if w.found in ("chipped", "broken") or (not w.found and w.why == Work.Why.CHIPPED)]
        dull = [w for w in rows if w.found == "dull" or (not w.found and w.why == Work.Why.DULL)]
        telling, found = (chipped, _("chipped")) if chipped else (dull, _("dull"))
        cause = (
            _("{places} {found}").format(places=_names([codes[w.position] for w in telling]), found=found)
            if telling
            else Work.Why(rows[0].why).label
        )
        done = _(OPERATIONS[rows[0].operation].words) if len({w.operation for w in rows}) == 1 else _("worked on")
        pieces = _("{n} pieces").format(n=len(rows)) if len(rows) > 1 else codes[rows[0].position]
        at = read.moment(rows[0].at)
        events.append(
            timeline.Event(
                at=at,
                label=cause,
                title=_("{pieces} {done}, {day}: {cause}").format(pieces=pieces, done=done, day=_day(at), cause=cause),
                css="short" if chipped else "",
            )
        )
    return events


def _day(moment: dt.datetime) -> str:
    return date_format(timezone.localtime(moment), "j M Y")


def log(request, die) -> str:
    """The latest entries, struck ones too, a page at a time."""
    index = listing.index(die=die, with_cost=request.user.has_perm(roles.SEE_COST))
    page = index.page(request.GET.get("entries"), ENTRIES_A_PAGE)
    return render_to_string(
        "maintenance/screens/die/log.html",
        {
            "die": die,
            "page": page,
            "entries": photos.beside(listing.read(page.object_list, system=register.system_of(request.user))),
            "may_strike": request.user.has_perm(roles.STRIKE_ENTRY),
        },
        request=request,
    )
