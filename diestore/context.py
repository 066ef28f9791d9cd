"""What every page's template may use."""

from __future__ import annotations

from django.conf import settings

from .navigation import strip_for


def page(request) -> dict:
    return {"shop": settings.SHOP_NAME, "strip": strip_for(request)}
