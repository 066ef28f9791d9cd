"""What is wrapped around every request: its number, its line in the log, and a page where the answer would be blank."""

from __future__ import annotations

import logging
import re
import time
import uuid

from django.conf import settings
from django.template.loader import render_to_string

from diestore.service.log_lines import without_secrets, working_on

logger = logging.getLogger("diestore.requests")
HEADER = "X-Request-Id"
_OURS = re.compile(r"[A-Za-z0-9-]{8,64}")


class NumberRequests:
    """Each request has a number: in the answer's header, in its log lines, and on the page that says what broke.

    A proxy of ours may give the number; from anybody else none is taken.
    """

    def __init__(self, get_response) -> None:
        self.get_response = get_response

    def __call__(self, request):
        given = request.headers.get(HEADER, "") if settings.PROXIES else ""
        request.number = given if _OURS.fullmatch(given) else uuid.uuid4().hex[:12]
        begun = time.perf_counter()
        with working_on(request.number):
            response = self.get_response(request)
            response[HEADER] = request.number
            user = getattr(request, "_cached_user", None)
            path = without_secrets(request.path)
            figures = {
                "method": request.method,
                "path": path,
                "status": response.status_code,
                "ms": round((time.perf_counter() - begun) * 1000, 1),
                "user": user.pk if user is not None else None,
            }
            logger.info("%s %s %s", request.method, path, response.status_code, extra={"figures": figures})
        return response


class SayNotAllowed:
    """A method that an address does not take is answered without a body: a person gets a page instead."""

    def __init__(self, get_response) -> None:
        self.get_response = get_response

    def __call__(self, request):
        response = self.get_response(request)
        if response.status_code == 405 and not response.content and request.method != "HEAD":
            response.content = render_to_string("405.html")
        return response
