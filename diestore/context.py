"""What every page's template may use."""

from __future__ import annotations

from diestore.access import shop
from diestore.access.queries import has_page_keys
from diestore.access.roles import role_of
from diestore.access.tablet import tablet_of
from diestore.frame import script_texts
from diestore.navigation import strip_for


def page(request) -> dict:
    user = getattr(request, "user", None)
    session = getattr(request, "session", {})
    return {
        "shop": shop.current().name,
        "strip": strip_for(request),
        "role": role_of(user) if user is not None else "",
        "tablet": tablet_of(request) if user is not None else None,
        "page_keys": user is not None and has_page_keys(user),
        "look": session.get("look", "") if session else "",
        "script_texts": script_texts.for_page(),
    }
