"""What this app hangs into a die's page: the sentence, the plan, what is left, the components, the ribbon, the log."""

from __future__ import annotations

import datetime as dt

from django.core.paginator import Paginator
from django.template.loader import render_to_string
from django.utils import timezone

from diestore import panels, roles, units
from diestore import queries as register

from . import die_state, entries, plan_view, timeline, words
from .models import Reading, Replacement, Run, Work
from .operations import OPERATIONS

DAYS_BACK, DAYS_AT_LEAST = 300, 45
ENTRIES_A_PAGE = 12
BURR = "burr"
BROKE = (Replacement.Why.CHIPPED, Replacement.Why.BROKEN)


def hang() -> None:
    panels.register("how it stands", order=10, render=how_it_stands)
    panels.register("log", order=90, render=log)
    panels.register_act("Log a run", "maintenance:log_run", order=1, permission=roles.LOG_RUN)
    panels.register_act("Sharpening", "maintenance:log_sharpening", order=2, permission=roles.LOG_SHARPENING)
    panels.register_act("Replacement", "maintenance:log_replacement", order=3, permission=roles.LOG_REPLACEMENT)
    panels.register_act("Stop", "maintenance:log_stop", order=4, permission=roles.LOG_STOP)
    panels.register_act("Reading", "maintenance:log_reading", order=5, permission=roles.LOG_READING)


def how_it_stands(request, die) -> str:
    state = die_state.of_die(die, register.system_of(request.user))
    forecast, limiting = state.forecast, state.limiting
    context = {
        "die": die,
        "system": state.system,
        "state": state,
        "rows": [_told(row) for row in state.cutting],
        "forecast": forecast,
        "head": die_state.headline(state),
        "facts": die_state.facts(state),
        "r": _ribbon(state),
        "today_label": f"{timezone.localtime(state.now):%d %b %Y}".lstrip("0"),
    }
    leader_words = []
    if limiting is not None:
        leader_words = [
            f"{limiting.position.code} limits the die",
            f"half of such edges go {words.hits(limiting.forecast.half_hits)} hits more; "
            f"9 in 10 go {words.hits(limiting.forecast.nine_in_ten_hits)}",
        ]
    context |= {"leader_words": leader_words, "plan": _plan(state, leader_words)}
    if forecast and forecast.remaining:
        context |= {
            "half": words.hits(forecast.half_hits),
            "nine": words.hits(forecast.nine_in_ten_hits),
            "one": words.hits(die_state.quantile(forecast, 0.9)),
            "rests_on": die_state.rests_on(forecast),
            "ahead_label": "the first dull or chipped edge: 8 in 10 here",
        }
    return render_to_string("maintenance/die_panel.html", context, request=request)


def _told(row: die_state.PositionRow) -> dict:
    """A cutting edge's line with its figures as they are said."""
    edge = row.forecast
    rests, handbook = die_state.edge_rests_on(edge) if edge else ("", "")
    return {
        "row": row,
        "half": words.hits(edge.half_hits) if edge else "",
        "nine": words.hits(edge.nine_in_ten_hits) if edge else "",
        "rests": rests,
        "handbook": handbook,
    }


def _plan(state: die_state.DieState, leader_words: list[str]) -> plan_view.Plan | None:
    stations = [(s.sequence, s.code, s.operation) for s in state.die.stations.all()]
    places = [
        plan_view.Place(
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
        )
        for row in state.rows
    ]
    return plan_view.lay_out(places, stations, leader_words=leader_words) if places else None


def _ribbon(state: die_state.DieState) -> timeline.Ribbon | None:
    die, now = state.die, state.now
    since = now - dt.timedelta(days=DAYS_BACK)
    lately = {"at__gte": since, "at__lte": now}
    runs = list(Run.objects.standing().filter(die=die, **lately).order_by("started"))
    works = list(Work.objects.standing().filter(position__die=die, **lately).select_related("position"))
    changes = list(
        Replacement.objects.standing()
        .filter(position__die=die, since_start=False, why__in=BROKE, **lately)
        .select_related("position")
    )
    remaining = None
    if state.forecast and state.forecast.remaining:
        remaining = {p: die_state.quantile(state.forecast, p) for p in (0.1, 0.25, 0.5, 0.75, 0.9)}
    if not (runs or works or changes or remaining):
        return None
    first = min([r.started for r in runs] + [e.at for e in (*works, *changes)], default=now)
    since = max(since, min(first - dt.timedelta(days=7), now - dt.timedelta(days=DAYS_AT_LEAST)))
    burrs, unit, limit = _burrs(state, since)
    order = state.order
    return timeline.lay_out(
        today=now,
        since=since,
        runs=[
            timeline.RunBar(started=r.started, ended=r.at, hits=r.hits, title=f"{r.hits:,} hits, {_day(r.started)}")
            for r in runs
        ],
        events=_grinds(works) + _breaks(changes),
        readings=burrs,
        reading_unit=unit,
        limit=limit if burrs else None,
        remaining=remaining,
        order_hits=order.hits_left if order else None,
        order_label=f"order {order.number}: {order.hits_left:,} hits to go" if order else "",
        said={"half": f"half by {words.hits(remaining[0.5])}"} if remaining else None,
    )


def _burrs(state: die_state.DieState, since: dt.datetime) -> tuple[list[timeline.Measured], str, float | None]:
    """Burr readings in the user's unit, that unit, and the tightest limit among the die's parts."""
    quantity = units.quantity("burr height")
    unit = quantity.unit(state.system)
    limiting = state.limiting.position.pk if state.limiting else None
    rows = (
        Reading.objects.standing()
        .filter(position__die=state.die, at__gte=since, at__lte=state.now, quantity__icontains=BURR)
        .select_related("position")
    )
    measured = [
        timeline.Measured(
            at=m.at,
            value=units.from_si(m.value_si, unit),
            title=f"{m.position.code}: {units.show_si(m.value_si, quantity, state.system)}, {_day(m.at)}",
            of_limiting=m.position_id == limiting,
        )
        for m in rows
    ]
    limits = [o.part.burr_limit_um for v in state.die.variants.all() for o in v.outputs.all() if o.part.burr_limit_um]
    return measured, unit, units.shown_value(min(limits), quantity, state.system) if limits else None


def _breaks(changes: list[Replacement]) -> list[timeline.Event]:
    """Pieces that came out chipped or broken; those of one moment are one mark."""
    together: dict[dt.datetime, list[Replacement]] = {}
    for change in changes:
        together.setdefault(change.at, []).append(change)
    return [
        timeline.Event(
            at=at,
            label=f"{_names(rows)} {rows[0].get_why_display()}",
            title=f"{', '.join(r.position.code for r in rows)} replaced on {_day(at)}: {rows[0].get_why_display()}",
            css="short",
        )
        for at, rows in together.items()
    ]


def _names(rows: list, most: int = 2) -> str:
    codes = [row.position.code for row in rows]
    return ", ".join(codes[:most]) + (f" and {len(codes) - most} more" if len(codes) > most else "")


def _grinds(works: list[Work]) -> list[timeline.Event]:
    """One mark for what was ground together, named by its cause."""
    together: dict[tuple, list[Work]] = {}
    for work in works:
        if OPERATIONS[work.operation].fresh_edge:
            together.setdefault((work.set_key or work.at,), []).append(work)
    events = []
    for rows in together.values():
        chipped = [w for w in rows if w.found in ("chipped", "broken") or (not w.found and w.why == Work.Why.CHIPPED)]
        dull = [w for w in rows if w.found == "dull" or (not w.found and w.why == Work.Why.DULL)]
        cause = f"{_names(chipped)} chipped" if chipped else f"{_names(dull)} dull" if dull else ""
        done = rows[0].operation if len({w.operation for w in rows}) == 1 else "worked on"
        pieces = f"{len(rows)} pieces" if len(rows) > 1 else rows[0].position.code
        events.append(
            timeline.Event(
                at=rows[0].at,
                label=cause or rows[0].get_why_display(),
                title=f"{pieces} {done}, {_day(rows[0].at)}: {cause or rows[0].get_why_display()}",
                css="short" if chipped else "",
            )
        )
    return events


def _day(moment: dt.datetime) -> str:
    return f"{timezone.localtime(moment):%d %b %Y}".lstrip("0")


def log(request, die) -> str:
    """The latest entries, struck ones too, a page at a time."""
    page = Paginator(entries.index(die=die), ENTRIES_A_PAGE).get_page(request.GET.get("entries"))
    return render_to_string(
        "maintenance/die_log.html",
        {
            "die": die,
            "page": page,
            "entries": entries.read(page.object_list, system=register.system_of(request.user)),
            "may_strike": request.user.has_perm(roles.STRIKE_ENTRY),
        },
        request=request,
    )
