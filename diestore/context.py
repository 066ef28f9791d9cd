"""What every page's template may use."""

from __future__ import annotations

from django.conf import settings

from .navigation import strip_for
from .people import tablet_of
from .roles import role_of

LOOKS = {"": "as the device", "light": "light", "dark": "dark"}


def page(request) -> dict:
    user = getattr(request, "user", None)
    session = getattr(request, "session", {})
    return {
        "shop": settings.SHOP_NAME,
        "strip": strip_for(request),
        "role": role_of(user) if user is not None else "",
        "tablet": tablet_of(request) if user is not None else None,
        "look": session.get("look", "") if session else "",
    }
