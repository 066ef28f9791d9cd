"""How the service stands, for whoever watches it: database, tasks, workers, disk. No secrets and no records in it."""

from __future__ import annotations

import datetime as dt
import shutil
import time
from dataclasses import dataclass, field
from functools import reduce
from operator import or_
from pathlib import Path

from django.apps import apps
from django.conf import settings
from django.db import DatabaseError, connection, models, transaction
from django.db.migrations.executor import MigrationExecutor
from django.db.models import Count, Min, Q
from django.utils import timezone
from django.utils.module_loading import import_string

from diestore import __version__

from . import hosts, queue

WAITS_TOO_LONG = dt.timedelta(minutes=15)
DISK_LOW_BYTES = 1_000_000_000
FAILED_DAYS = 2
NAMED_AT_MOST = 5
AHEAD = dt.timedelta(minutes=10)  # what was written later than now by more than that, a clock wrote that was ahead
# Columns that the service's clock fills, or that tell of what has happened.
PAST = frozenset(
    [
        "at",
        "started",
        "started_at",
        "recorded_at",
        "made_at",
        "found_at",
        "asked_at",
        "settled_at",
        "struck_at",
        "taken_back_at",
        "received_at",
        "counted_at",
        "last_used_at",
        "seen_at",
        "revoked_at",
        "closed_at",
        "placed_at",
        "last",
        "history_date",
        "known_at",
        "as_of",
    ]
)
OURS = ("diestore", "maintenance", "reports")
NEWEST = 5_000  # rows of a table that are looked at, the last ones written


@dataclass(frozen=True, kw_only=True)
class Part:
    """One thing that is watched. figures: for the monitor. worries: sentences on what somebody should look at."""

    name: str
    says: str
    figures: dict[str, object]
    worries: list[str] = field(default_factory=list)


@dataclass(frozen=True, kw_only=True)
class State:
    """can_work: whether entries can be taken at all."""

    can_work: bool
    parts: list[Part]

    @property
    def worries(self) -> list[str]:
        return [worry for part in self.parts for worry in part.worries]

    def as_json(self) -> dict:
        return {
            "can_work": self.can_work,
            "all_well": self.can_work and not self.worries,
            "worries": self.worries,
            "at": timezone.now().isoformat(timespec="seconds"),
            **{part.name: part.figures for part in self.parts},
        }


# What the apps above watch, by name, as nothing here imports them; asked only while the database answers.
WATCHED = ("maintenance.forecasts.service.fits",)


def read() -> State:
    """Look at everything; where the database does not answer, at what is left."""
    database, answers = _database()
    parts = [database]
    if answers:
        parts += [_tasks(), _hosts(), _clock(), *(import_string(part)() for part in WATCHED)]
    parts += [_disk(), Part(name="version", says=__version__, figures={"diestore": __version__})]
    return State(can_work=answers, parts=parts)


def can_work() -> bool:
    """The short question of a probe: does the database answer?"""
    return queue.database_answers()


def _database() -> tuple[Part, bool]:
    begun = time.perf_counter()
    try:
        if not queue.database_answers():
            raise DatabaseError
        took_ms = round((time.perf_counter() - begun) * 1000, 1)
        executor = MigrationExecutor(connection)
        pending = len(executor.migration_plan(executor.loader.graph.leaf_nodes()))
        size = _size_bytes()
    except DatabaseError:
        worry = "The database does not answer."
        return Part(name="database", says=worry, figures={"answers": False}, worries=[worry]), False
    engine = {"postgresql": "PostgreSQL", "sqlite": "SQLite"}.get(connection.vendor, connection.vendor)
    worries = [f"{pending} migrations wait: run manage.py migrate."] if pending else []
    part = Part(
        name="database",
        says=f"{engine} answers {'at once' if took_ms < 1 else f'in {took_ms:g} ms'} and holds {_megabytes(size)}.",
        figures={"answers": True, "engine": engine, "ms": took_ms, "bytes": size, "migrations_waiting": pending},
        worries=worries,
    )
    return part, True


def _size_bytes() -> int:
    with connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            cursor.execute("SELECT pg_database_size(current_database())")
            return cursor.fetchone()[0]
        cursor.execute("SELECT page_count * page_size FROM pragma_page_count(), pragma_page_size()")
        return cursor.fetchone()[0]


def _tasks() -> Part:
    ready = queue.unfinished().filter(status="READY")
    waiting, running = ready.count(), queue.unfinished().filter(status="RUNNING").count()
    alive = queue.alive().count()
    oldest = ready.filter(run_after__gt=timezone.now() + dt.timedelta(days=1)) | ready.filter(
        run_after__lte=timezone.now()
    )
    since = oldest.aggregate(since=Min("enqueued_at"))["since"]
    age = timezone.now() - since if since else dt.timedelta()
    failed = queue.failed().filter(finished_at__gte=timezone.now() - dt.timedelta(days=FAILED_DAYS))
    number = failed.count()
    worries = []
    if number:
        names = [f"{row.task_path.rsplit('.', 1)[-1]}" for row in failed.order_by("-finished_at")[:NAMED_AT_MOST]]
        worries.append(
            f"{number} {'task' if number == 1 else 'tasks'} failed within {FAILED_DAYS} days, the last: "
            f"{', '.join(dict.fromkeys(names))}. The log says why."
        )
    if age > WAITS_TOO_LONG:
        nobody = " and no worker is alive" if not alive else ""
        worries.append(f"A task has waited for {_minutes(age)}{nobody}: run manage.py work or manage.py nightly.")
    if queue.is_worked() and not alive:
        worries.append("Forecasts are left to workers, and none is alive: run manage.py work.")
    return Part(
        name="tasks",
        says=f"{waiting} waiting, {running} being done, {number} failed within {FAILED_DAYS} days; "
        f"{alive} {'worker' if alive == 1 else 'workers'} alive.",
        figures={
            "waiting": waiting,
            "running": running,
            "failed": number,
            "workers_alive": alive,
            "oldest_waits_s": round(age.total_seconds()),
        },
        worries=worries,
    )


def _hosts() -> Part:
    """This host leaves its line first; where it cannot, the page still says the rest."""
    try:
        with transaction.atomic():
            hosts.leave_line()
            serving = hosts.serving()
    except DatabaseError:
        return Part(name="hosts", says="Not known: they could not be written down.", figures={"serving": None})
    apart = max((abs(host.clock_off_s) for host in serving), default=0.0)
    return Part(
        name="hosts",
        says=f"{', '.join(host.name for host in serving)}; clocks within {apart:g} s of the database's.",
        figures={
            "serving": len(serving),
            "with_another_key": len(hosts.with_another_key(serving)),
            "clock_off_s": apart,
        },
        worries=hosts.worries(serving),
    )


def _clock() -> Part:
    """What lies in the future, among the rows written last: a clock was ahead, or a date was mistyped in a file."""
    limit = timezone.now() + AHEAD
    numbers: dict[str, int] = {}
    for model in apps.get_models():
        columns = sorted({field.attname for field in model._meta.concrete_fields} & PAST)
        if not columns or model._meta.app_label not in OURS or not model._meta.managed:
            continue
        ahead = reduce(or_, (Q(**{f"{column}__gt": limit}) for column in columns))
        rows = models.QuerySet(model).order_by("-pk").values("pk", *columns)[:NEWEST]
        if number := rows.aggregate(number=Count("pk", filter=ahead))["number"]:
            what = model._meta.verbose_name if number == 1 else model._meta.verbose_name_plural
            numbers[str(what)] = number
    worries = []
    if numbers:
        named = ", ".join(f"{number:,} {what}" for what, number in list(numbers.items())[:NAMED_AT_MOST])
        worries.append(
            f"Rows lie in the future: {named}. Was the clock of a host ahead? Look at its time; what is wrong in the "
            "log is struck out and entered again."
        )
    says = f"{sum(numbers.values()):,} rows lie in the future." if numbers else "No row lies in the future."
    return Part(name="clock", says=says, figures={"rows_in_the_future": sum(numbers.values())}, worries=worries)


def _disk() -> Part:
    name = settings.DATABASES["default"]["NAME"]
    folder = Path(name).parent if connection.vendor == "sqlite" and Path(name).parent.is_dir() else settings.BASE_DIR
    usage = shutil.disk_usage(folder)
    worries = []
    if usage.free < DISK_LOW_BYTES:
        worries.append(f"Only {_megabytes(usage.free)} are free on the disk.")
    where = "with the database" if connection.vendor == "sqlite" else "of this host"
    return Part(
        name="disk",
        says=f"{_megabytes(usage.free)} free on the disk {where}.",
        figures={"free_bytes": usage.free, "total_bytes": usage.total},
        worries=worries,
    )


def _megabytes(size: int) -> str:
    return f"{size / 1e9:,.1f} GB" if size >= 1e9 else f"{size / 1e6:,.1f} MB"


def _minutes(age: dt.timedelta) -> str:
    minutes = round(age.total_seconds() / 60)
    return f"{minutes} minutes" if minutes < 120 else f"{minutes // 60} hours"
