"""What is done in the background: forecasts after an entry, the fleet's fit, loading a history folder.

Each task computes first and writes in `closing`: so it takes effect once, however often it was begun.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable

from django.conf import settings
from django.utils import timezone
from django_tasks import TaskContext, task

from diestore.register.models import Die, Plant
from diestore.service import queue
from maintenance.forecasts import drift, fit, store, track_record
from maintenance.life.record import TooShort
from maintenance.log import queries, read
from maintenance.models import DieForecast, PastForecasts

AFTER_ENTRY, NIGHTLY, LOADS = 10, 0, -10
LOOK_BACK_EVERY = dt.timedelta(days=6)

# What the apps above want done after a plant's fit, or once a die is foretold again after an entry.
after_fit: list[Callable[[Plant], object]] = []
after_entry: list[Callable[[Die], object]] = []


def entry_made(die: Die) -> DieForecast | None:
    """What follows an entry that is saved: this die's forecast, at once or by a worker. Returns the one that stands."""
    if settings.FORECASTS_BY_WORKERS:
        queue.enqueue_once(forecast_die, die.pk)
        return queries.newest_forecast(die)
    told = store.refresh_die(die)
    _follow(die)
    return told


def _follow(die: Die) -> None:
    for follow in after_entry:
        follow(die)


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
    found = Die.objects.filter(pk=die).select_related("plant").first()
    with queue.closing(context):
        if found is not None:
            store.refresh_die(found)
            _follow(found)


@task(takes_context=True, priority=NIGHTLY)
def fit_fleet(context: TaskContext, plant: int) -> None:
    """Fit the fleet of a plant and forecast all its dies. Dies that got an entry meanwhile are told again."""
    of = Plant.objects.get(pk=plant)
    before = queries.entries_counted()
    computed = fit.compute(of)
    drifting = drift.compute(of, as_of=computed.as_of) if read.last_moment(of) else None
    with queue.closing(context) as says:
        row = store.store(computed)
        if drifting is not None:
            drift.store(drifting)
        meanwhile = queries.dies_entered_between(before, queries.entries_counted(), plant=of)
        store.refresh_dies(Die.objects.filter(pk__in=meanwhile).select_related("plant").order_by("pk"))
        says |= {"fit": row.pk, "dies": len(computed.dies), "entered_meanwhile": len(meanwhile)}
        for follow in after_fit:
            follow(of)


@task(takes_context=True, priority=NIGHTLY)
def look_back(context: TaskContext, plant: int) -> None:
    """How right the forecasts of the last two years were."""
    of = Plant.objects.get(pk=plant)
    try:
        found, refusal = track_record.compute(of), ""
    except TooShort as reason:
        found, refusal = None, str(reason)
    with queue.closing(context) as says:
        if found is not None:
            row = track_record.store(found)
        else:
            row = track_record.store_refusal(of, read.last_moment(of) or timezone.now(), refusal)
        says["record"] = row.pk


@task(takes_context=True, priority=LOADS)
def load_folder(context: TaskContext, folder: str, plant: str | None = None, allow_future: bool = False) -> None:
    """Load a history folder that the worker can read: all of it or nothing."""
    from maintenance.history.load import load
    from maintenance.history.problems import HistoryRefused

    with queue.closing(context) as says:
        try:
            loaded = load(folder, plant=plant, allow_future=allow_future)
        except HistoryRefused as reason:
            raise queue.Refused(str(reason)) from reason
        says |= {"plant": loaded.plant.code, "added": {what: n for what, n in loaded.counts.added.items() if n}}
        plan_night(loaded.plant)
