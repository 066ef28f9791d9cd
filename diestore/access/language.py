"""Which language a page speaks: the person's own, else the shop's; before anybody has signed in, the browser's.
Programs are answered in English, whoever asks: they read the words."""

from __future__ import annotations

from django.utils import translation

from .queries import language_of

INTERFACE = "/api/"  # the addresses that programs ask


class InOnesOwnLanguage:
    """Middleware, after that of the shop's clock."""

    def __init__(self, get_response) -> None:
        self.get_response = get_response

    def __call__(self, request):
        spoken = _spoken_to(request)
        with translation.override(spoken):
            response = self.get_response(request)
        response.headers.setdefault("Content-Language", spoken)
        return response


def _spoken_to(request) -> str:
    if request.path.startswith(INTERFACE):
        return "en"
    if request.user.is_authenticated:
        return language_of(request.user)
    return translation.get_language_from_request(request)
