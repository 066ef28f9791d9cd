"""The interface for press counters and other programs: one prefix, a version in it, a token a device.

What a program sends is checked as strictly as what a person types, and every refusal is a sentence."""

from __future__ import annotations

import json
import logging
import re

from django.contrib.auth.decorators import login_not_required, login_required
from django.core.exceptions import RequestDataTooBig
from django.db import DatabaseError, DataError
from django.http import Http404, HttpRequest
from django.views.decorators.http import conditional_page, require_safe
from ninja import NinjaAPI, Query, Router, Status
from ninja.errors import AuthenticationError, HttpError, ValidationError

from diestore.register.models import Die, Press, Stock, Variant
from maintenance.counters import intake, settle
from maintenance.forecasts import due
from maintenance.log import damage, queries, rules, write
from maintenance.models import Counter, CounterDevice, DieInPress, Event, Order, Run, Scope

from .auth import DeviceToken, device_of, token_of
from .schema import RAW_AT_MOST, BatchReceipt, Count, Counts, Dies, DueDies, Forecast, Page, Receipt, Refused
from .schema import Run as RunMessage

logger = logging.getLogger(__name__)


REFUSALS = {400: Refused, 401: Refused, 403: Refused, 404: Refused, 409: Refused, 413: Refused, 422: Refused}
READS = {code: REFUSALS[code] for code in (401, 403, 404, 422)}


class Described(NinjaAPI):
    """Its description says in words what each answer means, and gives examples that work."""

    def get_openapi_schema(self, *args, **kwargs):
        made = super().get_openapi_schema(*args, **kwargs)
        for path, ways in made["paths"].items():
            for way, call in ways.items():
                _describe(path, way, call)
        return made


def _describe(path: str, way: str, call: dict) -> None:
    for code, answer in call.get("responses", {}).items():
        answer["description"] = ANSWERS[int(code)]
    if way == "get":
        call["responses"][304] = {"description": ANSWERS[304]}
    example = next((body for end, body in EXAMPLES.items() if way == "post" and path.endswith(end)), None)
    if example is not None:
        call["requestBody"]["content"]["application/json"]["example"] = example


ANSWERS = {
    200: "It is as asked; of what is sent: it was taken before, and nothing was added.",
    201: "Taken.",
    304: "Nothing has changed since the answer whose ETag came as If-None-Match.",
    400: "The message is not JSON that can be read.",
    401: "No token came, or one that opens nothing.",
    403: "The token does not let its device do this.",
    404: "What the message or the address names is not there, in the plant of the token.",
    409: "It contradicts what is there, or its id was used before with other values.",
    413: "The message is too long.",
    422: "A value is missing, or cannot be what it should be; `message` names it.",
}
_COUNT = {"id": "2026-11-25-0001", "press": "P1", "total": 184250, "at": "2026-11-25T14:05:00+01:00"}
EXAMPLES = {
    "/counts": _COUNT,
    "/counts/batch": {"counts": [_COUNT, {**_COUNT, "id": "2026-11-25-0002", "total": 184900,
                                          "at": "2026-11-25T14:15:00+01:00"}]},
    "/runs": {"id": "run-77", "die": "H-900", "started": "2026-11-25T06:00:00+01:00",
              "ended": "2026-11-25T10:00:00+01:00", "hits": 19000},
    "/jobs": {"id": "job-1", "number": "26-0412", "part": "P-H-900", "parts": 40000, "due": "2026-12-18"},
    "/jobs/change": {"id": "job-2", "number": "26-0412", "parts": 45000},
    "/jobs/close": {"id": "job-3", "number": "26-0412"},
}  # fmt: skip

api = Described(
    title="diestore",
    version="1",
    description=(
        "Counts and runs come in here, dies, forecasts and what is due go out. Each device has a token of its own, "
        "made on the page of devices and shown once. A count is the total that the counter shows; send the same "
        "message again whenever no answer came: it is taken once. Jobs are sent in the same way. Lists come in parts: "
        "`next` is the cursor of the part that follows. Each answer to a read has an ETag; sent back as If-None-Match, "
        "it is answered 304 while nothing is otherwise."
    ),
    auth=DeviceToken(),
    urls_namespace="api",
    docs_url=None,
)
router = Router()
TAKEN = {"taken": 201, "known": 200}
WHY = {
    intake.Refusal.UNKNOWN: 404,
    intake.Refusal.FORBIDDEN: 403,
    intake.Refusal.CONFLICT: 409,
    intake.Refusal.UNCLEAR: 422,
}


@router.post("/counts", response={200: Receipt, 201: Receipt, **REFUSALS}, summary="Send one count", tags=["counts"])
def post_count(request: HttpRequest, count: Count):
    device = device_of(request, Scope.COUNTS)
    raw = request.body.decode("utf-8", "replace")[:RAW_AT_MOST]
    taken = intake.take_one(device, _message(count, raw))
    _count_if_due([taken])
    if taken.what == "refused":
        return Status(WHY[taken.why], Refused(message=taken.sentence))
    return Status(TAKEN[taken.what], Receipt(id=taken.id, outcome=taken.what, message=_doubts([taken])[0]))


@router.post("/counts/batch", response={200: BatchReceipt, **REFUSALS}, summary="Send up to 500 counts",
             tags=["counts"])  # fmt: skip
def post_counts(request: HttpRequest, batch: Counts):
    """Each is taken or refused by itself; a message that is not written as it should be refuses them all."""
    device = device_of(request, Scope.COUNTS)
    raws = json.loads(request.body)["counts"]
    messages = [
        _message(count, json.dumps(raw)[:RAW_AT_MOST]) for count, raw in zip(batch.counts, raws, strict=True)
    ]  # fmt: skip
    taken = intake.take_again(device, messages)
    _count_if_due(taken)
    sums = {what: sum(row.what == what for row in taken) for what in ("taken", "known", "refused")}
    rows = [
        {"id": row.id, "outcome": row.what, "message": row.sentence or doubt}
        for row, doubt in zip(taken, _doubts(taken), strict=True)
    ]
    return {**sums, "counts": rows}


def _message(count: Count, raw: str) -> intake.Message:
    return intake.Message(
        id=count.id,
        press=count.press or "",
        die=count.die or "",
        total=count.total,
        at=count.at,
        with_stock=count.stock,
        raw=raw,
    )


def _count_if_due(taken: list[intake.Taken]) -> None:
    """The readings are kept by now and stay, whatever happens here: they are counted with the next ones."""
    try:
        settle.settle_due({row.counter for row in taken if row.counter is not None})
    except DatabaseError:
        logger.exception("Counts were taken but could not be counted yet")


def _doubts(taken: list[intake.Taken]) -> list[str]:
    """Of each count that was taken, why the die that it counts for should make no parts as it stands. The counts stay,
    whatever happens here."""
    try:
        return _doubts_of_dies(taken)
    except DatabaseError:
        logger.exception("Counts were taken, and whether their dies are fit to run could not be read")
        return [""] * len(taken)


def _doubts_of_dies(taken: list[intake.Taken]) -> list[str]:
    ids = {row.counter.pk for row in taken if row.what == "taken" and row.counter is not None}
    counters = list(Counter.objects.filter(pk__in=ids).select_related("die"))
    presses = {counter.press_id for counter in counters if counter.press_id is not None}
    there = {row.press_id: row.die for row in DieInPress.objects.now().filter(press__in=presses).select_related("die")}
    of = {counter.pk: die for counter in counters if (die := counter.die or there.get(counter.press_id)) is not None}
    doubts = damage.doubts_of_running(of.values())
    said = {pk: doubts.get(die.pk, "") for pk, die in of.items()}
    return [said.get(row.counter.pk, "") if row.what == "taken" and row.counter is not None else "" for row in taken]


@router.post("/runs", response={200: Receipt, 201: Receipt, **REFUSALS}, summary="Send a run", tags=["runs"])
def post_run(request: HttpRequest, run: RunMessage):
    device = device_of(request, Scope.RUNS)
    die = _die(device, run.die)
    if not intake.may_speak_for(device, die):
        raise HttpError(403, f"{device.name} may not speak for die {die}.")
    key = f"sent|{device.plant.code[:30]}|{device.name[:40]}|{run.id}"
    sent = {"die": die, "started": run.started, "at": run.ended, "hits": run.hits}
    if (known := Run.objects.filter(key=key).first()) is not None:
        if any(getattr(known, name) != value for name, value in sent.items()):
            raise HttpError(409, "This message id was used before, for another run.")
        return Status(200, Receipt(id=run.id, outcome="known"))
    press = _one(Press, run.press, "press", plant=device.plant)
    rules.check_run_times(run.started, run.ended)
    if not run.confirmed and (doubt := rules.doubt_of_press(die, press, run.started, run.ended)):
        raise rules.EntryRefused(f"{doubt} If they are right, send it again with confirmed.", field="press")
    write.log_run(
        by=write.Actor(through=Event.Through.INTERFACE, device=device.name),
        die=die,
        started=run.started,
        ended=run.ended,
        hits=run.hits,
        basis=Run.Basis.ESTIMATED if run.estimated else Run.Basis.COUNTED,
        variant=_one(Variant, run.variant, "set of inserts", die=die),
        press=press,
        stock=_one(Stock, run.stock, "stock"),
        order=_order(device, run.order),
        lot=run.lot,
        good_parts=run.good_parts,
        note=run.note,
        key=key,
    )
    first = damage.doubts_of_running([die]).get(die.pk, "")
    return Status(201, Receipt(id=run.id, outcome="taken", message=first))


def _die(device: CounterDevice, code: str) -> Die:
    die = Die.objects.filter(plant=device.plant_id, code=code).select_related("plant", "usual_stock").first()
    if die is None:
        raise HttpError(404, f"There is no die {code} in this plant.")
    return die


def _one(model, code: str | None, what: str, **within):
    if code is None:
        return None
    row = model.objects.filter(code=code, **within).first()
    if row is None:
        raise HttpError(404, f"There is no {what} {code} here.")
    return row


def _order(device: CounterDevice, number: str | None) -> Order | None:
    if number is None:
        return None
    order = Order.objects.filter(plant=device.plant_id, number=number).first()
    if order is None:
        raise HttpError(404, f"There is no job {number} here.")
    return order


@router.get("/dies", response={200: Dies, **READS}, summary="The dies of the plant", tags=["dies"])
def get_dies(request: HttpRequest, part: Query[Page]):
    device = device_of(request, Scope.READ, part=part)
    rows = Die.objects.filter(plant=device.plant_id).order_by("code", "pk")
    page = list(rows[part.offset : part.offset + part.limit])
    presses = dict(DieInPress.objects.now().filter(die__in=page).values_list("die_id", "press__code"))
    return {
        "found": rows.count(),
        "dies": [
            {
                "code": die.code,
                "description": die.description,
                "status": die.status,
                "strokes_per_minute": die.strokes_per_minute,
                "press": presses.get(die.pk),
            }
            for die in page
        ],
    }


@router.get("/dies/{code}/forecast", response={200: Forecast, **READS}, summary="What is left of a die",
            tags=["dies"])  # fmt: skip
def get_forecast(request: HttpRequest, code: str):
    device = device_of(request, Scope.READ)
    die = _die(device, code.replace("\x00", " "))
    forecast = queries.newest_forecast(die)
    if forecast is None:
        return {
            "die": die.code, "as_of": None, "hits_since_sharpening": None, "half_last_hits": None,
            "nine_in_ten_last_hits": None, "limiting_position": None, "remaining_hits": {}, "edges": [],
            "why_unknown": "No forecast has been computed for it yet.",
        }  # fmt: skip
    return {
        "die": die.code,
        "as_of": forecast.as_of,
        "hits_since_sharpening": forecast.hits_since_sharpening,
        "half_last_hits": forecast.half_hits,
        "nine_in_ten_last_hits": forecast.nine_in_ten_hits,
        "limiting_position": forecast.limiting.code if forecast.limiting else None,
        "remaining_hits": forecast.remaining,
        "edges": [
            {
                "position": edge.position.code,
                "hits_since_sharpening": edge.hits_since_sharpening,
                "half_last_hits": edge.half_hits,
                "nine_in_ten_last_hits": edge.nine_in_ten_hits,
                "why_unknown": edge.refusal,
            }
            for edge in queries.edges_of(forecast)
        ],
        "why_unknown": forecast.refusal,
    }


@router.get("/due", response={200: DueDies, **READS}, summary="Dies with an open job, the likeliest to stop first",
            tags=["dies"])  # fmt: skip
def get_due(request: HttpRequest):
    device = device_of(request, Scope.READ)
    return {
        "dies": [
            {
                "die": row.code,
                "order": row.order_number,
                "due": row.due,
                "hits_left": row.hits_left,
                "chance": row.chance,
                "standing": row.standing.word,
                "limiting_position": row.limiting or None,
                "half_last_hits": row.half,
                "nine_in_ten_last_hits": row.nine_in_ten,
                "why_unknown": row.refusal,
            }
            for row in due.rows(device.plant, plants={device.plant_id})
        ]
    }


api.add_router("", router)

# --- refusals -------------------------------------------------------------------------------------------------------


def _refuse(request: HttpRequest, status: int, sentence: str, where: str = ""):
    return api.create_response(request, {"message": sentence, "where": where}, status=status)


@api.exception_handler(HttpError)
def _on_http_error(request, error: HttpError):
    sentence = error.message
    if error.status_code == 400:
        sentence = "The message is not JSON that can be read."
    return _refuse(request, error.status_code, sentence)


@api.exception_handler(AuthenticationError)
def _on_no_token(request, error):
    response = _refuse(request, 401, "Send the device's token as: Authorization: Bearer TOKEN. This one opens nothing.")
    response["WWW-Authenticate"] = "Bearer"
    return response


@api.exception_handler(Http404)
def _on_nothing(request, error):
    return _refuse(request, 404, "There is nothing at this address.")


@api.exception_handler(ValidationError)
def _on_wrong_form(request, error: ValidationError):
    """The first fault in a sentence; what was sent is not repeated."""
    first = error.errors[0]
    where = ".".join(str(part) for part in first.get("loc", ())[2:] or first.get("loc", ())[1:])[:200]
    what = re.sub(r"^Value error, ", "", str(first.get("msg", "")))
    more = f" And {len(error.errors) - 1} more." if len(error.errors) > 1 else ""
    named = f"{where}: " if where else ""
    return _refuse(request, 422, f"{named}{what}.{more}", where)


@api.exception_handler(write.EntryRefused)
def _on_refused_entry(request, error: write.EntryRefused):
    return _refuse(request, 409, str(error), error.field)


@api.exception_handler(RequestDataTooBig)
def _on_too_big(request, error):
    return _refuse(request, 413, "The message is too long. Send fewer counts at once.")


@api.exception_handler(DataError)
def _on_what_cannot_be_stored(request, error):
    return _refuse(request, 422, "A value cannot be stored. Check the message.")


def addresses() -> list:
    """The interface's addresses. Its calls go by token: no sign-in; its description is for people who are signed in."""
    patterns, _, _ = api.urls
    for pattern in patterns:
        if pattern.name == "openapi-json":
            pattern.callback = _with_token(require_safe(pattern.callback))
        elif pattern.name == "api-root":
            pattern.callback = require_safe(pattern.callback)
        else:
            pattern.callback = conditional_page(pattern.callback)
            pattern.callback.login_required = False
    return patterns


def _with_token(view):
    """The description is for people who are signed in, and for programs that show a token."""
    for_people = login_required(view)

    def described(request: HttpRequest, **kwargs):
        token = token_of(request)
        if token is None:
            return for_people(request, **kwargs)
        return view(request, **kwargs) if DeviceToken().authenticate(request, token) else _on_no_token(request, None)

    return login_not_required(described)
