"""Background work: the queue in the database, who works it, and what becomes of a task whose worker died.

A task may be begun more than once and takes effect once: what it writes and that it is done are one transaction
(`closing`), which is refused to a worker whose task was given to another meanwhile. Nothing but the database is needed,
so workers may run on any number of hosts.
"""

from __future__ import annotations

import datetime as dt
import logging
import os
import socket
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from traceback import format_exception

from django.conf import settings
from django.db import DatabaseError, InterfaceError, OperationalError, close_old_connections, connection, transaction
from django.db.models import DateTimeField, ExpressionWrapper, QuerySet
from django.db.models.functions import Now
from django.dispatch import Signal
from django.utils import timezone
from django.utils.crypto import get_random_string
from django_tasks import TaskContext, TaskResultStatus
from django_tasks.base import Task
from django_tasks_db.models import DBTaskResult

from .log_lines import working_on
from .models import TaskWorker

logger = logging.getLogger(__name__)

BACKEND = "default"
TRIES_AT_MOST = 3
FIRST_PAUSE_S = 30  # before the second try; doubled before each later one
IDLE_S = 1.0
PAUSE_AT_MOST_S = 30.0
KEPT_DAYS = 14
GONE = (OperationalError, InterfaceError)


class TakenAway(Exception):
    """The task was given to another worker meanwhile; what this one made of it is dropped."""


class Refused(Exception):
    """The task cannot be done however often it is tried; the message says why."""


@dataclass(frozen=True, kw_only=True)
class Reaped:
    """Tasks of workers that died: how many wait again, how many are given up."""

    waiting: int = 0
    failed: int = 0


# -- putting tasks into the queue --

_own_workers = False


def is_worked() -> bool:
    """Whether somebody is there to work the queue: workers of their own, or those that this web process has started."""
    return settings.FORECASTS_BY_WORKERS or _own_workers


def has_own_workers(yes: bool = True) -> None:
    """Say that this process has started workers for itself, or that they have ended."""
    global _own_workers
    _own_workers = yes


def enqueue_once(task: Task, *args, **kwargs) -> bool:
    """Put a task into the queue unless the same one waits there already. Returns whether it was put in.

    One that waits will read the records when it begins, which is after now: so it sees what this one was to see.
    """
    waiting = DBTaskResult.objects.filter(
        status=TaskResultStatus.READY,
        task_path=task.module_path,
        args_kwargs={"args": list(args), "kwargs": kwargs},
    )
    if waiting.exists():
        return False
    task.enqueue(*args, **kwargs)
    return True


# -- doing one --


def task_of(context: TaskContext) -> DBTaskResult:
    return context.task_result.db_result


@contextmanager
def closing(context: TaskContext) -> Iterator[dict]:
    """The writing part of a task: what is written inside and that the task is done become true together, or not at all.

    What is put into the dict given is kept as what the task says. Raises TakenAway where the task is another's by now.
    """
    row = task_of(context)
    says: dict = {}
    with transaction.atomic():
        _hold(row)
        yield says
        now = timezone.now()
        DBTaskResult.objects.filter(pk=row.pk).update(
            status=TaskResultStatus.SUCCESSFUL,
            finished_at=now,
            return_value=says or None,
            exception_class_path="",
            traceback="",
        )
    row.status = TaskResultStatus.SUCCESSFUL


def _hold(row: DBTaskResult) -> None:
    """Keep the task's row until the transaction ends, if it is still ours."""
    stands = DBTaskResult.objects.select_for_update().filter(pk=row.pk).first()
    if stands is None or stands.status != TaskResultStatus.RUNNING or stands.worker_ids != row.worker_ids:
        raise TakenAway(f"{row.task_path} was given to another worker")


def claim(worker: str) -> DBTaskResult | None:
    """Take the next task of the queue; None where none waits."""
    ready = DBTaskResult.objects.ready().filter(backend_name=BACKEND)
    if not ready.exists():
        return None
    with transaction.atomic():
        row = ready.get_locked()
        if row is not None:
            row.claim(worker)
    return row


def carry_out(row: DBTaskResult) -> None:
    """Do a task that was claimed, and write down what came of it. Raises only where the database is gone."""
    try:
        task, result = row.task, row.task_result
        context = TaskContext(task_result=result)
        taken = (context, *result.args) if task.takes_context else tuple(result.args)
        task.call(*taken, **result.kwargs)
        if row.status != TaskResultStatus.SUCCESSFUL:
            with closing(context):
                pass
        logger.info("task %s done", name_of(row))
    except TakenAway as reason:
        logger.warning("%s; what was made here is dropped", reason)
    except GONE as error:
        if not database_answers():
            raise
        put_back(row, error)
    except Exception as error:
        put_back(row, error)


def put_back(row: DBTaskResult, error: BaseException, *, pause: bool = True) -> bool:
    """Let a task that went wrong be tried again; given up after TRIES_AT_MOST. Returns whether it waits again."""
    with transaction.atomic():
        try:
            _hold(row)
        except TakenAway:
            return False
        again = len(row.worker_ids) < TRIES_AT_MOST and not isinstance(error, Refused)
        _write_failure(row, error, again=again, pause=pause)
    log = logger.warning if again else logger.error
    log("task %s went wrong at try %d: %s", name_of(row), len(row.worker_ids), error, exc_info=not again and error)
    return again


def _write_failure(row: DBTaskResult, error: BaseException, *, again: bool, pause: bool) -> None:
    tries = max(len(row.worker_ids), 1)
    now = timezone.now()
    columns = {
        "exception_class_path": f"{type(error).__module__}.{type(error).__qualname__}",
        "traceback": "".join(format_exception(error)),
    }
    if again:
        wait = dt.timedelta(seconds=FIRST_PAUSE_S * 2 ** (tries - 1) if pause else 0)
        columns |= {"status": TaskResultStatus.READY, "started_at": None, "run_after": now + wait}
    else:
        columns |= {"status": TaskResultStatus.FAILED, "finished_at": now}
    DBTaskResult.objects.filter(pk=row.pk).update(**columns)
    row.status = columns["status"]


def name_of(row: DBTaskResult) -> str:
    asked = ", ".join(str(a) for a in row.args_kwargs.get("args", ()))
    return f"{row.task_path.rsplit('.', 1)[-1]}({asked})"


def why_failed(row: DBTaskResult) -> str:
    """The last line of what was written down: the error in its own words."""
    return (row.traceback.strip().splitlines() or ["no reason given"])[-1]


def unfinished() -> QuerySet[DBTaskResult]:
    """Tasks that wait or are being done."""
    return DBTaskResult.objects.filter(
        backend_name=BACKEND, status__in=(TaskResultStatus.READY, TaskResultStatus.RUNNING)
    )


def failed() -> QuerySet[DBTaskResult]:
    """Tasks that were given up."""
    return DBTaskResult.objects.failed().filter(backend_name=BACKEND)


def database_answers() -> bool:
    """Whether a question comes back; a broken connection is closed, so that the next question makes a new one."""
    try:
        with connection.cursor() as cursor:
            cursor.execute("SELECT 1")
            cursor.fetchone()
    except DatabaseError:
        connection.close()
        return False
    return True


# -- who is at work --


class WorkerDied(Exception):
    """The worker of this task was not seen any more."""


def _long_ago(seconds: float):
    return ExpressionWrapper(Now() - dt.timedelta(seconds=seconds), output_field=DateTimeField())


def alive():
    """The workers seen within the lease, by the database's clock: the clocks of the hosts need not agree."""
    return TaskWorker.objects.filter(seen_at__gt=_long_ago(settings.WORKER_LEASE_S))


def reap() -> Reaped:
    """Give the tasks of workers that died to others, and give up those that were tried often enough."""
    names = set(alive().values_list("name", flat=True))
    waiting = failed = 0
    for pk in list(DBTaskResult.objects.running().filter(backend_name=BACKEND).values_list("pk", flat=True)):
        with transaction.atomic():
            row = DBTaskResult.objects.select_for_update(skip_locked=True).running().filter(pk=pk).first()
            if row is None or (row.worker_ids and row.worker_ids[-1] in names):
                continue
            again = len(row.worker_ids) < TRIES_AT_MOST
            error = WorkerDied(f"worker {row.worker_ids[-1] if row.worker_ids else '?'} was not seen any more")
            _write_failure(row, error, again=again, pause=False)
            logger.warning("task %s: %s; it %s", name_of(row), error, "waits again" if again else "is given up")
            waiting, failed = waiting + again, failed + (not again)
    TaskWorker.objects.filter(seen_at__lt=_long_ago(max(86_400, 2 * settings.WORKER_LEASE_S))).delete()
    return Reaped(waiting=waiting, failed=failed)


def prune(days: int = KEPT_DAYS) -> int:
    """Forget what was finished so many days ago. Returns how many."""
    before = timezone.now() - dt.timedelta(days=days)
    return DBTaskResult.objects.finished().filter(backend_name=BACKEND, finished_at__lt=before).delete()[0]


# Sent once a minute by workers that look out, for whatever has to be asked for at its time.
minute = Signal()
MINUTE_S = 60.0


class Worker:
    """Works the queue: as many of these, on as many hosts, as there is work for.

    looks_out: it also sends `minute`, once a minute.
    """

    def __init__(self, *, name: str = "", looks_out: bool = False) -> None:
        self.looks_out, self._looked_at = looks_out, -MINUTE_S
        self.name = name or f"{socket.gethostname()[:30]}-{os.getpid()}-{get_random_string(6)}"
        self.stopping = threading.Event()
        self._in_hand: DBTaskResult | None = None
        self._reaped_at = 0.0

    def stop(self) -> None:
        """Finish the task in hand, then end."""
        self.stopping.set()

    def beat(self) -> None:
        """Say that this worker is alive."""
        TaskWorker.objects.update_or_create(
            name=self.name, defaults={"seen_at": Now(), "host": socket.gethostname()[:80]}
        )

    def work(self, *, until=None, idle_s: float = IDLE_S) -> None:
        """Work until `stop`, or until `until()` is true. Outlasts a database that is gone for a while."""
        beating = threading.Thread(target=self._keep_beating, daemon=True, name="beat")
        beating.start()
        pause = 1.0
        try:
            while not self.stopping.is_set():
                if not connection.in_atomic_block:  # called inside somebody's transaction, it stays in it
                    close_old_connections()
                try:
                    worked = self.step()
                    pause = 1.0
                    if not worked:
                        if until is not None and until():
                            break
                        self.stopping.wait(idle_s)
                except GONE as error:
                    logger.warning("the database does not answer (%s); trying again in %.0f s", _first(error), pause)
                    connection.close()
                    self.stopping.wait(pause)
                    pause = min(2 * pause, PAUSE_AT_MOST_S)
        finally:
            self.stopping.set()
            self._leave()

    def step(self) -> bool:
        """Reap now and then, take one task and do it. Returns whether there was one."""
        if self._in_hand is not None:  # the database went away under it
            put_back(self._in_hand, WorkerDied("the database went away meanwhile"), pause=False)
            self._in_hand = None
        now = time.monotonic()
        if not self._reaped_at or now - self._reaped_at >= settings.WORKER_LEASE_S / 3:
            self.beat()
            reap()
            self._reaped_at = now
        if self.looks_out and now - self._looked_at >= MINUTE_S:
            self._looked_at = now
            self._look_out()
        row = claim(self.name)
        if row is None:
            return False
        self._in_hand = row
        with working_on(f"task-{row.pk}"):
            carry_out(row)
        self._in_hand = None
        return True

    def _look_out(self) -> None:
        for receiver, answer in minute.send_robust(sender=type(self)):
            if isinstance(answer, GONE):
                raise answer
            if isinstance(answer, Exception):
                logger.error("%s went wrong: %s", getattr(receiver, "__qualname__", receiver), answer, exc_info=answer)

    def _keep_beating(self) -> None:
        every = settings.WORKER_LEASE_S / 6
        try:
            while not self.stopping.wait(every):
                try:
                    self.beat()
                except Exception as error:  # the next beat may reach it again
                    logger.warning("worker %s could not be written down: %s", self.name, _first(error))
                    connection.close()
        finally:
            connection.close()

    def _leave(self) -> None:
        try:
            TaskWorker.objects.filter(name=self.name).delete()
        except DatabaseError:
            connection.close()


def _first(error: BaseException) -> str:
    return (str(error).splitlines() or ["no reason given"])[0][:200]
