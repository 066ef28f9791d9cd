"""What follows a write, and what is done in the background: forecasts, the fleet's fit, loading a history folder.

Each task computes first and writes in `closing`: so it takes effect once, however often it was begun.
"""

from __future__ import annotations

import datetime as dt
import logging
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

from django.db.models import BigIntegerField, Exists, OuterRef
from django.db.models.fields.json import KT
from django.db.models.functions import Cast
from django.dispatch import Signal, receiver
from django.utils import timezone
from django_tasks import TaskContext, task

from diestore.register.changes import register_changed
from diestore.register.models import Die, Plant
from diestore.service import queue
from maintenance.counters import settle
from maintenance.forecasts import causes, drift, fit, replay, store, track_record
from maintenance.life import fleet
from maintenance.life.record import TooShort
from maintenance.log import bench_plan, bench_reads, changes, freshness, read, touched
from maintenance.models import Change, PastForecasts

if TYPE_CHECKING:
    from maintenance.history.load import Loaded

logger = logging.getLogger(__name__)

AFTER_ENTRY, NIGHTLY, LOADS = 10, 0, -10
LOOK_BACK_EVERY = dt.timedelta(days=6)

AT_ONCE = 25  # dies whose forecasts follow a write at once, where no workers run: a second

# For the apps above. plant: its fleet was fitted; sent inside the closing transaction of that task.
fleet_fitted = Signal()
# plant, fits: the fits of the past that its look back made; a receiver works out what it needs of them and returns what
# keeps it, to be called inside the closing transaction of that task.
looked_back = Signal()
# die: it is foretold again after a write.
die_foretold = Signal()


@receiver(changes.dies_changed, dispatch_uid="maintenance.foretell")
def foretell(sender, *, dies: frozenset[int], by_night: bool, **kwargs) -> set[int]:
    """The forecasts of dies that a write changed: at once, or by a worker. Returns those that could not be made anew.

    Of many dies, and of a loaded folder, the forecasts are a night's work: the fleet is fitted anew with them.
    """
    if by_night or len(dies) > AT_ONCE:
        if queue.is_worked() or queue.alive().exists():
            for plant in Plant.objects.filter(dies__in=dies).distinct():
                plan_night(plant)
        return set()
    if queue.is_worked():
        for die in sorted(dies):
            queue.enqueue_once(forecast_die, die)
        return set()
    behind = set()
    for die in Die.objects.filter(pk__in=dies).select_related("plant").order_by("pk"):
        try:
            store.refresh_die(die)
        except Exception:  # whatever it is, what was written stays, and the other dies have their turn
            logger.exception("The forecast of die %s could not be made anew", die.pk)
            behind.add(die.pk)
        else:
            die_foretold.send(sender=Die, die=die)
    return behind


@receiver(register_changed, dispatch_uid="maintenance.follow_register")
def follow_register(sender, *, rows, **kwargs) -> str:
    """What follows where rows of the register, or orders, were saved by hand. Returns what there is to say about it."""
    about = touched.of_register(rows)
    changes.tell(dies=about.dies, items=about.items)
    changes.tell_of(Change.What.PRICE, about.priced - about.dies)
    if len(about.dies) <= AT_ONCE:
        return ""
    when = "as soon as a worker is free" if queue.is_worked() else "with the night's work"
    return f"Dies touched by this: {len(about.dies):,}. Their forecasts follow {when}."


def plan_night(plant: Plant) -> bool:
    """Put a plant's nightly work into the queue, unless it waits there already; once a week a look back too."""
    now = timezone.now()
    lately = (now - LOOK_BACK_EVERY, now + dt.timedelta(days=1))  # a later one was made while the clock was ahead
    if not PastForecasts.objects.filter(plant=plant, made_at__range=lately).exists():
        queue.enqueue_once(look_back, plant.pk)
    return queue.enqueue_once(fit_fleet, plant.pk)


@task(takes_context=True, priority=AFTER_ENTRY)
def forecast_die(context: TaskContext, die: int) -> None:
    """One die's forecast on the newest stored fit."""
    one = Die.objects.filter(pk=die).select_related("plant").first()
    made = None if one is None else store.outlook([one])
    with queue.closing(context):
        if made is not None:
            store.keep(made)
            die_foretold.send(sender=Die, die=one)


def being_worked_out() -> set[int]:
    """Dies of which an entry waits for its forecast. Workers are at it."""
    asked = queue.unfinished().filter(task_path=forecast_die.module_path).values_list("args_kwargs", flat=True)
    return {one["args"][0] for one in asked}


def is_being_worked_out(die: str) -> Exists:
    """The same in a question about rows that name their die by a column."""
    asked = queue.unfinished().filter(task_path=forecast_die.module_path)
    asked = asked.annotate(of=Cast(KT("args_kwargs__args__0"), BigIntegerField()))
    return Exists(asked.filter(of=OuterRef(die)).order_by())


@task(takes_context=True, priority=NIGHTLY)
def fit_fleet(context: TaskContext, plant: int) -> None:
    """Fit the fleet of a plant and forecast all its dies. Dies that got an entry meanwhile are told again."""
    of = Plant.objects.get(pk=plant)
    before = freshness.mark()
    computed = fit.compute(of)
    drifting = drift.compute(of, as_of=computed.as_of) if read.last_moment(of) else None
    with queue.closing(context) as says:
        row = store.store(computed)
        if drifting is not None:
            drift.store(drifting)
        entered = freshness.since(before).dies_in(Change.What.RECORDS)
        meanwhile = list(Die.objects.filter(plant=of, pk__in=entered).select_related("plant").order_by("pk"))
        store.refresh_dies(meanwhile)
        says |= {"fit": row.pk, "dies": len(computed.dies), "entered_meanwhile": len(meanwhile)}
        fleet_fitted.send(sender=Plant, plant=of)
        if bench_reads.open_works(of).exists():  # after the forecasts: they say how long a sharpening takes
            queue.enqueue_once(lay_out_bench, of.pk)


@task(takes_context=True, priority=NIGHTLY)
def lay_out_bench(context: TaskContext, plant: int) -> None:
    """Where work on the bench comes too late, look for a plan that is less late, so that it is there in the morning."""
    of = Plant.objects.get(pk=plant)
    morning = bench_reads.morning_after(of)
    found = bench_plan.look_for_better(of, morning) if bench_plan.plan_of(of, morning).may_search else None
    with queue.closing(context) as says:
        if found is not None:
            bench_plan.keep(found)
            says |= {"day": morning.isoformat(), "late": len(found.plan.late)}


@task(takes_context=True, priority=NIGHTLY)
def look_back(context: TaskContext, plant: int) -> None:
    """How right the forecasts of the last two years were, what their advice was worth, and what shortens lives here."""
    of = Plant.objects.get(pk=plant)
    shortens = causes.compute(of)
    fits: dict[dt.datetime, fleet.FleetFit] = {}
    try:
        track, refusal = track_record.compute(of, fits=fits), ""
    except TooShort as reason:
        track, refusal = None, str(reason)
    decisions, nothing = replay.attempted(of, fits)
    keepers = [keeps for _, keeps in looked_back.send(sender=Plant, plant=of, fits=fits)]
    with queue.closing(context) as says:
        if decisions is not None:
            replay.store_replayed(decisions)
        else:
            replay.store_refusal(of, read.last_moment(of) or timezone.now(), nothing)
        if track is not None:
            row = track_record.store(track)
        else:
            row = track_record.store_refusal(of, read.last_moment(of) or timezone.now(), refusal)
        if shortens is not None:
            causes.keep(shortens)
        for keeps in keepers:
            keeps()
        says["record"] = row.pk


def load_records(
    folder: Path | str,
    *,
    plant: str | None = None,
    allow_future: bool = False,
    progress: Callable[[int], Callable[[int], None]] | None = None,
    dry_run: bool = False,
) -> Loaded:
    """Load a history folder, and count what counters tell in it. The forecasts follow with the night, or by a worker.
    dry_run: look at everything and save nothing.

    Raises HistoryRefused; then nothing is saved.
    """
    from maintenance.history.load import load

    loaded = load(folder, plant=plant, allow_future=allow_future, progress=progress, dry_run=dry_run)
    if dry_run:
        return loaded
    settle.settle_waiting(loaded.plant, by_night=True)
    return loaded


@task(takes_context=True, priority=LOADS)
def load_folder(context: TaskContext, folder: str, plant: str | None = None, allow_future: bool = False) -> None:
    """Load a history folder that the worker can read: all of it or nothing."""
    from maintenance.history import beside
    from maintenance.history.problems import HistoryRefused

    try:
        # SQLite: on a copy beside the database, and no transaction may be under way. Begun again, it adds nothing.
        first = load_records(folder, plant=plant, allow_future=allow_future) if beside.is_possible() else None
        with queue.closing(context) as says:
            loaded = first or load_records(folder, plant=plant, allow_future=allow_future)
            says |= {"plant": loaded.plant.code, "added": {what: n for what, n in loaded.counts.added.items() if n}}
    except HistoryRefused as reason:
        raise queue.Refused(str(reason)) from reason
