"""What this app hangs into a die's page: the sentence, the plan, what is left, the components, the ribbon, the log."""

from __future__ import annotations

import datetime as dt

from django.core.paginator import Paginator
from django.template.loader import render_to_string
from django.utils import timezone

from diestore import panels, roles, units
from diestore import queries as register
from diestore.handbook.kinds import kind as kind_of

from . import die_state, entries, plan_view, timeline, words
from .models import Reading, Run, Stop, Work
from .operations import OPERATIONS

DAYS_BACK = 300


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
    forecast = state.forecast
    context = {
        "die": die,
        "state": state,
        "forecast": forecast,
        "head": die_state.headline(state),
        "plan": _plan(state),
        "limiting_words": "",
        "rests_on": die_state.rests_on(forecast) if forecast and forecast.remaining else "",
        "usual": None,
        "r": _ribbon(state),
        "today_label": f"{timezone.localtime(state.now):%d %b}".lstrip("0"),
        "reading_label": "Burr readings",
    }
    if state.limiting and state.limiting.forecast:
        edge = state.limiting.forecast
        context["limiting_words"] = (
            f"half of such edges go {words.hits(edge.half_hits)} hits more; "
            f"9 in 10 go {words.hits(edge.nine_in_ten_hits)}"
        )
        context["usual"] = words.hits(edge.usual_hits)
    if forecast and forecast.remaining:
        context |= {
            "half": words.hits(forecast.half_hits),
            "nine": words.hits(forecast.nine_in_ten_hits),
            "one": words.hits(die_state.quantile(forecast, 0.9)),
            "ahead_label": "a dull or chipped edge: 8 in 10 here",
        }
    return render_to_string("maintenance/die_panel.html", context, request=request)


def _plan(state: die_state.DieState) -> plan_view.Plan | None:
    stations = [(s.sequence, s.code, s.operation) for s in state.die.stations.all()]
    places = [
        plan_view.Place(
            code=row.position.code,
            kind=row.position.kind,
            shape=kind_of(row.position.kind).shape,
            side=row.position.side,
            station=row.position.station.code if row.position.station else "",
            sequence=row.position.station.sequence if row.position.station else 0,
            cuts=row.cuts,
            share_left=row.forecast.share_left if row.forecast else None,
            allowance_left=row.allowance_share,
            css=row.standing.css,
            limits=row.limits,
            title=row.title,
        )
        for row in state.rows
    ]
    return plan_view.lay_out(places, stations) if places else None


def _ribbon(state: die_state.DieState) -> timeline.Ribbon | None:
    die, now = state.die, state.now
    since = now - dt.timedelta(days=DAYS_BACK)
    runs = list(Run.objects.standing().filter(die=die, at__gte=since, at__lte=now).order_by("started"))
    if not runs and not state.forecast:
        return None
    bars = [
        timeline.RunBar(started=r.started, ended=r.at, hits=r.hits, title=f"{r.hits:,} hits, {_day(r.started)}")
        for r in runs
    ]
    works = Work.objects.standing().filter(position__die=die, at__gte=since, at__lte=now).select_related("position")
    stops = Stop.objects.standing().filter(die=die, at__gte=since, at__lte=now, cause=Stop.Cause.BROKEN)
    readings = (
        Reading.objects.standing()
        .filter(position__die=die, at__gte=since, at__lte=now, quantity__icontains="burr")
        .select_related("position")
        .order_by("at")
    )
    unit = "µm" if state.system == units.System.METRIC else "thou"
    measured = [
        timeline.Measured(
            at=m.at,
            value=units.from_si(m.value_si, unit),
            title=f"{m.position.code}: {units.from_si(m.value_si, unit):.3g} {unit}, {_day(m.at)}",
        )
        for m in readings
    ]
    limit = min(
        (o.part.burr_limit_um for v in die.variants.all() for o in v.outputs.all() if o.part.burr_limit_um),
        default=None,
    )
    if limit is not None and unit == "thou":
        limit = units.convert(limit, "µm", "thou")
    f = state.forecast
    remaining = None
    if f and f.remaining:
        remaining = {p: die_state.quantile(f, p) for p in (0.1, 0.25, 0.5, 0.75, 0.9)}
    return timeline.lay_out(
        today=now,
        since=since,
        runs=bars,
        events=_grinds(works) + [timeline.Event(at=s.at, label="", title=f"Stop, {_day(s.at)}", css="") for s in stops],
        readings=measured,
        reading_unit=unit,
        limit=limit if measured else None,
        remaining=remaining,
        order_hits=state.order.hits_left if state.order else None,
        order_label=f"order {state.order.number}: {state.order.hits_left:,} hits to go" if state.order else "",
        said={"half": f"half by {words.hits(remaining[0.5])}"} if remaining else None,
    )


def _grinds(works) -> list[timeline.Event]:
    """One mark for what was ground together, named by its cause."""
    together: dict[tuple, list[Work]] = {}
    for work in works:
        if OPERATIONS[work.operation].fresh_edge:
            together.setdefault((work.set_key or work.at,), []).append(work)
    events = []
    for rows in together.values():
        cause = [w for w in rows if w.why in (Work.Why.DULL, Work.Why.CHIPPED)]
        chip = any(w.why == Work.Why.CHIPPED or w.found in ("chipped", "broken") for w in rows)
        names = ", ".join(w.position.code for w in cause[:2])
        what = f"{names} {'chipped' if chip else 'dull'}" if cause else "planned"
        label = what if len(rows) > 1 else f"{rows[0].position.code} only"
        events.append(
            timeline.Event(
                at=rows[0].at,
                label=label,
                title=f"{len(rows)} ground on {_day(rows[0].at)}: {what}",
                css="leader" if chip else "",
            )
        )
    return events


def _day(moment: dt.datetime) -> str:
    return f"{timezone.localtime(moment):%d %b %Y}".lstrip("0")


def log(request, die) -> str:
    """The latest entries, struck ones too, a page at a time."""
    page = Paginator(entries.index(die=die), 12).get_page(request.GET.get("entries"))
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
