"""Which language a page speaks: the person's own, else the shop's; before anybody has signed in, the browser's."""

from __future__ import annotations

from django.utils import translation

from .queries import language_of


class InOnesOwnLanguage:
    """Middleware, after that of the shop's clock."""

    def __init__(self, get_response) -> None:
        self.get_response = get_response

    def __call__(self, request):
        known = request.user.is_authenticated
        spoken = language_of(request.user) if known else translation.get_language_from_request(request)
        with translation.override(spoken):
            response = self.get_response(request)
        response.headers.setdefault("Content-Language", spoken)
        return response
