"""The pages on the strip at the head of every page: URL names only, so that nothing below imports what stands above."""

from __future__ import annotations

from contextlib import suppress
from dataclasses import dataclass

from django.urls import NoReverseMatch, reverse
from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

from diestore.access import roles


@dataclass(frozen=True)
class Stop:
    label: str | Promise
    url_name: str
    key: str  # opens it after g
    permission: str | None = None
    any_of: tuple[str, ...] = ()  # where one of several is enough
    also: tuple[str, ...] = ()  # where pages lie that belong to it and not under its own address


STRIP = (
    Stop(_("Today"), "reports:today", "t"),
    Stop(_("Dies due"), "maintenance:due", "u"),
    Stop(_("Bench"), "maintenance:bench", "b", roles.LOG_MISHAP),
    Stop(_("Dies"), "diestore:dies", "d"),
    Stop(
        _("Register"),
        "diestore:register",
        "r",
        any_of=(roles.EDIT_REGISTER, roles.EDIT_SPARES, roles.SEE_SPARES, roles.SEE_COST),
    ),
    Stop(_("Log"), "maintenance:log", "l", roles.LOG_RUN),
    Stop(_("Counters"), "maintenance:counters", "c", roles.LOG_RUN),
    Stop(_("Spares"), "reports:spares", "s", roles.SEE_SPARES, also=("/bills/",)),
    Stop(_("Cost"), "reports:cost", "m", roles.SEE_COST, also=("/customers/",)),
    Stop(_("Track record"), "maintenance:record", "e"),
    Stop(_("Gap and steel"), "maintenance:wear", "w", roles.SEE_COST),
    Stop(_("Words"), "diestore:words", "o"),
)


def stops_for(user) -> list[tuple[Stop, str]]:
    """The stops that this person may see, with their addresses."""
    if user is None or not user.is_authenticated:
        return []
    stops = []
    for stop in STRIP:
        if stop.permission and not user.has_perm(stop.permission):
            continue
        if stop.any_of and not any(user.has_perm(right) for right in stop.any_of):
            continue
        with suppress(NoReverseMatch):
            stops.append((stop, reverse(stop.url_name)))
    return stops


def strip_for(request) -> list[dict]:
    """The stops on the page's strip, with the one that the page belongs to marked."""
    stops = [
        {"label": str(stop.label), "url": url, "name": stop.url_name, "key": stop.key, "under": (url, *stop.also)}
        for stop, url in stops_for(getattr(request, "user", None))
    ]
    match = getattr(request, "resolver_match", None)
    current = max(
        (s for s in stops if match and (s["name"] == match.view_name or _within(request.path, s["under"]))),
        key=lambda s: (s["name"] == (match.view_name if match else ""), len(s["url"])),
        default=None,
    )
    return [{**s, "current": s is current} for s in stops]


def _within(path: str, under: tuple[str, ...]) -> bool:
    return any(url != "/" and path.startswith(url) for url in under)
