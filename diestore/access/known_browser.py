"""Which names have signed in in a browser before: a signed mark there. It opens nothing, and gives a door of its own.

After: device cookies against a name being held by whoever guesses at it, OWASP, "Slow Down Online Guessing Attacks with
Device Cookies". https://owasp.org/www-community/Slow_Down_Online_Guessing_Attacks_with_Device_Cookies
"""

from __future__ import annotations

from django.conf import settings
from django.core import signing
from django.utils.crypto import get_random_string

from . import throttle

COOKIE = "demo_known" if settings.DEMO else "known"
DAYS = 180
NAMES = 12  # of a shared machine, the last so many
_SALT = "diestore.access.known_browser"


def doors(request, name: str) -> tuple[tuple[throttle.Door, str], ...]:
    """The door of this browser for that name; none where the name has never signed in in it."""
    mark = _marks(request).get(_short(name))
    return ((throttle.KNOWN, f"{name}/{mark}"),) if mark else ()


def remember(request, answer, name: str) -> None:
    """From now on the browser is known for that name."""
    marks = _marks(request)
    mark = marks.pop(_short(name), None) or get_random_string(16)
    kept = dict([*marks.items(), (_short(name), mark)][-NAMES:])
    answer.set_cookie(
        COOKIE,
        signing.dumps(kept, salt=_SALT),
        max_age=DAYS * 86_400,
        path="/sign-in/",
        secure=settings.SESSION_COOKIE_SECURE,
        httponly=True,
        samesite="Lax",
    )


def _marks(request) -> dict[str, str]:
    try:
        kept = signing.loads(request.COOKIES.get(COOKIE, ""), salt=_SALT, max_age=DAYS * 86_400)
    except signing.BadSignature:
        return {}
    return kept if isinstance(kept, dict) else {}


def _short(name: str) -> str:
    return throttle.key_of(throttle.USER, name)[:16]
