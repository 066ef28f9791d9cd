"""Jobs sent in by another system: entered, changed, closed. Each message has an id of its own and counts once."""

from __future__ import annotations

import datetime as dt
import hashlib
import re
from collections.abc import Callable
from typing import Annotated, Any

from django.db import IntegrityError, transaction
from django.http import HttpRequest
from django.utils import timezone
from ninja import Field, Status
from ninja.errors import HttpError
from pydantic import BeforeValidator

from diestore.register import actions
from diestore.register.models import Part as RegisterPart
from maintenance.models import TOTAL_AT_MOST, CounterDevice, Order, Scope, SentForm

from .auth import device_of
from .reads import router  # one address for reading and sending jobs
from .routes import REFUSALS, _die
from .schema import Code, MessageId, Receipt, Sent, _whole

DAY = re.compile(r"(?:19|20|21)\d\d-\d\d-\d\d")
OTHER_VALUES = "This message id was used before, for another job or with other values."


def _day(value: Any) -> Any:
    if not isinstance(value, str) or not DAY.fullmatch(value):
        raise ValueError("write a day such as 2026-12-24")
    return value


Day = Annotated[dt.date, Field(description="A day, such as 2026-12-24."), BeforeValidator(_day)]
Ordered = Annotated[int, Field(ge=1, le=TOTAL_AT_MOST, description="Good parts."), BeforeValidator(_whole)]
Number = Annotated[str, Field(min_length=1, max_length=80, pattern=r"^[^\x00-\x1f\x7f]+$")]
Revision = Annotated[str, Field(max_length=20, pattern=r"^[^\x00-\x1f\x7f]*$")]


class Job(Sent):
    """A customer's order for one part. die: where it has to be made on that one."""

    id: MessageId
    number: Number
    part: Number
    revision: Revision = ""
    die: Code | None = None
    parts: Ordered
    due: Day


class JobChange(Sent):
    """What is otherwise of an open job; what is left out stays. part: where one number stands for several parts."""

    id: MessageId
    number: Number
    part: Number | None = None
    die: Code | None = None
    parts: Ordered | None = None
    due: Day | None = None


class JobClose(Sent):
    id: MessageId
    number: Number
    part: Number | None = None


@router.post("/jobs", response={200: Receipt, 201: Receipt, **REFUSALS}, summary="Enter a job", tags=["jobs"])
def post_job(request: HttpRequest, job: Job):
    device = device_of(request, Scope.JOBS)

    def enter() -> None:
        part = RegisterPart.objects.filter(number=job.part, revision=job.revision).first()
        if part is None:
            raise HttpError(404, f"There is no part {job.part} {job.revision}".rstrip() + " here. Enter it first.")
        if Order.objects.filter(plant=device.plant_id, number=job.number, part=part).exists():
            raise HttpError(409, f"There is a job {job.number} for {part} already. Change that one.")
        die = None if job.die is None else _die(device, job.die)
        row = Order(plant=device.plant, number=job.number, part=part, die=die, parts=job.parts, due=job.due)
        actions.enter(by=None, row=row, at=timezone.now(), reason=_sent_by(device))

    return _once(device, "enter", job, enter)


@router.post(
    "/jobs/change", response={200: Receipt, 201: Receipt, **REFUSALS}, summary="Change an open job", tags=["jobs"]
)
def post_job_change(request: HttpRequest, job: JobChange):
    device = device_of(request, Scope.JOBS)
    values: dict[str, Any] = {name: getattr(job, name) for name in ("parts", "due") if getattr(job, name) is not None}
    if not values and job.die is None:
        raise HttpError(422, "Nothing is changed: send parts, due or die.")

    def change() -> None:
        named = {} if job.die is None else {"die": _die(device, job.die)}
        row = _open_job(device, job.number, job.part)
        new = {name: value for name, value in (values | named).items() if getattr(row, name) != value}
        if new:  # else it is so already
            actions.amend(by=None, row=row, values=new, at=timezone.now(), reason=_sent_by(device))

    return _once(device, "change", job, change)


@router.post("/jobs/close", response={200: Receipt, 201: Receipt, **REFUSALS}, summary="Close a job", tags=["jobs"])
def post_job_close(request: HttpRequest, job: JobClose):
    device = device_of(request, Scope.JOBS)

    def close() -> None:
        row = _open_job(device, job.number, job.part)
        actions.retire(by=None, row=row, at=timezone.now(), reason=_sent_by(device))

    return _once(device, "close", job, close)


def _open_job(device: CounterDevice, number: str, part: str | None) -> Order:
    rows = Order.objects.filter(plant=device.plant_id, number=number).select_related("part")
    rows = list(rows if part is None else rows.filter(part__number=part))
    if not rows:
        raise HttpError(404, f"There is no job {number} here.")
    still_open = [row for row in rows if row.closed_at is None]
    if not still_open:
        raise HttpError(409, f"Job {number} is closed.")
    if len(still_open) > 1:
        raise HttpError(409, f"Job {number} stands for {len(still_open)} parts. Name the part.")
    return still_open[0]


def _once(device: CounterDevice, what: str, message: Sent, write: Callable[[], None]):
    """Write it, unless a message of that id did: then it is known, or, with other values, refused."""
    key = "job|" + hashlib.sha256(f"{device.pk}|{message.id}".encode()).hexdigest()[:48]
    digest = hashlib.sha256(f"{what}|{message.model_dump_json()}".encode()).hexdigest()[:32]
    try:
        with transaction.atomic():
            SentForm.objects.create(key=key, digest=digest)
            write()
    except IntegrityError:
        before = SentForm.objects.filter(key=key).first()
        if before is None:
            raise
        if before.digest != digest:
            raise HttpError(409, OTHER_VALUES) from None
        return Status(200, Receipt(id=message.id, outcome="known"))
    except actions.ChangeRefused as refused:
        raise HttpError(409, str(refused)) from None
    return Status(201, Receipt(id=message.id, outcome="taken"))


def _sent_by(device: CounterDevice) -> str:
    return f"Sent by {device.name}"[:300]
