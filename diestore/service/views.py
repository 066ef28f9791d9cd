"""For whoever watches the service, and what a page says when it breaks."""

from __future__ import annotations

import sys

from django.conf import settings
from django.contrib.auth.decorators import login_not_required, permission_required
from django.core.exceptions import PermissionDenied
from django.db import InterfaceError, OperationalError
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import render
from django.template.loader import render_to_string
from django.utils.crypto import constant_time_compare
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_safe

from diestore.access import roles

from . import state as service_state
from .log_lines import current

TRY_AGAIN_S = 10

GONE = (
    "The database does not answer",
    "Nothing was half saved. Wait a little and try again. If you sent a form, send it again then: the same form is "
    "never saved twice.",
)
BUSY = (
    "The database is busy",
    "Others were saving for so long that this could not be saved. Send the form again: it is never saved twice.",
)
FULL = (
    "The disk is full",
    "Nothing was saved, and nothing that stood there is lost. Tell the administrator: once there is room again, send "
    "the form once more.",
)


@login_not_required
@never_cache
@require_safe
def alive(request: HttpRequest) -> HttpResponse:
    """For a probe: 200 or 503 and nothing more."""
    works = service_state.can_work()
    return HttpResponse("ok\n" if works else "no\n", status=200 if works else 503, content_type="text/plain")


@never_cache
@require_safe
@permission_required(roles.RUN_FIT, raise_exception=True)
def service_page(request: HttpRequest) -> HttpResponse:
    """How the service stands, for people."""
    return render(request, "diestore/service/service.html", {"state": service_state.read()})


@login_not_required
@never_cache
@require_safe
def service_json(request: HttpRequest) -> HttpResponse:
    """The same for a monitor, which shows its key; somebody signed in who may see the page needs none."""
    if not _shows_the_key(request) and not request.user.has_perm(roles.RUN_FIT):
        raise PermissionDenied
    state = service_state.read()
    return JsonResponse(state.as_json(), status=200 if state.can_work else 503)


def _shows_the_key(request: HttpRequest) -> bool:
    sort, _, key = request.headers.get("Authorization", "").partition(" ")
    return bool(settings.MONITOR_KEY) and sort.lower() == "bearer" and constant_time_compare(key, settings.MONITOR_KEY)


def broke(request: HttpRequest) -> HttpResponse:
    """What is shown for an error of ours: what it was in plain words, and the number under which the log has it.

    Without the database, so nothing of the usual page's frame.
    """
    error = sys.exc_info()[1]
    number = getattr(request, "number", current.get())
    trouble = _database_trouble(error)
    if trouble is None:
        return HttpResponse(render_to_string("500.html", {"number": number}), status=500)
    heading, sentence = trouble
    page = render_to_string("503.html", {"heading": heading, "sentence": sentence, "number": number})
    return HttpResponse(page, status=503, headers={"Retry-After": str(TRY_AGAIN_S)})


def _database_trouble(error: BaseException | None) -> tuple[str, str] | None:
    if not isinstance(error, (OperationalError, InterfaceError)):
        return None
    words, state = str(error).lower(), getattr(error.__cause__, "sqlstate", "") or ""
    if "disk is full" in words or state == "53100":
        return FULL
    if "locked" in words or state in ("55P03", "40P01"):  # not available in time, a deadlock
        return BUSY
    return GONE
